//! What a label says is what was issued, whatever the tray became since; and every kind of tray has a label of its own.

use std::collections::BTreeMap;

use crate::counter::{actor, shop};
use crate::{Day, code_of, day, day_of};
use sakudana::domain::catalogue::CutDraft;
use sakudana::domain::label_fields::{Field, Template};
use sakudana::domain::profile::Rules;
use sakudana::domain::refusal::Code;
use sakudana::domain::shop::{Jurisdiction, Shop};
use sakudana::domain::tray::Tray;
use sakudana::ops::count::{CountLine, count};
use sakudana::ops::edit_catalogue::{Expected, put_cut};
use sakudana::ops::failure::Failure;
use sakudana::ops::label::{Drawn, Wanted, drawn};
use sakudana::ops::place_tray::Way;
use sakudana::ops::scan::{Scanned, scan};
use sakudana::ops::top_up::{TopUp, top_up};
use sakudana::ops::{label, mark_down};
use sakudana::units::currency::{Currency, DecimalMark, WeightUnit};
use sakudana::units::instant::{Instant, MICROS_PER_HOUR as HOUR};

impl Day {
    fn drawn(&self, tray: &Tray, stock: Option<&str>) -> Drawn {
        let wanted = Wanted { stock: stock.map(Into::into), dpi: None };
        let press = self.desk.press();
        self.desk.look(|reading, _| drawn(reading, &press, &tray.code.to_string(), &wanted)).unwrap()
    }

    fn mark_down(&self, tray: &Tray, cents: i64, now: Instant) {
        let code = tray.code.to_string();
        self.desk.act(move |tx, shop| mark_down::mark_down(tx, shop, &actor(), now, &code, cents, "today")).unwrap();
    }
}

#[test]
fn a_label_shows_what_was_issued_until_the_next_one_is() {
    let d = day();
    let block = d.label(&d.block("case", None), d.start).unwrap();
    let before = d.drawn(&block, None);
    d.mark_down(&block, 5_000, d.at(HOUR));
    let meanwhile = d.drawn(&block, None);
    assert_eq!(meanwhile.says, before.says, "the picture is of the label that is on the tray");
    d.label(&block, d.at(HOUR)).unwrap();
    let after = d.drawn(&block, None);
    assert_eq!((before.issued.template, after.issued.template), (Template::Block, Template::Markdown));
    assert_eq!(after.says.text(Field::OldPrice), before.says.text(Field::Price));
    assert_eq!(after.says.text(Field::Price), "15.00 €");
    assert_eq!(after.says.text(Field::MarkdownReason), "today");
    assert_ne!(before.says.text(Field::QrText), after.says.text(Field::QrText));
    d.clean();
}

/// A loin has a label for the house: it binds no date, since nobody was promised one, and a frozen one has it too.
#[test]
fn bulk_trays_have_a_label_for_the_house() {
    let d = day();
    let fish = d.fish("case");
    let labelled = d.label(&fish, d.start).unwrap();
    assert_eq!(labelled.use_by, None);
    let bulk = d.drawn(&fish, Some("50x30"));
    assert_eq!(bulk.issued.template, Template::Bulk);
    assert_eq!(bulk.says.text(Field::Price), "");
    assert!(!bulk.says.text(Field::UseBy).is_empty());
    let code = fish.code.to_string();
    let press = d.desk.press();
    let now = d.at(HOUR);
    let again = d.desk.act(move |tx, shop| label::issue(tx, shop, &press, &actor(), now, &code, None));
    assert_eq!(code_of(again), Code::ReasonRequired);
    let other = d.fish("case");
    d.take(&other, "freezer", Way::Freeze, d.at(HOUR)).unwrap();
    d.label(&other, d.at(HOUR)).unwrap();
    let frozen = d.drawn(&other, None);
    assert_eq!((frozen.issued.use_by, frozen.says.captions.use_by.as_str()), (None, "FROZEN SINCE"));
    assert!(frozen.says.text(Field::Storage).contains("frozen"));
    d.clean();
}

#[test]
fn an_american_label_has_pounds_country_and_the_species_of_the_allergen() {
    let d = day_of(Shop {
        jurisdiction: Jurisdiction::Us,
        rules: Rules::of(Jurisdiction::Us),
        currency: Currency::new("USD", "$", true, DecimalMark::Point).unwrap(),
        weight_unit: WeightUnit::Pound,
        ..shop()
    });
    let block = d.label(&d.block("case", None), d.start).unwrap();
    let says = d.drawn(&block, None).says;
    // 300 g are 0.661 lb, rounded down (NIST SP 811, footnote 22, gives the pound exactly).
    assert_eq!(says.text(Field::NetWeight), "0.661 lb (300 g)");
    assert_eq!(says.text(Field::UnitPrice), "$74.50/kg (≈ $33.79/lb)");
    assert_eq!(says.text(Field::Price), "$22.35");
    assert_eq!(says.text(Field::ProductionMethod), "wild caught");
    assert_eq!(says.text(Field::OriginCountry), "Product of Fiji");
    assert_eq!(says.text(Field::Allergen), "Contains: Fish (Yellowfin tuna)");
}

#[test]
fn a_label_that_does_not_fit_the_stock_asked_for_is_refused() {
    let d = day();
    let block = d.label(&d.block("case", None), d.start).unwrap();
    let ask = |stock: &str| {
        let wanted = Wanted { stock: Some(stock.into()), dpi: None };
        let press = d.desk.press();
        d.desk.look(|reading, _| drawn(reading, &press, &block.code.to_string(), &wanted).map(drop))
    };
    assert_eq!(code_of(ask("40x30")), Code::LabelRefused);
    assert_eq!(code_of(ask("no-such")), Code::InvalidValue);
    assert!(ask("100x62").is_ok());
}

