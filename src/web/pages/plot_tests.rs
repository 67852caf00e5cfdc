//! Checks that the pictures say what the curve says, to eyes and to readers of text, and that nothing a shop writes breaks them.

use super::*;
use crate::domain::life::curve::{Curve, Era, Reading};
use crate::domain::life::trace::trace;
use crate::domain::place::StorageMethod;
use crate::domain::profile::Rules;
use crate::domain::shop::Jurisdiction;
use crate::units::instant::MICROS_PER_MINUTE;
use roxmltree::{Document, Node};

fn noon() -> Instant {
    Instant::parse("2026-11-24T12:00:00Z").unwrap_or(Instant::EPOCH)
}

fn later(minutes: i64) -> Instant {
    noon().plus_micros(minutes * MICROS_PER_MINUTE)
}

/// A case with a reading every ten minutes, a door that stood open after six hours, and a logger that was silent from hour 12 to 16.
fn case() -> Curve {
    let era = Era {
        from: Instant::EPOCH,
        method: StorageMethod::Chill,
        upper_limit: MilliCelsius::clamped(2_000),
        gap_micros: 90 * MICROS_PER_MINUTE,
        warm_micros: 30 * MICROS_PER_MINUTE,
    };
    let reading = |minute: i64| {
        let open_door = (360..450).contains(&minute);
        let mc = 600 + (minute * 7 % 40) * 20 + if open_door { (90 - (minute - 405).abs()) * 60 } else { 0 };
        Reading { at: later(minute), temperature: MilliCelsius::clamped(mc) }
    };
    let minutes = (0..=1_440).step_by(10).filter(|minute| !(720..960).contains(minute));
    Curve::new(Rules::of(Jurisdiction::Eu).rates, &[era], minutes.map(reading))
}

fn picture<'a>(title: &'a str, trace: &'a Trace, borders: Vec<(Instant, &'a str)>) -> Picture<'a> {
    let zone = Zone::parse("Europe/Lisbon").unwrap_or(Zone::UTC);
    let alarms = vec![(later(360), later(450))];
    Picture { id: "test", title, zone, from: noon(), to: later(1_440), traces: vec![trace], alarms, borders }
}

fn both(picture: &Picture<'_>) -> (String, String) {
    let drawn = draw(picture).into_string();
    let (narrow, wide) = drawn.split_once("</svg>").unwrap_or_default();
    (format!("{narrow}</svg>"), wide.to_owned())
}

fn with_stroke<'a>(document: &'a Document<'_>, colour: &str) -> Vec<Node<'a, 'a>> {
    let is = |node: &Node<'_, '_>| node.attribute("stroke") == Some(colour);
    document.descendants().filter(is).collect()
}

fn words(document: &Document<'_>) -> Vec<String> {
    let texts = document.descendants().filter(|node| node.has_tag_name(("http://www.w3.org/2000/svg", "text")));
    texts.map(|text| text.text().unwrap_or("").trim().to_owned()).collect()
}

#[test]
fn a_curve_is_drawn_with_its_limit_its_gap_and_its_alarm() {
    let shown = trace(&case(), noon(), later(1_440), 600);
    assert_eq!(shown.gaps.len(), 1);
    let drawn = both(&picture("Front case", &shown, Vec::new()));
    for (text, class) in [(drawn.0, "plot narrow"), (drawn.1, "plot wide")] {
        let document = Document::parse(&text).unwrap_or_else(|error| panic!("{error}: {text}"));
        let root = document.root_element();
        assert_eq!((root.attribute("class"), root.attribute("role")), (Some(class), Some("img")));
        let named: Vec<&str> = root.attribute("aria-labelledby").unwrap_or("").split(' ').collect();
        assert!(named.iter().all(|id| document.descendants().any(|n| n.attribute("id") == Some(id))), "{named:?}");
        assert_eq!(with_stroke(&document, "#8E1B12").len(), 1, "one limit");
        assert_eq!(with_stroke(&document, "#0B5366").len(), 2, "measured before and after the gap");
        assert_eq!(with_stroke(&document, "#7A4A00").len(), 1, "the gap");
        let filled = |colour: &str| {
            document
                .descendants()
                .filter(|n| {
                    n.has_tag_name(("http://www.w3.org/2000/svg", "rect")) && n.attribute("fill") == Some(colour)
                })
                .count()
        };
        assert_eq!((filled("#EEE4CE"), filled("#B43A24")), (1, 1), "the shade and the alarm");
        let said = words(&document);
        // In November Lisbon keeps UTC.
        for word in ["limit 2.0 °C", "0 °C", "2 °C", "Wed 25", "18:00", "!"] {
            assert!(said.iter().any(|text| text == word), "{word} is not in {said:?}");
        }
        let description =
            document.descendants().find(|n| n.tag_name().name() == "desc").and_then(|n| n.text()).unwrap_or("");
        assert!(description.contains("Upper limit: 2.0 °C. Too warm for too long once."), "{description}");
        assert!(description.contains("Counted where nothing was measured: 2.0 °C."), "{description}");
    }
}

