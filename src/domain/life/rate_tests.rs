//! Checks of the rate models against published and computed values, each with its source; what follows from them stands in tests/curve.

use super::*;

fn celsius(milli: i64) -> MilliCelsius {
    MilliCelsius::new(milli).unwrap_or_else(|_| panic!("{milli}"))
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

/// Published limits for eating tuna raw against a budget of 4 ice-days: Agustini (yellowfin, K value) 4 d at 0 °C and 2 d at 5 °C; Seki et
/// al. 2016 (bluefin) 3 d at 4 °C. The model must not promise more; it stays 5 h and 23 h below at 5 and 4 °C.
#[test]
fn the_tuna_budget_never_exceeds_the_published_limits() {
    for (milli, published_hours, model_hours) in [(0, 96, 96), (5_000, 48, 42), (4_000, 72, 48)] {
        let pace = cautious_rate(celsius(milli)).map_or(0, Pace::millionths);
        let hours = 96 * 1_000_000 / pace;
        assert_eq!(hours, model_hours, "at {milli}");
        assert!(hours <= published_hours);
    }
}
