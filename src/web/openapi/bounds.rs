//! What the Rust types of the fields cannot tell the document: the words a field takes, how long a text or list may be, between which
//! numbers. Words and limits that the rooms below name are taken from there. Nothing is checked here: who is refused, and why, is decided
//! where the rules are.

use crate::domain::inspection::{Burn, Sample};
use crate::domain::key_life::{OVERLAP_DAYS_LIMIT, VALID_DAYS_LIMIT};
use crate::domain::life::budget::{Form, SpeciesGroup};
use crate::domain::permissions::Role;
use crate::domain::picking::{Choice, plan};
use crate::domain::place::StorageMethod;
use crate::domain::printing::State;
use crate::domain::replay::Way;
use crate::domain::terms::{
    CENTS_PER_KG, ELASTICITY_PERMILLE, KITCHEN_CENTS_PER_KG, KITCHEN_G_PER_DAY, PORTION_G, UNITS_PER_HOUR_PERMILLE,
};
use crate::domain::text::{NAME_LIMIT, NOTE_LIMIT};
use crate::ops::review::decide;
use crate::ops::{break_down, count, pick, sell};
use crate::web::answer::PAGE_LIMIT;
use std::ops::RangeInclusive;
use utoipa::Number;
use utoipa::openapi::path::{Operation, Parameter};
use utoipa::openapi::schema::{Object, Schema, SchemaFormat, SchemaType, Type};
use utoipa::openapi::{KnownFormat, OpenApi as Document, RefOr};

