//! The shop's press, made of what the settings name: reads the font files and the file of stocks, and tells everything that is wrong at once.

use super::settings::labels::LabelSettings;
use super::stop::Stop;
use crate::domain::label_fields::Pack;
use crate::domain::printing::Printer;
use crate::jobs::printing::Served;
use crate::labels::stock::Dpi;
use crate::labels::stocks::Stocks;
use crate::labels::text::Fonts;
use crate::ops::press::Press;

/// Reads what the settings name.
pub fn make(settings: &LabelSettings) -> Result<Press, Stop> {
    let mut problems = Vec::new();
    let fonts = fonts(&settings.fonts, &mut problems);
    let stocks = stocks(settings.stock_file.as_deref(), &mut problems);
    let dpi = Dpi::from_number(settings.dpi).unwrap_or(Dpi::D203);
    for name in settings.stocks.iter().filter(|name| stocks.find(name, dpi).is_none()) {
        problems.push(format!("labels.stocks: there is no stock {name:?} at {} dpi", dpi.per_inch()));
    }
    let pack = if settings.small_packs { Pack::Small } else { Pack::Usual };
    if problems.is_empty() {
        return Ok(Press::new(fonts, stocks, settings.stocks.clone(), dpi, pack));
    }
    Err(Stop::Wrong(problems))
}

/// The printers, each with the size of the stock that its settings name. A sheet goes through no label printer.
pub fn printers(served: &[Served], press: &Press) -> Result<Vec<Printer>, Stop> {
    let (mut printers, mut problems) = (Vec::new(), Vec::new());
    for Served { printer, .. } in served {
        let dpi = Dpi::from_number(printer.dpi);
        let stock =
            dpi.and_then(|dpi| press.stocks().find(&printer.stock, dpi)).filter(|stock| stock.sheet().is_none());
        match stock {
            Some(stock) => {
                let (width_um, height_um) = (stock.width_um(), stock.height_um());
                printers.push(Printer { width_um, height_um, ..printer.clone() });
            }
            None => problems.push(format!(
                "printers: {}: there is no roll {:?} at {} dpi",
                printer.name, printer.stock, printer.dpi
            )),
        }
    }
    if problems.is_empty() { Ok(printers) } else { Err(Stop::Wrong(problems)) }
}

fn fonts(files: &[String], problems: &mut Vec<String>) -> Option<Fonts> {
    if files.is_empty() {
        return None;
    }
    let (mut names, mut read) = (Vec::new(), Vec::new());
    for file in files {
        match std::fs::read(file) {
            Ok(bytes) => {
                names.push(file.as_str());
                read.push(bytes);
            }
            Err(error) => problems.push(format!("labels.fonts: {file}: {error}")),
        }
    }
    match Fonts::with(read) {
        Ok(fonts) => Some(fonts),
        Err(place) => {
            let name = names.get(place).copied().unwrap_or_default();
            problems.push(format!("labels.fonts: {name}: no TrueType or OpenType font with a letter x"));
            None
        }
    }
}

fn stocks(file: Option<&str>, problems: &mut Vec<String>) -> Stocks {
    let built_in = Stocks::built_in();
    let Some(file) = file else { return built_in.clone() };
    let own = std::fs::read_to_string(file).map_err(|e| vec![e.to_string()]).and_then(|text| Stocks::read(&text));
    own.map(|own| built_in.after(&own)).unwrap_or_else(|wrong| {
        problems.extend(wrong.into_iter().map(|problem| format!("labels.stock_file: {file}: {problem}")));
        built_in.clone()
    })
}

#[cfg(test)]
mod tests {
    use super::make;
    use crate::cli::settings::labels::LabelSettings;
    use crate::cli::stop::Stop;

    fn settings() -> LabelSettings {
        LabelSettings {
            stocks: vec!["62x40".into()],
            dpi: 203,
            fonts: Vec::new(),
            stock_file: None,
            small_packs: false,
        }
    }

    #[test]
    fn what_is_named_must_be_there() {
        assert!(make(&settings()).is_ok());
        let wrong = LabelSettings {
            stocks: vec!["62x40".into(), "a4-62x40".into()],
            fonts: vec!["no/such.ttf".into(), "Cargo.toml".into()],
            stock_file: Some("Cargo.toml".into()),
            ..settings()
        };
        let Err(Stop::Wrong(lines)) = make(&wrong) else { panic!("files that are none were taken") };
        for part in ["no/such.ttf", "Cargo.toml: no TrueType", "labels.stock_file: Cargo.toml", "\"a4-62x40\" at 203"] {
            assert!(lines.iter().any(|line| line.contains(part)), "{part}: {lines:#?}");
        }
    }
}
