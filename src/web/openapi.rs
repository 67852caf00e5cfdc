//! The OpenAPI document: the parts of each resource put together, and what is true of every operation said once.

mod bounds;

use super::api;
use super::problem::{Problem, ProblemField, Speech};
use utoipa::openapi::content::ContentBuilder;
use utoipa::openapi::header::{Header, HeaderBuilder};
use utoipa::openapi::path::{HttpMethod, Operation, ParameterBuilder, ParameterIn};
use utoipa::openapi::response::ResponseBuilder;
use utoipa::openapi::schema::{ObjectBuilder, Type};
use utoipa::openapi::security::{Http, HttpAuthScheme, SecurityScheme};
use utoipa::openapi::{OpenApi as Document, Ref, RefOr, Required};
use utoipa::{Modify, OpenApi};

const DESCRIPTION: &str = "Stock, remaining life and labels for a raw-fish counter.\n\n\
Mass is in grams, money in cents, temperatures in thousandths of a degree Celsius, instants in RFC 3339 with their offset (sent out in UTC). \
Refusals are problem details (RFC 9457) with a stable `code`, explained at `/problems`. What is recorded needs an `Idempotency-Key` (16 to 255 \
characters, such as a UUID): the same key with the same content gets the first answer again, with other content `key_reused`; keys are kept as \
long as the shop's records. Lists name their next page in `Link`.\n\n\
Remaining life is an estimate for planning. It does not show that fish is safe: the local food code, the shop's food-safety plan and its inspector decide.";

#[derive(OpenApi)]
#[openapi(
    info(title = "Sakudana", description = DESCRIPTION, license(name = "MIT OR Apache-2.0", identifier = "MIT OR Apache-2.0")),
    components(schemas(Problem, ProblemField)),
    modifiers(&Always),
    security(("bearer" = [])),
    tags(
        (name = "lots", description = "Fish arrives."), (name = "breakdowns", description = "Fish is cut."), (name = "stock", description = "What is there, and may it be sold."),
        (name = "life", description = "What is left, and why."), (name = "trays", description = "What is done with a tray."), (name = "labels", description = "Labels."), (name = "sales", description = "Sales, replays, reversals, returns, exceptions."),
        (name = "review", description = "The morning review."), (name = "holds", description = "Stops."), (name = "alarms", description = "What the watch found."), (name = "counts", description = "Stock counts."), (name = "changes", description = "What was done, for whoever follows."), (name = "webhooks", description = "What was done, told to whoever asked for it."),
        (name = "catalogue", description = "Species, suppliers, cuts."), (name = "place", description = "Places."), (name = "readings", description = "Temperatures of places."), (name = "access", description = "People and keys.")
    )
)]
struct Base;

/// What is true of every operation.
struct Always;

/// Changing operations that are not recorded under an idempotency key.
const UNRECORDED: [&str; 12] = [
    "/v1/scans",
    "/v1/label-sheets",
    "/v1/sign-in",
    "/v1/people",
    "/v1/keys",
    "/v1/keys/{key_id}/rotation",
    "/v1/places/{code}/readings",
    "/v1/webhooks",
    "/v1/webhooks/{id}/test",
    "/v1/webhooks/{id}/rotation",
    "/v1/webhooks/{id}/replay",
    "/v1/sales/replays",
];

/// What is read with a version.
const VERSIONED: [&str; 6] = [
    "/v1/species/{code}",
    "/v1/suppliers/{code}",
    "/v1/cuts/{code}",
    "/v1/cuts/{code}/terms",
    "/v1/places/{code}",
    "/v1/trays/{tray_code}",
];

impl Modify for Always {
    fn modify(&self, document: &mut Document) {
        let components = document.components.get_or_insert_default();
        let scheme = Http::new(HttpAuthScheme::Bearer);
        components.add_security_scheme("bearer", SecurityScheme::Http(scheme));
    }
}

fn refusal(status: &str, code: &str, title: &str, detail: &str) -> RefOr<utoipa::openapi::Response> {
    let example = serde_json::json!({
        "type": format!("/problems#{code}"), "title": title, "status": status.parse::<u16>().unwrap_or(0), "code": code, "detail": detail,
    });
    let content = ContentBuilder::new().schema(Some(Ref::from_schema_name("Problem"))).example(Some(example)).build();
    let response = ResponseBuilder::new().description(title).content("application/problem+json", content);
    match status {
        "401" => response.header("WWW-Authenticate", always("How to show who you are.")),
        "429" | "503" => response.header("Retry-After", always("Seconds to wait.")),
        _ => response,
    }
    .build()
    .into()
}

/// A header that is always there.
fn always(description: &str) -> Header {
    let mut header = carried(description);
    // The OpenAPI crate knows no such field of headers; the specification does.
    header.extensions = Some([("required", true)].into_iter().collect());
    header
}

/// A header of an answer.
fn carried(description: &str) -> Header {
    let schema = ObjectBuilder::new().schema_type(Type::String).build();
    HeaderBuilder::new().schema(Some(schema)).description(Some(description)).build()
}

/// The headers that answers with a body carry for what the operation is.
fn add_headers(operation: &mut Operation, path: &str, method: &HttpMethod, recorded: bool) {
    let takes = |operation: &Operation, wanted: &str| {
        operation.parameters.iter().flatten().any(|p| matches!(p, RefOr::T(p) if p.name == wanted))
    };
    let paged = takes(operation, "cursor") || path == "/v1/changes";
    let versioned = *method == HttpMethod::Put || *method == HttpMethod::Get && VERSIONED.contains(&path);
    for (status, response) in &mut operation.responses.responses {
        let RefOr::T(response) = response else { continue };
        if !status.starts_with('2') {
            continue;
        }
        let mut add = |name: &str, header| response.headers.insert(name.to_owned(), RefOr::T(header));
        if paged {
            add("Link", carried("The next page, `rel=\"next\"`; absent on the last."));
        }
        if versioned {
            add("ETag", always("The version, for `If-Match`."));
        }
        if recorded {
            let text = "`true` when this is the answer to an earlier request with the same key; absent otherwise.";
            add("Idempotent-Replayed", carried(text));
        }
    }
}

