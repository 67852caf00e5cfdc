//! Breaking text into lines of a given width. Nothing is left out but the space, or the dot between two clauses, at which a line ends.
//! Text in ideographs and kana breaks between them, by the basic rules of what begins and ends no line.

use super::text::{Fonts, Type};
use std::ops::Range;

/// What separates two clauses. A line may end there without showing it.
pub const CLAUSE: &str = " · ";

/// Begins no line: closing brackets and stops, the long mark, iteration marks and small kana (basic rules of Japanese setting, as in
/// JIS X 4051: memory).
const NOT_FIRST: &str =
    "、。，．,.・：；:;？！?!）)」』】〕］]〉》｝}ー々〻ゝゞヽヾぁぃぅぇぉっゃゅょゎァィゥェォッャュョヮヵヶ％%℃°～";

/// Ends no line: opening brackets.
const NOT_LAST: &str = "（(「『【〔［[〈《｛{￥¥＄$";

/// What stands between a word and the one before it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Joint {
    /// [`CLAUSE`].
    Clause,
    /// A space.
    Space,
    /// Nothing: both are written in a script without spaces.
    Nothing,
}

/// A word, a number with its unit, or a character of a script without spaces: a place in the text.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Word {
    start: usize,
    end: usize,
    joint: Joint,
}

/// A text that can be broken: single spaces, none at the ends.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Breakable {
    text: String,
    words: Vec<Word>,
}

impl Breakable {
    /// No text.
    pub const fn nothing() -> Self {
        Self { text: String::new(), words: Vec::new() }
    }

    /// Splits a text into its words.
    pub fn new(text: &str) -> Self {
        let mut made = Self { text: String::with_capacity(text.len()), words: Vec::new() };
        for clause in text.split(CLAUSE) {
            let mut joint = Joint::Clause;
            for part in clause.split(' ').filter(|part| !part.is_empty()) {
                made.add(part, joint);
                joint = Joint::Space;
            }
        }
        made
    }

    fn add(&mut self, part: &str, joint: Joint) {
        if !self.text.is_empty() {
            self.text.push_str(if joint == Joint::Clause { CLAUSE } else { " " });
        }
        let unit = joint == Joint::Space && part.starts_with(['°', '℃', '€', '£', '$', '%']);
        let start = self.text.len();
        self.text.push_str(part);
        let end = self.text.len();
        match self.words.last_mut() {
            Some(number) if unit => number.end = end,
            _ => {
                let mut from = start;
                let mut joint = joint;
                for split in splits(part) {
                    self.words.push(Word { start: from, end: start + split, joint });
                    (from, joint) = (start + split, Joint::Nothing);
                }
                self.words.push(Word { start: from, end, joint });
            }
        }
    }

    /// Whether there is nothing to set.
    pub fn is_empty(&self) -> bool {
        self.words.is_empty()
    }

    /// The words of a range as they stand in the text.
    pub fn line(&self, words: &Range<usize>) -> &str {
        let start = self.words.get(words.start).map_or(0, |word| word.start);
        let end = words.end.checked_sub(1).and_then(|last| self.words.get(last)).map_or(start, |word| word.end);
        self.text.get(start..end).unwrap_or_default()
    }

    /// Its words measured at a size.
    pub fn measure(&self, fonts: &Fonts, size: Type) -> Measured {
        let (space, clause) = (fonts.run(size, " ").advance, fonts.run(size, CLAUSE).advance);
        let mut measured = Measured { widths: Vec::with_capacity(self.words.len()), ..Measured::default() };
        measured.awkward = 10 * size.x_height;
        let (mut left, mut right) = (0, 0);
        for word in &self.words {
            let run = fonts.run(size, self.text.get(word.start..word.end).unwrap_or_default());
            (left, right) = (run.hang_left.max(left), run.hang_right.max(right));
            measured.ascent = measured.ascent.max(run.ascent.into());
            measured.descent = measured.descent.max(run.descent.into());
            let joint = match word.joint {
                _ if measured.widths.is_empty() => 0,
                Joint::Clause => clause,
                Joint::Space => space,
                Joint::Nothing => 0,
            };
            measured.all += joint + run.advance;
            measured.widths.push(Width { joint, word: run.advance });
        }
        measured.overhang = i32::from(left) + i32::from(right);
        measured
    }

