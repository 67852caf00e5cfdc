//! The sizes of type a label is tried in, from generous to the smallest allowed. Sizes only; no places.

/// Smallest x-height of text the law makes mandatory on a pack: 1.2 mm (Regulation (EU) 1169/2011, article 13(2),
/// from memory).
pub const SMALLEST_BODY_UM: u32 = 1_200;

/// Smallest x-height of all other text: 0.9 mm, which the same regulation still accepts on small packs (article
/// 13(3), from memory).
pub const SMALLEST_FINE_UM: u32 = 900;

/// Smallest x-height of the use-by, which is read at arm's length in a cold case. A choice of ours.
pub const SMALLEST_DATE_UM: u32 = 1_500;

/// Smallest x-height of the cut's name.
pub const SMALLEST_NAME_UM: u32 = 1_500;

/// Smallest x-height of the price.
pub const SMALLEST_PRICE_UM: u32 = 1_800;

/// Smallest x-height of the tray code, which is typed by hand when a scanner fails.
pub const SMALLEST_TRAY_CODE_UM: u32 = 1_500;

/// One set of x-heights in micrometres. Headlines may come out smaller than given, down to the minimum above, where
/// their column is narrow; body and fine print are exactly as given.
#[derive(Debug, Clone, Copy)]
pub struct Step {
    /// Species, origin, storage, shop, net weight, notices.
    pub body_um: u32,
    /// Lot, day of cutting, cautions.
    pub fine_um: u32,
    /// The cut's name.
    pub name_um: u32,
    /// The use-by.
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

/// Tried in this order; the first in which everything fits is printed, with the headlines of a more generous step
/// where the height left over allows.
pub const STEPS: [Step; 7] = [
    step([1_700, 1_400, 3_800, 2_800, 4_200, 2_600, 500, 1_100]),
    step([1_500, 1_250, 3_400, 2_600, 3_800, 2_400, 400, 1_000]),
    step([1_400, 1_120, 3_100, 2_400, 3_400, 2_200, 350, 850]),
    step([SMALLEST_BODY_UM, 1_100, 2_800, 2_200, 3_200, 2_200, 250, 800]),
    step([SMALLEST_BODY_UM, SMALLEST_FINE_UM, 2_600, 2_000, 2_900, 2_000, 200, 600]),
    step([SMALLEST_BODY_UM, SMALLEST_FINE_UM, 2_300, 1_900, 2_500, 1_800, 120, 480]),
    step([SMALLEST_BODY_UM, SMALLEST_FINE_UM, 2_000, 1_700, 2_200, 1_600, 80, 350]),
];

impl Step {
    /// These sizes of running text with the headlines of another step.
    pub const fn with_headlines_of(self, other: &Self) -> Self {
        Self {
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
    use super::{SMALLEST_BODY_UM, SMALLEST_FINE_UM, STEPS};

    #[test]
    fn steps_go_down_and_end_at_the_minimum() {
        for (larger, smaller) in STEPS.iter().zip(STEPS.iter().skip(1)) {
            assert!(larger.body_um >= smaller.body_um && larger.fine_um >= smaller.fine_um);
            assert!(larger.name_um > smaller.name_um && larger.price_um > smaller.price_um);
            assert!(larger.gap_um > smaller.gap_um && larger.leading_um > smaller.leading_um);
        }
        let last = STEPS.last().map(|step| (step.body_um, step.fine_um));
        assert_eq!(last, Some((SMALLEST_BODY_UM, SMALLEST_FINE_UM)));
    }
}
