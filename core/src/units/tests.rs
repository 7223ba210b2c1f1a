use super::*;
use std::format;

extern crate std;

const EDGES: [i32; 13] =
    [i32::MIN, i32::MIN + 1, -32_768_001, -100_001, -100_000, -1, 0, 1, 299_999, 300_000, 300_001, i32::MAX - 1, i32::MAX];

fn kelvin_bits(bits: i32) -> Kelvin {
    Kelvin::from_fixed(I16F16::from_bits(bits))
}

fn slope_bits(bits: i32) -> Slope {
    Slope::from_fixed(I8F24::from_bits(bits))
}

#[test]
fn celsius_keeps_every_thousandth_of_its_range_and_saturates_beyond() {
    for milli in -100_000..=300_000 {
        assert_eq!(Celsius::from_milli(milli).milli(), milli);
    }
    for milli in EDGES {
        assert_eq!(Celsius::from_milli(milli).milli(), milli.clamp(-100_000, 300_000));
    }
    assert_eq!((Celsius::from_fixed(I16F16::MIN), Celsius::from_fixed(I16F16::MAX)), (Celsius::MIN, Celsius::MAX));
    assert_eq!(Celsius::default().milli(), 0);
}

#[test]
fn celsius_arithmetic_saturates_at_both_ends() {
    let huge = kelvin_bits(i32::MAX);
    let tiny = kelvin_bits(i32::MIN);
    assert_eq!((Celsius::MAX.plus(huge), Celsius::MIN.less(huge)), (Celsius::MAX, Celsius::MIN));
    assert_eq!((Celsius::MAX.less(tiny), Celsius::MIN.plus(tiny)), (Celsius::MAX, Celsius::MIN));
    assert_eq!(Celsius::MAX.above(Celsius::MIN).milli(), 400_000);
    assert_eq!(Celsius::MIN.above(Celsius::MAX).milli(), -400_000);
    let one = Kelvin::from_milli(1_000);
    assert_eq!(Celsius::from_milli(20_000).plus(one).less(one).milli(), 20_000);
}

#[test]
fn kelvin_rounds_to_nearest_with_halves_away_from_zero() {
    // 1/1000 is 65.536 steps; half a thousandth up or down is 32.768 steps.
    assert_eq!((Kelvin::from_milli(1).fixed().to_bits(), Kelvin::from_milli(-1).fixed().to_bits()), (66, -66));
    assert_eq!((kelvin_bits(32).milli(), kelvin_bits(33).milli()), (0, 1));
    assert_eq!((kelvin_bits(-32).milli(), kelvin_bits(-33).milli()), (0, -1));
    // 0.0625 K, a step of a one-wire probe, is 62.5 thousandths.
    assert_eq!((kelvin_bits(4_096).milli(), kelvin_bits(-4_096).milli()), (63, -63));
    assert_eq!((Kelvin::from_milli(i32::MAX), Kelvin::from_milli(i32::MIN)), (kelvin_bits(i32::MAX), kelvin_bits(i32::MIN)));
    assert_eq!((kelvin_bits(i32::MAX).milli(), kelvin_bits(i32::MIN).milli()), (32_768_000, -32_768_000));
}

#[test]
fn kelvin_arithmetic_saturates_at_both_ends() {
    let (max, min) = (kelvin_bits(i32::MAX), kelvin_bits(i32::MIN));
    assert_eq!((min.abs(), max.plus(max), min.plus(min)), (max, max, min));
    assert_eq!((max.less(min), min.less(max)), (max, min));
    assert_eq!((max.times(I16F16::MAX), min.times(I16F16::MAX), min.times(I16F16::MIN)), (max, min, max));
    assert_eq!(Kelvin::default(), Kelvin::ZERO);
}

#[test]
fn a_product_of_kelvin_rounds_toward_zero_on_both_sides() {
    let half = I16F16::lit("0.5");
    assert_eq!((kelvin_bits(3).times(half), kelvin_bits(-3).times(half)), (kelvin_bits(1), kelvin_bits(-1)));
    assert_eq!(Kelvin::from_milli(2_000).times(half), Kelvin::from_milli(1_000));
}

