//! The trays of one cut as a pick list sees them: which may be sold now, and which stand on other lists.

use crate::domain::picking::Candidate;
use crate::domain::picking::list::{PickList, Purpose, State};
use crate::domain::shop::Shop;
use crate::ops::board::judged;
use crate::ops::failure::Failure;
use crate::store::trays::Filter;
use crate::store::{Reading, Tx, errands, picks};
use crate::units::instant::Instant;
use std::collections::{BTreeSet, HashMap};

pub struct Stock {
    /// Those that may be sold now.
    pub candidates: Vec<Candidate>,
    /// Lines of lists that nobody touched for long: whoever takes their trays takes them from the list.
    slept: HashMap<i64, i64>,
    /// Lines of the other lists that reserve: tray, list.
    elsewhere: HashMap<i64, i64>,
}

/// The stock of a cut, as seen by a list of one's own, if there is one yet.
pub fn of_cut(
    reading: &mut Reading<'_>,
    shop: &Shop,
    now: Instant,
    cut: &str,
    own: Option<i64>,
) -> Result<Stock, Failure> {
    let (mut slept, mut elsewhere) = (HashMap::new(), HashMap::new());
    for standing in picks::standing(reading)?.into_iter().filter(|standing| own != Some(standing.list_id)) {
        if standing.list.until().is_some_and(|until| until >= now) {
            elsewhere.insert(standing.tray_id, standing.list_id);
        } else if standing.list.state == State::Open {
            slept.insert(standing.tray_id, standing.line_id);
        }
    }
    // What a review promised of each tray; none for all of it.
    let mut promised: HashMap<i64, Option<i64>> = HashMap::new();
    for errand in errands::open(reading)? {
        let before = promised.get(&errand.tray_id).copied().unwrap_or(Some(0));
        promised.insert(errand.tray_id, before.zip(errand.grams).map(|(before, grams)| before + grams));
    }
    let filter = Filter { in_stock_only: true, cut: Some(cut.to_owned()), ..Filter::default() };
    let all = judged(reading, shop, now, &filter, 0, i64::MAX)?;
    let candidate = |judged: crate::ops::board::Judged| {
        let tray = judged.facts.tray;
        let net_g = tray.net.get();
        let free_g = match promised.get(&tray.id) {
            None => net_g,
            Some(grams) => grams.map_or(0, |grams| (net_g - grams).max(0)),
        };
        Some(Candidate {
            tray_id: tray.id,
            code: tray.code,
            kind: tray.kind,
            net_g: if free_g > 0 { free_g } else { net_g },
            cut_at: tray.cut_at,
            sell_until: judged.verdict.sell_until?,
            price: tray.price,
            reserved_for: elsewhere.get(&tray.id).copied(),
            promised: free_g == 0,
            place: tray.place,
        })
    };
    let candidates = all.into_iter().filter(|judged| judged.verdict.stops.is_empty()).filter_map(candidate).collect();
    Ok(Stock { candidates, slept, elsewhere })
}

impl Stock {
    /// How many of them stand in a place.
    pub fn standing_in(&self, place: &str) -> usize {
        self.candidates.iter().filter(|tray| tray.place == place).count()
    }

    /// How many of them other refills of a case are about to bring.
    pub fn on_their_way(&self, reading: &mut Reading<'_>, case: &str) -> Result<usize, Failure> {
        let filling =
            |list: &PickList| list.asked.purpose == Purpose::Refill && list.asked.place.as_deref() == Some(case);
        let lists: BTreeSet<i64> =
            picks::open(reading)?.iter().filter(|list| filling(list)).map(|list| list.id).collect();
        let coming = |tray: &&Candidate| {
            tray.place != case && self.elsewhere.get(&tray.tray_id).is_some_and(|list| lists.contains(list))
        };
        Ok(self.candidates.iter().filter(coming).count())
    }

    /// Takes a tray from a list that slept over it.
    pub fn claim(&self, tx: &mut Tx<'_>, tray: i64) -> Result<(), Failure> {
        match self.slept.get(&tray) {
            Some(line) => Ok(picks::lose_line(tx, *line)?),
            None => Ok(()),
        }
    }
}
