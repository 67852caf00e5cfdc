//! Every form of a scan, and the reason of everything that is none.

use super::{Claims, LIMIT, Scanned, read};
use crate::domain::gs1::own::{Carried, Codes, Linear};
use crate::domain::gs1::restricted::Layout;
use crate::domain::hours::OpeningHours;
use crate::domain::profile::Rules;
use crate::domain::refusal::Code;
use crate::domain::shop::{Jurisdiction, Shop};
use crate::domain::terms::ShopTerms;
use crate::domain::tray_code::TrayCode;
use crate::units::currency::{Currency, DecimalMark, WeightUnit};
use crate::units::mass::Grams;
use crate::units::money::Cents;
use crate::units::zone::Zone;

const ARTICLE: &str = "02900000001015";

fn shop(prefix: Option<&str>, layout: Option<&str>) -> Shop {
    let linear = layout.map(|text| Linear { layout: Layout::parse(text).unwrap(), decimals: 2, money_decimals: 2 });
    Shop {
        name: "Test".into(),
        address: "1 Quay".into(),
        zone: Zone::UTC,
        currency: Currency::new("EUR", "€", false, DecimalMark::Point).unwrap(),
        weight_unit: WeightUnit::Kilogram,
        jurisdiction: Jurisdiction::Eu,
        rules: Rules::of(Jurisdiction::Eu),
        web_address: "https://fish.example".into(),
        codes: Codes { gs1_prefix: prefix.map(Into::into), linear },
        reversal_minutes: 15,
        drip_permille: 5,
        receiving_scale_g: 20,
        bench_scale_g: 2,
        bench_minutes: 20,
        hours: OpeningHours::default(),
        terms: ShopTerms::default(),
    }
}

fn code() -> TrayCode {
    (1..).find_map(TrayCode::from_number).unwrap()
}

fn claims() -> Claims {
    Claims {
        article: Some(ARTICLE.into()),
        lot: Some("YFT-261125-01".into()),
        net_weight: Grams::new(268).ok(),
        price: Cents::new(1_997).ok(),
        use_by: Some("261127".into()),
        use_by_time: None,
    }
}

#[test]
fn every_legal_form_reads_to_the_same_tray() {
    let c = code();
    let bare = [
        c.to_string(),
        c.grouped(),
        c.to_string().to_lowercase(),
        format!("\u{2}{c}\u{3}\r\n"),
        format!("]C0{c}"),
        format!("\u{feff}{c}\t"),
    ];
    for form in bare {
        let expected = Scanned::Tray { code: c, claims: Claims::default() };
        assert_eq!(read(&form, &shop(None, None)), Ok(expected), "{form:?}");
    }
    let tray = format!("01/{ARTICLE}/10/YFT-261125-01/21/{c}?3103=000268&17=261127&3922=1997");
    let elements = format!("01{ARTICLE}310300026817261127{{}}39221997{{}}10YFT-261125-01{{}}21{c}");
    let separated = |by: &str| elements.replace("{}", by).replacen(by, "", 1);
    let full = [
        format!("https://fish.example/{tray}"),
        format!("]Q1https://fish.example/{tray}\r\n"),
        format!("\u{2}]q1http://fish.example/{tray}#x"),
        format!("HTTPS://FISH.EXAMPLE/{tray}").to_uppercase(),
        format!("https://fish.example:443/{tray}&linkType=gs1:pip"),
        format!("https://fish.example./t/{tray}"),
        format!("https://fish.example/01/{ARTICLE}/10/YFT%2D261125-01/21/{c}?17=261127&&3922=1997&word&3103=000268"),
        // The same numbers with other decimals.
        format!("https://fish.example/01/{ARTICLE}/10/YFT-261125-01/21/{c}?3105=026800&17=261127&3923=19970"),
        format!("(01){ARTICLE}(3103)000268(17)261127(3922)1997(10)YFT-261125-01(21){c}"),
        format!("(21){c}(10)YFT-261125-01(3922)1997(17)261127(3103)000268(01){ARTICLE}"),
        format!("]Q3{}", separated("\u{1d}")),
        format!("]d2{}\u{1d}", separated("\u{1d}")),
        format!("]C1\u{1d}{}", separated("\u{1d}")),
        separated("\u{1d}"),
        format!("\u{1d}{}\r", separated("\u{1d}")),
        separated("^"),
        format!("^{}", separated("^")),
        separated("{GS}"),
        separated("{gs}"),
        separated("<GS>"),
        format!("<GS>{}", separated("<GS>")),
        elements.replace("{}", "\u{1d}"),
    ];
    for form in full {
        let expected = Scanned::Tray { code: c, claims: claims() };
        assert_eq!(read(&form, &shop(None, None)), Ok(expected), "{form:?}");
    }
    let lower = format!("https://fish.example/{}", tray.to_lowercase());
    let Ok(Scanned::Tray { code: found, claims }) = read(&lower, &shop(None, None)) else { panic!("{lower}") };
    assert_eq!((found, claims.lot.as_deref()), (c, Some("yft-261125-01")), "scanners may change the case");
}

