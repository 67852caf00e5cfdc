//! Pick lists: which trays to take for a refill or an order.

use super::resource;
use crate::domain::picking::{Candidate, Picked};
use crate::ops::pick::{COUNT_LIMIT, PickDraft, pick_list};
use crate::web::answer::{Outcome, number, ok};
use crate::web::call::Look;
use crate::web::permit::ReadStock;
use crate::web::route;
use actix_web::{HttpRequest, web};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct PickQuery {
    #[param(example = "lean-saku")]
    pub cut: String,
    /// How many trays, 1 to 200.
    #[param(value_type = i64, example = 4)]
    pub count: String,
    /// `fefo` (default): the first to end; `fifo`: the oldest cut.
    pub rule: Option<String>,
    /// Only from this place.
    pub place: Option<String>,
    /// Least hours each must still be for sale, 0 to 1000; 0 when absent.
    #[param(value_type = Option<i64>, example = 6)]
    pub least_hours: Option<String>,
}

#[derive(Debug, Serialize, ToSchema)]
pub struct PickLine {
    #[schema(example = "C4H7K9P")]
    pub tray_code: String,
    #[schema(example = "back-case")]
    pub place_code: String,
    #[schema(example = 268)]
    pub net_weight_g: i64,
    #[schema(example = "2026-11-25T07:05:00.000000Z")]
    pub cut_at: String,
    #[schema(example = "2026-11-27T09:12:00.000000Z")]
    pub sell_until: String,
}

#[derive(Debug, Serialize, ToSchema)]
pub struct PickList {
    /// In the order to take them.
    pub take: Vec<PickLine>,
    /// Earlier ones left out because too little life was left.
    pub passed_over: Vec<PickLine>,
}

impl From<Candidate> for PickLine {
    fn from(c: Candidate) -> PickLine {
        PickLine {
            tray_code: c.code.to_string(),
            place_code: c.place,
            net_weight_g: c.net_g,
            cut_at: c.cut_at.to_string(),
            sell_until: c.sell_until.to_string(),
        }
    }
}

impl From<Picked> for PickList {
    fn from(picked: Picked) -> PickList {
        let lines = |side: Vec<Candidate>| side.into_iter().map(PickLine::from).collect();
        PickList { take: lines(picked.take), passed_over: lines(picked.passed_over) }
    }
}

/// Which trays to take, in order. Reserves nothing.
#[utoipa::path(get, path = "/v1/pick-list", tag = "stock", operation_id = "pick_list", params(PickQuery), extensions(("x-permission" = json!("read_stock"))),
    responses((status = 200, description = "What to take, and what was passed over.", body = PickList)))]
async fn get(request: HttpRequest, look: Look<ReadStock>) -> Outcome {
    let query = super::stock::query::<PickQuery>(&request)?;
    let draft = PickDraft {
        count: number("count", Some(&query.count), 1..=COUNT_LIMIT, 1)?,
        least_hours: number("least_hours", query.least_hours.as_deref(), 0..=1_000, 0)?,
        cut: query.cut,
        rule: query.rule.unwrap_or_else(|| "fefo".to_owned()),
        place: query.place,
    };
    let picked = look.ask(move |desk, now| desk.look(|reading, shop| pick_list(reading, shop, now, &draft))).await?;
    ok(&PickList::from(picked))
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.service(resource("/v1/pick-list", "GET").route(route::get().to(get)));
}

/// This resource's part of the document.
#[derive(utoipa::OpenApi)]
#[openapi(paths(get))]
pub struct Doc;
