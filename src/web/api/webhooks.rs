//! Webhooks: who is told of changes without asking. Secrets are shown once, so that nothing here is recorded under an idempotency key, whose
//! answers are kept.

use super::resource;
use super::stock::query;
use crate::domain::webhook::{DeadLetter, Kind, Webhook};
use crate::ops::changes::{FeedPosition, cursor};
use crate::ops::webhooks::{self, Draft, Fares, Replay, Switch, fresh_secret};
use crate::web::answer::{
    Outcome, PAGE_LIMIT, expected, id, number, ok, page_until, read_cursor, read_feed_cursor, versioned, write_cursor,
};
use crate::web::call::{Look, Told};
use crate::web::clock;
use crate::web::permit::ManageWebhooks;
use crate::web::problem::{Problem, Speech};
use crate::web::route;
use actix_web::http::header;
use actix_web::{HttpRequest, HttpResponse, web};
use serde::{Deserialize, Serialize};
use utoipa::{IntoParams, ToSchema};

#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Webhook)]
pub struct WebhookBody {
    #[schema(example = 3)]
    pub webhook_id: i64,
    #[schema(example = "https://till.example/fish")]
    pub url: String,
    /// Which events are sent: tray.changed (what is on the shelf of a tray is new or another), tray.gone (nothing of it is for sale),
    /// act.recorded (an act that touched no tray). More may come.
    #[schema(example = json!(["tray.changed", "tray.gone"]))]
    pub kinds: Vec<&'static str>,
    /// enabled or disabled.
    #[schema(example = "enabled")]
    pub state: &'static str,
    /// Why nothing is sent, and since when.
    pub disabled_reason: Option<String>,
    pub disabled_at: Option<String>,
    #[schema(example = "2026-11-25T08:00:00.000000Z")]
    pub created_at: String,
    #[schema(example = "owner")]
    pub created_by: String,
    /// Stands for the last change that is done with: behind it, deliveries go on.
    #[schema(example = "0.4d2-cdca25f9")]
    pub cursor: String,
    /// When a letter last got through.
    pub last_success_at: Option<String>,
    /// Why the last one did not, while it did not.
    #[schema(example = "the receiver answered 500")]
    pub last_failure: Option<String>,
    /// Until when signatures are made with the secret before the present one too.
    pub earlier_secret_until: Option<String>,
    /// What became of the last test: delivered, or why not; absent while it is under way.
    pub test_outcome: Option<String>,
    /// Raised by every change; the ETag.
    #[schema(example = 1)]
    pub version: i64,
    /// The secret that signs, after Standard Webhooks: shown at its making and never again.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schema(example = "whsec_…")]
    pub secret: Option<String>,
}

fn place((xact, id): (i64, i64)) -> String {
    cursor(FeedPosition { xact, id })
}

impl WebhookBody {
    fn of(hook: Webhook, secret: Option<String>) -> WebhookBody {
        let disabled = hook.disabled;
        WebhookBody {
            webhook_id: hook.id,
            url: hook.url,
            kinds: hook.kinds.into_iter().map(Kind::as_str).collect(),
            state: if disabled.is_some() { "disabled" } else { "enabled" },
            disabled_at: disabled.as_ref().map(|disabled| disabled.at.to_string()),
            disabled_reason: disabled.map(|disabled| disabled.why),
            created_at: hook.created_at.to_string(),
            created_by: hook.created_by,
            cursor: place(hook.position),
            last_success_at: hook.last_success_at.map(|at| at.to_string()),
            last_failure: hook.last_failure,
            earlier_secret_until: hook.earlier_until.map(|at| at.to_string()),
            test_outcome: hook.test_outcome,
            version: hook.version,
            secret,
        }
    }
}

#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PostWebhook {
    /// Where events go: https, at a public address or one that the settings allow; at most 500 characters.
    #[schema(example = "https://till.example/fish")]
    pub url: String,
    /// Which events; all when absent or empty.
    #[serde(default)]
    #[schema(example = json!(["tray.changed", "tray.gone"]))]
    pub kinds: Vec<String>,
    /// A cursor of the change feed to begin behind; from now on when absent.
    #[serde(default)]
    #[schema(example = "0.4d2-cdca25f9")]
    pub after: Option<String>,
}

#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PutWebhook {
    #[schema(example = "https://till.example/fish")]
    pub url: String,
    /// Which events; all when empty.
    #[schema(example = json!(["tray.changed", "tray.gone"]))]
    pub kinds: Vec<String>,
    /// enabled or disabled. Enabled again, deliveries go on where they stopped.
    #[schema(example = "enabled")]
    pub state: String,
}

#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PostRotation {
    /// For how many hours signatures are made with the old secret too: 0 to 168; 24 when absent. 0 where somebody else knows it.
    #[serde(default)]
    #[schema(example = 24)]
    pub keep_hours: Option<i64>,
}

