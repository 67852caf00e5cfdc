//! Many sales at once: all they need is loaded together, they are decided one after the other in memory, each on what the one before left,
//! and all they leave is written together. What comes of it is what `sell_charged` makes of them one by one; `tests/sales.rs` holds the two
//! against each other.

use super::stock::{AskedLine, Stock};
use super::{ChargedLine, Sold, lines};
use crate::domain::ledger::{Account, Entry, Transaction};
use crate::domain::shop::Shop;
use crate::ops::desk::Actor;
use crate::ops::failure::Failure;
use crate::ops::once::{Answer, Request};
use crate::ops::shelf;
use crate::ops::tray_ledger::entry;
use crate::store::Tx;
use crate::store::error::StoreError;
use crate::store::idempotency::{Given, RequestKey};
use crate::store::sales::{Sale, SaleLine};
use crate::store::shelf::Shelved;
use crate::store::till::{self, Books, ChangeRow, HoldingAfter, KeyRow, Numbers, SaleRow, TrayAfter};
use crate::units::instant::Instant;
use std::collections::{BTreeMap, HashMap};

/// A sale that is asked for under a key.
#[derive(Debug, Clone)]
pub struct Order {
    pub request: Request,
    pub actor: Actor,
    pub now: Instant,
    pub lines: Vec<ChargedLine>,
    /// The answer in its outer form, status and body.
    pub speak: fn(Sold) -> (u16, String),
}

/// Does every sale or refuses it, in order; each answer is its own caller's. An error is the group's, and nothing of it stands.
pub fn sell_together(tx: &mut Tx<'_>, shop: &Shop, orders: &[Order]) -> Result<Vec<Result<Answer, Failure>>, Failure> {
    till::begin(tx)?;
    let keys: Vec<RequestKey> = orders.iter().map(|order| order.request.scoped_key()).collect();
    let given = till::given(tx, &keys)?;
    // What was answered before needs no stock.
    let fresh = orders.iter().zip(&keys).map(|(order, key)| (order, !given.contains_key(key)));
    let (stock, asked) = Stock::load(tx, shop, fresh)?;
    let numbers = if stock.is_empty() { None } else { Some(till::numbers(tx, orders.len())?) };
    let mut counter = Counter { stock, given, numbers, books: Books::default(), shelf: BTreeMap::new() };
    let mut answers = Vec::with_capacity(orders.len());
    for ((order, key), asked) in orders.iter().zip(keys).zip(&asked) {
        match counter.answer(order, key, asked) {
            Err(Failure::Store(error)) => return Err(error.into()),
            answer => answers.push(answer),
        }
    }
    till::append(tx, &counter.close())?;
    Ok(answers)
}

/// The stock as the sales so far left it, and what is to be written of them.
struct Counter<'a> {
    stock: Stock<'a>,
    given: HashMap<RequestKey, Given>,
    /// None when no sale can be made.
    numbers: Option<Numbers>,
    books: Books,
    /// What the shelf says last of each tray that was sold of.
    shelf: BTreeMap<i64, Option<Shelved>>,
}

