//! What we build, read by an implementation that has nothing to do with ours (BIIP), and where the two differ on purpose.

use crate::support::python::lines;
use chrono::{Days, NaiveDate};
use sakudana::domain::gs1::check::verifier;
use sakudana::domain::gs1::dates;
use sakudana::domain::gs1::elements;
use sakudana::domain::gs1::fault::What;
use sakudana::domain::gs1::link;
use sakudana::domain::gs1::message::Message;
use sakudana::domain::gs1::own::Article;
use sakudana::domain::gs1::restricted::Layout;
use sakudana::domain::gs1::rules;
use sakudana::domain::gs1::tray_link::TrayLink;
use sakudana::domain::tray_code::TrayCode;
use sakudana::units::mass::Grams;
use sakudana::units::money::Cents;
use serde_json::{Value, json};

/// Answers each address or element string with its elements: identifier, value, number, date. A wrong check digit is an error here,
/// though BIIP only notes it (O3).
const READ: &str = r#"
import json, sys
from biip.gs1_digital_link_uris import GS1DigitalLinkURI
from biip.gs1_messages import GS1Message
for line in sys.stdin:
    text = json.loads(line)
    try:
        message = GS1DigitalLinkURI.parse(text) if '://' in text else GS1Message.parse(text)
        answer = []
        for e in message.element_strings:
            if e.gtin_error:
                raise ValueError(e.gtin_error)
            number = None if e.decimal is None else format(e.decimal, 'f')
            answer.append([e.ai.ai, e.value, number, None if e.date is None else e.date.isoformat()])
    except Exception as error:
        answer = {'error': str(error)[:200]}
    print(json.dumps(answer))
"#;

/// Answers `[region, number]` with price, weight and count, as text without zeros at the end.
const RESTRICTED: &str = r#"
import json, sys
import biip
for line in sys.stdin:
    region, number = json.loads(line)
    try:
        read = biip.parse(number, config=biip.ParseConfig(rcn_region=region)).gtin
        text = lambda value: None if value is None else format(value.normalize(), 'f')
        answer = [text(read.price), text(read.weight), read.count]
    except Exception as error:
        answer = {'error': str(error)[:200]}
    print(json.dumps(answer))
"#;

const VERIFIER: &str = "
import sys
from biip.checksums import gs1_price_weight_check_digit
for line in sys.stdin:
    print(gs1_price_weight_check_digit(line.strip()))
";

