//! What a label must say, row by row of the laws, each with its source.

use sakudana::domain::label_fields::{Circumstances, Field, FieldRule, Pack, Presence, Sold, Template, Thawed, rules};
use sakudana::domain::label_words::{allergen, catch_area, gear, gear_category, production_method};
use sakudana::domain::lot::Production;
use sakudana::domain::shop::Jurisdiction;
use sakudana::units::currency::{DecimalMark, WeightUnit};
use sakudana::units::mass::Grams;

use crate::ground::USUAL;

fn must(jurisdiction: Jurisdiction, template: Template, circumstances: Circumstances) -> Vec<Field> {
    let mandatory = |rule: &FieldRule| (rule.presence == Presence::Mandatory).then_some(rule.field);
    rules(jurisdiction, template, circumstances).iter().filter_map(mandatory).collect()
}

fn rule(jurisdiction: Jurisdiction, template: Template, circumstances: Circumstances, field: Field) -> FieldRule {
    let rules = rules(jurisdiction, template, circumstances);
    *rules.iter().find(|rule| rule.field == field).unwrap_or_else(|| panic!("no rule of {field:?}"))
}

fn grams(grams: i64) -> Grams {
    Grams::new(grams).unwrap()
}

/// Reg. (EU) 1379/2013 art. 35(1)(a) to (d): designation with scientific name, method, area and gear category, defrosted. Art. 35(1)(e) and
/// Reg. (EU) 1169/2011 art. 24(1), Annex X (secondary): use-by with storage conditions. Dir. 98/6/EC (memory): both prices.
#[test]
fn the_european_union_asks_for_these_in_reading_order() {
    let expected = [
        Field::CutName,
        Field::CommercialName,
        Field::ScientificName,
        Field::ProductionMethod,
        Field::CatchArea,
        Field::Gear,
        Field::Defrosted,
        Field::UseBy,
        Field::Storage,
        Field::NetWeight,
        Field::UnitPrice,
        Field::Price,
        Field::LotCode,
        Field::Allergen,
        Field::ShopName,
        Field::ShopAddress,
        Field::CutOn,
        Field::TrayCode,
        Field::QrText,
    ];
    assert_eq!(must(Jurisdiction::Eu, Template::Block, USUAL), expected);
}

/// Reg. (EU) 1379/2013 art. 35(1)(c): gear is that of wild capture; farmed fish has none.
#[test]
fn farmed_fish_needs_no_gear() {
    let farmed = Circumstances { production: Production::Farmed, ..USUAL };
    assert!(!must(Jurisdiction::Eu, Template::Block, farmed).contains(&Field::Gear));
    assert!(must(Jurisdiction::Eu, Template::Block, farmed).contains(&Field::CatchArea));
}

/// Reg. (EU) 1379/2013 art. 35(1)(d) with its exemptions: not of fish frozen for health safety (Reg. 853/2004 Annex III section VIII).
#[test]
fn defrosted_is_not_demanded_of_fish_frozen_against_parasites() {
    let demands =
        |thawed| must(Jurisdiction::Eu, Template::Block, Circumstances { thawed, ..USUAL }).contains(&Field::Defrosted);
    assert!(demands(Thawed::Defrosted));
    assert!(!demands(Thawed::FrozenForSafety));
    assert!(!demands(Thawed::No));
}

/// Reg. (EU) 1169/2011 art. 13(2) and (3), from memory: 1.2 mm, on packs with less than 80 cm² on their largest face 0.9 mm.
#[test]
fn letters_of_the_european_union_are_at_least_1200_or_900_um_from_memory() {
    for (pack, least) in [(Pack::Usual, 1_200), (Pack::Small, 900)] {
        let circumstances = Circumstances { pack, ..USUAL };
        for field in [Field::CommercialName, Field::Storage, Field::NetWeight, Field::Allergen, Field::ShopAddress] {
            let found = rule(Jurisdiction::Eu, Template::Block, circumstances, field).least_x_height_um;
            assert_eq!(found, least, "{field:?}");
        }
    }
}

