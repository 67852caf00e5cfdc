//! Exceptions: what a replayed sale contradicted, open until a manager has settled it.

use super::error::StoreError;
use super::read::Reading;
use super::schema::offline::{exception_findings, exceptions};
use super::trays::instant;
use super::write::Tx;
use crate::domain::replay::{Contradiction, Finding, Settlement, Way};
use crate::units::instant::Instant;
use diesel::prelude::*;

/// An exception as it is kept.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Exception {
    pub id: i64,
    pub sale_id: i64,
    /// 0 for the sale as a whole.
    pub line_number: i64,
    pub tray_id: Option<i64>,
    pub scanned: String,
    pub claimed_g: Option<i64>,
    pub moved_g: i64,
    /// None when nobody knows how much.
    pub missing_g: Option<i64>,
    pub price_cents: i64,
    pub happened_at: Instant,
    pub device_time: Instant,
    pub received_at: Instant,
    pub till: String,
    /// The gravest first.
    pub findings: Vec<Finding>,
    pub resolution: Option<Resolution>,
}

/// How it was settled.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Resolution {
    pub act_id: i64,
    pub at: Instant,
    pub by: String,
    pub way: Way,
    pub note: Option<String>,
    /// What it moved to the customer.
    pub settled_g: i64,
    pub other_tray_id: Option<i64>,
}

/// One to be written down.
#[derive(Debug, Clone)]
pub struct NewException<'a> {
    pub sale_id: i64,
    pub line_number: i64,
    pub tray_id: Option<i64>,
    pub scanned: &'a str,
    pub claimed_g: Option<i64>,
    pub price_cents: i64,
    pub happened_at: Instant,
    pub device_time: Instant,
    pub received_at: Instant,
    pub till: &'a str,
    pub settlement: &'a Settlement,
}

pub fn insert(tx: &mut Tx<'_>, new: &NewException<'_>) -> Result<(), StoreError> {
    let findings = &new.settlement.findings;
    let gravest =
        findings.first().ok_or_else(|| StoreError::impossible("exception without a finding, sale", new.sale_id))?;
    let row = (
        exceptions::sale_id.eq(new.sale_id),
        exceptions::line_number.eq(new.line_number),
        exceptions::code.eq(gravest.what.as_str()),
        exceptions::tray_id.eq(new.tray_id),
        exceptions::scanned.eq(new.scanned),
        exceptions::claimed_g.eq(new.claimed_g),
        exceptions::moved_g.eq(new.settlement.moved.get()),
        exceptions::missing_g.eq(new.settlement.missing.map(|grams| grams.get())),
        exceptions::price_cents.eq(new.price_cents),
        exceptions::happened_at.eq(new.happened_at.micros()),
        exceptions::device_time.eq(new.device_time.micros()),
        exceptions::received_at.eq(new.received_at.micros()),
        exceptions::till.eq(new.till),
        exceptions::settled_g.eq(0_i64),
    );
    let id: i64 =
        diesel::insert_into(exceptions::table).values(row).returning(exceptions::id).get_result(tx.changing())?;
    insert_findings(tx, id, 1, findings)
}

fn insert_findings(tx: &mut Tx<'_>, id: i64, first: i64, findings: &[Finding]) -> Result<(), StoreError> {
    for (position, finding) in (first..).zip(findings) {
        let row = (
            exception_findings::exception_id.eq(id),
            exception_findings::position.eq(position),
            exception_findings::code.eq(finding.what.as_str()),
            exception_findings::reason.eq(&finding.reason),
        );
        diesel::insert_into(exception_findings::table).values(row).execute(tx.changing())?;
    }
    Ok(())
}

/// Adds what was found when it was settled; the gravest of all names the exception.
pub fn add_findings(tx: &mut Tx<'_>, exception: &Exception, more: &[Finding]) -> Result<(), StoreError> {
    let first = i64::try_from(exception.findings.len()).unwrap_or(i64::MAX - 1) + 1;
    insert_findings(tx, exception.id, first, more)?;
    let Some(gravest) = exception.findings.iter().chain(more).map(|finding| finding.what).min() else { return Ok(()) };
    let row = exceptions::table.filter(exceptions::id.eq(exception.id));
    diesel::update(row).set(exceptions::code.eq(gravest.as_str())).execute(tx.changing())?;
    Ok(())
}

#[derive(Queryable)]
struct ExceptionRow {
    id: i64,
    sale_id: i64,
    line_number: i64,
    _code: String,
    tray_id: Option<i64>,
    scanned: String,
    claimed_g: Option<i64>,
    moved_g: i64,
    missing_g: Option<i64>,
    price_cents: i64,
    happened_at: i64,
    device_time: i64,
    received_at: i64,
    till: String,
    act_id: Option<i64>,
    resolved_at: Option<i64>,
    resolved_by: Option<String>,
    way: Option<String>,
    note: Option<String>,
    settled_g: i64,
    other_tray_id: Option<i64>,
}

