//! The JSON interface under `/v1`: one file a resource, each with its JSON types, handlers, notes for the document, and routes.

pub mod access;
pub mod alarms;
pub mod breakdowns;
pub mod changes;
pub mod counts;
pub mod cuts;
pub mod demand;
pub mod events;
pub mod exceptions;
pub mod holds;
pub mod keys;
pub mod labels;
pub mod live_stock;
pub mod lives;
pub mod lots;
pub mod names;
pub mod parasite_freezings;
pub mod picks;
pub mod place_lives;
pub mod places;
pub mod prints;
pub mod profile;
pub mod readings;
pub mod replays;
pub mod returns;
pub mod review;
pub mod sales;
pub mod scan;
pub mod sign_in;
pub mod species;
pub mod stock;
pub mod stories;
pub mod suppliers;
pub mod terms;
pub mod tray_acts;
pub mod webhooks;

use super::problem::Problem;
use actix_web::{Resource, web};

/// A resource that says which methods it knows when asked for another. What knows GET knows HEAD.
fn resource(path: &str, methods: &'static str) -> Resource {
    web::resource(path).default_service(web::to(move || async move {
        let known = methods.replace("GET", "GET, HEAD");
        Err::<actix_web::HttpResponse, Problem>(Problem::method_not_allowed(&known))
    }))
}

/// All routes of the interface.
pub fn routes(config: &mut web::ServiceConfig) {
    for routes in [
        sign_in::routes,
        access::routes,
        keys::routes,
        species::routes,
        suppliers::routes,
        terms::routes,
        demand::routes,
        cuts::routes,
        places::routes,
        readings::routes,
        lots::routes,
        parasite_freezings::routes,
        breakdowns::routes,
        stock::routes,
        lives::routes,
        stories::routes,
        place_lives::routes,
        profile::routes,
        tray_acts::routes,
        labels::routes,
        prints::routes,
        holds::routes,
        alarms::routes,
        counts::routes,
        replays::routes,
        sales::routes,
        returns::routes,
        exceptions::routes,
        scan::routes,
        picks::routes,
        review::routes,
        live_stock::routes,
        changes::routes,
        events::routes,
        webhooks::routes,
    ] {
        config.configure(routes);
    }
}
