//! Which elements may stand together. ENG ai.c and verdicts; guards of our own are marked.

use sakudana::domain::gs1::elements::read_bracketed;
use sakudana::domain::gs1::fault::What;
use sakudana::domain::gs1::rules;

fn verdict(bracketed: &str) -> Result<(), What> {
    let message = read_bracketed(bracketed).unwrap_or_else(|fault| panic!("{bracketed}: {fault}"));
    rules::check(&message).map_err(|fault| fault.what)
}

const TRAY: &str = "(01)99520123456781";

#[test]
fn needed_and_excluded() {
    let rows: &[(&str, &str, Result<(), What>)] = &[
        ("S1", "(01)99520123456781(3922)1997(17)270315", Err(What::Required)),
        ("O1", "(01)12345678901231(37)5", Err(What::Excluded)),
        ("S2", "(01)12345678901231(3925)12599", Err(What::Required)),
        ("S3", "(10)ABC123", Err(What::Required)),
        ("S3", "(21)ABC123", Err(What::Required)),
        ("S3", "(21)ABC123(01)12345678901231", Ok(())),
        ("S4", "(3932)8401997(3103)000268", Err(What::Required)),
        ("S5", "(01)12345678901231(37)123", Err(What::Excluded)),
        ("S6", "(01)12345678901231(02)12345678901231", Err(What::Excluded)),
        ("S6", "(02)12345678901231(10)A(01)12345678901231(37)1", Err(What::Excluded)),
        ("S7", "(01)12345678901231(255)5412345000150", Err(What::Excluded)),
        ("S8", "(01)12345678901231(21)ABC123(235)XYZ", Err(What::Excluded)),
        ("S9", "(01)99520123456781(422)392(426)392", Err(What::Excluded)),
        ("S10", "(01)99520123456781(3103)000268(3922)1997(3932)8401997", Err(What::Excluded)),
        ("S11", "(01)99520123456781(3103)000268(3952)007450", Ok(())),
        ("S11", "(01)99520123456781(3103)000268(3932)8401997", Ok(())),
        ("S12", "(01)99520123456781(3103)000268(3202)000059", Ok(())),
        ("S13", "(02)12345678901231", Err(What::Required)),
        ("S13", "(02)12345678901231(37)123", Err(What::Required)),
        ("S13", "(02)12345678901231(37)123(00)123456789012345675", Ok(())),
        ("S14", "(01)12345678901231(250)ABC123", Err(What::Required)),
        ("S14", "(01)12345678901231(250)ABC123(21)XYZ999", Ok(())),
        ("S15", "(01)99520123456781(4331)000400", Err(What::Required)),
        ("S16", "(400)ABC(400)ABC", Ok(())),
        ("S16", "(01)12345678901231(400)ABC(99)DEF(400)ABC", Ok(())),
        ("S17", "(400)ABC(400)AB", Err(What::RepeatedDifferently)),
        ("S17", "(400)ABC(400)ABCD", Err(What::RepeatedDifferently)),
        ("S17", "(400)ABC(400)XYZ", Err(What::RepeatedDifferently)),
        ("S17", "(99)ABC(400)ABC(400)XYZ", Err(What::RepeatedDifferently)),
        ("O6", "(400)ABC(99)1(400)XYZ", Err(What::RepeatedDifferently)),
        // S18, DICT header: an identifier does not exclude itself, though 3103 fits 310n.
        ("S18", "(01)99520123456781(3103)000268(3103)000268", Ok(())),
        ("S18", "(01)99520123456781(3103)000268(3102)000027", Err(What::Excluded)),
    ];
    for (id, text, expected) in rows {
        assert_eq!(verdict(text), *expected, "{id} {text}");
    }
    for measure in
        ["(30)123", "(3100)654321", "(3105)654321", "(3160)654321", "(3165)654321", "(3295)654321", "(3500)654321"]
            .into_iter()
            .chain(["(3575)654321", "(3600)654321", "(3695)654321"])
    {
        assert_eq!(verdict(&format!("(01)12345678901231(3925)12599{measure}")), Ok(()), "S2 {measure}");
    }
}

/// A9, S12 and D13: what ENG lets pass and we do not print. A10: and what others print that we read.
#[test]
fn guards_of_what_is_printed() {
    let rows = [
        ("A9", "(01)00614141123452(3103)000268".to_owned(), Err(What::IndicatorNine)),
        ("A9", "(01)09520123456788(3102)000268".to_owned(), Err(What::IndicatorNine)),
        ("A9", "(01)09520123456788(3202)000059".to_owned(), Err(What::IndicatorNine)),
        ("A9", format!("{TRAY}(3103)000268"), Ok(())),
        ("A9", "(01)09520123456788(17)270315".to_owned(), Ok(())),
        // A restricted number is one of variable measure by its nature.
        ("A9", "(01)02900000001015(3103)000268".to_owned(), Ok(())),
        ("S12", format!("{TRAY}(3103)000268(3202)000059"), Err(What::TwoUnits)),
        ("D13", format!("{TRAY}(7007)270305270301"), Err(What::SpanReversed)),
        ("D13", format!("{TRAY}(7007)270301270305"), Ok(())),
        ("D13", format!("{TRAY}(7007)270301"), Ok(())),
    ];
    for (id, text, expected) in rows {
        let message = read_bracketed(&text).unwrap();
        assert_eq!(rules::check(&message), Ok(()), "{id}: ENG accepts {text}");
        assert_eq!(rules::printable(&message).map_err(|fault| fault.what), expected, "{id} {text}");
    }
}
