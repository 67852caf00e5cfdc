//! The scan page: a field that always has the focus, for a wedge scanner or a hand, and a verdict readable at arm's length.

use super::fitness;
use super::layout::page;
use super::visitor::{html, welcome};
use crate::domain::permissions::Permission;
use crate::web::route;
use actix_web::{HttpRequest, HttpResponse, web};
use maud::html as markup;

async fn get(request: HttpRequest) -> HttpResponse {
    let visitor = match welcome(&request, Permission::Scan).await {
        Ok(visitor) => visitor,
        Err(answer) => return answer,
    };
    let shop = visitor.service.desk.shop();
    let may_sell = Permission::Sell.allows(visitor.actor.role);
    let content = markup! {
        h1.quiet { "Scan" }
        (fitness::on_top(&visitor.service.desk))
        form.scan id="scan" data-sell=(may_sell) data-zone=(shop.zone.name()) data-sign=(shop.currency.sign) data-sign-first=(shop.currency.sign_first) data-decimals=(shop.currency.decimals()) data-mark=(shop.currency.mark.as_str()) {
            label for="code" { "Scan a tray, or type its code" }
            input id="code" name="code" autocomplete="off" autocapitalize="characters" spellcheck="false" enterkeyhint="go" autofocus;
        }
        section.verdict id="verdict" role="status" aria-live="assertive" {
            p.word { "Ready" }
            p.why { "Nothing scanned yet." }
        }
        form.card id="weigh" hidden {
            label id="weigh-text" for="grams" { "How many grams?" }
            input id="grams" type="number" inputmode="numeric" min="1" step="1" autocomplete="off";
            div.row { button.main type="submit" { "Weighed" } button id="weigh-not" type="button" { "Not this one" } }
        }
        section.card.basket id="basket" hidden {
            h2 { "This sale" }
            ul id="lines" {}
            p.total { "Total " strong id="total" {} }
            div.row {
                button.main id="sell" type="button" { "Sold" }
                button id="clear" type="button" { "Start over" }
            }
        }
        section.card id="undo" hidden {
            p id="undo-text" {}
            button id="undo-button" type="button" { "It was a mis-scan: put it back" }
        }
        noscript { p.trouble { "This page needs a script. The interface under /docs does without." } }
    };
    html(page(shop, Some(&visitor.actor), "Scan", "/scan", Some("/assets/scan.js"), content))
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.route("/scan", route::get().to(get));
}
