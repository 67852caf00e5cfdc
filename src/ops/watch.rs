//! The watch over places and trays: what the readings show and what time brings, as alarms. It runs after every delivery of readings and
//! once a minute; run twice it does nothing more.

use super::board::{Judged, in_stock};
use super::desk::{Actor, Desk};
use super::failure::Failure;
use crate::domain::alarm::{Alarm, Kind, Subject, WarmSpell, warm_spells};
use crate::domain::life::clocks::Clock;
use crate::domain::life::curve::Curve;
use crate::domain::permissions::Role;
use crate::domain::place::Place;
use crate::domain::shop::Shop;
use crate::domain::tray::{LabelReason, Tray};
use crate::store::acts::{self, NewAct};
use crate::store::catalogue::place;
use crate::store::{Reading, Tx, alarms, evidence, holds, trays};
use crate::units::instant::{Instant, MICROS_PER_HOUR, MICROS_PER_MINUTE};
use std::collections::HashSet;

/// How far before new readings a warm spell is looked for at least.
const LOOK_BACK_MICROS: i64 = 48 * MICROS_PER_HOUR;

/// Who stands in the record for what nobody did.
pub fn watchman() -> Actor {
    Actor { name: "the shop's watch".to_owned(), role: Role::Reader }
}

/// One thing the watch has to do.
#[derive(Debug, Clone)]
enum Task {
    Raise { kind: Kind, subject: Subject, since: Instant, reason: String },
    Clear(Alarm),
}

/// What is to be done now, without doing it: most minutes nothing is.
fn due(reading: &mut Reading<'_>, shop: &Shop, now: Instant) -> Result<Vec<Task>, Failure> {
    let open = alarms::open(reading)?;
    let mut tasks = silent_places(reading, &open, now)?;
    let ever_exposed: HashSet<i64> = alarms::trays_with(reading, Kind::ExposureReached)?.into_iter().collect();
    let stock = in_stock(reading, shop, now)?;
    for judged in &stock {
        tasks.extend(exposure(judged, &ever_exposed, now));
        tasks.extend(label(judged, &open, now));
    }
    let here: HashSet<i64> = stock.iter().map(|judged| judged.facts.tray.id).collect();
    let gone = |alarm: &&Alarm| matches!(alarm.subject, Subject::Tray(tray) if !here.contains(&tray));
    tasks.extend(open.iter().filter(gone).cloned().map(Task::Clear));
    Ok(tasks)
}

fn silent_places(reading: &mut Reading<'_>, open: &[Alarm], now: Instant) -> Result<Vec<Task>, Failure> {
    let mut tasks = Vec::new();
    for place in place::list(reading)? {
        let subject = Subject::Place(place.code.clone());
        let last = evidence::curve(reading, &place)?.last_reading().map(|r| r.at);
        // A place that never was measured is silent from the first: nobody is told more than once.
        let since = last.unwrap_or(now);
        let silent =
            place.expects_readings && last.is_none_or(|at| now.since(at) > place.gap_minutes * MICROS_PER_MINUTE);
        match (silent, open.iter().find(|a| a.kind == Kind::PlaceSilent && a.subject == subject)) {
            (true, None) => {
                let reason = format!("{}: no reading for longer than {} minutes", place.name, place.gap_minutes);
                tasks.push(Task::Raise { kind: Kind::PlaceSilent, subject, since, reason });
            }
            (false, Some(alarm)) => tasks.push(Task::Clear(alarm.clone())),
            _ => {}
        }
    }
    Ok(tasks)
}

fn exposure(judged: &Judged, ever: &HashSet<i64>, now: Instant) -> Option<Task> {
    let tray = &judged.facts.tray;
    let end = judged.facts.life.end_of(Clock::Exposure).filter(|end| now > *end)?;
    (!ever.contains(&tray.id)).then(|| Task::Raise {
        kind: Kind::ExposureReached,
        subject: Subject::Tray(tray.id),
        since: end,
        reason: format!("tray {}: its time above the cold limit is used up", tray.code.grouped()),
    })
}

