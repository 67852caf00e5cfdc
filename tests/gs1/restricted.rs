//! Restricted numbers with a price or weight in them, and the digit that verifies it.

use sakudana::domain::gs1::check::verifier;
use sakudana::domain::gs1::fault::What;
use sakudana::domain::gs1::own::{Carried, Codes, Linear};
use sakudana::domain::gs1::restricted::{Layout, Measure, is_restricted};
use sakudana::units::mass::Grams;
use sakudana::units::money::Cents;

/// V1: BIIP docstring and test. V2, V4: inside BIIP's British and German tests. V3, V5: computed by the weights of GENSPECS 7.9.2. All
/// fields of V6 are asked of BIIP in `independent`.
#[test]
fn verifiers() {
    let rows = [
        ("2875", 9),
        ("1234", 9),
        ("4321", 5),
        ("2495", 6),
        ("1997", 4),
        ("0299", 6),
        ("0500", 7),
        ("1799", 9),
        ("0000", 0),
    ]
    .into_iter()
    .chain([
        ("00239", 4),
        ("00012", 9),
        ("54321", 4),
        ("01997", 1),
        ("00268", 5),
        ("12345", 8),
        ("00500", 6),
        ("00000", 0),
    ]);
    for (field, digit) in rows {
        assert_eq!(verifier(field), Some(digit), "V1 to V5 {field}");
    }
    for other in ["123", "123456", "abc", "", "12a4", "1234x", "⁰⁰⁰⁰", "⁰⁰"] {
        assert_eq!(verifier(other), None, "{other}");
    }
}

fn layout(text: &str) -> Layout {
    Layout::parse(text).unwrap_or_else(|fault| panic!("{text}: {fault}"))
}

