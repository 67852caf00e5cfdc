//! Digital Link addresses: built, read and refused.

use crate::elements::E1;
use sakudana::domain::gs1::elements::{self, read_bracketed};
use sakudana::domain::gs1::fault::What;
use sakudana::domain::gs1::link;
use sakudana::domain::gs1::percent::{self, Part};

const SHOP: &str = "https://example.com";

fn built(base: &str, bracketed: &str) -> Result<String, What> {
    let message = read_bracketed(bracketed).unwrap_or_else(|fault| panic!("{bracketed}: {fault}"));
    link::build(base, &message).map_err(|fault| fault.what)
}

fn read(address: &str) -> Result<String, What> {
    link::read(address).map(|link| elements::with_fnc1(&link.message)).map_err(|fault| fault.what)
}

/// L1 to L4, L11: ENG verdicts. L5 to L8, L10, L13: ENG dl.c. L9: DLT README.
#[test]
fn addresses_are_built() {
    let tray = "/01/99520123456781/10/S270312-YFT-4/21/004571?3103=000268&17=270315&3922=1997";
    let shuffled = "(21)004571(10)S270312-YFT-4(3103)000268(3922)1997(17)270315(01)99520123456781";
    let more = "(01)99520123456781(3103)000268(17)270315(7003)2703151830(3922)1997(10)S270312-YFT-4(21)004571(7008)YFT(7005)71\
                (7009)LHP(7010)01";
    let rows: &[(&str, &str, &str, String)] = &[
        ("L1", SHOP, E1, format!("{SHOP}{tray}")),
        ("L2", "https://id.gs1.org", E1, format!("https://id.gs1.org{tray}")),
        ("L3", SHOP, shuffled, format!("{SHOP}{tray}")),
        (
            "L4",
            SHOP,
            more,
            format!(
                "{SHOP}/01/99520123456781/10/S270312-YFT-4/21/004571?3103=000268&17=270315&7003=2703151830&3922=1997&7008=YFT\
                 &7005=71&7009=LHP&7010=01"
            ),
        ),
        (
            "L5",
            "https://id.gs1.org",
            "(01)12312312312326(21)abc123",
            "https://id.gs1.org/01/12312312312326/21/abc123".into(),
        ),
        (
            "L6",
            SHOP,
            "(01)12312312312326(22)ABC(10)DEF(21)GHI(95)INT",
            format!("{SHOP}/01/12312312312326/22/ABC/10/DEF/21/GHI?95=INT"),
        ),
        (
            "L7",
            SHOP,
            "(21)XYZ(01)12312312312333(10)ABC123(99)XYZ",
            format!("{SHOP}/01/12312312312333/10/ABC123/21/XYZ?99=XYZ"),
        ),
        (
            "L8",
            SHOP,
            "(01)12312312312333(10)ABC+123(99)XYZ+QWERTY",
            format!("{SHOP}/01/12312312312333/10/ABC%2B123?99=XYZ%2BQWERTY"),
        ),
        (
            "L9",
            "https://id.gs1.org",
            "(3103)000189(01)05412345000013(3923)2172(10)ABC&+123",
            "https://id.gs1.org/01/05412345000013/10/ABC%26%2B123?3103=000189&3923=2172".into(),
        ),
        (
            "L10",
            SHOP,
            "(01)12312312312326(10)ABC123(10)ABC123(99)XYZ789",
            format!("{SHOP}/01/12312312312326/10/ABC123?99=XYZ789"),
        ),
        ("L11", SHOP, "(01)99520123456781(10)A/B", format!("{SHOP}/01/99520123456781/10/A%2FB")),
        ("L13", "https://example.com/", "(01)12312312312326", format!("{SHOP}/01/12312312312326")),
        (
            "G14",
            "https://id.gs1.org",
            "(414)9520123456788(254)32a/b",
            "https://id.gs1.org/414/9520123456788/254/32a%2Fb".into(),
        ),
    ];
    for (id, base, elements, expected) in rows {
        assert_eq!(built(base, elements).as_ref(), Ok(expected), "{id}");
    }
    assert_eq!(built(SHOP, E1).unwrap().len(), 96, "L1");
    assert_eq!(built(SHOP, more).unwrap().len(), 146, "L4");
}