#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PostReplay {
    /// changes, everything behind the cursor `after` (from the beginning when that is absent); or dead_letters, each once more: the one of
    /// `letter_id`, or all.
    #[schema(example = "dead_letters")]
    pub what: String,
    #[serde(default)]
    #[schema(example = "0.4d2-cdca25f9")]
    pub after: Option<String>,
    #[serde(default)]
    #[schema(example = 5)]
    pub letter_id: Option<i64>,
}

fn position(text: Option<&str>) -> Result<Option<FeedPosition>, Problem> {
    let read = |text| read_feed_cursor("after", text).map(|(xact, id)| FeedPosition { xact, id });
    text.map(read).transpose()
}

/// All webhooks, without their secrets.
#[utoipa::path(get, path = "/v1/webhooks", tag = "webhooks", operation_id = "list_webhooks", extensions(("x-permission" = json!("manage_webhooks"))),
    responses((status = 200, description = "The oldest first.", body = Vec<WebhookBody>)))]
async fn list(look: Look<ManageWebhooks>) -> Outcome {
    let all = look.ask(|desk, _| desk.look(|reading, _| webhooks::all(reading))).await?;
    ok(&all.into_iter().map(|hook| WebhookBody::of(hook, None)).collect::<Vec<_>>())
}

/// Creates a webhook and shows its secret this once. Events come one at a time and in order, each until it is answered 2xx within the time
/// allowed; a letter may come twice, under the same `webhook-id`. Tried ten times over 75 hours, it becomes a dead letter and the next follows;
/// after three of these in a row, or an answer of 410, the webhook is disabled.
#[utoipa::path(post, path = "/v1/webhooks", tag = "webhooks", operation_id = "create_webhook", request_body = PostWebhook, extensions(("x-permission" = json!("manage_webhooks"))),
    responses((status = 201, description = "Created; the only time the secret is shown.", body = WebhookBody)))]
async fn post(told: Told<ManageWebhooks, PostWebhook>) -> Outcome {
    let (actor, body, chance) = (told.look.actor.clone(), told.body, chance()?);
    let after = position(body.after.as_deref())?;
    let create = move |desk: &crate::ops::desk::Desk, now| {
        let draft = Draft::check(desk.webhooks(), &body.url, &body.kinds)?;
        let secret = fresh_secret(desk.webhooks(), &chance)?;
        let written = secret.written.clone();
        let hook = desk.act(move |tx, _| webhooks::create(tx, &actor, now, &draft, after, &secret))?;
        Ok((hook, written))
    };
    let (hook, written) = told.look.ask(create).await?;
    let version = hook.version;
    versioned(&WebhookBody::of(hook, Some(written)), version, true)
}

fn chance() -> Result<([u8; 32], [u8; 32]), Problem> {
    clock::random().zip(clock::random()).ok_or_else(|| Problem::of(Speech::Unavailable))
}

/// One webhook as it stands.
#[utoipa::path(get, path = "/v1/webhooks/{id}", tag = "webhooks", operation_id = "get_webhook", extensions(("x-permission" = json!("manage_webhooks"))),
    params(("id" = i64, Path, example = 3)),
    responses((status = 200, description = "As it stands, its version as ETag.", body = WebhookBody)))]
async fn get(look: Look<ManageWebhooks>, path: web::Path<String>) -> Outcome {
    let id = id(&path)?;
    let hook = look.ask(move |desk, _| desk.look(|reading, _| webhooks::one(reading, id))).await?;
    let version = hook.version;
    versioned(&WebhookBody::of(hook, None), version, false)
}

/// Changes a webhook (`If-Match`), and switches it on or off.
#[utoipa::path(put, path = "/v1/webhooks/{id}", tag = "webhooks", operation_id = "put_webhook", extensions(("x-permission" = json!("manage_webhooks"))),
    params(("id" = i64, Path, example = 3), ("If-Match" = Option<String>, Header, description = "The ETag that was read.", example = "\"1\"")),
    request_body = PutWebhook,
    responses((status = 200, description = "Changed.", body = WebhookBody)))]
async fn put(request: HttpRequest, told: Told<ManageWebhooks, PutWebhook>, path: web::Path<String>) -> Outcome {
    let (id, expected, actor, body) = (id(&path)?, expected(request.headers())?, told.look.actor.clone(), told.body);
    let switch = match body.state.as_str() {
        "enabled" => Switch::On,
        "disabled" => Switch::Off,
        _ => return Err(Problem::invalid("state", "must be enabled or disabled")),
    };
    let change = move |desk: &crate::ops::desk::Desk, now| {
        let draft = Draft::check(desk.webhooks(), &body.url, &body.kinds)?;
        desk.act(move |tx, _| webhooks::change(tx, &actor, now, id, &draft, switch, expected))
    };
    let hook = told.look.ask(change).await?;
    let version = hook.version;
    versioned(&WebhookBody::of(hook, None), version, false)
}