/// C1 to C7: BIIP tests (its country rules), C3 computed and BIIP agrees. C12: format of AIDC, that it is the custom of the US is from memory;
/// digits computed. C13: AIDC test/variable-measure-rcn.test.ts, the first computed. C8, C9: the same with no measure, BIIP.
#[test]
fn published_numbers() {
    // Layout, number, item, digits of the measure, and the number with measure 0 where it is published.
    let rows = [
        ("C1", "20IIIIIVPPPPC", "2011122912346", 11122, 1234, "2011122000005"),
        ("C2", "22IIIIVPPPPPC", "2211114002394", 1111, 239, "2211110000004"),
        ("C2", "23IIIIVPPPPPC", "2330714002396", 3071, 239, "2330710000006"),
        ("C2", "25IIIIVWWWWWC", "2511119000129", 1111, 12, "2511110000005"),
        ("C2", "26IIIIVWWWWWC", "2630719000121", 3071, 12, "2630710000007"),
        ("C3", "28IIIIVWWWWWC", "2830715002680", 3071, 268, "2830710000001"),
        ("C4", "21IIIIPPPPPPC", "2135040039753", 3504, 3975, ""),
        ("C4", "22IIIIPPPPPPC", "2235040039750", 3504, 3975, ""),
        ("C4", "23IIIIPPPPPPC", "2335040039757", 3504, 3975, ""),
        ("C4", "24IIIIPPPPPPC", "2435040039754", 3504, 3975, ""),
        ("C4", "26IIIIWWWWWWC", "2623570001505", 2357, 150, ""),
        ("C4", "28IIIIWWWWWWC", "2823570001509", 2357, 150, ""),
        ("C4", "27IIIIIWWWWWC", "2712341002251", 12341, 225, "2712341000004"),
        ("C5", "23IIIIIIWWWWC", "2388060112344", 880601, 1234, ""),
        ("C5", "24IIIIIIWWWWC", "2488060112341", 880601, 1234, ""),
        ("C5", "25IIIIIIWWWWC", "2588060112348", 880601, 1234, ""),
        ("C5", "23IIIIIIWWWWC", "2311111112345", 111111, 1234, "2311111100007"),
        ("C5", "24IIIIIIWWWWC", "2411111112342", 111111, 1234, ""),
        ("C5", "25IIIIIIWWWWC", "2511111112349", 111111, 1234, ""),
        ("C6", "20IIIIIIPPPPC", "2088060112343", 880601, 1234, "2088060100005"),
        ("C6", "21IIIIIIPPPPC", "2188060112340", 880601, 1234, ""),
        ("C6", "22IIIIIIPPPPC", "2288060112347", 880601, 1234, ""),
        ("C7", "23IIIIIIWWWWC", "2302148210869", 21482, 1086, "2302148200006"),
        ("C7", "23IIIIIIWWWWC", "2368091402263", 680914, 226, ""),
        ("C12", "2IIIIIVPPPPC", "212345543214", 12345, 4321, ""),
        ("C12", "2IIIIIVPPPPC", "200042419970", 42, 1997, ""),
        ("C13", "2IIIIVPPPPPC", "212344543215", 1234, 54321, ""),
        ("C13", "2PPPPPIIIIIC", "254321123454", 12345, 54321, ""),
        ("C13", "27PPPPPIIIIIC", "2754321123457", 12345, 54321, ""),
    ];
    for (id, text, number, item, measure, without) in rows {
        let layout = layout(text);
        let parts = layout.read(number).unwrap_or_else(|fault| panic!("{id} {number}: {fault}"));
        assert_eq!((parts.item, parts.measure), (item, measure), "{id} {number}");
        assert_eq!(layout.build(item, measure).as_deref(), Ok(number), "{id}");
        assert_eq!(layout.read(&format!("0{number}")), Ok(parts), "C11: a zero before it");
        if !without.is_empty() {
            assert_eq!(layout.build(item, 0).as_deref(), Ok(without), "C8/C9 {id}");
        }
    }
    let fault = |text: &str, number: &str| layout(text).read(number).map_err(|fault| fault.what);
    assert_eq!(fault("20IIIIIVPPPPC", "2011122812349"), Err(What::Verifier), "C1: expected 9, got 8");
    assert_eq!(fault("25IIIIVWWWWWC", "2511118000120"), Err(What::Verifier), "C2: expected 9, got 8");
    assert_eq!(fault("28IIIIVWWWWWC", "2911111111111"), Err(What::OtherLayout), "C10");
    assert_eq!(fault("22IIIIVPPPPPC", "02211114002394").map(|_| ()), Ok(()), "C11");
    assert_eq!(fault("25IIIIVWWWWWC", "02511119000129").map(|_| ()), Ok(()), "C11");
    assert_eq!(fault("20IIIIIVPPPPC", "2011122912345"), Err(What::CheckDigit));
    assert_eq!(fault("20IIIIIVPPPPC", "10201112291234"), Err(What::CheckDigit));
    for no_number in ["", "1", "201112291234x", "20111229123460000", "２０"] {
        assert_eq!(fault("20IIIIIVPPPPC", no_number), Err(What::NotNumber), "{no_number}");
    }
}

/// C14: AIDC tests; the rows behind are ours.
#[test]
fn what_is_no_layout() {
    for text in [
        "3PPPPPIIIIIC",
        "20PPPPPIIIIC",
        "2PPPPPIIIIII",
        "2PPPPPIIIIKC",
        "2PPPPPIIPIIC",
        "2PPIPPIIIIIC",
        "2PPPPPIIIIC",
        "2PPPPPIIIIIIC",
        "2PPPPPPPPPPC",
        "2IIIIIIIIIIC",
        "",
        "2IIIIVVPPPPC",
        "29IIIVPPPPPPC",
        "29IIIIIIIVPPC",
        "29IIIIPPPWWWC",
        "29IIIIICPPPPC",
        "2é",
        "29IIIIVPPPPé",
    ] {
        assert_eq!(Layout::parse(text).map_err(|fault| fault.what), Err(What::Layout), "C14 {text}");
    }
    assert_eq!(layout("2IIIIVPPPPPC").measure(), Measure::Price);
    assert_eq!(layout("28IIIIVWWWWWC").measure(), Measure::Weight);
}

