//! What a label costs: 62 x 40 mm at 203 dpi with an address of 100 characters, one thread, split into symbol, layout, painting and file, in
//! one run with its floor (laying a finished picture down and encoding it) and with libqrencode, which must make a symbol of the same
//! segments, version and level. Prints rows of Markdown.
//!
//! `cargo bench --bench labels [-- [--rounds N] [--labels N]]`
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    reason = "a benchmark that meets what it did not expect should stop right there"
)]

#[path = "../tests/labels/ground.rs"]
#[allow(dead_code, reason = "the tests draw more labels than are measured")]
mod ground;
#[path = "labels/libqrencode.rs"]
mod libqrencode;
#[path = "labels/table.rs"]
mod table;

use libqrencode::{Functions, Libqrencode};
use qrcode::optimize::{Parser, Segment};
use qrcode::{EcLevel, QrCode, Version};
use sakudana::domain::label_fields::Field;
use sakudana::labels;
use sakudana::labels::bitmap::{Bitmap, Ink};
use sakudana::labels::facts::TrayLabel;
use sakudana::labels::layout::{Layout, lay_out};
use sakudana::labels::stock::{Dpi, LabelStock};
use sakudana::labels::symbol::Symbol;
use sakudana::labels::text::Fonts;
use std::hint::black_box;
use table::Table;

const CHARACTERS: usize = 100;

const FLOOR: &str = "floor: a finished picture laid down and encoded";
const WHOLE: &str = "the whole label";
const SYMBOL: &str = "symbol";
const LIBQRENCODE: &str = "symbol: libqrencode, the same segments";

struct Options {
    rounds: usize,
    labels: usize,
}

fn options() -> Options {
    let mut options = Options { rounds: 5, labels: 2_000 };
    let mut words = std::env::args().skip(1);
    while let Some(word) = words.next() {
        let mut number = || words.next().and_then(|text| text.parse().ok()).expect("a number");
        match word.as_str() {
            "--rounds" => options.rounds = number(),
            "--labels" => options.labels = number(),
            // Cargo's own.
            "--bench" => {}
            other => panic!("unknown: {other}; known: --rounds N, --labels N"),
        }
    }
    options
}

/// Labels as a morning prints them: every one with a weight, a price and an address of its own.
fn morning(count: usize) -> Vec<TrayLabel> {
    let one = |index: usize| {
        let (grams, cents) = (180 + index * 7 % 240, 900 + index * 53 % 2_900);
        let address = format!(
            "https://shop.example/01/99520123456781/10/YFT-261124-{:02}/21/7K3M{:04}?17=261126&3103={grams:06}&3922={cents}",
            index % 12,
            1_000 + index % 9_000
        );
        // Filled up where it is shorter, so that all have the same length.
        let address: String = address.chars().chain("&ref=tray-label-2".chars()).take(CHARACTERS).collect();
        ground::akami()
            .with(Field::NetWeight, format!("{grams} g"))
            .with(Field::Price, format!("{}.{:02} €", cents / 100, cents % 100))
            .with(Field::TrayCode, format!("7K3M {:04}", 1_000 + index % 9_000))
            .with(Field::QrText, address)
    };
    (0..count).map(one).collect()
}

fn main() {
    let options = options();
    println!("load before: {}", load());
    let library = Libqrencode::load();
    let functions = library.functions();
    let stock = ground::stock("62x40", Dpi::D203);
    let labels = morning(64);
    let texts: Vec<&str> = labels.iter().map(|label| label.text(Field::QrText)).collect();
    compare(&texts, &functions);
    let mut table = Table::default();
    for _ in 0..options.rounds {
        of_labels(&mut table, &labels, &stock, options.labels);
        of_symbols(&mut table, &texts, &functions, options.labels);
        of_files(&mut table, &labels, &stock, options.labels);
    }
    table.print(FLOOR);
    sizes(&labels);
    goals(&table, &labels, &stock);
    println!("load after: {}", load());
}

fn laid_out(label: &TrayLabel, stock: &LabelStock) -> Layout {
    lay_out(Fonts::standard(), label, stock).unwrap_or_else(|refusal| panic!("{refusal}"))
}

fn of_labels(table: &mut Table, labels: &[TrayLabel], stock: &LabelStock, count: usize) {
    let fonts = Fonts::standard();
    let layouts: Vec<Layout> = labels.iter().map(|label| laid_out(label, stock)).collect();
    let pictures: Vec<Bitmap> = layouts.iter().map(|layout| layout.paint(fonts)).collect();
    table.time(FLOOR, count, |index| {
        let mut picture = Bitmap::new(stock.width_dots(), stock.height_dots());
        picture.blit(&pictures[index % pictures.len()], 0, 0, Ink::Black);
        black_box(labels::png(&picture, Dpi::D203));
    });
    table.time(WHOLE, count, |index| {
        let picture = labels::draw(fonts, &labels[index % labels.len()], stock).expect("it fits");
        black_box(labels::png(&picture, Dpi::D203));
    });
    table.time("symbol, type and layout", count, |index| {
        black_box(laid_out(&labels[index % labels.len()], stock));
    });
    table.time("painting", count, |index| {
        black_box(layouts[index % layouts.len()].paint(fonts));
    });
}

fn of_symbols(table: &mut Table, texts: &[&str], functions: &Functions<'_>, count: usize) {
    let segments: Vec<Vec<Segment>> = texts.iter().map(|text| segments(text)).collect();
    table.time(SYMBOL, count * 5, |index| {
        black_box(Symbol::encode(texts[index % texts.len()]).expect("a symbol"));
    });
    table.time(LIBQRENCODE, count, |index| {
        let index = index % texts.len();
        black_box(functions.width(texts[index], &segments[index]));
    });
    table.time("symbol: libqrencode, bytes alone", count, |index| {
        black_box(functions.width_of_bytes(texts[index % texts.len()]));
    });
    table.time("symbol: the qrcode crate's own choice of mask", count / 4, |index| {
        black_box(QrCode::with_error_correction_level(texts[index % texts.len()], EcLevel::M).expect("a symbol"));
    });
}

