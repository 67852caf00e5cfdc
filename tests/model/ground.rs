//! A shop to act in: a desk on either database with its catalogue, and a witness that reads the same database past the
//! program. Decides nothing.
#![allow(dead_code, reason = "two test programs share this file and each uses part of it")]

use crate::support::postgres::{Database, fresh_database};
use diesel::{Connection, PgConnection, SqliteConnection};
use sakudana::domain::catalogue::{CutDraft, SpeciesDraft, SupplierDraft};
use sakudana::domain::gs1::own::Codes;
use sakudana::domain::hours::OpeningHours;
use sakudana::domain::inspection::InspectionDraft;
use sakudana::domain::lot::CatchDraft;
use sakudana::domain::permissions::Role;
use sakudana::domain::place::PlaceDraft;
use sakudana::domain::profile::Rules;
use sakudana::domain::shop::{Jurisdiction, Shop};
use sakudana::domain::terms::ShopTerms;
use sakudana::ops::break_down::{Cutting, InputDraft, OutputDraft, break_down};
use sakudana::ops::desk::{Actor, Desk};
use sakudana::ops::edit_catalogue::{Expected, put_cut, put_place, put_species, put_supplier};
use sakudana::ops::freeze_parasites::LetterDraft;
use sakudana::ops::receive::{Arrival, receive};
use sakudana::store::StoreOptions;
use sakudana::units::currency::{Currency, DecimalMark, WeightUnit};
use sakudana::units::instant::Instant;
use sakudana::units::temperature::MilliCelsius;
use sakudana::units::zone::Zone;
use std::collections::BTreeMap;

