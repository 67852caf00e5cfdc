//! Pick lists, their trays, and what they passed over. Which trays are chosen is decided in `domain::picking`.

use super::error::StoreError;
use super::read::Reading;
use super::schema::picking::{pick_lines, pick_lists, pick_passed};
use super::schema::trays;
use super::trays::instant;
use super::write::Tx;
use crate::domain::picking::list::{Asked, Line, LineState, PickList, Purpose, Reserving, State};
use crate::domain::picking::{Ask, Choice, Rule, Why, Window};
use crate::units::instant::Instant;
use crate::units::money::PricePerKg;
use diesel::prelude::*;

#[derive(Queryable)]
struct ListRow {
    id: i64,
    _act_id: i64,
    purpose: String,
    place_code: Option<String>,
    cut_code: Option<String>,
    rule: String,
    choice: String,
    count: Option<i64>,
    low_g: Option<i64>,
    high_g: Option<i64>,
    least_hours: i64,
    highest_price_per_kg_cents: Option<i64>,
    needed_at: Option<i64>,
    note: Option<String>,
    made_at: i64,
    made_by: String,
    touched_at: i64,
    state: String,
    ended_at: Option<i64>,
    ended_by: Option<String>,
}

#[derive(Queryable)]
struct LineRow {
    id: i64,
    _list_id: i64,
    tray_id: i64,
    grams: i64,
    state: String,
    picked_at: Option<i64>,
    picked_by: Option<String>,
    replaced_by: Option<i64>,
}

impl ListRow {
    fn asked(&self) -> Result<Asked, StoreError> {
        let price = |cents| PricePerKg::new(cents).map_err(|e| StoreError::impossible("price", e));
        let ask = match (self.count, self.low_g.zip(self.high_g)) {
            (Some(count), _) => Some(Ask::Count(usize::try_from(count).unwrap_or(0))),
            (None, Some((low, high))) => Some(Ask::Weight(Window { low, high })),
            (None, None) => None,
        };
        Ok(Asked {
            purpose: Purpose::parse(&self.purpose).ok_or_else(|| StoreError::impossible("purpose", &self.purpose))?,
            place: self.place_code.clone(),
            cut: self.cut_code.clone(),
            rule: Rule::parse(&self.rule).ok_or_else(|| StoreError::impossible("rule", &self.rule))?,
            choice: Choice::parse(&self.choice).ok_or_else(|| StoreError::impossible("choice", &self.choice))?,
            ask,
            least_hours: self.least_hours,
            highest_price: self.highest_price_per_kg_cents.map(price).transpose()?,
            needed_at: self.needed_at.map(instant).transpose()?,
            note: self.note.clone(),
        })
    }
}

impl TryFrom<LineRow> for Line {
    type Error = StoreError;

    fn try_from(row: LineRow) -> Result<Line, StoreError> {
        Ok(Line {
            id: row.id,
            tray_id: row.tray_id,
            grams: row.grams,
            state: LineState::parse(&row.state).ok_or_else(|| StoreError::impossible("state of line", &row.state))?,
            picked_at: row.picked_at.map(instant).transpose()?,
            picked_by: row.picked_by,
            replaced_by: row.replaced_by,
        })
    }
}

fn whole(reading: &mut Reading<'_>, row: ListRow) -> Result<PickList, StoreError> {
    let lines: Vec<LineRow> =
        pick_lines::table.filter(pick_lines::list_id.eq(row.id)).order(pick_lines::id).load(reading.conn)?;
    let passed: Vec<(i64, String, Option<i64>)> = pick_passed::table
        .filter(pick_passed::list_id.eq(row.id))
        .order(pick_passed::tray_id)
        .select((pick_passed::tray_id, pick_passed::why, pick_passed::other_list_id))
        .load(reading.conn)?;
    let why = |(tray, why, list): (i64, String, Option<i64>)| {
        Ok((tray, Why::parse(&why, list).ok_or_else(|| StoreError::impossible("why", &why))?))
    };
    Ok(PickList {
        asked: row.asked()?,
        id: row.id,
        made_at: instant(row.made_at)?,
        touched_at: instant(row.touched_at)?,
        state: State::parse(&row.state).ok_or_else(|| StoreError::impossible("state of list", &row.state))?,
        ended_at: row.ended_at.map(instant).transpose()?,
        made_by: row.made_by,
        ended_by: row.ended_by,
        lines: lines.into_iter().map(TryInto::try_into).collect::<Result<_, StoreError>>()?,
        passed: passed.into_iter().map(why).collect::<Result<_, StoreError>>()?,
    })
}

