//! The ledger: grams and cost from one account to another. A transaction that does not balance cannot be made.

use std::collections::BTreeMap;

/// Where grams are. Every account but `Tray` lies outside the stock.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Account {
    Supplier,
    Tray(i64),
    Customer,
    Kitchen,
    Waste,
    Shrink,
    CountDifference,
}

impl Account {
    pub const NAMES: [&'static str; 7] =
        ["supplier", "tray", "customer", "kitchen", "waste", "shrink", "count_difference"];

    pub const fn as_str(self) -> &'static str {
        match self {
            Account::Supplier => "supplier",
            Account::Tray(_) => "tray",
            Account::Customer => "customer",
            Account::Kitchen => "kitchen",
            Account::Waste => "waste",
            Account::Shrink => "shrink",
            Account::CountDifference => "count_difference",
        }
    }

    pub const fn tray_id(self) -> Option<i64> {
        match self {
            Account::Tray(id) => Some(id),
            _ => None,
        }
    }

    pub fn read(name: &str, tray_id: Option<i64>) -> Option<Account> {
        match (name, tray_id) {
            ("tray", Some(id)) => Some(Account::Tray(id)),
            ("supplier", None) => Some(Account::Supplier),
            ("customer", None) => Some(Account::Customer),
            ("kitchen", None) => Some(Account::Kitchen),
            ("waste", None) => Some(Account::Waste),
            ("shrink", None) => Some(Account::Shrink),
            ("count_difference", None) => Some(Account::CountDifference),
            _ => None,
        }
    }
}

/// One line: this much of a lot came to (or left, when negative) an account.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Entry {
    pub lot_id: i64,
    pub account: Account,
    pub grams: i64,
    pub cost_cents: i64,
}

/// Entries that sum to zero grams and zero cost for every lot. The only thing the store appends.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Transaction(Vec<Entry>);

/// The lot whose entries do not sum to zero, and by how much.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Unbalanced {
    pub lot_id: i64,
    pub grams: i64,
    pub cost_cents: i64,
}

impl std::fmt::Display for Unbalanced {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        write!(f, "lot {} is out of balance by {} g and {} cents", self.lot_id, self.grams, self.cost_cents)
    }
}

impl Transaction {
    /// Refuses entries that do not balance lot by lot. Entries that move nothing are left out.
    pub fn balanced(entries: Vec<Entry>) -> Result<Transaction, Unbalanced> {
        let mut sums: BTreeMap<i64, (i64, i64)> = BTreeMap::new();
        for entry in &entries {
            let sum = sums.entry(entry.lot_id).or_default();
            sum.0 += entry.grams;
            sum.1 += entry.cost_cents;
        }
        if let Some((lot_id, (grams, cost_cents))) = sums.into_iter().find(|(_, sum)| *sum != (0, 0)) {
            return Err(Unbalanced { lot_id, grams, cost_cents });
        }
        Ok(Transaction(entries.into_iter().filter(|e| e.grams != 0 || e.cost_cents != 0).collect()))
    }

    pub fn entries(&self) -> &[Entry] {
        &self.0
    }

    /// The transaction that undoes this one.
    pub fn reversed(&self) -> Transaction {
        Transaction(self.0.iter().map(|e| Entry { grams: -e.grams, cost_cents: -e.cost_cents, ..*e }).collect())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn entry(lot_id: i64, account: Account, grams: i64, cost_cents: i64) -> Entry {
        Entry { lot_id, account, grams, cost_cents }
    }

    /// The unbalanced pair is the figure description of OpenStax, *Principles of Accounting Vol. 1* (12,000 against 15,000).
    #[test]
    fn only_balanced_transactions_exist() {
        assert!(
            Transaction::balanced(vec![
                entry(1, Account::Customer, 268, 12_000),
                entry(1, Account::Tray(9), -268, -15_000)
            ])
            .is_err()
        );
        assert!(
            Transaction::balanced(vec![entry(1, Account::Customer, 268, 0), entry(2, Account::Tray(9), -268, 0)])
                .is_err()
        );
        let sale = Transaction::balanced(vec![
            entry(1, Account::Customer, 268, 700),
            entry(1, Account::Tray(9), -268, -700),
            entry(1, Account::Waste, 0, 0),
        ]);
        assert_eq!(sale.as_ref().map(|t| t.entries().len()), Ok(2));
        let undone = sale.map(|t| t.reversed().reversed() == t);
        assert_eq!(undone, Ok(true));
    }

    #[test]
    fn accounts_read_back() {
        for account in [
            Account::Supplier,
            Account::Tray(7),
            Account::Customer,
            Account::Kitchen,
            Account::Waste,
            Account::Shrink,
            Account::CountDifference,
        ] {
            assert_eq!(Account::read(account.as_str(), account.tray_id()), Some(account));
            assert!(Account::NAMES.contains(&account.as_str()));
        }
        assert_eq!(Account::read("tray", None), None);
    }
}
