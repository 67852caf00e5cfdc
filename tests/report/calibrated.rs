//! Calibration: intervals and scores against published and hand-worked values.

use sakudana::domain::calibration::{Calibration, ENOUGH, Outcome, Word, calibrate, wilson};

fn close(found: f64, wanted: f64, within: f64, what: &str) {
    assert!((found - wanted).abs() <= within, "{what}: {found} is not {wanted}");
}

fn outcome(forecast: f64, happened: f64) -> Outcome {
    Outcome { forecast, happened, weight: 1.0 }
}

/// Newcombe 1998, Statistics in Medicine 17, 857-872, table I, score method without continuity correction (memory; recomputed).
#[test]
fn intervals_are_wilsons() {
    for (seen, n, low, high) in [
        (81.0, 263.0, 0.2553, 0.3662),
        (15.0, 148.0, 0.0624, 0.1605),
        (0.0, 20.0, 0.0, 0.1611),
        (1.0, 29.0, 0.0061, 0.1718),
    ] {
        let found = wilson(seen / n, n);
        close(found.0, low, 5e-5, "low");
        close(found.1, high, 5e-5, "high");
    }
    assert_eq!(wilson(0.0, 0.0), (0.0, 1.0), "nothing seen, nothing known");
    let (low, high) = wilson(0.5, ENOUGH);
    close((high - low) / 2.0, 0.2, 0.001, "what is said beside the least number");
}

/// The example of scikit-learn's documentation of `brier_score_loss`: outcomes 0, 1, 1, 0 for 0.1, 0.9, 0.8, 0.3 score 0.0375 (memory;
/// recomputed: 0.15 / 4).
#[test]
fn the_score_is_briers() {
    let four = [outcome(0.1, 0.0), outcome(0.9, 1.0), outcome(0.8, 1.0), outcome(0.3, 0.0)];
    close(calibrate(&four, 10).brier.unwrap().score, 0.0375, 1e-12, "score");
    assert_eq!(calibrate(&[], 10), Calibration { bins: vec![], count: 0, brier: None });
}

/// Worked by hand. Ten times 0.2 was said and it happened once; ten times 0.7, and it happened eight times. Mean 9/20 = 0.45.
/// Reliability (0.1² + 0.1²)/2 = 0.01; resolution (0.35² + 0.35²)/2 = 0.1225; uncertainty 0.45 × 0.55 = 0.2475; score
/// ((0.64 + 9 × 0.04) + (8 × 0.09 + 2 × 0.49))/20 = 2.7/20 = 0.135 = 0.01 − 0.1225 + 0.2475 (Murphy 1973: nothing within the bins, since each
/// holds one forecast).
#[test]
fn the_parts_are_murphys() {
    let mut said = vec![outcome(0.2, 1.0), outcome(0.7, 0.0), outcome(0.7, 0.0)];
    said.extend([outcome(0.2, 0.0); 9]);
    said.extend([outcome(0.7, 1.0); 8]);
    let found = calibrate(&said, 10);
    let brier = found.brier.unwrap();
    for (found, wanted) in [
        (brier.score, 0.135),
        (brier.reliability, 0.01),
        (brier.resolution, 0.1225),
        (brier.uncertainty, 0.2475),
        (brier.within, 0.0),
    ] {
        close(found, wanted, 1e-12, "part");
    }
    assert_eq!(found.bins.len(), 2);
    assert_eq!((found.bins[0].count, found.bins[1].count), (10, 10));
    close(found.bins[0].happened, 0.1, 1e-12, "of those said 20 %");
    close(found.bins[1].forecast, 0.7, 1e-12, "said");
    close(found.bins[1].happened, 0.8, 1e-12, "of those said 70 %");
    assert!(found.bins.iter().all(|bin| bin.word == Word::TooFew), "ten say nothing");
}

/// With forecasts that differ within a bin, and shares for outcomes, the parts still sum to the score; a mean of squares, reckoned here one
/// by one, is the score. By hand: 0.42, 0.48 in one bin came to 1 and 0.5: (0.58² + 0.02²)/2 = 0.1684.
#[test]
fn the_parts_sum_to_the_score() {
    let two = calibrate(&[outcome(0.42, 1.0), outcome(0.48, 0.5)], 10).brier.unwrap();
    close(two.score, 0.1684, 1e-12, "score");
    close(two.reliability, (0.45_f64 - 0.75).powi(2), 1e-12, "reliability");
    close(two.resolution, 0.0, 1e-12, "one bin tells nothing apart");
    close(two.uncertainty, 0.0625, 1e-12, "uncertainty");
    // 0.1684 - 0.09 + 0 - 0.0625: half the squares of 0.03 within, less twice the covariance of -0.0075.
    close(two.within, 0.0159, 1e-12, "within");
}

/// A tray that counts twice is two trays, as far as means go; it is worth less than two, as far as certainty goes.
#[test]
fn weights_count_but_do_not_make_evidence() {
    let twice: Vec<Outcome> = (0..40).map(|k| outcome(0.55, f64::from(k % 4 / 2))).collect();
    let heavy: Vec<Outcome> =
        (0..40).map(|k| Outcome { weight: if k == 0 { 100.0 } else { 1.0 }, ..twice[k] }).collect();
    let (equal, uneven) = (calibrate(&twice, 10), calibrate(&heavy, 10));
    close(equal.bins[0].worth, 40.0, 1e-9, "equal weights");
    assert_eq!(equal.bins[0].word, Word::Fits);
    // (100 + 39)² / (100² + 39).
    close(uneven.bins[0].worth, 19_321.0 / 10_039.0, 1e-9, "one heavy tray");
    assert_eq!(uneven.bins[0].word, Word::TooFew);
}

#[test]
fn bins_say_when_the_forecast_is_outside_of_chance() {
    let seen = |happened: usize| -> Word {
        let all: Vec<Outcome> = (0..50).map(|k| outcome(0.7, if k < happened { 1.0 } else { 0.0 })).collect();
        calibrate(&all, 10).bins[0].word
    };
    assert_eq!([seen(35), seen(20), seen(48)], [Word::Fits, Word::Rarer, Word::Oftener]);
    let odd = [outcome(1.0, 1.0), outcome(0.0, 0.0), outcome(f64::NAN, 1.0), outcome(1.2, 1.0)];
    let found = calibrate(&odd, 10);
    assert_eq!((found.count, found.bins.len()), (2, 2), "what is no forecast is not counted; 1 is in the last bin");
    close(found.bins[1].from, 0.9, 1e-12, "the last");
    let tenths: Vec<Outcome> = (0..10).map(|k| outcome(f64::from(k * 100) / 1_000.0, 0.0)).collect();
    let edges: Vec<(usize, f64)> = calibrate(&tenths, 10).bins.iter().map(|bin| (bin.count, bin.from)).collect();
    assert_eq!(
        edges,
        [0.0, 0.1, 0.2, 0.3, 0.4, 0.5, 0.6, 0.7, 0.8, 0.9].map(|from| (1, from)),
        "a tenth begins its own bin"
    );
}
