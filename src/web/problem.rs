//! Everything that is not a plain yes becomes HTTP here, once: problem details after RFC 9457 with a stable code, the fields and the reasons.

use crate::domain::refusal::{Class, Code, Finding};
use crate::ops::failure::{Failure, Trouble};
use crate::ops::fitness::Reason;
use actix_web::http::StatusCode;
use actix_web::http::header;
use actix_web::{HttpResponse, ResponseError};
use serde::Serialize;
use std::fmt;
use utoipa::ToSchema;

macro_rules! speech_codes {
    ($($name:ident, $text:literal, $status:ident, $title:literal;)*) => {
        /// Refusals of the way something was said, before any rule of the shop is asked.
        #[derive(Debug, Clone, Copy, PartialEq, Eq)]
        pub enum Speech { $($name,)* }

        impl Speech {
            pub const ALL: &'static [Speech] = &[$(Speech::$name,)*];

            pub const fn as_str(self) -> &'static str {
                match self { $(Speech::$name => $text,)* }
            }

            pub const fn title(self) -> &'static str {
                match self { $(Speech::$name => $title,)* }
            }

            pub const fn status(self) -> StatusCode {
                match self { $(Speech::$name => StatusCode::$status,)* }
            }
        }
    };
}

speech_codes! {
    MalformedJson, "malformed_json", BAD_REQUEST, "The body is not well-formed JSON.";
    MalformedRequest, "malformed_request", BAD_REQUEST, "A header or the query is malformed.";
    KeyMissing, "idempotency_key_missing", BAD_REQUEST, "This operation needs an Idempotency-Key.";
    Unauthenticated, "unauthenticated", UNAUTHORIZED, "Sign in or send a key.";
    Forbidden, "forbidden", FORBIDDEN, "Your role may not do this.";
    CrossSite, "cross_site", FORBIDDEN, "The request comes from another site.";
    NoSuchAddress, "no_such_address", NOT_FOUND, "There is nothing at this address.";
    MethodNotAllowed, "method_not_allowed", METHOD_NOT_ALLOWED, "This address does not know this method.";
    NotAcceptable, "not_acceptable", NOT_ACCEPTABLE, "This interface answers in JSON.";
    TooSlow, "request_timeout", REQUEST_TIMEOUT, "The request took too long to arrive.";
    TooLarge, "payload_too_large", PAYLOAD_TOO_LARGE, "The body is too large.";
    MediaType, "unsupported_media_type", UNSUPPORTED_MEDIA_TYPE, "The body must be application/json.";
    TooManyStreams, "too_many_streams", TOO_MANY_REQUESTS, "Too many event streams are open.";
    PreconditionRequired, "precondition_required", PRECONDITION_REQUIRED, "This operation needs If-Match or If-None-Match.";
    QuotaExceeded, "quota_exceeded", TOO_MANY_REQUESTS, "Too many requests; wait and ask again.";
    Busy, "busy", SERVICE_UNAVAILABLE, "The server has more to do than it can; nothing was done.";
    Unavailable, "unavailable", SERVICE_UNAVAILABLE, "The shop's database cannot take this now; nothing was done.";
    ReadOnly, "read_only", SERVICE_UNAVAILABLE, "The shop can only be read for now; nothing was done.";
    OutcomeUnknown, "outcome_unknown", SERVICE_UNAVAILABLE, "The database went away while it was done: ask again with the same Idempotency-Key.";
    Internal, "internal", INTERNAL_SERVER_ERROR, "A defect of the server; nothing was done.";
}

/// One field and why it was refused.
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct ProblemField {
    /// JSON Pointer (RFC 6901) as a URI fragment; absent when it concerns the whole request or a header.
    #[schema(example = "#/lines/0/grams")]
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pointer: Option<String>,
    /// The field in the words of the request.
    #[schema(example = "lines/0/grams")]
    pub field: String,
    #[schema(example = "the tub holds 310 g")]
    pub detail: String,
}

