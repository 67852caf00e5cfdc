//! What the shop's own sales say of demand, cut by cut.

use super::failure::{Failure, refuse};
use crate::domain::catalogue::Cut;
use crate::domain::demand::learn::{Evidence, Learned, Stated, learn};
use crate::domain::demand::observe::{Offer, Sold, observe, without};
use crate::domain::demand::week::{Week, open_hours};
use crate::domain::demand::{Forecast, WEEKS};
use crate::domain::hours::Slice;
use crate::domain::refusal::Code;
use crate::domain::shop::Shop;
use crate::domain::terms::{CutTerms, Said};
use crate::domain::tray::Kind;
use crate::store::Reading;
use crate::store::catalogue::cut;
use crate::store::demand::{Held, Line, Lowered, Stood, held, lowered, sold, stood};
use crate::store::terms;
use crate::units::instant::{Instant, MICROS_PER_HOUR};
use std::collections::BTreeMap;

/// One cut with what is known of its demand.
#[derive(Debug, Clone, PartialEq)]
pub struct Study {
    pub cut: Cut,
    pub learned: Learned,
    /// What was said of it by a person, if anything.
    pub said: Option<Said>,
    /// Draws from tubs, and their mean in grams: what the portion should be near to.
    pub draws: i64,
    pub mean_draw_g: Option<i64>,
    pub portion_g: i64,
}

/// What is known of the demand for every cut that is sold, by cut.
pub fn forecasts(reading: &mut Reading<'_>, shop: &Shop, now: Instant) -> Result<BTreeMap<String, Forecast>, Failure> {
    Ok(studies(reading, shop, now)?.into_iter().map(|study| (study.cut.code, study.learned.forecast)).collect())
}

/// The same of one cut, with its evidence.
pub fn study(reading: &mut Reading<'_>, shop: &Shop, now: Instant, code: &str) -> Result<Study, Failure> {
    let found = studies(reading, shop, now)?.into_iter().find(|study| study.cut.code == code);
    found.map_or_else(|| refuse(Code::NotFound, "code", "no cut of this code is sold over the counter"), Ok)
}

/// How many hours of each hour of the week the shop is open.
pub fn open_week(shop: &Shop) -> Week {
    open_hours(&shop.hours)
}

/// The same of every cut that is sold, by code, with the evidence.
pub fn studies(reading: &mut Reading<'_>, shop: &Shop, now: Instant) -> Result<Vec<Study>, Failure> {
    let since = now.plus_micros(-WEEKS * 7 * 24 * MICROS_PER_HOUR);
    let cuts: Vec<Cut> = cut::list(reading)?.into_iter().filter(|cut| cut.kind != Kind::Bulk).collect();
    let mut said = terms::all(reading)?;
    let mut seen = Seen::load(reading, since)?;
    let slices = shop.hours.slices(shop.zone, since, now);
    let none = CutTerms::default();
    let portion = |said: &BTreeMap<String, Said>, code: &str| {
        said.get(code).and_then(|said| said.terms.portion_g).unwrap_or(shop.terms.portion_g)
    };
    let evidence: Vec<Evidence> = cuts
        .iter()
        .map(|cut| {
            let told = said.get(&cut.code).map_or(&none, |said| &said.terms);
            seen.evidence(cut, told, portion(&said, &cut.code), &slices, since, now)
        })
        .collect();
    let stated = Stated {
        elasticity: thousandths(shop.terms.elasticity_permille),
        units_per_hour: thousandths(shop.terms.prior_units_per_hour_permille),
    };
    let learned = learn(&open_hours(&shop.hours), stated, &evidence);
    let study = |(cut, learned): (Cut, Learned)| {
        let (draws, grams) = seen.draws.remove(&cut.code).unwrap_or((0, 0));
        let portion_g = portion(&said, &cut.code);
        let mean_draw_g = (grams + draws / 2).checked_div(draws);
        Study { said: said.remove(&cut.code), learned, draws, mean_draw_g, portion_g, cut }
    };
    Ok(cuts.into_iter().zip(learned).map(study).collect())
}

#[expect(clippy::cast_precision_loss, reason = "settings far below 2^53")]
fn thousandths(permille: i64) -> f64 {
    permille as f64 / 1_000.0
}

