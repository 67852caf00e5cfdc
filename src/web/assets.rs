//! Files the pages load: style, script, icon. All come from the binary, nothing from outside.

use crate::web::route;
use actix_web::{HttpResponse, web};

const STYLE: &str = include_str!("pages/style.css");
const SCAN: &str = include_str!("pages/scan.js");
const BOARD: &str = include_str!("pages/board.js");
const REVIEW: &str = include_str!("pages/review.js");
const PICKS: &str = include_str!("pages/picks.js");
const ICON: &str = include_str!("pages/icon.svg");

fn file(
    content_type: &'static str,
    text: &'static str,
) -> impl Fn() -> std::future::Ready<HttpResponse> + Clone + 'static {
    move || {
        let response = HttpResponse::Ok()
            .content_type(content_type)
            .insert_header(("Cache-Control", "public, max-age=300"))
            .body(text);
        std::future::ready(response)
    }
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.route("/assets/style.css", route::get().to(file("text/css; charset=utf-8", STYLE)));
    config.route("/assets/scan.js", route::get().to(file("text/javascript; charset=utf-8", SCAN)));
    config.route("/assets/board.js", route::get().to(file("text/javascript; charset=utf-8", BOARD)));
    config.route("/assets/review.js", route::get().to(file("text/javascript; charset=utf-8", REVIEW)));
    config.route("/assets/picks.js", route::get().to(file("text/javascript; charset=utf-8", PICKS)));
    config.route("/assets/icon.svg", route::get().to(file("image/svg+xml", ICON)));
    config.route("/favicon.ico", route::get().to(file("image/svg+xml", ICON)));
}
