//! What stands on top of a page while the shop can only be read.

use crate::domain::shop::Shop;
use crate::ops::desk::Desk;
use crate::ops::fitness::Fitness;
use crate::web::clock;
use maud::{Markup, html};

/// Nothing while acts are taken.
pub fn on_top(desk: &Desk) -> Markup {
    said(desk.shop(), desk.fitness(clock::now()))
}

fn said(shop: &Shop, fitness: Fitness) -> Markup {
    match fitness {
        Fitness::Writable => html! {},
        Fitness::ReadOnly { since, reason } => html! {
            section.alarms role="alert" {
                h2 { "Only looking is possible" }
                p { "Since " (shop.zone.write(since)) ": " (reason.in_words()) "." }
                p { "Nothing can be sold, moved or recorded until that is mended, and nothing that was recorded is lost. Tills keep what they sell \
                     and send it later. The shop takes acts again by itself." }
            }
        },
    }
}