#[test]
fn slope_rounds_to_nearest_on_both_sides_saturates_and_comes_back() {
    assert_eq!((slope_bits(1).micro(), slope_bits(-1).micro()), (0, 0));
    assert_eq!((slope_bits(17).micro(), slope_bits(-17).micro()), (1, -1));
    assert_eq!((Slope::from_micro(1).fixed().to_bits(), Slope::from_micro(-1).fixed().to_bits()), (17, -17));
    for micro in [-1_000_000, -449, -1, 0, 1, 2, 3, 449, 450, 31_000, 65_500, 1_000_000] {
        assert_eq!(Slope::from_micro(micro).micro(), micro);
    }
    assert_eq!((Slope::from_micro(i32::MAX), Slope::from_micro(i32::MIN)), (slope_bits(i32::MAX), slope_bits(i32::MIN)));
    assert_eq!((slope_bits(i32::MAX).micro(), slope_bits(i32::MIN).micro()), (128_000_000, -128_000_000));
}

#[test]
fn slope_over_a_span_and_back_agree_within_the_resolution() {
    for micro in [-200_000, -7, 7, 65_000, 130_000, 1_000_000] {
        for seconds in [1, 60, 3_600] {
            let (slope, span) = (Slope::from_micro(micro), Span::from_secs(seconds));
            let change = slope.over(span);
            let back = Slope::of(change, span).unwrap();
            // One step of kelvin, 15.3 uK, spread over the span; rounding takes one more millionth each way.
            let allowed = 16 / i32::try_from(seconds).unwrap() + 2;
            assert!((back.micro() - micro).abs() <= allowed, "{micro} uK/s over {seconds} s came back as {back:?}");
        }
    }
}

#[test]
fn slope_over_saturates_and_rounds_toward_zero() {
    let forever = Span::from_micros(u64::MAX);
    assert_eq!(slope_bits(i32::MAX).over(forever), kelvin_bits(i32::MAX));
    assert_eq!(slope_bits(i32::MIN).over(forever), kelvin_bits(i32::MIN));
    assert_eq!(slope_bits(i32::MIN).over(Span::ZERO), Kelvin::ZERO);
    assert_eq!((slope_bits(255).over(Span::from_secs(1)), slope_bits(-255).over(Span::from_secs(1))), (Kelvin::ZERO, Kelvin::ZERO));
    assert_eq!(
        (slope_bits(256).over(Span::from_secs(1)), slope_bits(-256).over(Span::from_secs(1))),
        (kelvin_bits(1), kelvin_bits(-1))
    );
}

#[test]
fn a_slope_over_no_time_is_no_slope() {
    assert_eq!(Slope::of(Kelvin::from_milli(1_000), Span::ZERO), None);
    assert_eq!(Slope::of(kelvin_bits(i32::MAX), Span::from_micros(1)), Some(slope_bits(i32::MAX)));
    assert_eq!(Slope::of(kelvin_bits(i32::MIN), Span::from_micros(1)), Some(slope_bits(i32::MIN)));
    assert_eq!(Slope::of(kelvin_bits(i32::MAX), Span::from_micros(u64::MAX)), Some(Slope::ZERO));
}

#[test]
fn duty_keeps_every_hundredth_of_a_percent_and_never_passes_full() {
    for basis_points in 0..=10_000 {
        assert_eq!(Duty::from_basis_points(basis_points).basis_points(), basis_points);
    }
    assert_eq!(Duty::from_basis_points(u32::MAX), Duty::FULL);
    assert_eq!(Duty::from_basis_points(10_001), Duty::FULL);
    for bits in [i32::MIN, -1, 0] {
        assert_eq!(Duty::from_fixed(I16F16::from_bits(bits)), Duty::ZERO);
    }
    for bits in [65_536, 65_537, i32::MAX] {
        assert_eq!(Duty::from_fixed(I16F16::from_bits(bits)), Duty::FULL);
    }
    for bits in 0..=65_536_u32 {
        let duty = Duty::from_fixed(I16F16::from_bits(bits as i32));
        assert_eq!((duty.bits(), duty.fixed().to_bits()), (bits, bits as i32));
    }
}

