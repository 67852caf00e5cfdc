//! What the shop deals in: species with their raw-eating rule, suppliers, and the cuts with price, form and label text.

use super::language::Language;
use super::life::budget::{Form, LONGEST_OWN_HOURS, OwnBudget, SpeciesGroup, budget_hours};
use super::refusal::{Code, Finding, Refusal};
use super::text;
use super::tray::Kind;
use crate::units::money::PricePerKg;
use std::collections::BTreeMap;

fn invalid(field: &str, reason: impl Into<String>) -> Refusal {
    Refusal::new(Code::InvalidValue, field, reason)
}

/// What of the catalogue customers know by name.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Thing {
    Species,
    Cut,
}

impl Thing {
    pub const fn as_str(self) -> &'static str {
        match self {
            Thing::Species => "species",
            Thing::Cut => "cut",
        }
    }
}

/// Names of one thing beside the one the shop uses, by language.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Names(BTreeMap<Language, String>);

impl Names {
    /// Checks each name as any other name of the catalogue.
    pub fn check(drafts: &BTreeMap<Language, String>) -> Result<Names, Refusal> {
        let checked = drafts
            .iter()
            .map(|(language, name)| Ok((*language, text::name(&format!("names/{}", language.tag()), name)?)));
        Ok(Names(checked.collect::<Result<_, Refusal>>()?))
    }

    pub fn get(&self, language: Language) -> Option<&str> {
        self.0.get(&language).map(String::as_str)
    }

    pub fn iter(&self) -> impl Iterator<Item = (Language, &str)> {
        self.0.iter().map(|(language, name)| (*language, name.as_str()))
    }
}

impl FromIterator<(Language, String)> for Names {
    fn from_iter<I: IntoIterator<Item = (Language, String)>>(names: I) -> Names {
        Names(names.into_iter().collect())
    }
}

/// Whether fish of a species must have been frozen against parasites before it is sold for raw eating. Lists and hours differ
/// by country: the shop sets this from its own food code (US: FDA Food Code 3-402.11 exempts six tunas by name).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ParasiteRule {
    Exempt,
    FreezeBeforeRaw,
}

impl ParasiteRule {
    pub const fn as_str(self) -> &'static str {
        match self {
            ParasiteRule::Exempt => "exempt",
            ParasiteRule::FreezeBeforeRaw => "freeze_before_raw",
        }
    }

    pub fn parse(text: &str) -> Option<ParasiteRule> {
        [ParasiteRule::Exempt, ParasiteRule::FreezeBeforeRaw].into_iter().find(|rule| rule.as_str() == text)
    }
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Species {
    /// FAO 3-alpha code (ASFIS), such as YFT.
    pub code: String,
    pub scientific_name: String,
    pub market_name: String,
    pub group: SpeciesGroup,
    pub parasite_rule: ParasiteRule,
    /// On what ground the shop exempts a species that its profile does not.
    pub parasite_note: Option<String>,
    pub version: i64,
}

#[derive(Debug, Clone)]
pub struct SpeciesDraft {
    pub scientific_name: String,
    pub market_name: String,
    pub names: BTreeMap<Language, String>,
    pub group: String,
    pub parasite_rule: String,
    pub parasite_note: Option<String>,
}

impl Species {
    pub fn check(code: &str, draft: &SpeciesDraft) -> Result<Species, Refusal> {
        if code.len() != 3 || !code.bytes().all(|b| b.is_ascii_uppercase()) {
            return Err(invalid("code", "must be an FAO 3-alpha code: three capital letters"));
        }
        Ok(Species {
            code: code.to_owned(),
            scientific_name: text::name("scientific_name", &draft.scientific_name)?,
            market_name: text::name("market_name", &draft.market_name)?,
            group: SpeciesGroup::parse(&draft.group)
                .ok_or_else(|| invalid("group", "must be tuna, salmonid, oily or white"))?,
            parasite_rule: ParasiteRule::parse(&draft.parasite_rule)
                .ok_or_else(|| invalid("parasite_rule", "must be exempt or freeze_before_raw"))?,
            parasite_note: text::optional_note("parasite_note", draft.parasite_note.as_deref())?,
            version: 1,
        })
    }
}

#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Supplier {
    pub code: String,
    pub name: String,
    pub address: String,
    pub version: i64,
}

