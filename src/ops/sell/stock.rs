//! What a group of sales is judged by, in memory: the trays that are asked for with all around them, as loaded, and as the sales so far
//! left them.

use super::LINE_LIMIT;
use super::group::Order;
use super::lines::{self, Line};
use super::{ChargedLine, told_by_whom};
use crate::domain::catalogue::{Cut, Species};
use crate::domain::claims::{self, Claims, Printed};
use crate::domain::holding::{Holding, Pool};
use crate::domain::life::clocks::Standing;
use crate::domain::life::curve::Curve;
use crate::domain::life::date_mark::Calendar;
use crate::domain::place::Place;
use crate::domain::refusal::{Code, Refusal};
use crate::domain::scan_text::Scanned;
use crate::domain::shop::Shop;
use crate::domain::tray::{Fate, Tray};
use crate::domain::tray_code::TrayCode;
use crate::domain::verdict::{Facts, Stop, judge};
use crate::ops::failure::Failure;
use crate::ops::resolve::{self, Asked};
use crate::store::catalogue::around;
use crate::store::error::StoreError;
use crate::store::sales::{self, Sale};
use crate::store::till::{self, LabelOfTray, LotOnTray};
use crate::store::{Reading, evidence};
use crate::units::instant::Instant;
use crate::units::mass::Grams;
use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::sync::Arc;

/// A line with what its text names.
pub struct AskedLine<'a> {
    draft: &'a ChargedLine,
    named: Result<(TrayCode, Claims), Refusal>,
}

/// Where a tray stands and what it is.
struct Around {
    place: Place,
    cut: Cut,
    species: Species,
    curve: Arc<Curve>,
}

/// A tray with all it is judged by.
pub struct Known {
    pub tray: Tray,
    pub loaded_version: i64,
    pub pool: Pool,
    /// Lots that were drawn from.
    pub drawn: BTreeSet<i64>,
    lots: Vec<LotOnTray>,
    holds: Vec<String>,
    labels: Vec<LabelOfTray>,
    around: Arc<Around>,
    /// The sale it went out with.
    sold: Option<Sale>,
}

/// The trays that a group of sales asks for.
pub struct Stock<'a> {
    shop: &'a Shop,
    calendar: Calendar,
    by_code: HashMap<TrayCode, i64>,
    trays: BTreeMap<i64, Known>,
}