impl Day {
    fn scan(&self, text: &str, after: i64) -> Result<Vec<Code>, Failure> {
        let stops = |scanned: Scanned| scanned.verdict.stops.iter().map(|stop| stop.code).collect();
        self.desk.look(|reading, shop| scan(reading, shop, self.at(after), text)).map(stops)
    }

    fn count(&self, tray: &Tray, grams: i64, now: Instant) {
        let lines = vec![CountLine { tray: tray.code.to_string(), counted_g: grams }];
        self.desk.act(move |tx, shop| count(tx, shop, &actor(), now, &lines, Some("weighed again"))).unwrap();
    }
}

/// The customer was told a price; whatever the scale says now, the till does not take another under that label.
#[test]
fn a_block_weighed_anew_is_not_sold_under_its_old_label() {
    let d = day();
    let block = d.label(&d.block("case", None), d.start).unwrap();
    let code = d.drawn(&block, None).says.text(Field::QrText).to_owned();
    d.count(&block, 360, d.at(HOUR));
    for text in [code, block.code.to_string()] {
        assert_eq!(d.scan(&text, HOUR).unwrap(), [Code::WeightDiffers], "{text}");
    }
    d.mark_down_refused(&block, d.at(HOUR));
    d.label(&block, d.at(HOUR)).unwrap();
    let code = d.drawn(&block, None).says.text(Field::QrText).to_owned();
    assert_eq!(d.scan(&code, HOUR).unwrap(), []);
    d.clean();
}

impl Day {
    fn mark_down_refused(&self, tray: &Tray, now: Instant) {
        let code = tray.code.to_string();
        let lowered =
            self.desk.act(move |tx, shop| mark_down::mark_down(tx, shop, &actor(), now, &code, 5_000, "today"));
        assert_eq!(code_of(lowered), Code::WeightDiffers);
    }
}

/// Its label names one fish; what was poured in is of another.
#[test]
fn fish_of_another_lot_makes_a_label_outdated() {
    let d = day();
    let tub = d.label(&d.cut(&d.fish("case"), None, "scrape", "case", 0, 0), d.start).unwrap();
    let same = d.cut(&d.fish("case"), None, "scrape", "case", 0, 0);
    let (into, now) = (tub.code.to_string(), d.at(HOUR));
    let pour = TopUp { source: same.code.to_string(), grams: None };
    d.desk.act(move |tx, shop| top_up(tx, shop, &actor(), now, &into, &pour)).unwrap();
    assert_eq!(d.scan(&tub.code.to_string(), HOUR).unwrap(), [Code::LabelOutdated]);
    d.label(&tub, d.at(HOUR)).unwrap();
    assert_eq!(d.scan(&tub.code.to_string(), HOUR).unwrap(), []);
    assert_eq!(d.drawn(&tub, None).says.text(Field::LotCode).split(' ').count(), 2);
    d.clean();
}

/// A cut gets another name and another number: what was printed before stays what it is, and its code stays the tray's.
#[test]
fn a_label_outlives_changes_of_the_catalogue() {
    let d = day();
    let block = d.label(&d.block("case", None), d.start).unwrap();
    let before = d.drawn(&block, None).says;
    let now = d.at(HOUR);
    d.desk
        .act(move |tx, _| {
            let cut = CutDraft {
                name: "Something else".into(),
                kind: "block".into(),
                form: "block".into(),
                price_per_kg_cents: 7_450,
                raw_budget_hours: Some(6),
                raw_budget_validated: None,
                item_number: 999,
                label_note: Some("A new note.".into()),
                names: BTreeMap::new(),
            };
            put_cut(tx, &actor(), now, "short-saku", &cut, Expected::Version(1))
        })
        .unwrap();
    assert_eq!(d.drawn(&block, None).says, before);
    assert_eq!(d.scan(before.text(Field::QrText), HOUR).unwrap(), []);
    d.clean();
}

/// A tub's code says neither weight nor price: the minute of its use-by (AI 7003) tells a replaced label of the same day.
#[test]
fn a_replaced_label_of_a_tub_is_told_by_its_minute() {
    let d = day();
    let tub = d.label(&d.cut(&d.fish("case"), None, "scrape", "case", 0, 0), d.start).unwrap();
    let old = d.drawn(&tub, None).says.text(Field::QrText).to_owned();
    d.measured("case", &[(0, 1_900), (60, 3_500), (120, 3_500)], 2 * HOUR);
    let code = tub.code.to_string();
    let (press, now) = (d.desk.press(), d.at(2 * HOUR));
    let again = d
        .desk
        .act(move |tx, shop| label::issue(tx, shop, &press, &actor(), now, &code, Some("the case was warm")))
        .unwrap();
    assert!(again.use_by < tub.use_by, "a warm hour took some of it");
    let new = d.drawn(&tub, None).says.text(Field::QrText).to_owned();
    assert_eq!((old.len(), new.contains("&7003=")), (new.len(), true), "{new}");
    assert_eq!(d.scan(&old, 2 * HOUR).unwrap(), [Code::LabelSuperseded]);
    assert_eq!(d.scan(&new, 2 * HOUR).unwrap(), []);
    d.clean();
}
