//! Everything a database holds, table by table, read beside the server: two readings are equal only if nothing was written between.

use std::collections::BTreeMap;

use diesel::prelude::*;
use diesel::sql_types::Text;
use diesel::{PgConnection, SqliteConnection, sql_query};

#[derive(QueryableByName)]
struct Line {
    #[diesel(sql_type = Text)]
    line: String,
}

/// An open look at the database of a running server.
pub enum Contents {
    Sqlite(SqliteConnection, Vec<(String, String)>),
    Postgres(PgConnection, Vec<(String, String)>),
}

impl Contents {
    /// Opens the database that `--database` names.
    pub fn open(database: &str) -> Contents {
        if database.starts_with("postgres") {
            let mut connection = PgConnection::establish(database).expect("the server's database");
            let tables = "SELECT tablename::text AS line FROM pg_tables WHERE schemaname = 'public' ORDER BY 1";
            let queries = lines(sql_query(tables).load(&mut connection));
            let queries = queries.into_iter().map(|table| {
                let rows = format!(
                    "SELECT coalesce(string_agg(t::text, E'\\n' ORDER BY t::text), '') AS line FROM \"{table}\" t"
                );
                (table, rows)
            });
            let queries = queries.collect();
            return Contents::Postgres(connection, queries);
        }
        let mut connection = SqliteConnection::establish(database).expect("the server's database");
        let tables = "SELECT name AS line FROM sqlite_master WHERE type = 'table' ORDER BY 1";
        let mut queries = Vec::new();
        for table in lines(sql_query(tables).load(&mut connection)) {
            let columns = format!(
                "SELECT group_concat('quote(\"' || name || '\")', '||''|''||') AS line FROM pragma_table_info('{table}')"
            );
            let row = lines(sql_query(columns).load(&mut connection)).concat();
            let rows = format!(
                "SELECT coalesce(group_concat(r, char(10)), '') AS line FROM (SELECT {row} AS r FROM \"{table}\" ORDER BY 1)"
            );
            queries.push((table, rows));
        }
        Contents::Sqlite(connection, queries)
    }

    /// All rows of all tables, by table.
    pub fn read(&mut self) -> BTreeMap<String, String> {
        let mut all = BTreeMap::new();
        match self {
            Contents::Sqlite(connection, queries) => {
                for (table, query) in queries {
                    all.insert(table.clone(), lines(sql_query(&*query).load(connection)).concat());
                }
            }
            Contents::Postgres(connection, queries) => {
                for (table, query) in queries {
                    all.insert(table.clone(), lines(sql_query(&*query).load(connection)).concat());
                }
            }
        }
        assert!(all.len() > 20 && !all["trays"].is_empty(), "this reading sees nothing");
        all
    }
}

fn lines(found: QueryResult<Vec<Line>>) -> Vec<String> {
    found.expect("a readable table").into_iter().map(|line| line.line).collect()
}
