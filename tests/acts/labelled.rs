//! What a label says is what was issued, whatever the tray became since; and every kind of tray has a label of its own.

use crate::counter::{actor, shop};
use crate::{Day, code_of, day, day_of};
use sakudana::domain::label_fields::{Field, Template};
use sakudana::domain::profile::Rules;
use sakudana::domain::refusal::Code;
use sakudana::domain::shop::{Jurisdiction, Shop};
use sakudana::domain::tray::Tray;
use sakudana::ops::label::{Drawn, Wanted, drawn};
use sakudana::ops::place_tray::Way;
use sakudana::ops::{label, mark_down};
use sakudana::units::currency::{Currency, DecimalMark, WeightUnit};
use sakudana::units::instant::{Instant, MICROS_PER_HOUR as HOUR};

impl Day {
    fn drawn(&self, tray: &Tray, stock: Option<&str>) -> Drawn {
        let wanted = Wanted { stock: stock.map(Into::into), dpi: None };
        let press = self.desk.press();
        self.desk.look(|reading, shop| drawn(reading, shop, &press, &tray.code.to_string(), &wanted)).unwrap()
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
    assert_eq!(says.text(Field::UnitPrice), "$33.79/lb ($74.50/kg)");
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
        d.desk.look(|reading, shop| drawn(reading, shop, &press, &block.code.to_string(), &wanted).map(drop))
    };
    assert_eq!(code_of(ask("40x30")), Code::LabelRefused);
    assert_eq!(code_of(ask("no-such")), Code::InvalidValue);
    assert!(ask("100x62").is_ok());
}
