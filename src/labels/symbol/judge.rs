//! The judge of masks: the penalty of a finished symbol (ISO/IEC 18004:2015, 7.8.3.1, table 11), taken a row of modules at a time. It
//! reads a matrix and knows nothing of how one is made.
//!
//! How the standard is read where it leaves a choice: the complete symbol counts, format information included; what lies beyond an edge
//! is light, as the quiet zone is; a finder-like pattern counts once, however many of its sides are light, and only with a bar of one
//! module.

/// The longest side, in modules, of a symbol that is kept in rows of one word: version 11.
pub const MOST_MODULES: usize = 61;

/// A matrix: one word a row from the top, column 0 in the lowest bit, 1 is dark. All beyond the symbol is 0.
pub type Rows = [u64; 64];

const RUN: u32 = 3;
const BLOCK: u32 = 3;
const FINDER: u32 = 40;
const BALANCE: u32 = 10;

/// The penalty of a matrix with so many modules along one side, at most [`MOST_MODULES`]. The lowest is the best.
pub fn penalty(rows: &Rows, modules: usize) -> u32 {
    let alike = Alike::new(rows, modules);
    let dark: u32 = rows.iter().map(|row| row.count_ones()).sum();
    runs(&alike) + BLOCK * blocks(&alike) + FINDER * finders(rows) + balance(dark, modules)
}

/// Which modules have the colour of their neighbour.
struct Alike {
    /// As the neighbour to the right; the last column has none.
    right: Rows,
    /// As the neighbour below, one row further down than the module, so that there is a 0 above the first. The last row has none.
    below: [u64; 68],
}

impl Alike {
    fn new(rows: &Rows, modules: usize) -> Self {
        let (columns, pairs) = (ones(modules), ones(modules.saturating_sub(1)));
        let mut alike = Self { right: [0; 64], below: [0; 68] };
        for (right, row) in alike.right.iter_mut().zip(rows).take(modules) {
            *right = !(row ^ (row >> 1)) & pairs;
        }
        let lower = rows.iter().skip(1);
        for (below, (row, lower)) in
            alike.below.iter_mut().skip(1).zip(rows.iter().zip(lower)).take(modules.saturating_sub(1))
        {
            *below = !(row ^ lower) & columns;
        }
        alike
    }
}

const fn ones(count: usize) -> u64 {
    if count >= 64 { u64::MAX } else { (1 << count) - 1 }
}

/// Runs of five or more: 3 for five, 1 for each module more. A run of n holds n - 4 fives; its first five counts 2 on top.
fn runs(alike: &Alike) -> u32 {
    let mut fives = 0;
    let mut firsts = 0;
    for right in &alike.right {
        let five = right & (right >> 1) & (right >> 2) & (right >> 3);
        fives += five.count_ones();
        firsts += (five & !(right << 1)).count_ones();
    }
    for window in alike.below.windows(5) {
        let &[above, a, b, c, d] = window else { continue };
        let five = a & b & c & d;
        fives += five.count_ones();
        firsts += (five & !above).count_ones();
    }
    fives + (RUN - 1) * firsts
}

/// Squares of two by two of one colour, overlapping ones each.
fn blocks(alike: &Alike) -> u32 {
    let below = alike.below.iter().skip(1);
    alike.right.iter().zip(below).map(|(right, below)| (right & below & (below >> 1)).count_ones()).sum()
}

/// Dark, light, three dark, light, dark, with four light ones on at least one side.
fn finders(rows: &Rows) -> u32 {
    let mut found = 0;
    for row in rows {
        let pattern = row & !(row >> 1) & (row >> 2) & (row >> 3) & (row >> 4) & !(row >> 5) & (row >> 6);
        let before = (row << 1) | (row << 2) | (row << 3) | (row << 4);
        let after = (row >> 7) | (row >> 8) | (row >> 9) | (row >> 10);
        found += (pattern & !(before & after)).count_ones();
    }
    // Four rows of the quiet zone above and below.
    let mut column = [0; 4 + 64 + 7];
    for (to, row) in column.iter_mut().skip(4).zip(rows) {
        *to = *row;
    }
    for window in column.windows(15) {
        let &[a, b, c, d, one, two, three, four, five, six, seven, w, x, y, z] = window else { continue };
        let pattern = one & !two & three & four & five & !six & seven;
        found += (pattern & !((a | b | c | d) & (w | x | y | z))).count_ones();
    }
    found
}

/// 10 for each whole 5 % that the share of dark modules is away from a half.
fn balance(dark: u32, modules: usize) -> u32 {
    let all = u32::try_from(modules * modules).unwrap_or(0).max(1);
    BALANCE * (20 * dark).abs_diff(10 * all).checked_div(all).unwrap_or(0)
}

#[cfg(test)]
mod tests {
    use super::{MOST_MODULES, Rows, penalty};

    fn rows(picture: &[&str]) -> Rows {
        let mut rows = [0; 64];
        for (row, line) in rows.iter_mut().zip(picture) {
            *row = line.bytes().rev().fold(0, |bits, module| (bits << 1) | u64::from(module == b'#'));
        }
        rows
    }

    #[test]
    fn a_light_matrix_is_one_block_of_long_runs_without_balance() {
        for modules in [21, 41, MOST_MODULES] {
            let side = modules as u32;
            let expected = 2 * side * (side - 2) + 3 * (side - 1) * (side - 1) + 100;
            assert_eq!(penalty(&[0; 64], modules), expected, "{modules}");
        }
    }

    #[test]
    fn a_chessboard_is_faultless() {
        let rows: Rows = std::array::from_fn(|row| match row {
            61.. => 0,
            _ => (0x5555_5555_5555_5555_u64 << (row % 2)) & ((1 << 61) - 1),
        });
        assert_eq!(penalty(&rows, 61), 0);
    }

    /// HELLO WORLD, version 1-Q, mask 0, and the parts of its penalty as kennytm's qrcode-rust has them in its tests (`canvas.rs`,
    /// `penalty_tests`): runs 88 and 92, blocks 90, finder-like 0 and 40, nearly in balance.
    #[test]
    fn the_published_example_has_its_published_penalty() {
        let picture = [
            "#######.##....#######",
            "#.....#.#..#..#.....#",
            "#.###.#.#..##.#.###.#",
            "#.###.#.#.....#.###.#",
            "#.###.#.#.#...#.###.#",
            "#.....#...#...#.....#",
            "#######.#.#.#.#######",
            "........#............",
            ".##.#.##....#.#.#####",
            ".#......####....#...#",
            "..##.###.##...#.##...",
            ".##.##.#..##.#.#.###.",
            "#...#.#.#.###.###.#.#",
            "........##.#..#...#.#",
            "#######.#.#....#.##..",
            "#.....#..#.##.##.#...",
            "#.###.#.#.#...#######",
            "#.###.#..#.#.#.#...#.",
            "#.###.#.#...####.#..#",
            "#.....#.#.##.#...#.##",
            "#######.....####....#",
        ];
        // There the 18 lines through the three finders are taken off, which every symbol has.
        assert_eq!(penalty(&rows(&picture), 21), 88 + 92 + 90 + 40 + 18 * 40);
    }
}
