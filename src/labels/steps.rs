//! The sizes of type a label is tried in, from those of a large stock down to the smallest. Sizes only; no places. What a rule demands is
//! kept at every step: a passage is never set smaller than its own rules allow.

/// One set of x-heights in micrometres. Headlines may come out smaller than given where their column is narrow; body and fine print are
/// exactly as given, or as large as their rules demand.
#[derive(Debug, Clone, Copy)]
pub struct Step {
    /// Species, origin, storage, shop, net weight, statements.
    pub body_um: u32,
    /// Lots, days, small print.
    pub fine_um: u32,
    /// The cut's name.
    pub name_um: u32,
    /// The use-by, and the heading of what is not for sale.
    pub date_um: u32,
    /// The price.
    pub price_um: u32,
    /// The tray code.
    pub tray_code_um: u32,
    /// White between lines of one paragraph.
    pub leading_um: u32,
    /// Least white between paragraphs.
    pub gap_um: u32,
}

/// Tried from the first; the first in which everything fits is printed, with the headlines of a more generous step where the height left
/// over allows.
pub const STEPS: [Step; 15] = [
    step([3_000, 2_400, 6_600, 5_000, 7_600, 4_600, 900, 2_000]),
    step([2_600, 2_100, 5_800, 4_300, 6_600, 4_000, 800, 1_800]),
    step([2_250, 1_850, 5_000, 3_700, 5_700, 3_500, 700, 1_500]),
    step([1_950, 1_600, 4_400, 3_200, 4_900, 3_000, 600, 1_300]),
    step([1_700, 1_400, 3_800, 2_800, 4_200, 2_600, 500, 1_100]),
    step([1_500, 1_250, 3_400, 2_600, 3_800, 2_400, 400, 1_000]),
    step([1_400, 1_120, 3_100, 2_400, 3_400, 2_200, 350, 850]),
    step([1_200, 1_100, 2_800, 2_200, 3_200, 2_200, 250, 800]),
    step([1_200, 900, 2_600, 2_000, 2_900, 2_000, 200, 600]),
    step([1_200, 900, 2_300, 1_900, 2_500, 1_800, 120, 480]),
    step([1_200, 900, 2_000, 1_700, 2_200, 1_600, 80, 350]),
    step([1_100, 900, 1_900, 1_600, 2_000, 1_500, 80, 350]),
    step([1_000, 900, 1_800, 1_500, 1_900, 1_400, 60, 300]),
    step([900, 900, 1_600, 1_400, 1_800, 1_300, 40, 250]),
    step([900, 900, 1_300, 1_250, 1_500, 1_200, 20, 200]),
];

impl Step {
    /// These sizes of running text with the headlines of another step, and more white around them.
    pub const fn with_headlines_of(self, other: &Self) -> Self {
        Self {
            gap_um: self.gap_um * 5 / 4,
            name_um: other.name_um,
            date_um: other.date_um,
            price_um: other.price_um,
            tray_code_um: other.tray_code_um,
            ..self
        }
    }
}

const fn step(um: [u32; 8]) -> Step {
    let [body_um, fine_um, name_um, date_um, price_um, tray_code_um, leading_um, gap_um] = um;
    Step { body_um, fine_um, name_um, date_um, price_um, tray_code_um, leading_um, gap_um }
}

#[cfg(test)]
mod tests {
    use super::STEPS;

    #[test]
    fn steps_go_down() {
        for (larger, smaller) in STEPS.iter().zip(STEPS.iter().skip(1)) {
            assert!(larger.body_um >= smaller.body_um && larger.fine_um >= smaller.fine_um);
            assert!(larger.name_um > smaller.name_um && larger.price_um > smaller.price_um);
            assert!(larger.date_um > smaller.date_um && larger.tray_code_um >= smaller.tray_code_um);
            assert!(larger.gap_um >= smaller.gap_um && larger.leading_um >= smaller.leading_um);
        }
    }
}
