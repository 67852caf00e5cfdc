//! The whole stock at once: what lists, boards, picks and reviews judge, in a fixed number of queries however many trays there are.

use super::catalogue::{cut, place, species_of};
use super::error::StoreError;
use super::evidence;
use super::holds;
use super::read::Reading;
use super::schema::{holdings, lots as lots_table, trays as trays_table};
use super::trays::{self, Filter};
use crate::domain::catalogue::{Cut, Species};
use crate::domain::life::curve::Curve;
use crate::domain::place::Place;
use crate::domain::tray::Tray;
use diesel::prelude::*;
use std::collections::{HashMap, HashSet};
use std::sync::Arc;

/// Trays of a filter with everything a judgement needs.
pub struct Snapshot {
    pub trays: Vec<Tray>,
    pub cuts: HashMap<String, Cut>,
    pub species: HashMap<String, Species>,
    pub places: HashMap<String, Place>,
    pub curves: HashMap<String, Arc<Curve>>,
    /// Lots on each tray.
    pub lots_of: HashMap<i64, Vec<i64>>,
    /// Code of each lot, and whether it has a record of parasite freezing.
    pub lots: HashMap<i64, (String, bool)>,
    open_holds: Vec<holds::Hold>,
    /// Hold of a batch and tray it reaches.
    reached: HashSet<(i64, i64)>,
}

/// Loads trays of a filter above a number, with their surroundings.
pub fn load(reading: &mut Reading<'_>, filter: &Filter, above: i64, limit: i64) -> Result<Snapshot, StoreError> {
    let trays = trays::page(reading, filter, above, limit)?;
    let mut lots_of: HashMap<i64, Vec<i64>> = HashMap::new();
    let mut lots = HashMap::new();
    let mut reached = HashSet::new();
    if let (Some(first), Some(last)) = (trays.first(), trays.last()) {
        let on_trays = holdings::table
            .inner_join(trays_table::table.on(trays_table::id.eq(holdings::tray_id)))
            .inner_join(lots_table::table.on(lots_table::id.eq(holdings::lot_id)))
            .filter(holdings::tray_id.between(first.id, last.id));
        let columns =
            (holdings::tray_id, holdings::lot_id, lots_table::code, lots_table::parasite_freezing.is_not_null());
        let mut query = on_trays.order((holdings::tray_id, holdings::lot_id)).select(columns).into_boxed();
        if filter.in_stock_only {
            // Between the first and the last in stock lie many that are gone.
            query = query.filter(trays_table::fate.is_null());
        }
        for (tray, lot, code, recorded) in query.load::<(i64, i64, String, bool)>(reading.conn)? {
            lots_of.entry(tray).or_default().push(lot);
            lots.entry(lot).or_insert((code, recorded));
        }
        reached.extend(holds::reached(reading, first.id, last.id)?);
    }
    let places = place::list(reading)?;
    let mut curves = HashMap::new();
    for place in &places {
        curves.insert(place.code.clone(), evidence::curve(reading, place)?);
    }
    Ok(Snapshot {
        trays,
        curves,
        cuts: cut::list(reading)?.into_iter().map(|c| (c.code.clone(), c)).collect(),
        species: species_of::list(reading)?.into_iter().map(|s| (s.code.clone(), s)).collect(),
        places: places.into_iter().map(|p| (p.code.clone(), p)).collect(),
        lots_of,
        lots,
        open_holds: holds::open(reading)?,
        reached,
    })
}

impl Snapshot {
    /// Lots on a tray, in the order received.
    pub fn lots_on(&self, tray: &Tray) -> &[i64] {
        self.lots_of.get(&tray.id).map_or(&[], Vec::as_slice)
    }

    /// Reasons of the open holds that stop a tray.
    pub fn holds_on(&self, tray: &Tray) -> Vec<String> {
        let lots = self.lots_on(tray);
        let stops = |hold: &&holds::Hold| match hold.scope.as_str() {
            "tray" => hold.target_id == tray.id,
            "batch" => self.reached.contains(&(hold.id, tray.id)),
            _ => lots.contains(&hold.target_id),
        };
        self.open_holds.iter().filter(stops).map(|h| h.reason.clone()).collect()
    }
}
