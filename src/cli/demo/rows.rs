//! How the rows of the demo's files look: one struct a file, its fields named as the columns. What a row does is said in `replay`.

use serde::Deserialize;

#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PersonRow {
    pub name: String,
    pub role: String,
}

#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SpeciesRow {
    pub code: String,
    pub scientific_name: String,
    pub market_name: String,
    pub name_ja: Option<String>,
    pub group: String,
    pub parasite_rule: String,
    pub parasite_note: Option<String>,
}

#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SupplierRow {
    pub code: String,
    pub name: String,
    pub address: String,
}

#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CutRow {
    pub code: String,
    pub name: String,
    pub name_ja: Option<String>,
    pub kind: String,
    pub form: String,
    pub price_per_kg_cents: i64,
    pub raw_budget_hours: Option<i64>,
    pub item_number: i64,
    pub label_note: Option<String>,
}

#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct PlaceRow {
    pub code: String,
    pub name: String,
    pub method: String,
    pub set_point_mc: i64,
    pub upper_limit_mc: i64,
    pub logger: YesNo,
}

#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct CasePlanRow {
    pub place: String,
    pub cut: String,
    pub trays: i64,
}

#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LotRow {
    pub label: String,
    pub day: i64,
    pub time: String,
    pub person: String,
    pub species: String,
    pub supplier: String,
    pub supplier_lot_code: Option<String>,
    pub supplier_use_by_day: Option<i64>,
    pub received_g: i64,
    pub cost_cents: i64,
    pub pieces: i64,
    pub cut: String,
    pub place: String,
    pub production: String,
    pub area: String,
    pub gear: Option<String>,
    pub country: String,
    pub caught_from_day: i64,
    pub caught_to_day: i64,
    pub core_temperature_mc: i64,
    pub grade: i64,
    pub colour: i64,
    pub fat: i64,
    pub burn: String,
    pub sample: String,
    pub note: Option<String>,
    pub parasite_letter: Option<String>,
    pub parasite_letter_mc: Option<i64>,
    pub parasite_letter_hours: Option<i64>,
    pub previously_frozen: YesNo,
    pub frozen_on_day: Option<i64>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum YesNo {
    Yes,
    No,
}

#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct BreakdownRow {
    pub label: String,
    pub day: i64,
    pub time: String,
    pub person: String,
    pub inputs: String,
    pub place: String,
    pub reason: Option<String>,
}

#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct OutputRow {
    pub breakdown: String,
    pub label: String,
    pub cut: String,
    pub grams: i64,
    pub place: String,
}

#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LossRow {
    pub breakdown: String,
    pub name: String,
    pub grams: i64,
}

#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ActRow {
    pub day: i64,
    pub time: String,
    pub person: String,
    pub act: ActWord,
    pub tray: String,
    pub grams: Option<i64>,
    pub place: Option<String>,
    pub reason: Option<String>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ActWord {
    Label,
    Move,
    Freeze,
    Thaw,
    TopUp,
    Kitchen,
    Waste,
    Hold,
    Release,
    Count,
    Markdown,
}

#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct SaleRow {
    pub day: i64,
    pub time: String,
    pub person: String,
    pub sale: i64,
    pub tray: String,
    pub grams: Option<i64>,
}

#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct ReviewRow {
    pub day: i64,
    pub time: String,
    pub person: String,
    pub answer: ReviewAnswer,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ReviewAnswer {
    Price,
    Decline,
}

#[derive(Debug, Clone, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct TemperatureRow {
    pub day: i64,
    pub time: String,
    pub celsius: String,
}