/// The same tests on either database.
#[allow(unused_macros, reason = "not all that share this file have such tests")]
macro_rules! on_both {
    ($($name:ident),* $(,)?) => {
        mod sqlite {
            $(#[test] fn $name() { super::$name(crate::ground::Which::Sqlite); })*
        }
        mod postgresql {
            $(#[test] fn $name() { super::$name(crate::ground::Which::Postgres); })*
        }
    };
}
#[allow(unused_imports, reason = "not all that share this file have such tests")]
pub(crate) use on_both;

/// A connection of the test's own.
#[derive(diesel::MultiConnection)]
pub enum Witness {
    Sqlite(SqliteConnection),
    Postgres(PgConnection),
}

/// Keeps the database alive.
enum Held {
    Folder(tempfile::TempDir),
    Server(Database),
}

pub struct Ground {
    // Closed before the database goes.
    pub desk: Desk,
    held: Held,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Which {
    Sqlite,
    Postgres,
}

impl Ground {
    /// An empty database with the catalogue in it.
    pub fn open(which: Which, readers: u32) -> Ground {
        Ground::of(shop(), which, readers)
    }

    /// The same for a shop of its own.
    pub fn of(shop: Shop, which: Which, readers: u32) -> Ground {
        Ground::on(shop, which, readers, |_| ())
    }

    /// The same, after something was done to the folder of an embedded database.
    pub fn on(shop: Shop, which: Which, readers: u32, prepare: impl Fn(&str)) -> Ground {
        let held = match which {
            Which::Sqlite => Held::Folder(tempfile::tempdir().unwrap()),
            Which::Postgres => Held::Server(fresh_database()),
        };
        if let Held::Folder(folder) = &held {
            prepare(folder.path().to_str().unwrap());
        }
        let options = StoreOptions { database: address(&held), readers };
        let ground = Ground { desk: Desk::open(&options, shop).unwrap(), held };
        ground.fill();
        ground
    }

    pub fn address(&self) -> String {
        address(&self.held)
    }

    pub fn witness(&self) -> Witness {
        match &self.held {
            Held::Folder(_) => Witness::Sqlite(SqliteConnection::establish(&self.address()).unwrap()),
            Held::Server(_) => Witness::Postgres(PgConnection::establish(&self.address()).unwrap()),
        }
    }

    fn fill(&self) {
        self.desk
            .act(|tx, shop| {
                let (actor, now) = (actor(), start());
                for (code, group, rule) in [("YFT", "tuna", "exempt"), ("SAL", "salmonid", "freeze_before_raw")] {
                    let draft = SpeciesDraft {
                        scientific_name: format!("Piscis {}", code.to_lowercase()),
                        market_name: format!("Fish {code}"),
                        names: BTreeMap::new(),
                        group: group.into(),
                        parasite_rule: rule.into(),
                        parasite_note: Some("letter of the authority".into()),
                    };
                    put_species(tx, shop, &actor, now, code, &draft, Expected::New)?;
                }
                let supplier = SupplierDraft { name: "Harbour".into(), address: "Quay 1".into() };
                put_supplier(tx, &actor, now, "harbour", &supplier, Expected::New)?;
                for (number, cut) in CUTS.iter().enumerate() {
                    put_cut(tx, &actor, now, cut.code, &cut.draft(number), Expected::New)?;
                }
                Ok(())
            })
            .unwrap();
    }

    /// A place of its own name.
    pub fn place(&self, code: &str, draft: PlaceDraft) {
        let code = code.to_owned();
        self.desk
            .act(move |tx, shop| put_place(tx, shop, &actor(), start(), &code, &draft, Expected::New).map(drop))
            .unwrap();
    }

    /// The codes of so many trays in `case`, of one cut and net mass, cut out of one fresh fish with nothing lost.
    pub fn trays(&self, cut: &'static str, count: usize, net_g: i64) -> Vec<String> {
        let grams = net_g * i64::try_from(count).unwrap();
        let made = self.desk.act(move |tx, shop| {
            let fish = receive(tx, shop, &actor(), start(), &arrival("YFT", "case", grams))?.tray.code.to_string();
            let output = OutputDraft { cut: cut.into(), place: "case".into(), net_g };
            let cutting = Cutting {
                bench_minutes: None,
                inputs: vec![InputDraft { tray: fish, grams: None }],
                outputs: vec![output; count],
                losses: Vec::new(),
                place: "case".into(),
                reason: None,
            };
            break_down(tx, shop, &actor(), start(), &cutting)
        });
        made.unwrap().trays.iter().map(|tray| tray.code.to_string()).collect()
    }
}

fn address(held: &Held) -> String {
    match held {
        Held::Folder(folder) => folder.path().join("shop.db").to_str().unwrap().to_owned(),
        Held::Server(database) => database.url().to_owned(),
    }
}

/// One line of the catalogue; the model reads the same lines.
#[derive(Debug, Clone, Copy)]
pub struct CutLine {
    pub code: &'static str,
    pub kind: &'static str,
    pub form: &'static str,
    pub price: i64,
    pub own_hours: Option<i64>,
}

const fn cut(
    code: &'static str,
    kind: &'static str,
    form: &'static str,
    price: i64,
    own_hours: Option<i64>,
) -> CutLine {
    CutLine { code, kind, form, price, own_hours }
}

pub const CUTS: [CutLine; 8] = [
    cut("whole-fish", "bulk", "whole", 0, None),
    cut("loin", "bulk", "loin", 3_000, None),
    cut("bones", "bulk", "for_cooking", 0, None),
    cut("saku", "block", "block", 7_950, None),
    cut("belly", "block", "block", 12_005, Some(48)),
    cut("slices", "block", "slices", 9_999, None),
    cut("collar", "block", "for_cooking", 1_501, None),
    cut("scrape", "tub", "scrape", 2_333, None),
];

impl CutLine {
    pub fn draft(&self, number: usize) -> CutDraft {
        CutDraft {
            name: format!("Cut {}", self.code),
            names: BTreeMap::new(),
            kind: self.kind.into(),
            form: self.form.into(),
            price_per_kg_cents: self.price,
            raw_budget_hours: self.own_hours,
            raw_budget_validated: None,
            item_number: i64::try_from(number).unwrap() + 1,
            label_note: None,
        }
    }
}

pub fn actor() -> Actor {
    Actor { name: "mika".into(), role: Role::Manager }
}

pub fn start() -> Instant {
    Instant::parse("2026-11-25T06:00:00Z").unwrap()
}

pub const REVERSAL_MINUTES: i64 = 15;
pub const DRIP_PERMILLE: i64 = 10;
pub const RECEIVING_SCALE_G: i64 = 20;
pub const BENCH_SCALE_G: i64 = 2;
pub const BENCH_MINUTES: i64 = 20;

pub fn shop() -> Shop {
    Shop {
        name: "Kallio Fish".into(),
        address: "Vaasankatu 7, Helsinki".into(),
        zone: Zone::parse("Europe/Helsinki").unwrap(),
        currency: Currency::new("EUR", "€", false, DecimalMark::Point).unwrap(),
        weight_unit: WeightUnit::Kilogram,
        jurisdiction: Jurisdiction::Eu,
        rules: Rules { cold_limit: MilliCelsius::clamped(5_000), ..Rules::of(Jurisdiction::Eu) },
        web_address: "https://fish.example".into(),
        codes: Codes::default(),
        reversal_minutes: REVERSAL_MINUTES,
        drip_permille: DRIP_PERMILLE,
        receiving_scale_g: RECEIVING_SCALE_G,
        bench_scale_g: BENCH_SCALE_G,
        bench_minutes: BENCH_MINUTES,
        hours: OpeningHours::default(),
        terms: ShopTerms::default(),
    }
}

/// A shop of the other law, so much stricter than its profile that a day is long enough for its clocks to end.
pub fn strict_shop() -> Shop {
    let mut rules = Rules::of(Jurisdiction::Us);
    rules.date_mark.days = Some(STRICT_DATE_MARK_DAYS);
    rules.frozen_days = STRICT_FROZEN_DAYS;
    rules.cold_limit = MilliCelsius::clamped(STRICT_COLD_LIMIT);
    Shop { zone: Zone::parse("America/New_York").unwrap(), jurisdiction: Jurisdiction::Us, rules, ..shop() }
}

pub const STRICT_DATE_MARK_DAYS: i64 = 2;
pub const STRICT_FROZEN_DAYS: i64 = 1;
pub const STRICT_COLD_LIMIT: i64 = 4_000;

pub fn chill(set_point_mc: i64, upper_limit_mc: i64) -> PlaceDraft {
    PlaceDraft { name: "A case".into(), method: "chill".into(), set_point_mc, upper_limit_mc, ..PlaceDraft::default() }
}

/// A fish as it arrives. Times and masses are the caller's.
pub fn arrival(species: &str, place: &str, grams: i64) -> Arrival {
    Arrival {
        species: species.into(),
        supplier: "harbour".into(),
        supplier_lot_code: None,
        supplier_use_by: None,
        received_at: None,
        received_g: grams,
        cost_cents: grams * 7 / 3,
        pieces: 1,
        cut: "whole-fish".into(),
        place: place.into(),
        catch: CatchDraft {
            production: "farmed".into(),
            area: "27".into(),
            gear: None,
            country: "Norway".into(),
            caught_from: "2026-11-20".into(),
            caught_to: "2026-11-22".into(),
        },
        inspection: InspectionDraft {
            core_temperature_mc: 1_000,
            grade: 1,
            colour: 1,
            fat: 2,
            burn: "none".into(),
            sample: "none".into(),
            note: None,
        },
        parasite_letter: Some(LetterDraft {
            reference: "letter of the farm".into(),
            temperature_mc: -20_000,
            hours: 168,
            solid_at_mc: None,
        }),
        previously_frozen: false,
        frozen_on: None,
    }
}