#[test]
fn articles_of_the_shops_own_prefix() {
    let c = code();
    let own = shop(Some("0614141"), None);
    let number = own.codes.article(101).number().unwrap();
    assert!(number.starts_with("90614141"));
    let link = |article: &str| read(&format!("https://fish.example/01/{article}/21/{c}"), &own).map_err(|r| r.code);
    assert!(link(&number).is_ok());
    assert!(link(ARTICLE).is_ok(), "labels from before the prefix are still about");
    assert_eq!(link("99520123456781"), Err(Code::OtherShop));
    assert_eq!(link("00614141123452"), Err(Code::OtherShop), "the prefix, but not of variable measure");
}

#[test]
fn linear_codes() {
    let price = shop(None, Some("29IIIIVPPPPPC"));
    let number = price.codes.linear_number(101, Cents::new(1_997).unwrap(), Grams::new(268).unwrap()).unwrap().unwrap();
    let expected = Scanned::Linear { item_number: 101, carried: Carried::Price(Cents::new(1_997).unwrap()) };
    for form in [number.clone(), format!("]E0{number}\r"), format!("0{number}"), format!("\u{2}{number}")] {
        assert_eq!(read(&form, &price), Ok(expected.clone()), "{form:?}");
    }
    let upc = shop(None, Some("2IIIIIVPPPPC"));
    for form in ["200042419970", "0200042419970", "]E00200042419970"] {
        let expected = Scanned::Linear { item_number: 42, carried: Carried::Price(Cents::new(1_997).unwrap()) };
        assert_eq!(read(form, &upc), Ok(expected), "{form}");
    }
    let code_of = |text: &str, shop: &Shop| read(text, shop).map_err(|refusal| refusal.code);
    let slip = format!("{}{}", &number[..12], (number.as_bytes()[12] - b'0' + 1) % 10);
    assert_eq!(code_of(&slip, &price), Err(Code::WrongCheckDigit));
    // C1 of the tables: a verifier of 8 where 9 is right, BIIP test.
    assert_eq!(code_of("2011122812349", &shop(None, Some("20IIIIIVPPPPC"))), Err(Code::WrongCheckDigit));
    for foreign in ["4006381333931", "2011122912346", "02345673", &ARTICLE[1..], ARTICLE] {
        assert_eq!(code_of(foreign, &price), Err(Code::NotACode), "{foreign}");
        assert_eq!(code_of(foreign, &shop(None, None)), Err(Code::NotACode), "{foreign}");
    }
}

