//! Names of species and cuts in the languages that customers read, beside the name the shop uses itself.

use super::error::StoreError;
use super::read::Reading;
use super::schema::names;
use super::write::Tx;
use crate::domain::catalogue::{Names, Thing};
use crate::domain::language::Language;
use diesel::prelude::*;
use std::collections::BTreeMap;

fn language(tag: &str) -> Result<Language, StoreError> {
    Language::parse(tag).ok_or_else(|| StoreError::impossible("language", tag))
}

/// The names of one thing.
pub fn of(reading: &mut Reading<'_>, thing: Thing, code: &str) -> Result<Names, StoreError> {
    let rows: Vec<(String, String)> = names::table
        .filter(names::thing.eq(thing.as_str()))
        .filter(names::code.eq(code))
        .select((names::language, names::name))
        .load(reading.conn)?;
    rows.into_iter().map(|(tag, name)| Ok((language(&tag)?, name))).collect()
}

/// The names of all things of a kind, by code; what has none is left out.
pub fn all(reading: &mut Reading<'_>, thing: Thing) -> Result<BTreeMap<String, Names>, StoreError> {
    let rows: Vec<(String, String, String)> = names::table
        .filter(names::thing.eq(thing.as_str()))
        .select((names::code, names::language, names::name))
        .load(reading.conn)?;
    let mut by_code: BTreeMap<String, Vec<(Language, String)>> = BTreeMap::new();
    for (code, tag, name) in rows {
        by_code.entry(code).or_default().push((language(&tag)?, name));
    }
    Ok(by_code.into_iter().map(|(code, called)| (code, called.into_iter().collect())).collect())
}

/// Writes the names of one thing over those it had.
pub fn replace(tx: &mut Tx<'_>, thing: Thing, code: &str, called: &Names) -> Result<(), StoreError> {
    let old = names::table.filter(names::thing.eq(thing.as_str())).filter(names::code.eq(code));
    diesel::delete(old).execute(tx.changing())?;
    for (language, name) in called.iter() {
        let row = (
            names::thing.eq(thing.as_str()),
            names::code.eq(code),
            names::language.eq(language.tag()),
            names::name.eq(name),
        );
        diesel::insert_into(names::table).values(row).execute(tx.changing())?;
    }
    Ok(())
}
