//! Labels on their way to a printer. What may become of one is decided in `domain::printing`.

use super::error::StoreError;
use super::read::Reading;
use super::schema::prints;
use super::trays::instant;
use super::write::Tx;
use crate::domain::printing::{Print, State};
use crate::units::instant::Instant;
use diesel::prelude::*;

#[derive(Queryable)]
struct PrintRow {
    id: i64,
    act_id: i64,
    tray_id: i64,
    printer: String,
    copies: i64,
    wanted_at: i64,
    state: String,
    reasons: String,
    job_id: Option<i64>,
    job_uri: Option<String>,
    attempts: i64,
    next_try_at: i64,
    reason: Option<String>,
    actor: String,
    finished_at: Option<i64>,
    cancel_by: Option<String>,
}

impl TryFrom<PrintRow> for Print {
    type Error = StoreError;

    fn try_from(row: PrintRow) -> Result<Print, StoreError> {
        Ok(Print {
            id: row.id,
            act_id: row.act_id,
            tray_id: row.tray_id,
            printer: row.printer,
            copies: row.copies,
            wanted_at: instant(row.wanted_at)?,
            state: State::parse(&row.state).ok_or_else(|| StoreError::impossible("state of print", &row.state))?,
            reasons: row.reasons,
            job_id: row.job_id,
            job_uri: row.job_uri,
            attempts: row.attempts,
            next_try_at: instant(row.next_try_at)?,
            reason: row.reason,
            actor: row.actor,
            finished_at: row.finished_at.map(instant).transpose()?,
            cancel_by: row.cancel_by,
        })
    }
}

/// What is asked for when a label is queued.
#[derive(Debug, Clone, Copy)]
pub struct NewPrint<'a> {
    pub act_id: i64,
    pub tray_id: i64,
    pub printer: &'a str,
    pub copies: i64,
    pub wanted_at: Instant,
    pub reason: Option<&'a str>,
    pub actor: &'a str,
}

/// Puts a label into the queue; gives its number.
pub fn insert(tx: &mut Tx<'_>, new: &NewPrint<'_>) -> Result<i64, StoreError> {
    let row = (
        prints::act_id.eq(new.act_id),
        prints::tray_id.eq(new.tray_id),
        prints::printer.eq(new.printer),
        prints::copies.eq(new.copies),
        prints::wanted_at.eq(new.wanted_at.micros()),
        prints::state.eq(State::Waiting.as_str()),
        prints::reasons.eq(""),
        prints::attempts.eq(0),
        prints::next_try_at.eq(new.wanted_at.micros()),
        prints::reason.eq(new.reason),
        prints::actor.eq(new.actor),
    );
    Ok(diesel::insert_into(prints::table).values(row).returning(prints::id).get_result(tx.changing())?)
}

/// Writes a changed print.
pub fn save(tx: &mut Tx<'_>, print: &Print) -> Result<(), StoreError> {
    let set = (
        prints::state.eq(print.state.as_str()),
        prints::reasons.eq(&print.reasons),
        prints::job_id.eq(print.job_id),
        prints::job_uri.eq(&print.job_uri),
        prints::attempts.eq(print.attempts),
        prints::next_try_at.eq(print.next_try_at.micros()),
        prints::finished_at.eq(print.finished_at.map(Instant::micros)),
        prints::cancel_by.eq(&print.cancel_by),
    );
    diesel::update(prints::table.filter(prints::id.eq(print.id))).set(set).execute(tx.changing())?;
    Ok(())
}

fn read(rows: Vec<PrintRow>) -> Result<Vec<Print>, StoreError> {
    rows.into_iter().map(TryInto::try_into).collect()
}

pub fn find(reading: &mut Reading<'_>, id: i64) -> Result<Option<Print>, StoreError> {
    let row: Option<PrintRow> = prints::table.filter(prints::id.eq(id)).get_result(reading.conn).optional()?;
    row.map(TryInto::try_into).transpose()
}

/// Whether a label that an act issued was ever queued.
pub fn was_queued(reading: &mut Reading<'_>, act_id: i64) -> Result<bool, StoreError> {
    let count: i64 = prints::table.filter(prints::act_id.eq(act_id)).count().get_result(reading.conn)?;
    Ok(count > 0)
}

/// What is not over yet, of all printers, the oldest first.
pub fn open(reading: &mut Reading<'_>) -> Result<Vec<Print>, StoreError> {
    read(prints::table.filter(prints::finished_at.is_null()).order(prints::id).load(reading.conn)?)
}

/// The same of one printer.
pub fn open_of(reading: &mut Reading<'_>, printer: &str) -> Result<Vec<Print>, StoreError> {
    let of_printer = prints::table.filter(prints::finished_at.is_null()).filter(prints::printer.eq(printer));
    read(of_printer.order(prints::id).load(reading.conn)?)
}

/// Prints of a state or of all, the newest first, below a number.
pub fn page(
    reading: &mut Reading<'_>,
    state: Option<State>,
    below: Option<i64>,
    limit: i64,
) -> Result<Vec<Print>, StoreError> {
    let below = prints::table.filter(prints::id.lt(below.unwrap_or(i64::MAX)));
    let newest = below.order(prints::id.desc()).limit(limit);
    read(match state {
        Some(state) => newest.filter(prints::state.eq(state.as_str())).load(reading.conn)?,
        None => newest.load(reading.conn)?,
    })
}