    /// The fewest lines no wider than `width`, evenly filled where they are few, as ranges of words; `None` when one word alone is too
    /// wide. `measured` is of this text.
    pub fn lines(&self, measured: &Measured, width: i32) -> Option<Vec<Range<usize>>> {
        let count = measured.count(width)?;
        let room = width - measured.overhang;
        let few = (2..=3).contains(&count);
        Some(if few { self.balanced(measured, room, count) } else { measured.greedy(room) })
    }

    /// The same number of lines, evenly filled and broken where the sense allows: after a comma rather than inside a phrase, and not
    /// before a number.
    fn balanced(&self, measured: &Measured, room: i32, count: usize) -> Vec<Range<usize>> {
        let words = self.words.len();
        // The cheapest way to set the words from each place on in so many lines: its cost, and where its first line ends.
        let mut after = vec![(i64::MAX, 0); words + 1];
        after.last_mut().into_iter().for_each(|end| *end = (0, 0));
        let mut ways = Vec::with_capacity(count);
        for _ in 0..count {
            let ends: Vec<(i64, usize)> = (0..words).map(|at| self.cheapest(measured, room, at, &after)).collect();
            after = ends.iter().copied().chain([(i64::MAX, 0)]).collect();
            ways.push(ends);
        }
        let mut lines = Vec::with_capacity(count);
        let mut start = 0;
        for ends in ways.iter().rev() {
            let Some((cost, end)) = ends.get(start).copied() else { break };
            if cost == i64::MAX {
                return measured.greedy(room);
            }
            lines.push(start..end);
            start = end;
        }
        lines
    }

    fn cheapest(&self, measured: &Measured, room: i32, start: usize, after: &[(i64, usize)]) -> (i64, usize) {
        let mut found = (i64::MAX, 0);
        let mut pen = 0;
        for (index, width) in measured.widths.iter().enumerate().skip(start) {
            pen += width.word + if index == start { 0 } else { width.joint };
            if pen > room {
                break;
            }
            let Some((rest, _)) = after.get(index + 1).filter(|(rest, _)| *rest < i64::MAX) else { continue };
            let white = i64::from(room - pen);
            let penalty = i64::from(measured.awkward) * self.awkward_percent(index) / 100;
            let cost = rest + white * white + penalty * penalty;
            if cost < found.0 {
                found = (cost, index + 1);
            }
        }
        found
    }

    /// How awkward it is to end a line after a word.
    fn awkward_percent(&self, index: usize) -> i64 {
        let (Some(before), Some(after)) = (self.words.get(index), self.words.get(index + 1)) else { return 0 };
        let text = |word: &Word| self.text.get(word.start..word.end).unwrap_or_default();
        if after.joint == Joint::Clause || text(before).ends_with([',', '.', ';', '、', '。', '，']) {
            0
        } else if after.joint != Joint::Nothing && text(after).starts_with(['(', '（']) {
            50
        } else if text(after).starts_with(|first: char| first.is_ascii_digit()) {
            200
        } else {
            100
        }
    }
}

/// Where a part without spaces may be broken: next to a character of a script that has none.
fn splits(part: &str) -> impl Iterator<Item = usize> {
    let pairs = part.char_indices().zip(part.chars().skip(1));
    pairs.filter_map(|((at, before), after)| {
        let may = (is_dense(before) || is_dense(after))
            && !NOT_FIRST.contains(after)
            && !NOT_LAST.contains(before)
            // A number stays with its counter: 26日.
            && !before.is_ascii_digit();
        may.then_some(at + before.len_utf8())
    })
}

/// Whether a character belongs to a script that is written without spaces.
pub const fn is_dense(character: char) -> bool {
    matches!(character as u32, 0x3001..=0x30FF | 0x31F0..=0x31FF | 0x3400..=0x9FFF | 0xF900..=0xFAFF | 0xFF01..=0xFF60 | 0x20000..=0x2FA1F)
}

/// A text's words at one size.
#[derive(Debug, Clone, Default)]
pub struct Measured {
    widths: Vec<Width>,
    /// All of it in one line, from pen start to pen end.
    all: i32,
    ascent: i32,
    descent: i32,
    /// How far glyphs may hang out of their advance on both sides together.
    overhang: i32,
    /// The white, in dots, that is better than a break inside a phrase.
    awkward: i32,
}

#[derive(Debug, Clone, Copy)]
struct Width {
    /// Of what stands before the word, unless it begins a line.
    joint: i32,
    word: i32,
}

impl Measured {
    /// Dots it takes in one line.
    pub const fn wide(&self) -> i32 {
        self.all + self.overhang
    }

