//! Codes as short as their symbols are frequent (D. A. Huffman, 1952), in the canonical order of RFC 1951, 3.2.2.

/// The code of one symbol.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
pub(super) struct Code {
    /// The code's bits in the order in which they are sent, the first in the lowest.
    pub(super) bits: u16,
    /// How many there are; 0 for a symbol that does not occur.
    pub(super) length: u8,
}

/// How long the code of each symbol is, none longer than `longest`.
pub(super) fn code_lengths(counts: &[u32], longest: u8) -> Vec<u8> {
    let mut counts = counts.to_vec();
    loop {
        let lengths = best_lengths(&counts);
        if lengths.iter().all(|length| *length <= longest) {
            return lengths;
        }
        // Evened out the tree is flatter; in the end all counts are 1.
        counts.iter_mut().for_each(|count| *count = count.div_ceil(2));
    }
}

fn best_lengths(counts: &[u32]) -> Vec<u8> {
    let mut leaves: Vec<(u32, usize)> = counts.iter().copied().zip(0..).filter(|(count, _)| *count > 0).collect();
    leaves.sort_unstable();
    let mut lengths = vec![0; counts.len()];
    // A tree of one leaf has no depth, but its code has one bit.
    let depths = if leaves.len() == 1 { vec![1] } else { depths(&leaves) };
    for ((_, symbol), depth) in leaves.iter().zip(depths) {
        if let Some(length) = lengths.get_mut(*symbol) {
            *length = depth;
        }
    }
    lengths
}

/// How deep each leaf is, the leaves given in the order of their counts. Nodes made later are never lighter, so leaves and made nodes
/// are two queues that need no sorting.
fn depths(leaves: &[(u32, usize)]) -> Vec<u8> {
    let count = leaves.len();
    let nodes = (2 * count).saturating_sub(1);
    let mut weights: Vec<u32> = leaves.iter().map(|(weight, _)| *weight).collect();
    let mut parents = vec![0; nodes];
    let (mut leaf, mut made) = (0, count);
    for node in count..nodes {
        let mut weight = 0;
        for _ in 0..2 {
            let lightest =
                |queue: usize, end: usize| weights.get(queue).filter(|_| queue < end).copied().unwrap_or(u32::MAX);
            let (of_leaf, of_made) = (lightest(leaf, count), lightest(made, node));
            let taken = if leaf < count && of_leaf <= of_made { &mut leaf } else { &mut made };
            weight += of_leaf.min(of_made);
            if let Some(parent) = parents.get_mut(*taken) {
                *parent = node;
            }
            *taken += 1;
        }
        weights.push(weight);
    }
    // The last node is the root, and every parent comes after its children.
    let mut depths = vec![0_u8; nodes];
    for (node, parent) in parents.iter().enumerate().rev().skip(1) {
        let depth = depths.get(*parent).map_or(0, |depth| depth + 1);
        if let Some(own) = depths.get_mut(node) {
            *own = depth;
        }
    }
    depths
}

/// The codes: shorter ones first, in the order of their symbols among equals.
pub(super) fn codes(lengths: &[u8]) -> Vec<Code> {
    let mut codes = vec![Code::default(); lengths.len()];
    let mut next = 0_u16;
    for length in 1..=15 {
        next <<= 1;
        for (code, _) in codes.iter_mut().zip(lengths).filter(|(_, own)| **own == length) {
            *code = Code { bits: next.reverse_bits() >> (16 - length), length };
            next += 1;
        }
    }
    codes
}

#[cfg(test)]
mod tests {
    use super::{Code, code_lengths, codes};

    /// RFC 1951, 3.2.2: symbols A to H with lengths 3, 3, 3, 3, 3, 2, 4, 4 have these codes.
    #[test]
    fn the_example_of_the_standard_has_its_codes() {
        let expected = ["010", "011", "100", "101", "110", "00", "1110", "1111"];
        let written =
            |code: &Code| (0..code.length).map(|bit| if code.bits >> bit & 1 == 1 { '1' } else { '0' }).collect();
        let found: Vec<String> = codes(&[3, 3, 3, 3, 3, 2, 4, 4]).iter().map(written).collect();
        assert_eq!(found, expected);
    }

    fn room(lengths: &[u8]) -> u32 {
        lengths.iter().filter(|length| **length > 0).map(|length| 1 << (15 - length)).sum()
    }

    #[test]
    fn every_code_is_used_and_none_is_too_long() {
        // Counts that grow as the Fibonacci numbers make the deepest tree.
        let mut steep = vec![1, 1];
        (0..28).for_each(|n| steep.push(steep[n] + steep[n + 1]));
        for longest in [5, 7, 15] {
            let lengths = code_lengths(&steep, longest);
            assert!(lengths.iter().all(|length| (1..=longest).contains(length)));
            assert_eq!(room(&lengths), 1 << 15, "{longest}");
        }
        assert_eq!(code_lengths(&[0, 8, 0], 15), [0, 1, 0]);
        assert_eq!(code_lengths(&[5, 2, 0, 1, 9], 15), [2, 3, 0, 3, 1]);
        assert!(code_lengths(&[0; 4], 15).iter().all(|length| *length == 0));
    }
}
