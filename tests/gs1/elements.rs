//! Element strings: bracketed, with FNC1, and as scanners send them. E1 is the tray that the other tables speak of too.

use sakudana::domain::gs1::elements::{self, ScanData, read_bracketed, read_scan_data, read_with_fnc1};
use sakudana::domain::gs1::fault::What;
use sakudana::domain::gs1::message::Message;

/// 0.268 kg, use by 2027-03-15, price 19.97.
pub const E1: &str = "(01)99520123456781(3103)000268(17)270315(3922)1997(10)S270312-YFT-4(21)004571";

fn both(bracketed: &str) -> Result<String, What> {
    read_bracketed(bracketed).map(|message| elements::with_fnc1(&message)).map_err(|fault| fault.what)
}

/// E1 to E3: rules of GENSPECS figure 7.8.4-2, where ENG and BIIP agree; the others ENG ai.c, E11 its verdict.
#[test]
fn bracketed_and_with_fnc1() {
    let rows = [
        ("E1", E1, "^019952012345678131030002681727031539221997^10S270312-YFT-4^21004571"),
        ("E6", "(01)12345678901231(10)12345", "^01123456789012311012345"),
        ("E7", "(3100)123456(10)12345", "^31001234561012345"),
        ("E8", "(10)12345(11)991225", "^1012345^11991225"),
        ("E9", "(3900)12345(11)991225", "^390012345^11991225"),
        ("E10", "(01)12345678901231(235)XYZ(10)BATCH", "^0112345678901231235XYZ^10BATCH"),
        ("E11", "(01)99520123456781(10)ABC(11)270312(15)270315", "^019952012345678110ABC^1127031215270315"),
        ("E12", "(10)12345\\(11)991225", "^1012345(11)991225"),
        ("E12", "(10)12345\\(", "^1012345("),
    ];
    for (id, bracketed, with_fnc1) in rows {
        assert_eq!(both(bracketed).as_deref(), Ok(with_fnc1), "{id}");
        let message = read_with_fnc1(with_fnc1).unwrap();
        assert_eq!(elements::bracketed(&message), bracketed, "{id} back");
    }
}

/// E2, E3: ENG. E4: BIIP reads the same six values. E5: the texts ENG prints for people.
#[test]
fn the_tray_as_scan_data_and_for_people() {
    let message = read_bracketed(E1).unwrap();
    let sent = "019952012345678131030002681727031539221997\u{1d}10S270312-YFT-4\u{1d}21004571";
    for identifier in ["]Q3", "]d2", "]C1", "]e0"] {
        assert_eq!(elements::scan_data(&message, identifier), format!("{identifier}{sent}"), "E2/E3");
        assert_eq!(read_scan_data(&format!("{identifier}{sent}")), Ok(ScanData::Elements(message.clone())), "E2/E3");
    }
    let values: Vec<(&str, &str)> = message.elements().iter().map(|e| (e.ai.as_str(), e.value.as_str())).collect();
    let expected = [
        ("01", "99520123456781"),
        ("3103", "000268"),
        ("17", "270315"),
        ("3922", "1997"),
        ("10", "S270312-YFT-4"),
        ("21", "004571"), // leading zeros kept
    ];
    assert_eq!(values, expected, "E4, E5");
}

/// E13, E20, E21: ENG ai.c and verdicts; `at` is where its markup stands.
#[test]
fn what_is_no_bracketed_element_string() {
    let rows = [
        ("E13", "(10)(11)98765", What::ValueEmpty),
        ("E13", "(10)12345(11)", What::ValueEmpty),
        ("E13", "(1A)12345", What::UnknownIdentifier),
        ("E13", "1(12345", What::Bracket),
        ("E13", "12345", What::Bracket),
        ("E13", "()12345", What::UnknownIdentifier),
        ("E13", "(1)12345", What::UnknownIdentifier),
        ("E13", "(12345)12345", What::UnknownIdentifier),
        ("E13", "(15", What::Bracket),
        ("E13", "(1", What::Bracket),
        ("E13", "(", What::Bracket),
        ("E13", "", What::Empty),
        ("E13", "(01)123456789012312(10)12345", What::ValueTooLong),
        ("E13", "(10)12345^", What::CharacterSet),
        ("E13", "(17)9(90)217", What::ValueTooShort),
        ("E20", "(10)ABC 123", What::CharacterSet),
        ("E20", "(10)ABC#1", What::CharacterSet),
        ("E21", "(3103)268", What::ValueTooShort),
        ("E21", "(3922)19.97", What::NotADigit),
        ("E21", "(7008)BETX", What::ValueTooLong),
        ("E21", "(7010)001", What::ValueTooLong),
        ("E21", "(422)999", What::Country),
        ("E21", "(7030)987ABC", What::Country),
        ("A3", "(3106)000268", What::UnknownIdentifier),
        ("E12", "(10)AB(C", What::Bracket),
    ];
    for (id, text, expected) in rows {
        assert_eq!(both(text), Err(expected), "{id} {text}");
    }
    assert!(both("(7030)999PLANT12").is_ok(), "E21");
    let at = |text| read_bracketed(text).map_err(|fault| (fault.ai, fault.at));
    assert_eq!(at("(10)ABC 123"), Err(("10".into(), 3)), "E20: (10)ABC| |123");
    assert_eq!(at("(10)ABC#1"), Err(("10".into(), 3)), "E20: (10)ABC|#|1");
    assert_eq!(at("(3922)19.97"), Err(("3922".into(), 2)), "E21: (3922)19|.|97");
    assert_eq!(at("(7006)270300"), Err(("7006".into(), 4)), "D4: (7006)2703|00|");
    assert_eq!(at("(17)270431"), Err(("17".into(), 4)), "D9: (17)2704|31|");
    assert_eq!(at("(01)99520123456782"), Err(("01".into(), 13)), "CD13: (01)9952012345678|2|");
}