/// L12: ENG dl.c; bases: the grammar.
#[test]
fn what_cannot_be_said_in_an_address_is_refused() {
    let rows = [
        ("(99)XYZ789", What::NoKey),
        ("(01)12312312312326(8200)http://example.com", What::NotAnAttribute),
        ("(01)12312312312326(235)ABC(10)DEF", What::QualifierOrder),
        ("(01)12312312312326(22)ABC(10)DEF(235)TPX9526064", What::QualifierOrder),
        ("(01)99520123456781(3922)1997", What::Required),
    ];
    for (elements, expected) in rows {
        assert_eq!(built(SHOP, elements), Err(expected), "L12 {elements}");
    }
    for base in [
        "example.com",
        "ftp://example.com",
        "https://",
        "https://exa mple.com",
        "https://example.com?x=1",
        "https://a#b",
        "",
    ] {
        assert!(built(base, "(01)12312312312326").is_err(), "{base}");
    }
    let long = format!("https://example.com/{}", "a".repeat(2_000));
    assert_eq!(built(&long, "(01)12312312312326"), Err(What::TextTooLong));
}

/// P1 to P13: ENG dl.c (P1 to P7 from the Digital Link standard). P14 to P17: ENG verdicts; BIIP agrees on P16, P17.
#[test]
fn addresses_are_read() {
    let rows = [
        ("P1", "https://id.gs1.org/01/09520123456788", "^0109520123456788"),
        (
            "P2",
            "https://id.gs1.org/01/09520123456788/10/ABC1/21/12345?17=180426",
            "^010952012345678810ABC1^2112345^17180426",
        ),
        (
            "P3",
            "https://example.com/01/09520123456788?3103=000195&3922=0299&17=201225",
            "^0109520123456788310300019539220299^17201225",
        ),
        (
            "P4",
            "https://id.gs1.org/01/09520123456788?17=201225&3103=000195&3922=0299",
            "^010952012345678817201225310300019539220299",
        ),
        ("P5", "https://id.gs1.org/01/09520123456788/22/2A", "^0109520123456788222A"),
        ("P5", "https://id.gs1.org/01/09520123456788/10/ABC123", "^010952012345678810ABC123"),
        ("P5", "https://id.gs1.org/01/09520123456788/21/12345", "^01095201234567882112345"),
        (
            "P6",
            "https://id.gs1.org/00/952012345678912345?02=09520123456788&37=25&10=ABC123",
            "^0095201234567891234502095201234567883725^10ABC123",
        ),
        ("P7", "https://id.gs1.org/01/09520123456788/235/XYZ?10=ABC123", "^0109520123456788235XYZ^10ABC123"),
        ("P8", "https://a/01/12312312312333/22/TEST/10/ABC/21/XYZ", "^011231231231233322TEST^10ABC^21XYZ"),
        (
            "P9",
            "https://a/01/12312312312333/22/ABC%2d123?99=ABC&98=XYZ%2f987",
            "^011231231231233322ABC-123^99ABC^98XYZ/987",
        ),
        ("P10", "https://a/01/12312312312333/22/ABC+123?99=ABC", "^011231231231233322ABC+123^99ABC"),
        ("P11", "https://a/more/stem/00/006141411234567890", "^00006141411234567890"),
        ("P11", "https://a/00/faux/00/006141411234567890", "^00006141411234567890"),
        ("P12", "https://a/01/12312312312333?&&&99=ABC&&&&&&98=XYZ&&&", "^011231231231233399ABC^98XYZ"),
        ("P12", "https://a/01/12312312312333?singleton&99=ABC", "^011231231231233399ABC"),
        ("P12", "https://a/01/12312312312333?unknown=666&99=ABC", "^011231231231233399ABC"),
        ("P12", "https://a/01/12312312312333#fragment", "^0112312312312333"),
        ("P12", "https://a/01/12312312312333?", "^0112312312312333"),
        ("P12", "https://a/01/12312312312333#", "^0112312312312333"),
        ("P13", "https://a:65535/01/12312312312333", "^0112312312312333"),
        ("P13", "https://192.0.2.1/01/12312312312333", "^0112312312312333"),
        ("P13", "https://[2001:db8::1]/01/12312312312333", "^0112312312312333"),
        ("P13", "https://xn--fsq.xn--0zwm56d/01/12312312312333", "^0112312312312333"),
        ("P13", "https://a./01/12312312312333", "^0112312312312333"),
        ("P14", "HTTPS://EXAMPLE.COM/01/09521234543213", "^0109521234543213"),
        (
            "P15",
            "https://example.com/01/99520123456781?3103=000268&3922=1997&linkType=gs1:pip",
            "^0199520123456781310300026839221997",
        ),
        ("P16", "https://example.com/01/99520123456781/10/A%2FB", "^019952012345678110A/B"),
        ("O12", "https://example.com/00/faux/00/006141411234567890", "^00006141411234567890"),
    ];
    for (id, address, expected) in rows {
        assert_eq!(read(address).as_deref(), Ok(expected), "{id} {address}");
    }
    let ignored =
        link::read("https://example.com/01/99520123456781?3103=000268&3922=1997&linkType=gs1:pip").unwrap().ignored;
    assert_eq!(ignored, ["linkType=gs1:pip"], "P15");
    let tray =
        link::read("https://example.com/01/99520123456781/10/S270312-YFT-4/21/004571?3103=000268&17=270315&3922=1997");
    let order: Vec<String> = tray.unwrap().message.elements().iter().map(|element| element.ai.clone()).collect();
    assert_eq!(order, ["01", "10", "21", "3103", "17", "3922"], "P17");
}

