//! A statement whose text never changes and that stays prepared: `?` stands for each value, in their order. See `store/prepared.rs` for why
//! diesel has to be told.

use diesel::backend::Backend;
use diesel::pg::Pg;
use diesel::query_builder::{AstPass, Query, QueryFragment, QueryId};
use diesel::sql_types::{Array, BigInt, Nullable, Text};
use diesel::sqlite::Sqlite;
use diesel::{QueryResult, RunQueryDsl};
use std::marker::PhantomData;

/// `Name` is a type of its own for each statement; two under one name would be taken for each other.
pub struct Fixed<Name, Row, Value> {
    text: &'static str,
    values: Vec<Value>,
    kind: PhantomData<(Name, Row)>,
}

/// What PostgreSQL is handed.
pub enum PgValue {
    Number(i64),
    Numbers(Vec<i64>),
    MaybeNumbers(Vec<Option<i64>>),
    Texts(Vec<String>),
    MaybeTexts(Vec<Option<String>>),
}

/// What SQLite is handed.
pub enum SqliteValue {
    Text(String),
}

impl<Name, Row, Value> Fixed<Name, Row, Value> {
    pub const fn new(text: &'static str, values: Vec<Value>) -> Fixed<Name, Row, Value> {
        Fixed { text, values, kind: PhantomData }
    }
}

impl<Name: 'static, Row, Value> QueryId for Fixed<Name, Row, Value> {
    type QueryId = Fixed<Name, (), ()>;
    const HAS_STATIC_QUERY_ID: bool = true;
}

impl<Name, Row, Value> Query for Fixed<Name, Row, Value> {
    type SqlType = Row;
}

impl<Name, Row, Value, Conn> RunQueryDsl<Conn> for Fixed<Name, Row, Value> {}

/// Text and values in turn.
fn walk<'b, DB: Backend, Value>(
    text: &'static str,
    values: &'b [Value],
    mut pass: AstPass<'_, 'b, DB>,
    mut bind: impl FnMut(&'b Value, AstPass<'_, 'b, DB>) -> QueryResult<()>,
) -> QueryResult<()> {
    let mut values = values.iter();
    for (index, piece) in text.split('?').enumerate() {
        if index > 0
            && let Some(value) = values.next()
        {
            bind(value, pass.reborrow())?;
        }
        pass.push_sql(piece);
    }
    Ok(())
}

impl<Name, Row> QueryFragment<Pg> for Fixed<Name, Row, PgValue> {
    fn walk_ast<'b>(&'b self, pass: AstPass<'_, 'b, Pg>) -> QueryResult<()> {
        walk(self.text, &self.values, pass, |value, mut pass| match value {
            PgValue::Number(number) => pass.push_bind_param::<BigInt, _>(number),
            PgValue::Numbers(numbers) => pass.push_bind_param::<Array<BigInt>, _>(numbers),
            PgValue::MaybeNumbers(numbers) => pass.push_bind_param::<Array<Nullable<BigInt>>, _>(numbers),
            PgValue::Texts(texts) => pass.push_bind_param::<Array<Text>, _>(texts),
            PgValue::MaybeTexts(texts) => pass.push_bind_param::<Array<Nullable<Text>>, _>(texts),
        })
    }
}

impl<Name, Row> QueryFragment<Sqlite> for Fixed<Name, Row, SqliteValue> {
    fn walk_ast<'b>(&'b self, pass: AstPass<'_, 'b, Sqlite>) -> QueryResult<()> {
        walk(self.text, &self.values, pass, |value, mut pass| match value {
            SqliteValue::Text(text) => pass.push_bind_param::<Text, _>(text),
        })
    }
}
