//! The few pages the shop needs, rendered here and readable without a script wherever possible. Their own look and words; nothing from outside.

mod alarm;
mod board;
mod case_plan;
pub mod customer;
mod demand;
mod errands;
mod exceptions;
mod fitness;
mod layout;
mod picks;
mod place;
mod plan;
mod plot;
mod preview;
mod prints;
pub mod problems;
mod report;
mod review;
mod rules;
mod scan;
mod sign_in;
mod tray;
pub mod trust;
mod visitor;
mod webhooks;

use actix_web::web;

pub fn routes(config: &mut web::ServiceConfig) {
    config.configure(sign_in::routes);
    config.configure(board::routes);
    config.configure(scan::routes);
    config.configure(picks::routes);
    config.configure(case_plan::routes);
    config.configure(review::routes);
    config.configure(report::routes);
    config.configure(plan::routes);
    config.configure(errands::routes);
    config.configure(demand::routes);
    config.configure(tray::routes);
    config.configure(preview::routes);
    config.configure(prints::routes);
    config.configure(webhooks::routes);
    config.configure(place::routes);
    config.configure(alarm::routes);
    config.configure(exceptions::routes);
    config.configure(rules::routes);
    config.configure(customer::routes);
}
