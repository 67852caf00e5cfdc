//! Breaking text into lines of a given width. Nothing is left out but the space, or the dot between two clauses, at
//! which a line ends.

use super::text::{Fonts, Type};

/// What separates two clauses. A line may end there without showing it.
pub const CLAUSE: &str = " · ";

/// Breaks text into the fewest lines no wider than `width`, evenly filled where they are few; `None` when one word
/// alone is too wide.
pub fn wrap(fonts: &Fonts, size: Type, text: &str, width: i32) -> Option<Vec<String>> {
    let words = words_of(fonts, size, text);
    let lines = greedy(&words, width)?;
    Some(if (2..=3).contains(&lines.len()) { balanced(&words, width, 10 * size.x_height, lines) } else { lines })
}

/// A word, or a number with its unit, and what stands between it and the word before.
struct Word {
    text: String,
    width: i32,
    joint: &'static str,
    joint_width: i32,
}

fn words_of(fonts: &Fonts, size: Type, text: &str) -> Vec<Word> {
    let mut words: Vec<Word> = Vec::new();
    for clause in text.split(CLAUSE) {
        let parts = clause.split(' ').filter(|part| !part.is_empty());
        for (index, part) in parts.enumerate() {
            let unit = index > 0 && part.starts_with(['°', '€', '£', '$', '%']);
            match words.last_mut() {
                Some(number) if unit => number.text = format!("{} {part}", number.text),
                _ => {
                    let joint = if index == 0 { CLAUSE } else { " " };
                    words.push(Word {
                        text: part.to_owned(),
                        width: 0,
                        joint,
                        joint_width: fonts.measure(size, joint),
                    });
                }
            }
        }
    }
    for word in &mut words {
        word.width = fonts.measure(size, &word.text);
    }
    words
}

/// Fills each line as far as it goes.
fn greedy(words: &[Word], width: i32) -> Option<Vec<String>> {
    let mut lines: Vec<String> = Vec::new();
    let mut pen = 0;
    for word in words {
        if word.width > width {
            return None;
        }
        let further = pen + word.joint_width + word.width;
        match lines.last_mut() {
            Some(line) if further <= width => {
                line.push_str(word.joint);
                line.push_str(&word.text);
                pen = further;
            }
            _ => {
                lines.push(word.text.clone());
                pen = word.width;
            }
        }
    }
    Some(lines)
}

/// A way to fill lines from some word on: its cost, and the word after each line's end.
#[derive(Clone)]
struct Filling {
    cost: i64,
    ends: Vec<usize>,
}

/// The same number of lines, evenly filled and broken where the sense allows: after a comma rather than inside a
/// phrase, and not before a number. `awkward` is the white, in dots, that is better than a break inside a phrase.
fn balanced(words: &[Word], width: i32, awkward: i32, lines: Vec<String>) -> Vec<String> {
    // For each word the cheapest way to set the rest from there on, first in no line, then in one, two, three.
    let mut best: Vec<Option<Filling>> = vec![None; words.len()];
    best.push(Some(Filling { cost: 0, ends: Vec::new() }));
    for _ in 0..lines.len() {
        let next = |start| cheapest(words, width, awkward, start, &best);
        best = (0..words.len()).map(next).chain([None]).collect();
    }
    let Some(Some(filling)) = best.first() else {
        return lines;
    };
    let starts = [0].into_iter().chain(filling.ends.iter().copied());
    starts.zip(&filling.ends).map(|(start, end)| joined(words, start, *end)).collect()
}

fn cheapest(words: &[Word], width: i32, awkward: i32, start: usize, best: &[Option<Filling>]) -> Option<Filling> {
    let mut found: Option<Filling> = None;
    let mut pen = 0;
    for (index, word) in words.iter().enumerate().skip(start) {
        pen += word.width + if index == start { 0 } else { word.joint_width };
        if pen > width {
            break;
        }
        let end = index + 1;
        let Some(Some(rest)) = best.get(end) else {
            continue;
        };
        let white = i64::from(width - pen);
        let penalty = words.get(end).map_or(0, |next| i64::from(awkward) * awkward_percent(word, next) / 100);
        let cost = rest.cost + white * white + penalty * penalty;
        if found.as_ref().is_none_or(|known| cost < known.cost) {
            let ends = [end].into_iter().chain(rest.ends.iter().copied()).collect();
            found = Some(Filling { cost, ends });
        }
    }
    found
}

/// How awkward it is to end a line between two words.
fn awkward_percent(before: &Word, after: &Word) -> i64 {
    if after.joint == CLAUSE || before.text.ends_with([',', '.', ';']) {
        0
    } else if after.text.starts_with('(') {
        50
    } else if after.text.starts_with(|first: char| first.is_ascii_digit()) {
        200
    } else {
        100
    }
}

fn joined(words: &[Word], start: usize, end: usize) -> String {
    let mut line = String::new();
    for word in words.iter().take(end).skip(start) {
        if !line.is_empty() {
            line.push_str(word.joint);
        }
        line.push_str(&word.text);
    }
    line
}

#[cfg(test)]
mod tests {
    use super::{CLAUSE, wrap};
    use crate::labels::text::{Face, Fonts, Type};

    const BODY: Type = Type { face: Face::Regular, x_height: 10 };
    const ORIGIN: &str = "Wild, Pacific, Western Central (FAO 71), longline";

    #[test]
    fn no_word_is_lost_and_no_line_is_too_wide() {
        for width in 60..600 {
            let Some(lines) = wrap(Fonts::standard(), BODY, ORIGIN, width) else {
                assert!(
                    width < Fonts::standard().measure(BODY, "longline").max(Fonts::standard().measure(BODY, "Western")),
                    "{width}"
                );
                continue;
            };
            assert_eq!(lines.join(" "), ORIGIN);
            assert!(lines.iter().all(|line| Fonts::standard().measure(BODY, line) <= width));
        }
    }

    #[test]
    fn clauses_part_at_their_dot() {
        let text = ["Yellowfin tuna", "Thunnus albacares"];
        assert_eq!(wrap(Fonts::standard(), BODY, &text.join(CLAUSE), 290), Some(text.map(str::to_owned).to_vec()));
        assert_eq!(wrap(Fonts::standard(), BODY, &text.join(CLAUSE), 600), Some(vec![text.join(CLAUSE)]));
    }

    #[test]
    fn a_unit_stays_with_its_number() {
        for width in 60..200 {
            let lines = wrap(Fonts::standard(), BODY, "Keep at 0 to 2 °C", width).unwrap_or_default();
            assert!(lines.iter().all(|line| !line.starts_with('°')), "{lines:?}");
        }
    }

    #[test]
    fn a_word_wider_than_the_line_is_not_cut() {
        assert_eq!(wrap(Fonts::standard(), BODY, "Thunfischrückenfilet", 100), None);
    }
}