/// The warmest reading stands as high in the picture as it is warm.
#[test]
fn heights_are_temperatures() {
    let shown = trace(&case(), noon(), later(1_440), 600);
    let (narrow, _) = both(&picture("Front case", &shown, Vec::new()));
    let document = Document::parse(&narrow).unwrap_or_else(|error| panic!("{error}"));
    let heights = |colour: &str| -> Vec<f64> {
        let lines = with_stroke(&document, colour).into_iter().filter_map(|n| n.attribute("points"));
        let pairs = lines.flat_map(|points| points.split_whitespace().map(ToOwned::to_owned).collect::<Vec<_>>());
        pairs.filter_map(|pair| pair.split_once(',').and_then(|(_, y)| y.parse().ok())).collect()
    };
    let (limit, curve) = (heights("#8E1B12"), heights("#0B5366"));
    let temperatures: Vec<f64> =
        shown.points.iter().filter(|p| p.measured).map(|p| p.temperature.get() as f64).collect();
    let (warmest, coldest) =
        (temperatures.iter().copied().fold(f64::MIN, f64::max), temperatures.iter().copied().fold(f64::MAX, f64::min));
    let (top, bottom) =
        (curve.iter().copied().fold(f64::MAX, f64::min), curve.iter().copied().fold(f64::MIN, f64::max));
    let at_limit = bottom - (2_000.0 - coldest) / (warmest - coldest) * (bottom - top);
    assert!(limit.iter().all(|y| (y - at_limit).abs() <= 1.5), "{limit:?} against {at_limit}");
}

#[test]
fn names_of_the_shop_are_only_text() {
    let shown = trace(&case(), noon(), later(1_440), 600);
    let nasty = "<b>&\"]]>";
    let drawn = both(&picture(nasty, &shown, vec![(noon(), nasty), (later(700), nasty)]));
    for text in [drawn.0, drawn.1] {
        let document = Document::parse(&text).unwrap_or_else(|error| panic!("{error}: {text}"));
        assert!(document.descendants().all(|node| node.tag_name().name() != "b"));
        let title = document.descendants().find(|n| n.tag_name().name() == "title").and_then(|n| n.text());
        assert_eq!(title, Some(nasty));
        assert!(words(&document).iter().any(|word| word.ends_with(nasty)), "{:?}", words(&document));
    }
}

#[test]
fn a_name_without_room_is_a_number_or_nothing() {
    let shown = trace(&case(), noon(), later(1_440), 600);
    let borders =
        vec![(noon(), "Cold room"), (later(700), "Bench"), (later(705), "A case with a very long name indeed")];
    let (narrow, _) = both(&picture("Tray", &shown, borders));
    let document = Document::parse(&narrow).unwrap_or_else(|error| panic!("{error}"));
    let said = words(&document);
    assert!(said.contains(&"1 Cold room".to_owned()) && said.contains(&"3".to_owned()), "{said:?}");
    assert!(!said.iter().any(|word| word.starts_with('2') && word.contains("Bench")), "{said:?}");
}

/// Marks are told apart by name or hour, never fall on one another, and keep their number, from minutes to years.
#[test]
fn the_time_axis_fits_every_span() {
    let shown = Trace::default();
    for (zone, from) in [
        ("Europe/Lisbon", "2026-10-24T12:00:00Z"),
        ("Africa/Cairo", "2026-04-23T12:00:00Z"),
        ("Asia/Kathmandu", "2026-03-01T00:00:00Z"),
    ] {
        let zone = Zone::parse(zone).unwrap_or(Zone::UTC);
        let from = Instant::parse(from).unwrap_or(Instant::EPOCH);
        for minutes in [3, 45, 90, 300, 1_440, 3 * 1_440, 14 * 1_440, 31 * 1_440, 400 * 1_440] {
            let to = from.plus_micros(minutes * MICROS_PER_MINUTE);
            let one =
                Picture { zone, from, to, borders: Vec::new(), alarms: Vec::new(), ..picture("x", &shown, Vec::new()) };
            for most in [5, 11] {
                let marks = time_ticks(&one.stretch(), most);
                assert!(marks.len() as i64 <= most + 1, "{minutes} minutes: {marks:?}");
                assert!(marks.len() >= 2 || minutes < 5, "{minutes} minutes: {marks:?}");
                assert!(marks.windows(2).all(|pair| pair[0].0 < pair[1].0 && pair[0].1 != pair[1].1), "{marks:?}");
            }
        }
    }
}

/// What has just begun, or stands still, is drawn too.
#[test]
fn thin_curves_are_drawn() {
    let curve = case();
    for (from, to) in [(noon(), noon().plus_micros(1)), (noon(), later(1)), (later(2_000), later(2_600))] {
        let shown = trace(&curve, from, to, 600);
        let one = Picture { from, to, alarms: Vec::new(), ..picture("x", &shown, Vec::new()) };
        let (narrow, wide) = both(&one);
        assert!(Document::parse(&narrow).is_ok() && Document::parse(&wide).is_ok());
    }
}

/// For whoever changes the look: written only when asked for.
#[test]
fn a_page_of_pictures_on_request() {
    let Ok(folder) = std::env::var("SAKUDANA_PICTURES") else { return };
    let shown = trace(&case(), noon(), later(1_440), 600);
    let borders = vec![(noon(), "Cold room"), (later(700), "Bench"), (later(760), "Front case")];
    let (one, two) = (picture("Front case", &shown, Vec::new()), picture("Tray", &shown, borders));
    let page = html! {
        meta charset="utf-8"; meta name="viewport" content="width=device-width, initial-scale=1";
        style { (PreEscaped(include_str!("style.css"))) }
        main { section.card { h2 { "Temperature" } (draw(&one)) (legend(&one)) p.small { (in_words(&one)) } } section.card { (draw(&two)) } }
    };
    let text = format!("<!doctype html><html lang=\"en\">{}</html>", page.into_string());
    assert!(std::fs::write(std::path::Path::new(&folder).join("plots.html"), text).is_ok());
}