/// Stands beside an answer that is no yes, for whoever counts them.
pub struct Refused(pub &'static str);

/// Problem details (RFC 9457).
#[derive(Debug, Clone, Serialize, ToSchema)]
pub struct Problem {
    /// Where the code is explained.
    #[serde(rename = "type")]
    #[schema(example = "/problems#insufficient_stock")]
    pub kind: String,
    #[schema(example = "The tray holds less than that.")]
    pub title: String,
    #[schema(example = 409)]
    pub status: u16,
    /// The stable code.
    #[schema(example = "insufficient_stock")]
    pub code: &'static str,
    /// The first reason, in words.
    #[schema(example = "the tub holds 310 g")]
    pub detail: String,
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub errors: Vec<ProblemField>,
    /// The policies of `RateLimit-Policy` that a caller has gone over.
    #[serde(rename = "violated-policies", skip_serializing_if = "Vec::is_empty")]
    #[schema(example = json!(["client"]))]
    pub violated_policies: Vec<&'static str>,
    #[serde(skip)]
    allow: Option<String>,
    #[serde(skip)]
    retry_seconds: Option<u64>,
}

/// The type of a problem that others than us have named (draft-ietf-httpapi-ratelimit-headers-10, problem types). The code is still ours.
const QUOTA_EXCEEDED: &str = "https://iana.org/assignments/http-problem-types#quota-exceeded";

/// The status of a refusal by the shop's rules.
pub const fn status_of(code: Code) -> StatusCode {
    match code.class() {
        Class::Invalid => StatusCode::UNPROCESSABLE_ENTITY,
        Class::Absent => StatusCode::NOT_FOUND,
        Class::Conflict => StatusCode::CONFLICT,
        Class::Stale => StatusCode::PRECONDITION_FAILED,
        Class::Unauthenticated => StatusCode::UNAUTHORIZED,
        Class::TooOften => StatusCode::TOO_MANY_REQUESTS,
    }
}

impl Problem {
    fn new(code: &'static str, title: &str, status: StatusCode, errors: Vec<ProblemField>) -> Problem {
        let detail = errors.first().map_or_else(|| title.to_owned(), |e| e.detail.clone());
        Problem {
            kind: format!("/problems#{code}"),
            title: title.to_owned(),
            status: status.as_u16(),
            code,
            detail,
            errors,
            violated_policies: Vec::new(),
            allow: None,
            retry_seconds: None,
        }
    }

    pub fn of(speech: Speech) -> Problem {
        Problem::new(speech.as_str(), speech.title(), speech.status(), Vec::new())
    }

    /// A refusal of one field of the request.
    pub fn at(speech: Speech, field: &str, reason: impl Into<String>) -> Problem {
        let fields = vec![ProblemField::new(field, reason.into())];
        Problem::new(speech.as_str(), speech.title(), speech.status(), fields)
    }

    /// A value of the request that cannot be what it should.
    pub fn invalid(field: &str, reason: impl Into<String>) -> Problem {
        let fields = vec![ProblemField::new(field, reason.into())];
        Problem::new(Code::InvalidValue.as_str(), Code::InvalidValue.title(), StatusCode::UNPROCESSABLE_ENTITY, fields)
    }

    /// The disk or the server takes no changes: the reason in words, so that whoever stands at the till knows whom to call.
    fn read_only(reason: Reason) -> Problem {
        let speech = Speech::ReadOnly;
        let detail = format!("{}: nothing was done; stock can still be read", reason.in_words());
        Problem { detail, ..Problem::of(speech) }
    }

    /// More than a policy of ours allows; in so many seconds there is room again.
    pub fn over_quota(policy: &'static str, retry_seconds: u64) -> Problem {
        Problem {
            kind: QUOTA_EXCEEDED.to_owned(),
            violated_policies: vec![policy],
            retry_seconds: Some(retry_seconds),
            ..Problem::of(Speech::QuotaExceeded)
        }
    }

    /// The methods an address knows.
    pub fn method_not_allowed(allow: &str) -> Problem {
        Problem { allow: Some(allow.to_owned()), ..Problem::of(Speech::MethodNotAllowed) }
    }
}

impl ProblemField {
    fn new(field: &str, detail: String) -> ProblemField {
        // Headers and empty paths are no places in the body.
        let in_body = !field.is_empty() && !field.starts_with(|c: char| c.is_ascii_uppercase());
        let pointer = in_body.then(|| format!("#/{}", field.replace('~', "~0")));
        ProblemField { pointer, field: field.to_owned(), detail }
    }
}

impl From<Finding> for ProblemField {
    fn from(finding: Finding) -> ProblemField {
        ProblemField::new(&finding.field, finding.reason)
    }
}

impl From<Failure> for Problem {
    fn from(failure: Failure) -> Problem {
        match failure {
            Failure::Refused(refusal) => {
                let fields = refusal.findings.into_iter().map(ProblemField::from).collect();
                Problem::new(refusal.code.as_str(), refusal.code.title(), status_of(refusal.code), fields)
            }
            // What the database said goes to the log, not to the caller.
            Failure::Store(_) => match failure.trouble() {
                Trouble::Passing => {
                    tracing::warn!(error = %failure, "the database cannot take it now");
                    Problem::of(Speech::Unavailable)
                }
                Trouble::ReadOnly(reason) => {
                    tracing::warn!(reason = reason.as_str(), "refused while read-only");
                    Problem::read_only(reason)
                }
                Trouble::Unknown => {
                    tracing::error!(error = %failure, "nobody knows whether it was done");
                    Problem::of(Speech::OutcomeUnknown)
                }
                Trouble::Defect => {
                    tracing::error!(error = %failure, "a defect");
                    Problem::of(Speech::Internal)
                }
            },
        }
    }
}

impl fmt::Display for Problem {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} {}: {}", self.status, self.code, self.detail)
    }
}

impl ResponseError for Problem {
    fn status_code(&self) -> StatusCode {
        StatusCode::from_u16(self.status).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR)
    }

    fn error_response(&self) -> HttpResponse {
        let mut response = HttpResponse::build(self.status_code());
        response.extensions_mut().insert(Refused(self.code));
        response.insert_header((header::CACHE_CONTROL, "no-store"));
        match self.status {
            401 => response.insert_header((header::WWW_AUTHENTICATE, "Bearer realm=\"sakudana\"")),
            429 => response.insert_header((header::RETRY_AFTER, self.retry_seconds.unwrap_or(5))),
            503 => response.insert_header((header::RETRY_AFTER, self.retry_seconds.unwrap_or(1))),
            _ => &mut response,
        };
        if let Some(allow) = &self.allow {
            response.insert_header((header::ALLOW, allow.as_str()));
        }
        let body = serde_json::to_string(self).unwrap_or_default();
        response.content_type("application/problem+json").body(body)
    }
}
