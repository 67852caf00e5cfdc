//! Moves grams between trays and the accounts outside the stock, ledger and holdings in one step. Every act that moves mass goes through here.

use super::failure::{Failure, refuse};
use super::repair;
use crate::domain::holding::Holding;
use crate::domain::ledger::{Account, Entry, Transaction};
use crate::domain::place::Place;
use crate::domain::refusal::Code;
use crate::domain::tray::{Fate, Tray};
use crate::store::error::StoreError;
use crate::store::{Tx, acts, errands, stays, trays};
use crate::units::instant::Instant;
use crate::units::mass::Grams;
use crate::units::share::largest_remainder;

/// Entries under way, posted together at the end.
#[derive(Default)]
pub struct Movement {
    entries: Vec<Entry>,
}

pub(super) fn entry(account: Account, holding: Holding, sign: i64) -> Entry {
    Entry { lot_id: holding.lot_id, account, grams: sign * holding.grams, cost_cents: sign * holding.cost_cents }
}

impl Movement {
    /// Grams and cost that come from or go to an account outside the stock.
    pub fn outside(&mut self, account: Account, holdings: &[Holding], sign: i64) {
        self.entries.extend(holdings.iter().map(|h| entry(account, *h, sign)));
    }

    /// Takes grams off a tray (state in memory, holdings in the database) and says what was taken, by lot.
    pub fn take(
        &mut self,
        tx: &mut Tx<'_>,
        tray: &mut Tray,
        grams: Grams,
        field: &str,
    ) -> Result<Vec<Holding>, Failure> {
        let Some(left) = tray.net.minus(grams) else {
            return refuse(Code::InsufficientStock, field, format!("tray {} holds {} g", tray.code, tray.net.get()));
        };
        let mut pool = trays::holdings_of(tx, tray.id)?;
        let drawn = pool.draw(grams.get()).ok_or_else(|| StoreError::impossible("grams held by lot", pool.grams()))?;
        for holding in &drawn {
            let change = Holding { lot_id: holding.lot_id, grams: -holding.grams, cost_cents: -holding.cost_cents };
            trays::change_holding(tx, tray.id, change)?;
        }
        self.outside(Account::Tray(tray.id), &drawn, -1);
        tray.net = left;
        Ok(drawn)
    }

    /// Puts grams on a tray, by lot.
    pub fn put(&mut self, tx: &mut Tx<'_>, tray: &mut Tray, holdings: &[Holding]) -> Result<(), Failure> {
        let added: i64 = holdings.iter().map(|h| h.grams).sum();
        let added = Grams::new(added).map_err(|e| StoreError::impossible("mass put on a tray", e))?;
        tray.net = tray
            .net
            .plus(added)
            .map_err(|e| crate::domain::refusal::Refusal::new(Code::InvalidValue, "", e.to_string()))?;
        for holding in holdings {
            trays::change_holding(tx, tray.id, *holding)?;
        }
        self.outside(Account::Tray(tray.id), holdings, 1);
        Ok(())
    }

    /// Posts everything under an act. What does not balance is a defect of ours, never a caller's.
    pub fn post(self, tx: &mut Tx<'_>, act_id: i64) -> Result<(), Failure> {
        let transaction = Transaction::balanced(self.entries).map_err(|e| StoreError::Inconsistent(e.to_string()))?;
        Ok(acts::post(tx, act_id, &transaction)?)
    }
}

/// Marks a tray as gone, ends its stay and drops what was still to be carried of it.
pub fn leave(tx: &mut Tx<'_>, tray: &mut Tray, fate: Fate, now: Instant) -> Result<(), Failure> {
    tray.fate = Some(fate);
    tray.gone_at = Some(now);
    errands::drop_of_tray(tx, tray.id, now)?;
    Ok(stays::end(tx, tray.id, now.max(tray.lived.as_of))?)
}

/// Takes a mis-scanned tray back into the stay it never left. Late readings pass by what is gone, so its life is reckoned anew.
pub fn come_back(tx: &mut Tx<'_>, tray: &mut Tray, place: &Place) -> Result<(), Failure> {
    if place.is_frozen() {
        return refuse(Code::Frozen, "id", format!("the place of tray {} was turned into a freezer since", tray.code));
    }
    tray.fate = None;
    tray.gone_at = None;
    stays::reopen(tx, tray.id)?;
    tray.lived.wear = repair::wear_at_anchor(tx, tray)?;
    Ok(())
}

/// Spreads grams that the scales found beyond the books over the lots they can belong to, without cost.
pub fn spread(grams: i64, over: &[Holding]) -> Vec<Holding> {
    let weights: Vec<i64> = over.iter().map(|h| h.grams).collect();
    let parts = largest_remainder(grams, &weights).unwrap_or_default();
    over.iter().zip(parts).map(|(h, grams)| Holding { lot_id: h.lot_id, grams, cost_cents: 0 }).collect()
}