fn whole(reading: &mut Reading<'_>, row: ExceptionRow) -> Result<Exception, StoreError> {
    let resolution = match (row.act_id, row.resolved_at, row.resolved_by, row.way) {
        (Some(act_id), Some(at), Some(by), Some(way)) => Some(Resolution {
            act_id,
            at: instant(at)?,
            by,
            way: Way::parse(&way).ok_or_else(|| StoreError::impossible("way of a resolution", &way))?,
            note: row.note,
            settled_g: row.settled_g,
            other_tray_id: row.other_tray_id,
        }),
        _ => None,
    };
    Ok(Exception {
        id: row.id,
        sale_id: row.sale_id,
        line_number: row.line_number,
        tray_id: row.tray_id,
        scanned: row.scanned,
        claimed_g: row.claimed_g,
        moved_g: row.moved_g,
        missing_g: row.missing_g,
        price_cents: row.price_cents,
        happened_at: instant(row.happened_at)?,
        device_time: instant(row.device_time)?,
        received_at: instant(row.received_at)?,
        till: row.till,
        findings: findings_of(reading, row.id)?,
        resolution,
    })
}

fn findings_of(reading: &mut Reading<'_>, id: i64) -> Result<Vec<Finding>, StoreError> {
    let rows: Vec<(String, String)> = exception_findings::table
        .filter(exception_findings::exception_id.eq(id))
        .order(exception_findings::position)
        .select((exception_findings::code, exception_findings::reason))
        .load(reading.conn)?;
    let read = |(code, reason): (String, String)| {
        let what = Contradiction::parse(&code).ok_or_else(|| StoreError::impossible("contradiction", &code))?;
        Ok(Finding { what, reason })
    };
    let mut findings: Vec<Finding> = rows.into_iter().map(read).collect::<Result<_, StoreError>>()?;
    findings.sort_by_key(|finding| finding.what);
    Ok(findings)
}

pub fn find(reading: &mut Reading<'_>, id: i64) -> Result<Option<Exception>, StoreError> {
    let row: Option<ExceptionRow> =
        exceptions::table.filter(exceptions::id.eq(id)).get_result(reading.conn).optional()?;
    row.map(|row| whole(reading, row)).transpose()
}

/// Those of a sale, by line.
pub fn of_sale(reading: &mut Reading<'_>, sale_id: i64) -> Result<Vec<Exception>, StoreError> {
    let query = exceptions::table.filter(exceptions::sale_id.eq(sale_id)).order(exceptions::line_number);
    let rows: Vec<ExceptionRow> = query.load(reading.conn)?;
    rows.into_iter().map(|row| whole(reading, row)).collect()
}

/// Which of them a list goes through.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Part {
    Open,
    Resolved,
}

/// Those that are open, or those that are not, the newest first, below a number.
pub fn page(reading: &mut Reading<'_>, part: Part, below: i64, limit: i64) -> Result<Vec<Exception>, StoreError> {
    let below = exceptions::table.filter(exceptions::id.lt(below)).order(exceptions::id.desc()).limit(limit);
    let rows: Vec<ExceptionRow> = match part {
        Part::Open => below.filter(exceptions::resolved_at.is_null()).load(reading.conn)?,
        Part::Resolved => below.filter(exceptions::resolved_at.is_not_null()).load(reading.conn)?,
    };
    rows.into_iter().map(|row| whole(reading, row)).collect()
}

pub fn count_open(reading: &mut Reading<'_>) -> Result<i64, StoreError> {
    Ok(exceptions::table.filter(exceptions::resolved_at.is_null()).count().get_result(reading.conn)?)
}

/// Writes down how an open exception was settled.
pub fn resolve(tx: &mut Tx<'_>, id: i64, resolution: &Resolution) -> Result<(), StoreError> {
    let open = exceptions::table.filter(exceptions::id.eq(id)).filter(exceptions::resolved_at.is_null());
    let set = (
        exceptions::act_id.eq(resolution.act_id),
        exceptions::resolved_at.eq(resolution.at.micros()),
        exceptions::resolved_by.eq(&resolution.by),
        exceptions::way.eq(resolution.way.as_str()),
        exceptions::note.eq(&resolution.note),
        exceptions::settled_g.eq(resolution.settled_g),
        exceptions::other_tray_id.eq(resolution.other_tray_id),
    );
    diesel::update(open).set(set).execute(tx.changing())?;
    Ok(())
}
