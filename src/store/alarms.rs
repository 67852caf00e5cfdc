//! Alarms as they were raised, acknowledged and cleared.

use super::error::StoreError;
use super::read::Reading;
use super::schema::alarms;
use super::trays::instant;
use super::write::Tx;
use crate::domain::alarm::{Acknowledgement, Alarm, Kind, Subject};
use crate::units::instant::Instant;
use diesel::prelude::*;

#[derive(Queryable)]
struct AlarmRow {
    id: i64,
    kind: String,
    place_code: Option<String>,
    tray_id: Option<i64>,
    since: i64,
    raised_at: i64,
    reason: String,
    acknowledged_at: Option<i64>,
    acknowledged_by: Option<String>,
    note: Option<String>,
    ended_at: Option<i64>,
    cleared_at: Option<i64>,
}

impl TryFrom<AlarmRow> for Alarm {
    type Error = StoreError;

    fn try_from(row: AlarmRow) -> Result<Alarm, StoreError> {
        let subject = match (row.place_code, row.tray_id) {
            (Some(place), None) => Subject::Place(place),
            (None, Some(tray)) => Subject::Tray(tray),
            _ => return Err(StoreError::impossible("subject of alarm", row.id)),
        };
        let acknowledged = match (row.acknowledged_at, row.acknowledged_by) {
            (Some(at), Some(by)) => Some(Acknowledgement { at: instant(at)?, by, note: row.note }),
            _ => None,
        };
        Ok(Alarm {
            id: row.id,
            kind: Kind::parse(&row.kind).ok_or_else(|| StoreError::impossible("kind of alarm", &row.kind))?,
            subject,
            since: instant(row.since)?,
            raised_at: instant(row.raised_at)?,
            reason: row.reason,
            acknowledged,
            ended_at: row.ended_at.map(instant).transpose()?,
            cleared_at: row.cleared_at.map(instant).transpose()?,
        })
    }
}

/// Raises an alarm; gives its number.
pub fn raise(
    tx: &mut Tx<'_>,
    kind: Kind,
    subject: &Subject,
    since: Instant,
    ended: Option<Instant>,
    now: Instant,
    reason: &str,
) -> Result<i64, StoreError> {
    let (place, tray) = match subject {
        Subject::Place(place) => (Some(place.as_str()), None),
        Subject::Tray(tray) => (None, Some(*tray)),
    };
    let row = (
        alarms::kind.eq(kind.as_str()),
        alarms::place_code.eq(place),
        alarms::tray_id.eq(tray),
        alarms::since.eq(since.micros()),
        alarms::raised_at.eq(now.micros()),
        alarms::reason.eq(reason),
        alarms::ended_at.eq(ended.map(Instant::micros)),
    );
    Ok(diesel::insert_into(alarms::table).values(row).returning(alarms::id).get_result(tx.changing())?)
}

/// Writes a changed alarm.
pub fn save(tx: &mut Tx<'_>, alarm: &Alarm) -> Result<(), StoreError> {
    let acknowledged = alarm.acknowledged.as_ref();
    let set = (
        alarms::since.eq(alarm.since.micros()),
        alarms::reason.eq(&alarm.reason),
        alarms::acknowledged_at.eq(acknowledged.map(|a| a.at.micros())),
        alarms::acknowledged_by.eq(acknowledged.map(|a| a.by.as_str())),
        alarms::note.eq(acknowledged.and_then(|a| a.note.as_deref())),
        alarms::ended_at.eq(alarm.ended_at.map(Instant::micros)),
        alarms::cleared_at.eq(alarm.cleared_at.map(Instant::micros)),
    );
    diesel::update(alarms::table.filter(alarms::id.eq(alarm.id))).set(set).execute(tx.changing())?;
    Ok(())
}

pub fn find(reading: &mut Reading<'_>, id: i64) -> Result<Option<Alarm>, StoreError> {
    let row: Option<AlarmRow> = alarms::table.filter(alarms::id.eq(id)).get_result(reading.conn).optional()?;
    row.map(TryInto::try_into).transpose()
}

/// Alarms that are not over, the oldest cause first.
pub fn open(reading: &mut Reading<'_>) -> Result<Vec<Alarm>, StoreError> {
    let query = alarms::table.filter(alarms::cleared_at.is_null()).order((alarms::since, alarms::id));
    let rows: Vec<AlarmRow> = query.load(reading.conn)?;
    rows.into_iter().map(TryInto::try_into).collect()
}

/// All alarms, the newest first, below a number.
pub fn page(reading: &mut Reading<'_>, below: Option<i64>, limit: i64) -> Result<Vec<Alarm>, StoreError> {
    let query = alarms::table.filter(alarms::id.lt(below.unwrap_or(i64::MAX))).order(alarms::id.desc()).limit(limit);
    let rows: Vec<AlarmRow> = query.load(reading.conn)?;
    rows.into_iter().map(TryInto::try_into).collect()
}

/// Warm alarms of a place whose spell touches a stretch, over or not.
pub fn warm_between(
    reading: &mut Reading<'_>,
    place: &str,
    from: Instant,
    to: Instant,
) -> Result<Vec<Alarm>, StoreError> {
    let rows: Vec<AlarmRow> = alarms::table
        .filter(alarms::kind.eq(Kind::PlaceTooWarm.as_str()))
        .filter(alarms::place_code.eq(place))
        .filter(alarms::since.le(to.micros()))
        .filter(alarms::ended_at.is_null().or(alarms::ended_at.ge(from.micros())))
        .order(alarms::id)
        .load(reading.conn)?;
    rows.into_iter().map(TryInto::try_into).collect()
}

/// Trays that ever had an alarm of a kind.
pub fn trays_with(reading: &mut Reading<'_>, kind: Kind) -> Result<Vec<i64>, StoreError> {
    let rows: Vec<Option<i64>> =
        alarms::table.filter(alarms::kind.eq(kind.as_str())).select(alarms::tray_id).load(reading.conn)?;
    Ok(rows.into_iter().flatten().collect())
}
