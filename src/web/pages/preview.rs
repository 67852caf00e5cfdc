//! A label before it is printed: at its true size, enlarged, checked field by field, and its code read part by part.

use super::layout::page;
use super::visitor::{html, welcome};
use crate::domain::permissions::Permission;
use crate::ops::label::Wanted;
use crate::ops::label::preview::{CameOut, Check, Choices, Part, Preview, choices, preview};
use crate::web::api::labels::LabelQuery;
use crate::web::api::stock::query;
use crate::web::problem::Problem;
use crate::web::route;
use actix_web::{HttpRequest, HttpResponse, ResponseError, web};
use maud::{Markup, html as markup};

/// The short side of a bank card, which is always at hand (ISO/IEC 7810, ID-1; from memory): the ruler is as long.
const CARD_MM: &str = "53.98";

/// Modules a code for retail may have (GS1 General Specifications 5.12.3.1).
const MODULE_UM: std::ops::RangeInclusive<u32> = 396..=990;

fn preview_page(shown: &Preview, wanted: &Wanted, choices: &Choices) -> Markup {
    markup! {
        h1 { "Label " small { (shown.title) } }
        (true_size(shown, wanted, choices))
        (enlarged(shown))
        (check_list(&shown.checks))
        (code_card(shown))
    }
}

/// Why there is no such label, and what may be tried instead.
fn refused_page(code: &str, problem: &Problem, wanted: &Wanted, choices: &Choices) -> Markup {
    markup! {
        h1 { "Label " small { "tray " (code) } }
        section.card {
            h2 { "Not printed so" }
            p { (problem.title) }
            ul.plain { @for error in &problem.errors { li.caution { (error.detail) } } }
            (choice(wanted, choices))
            p { a.reach href={ "/trays/" (code) } { "The tray" } }
        }
    }
}

/// The address of the label in one of its forms, as it is shown here.
fn form(shown: &Preview, ending: &str) -> String {
    format!("/v1/trays/{}/label.{ending}?stock={}&dpi={}", shown.tray_code, shown.stock, shown.dpi)
}

fn true_size(shown: &Preview, wanted: &Wanted, choices: &Choices) -> Markup {
    markup! {
        section.card {
            h2 { "True size" }
            div.desk {
                img src=(form(shown, "svg")) alt={ "The label: " (shown.title) };
                (ruler())
                p.small { "Hold the short side of a bank card, 54\u{a0}mm, against the ruler." }
            }
            p.small { (mm(shown.width_um)) " × " (mm(shown.height_um)) " mm on " (shown.stock) ", " (shown.width_dots) " × " (shown.height_dots) " dots at " (shown.dpi) " to the inch. Where the ruler is not as long as the card, set the zoom of the page to 100\u{a0}%." }
            (choice(wanted, choices))
            p.row { @for (ending, words) in [("png", "Picture (PNG)"), ("pdf", "Page (PDF)"), ("svg", "Drawing (SVG)")] {
                a.reach href=(form(shown, ending)) { (words) }
            } a.reach href={ "/trays/" (shown.tray_code) } { "The tray" } }
        }
    }
}

/// Ticks every five millimetres; the right end is the card's.
fn ruler() -> Markup {
    markup! {
        svg.ruler width={ (CARD_MM) "mm" } height="7mm" viewBox={ "0 0 " (CARD_MM) " 7" } role="img" aria-label="A ruler of 50 mm, as long as the short side of a bank card" {
            rect width=(CARD_MM) height="7" fill="#fff" {}
            path d="M0 .15H53.98" stroke="#0d2429" stroke-width=".3" fill="none" {}
            @for tick in 0..=10_u32 {
                path d={ "M" (tick * 5) " 0v" (if tick % 2 == 0 { "3" } else { "1.8" }) } stroke="#0d2429" stroke-width=(if tick % 10 == 0 { ".6" } else { ".25" }) {}
            }
            path d="M53.83 0v7" stroke="#8e1b12" stroke-width=".3" {}
            @for ten in 1..=5_u32 { text x=(ten * 10) y="6" font-size="2.8" text-anchor="middle" fill="#0d2429" { (ten * 10) } }
        }
    }
}

fn choice(wanted: &Wanted, choices: &Choices) -> Markup {
    markup! {
        form.choose method="get" {
            div { label for="stock" { "Stock" } select id="stock" name="stock" {
                option value="" selected[wanted.stock.is_none()] { "first that fits" }
                @for stock in &choices.stocks { option value=(stock) selected[wanted.stock.as_ref() == Some(stock)] { (stock) } }
            } }
            div { label for="dpi" { "Dots per inch" } select id="dpi" name="dpi" {
                option value="" selected[wanted.dpi.is_none()] { "as the shop prints" }
                @for dpi in &choices.resolutions { option value=(dpi) selected[wanted.dpi == Some(*dpi)] { (dpi) } }
            } }
            button type="submit" { "Show" }
        }
    }
}

