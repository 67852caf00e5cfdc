//! Health as monitors ask for it (draft-inadarei-api-health-check-06): whether the process lives, and whether the shop is ready, with the
//! reasons for whoever may know them. Everybody may ask, so it is looked up at most once a second, by one at a time.

use super::call::Service;
use super::problem::Problem;
use super::session;
use crate::domain::permissions::Permission;
use crate::ops::failure::Failure;
use crate::ops::health::{Check, Health, Measure, Status};
use actix_web::http::StatusCode;
use actix_web::{HttpRequest, HttpResponse, web};
use serde_json::{Map, Value, json};
use std::sync::Arc;
use std::time::{Duration, Instant};
use tokio::sync::Mutex;

const FRESH: Duration = Duration::from_secs(1);

/// The last look, for everybody who asks within a second.
#[derive(Default)]
pub struct Checkup(Mutex<Option<(Instant, Arc<Health>)>>);

impl Checkup {
    async fn health(&self, service: &Service) -> Result<Arc<Health>, Problem> {
        // Whoever comes while somebody looks waits for what he sees.
        let mut last = self.0.lock().await;
        if let Some((_, health)) = last.as_ref().filter(|(at, _)| at.elapsed() < FRESH) {
            return Ok(Arc::clone(health));
        }
        let health = Arc::new(service.ask(|desk, now| Ok::<_, Failure>(desk.health(now))).await?);
        *last = Some((Instant::now(), Arc::clone(&health)));
        Ok(health)
    }
}

fn answer(status: Status, checks: Option<Value>) -> HttpResponse {
    let code = if status == Status::Fail { StatusCode::SERVICE_UNAVAILABLE } else { StatusCode::OK };
    let mut body =
        json!({"status": status.as_str(), "version": env!("CARGO_PKG_VERSION").split('.').next().unwrap_or("0")});
    if let (Some(checks), Some(object)) = (checks, body.as_object_mut()) {
        object.insert("releaseId".into(), env!("CARGO_PKG_VERSION").into());
        object.insert("checks".into(), checks);
    }
    let mut response = HttpResponse::build(code);
    response.content_type("application/health+json").insert_header(("Cache-Control", "no-store"));
    if status == Status::Fail {
        response.insert_header(("Retry-After", "5"));
    }
    response.body(body.to_string())
}

fn told(check: &Check, at: &str) -> Value {
    let mut told = json!({"status": check.status.as_str(), "time": at});
    let Some(object) = told.as_object_mut() else { return told };
    match &check.measure {
        Measure::Word(word) => object.insert("observedValue".into(), word.as_str().into()),
        Measure::Number(number, unit) => {
            object.insert("observedUnit".into(), (*unit).into());
            object.insert("observedValue".into(), (*number).into())
        }
    };
    if let Some(reason) = &check.reason {
        object.insert("output".into(), reason.as_str().into());
    }
    told
}

/// The process is up.
pub async fn live() -> HttpResponse {
    answer(Status::Pass, None)
}

/// The shop can do its work: sell, and keep what it sold.
pub async fn ready(request: HttpRequest, service: web::Data<Service>, checkup: web::Data<Checkup>) -> HttpResponse {
    // A server that has no time to look is not ready.
    let Ok(health) = checkup.health(&service).await else { return answer(Status::Fail, None) };
    // Who asks is looked up in the database as well, which may be what fails: then only the status is told.
    let known = session::known(&request, &service).await;
    let may_know = known.is_ok_and(|known| Permission::ReadHealth.allows(known.actor.role));
    let at = health.at.to_string();
    let checks = || -> Map<String, Value> {
        health.checks.iter().map(|check| (check.name.to_owned(), json!([told(check, &at)]))).collect()
    };
    answer(health.status(), may_know.then(|| Value::Object(checks())))
}