/// R3: four digits hold 99.99, five 999.99; 120.00 does not fit four. Field widths, computed.
#[test]
fn what_does_not_fit_is_refused_and_never_cut_short() {
    let codes = |text: &str, decimals| Codes {
        gs1_prefix: None,
        linear: Some(Linear { layout: layout(text), decimals, money_decimals: 2 }),
    };
    let number = |codes: &Codes, item, cents, grams| {
        let (price, weight) = (Cents::new(cents).unwrap(), Grams::new(grams).unwrap());
        codes.linear_number(item, price, weight).map_err(|fault| fault.what)
    };
    let four = codes("2IIIIIVPPPPC", 2);
    assert_eq!(number(&four, 42, 1_997, 268), Ok(Some("200042419970".into())));
    assert_eq!(number(&four, 42, 9_999, 268).map(|n| n.is_some()), Ok(true));
    assert_eq!(number(&four, 42, 12_000, 268), Err(What::DoesNotFit));
    assert_eq!(number(&four, 42, 10_000, 268), Err(What::DoesNotFit));
    let five = codes("29IIIIVPPPPPC", 2);
    assert_eq!(number(&five, 42, 99_999, 268).map(|n| n.is_some()), Ok(true));
    assert_eq!(number(&five, 42, 100_000, 268), Err(What::DoesNotFit));
    assert_eq!(number(&five, 10_000, 1_997, 268), Err(What::DoesNotFit), "an item of five digits in four");
    assert_eq!(number(&five, 42, 0, 268), Err(What::DoesNotFit), "a price of nothing");
    // A price with cents in a layout without decimals, a weight with grams in one with two.
    let whole = codes("29IIIIVPPPPPC", 0);
    assert_eq!(number(&whole, 42, 1_997, 268), Err(What::DoesNotFit));
    assert_eq!(number(&whole, 42, 2_000, 268).map(|n| n.is_some()), Ok(true));
    let tens = codes("29IIIIVWWWWWC", 2);
    assert_eq!(number(&tens, 42, 1_997, 268), Err(What::DoesNotFit));
    assert_eq!(number(&tens, 42, 1_997, 270).map(|n| n.is_some()), Ok(true));
    assert_eq!(number(&Codes::default(), 42, 1_997, 268), Ok(None));
}

#[test]
fn every_printed_number_reads_back() {
    for (text, decimals) in [("29IIIIVPPPPPC", 2), ("29IIIIVPPPPPC", 3), ("2IIIIIVPPPPC", 2), ("27PPPPPIIIIIC", 2)] {
        let linear = Linear { layout: layout(text), decimals, money_decimals: 2 };
        let codes = Codes { gs1_prefix: None, linear: Some(linear.clone()) };
        for (item, cents) in (1..9_999).step_by(97).zip((1..99_999).step_by(613)) {
            let price = Cents::new(cents).unwrap();
            if let Ok(Some(number)) = codes.linear_number(item, price, Grams::ZERO) {
                assert_eq!(linear.read(&number), Ok((item, Carried::Price(price))), "{text} {number}");
            }
        }
    }
    let linear = Linear { layout: layout("28IIIIVWWWWWC"), decimals: 3, money_decimals: 2 };
    assert_eq!(linear.read("2830715002680"), Ok((3_071, Carried::Weight(Grams::new(268).unwrap()))), "C3");
    assert_eq!(
        linear.read("2830710000001").map_err(|f| f.what),
        Err(What::OtherLayout),
        "a price table's number is no tray"
    );
}

/// R2: BIIP rcn.py, citing GENSPECS 2.1.11 and 2.1.12.
#[test]
fn restricted_article_numbers() {
    for article in ["02900000001015", "02000000000000", "00200000000000", "00400000000000"] {
        assert!(is_restricted(article), "{article}");
    }
    for article in ["99520123456781", "09520123456788", "2900000001015", "00614141123452", ""] {
        assert!(!is_restricted(article), "{article}");
    }
}
