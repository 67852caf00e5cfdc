//! What a label is printed on: its size, its margin and the printer's resolution, and the step from micrometres to
//! whole dots. Nothing about what is printed.

use std::ops::RangeInclusive;

use super::refusal::LabelRefusal;

const MICROMETRES_PER_INCH: u64 = 25_400;

/// Resolution of the print head, dots per inch.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Dpi {
    /// 203 dots per inch, about 8 dots per millimetre.
    D203,
    /// 300 dots per inch, about 12 dots per millimetre.
    D300,
}

impl Dpi {
    /// Dots per inch as a number.
    pub const fn per_inch(self) -> u32 {
        match self {
            Self::D203 => 203,
            Self::D300 => 300,
        }
    }

    /// Dots per metre, rounded to nearest, as the `pHYs` chunk of PNG wants it.
    pub const fn per_metre(self) -> u32 {
        match self {
            Self::D203 => 7_992,
            Self::D300 => 11_811,
        }
    }

    /// From the number of a configuration file; `None` for any resolution that is not drawn for.
    pub const fn from_number(per_inch: u32) -> Option<Self> {
        match per_inch {
            203 => Some(Self::D203),
            300 => Some(Self::D300),
            _ => None,
        }
    }

    /// Whole dots per module whose width lies within 0.396 to 0.990 mm (GS1 General Specifications 5.12.3.1).
    pub const fn dots_per_module(self) -> RangeInclusive<i32> {
        match self {
            Self::D203 => 4..=7,
            Self::D300 => 5..=11,
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
}

fn clamp_dots(dots: u64) -> i32 {
    i32::try_from(dots).unwrap_or(i32::MAX)
}

/// One size of blank label in one printer. A value that exists can be drawn on.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub struct LabelStock {
    width_um: u32,
    height_um: u32,
    margin_um: u32,
    dpi: Dpi,
}

impl LabelStock {
    /// A stock of any size: 30 to 150 mm wide, 20 to 150 mm high, margin 0.5 to 5 mm, all in micrometres.
    ///
    /// # Errors
    /// [`LabelRefusal::StockOutOfRange`] with the measure that is outside.
    pub fn new(width_um: u32, height_um: u32, margin_um: u32, dpi: Dpi) -> Result<Self, LabelRefusal> {
        within("width", width_um, 30_000..=150_000)?;
        within("height", height_um, 20_000..=150_000)?;
        within("margin", margin_um, 500..=5_000)?;
        Ok(Self { width_um, height_um, margin_um, dpi })
    }

    /// The standard tray label, 62 by 40 mm, margin 1.1 mm.
    pub const fn standard(dpi: Dpi) -> Self {
        Self { width_um: 62_000, height_um: 40_000, margin_um: 1_100, dpi }
    }

    /// The large tray label, 80 by 50 mm, margin 1.5 mm.
    pub const fn large(dpi: Dpi) -> Self {
        Self { width_um: 80_000, height_um: 50_000, margin_um: 1_500, dpi }
    }

    /// Width in micrometres.
    pub const fn width_um(&self) -> u32 {
        self.width_um
    }

    /// Height in micrometres.
    pub const fn height_um(&self) -> u32 {
        self.height_um
    }

    /// The border that text keeps clear, in micrometres.
    pub const fn margin_um(&self) -> u32 {
        self.margin_um
    }

    /// Resolution of the printer.
    pub const fn dpi(&self) -> Dpi {
        self.dpi
    }

    /// Width in whole dots.
    pub fn width_dots(&self) -> i32 {
        self.dpi.dots_within(self.width_um)
    }

    /// Height in whole dots.
    pub fn height_dots(&self) -> i32 {
        self.dpi.dots_within(self.height_um)
    }

    /// Margin in whole dots.
    pub fn margin_dots(&self) -> i32 {
        self.dpi.dots_at_least(self.margin_um)
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

    #[test]
    fn every_allowed_module_is_within_the_range_for_retail_and_its_neighbours_are_not() {
        for dpi in [Dpi::D203, Dpi::D300] {
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
        let stock = LabelStock::standard(Dpi::D203);
        assert_eq!((stock.width_dots(), stock.height_dots()), (495, 319));
        let stock = LabelStock::standard(Dpi::D300);
        assert_eq!((stock.width_dots(), stock.height_dots()), (732, 472));
        assert_eq!(Dpi::D203.dots_at_least(1_200), 10);
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
