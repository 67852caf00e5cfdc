//! What is left of a tray's life, and of the trays of a lot. How it came to that is `stories`'.

use super::resource;
use crate::domain::life::clocks::{Clock, ClockAnswer, Life};
use crate::domain::life::curve::Projection;
use crate::domain::life::wear::{Budgets, Wear};
use crate::domain::profile::OwnSetting;
use crate::domain::verdict::Facts;
use crate::ops::story::{self, LotLife, TrayLife};
use crate::ops::stretch::because;
use crate::units::instant::{Instant, MICROS_PER_MINUTE};
use crate::web::answer::{Outcome, ok};
use crate::web::call::Look;
use crate::web::permit::ReadRecords;
use crate::web::route;
use actix_web::web;
use serde::Serialize;
use utoipa::ToSchema;

/// What fish lived through, in whole minutes, rounded up. Ice minutes are equivalents at 0 °C.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Wear)]
pub struct WearBody {
    /// Of the clock for raw eating.
    #[schema(example = 173)]
    pub raw_ice_minutes: i64,
    /// Of the colour clock.
    #[schema(example = 173)]
    pub colour_ice_minutes: i64,
    /// Frozen storage, as at -18 °C.
    #[schema(example = 0)]
    pub frozen_minutes: i64,
    /// Above the safety temperature, and the part of it above the hot one.
    #[schema(example = 0)]
    pub exposed_minutes: i64,
    #[schema(example = 0)]
    pub hot_minutes: i64,
    /// Plain time that was measured, and that had to be assumed at the worst.
    #[schema(example = 90)]
    pub measured_minutes: i64,
    #[schema(example = 30)]
    pub assumed_minutes: i64,
}

fn minutes(micros: i64) -> i64 {
    // Up: what was used is never said smaller. Nothing is negative but what a pouring took away from measured time.
    -(-micros).div_euclid(MICROS_PER_MINUTE)
}

impl From<Wear> for WearBody {
    fn from(wear: Wear) -> WearBody {
        WearBody {
            raw_ice_minutes: minutes(wear.raw_micros),
            colour_ice_minutes: minutes(wear.colour_micros),
            frozen_minutes: minutes(wear.frozen_micros),
            exposed_minutes: minutes(wear.exposed_micros),
            hot_minutes: minutes(wear.hot_micros),
            measured_minutes: minutes(wear.measured_micros),
            assumed_minutes: minutes(wear.assumed_micros),
        }
    }
}

/// What a tray may use up.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Budgets)]
pub struct BudgetsBody {
    #[schema(example = 5760)]
    pub raw_ice_minutes: i64,
    /// Absent where nobody looks at the colour. Thawed fish has the share of it that the profile says.
    #[schema(example = 16934)]
    pub colour_ice_minutes: Option<i64>,
    /// At -18 °C.
    #[schema(example = 86400)]
    pub frozen_minutes: i64,
}

impl From<Budgets> for BudgetsBody {
    fn from(budgets: Budgets) -> BudgetsBody {
        BudgetsBody {
            raw_ice_minutes: budgets.raw_micros / MICROS_PER_MINUTE,
            colour_ice_minutes: budgets.colour_micros.map(|micros| micros / MICROS_PER_MINUTE),
            frozen_minutes: budgets.frozen_micros / MICROS_PER_MINUTE,
        }
    }
}

/// What one clock says.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = ClockAnswer)]
pub struct ClockBody {
    /// raw, colour, exposure, date_mark, frozen or supplier.
    #[schema(example = "raw")]
    pub clock: &'static str,
    /// Rounded up; dates count calendar time.
    #[schema(example = 412)]
    pub used_permille: i64,
    /// The last instant within the limit, as projected; absent while the clock stands still.
    #[schema(example = "2026-11-27T09:12:00.000000Z")]
    pub ends_at: Option<String>,
}

/// The temperature that counts from now on, and why.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Projection)]
pub struct ProjectionBody {
    #[schema(example = 2000)]
    pub temperature_mc: i64,
    /// no_sensor, upper_limit, last_reading_warmer or storage_on_label.
    #[schema(example = "upper_limit")]
    pub because: &'static str,
    #[schema(
        example = "From the last reading on it counts at the upper limit of the place, 2.0 °C, until another comes."
    )]
    pub sentence: String,
}

