//! A small shop filled through the acts, in this process, for tests that need something to look at: one yellowfin, cut into blocks and a
//! tub, labelled; one block near its end; one on hold.
#![allow(dead_code, reason = "each test binary uses its part of the counter")]

use sakudana::domain::catalogue::{CutDraft, SpeciesDraft, SupplierDraft};
use sakudana::domain::gs1::own::Codes;
use sakudana::domain::hours::OpeningHours;
use sakudana::domain::inspection::InspectionDraft;
use sakudana::domain::language::Language;
use sakudana::domain::lot::CatchDraft;
use sakudana::domain::permissions::Role;
use sakudana::domain::place::PlaceDraft;
use sakudana::domain::profile::Rules;
use sakudana::domain::shop::{Jurisdiction, Shop};
use sakudana::domain::terms::ShopTerms;
use sakudana::ops::access::{self, NewPerson};
use sakudana::ops::break_down::{Cutting, InputDraft, LossDraft, OutputDraft, break_down};
use sakudana::ops::desk::{Actor, Desk};
use sakudana::ops::edit_catalogue::{Expected, put_cut, put_place, put_species, put_supplier};
use sakudana::ops::hold::{self, HoldDraft};
use sakudana::ops::press::Press;
use sakudana::ops::receive::{Arrival, receive};
use sakudana::ops::{board, label};
use sakudana::store::StoreOptions;
use sakudana::units::currency::{Currency, DecimalMark, WeightUnit};
use sakudana::units::instant::{Instant, MICROS_PER_HOUR};
use sakudana::units::zone::Zone;
use sakudana::web::clock;
use std::collections::BTreeMap;

pub const PASSWORD: &str = "three gulls on a bollard";

/// Codes of the trays that tests play with.
pub struct Counter {
    pub blocks: Vec<String>,
    pub tub: String,
    pub ending: String,
    pub held: String,
}

pub fn shop() -> Shop {
    Shop {
        name: "Test Counter".into(),
        address: "1 Quay".into(),
        zone: Zone::parse("Europe/Lisbon").unwrap(),
        currency: Currency::new("EUR", "€", false, DecimalMark::Point).unwrap(),
        weight_unit: WeightUnit::Kilogram,
        jurisdiction: Jurisdiction::Eu,
        rules: Rules::of(Jurisdiction::Eu),
        web_address: "https://counter.example".into(),
        codes: Codes::default(),
        reversal_minutes: 15,
        drip_permille: 5,
        receiving_scale_g: 20,
        bench_scale_g: 2,
        bench_minutes: 20,
        hours: OpeningHours::default(),
        terms: ShopTerms::default(),
    }
}

pub fn actor() -> Actor {
    Actor { name: "Test".into(), role: Role::Manager }
}

pub fn arrival(received_at: Option<Instant>) -> Arrival {
    Arrival {
        species: "YFT".into(),
        supplier: "hall".into(),
        supplier_lot_code: Some("H-1".into()),
        supplier_use_by: None,
        received_at,
        received_g: 4_000,
        cost_cents: 6_400,
        pieces: 1,
        cut: "whole-fish".into(),
        place: "case".into(),
        catch: CatchDraft {
            production: "wild".into(),
            area: "71".into(),
            gear: Some("LLD".into()),
            country: "Fiji".into(),
            caught_from: "2026-01-05".into(),
            caught_to: "2026-01-06".into(),
        },
        inspection: InspectionDraft {
            core_temperature_mc: 600,
            grade: 2,
            colour: 2,
            fat: 3,
            burn: "none".into(),
            sample: "tail_cut".into(),
            note: None,
        },
        parasite_letter: None,
        previously_frozen: false,
        frozen_on: None,
    }
}

fn cut(name: &str, kind: &str, form: &str, price: i64, hours: Option<i64>, item: i64) -> CutDraft {
    CutDraft {
        name: name.into(),
        names: BTreeMap::new(),
        kind: kind.into(),
        form: form.into(),
        price_per_kg_cents: price,
        raw_budget_hours: hours,
        raw_budget_validated: None,
        item_number: item,
        label_note: None,
    }
}