impl<'a> Stock<'a> {
    /// Loads what these orders ask for; each comes with whether it is to be done at all.
    pub fn load<'o>(
        reading: &mut Reading<'_>,
        shop: &'a Shop,
        orders: impl Iterator<Item = (&'o Order, bool)>,
    ) -> Result<(Stock<'a>, Vec<Vec<AskedLine<'o>>>), Failure> {
        let mut asked = Vec::new();
        for (order, fresh) in orders {
            // One line too many is refused, however many there are.
            let lines = order.lines.iter().take(if fresh { LINE_LIMIT + 1 } else { 0 });
            let lines: Result<Vec<_>, Failure> = lines.map(|draft| ask(reading, shop, order.now, draft)).collect();
            asked.push(lines?);
        }
        let lines = || asked.iter().flatten().filter_map(|line: &AskedLine<'_>| line.named.as_ref().ok());
        let codes: BTreeSet<TrayCode> = lines().map(|(code, _)| *code).collect();
        let claiming: BTreeSet<TrayCode> =
            lines().filter(|(_, claims)| *claims != Claims::default()).map(|(code, _)| *code).collect();
        let mut stock =
            Stock { shop, calendar: Calendar::new(shop.zone), by_code: HashMap::new(), trays: BTreeMap::new() };
        let codes: Vec<String> = codes.iter().map(TrayCode::to_string).collect();
        stock.fill(reading, &codes, &claiming)?;
        Ok((stock, asked))
    }

    fn fill(
        &mut self,
        reading: &mut Reading<'_>,
        codes: &[String],
        claiming: &BTreeSet<TrayCode>,
    ) -> Result<(), Failure> {
        if codes.is_empty() {
            return Ok(());
        }
        let trays = till::trays(reading, codes)?;
        let ids: Vec<i64> = trays.iter().map(|tray| tray.id).collect();
        let mut lots = by_tray(till::lots_on(reading, &ids)?, |lot| lot.tray_id);
        let mut holds = by_tray(till::holds_on(reading, &ids)?, |(tray, _)| *tray);
        let claimed: Vec<i64> = trays.iter().filter(|tray| claiming.contains(&tray.code)).map(|tray| tray.id).collect();
        let mut labels = by_tray(till::labels_of(reading, &claimed)?, |label| label.tray_id);
        let mut surroundings: HashMap<(String, String, String), Arc<Around>> = HashMap::new();
        for tray in trays {
            let key = (tray.place.clone(), tray.cut.clone(), tray.species.clone());
            let around = match surroundings.get(&key) {
                Some(around) => Arc::clone(around),
                None => Arc::clone(surroundings.entry(key).or_insert(Arc::new(look_around(reading, &tray)?))),
            };
            let sold = if tray.fate == Some(Fate::Sold) { sales::last_of_tray(reading, tray.id)? } else { None };
            let lots = lots.remove(&tray.id).unwrap_or_default();
            let holds = holds.remove(&tray.id).unwrap_or_default().into_iter().map(|(_, reason)| reason).collect();
            let labels = labels.remove(&tray.id).unwrap_or_default();
            self.by_code.insert(tray.code, tray.id);
            self.trays.insert(tray.id, Known::of(tray, lots, holds, labels, around, sold));
        }
        Ok(())
    }

    pub fn is_empty(&self) -> bool {
        self.trays.is_empty()
    }

    pub fn known(&self, tray_id: i64) -> Result<&Known, StoreError> {
        self.trays.get(&tray_id).ok_or_else(|| StoreError::impossible("a tray that was sold and not loaded", tray_id))
    }

    pub fn known_mut(&mut self, tray_id: i64) -> Result<&mut Known, StoreError> {
        let unknown = || StoreError::impossible("a tray that was sold and not loaded", tray_id);
        self.trays.get_mut(&tray_id).ok_or_else(unknown)
    }

    /// The trays that were sold of.
    pub fn changed(&self) -> impl Iterator<Item = &Known> {
        self.trays.values().filter(|known| known.tray.version != known.loaded_version)
    }

    /// One line as the stock stands: as `sell` weighs it.
    pub fn weigh(&self, now: Instant, line: &AskedLine<'_>) -> Result<(i64, Line), Failure> {
        let (code, claims) = line.named.as_ref().map_err(Clone::clone)?;
        let asked = asked_of(line.draft);
        let known = self.by_code.get(code).and_then(|id| self.trays.get(id));
        let known = known.ok_or_else(|| asked.absent(code))?;
        let verdict = judge(&self.facts(known, now), now).with(self.doubts(known, claims, now));
        let explain = |refusal| match &known.sold {
            Some(sale) => told_by_whom(refusal, sale),
            None => refusal,
        };
        Ok((known.tray.id, lines::line(&known.tray, &verdict, line.draft, explain)?))
    }

    /// Everything a judgement of a tray rests on: as `judge::facts` loads it.
    pub fn facts(&self, known: &Known, now: Instant) -> Facts {
        let (tray, around) = (&known.tray, &known.around);
        let standing = Standing::new(&self.shop.rules, &self.calendar, (&around.curve, around.place.method), now);
        Facts {
            tray: tray.clone(),
            cut: around.cut.clone(),
            parasite_rule: around.species.parasite_rule,
            parasite_record: tray.lived.parasites_frozen_at.is_some() || known.lots.iter().all(|lot| lot.recorded),
            place_frozen: around.place.is_frozen(),
            life: standing.life(&tray.subject(self.shop.zone)),
            holds: known.holds.clone(),
        }
    }

    /// What the line's code claims that is not so.
    fn doubts(&self, known: &Known, claims: &Claims, now: Instant) -> Vec<Stop> {
        if *claims == Claims::default() {
            return Vec::new();
        }
        let (shop, tray) = (self.shop, &known.tray);
        let lots: Vec<String> = known.lots.iter().map(|lot| lot.code.clone()).collect();
        let issued: Vec<String> = known.labels.iter().map(|label| label.article.clone()).collect();
        let article = (known.around.cut.item_number, issued.as_slice());
        let identity = claims::check_identity(claims, &shop.codes, tray, article, &lots);
        let printed = |label: &LabelOfTray| {
            Printed::of(tray.kind, label.use_by.map(|end| shop.zone.local(end)), label.net, label.price)
        };
        let labels: Vec<Printed> = known.labels.iter().map(printed).collect();
        resolve::doubted(shop, now, tray, claims, identity, &labels)
    }
}

const fn asked_of(draft: &ChargedLine) -> Asked<'_> {
    Asked { field: "tray_code", text: draft.line.tray.as_str(), absent: Code::UnknownReference }
}

