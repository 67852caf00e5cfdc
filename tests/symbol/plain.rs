//! The rules of masking as the standard words them, one module at a time: ISO/IEC 18004:2015, 7.8.2 (table 10, the masks), 7.8.3.1 (table
//! 11, penalties), 7.9.1 (format information); from memory, but for the points quoted. Where the standard leaves a choice these rules make
//! the one stated in `labels::symbol::judge`.

use crate::matrix::Matrix;

#[allow(clippy::manual_is_multiple_of, reason = "as the table words it")]
/// Table 10: whether a mask inverts the module at row i, column j.
fn inverts(mask: usize, i: usize, j: usize) -> bool {
    match mask {
        0 => (i + j) % 2 == 0,
        1 => i % 2 == 0,
        2 => j % 3 == 0,
        3 => (i + j) % 3 == 0,
        4 => (i / 2 + j / 3) % 2 == 0,
        5 => (i * j) % 2 + (i * j) % 3 == 0,
        6 => ((i * j) % 2 + (i * j) % 3) % 2 == 0,
        7 => ((i + j) % 2 + (i * j) % 3) % 2 == 0,
        _ => unreachable!("there are eight masks"),
    }
}

/// Table 11, all four features.
pub fn penalty(matrix: &Matrix) -> usize {
    let columns = (0..matrix.side()).map(|j| matrix.0.iter().map(|row| row[j]).collect::<Vec<bool>>());
    let across: usize = matrix.0.iter().map(|row| of_line(row)).sum();
    let down: usize = columns.map(|column| of_line(&column)).sum();
    across + down + blocks(matrix) + balance(matrix)
}

const PATTERN: [bool; 7] = [true, false, true, true, true, false, true];
const LIGHT: [bool; 4] = [false; 4];

/// Features 1 and 3 in one row or column.
fn of_line(line: &[bool]) -> usize {
    // "No. of modules = (5 + i)": N1 + i points, N1 = 3.
    let runs = line.chunk_by(|one, next| one == next).map(<[bool]>::len);
    let of_runs: usize = runs.filter(|run| *run >= 5).map(|run| 3 + (run - 5)).sum();
    // "1:1:3:1:1 ratio (dark:light:dark:light:dark) pattern, preceded or followed by light area 4 modules wide": N3 = 40.
    let with_quiet_zone = [&LIGHT, line, &LIGHT].concat();
    let places = with_quiet_zone.windows(15);
    let found = places.filter(|place| place[4..11] == PATTERN && (place[..4] == LIGHT || place[11..] == LIGHT)).count();
    of_runs + 40 * found
}

/// Feature 2: "block size = m x n": N2 x (m - 1) x (n - 1), N2 = 3; that is 3 for each square of two by two.
fn blocks(matrix: &Matrix) -> usize {
    let mut squares = 0;
    for two in matrix.0.windows(2) {
        for (upper, lower) in two[0].windows(2).zip(two[1].windows(2)) {
            squares += usize::from(upper[0] == upper[1] && upper[0] == lower[0] && upper[0] == lower[1]);
        }
    }
    3 * squares
}

/// Feature 4: "50 ± (5 x k) % to 50 ± (5 x (k + 1)) %": N4 x k, N4 = 10.
fn balance(matrix: &Matrix) -> usize {
    let all = matrix.side() * matrix.side();
    let dark = matrix.0.iter().flatten().filter(|dark| **dark).count();
    let away_percent_of_all = (100 * dark).abs_diff(50 * all);
    10 * (away_percent_of_all / (5 * all))
}

/// The fifteen bits of the format information, first one highest, for level M (00) and a mask: BCH(15,5) with the generator 10100110111,
/// then 101010000010010 over it.
pub fn format_information(mask: usize) -> u32 {
    let data = mask as u32;
    let mut rest = data << 10;
    for bit in (10..15).rev() {
        if rest >> bit & 1 == 1 {
            rest ^= 0x537 << (bit - 10);
        }
    }
    (data << 10 | rest) ^ 0x5412
}

