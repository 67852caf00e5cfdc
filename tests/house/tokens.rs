//! Cuts Rust text into words and marks, enough to follow imports. Comments, strings and character
//! literals are left out; nothing here knows a rule.

/// A word (`crate`, `store`), or a mark: `::` or one other character.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Token<'a> {
    pub text: &'a str,
    /// Counted from one.
    pub line: usize,
}

impl Token<'_> {
    pub fn is_word(&self) -> bool {
        self.text.starts_with(|first: char| first == '_' || first.is_alphabetic())
    }
}

/// The tokens of a Rust file, in order.
pub fn tokens(text: &str) -> Vec<Token<'_>> {
    let mut found = Vec::new();
    let mut rest = text;
    let mut line = 1;
    while let Some(first) = rest.chars().next() {
        let (length, kept) = next_piece(rest, first);
        let (piece, after) = rest.split_at(length);
        if kept {
            // `r#type` and `type` are one name.
            let text = piece.strip_prefix("r#").unwrap_or(piece);
            found.push(Token { text, line });
        }
        line += piece.matches('\n').count();
        rest = after;
    }
    found
}

/// The length in bytes of the piece that `rest` begins with, and whether it is a token.
fn next_piece(rest: &str, first: char) -> (usize, bool) {
    if rest.starts_with("//") {
        return (rest.find('\n').unwrap_or(rest.len()), false);
    }
    if rest.starts_with("/*") {
        return (block_comment(rest), false);
    }
    if let Some(length) = string(rest).or_else(|| character(rest)) {
        return (length, false);
    }
    if rest.starts_with("::") {
        return (2, true);
    }
    if first == '_' || first.is_alphanumeric() {
        let start = if rest.starts_with("r#") { 2 } else { 0 };
        return (start + word(&rest[start..]), true);
    }
    (first.len_utf8(), !first.is_whitespace())
}

fn word(rest: &str) -> usize {
    rest.find(|next: char| next != '_' && !next.is_alphanumeric()).unwrap_or(rest.len())
}

/// Block comments nest.
fn block_comment(rest: &str) -> usize {
    let mut depth = 0;
    let mut at = 0;
    while at < rest.len() {
        let here = &rest.as_bytes()[at..];
        if here.starts_with(b"/*") {
            depth += 1;
            at += 2;
        } else if here.starts_with(b"*/") {
            depth -= 1;
            at += 2;
            if depth == 0 {
                return at;
            }
        } else {
            at += 1;
        }
    }
    rest.len()
}

/// The length of a string literal of any kind: `"`, `b"`, `c"`, `r#"` and their mixtures.
fn string(rest: &str) -> Option<usize> {
    let prefix = rest.find(|next: char| !matches!(next, 'b' | 'c' | 'r')).unwrap_or(rest.len());
    let raw = rest[..prefix].ends_with('r');
    let hashes = rest[prefix..].find(|next: char| next != '#').unwrap_or(0);
    if prefix > 2 || (hashes > 0 && !raw) {
        return None;
    }
    let start = prefix + hashes + 1;
    if !rest[prefix + hashes..].starts_with('"') {
        return None;
    }
    if raw {
        let end = format!("\"{}", "#".repeat(hashes));
        let length = rest[start..].find(&end).map(|at| start + at + end.len());
        return Some(length.unwrap_or(rest.len()));
    }
    let mut escaped = false;
    for (at, next) in rest[start..].char_indices() {
        match next {
            '"' if !escaped => return Some(start + at + 1),
            '\\' => escaped = !escaped,
            _ => escaped = false,
        }
    }
    Some(rest.len())
}

/// The length of a character literal; a lifetime is none.
fn character(rest: &str) -> Option<usize> {
    let inside = rest.strip_prefix("b'").or_else(|| rest.strip_prefix('\''))?;
    let start = rest.len() - inside.len();
    let mut letters = inside.char_indices();
    if letters.next()?.1 == '\\' {
        letters.next();
        return letters.find(|(_, next)| *next == '\'').map(|(at, _)| start + at + 1);
    }
    let (at, end) = letters.next()?;
    (end == '\'').then_some(start + at + 1)
}

#[cfg(test)]
mod proof {
    use super::tokens;

    fn texts(text: &str) -> Vec<&str> {
        tokens(text).iter().map(|token| token.text).collect()
    }

    #[test]
    fn words_and_marks_come_in_order() {
        assert_eq!(texts("use crate::{a, b_1};"), ["use", "crate", "::", "{", "a", ",", "b_1", "}", ";"]);
        assert_eq!(texts("r#type"), ["type"]);
    }

    #[test]
    fn what_is_not_code_is_left_out() {
        assert_eq!(texts("a // b\nc /* d /* e */ f */ g"), ["a", "c", "g"]);
        assert_eq!(texts(r##"a "b \" c" d r#"e " f"# g b"h" r"i\" j"##), ["a", "d", "g", "j"]);
        assert_eq!(texts(r"a '{' b '\'' c '\u{7b}' d b'}' e"), ["a", "b", "c", "d", "e"]);
    }

    #[test]
    fn a_lifetime_is_no_character() {
        assert_eq!(texts("fn f<'a>(x: &'a str)").last(), Some(&")"));
        assert_eq!(texts("brc::x"), ["brc", "::", "x"]);
    }

    #[test]
    fn lines_are_counted_through_everything() {
        let found = tokens("a\n/* \n */ b \"\n\" c");
        let lines: Vec<usize> = found.iter().map(|token| token.line).collect();
        assert_eq!(lines, [1, 3, 4]);
    }
}
