//! The survey: that its rigs are what it says, that its rivals are really run, that its figures hold and repeat.

mod draws;
mod figures;
mod limits;
mod rivals;