/// Deletes a webhook and its dead letters.
#[utoipa::path(delete, path = "/v1/webhooks/{id}", tag = "webhooks", operation_id = "delete_webhook", extensions(("x-permission" = json!("manage_webhooks"))),
    params(("id" = i64, Path, example = 3)),
    responses((status = 200, description = "Deleted; as it was.", body = WebhookBody)))]
async fn delete(look: Look<ManageWebhooks>, path: web::Path<String>) -> Outcome {
    let (id, actor) = (id(&path)?, look.actor.clone());
    let hook = look.ask(move |desk, now| desk.act(move |tx, _| webhooks::delete(tx, &actor, now, id))).await?;
    ok(&WebhookBody::of(hook, None))
}

/// Has an event of the type webhook.test sent, once and before all that waits. What became of it is `test_outcome`.
#[utoipa::path(post, path = "/v1/webhooks/{id}/test", tag = "webhooks", operation_id = "test_webhook", extensions(("x-permission" = json!("manage_webhooks"))),
    params(("id" = i64, Path, example = 3)),
    responses((status = 202, description = "On its way.", body = WebhookBody)))]
async fn test(look: Look<ManageWebhooks>, path: web::Path<String>) -> Outcome {
    let id = id(&path)?;
    let ask = move |desk: &crate::ops::desk::Desk, now| {
        let hook = desk.act(move |tx, _| webhooks::ask_for_test(tx, now, id))?;
        desk.bell().ring();
        Ok(hook)
    };
    accepted(look.ask(ask).await?)
}

fn accepted(hook: Webhook) -> Outcome {
    let mut response = HttpResponse::Accepted();
    Ok(response.insert_header((header::CACHE_CONTROL, "no-store")).json(WebhookBody::of(hook, None)))
}

/// Puts a new secret in the place of the present one and shows it this once. For some hours each letter is signed with both.
#[utoipa::path(post, path = "/v1/webhooks/{id}/rotation", tag = "webhooks", operation_id = "rotate_webhook", request_body = PostRotation, extensions(("x-permission" = json!("manage_webhooks"))),
    params(("id" = i64, Path, example = 3)),
    responses((status = 201, description = "Rotated; the only time the new secret is shown.", body = WebhookBody)))]
async fn rotate(told: Told<ManageWebhooks, PostRotation>, path: web::Path<String>) -> Outcome {
    let (id, actor, hours, chance) =
        (id(&path)?, told.look.actor.clone(), told.body.keep_hours.unwrap_or(24), chance()?);
    let rotate = move |desk: &crate::ops::desk::Desk, now| {
        let secret = fresh_secret(desk.webhooks(), &chance)?;
        let written = secret.written.clone();
        let hook = desk.act(move |tx, _| webhooks::rotate(tx, &actor, now, id, &secret, hours))?;
        Ok((hook, written))
    };
    let (hook, written) = told.look.ask(rotate).await?;
    let version = hook.version;
    versioned(&WebhookBody::of(hook, Some(written)), version, true)
}

/// Has changes sent again from a cursor on, or dead letters once more. What was sent before comes under the same `webhook-id`. A dead letter
/// comes after later ones: its cursor tells.
#[utoipa::path(post, path = "/v1/webhooks/{id}/replay", tag = "webhooks", operation_id = "replay_webhook", request_body = PostReplay, extensions(("x-permission" = json!("manage_webhooks"))),
    params(("id" = i64, Path, example = 3)),
    responses((status = 202, description = "On their way.", body = WebhookBody)))]
async fn replay(told: Told<ManageWebhooks, PostReplay>, path: web::Path<String>) -> Outcome {
    let (id, actor, body) = (id(&path)?, told.look.actor.clone(), told.body);
    let after = position(body.after.as_deref())?;
    let what = match (body.what.as_str(), after, body.letter_id) {
        ("changes", after, None) => Replay::Changes(after.unwrap_or(FeedPosition::START)),
        ("dead_letters", None, Some(letter)) => Replay::Letter(letter),
        ("dead_letters", None, None) => Replay::AllLetters,
        ("changes", ..) => return Err(Problem::invalid("letter_id", "goes with dead_letters")),
        ("dead_letters", ..) => return Err(Problem::invalid("after", "goes with changes")),
        _ => return Err(Problem::invalid("what", "must be changes or dead_letters")),
    };
    let ask = move |desk: &crate::ops::desk::Desk, now| {
        let hook = desk.act(move |tx, _| webhooks::replay(tx, &actor, now, id, what))?;
        desk.bell().ring();
        Ok(hook)
    };
    accepted(told.look.ask(ask).await?)
}

