//! What each cut must earn: the cost of a fish shared over its cuts by sales value, exactly to the cent.

use crate::units::share::largest_remainder;

/// Shares `cost_cents` over outputs by value (`price x grams`); by grams where nothing has a price; all zero where there is
/// nothing at all. Sums to the cost whenever any output has grams.
pub fn share_by_value(cost_cents: i64, outputs: &[(i64, i64)]) -> Vec<i64> {
    let values: Vec<i64> = outputs.iter().map(|(price, grams)| price.saturating_mul(*grams)).collect();
    let grams: Vec<i64> = outputs.iter().map(|(_, grams)| *grams).collect();
    largest_remainder(cost_cents, &values)
        .or_else(|| largest_remainder(cost_cents, &grams))
        .unwrap_or_else(|| vec![0; outputs.len()])
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Joint costs: OpenStax, *Principles of Accounting Vol. 2*, §10.5, inputs as printed, answers computed to the cent
    /// (66,000 over 44 and 66 lb at 250 and 295; 40,000 over 104,500 and 50,500).
    #[test]
    fn published_joint_costs() {
        assert_eq!(share_by_value(6_600_000, &[(25_000, 44), (29_500, 66)]), vec![2_382_671, 4_217_329]);
        assert_eq!(share_by_value(4_000_000, &[(104_500, 1), (50_500, 1)]), vec![2_696_774, 1_303_226]);
    }

    /// A synthetic tuna of 40 kg, after by-products: 702.50 over belly, medium-fatty, lean and scrape (computed).
    #[test]
    fn a_fish_pays_for_itself_to_the_cent() {
        let cuts = [(9_500, 2_400), (7_000, 5_200), (4_200, 11_200), (3_000, 2_100)];
        assert_eq!(share_by_value(70_250, &cuts), vec![14_232, 22_722, 29_363, 3_933]);
    }

    #[test]
    fn without_prices_weight_decides() {
        assert_eq!(share_by_value(100, &[(0, 30), (0, 70)]), vec![30, 70]);
        assert_eq!(share_by_value(100, &[(0, 0)]), vec![0]);
    }
}
