use super::*;

fn l(millilitres: i32) -> Litres {
    Litres::from_millilitres(millilitres)
}

fn w(watts: u32) -> Watts {
    Watts::new(watts)
}

#[test]
fn sixty_percent_of_5500_w_is_73_3_percent_of_4500_w() {
    let power = BoilPower::Share(Duty::from_basis_points(6_000)).watts(w(5_500), w(0));
    assert_eq!(power, w(3_300));
    assert_eq!(BoilPower::Power(power).duty(w(4_500), w(0)).map(Duty::basis_points), Some(7_333));
}

#[test]
fn the_boil_off_of_one_element_is_asked_of_another() {
    // An hour at 60 % of 5500 W took 27 L to 22.9 L.
    let loss = measure(l(27_000), l(22_900), Span::from_mins(60), w(3_300)).unwrap();
    assert_eq!(loss, w(3_300 - 2_565), "4.1 L/h takes 2565 W");
    let same = BoilPower::BoilOff(l(4_100));
    assert_eq!(same.duty(w(5_500), loss).map(Duty::basis_points), Some(6_000));
    assert_eq!(same.duty(w(4_500), loss).map(Duty::basis_points), Some(7_333));
}

#[test]
fn a_power_boils_off_what_its_volumes_taught() {
    let hour = Span::from_mins(60);
    for (mean, gone) in [(3_300, 4_100), (2_700, 3_650), (5_500, 7_900)] {
        let loss = measure(l(30_000), l(30_000 - gone), hour, w(mean)).unwrap();
        assert!((boil_off(w(mean), loss).millilitres() - gone).abs() <= 2, "{mean} W");
    }
    assert_eq!(boil_off(w(300), w(400)), l(0));
    assert_eq!(boil_off(w(u32::MAX), w(0)), l(159_821), "100 kW, the most that watts can say");
}

#[test]
fn what_an_element_cannot_give_is_none_and_what_it_just_can_is_full_power() {
    assert_eq!(BoilPower::Power(w(3_001)).duty(w(3_000), w(0)), None);
    assert_eq!(BoilPower::Power(w(3_000)).duty(w(3_000), w(0)), Some(Duty::FULL));
    assert_eq!(BoilPower::BoilOff(l(4_000)).duty(w(3_000), w(600)), None);
    assert_eq!(BoilPower::Power(w(0)).duty(w(0), w(0)), None, "no element");
    assert_eq!(BoilPower::Power(w(0)).duty(w(1), w(0)), Some(Duty::ZERO));
    assert_eq!(BoilPower::Share(Duty::FULL).duty(w(0), w(0)), Some(Duty::FULL));
    assert_eq!(BoilPower::BoilOff(l(i32::MAX)).duty(w(99_999), w(100_000)), None);
}

#[test]
fn volumes_that_cannot_be_true_teach_nothing() {
    let hour = Span::from_mins(60);
    assert_eq!(measure(l(20_000), l(20_000), hour, w(3_000)), None, "nothing gone");
    assert_eq!(measure(l(20_000), l(21_000), hour, w(3_000)), None, "more than before");
    assert_eq!(measure(l(20_000), l(19_000), SHORTEST.less(Span::from_millis(1)), w(3_000)), None, "too short");
    // 3 kW cannot evaporate more than 4.8 L/h; a tenth more is a misread mark and counts as no loss.
    assert_eq!(measure(l(20_000), l(15_100), hour, w(3_000)), Some(w(0)));
    assert_eq!(measure(l(20_000), l(14_600), hour, w(3_000)), None);
    assert_eq!(measure(l(20_000), l(19_900), hour, w(9_000)), Some(MOST_LOSS));
    assert_eq!(measure(l(i32::MAX), l(0), Span::from_micros(u64::MAX), Watts::new(u32::MAX)), Some(MOST_LOSS));
}

#[test]
fn low_mains_gets_more_and_high_mains_less_within_full_power() {
    let share = |measured| compensated(Duty::from_basis_points(6_000), 240_000, measured).basis_points();
    assert_eq!([share(240_000), share(220_000), share(250_000)], [6_000, 7_141, 5_530]);
    assert_eq!(share(180_000), 10_000, "no more than there is");
    assert_eq!([share(0), share(119_000), share(481_000), share(u32::MAX)], [6_000; 4], "a broken sensor changes nothing");
    assert_eq!(compensated(Duty::FULL, 0, 0), Duty::FULL);
    assert_eq!(compensated(Duty::FULL, u32::MAX, u32::MAX), Duty::FULL);
}
