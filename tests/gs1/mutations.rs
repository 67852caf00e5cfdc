//! Codes that were damaged on the way: whatever comes, nothing panics and no other tray is named than the text says.
//!
//! `SAKUDANA_MUTATIONS` and `SAKUDANA_MUTATION_SEED` make it longer or another; optimised, with
//! `cargo test --config profile.dev.package.sakudana.opt-level=2 --test gs1 damaged`.

use crate::shelf::{OnShelf, Shelf, shop_with};
use sakudana::domain::claims::{self, Claims, Printed};
use sakudana::domain::gs1::own::Carried;
use sakudana::domain::refusal::Code;
use sakudana::domain::scan_text::{self, Scanned};
use sakudana::domain::shop::Shop;
use sakudana::units::zone::parse_day;
use std::collections::{BTreeMap, HashMap};

/// The trays of a shelf by what names them, for judging codes without the database, by the rules that the acts use.
struct Known<'a> {
    shop: Shop,
    trays: Vec<(&'a OnShelf, Vec<Printed>)>,
    by_code: HashMap<String, usize>,
}

/// What became of a text: a tray and the reasons against it, or none.
type Outcome = Result<(usize, Vec<Code>), Code>;

impl<'a> Known<'a> {
    fn of(shelf: &'a Shelf) -> Known<'a> {
        let trays: Vec<_> = shelf.trays.iter().map(|on| (on, shelf.labels(&on.tray))).collect();
        let by_code = trays.iter().enumerate().map(|(at, (on, _))| (on.tray.code.to_string(), at)).collect();
        Known { shop: shelf.desk.shop().clone(), trays, by_code }
    }

    fn outcome(&self, text: &str) -> Outcome {
        let (at, claims) = match scan_text::read(text, &self.shop).map_err(|refusal| refusal.code)? {
            Scanned::Tray { code, claims } => (*self.by_code.get(&code.to_string()).ok_or(Code::NotFound)?, claims),
            Scanned::Linear { item_number, carried } => (self.linear(item_number, carried)?, Claims::carried(carried)),
        };
        let (on, labels) = &self.trays[at];
        let identity = claims::check_identity(
            &claims,
            &self.shop.codes,
            &on.tray,
            (on.item_number, &[]),
            std::slice::from_ref(&on.lot),
        );
        let mut stops: Vec<Code> = identity.err().map(|refusal| refusal.code).into_iter().collect();
        let today = parse_day("2026-11-25").unwrap();
        stops.extend(claims::doubts(&claims, &on.tray, labels, today).into_iter().map(|stop| stop.code));
        stops.sort();
        Ok((at, stops))
    }

    fn linear(&self, item_number: i64, carried: Carried) -> Result<usize, Code> {
        let fits = |(on, labels): &(&OnShelf, Vec<Printed>)| {
            on.item_number == item_number && on.linear.is_some() && labels.iter().any(|label| label.carries(carried))
        };
        let mut fitting = self.trays.iter().enumerate().filter(|(_, tray)| fits(tray)).map(|(at, _)| at);
        match (fitting.next(), fitting.next()) {
            (Some(one), None) => Ok(one),
            (None, _) => Err(Code::NoTrayFits),
            _ => Err(Code::SeveralTrays),
        }
    }
}

struct Dice(u64);

impl Dice {
    fn roll(&mut self, below: usize) -> usize {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mixed = (self.0 ^ (self.0 >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        let mixed = (mixed ^ (mixed >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        usize::try_from((mixed ^ (mixed >> 31)) % u64::try_from(below).unwrap()).unwrap()
    }

    fn pick<'a, T>(&mut self, of: &'a [T]) -> &'a T {
        &of[self.roll(of.len())]
    }

    fn character(&mut self) -> char {
        const ODD: [char; 14] = ['\u{1d}', '\u{0}', '\r', ' ', 'é', '魚', '%', '^', '/', '(', ')', '?', '&', ']'];
        match self.roll(4) {
            0 => *self.pick(&ODD),
            1 => char::from(b'0' + u8::try_from(self.roll(10)).unwrap()),
            2 => char::from(b'A' + u8::try_from(self.roll(26)).unwrap()),
            _ => char::from(b'!' + u8::try_from(self.roll(94)).unwrap()),
        }
    }
}

/// How a text was damaged.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Damage {
    Substituted,
    Swapped,
    Edited,
    Spliced,
    Moved,
    Random,
}

fn edit(text: &mut Vec<char>, dice: &mut Dice) {
    if text.is_empty() {
        return text.push(dice.character());
    }
    let at = dice.roll(text.len());
    match dice.roll(6) {
        0 => {
            text.remove(at);
        }
        1 => text.insert(at, dice.character()),
        2 if at + 1 < text.len() => text.swap(at, at + 1),
        3 => text.truncate(at),
        4 => {
            text[at] =
                if text[at].is_uppercase() { text[at].to_ascii_lowercase() } else { text[at].to_ascii_uppercase() }
        }
        _ => text[at] = dice.character(),
    }
}

fn damage(form: &str, other: &str, dice: &mut Dice) -> (Damage, String) {
    let mut text: Vec<char> = form.chars().collect();
    let at = dice.roll(text.len());
    let kind = match dice.roll(12) {
        0..=3 => {
            text[at] = dice.character();
            Damage::Substituted
        }
        4 | 5 if at + 1 < text.len() => {
            text.swap(at, at + 1);
            Damage::Swapped
        }
        6 | 7 => {
            let other: Vec<char> = other.chars().collect();
            let from = dice.roll(other.len());
            text.truncate(at);
            text.extend(&other[from..]);
            Damage::Spliced
        }
        8 => {
            let end = at + dice.roll(text.len() - at);
            let piece: Vec<char> = text.drain(at..end).collect();
            let to = dice.roll(text.len() + 1);
            for _ in 0..dice.roll(3) {
                text.splice(to..to, piece.iter().copied());
            }
            Damage::Moved
        }
        9 => {
            text = (0..dice.roll(120)).map(|_| dice.character()).collect();
            Damage::Random
        }
        _ => {
            for _ in 0..=dice.roll(5) {
                edit(&mut text, dice);
            }
            Damage::Edited
        }
    };
    (kind, text.into_iter().collect())
}

/// The text as a person would compare it: what was encoded decoded, capital letters, no blanks and hyphens.
fn flat(text: &str) -> String {
    let decoded = text.replace("%2D", "-").replace("%2d", "-");
    let mut flat = String::new();
    let mut rest = decoded.as_str();
    while let Some(character) = rest.chars().next() {
        let encoded = rest.get(1..3).filter(|_| character == '%').and_then(|pair| u8::from_str_radix(pair, 16).ok());
        let (one, length) = encoded.map_or((character, character.len_utf8()), |b| (char::from(b), 3));
        rest = &rest[length..];
        if !one.is_whitespace() && !one.is_control() && one != '-' {
            flat.push(one.to_ascii_uppercase());
        }
    }
    flat
}

/// Whether the text says this tray itself: its code, or the whole number of its linear code.
fn says(text: &str, on: &OnShelf) -> bool {
    let flat = flat(text);
    flat.contains(&on.tray.code.to_string()) || on.linear.as_ref().is_some_and(|number| flat.contains(number.as_str()))
}

/// An address with one query says its weight and date where anyone can see them: they must be the tray's own.
fn is_consistent(text: &str, on: &OnShelf) -> bool {
    // 3922=01997 is the same number as 3922=1997.
    let bare = |value: &str| value.trim_start_matches('0').to_owned();
    let values = |address: &str, ai: &str| -> Vec<String> {
        let query = address.split_once('?').map_or("", |(_, query)| query);
        query.split('&').filter_map(|part| part.strip_prefix(ai)?.strip_prefix('=')).map(bare).collect()
    };
    let plain = text.contains("://") && text.matches('?').count() == 1 && !text.contains(['#', '%']);
    let text = text.trim_matches(|c: char| c.is_control() || c.is_whitespace());
    !plain
        || ["3103", "17", "3922"]
            .iter()
            .all(|ai| values(text, ai).iter().all(|said| values(&on.address, ai).contains(said)))
}

fn number(variable: &str, default: u64) -> u64 {
    std::env::var(variable).map_or(default, |text| text.replace('_', "").parse().unwrap())
}

/// Three fish, so that lots differ; weights of which some give equal prices; three trays with two labels, two of them marked down and not
/// labelled anew.
fn shelf() -> Shelf {
    let mut shelf =
        Shelf::stocked(shop_with(Some("0614141"), Some(("29IIIIVPPPPPC", 2))), 4, &[268, 311, 244, 287, 310, 268, 299]);
    for at in [0, 9, 18, 1, 10] {
        let lowered = shelf.mark_down(&shelf.trays[at].tray, 5_960);
        shelf.trays[at].tray = lowered;
    }
    for at in [0, 9, 18] {
        let labelled = shelf.label(&shelf.trays[at].tray, shelf.later()).unwrap();
        shelf.trays[at] = shelf.on_shelf(&labelled, &shelf.trays[at].lot.clone());
    }
    shelf
}

#[test]
fn damaged_codes_never_name_another_tray() {
    let (count, seed) = (number("SAKUDANA_MUTATIONS", 100_000), number("SAKUDANA_MUTATION_SEED", 1));
    let shelf = shelf();
    let known = Known::of(&shelf);
    let forms: Vec<Vec<String>> = shelf.trays.iter().map(OnShelf::forms).collect();
    let mut dice = Dice(seed);
    let mut tally: BTreeMap<(Damage, &str), u64> = BTreeMap::new();
    for turn in 0..count {
        let (own, foreign) = (dice.roll(forms.len()), dice.roll(forms.len()));
        let form = dice.pick(&forms[own]).clone();
        let other = dice.pick(&forms[foreign]).clone();
        let (kind, text) = damage(&form, &other, &mut dice);
        let outcome = known.outcome(&text);
        let word = match &outcome {
            Err(_) => "refused",
            Ok((at, stops)) => {
                let named = known.trays[*at].0;
                let context = || format!("seed {seed}, turn {turn}: {form:?} as {text:?} names {}", named.tray.code);
                let is_linear = form.chars().all(|c| c.is_ascii_digit());
                let one_slip = kind == Damage::Substituted || (kind == Damage::Swapped && !is_linear);
                // One wrong character, or two neighbours swapped, is always caught; other damage can only give what the text says.
                assert!(*at == own || !one_slip, "{}", context());
                assert!(says(&text, named), "{}", context());
                assert!(!stops.is_empty() || is_consistent(&text, named), "{}", context());
                match (*at == own, stops.is_empty()) {
                    (true, true) => "itself",
                    (true, false) => "itself, stopped",
                    (false, true) => "the other it says",
                    (false, false) => "the other it says, stopped",
                }
            }
        };
        *tally.entry((kind, word)).or_default() += 1;
    }
    println!("seed {seed}, {count} damaged codes:");
    for ((kind, word), count) in &tally {
        println!("  {kind:?}: {word}: {count}");
    }
    let count_of =
        |word: &str| tally.iter().filter(|((_, found), _)| *found == word).map(|(_, count)| count).sum::<u64>();
    assert!(["refused", "itself", "itself, stopped"].iter().all(|word| count_of(word) > count / 200), "{tally:?}");
}

/// The acts come to the same as the rules alone: what was shown above holds for the shop.
#[test]
fn the_shop_answers_as_the_rules_do() {
    let shelf = shelf();
    let known = Known::of(&shelf);
    let forms: Vec<Vec<String>> = shelf.trays.iter().map(OnShelf::forms).collect();
    let mut dice = Dice(2);
    for turn in 0..1_500 {
        let (own, foreign) = (dice.roll(forms.len()), dice.roll(forms.len()));
        let (form, other) = (dice.pick(&forms[own]).clone(), dice.pick(&forms[foreign]).clone());
        let text = if turn % 5 == 0 { form } else { damage(&form, &other, &mut dice).1 };
        let expected = known.outcome(&text).map(|(at, stops)| (known.trays[at].0.tray.code, stops));
        let found = shelf.scan(&text).map_err(|refusal| refusal.code).map(|scanned| {
            let stops: Vec<Code> = scanned.verdict.stops.iter().map(|stop| stop.code).collect();
            (scanned.facts.tray.code, stops)
        });
        assert_eq!(found, expected, "turn {turn}: {text:?}");
    }
}
