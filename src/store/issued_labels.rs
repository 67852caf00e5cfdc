//! What was issued and marked down and counted: the records beside a tray that are written once.

use super::error::StoreError;
use super::prepared::on_either;
use super::read::Reading;
use super::schema::reviewing::markdowns_undone;
use super::schema::{count_lines, issued_labels, markdowns, trays};
use super::trays::instant;
use super::write::Tx;
use crate::domain::label_fields::Template;
use crate::domain::tray::{Kind, LabelReason};
use crate::units::instant::Instant;
use crate::units::mass::Grams;
use crate::units::money::PricePerKg;
use diesel::prelude::*;

/// A label as it was issued: what stands on it, whatever became of the tray since.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct IssuedLabel {
    pub act_id: i64,
    pub tray_id: i64,
    pub at: Instant,
    pub reason: LabelReason,
    pub template: Template,
    /// None on the label of a frozen bulk tray.
    pub use_by: Option<Instant>,
    /// When the life ended as reckoned then.
    pub life_ends: Option<Instant>,
    pub net: Grams,
    pub price: PricePerKg,
    pub list_price: PricePerKg,
    pub markdown_reason: Option<String>,
    /// The article number in its code.
    pub article: String,
    /// Word for word what it says, as `ops` writes it.
    pub says: String,
}

/// Records a label.
pub fn insert(tx: &mut Tx<'_>, label: &IssuedLabel) -> Result<(), StoreError> {
    let row = (
        issued_labels::act_id.eq(label.act_id),
        issued_labels::tray_id.eq(label.tray_id),
        issued_labels::at.eq(label.at.micros()),
        issued_labels::reason.eq(label.reason.as_str()),
        issued_labels::use_by.eq(label.use_by.map(Instant::micros)),
        issued_labels::life_ends_at.eq(label.life_ends.map(Instant::micros)),
        issued_labels::net_g.eq(label.net.get()),
        issued_labels::price_per_kg_cents.eq(label.price.get()),
        issued_labels::list_price_per_kg_cents.eq(label.list_price.get()),
        issued_labels::markdown_reason.eq(label.markdown_reason.as_deref()),
        issued_labels::template.eq(label.template.as_str()),
        issued_labels::article.eq(&label.article),
        issued_labels::says.eq(&label.says),
    );
    diesel::insert_into(issued_labels::table).values(row).execute(tx.changing())?;
    Ok(())
}

type Columns = (
    issued_labels::act_id,
    issued_labels::tray_id,
    issued_labels::at,
    issued_labels::reason,
    issued_labels::use_by,
    issued_labels::life_ends_at,
    issued_labels::net_g,
    issued_labels::price_per_kg_cents,
    issued_labels::list_price_per_kg_cents,
    issued_labels::markdown_reason,
    issued_labels::template,
    issued_labels::article,
    issued_labels::says,
);

const COLUMNS: Columns = (
    issued_labels::act_id,
    issued_labels::tray_id,
    issued_labels::at,
    issued_labels::reason,
    issued_labels::use_by,
    issued_labels::life_ends_at,
    issued_labels::net_g,
    issued_labels::price_per_kg_cents,
    issued_labels::list_price_per_kg_cents,
    issued_labels::markdown_reason,
    issued_labels::template,
    issued_labels::article,
    issued_labels::says,
);

/// The labels of a tray, the latest last.
pub fn of_tray(reading: &mut Reading<'_>, tray_id: i64) -> Result<Vec<IssuedLabel>, StoreError> {
    let query = issued_labels::table
        .filter(issued_labels::tray_id.eq(tray_id))
        .order((issued_labels::at, issued_labels::id))
        .select(COLUMNS);
    let rows: Vec<Row> = on_either!(reading.conn, own => query.load(own))?;
    rows.into_iter().map(Row::label).collect()
}

/// The latest label of a tray, the one that should be on it.
pub fn newest(reading: &mut Reading<'_>, tray_id: i64) -> Result<Option<IssuedLabel>, StoreError> {
    Ok(of_tray(reading, tray_id)?.pop())
}

/// Every label of the blocks of a cut that are in stock, or went since, tray by tray, the latest of each last.
pub fn of_blocks(reading: &mut Reading<'_>, cut: &str, since: Instant) -> Result<Vec<IssuedLabel>, StoreError> {
    let rows: Vec<Row> = issued_labels::table
        .inner_join(trays::table.on(trays::id.eq(issued_labels::tray_id)))
        .filter(trays::cut_code.eq(cut).and(trays::kind.eq(Kind::Block.as_str())))
        .filter(trays::fate.is_null().or(trays::gone_at.ge(since.micros())))
        .order((issued_labels::tray_id, issued_labels::at, issued_labels::id))
        .select(COLUMNS)
        .load(reading.conn)?;
    rows.into_iter().map(Row::label).collect()
}

#[derive(Queryable)]
struct Row {
    act_id: i64,
    tray_id: i64,
    at: i64,
    reason: String,
    use_by: Option<i64>,
    life_ends_at: Option<i64>,
    net_g: i64,
    price_per_kg_cents: i64,
    list_price_per_kg_cents: i64,
    markdown_reason: Option<String>,
    template: String,
    article: String,
    says: String,
}