fn of_files(table: &mut Table, labels: &[TrayLabel], stock: &LabelStock, count: usize) {
    let fonts = Fonts::standard();
    let pictures: Vec<Bitmap> = labels.iter().map(|label| laid_out(label, stock).paint(fonts)).collect();
    table.time("file", count, |index| {
        black_box(labels::png(&pictures[index % pictures.len()], Dpi::D203));
    });
    table.time("file: the png crate, up filter, fastest", count, |index| {
        black_box(by_the_crate(&pictures[index % pictures.len()], png::Filter::Up, png::Compression::Fastest));
    });
    table.time("file: the png crate, no filter, high", count / 40, |index| {
        black_box(by_the_crate(&pictures[index % pictures.len()], png::Filter::NoFilter, png::Compression::High));
    });
}

fn by_the_crate(picture: &Bitmap, filter: png::Filter, compression: png::Compression) -> Vec<u8> {
    let mut file = Vec::new();
    let mut encoder = png::Encoder::new(&mut file, picture.width(), picture.height());
    encoder.set_color(png::ColorType::Grayscale);
    encoder.set_depth(png::BitDepth::One);
    encoder.set_compression(compression);
    encoder.set_filter(filter);
    let mut writer = encoder.write_header().expect("a header");
    let bytes: Vec<u8> = picture.rows().flatten().map(|byte| !byte).collect();
    writer.write_image_data(&bytes).expect("rows");
    writer.finish().expect("an end");
    file
}

/// The segments our symbol is made of; all measured are below version 10, where lengths take as many bits.
fn segments(text: &str) -> Vec<Segment> {
    Parser::new(text.as_bytes()).optimize(Version::Normal(9)).collect()
}

/// Both must make a symbol of the same version, and where they choose the same mask, the same symbol.
fn compare(texts: &[&str], functions: &Functions<'_>) {
    let mut same_mask = 0;
    for text in texts {
        assert_eq!(text.len(), CHARACTERS);
        let ours = Symbol::encode(text).expect("a symbol");
        let made = functions.made(text, &segments(text));
        assert_eq!((made.version, made.width), ((ours.modules() - 17) / 4, ours.modules()), "{text}");
        assert_eq!(functions.width_of_bytes(text), ours.modules(), "{text}");
        let dark = |row: i32, column: i32| made.dark[(row * made.width + column) as usize];
        // The first five bits of the format information under their own mask, 10101: two of the level, three of the mask.
        let named = (0..5).fold(0_u8, |bits, column| bits << 1 | u8::from(dark(8, column))) ^ 0b1_0101;
        assert_eq!(named >> 3, 0, "level M");
        if named & 7 == ours.mask() {
            same_mask += 1;
            let places = (0..made.width).flat_map(|row| (0..made.width).map(move |column| (row, column)));
            assert!(places.into_iter().all(|(row, column)| dark(row, column) == ours.is_dark(row, column)), "{text}");
        }
    }
    let modules = Symbol::encode(texts[0]).map(|symbol| symbol.modules());
    println!(
        "{} addresses of {CHARACTERS} characters, {modules:?} modules; libqrencode chooses the same mask for {same_mask}, and then makes \
         the same symbol",
        texts.len()
    );
}

fn sizes(labels: &[TrayLabel]) {
    println!(
        "| bytes of a file, 62 x 40 mm | largest | the png crate, up filter, fastest | the png crate, no filter, high |"
    );
    println!("|---|---:|---:|---:|");
    for dpi in Dpi::ALL {
        let stock = ground::stock("62x40", dpi);
        let pictures: Vec<Bitmap> =
            labels.iter().map(|label| laid_out(label, &stock).paint(Fonts::standard())).collect();
        let largest = |encode: &dyn Fn(&Bitmap) -> Vec<u8>| pictures.iter().map(|picture| encode(picture).len()).max();
        let [ours, fastest, high] = [
            largest(&|picture| labels::png(picture, dpi)),
            largest(&|picture| by_the_crate(picture, png::Filter::Up, png::Compression::Fastest)),
            largest(&|picture| by_the_crate(picture, png::Filter::NoFilter, png::Compression::High)),
        ]
        .map(Option::unwrap_or_default);
        println!("| {} dpi | {ours} | {fastest} | {high} |", dpi.per_inch());
    }
    println!();
}

fn goals(table: &Table, labels: &[TrayLabel], stock: &LabelStock) {
    let met = |met: bool| if met { "met" } else { "MISSED" };
    let a_second = 1e6 / table.micros(WHOLE);
    let ratio = table.times(LIBQRENCODE, SYMBOL);
    let files =
        labels.iter().map(|label| labels::png(&laid_out(label, stock).paint(Fonts::standard()), Dpi::D203).len());
    let largest = files.max().unwrap_or(0);
    println!("| goal | measured | |");
    println!("|---|---:|---|");
    println!("| 10,000 labels a second a core | {a_second:.0} | {} |", met(a_second >= 10_000.0));
    println!("| the symbol twice as fast as libqrencode | {ratio:.1} times | {} |", met(ratio >= 2.0));
    println!("| a file at 203 dpi under 8 KB | {largest} bytes | {} |", met(largest < 8_000));
    println!();
}

fn load() -> String {
    std::fs::read_to_string("/proc/loadavg").map_or_else(|_| "unknown".into(), |line| line.trim().to_owned())
}
