//! What a customer who scans a label may know: the fish, its origin and its dates. No purchase, no person, no stock. In which words, is
//! the page's.

use super::failure::{Failure, refuse};
use super::story::{TrayLife, tray_life};
use crate::domain::catalogue::{Names, Thing};
use crate::domain::language::Language;
use crate::domain::life::clocks::Clock;
use crate::domain::lot::{CatchFacts, Lot};
use crate::domain::refusal::Code;
use crate::domain::shop::Shop;
use crate::domain::tray::{Fate, LabelReason, Tray};
use crate::domain::tray_code::TrayCode;
use crate::store::catalogue::species_of;
use crate::store::error::StoreError;
use crate::store::{Reading, issued_labels, lineage, lots, names, trays};
use crate::units::instant::Instant;
use chrono::{Datelike, NaiveDate};

/// What the address on a label names.
#[derive(Debug, Clone)]
pub struct Address {
    pub article: String,
    /// The address may leave it out.
    pub lot: Option<String>,
    pub tray: String,
    /// The use-by that the code bears, as it stands there: six digits, YYMMDD.
    pub use_by: Option<String>,
}

/// A name as the shop says it, and in other languages.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Named {
    own: String,
    others: Names,
}

impl Named {
    /// The name the shop uses.
    pub fn own(&self) -> &str {
        &self.own
    }

    /// The name in a language, or the shop's own; and whether it is in that language.
    pub fn in_language(&self, language: Language) -> (&str, bool) {
        self.others.get(language).map_or((self.own.as_str(), false), |name| (name, true))
    }
}

/// Where, how and when the fish of one lot was caught.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Origin {
    pub lot_code: String,
    pub catch: CatchFacts,
}

/// How the fish is kept: the words on it and the temperature follow from it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Condition {
    NeverFrozen,
    Frozen,
    Thawed,
}

/// When the first part of it was frozen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum FirstFrozen {
    Never,
    On(NaiveDate),
    /// It came frozen, and nobody wrote down since when.
    BeforeItCame,
}

/// What must be said before everything else, the gravest first.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Warning {
    /// A hold on it, its batch or its fish, before or after the sale.
    Held,
    TooWarm,
    PastUseBy,
    LifeEnded,
    /// The shop threw it away or used it up: nobody should have it.
    Withdrawn,
}

/// Whether the label that was scanned still holds.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Scanned {
    Current,
    /// A newer label says another date.
    Replaced,
    /// What it promises changed, and there is no newer one: whatever label was scanned, this page counts.
    Outdated,
}

/// The facts of one tray for its buyer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Card {
    /// The fourteen digits.
    pub article: String,
    pub tray_code: TrayCode,
    pub cut: Named,
    pub fish: Named,
    pub scientific_name: String,
    /// The oldest first.
    pub origins: Vec<Origin>,
    pub condition: Condition,
    pub first_frozen: FirstFrozen,
    pub for_raw_eating: bool,
    pub cut_on: NaiveDate,
    /// None while it is frozen.
    pub use_by: Option<Instant>,
    pub warnings: Vec<Warning>,
    pub scanned: Scanned,
}

fn no_such_label<T>() -> Result<T, Failure> {
    refuse(Code::NotFound, "tray_code", "there is no such label")
}

/// The card of a tray, sold or not. A tray without a sales label has none to scan, and an address that names another article or lot
/// is on no label of ours: neither is found, and nothing says which it was.
pub fn card(reading: &mut Reading<'_>, shop: &Shop, now: Instant, address: &Address) -> Result<Card, Failure> {
    let Ok(code) = TrayCode::parse("tray_code", &address.tray) else { return no_such_label() };
    let Some(tray) = trays::find(reading, &code)? else { return no_such_label() };
    // The labels of what is not sold are for the shop alone.
    let Some(label) = issued_labels::newest(reading, tray.id)?.filter(|label| label.template.is_for_sale()) else {
        return no_such_label();
    };
    let lots = lots::of_tray(reading, tray.id)?;
    if !address.lot.as_ref().is_none_or(|named| lots.iter().any(|lot| lot.code.eq_ignore_ascii_case(named))) {
        return no_such_label();
    }
    let told = tray_life(reading, shop, now, &code.to_string())?;
    let item_number = told.facts.cut.item_number;
    let issued = issued_labels::of_tray(reading, tray.id)?.into_iter().any(|label| label.article == address.article);
    if !issued && !shop.codes.names(&address.article, item_number) {
        return no_such_label();
    }
    let species =
        species_of::find(reading, &tray.species)?.ok_or_else(|| StoreError::impossible("species", &tray.species))?;
    let use_by = use_by(&told);
    Ok(Card {
        // A label from before the shop got its prefix leads to the number of today.
        article: shop.codes.article(item_number).number().unwrap_or_else(|_| address.article.clone()),
        tray_code: code,
        cut: Named { others: names::of(reading, Thing::Cut, &tray.cut)?, own: told.facts.cut.name.clone() },
        fish: Named { others: names::of(reading, Thing::Species, &tray.species)?, own: species.market_name },
        scientific_name: species.scientific_name,
        condition: condition(&told),
        first_frozen: first_frozen(reading, shop, &told, &lots)?,
        for_raw_eating: told.facts.cut.for_raw_eating(),
        cut_on: shop.zone.day_of(tray.cut_at),
        warnings: warnings(&told, now),
        scanned: scanned(shop, &tray, address, use_by, label.use_by),
        use_by,
        origins: lots.into_iter().map(|lot| Origin { lot_code: lot.code, catch: lot.catch }).collect(),
    })
}