/// Curves beside dots: what the print head makes of the shapes can be compared.
fn enlarged(shown: &Preview) -> Markup {
    let twice = |um: u32| u64::from(um) * 2 * 96 / 25_400;
    markup! {
        section.card {
            h2 { "Enlarged" }
            div.twice {
                figure.curves {
                    img width=(twice(shown.width_um)) height=(twice(shown.height_um)) src=(form(shown, "svg")) alt="The label as curves";
                    figcaption.small { "As curves, twice its size where there is room" }
                }
                figure.dots {
                    img width=(shown.width_dots) height=(shown.height_dots) src=(form(shown, "png")) alt="The label as dots";
                    figcaption.small { "As dots, one to a pixel: what the print head burns" }
                }
            }
        }
    }
}

fn check_list(checks: &[Check]) -> Markup {
    markup! {
        section.card {
            h2 { "What must stand on it" }
            table.checks {
                thead { tr { th { "Field" } th { "Says" } th { "Required by" } th { "Least" } th { "Set" } th { "Kept" } } }
                tbody { @for check in checks { tr {
                    td { strong { (check.field.replace('_', " ")) } }
                    td data-label="Says" { (check.text) }
                    td data-label="Required by" { (check.required_by) }
                    td data-label="Least" { (type_size(check.least_um)) }
                    td data-label="Set" { (type_size(check.set_um)) }
                    td data-label="Kept" { (kept(check.came_out)) }
                } } }
            }
            p.small { "Least and set: the height of the letter x." }
        }
    }
}

/// What is not type has no height.
fn type_size(um: u32) -> String {
    if um == 0 { "–".to_owned() } else { format!("{} mm", mm(um)) }
}

fn kept(came_out: CameOut) -> Markup {
    markup! {
        @match came_out {
            CameOut::Kept => span.yes { "kept" },
            CameOut::NotGiven => "not given",
            CameOut::Missing => span.no { "missing" },
            CameOut::TooSmall => span.no { "too small" },
        }
    }
}

fn code_card(shown: &Preview) -> Markup {
    let fits = MODULE_UM.contains(&shown.module_um);
    markup! {
        section.card {
            h2 { "What its code says" }
            p { code { (shown.qr_text) } }
            table {
                thead { tr { th { "Part" } th { "Value" } th { "Meaning" } } }
                tbody { @for part in &shown.qr_parts { (part_row(part)) } }
            }
            p { "A module of the code is " (mm(shown.module_um)) " mm wide; retail asks for " (mm(*MODULE_UM.start())) " to " (mm(*MODULE_UM.end())) " mm. "
                @if fits { span.yes { "kept" } } @else { span.no { "not kept" } } }
        }
    }
}

fn part_row(part: &Part) -> Markup {
    markup! {
        tr {
            td { @if part.ai.is_empty() { "Address" } @else { code { "(" (part.ai) ")" } } }
            td data-label="Value" { code { (part.value) } }
            td data-label="Meaning" { (part.meaning) }
        }
    }
}

/// Micrometres as millimetres, with as many decimals as matter to an eye.
fn mm(um: u32) -> String {
    let hundredths = (u64::from(um) + 5) / 10;
    format!("{}.{:02}", hundredths / 100, hundredths % 100)
}

async fn get(request: HttpRequest, code: web::Path<String>) -> HttpResponse {
    let visitor = match welcome(&request, Permission::ReadRecords).await {
        Ok(visitor) => visitor,
        Err(answer) => return answer,
    };
    let wanted = match asked(&request) {
        Ok(wanted) => wanted,
        Err(problem) => return problem.error_response(),
    };
    let press = visitor.service.desk.press();
    let (options, asked, tray) = (choices(&press), wanted.clone(), code.clone());
    let found = visitor
        .service
        .ask(move |desk, now| desk.look(|reading, shop| preview(reading, shop, &press, now, &tray, &asked)));
    let shop = visitor.service.desk.shop();
    let whole = |content| page(shop, Some(&visitor.actor), "Label", "", None, content);
    match found.await {
        Ok(shown) => html(whole(preview_page(&shown, &wanted, &options))),
        // A label that does not fit is tried on another stock.
        Err(problem) if problem.status == 409 || (problem.status == 422 && problem.code == "invalid_value") => {
            html(whole(refused_page(&code, &problem, &wanted, &options)))
        }
        Err(problem) => problem.error_response(),
    }
}

/// What the address asks for; the form sends an empty word for what it leaves to the shop.
fn asked(request: &HttpRequest) -> Result<Wanted, Problem> {
    let LabelQuery { dpi, stock } = query::<LabelQuery>(request)?;
    let said = |word: &String| !word.is_empty();
    LabelQuery { dpi: dpi.filter(said), stock: stock.filter(said) }.wanted()
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.route("/trays/{code}/preview", route::get().to(get));
}

#[cfg(test)]
mod tests {
    use super::mm;

    #[test]
    fn micrometres_are_told_in_millimetres() {
        assert_eq!([61_936, 396, 1_000, 4].map(mm), ["61.94", "0.40", "1.00", "0.00"]);
    }
}