/// B1 to B15: ENG dl.c and verdicts; B2, B16: BIIP too. O7 to O11: what BIIP lets pass.
#[test]
fn what_is_no_address_is_refused() {
    let g = "https://example.com/01/09520123456788";
    let t = "https://example.com/01/99520123456781";
    let rows: Vec<(&str, String, What)> = vec![
        ("B1/O7", "https://a/01/2112345678900".into(), What::ValueTooShort),
        ("B1", "https://a/01/416000336108".into(), What::ValueTooShort),
        ("B1", "https://a/01/02345673".into(), What::ValueTooShort),
        ("B2", "https://a/01/12312312312333/10/ABC/22/X".into(), What::QualifierOrder),
        ("B2", format!("{t}/21/004571/10/S270312"), What::QualifierOrder),
        ("B3/O8", format!("{g}?10=ABC123"), What::NotAnAttribute),
        ("B4/O8", format!("{g}/10/ABC123?99=XYZ789&10=ABC123"), What::Twice),
        ("B4", format!("{g}?99=XYZ789&01=09520123456788"), What::Twice),
        ("B4", format!("{g}?99=XYZ789&99=XYZ789"), What::Twice),
        ("B5", format!("{t}/17/270315"), What::QualifierOrder),
        ("B5", format!("{t}/99/ABC"), What::QualifierOrder),
        ("B6", "https://00/006141411234567890".into(), What::NoKey),
        ("B6", "http://a".into(), What::NoKey),
        ("B6", "http:///".into(), What::Domain),
        ("B6", "https://example.com/t/123".into(), What::NoKey),
        ("B7/O10", "HtTp://a/b/00/006141411234567890".into(), What::Scheme),
        ("B7", "ftp://a/00/006141411234567890".into(), What::Scheme),
        ("B8", "https://a/00/006141411234567890/".into(), What::EmptySegment),
        ("B8", format!("{g}/10/"), What::EmptySegment),
        ("B8", "https://a/01//12312312312333".into(), What::EmptySegment),
        ("B9/O9", format!("{g}?99="), What::ValueEmpty),
        ("B9/O9", format!("{g}?99=ABC&999=faux"), What::UnknownIdentifier),
        ("B9", format!("{g}?99=XYZ&89=ABC123"), What::UnknownIdentifier),
        ("B10", format!("{g}/10/A/B"), What::NoKey),
        ("B11", format!("{g}?99=ABC%00DEF"), What::NulByte),
        ("B11", "https://a/01/1231231231233%003".into(), What::NulByte),
        ("B12", format!("{t}/10/S270312%20YFT"), What::CharacterSet),
        ("B12", format!("{g}?98=XYZ+987"), What::CharacterSet),
        ("B13", format!("{t}?3922=1997"), What::Required),
        ("B14", "https://a/gtin/12312312312333".into(), What::NoKey),
        ("B15", "https://exa$mple.com/01/12312312312333".into(), What::Domain),
        ("B15", "https://[fe80::1%25lo]/01/12312312312333".into(), What::Domain),
        ("B15", "https://ann@a/01/12312312312333".into(), What::Domain),
        ("B15", "https://a:65536/01/12312312312333".into(), What::Domain),
        ("B16", format!("{g}/10"), What::NoKey),
        ("B16", format!("{g}/15/270315"), What::QualifierOrder),
        ("B16", "https://a/00/006141411234567890/10/A".into(), What::QualifierOrder),
        ("O11", format!("{g}?8200=x"), What::NotAnAttribute),
        ("G11", format!("{g}?21=x"), What::NotAnAttribute),
        ("G11", format!("{g}?22=x"), What::NotAnAttribute),
        ("G11", format!("{g}?235=x"), What::NotAnAttribute),
        // G6: only `&` parts attributes; behind a semicolon the value is too long.
        ("G6", format!("{g}?17=270315;99=A"), What::ValueTooLong),
        ("O3", "https://a/01/99520123456782".into(), What::CheckDigit),
        ("O4", format!("{g}?7003=2703001830"), What::Day),
        ("O5", format!("{g}?422=999"), What::Country),
        ("", format!("{g}?99={}", "A".repeat(2_000)), What::TextTooLong),
    ];
    for (id, address, expected) in rows {
        assert_eq!(read(&address), Err(expected), "{id} {address}");
    }
    for illegal in ["<", ">", "{", "}", "\\", "^", "`", "\"", "|", " ", "é", "\u{7f}"] {
        assert_eq!(read(&format!("{g}/10/A{illegal}B")), Err(What::Illegal), "B15 {illegal}");
    }
}