/// E14 to E19: ENG ai.c and verdicts.
#[test]
fn with_fnc1_accepted_and_refused() {
    let accepted = [
        "^991234",
        "^0112345678901231",
        "^0112345678901231^",
        "^0112345678901231991234",
        "^0112345678901231^991234",
        "^2421",
        "^242123456",
        "^242123456^",
        "^242123456^10ABC123",
        "^7007211225",
        "^7007211225211231",
        "^423528",
        "^423528528",
        "^423528528528",
        "^423528528528528",
        "^423528528528528528",
    ];
    for text in accepted {
        assert!(read_with_fnc1(text).is_ok(), "E14/E16/E17/E18 {text}: {:?}", read_with_fnc1(text));
    }
    let refused = [
        "",
        "991234",
        "^",
        "^891234",
        "^99~ABC",
        "^99ABC~",
        "^01A2345678901231",
        "^0112345678901234",
        "^011234567890123",
        "^01123456789012312",
        "^01123456789012345^991234",
        "^2421234567",
        "^70072112252112312",
        "^70072112252112311",
    ];
    for text in refused {
        assert!(read_with_fnc1(text).is_err(), "E15/E16/E17 {text}");
    }
    for length in 1..=16 {
        let country = "528528528528528528".get(..length).unwrap();
        assert_eq!(
            read_with_fnc1(&format!("^423{country}")).is_ok(),
            [3, 6, 9, 12, 15].contains(&length),
            "E18 {length}"
        );
        let days = "2112252112311234".get(..length).unwrap();
        assert_eq!(read_with_fnc1(&format!("^7007{days}")).is_ok(), [6, 12].contains(&length), "E17 {length}");
    }
    for (ai, longest, letter) in
        [("99", 90, "A"), ("10", 20, "A"), ("21", 20, "A"), ("235", 28, "A"), ("3922", 15, "1")]
    {
        let text = |length: usize| format!("^{ai}{}", letter.repeat(length));
        assert!(read_with_fnc1(&text(longest)).is_ok() && read_with_fnc1(&text(longest + 1)).is_err(), "E19 {ai}");
    }
    // A12, ENG ai.c: at most 64 elements.
    let many = |count: usize| read_with_fnc1(&format!("^{}", "1726112700".get(..8).unwrap().repeat(count)));
    assert_eq!(many(64).map(|m| m.elements().len()), Ok(64));
    assert_eq!(many(65).map_err(|f| f.what), Err(What::TooManyElements));
}

/// E22 to E24: ENG scandata.c.
#[test]
fn scan_data() {
    assert_eq!(read_scan_data("]Q1TESTING"), Ok(ScanData::Plain("TESTING")), "E22");
    assert_eq!(read_scan_data("]Q1^TESTING"), Ok(ScanData::Plain("^TESTING")), "E22");
    for text in [
        "",
        "ABC",
        "]",
        "]X",
        "]XX",
        "]Q3",
        "]d2",
        "]C1",
        "]e0",
        "]E0123456789012",
        "]E012345678901234",
        "]E01234ABC890123",
        "]E02112345678901",
        "]E41234567",
        "]E402345674",
    ] {
        assert!(read_scan_data(text).is_err(), "E23 {text}");
    }
    assert_eq!(read_scan_data("]E02112345678901").map_err(|f| f.what), Err(What::CheckDigit), "E23");
    let message = Message::of(&[("01", "12312312312333"), ("10", "ABC123"), ("99", "TESTING")]).unwrap();
    let elements = ScanData::Elements(message);
    assert_eq!(read_scan_data("]Q3011231231231233310ABC123\u{1d}99TESTING"), Ok(elements), "E24");
    assert_eq!(read_scan_data("]E02112345678900"), Ok(ScanData::Ean13("2112345678900")), "E24");
    assert_eq!(read_scan_data("]E402345673"), Ok(ScanData::Ean8("02345673")), "E24");
    let address = "https://example.com/01/12312312312333?99=TEST";
    assert_eq!(read_scan_data(&format!("]Q1{address}")), Ok(ScanData::Plain(address)), "E24");
}

/// E25: ENG keeps a trailing FNC1 of its input when it makes scan data of it. Ours differs on purpose: a message has no separators, so
/// that what is printed never ends in one.
#[test]
fn a_trailing_separator_is_forgotten() {
    let message = read_with_fnc1("^011231231231233310ABC123^99TESTING^").unwrap();
    assert_eq!(elements::scan_data(&message, "]Q3"), "]Q3011231231231233310ABC123\u{1d}99TESTING");
}

#[test]
fn a_long_text_is_refused_before_it_is_read() {
    let long = "(99)A".repeat(2_000);
    assert_eq!(read_bracketed(&long).map_err(|f| f.what), Err(What::TextTooLong));
    assert_eq!(read_with_fnc1(&format!("^{long}")).map_err(|f| f.what), Err(What::TextTooLong));
}