impl From<&Projection> for ProjectionBody {
    fn from(projection: &Projection) -> ProjectionBody {
        let (because, sentence) = because(projection);
        ProjectionBody { temperature_mc: projection.temperature.get(), because, sentence }
    }
}

/// Something a reader of a life should know.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = LifeWarning)]
pub struct WarningBody {
    /// not_superchilled, partly_frozen, model_doubtful, outside_model, mostly_assumed or validated_by_shop.
    #[schema(example = "mostly_assumed")]
    pub name: &'static str,
    #[schema(example = "More than half of the time was assumed, not measured.")]
    pub sentence: &'static str,
}

/// A setting of the shop that differs from its profile.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = OwnSetting)]
pub struct SettingBody {
    #[schema(example = "thawed_colour_permille")]
    pub name: &'static str,
    #[schema(example = "700")]
    pub value: String,
    #[schema(example = "500")]
    pub profile_value: String,
    /// Who validated a looser value, and on what ground; absent for a stricter one.
    #[schema(example = "our own colour panel, 12 March 2026")]
    pub validated: Option<String>,
}

impl From<&OwnSetting> for SettingBody {
    fn from(own: &OwnSetting) -> SettingBody {
        SettingBody {
            name: own.name,
            value: own.value.clone(),
            profile_value: own.profile_value.clone(),
            validated: own.validated.clone(),
        }
    }
}

/// The life of a tray, as of now or as of the moment it went.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = TrayLife)]
pub struct TrayLifeBody {
    #[schema(example = "C4H7K9P")]
    pub tray_code: String,
    #[schema(example = "front-case")]
    pub place_code: String,
    #[schema(example = "2026-11-25T10:00:00.000000Z")]
    pub as_of: String,
    /// The first end of any clock; absent while all of them stand still.
    #[schema(example = "2026-11-27T09:12:00.000000Z")]
    pub ends_at: Option<String>,
    /// Whole minutes from `as_of` to then, 0 when past.
    #[schema(example = 2832)]
    pub minutes_left: Option<i64>,
    /// The clock that ends first.
    #[schema(example = "raw")]
    pub limiting_clock: Option<&'static str>,
    /// As printed on its label.
    #[schema(example = "2026-11-27T09:12:00.000000Z")]
    pub use_by: Option<String>,
    /// The earlier of both; absent while it is frozen.
    #[schema(example = "2026-11-27T09:12:00.000000Z")]
    pub sell_until: Option<String>,
    /// Every clock in force for it.
    pub clocks: Vec<ClockBody>,
    pub lived: WearBody,
    pub budgets: BudgetsBody,
    pub projection: ProjectionBody,
    pub warnings: Vec<WarningBody>,
    /// Limits in force that are looser than the profile, on the shop's own ground.
    pub validated: Vec<SettingBody>,
    /// us or eu.
    #[schema(example = "us")]
    pub profile: &'static str,
}

fn minutes_left(life: &Life) -> Option<i64> {
    life.ends_at.map(|end| (end.since(life.at) / MICROS_PER_MINUTE).max(0))
}

impl TrayLifeBody {
    fn of(told: &TrayLife, profile: &'static str) -> TrayLifeBody {
        let (life, tray) = (&told.facts.life, &told.facts.tray);
        let clock = |answer: &ClockAnswer| ClockBody {
            clock: answer.clock.as_str(),
            used_permille: answer.used_permille,
            ends_at: written(answer.ends_at),
        };
        let until = if told.facts.place_frozen { None } else { told.facts.sell_until() };
        TrayLifeBody {
            tray_code: tray.code.to_string(),
            place_code: tray.place.clone(),
            as_of: life.at.to_string(),
            ends_at: written(life.ends_at),
            minutes_left: minutes_left(life),
            limiting_clock: life.limiting.map(Clock::as_str),
            use_by: written(tray.use_by),
            sell_until: written(until),
            clocks: life.clocks.iter().map(clock).collect(),
            lived: life.wear.into(),
            budgets: tray.lived.budgets.into(),
            projection: (&life.projection).into(),
            warnings: life.warnings.iter().map(|w| WarningBody { name: w.as_str(), sentence: w.in_words() }).collect(),
            validated: told.validated.iter().map(SettingBody::from).collect(),
            profile,
        }
    }
}

