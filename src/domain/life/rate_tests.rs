//! Checks of the rate models and the raw clock against published and computed values, each with its source.

use super::*;
use crate::units::instant::MICROS_PER_HOUR;

fn celsius(milli: i64) -> MilliCelsius {
    MilliCelsius::new(milli).unwrap_or_else(|_| panic!("{milli}"))
}

fn start() -> Instant {
    Instant::parse("2026-11-25T06:00:00Z").unwrap_or_else(|_| panic!("a fixed instant"))
}

/// Grid of both models, computed from the square-root model (Olley & Ratkowsky 1973) and the exponential model (Dalgaard & Huss
/// 1997); both coefficients are from memory. Tolerance one millionth, and never below the exact value.
#[test]
fn both_models_on_the_grid() {
    let rows = [
        (-4_000, 0.360_000, 0.618_783),
        (-3_000, 0.490_000, 0.697_676),
        (-2_200, 0.608_400, 0.767_974),
        (-2_000, 0.640_000, 0.786_628),
        (-1_000, 0.810_000, 0.886_920),
        (0, 1.000_000, 1.000_000),
        (2_000, 1.440_000, 1.271_249),
        (4_000, 1.960_000, 1.616_074),
        (5_000, 2.250_000, 1.822_119),
        (10_000, 4.000_000, 3.320_117),
        (20_000, 9.000_000, 11.023_176),
    ];
    for (milli, root, exponential) in rows {
        let close = |pace: Result<Pace, OutsideModel>, expected: f64| {
            pace.is_ok_and(|p| ((p.millionths() as f64) / 1e6 - expected).abs() < 1.6e-6)
        };
        assert!(close(square_root_rate(celsius(milli)), root), "square root at {milli}");
        assert!(close(exponential_rate(celsius(milli)), exponential), "exponential at {milli}");
        assert_eq!(
            cautious_rate(celsius(milli)).unwrap(),
            square_root_rate(celsius(milli)).unwrap().max(exponential_rate(celsius(milli)).unwrap())
        );
    }
}

/// The trap of the square-root formula: at -20 °C it gives 1.0 again, as in ice, at -30 °C 4.0. All of it is refused.
#[test]
fn below_the_domain_is_refused() {
    for milli in [-4_001, -10_000, -20_000, -30_000, 25_001, 60_000] {
        assert!(square_root_rate(celsius(milli)).is_err() && exponential_rate(celsius(milli)).is_err(), "{milli}");
    }
    assert_eq!(model_domain(celsius(15_001)), Ok(Domain::Doubtful));
}

/// The models cross at 0 °C and at 15.79 °C (computed, ±0.01): between, the square root is the cautious one.
#[test]
fn the_envelope_changes_sides_where_the_models_cross() {
    for (milli, square_root_is_faster) in [(-500, false), (500, true), (15_780, true), (15_800, false)] {
        assert_eq!(
            square_root_rate(celsius(milli)).unwrap() > exponential_rate(celsius(milli)).unwrap(),
            square_root_is_faster,
            "{milli}"
        );
    }
}

/// Shelf life from shelf life in ice (days; computed from the square-root model); where FAO 348 Table 6.2 prints 5, 10, 15 °C
/// the rounded print agrees (print from memory).
#[test]
fn shelf_life_from_shelf_life_in_ice() {
    let rows = [
        (
            6,
            [
                (-3_000, 12.245),
                (-2_000, 9.375),
                (-1_000, 7.407),
                (4_000, 3.061),
                (5_000, 2.667),
                (10_000, 1.500),
                (15_000, 0.960),
            ],
        ),
        (
            10,
            [
                (-3_000, 20.408),
                (-2_000, 15.625),
                (-1_000, 12.346),
                (4_000, 5.102),
                (5_000, 4.444),
                (10_000, 2.500),
                (15_000, 1.600),
            ],
        ),
        (
            14,
            [
                (-3_000, 28.571),
                (-2_000, 21.875),
                (-1_000, 17.284),
                (4_000, 7.143),
                (5_000, 6.222),
                (10_000, 3.500),
                (15_000, 2.240),
            ],
        ),
    ];
    for (ice_days, columns) in rows {
        for (milli, days) in columns {
            let clock = RawClock::fresh(ice_days * 24 * MICROS_PER_HOUR, start());
            let end = square_root_rate(celsius(milli)).ok().and_then(|pace| clock.ends_at(pace));
            let got = end.map_or(0.0, |end| end.since(start()) as f64 / (24.0 * MICROS_PER_HOUR as f64));
            assert!((got - days).abs() <= 0.001, "{ice_days} d in ice at {milli}: {got}");
        }
    }
}

