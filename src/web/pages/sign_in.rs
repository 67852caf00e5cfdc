//! Signing in and out by form.

use super::layout::page;
use super::visitor::{html, see_other};
use crate::web::call::Service;
use crate::web::problem::{Problem, Speech};
use crate::web::route;
use crate::web::{clock, session};
use actix_web::{HttpRequest, HttpResponse, Responder, web};
use maud::Markup;
use serde::Deserialize;

#[derive(Deserialize)]
pub struct Form {
    name: String,
    password: String,
}

fn form(service: &Service, trouble: Option<&str>) -> Markup {
    let shop = service.desk.shop();
    let content = maud::html! {
        section.card.narrow {
            h1 { "Sign in" }
            @if let Some(trouble) = trouble { p.trouble role="alert" { (trouble) } }
            form action="/sign-in" method="post" {
                label for="name" { "Name" }
                input id="name" name="name" autocomplete="username" required autofocus maxlength="80";
                label for="password" { "Password" }
                input id="password" name="password" type="password" autocomplete="current-password" required maxlength="128";
                button.main type="submit" { "Sign in" }
            }
            p.small { "The first sign-in was shown when the shop's server started for the first time." }
        }
    };
    page(shop, None, "Sign in", "/sign-in", None, content)
}

async fn get(service: web::Data<Service>) -> impl Responder {
    html(form(&service, None))
}

async fn post(
    request: HttpRequest,
    service: web::Data<Service>,
    body: web::Form<Form>,
) -> Result<HttpResponse, Problem> {
    // A sign-in from another site could put a visitor under a stranger's name.
    if !session::same_origin(request.headers(), request.connection_info().host()) {
        return Err(Problem::of(Speech::CrossSite));
    }
    let from = service.limits.quotas.caller(&request);
    let random = clock::random().ok_or_else(|| Problem::of(Speech::Unavailable))?;
    let Form { name, password } = body.into_inner();
    match service.ask_hashing(move |desk, now| desk.sign_in(now, &random, from, &name, &password)).await {
        Ok(signed_in) => {
            let mut response = see_other("/");
            let cookie = session::cookie(&signed_in.token, service.secure_cookies);
            response.add_cookie(&cookie).map_err(|_| Problem::of(Speech::Internal))?;
            Ok(response)
        }
        Err(problem) if matches!(problem.status, 401 | 429) => {
            let mut answer = html(form(&service, Some(&problem.detail)));
            *answer.status_mut() = actix_web::http::StatusCode::from_u16(problem.status).unwrap_or_default();
            Ok(answer)
        }
        Err(problem) => Err(problem),
    }
}

async fn sign_out(request: HttpRequest, service: web::Data<Service>) -> Result<HttpResponse, Problem> {
    if session::same_origin(request.headers(), request.connection_info().host())
        && let Some(credential) = session::shown(&request, &service)
    {
        service.ask(move |desk, _| desk.sign_out(&credential)).await?;
    }
    let mut response = see_other("/sign-in");
    response.add_cookie(&session::cookie("", service.secure_cookies)).map_err(|_| Problem::of(Speech::Internal))?;
    Ok(response)
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.service(web::resource("/sign-in").route(route::get().to(get)).route(web::post().to(post)));
    config.route("/sign-out", web::post().to(sign_out));
}