/// What a line names. A linear code names a tray by its labels, which no sale changes.
fn ask<'a>(
    reading: &mut Reading<'_>,
    shop: &Shop,
    now: Instant,
    draft: &'a ChargedLine,
) -> Result<AskedLine<'a>, Failure> {
    let asked = asked_of(draft);
    let named = match resolve::read(shop, asked) {
        Ok(Scanned::Tray { code, claims }) => Ok((code, claims)),
        Ok(Scanned::Linear { item_number, carried }) => {
            match resolve::by_linear_code(reading, shop, now, asked.field, (item_number, carried)) {
                Ok(tray) => Ok((tray.code, Claims::carried(carried))),
                Err(Failure::Refused(refusal)) => Err(refusal),
                Err(other) => return Err(other),
            }
        }
        Err(refusal) => Err(refusal),
    };
    Ok(AskedLine { draft, named })
}

fn look_around(reading: &mut Reading<'_>, tray: &Tray) -> Result<Around, Failure> {
    let (place, cut, species) = around(reading, tray)?
        .ok_or_else(|| StoreError::impossible("tray without its place, cut or species", tray.code))?;
    let curve = evidence::curve(reading, &place)?;
    Ok(Around { place, cut, species, curve })
}

fn by_tray<T>(rows: Vec<T>, tray: impl Fn(&T) -> i64) -> HashMap<i64, Vec<T>> {
    let mut by: HashMap<i64, Vec<T>> = HashMap::new();
    for row in rows {
        by.entry(tray(&row)).or_default().push(row);
    }
    by
}

impl Known {
    fn of(
        tray: Tray,
        lots: Vec<LotOnTray>,
        holds: Vec<String>,
        labels: Vec<LabelOfTray>,
        around: Arc<Around>,
        sold: Option<Sale>,
    ) -> Known {
        let (loaded_version, pool) = (tray.version, Pool::of(lots.iter().map(|lot| lot.held)));
        Known { tray, loaded_version, pool, drawn: BTreeSet::new(), lots, holds, labels, around, sold }
    }

    /// Takes what one sale sells of it, and gives it by lot.
    pub fn take(&mut self, grams: Grams, sale: &Sale, now: Instant) -> Result<Vec<Holding>, StoreError> {
        let held = self.pool.grams();
        let short = || StoreError::impossible("grams held by lot", held);
        let left = self.tray.net.minus(grams).ok_or_else(short)?;
        let drawn = self.pool.draw(grams.get()).ok_or_else(short)?;
        self.drawn.extend(drawn.iter().map(|holding| holding.lot_id));
        self.tray.net = left;
        self.tray.version += 1;
        if left.is_zero() {
            self.tray.fate = Some(Fate::Sold);
            self.tray.gone_at = Some(now);
            self.sold = Some(sale.clone());
        }
        Ok(drawn)
    }
}
