#![allow(missing_docs)]
use copperhold::{files, rehearse::Rehearsal};
use copperhold_core::vessel::*;
fn main() {
    let r = files::demo_rig().unwrap();
    let s = files::demo_sheet().unwrap();
    let mut d = Rehearsal::new(&r, &s, 1).unwrap();
    for i in 0..40000 {
        if !d.advance() {
            break;
        }
        if i % 400 == 0 {
            let c = d.controller();
            let st = c.supervisor().status();
            println!(
                "{:.0} {:?} bulk {:?} set {:?} want {:?} {:?} settled {:?} latch {:?} prompt {:?}",
                d.t_s(),
                d.progress().map(|p| p.name.to_string()),
                st.readings,
                st.setpoints,
                st.wanted,
                c.supervisor().heat(Element::LiquorTank).unwrap().phase(),
                c.supervisor().heat(Element::LiquorTank).unwrap().settled(),
                c.supervisor().guard().latch(),
                st.directive.map(|d| d.prompt)
            );
        }
    }
}