/// 7 CFR 60.300(a) (source), 60.200 (secondary): origin and method. 21 CFR 101.3, 101.5, 101.7, FD&C Act 403(w), Food Code 3-603.11
/// (memory). Ark. Code 4-18-320 (source): price per pound or kilogram and total beside the net weight.
#[test]
fn the_united_states_ask_for_these_in_reading_order() {
    let expected = [
        Field::CutName,
        Field::CommercialName,
        Field::ProductionMethod,
        Field::OriginCountry,
        Field::Defrosted,
        Field::UseBy,
        Field::Storage,
        Field::NetWeight,
        Field::UnitPrice,
        Field::Price,
        Field::LotCode,
        Field::Allergen,
        Field::Advisory,
        Field::ShopName,
        Field::ShopAddress,
        Field::CutOn,
        Field::TrayCode,
        Field::QrText,
    ];
    assert_eq!(must(Jurisdiction::Us, Template::Block, USUAL), expected);
}

/// 21 CFR 101.7(h) and (i), from memory: the net weight is at least 1/16 inch, that of the letter o where small letters are used.
#[test]
fn the_net_weight_in_the_united_states_is_a_sixteenth_of_an_inch_from_memory() {
    let least = rule(Jurisdiction::Us, Template::Block, USUAL, Field::NetWeight).least_x_height_um;
    assert_eq!(least, (25_400_u32).div_ceil(16));
}

/// Common practice, no source: nothing is priced that is not sold, and what is weighed at the sale has no price yet.
#[test]
fn templates_differ_in_what_they_cost() {
    for jurisdiction in [Jurisdiction::Eu, Jurisdiction::Us] {
        for template in [Template::Bulk, Template::Kitchen] {
            let fields: Vec<Field> = rules(jurisdiction, template, USUAL).iter().map(|rule| rule.field).collect();
            for price in [Field::Price, Field::UnitPrice, Field::OldPrice, Field::Linear] {
                assert!(!fields.contains(&price), "{template:?} has {price:?}");
            }
            assert!(fields.contains(&Field::UseBy) && fields.contains(&Field::LotCode));
        }
        assert!(must(jurisdiction, Template::Kitchen, USUAL).contains(&Field::Notices));
        let tub = must(jurisdiction, Template::Tub, USUAL);
        assert!(tub.contains(&Field::UnitPrice) && !tub.contains(&Field::Price) && !tub.contains(&Field::NetWeight));
        let lowered = |sold| must(jurisdiction, Template::Markdown, Circumstances { sold, ..USUAL });
        for sold in [Sold::Whole, Sold::ByWeight] {
            let fields = lowered(sold);
            assert!(fields.contains(&Field::OldPrice) && fields.contains(&Field::MarkdownReason));
            assert_eq!(fields.contains(&Field::Price), sold == Sold::Whole);
        }
    }
}

#[test]
fn every_rule_names_who_asks_and_stands_once() {
    for jurisdiction in [Jurisdiction::Eu, Jurisdiction::Us] {
        for template in Template::ALL {
            let rules = rules(jurisdiction, template, USUAL);
            for (index, rule) in rules.iter().enumerate() {
                assert!(rule.required_by.len() > 10, "{rule:?}");
                assert!(rules[..index].iter().all(|earlier| earlier.field != rule.field), "{rule:?} stands twice");
            }
        }
    }
    let mut names: Vec<&str> = Field::ALL.iter().map(|field| field.as_str()).collect();
    names.sort_unstable();
    names.dedup();
    assert_eq!(names.len(), Field::ALL.len());
}

/// Reg. (EU) 1379/2013 art. 35(1)(b): the three wordings (source). FAO major areas 01 to 08 are inland waters (FAO area list).
#[test]
fn the_method_of_production_is_in_the_words_of_the_law() {
    let eu = |production, area| production_method(Jurisdiction::Eu, production, area);
    assert_eq!(eu(Production::Wild, "71"), "caught");
    assert_eq!(eu(Production::Wild, "27.8.c"), "caught");
    assert_eq!(eu(Production::Wild, "05"), "caught in freshwater");
    assert_eq!(eu(Production::Farmed, "27"), "farmed");
    for production in [Production::Wild, Production::Farmed] {
        assert!(US_METHODS.contains(&production_method(Jurisdiction::Us, production, "71")));
    }
}

/// Words for the method of production that are accepted in the United States (7 CFR 60.300(a)).
const US_METHODS: [&str; 4] = ["wild caught", "wild", "farm-raised", "farmed"];

