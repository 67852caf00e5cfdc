//! The few pages the shop needs, rendered here and readable without a script wherever possible. Their own look and words; nothing from outside.

mod board;
mod customer;
mod label;
mod layout;
pub mod problems;
mod review;
mod scan;
mod sign_in;
mod visitor;

use actix_web::web;

pub fn routes(config: &mut web::ServiceConfig) {
    config.configure(sign_in::routes);
    config.configure(board::routes);
    config.configure(scan::routes);
    config.configure(review::routes);
    config.configure(label::routes);
    config.configure(customer::routes);
}