impl Row {
    fn label(self) -> Result<IssuedLabel, StoreError> {
        let mass = |grams| Grams::new(grams).map_err(|e| StoreError::impossible("mass", e));
        let price = |cents| PricePerKg::new(cents).map_err(|e| StoreError::impossible("price", e));
        let unknown = |what: &str| StoreError::impossible("label", what);
        Ok(IssuedLabel {
            act_id: self.act_id,
            tray_id: self.tray_id,
            at: instant(self.at)?,
            reason: LabelReason::parse(&self.reason).ok_or_else(|| unknown(&self.reason))?,
            template: Template::parse(&self.template).ok_or_else(|| unknown(&self.template))?,
            use_by: self.use_by.map(instant).transpose()?,
            life_ends: self.life_ends_at.map(instant).transpose()?,
            net: mass(self.net_g)?,
            price: price(self.price_per_kg_cents)?,
            list_price: price(self.list_price_per_kg_cents)?,
            markdown_reason: self.markdown_reason,
            article: self.article,
            says: self.says,
        })
    }
}

/// How many labels a tray has had.
pub fn count_of_tray(reading: &mut Reading<'_>, tray_id: i64) -> Result<i64, StoreError> {
    Ok(issued_labels::table.filter(issued_labels::tray_id.eq(tray_id)).count().get_result(reading.conn)?)
}

pub fn insert_markdown(
    tx: &mut Tx<'_>,
    act_id: i64,
    tray_id: i64,
    at: Instant,
    old: PricePerKg,
    new: PricePerKg,
    reason: &str,
) -> Result<(), StoreError> {
    let row = (
        markdowns::act_id.eq(act_id),
        markdowns::tray_id.eq(tray_id),
        markdowns::at.eq(at.micros()),
        markdowns::old_price_per_kg_cents.eq(old.get()),
        markdowns::new_price_per_kg_cents.eq(new.get()),
        markdowns::reason.eq(reason),
    );
    diesel::insert_into(markdowns::table).values(row).execute(tx.changing())?;
    Ok(())
}

/// What a tray cost before the first change of its price after an instant; none where there was none after it.
pub fn price_before_markdowns_since(
    reading: &mut Reading<'_>,
    tray_id: i64,
    at: Instant,
) -> Result<Option<PricePerKg>, StoreError> {
    let lowered: Option<(i64, i64)> = markdowns::table
        .filter(markdowns::tray_id.eq(tray_id))
        .filter(markdowns::at.gt(at.micros()))
        .order(markdowns::id)
        .select((markdowns::at, markdowns::old_price_per_kg_cents))
        .first(reading.conn)
        .optional()?;
    let put_back: Option<(i64, i64)> = markdowns_undone::table
        .inner_join(markdowns::table.on(markdowns::id.eq(markdowns_undone::markdown_id)))
        .filter(markdowns::tray_id.eq(tray_id))
        .filter(markdowns_undone::at.gt(at.micros()))
        .order(markdowns_undone::at)
        .select((markdowns_undone::at, markdowns::new_price_per_kg_cents))
        .first(reading.conn)
        .optional()?;
    let first = [lowered, put_back].into_iter().flatten().min_by_key(|(at, _)| *at);
    first.map(|(_, cents)| PricePerKg::new(cents).map_err(|e| StoreError::impossible("price", e))).transpose()
}

/// A markdown as it was made.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Markdown {
    pub id: i64,
    pub act_id: i64,
    pub old: PricePerKg,
    pub new: PricePerKg,
    pub reason: String,
}

/// The markdowns of a tray that were not taken back, the latest last.
pub fn markdowns_of(reading: &mut Reading<'_>, tray_id: i64) -> Result<Vec<Markdown>, StoreError> {
    let undone = markdowns_undone::table.select(markdowns_undone::markdown_id);
    let rows: Vec<(i64, i64, i64, i64, String)> = markdowns::table
        .filter(markdowns::tray_id.eq(tray_id))
        .filter(markdowns::id.ne_all(undone))
        .order(markdowns::id)
        .select((
            markdowns::id,
            markdowns::act_id,
            markdowns::old_price_per_kg_cents,
            markdowns::new_price_per_kg_cents,
            markdowns::reason,
        ))
        .load(reading.conn)?;
    let price = |cents| PricePerKg::new(cents).map_err(|e| StoreError::impossible("price", e));
    rows.into_iter()
        .map(|(id, act_id, old, new, reason)| Ok(Markdown { id, act_id, old: price(old)?, new: price(new)?, reason }))
        .collect()
}

/// Takes a markdown back: a correction, under the act of undoing its decision.
pub fn undo_markdown(
    tx: &mut Tx<'_>,
    markdown_id: i64,
    act_id: i64,
    decision_id: i64,
    at: Instant,
) -> Result<(), StoreError> {
    let row = (
        markdowns_undone::markdown_id.eq(markdown_id),
        markdowns_undone::act_id.eq(act_id),
        markdowns_undone::decision_id.eq(decision_id),
        markdowns_undone::at.eq(at.micros()),
    );
    diesel::insert_into(markdowns_undone::table).values(row).execute(tx.changing())?;
    Ok(())
}

pub fn insert_count(tx: &mut Tx<'_>, act_id: i64, tray_id: i64, book_g: i64, counted_g: i64) -> Result<(), StoreError> {
    let row = (
        count_lines::act_id.eq(act_id),
        count_lines::tray_id.eq(tray_id),
        count_lines::book_g.eq(book_g),
        count_lines::counted_g.eq(counted_g),
    );
    diesel::insert_into(count_lines::table).values(row).execute(tx.changing())?;
    Ok(())
}
