//! How the statements of every sale stay prepared between two sales. The tables and what is asked of them stand in the other files.
//!
//! Diesel can find a prepared statement by the type of its query, without writing the text. Two things keep it from that: the
//! connection enum, through which the text is written anew at each execution, and updates, whose text diesel takes for changing.

use diesel::backend::Backend;
use diesel::query_builder::{AsChangeset, AstPass, QueryFragment, QueryId};
use diesel::sql_types::Bool;
use diesel::{QueryResult, QuerySource, RunQueryDsl, SelectableExpression};
use std::marker::PhantomData;

/// Runs a query on the connection itself, whichever it is. For statements that every sale or request executes; the others go through
/// the enum, which is shorter to compile.
macro_rules! on_either {
    ($connection:expr, $own:ident => $run:expr) => {
        match $connection {
            crate::store::connection::AnyConnection::Sqlite($own) => $run,
            crate::store::connection::AnyConnection::Postgres($own) => $run,
        }
    };
}
pub(super) use on_either;

/// An update whose text is always the same. `Name` is a type of its own for each such update; two under one name would be taken for
/// each other.
pub struct OneText<Name, From, Set, Filter> {
    from: From,
    set: Set,
    filter: Filter,
    name: PhantomData<Name>,
}

/// Updates the rows of `table` that pass `filter`.
pub fn update<Name, Table, Set, Filter>(
    _: Name,
    table: Table,
    filter: Filter,
    set: Set,
) -> OneText<Name, Table::FromClause, Set::Changeset, Filter>
where
    Table: QuerySource,
    Set: AsChangeset<Target = Table>,
    Filter: SelectableExpression<Table, SqlType = Bool>,
{
    OneText { from: table.from_clause(), set: set.as_changeset(), filter, name: PhantomData }
}

impl<Name: 'static, From, Set, Filter> QueryId for OneText<Name, From, Set, Filter> {
    type QueryId = OneText<Name, (), (), ()>;
    const HAS_STATIC_QUERY_ID: bool = true;
}

impl<Name, From, Set, Filter, DB> QueryFragment<DB> for OneText<Name, From, Set, Filter>
where
    DB: Backend,
    From: QueryFragment<DB>,
    Set: QueryFragment<DB>,
    Filter: QueryFragment<DB>,
{
    fn walk_ast<'b>(&'b self, mut pass: AstPass<'_, 'b, DB>) -> QueryResult<()> {
        pass.push_sql("UPDATE ");
        self.from.walk_ast(pass.reborrow())?;
        pass.push_sql(" SET ");
        self.set.walk_ast(pass.reborrow())?;
        pass.push_sql(" WHERE ");
        self.filter.walk_ast(pass)
    }
}

impl<Name, From, Set, Filter, Conn> RunQueryDsl<Conn> for OneText<Name, From, Set, Filter> {}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::store::schema::counters;
    use diesel::connection::InstrumentationEvent;
    use diesel::prelude::*;
    use std::sync::Arc;
    use std::sync::atomic::{AtomicUsize, Ordering};

    struct Count;

    #[test]
    fn an_update_is_prepared_once_and_finds_its_rows_each_time() {
        let mut connection = SqliteConnection::establish(":memory:").unwrap();
        diesel::sql_query("CREATE TABLE counters (name TEXT PRIMARY KEY, value INTEGER)")
            .execute(&mut connection)
            .unwrap();
        diesel::sql_query("INSERT INTO counters VALUES ('a', 0), ('b', 0)").execute(&mut connection).unwrap();
        let kept = Arc::new(AtomicUsize::new(0));
        let heard = Arc::clone(&kept);
        connection.set_instrumentation(move |event: InstrumentationEvent<'_>| {
            if matches!(event, InstrumentationEvent::CacheQuery { .. }) {
                heard.fetch_add(1, Ordering::Relaxed);
            }
        });
        for (name, value) in [("a", 4), ("b", 5), ("c", 6)] {
            let filter = counters::name.eq(name).and(counters::value.eq(0));
            let changed = update(Count, counters::table, filter, counters::value.eq(value)).execute(&mut connection);
            assert_eq!(changed, Ok(usize::from(name != "c")));
        }
        assert_eq!(kept.load(Ordering::Relaxed), 1);
        let values: Vec<i64> =
            counters::table.order(counters::name).select(counters::value).load(&mut connection).unwrap();
        assert_eq!(values, [4, 5]);
    }
}
