//! How an address is looked at: GET, and HEAD, which answers the same without a body. Not which addresses there are.

use actix_web::{Route, guard, web};

/// The methods that look. The server leaves the body out of an answer to HEAD by itself (RFC 9110, 9.3.2).
pub fn get() -> Route {
    web::route().guard(guard::Any(guard::Get()).or(guard::Head()))
}
