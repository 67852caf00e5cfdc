//! Whether a printer takes what we would send: the format, one bit a dot, the resolution, the paper, the copies. What it does not list is not
//! sent: a printer that guesses would scale a code that must keep its dots.

use crate::outbound::attributes::Size;
use crate::outbound::ipp::{Condition, Media, RASTER};

/// What a print needs of a printer.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Needs<'a> {
    pub dpi: u32,
    pub width_um: u32,
    pub height_um: u32,
    pub copies: i32,
    /// The name of the paper, where the settings say it.
    pub media: Option<&'a str>,
}

/// The paper to ask for, or what the printer does not list.
pub fn fitting(printer: &Condition, needs: &Needs<'_>) -> Result<Media, String> {
    let lists = |list: &[String], what: &str| list.iter().any(|listed| listed == what);
    if !lists(&printer.formats, RASTER) {
        return Err(format!("the printer does not take {RASTER}; it takes {}", said(&printer.formats)));
    }
    if !lists(&printer.raster_types, "black_1") {
        let types = said(&printer.raster_types);
        return Err(format!("the printer does not take one bit a dot (black_1); it takes {types}"));
    }
    if !printer.resolutions.contains(&needs.dpi) {
        let known: Vec<String> = printer.resolutions.iter().map(u32::to_string).collect();
        return Err(format!("the printer does not print {} dots per inch; it prints {}", needs.dpi, said(&known)));
    }
    if needs.copies > printer.copies {
        return Err(format!("the printer makes at most {} of a label at once", printer.copies));
    }
    media(printer, needs)
}

fn said(list: &[String]) -> String {
    if list.is_empty() { "nothing it says".to_owned() } else { list.join(", ") }
}

fn media(printer: &Condition, needs: &Needs<'_>) -> Result<Media, String> {
    let listed = |name: &str| printer.media.iter().any(|listed| listed == name);
    let (width, height) = (in_mm(needs.width_um), in_mm(needs.height_um));
    match needs.media {
        Some(name) if listed(name) => return Ok(Media::Named(name.to_owned())),
        Some(name) => return Err(format!("the printer has no paper {name}; it has {}", said(&printer.media))),
        None => {}
    }
    // A paper's name ends in its size (PWG 5101.1); names of custom ranges are none of a paper.
    let end = format!("_{width}x{height}mm");
    let named = printer.media.iter().find(|name| name.ends_with(&end) && !name.starts_with("custom_"));
    if let Some(name) = named {
        return Ok(Media::Named(name.clone()));
    }
    let holds = |size: &Size| within(size.across, needs.width_um) && within(size.along, needs.height_um);
    if printer.sizes.iter().any(holds) {
        return Ok(Media::Sized { across: hundredths(needs.width_um), along: hundredths(needs.height_um) });
    }
    Err(format!("the printer has no paper of {width} x {height} mm"))
}

/// Whether a length in micrometres is within a range in hundredths of a millimetre.
fn within((least, most): (i32, i32), um: u32) -> bool {
    (i64::from(least) * 10..=i64::from(most) * 10).contains(&i64::from(um))
}

/// Hundredths of a millimetre, in which IPP measures paper.
fn hundredths(um: u32) -> i32 {
    i32::try_from(um / 10).unwrap_or(i32::MAX)
}

/// The name that goes into the raster's header.
pub fn name_of(media: &Media) -> String {
    match media {
        Media::Named(name) => name.clone(),
        Media::Sized { across, along } => {
            let mm = |hundredths: i32| in_mm(u32::try_from(hundredths).unwrap_or(0).saturating_mul(10));
            format!("custom_label_{}x{}mm", mm(*across), mm(*along))
        }
    }
}