/// G12: ENG `test_dl_testValidateDLpathAIseq`.
#[test]
fn sequences_of_the_path() {
    let value = |ai: &str| match ai {
        "01" => "12312312312333",
        "414" | "417" => "9520123456788",
        "00" => "006141411234567890",
        "7040" => "1ABC",
        _ => "1234A",
    };
    let address = |sequence: &str| {
        let path: String = sequence.split(' ').map(|ai| format!("/{ai}/{}", value(ai))).collect();
        read(&format!("https://a{path}"))
    };
    let valid = "01;01 21;01 10;01 10 21;01 22;01 22 21;01 22 10;01 22 10 21;01 235;414;414 254;414 7040;417;417 7040;00;8004;8004 7040";
    for sequence in valid.split(';') {
        assert!(address(sequence).is_ok(), "G12 {sequence}: {:?}", address(sequence));
    }
    for sequence in
        "10;01 21 10;01 10 22;01 235 10;01 10 235;01 254;414 254 7040;00 21;8004 21;01 10 10;22 01 10 99".split(';')
    {
        assert!(address(sequence).is_err(), "G12 {sequence}");
    }
}

/// G8, G9: ENG `test_dl_URIescape`, `test_dl_URIunescape`.
#[test]
fn percent_encoding() {
    let reserved = "!\"#%&'()*+,/:;<=>?";
    assert_eq!(percent::encode(reserved), "%21%22%23%25%26%27%28%29%2A%2B%2C%2F%3A%3B%3C%3D%3E%3F");
    let plain = "ABCXYZabcxyz0123456789-._~";
    assert_eq!(percent::encode(plain), plain);
    let rows = [
        ("a+b", "a+b", "a b"),
        ("%4F%4f", "OO", "OO"),
        ("%4g", "%4g", "%4g"),
        ("a%2", "a%2", "a%2"),
        ("%", "%", "%"),
        ("%%41", "%A", "%A"),
        ("%2B", "+", "+"),
    ];
    for (text, in_path, in_query) in rows {
        assert_eq!(percent::decode(text, Part::Path).as_deref(), Ok(in_path), "G9 {text}");
        assert_eq!(percent::decode(text, Part::Query).as_deref(), Ok(in_query), "G9 {text}");
    }
    assert!(percent::decode("a%00", Part::Path).is_err());
    for value in [reserved, plain] {
        assert_eq!(percent::decode(&percent::encode(value), Part::Query).as_deref(), Ok(value));
    }
}
