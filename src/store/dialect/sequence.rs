//! How the change sequence is read on either database. Each question is a type of its own with one text, so that it stays prepared.
//!
//! On PostgreSQL a change is settled when no transaction that began before or beside its own is still open (of the whole server, for
//! `pg_snapshot_xmin` knows no less): then nothing can come to stand before it any more. With one writer every change is settled.

use diesel::pg::Pg;
use diesel::query_builder::{AstPass, Query, QueryFragment, QueryId};
use diesel::sql_types::{BigInt, Nullable, Text};
use diesel::sqlite::Sqlite;
use diesel::{QueryResult, RunQueryDsl};

const SETTLED: &str = "xact < pg_snapshot_xmin(pg_current_snapshot())::text::bigint + xact_offset()";
const UNSETTLED: &str = "xact >= pg_snapshot_xmin(pg_current_snapshot())::text::bigint + xact_offset()";

/// Settled changes behind a position (transaction, change), with what their acts say, in order.
#[derive(Debug, Clone, Copy)]
pub struct Behind {
    pub xact: i64,
    pub id: i64,
    pub limit: i64,
}

/// What is told of a change: its number and transaction, the act, its kind, when it happened, when it was recorded, who, why, what it
/// takes back, the tray, its offer.
pub type Told = (
    BigInt,
    BigInt,
    Nullable<BigInt>,
    Text,
    Nullable<BigInt>,
    BigInt,
    Nullable<Text>,
    Nullable<Text>,
    Nullable<BigInt>,
    Nullable<Text>,
    Nullable<Text>,
);

const TOLD: &str = "SELECT c.id, c.xact, c.act_id, c.kind, a.at, c.at, a.actor, a.reason, a.reverses_act_id, c.tray_code, c.offer \
                    FROM changes AS c LEFT JOIN acts AS a ON a.id = c.act_id WHERE ";

impl Query for Behind {
    type SqlType = Told;
}

impl QueryId for Behind {
    type QueryId = Behind;
    const HAS_STATIC_QUERY_ID: bool = true;
}

impl QueryFragment<Sqlite> for Behind {
    fn walk_ast<'b>(&'b self, mut pass: AstPass<'_, 'b, Sqlite>) -> QueryResult<()> {
        pass.push_sql(TOLD);
        pass.push_sql("c.id > ");
        pass.push_bind_param::<BigInt, _>(&self.id)?;
        // A bare parameter as the limit would have the statement planned anew for each value of it.
        pass.push_sql(" ORDER BY c.id LIMIT 0 + ");
        pass.push_bind_param::<BigInt, _>(&self.limit)
    }
}

impl QueryFragment<Pg> for Behind {
    fn walk_ast<'b>(&'b self, mut pass: AstPass<'_, 'b, Pg>) -> QueryResult<()> {
        pass.push_sql(TOLD);
        pass.push_sql("(c.xact, c.id) > (");
        pass.push_bind_param::<BigInt, _>(&self.xact)?;
        pass.push_sql(", ");
        pass.push_bind_param::<BigInt, _>(&self.id)?;
        pass.push_sql(") AND c.");
        pass.push_sql(SETTLED);
        pass.push_sql(" ORDER BY c.xact, c.id LIMIT ");
        pass.push_bind_param::<BigInt, _>(&self.limit)
    }
}

/// The newest settled change: transaction, number, when it was recorded.
#[derive(Debug, Clone, Copy)]
pub struct Newest;

impl Query for Newest {
    type SqlType = (BigInt, BigInt, BigInt);
}

impl QueryId for Newest {
    type QueryId = Newest;
    const HAS_STATIC_QUERY_ID: bool = true;
}

impl QueryFragment<Sqlite> for Newest {
    fn walk_ast<'b>(&'b self, mut pass: AstPass<'_, 'b, Sqlite>) -> QueryResult<()> {
        pass.push_sql("SELECT xact, id, at FROM changes ORDER BY id DESC LIMIT 1");
        Ok(())
    }
}

impl QueryFragment<Pg> for Newest {
    fn walk_ast<'b>(&'b self, mut pass: AstPass<'_, 'b, Pg>) -> QueryResult<()> {
        pass.push_sql("SELECT xact, id, at FROM changes WHERE ");
        pass.push_sql(SETTLED);
        pass.push_sql(" ORDER BY xact DESC, id DESC LIMIT 1");
        Ok(())
    }
}

/// Trays with changes that can be seen and are not settled, by number, each with what stood on its shelf before those changes.
#[derive(Debug, Clone, Copy)]
pub struct Unsettled;

impl Query for Unsettled {
    type SqlType = (BigInt, Nullable<Text>);
}

impl QueryId for Unsettled {
    type QueryId = Unsettled;
    const HAS_STATIC_QUERY_ID: bool = true;
}

impl QueryFragment<Sqlite> for Unsettled {
    fn walk_ast<'b>(&'b self, mut pass: AstPass<'_, 'b, Sqlite>) -> QueryResult<()> {
        pass.push_sql("SELECT id, offer FROM changes WHERE FALSE");
        Ok(())
    }
}

impl QueryFragment<Pg> for Unsettled {
    fn walk_ast<'b>(&'b self, mut pass: AstPass<'_, 'b, Pg>) -> QueryResult<()> {
        pass.push_sql("SELECT t.id, (SELECT b.offer FROM changes AS b WHERE b.tray_code = u.tray_code AND b.");
        pass.push_sql(SETTLED);
        pass.push_sql(" ORDER BY b.xact DESC, b.id DESC LIMIT 1) FROM (SELECT DISTINCT tray_code FROM changes WHERE ");
        pass.push_sql(UNSETTLED);
        pass.push_sql(") AS u JOIN trays AS t ON t.code = u.tray_code ORDER BY t.id");
        Ok(())
    }
}

impl<Conn> RunQueryDsl<Conn> for Behind {}
impl<Conn> RunQueryDsl<Conn> for Newest {}
impl<Conn> RunQueryDsl<Conn> for Unsettled {}
