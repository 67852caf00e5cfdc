//! Looks at single things for whoever asks: a lot with its balance, a tray with its stays, a breakdown, lists by page.

use super::failure::{Failure, refuse};
use super::judge::tray_by_code;
use crate::domain::catalogue::{Cut, Names, Species, Supplier, Thing};
use crate::domain::lot::Lot;
use crate::domain::place::Place;
use crate::domain::refusal::Code;
use crate::domain::tray::Tray;
use crate::store::acts::{self, AccountBalance};
use crate::store::breakdowns::{self, Breakdown, Side};
use crate::store::catalogue::{cut, place, species_of, supplier};
use crate::store::holds::{self, Hold};
use crate::store::sales::{self, Sale};
use crate::store::stays::{self, Stay};
use crate::store::{Reading, lots, names, trays};

/// Which trays a list is about.
pub type TrayFilter = trays::Filter;
/// What stands on one account of a lot.
pub type LotAccountRow = AccountBalance;
/// Records as they are kept, for whoever shows them.
pub type HoldRow = Hold;
pub type SaleRow = Sale;
pub type StayRow = Stay;
pub type SaleLineRow = sales::SaleLine;
pub type PersonRow = crate::store::people::Person;
pub type AccessKeyRow = crate::store::keys::AccessKey;

/// Where every gram and cent of a lot is.
#[derive(Debug, Clone)]
pub struct LotStory {
    pub lot: Lot,
    pub accounts: Vec<AccountBalance>,
    /// Codes of trays that hold or held some of it.
    pub trays: Vec<String>,
}

pub fn lot(reading: &mut Reading<'_>, code: &str) -> Result<LotStory, Failure> {
    let Some(lot) = lots::find(reading, code)? else {
        return refuse(Code::NotFound, "lot_code", "there is no such lot");
    };
    let accounts = acts::balance_of_lot(reading, lot.id)?;
    let mut codes = Vec::new();
    for id in trays::with_lot(reading, lot.id)? {
        codes.push(trays::by_id(reading, id)?.code.to_string());
    }
    Ok(LotStory { lot, accounts, trays: codes })
}

pub fn lots_page(reading: &mut Reading<'_>, below: Option<i64>, limit: i64) -> Result<Vec<Lot>, Failure> {
    Ok(lots::page(reading, below, limit)?)
}

/// A tray and the places it was in.
pub fn stays(reading: &mut Reading<'_>, code: &str) -> Result<(Tray, Vec<Stay>), Failure> {
    let tray = tray_by_code(reading, "tray_code", code)?;
    let stays = stays::of_tray(reading, tray.id)?;
    Ok((tray, stays))
}

/// A breakdown with its weighings.
#[derive(Debug, Clone)]
pub struct BreakdownStory {
    pub breakdown: Breakdown,
    /// Tray code and grams.
    pub inputs: Vec<(String, i64)>,
    pub outputs: Vec<(String, i64)>,
    pub losses: Vec<(String, i64)>,
}

pub fn breakdown(reading: &mut Reading<'_>, id: i64) -> Result<BreakdownStory, Failure> {
    let Some(breakdown) = breakdowns::find(reading, id)? else {
        return refuse(Code::NotFound, "id", "there is no such breakdown");
    };
    let mut side = |which| -> Result<Vec<(String, i64)>, Failure> {
        let mut lines = Vec::new();
        for (tray, grams) in breakdowns::weights(reading, id, which)? {
            lines.push((trays::by_id(reading, tray)?.code.to_string(), grams));
        }
        Ok(lines)
    };
    let (inputs, outputs) = (side(Side::Input)?, side(Side::Output)?);
    let losses = breakdowns::losses(reading, id)?;
    Ok(BreakdownStory { breakdown, inputs, outputs, losses })
}

pub fn open_holds(reading: &mut Reading<'_>) -> Result<Vec<Hold>, Failure> {
    Ok(holds::open(reading)?)
}

pub fn sales_page(reading: &mut Reading<'_>, below: Option<i64>, limit: i64) -> Result<Vec<Sale>, Failure> {
    Ok(sales::page(reading, below, limit)?)
}

macro_rules! catalogue_look {
    ($list:ident, $one:ident, $table:ident, $thing:ty) => {
        pub fn $list(reading: &mut Reading<'_>) -> Result<Vec<$thing>, Failure> {
            Ok($table::list(reading)?)
        }

        pub fn $one(reading: &mut Reading<'_>, code: &str) -> Result<$thing, Failure> {
            match $table::find(reading, code)? {
                Some(thing) => Ok(thing),
                None => refuse(Code::NotFound, "code", "there is no such entry"),
            }
        }
    };
}

/// The same for what customers know by names in their language.
macro_rules! named_look {
    ($list:ident, $one:ident, $table:ident, $thing:ident) => {
        pub fn $list(reading: &mut Reading<'_>) -> Result<Vec<($thing, Names)>, Failure> {
            let mut called = names::all(reading, Thing::$thing)?;
            let with_names = |thing: $thing| {
                let names = called.remove(&thing.code).unwrap_or_default();
                (thing, names)
            };
            Ok($table::list(reading)?.into_iter().map(with_names).collect())
        }

        pub fn $one(reading: &mut Reading<'_>, code: &str) -> Result<($thing, Names), Failure> {
            match $table::find(reading, code)? {
                Some(thing) => Ok((thing, names::of(reading, Thing::$thing, code)?)),
                None => refuse(Code::NotFound, "code", "there is no such entry"),
            }
        }
    };
}

named_look!(all_species, one_species, species_of, Species);
catalogue_look!(all_suppliers, one_supplier, supplier, Supplier);
named_look!(all_cuts, one_cut, cut, Cut);
catalogue_look!(all_places, one_place, place, Place);