/// Millimetres as the names of papers write them (PWG 5101.1): a point only before decimals, and no zeros after them.
fn in_mm(um: u32) -> String {
    match (um / 1_000, um % 1_000) {
        (whole, 0) => whole.to_string(),
        (whole, rest) => format!("{whole}.{rest:03}").trim_end_matches('0').to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn printer() -> Condition {
        let list = |names: &[&str]| names.iter().map(|name| (*name).to_owned()).collect();
        Condition {
            state: 3,
            accepting: true,
            formats: list(&["application/pdf", RASTER]),
            raster_types: list(&["black_1", "sgray_8"]),
            resolutions: vec![203],
            media: list(&["custom_max_62x40mm", "om_tray-62x40_62x40mm"]),
            sizes: vec![
                Size { across: (6_200, 6_200), along: (4_000, 4_000) },
                Size { across: (2_000, 8_000), along: (1_000, 12_000) },
            ],
            copies: 9,
            ..Condition::default()
        }
    }

    const NEEDS: Needs<'_> = Needs { dpi: 203, width_um: 62_000, height_um: 40_000, copies: 1, media: None };

    #[test]
    fn paper_is_asked_for_as_the_printer_lists_it() {
        assert_eq!(fitting(&printer(), &NEEDS), Ok(Media::Named("om_tray-62x40_62x40mm".into())));
        let other = Needs { width_um: 58_000, ..NEEDS };
        assert_eq!(fitting(&printer(), &other), Ok(Media::Sized { across: 5_800, along: 4_000 }));
        let named = Needs { media: Some("custom_max_62x40mm"), ..NEEDS };
        assert_eq!(fitting(&printer(), &named), Ok(Media::Named("custom_max_62x40mm".into())));
        assert_eq!(name_of(&Media::Sized { across: 5_800, along: 4_050 }), "custom_label_58x40.5mm");
    }

    /// Paper of 62 by 40 mm is not taken for a stock that is wider by less than a millimetre, nor the other way round.
    #[test]
    fn paper_fits_to_the_hundredth_of_a_millimetre() {
        let wide = Needs { width_um: 62_900, height_um: 40_050, ..NEEDS };
        let in_range = Media::Sized { across: 6_290, along: 4_005 };
        assert_eq!(fitting(&printer(), &wide), Ok(in_range.clone()));
        assert_eq!(name_of(&in_range), "custom_label_62.9x40.05mm");
        let mut fixed = printer();
        fixed.sizes.truncate(1);
        assert_eq!(fitting(&fixed, &wide), Err("the printer has no paper of 62.9 x 40.05 mm".into()));
        fixed.media.push("om_label_62.9x40.05mm".into());
        assert_eq!(fitting(&fixed, &wide), Ok(Media::Named("om_label_62.9x40.05mm".into())));
        // 62 mm is none of 62.005, which IPP could not even say.
        assert!(fitting(&fixed, &Needs { width_um: 62_005, ..NEEDS }).is_err());
        fixed.media = vec!["om_label_62.9x40mm".into()];
        fixed.sizes.clear();
        assert!(fitting(&fixed, &NEEDS).is_err());
    }

    #[test]
    fn what_is_not_listed_is_not_sent() {
        type Change = fn(&mut Condition);
        let rows: [(Change, Needs<'_>, &str); 9] = [
            (|p| p.formats.truncate(1), NEEDS, "image/pwg-raster; it takes application/pdf"),
            (|p| p.formats.clear(), NEEDS, "nothing it says"),
            (|p| p.raster_types = vec!["sgray_8".into()], NEEDS, "black_1"),
            (|p| p.raster_types.clear(), NEEDS, "black_1"),
            (|_| (), Needs { dpi: 300, ..NEEDS }, "300 dots per inch; it prints 203"),
            (|p| p.resolutions.clear(), NEEDS, "203 dots per inch"),
            (|_| (), Needs { copies: 10, ..NEEDS }, "at most 9"),
            (|_| (), Needs { media: Some("iso_a4_210x297mm"), ..NEEDS }, "no paper iso_a4_210x297mm"),
            (|_| (), Needs { width_um: 100_000, ..NEEDS }, "no paper of 100 x 40 mm"),
        ];
        for (change, needs, words) in rows {
            let mut printer = printer();
            change(&mut printer);
            let refused = fitting(&printer, &needs).unwrap_err();
            assert!(refused.contains(words), "{refused}");
        }
    }
}
