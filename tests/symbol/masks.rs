//! The mask chosen a row at a time is the one that the plain judge chooses, and both give every matrix the same penalty.

use crate::matrix::{Dice, Matrix};
use crate::plain::{self, Masks};
use sakudana::labels::symbol::judge::{MOST_MODULES, penalty};
use sakudana::labels::symbol::{MAX_CHARACTERS, Symbol};
use std::collections::BTreeMap;

const PAYLOADS: u64 = 10_000;

/// What the plain judge chooses: of equal masks the first.
fn plainly_best(matrix: &Matrix, masks: &[Masks]) -> usize {
    let masks = &masks[matrix.version() - 1];
    let named = plain::named_mask(matrix);
    (0..8).min_by_key(|mask| plain::penalty(&masks.anew(matrix, named, *mask))).unwrap()
}

#[test]
fn ten_thousand_random_payloads_get_the_mask_of_the_plain_judge() {
    let threads: Vec<_> = (0..2)
        .map(|thread| {
            std::thread::spawn(move || {
                let mut dice = Dice(0x5A4B_1000 + thread);
                let masks: Vec<Masks> = (1..=10).map(Masks::of_version).collect();
                let mut seen: BTreeMap<(usize, usize), usize> = BTreeMap::new();
                for round in 0..PAYLOADS / 2 {
                    // The plain judge is slow: long ones are fewer.
                    let text = dice.text(if round % 5 == 0 { MAX_CHARACTERS as u64 } else { 100 });
                    let symbol = Symbol::encode(&text).unwrap();
                    let matrix = Matrix::of(&symbol);
                    let named = plain::named_mask(&matrix);
                    assert_eq!(usize::from(symbol.mask()), named, "{text}");
                    assert_eq!(plainly_best(&matrix, &masks), named, "{text}");
                    *seen.entry((matrix.version(), named)).or_default() += 1;
                }
                seen
            })
        })
        .collect();
    let seen: Vec<(usize, usize)> = threads.into_iter().flat_map(|thread| thread.join().unwrap().into_keys()).collect();
    for version in 1..=10 {
        assert!(seen.iter().any(|(found, _)| *found == version), "no payload of version {version}");
    }
    assert!((0..8).all(|mask| seen.iter().any(|(_, found)| *found == mask)));
}

/// Sizes up to version 11, and matrices fuller of runs, blocks and finder-like patterns than real ones.
#[test]
fn every_matrix_has_the_penalty_of_the_plain_judge() {
    let mut dice = Dice(77);
    for round in 0..3_000 {
        let side = 21 + 4 * (round % 11);
        let stretch = 1 + dice.below(6);
        let mut matrix = Matrix(vec![vec![false; side]; side]);
        for row in &mut matrix.0 {
            for at in 0..side {
                let copied = at > 0 && dice.below(stretch) > 0;
                row[at] = if copied { row[at - 1] } else { dice.below(2) == 0 };
            }
        }
        let pattern =
            [false, false, false, false, true, false, true, true, true, false, true, false, false, false, false];
        for _ in 0..dice.below(9) {
            let (line, start, down) =
                (dice.below(side as u64) as usize, dice.below(side as u64) as usize, dice.below(2));
            for (place, dark) in (start..side).zip(pattern.into_iter().skip(dice.below(5) as usize)) {
                let (i, j) = if down == 0 { (line, place) } else { (place, line) };
                matrix.0[i][j] = dark;
            }
        }
        if round % 2 == 0 {
            matrix = Matrix((0..side).map(|i| (0..side).map(|j| matrix.0[j][i]).collect()).collect());
        }
        let mut rows = [0; 64];
        for (row, modules) in rows.iter_mut().zip(&matrix.0) {
            *row = modules.iter().rev().fold(0, |bits, dark| bits << 1 | u64::from(*dark));
        }
        assert_eq!(penalty(&rows, side) as usize, plain::penalty(&matrix), "{matrix:?}");
    }
    assert_eq!(MOST_MODULES, 61, "version 11 is the largest that was tried");
}