pub fn find(reading: &mut Reading<'_>, id: i64) -> Result<Option<PickList>, StoreError> {
    let row: Option<ListRow> = pick_lists::table.filter(pick_lists::id.eq(id)).get_result(reading.conn).optional()?;
    row.map(|row| whole(reading, row)).transpose()
}

/// All open lists, oldest first.
pub fn open(reading: &mut Reading<'_>) -> Result<Vec<PickList>, StoreError> {
    let open = pick_lists::table.filter(pick_lists::state.eq(State::Open.as_str())).order(pick_lists::id);
    let rows: Vec<ListRow> = open.load(reading.conn)?;
    rows.into_iter().map(|row| whole(reading, row)).collect()
}

#[derive(Queryable)]
struct StandingRow {
    tray_id: i64,
    list_id: i64,
    line_id: i64,
    purpose: String,
    state: String,
    touched_at: i64,
    needed_at: Option<i64>,
}

/// A tray on a list.
#[derive(Debug, Clone, Copy)]
pub struct Standing {
    pub tray_id: i64,
    pub list_id: i64,
    pub line_id: i64,
    pub list: Reserving,
}

/// Which trays in stock stand, wanted or picked, on lists that were not given up.
pub fn standing(reading: &mut Reading<'_>) -> Result<Vec<Standing>, StoreError> {
    let held = [LineState::Wanted.as_str(), LineState::Picked.as_str()];
    let rows: Vec<StandingRow> = pick_lines::table
        .inner_join(pick_lists::table.on(pick_lists::id.eq(pick_lines::list_id)))
        .inner_join(trays::table.on(trays::id.eq(pick_lines::tray_id)))
        .filter(pick_lists::state.ne(State::GivenUp.as_str()))
        .filter(pick_lines::state.eq_any(held))
        .filter(trays::fate.is_null())
        .select((
            pick_lines::tray_id,
            pick_lists::id,
            pick_lines::id,
            pick_lists::purpose,
            pick_lists::state,
            pick_lists::touched_at,
            pick_lists::needed_at,
        ))
        .load(reading.conn)?;
    let standing = |row: StandingRow| {
        let list = Reserving {
            purpose: Purpose::parse(&row.purpose).ok_or_else(|| StoreError::impossible("purpose", &row.purpose))?,
            state: State::parse(&row.state).ok_or_else(|| StoreError::impossible("state of list", &row.state))?,
            touched_at: instant(row.touched_at)?,
            needed_at: row.needed_at.map(instant).transpose()?,
        };
        Ok(Standing { tray_id: row.tray_id, list_id: row.list_id, line_id: row.line_id, list })
    };
    rows.into_iter().map(standing).collect()
}

