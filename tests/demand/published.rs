//! Published and computed numbers of Gamma-Poisson demand, by the ids of the reference for operations: `GP-…` of its section 1.5.
//!
//! Class `computed` unless said: made by an independent program from the formula GP-F.

use sakudana::domain::demand::gamma::{below, ln_gamma};
use sakudana::domain::demand::{Belief, multiplier};

#[track_caller]
fn near(found: f64, expected: f64, error: f64) {
    assert!((found - expected).abs() <= error, "{found} where {expected} was expected");
}

const fn belief(shape: f64, rate: f64) -> Belief {
    Belief { shape, rate }
}

/// GP-1: Johnson, Ott and Dogucu, "Bayes Rules!", chapter 5 (class `secondary`: chapter notes). GP-2: the same, by GP-F.
#[test]
fn sales_are_added_to_what_was_believed() {
    let (prior, sold) = (belief(10.0, 2.0), [6.0, 2.0, 2.0, 1.0]);
    let after = sold.iter().fold(prior, |belief, units| belief.after(*units, 1.0));
    assert_eq!(after, belief(21.0, 6.0));
    near(prior.mean(), 5.0, 1e-12);
    near(after.mean(), 3.5, 1e-12);
    near((after.shape - 1.0) / after.rate, 3.333_333, 1e-6);
    near(after.shape / (after.rate * after.rate), 0.583_333, 1e-6);
    let weight = 4.0 / (2.0 + 4.0);
    near(weight, 4.0 / 6.0, 1e-12);
    near(after.mean(), weight * (11.0 / 4.0) + (1.0 - weight) * prior.mean(), 1e-12);
}

/// GP-3 (class `source`: Albert, LearnBayes R package, demo of chapter 3.3), GP-4 and GP-5.
#[test]
fn a_prior_says_what_to_expect_before_the_first_datum() {
    let prior = belief(16.0, 15_174.0);
    let a = prior.after(1.0, 66.0);
    assert_eq!(a, belief(17.0, 15_240.0));
    near(a.mean(), 0.001_115_485_6, 1e-10);
    for (chance, expected) in prior.asked_for(66.0, 2).into_iter().zip([0.932_914, 0.064_643, 0.002_380]) {
        near(chance, expected, 1e-6);
    }
    let b = prior.after(4.0, 1_767.0);
    assert_eq!(b, belief(20.0, 16_941.0));
    near(b.mean(), 0.001_180_567_9, 1e-10);
    let expected = [0.171_623, 0.286_414, 0.253_928, 0.158_913, 0.078_732, 0.032_848];
    for (chance, expected) in prior.asked_for(1_767.0, 5).into_iter().zip(expected) {
        near(chance, expected, 1e-6);
    }
    // TRAP-10: after the datum they are others.
    near(a.asked_for(66.0, 0)[0], 0.929_2, 5e-5);
    near(b.asked_for(1_767.0, 0)[0], 0.137_5, 5e-5);
}

/// GP-6: the mean put in place of the belief would say that no sale is less likely than it is.
#[test]
fn not_knowing_the_rate_makes_no_sale_likelier() {
    let known = belief(21.0, 6.0);
    near(known.asked_for(0.5, 0)[0], 0.186_207, 1e-6);
    near(known.asked_for(0.5, 0)[0], (6.0_f64 / 6.5).powi(21), 1e-12);
    near((-known.mean() * 0.5).exp(), 0.173_774, 1e-6);
}

/// GP-7: of n trays, so many are expected to be sold; a known rate of the same mean would promise more.
#[test]
fn of_a_few_trays_fewer_are_sold_than_at_a_known_rate() {
    let known_so_well = belief(2.0, 1.0);
    let poisson = [0.864_665, 1.458_659, 1.781_982, 1.924_859];
    for (there, (expected, poisson)) in [0.75, 1.25, 1.562_5, 1.75].into_iter().zip(poisson).enumerate() {
        near(known_so_well.sold_of(there + 1, 1.0), expected, 1e-9);
        // The same rate as good as known: ten million hours of evidence.
        near(belief(2e7, 1e7).sold_of(there + 1, 1.0), poisson, 1e-5);
    }
    near(known_so_well.sold_of(0, 1.0), 0.0, 0.0);
    near(known_so_well.sold_of(4, 0.0), 0.0, 0.0);
}

