//! The rules remaining life is reckoned by: the profile, every constant that answers depend on, and where the shop differs.

use super::lives::SettingBody;
use super::resource;
use crate::domain::life::budget::{Form, OwnBudget, SpeciesGroup, budgets};
use crate::domain::profile::{CountsFrom, Rules, own};
use crate::units::instant::MICROS_PER_MINUTE;
use crate::web::answer::{Outcome, ok};
use crate::web::call::Look;
use crate::web::permit::ReadRecords;
use crate::web::route;
use actix_web::web;
use serde::Serialize;
use utoipa::ToSchema;

/// A constant in force, in the words of the settings file.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Constant)]
pub struct ConstantBody {
    #[schema(example = "exposure_minutes")]
    pub name: &'static str,
    #[schema(example = "480")]
    pub value: String,
}

/// What a tray of a species group and form may use up; the shop's own budgets stand at its cuts.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = GroupBudget)]
pub struct GroupBudgetBody {
    #[schema(example = "tuna")]
    pub species_group: &'static str,
    #[schema(example = "block")]
    pub form: &'static str,
    #[schema(example = 5760)]
    pub raw_ice_minutes: i64,
    /// Absent where nobody looks at the colour.
    #[schema(example = 16934)]
    pub colour_ice_minutes: Option<i64>,
}

/// A way of freezing that kills parasites.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = FreezingRule)]
pub struct FreezingRuleBody {
    #[schema(example = "us_168_h_at_minus_20")]
    pub name: &'static str,
    /// At or below this until the fish is solid.
    pub solid_at_mc: Option<i64>,
    #[schema(example = -20000)]
    pub hold_at_mc: i64,
    #[schema(example = 168)]
    pub hold_hours: i64,
    /// in_freezer, solid or all_parts: from when on the hours count.
    #[schema(example = "in_freezer")]
    pub counts_from: &'static str,
}

/// A species that need not be frozen before raw eating.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = ExemptSpecies)]
pub struct ExemptBody {
    #[schema(example = "Thunnus albacares")]
    pub scientific_name: &'static str,
    #[schema(example = "YFT")]
    pub fao_code: &'static str,
}

/// The rules in force.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Profile)]
pub struct ProfileBody {
    /// us or eu.
    #[schema(example = "us")]
    pub profile: &'static str,
    pub constants: Vec<ConstantBody>,
    pub budgets: Vec<GroupBudgetBody>,
    pub parasite_freezing: Vec<FreezingRuleBody>,
    pub exempt_species: Vec<ExemptBody>,
    /// How long a freezing record is kept after the fish is sold; absent where the law read names no number.
    #[schema(example = 90)]
    pub record_days_after_sale: Option<i64>,
    /// Where the shop differs from the profile.
    pub own_settings: Vec<SettingBody>,
    /// How many of them are looser, on the shop's own ground.
    #[schema(example = 0)]
    pub validated: usize,
}

const fn counts_from(from: CountsFrom) -> &'static str {
    match from {
        CountsFrom::InFreezer => "in_freezer",
        CountsFrom::Solid => "solid",
        CountsFrom::AllParts => "all_parts",
    }
}

fn group_budgets(rules: &Rules) -> Vec<GroupBudgetBody> {
    let one = |(group, group_name): (SpeciesGroup, &'static str), (form, form_name): (Form, &'static str)| {
        let budgets = budgets(rules, group, form, OwnBudget::default());
        GroupBudgetBody {
            species_group: group_name,
            form: form_name,
            raw_ice_minutes: budgets.raw_micros / MICROS_PER_MINUTE,
            colour_ice_minutes: budgets.colour_micros.map(|micros| micros / MICROS_PER_MINUTE),
        }
    };
    SpeciesGroup::ALL.into_iter().flat_map(|group| Form::ALL.into_iter().map(move |form| one(group, form))).collect()
}

impl From<&Rules> for ProfileBody {
    fn from(rules: &Rules) -> ProfileBody {
        let freezing = rules.parasites.freezing.iter().map(|rule| FreezingRuleBody {
            name: rule.name,
            solid_at_mc: rule.solid_at.map(|at| at.get()),
            hold_at_mc: rule.hold_at.get(),
            hold_hours: rule.hold_hours,
            counts_from: counts_from(rule.counts_from),
        });
        let exempt = rules
            .parasites
            .exempt
            .iter()
            .map(|species| ExemptBody { scientific_name: species.scientific_name, fao_code: species.fao_code });
        ProfileBody {
            profile: rules.jurisdiction.as_str(),
            constants: own::in_words(rules).map(|(name, value)| ConstantBody { name, value }).collect(),
            budgets: group_budgets(rules),
            parasite_freezing: freezing.collect(),
            exempt_species: exempt.collect(),
            record_days_after_sale: rules.parasites.record_days_after_sale,
            own_settings: rules.own.iter().map(SettingBody::from).collect(),
            validated: rules.validated().count(),
        }
    }
}

/// The rules remaining life is reckoned by, with every constant.
#[utoipa::path(get, path = "/v1/profile", tag = "life", operation_id = "get_profile", extensions(("x-permission" = json!("read_records"))),
    responses((status = 200, description = "The rules in force.", body = ProfileBody)))]
async fn get(look: Look<ReadRecords>) -> Outcome {
    ok(&ProfileBody::from(&look.service.desk.shop().rules))
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.service(resource("/v1/profile", "GET").route(route::get().to(get)));
}

/// This resource's part of the document.
#[derive(utoipa::OpenApi)]
#[openapi(paths(get))]
pub struct Doc;