/// Begins a list and gives its number.
pub fn insert(tx: &mut Tx<'_>, act_id: i64, asked: &Asked, at: Instant, by: &str) -> Result<i64, StoreError> {
    let wanted = (
        pick_lists::purpose.eq(asked.purpose.as_str()),
        pick_lists::place_code.eq(&asked.place),
        pick_lists::cut_code.eq(&asked.cut),
        pick_lists::rule.eq(asked.rule.as_str()),
        pick_lists::choice.eq(asked.choice.as_str()),
        pick_lists::count.eq(asked.count().and_then(|count| i64::try_from(count).ok())),
        pick_lists::low_g.eq(asked.window().map(|window| window.low)),
        pick_lists::high_g.eq(asked.window().map(|window| window.high)),
        pick_lists::least_hours.eq(asked.least_hours),
        pick_lists::highest_price_per_kg_cents.eq(asked.highest_price.map(PricePerKg::get)),
        pick_lists::needed_at.eq(asked.needed_at.map(Instant::micros)),
        pick_lists::note.eq(&asked.note),
    );
    let about = (
        pick_lists::act_id.eq(act_id),
        pick_lists::made_at.eq(at.micros()),
        pick_lists::made_by.eq(by),
        pick_lists::touched_at.eq(at.micros()),
        pick_lists::state.eq(State::Open.as_str()),
    );
    let insert = diesel::insert_into(pick_lists::table).values((wanted, about)).returning(pick_lists::id);
    Ok(insert.get_result(tx.changing())?)
}

/// Puts a tray on a list and gives the number of its line.
pub fn add_line(tx: &mut Tx<'_>, list: i64, tray: i64, grams: i64) -> Result<i64, StoreError> {
    let row = (
        pick_lines::list_id.eq(list),
        pick_lines::tray_id.eq(tray),
        pick_lines::grams.eq(grams),
        pick_lines::state.eq(LineState::Wanted.as_str()),
    );
    Ok(diesel::insert_into(pick_lines::table).values(row).returning(pick_lines::id).get_result(tx.changing())?)
}

/// A line as it stands from now on.
pub fn save_line(tx: &mut Tx<'_>, line: &Line) -> Result<(), StoreError> {
    let row = (
        pick_lines::state.eq(line.state.as_str()),
        pick_lines::picked_at.eq(line.picked_at.map(Instant::micros)),
        pick_lines::picked_by.eq(&line.picked_by),
        pick_lines::replaced_by.eq(line.replaced_by),
    );
    diesel::update(pick_lines::table.filter(pick_lines::id.eq(line.id))).set(row).execute(tx.changing())?;
    Ok(())
}

/// A line that lost its tray to another list.
pub fn lose_line(tx: &mut Tx<'_>, line: i64) -> Result<(), StoreError> {
    let lost = pick_lines::table.filter(pick_lines::id.eq(line));
    diesel::update(lost).set(pick_lines::state.eq(LineState::Gone.as_str())).execute(tx.changing())?;
    Ok(())
}

/// What a list passed over, instead of what it said before.
pub fn replace_passed(tx: &mut Tx<'_>, list: i64, passed: &[(i64, Why)]) -> Result<(), StoreError> {
    diesel::delete(pick_passed::table.filter(pick_passed::list_id.eq(list))).execute(tx.changing())?;
    for (tray, why) in passed {
        let row = (
            pick_passed::list_id.eq(list),
            pick_passed::tray_id.eq(tray),
            pick_passed::why.eq(why.as_str()),
            pick_passed::other_list_id.eq(why.list()),
        );
        diesel::insert_into(pick_passed::table).values(row).execute(tx.changing())?;
    }
    Ok(())
}

/// Someone did something with a list: it reserves on from now. `count` is how many trays it is about by now, if it counts them.
pub fn touch(tx: &mut Tx<'_>, list: i64, at: Instant, count: Option<usize>) -> Result<(), StoreError> {
    let count = count.and_then(|count| i64::try_from(count).ok());
    let touched = pick_lists::table.filter(pick_lists::id.eq(list));
    let row = (pick_lists::touched_at.eq(at.micros()), pick_lists::count.eq(count));
    diesel::update(touched).set(row).execute(tx.changing())?;
    Ok(())
}

/// Ends a list.
pub fn end(tx: &mut Tx<'_>, list: i64, state: State, at: Instant, by: &str) -> Result<(), StoreError> {
    let row = (pick_lists::state.eq(state.as_str()), pick_lists::ended_at.eq(at.micros()), pick_lists::ended_by.eq(by));
    diesel::update(pick_lists::table.filter(pick_lists::id.eq(list))).set(row).execute(tx.changing())?;
    Ok(())
}