fn label(judged: &Judged, open: &[Alarm], now: Instant) -> Option<Task> {
    let tray = &judged.facts.tray;
    let subject = Subject::Tray(tray.id);
    let alarm = open.iter().find(|alarm| alarm.kind == Kind::LabelTooLong && alarm.subject == subject);
    match (judged.facts.label_outdated(), alarm) {
        (true, None) => {
            let reason = format!("tray {}: its label promises more than is left", tray.code.grouped());
            Some(Task::Raise { kind: Kind::LabelTooLong, subject, since: now, reason })
        }
        (false, Some(alarm)) => Some(Task::Clear(alarm.clone())),
        _ => None,
    }
}

/// One round. It looks first: most rounds change nothing and need no writing. Gives how many alarms changed.
pub fn round(desk: &Desk, now: Instant) -> Result<usize, Failure> {
    if desk.look(|reading, shop| Ok(due(reading, shop, now)?.is_empty()))? {
        return Ok(0);
    }
    desk.act(move |tx, shop| go_round(tx, shop, now))
}

/// Raises and clears what is due. Gives how many alarms changed.
pub fn go_round(tx: &mut Tx<'_>, shop: &Shop, now: Instant) -> Result<usize, Failure> {
    let tasks = due(tx, shop, now)?;
    for task in &tasks {
        match task {
            Task::Clear(alarm) => clear(tx, alarm.clone(), now)?,
            Task::Raise { kind, subject, since, reason } => {
                raise(tx, *kind, subject, *since, None, now, reason)?;
                if let Subject::Tray(tray) = subject {
                    stop_tray(tx, *kind, *tray, now, reason)?;
                }
            }
        }
    }
    Ok(tasks.len())
}

fn raise(
    tx: &mut Tx<'_>,
    kind: Kind,
    subject: &Subject,
    since: Instant,
    ended: Option<Instant>,
    now: Instant,
    reason: &str,
) -> Result<(), Failure> {
    record(tx, "alarm", now, reason)?;
    alarms::raise(tx, kind, subject, since, ended, now, reason)?;
    tracing::warn!(kind = kind.as_str(), reason, "alarm");
    Ok(())
}

fn record(tx: &mut Tx<'_>, kind: &'static str, now: Instant, reason: &str) -> Result<i64, Failure> {
    let actor = watchman();
    let act = NewAct { kind, at: now, recorded_at: now, actor: &actor.name, reason: Some(reason), reverses: None };
    Ok(acts::append(tx, &act)?)
}

/// What an alarm does to its tray: exposure puts it on hold, a label that promises too much asks for another.
fn stop_tray(tx: &mut Tx<'_>, kind: Kind, id: i64, now: Instant, reason: &str) -> Result<(), Failure> {
    match kind {
        Kind::ExposureReached => {
            let act_id = record(tx, "hold", now, reason)?;
            holds::place(tx, act_id, "tray", id, now, &watchman().name, reason)?;
        }
        _ => {
            let mut tray: Tray = trays::by_id(tx, id)?;
            if tray.kind.carries_label() && tray.label_wanted.is_none() {
                tray.label_wanted = Some(LabelReason::ShorterLife);
                trays::save(tx, &mut tray)?;
            }
        }
    }
    Ok(())
}

fn clear(tx: &mut Tx<'_>, mut alarm: Alarm, now: Instant) -> Result<(), Failure> {
    alarm.ended_at = alarm.ended_at.or(Some(now));
    alarm.cleared_at = Some(now);
    record(tx, "alarm_over", now, &alarm.reason)?;
    Ok(alarms::save(tx, &alarm)?)
}

