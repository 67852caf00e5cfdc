//! How the statements of every sale stay prepared between two sales. The tables and what is asked of them stand in the other files.
//!
//! Diesel can find a prepared statement by the type of its query, without writing the text. Two things keep it from that: the
//! connection enum, through which the text is written anew at each execution, and updates, whose text diesel takes for changing.

use diesel::QueryResult;
use diesel::RunQueryDsl;
use diesel::backend::Backend;
use diesel::query_builder::{AstPass, QueryFragment, QueryId};
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

/// An update whose text is always the same: one form of set clause, one form of filter. `Name` is a type of its own for each such
/// update; two updates under one name would be taken for each other.
pub struct OneText<Name, Update> {
    update: Update,
    name: PhantomData<Name>,
}

impl<Name, Update> OneText<Name, Update> {
    pub const fn of(_: Name, update: Update) -> Self
    where
        Name: Copy,
    {
        OneText { update, name: PhantomData }
    }
}

impl<Name: 'static, Update> QueryId for OneText<Name, Update> {
    type QueryId = OneText<Name, ()>;
    const HAS_STATIC_QUERY_ID: bool = true;
}

impl<Name, Update, DB> QueryFragment<DB> for OneText<Name, Update>
where
    DB: Backend,
    Update: QueryFragment<DB>,
{
    fn walk_ast<'b>(&'b self, pass: AstPass<'_, 'b, DB>) -> QueryResult<()> {
        self.update.walk_ast(pass)
    }

    fn is_safe_to_cache_prepared(&self, _: &DB) -> QueryResult<bool> {
        Ok(true)
    }
}

impl<Name, Update, Conn> RunQueryDsl<Conn> for OneText<Name, Update> {}