#[test]
fn spans_convert_down_and_saturate() {
    let max = Span::from_micros(u64::MAX);
    assert_eq!((Span::from_millis(u64::MAX), Span::from_secs(u64::MAX), Span::from_mins(u64::MAX)), (max, max, max));
    assert_eq!((max.plus(Span::from_micros(1)), max.times(2), Span::ZERO.less(max)), (max, max, Span::ZERO));
    let span = Span::from_micros(1_999_999);
    assert_eq!((span.as_micros(), span.as_millis(), span.as_secs()), (1_999_999, 1_999, 1));
    assert_eq!((Span::from_mins(3), Span::from_secs(2)), (Span::from_secs(180), Span::from_millis(2_000)));
    assert_eq!((max.seconds(), Span::from_millis(1_500).seconds()), (I16F16::MAX, I16F16::lit("1.5")));
    assert_eq!(Span::from_micros(15).seconds(), I16F16::ZERO, "rounded down");
    assert_eq!(Span::from_micros(16).seconds(), I16F16::DELTA);
}

#[test]
fn a_share_of_a_span_is_rounded_down_and_never_more_than_the_span() {
    assert_eq!(Span::from_secs(10).share(Duty::from_basis_points(2_500)), Span::from_millis(2_500));
    assert_eq!(
        (Span::from_micros(1).share(Duty::FULL), Span::from_micros(1).share(Duty::from_basis_points(9_999))),
        (Span::from_micros(1), Span::ZERO)
    );
    assert_eq!(Span::from_secs(10).share(Duty::ZERO), Span::ZERO);
    assert!(Span::from_micros(u64::MAX).share(Duty::FULL) <= Span::from_micros(u64::MAX));
}

#[test]
fn a_clock_that_ran_backwards_gives_no_span() {
    let (early, late) = (Instant::from_micros(5), Instant::from_micros(7));
    assert_eq!((late.since(early), early.since(early)), (Some(Span::from_micros(2)), Some(Span::ZERO)));
    assert_eq!(early.since(late), None);
    assert_eq!(Instant::from_micros(u64::MAX).plus(Span::from_secs(1)), Instant::from_micros(u64::MAX));
    assert_eq!(Instant::START.plus(Span::from_micros(7)), late);
}

#[test]
fn watts_and_litres_saturate_at_their_ends() {
    assert_eq!((Watts::new(u32::MAX).get(), Watts::new(100_000).get(), Watts::new(99_999).get()), (100_000, 100_000, 99_999));
    assert_eq!((Litres::from_millilitres(-1).millilitres(), Litres::from_millilitres(i32::MIN).millilitres()), (0, 0));
    assert_eq!(Litres::from_millilitres(i32::MAX).fixed(), I16F16::MAX);
    for ml in [1, 999, 19_500, 32_767_000] {
        assert_eq!(Litres::from_millilitres(ml).millilitres(), ml);
    }
}

#[test]
fn quantities_print_with_their_units() {
    assert_eq!(format!("{:?}", Celsius::from_milli(-500)), "-0.500 C");
    assert_eq!(format!("{:?}", Kelvin::from_milli(1_250)), "1.250 K");
    assert_eq!(format!("{:?}", Slope::from_micro(65_500)), "65.500 mK/s");
    assert_eq!(format!("{:?}", Duty::from_basis_points(3_333)), "33.330 %");
    assert_eq!(format!("{:?}", Span::from_millis(90_001)), "90.001 s");
    assert_eq!(format!("{:?}", Instant::from_micros(250_000)), "0.250 s");
    assert_eq!(format!("{:?} {:?}", Watts::new(5_500), Litres::from_millilitres(19_500)), "5500.000 W 19.500 L");
}