#[derive(Debug, Clone)]
pub struct SupplierDraft {
    pub name: String,
    pub address: String,
}

impl Supplier {
    pub fn check(code: &str, draft: &SupplierDraft) -> Result<Supplier, Refusal> {
        let code = text::catalogue_code("code", code)?;
        Ok(Supplier {
            code,
            name: text::name("name", &draft.name)?,
            address: text::note("address", &draft.address)?,
            version: 1,
        })
    }
}

/// One entry of the catalogue of cuts.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Cut {
    pub code: String,
    pub name: String,
    pub kind: Kind,
    pub form: Form,
    pub price: PricePerKg,
    /// The shop's own raw-eating budget in hours at 0 °C: stricter, or validated.
    pub raw_budget_hours: Option<i64>,
    /// Who validated a looser budget, and on what ground.
    pub raw_budget_validated: Option<String>,
    /// Number of the cut inside the shop, 1 to 99999: stands in the article number of its labels.
    pub item_number: i64,
    pub label_note: Option<String>,
    pub version: i64,
}

#[derive(Debug, Clone)]
pub struct CutDraft {
    pub name: String,
    pub names: BTreeMap<Language, String>,
    pub kind: String,
    pub form: String,
    pub price_per_kg_cents: i64,
    pub raw_budget_hours: Option<i64>,
    pub raw_budget_validated: Option<String>,
    pub item_number: i64,
    pub label_note: Option<String>,
}

impl Cut {
    pub fn check(code: &str, draft: &CutDraft) -> Result<Cut, Refusal> {
        let form = Form::parse(&draft.form)
            .ok_or_else(|| invalid("form", "must be whole, loin, block, slices, scrape or for_cooking"))?;
        let validated = text::optional_note("raw_budget_validated", draft.raw_budget_validated.as_deref())?;
        let mut findings = Vec::new();
        findings.extend(budget_finding(form, draft.raw_budget_hours, validated.is_some()));
        if !(1..=99_999).contains(&draft.item_number) {
            findings.push(Finding { field: "item_number".into(), reason: "must be from 1 to 99999".into() });
        }
        if !findings.is_empty() {
            return Err(Refusal { code: Code::InvalidValue, findings });
        }
        Ok(Cut {
            code: text::catalogue_code("code", code)?,
            name: text::name("name", &draft.name)?,
            kind: Kind::parse(&draft.kind).ok_or_else(|| invalid("kind", "must be block, tub or bulk"))?,
            form,
            price: PricePerKg::new(draft.price_per_kg_cents)
                .map_err(|e| invalid("price_per_kg_cents", e.to_string()))?,
            raw_budget_hours: draft.raw_budget_hours,
            raw_budget_validated: validated,
            item_number: draft.item_number,
            label_note: text::optional_note("label_note", draft.label_note.as_deref())?,
            version: 1,
        })
    }

    /// The shop's own budget of this cut.
    pub const fn own_budget(&self) -> OwnBudget {
        OwnBudget { hours: self.raw_budget_hours, validated: self.raw_budget_validated.is_some() }
    }

    /// Whether this cut is sold to be eaten raw.
    pub const fn for_raw_eating(&self) -> bool {
        !matches!(self.form, Form::ForCooking)
    }
}

/// What is wrong with a shop's own budget: looser than that of any species of the form without a ground, or a ground for nothing.
fn budget_finding(form: Form, hours: Option<i64>, validated: bool) -> Option<Finding> {
    let published = SpeciesGroup::ALL.iter().map(|(group, _)| budget_hours(*group, form)).max().unwrap_or(0);
    let finding = |field: &str, reason: String| Some(Finding { field: field.into(), reason });
    match hours {
        None if validated => {
            finding("raw_budget_validated", "is the ground of a raw_budget_hours, which is not given".into())
        }
        Some(hours) if validated && !(1..=LONGEST_OWN_HOURS).contains(&hours) => {
            finding("raw_budget_hours", format!("must be from 1 to {LONGEST_OWN_HOURS}"))
        }
        Some(hours) if !validated && !(1..=published).contains(&hours) => {
            let reason = format!(
                "must be from 1 to {published}: a shop's own budget may only be stricter, unless raw_budget_validated says who \
                 validated it and on what ground"
            );
            finding("raw_budget_hours", reason)
        }
        _ => None,
    }
}
