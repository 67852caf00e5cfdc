//! Picking: the open lists and how to begin one; and one list for the phone in a wet hand, or on paper.

use super::case_plan::{PlansMay, path_of};
use super::fitness;
use super::layout::{page, time_left};
use super::visitor::{Visitor, html, welcome};
use crate::domain::catalogue::{Cut, Names};
use crate::domain::permissions::Permission;
use crate::domain::picking::list::{Asked, LineState, Purpose, State};
use crate::domain::picking::plan::CasePlan;
use crate::domain::picking::{Ask, Rule};
use crate::domain::place::Place;
use crate::domain::shop::Shop;
use crate::domain::tray::Kind;
use crate::ops::case_plan::{self, Filling};
use crate::ops::look::all_cuts;
use crate::ops::pick::show::{self, Shown, ShownLine};
use crate::units::instant::Instant;
use crate::web::answer::id;
use crate::web::clock;
use crate::web::route;
use actix_web::{HttpRequest, HttpResponse, ResponseError, web};
use maud::{Markup, html as markup};

/// It begins and works off lists, and keeps case plans.
pub const SCRIPT: &str = "/assets/picks.js";

/// A number of things in words.
fn counted(count: usize, one: &str) -> String {
    if count == 1 { format!("1 {one}") } else { format!("{count} {one}s") }
}

/// What a list is for, in one line.
fn title(shown: &Shown) -> String {
    let asked = &shown.list.asked;
    let (cut, place) = (shown.cut_name.as_deref(), shown.place_name.as_deref());
    match asked.purpose {
        Purpose::Refill => {
            format!("Fill up {}{}", place.unwrap_or("a case"), cut.map(|cut| format!(": {cut}")).unwrap_or_default())
        }
        Purpose::Order => format!("Order: {} {}", how_much(asked), cut.unwrap_or("")),
    }
}

fn how_much(asked: &Asked) -> String {
    match asked.ask {
        Some(Ask::Count(count)) => counted(count, "tray"),
        Some(Ask::Weight(window)) => format!("{} to {} g", window.low, window.high),
        None => String::new(),
    }
}

/// Everything else that was asked.
fn conditions(shop: &Shop, shown: &Shown) -> Vec<String> {
    let asked = &shown.list.asked;
    let mut said = vec![match asked.rule {
        Rule::Fefo => "first to end first".to_owned(),
        Rule::Fifo => "oldest cut first".to_owned(),
    }];
    if asked.purpose == Purpose::Order {
        said.extend(shown.place_name.as_ref().map(|place| format!("only from {place}")));
    }
    if asked.least_hours > 0 {
        said.push(format!("at least {} h left", asked.least_hours));
    }
    said.extend(asked.highest_price.map(|price| format!("at most {}/kg", shop.money(price))));
    said.extend(asked.needed_at.map(|at| format!("needed {}", shop.zone.write(at))));
    said
}

fn progress(shown: &Shown) -> Markup {
    let picked = shown.lines_in(LineState::Picked).count();
    let all = picked + shown.lines_in(LineState::Wanted).count() + shown.missing_trays();
    markup! {
        p.counted { strong { (picked) " of " (counted(all, "tray")) } " picked, " (shown.picked_g()) " of " (shown.expected_g()) " g" }
        progress value=(picked) max=(all.max(1)) aria-label="Picked" {}
    }
}

fn standing(shown: &Shown, now: Instant) -> String {
    match (shown.list.state, shown.reserved_until) {
        (State::Done, Some(_)) => "Done; laid aside and kept".to_owned(),
        (State::Done, None) => "Done".to_owned(),
        (State::GivenUp, _) => "Given up".to_owned(),
        (State::Open, Some(until)) => {
            format!("Reserved for {} more if nobody works on it", time_left(Some(until), now))
        }
        (State::Open, None) => "Not reserved any more: nobody worked on it for four hours".to_owned(),
    }
}

/// What the page of all lists shows.
struct Found {
    open: Vec<Shown>,
    cuts: Vec<(Cut, Names)>,
    plans: Vec<Filling>,
    /// Places that could have a plan and have none.
    without: Vec<Place>,
}