#[derive(Debug, Serialize, ToSchema)]
#[schema(as = DeadLetter)]
pub struct LetterBody {
    #[schema(example = 5)]
    pub letter_id: i64,
    /// The change it tells of, in the feed.
    #[schema(example = "0.4d2-cdca25f9")]
    pub cursor: String,
    #[schema(example = "2026-11-28T13:05:05.000000Z")]
    pub failed_at: String,
    #[schema(example = 10)]
    pub tries: i64,
    #[schema(example = "the receiver answered 500")]
    pub reason: String,
    /// When somebody asked to send it once more, while that is not done.
    pub replay_asked_at: Option<String>,
}

impl From<DeadLetter> for LetterBody {
    fn from(letter: DeadLetter) -> LetterBody {
        LetterBody {
            letter_id: letter.id,
            cursor: place(letter.place),
            failed_at: letter.failed_at.to_string(),
            tries: letter.tries,
            reason: letter.reason,
            replay_asked_at: letter.replay_asked_at.map(|at| at.to_string()),
        }
    }
}

#[derive(Debug, Serialize, ToSchema)]
#[schema(as = Deliveries)]
pub struct DeliveriesBody {
    /// Stands for the last change that is done with.
    #[schema(example = "0.4d2-cdca25f9")]
    pub cursor: String,
    /// How often what comes behind it was tried without success.
    #[schema(example = 2)]
    pub tries: i64,
    /// When it is tried again, while it was tried.
    pub next_try_at: Option<String>,
    #[schema(example = "the receiver answered 500")]
    pub last_failure: Option<String>,
    #[schema(example = 1)]
    pub dead_letter_count: i64,
    /// A page of them, the newest first.
    pub dead_letters: Vec<LetterBody>,
}

#[derive(Debug, Deserialize, IntoParams)]
#[serde(deny_unknown_fields)]
#[into_params(parameter_in = Query)]
pub struct DeliveriesQuery {
    /// 1 to 200; 50 when absent.
    #[param(value_type = Option<i64>, example = 50)]
    pub limit: Option<String>,
    /// From the `Link` of the page before.
    pub cursor: Option<String>,
}

/// How deliveries stand: what is being tried, and what could not be delivered.
#[utoipa::path(get, path = "/v1/webhooks/{id}/deliveries", tag = "webhooks", operation_id = "list_deliveries", extensions(("x-permission" = json!("manage_webhooks"))),
    params(("id" = i64, Path, example = 3), DeliveriesQuery),
    responses((status = 200, description = "The present try, and a page of dead letters.", body = DeliveriesBody)))]
async fn deliveries(request: HttpRequest, look: Look<ManageWebhooks>, path: web::Path<String>) -> Outcome {
    let (id, query) = (id(&path)?, query::<DeliveriesQuery>(&request)?);
    let limit = number("limit", query.limit.as_deref(), 1..=PAGE_LIMIT, 50)?;
    let below = read_cursor(query.cursor.as_deref())?;
    let found = look.ask(move |desk, _| desk.look(|reading, _| webhooks::fares(reading, id, below, limit))).await?;
    let Fares { hook, letters, letter_count } = found;
    let full = i64::try_from(letters.len()).is_ok_and(|n| n == limit);
    let next = letters.last().filter(|_| full).map(|letter| write_cursor(letter.id));
    let body = DeliveriesBody {
        cursor: place(hook.position),
        tries: hook.tries,
        next_try_at: (hook.tries > 0).then(|| hook.next_try_at.to_string()),
        last_failure: hook.last_failure,
        dead_letter_count: letter_count,
        dead_letters: letters.into_iter().map(LetterBody::from).collect(),
    };
    page_until(&request, &body, "cursor", next)
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.service(resource("/v1/webhooks", "GET, POST").route(route::get().to(list)).route(web::post().to(post)));
    config.service(
        resource("/v1/webhooks/{id}", "GET, PUT, DELETE")
            .route(route::get().to(get))
            .route(web::put().to(put))
            .route(web::delete().to(delete)),
    );
    config.service(resource("/v1/webhooks/{id}/test", "POST").route(web::post().to(test)));
    config.service(resource("/v1/webhooks/{id}/rotation", "POST").route(web::post().to(rotate)));
    config.service(resource("/v1/webhooks/{id}/replay", "POST").route(web::post().to(replay)));
    config.service(resource("/v1/webhooks/{id}/deliveries", "GET").route(route::get().to(deliveries)));
}

/// This resource's part of the document.
#[derive(utoipa::OpenApi)]
#[openapi(paths(list, post, get, put, delete, test, rotate, replay, deliveries))]
pub struct Doc;