/// One thing that is true of every value of a field.
enum Bound {
    Words(Vec<&'static str>),
    /// From, to.
    Whole(i64, i64),
    /// Characters of a text, least and most.
    Text(usize, usize),
    /// Entries of a list, least and most.
    Entries(usize, usize),
    Pattern(&'static str),
    Instant,
    /// A day of the calendar.
    Day,
}
use Bound::{Day, Entries, Instant, Pattern, Text, Whole, Words};

/// Quoted or not, see `web::call`.
pub const KEY_PATTERN: &str = "^(\"[A-Za-z0-9_.:-]{16,255}\"|[A-Za-z0-9_.:-]{16,255})$";
/// What a version is sent out as.
const TAG_PATTERN: &str = "^\"(0|[1-9][0-9]{0,17})\"$";
/// A cursor carries its own check; one that is well-formed may still be none of ours.
const CURSOR_PATTERN: &str = "^[0-9a-f]{1,16}-[0-9a-f]{8}$";
const PLACE_CURSOR_PATTERN: &str = "^[0-9a-f]{1,16}\\.[0-9a-f]{1,16}-[0-9a-f]{8}$";
const FEED_CURSOR_PATTERN: &str = "^(now|[0-9a-f]{1,16}\\.[0-9a-f]{1,16}-[0-9a-f]{8})$";
const CATALOGUE_CODE: &str = "^[a-z][a-z0-9-]{1,23}$";
/// Most grams and cents of one thing; what is more is refused somewhere for another reason.
const MOST: i64 = i64::MAX;

fn names<T>(all: &[(T, &'static str)]) -> Bound {
    Words(all.iter().map(|(_, name)| *name).collect())
}

fn words(list: &[&'static str]) -> Bound {
    Words(list.to_vec())
}

const fn within(range: &RangeInclusive<i64>) -> Bound {
    Whole(*range.start(), *range.end())
}

fn roles_of_people() -> Bound {
    Words(Role::ALL.iter().map(|(_, name)| *name).filter(|name| !matches!(*name, "till" | "logger")).collect())
}

/// Schema, field, bound.
fn fields() -> Vec<(&'static str, &'static str, Bound)> {
    let (name, note) = (|| Text(1, NAME_LIMIT), || Text(1, NOTE_LIMIT));
    vec![
        ("BreakdownInput", "grams", Whole(1, MOST)),
        ("BreakdownLoss", "name", name()),
        ("BreakdownOutput", "cut_code", Pattern(CATALOGUE_CODE)),
        ("BreakdownOutput", "place_code", Pattern(CATALOGUE_CODE)),
        ("Catch", "production", words(&["wild", "farmed"])),
        ("Inspection", "burn", names(&Burn::ALL)),
        ("Inspection", "core_temperature_mc", Whole(-70_000, 40_000)),
        ("Inspection", "note", note()),
        ("Inspection", "sample", names(&Sample::ALL)),
        ("PostAcknowledgement", "note", note()),
        ("PostBreakdown", "inputs", Entries(1, break_down::INPUT_LIMIT)),
        ("PostBreakdown", "outputs", Entries(1, break_down::OUTPUT_LIMIT)),
        ("PostBreakdown", "losses", Entries(0, 20)),
        ("PostBreakdown", "place_code", Pattern(CATALOGUE_CODE)),
        ("PostBreakdown", "reason", note()),
        ("PostCancel", "reason", note()),
        ("CasePlanLine", "trays", Whole(1, plan::TRAYS_LIMIT)),
        ("PostCount", "lines", Entries(1, count::LINE_LIMIT)),
        ("PostCount", "reason", note()),
        ("PostCarry", "grams", Whole(1, MOST)),
        ("PostCompletion", "place_code", Pattern(CATALOGUE_CODE)),
        ("PostDecision", "cut_code", Pattern(CATALOGUE_CODE)),
        ("PostDecision", "freeze_tray_codes", Entries(0, decide::TRAY_LIMIT)),
        ("PostDecision", "kitchen", Entries(0, decide::TRAY_LIMIT)),
        ("PostDecision", "note", note()),
        ("PostDecision", "price_per_kg_cents", Whole(0, MOST)),
        ("PostDecision", "way", names(&decide::Way::ALL)),
        ("PostDecisions", "decisions", Entries(1, decide::DECISION_LIMIT)),
        ("PostExceptionResolution", "grams", Whole(1, MOST)),
        ("PostExceptionResolution", "note", note()),
        ("PostExceptionResolution", "way", Words(Way::ALL.iter().map(|way| way.as_str()).collect())),
        ("PostFreezing", "note", note()),
        ("PostFreezing", "scope", words(&["lot", "batch"])),
        ("PostHold", "reason", note()),
        ("PostHold", "scope", words(&["lot", "batch", "tray"])),
        ("PostKey", "name", name()),
        ("PostKey", "role", names(&Role::ALL)),
        ("PostKey", "valid_days", Whole(1, VALID_DAYS_LIMIT)),
        ("PostLabel", "reason", note()),
        ("PostLabelSheets", "start_at", Whole(1, MOST)),
        ("PostLabelSheets", "tray_codes", Entries(1, 200)),
        ("PostLot", "cut_code", Pattern(CATALOGUE_CODE)),
        ("PostLot", "place_code", Pattern(CATALOGUE_CODE)),
        ("PostLot", "received_at", Instant),
        ("PostLot", "species_code", Pattern("^[A-Z]{3}$")),
        ("PostLot", "supplier_code", Pattern(CATALOGUE_CODE)),
        ("PostLot", "supplier_lot_code", Text(1, 40)),
        ("PostMarkdown", "price_per_kg_cents", Whole(0, MOST)),
        ("PostMarkdown", "reason", Text(1, 40)),
        ("PostPerson", "name", name()),
        ("PostPerson", "password", Text(12, 128)),
        ("PostPerson", "role", roles_of_people()),
        ("PostPlace", "place_code", Pattern(CATALOGUE_CODE)),
        ("PostPlace", "reason", note()),
        ("PostPrint", "copies", Whole(1, 20)),
        ("PostPrint", "reason", note()),
        ("PostReadings", "readings", Entries(0, 10_000)),
        ("PostRelease", "note", note()),
        ("PostRotation", "overlap_days", Whole(0, OVERLAP_DAYS_LIMIT)),
        ("PostRotation", "valid_days", Whole(1, VALID_DAYS_LIMIT)),
        ("PostReplayedLine", "grams", Whole(1, MOST)),
        ("PostReplayedLine", "price_cents", Whole(0, MOST)),
        ("PostPickList", "choice", Words(Choice::ALL.iter().map(|choice| choice.as_str()).collect())),
        ("PostPickList", "count", Whole(1, pick::COUNT_LIMIT)),
        ("PostPickList", "high_g", Whole(1, MOST)),
        ("PostPickList", "highest_price_per_kg_cents", Whole(0, MOST)),
        ("PostPickList", "least_hours", Whole(0, pick::LEAST_HOURS_LIMIT)),
        ("PostPickList", "low_g", Whole(1, MOST)),
        ("PostPickList", "needed_at", Instant),
        ("PostPickList", "note", note()),
        ("PostPickList", "purpose", words(&["refill", "order"])),
        ("PostPickList", "rule", words(&["fefo", "fifo"])),
        ("PostPickReason", "reason", note()),
        ("PostPickScan", "substitute", words(&["yes"])),
        ("PutCasePlan", "lines", Entries(0, plan::LINES_LIMIT)),
        ("PostReplayedSale", "key", Pattern("^[A-Za-z0-9_.:-]{16,255}$")),
        ("PostReplayedSale", "lines", Entries(1, sell::LINE_LIMIT)),
        ("PostReplayedSale", "sold_at", Instant),
        ("PostReturn", "lines", Entries(1, sell::LINE_LIMIT)),
        ("PostReturnLine", "grams", Whole(1, MOST)),
        ("PostReturnLine", "reason", note()),
        ("PostReturnLine", "refund_cents", Whole(0, MOST)),
        ("PostReversal", "reason", note()),
        ("PostSale", "lines", Entries(1, sell::LINE_LIMIT)),
        ("PostSaleLine", "grams", Whole(1, MOST)),
        ("PostTakeOut", "grams", Whole(1, MOST)),
        ("PostTakeOut", "reason", note()),
        ("PostTopUp", "grams", Whole(1, MOST)),
        ("PostUndo", "note", note()),
        ("PutCut", "form", names(&Form::ALL)),
        ("PutCut", "item_number", Whole(1, 99_999)),
        ("PutCut", "kind", words(&["block", "tub", "bulk"])),
        ("PutCut", "name", name()),
        ("PutCut", "price_per_kg_cents", Whole(0, MOST)),
        ("PutCut", "raw_budget_hours", Whole(1, MOST)),
        ("PutPlace", "gap_minutes", Whole(1, 240)),
        ("PutPlace", "method", names(&StorageMethod::ALL)),
        ("PutPlace", "name", name()),
        ("PutPlace", "warm_minutes", Whole(0, 240)),
        ("PutSpecies", "group", names(&SpeciesGroup::ALL)),
        ("PutSpecies", "market_name", name()),
        ("PutSpecies", "parasite_rule", words(&["exempt", "freeze_before_raw"])),
        ("PutSpecies", "scientific_name", name()),
        ("PutSupplier", "name", name()),
        ("PutTerms", "cost_cents_per_kg", within(&CENTS_PER_KG)),
        ("PutTerms", "elasticity_permille", within(&ELASTICITY_PERMILLE)),
        ("PutTerms", "freezer_cents_per_kg", within(&CENTS_PER_KG)),
        ("PutTerms", "kitchen_cents_per_kg", within(&KITCHEN_CENTS_PER_KG)),
        ("PutTerms", "kitchen_g_per_day", within(&KITCHEN_G_PER_DAY)),
        ("PutTerms", "portion_g", within(&PORTION_G)),
        ("PutTerms", "units_per_hour_permille", within(&UNITS_PER_HOUR_PERMILLE)),
        ("PutTerms", "waste_cents_per_kg", within(&CENTS_PER_KG)),
    ]
}

/// The bound of a parameter, by the operation and its name; of most by the name alone.
fn parameter(operation: &str, name: &str) -> Option<Bound> {
    Some(match (operation, name) {
        ("list_readings", "limit") => Whole(1, 10_000),
        (_, "limit") => Whole(1, PAGE_LIMIT),
        ("list_exceptions", "cursor") => Pattern(PLACE_CURSOR_PATTERN),
        ("list_exceptions", "state") => words(&["open", "all"]),
        (_, "cursor") => Pattern(CURSOR_PATTERN),
        ("list_changes", "after") => Pattern(FEED_CURSOR_PATTERN),
        ("list_alarms", "state") => words(&["open", "all"]),
        ("list_trays", "state") => words(&["in_stock", "all"]),
        ("list_prints", "state") => Words(State::ALL.iter().map(|state| state.as_str()).collect()),
        ("post_readings", "unit") => words(&["c", "f"]),
        ("post_readings", "date_order") => words(&["dmy", "mdy"]),
        ("post_readings", "column") => Text(1, 80),
        ("report_advice" | "report_waste", "from" | "to") | ("list_decisions", "day") => Day,
        (_, "from" | "to") => Instant,
        (_, "dpi") => Whole(203, 600),
        // A path with another number names nothing.
        (_, "id") => Whole(0, MOST),
        (_, "If-Match") => Pattern(TAG_PATTERN),
        // The tag of the snapshot that one has.
        ("live_stock", "If-None-Match") => return None,
        (_, "If-None-Match") => words(&["*"]),
        _ => return None,
    })
}

/// Writes the bounds of all fields of request bodies into the document.
pub fn of_fields(document: &mut Document) {
    let schemas = &mut document.components.get_or_insert_default().schemas;
    for (schema, field, bound) in fields() {
        let Some(RefOr::T(Schema::Object(object))) = schemas.get_mut(schema) else {
            debug_assert!(false, "the document has no {schema}");
            continue;
        };
        let Some(RefOr::T(found)) = object.properties.get_mut(field) else {
            debug_assert!(false, "{schema} has no {field}");
            continue;
        };
        bind(found, &bound);
    }
}

/// Writes the bounds of an operation's parameters.
pub fn of_parameters(operation: &mut Operation) {
    let id = operation.operation_id.clone().unwrap_or_default();
    for parameter_or_ref in operation.parameters.iter_mut().flatten() {
        let RefOr::T(Parameter { name, schema: Some(RefOr::T(schema)), .. }) = parameter_or_ref else { continue };
        if let Some(bound) = parameter(&id, name) {
            if let Schema::Object(object) = schema {
                never_null(object);
            }
            bind(schema, &bound);
        }
    }
}

/// A parameter that may be left out is left out: there is no null in an address or a header.
fn never_null(object: &mut Object) {
    if let SchemaType::Array(types) = &object.schema_type
        && let Some(kind) = types.iter().find(|kind| **kind != Type::Null)
    {
        object.schema_type = SchemaType::Type(kind.clone());
    }
}

fn bind(schema: &mut Schema, bound: &Bound) {
    match (schema, bound) {
        (Schema::Array(array), Entries(least, most)) => {
            array.min_items = (*least > 0).then_some(*least);
            array.max_items = Some(*most);
        }
        (Schema::Object(object), bound) => bind_value(object, bound),
        _ => debug_assert!(false, "a bound that does not fit its field"),
    }
}

fn bind_value(object: &mut Object, bound: &Bound) {
    match bound {
        Words(words) => {
            let null = matches!(&object.schema_type, SchemaType::Array(types) if types.contains(&Type::Null));
            let words = words.iter().map(|word| serde_json::Value::from(*word));
            object.enum_values = Some(words.chain(null.then_some(serde_json::Value::Null)).collect());
        }
        Whole(least, most) => {
            object.minimum = Some(number(*least));
            object.maximum = (*most != MOST).then(|| number(*most));
        }
        Text(least, most) => {
            object.min_length = Some(*least);
            object.max_length = Some(*most);
        }
        Pattern(pattern) => object.pattern = Some((*pattern).to_owned()),
        Instant => object.format = Some(SchemaFormat::KnownFormat(KnownFormat::DateTime)),
        Day => object.format = Some(SchemaFormat::KnownFormat(KnownFormat::Date)),
        Entries(..) => debug_assert!(false, "a list that is none"),
    }
}

fn number(value: i64) -> Number {
    // Within i32 wherever a bound is written.
    Number::Int(isize::try_from(value).unwrap_or(isize::MAX))
}
