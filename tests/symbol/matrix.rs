//! A matrix of modules as the tests see it, and what may be read off it.

use sakudana::labels::symbol::Symbol;

/// Rows from the top, true is dark.
#[derive(Clone, PartialEq, Eq)]
pub struct Matrix(pub Vec<Vec<bool>>);

impl Matrix {
    pub fn of(symbol: &Symbol) -> Matrix {
        let side = symbol.modules();
        Matrix((0..side).map(|row| (0..side).map(|column| symbol.is_dark(row, column)).collect()).collect())
    }

    pub fn side(&self) -> usize {
        self.0.len()
    }

    /// ISO/IEC 18004: 17 modules and 4 for each version.
    pub fn version(&self) -> usize {
        (self.side() - 17) / 4
    }

    /// Rows of `#` and `.`, as published matrices are kept.
    pub fn parse(text: &str) -> Matrix {
        Matrix(text.split_whitespace().map(|line| line.bytes().map(|module| module == b'#').collect()).collect())
    }
}

impl std::fmt::Debug for Matrix {
    fn fmt(&self, out: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        for row in &self.0 {
            let line: String = row.iter().map(|dark| if *dark { '#' } else { '.' }).collect();
            writeln!(out, "{line}")?;
        }
        Ok(())
    }
}

/// Dice for payloads: the same on every run.
pub struct Dice(pub u64);

impl Dice {
    pub fn below(&mut self, end: u64) -> u64 {
        // Marsaglia's xorshift64.
        self.0 ^= self.0 << 13;
        self.0 ^= self.0 >> 7;
        self.0 ^= self.0 << 17;
        self.0 % end
    }

    /// A text of printable ASCII; some of digits alone, some of capitals and digits, some like the address on a label.
    pub fn text(&mut self, most: u64) -> String {
        let length = 1 + self.below(most);
        let kind = self.below(4);
        let letter = |dice: &mut Dice| match kind {
            0 => b'0' + dice.below(10) as u8,
            1 => b"ABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789$%*+-./:"[dice.below(44) as usize],
            2 => b'!' + dice.below(94) as u8,
            _ => b"https://shop.example/01/95202612345678/10/21/?17=3922&3103=00A-"[dice.below(63) as usize],
        };
        (0..length).map(|_| char::from(letter(self))).collect()
    }
}
