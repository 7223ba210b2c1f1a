//! The vessels of the brewery and the two electric elements.
//!
//! A vessel has a thermometer; only some vessels have an element. The mash tun is heated through the coil in the liquor tank, so no
//! value of [`Element`] can name it.

/// A vessel with a thermometer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[cfg_attr(feature = "wire", derive(serde::Serialize, serde::Deserialize))]
pub enum Vessel {
    /// Hot liquor tank: heats strike and sparge water and holds the coil.
    LiquorTank,
    /// Mash tun: heated only by wort that recirculates through the coil.
    MashTun,
    /// Boil kettle.
    BoilKettle,
}

impl Vessel {
    /// Every vessel, in the order of the brew day.
    pub const ALL: [Vessel; 3] = [Vessel::LiquorTank, Vessel::MashTun, Vessel::BoilKettle];

    /// The vessel's element, if it has one.
    pub const fn element(self) -> Option<Element> {
        match self {
            Vessel::LiquorTank => Some(Element::LiquorTank),
            Vessel::MashTun => None,
            Vessel::BoilKettle => Some(Element::BoilKettle),
        }
    }

    /// The name used in files and messages: `liquor_tank`, `mash_tun` or `boil_kettle`.
    pub const fn key(self) -> &'static str {
        match self {
            Vessel::LiquorTank => "liquor_tank",
            Vessel::MashTun => "mash_tun",
            Vessel::BoilKettle => "boil_kettle",
        }
    }

    /// The name a person reads: `liquor tank`, `mash tun` or `boil kettle`.
    pub const fn label(self) -> &'static str {
        match self {
            Vessel::LiquorTank => "liquor tank",
            Vessel::MashTun => "mash tun",
            Vessel::BoilKettle => "boil kettle",
        }
    }
}

/// An electric element. At most one of them may ever be on, so an output is an `Option<Element>`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
#[cfg_attr(feature = "wire", derive(serde::Serialize, serde::Deserialize))]
pub enum Element {
    /// The element in the hot liquor tank.
    LiquorTank,
    /// The element in the boil kettle.
    BoilKettle,
}

impl Element {
    /// Both elements.
    pub const ALL: [Element; 2] = [Element::LiquorTank, Element::BoilKettle];

    /// The vessel it sits in.
    pub const fn vessel(self) -> Vessel {
        match self {
            Element::LiquorTank => Vessel::LiquorTank,
            Element::BoilKettle => Vessel::BoilKettle,
        }
    }

    /// The element that is not this one.
    pub const fn other(self) -> Element {
        match self {
            Element::LiquorTank => Element::BoilKettle,
            Element::BoilKettle => Element::LiquorTank,
        }
    }
}

/// One value for each vessel.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
#[cfg_attr(feature = "wire", derive(serde::Serialize, serde::Deserialize))]
pub struct PerVessel<T> {
    /// The liquor tank's value.
    pub liquor_tank: T,
    /// The mash tun's value.
    pub mash_tun: T,
    /// The boil kettle's value.
    pub boil_kettle: T,
}

impl<T> PerVessel<T> {
    /// Builds the three values by calling `f` for each vessel.
    pub fn build(mut f: impl FnMut(Vessel) -> T) -> Self {
        PerVessel { liquor_tank: f(Vessel::LiquorTank), mash_tun: f(Vessel::MashTun), boil_kettle: f(Vessel::BoilKettle) }
    }

    /// The value of one vessel.
    #[inline(never)]
    pub const fn get(&self, vessel: Vessel) -> &T {
        match vessel {
            Vessel::LiquorTank => &self.liquor_tank,
            Vessel::MashTun => &self.mash_tun,
            Vessel::BoilKettle => &self.boil_kettle,
        }
    }

    /// The value of one vessel, to change.
    #[inline(never)]
    pub const fn get_mut(&mut self, vessel: Vessel) -> &mut T {
        match vessel {
            Vessel::LiquorTank => &mut self.liquor_tank,
            Vessel::MashTun => &mut self.mash_tun,
            Vessel::BoilKettle => &mut self.boil_kettle,
        }
    }
}

/// One value for each element.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
#[cfg_attr(feature = "wire", derive(serde::Serialize, serde::Deserialize))]
pub struct PerElement<T> {
    /// The liquor tank's value.
    pub liquor_tank: T,
    /// The boil kettle's value.
    pub boil_kettle: T,
}

impl<T> PerElement<T> {
    /// Builds the two values by calling `f` for each element.
    pub fn build(mut f: impl FnMut(Element) -> T) -> Self {
        PerElement { liquor_tank: f(Element::LiquorTank), boil_kettle: f(Element::BoilKettle) }
    }

    /// The value of one element.
    pub const fn get(&self, element: Element) -> &T {
        match element {
            Element::LiquorTank => &self.liquor_tank,
            Element::BoilKettle => &self.boil_kettle,
        }
    }

    /// The value of one element, to change.
    pub const fn get_mut(&mut self, element: Element) -> &mut T {
        match element {
            Element::LiquorTank => &mut self.liquor_tank,
            Element::BoilKettle => &mut self.boil_kettle,
        }
    }
}

/// One of the three pumps. Pumps never energise an element.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Pump {
    /// Tank outlet: strike and sparge water to the tun.
    Liquor,
    /// Tun outlet: recirculates through the coil, or runs off to the kettle, as the brewer sets the valve.
    Mash,
    /// Kettle outlet: whirlpool, or through the chiller, as the brewer sets the valve.
    Wort,
}

/// Which pumps run.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
#[cfg_attr(feature = "wire", derive(serde::Serialize, serde::Deserialize))]
pub struct Pumps {
    /// [`Pump::Liquor`] runs.
    pub liquor: bool,
    /// [`Pump::Mash`] runs.
    pub mash: bool,
    /// [`Pump::Wort`] runs.
    pub wort: bool,
}