/// An instant as it is sent, if there is one.
pub fn written(at: Option<Instant>) -> Option<String> {
    at.map(|at| at.to_string())
}

/// What is left of a tray's life, and why.
#[utoipa::path(get, path = "/v1/trays/{tray_code}/life", tag = "life", operation_id = "get_tray_life", extensions(("x-permission" = json!("read_records"))),
    params(("tray_code" = String, Path, example = "C4H7K9P")),
    responses((status = 200, description = "As of now; of a tray that has gone, as of then.", body = TrayLifeBody)))]
async fn tray_life(look: Look<ReadRecords>, code: web::Path<String>) -> Outcome {
    let told = look
        .ask(move |desk, now| {
            desk.look(|reading, shop| {
                let profile = shop.jurisdiction.as_str();
                Ok(TrayLifeBody::of(&story::tray_life(reading, shop, now, &code)?, profile))
            })
        })
        .await?;
    ok(&told)
}

/// What is left of one tray of a lot.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = LotTrayLife)]
pub struct LotTrayBody {
    #[schema(example = "C4H7K9P")]
    pub tray_code: String,
    #[schema(example = "lean-saku")]
    pub cut_code: String,
    #[schema(example = "front-case")]
    pub place_code: String,
    #[schema(example = "2026-11-27T09:12:00.000000Z")]
    pub ends_at: Option<String>,
    #[schema(example = 2832)]
    pub minutes_left: Option<i64>,
    #[schema(example = "raw")]
    pub limiting_clock: Option<&'static str>,
}

/// What is left of a lot.
#[derive(Debug, Serialize, ToSchema)]
#[schema(as = LotLife)]
pub struct LotLifeBody {
    #[schema(example = "YFT-261125-01")]
    pub lot_code: String,
    /// Freezing against parasites: not_needed, on_record or missing.
    #[schema(example = "not_needed")]
    pub parasites: &'static str,
    /// The tray that ends first.
    #[schema(example = "C4H7K9P")]
    pub first_to_end: Option<String>,
    /// Trays in stock that hold some of it, the first to end first.
    pub trays: Vec<LotTrayBody>,
}

impl From<LotLife> for LotLifeBody {
    fn from(told: LotLife) -> LotLifeBody {
        let tray = |facts: &Facts| LotTrayBody {
            tray_code: facts.tray.code.to_string(),
            cut_code: facts.tray.cut.clone(),
            place_code: facts.tray.place.clone(),
            ends_at: written(facts.life.ends_at),
            minutes_left: minutes_left(&facts.life),
            limiting_clock: facts.life.limiting.map(Clock::as_str),
        };
        let trays: Vec<LotTrayBody> = told.trays.iter().map(tray).collect();
        LotLifeBody {
            lot_code: told.lot.code,
            parasites: told.parasites.as_str(),
            first_to_end: trays.iter().find(|tray| tray.ends_at.is_some()).map(|tray| tray.tray_code.clone()),
            trays,
        }
    }
}

/// What is left of the trays of a lot.
#[utoipa::path(get, path = "/v1/lots/{lot_code}/life", tag = "life", operation_id = "get_lot_life", extensions(("x-permission" = json!("read_records"))),
    params(("lot_code" = String, Path, example = "YFT-261125-01")),
    responses((status = 200, description = "Tray by tray.", body = LotLifeBody)))]
async fn lot_life(look: Look<ReadRecords>, code: web::Path<String>) -> Outcome {
    let told = look.ask(move |desk, now| desk.look(|reading, shop| story::of_lot(reading, shop, now, &code))).await?;
    ok(&LotLifeBody::from(told))
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.service(resource("/v1/trays/{tray_code}/life", "GET").route(route::get().to(tray_life)));
    config.service(resource("/v1/lots/{lot_code}/life", "GET").route(route::get().to(lot_life)));
}

/// This resource's part of the document.
#[derive(utoipa::OpenApi)]
#[openapi(paths(tray_life, lot_life))]
pub struct Doc;
