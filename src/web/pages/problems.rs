//! The list of refusal codes, where the `type` of every problem points.

use super::layout;
use super::visitor::html;
use crate::domain::refusal::Code;
use crate::web::call::Service;
use crate::web::problem::{Speech, status_of};
use actix_web::{HttpResponse, web};
use maud::html as markup;

/// Every code there is: code, status, title, in the order of precedence.
pub fn all_codes() -> Vec<(&'static str, u16, &'static str)> {
    let spoken = Speech::ALL.iter().map(|s| (s.as_str(), s.status().as_u16(), s.title()));
    let ruled = Code::ALL.iter().map(|c| (c.as_str(), status_of(*c).as_u16(), c.title()));
    spoken.chain(ruled).collect()
}

pub async fn page_of_codes(service: &Service) -> HttpResponse {
    let content = markup! {
        h1 { "Refusals" }
        p { "Every refusal carries one of these codes. Where a tray earns several, the first in this list names the refusal, and every reason is given." }
        dl { @for (code, status, title) in all_codes() { dt id=(code) { code { (code) } " " small { (status) } } dd { (title) } } }
    };
    html(layout::page(service.desk.shop(), None, "Refusals", "/problems", None, content))
}

pub async fn page(service: web::Data<Service>) -> HttpResponse {
    page_of_codes(&service).await
}