fn speech(speech: Speech) -> (String, RefOr<utoipa::openapi::Response>) {
    let status = speech.status().as_str().to_owned();
    let response = refusal(&status, speech.as_str(), speech.title(), speech.title());
    (status, response)
}

/// The one refusal whose type has a name outside of this interface.
fn over_quota() -> RefOr<utoipa::openapi::Response> {
    let example = serde_json::to_value(Problem::over_quota("client", 3)).unwrap_or_default();
    let content = ContentBuilder::new().schema(Some(Ref::from_schema_name("Problem"))).example(Some(example)).build();
    ResponseBuilder::new()
        .description(Speech::QuotaExceeded.title())
        .content("application/problem+json", content)
        .build()
        .into()
}

fn header(name: &str, description: &str, example: &str) -> utoipa::openapi::path::Parameter {
    ParameterBuilder::new()
        .name(name)
        .parameter_in(ParameterIn::Header)
        .required(Required::True)
        .description(Some(description))
        .schema(Some(ObjectBuilder::new().schema_type(Type::String).pattern(Some(bounds::KEY_PATTERN)).build()))
        .example(Some(serde_json::Value::from(example)))
        .build()
}

/// Adds what every operation of its kind answers with.
fn complete(path: &str, method: &HttpMethod, operation: &mut Operation) {
    let open = path == "/v1/sign-in" && *method == HttpMethod::Post;
    let changes = *method != HttpMethod::Get;
    let recorded = *method == HttpMethod::Post && !UNRECORDED.contains(&path);
    let mut add = |status: &str, response| {
        operation.responses.responses.entry(status.to_owned()).or_insert(response);
    };
    let mut say = |s: Speech| {
        let (status, response) = speech(s);
        add(&status, response);
    };
    say(Speech::MalformedRequest);
    say(Speech::Unauthenticated);
    say(Speech::Unavailable);
    if !open {
        say(Speech::Forbidden);
    }
    if operation.request_body.is_some() {
        say(Speech::TooSlow);
        say(Speech::TooLarge);
        say(Speech::MediaType);
    }
    add("404", refusal("404", "not_found", "There is nothing at this address.", "there is no tray C4H7K9P"));
    add("422", refusal("422", "invalid_value", "A value is missing, malformed or out of range.", "must be above zero"));
    if open {
        add(
            "429",
            refusal(
                "429",
                "too_many_attempts",
                "Too many attempts; wait and try again.",
                "wait a little and try again",
            ),
        );
    } else if changes || path.contains("/label.") {
        add(
            "409",
            refusal("409", "tray_gone", "The tray is no longer in stock.", "tray C4H7K9P is no longer in stock: waste"),
        );
    }
    if !open {
        add("429", over_quota());
    }
    if *method == HttpMethod::Put {
        add("412", refusal("412", "version_mismatch", "The thing changed since it was read.", "the version is now 4"));
        let (status, response) = speech(Speech::PreconditionRequired);
        add(&status, response);
    }
    if recorded {
        let text = "One key per act: the same key does it once.";
        let key = header("Idempotency-Key", text, "8e03978e-40d5-43e8-bc93-6894a57f9324");
        operation.parameters.get_or_insert_default().push(RefOr::T(key));
    }
    add_headers(operation, path, method, recorded);
    bounds::of_parameters(operation);
}

/// The whole document.
pub fn document() -> Document {
    let mut document = Base::openapi();
    for part in [
        api::sign_in::Doc::openapi(),
        api::access::Doc::openapi(),
        api::keys::Doc::openapi(),
        api::species::Doc::openapi(),
        api::suppliers::Doc::openapi(),
        api::cuts::Doc::openapi(),
        api::terms::Doc::openapi(),
        api::demand::Doc::openapi(),
        api::places::Doc::openapi(),
        api::readings::Doc::openapi(),
        api::lots::Doc::openapi(),
        api::parasite_freezings::Doc::openapi(),
        api::breakdowns::Doc::openapi(),
        api::stock::Doc::openapi(),
        api::lives::Doc::openapi(),
        api::stories::Doc::openapi(),
        api::place_lives::Doc::openapi(),
        api::profile::Doc::openapi(),
        api::tray_acts::Doc::openapi(),
        api::labels::Doc::openapi(),
        api::prints::Doc::openapi(),
        api::holds::Doc::openapi(),
        api::alarms::Doc::openapi(),
        api::counts::Doc::openapi(),
        api::sales::Doc::openapi(),
        api::replays::Doc::openapi(),
        api::returns::Doc::openapi(),
        api::exceptions::Doc::openapi(),
        api::scan::Doc::openapi(),
        api::picks::Doc::openapi(),
        api::review::Doc::openapi(),
        api::live_stock::Doc::openapi(),
        api::changes::Doc::openapi(),
        api::events::Doc::openapi(),
        api::webhooks::Doc::openapi(),
    ] {
        document.merge(part);
    }
    bounds::of_fields(&mut document);
    for (path, item) in &mut document.paths.paths {
        for (method, operation) in [
            (HttpMethod::Get, item.get.as_mut()),
            (HttpMethod::Put, item.put.as_mut()),
            (HttpMethod::Post, item.post.as_mut()),
            (HttpMethod::Delete, item.delete.as_mut()),
        ] {
            if let Some(operation) = operation {
                complete(path, &method, operation);
            }
        }
    }
    document
}
