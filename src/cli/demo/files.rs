//! The files of the demo shop: those built into the program, or a folder's. How their rows look is said in `rows`.

use super::contradiction::Contradiction;
use crate::cli::stop::Stop;
use serde::de::DeserializeOwned;
use std::path::Path;

/// A file by its name, with its text.
pub struct DataFile {
    pub name: &'static str,
    pub text: String,
}

macro_rules! embedded {
    ($($field:ident, $name:literal;)*) => {
        /// Every file of the demo shop.
        pub struct Files { $(pub $field: DataFile,)* }

        impl Files {
            /// The files this program was built with.
            pub fn embedded() -> Files {
                Files { $($field: DataFile {
                    name: $name,
                    text: include_str!(concat!("../../../demo-data/", $name)).to_owned(),
                },)* }
            }

            /// The files of a folder, by the same names.
            pub fn of_folder(folder: &Path) -> Result<Files, Stop> {
                let read = |name: &str| {
                    let file = folder.join(name);
                    std::fs::read_to_string(&file).map_err(|e| Stop::wrong(format!("{}: {e}", file.display())))
                };
                Ok(Files { $($field: DataFile { name: $name, text: read($name)? },)* })
            }
        }
    };
}

embedded! {
    shop, "shop.toml";
    people, "people.csv";
    species, "species.csv";
    suppliers, "suppliers.csv";
    cuts, "cuts.csv";
    places, "places.csv";
    case_plans, "case_plans.csv";
    lots, "lots.csv";
    breakdowns, "breakdowns.csv";
    outputs, "breakdown_outputs.csv";
    losses, "breakdown_losses.csv";
    acts, "acts.csv";
    sales, "sales.csv";
    reviews, "reviews.csv";
    front_case, "temperatures/front-case.csv";
    back_case, "temperatures/back-case.csv";
    superchill, "temperatures/superchill.csv";
    cold_room, "temperatures/cold-room.csv";
    freezer, "temperatures/freezer.csv";
}

impl Files {
    /// What the logger of each place measured, by the place's code.
    pub fn temperatures(&self) -> [(&'static str, &DataFile); 5] {
        [
            ("front-case", &self.front_case),
            ("back-case", &self.back_case),
            ("superchill", &self.superchill),
            ("cold-room", &self.cold_room),
            ("freezer", &self.freezer),
        ]
    }
}

/// One row and where it stands.
#[derive(Debug, Clone)]
pub struct Line<T> {
    pub file: &'static str,
    pub line: u64,
    pub row: T,
}

impl<T> Line<T> {
    /// What is wrong with this row.
    pub fn contradiction(&self, what: impl ToString) -> Contradiction {
        Contradiction { file: self.file, line: self.line, what: what.to_string() }
    }
}

impl DataFile {
    /// Reads all rows; every row that cannot be read goes to `wrong`.
    pub fn rows<T: DeserializeOwned>(&self, wrong: &mut Vec<Contradiction>) -> Vec<Line<T>> {
        let mut reader = csv::ReaderBuilder::new().comment(Some(b'#')).from_reader(self.text.as_bytes());
        let file = self.name;
        let mut rows = Vec::new();
        let headers = match reader.headers() {
            Ok(headers) => headers.clone(),
            Err(error) => {
                wrong.push(Contradiction { file, line: 1, what: error.to_string() });
                return rows;
            }
        };
        for record in reader.records() {
            let line = match &record {
                Ok(record) => record.position().map_or(0, csv::Position::line),
                Err(error) => error.position().map_or(0, csv::Position::line),
            };
            match record.and_then(|record| record.deserialize(Some(&headers))) {
                Ok(row) => rows.push(Line { file, line, row }),
                Err(error) => wrong.push(Contradiction { file, line, what: error.to_string() }),
            }
        }
        rows
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::cli::demo::rows::PersonRow;

    #[test]
    fn rows_know_their_line() {
        let text = "# said\n# more\nname,role\nAnn,cutter\nBen\nCid,counter\n".to_owned();
        let mut wrong = Vec::new();
        let rows: Vec<Line<PersonRow>> = DataFile { name: "people.csv", text }.rows(&mut wrong);
        assert_eq!(rows.iter().map(|r| r.line).collect::<Vec<_>>(), [4, 6]);
        assert_eq!(wrong.iter().map(|w| w.line).collect::<Vec<_>>(), [5]);
    }
}
