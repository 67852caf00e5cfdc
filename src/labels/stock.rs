//! What a label is printed on: its size, its margins, the printer's resolution, the sheet it comes on; and the step from micrometres to
//! whole dots. Nothing about what is printed, and nothing about files.

use std::ops::RangeInclusive;
use std::sync::Arc;

use super::refusal::LabelRefusal;

const MICROMETRES_PER_INCH: u64 = 25_400;

/// Resolution of the print head, dots per inch.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Dpi {
    /// 203 dots per inch, about 8 dots per millimetre.
    D203,
    /// 300 dots per inch, about 12 dots per millimetre.
    D300,
    /// 600 dots per inch, about 24 dots per millimetre.
    D600,
}

impl Dpi {
    /// Every resolution that is drawn for.
    pub const ALL: [Self; 3] = [Self::D203, Self::D300, Self::D600];

    /// Dots per inch as a number.
    pub const fn per_inch(self) -> u32 {
        match self {
            Self::D203 => 203,
            Self::D300 => 300,
            Self::D600 => 600,
        }
    }

    /// Dots per metre, rounded to nearest, as the `pHYs` chunk of PNG wants it.
    pub const fn per_metre(self) -> u32 {
        match self {
            Self::D203 => 7_992,
            Self::D300 => 11_811,
            Self::D600 => 23_622,
        }
    }

    /// From the number of a configuration file; `None` for any resolution that is not drawn for.
    pub const fn from_number(per_inch: u32) -> Option<Self> {
        match per_inch {
            203 => Some(Self::D203),
            300 => Some(Self::D300),
            600 => Some(Self::D600),
            _ => None,
        }
    }

    /// Whole dots per module whose width lies within 0.396 to 0.990 mm (GS1 General Specifications 5.12.3.1).
    pub const fn dots_per_module(self) -> RangeInclusive<i32> {
        match self {
            Self::D203 => 4..=7,
            Self::D300 => 5..=11,
            Self::D600 => 10..=23,
        }
    }

    /// Whole dots that fit into a length.
    pub fn dots_within(self, length_um: u32) -> i32 {
        clamp_dots(u64::from(length_um) * u64::from(self.per_inch()) / MICROMETRES_PER_INCH)
    }

    /// The fewest whole dots that are at least a length: for minimum sizes.
    pub fn dots_at_least(self, length_um: u32) -> i32 {
        clamp_dots((u64::from(length_um) * u64::from(self.per_inch())).div_ceil(MICROMETRES_PER_INCH))
    }

    /// The length of so many dots, rounded down to whole micrometres; none of a negative number.
    pub fn um_of(self, dots: i32) -> u32 {
        let um = u64::try_from(dots).unwrap_or(0) * MICROMETRES_PER_INCH / u64::from(self.per_inch());
        u32::try_from(um).unwrap_or(u32::MAX)
    }
}

fn clamp_dots(dots: u64) -> i32 {
    i32::try_from(dots).unwrap_or(i32::MAX)
}

/// The border that print keeps clear, in micrometres.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Margins {
    /// At the left edge.
    pub left_um: u32,
    /// At the top edge.
    pub top_um: u32,
    /// At the right edge.
    pub right_um: u32,
    /// At the bottom edge.
    pub bottom_um: u32,
}

impl Margins {
    /// The same on all sides.
    pub const fn even(um: u32) -> Self {
        Self { left_um: um, top_um: um, right_um: um, bottom_um: um }
    }
}

/// A sheet of labels: the place of the first, and the step to the next. All in micrometres.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct Sheet {
    /// Width of the paper.
    pub paper_width_um: u32,
    /// Height of the paper.
    pub paper_height_um: u32,
    /// Labels beside each other.
    pub columns: u32,
    /// Labels below each other.
    pub rows: u32,
    /// From the paper's left edge to the first label's.
    pub left_um: u32,
    /// From the paper's top edge to the first label's.
    pub top_um: u32,
    /// From one label's left edge to the next one's.
    pub pitch_x_um: u32,
    /// From one label's top edge to the next one's.
    pub pitch_y_um: u32,
}

/// One size of blank label in one printer. A value that exists can be drawn on.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct LabelStock {
    name: Arc<str>,
    width_um: u32,
    height_um: u32,
    margins: Margins,
    dpi: Dpi,
    /// What the printer really has, where that is not what fits into the size.
    dots: Option<(i32, i32)>,
    sheet: Option<Sheet>,
}

/// Allowed measures, in micrometres.
pub(super) const WIDTHS: RangeInclusive<u32> = 30_000..=150_000;
pub(super) const HEIGHTS: RangeInclusive<u32> = 20_000..=150_000;
pub(super) const MARGINS: RangeInclusive<u32> = 500..=10_000;

