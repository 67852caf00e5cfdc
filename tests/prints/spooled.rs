//! Through a whole print spooler: paused, refusing, its printer gone; and the dots that arrive behind it.

use crate::shop::{Shop, a_while};
use crate::support::printer::{Printer, Variant};
use crate::support::raster::{Page, pages};
use crate::support::server::Kind;
use crate::support::spooler::Spooler;

fn same(page: &Page, picture: &image::GrayImage) -> bool {
    (page.width, page.height) == picture.dimensions() && page.differing(picture) == 0
}

/// CUP-01 to CUP-06. The counterpart of the dots is CUP-07: the same label as PNG is scaled on its way, and still looks like one.
#[test]
fn through_a_spooler() {
    let mut printer = Printer::start(Variant::Behind);
    let spooler = Spooler::before(&printer);
    let shop = Shop::open(Kind::Sqlite, &[("counter", &spooler.uri())]);
    let blocks = shop.counter.blocks.clone();
    let first = shop.print(&blocks[0]);
    shop.becomes(first, "done", "");
    assert!(same(&pages(&printer.documents()[0])[0], &shop.picture(&blocks[0])));

    spooler.pause("out of labels");
    let second = shop.print(&blocks[1]);
    let waiting = shop.becomes(second, "waiting", "waits: someone paused it");
    assert!(waiting["reasons"].as_str().unwrap().contains("out of labels"), "{waiting}");
    assert_eq!(shop.printer("counter")["state"], "stopped");
    spooler.go_on();
    shop.becomes(second, "done", "");

    spooler.reject();
    let third = shop.print(&blocks[2]);
    shop.becomes(third, "waiting", "it takes no jobs now");
    spooler.accept();
    shop.becomes(third, "done", "");

    printer.switch_off();
    let fourth = shop.print(&shop.counter.tub);
    shop.becomes(fourth, "printing", "");
    a_while();
    assert_eq!(shop.get(fourth)["state"], "printing", "the spooler has it");
    printer.switch_on();
    shop.becomes(fourth, "done", "");
    let documents = printer.documents();
    assert_eq!(documents.len(), 4, "each once");
    assert!(same(&pages(&documents[3])[0], &shop.picture(&shop.counter.tub)));

    let file = tempfile::Builder::new().suffix(".png").tempfile().unwrap();
    let picture = shop.picture(&blocks[0]);
    picture.save(file.path()).unwrap();
    let readable = std::os::unix::fs::PermissionsExt::from_mode(0o644);
    std::fs::set_permissions(file.path(), readable).unwrap();
    spooler.print_file(file.path());
    let documents = shop.until(|| {
        let documents = printer.documents();
        if documents.len() == 5 { Ok(documents) } else { Err(documents.len().into()) }
    });
    let scaled = pages(&documents[4]);
    assert_eq!(scaled.len(), 1);
    assert!(!same(&scaled[0], &picture), "as PNG it does not arrive dot by dot");
}
