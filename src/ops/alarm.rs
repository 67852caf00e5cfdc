//! Alarms are looked at, and acknowledged by name.

use super::desk::Actor;
use super::failure::{Failure, refuse};
use crate::domain::alarm::{Acknowledgement, Alarm, Kind, Subject};
use crate::domain::refusal::Code;
use crate::domain::text;
use crate::store::acts::{self, NewAct};
use crate::store::{Reading, Tx, alarms, trays};
use crate::units::instant::Instant;

/// An alarm, with the code of the tray it concerns.
#[derive(Debug, Clone)]
pub struct Shown {
    pub alarm: Alarm,
    pub tray_code: Option<String>,
}

impl Shown {
    pub fn concerns_place(&self, code: &str) -> bool {
        matches!(&self.alarm.subject, Subject::Place(place) if place == code)
    }
}

fn shown(reading: &mut Reading<'_>, alarm: Alarm) -> Result<Shown, Failure> {
    let tray_code = match alarm.subject {
        Subject::Tray(id) => Some(trays::by_id(reading, id)?.code.to_string()),
        Subject::Place(_) => None,
    };
    Ok(Shown { alarm, tray_code })
}

/// Alarms that are not over, the oldest first.
pub fn open(reading: &mut Reading<'_>) -> Result<Vec<Shown>, Failure> {
    alarms::open(reading)?.into_iter().map(|alarm| shown(reading, alarm)).collect()
}

/// All alarms, the newest first.
pub fn page(reading: &mut Reading<'_>, below: Option<i64>, limit: i64) -> Result<Vec<Shown>, Failure> {
    alarms::page(reading, below, limit)?.into_iter().map(|alarm| shown(reading, alarm)).collect()
}

/// Someone takes note of an alarm, with their name. One whose cause is over ends with that; exposure ends when its hold is released.
pub fn acknowledge(
    tx: &mut Tx<'_>,
    actor: &Actor,
    now: Instant,
    id: i64,
    note: Option<&str>,
) -> Result<Shown, Failure> {
    let note = text::optional_note("note", note)?;
    let Some(mut alarm) = alarms::find(tx, id)? else {
        return refuse(Code::NotFound, "id", "there is no such alarm");
    };
    if let Some(before) = &alarm.acknowledged {
        return refuse(Code::AlreadyAcknowledged, "id", format!("{} took note of it already", before.by));
    }
    let act = NewAct {
        kind: "acknowledge",
        at: now,
        recorded_at: now,
        actor: &actor.name,
        reason: note.as_deref().or(Some(&alarm.reason)),
        reverses: None,
    };
    acts::append(tx, &act)?;
    alarm.acknowledged = Some(Acknowledgement { at: now, by: actor.name.clone(), note });
    if alarm.kind == Kind::PlaceTooWarm && alarm.ended_at.is_some() && alarm.cleared_at.is_none() {
        over(tx, actor, now, &alarm)?;
        alarm.cleared_at = Some(now);
    }
    alarms::save(tx, &alarm)?;
    shown(tx, alarm)
}

/// Puts it on record that an alarm is over, for whoever follows the changes.
fn over(tx: &mut Tx<'_>, actor: &Actor, now: Instant, alarm: &Alarm) -> Result<(), Failure> {
    let act = NewAct {
        kind: "alarm_over",
        at: now,
        recorded_at: now,
        actor: &actor.name,
        reason: Some(&alarm.reason),
        reverses: None,
    };
    acts::append(tx, &act)?;
    Ok(())
}

/// A manager has released the hold that an exposure placed: its alarm is over. The tray still cannot be sold.
pub fn exposure_seen_to(tx: &mut Tx<'_>, actor: &Actor, tray_id: i64, now: Instant) -> Result<(), Failure> {
    for mut alarm in alarms::open(tx)? {
        if alarm.kind == Kind::ExposureReached && alarm.subject == Subject::Tray(tray_id) {
            over(tx, actor, now, &alarm)?;
            alarm.cleared_at = Some(now);
            alarms::save(tx, &alarm)?;
        }
    }
    Ok(())
}