fn overview(shop: &Shop, found: &Found, plans_may: PlansMay, now: Instant) -> Markup {
    let Found { open, cuts, plans, without } = found;
    markup! {
        h1 { "Picking" }
        p.trouble id="trouble" role="alert" hidden {}
        @if open.is_empty() { p.card { "No list is open." } }
        @for shown in open {
            section.card data-list=(shown.list.id) {
                h2 { a.reach href={ "/picks/" (shown.list.id) } { (title(shown)) } }
                (progress(shown))
                p.small { "List " (shown.list.id) " by " (shown.list.made_by) ", " (shop.zone.write(shown.list.made_at))
                    @if let Some(note) = &shown.list.asked.note { ". " strong { (note) } } ". " (standing(shown, now)) "." }
            }
        }
        section.card {
            h2 { "Fill up a case" }
            @if plans.is_empty() { p { "No case has a plan yet. A plan says how many trays of each cut a case should hold." } }
            @for Filling { name, plan, missing, in_stores } in plans {
                form.new-list data-purpose="refill" {
                    input type="hidden" name="place_code" value=(plan.place);
                    h3 { (name) ": " (how_full(*missing, *in_stores)) }
                    p.small { (plan_in_words(plan, cuts)) }
                    div.row.tools {
                        @if *missing > 0 { button.main type="submit" { "Fill up " (name) } }
                        a.reach href=(path_of(&plan.place)) { (plans_may.word()) }
                    }
                }
            }
            @if plans_may == PlansMay::BeChanged { (to_plan(plans, without)) }
        }
        (new_order(cuts))
        noscript { p.trouble { "This page needs a script. The interface under /docs does without." } }
    }
}

fn how_full(missing: usize, in_stores: usize) -> String {
    match (missing, in_stores) {
        (0, _) => "full".to_owned(),
        (_, 0) => format!("{} missing, none in the stores", counted(missing, "tray")),
        _ => format!("{} missing, {in_stores} of them in the stores", counted(missing, "tray")),
    }
}

/// The way to a first plan; once a case has one, the other places are folded away.
fn to_plan(plans: &[Filling], without: &[Place]) -> Markup {
    let list = markup! {
        ul.plain { @for place in without { li { a.reach href=(path_of(&place.code)) { (place.name) } } } }
    };
    markup! {
        @match (plans.is_empty(), without.is_empty()) {
            (true, true) => { p { "Nor is there a place that could be a case: a cold one that is not frozen. The catalogue takes places: see /docs." } }
            (true, false) => { p { "Choose the case to plan:" } (list) }
            (false, true) => {}
            (false, false) => { details { summary.reach { "Plan another case" } (list) } }
        }
    }
}

fn plan_in_words(plan: &CasePlan, cuts: &[(Cut, Names)]) -> String {
    let name =
        |code: &str| cuts.iter().find(|(cut, _)| cut.code == code).map_or(code.to_owned(), |(cut, _)| cut.name.clone());
    plan.lines.iter().map(|line| format!("{} {}", line.trays, name(&line.cut))).collect::<Vec<_>>().join(", ")
}

fn new_order(cuts: &[(Cut, Names)]) -> Markup {
    let sold: Vec<&Cut> = cuts.iter().map(|(cut, _)| cut).filter(|cut| cut.kind != Kind::Bulk).collect();
    markup! {
        form.card.new-list data-purpose="order" {
            h2 { "An order" }
            label for="cut" { "Cut" }
            select id="cut" name="cut_code" { @for cut in sold { option value=(cut.code) { (cut.name) } } }
            p.small { "Either how many trays, or between which weights." }
            div.amounts {
                div { label for="count" { "Trays" } input id="count" name="count" type="number" inputmode="numeric" min="1" max="200"; }
                div { label for="low" { "From g" } input id="low" name="low_g" type="number" inputmode="numeric" min="1"; }
                div { label for="high" { "To g" } input id="high" name="high_g" type="number" inputmode="numeric" min="1"; }
            }
            label for="note" { "For whom" }
            input id="note" name="note" maxlength="500" autocomplete="off";
            details {
                summary.reach { "More: life left, price, order of taking" }
                label for="least" { "Least hours of life left" }
                input id="least" name="least_hours" type="number" inputmode="numeric" min="0" max="1000";
                label for="dear" { "Highest price per kilogram, in cents" }
                input id="dear" name="highest_price_per_kg_cents" type="number" inputmode="numeric" min="0";
                label for="rule" { "Which go first" }
                select id="rule" name="rule" { option value="fefo" { "First to end" } option value="fifo" { "Oldest cut" } }
                label for="choice" { "By weight" }
                select id="choice" name="choice" {
                    option value="oldest_first" { "Oldest first, as long as the weight can be met" }
                    option value="closest" { "Nearest to the middle" }
                    option value="fewest" { "Fewest trays" }
                    option value="least_fresh" { "Leave fresh ones lying" }
                }
            }
            button.main type="submit" { "Make the list" }
        }
    }
}

