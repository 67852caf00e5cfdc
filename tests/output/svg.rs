//! A label as a drawing for the screen: well-formed, of its size, nothing from outside, and the same dots in a browser.

use base64::Engine;
use base64::prelude::BASE64_STANDARD;
use roxmltree::{Document, Node};
use sakudana::domain::label_fields::Field;
use sakudana::labels::drawing::{Drawing, Stroke};
use sakudana::labels::svg;
use sakudana::labels::text::Fonts;

use crate::ground::{Grey, Laid, code_boxes, differences, keep, laid_out};
use crate::support::browser::Browser;
use crate::support::decoders::{zbar, zxing};

const TITLE: &str = "Akami <saku> & \"co\", tray 7K3M 9QX2";

fn written(drawing: &Drawing, fonts: &Fonts) -> String {
    svg::write(drawing, fonts, TITLE)
}

#[test]
fn a_drawing_is_well_formed_and_holds_nothing_from_outside() {
    for Laid { label, drawing, fonts } in laid_out() {
        let text = written(&drawing, &fonts);
        let document = Document::parse(&text).unwrap();
        let root = document.root_element();
        assert_eq!((root.tag_name().name(), root.attribute("role")), ("svg", Some("img")));
        assert_eq!(root.attribute("viewBox"), Some(format!("0 0 {} {}", drawing.width, drawing.height).as_str()));
        for (name, dots) in [("width", drawing.width), ("height", drawing.height)] {
            let mm: f64 = root.attribute(name).and_then(|side| side.strip_suffix("mm")).unwrap().parse().unwrap();
            assert!((mm - f64::from(dots) * 25.4 / f64::from(drawing.dpi.per_inch())).abs() < 0.001, "{name} {mm}");
        }
        let text_of = |name: &str| {
            document
                .descendants()
                .find(|n| n.has_tag_name(("http://www.w3.org/2000/svg", name)))
                .and_then(|n| n.text().map(str::to_owned))
        };
        assert_eq!(text_of("title").as_deref(), Some(TITLE));
        let told = text_of("desc").unwrap();
        assert!(told.contains(label.text(Field::TrayCode)) && told.contains(label.text(Field::UseBy)), "{told}");
        document.descendants().filter(Node::is_element).for_each(|node| check_node(&document, node));
        assert!(text.len() < 96 * 1_024, "{} bytes", text.len());
    }
}

/// Shapes only; a reference is to a shape of the same drawing.
fn check_node(document: &Document<'_>, node: Node<'_, '_>) {
    let name = node.tag_name().name();
    assert!(["svg", "title", "desc", "defs", "g", "path", "use"].contains(&name), "{name}");
    for attribute in node.attributes() {
        let known =
            ["role", "width", "height", "viewBox", "id", "d", "fill", "transform", "shape-rendering", "x", "href"];
        assert!(known.contains(&attribute.name()) && attribute.namespace().is_none(), "{}", attribute.name());
    }
    if name == "use" {
        let wanted = node.attribute("href").and_then(|href| href.strip_prefix('#')).expect("a reference inside");
        assert_eq!(document.descendants().filter(|other| other.attribute("id") == Some(wanted)).count(), 1, "{wanted}");
    }
}

/// Chromium draws it at one pixel a dot; what it shows is the picture but for the edges of letters.
#[test]
fn a_browser_draws_the_dots_of_the_picture() {
    let browser = Browser::open();
    let shown = |drawing: &Drawing, fonts: &Fonts| {
        browser.set_viewport(drawing.width as u32, drawing.height as u32);
        let image = BASE64_STANDARD.encode(written(drawing, fonts));
        let size = format!("width={} height={}", drawing.width, drawing.height);
        let page =
            format!("<body style=margin:0><img style=display:block {size} src=data:image/svg+xml;base64,{image}>");
        browser.goto(&format!("data:text/html;base64,{}", BASE64_STANDARD.encode(page)));
        let file = tempfile::NamedTempFile::new().unwrap();
        browser.screenshot(file.path());
        std::fs::read(file.path()).unwrap()
    };
    for (number, laid) in laid_out().iter().enumerate() {
        let picture = shown(&laid.drawing, &laid.fonts);
        keep(&format!("label-{number}-in-browser.png"), &picture);
        let read = |mut texts: Vec<String>| {
            texts.sort_unstable();
            texts
        };
        assert_eq!((read(zxing(&picture)), read(zbar(&picture))), (laid.codes(), laid.codes()), "label {number}");
        let found = differences(&laid.drawing.paint(&laid.fonts), &Grey::of(&picture), &code_boxes(&laid.drawing));
        println!("label {number}, {} dpi: {found:?}", laid.drawing.dpi.per_inch());
        assert!(found.in_codes == 0 && found.off_edges * 5_000 < found.ink, "label {number}: {found:?}");
        assert!(found.dots * 10 < found.ink, "label {number}: {found:?}");
    }
    let mut bare = laid_out().remove(0).drawing;
    bare.strokes.retain(|stroke| !matches!(stroke, Stroke::Symbol { .. }));
    let bare = shown(&bare, Fonts::standard());
    assert_eq!(zxing(&bare), Vec::<String>::new(), "a drawing without a code reads as none");
}
