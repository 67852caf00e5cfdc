//! The tables `[[printers]]`: where labels are printed, and on what.

use super::reader::Section;
use crate::domain::printing::Printer;
use crate::domain::text::catalogue_code;
use crate::jobs::printing::Served;
use crate::outbound::ipp::{Address, read_uri};
use std::time::Duration;
use toml::{Table, Value};

/// More printers than this are no counter.
const MOST: usize = 16;

/// Reads `[[printers]]`; whatever is wrong goes to `problems`.
pub fn read(file: &mut Table, problems: &mut Vec<String>) -> Vec<Served> {
    let tables = match file.remove("printers") {
        None => return Vec::new(),
        Some(Value::Array(tables)) if tables.len() <= MOST && tables.iter().all(Value::is_table) => tables,
        Some(other) => {
            problems.push(format!("printers = {other}: each printer, at most {MOST}, is a table, [[printers]]"));
            return Vec::new();
        }
    };
    let mut served: Vec<Served> = Vec::new();
    for (index, table) in tables.into_iter().enumerate() {
        let Value::Table(table) = table else { continue };
        let one = read_one(&format!("printers[{index}]"), table, problems);
        if served.iter().any(|other| other.printer.name == one.printer.name) {
            problems.push(format!("printers[{index}].name = {:?}: another printer has this name", one.printer.name));
        }
        served.push(one);
    }
    served
}

fn read_one(name: &str, mut table: Table, problems: &mut Vec<String>) -> Served {
    for key in ["name", "uri", "stock"] {
        if !table.contains_key(key) {
            problems.push(format!("{name}.{key}: is missing"));
            // Nothing else is to be said of it.
            let stand_in = if key == "uri" { "ipp://localhost/ipp/print" } else { "62x40" };
            let stand_in = if key == "name" { format!("nameless-{}", problems.len()) } else { stand_in.to_owned() };
            table.insert(key.to_owned(), Value::String(stand_in));
        }
    }
    let mut section = Section::of(name, table, problems);
    let own = |text: &str| Some(text.to_owned());
    let must = "must be 2 to 24 lower-case letters, digits and hyphens, beginning with a letter";
    let printer_name = section.text("name", String::new(), must, |text| catalogue_code("", text).ok());
    let must = "must be an address such as ipp://printer.local:631/ipp/print, at most 255 characters";
    let uri = section.text("uri", String::new(), must, |text| read_uri(text).and(own(text)));
    let must = "must be the name of a stock, such as \"62x40\"";
    let stock = section.text("stock", String::new(), must, |text| is_stock(text).then(|| text.to_owned()));
    let dpi = match section.value("dpi") {
        None => 203,
        Some(Value::Integer(dpi @ (203 | 300 | 600))) => u32::try_from(dpi).unwrap_or(203),
        Some(other) => {
            section.wrong("dpi", &other, "must be 203, 300 or 600");
            203
        }
    };
    let must = "must be a name of paper as the printer lists it, at most 63 letters, digits and - _ .";
    let media = section.text("media", None, must, |text| is_media(text).then(|| Some(text.to_owned())));
    let seconds = section.count("timeout_seconds", 5_u64, 1..=60);
    section.finish();
    Served {
        // The size of the stock is filled in from the file of stocks.
        printer: Printer { name: printer_name, stock, dpi, width_um: 0, height_um: 0 },
        address: Address { uri, timeout: Duration::from_secs(seconds) },
        media,
    }
}

/// Whether there is such a stock is looked at where the stocks are read.
fn is_stock(text: &str) -> bool {
    (1..=40).contains(&text.len()) && text.bytes().all(|b| b.is_ascii_lowercase() || b.is_ascii_digit() || b == b'-')
}

fn is_media(text: &str) -> bool {
    (1..=63).contains(&text.len()) && text.bytes().all(|b| b.is_ascii_alphanumeric() || b"-_.".contains(&b))
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read_text(text: &str) -> Result<Vec<Served>, Vec<String>> {
        let mut problems = Vec::new();
        let served = read(&mut text.parse().unwrap(), &mut problems);
        if problems.is_empty() { Ok(served) } else { Err(problems) }
    }

    const WHOLE: &str = "[[printers]]\nname = 'counter'\nuri = 'ipp://localhost:8631/ipp/print'\nstock = '62x40'\n";

    #[test]
    fn printers_are_read_in_their_order() {
        let second = "[[printers]]\nname = 'back'\nuri = 'ipp://10.0.0.9/ipp/print'\nstock = '80x50'\ndpi = 300\n\
                      media = 'om_tray_80x50mm'\ntimeout_seconds = 60\n";
        let served = read_text(&format!("{WHOLE}{second}")).unwrap();
        let names: Vec<&str> = served.iter().map(|one| one.printer.name.as_str()).collect();
        assert_eq!(names, ["counter", "back"]);
        assert_eq!(
            (served[0].printer.dpi, served[0].address.timeout.as_secs(), served[0].media.as_deref()),
            (203, 5, None)
        );
        assert_eq!((served[1].printer.dpi, served[1].address.timeout.as_secs()), (300, 60));
        assert_eq!(served[1].printer.stock, "80x50");
        assert_eq!(served[1].media.as_deref(), Some("om_tray_80x50mm"));
        assert_eq!(read_text(""), Ok(Vec::new()));
    }

    #[test]
    fn everything_wrong_with_a_printer_is_said_at_once() {
        let wrong = "[[printers]]\nname = 'Counter 1'\nuri = 'http://localhost/'\nstock = '62 x 40'\ndpi = 200\nmedia = 'a b'\n\
                     timeout_seconds = 61\ncolour = 'red'\n[[printers]]\nname = 'a2'\n";
        let problems = read_text(wrong).unwrap_err();
        for start in [
            "printers[0].name = ",
            "printers[0].uri = ",
            "printers[0].stock = ",
            "printers[0].dpi = 200: must be 203, 300 or 600",
            "printers[0].media = ",
            "printers[0].timeout_seconds = 61",
            "printers[0].colour: unknown key",
            "printers[1].uri: is missing",
            "printers[1].stock: is missing",
        ] {
            assert!(problems.iter().any(|said| said.starts_with(start)), "{start}: {problems:#?}");
        }
        assert_eq!(problems.len(), 9, "{problems:#?}");
        assert!(read_text(&format!("{WHOLE}{WHOLE}")).unwrap_err()[0].contains("another printer has this name"));
        assert!(read_text("printers = 3").is_err());
        assert!(read_text("printers = [1]").is_err());
    }
}