/// What the records hold of all cuts, by cut.
struct Seen {
    stood: BTreeMap<String, Vec<Stood>>,
    sold: BTreeMap<String, Vec<Line>>,
    lowered: BTreeMap<i64, Vec<Lowered>>,
    held: BTreeMap<i64, Vec<Held>>,
    draws: BTreeMap<String, (i64, i64)>,
}

impl Seen {
    fn load(reading: &mut Reading<'_>, since: Instant) -> Result<Seen, Failure> {
        let (mut by_cut, mut sold_by_cut) =
            (BTreeMap::<String, Vec<Stood>>::new(), BTreeMap::<String, Vec<Line>>::new());
        for stay in stood(reading, since)? {
            add(&mut by_cut, stay.cut.clone(), stay);
        }
        let mut draws: BTreeMap<String, (i64, i64)> = BTreeMap::new();
        for line in sold(reading, since)? {
            if line.kind == Kind::Tub {
                let (count, grams) = draws.entry(line.cut.clone()).or_default();
                (*count, *grams) = (*count + 1, *grams + line.grams);
            }
            add(&mut sold_by_cut, line.cut.clone(), line);
        }
        Ok(Seen {
            stood: by_cut,
            sold: sold_by_cut,
            lowered: lowered(reading, since)?,
            held: held(reading, since)?,
            draws,
        })
    }

    fn evidence(
        &self,
        cut: &Cut,
        told: &CutTerms,
        portion_g: i64,
        slices: &[Slice],
        since: Instant,
        now: Instant,
    ) -> Evidence {
        let stood = self.stood.get(&cut.code).map(Vec::as_slice).unwrap_or_default();
        let sold = self.sold.get(&cut.code).map(Vec::as_slice).unwrap_or_default();
        let offers: Vec<Offer> = stood.iter().flat_map(|stay| self.offers(stay, since, now)).collect();
        let sold: Vec<Sold> = sold.iter().filter(|line| line.at <= now).map(|line| sale(line, portion_g)).collect();
        let first_offer = offers.iter().map(|offer| offer.from).min();
        Evidence {
            code: cut.code.clone(),
            kind: cut.kind,
            form: cut.form,
            cells: observe(slices, &offers, &sold),
            since: first_offer.into_iter().chain(sold.iter().map(|sale| sale.at)).min(),
            told_elasticity: told.elasticity_permille.map(thousandths),
            told_units_per_hour: told.units_per_hour_permille.map(thousandths),
        }
    }

    /// When a tray could be sold from where it stood: not while it was on hold.
    fn offers(&self, stay: &Stood, since: Instant, now: Instant) -> Vec<Offer> {
        let steps = self.lowered.get(&stay.tray).map(Vec::as_slice).unwrap_or_default();
        let first = steps.first().map_or(stay.price_cents, |step| step.old_cents);
        let share = |cents| permille(cents, stay.list_price_cents);
        let fell = steps.iter().map(|step| (step.at, share(step.new_cents)));
        let prices: Vec<(Instant, i64)> = std::iter::once((Instant::EPOCH, share(first))).chain(fell).collect();
        let held = self.held.get(&stay.tray).map(Vec::as_slice).unwrap_or_default();
        let stretch = without(stay.from.max(since), stay.to.map_or(now, |to| to.min(now)), held);
        let offer = |(from, to)| Offer { tray: stay.tray, from, to, ends: stay.use_by, prices: prices.clone() };
        stretch.into_iter().map(offer).collect()
    }
}

fn add<T>(by_cut: &mut BTreeMap<String, Vec<T>>, cut: String, thing: T) {
    by_cut.entry(cut).or_default().push(thing);
}

/// A price as a share of list; what is given away for nothing at list is at list.
fn permille(cents: i64, list_cents: i64) -> i64 {
    if list_cents <= 0 { 1_000 } else { (cents.saturating_mul(1_000) + list_cents / 2) / list_cents }
}

/// A block is one unit. A draw from a tub counts by its grams, over those of a portion: the model sells portions, and what it expects to be
/// sold should weigh what was sold.
#[expect(clippy::cast_precision_loss, reason = "grams far below 2^53")]
fn sale(line: &Line, portion_g: i64) -> Sold {
    let units = if line.kind == Kind::Tub { line.grams as f64 / portion_g.max(1) as f64 } else { 1.0 };
    Sold { at: line.at, units, price_permille: permille(line.price_cents, line.list_price_cents) }
}