/// A tray to fetch, as large as can be.
fn next(shop: &Shop, line: &ShownLine, now: Instant) -> Markup {
    markup! {
        p.small { "Next" }
        p.where { (line.place_name) }
        p.which.code { (line.tray.code.grouped()) }
        p.look { strong { (line.line.grams) " g" } " " (line.cut_name)
            @if line.line.grams < line.tray.net.get() { ", weighed out of " (line.tray.net) } }
        p.small { "Good until " (until(shop, line.sell_until)) ", " (time_left(line.sell_until, now)) " left"
            @if let Some(use_by) = line.tray.use_by { ". Its label says use by " (shop.zone.write(use_by)) }
            @if line.tray.marked_down() { ". Marked down" } "." }
    }
}

fn until(shop: &Shop, until: Option<Instant>) -> String {
    until.map(|until| shop.zone.write(until)).unwrap_or_default()
}

const fn state_in_words(state: LineState) -> &'static str {
    match state {
        LineState::Wanted => "to fetch",
        LineState::Picked => "picked",
        LineState::Gone => "gone",
        LineState::Replaced => "replaced",
    }
}

fn lines(shop: &Shop, shown: &Shown) -> Markup {
    let told = |line: &&ShownLine| line.state != LineState::Replaced || line.line.replaced_by.is_some();
    markup! {
        table.picks {
            thead { tr { th { "Done" } th { "Code" } th { "Place" } th { "Weight" } th { "Cut" } th { "Good until" } th { "State" } } }
            tbody {
                @for line in shown.lines.iter().filter(told) {
                    tr class=(line.state.as_str()) data-code=(line.tray.code) {
                        td.box { @if line.state == LineState::Picked { "☑" } @else if line.state == LineState::Wanted { "☐" } @else { "–" } }
                        td.code { (line.tray.code.grouped()) }
                        td data-label="Place" { (line.place_name) }
                        td data-label="Weight" { (line.line.grams) " g" }
                        td data-label="Cut" { (line.cut_name) }
                        td data-label="Good until" { (until(shop, line.sell_until)) }
                        td data-label="State" { (state_in_words(line.state))
                            @if let Some(by) = &line.line.picked_by { " by " (by) }
                            @if let Some(because) = &line.because { ": " (because) } }
                    }
                }
            }
        }
    }
}

fn lacking(shown: &Shown) -> String {
    match (shown.missing_g(), shown.missing_trays()) {
        (0, 1) => "1 tray is missing".to_owned(),
        (0, trays) => format!("{trays} trays are missing"),
        (grams, _) => format!("{grams} g are missing"),
    }
}

fn missing(shown: &Shown) -> Markup {
    let picked = shown.lines_in(LineState::Picked).next().is_some();
    markup! {
        @if shown.list.state == State::Open && shown.is_short() {
            section.alarms aria-label="Missing" {
                h2 { (lacking(shown)) }
                ul { @for line in shown.lines_in(LineState::Gone) {
                    li { span.code { (line.tray.code.grouped()) } ": " (line.because.as_deref().unwrap_or("gone")) }
                } }
                div.row {
                    button type="button" data-post="refills" { "Choose others for what is missing" }
                    @if picked { button type="button" data-post="give-ups" data-keep="yes" { "Done as it is" } }
                }
            }
        }
    }
}

fn passed_over(shop: &Shop, shown: &Shown) -> Markup {
    markup! {
        @if !shown.passed.is_empty() {
            section.card.passed {
                h2 { "Older trays left lying, and why" }
                ul.plain { @for passed in &shown.passed {
                    li { span.code { (passed.tray.code.grouped()) } ", " (passed.tray.net) ", " (passed.place_name) ", good until "
                        (until(shop, passed.sell_until)) ": " (passed.why.in_words()) "." }
                } }
            }
        }
    }
}