    /// Rows above and below the baseline of any of its lines.
    pub const fn rows(&self) -> (i32, i32) {
        (self.ascent, self.descent)
    }

    /// In how many lines no wider than `width` it can be set; `None` when one word alone is too wide.
    pub fn count(&self, width: i32) -> Option<usize> {
        let room = width - self.overhang;
        if self.all <= room {
            return Some(usize::from(!self.widths.is_empty()));
        }
        let (mut lines, mut pen) = (0, 0);
        for width in &self.widths {
            if width.word > room {
                return None;
            }
            let further = pen + width.joint + width.word;
            if lines > 0 && further <= room {
                pen = further;
            } else {
                (lines, pen) = (lines + 1, width.word);
            }
        }
        Some(lines)
    }

    /// Fills each line as far as it goes.
    fn greedy(&self, room: i32) -> Vec<Range<usize>> {
        let mut lines: Vec<Range<usize>> = Vec::new();
        let mut pen = 0;
        for (index, width) in self.widths.iter().enumerate() {
            let further = pen + width.joint + width.word;
            match lines.last_mut() {
                Some(line) if further <= room => (line.end, pen) = (index + 1, further),
                _ => {
                    lines.push(index..index + 1);
                    pen = width.word;
                }
            }
        }
        lines
    }
}

#[cfg(test)]
mod tests {
    use super::{Breakable, CLAUSE, NOT_FIRST, NOT_LAST};
    use crate::labels::text::{Face, Fonts, Type};

    const BODY: Type = Type { face: Face::Regular, x_height: 10 };
    const ORIGIN: &str = "Wild, Pacific, Western Central (FAO 71), longline";

    fn wrap(text: &str, width: i32) -> Option<Vec<String>> {
        let text = Breakable::new(text);
        let measured = text.measure(Fonts::standard(), BODY);
        let lines = text.lines(&measured, width)?;
        assert_eq!(Some(lines.len()), measured.count(width));
        Some(lines.iter().map(|line| text.line(line).to_owned()).collect())
    }

    #[test]
    fn no_word_is_lost_and_no_line_is_too_wide() {
        let fonts = Fonts::standard();
        for width in 60..600 {
            let Some(lines) = wrap(ORIGIN, width) else {
                let widest = fonts.measure(BODY, "longline").max(fonts.measure(BODY, "Western"));
                assert!(width < widest + 4, "{width}");
                continue;
            };
            assert_eq!(lines.join(" "), ORIGIN);
            for line in lines {
                let extent = fonts.extent(BODY, &line);
                assert!(extent.right - extent.left <= width, "{line}");
            }
        }
    }

    #[test]
    fn clauses_part_at_their_dot() {
        let text = ["Yellowfin tuna", "Thunnus albacares"];
        assert_eq!(wrap(&text.join(CLAUSE), 290), Some(text.map(str::to_owned).to_vec()));
        assert_eq!(wrap(&text.join(CLAUSE), 600), Some(vec![text.join(CLAUSE)]));
    }

    #[test]
    fn a_unit_stays_with_its_number() {
        for width in 60..200 {
            let lines = wrap("Keep at 0 to 2  °C", width).unwrap_or_default();
            assert!(lines.iter().all(|line| !line.starts_with('°')), "{lines:?}");
        }
    }

    #[test]
    fn a_word_wider_than_the_line_is_not_cut() {
        assert_eq!(wrap("Thunfischrückenfilet", 100), None);
    }

    /// Splitting needs no glyphs: what may stand at the ends of a line shows in the words alone.
    #[test]
    fn japanese_breaks_between_characters_but_not_before_or_after_the_wrong_ones() {
        let text = "生の魚です。（お子様、妊娠中の方）は「加熱用」をどうぞ。キャット・フードではない 26日 2℃";
        let made = Breakable::new(text);
        let words: Vec<&str> = (0..made.words.len()).map(|index| made.line(&(index..index + 1))).collect();
        assert!(words.len() > 20, "{words:?}");
        for word in &words {
            assert!(!word.starts_with(|first| NOT_FIRST.contains(first)), "{word}");
            assert!(!word.ends_with(|last| NOT_LAST.contains(last)), "{word}");
        }
        for whole in ["す。", "（お", "様、", "方）", "「加", "用」", "キャッ", "26日", "2℃"] {
            assert!(words.iter().any(|word| word.contains(whole)), "{whole}: {words:?}");
        }
    }
}
