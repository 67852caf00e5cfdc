//! The frame of every page, and the small pieces pages share: time left in words, badges, money.

use crate::domain::life::clocks::Clock;
use crate::domain::permissions::{Permission, Role};
use crate::domain::shop::{PAGE_CAUTION, Shop};
use crate::domain::verdict::{Outcome, Verdict};
use crate::ops::desk::Actor;
use crate::units::instant::{Instant, MICROS_PER_HOUR, MICROS_PER_MINUTE};
use maud::{DOCTYPE, Markup, html};

/// Pages in the order of the day; who may not do what is not shown the way.
const WAYS: [(&str, &str, Permission); 9] = [
    ("/", "Board", Permission::ReadStock),
    ("/scan", "Scan", Permission::Scan),
    ("/picks", "Picking", Permission::Pick),
    ("/places", "Places", Permission::ReadRecords),
    ("/prints", "Printing", Permission::PrintLabels),
    ("/review", "Morning review", Permission::Review),
    ("/report", "Report", Permission::ReadCost),
    ("/exceptions", "Exceptions", Permission::Review),
    ("/webhooks", "Webhooks", Permission::ManageWebhooks),
];

/// A whole page.
pub fn page(
    shop: &Shop,
    actor: Option<&Actor>,
    title: &str,
    here: &str,
    script: Option<&str>,
    content: Markup,
) -> Markup {
    html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (title) " · " (shop.name) }
                link rel="icon" href="/assets/icon.svg";
                link rel="stylesheet" href="/assets/style.css";
                @if let Some(script) = script { script src=(script) defer {} }
            }
            body {
                a.skip href="#content" { "To the content" }
                header {
                    p.shop { (shop.name) }
                    @if let Some(actor) = actor {
                        nav aria-label="Pages" {
                            @for (path, name, _) in WAYS.iter().filter(|(_, _, permission)| permission.allows(actor.role)) {
                                a href=(path) aria-current=[(*path == here).then_some("page")] { (name) }
                            }
                        }
                        form.who action="/sign-out" method="post" {
                            span { (actor.name) " (" (role_word(actor.role)) ")" }
                            button type="submit" { "Sign out" }
                        }
                    }
                }
                main id="content" { (content) }
                footer {
                    p { (PAGE_CAUTION) }
                    (rules_in_use(shop, actor.is_some()))
                }
            }
        }
    }
}

/// Which rules are in force and what counts; strangers are not shown the way to the shop's own.
fn rules_in_use(shop: &Shop, signed_in: bool) -> Markup {
    let validated = shop.rules.validated().count();
    html! {
            p { "Rules in use: "
    (shop.jurisdiction.as_str().to_uppercase()) ". "
                @match validated {
                    0 => "No setting is looser than this profile. ",
                    1 => { strong { "1 setting is looser, validated by the shop. " } }
                    many => { strong { (many) " settings are looser, validated by the shop. " } }
                }
                "Life counts at the temperatures that were measured, and at the worst where none were." }
            p.ways { a href="/cautions" { "Cautions" } @if signed_in { a href="/profile" { "All rules in use" } } }
        }
}

/// A clock by the name people use.
pub const fn clock_in_words(clock: Clock) -> &'static str {
    match clock {
        Clock::Raw => "Raw eating",
        Clock::Colour => "Colour",
        Clock::Exposure => "Time above the cold limit",
        Clock::DateMark => "Date mark",
        Clock::Frozen => "Frozen storage",
        Clock::Supplier => "Supplier's date",
    }
}

/// A span, coarse enough to read at a glance: `3 d 4 h`, `5 h 20 min`, `40 min`.
pub fn span_in_words(micros: i64) -> String {
    let (hours, minutes) = (micros / MICROS_PER_HOUR, micros % MICROS_PER_HOUR / MICROS_PER_MINUTE);
    match (hours, hours % 24, minutes) {
        (48.., 0, _) => format!("{} d", hours / 24),
        (48.., rest, _) => format!("{} d {rest} h", hours / 24),
        (1.., _, 0) => format!("{hours} h"),
        (1.., ..) => format!("{hours} h {minutes} min"),
        _ => format!("{minutes} min"),
    }
}

const fn role_word(role: Role) -> &'static str {
    match role {
        Role::Counter => "counter",
        Role::Cutter => "cutter",
        Role::Manager => "manager",
        Role::Till => "till",
        Role::Logger => "logger",
        Role::Reader => "reader",
    }
}

/// Time left, coarse enough to read at a glance: `2 d 4 h`, `5 h 20 min`, `40 min`, `ended`.
pub fn time_left(until: Option<Instant>, now: Instant) -> String {
    let Some(until) = until else { return "paused".to_owned() };
    let left = until.since(now);
    let (hours, minutes) = (left / MICROS_PER_HOUR, left % MICROS_PER_HOUR / MICROS_PER_MINUTE);
    match (left, hours) {
        (..0, _) => "ended".to_owned(),
        (_, 24..) => format!("{} d {} h", hours / 24, hours % 24),
        (_, 1..) => format!("{hours} h {minutes} min"),
        _ => format!("{minutes} min"),
    }
}

/// How urgent a tray is, as a class of the style sheet; always beside words, never alone.
pub fn urgency(verdict: &Verdict, now: Instant) -> &'static str {
    match (verdict.outcome, verdict.sell_until) {
        (Outcome::Stop, _) => "stopped",
        (_, Some(until)) if until.since(now) < 3 * MICROS_PER_HOUR => "soon",
        (_, Some(until)) if until.since(now) < 24 * MICROS_PER_HOUR => "today",
        _ => "fine",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn time_left_is_said_coarsely() {
        let now = Instant::EPOCH.plus_micros(1_000 * MICROS_PER_HOUR);
        let after = |minutes: i64| time_left(Some(now.plus_micros(minutes * MICROS_PER_MINUTE)), now);
        assert_eq!(
            (after(3_120), after(320), after(40), after(-1)),
            ("2 d 4 h".into(), "5 h 20 min".into(), "40 min".into(), "ended".into())
        );
        assert_eq!(time_left(None, now), "paused");
        let span = |minutes: i64| span_in_words(minutes * MICROS_PER_MINUTE);
        assert_eq!(
            [span(2_940), span(2_880), span(1_500), span(120), span(0)],
            ["2 d 1 h", "2 d", "25 h", "2 h", "0 min"].map(str::to_owned)
        );
    }
}