/// Numbers that look like chance and are the same every time.
fn dice(seed: u64) -> impl FnMut(u64) -> u64 {
    let mut state = seed;
    move |below| {
        state = state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mixed = (state ^ (state >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb) % below
    }
}

fn asked(texts: &[String]) -> Vec<Value> {
    let questions: Vec<String> = texts.iter().map(|text| json!(text).to_string()).collect();
    lines(READ, &questions).iter().map(|answer| serde_json::from_str(answer).unwrap()).collect()
}

/// A tray's code as we say it, and what every reader must find in it, in the order of the address.
struct Said {
    address: String,
    element_string: String,
    expected: Vec<Value>,
}

fn said(number: u64, roll: &mut impl FnMut(u64) -> u64) -> Said {
    const SET: &[u8] = b"!\"%&'()*+,-./0123456789:;<=>?ABCDEFGHIJKLMNOPQRSTUVWXYZ_abcdefghijklmnopqrstuvwxyz";
    let lot: String = match number % 3 {
        0 => format!("YFT-{:06}-{:02}", roll(1_000_000), roll(100)),
        _ => (0..=roll(20)).take(20).map(|_| char::from(SET[usize::try_from(roll(82)).unwrap()])).collect(),
    };
    let tray = (number..).find_map(TrayCode::from_number).unwrap().to_string();
    let prefix: String = (0..4 + roll(4)).map(|_| char::from(b'0' + u8::try_from(roll(10)).unwrap())).collect();
    let item_number = 1 + i64::try_from(roll(99_999)).unwrap();
    let article = match number % 2 {
        0 => Article::Restricted { item_number },
        _ => Article::Gtin { prefix: &prefix, item_number },
    };
    let (grams, cents) = (1 + roll(999_999), roll(1_000_000));
    let weight_and_price = (!number.is_multiple_of(5)).then(|| {
        (Grams::new(i64::try_from(grams).unwrap()).unwrap(), Cents::new(i64::try_from(cents).unwrap()).unwrap())
    });
    let day = NaiveDate::from_ymd_opt(2026, 1, 1).unwrap().checked_add_days(Days::new(roll(365 * 20))).unwrap();
    let use_by = (!number.is_multiple_of(7)).then_some(day);
    let link = TrayLink {
        money_decimals: 2,
        base: "https://fish.example",
        article: article.clone(),
        lot_code: &lot,
        tray_code: &tray,
        weight_and_price,
        use_by,
        use_by_time: None,
    };
    let mut expected = vec![
        json!(["01", article.number().unwrap(), null, null]),
        json!(["10", lot, null, null]),
        json!(["21", tray, null, null]),
    ];
    if weight_and_price.is_some() {
        expected.push(json!(["3103", format!("{grams:06}"), format!("{}.{:03}", grams / 1_000, grams % 1_000), null]));
    }
    if use_by.is_some() {
        expected.push(json!(["17", day.format("%y%m%d").to_string(), null, day.to_string()]));
    }
    if weight_and_price.is_some() {
        expected.push(json!(["3922", format!("{cents:03}"), format!("{}.{:02}", cents / 100, cents % 100), null]));
    }
    Said { address: link.address().unwrap(), element_string: link.element_string().unwrap(), expected }
}

#[test]
fn every_code_of_a_tray_is_read_alike() {
    let mut roll = dice(1);
    let all: Vec<Said> = (1..=3_000).map(|number| said(number, &mut roll)).collect();
    let addresses: Vec<String> = all.iter().map(|said| said.address.clone()).collect();
    for (said, answer) in all.iter().zip(asked(&addresses)) {
        assert_eq!(answer, json!(said.expected), "{}", said.address);
    }
    let strings: Vec<String> = all.iter().map(|said| said.element_string.clone()).collect();
    for (said, answer) in all.iter().zip(asked(&strings)) {
        // In an element string those of fixed length stand first.
        let sorted = |list: &[Value]| {
            let mut list: Vec<String> = list.iter().map(Value::to_string).collect();
            list.sort();
            list
        };
        let found = answer.as_array().unwrap_or_else(|| panic!("{}: {answer}", said.element_string));
        assert_eq!(sorted(found), sorted(&said.expected), "{}", said.element_string);
    }
    // And by ourselves, to the same values.
    for said in &all {
        let values: Vec<Value> = said.expected.iter().map(|element| json!([element[0], element[1]])).collect();
        let read = link::read(&said.address).unwrap().message;
        let found: Vec<Value> = read.elements().iter().map(|element| json!([element.ai, element.value])).collect();
        assert_eq!(found, values, "{}", said.address);
        let again = elements::read_data(&said.element_string, elements::GS).unwrap();
        assert_eq!(again.elements().len(), read.elements().len());
        assert!(read.elements().iter().all(|element| again.value(&element.ai) == Some(&element.value)));
    }
}

/// The published addresses of `links` that BIIP takes, element by element.
#[test]
fn published_addresses_are_read_alike() {
    let addresses: Vec<String> = [
        "https://id.gs1.org/01/09520123456788/10/ABC1/21/12345?17=180426",
        "https://example.com/01/09520123456788?3103=000195&3922=0299&17=201225",
        "https://id.gs1.org/01/09520123456788/22/2A",
        "https://id.gs1.org/01/09520123456788/235/XYZ?10=ABC123",
        "https://a/01/12312312312333/22/TEST/10/ABC/21/XYZ",
        "https://example.com/01/99520123456781/10/A%2FB",
        "https://id.gs1.org/414/9520123456788/254/32a%2Fb",
        "https://example.com/01/09506000134352/10/a%2Bb?17=261200",
        "https://example.com/t/01/09506000134352/10/ABC1?t=tray7",
        "https://example.com/01/99520123456781?3103=000268&7003=2703151830&3922=1997&7008=YFT&7005=71&7009=LHP&7010=01",
    ]
    .map(str::to_owned)
    .to_vec();
    for (address, answer) in addresses.iter().zip(asked(&addresses)) {
        let ours = link::read(address).unwrap().message;
        let ours: Vec<Value> = ours.elements().iter().map(|element| json!([element.ai, element.value])).collect();
        let theirs: Vec<Value> =
            answer.as_array().unwrap_or_else(|| panic!("{answer}")).iter().map(|e| json!([e[0], e[1]])).collect();
        assert_eq!(ours, theirs, "{address}");
    }
}

/// O1 to O11: BIIP takes them, the GS1 Barcode Syntax Engine and we do not; O12 the other way round. When one of these rows fails, BIIP has
/// changed and the row is done with.
#[test]
fn known_differences() {
    let base = "https://example.com/01/09520123456788";
    let rows: Vec<(&str, String, What)> = vec![
        ("O1", "011234567890123137 5".replace(' ', ""), What::Excluded),
        ("O2", "10ABC123".into(), What::Required),
        ("O2", "01995201234567813922 1997".replace(' ', ""), What::Required),
        ("O4", "70032703001830".into(), What::Day),
        ("O5", "422999".into(), What::Country),
        ("O6", "400ABC\u{1d}400XYZ".into(), What::RepeatedDifferently),
        ("O7", "https://a/01/2112345678900".into(), What::ValueTooShort),
        ("O8", format!("{base}?10=ABC123"), What::NotAnAttribute),
        ("O8", format!("{base}/10/ABC123?10=ABC123"), What::Twice),
        ("O9", format!("{base}?99="), What::ValueEmpty),
        ("O9", format!("{base}?99=ABC&999=faux"), What::UnknownIdentifier),
        ("O10", "HtTp://a/01/09520123456788".into(), What::Scheme),
        ("O11", format!("{base}?8200=x"), What::NotAnAttribute),
    ];
    let texts: Vec<String> = rows.iter().map(|(_, text, _)| text.clone()).collect();
    for ((id, text, expected), answer) in rows.iter().zip(asked(&texts)) {
        assert!(answer.is_array(), "{id} {text}: {answer}");
        let ours = if text.contains("://") {
            link::read(text).map(|_| ())
        } else {
            elements::read_data(text, elements::GS).and_then(|message| rules::check(&message))
        };
        assert_eq!(ours.map_err(|fault| fault.what), Err(*expected), "{id} {text}");
    }
    let rightmost = "https://a/00/faux/00/006141411234567890".to_owned();
    assert!(link::read(&rightmost).is_ok(), "O12");
    assert!(asked(&[rightmost])[0].is_object(), "O12");
    // O13: superfluous separators, where all agree.
    let superfluous: Vec<String> =
        ["0112345678901231\u{1d}", "0112345678901231\u{1d}991234"].map(str::to_owned).to_vec();
    for (text, answer) in superfluous.iter().zip(asked(&superfluous)) {
        let ours = elements::read_data(text, elements::GS).unwrap();
        assert_eq!(answer.as_array().map(Vec::len), Some(ours.elements().len()), "O13 {answer}");
    }
    // O3 is in the question itself; here that the question asks it.
    assert!(asked(&["0199520123456782".to_owned()])[0].is_object(), "O3");
    assert_eq!(Message::of(&[("01", "99520123456782")]).map_err(|f| f.what), Err(What::CheckDigit), "O3");
}

/// V6: every field of four and of five digits.
#[test]
fn every_verifier_agrees() {
    let fields: Vec<String> =
        (0..10_000).map(|n| format!("{n:04}")).chain((0..100_000).map(|n| format!("{n:05}"))).collect();
    for (field, theirs) in fields.iter().zip(lines(VERIFIER, &fields)) {
        assert_eq!(verifier(field).map(|digit| digit.to_string()), Some(theirs), "V6 {field}");
    }
}

/// Layouts that are the rules of a country BIIP knows (C1 to C7), filled by us.
#[test]
fn restricted_numbers_are_read_alike() {
    // Region, layout, decimals, and which of price, weight and count it is.
    let rows = [
        ("gb", "20IIIIIVPPPPC", 2, 0),
        ("de", "22IIIIVPPPPPC", 2, 0),
        ("de", "23IIIIVPPPPPC", 2, 0),
        ("de", "25IIIIVWWWWWC", 0, 2),
        ("de", "28IIIIVWWWWWC", 3, 1),
        ("de", "29IIIIVWWWWWC", 3, 1),
        ("dk", "21IIIIPPPPPPC", 2, 0),
        ("dk", "26IIIIWWWWWWC", 3, 1),
        ("dk", "27IIIIIWWWWWC", 3, 1),
        ("fi", "23IIIIIIWWWWC", 3, 1),
        ("ee", "24IIIIIIWWWWC", 2, 1),
        ("se", "20IIIIIIPPPPC", 2, 0),
        ("se", "25IIIIIIWWWWC", 1, 1),
        ("no", "23IIIIIIWWWWC", 3, 1),
    ];
    let mut roll = dice(2);
    let (mut questions, mut expected) = (Vec::new(), Vec::new());
    for (region, text, decimals, place) in rows {
        let layout = Layout::parse(text).unwrap();
        let width = |letters: [char; 2]| u32::try_from(text.matches(letters).count()).unwrap();
        for _ in 0..300 {
            let (item, measure) = (roll(10_u64.pow(width(['I', 'I']))), roll(10_u64.pow(width(['P', 'W']))));
            let number = layout.build(item, measure).unwrap();
            let parts = layout.read(&number).unwrap();
            assert_eq!((parts.item, parts.measure), (item, measure));
            let digits = format!("{measure:0width$}", width = decimals + 1);
            let (whole, fraction) = digits.split_at(digits.len() - decimals);
            let fraction = fraction.trim_end_matches('0');
            let said = if fraction.is_empty() { whole.to_owned() } else { format!("{whole}.{fraction}") };
            let mut answer = [Value::Null, Value::Null, Value::Null];
            answer[place] = if place == 2 { json!(measure) } else { json!(said) };
            questions.push(json!([region, number]).to_string());
            expected.push(json!(answer));
        }
    }
    for ((question, expected), answer) in questions.iter().zip(&expected).zip(lines(RESTRICTED, &questions)) {
        let answer: Value = serde_json::from_str(&answer).unwrap();
        assert_eq!(answer, *expected, "{question}");
    }
}

/// D8 over both readers: every two digits of a year. BIIP reads its own clock, so the year is asked of it.
#[test]
fn centuries_agree() {
    let texts: Vec<String> = (0..100).map(|year| format!("17{year:02}0615")).collect();
    let this_year: i32 =
        lines("import datetime\ninput()\nprint(datetime.date.today().year)", &[String::new()])[0].parse().unwrap();
    for (text, answer) in texts.iter().zip(asked(&texts)) {
        let ours = dates::day(&text[2..], this_year).unwrap();
        assert_eq!(answer[0][3], json!(ours.to_string()), "{text}");
    }
}