/// Whether a text for the method says what is accepted in the United States: one of the words, or both for a blend.
fn is_accepted_us_method(text: &str) -> bool {
    let words = text.trim().to_ascii_lowercase();
    let known = |word: &str| US_METHODS.contains(&word.trim());
    known(&words) || words.split_once(" and ").is_some_and(|(one, other)| known(one) && known(other))
}

/// 7 CFR 60.300(a): the words accepted, both for blends, and examples of words that are not (source).
#[test]
fn only_the_accepted_words_are_accepted_in_the_united_states() {
    for accepted in ["wild caught", "wild", "farm-raised", "farmed", "Wild caught", "wild and farm-raised"] {
        assert!(is_accepted_us_method(accepted), "{accepted}");
    }
    for refused in ["ocean caught", "caught at sea", "cultivated", "cultured", "caught", "wild and cultured", ""] {
        assert!(!is_accepted_us_method(refused), "{refused}");
    }
}

/// Reg. (EU) 1379/2013 Annex III: codes by category; harpoons are not in it (codes: source; English words: memory).
#[test]
fn gear_is_named_by_its_category() {
    let rows = [
        ("SB SDN SSC SPR", "seines"),
        ("TBB OTB PTB OTM PTM OTT", "trawls"),
        ("GNS GND GNC GTR GTN", "gillnets and similar nets"),
        ("PS LA LNB LNS", "surrounding nets and lift nets"),
        ("LHP LHM LLS LLD LTL", "hooks and lines"),
        ("DRB DRH HMD", "dredges"),
        ("FPO", "pots and traps"),
    ];
    for (codes, category) in rows {
        for code in codes.split(' ') {
            assert_eq!(gear_category(code), Some(category), "{code}");
        }
    }
    assert_eq!(gear_category("HAR"), None);
    assert_eq!(gear("HAR"), "harpoon");
}

/// FAO area names (source); Reg. (EU) 1379/2013 art. 38 (secondary): of 27 and 37 the part in words too. 37.1.1 is Balearic (FAO); Bay of
/// Biscay from memory.
#[test]
fn catch_areas_are_in_words() {
    assert_eq!(catch_area("71"), "Pacific, Western Central (FAO 71)");
    assert_eq!(catch_area("37.1.1"), "Mediterranean and Black Sea, Balearic (FAO 37.1.1)");
    assert_eq!(catch_area("27.8.c"), "Atlantic, Northeast, Bay of Biscay (FAO 27.8.c)");
    assert_eq!(catch_area("27.10"), "Atlantic, Northeast, Azores (FAO 27.10)");
    assert_eq!(catch_area("27"), "Atlantic, Northeast (FAO 27)");
    assert_eq!(catch_area("05"), "FAO 05");
}

/// FD&C Act 403(w) and 201(qq), from memory: the statement names the species.
#[test]
fn the_allergen_names_the_species_in_the_united_states_from_memory() {
    assert_eq!(allergen(Jurisdiction::Us, "Tuna"), "Contains: Fish (Tuna)");
    assert_eq!(allergen(Jurisdiction::Eu, "Tuna"), "Contains fish");
}

/// 0.268 kg are 0.590839 lb, 0.195 kg 0.429901 lb, 18.6 and 31.4 kg 41.005981 and 69.225150 lb (computed from 1 lb = 0.45359237 kg, NIST SP
/// 811 footnote 22); 0.4536 kg are just above a pound and 0.4535 kg just below, which whole grams pass over: 454 and 453 g. Three decimals
/// (15 USC 1453(a)(3): memory), rounded down (NIST labelling fact sheet: secondary).
#[test]
fn pounds_are_rounded_down_to_three_decimals() {
    let rows = [
        (268, "0.590 lb"),
        (195, "0.429 lb"),
        (18_600, "41.005 lb"),
        (31_400, "69.225 lb"),
        (454, "1.000 lb"),
        (453, "0.998 lb"),
        (0, "0.000 lb"),
    ];
    for (weight, text) in rows {
        assert_eq!(
            WeightUnit::Pound.write(grams(weight), DecimalMark::Point).split(" (").next(),
            Some(text),
            "{weight} g"
        );
    }
    assert_eq!(WeightUnit::Pound.write(grams(268), DecimalMark::Point), "0.590 lb (268 g)");
    assert_eq!(WeightUnit::Kilogram.write(grams(1_268), DecimalMark::Point), "1.268 kg");
}
