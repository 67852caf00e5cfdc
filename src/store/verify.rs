//! What `verify` asks a live database: for each invariant, the rows that break it. The list of invariants and their names is `ops::verify`'s.

use super::dialect;
use super::error::StoreError;
use super::read::Reading;
use diesel::prelude::*;
use diesel::sql_types::{BigInt, Text};

#[derive(QueryableByName)]
struct Row {
    #[diesel(sql_type = Text)]
    what: String,
}

#[derive(QueryableByName)]
struct Count {
    #[diesel(sql_type = BigInt)]
    checked: i64,
}

/// A question: how many things there are to check, and which of them are wrong (`what` says it in words). Both queries are plain SQL
/// that both databases read.
#[derive(Debug, Clone, Copy)]
pub struct Question {
    pub name: &'static str,
    pub count: &'static str,
    pub wrong: &'static str,
}

/// The answer: things checked, and the first wrong ones.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Answer {
    pub checked: i64,
    pub wrong: Vec<String>,
}

/// Asks one question. At most 20 wrong things are listed.
pub fn ask(reading: &mut Reading<'_>, question: &Question) -> Result<Answer, StoreError> {
    dialect::be_patient(reading.conn)?;
    let count = diesel::sql_query(format!("SELECT COUNT(*) AS checked FROM ({}) AS things", question.count))
        .get_result::<Count>(reading.conn)?;
    let wrong = diesel::sql_query(format!("{} LIMIT 20", question.wrong)).load::<Row>(reading.conn)?;
    Ok(Answer { checked: count.checked, wrong: wrong.into_iter().map(|row| row.what).collect() })
}