/// GP-8 and GP-9: the spread between cuts as the weight of their mean (Marshall type; class `memory`, the numbers `computed` from it). It is
/// not what the program does, which gives the mean of the other cuts the weight of one trading day: nine cuts are too few to tell the
/// spread between them. It is held here against the program's own step, which must agree once it is given the same prior.
#[test]
fn the_spread_between_cuts_would_shrink_them_like_this() {
    let seen = [(3.0, 4.0), (9.0, 6.0), (5.0, 5.0), (14.0, 8.0), (1.0, 3.0), (0.0, 2.0)];
    let (units, hours) = seen.iter().fold((0.0, 0.0), |(y, e), (units, hours)| (y + units, e + hours));
    let mean: f64 = units / hours;
    let spread = seen.iter().map(|(y, e)| e * (y / e - mean) * (y / e - mean)).sum::<f64>() / hours;
    let between = spread - mean / (hours / 6.0);
    near(mean, 1.142_857, 1e-6);
    near(spread, 0.321_854, 1e-6);
    near(between, 0.076_955_8, 1e-7);
    let prior = belief(mean * mean / between, mean / between);
    near(prior.shape, 16.972_376, 1e-6);
    near(prior.rate, 14.850_829, 1e-6);
    let shrunk = [1.059_496, 1.245_628, 1.106_874, 1.355_416, 1.006_809, 1.007_213];
    for ((units, hours), expected) in seen.into_iter().zip(shrunk) {
        near(prior.after(units, hours).mean(), expected, 1e-6);
    }
}

/// The design guidance of section 1.5: an hour at 20 % off with elasticity 2 counts as e^0.4 = 1.4918 hours.
#[test]
fn an_hour_at_a_lowered_price_counts_for_more() {
    near(multiplier(2.0, 80.0, 100.0), 1.491_8, 5e-5);
    near(multiplier(2.0, 100.0, 100.0), 1.0, 1e-12);
}

/// Quantiles of chi-square are those of a Gamma distribution of half its degrees of freedom and rate 1/2. From the table of critical values in
/// the NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.6.7.4; class `memory`.
#[test]
fn ranges_are_those_of_the_tables() {
    let table =
        [(1.0, 0.90, 2.706), (10.0, 0.90, 15.987), (10.0, 0.95, 18.307), (10.0, 0.10, 4.865), (100.0, 0.90, 118.498)];
    for (freedom, probability, expected) in table {
        near(belief(freedom / 2.0, 0.5).quantile(probability), expected, 5e-4);
    }
    // Either way of computing it, and both tails.
    for shape in [0.3, 1.0, 2.5, 40.0, 1_500.0] {
        for probability in [0.001, 0.1, 0.5, 0.9, 0.999] {
            near(below(shape, belief(shape, 1.0).quantile(probability)), probability, 1e-9);
        }
    }
}

/// Factorials, and the root of pi (Gamma of one half).
#[test]
fn the_gamma_function_is_that_of_factorials() {
    near(ln_gamma(0.5), 0.5 * std::f64::consts::PI.ln(), 1e-13);
    let mut factorial = 0.0;
    for n in 1..30_u32 {
        near(ln_gamma(f64::from(n)), factorial, 1e-12 * (1.0 + factorial));
        factorial += f64::from(n).ln();
    }
}

/// The chances of all numbers sum to 1, also where that of none is too small for a double.
#[test]
fn chances_sum_to_one() {
    for (belief, hours, most) in
        [(belief(2.0, 1.0), 1.0, 200), (belief(4_000.0, 1_000.0), 400.0, 4_000), (belief(0.5, 9.0), 20.0, 2_000)]
    {
        near(belief.asked_for(hours, most).iter().sum::<f64>(), 1.0, 1e-9);
    }
    assert_eq!(belief(4_000.0, 1_000.0).asked_for(400.0, 0), [0.0_f64], "too small by itself");
}
