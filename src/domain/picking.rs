//! Which trays to take first. The order is total, so the same stock always gives the same list.

use super::tray_code::TrayCode;
use crate::units::instant::Instant;

/// First in first out by the cutting, or first expired first out by the last moment of sale.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Rule {
    Fifo,
    Fefo,
}

impl Rule {
    pub const fn as_str(self) -> &'static str {
        match self {
            Rule::Fifo => "fifo",
            Rule::Fefo => "fefo",
        }
    }

    pub fn parse(text: &str) -> Option<Rule> {
        [Rule::Fifo, Rule::Fefo].into_iter().find(|rule| rule.as_str() == text)
    }
}

/// A tray that may be sold now, as the pick list sees it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Candidate {
    pub tray_id: i64,
    pub code: TrayCode,
    pub place: String,
    pub net_g: i64,
    pub cut_at: Instant,
    pub sell_until: Instant,
}

/// The trays to take, in order, and those passed over because too little life was left.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Picked {
    pub take: Vec<Candidate>,
    pub passed_over: Vec<Candidate>,
}

/// Takes the first `count` candidates by `rule` that can still be sold for `least_life_micros` after `now`.
pub fn pick(mut candidates: Vec<Candidate>, count: usize, rule: Rule, least_life_micros: i64, now: Instant) -> Picked {
    candidates.sort_by_key(|c| match rule {
        Rule::Fifo => (c.cut_at, c.sell_until, c.tray_id),
        Rule::Fefo => (c.sell_until, c.cut_at, c.tray_id),
    });
    let mut picked = Picked::default();
    for candidate in candidates {
        if picked.take.len() == count {
            break;
        }
        let enough = candidate.sell_until.since(now) >= least_life_micros;
        if enough { picked.take.push(candidate) } else { picked.passed_over.push(candidate) }
    }
    picked
}

#[cfg(test)]
mod tests {
    use super::*;

    fn at(hours: i64) -> Instant {
        Instant::from_micros(hours * 3_600_000_000).unwrap_or_else(|_| panic!("a small number"))
    }

    fn candidate(tray_id: i64, cut: i64, until: i64) -> Candidate {
        let code = (1..)
            .filter_map(TrayCode::from_number)
            .nth(usize::try_from(tray_id).unwrap_or(0))
            .unwrap_or_else(|| panic!("codes do not end"));
        Candidate { tray_id, code, place: "case-1".into(), net_g: 250, cut_at: at(cut), sell_until: at(until) }
    }

    fn ids(picked: &[Candidate]) -> Vec<i64> {
        picked.iter().map(|c| c.tray_id).collect()
    }

    #[test]
    fn fifo_takes_the_oldest_cut_and_fefo_the_first_to_end() {
        let stock = || vec![candidate(1, 10, 60), candidate(2, 8, 70), candidate(3, 12, 50), candidate(4, 12, 50)];
        assert_eq!(ids(&pick(stock(), 3, Rule::Fifo, 0, at(20)).take), [2, 1, 3]);
        assert_eq!(ids(&pick(stock(), 3, Rule::Fefo, 0, at(20)).take), [3, 4, 1]);
    }

    #[test]
    fn what_is_too_short_is_passed_over_and_said() {
        let picked = pick(vec![candidate(1, 1, 22), candidate(2, 2, 40)], 1, Rule::Fifo, at(5).micros(), at(20));
        assert_eq!((ids(&picked.take), ids(&picked.passed_over)), (vec![2], vec![1]));
    }

    proptest::proptest! {
        #[test]
        fn nothing_left_behind_was_due_earlier(stock in proptest::collection::vec((0_i64..50, 0_i64..99), 0..30), count in 0_usize..12) {
            let candidates: Vec<Candidate> = stock.iter().enumerate().map(|(i, (cut, until))| candidate(i as i64, *cut, *until)).collect();
            let picked = pick(candidates.clone(), count, Rule::Fefo, 0, at(0));
            proptest::prop_assert_eq!(picked.take.len(), count.min(candidates.len()));
            let last = picked.take.iter().map(|c| (c.sell_until, c.cut_at, c.tray_id)).max();
            for left in candidates.iter().filter(|c| !picked.take.contains(c)) {
                proptest::prop_assert!(last.is_none_or(|l| (left.sell_until, left.cut_at, left.tray_id) > l));
            }
        }
    }
}
