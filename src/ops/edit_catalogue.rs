//! Species, suppliers, cuts and places are created and changed, each change under the version that was read.

use super::desk::Actor;
use super::failure::{Failure, refuse};
use crate::domain::catalogue::{Cut, CutDraft, Names, Species, SpeciesDraft, Supplier, SupplierDraft, Thing};
use crate::domain::parasites::check_exemption;
use crate::domain::place::{Place, PlaceDraft, StorageMethod};
use crate::domain::refusal::Code;
use crate::domain::shop::Shop;
use crate::store::acts::{self, NewAct};
use crate::store::catalogue::{cut, cut_with_item_number, place, species_of, supplier};
use crate::store::shelf::{self, Where};
use crate::store::trays::{self, Filter};
use crate::store::{Tx, evidence, names};
use crate::units::instant::Instant;

/// What the caller knows of the thing: that it is new, or the version that was read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Expected {
    New,
    Version(i64),
}

/// The version a thing gets, or the refusal.
pub(super) fn next_version(current: Option<i64>, expected: Expected) -> Result<i64, Failure> {
    match (current, expected) {
        (None, Expected::New) => Ok(1),
        (Some(_), Expected::New) => refuse(Code::AlreadyExists, "code", "exists already; change it with If-Match"),
        (None, Expected::Version(_)) => {
            refuse(Code::NotFound, "code", "does not exist; create it with If-None-Match: *")
        }
        (Some(version), Expected::Version(read)) if version == read => Ok(version + 1),
        (Some(version), Expected::Version(_)) => {
            refuse(Code::VersionMismatch, "If-Match", format!("the version is now {version}"))
        }
    }
}

pub(super) fn record(
    tx: &mut Tx<'_>,
    actor: &Actor,
    now: Instant,
    kind: &'static str,
    code: &str,
) -> Result<i64, Failure> {
    Ok(acts::append(
        tx,
        &NewAct { kind, at: now, recorded_at: now, actor: &actor.name, reason: Some(code), reverses: None },
    )?)
}

macro_rules! put {
    ($(#[$doc:meta])* $name:ident, $draft:ty, $thing:ty, $table:ident, $kind:literal) => {
        $(#[$doc])*
        pub fn $name(tx: &mut Tx<'_>, actor: &Actor, now: Instant, code: &str, draft: &$draft, expected: Expected) -> Result<$thing, Failure> {
            let mut thing = <$thing>::check(code, draft)?;
            thing.version = next_version($table::find(tx, code)?.map(|t| t.version), expected)?;
            record(tx, actor, now, $kind, code)?;
            if thing.version == 1 {
                $table::insert(tx, &thing)?;
            } else if !$table::replace(tx, &thing)? {
                return refuse(Code::VersionMismatch, "If-Match", "changed meanwhile");
            }
            Ok(thing)
        }
    };
}

put!(put_species_unchecked, SpeciesDraft, Species, species_of, "put_species");
put!(
    /// Creates or changes a supplier.
    put_supplier, SupplierDraft, Supplier, supplier, "put_supplier"
);
put!(put_cut_unchecked, CutDraft, Cut, cut, "put_cut");
put!(put_place_unchecked, PlaceDraft, Place, place, "put_place");

/// Creates or changes a species. To exempt one from freezing that the profile does not, the shop says on what ground.
pub fn put_species(
    tx: &mut Tx<'_>,
    shop: &Shop,
    actor: &Actor,
    now: Instant,
    code: &str,
    draft: &SpeciesDraft,
    expected: Expected,
) -> Result<(Species, Names), Failure> {
    let called = Names::check(&draft.names)?;
    let checked = Species::check(code, draft)?;
    let (rule, note) = (checked.parasite_rule, checked.parasite_note.as_deref());
    check_exemption(&shop.rules.parasites, code, &checked.scientific_name, rule, note)?;
    let old = species_of::find(tx, code)?;
    let species = put_species_unchecked(tx, actor, now, code, draft, expected)?;
    names::replace(tx, Thing::Species, code, &called)?;
    // What is sold meanwhile is not kept waiting for a name that stands in no offer.
    let judged = |species: &Species| (species.scientific_name.clone(), species.group, species.parasite_rule);
    if old.is_some_and(|old| judged(&old) != judged(&species)) {
        shelf::look_again_at(tx, Where::Species(code))?;
    }
    Ok((species, called))
}

/// Creates or changes a cut. The item number must be free. Kind and form of a cut stay what they were: trays were cut under them.
pub fn put_cut(
    tx: &mut Tx<'_>,
    actor: &Actor,
    now: Instant,
    code: &str,
    draft: &CutDraft,
    expected: Expected,
) -> Result<(Cut, Names), Failure> {
    let called = Names::check(&draft.names)?;
    let checked = Cut::check(code, draft)?;
    if cut_with_item_number(tx, draft.item_number)?.is_some_and(|other| other != code) {
        return refuse(Code::AlreadyExists, "item_number", "another cut has this number");
    }
    let old = cut::find(tx, code)?;
    if let Some(old) = old.as_ref().filter(|old| (old.kind, old.form) != (checked.kind, checked.form)) {
        let field = if old.kind == checked.kind { "form" } else { "kind" };
        return refuse(Code::InvalidValue, field, "kind and form of a cut do not change; create another cut");
    }
    let cut = put_cut_unchecked(tx, actor, now, code, draft, expected)?;
    names::replace(tx, Thing::Cut, code, &called)?;
    // A tray keeps the price it was given; its offer says the name of its cut.
    let judged = |cut: &Cut| (cut.name.clone(), cut.raw_budget_hours, cut.raw_budget_validated.clone());
    if old.is_some_and(|old| judged(&old) != judged(&cut)) {
        shelf::look_again_at(tx, Where::Cut(code))?;
    }
    Ok((cut, called))
}

/// Creates or changes a place. A change of its settings begins an era: what was lived through keeps the settings it was lived through
/// under. A place with trays does not turn into a freezer or back. A chilled place is not kept warmer than the rules in use allow.
pub fn put_place(
    tx: &mut Tx<'_>,
    shop: &Shop,
    actor: &Actor,
    now: Instant,
    code: &str,
    draft: &PlaceDraft,
    expected: Expected,
) -> Result<Place, Failure> {
    let limit = shop.rules.cold_limit;
    if draft.method == StorageMethod::Chill.as_str() && draft.upper_limit_mc > limit.get() {
        return refuse(
            Code::InvalidValue,
            "upper_limit_mc",
            format!("the rules in use keep chilled fish at {limit} or colder"),
        );
    }
    let old = place::find(tx, code)?;
    let mut new = put_place_unchecked(tx, actor, now, code, draft, expected)?;
    new.generation = old.as_ref().map_or(0, |old| old.generation);
    let Some(old) = old else {
        evidence::begin_era(tx, &new, Instant::EPOCH)?;
        return Ok(new);
    };
    if old.is_frozen() != new.is_frozen() {
        let filter = Filter { in_stock_only: true, place: Some(code.to_owned()), ..Filter::default() };
        let inside = trays::page(tx, &filter, 0, i64::MAX)?.len();
        if inside > 0 {
            return refuse(
                Code::PlaceInUse,
                "method",
                format!("{inside} trays stand in it; freeze or thaw them first"),
            );
        }
    }
    if old.era(now) != new.era(now) {
        evidence::begin_era(tx, &new, now)?;
        shelf::look_again_at(tx, Where::Place(code))?;
    }
    Ok(new)
}
