//! Who is looking at a page: someone signed in with the permission, or someone to be sent to the sign-in.

use crate::domain::permissions::Permission;
use crate::ops::desk::Actor;
use crate::web::call::Service;
use crate::web::problem::{Problem, Speech};
use crate::web::session;
use actix_web::http::header;
use actix_web::{HttpRequest, HttpResponse, web};

/// What a page needs of a request, or the answer to give instead.
pub struct Visitor {
    pub service: Service,
    pub actor: Actor,
}

/// A redirect that turns a form into a page to look at.
pub fn see_other(path: &str) -> HttpResponse {
    HttpResponse::SeeOther().insert_header((header::LOCATION, path.to_owned())).finish()
}

/// A page of ours.
pub fn html(markup: maud::Markup) -> HttpResponse {
    HttpResponse::Ok()
        .content_type("text/html; charset=utf-8")
        .insert_header((header::CACHE_CONTROL, "no-store"))
        .body(markup.into_string())
}

/// Lets a visitor with the permission in; sends everyone else to sign in, or says no.
pub async fn welcome(request: &HttpRequest, permission: Permission) -> Result<Visitor, HttpResponse> {
    use actix_web::ResponseError;
    let data = request.app_data::<web::Data<Service>>();
    let service = data.map(|d| d.get_ref().clone()).ok_or_else(|| Problem::of(Speech::Internal).error_response())?;
    match session::known(request, &service).await {
        Ok(known) if permission.allows(known.actor.role) => Ok(Visitor { service, actor: known.actor }),
        Ok(_) => Err(see_other("/")),
        Err(problem) if problem.status == 401 => Err(see_other("/sign-in")),
        Err(problem) => Err(problem.error_response()),
    }
}
