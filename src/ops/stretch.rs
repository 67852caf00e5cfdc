//! What happened in one place during a stretch of time: how warm it was, what of that was measured, and what it cost the trays that stood
//! there. The life of one tray is `story`'s.

use super::failure::{Failure, refuse};
use crate::domain::alarm::{WarmSpell, warm_spells};
use crate::domain::life::curve::{Because, Projection, Reading as Measured};
use crate::domain::life::trace::{Trace, keep_longest, trace};
use crate::domain::life::wear::{Wear, permille};
use crate::domain::place::Place;
use crate::domain::refusal::Code;
use crate::store::catalogue::place;
use crate::store::{Reading, evidence, lineage, stays, trays};
use crate::units::instant::{Instant, MICROS_PER_HOUR, MICROS_PER_MINUTE};
use crate::units::temperature::MilliCelsius;
use std::collections::{BTreeMap, BTreeSet};

/// Points of the curve of one stretch, about.
pub const POINTS_A_STRETCH: usize = 600;
/// The stretch shown when nobody says, and the longest, in hours.
pub const USUAL_HOURS: i64 = 48;
pub const LONGEST_HOURS: i64 = 31 * 24;
/// Most warm spells and trays of one answer.
const MOST_SPELLS: usize = 200;
const MOST_TRAYS: usize = 500;

/// A time above the upper limit.
#[derive(Debug, Clone, Copy)]
pub struct Spell {
    pub spell: WarmSpell,
    /// Longer than the place may be, so that it raised an alarm.
    pub too_long: bool,
}

/// What a stretch cost one tray.
#[derive(Debug, Clone)]
pub struct TrayCost {
    pub tray_code: String,
    pub cut: String,
    /// Where it stands now.
    pub place_code: String,
    pub from: Instant,
    pub to: Instant,
    pub cost: Wear,
    /// The share of its raw budget that went.
    pub raw_permille: i64,
}

/// A place and what happened there.
#[derive(Debug, Clone)]
pub struct Stretch {
    pub place: Place,
    pub from: Instant,
    pub to: Instant,
    pub wear: Wear,
    pub trace: Trace,
    /// In order; the longest, when they are many.
    pub spells: Vec<Spell>,
    pub spells_left_out: usize,
    pub last_reading: Option<Measured>,
    pub projection: Projection,
    /// Trays in stock that stood here, the dearest first.
    pub trays: Vec<TrayCost>,
    pub trays_left_out: usize,
}

/// A place as it stands now.
#[derive(Debug, Clone)]
pub struct PlaceNow {
    pub place: Place,
    pub last_reading: Option<Measured>,
    /// The temperature that counts now, and whether it is measured.
    pub counted: MilliCelsius,
    pub measured: bool,
    pub projection: Projection,
}

/// Why a temperature counts from now on, as a stable name and as a sentence.
pub fn because(projection: &Projection) -> (&'static str, String) {
    let counts = projection.temperature;
    match projection.because {
        Because::NoSensor => {
            ("no_sensor", format!("Nothing is measured here: it counts at the upper limit of the place, {counts}."))
        }
        Because::UpperLimit => (
            "upper_limit",
            format!(
                "From the last reading on it counts at the upper limit of the place, {counts}, until another comes."
            ),
        ),
        Because::StorageOnLabel => (
            "storage_on_label",
            format!("It counts at {counts}, the warmest that a label tells its buyer to keep it at."),
        ),
        Because::LastReadingWarmer => (
            "last_reading_warmer",
            format!(
                "It was above the upper limit for longer than it may be: {counts}, as read last, counts until another comes."
            ),
        ),
    }
}

