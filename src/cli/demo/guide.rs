//! What a person needs to look around in the demo: addresses, sign-ins, a till's key, and codes worth scanning.

use super::opening::SignIn;
use crate::cli::clock::{now, random32};
use crate::cli::speak::say;
use crate::cli::stop::Stop;
use crate::domain::permissions::Role;
use crate::domain::verdict::Outcome;
use crate::ops::board::{Judged, in_stock};
use crate::ops::desk::{Actor, Desk};
use crate::ops::keys::create_key;
use crate::units::instant::{Instant, MICROS_PER_HOUR};
use std::net::SocketAddr;

const KEY_DAYS: i64 = 30;

/// A tray worth scanning, and why.
pub struct Worth {
    pub code: String,
    pub why: String,
}

/// Creates the key of a till; its text.
pub fn till_key(desk: &Desk, people: &[SignIn]) -> Result<String, Stop> {
    let manager = people.iter().find(|p| p.actor.role == Role::Manager);
    let actor: Actor = manager.map(|m| m.actor.clone()).ok_or_else(|| Stop::wrong("the demo has no manager"))?;
    let (at, random) = (now(), (random32()?, random32()?));
    let made = desk.act(move |tx, _| {
        create_key(tx, &actor, at, &random, "Demo till", Role::Till.as_str(), KEY_DAYS).map(|(_, key)| key)
    })?;
    Ok(made)
}

/// One tray of each kind of answer a scan can give, as far as the stock has one now.
pub fn worth_scanning(desk: &Desk, last_sold: Option<&str>) -> Result<Vec<Worth>, Stop> {
    let at = now();
    let stock = desk.look(|reading, shop| in_stock(reading, shop, at))?;
    let for_sale = |judged: &&Judged| judged.verdict.stops.is_empty();
    let until = |judged: &Judged| judged.verdict.sell_until.unwrap_or(at);
    let long = stock.iter().filter(for_sale).filter(|j| j.verdict.outcome == Outcome::Sell).max_by_key(|j| until(j));
    let soon = stock.iter().filter(for_sale).min_by_key(|j| until(j));
    let held = stock.iter().find(|j| !j.facts.holds.is_empty());
    let frozen = stock.iter().find(|j| j.facts.place_frozen && j.facts.holds.is_empty());
    let mut found = Vec::new();
    let mut add = |judged: Option<&Judged>, why: String| {
        found.extend(
            judged.map(|j| Worth { code: j.facts.tray.code.to_string(), why: format!("{}, {why}", j.facts.cut.name) }),
        );
    };
    add(long, "good to sell".to_owned());
    add(soon, soon.map(|j| hours_left(until(j), at)).unwrap_or_default());
    add(held, "on hold".to_owned());
    add(frozen, "frozen".to_owned());
    found.extend(last_sold.map(|code| Worth { code: code.to_owned(), why: "sold already".to_owned() }));
    Ok(found)
}

fn hours_left(until: Instant, at: Instant) -> String {
    match until.since(at) / MICROS_PER_HOUR {
        0 => "to be sold within the hour".to_owned(),
        hours => format!("to be sold within {} hours", hours + 1),
    }
}

/// Says who may sign in, and with what.
pub fn say_sign_ins(people: &[SignIn], key: &str) {
    say("");
    say("sign-ins, made for this demo alone:");
    for person in people {
        say(format_args!("  {:<8} {:<18} {}", person.actor.role.as_str(), person.actor.name, person.password));
    }
    say(format_args!("till key, valid {KEY_DAYS} days: {key}"));
}

/// Says where to look, once the server listens.
pub fn say_where(address: SocketAddr, worth: &[Worth]) {
    say("");
    say("to open:");
    for (path, what) in [
        ("/", "the board"),
        ("/scan", "scan a tray"),
        ("/review", "the morning review: what to lower, cook or take off, and why"),
        ("/picks", "fill up a case by its plan, or put an order together"),
        ("/errands", "what is to be carried because of it"),
        ("/docs", "the API"),
    ] {
        say(format_args!("  {:<36} {what}", format!("http://{address}{path}")));
    }
    say("trays worth scanning:");
    for tray in worth {
        say(format_args!("  {}  {}", tray.code, tray.why));
    }
    say("Ctrl-C ends the demo.");
}