/// Looks through a stretch of a place's curve that readings have just changed for times it was too warm too long. Gives how many alarms
/// were raised or changed.
pub fn after_readings(
    tx: &mut Tx<'_>,
    place: &Place,
    from: Instant,
    to: Option<Instant>,
    now: Instant,
) -> Result<usize, Failure> {
    let curve = evidence::curve(tx, place)?;
    let Some(last) = curve.last_reading().map(|reading| reading.at) else { return Ok(0) };
    let begin = before_it_was_warm(&curve, from);
    let end_of_look = where_it_is_cold(&curve, to.unwrap_or(last).min(last), last);
    let spells = warm_spells(curve.pieces(begin, end_of_look), place.warm_minutes * MICROS_PER_MINUTE, Some(last));
    let mut known = alarms::warm_between(tx, &place.code, begin, end_of_look)?;
    let mut changed = 0;
    for spell in &spells {
        let until = spell.to.unwrap_or(last);
        let touches = |alarm: &Alarm| alarm.since <= until && alarm.ended_at.is_none_or(|end| end >= spell.from);
        let (same, others): (Vec<Alarm>, Vec<Alarm>) = known.into_iter().partition(touches);
        known = others;
        changed += note_spell(tx, place, spell, last, same, now)?;
    }
    // What these readings show to have been shorter than it looked is over.
    for alarm in known.into_iter().filter(|alarm| alarm.ended_at.is_none()) {
        changed += usize::from(end(tx, alarm, Some(end_of_look), now)?);
    }
    Ok(changed)
}

/// An instant at which no warm spell was under way, two days before another or as much more as it takes.
fn before_it_was_warm(curve: &Curve, from: Instant) -> Instant {
    let first = curve.first_reading().map_or(from, |reading| reading.at);
    let mut back = LOOK_BACK_MICROS;
    loop {
        let begin = from.plus_micros(-back);
        let measured = curve.pieces(begin, from).find(|piece| piece.measured);
        if begin <= first || measured.is_none_or(|piece| piece.from_temperature <= piece.upper_limit) {
            return begin;
        }
        back *= 2;
    }
}

/// The first reading from an instant on that is cold, or else the last: a spell that goes on is seen to its end.
fn where_it_is_cold(curve: &Curve, from: Instant, last: Instant) -> Instant {
    let mut pieces = curve.pieces(from.plus_micros(-1), last).filter(|piece| piece.measured && piece.to >= from);
    pieces.find(|piece| piece.to_temperature <= piece.upper_limit).map_or(last, |piece| piece.to)
}

/// Raises the alarm of a warm spell, or brings the one it has up to date. Of several that have turned out to be one, that which nobody has
/// taken note of goes on. Gives how many alarms changed.
fn note_spell(
    tx: &mut Tx<'_>,
    place: &Place,
    spell: &WarmSpell,
    last: Instant,
    mut same: Vec<Alarm>,
    now: Instant,
) -> Result<usize, Failure> {
    let until = spell.to.unwrap_or(last);
    let reason = format!(
        "{}: above {} for {} minutes, up to {}",
        place.name,
        place.upper_limit,
        until.since(spell.from) / MICROS_PER_MINUTE,
        spell.peak
    );
    same.sort_by_key(|alarm| alarm.acknowledged.is_some());
    let mut same = same.into_iter();
    let Some(goes_on) = same.next() else {
        raise(tx, Kind::PlaceTooWarm, &Subject::Place(place.code.clone()), spell.from, spell.to, now, &reason)?;
        return Ok(1);
    };
    let mut changed = usize::from(end(tx, Alarm { since: spell.from, reason, ..goes_on }, spell.to, now)?);
    for other in same.filter(|alarm| alarm.cleared_at.is_none()) {
        clear(tx, other, now)?;
        changed += 1;
    }
    Ok(changed)
}

/// Writes when the cause of a warm alarm ended, if it has: over once it is cold again and someone knows, and not over while it is warm.
fn end(tx: &mut Tx<'_>, mut alarm: Alarm, ended: Option<Instant>, now: Instant) -> Result<bool, Failure> {
    let before = alarms::find(tx, alarm.id)?;
    alarm.ended_at = ended;
    alarm.cleared_at = match (ended, &alarm.acknowledged) {
        (Some(_), Some(_)) => alarm.cleared_at.or(Some(now)),
        _ => None,
    };
    let changed = before.as_ref() != Some(&alarm);
    if changed {
        if alarm.cleared_at.is_some() && before.is_none_or(|known| known.cleared_at.is_none()) {
            record(tx, "alarm_over", now, &alarm.reason)?;
        }
        alarms::save(tx, &alarm)?;
    }
    Ok(changed)
}