/// Time-temperature addition, hand-checkable: 2 d at 0 °C + 6 h at 10 °C + 1 d at 5 °C = 5.25 ice-days by the square-root model,
/// in any order; of 14 ice-days 8.75 d are then left at 0 °C and 4.464286 d at 4 °C (computed).
#[test]
fn phases_add_up_in_any_order() {
    let phases = [(48, 0), (6, 10_000), (24, 5_000)];
    for order in [[0, 1, 2], [0, 2, 1], [1, 0, 2], [1, 2, 0], [2, 0, 1], [2, 1, 0]] {
        let mut clock = RawClock::fresh(14 * 24 * MICROS_PER_HOUR, start());
        for index in order {
            let (hours, milli) = phases[index];
            let pace = square_root_rate(celsius(milli)).unwrap_or(Pace::STOPPED);
            clock = clock.run_to(clock.as_of.plus_micros(hours * MICROS_PER_HOUR), pace);
        }
        assert_eq!(clock.used_micros, 126 * MICROS_PER_HOUR);
        let left = |milli| {
            clock.ends_at(square_root_rate(celsius(milli)).unwrap_or(Pace::ICE)).map_or(0, |e| e.since(clock.as_of))
        };
        assert_eq!(left(0), 210 * MICROS_PER_HOUR);
        assert!((left(4_000) as f64 / (24.0 * MICROS_PER_HOUR as f64) - 4.464_286).abs() < 1e-6);
    }
}

/// Published limits for eating tuna raw against our clock with its 4 ice-days: Agustini (yellowfin, K value) 4 d at 0 °C and 2 d
/// at 5 °C; Seki et al. 2016 (bluefin) 3 d at 4 °C. The model must not promise more; it stays 5 h and 23 h below at 5 and 4 °C.
#[test]
fn the_tuna_budget_never_exceeds_the_published_limits() {
    let clock = RawClock::fresh(96 * MICROS_PER_HOUR, start());
    for (milli, published_hours, model_hours) in [(0, 96, 96), (5_000, 48, 42), (4_000, 72, 48)] {
        let end = cautious_rate(celsius(milli)).ok().and_then(|pace| clock.ends_at(pace));
        let hours = end.map_or(i64::MAX, |e| e.since(start()) / MICROS_PER_HOUR);
        assert_eq!(hours, model_hours, "at {milli}");
        assert!(hours <= published_hours);
    }
}

#[test]
fn freezing_pauses_and_superchill_earns_nothing_unmeasured() {
    assert_eq!(Pace::unmeasured(StorageMethod::Frozen, celsius(-18_000)), Ok(Pace::STOPPED));
    assert_eq!(Pace::unmeasured(StorageMethod::Superchill, celsius(-1_000)), Ok(Pace::ICE));
    let clock = RawClock::fresh(10, start());
    assert_eq!(clock.ends_at(Pace::STOPPED), None);
    assert_eq!(clock.run_to(start().plus_micros(MICROS_PER_HOUR), Pace::STOPPED).used_micros, 0);
}

proptest::proptest! {
    #[test]
    fn splitting_a_stay_never_lengthens_a_life(span in 1_i64..864_000_000_000, cut in 0_i64..1_000, milli in -4_000_i64..25_000) {
        let pace = cautious_rate(celsius(milli)).unwrap_or(Pace::ICE);
        let clock = RawClock::fresh(96 * MICROS_PER_HOUR, start());
        let whole = clock.run_to(start().plus_micros(span), pace);
        let middle = start().plus_micros(span / 1_000 * cut);
        let split = clock.run_to(middle, pace).run_to(start().plus_micros(span), pace);
        proptest::prop_assert!(split.used_micros >= whole.used_micros && split.used_micros - whole.used_micros <= 1);
    }

    #[test]
    fn a_breakdown_never_lengthens_a_life(budgets in proptest::collection::vec((1_i64..1_000_000, 0_i64..1_200_000), 1..5), budget in 1_i64..2_000_000) {
        let inputs: Vec<RawClock> = budgets.iter().map(|(b, u)| RawClock { budget_micros: *b, used_micros: *u, as_of: start() }).collect();
        let heir = RawClock::inherit(&inputs, budget, start());
        for input in &inputs {
            proptest::prop_assert!(heir.left_micros() <= input.left_micros());
            proptest::prop_assert!(heir.used_permille() >= input.used_permille());
        }
    }

    #[test]
    fn the_end_is_the_last_moment_within_the_budget(used in 0_i64..1_000_000_000, milli in -4_000_i64..25_000) {
        let clock = RawClock { budget_micros: 2_000_000_000, used_micros: used, as_of: start() };
        let pace = cautious_rate(celsius(milli)).unwrap_or(Pace::ICE);
        let end = clock.ends_at(pace).unwrap_or(start());
        proptest::prop_assert!(clock.run_to(end, pace).used_micros <= clock.budget_micros);
        proptest::prop_assert!(clock.run_to(end.plus_micros(2), pace).used_micros > clock.budget_micros);
    }
}
