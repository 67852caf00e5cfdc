//! What the callers of one race heard, and what is wrong with it. Calls nobody.

use crate::track::{begins, seller};

#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Heard {
    Sold,
    Refused { code: &'static str, reason: String },
}

fn winners(heard: &[Heard]) -> Vec<usize> {
    heard.iter().enumerate().filter(|(_, heard)| **heard == Heard::Sold).map(|(number, _)| number).collect()
}

/// Whether a loser is told that this caller was first, by name and instant.
fn names(reason: &str, winner: usize) -> bool {
    let words: Vec<&str> = reason.split([' ', '(', ')', ',']).collect();
    words.contains(&seller(winner).as_str()) && words.contains(&begins(winner).to_string().as_str())
}

/// A block: one winner, and every other told of that one.
pub fn faults_of_a_block(heard: &[Heard]) -> Vec<String> {
    let winners = winners(heard);
    let [winner] = winners[..] else { return vec![format!("winners: {winners:?}")] };
    let wrong = |(number, heard): (usize, &Heard)| match heard {
        Heard::Sold => None,
        Heard::Refused { code: "already_sold", reason } if names(reason, winner) => None,
        other => Some(format!("{number} heard {other:?}; the winner was {winner}")),
    };
    heard.iter().enumerate().filter_map(wrong).collect()
}

/// A tub: as many winners as it was enough for; every other is told what is left, or by whom it was emptied.
pub fn faults_of_a_tub(heard: &[Heard], held: i64, asked: i64) -> Vec<String> {
    let winners = winners(heard);
    let enough_for = usize::try_from(held / asked).unwrap().min(heard.len());
    if winners.len() != enough_for {
        return vec![format!("enough for {enough_for}, winners: {winners:?}")];
    }
    let emptied = held % asked == 0;
    let wrong = |(number, heard): (usize, &Heard)| match heard {
        Heard::Sold => None,
        Heard::Refused { code: "insufficient_stock", .. } if !emptied => None,
        // Between the winners' sales a loser may also have met a tub that held less than it asked; here all divide evenly.
        Heard::Refused { code: "already_sold", reason } if emptied && winners.iter().any(|w| names(reason, *w)) => None,
        other => Some(format!("{number} heard {other:?}; winners {winners:?}")),
    };
    heard.iter().enumerate().filter_map(wrong).collect()
}