/// Species, supplier, cuts and places.
pub fn catalogue(desk: &Desk, now: Instant) {
    desk.act(move |tx, shop| {
        let a = actor();
        let species = SpeciesDraft {
            scientific_name: "Thunnus albacares".into(),
            market_name: "Yellowfin tuna".into(),
            names: BTreeMap::from([(Language::Japanese, "キハダ".into())]),
            group: "tuna".into(),
            parasite_rule: "exempt".into(),
            parasite_note: Some("authority letter of the test".into()),
        };
        put_species(tx, shop, &a, now, "YFT", &species, Expected::New)?;
        put_supplier(
            tx,
            &a,
            now,
            "hall",
            &SupplierDraft { name: "Hall".into(), address: "Quay 4".into() },
            Expected::New,
        )?;
        for (code, draft) in [
            ("whole-fish", cut("Whole fish", "bulk", "whole", 0, None, 1)),
            ("lean-saku", cut("Lean saku", "block", "block", 7_450, None, 101)),
            // Six hours at 0 °C are a little over four at 2 °C.
            ("short-saku", cut("Short saku", "block", "block", 7_450, Some(6), 102)),
            ("scrape", cut("Scrape", "tub", "scrape", 3_000, None, 103)),
        ] {
            put_cut(tx, &a, now, code, &draft, Expected::New)?;
        }
        let place = |name: &str, method: &str, set, limit| PlaceDraft {
            name: name.into(),
            method: method.into(),
            set_point_mc: set,
            upper_limit_mc: limit,
            ..PlaceDraft::default()
        };
        put_place(tx, shop, &a, now, "case", &place("Front case", "chill", 500, 2_000), Expected::New)?;
        put_place(tx, shop, &a, now, "freezer", &place("Freezer", "frozen", -60_000, -50_000), Expected::New)?;
        Ok(())
    })
    .unwrap();
}

/// Adds someone who may do everything, with the known password.
pub fn add_manager(database: &str, name: &str) {
    let desk = Desk::open(&StoreOptions { database: database.into(), readers: 1 }, shop()).unwrap();
    let (now, manager) = (clock::now(), NewPerson::check(name, "manager", PASSWORD).unwrap());
    desk.act(move |tx, _| access::create_person(tx, &actor(), now, &manager)).unwrap();
}

/// Fills the database at `database` and gives the codes.
pub fn fill(database: &str) -> Counter {
    let desk = Desk::open(&StoreOptions { database: database.into(), readers: 2 }, shop()).unwrap();
    let now = clock::now();
    catalogue(&desk, now);
    let fish = desk.act(move |tx, shop| receive(tx, shop, &actor(), now, &arrival(None))).unwrap();
    let block = |cut: &str, net_g| OutputDraft { cut: cut.into(), place: "case".into(), net_g };
    let cutting = Cutting {
        inputs: vec![InputDraft { tray: fish.tray.code.to_string(), grams: None }],
        outputs: vec![
            block("lean-saku", 268),
            block("lean-saku", 310),
            block("lean-saku", 244),
            block("short-saku", 280),
            block("lean-saku", 298),
            block("scrape", 600),
        ],
        losses: vec![LossDraft { name: "head and bones".into(), grams: 2_000 }],
        place: "case".into(),
        bench_minutes: None,
        reason: None,
    };
    let made = desk.act(move |tx, shop| break_down(tx, shop, &actor(), now, &cutting)).unwrap();
    let codes: Vec<String> = made.trays.iter().map(|t| t.code.to_string()).collect();
    for code in codes.clone() {
        desk.act(move |tx, shop| label::issue(tx, shop, &Press::default(), &actor(), now, &code, None)).unwrap();
    }
    let held = HoldDraft { scope: "tray".into(), code: codes[4].clone(), reason: "case door stood open".into() };
    desk.act(move |tx, shop| hold::place(tx, shop, &actor(), now, &held)).unwrap();
    // A half hour in the past must not be needed for anything to be judged.
    let later = now.plus_micros(MICROS_PER_HOUR / 2);
    assert_eq!(desk.look(|reading, shop| board::in_stock(reading, shop, later)).unwrap().len(), 6);
    drop(desk);
    add_manager(database, "Marta");
    Counter { blocks: codes[0..3].to_vec(), tub: codes[5].clone(), ending: codes[3].clone(), held: codes[4].clone() }
}
