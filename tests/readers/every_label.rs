//! Every template on every built-in stock at every resolution, read to the exact text and taken apart to the values that were put in.

use std::collections::BTreeMap;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::sync::{LazyLock, Mutex};
use std::time::Instant;

use sakudana::domain::label_fields::Template;
use sakudana::labels;
use sakudana::labels::layout::lay_out;
use sakudana::labels::refusal::LabelRefusal;
use sakudana::labels::stock::{Dpi, LabelStock};
use sakudana::labels::stocks::Stocks;
use sakudana::labels::text::Fonts;

use crate::compare::{compare, phantoms};
use crate::reader::Reader;
use crate::report::{count_or, keep, table};
use crate::trays::tray;

/// Where next to no label finds room, in the order of the stocks: one for sale says too much. Whoever loses another sees it here.
const WITHOUT_ROOM: [(&str, Dpi, Template); 8] = [
    ("40x30", Dpi::D203, Template::Block),
    ("40x30", Dpi::D203, Template::Markdown),
    ("40x30", Dpi::D300, Template::Block),
    ("40x30", Dpi::D300, Template::Markdown),
    ("40x30", Dpi::D600, Template::Block),
    ("40x30", Dpi::D600, Template::Markdown),
    ("50x30", Dpi::D203, Template::Block),
    ("50x30", Dpi::D203, Template::Markdown),
];

/// A kind has no room when fewer than one in so many of its labels are drawn; after so many tries that is decided.
const ONE_IN: usize = 20;
const TRIES: usize = 60;

/// The built-in family with BIZ UD Gothic behind it (SIL Open Font License 1.1).
pub static FONTS: LazyLock<Fonts> = LazyLock::new(|| {
    let path = "/usr/share/fonts/truetype/bizud-gothic/BIZUDGothic-Regular.ttf";
    let file = std::fs::read(path).unwrap_or_else(|error| panic!("{path}: {error} (`bash tests/run` installs it)"));
    Fonts::with(vec![file]).expect("a typeface")
});

/// One kind of label: what it is for, and what it is printed on.
struct Kind {
    template: Template,
    stock: LabelStock,
    number: usize,
}

/// How it went with one kind.
#[derive(Debug, Default, Clone, Copy)]
struct Tally {
    read: usize,
    with_linear: usize,
    refused: usize,
    phantoms: usize,
}

impl Tally {
    fn has_room(&self) -> bool {
        self.read * ONE_IN >= self.read + self.refused
    }
}

/// The largest pictures first: they take longest.
fn kinds() -> Vec<Kind> {
    let mut stocks = Stocks::built_in().all().to_vec();
    stocks.sort_by_key(|stock| std::cmp::Reverse(stock.width_dots() * stock.height_dots()));
    let each = stocks.into_iter().flat_map(|stock| Template::ALL.map(|template| (template, stock.clone())));
    each.enumerate().map(|(number, (template, stock))| Kind { template, stock, number }).collect()
}

/// Labels of one kind, until so many are read. One that finds no room is passed over; a kind without room is given up.
fn read_kind(kind: &Kind, reader: &mut Reader) -> Tally {
    let wanted = count_or(match kind.stock.dpi() {
        Dpi::D203 => 20,
        Dpi::D300 => 8,
        Dpi::D600 => 3,
    });
    let mut tally = Tally::default();
    for number in 0..ONE_IN * wanted {
        if tally.read == wanted || (number == TRIES && !tally.has_room()) {
            break;
        }
        let number = 1 + (1_000_000 * kind.number + number) as u64;
        let tray = tray(number, kind.template);
        let layout = match lay_out(&FONTS, &tray.label, &kind.stock) {
            Ok(layout) => layout,
            Err(LabelRefusal::DoesNotFit { .. } | LabelRefusal::CodeDoesNotFit) => {
                tally.refused += 1;
                continue;
            }
            Err(refusal) => panic!("tray {number}: {refusal}: {:#?}", tray.label),
        };
        assert_eq!(layout.linear_box().is_some(), tray.linear.is_some(), "tray {number}");
        let png = labels::png(&layout.paint(&FONTS), kind.stock.dpi());
        let answer = reader.read(&png);
        if let Err(wrong) = compare(&tray, &answer) {
            panic!("tray {number} on {} at {:?}: {wrong}", kind.stock.name(), kind.stock.dpi());
        }
        let phantoms = phantoms(&tray, &answer);
        if !phantoms.is_empty() {
            println!("tray {number} on {} at {:?}: {phantoms:?}", kind.stock.name(), kind.stock.dpi());
            keep(&format!("phantom-{number}.png"), &png);
        }
        tally.phantoms += phantoms.len();
        tally.read += 1;
        tally.with_linear += usize::from(tray.linear.is_some());
    }
    tally
}

#[test]
fn every_label_is_read_as_it_was_said() {
    let (kinds, next, tallies) = (kinds(), AtomicUsize::new(0), Mutex::new(BTreeMap::new()));
    let started = Instant::now();
    let work = || {
        let mut reader = Reader::start();
        while let Some(kind) = kinds.get(next.fetch_add(1, Ordering::Relaxed)) {
            let tally = read_kind(kind, &mut reader);
            tallies.lock().unwrap().insert(kind.number, tally);
        }
    };
    std::thread::scope(|scope| {
        scope.spawn(work);
        scope.spawn(work);
    });
    let tallies = tallies.into_inner().unwrap();
    report(&kinds, &tallies);
    let read: usize = tallies.values().map(|tally| tally.read).sum();
    let phantoms: usize = tallies.values().map(|tally| tally.phantoms).sum();
    println!("{read} labels in {} s, {phantoms} linear codes seen where none is", started.elapsed().as_secs());
    assert!(phantoms <= 1 + read / 1_000, "{phantoms} linear codes seen where none is");
    let without_room = kinds.iter().filter(|kind| !tallies[&kind.number].has_room());
    let mut found: Vec<_> = without_room.map(|kind| (kind.stock.name(), kind.stock.dpi(), kind.template)).collect();
    found.sort_by_key(|(name, dpi, template)| (*name, *dpi, *template as u8));
    assert_eq!(found, WITHOUT_ROOM);
}

fn report(kinds: &[Kind], tallies: &BTreeMap<usize, Tally>) {
    let rows = Stocks::built_in().all().iter().map(|stock| {
        let mut row = vec![format!("{} mm, {} dpi", stock.name(), stock.dpi().per_inch())];
        row.extend(Template::ALL.map(|template| {
            let kind = kinds.iter().find(|kind| kind.template == template && kind.stock == *stock).unwrap();
            let Tally { read, with_linear, refused, .. } = tallies[&kind.number];
            format!("{read} ({with_linear}), {refused}")
        }));
        row
    });
    let head: Vec<&str> =
        ["read (with EAN-13), no room"].into_iter().chain(Template::ALL.map(Template::as_str)).collect();
    table("readers", &head, &rows.collect::<Vec<_>>());
}
