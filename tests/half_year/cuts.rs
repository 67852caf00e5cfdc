//! The cuts of the invented shop, and worlds in which they live. Every number is invented.

use crate::world::{Cut, KitchenComes, Settings};

pub const HALF_A_YEAR: i64 = 26;

fn cut(name: &'static str, list: i64, block_g: (i64, i64), rate: f64, elasticity: f64, weekend: f64) -> Cut {
    Cut { name, list, block_g, rate, elasticity, weekend, every: 1, life: (48, 96) }
}

fn cuts() -> Vec<Cut> {
    let second = |cut: Cut| Cut { every: 2, ..cut };
    vec![
        cut("medium block", 9_800, (160, 280), 0.7, 1.6, 1.2),
        second(cut("fatty block", 15_800, (120, 220), 0.35, 1.3, 1.4)),
        cut("lean block", 6_400, (180, 320), 1.1, 2.0, 1.0),
        cut("scrape", 3_600, (150, 300), 0.8, 3.0, 0.8),
        second(cut("bream fillet", 5_200, (200, 350), 0.5, 2.4, 1.0)),
        cut("yellowtail block", 4_800, (180, 300), 0.6, 2.7, 1.1),
        second(cut("cured mackerel", 2_900, (220, 380), 0.3, 1.2, 0.9)),
    ]
}

/// The shop as it is, with its first so many cuts, for so many weeks.
pub fn usual(count: usize, weeks: i64) -> Settings {
    Settings {
        days: weeks * 7,
        cuts: cuts().into_iter().take(count).collect(),
        surplus: 1.2,
        kitchen_permille: 250,
        kitchen_g_per_day: 3_000,
        kitchen_comes: KitchenComes::EveryReview,
        waste_cents_per_kg: 60,
        cost_permille: 450,
    }
}

/// Other shops: each differs from the usual one in one thing.
pub fn others(count: usize, weeks: i64) -> Vec<(&'static str, Settings)> {
    let each = |change: fn(&mut Cut)| {
        let mut settings = usual(count, weeks);
        settings.cuts.iter_mut().for_each(change);
        settings
    };
    vec![
        ("low demand", each(|cut| cut.rate *= 0.5)),
        ("high demand", each(|cut| cut.rate *= 1.6)),
        ("short life", each(|cut| cut.life = (30, 60))),
        ("strong elasticity", each(|cut| cut.elasticity *= 1.6)),
        ("kitchen worth much", Settings { kitchen_permille: 500, ..usual(count, weeks) }),
    ]
}
