//! Periodic review with a ladder (1.2 of the reference).

use crate::ground::{ladder, near};
use sakudana::domain::advice::program::solve;

/// Table 2, rows LAD-L1-n, `computed`: n; V, first price, E sold at s = 0; the same at s = 6.
#[test]
fn lad_l1() {
    let rows = [
        (1, (19.004259, 20, 0.950213), (19.302981, 20, 0.950213)),
        (2, (35.224882, 20, 1.794116), (36.514905, 20, 1.751065)),
        (4, (56.197199, 20, 3.266177), (61.727646, 20, 2.860148)),
        (6, (67.809806, 16, 4.696123), (78.204947, 20, 3.687398)),
        (8, (73.980579, 16, 5.557924), (92.099924, 16, 4.409992)),
    ];
    for (n, without, with) in rows {
        for (left, (value, price, sold)) in [(0.0, without), (6.0, with)] {
            let problem = ladder(n, 3, left);
            let best = solve(&problem).best;
            near(&format!("LAD-L1-{n} at {left}: V"), best.total / 100.0, value, 1e-6);
            near(&format!("LAD-L1-{n} at {left}: sold"), best.whole.sold_units, sold, 1e-6);
            assert_eq!(problem.prices[best.choice.price.unwrap_or(0)], price * 100, "LAD-L1-{n} at {left}");
        }
    }
}