/// What is drawn anew after each scan.
fn state(shop: &Shop, shown: &Shown, now: Instant) -> Markup {
    markup! {
        div id="state" data-state=(shown.list.state.as_str()) {
            @match shown.next() {
                Some(line) if shown.list.state == State::Open => { section.card.next aria-label="Next tray" { (next(shop, line, now)) } }
                _ if shown.list.state == State::Done => {
                    p.card { strong { "Done." } @if shown.is_short() { " As it is: " (lacking(shown)) "." } @if shown.list.asked.purpose == Purpose::Order { " Laid aside; sold by scanning, as ever." } @else { " The trays stand in the case." } }
                }
                _ => {}
            }
            (missing(shown))
            section.card { (progress(shown)) (lines(shop, shown)) }
            (passed_over(shop, shown))
            p.small { (standing(shown, now)) "." }
        }
    }
}

fn one(shop: &Shop, shown: &Shown, now: Instant) -> Markup {
    let open = shown.list.state == State::Open;
    markup! {
        h1 { (title(shown)) }
        p.small { "List " (shown.list.id) " by " (shown.list.made_by) ", " (shop.zone.write(shown.list.made_at)) ": " (conditions(shop, shown).join(", ")) "." }
        @if let Some(note) = &shown.list.asked.note { p.for { (note) } }
        p.trouble id="trouble" role="alert" hidden {}
        @if open {
            form.scan id="pick" data-list=(shown.list.id) {
                label for="code" { "Scan the tray, or type its code" }
                input id="code" name="code" autocomplete="off" autocapitalize="characters" spellcheck="false" enterkeyhint="go" autofocus;
            }
        }
        section.answer id="answer" role="status" aria-live="assertive" hidden { p.word {} p.why {} ul.plain {}
            div.row hidden { button.main id="take" type="button" { "Take it all the same" } button id="leave" type="button" { "Leave it" } } }
        (state(shop, shown, now))
        div.row.tools id="pick-tools" data-list=(shown.list.id) {
            button id="print" type="button" { "Print" }
            @if open || shown.list.reserved_until().is_some_and(|until| until > now) { button type="button" data-post="give-ups" { "Give the list up" } }
            a.reach href="/picks" { "All lists" }
        }
        noscript { p.trouble { "This page needs a script. The interface under /docs does without." } }
    }
}

fn answer(visitor: &Visitor, name: &str, content: Markup) -> HttpResponse {
    let shop = visitor.service.desk.shop();
    let content = markup! { (fitness::on_top(&visitor.service.desk)) (content) };
    html(page(shop, Some(&visitor.actor), name, "/picks", Some(SCRIPT), content))
}

async fn list(request: HttpRequest) -> HttpResponse {
    let visitor = match welcome(&request, Permission::Pick).await {
        Ok(visitor) => visitor,
        Err(answer) => return answer,
    };
    let now = clock::now();
    let look = visitor.service.ask(move |desk, _| {
        desk.look(|reading, shop| {
            Ok(Found {
                open: show::open(reading, shop, now)?,
                cuts: all_cuts(reading)?,
                plans: case_plan::all(reading, shop, now)?,
                without: case_plan::without(reading)?,
            })
        })
    });
    match look.await {
        Ok(found) => {
            let content = overview(visitor.service.desk.shop(), &found, PlansMay::of(&visitor), now);
            answer(&visitor, "Picking", content)
        }
        Err(problem) => problem.error_response(),
    }
}

async fn get(request: HttpRequest, path: web::Path<String>) -> HttpResponse {
    let visitor = match welcome(&request, Permission::Pick).await {
        Ok(visitor) => visitor,
        Err(answer) => return answer,
    };
    let now = clock::now();
    let number = match id(&path) {
        Ok(number) => number,
        Err(problem) => return problem.error_response(),
    };
    let look = visitor.service.ask(move |desk, _| desk.look(|reading, shop| show::shown(reading, shop, now, number)));
    match look.await {
        Ok(shown) => answer(&visitor, &format!("List {number}"), one(visitor.service.desk.shop(), &shown, now)),
        Err(problem) => problem.error_response(),
    }
}

pub fn routes(config: &mut web::ServiceConfig) {
    config.route("/picks", route::get().to(list));
    config.route("/picks/{id}", route::get().to(get));
}