/// The date that binds: the printed one, or the computed end where late readings left less than was printed.
fn use_by(told: &TrayLife) -> Option<Instant> {
    let facts = &told.facts;
    match facts.life.ends_at {
        Some(end) if facts.label_outdated() => Some(end.floor_minute()),
        _ => facts.tray.use_by,
    }
}

fn condition(told: &TrayLife) -> Condition {
    match (&told.facts.tray, told.facts.place_frozen) {
        (_, true) => Condition::Frozen,
        (tray, false) if tray.was_frozen() => Condition::Thawed,
        _ => Condition::NeverFrozen,
    }
}

/// The first freezing of any part of a tray in stock.
pub fn first_frozen_of(
    reading: &mut Reading<'_>,
    shop: &Shop,
    now: Instant,
    tray: &Tray,
) -> Result<FirstFrozen, Failure> {
    let told = tray_life(reading, shop, now, &tray.code.to_string())?;
    let lots = lots::of_tray(reading, tray.id)?;
    first_frozen(reading, shop, &told, &lots)
}

/// The first freezing of any part of it: here, as the stays of all it came of tell, or before it came, as its papers say.
fn first_frozen(reading: &mut Reading<'_>, shop: &Shop, told: &TrayLife, lots: &[Lot]) -> Result<FirstFrozen, Failure> {
    if condition(told) == Condition::NeverFrozen {
        return Ok(FirstFrozen::Never);
    }
    let before: Vec<Option<NaiveDate>> = lots.iter().filter(|l| l.previously_frozen).map(|l| l.frozen_on).collect();
    if before.contains(&None) {
        return Ok(FirstFrozen::BeforeItCame);
    }
    let past = lineage::ancestry(reading, told.facts.tray.id, told.at)?;
    let here = lineage::first_frozen(reading, &past)?.map(|at| shop.zone.day_of(at));
    // What is frozen or was thawed was frozen somewhere: without any record of it, it was before it came.
    let earliest = before.into_iter().flatten().chain(here).min();
    Ok(earliest.map_or(FirstFrozen::BeforeItCame, FirstFrozen::On))
}

/// Everything that stands against eating it. What was sold is judged by what it had lived through when it went, and by its date now.
fn warnings(told: &TrayLife, now: Instant) -> Vec<Warning> {
    let (facts, tray) = (&told.facts, &told.facts.tray);
    let at = told.at.max(tray.lived.as_of);
    let ended = |clock| facts.life.end_of(clock).is_some_and(|end| at > end);
    let past_date = [tray.use_by, tray.supplier_until].into_iter().flatten().any(|end| now > end);
    let too_warm = ended(Clock::Exposure);
    let withdrawn = matches!(tray.fate, Some(Fate::Kitchen | Fate::Waste | Fate::BrokenDown | Fate::ToppedInto));
    let found = [
        (!facts.holds.is_empty(), Warning::Held),
        (too_warm, Warning::TooWarm),
        (past_date, Warning::PastUseBy),
        (!past_date && !too_warm && facts.life.ended(at).is_some(), Warning::LifeEnded),
        (withdrawn, Warning::Withdrawn),
    ];
    found.into_iter().filter_map(|(applies, warning)| applies.then_some(warning)).collect()
}

/// Whether the label in someone's hand still holds: none does that was printed before something changed, and of two the date in the code
/// tells them apart. A code without a date, or with none that can be read, tells nothing.
fn scanned(shop: &Shop, tray: &Tray, address: &Address, use_by: Option<Instant>, newest: Option<Instant>) -> Scanned {
    if matches!(tray.label_wanted, Some(LabelReason::Thawed | LabelReason::OlderFish | LabelReason::OtherFish))
        || use_by != newest
    {
        return Scanned::Outdated;
    }
    let day = |instant: Instant| {
        let day = shop.zone.day_of(instant);
        format!("{:02}{:02}{:02}", day.year().rem_euclid(100), day.month(), day.day())
    };
    let said = address.use_by.as_ref().filter(|text| text.len() == 6 && text.bytes().all(|b| b.is_ascii_digit()));
    match said {
        Some(said) if use_by.map(day).as_ref() != Some(said) => Scanned::Replaced,
        _ => Scanned::Current,
    }
}
