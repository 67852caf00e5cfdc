//! The stocks a shop can print on: those that come with the program and those of the shop's own file. How a file is read is in
//! `read_stocks`.

use super::read_stocks::read;
use super::stock::{Dpi, LabelStock};
use std::sync::LazyLock;

/// Named label stocks, each for one resolution.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Stocks {
    all: Vec<LabelStock>,
}

static BUILT_IN: LazyLock<Stocks> = LazyLock::new(|| Stocks::read(include_str!("stocks.toml")).unwrap_or_default());

impl Stocks {
    /// The stocks that come with the program.
    pub fn built_in() -> &'static Self {
        &BUILT_IN
    }

    /// Reads a file of stocks; `stocks.toml` beside this file is one.
    ///
    /// # Errors
    /// Everything that is wrong with it, one sentence each.
    pub fn read(text: &str) -> Result<Self, Vec<String>> {
        read(text).map(|all| Self { all })
    }

    /// These stocks with others in front of them: of two with the same name and resolution the other is found.
    #[must_use]
    pub fn after(&self, others: &Self) -> Self {
        Self { all: others.all.iter().chain(&self.all).cloned().collect() }
    }

    /// The stock of a name for a resolution.
    pub fn find(&self, name: &str, dpi: Dpi) -> Option<LabelStock> {
        self.all.iter().find(|stock| stock.name() == name && stock.dpi() == dpi).cloned()
    }

    /// All of them, in the order of the file.
    pub fn all(&self) -> &[LabelStock] {
        &self.all
    }
}

#[cfg(test)]
mod tests {
    use super::Stocks;
    use crate::labels::stock::Dpi;

    #[test]
    fn the_built_in_file_is_read_and_its_stocks_are_found() {
        assert_eq!(Stocks::read(include_str!("stocks.toml")).as_ref(), Ok(Stocks::built_in()));
        for name in ["40x30", "50x30", "58x40", "62x40", "80x50", "100x62"] {
            for dpi in Dpi::ALL {
                let stock = Stocks::built_in().find(name, dpi);
                assert!(stock.is_some_and(|stock| stock.sheet().is_none()), "{name}");
            }
        }
        let dots = Stocks::built_in().find("62x40", Dpi::D203).map(|stock| (stock.width_dots(), stock.height_dots()));
        assert_eq!(dots, Some((496, 320)));
        let sheet = Stocks::built_in().find("a4-62x40", Dpi::D300).and_then(|stock| stock.sheet());
        assert_eq!(sheet.map(|sheet| (sheet.columns, sheet.rows)), Some((3, 7)));
        assert_eq!(Stocks::built_in().find("62x40-no", Dpi::D203), None);
    }

    #[test]
    fn a_shop_s_own_stock_goes_before() {
        let own = Stocks::read("[[stock]]\nname = \"62x40\"\nwidth_mm = 62\nheight_mm = 40\nmargin_mm = 3\ndpi = 203")
            .unwrap_or_default();
        let both = Stocks::built_in().after(&own);
        assert_eq!(both.find("62x40", Dpi::D203).map(|stock| stock.margins().left_um), Some(3_000));
        assert_eq!(both.find("62x40", Dpi::D300).map(|stock| stock.margins().left_um), Some(1_100));
    }

    #[test]
    fn every_problem_of_a_file_is_told_at_once() {
        let text = r#"
            [[stock]]
            name = "Too Wide"
            width_mm = 200
            height_mm = "tall"
            margin_mm = 0.1
            dpi = 150
            colour = "red"

            [[stock]]
            name = "other"
            width_mm = 62
            height_mm = 40
            margin_mm = { left = 1, top = 1, right = 1 }
            dpi = [203, 203]
            dots = { 203 = [100, 320], 300 = [732, 472] }

            [[stock]]
            name = "twice"
            width_mm = 62
            height_mm = 40
            margin_mm = 1
            dpi = 203

            [[stock]]
            name = "twice"
            width_mm = 62
            height_mm = 40
            margin_mm = 1
            dpi = [300, 203]
            sheet = { paper = "A4", columns = 4, rows = 7, left_mm = 8, top_mm = 8.5, pitch_x_mm = 66, pitch_y_mm = 39 }
        "#;
        let problems = Stocks::read(text).expect_err("a file full of mistakes");
        let told = |part: &str| assert!(problems.iter().any(|problem| problem.contains(part)), "{part}: {problems:#?}");
        for part in [
            "stock 1 (Too Wide): name",
            "stock 1 (Too Wide): width_mm must be from 30 to 150",
            "stock 1 (Too Wide): height_mm must be a number",
            "stock 1 (Too Wide): margin_mm must be from 0.5 to 10",
            "stock 1 (Too Wide): dpi must be one or more of 203, 300, 600",
            "stock 1 (Too Wide): colour is not known",
            "stock 2 (other): margin_mm.bottom is missing",
            "stock 2 (other): dpi names 203 twice",
            "stock 2 (other): dots.203",
            "stock 2 (other): dots.300 is for a resolution dpi does not name",
            "stock 4 (twice): the name with 203 dpi stands twice",
            "stock 4 (twice): sheet.pitch_y_mm",
            "stock 4 (twice): the labels do not lie on the paper",
        ] {
            told(part);
        }
        assert!(Stocks::read("stock = 3").is_err() && Stocks::read("[[stock]").is_err() && Stocks::read("").is_err());
    }
}