impl LabelStock {
    /// A stock of any size: 30 to 150 mm wide, 20 to 150 mm high, margin 0.5 to 10 mm, all in micrometres.
    ///
    /// # Errors
    /// [`LabelRefusal::StockOutOfRange`] with the measure that is outside.
    pub fn new(width_um: u32, height_um: u32, margin_um: u32, dpi: Dpi) -> Result<Self, LabelRefusal> {
        within("width", width_um, WIDTHS)?;
        within("height", height_um, HEIGHTS)?;
        within("margin", margin_um, MARGINS)?;
        let name = Arc::from(format!("{}x{}", width_um / 1_000, height_um / 1_000));
        let margins = Margins::even(margin_um);
        Ok(Self { name, width_um, height_um, margins, dpi, dots: None, sheet: None })
    }

    /// The stock under another name.
    #[must_use]
    pub fn named(self, name: &str) -> Self {
        Self { name: Arc::from(name), ..self }
    }

    /// The stock with margins of its own; the caller has looked at their range.
    pub(super) fn with_margins(self, margins: Margins) -> Self {
        Self { margins, ..self }
    }

    /// The stock with the dots its printer really has; the caller has compared them with the size.
    pub(super) fn with_dots(self, dots: Option<(i32, i32)>) -> Self {
        Self { dots, ..self }
    }

    /// The stock on a sheet; the caller has looked whether it lies on the paper.
    pub(super) fn on_sheet(self, sheet: Option<Sheet>) -> Self {
        Self { sheet, ..self }
    }

    /// Its name in the file of stocks.
    pub fn name(&self) -> &str {
        &self.name
    }

    /// Width in micrometres.
    pub const fn width_um(&self) -> u32 {
        self.width_um
    }

    /// Height in micrometres.
    pub const fn height_um(&self) -> u32 {
        self.height_um
    }

    /// The border that print keeps clear.
    pub const fn margins(&self) -> Margins {
        self.margins
    }

    /// Resolution of the printer.
    pub const fn dpi(&self) -> Dpi {
        self.dpi
    }

    /// The sheet it comes on, if it does.
    pub const fn sheet(&self) -> Option<Sheet> {
        self.sheet
    }

    /// Width in whole dots.
    pub fn width_dots(&self) -> i32 {
        self.dots.map_or_else(|| self.dpi.dots_within(self.width_um), |(width, _)| width)
    }

    /// Height in whole dots.
    pub fn height_dots(&self) -> i32 {
        self.dots.map_or_else(|| self.dpi.dots_within(self.height_um), |(_, height)| height)
    }
}

fn within(measure: &'static str, value_um: u32, allowed: RangeInclusive<u32>) -> Result<(), LabelRefusal> {
    if allowed.contains(&value_um) {
        return Ok(());
    }
    Err(LabelRefusal::StockOutOfRange { measure, value_um, min_um: *allowed.start(), max_um: *allowed.end() })
}

#[cfg(test)]
mod tests {
    use super::{Dpi, LabelStock};

    /// The rows of the standard's range in whole dots: GS1 General Specifications 5.12.3.1, computed.
    #[test]
    fn every_allowed_module_is_within_the_range_for_retail_and_its_neighbours_are_not() {
        for dpi in Dpi::ALL {
            let within = |dots: i32| {
                let nanometres = i64::from(dots) * 25_400_000 / i64::from(dpi.per_inch());
                (396_000..=990_000).contains(&nanometres)
            };
            assert!(dpi.dots_per_module().all(within));
            assert!(!within(dpi.dots_per_module().start() - 1));
            assert!(!within(dpi.dots_per_module().end() + 1));
        }
    }

    #[test]
    fn a_label_never_has_more_dots_than_it_is_long() {
        let dots =
            |dpi| LabelStock::new(62_000, 40_000, 1_100, dpi).map(|stock| (stock.width_dots(), stock.height_dots()));
        assert_eq!(dots(Dpi::D203), Ok((495, 319)));
        assert_eq!(dots(Dpi::D300), Ok((732, 472)));
        assert_eq!(dots(Dpi::D600), Ok((1_464, 944)));
        assert_eq!(Dpi::D203.dots_at_least(1_200), 10);
        assert!(Dpi::ALL.iter().all(|dpi| dpi.dots_within(dpi.um_of(37) + 1) == 37));
    }

    #[test]
    fn a_stock_outside_the_limits_is_refused() {
        let refused = |width, height, margin| {
            LabelStock::new(width, height, margin, Dpi::D203).err().map(|refusal| refusal.code())
        };
        assert_eq!(refused(62_000, 40_000, 1_000), None);
        assert_eq!(refused(29_999, 40_000, 1_000), Some("label_stock_out_of_range"));
        assert_eq!(refused(62_000, 150_001, 1_000), Some("label_stock_out_of_range"));
        assert_eq!(refused(62_000, 40_000, 499), Some("label_stock_out_of_range"));
    }
}