impl Counter<'_> {
    fn answer(&mut self, order: &Order, key: RequestKey, asked: &[AskedLine<'_>]) -> Result<Answer, Failure> {
        if let Some(given) = self.given.get(&key) {
            return order.request.replay(given);
        }
        let sold = self.sell(order, asked)?;
        let (status, body) = (order.speak)(sold);
        let fingerprint = order.request.fingerprint.clone();
        let given = Given { fingerprint, status: i64::from(status), body: body.clone() };
        self.given.insert(key.clone(), given.clone());
        self.books.keys.push(KeyRow { key, given, at: order.now });
        Ok(Answer { status, body, replayed: false })
    }

    fn sell(&mut self, order: &Order, asked: &[AskedLine<'_>]) -> Result<Sold, Failure> {
        let now = order.now;
        let weighed = lines::every(asked, |line| self.stock.weigh(now, line), |(tray_id, _)| *tray_id)?;
        let total = lines::total(weighed.iter().map(|(_, line)| line.price))?;
        let Some((act_id, sale_id)) = self.numbers.as_mut().and_then(Iterator::next) else {
            return Err(StoreError::impossible("numbers of sales", order.request.key.as_str()).into());
        };
        let sale = Sale {
            id: sale_id,
            act_id,
            at: now.micros(),
            sold_by: order.actor.name.clone(),
            total_cents: total.get(),
            reversed_by_act_id: None,
        };
        let (mut records, mut entries) = (Vec::with_capacity(weighed.len()), Vec::with_capacity(2 * weighed.len()));
        for (tray_id, line) in &weighed {
            records.push(self.take((*tray_id, line), &sale, now, &mut entries)?);
        }
        let trays: Vec<i64> = weighed.iter().map(|(tray_id, _)| *tray_id).collect();
        self.tell(act_id, now, trays)?;
        let transaction = Transaction::balanced(entries).map_err(|e| StoreError::Inconsistent(e.to_string()))?;
        self.books.sales.push(SaleRow {
            act_id,
            sale_id,
            at: now,
            sold_by: sale.sold_by.clone(),
            total_cents: sale.total_cents,
            lines: records.clone(),
            entries: transaction.entries().to_vec(),
        });
        Ok(Sold { sale, lines: records })
    }

    /// Takes what a line sells out of a tray.
    fn take(
        &mut self,
        (tray_id, line): (i64, &lines::Line),
        sale: &Sale,
        now: Instant,
        entries: &mut Vec<Entry>,
    ) -> Result<SaleLine, Failure> {
        let known = self.stock.known_mut(tray_id)?;
        let drawn = known.take(line.grams, sale, now)?;
        entries.extend(drawn.iter().map(|holding| entry(Account::Tray(tray_id), *holding, -1)));
        entries.extend(drawn.iter().map(|holding| entry(Account::Customer, *holding, 1)));
        Ok(SaleLine {
            tray_id,
            tray_code: known.tray.code.to_string(),
            grams: line.grams.get(),
            price_per_kg_cents: known.tray.price.get(),
            price_cents: line.price.get(),
        })
    }

    /// Tells each tray that was sold of, in the order of their numbers.
    fn tell(&mut self, act_id: i64, at: Instant, mut trays: Vec<i64>) -> Result<(), Failure> {
        trays.sort_unstable();
        for tray_id in trays {
            let known = self.stock.known(tray_id)?;
            let shelved = if shelf::is_for_sale(&known.tray) {
                Some(shelf::shelved_of(&self.stock.facts(known, at), at)?)
            } else {
                None
            };
            self.books.changes.push(ChangeRow {
                act_id,
                at,
                tray_code: known.tray.code.to_string(),
                offer: shelved.as_ref().map(|shelved| shelved.offer.clone()),
            });
            self.shelf.insert(tray_id, shelved);
        }
        Ok(())
    }

    /// All that is to be written.
    fn close(self) -> Books {
        let mut books = self.books;
        for (tray_id, shelved) in self.shelf {
            match shelved {
                Some(shelved) => books.shelved.push(shelved),
                None => books.off_the_shelf.push(tray_id),
            }
        }
        for known in self.stock.changed() {
            books.trays.push(TrayAfter {
                id: known.tray.id,
                loaded_version: known.loaded_version,
                version: known.tray.version,
                fate: known.tray.fate.map(crate::domain::tray::Fate::as_str),
                gone_at: known.tray.gone_at,
                net_g: known.tray.net.get(),
                left_at: known.tray.gone_at.map(|gone| gone.max(known.tray.lived.as_of)),
            });
            let drawn_from = known.pool.holdings().iter().filter(|holding| known.drawn.contains(&holding.lot_id));
            books.holdings.extend(drawn_from.map(|holding| HoldingAfter {
                tray_id: known.tray.id,
                lot_id: holding.lot_id,
                grams: holding.grams,
                cost_cents: holding.cost_cents,
            }));
        }
        books
    }
}
