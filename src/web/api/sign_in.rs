//! Signing in and out, for people who use the interface directly. Pages have their own form.

use super::resource;
use crate::web::answer::{Outcome, ok};
use crate::web::body;
use crate::web::call::Service;
use crate::web::problem::{Problem, Speech};
use crate::web::{clock, session};
use actix_web::{FromRequest, HttpRequest, HttpResponse, web};
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

#[derive(Debug, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PostSignIn {
    #[schema(example = "owner")]
    pub name: String,
    #[schema(example = "as shown at the first start", format = Password)]
    pub password: String,
}

#[derive(Debug, Serialize, ToSchema)]
#[schema(as = SignedIn)]
pub struct SignedInBody {
    /// Send as `Authorization: Bearer …`. Ends after 12 hours, or after a quiet half hour (managers: quarter).
    #[schema(example = "sdt_…")]
    pub token: String,
    #[schema(example = "owner")]
    pub name: String,
    #[schema(example = "manager")]
    pub role: &'static str,
    #[schema(example = "2026-11-25T21:00:00.000000Z")]
    pub expires_at: String,
}

/// Signs in by name and password.
#[utoipa::path(post, path = "/v1/sign-in", tag = "access", operation_id = "sign_in", request_body = PostSignIn, security(()),
    responses((status = 200, description = "Signed in.", body = SignedInBody)))]
async fn post(request: HttpRequest, payload: web::Payload) -> Outcome {
    let service = web::Data::<Service>::extract(&request).await.map_err(|_| Problem::of(Speech::Internal))?;
    let body = body::read::<PostSignIn>(&request, &mut payload.into_inner()).await?.value;
    let from = service.limits.quotas.caller(&request);
    let random = clock::random().ok_or_else(|| Problem::of(Speech::Unavailable))?;
    let signed_in =
        service.ask_hashing(move |desk, now| desk.sign_in(now, &random, from, &body.name, &body.password)).await?;
    ok(&SignedInBody {
        token: signed_in.token,
        name: signed_in.name,
        role: signed_in.role.as_str(),
        expires_at: signed_in.expires.to_string(),
    })
}

/// Ends the sign-in whose token is sent. A token that is none ends nothing.
#[utoipa::path(delete, path = "/v1/sign-in", tag = "access", operation_id = "sign_out", extensions(("x-permission" = json!("signed_in"))),
    responses((status = 204, description = "Signed out.")))]
async fn delete(request: HttpRequest) -> Outcome {
    let service = web::Data::<Service>::extract(&request).await.map_err(|_| Problem::of(Speech::Internal))?;
    session::known(&request, &service).await?;
    if let Some(credential) = session::shown(&request, &service) {
        service.ask(move |desk, _| desk.sign_out(&credential)).await?;
    }
    Ok(HttpResponse::NoContent().finish())
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.service(resource("/v1/sign-in", "POST, DELETE").route(web::post().to(post)).route(web::delete().to(delete)));
}

/// This resource's part of the document.
#[derive(utoipa::OpenApi)]
#[openapi(paths(post, delete))]
pub struct Doc;