/// Where the format information stands, both times, bit 14 first (figure 25).
pub fn format_places(side: usize) -> [[(usize, usize); 15]; 2] {
    let around = [
        (8, 0),
        (8, 1),
        (8, 2),
        (8, 3),
        (8, 4),
        (8, 5),
        (8, 7),
        (8, 8),
        (7, 8),
        (5, 8),
        (4, 8),
        (3, 8),
        (2, 8),
        (1, 8),
        (0, 8),
    ];
    let split = std::array::from_fn(|bit| if bit < 7 { (side - 1 - bit, 8) } else { (8, side - 15 + bit) });
    [around, split]
}

/// The mask a finished symbol names, after a look that both copies name the same.
pub fn named_mask(matrix: &Matrix) -> usize {
    let places = format_places(matrix.side());
    let read =
        |places: [(usize, usize); 15]| places.iter().fold(0, |bits, (i, j)| bits << 1 | u32::from(matrix.0[*i][*j]));
    assert_eq!(read(places[0]), read(places[1]), "the two copies differ:\n{matrix:?}");
    (0..8).find(|mask| format_information(*mask) == read(places[0])).expect("level M and a mask")
}

/// What each mask inverts in a symbol of a version.
pub struct Masks([Matrix; 8]);

impl Masks {
    pub fn of_version(version: usize) -> Masks {
        let side = 17 + 4 * version;
        let inverted = |mask, i, j| !is_function(version, i, j) && inverts(mask, i, j);
        let row = |mask, i| (0..side).map(|j| inverted(mask, i, j)).collect();
        Masks(std::array::from_fn(|mask| Matrix((0..side).map(|i| row(mask, i)).collect())))
    }

    /// The same symbol under another mask.
    pub fn anew(&self, matrix: &Matrix, from: usize, to: usize) -> Matrix {
        let mut other = matrix.clone();
        for ((row, old), new) in other.0.iter_mut().zip(&self.0[from].0).zip(&self.0[to].0) {
            for ((dark, old), new) in row.iter_mut().zip(old).zip(new) {
                *dark ^= old ^ new;
            }
        }
        let written = format_information(to);
        for places in format_places(matrix.side()) {
            for (bit, (i, j)) in places.into_iter().enumerate() {
                other.0[i][j] = written >> (14 - bit) & 1 == 1;
            }
        }
        other
    }
}

/// Modules that no mask touches: finders with their separators and format information, timing, alignment, version information.
fn is_function(version: usize, i: usize, j: usize) -> bool {
    let side = 17 + 4 * version;
    let corner = (i < 9 && (j < 9 || j >= side - 8)) || (i >= side - 8 && j < 9);
    let timing = i == 6 || j == 6;
    let information = version >= 7 && ((i < 6 && j >= side - 11) || (j < 6 && i >= side - 11));
    corner || timing || information || in_alignment(version, i, j)
}

/// Annex E, table E.1: rows and columns of the centres of alignment patterns, versions 1 to 11.
const ALIGNMENT: [&[usize]; 11] = [
    &[],
    &[6, 18],
    &[6, 22],
    &[6, 26],
    &[6, 30],
    &[6, 34],
    &[6, 22, 38],
    &[6, 24, 42],
    &[6, 26, 46],
    &[6, 28, 50],
    &[6, 30, 54],
];

fn in_alignment(version: usize, i: usize, j: usize) -> bool {
    let centres = ALIGNMENT[version - 1];
    let (Some(first), Some(last)) = (centres.first(), centres.last()) else { return false };
    let near = |place: usize| centres.iter().find(|centre| place.abs_diff(**centre) <= 2);
    let (Some(row), Some(column)) = (near(i), near(j)) else { return false };
    // Three corners hold finders instead.
    let finder = [(first, first), (first, last), (last, first)].contains(&(row, column));
    !finder
}