/// Every place as it stands now.
pub fn places_now(reading: &mut Reading<'_>, now: Instant) -> Result<Vec<PlaceNow>, Failure> {
    let mut all = Vec::new();
    for place in place::list(reading)? {
        let curve = evidence::curve(reading, &place)?;
        let (counted, measured) = curve.temperature_at(now);
        let (last_reading, projection) = (curve.last_reading(), curve.projection(now));
        all.push(PlaceNow { place, last_reading, counted, measured, projection });
    }
    Ok(all)
}

/// A stretch of a place: the last two days when nobody says. What lies ahead is not told.
pub fn of_place(
    reading: &mut Reading<'_>,
    now: Instant,
    code: &str,
    from: Option<Instant>,
    to: Option<Instant>,
) -> Result<Stretch, Failure> {
    let Some(place) = place::find(reading, code)? else {
        return refuse(Code::NotFound, "place_code", "there is no such place");
    };
    let to = to.map_or(now, |to| to.min(now));
    let from = from.unwrap_or_else(|| to.plus_micros(-USUAL_HOURS * MICROS_PER_HOUR));
    if from >= to {
        return refuse(Code::InvalidValue, "from", "must be before to, and before now");
    }
    if to.since(from) > LONGEST_HOURS * MICROS_PER_HOUR {
        return refuse(Code::InvalidValue, "from", format!("must be at most {} days before to", LONGEST_HOURS / 24));
    }
    let curve = evidence::curve(reading, &place)?;
    let last_reading = curve.last_reading();
    let mut spells: Vec<Spell> = warm_spells(curve.pieces(from, to), 0, Some(to))
        .into_iter()
        .map(|spell| Spell { spell, too_long: lasted(&spell, to) > place.warm_minutes * MICROS_PER_MINUTE })
        .collect();
    let ends = |spell: &Spell| (spell.spell.from, spell.spell.to.unwrap_or(to));
    let spells_left_out = keep_longest(&mut spells, MOST_SPELLS, ends);
    let mut costs = costs(reading, &place, from, to)?;
    let trays_left_out = costs.len().saturating_sub(MOST_TRAYS);
    costs.truncate(MOST_TRAYS);
    Ok(Stretch {
        from,
        to,
        wear: curve.wear(from, to),
        trace: trace(&curve, from, to, POINTS_A_STRETCH),
        spells,
        spells_left_out,
        last_reading,
        projection: curve.projection(now),
        trays: costs,
        trays_left_out,
        place,
    })
}

fn lasted(spell: &WarmSpell, until: Instant) -> i64 {
    spell.to.unwrap_or(until).since(spell.from)
}

/// What a stretch cost every tray in stock that stood in the place, wherever it stands now. Two stays of one tray are one line.
fn costs(reading: &mut Reading<'_>, place: &Place, from: Instant, to: Instant) -> Result<Vec<TrayCost>, Failure> {
    let curve = evidence::curve(reading, place)?;
    let mut stood: BTreeMap<i64, (Instant, Instant, Wear)> = BTreeMap::new();
    for (tray, since, until) in stays::in_place(reading, &place.code, from, to)? {
        let (begin, end) = (from.max(since), until.map_or(to, |until| until.min(to)));
        let sum = stood.entry(tray).or_insert((begin, end, Wear::default()));
        *sum = (sum.0.min(begin), sum.1.max(end), sum.2.plus(curve.wear(begin, end)));
    }
    let ids: BTreeSet<i64> = stood.keys().copied().collect();
    let mut costs = Vec::new();
    for id in lineage::in_stock(reading, &ids)? {
        let Some((first, last, cost)) = stood.get(&id).copied() else { continue };
        let tray = trays::by_id(reading, id)?;
        costs.push(TrayCost {
            tray_code: tray.code.to_string(),
            cut: tray.cut,
            place_code: tray.place,
            from: first,
            to: last,
            raw_permille: permille(cost.raw_micros, tray.lived.budgets.raw_micros),
            cost,
        });
    }
    costs.sort_by_key(|line| std::cmp::Reverse((line.raw_permille, line.cost.raw_micros)));
    Ok(costs)
}
