use super::*;

/// A rig of 40 L vessels with 5.5 kW in each.
fn draft() -> Draft {
    Draft {
        mains: Mains::Hz60,
        element_power: PerElement::build(|_| Some(Watts::new(5_500))),
        least_ml: PerElement::build(|_| 10_000),
        greatest_ml: PerElement::build(|_| 60_000),
        limit: PerVessel::build(|_| Celsius::from_milli(95_000)),
        boiling: Celsius::from_milli(100_000),
        cascade_limit: Kelvin::from_milli(6_000),
        plausible: PerVessel::build(|_| Limits::EVERY_TICK),
        timing: Timing::default(),
        press: crate::arming::PRESS,
    }
}

fn error(change: impl Fn(&mut Draft)) -> Option<SettingsError> {
    let mut draft = draft();
    change(&mut draft);
    Settings::new(draft).err()
}

#[test]
fn a_sound_draft_is_kept_as_it_is() {
    assert_eq!(Settings::new(draft()).map(|settings| *settings.get()), Ok(draft()));
    assert_eq!(Settings::new(draft()).unwrap().limit(Vessel::MashTun), Celsius::from_milli(95_000));
}

#[test]
fn t11_every_error_is_produced_just_outside_its_range_and_not_at_its_ends() {
    use Element::{BoilKettle, LiquorTank};
    assert_eq!(error(|d| d.element_power = PerElement::default()), Some(SettingsError::NoElement));
    for element in [LiquorTank, BoilKettle] {
        let power = |watts, ml| {
            error(|d| {
                *d.element_power.get_mut(element) = Some(Watts::new(watts));
                *d.least_ml.get_mut(element) = ml;
                *d.greatest_ml.get_mut(element) = ml;
            })
        };
        assert_eq!([power(99, 10_000), power(20_001, 100_000)], [Some(SettingsError::ElementPower(element)); 2]);
        assert_eq!((power(100, 10_000), power(20_000, 100_000)), (None, None));
        assert_eq!([power(1_000, 999), power(5_500, 500_001)], [Some(SettingsError::LeastVolume(element)); 2]);
        assert_eq!((power(1_000, 1_000), power(5_500, 500_000)), (None, None));
        // Slower than 1 mK/s, and faster than 1 K/s.
        assert_eq!([power(100, 30_000), power(5_000, 1_000)], [Some(SettingsError::ElementPower(element)); 2]);
        let greatest = |ml| error(|d| *d.greatest_ml.get_mut(element) = ml);
        assert_eq!([greatest(9_999), greatest(5_000_001)], [Some(SettingsError::GreatestVolume(element)); 2]);
        assert_eq!((greatest(10_000), greatest(5_000_000)), (None, None));
        let none = error(|d| *d.element_power.get_mut(element) = None);
        assert_eq!(none, None, "one element is enough");
    }
    for vessel in Vessel::ALL {
        let limit = |milli| error(|d| *d.limit.get_mut(vessel) = Celsius::from_milli(milli));
        assert_eq!([limit(29_999), limit(115_001)], [Some(SettingsError::Limit(vessel)); 2]);
        assert_eq!((limit(30_000), limit(115_000)), (None, None));
    }
    let boiling = |milli| error(|d| d.boiling = Celsius::from_milli(milli));
    assert_eq!([boiling(79_999), boiling(103_001)], [Some(SettingsError::Boiling); 2]);
    assert_eq!((boiling(80_000), boiling(103_000)), (None, None));
    let cascade = |milli| error(|d| d.cascade_limit = Kelvin::from_milli(milli));
    assert_eq!([cascade(-1), cascade(20_001)], [Some(SettingsError::CascadeLimit); 2]);
    assert_eq!((cascade(0), cascade(20_000)), (None, None));
    let dead_time = |ms| error(|d| d.timing.dead_time = Span::from_millis(ms));
    assert_eq!([dead_time(19), dead_time(5_001)], [Some(SettingsError::Timing); 2]);
    assert_eq!((dead_time(20), dead_time(5_000)), (None, None));
    let settle = |ms| error(|d| d.timing.contactor_settle = Span::from_millis(ms));
    assert_eq!((settle(0), settle(5_000), settle(5_001)), (None, None, Some(SettingsError::Timing)));
    let press = |ms| error(|d| d.press = Span::from_millis(ms));
    assert_eq!([press(249), press(10_001)], [Some(SettingsError::Press); 2]);
    assert_eq!((press(250), press(10_000)), (None, None));
}

#[test]
fn the_fastest_climb_is_power_over_heat_capacity_rounded_up() {
    let settings = Settings::new(draft()).unwrap();
    // 5500 W / (10 L x 4180 J/(L K)) = 131,578.9 uK/s.
    let micro = settings.fastest(Element::LiquorTank).unwrap().micro();
    assert!((131_578..=131_579).contains(&micro), "{micro} uK/s");
    let mut one = draft();
    one.element_power.boil_kettle = None;
    assert_eq!(Settings::new(one).unwrap().fastest(Element::BoilKettle), None);
}

#[test]
fn whatever_is_accepted_here_is_accepted_by_heat_control() {
    for watts in (100..=20_000).step_by(37) {
        for ml in [1_000, 1_316, 4_180, 4_785, 23_900, 23_923, 500_000] {
            let mut draft = draft();
            draft.element_power.liquor_tank = Some(Watts::new(watts));
            draft.least_ml.liquor_tank = ml;
            if let Ok(settings) = Settings::new(draft) {
                assert!(HeatConfig::new(settings.fastest(Element::LiquorTank).unwrap()).is_ok(), "{watts} W on {ml} mL");
            }
        }
    }
    // 4180 W on one litre is 1 K/s to the last digit; rounding up must not carry it past heat control's bound unseen.
    assert_eq!(
        error(|d| {
            d.element_power.liquor_tank = Some(Watts::new(4_180));
            d.least_ml.liquor_tank = 1_000;
        }),
        Some(SettingsError::ElementPower(Element::LiquorTank))
    );
}
