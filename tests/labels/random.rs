//! Random facts on every template, stock and resolution: a label keeps every rule, or the refusal says which fields are to blame.

use sakudana::domain::label_fields::{Circumstances, Field, Pack, Presence, Sold, Template, Thawed};
use sakudana::domain::lot::Production;
use sakudana::domain::shop::Jurisdiction;
use sakudana::labels::facts::TrayLabel;
use sakudana::labels::layout::lay_out;
use sakudana::labels::refusal::LabelRefusal;
use sakudana::labels::stock::Dpi;
use sakudana::labels::stocks::Stocks;
use sakudana::labels::text::Fonts;

use crate::ground::{address, empty};
use crate::places::{check_ink, check_places, check_png, read_symbol};

/// A small generator of numbers, so that a failure can be had again from its seed.
struct Dice(u64);

impl Dice {
    fn below(&mut self, bound: usize) -> usize {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        ((self.0 >> 33) as usize) % bound
    }

    fn of<'a>(&mut self, texts: &[&'a str]) -> &'a str {
        texts[self.below(texts.len())]
    }
}

fn circumstances(dice: &mut Dice) -> Circumstances {
    Circumstances {
        production: [Production::Wild, Production::Farmed][dice.below(2)],
        thawed: [Thawed::No, Thawed::Defrosted, Thawed::FrozenForSafety][dice.below(3)],
        pack: [Pack::Usual, Pack::Small][dice.below(2)],
        sold: [Sold::Whole, Sold::ByWeight][dice.below(2)],
    }
}

/// Without what its rules leave open.
fn bare(label: TrayLabel) -> TrayLabel {
    let open = label.rules.clone().into_iter().filter(|rule| rule.presence == Presence::WhenGiven);
    open.fold(label, |label, rule| label.with(rule.field, ""))
}

const ADVICE: [&str; 4] = [
    "Raw fish: not for pregnant women, small children or people with weak immunity.",
    "Eating raw fish may increase your risk of foodborne illness.",
    "Roher Fisch: nicht für Schwangere, kleine Kinder und Menschen mit schwachem Immunsystem.",
    "Poisson cru : déconseillé aux femmes enceintes, aux jeunes enfants et aux personnes fragiles.",
];

fn label(dice: &mut Dice, template: Template, jurisdiction: Jurisdiction) -> TrayLabel {
    let circumstances = circumstances(dice);
    let by_weight = template == Template::Tub || template == Template::Markdown && circumstances.sold == Sold::ByWeight;
    let prices = [
        ("21.31 €", "79.50 €/kg", "25.00 €"),
        ("£187.20", "£93.60/kg", "£201.00"),
        ("$1,204.99", "$44.00/lb", "$1,400.00"),
    ];
    let (price, unit_price, old_price) = prices[dice.below(prices.len())];
    let label = empty(jurisdiction, template, circumstances)
        .with(Field::ShopName, dice.of(&["Kallio Fish", "Fischhandlung Österström & Söhne", "Ψαράς"]))
        .with(Field::ShopAddress, dice.of(&["Vaasankatu 7, Helsinki", "Große Elbstraße 212, 22767 Hamburg"]))
        .with(
            Field::CutName,
            dice.of(&["Ō-toro", "Akami saku", "Bluefin chūtoro saku, sinew drawn", "Filet de thon paré"]),
        )
        .with(Field::CommercialName, dice.of(&["Tuna", "Thon à nageoires jaunes", "Nördlicher Blauflossen-Thun"]))
        .with(Field::ScientificName, dice.of(&["Thunnus alalunga", "Thunnus albacares"]))
        .with(Field::ProductionMethod, dice.of(&["caught", "farmed", "caught in freshwater"]))
        .with(Field::CatchArea, dice.of(&["Pacific, Western Central (FAO 71)", "Atlantic, Northeast (FAO 27)"]))
        .with(Field::Gear, dice.of(&["hooks and lines", "surrounding nets and lift nets"]))
        .with(Field::OriginCountry, dice.of(&["Product of Japan", "Product of the United States"]))
        .with(Field::Defrosted, dice.of(&["Defrosted", "Previously frozen. Do not refreeze."]))
        .with(Field::NetWeight, dice.of(&["268 g", "2.204 lb (1.000 kg)", "300\u{A0}g"]))
        .with(Field::UnitPrice, unit_price)
        .with(Field::Price, if by_weight { "" } else { price })
        .with(Field::OldPrice, old_price)
        .with(Field::MarkdownReason, dice.of(&["Last day: −25 %", "Ends tonight", "Colour is going, taste is not"]))
        .with(Field::UseBy, dice.of(&["26 Nov 2026 18:00", "26 Nov 2026", "Nov 26, 2026 6:00 PM"]))
        .with(Field::CutOn, "24 Nov 2026")
        .with(Field::ReceivedOn, dice.of(&["", "23 Nov 2026"]))
        .with(Field::Storage, dice.of(&["Keep at 0 to 2 °C", "Keep below 38 °F"]))
        .with(Field::LotCode, dice.of(&["YFT-261124-03", "YFT-261124-03 YFT-261123-01 BET-261122-11"]))
        .with(Field::TrayCode, "7K3M 9QX2")
        .with(Field::Allergen, dice.of(&["Contains fish", "Contains: Fish (Tuna)"]))
        .with(Field::Advisory, dice.of(&ADVICE))
        .with(Field::Notices, dice.of(&["For the kitchen: cook before eating.", "Not for raw eating"]))
        .with(Field::Cautions, dice.of(&["", "Do not refreeze."]));
    // Half the labels say only what they must.
    let label = if dice.below(2) == 0 { bare(label) } else { label };
    let linear = if template.is_for_sale() && dice.below(3) == 0 { "2112233789657" } else { "" };
    label.with(Field::Linear, linear).with(Field::QrText, address(45 + dice.below(80)))
}

#[test]
fn random_labels_on_every_stock_keep_every_rule_or_say_what_to_shorten() {
    let (mut drawn, mut refused) = (0_usize, 0_usize);
    for (number, stock) in Stocks::built_in().all().iter().enumerate() {
        for template in Template::ALL {
            for seed in 0..12 {
                let mut dice = Dice(1_000 * number as u64 + 10 * seed + template as u64);
                let jurisdiction = [Jurisdiction::Eu, Jurisdiction::Us][dice.below(2)];
                let label = label(&mut dice, template, jurisdiction);
                match lay_out(Fonts::standard(), &label, stock) {
                    Ok(layout) => {
                        check_places(&label, stock, &layout);
                        // Reading every picture back would take minutes without optimisation.
                        if drawn.is_multiple_of(if stock.dpi() == Dpi::D600 { 16 } else { 6 }) {
                            let picture = layout.paint(Fonts::standard());
                            check_ink(&layout, &picture);
                            check_png(&picture, stock.dpi());
                            assert_eq!(read_symbol(&picture), label.text(Field::QrText));
                        }
                        drawn += 1;
                    }
                    Err(LabelRefusal::DoesNotFit { fields }) => {
                        assert!(!fields.is_empty() && stock.name() != "100x62", "{label:#?} on {stock:?}: {fields:?}");
                        refused += 1;
                    }
                    Err(LabelRefusal::CodeDoesNotFit) => {
                        assert!(stock.height_um() <= 40_000);
                        refused += 1;
                    }
                    Err(refusal) => panic!("{refusal} on {stock:?}: {label:#?}"),
                }
            }
        }
    }
    assert!(2 * drawn > 3 * refused, "{drawn} drawn, {refused} refused");
    assert!(drawn > 500, "{drawn}");
}