#[test]
fn everything_else_has_its_own_reason() {
    let c = code();
    let own = format!("https://fish.example/01/{ARTICLE}");
    let rows = [
        (format!("https://other.example/01/{ARTICLE}/21/{c}"), Code::OtherShop),
        (format!("https://fish.example.evil/01/{ARTICLE}/21/{c}"), Code::OtherShop),
        (format!("https://fish.example:444/01/{ARTICLE}/21/{c}"), Code::OtherShop),
        // Whatever else is wrong with it: it is theirs.
        (format!("https://other.example/01/02900000001011/21/{c}"), Code::OtherShop),
        (format!("https://fish.example/01/99520123456781/21/{c}"), Code::OtherShop),
        (format!("(01)99520123456781(21){c}"), Code::OtherShop),
        (format!("https://fish.example/01/02900000001011/21/{c}"), Code::WrongCheckDigit),
        (format!("(01)02900000001011(21){c}"), Code::WrongCheckDigit),
        (format!("]Q30102900000001011\u{1d}21{c}"), Code::WrongCheckDigit),
        (format!("{own}/21/{c}?3922=1997"), Code::NotACode),
        (format!("{own}/21/{c}?17=261332"), Code::NotACode),
        (format!("{own}/21/{c}/10/A"), Code::NotACode),
        (format!("{own}/21/{c}?3105=026801"), Code::CodeContradicts),
        (format!("{own}/21/{c}?3203=000590"), Code::CodeContradicts),
        (format!("{own}/21/{c}?3103=000268&3932=9781997"), Code::CodeContradicts),
        (format!("{own}/21/{c}?3103=000268&3923=19975"), Code::CodeContradicts),
        (own, Code::NotACode),
        (format!("(01){ARTICLE}"), Code::NotACode),
        (format!("01{ARTICLE}10A"), Code::NotACode),
        ("https://fish.example".into(), Code::NotACode),
        ("https://other.example/menu".into(), Code::NotACode),
        (format!("ftp://fish.example/01/1/21/{c}"), Code::NotACode),
        (format!("HtTps://fish.example/01/{ARTICLE}/21/{c}"), Code::NotACode),
        (format!("https://fish.example/tray/{c}"), Code::NotACode),
        ("4006381333931".into(), Code::NotACode),
        ("4006381333932".into(), Code::WrongCheckDigit),
        ("]Q".into(), Code::NotACode),
        ("]Q3".into(), Code::NotACode),
        ("]é1".into(), Code::NotACode),
        ("".into(), Code::NotACode),
        ("\u{1d}\u{1d}".into(), Code::NotACode),
        ("^".into(), Code::NotACode),
        ("(".into(), Code::NotACode),
        ("C".repeat(LIMIT + 1), Code::NotACode),
        ("é".into(), Code::NotACode),
    ];
    for (text, expected) in rows {
        assert_eq!(read(&text, &shop(None, None)).map_err(|r| r.code), Err(expected), "{text:?}");
    }
    let swapped: String = c.to_string().chars().rev().collect();
    assert!(read(&swapped, &shop(None, None)).is_err());
}

/// `<GS>` may stand in a lot. Where both readings name a tray the QR has to be scanned; where one does, it is that.
#[test]
fn a_separator_in_letters_must_not_be_ambiguous() {
    let (c, d) = (code(), (2..).find_map(TrayCode::from_number).filter(|d| *d != code()));
    let d = d.or_else(|| (900..).find_map(TrayCode::from_number)).unwrap();
    assert_ne!(c, d);
    let one = format!("01{ARTICLE}10A<GS>21{c}");
    assert!(matches!(read(&one, &shop(None, None)), Ok(Scanned::Tray { code, .. }) if code == c));
    let literal = format!("01{ARTICLE}10A<GS>B\u{1d}21{c}");
    let Ok(Scanned::Tray { claims, .. }) = read(&literal, &shop(None, None)) else { panic!("{literal}") };
    assert_eq!(claims.lot.as_deref(), Some("A<GS>B"), "B is no identifier");
    let both = format!("01{ARTICLE}10A<GS>90B\u{1d}21{c}");
    assert_eq!(read(&both, &shop(None, None)).map_err(|r| r.code), Err(Code::NotACode));
}

proptest::proptest! {
    #[test]
    fn no_text_panics(text in ".{0,60}") {
        let _ = read(&text, &shop(Some("0614141"), Some("29IIIIVPPPPPC")));
    }

    #[test]
    fn a_changed_character_never_names_another_tray(number in 1_u64..1_000_000, position in 0_usize..7, wrong in "[0-9A-Z]") {
        if let Some(c) = TrayCode::from_number(number) {
            let mut text: Vec<char> = c.to_string().chars().collect();
            text[position] = wrong.chars().next().unwrap_or('C');
            let text: String = text.into_iter().collect();
            if let Ok(Scanned::Tray { code, .. }) = read(&text, &shop(None, None)) {
                proptest::prop_assert_eq!(code, c);
            }
        }
    }
}
