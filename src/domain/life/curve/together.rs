//! Many questions asked together, of one curve or of many: each step is taken for a whole block of them before the next step begins, so
//! that the processor waits for memory once for many. The answers are those of `Curve::wear` and `Curve::micros`.

use super::chunk::{Chunk, Stretch};
use super::knot::Regimes;
use super::{Curve, Found};
use crate::domain::life::rate::Sum;
use crate::domain::life::wear::Wear;
use crate::units::instant::Instant;

/// A stretch of a curve that is asked about.
#[derive(Debug, Clone, Copy)]
pub struct Asked<'a> {
    pub curve: &'a Curve,
    pub from: Instant,
    pub to: Instant,
}

/// Ends of questions in one block: few enough for what they touch to stay in the nearest cache.
const BLOCK: usize = 64;

/// What passed in each stretch.
pub fn wears(asked: &[Asked]) -> Vec<Wear> {
    each(asked, |begin, end, regimes, micros| end.sums(regimes).wear_since(&begin.sums(regimes), micros))
}

/// One sum over each stretch.
pub fn micros(sum: Sum, asked: &[Asked]) -> Vec<i64> {
    each(asked, |begin, end, regimes, _| end.sum(sum, regimes) - begin.sum(sum, regimes))
}

fn each<T: Default>(asked: &[Asked], answer: impl Fn(&Found, &Found, &Regimes, i64) -> T) -> Vec<T> {
    let mut answers = Vec::with_capacity(asked.len());
    let mut numbers: Vec<usize> = Vec::with_capacity(BLOCK);
    let mut guessed: Vec<(&Chunk, usize)> = Vec::with_capacity(BLOCK);
    let mut stretches: Vec<Option<Stretch>> = Vec::with_capacity(BLOCK);
    for block in asked.chunks(BLOCK / 2) {
        let ends = || block.iter().flat_map(|one| [(one.curve, one.from.micros()), (one.curve, one.to.micros())]);
        numbers.clear();
        numbers.extend(ends().map(|(curve, at)| curve.directory.number_at(at)));
        guessed.clear();
        guessed.extend(ends().zip(&numbers).filter_map(|((curve, at), number)| {
            curve.directory.chunks().get(*number).map(|chunk| (chunk, chunk.guess(at)))
        }));
        stretches.clear();
        stretches.extend(ends().zip(&guessed).map(|((_, at), (chunk, guess))| chunk.near(*guess, at)));
        let found = |index: usize, at: Instant| {
            let (chunk, stretch) = (guessed.get(index)?.0, (*stretches.get(index)?)?);
            Some(Found { chunk, stretch, micros: at.micros() - stretch.from() })
        };
        answers.extend(block.iter().enumerate().map(|(index, one)| {
            match (found(index * 2, one.from), found(index * 2 + 1, one.to)) {
                (Some(begin), Some(end)) if one.from < one.to => {
                    answer(&begin, &end, &one.curve.regimes, one.to.since(one.from))
                }
                _ => T::default(),
            }
        }));
    }
    answers
}
