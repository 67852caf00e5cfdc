//! Sharing a whole number out by weights so that the parts sum exactly: the largest-remainder (Hamilton) rule.

/// Shares `total` out in proportion to `weights`. The parts sum to `total`, each is within one of its exact quota, and
/// a zero weight gets nothing. Ties go to the lower index. A negative total is shared as its absolute value and negated.
/// None when every weight is zero and the total is not, or a weight is negative.
pub fn largest_remainder(total: i64, weights: &[i64]) -> Option<Vec<i64>> {
    if weights.iter().any(|w| *w < 0) {
        return None;
    }
    if total < 0 {
        return Some(largest_remainder(total.checked_neg()?, weights)?.into_iter().map(|part| -part).collect());
    }
    let sum: i128 = weights.iter().map(|w| i128::from(*w)).sum();
    if sum == 0 {
        return (total == 0).then(|| vec![0; weights.len()]);
    }
    let mut parts = Vec::with_capacity(weights.len());
    let mut remainders = Vec::with_capacity(weights.len());
    for (index, weight) in weights.iter().enumerate() {
        let product = i128::from(total) * i128::from(*weight);
        parts.push(i64::try_from(product / sum).ok()?);
        remainders.push((product % sum, index));
    }
    let handed_out: i64 = parts.iter().sum();
    let left = usize::try_from(total - handed_out).ok()?;
    remainders.sort_by(|a, b| b.0.cmp(&a.0).then(a.1.cmp(&b.1)));
    for (_, index) in remainders.into_iter().take(left) {
        *parts.get_mut(index)? += 1;
    }
    Some(parts)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Apportionments printed in OpenStax, *Contemporary Mathematics* (apportionment); the first row is computed without
    /// the "at least one seat" rule of that text, which money must not follow; the last two are computed.
    #[test]
    fn published_apportionments() {
        let rows: [(i64, &[i64], &[i64]); 10] = [
            (616, &[46_310, 224_230, 20, 16_560, 38_450], &[88, 424, 0, 31, 73]),
            (70, &[15, 9, 10], &[31, 18, 21]),
            (10, &[6, 6, 2], &[4, 4, 2]),
            (11, &[6, 6, 2], &[5, 5, 1]),
            (38, &[894_000, 696_000, 215_000], &[19, 15, 4]),
            (38, &[953_000, 706_000, 218_000], &[19, 14, 5]),
            (90, &[700_000, 937_000], &[38, 52]),
            (99, &[700_000, 937_000, 170_000], &[39, 51, 9]),
            (10_000, &[1, 1, 1], &[3_334, 3_333, 3_333]),
            (101, &[1, 0, 1], &[51, 0, 50]),
        ];
        for (total, weights, expected) in rows {
            assert_eq!(largest_remainder(total, weights).as_deref(), Some(expected), "{total} over {weights:?}");
        }
    }

    #[test]
    fn refuses_what_cannot_be_shared() {
        assert_eq!(largest_remainder(5, &[0, 0]), None);
        assert_eq!(largest_remainder(5, &[]), None);
        assert_eq!(largest_remainder(0, &[]), Some(vec![]));
        assert_eq!(largest_remainder(5, &[1, -1]), None);
        assert_eq!(largest_remainder(-10_000, &[1, 1, 1]), Some(vec![-3_334, -3_333, -3_333]));
    }

    proptest::proptest! {
        #[test]
        fn parts_sum_and_stay_within_one_of_the_quota(total in 0_i64..1_000_000, weights in proptest::collection::vec(0_i64..100_000, 1..12)) {
            let sum: i64 = weights.iter().sum();
            proptest::prop_assume!(sum > 0);
            let parts = largest_remainder(total, &weights).unwrap_or_default();
            proptest::prop_assert_eq!(parts.iter().sum::<i64>(), total);
            for (part, weight) in parts.iter().zip(&weights) {
                let distance = (i128::from(*part) * i128::from(sum) - i128::from(total) * i128::from(*weight)).abs();
                proptest::prop_assert!(distance < i128::from(sum));
                proptest::prop_assert!(*part >= 0 && (*weight > 0 || *part == 0));
            }
        }
    }
}
