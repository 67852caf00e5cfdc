//! Who is asking: a bearer token or key in a header, or the sign-in cookie of a page. A cookie on a changing request must come from our own pages.

use super::call::Service;
use super::clock;
use super::pane::Pane;
use super::problem::{Problem, Speech};
use crate::domain::shop::Shop;
use crate::ops::access::{Known, Seen, recognise};
use crate::ops::desk::{Desk, View};
use crate::ops::failure::Failure;
use actix_web::HttpRequest;
use actix_web::cookie::{Cookie, SameSite};
use actix_web::http::Method;
use actix_web::http::header::{self, HeaderMap};

/// Name of the sign-in cookie; with the host prefix where the connection is secure (RFC 6265bis).
pub const fn cookie_name(secure: bool) -> &'static str {
    if secure { "__Host-sakudana" } else { "sakudana" }
}

/// The cookie of a sign-in: a session cookie out of reach of scripts and of other sites. An empty token ends it.
pub fn cookie(token: &str, secure: bool) -> Cookie<'static> {
    let mut cookie = Cookie::build(cookie_name(secure), token.to_owned())
        .path("/")
        .http_only(true)
        .secure(secure)
        .same_site(SameSite::Strict)
        .finish();
    if token.is_empty() {
        cookie.make_removal();
    }
    cookie
}

/// The credential of a request, and whether it came by cookie.
fn credential(request: &HttpRequest, secure: bool) -> Result<Option<(String, bool)>, Problem> {
    if let Some(value) = request.headers().get(header::AUTHORIZATION) {
        let text = value.to_str().map_err(|_| Problem::of(Speech::Unauthenticated))?;
        let token = text
            .split_once(' ')
            .filter(|(scheme, _)| scheme.eq_ignore_ascii_case("bearer"))
            .map(|(_, token)| token.trim());
        return token.map(|token| Some((token.to_owned(), false))).ok_or_else(|| Problem::of(Speech::Unauthenticated));
    }
    Ok(request.cookie(cookie_name(secure)).map(|cookie| (cookie.value().to_owned(), true)))
}

fn host_of(url: &str) -> Option<&str> {
    url.split_once("://").map(|(_, rest)| rest.split('/').next().unwrap_or(rest))
}

/// Whether a changing request comes from our own pages: by Sec-Fetch-Site, else by Origin, else by Referer; without any, no.
pub fn same_origin(headers: &HeaderMap, own_host: &str) -> bool {
    let text = |name| headers.get(name).and_then(|value: &header::HeaderValue| value.to_str().ok());
    if let Some(site) = text(header::HeaderName::from_static("sec-fetch-site")) {
        return matches!(site, "same-origin" | "none");
    }
    [header::ORIGIN, header::REFERER]
        .into_iter()
        .find_map(text)
        .and_then(host_of)
        .is_some_and(|host| host.eq_ignore_ascii_case(own_host))
}

/// The secret a request showed, if any: for signing out.
pub fn shown(request: &HttpRequest, service: &Service) -> Option<String> {
    credential(request, service.secure_cookies).ok().flatten().map(|(credential, _)| credential)
}

/// Who asks; a problem when nobody valid does.
pub async fn known(request: &HttpRequest, service: &Service) -> Result<Known, Problem> {
    let Some((credential, by_cookie)) = credential(request, service.secure_cookies)? else {
        return Err(Problem::of(Speech::Unauthenticated));
    };
    let changes = !matches!(*request.method(), Method::GET | Method::HEAD);
    if by_cookie && changes && !same_origin(request.headers(), request.connection_info().host()) {
        return Err(Problem::of(Speech::CrossSite));
    }
    // A page that shows itself anew: nobody touched it, and the idle time goes on.
    let idle = request.headers().contains_key("Sakudana-Refresh");
    let (now, pane) = (clock::now(), Pane::of_request(request));
    let fitness = service.desk.fitness(now);
    let look = move |reading: &mut View<'_>, _: &Shop| Ok((recognise(reading, now, fitness, &credential)?, credential));
    let (found, credential) = service.glance(&pane, look).await?;
    let Some((known, seen)) = found else {
        service.limits.quotas.forget(&credential);
        return Err(Problem::of(Speech::Unauthenticated));
    };
    service.limits.quotas.remember(&credential, &known.client);
    if seen != Seen::NothingNew && !idle {
        let note = move |desk: &Desk, now| -> Result<(), Failure> {
            desk.note_seen(now, seen);
            Ok(())
        };
        service.ask(note).await?;
    }
    Ok(known)
}

#[cfg(test)]
mod tests {
    use super::*;
    use actix_web::http::header::{HeaderName, HeaderValue};

    #[test]
    fn a_changing_request_must_come_from_our_pages() {
        let rows: [(&[(&str, &str)], bool); 8] = [
            (&[("sec-fetch-site", "same-origin")], true),
            (&[("sec-fetch-site", "none")], true),
            (&[("sec-fetch-site", "same-site")], false),
            (&[("sec-fetch-site", "cross-site"), ("origin", "http://shop:8080")], false),
            (&[("origin", "http://shop:8080")], true),
            (&[("origin", "http://shop:8080.evil.example")], false),
            (&[("referer", "http://shop:8080/scan")], true),
            (&[], false),
        ];
        for (given, expected) in rows {
            let mut headers = HeaderMap::new();
            for (name, value) in given {
                headers.insert(HeaderName::from_static(name), HeaderValue::from_static(value));
            }
            assert_eq!(same_origin(&headers, "shop:8080"), expected, "{given:?}");
        }
    }
}
