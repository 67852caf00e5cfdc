//! Where acts are done: the shop's settings and its database together, and who acts.

use super::attempts::Attempts;
use super::bell::Bell;
use super::failure::Failure;
use super::feed::Feed;
use super::figures::Figures;
use super::press::Press;
use super::printers::Printers;
use super::shelf::{self, Published};
use super::till::Till;
use super::webhooks::Webhooks;
use crate::domain::permissions::Role;
use crate::domain::shop::Shop;
use crate::store::{self, Reading, Store, StoreOptions, Tx, evidence};
use std::sync::Arc;
use std::time::Duration;

/// One shop, open for business.
pub struct Desk {
    pub(super) store: Arc<Store>,
    shop: Arc<Shop>,
    press: Arc<Press>,
    pub(super) attempts: Attempts,
    printers: Printers,
    webhooks: Webhooks,
    bell: Arc<Bell>,
    feed: Feed,
    till: Till,
    pub(super) figures: Figures,
}

/// Who does an act: a person signed in, or a machine with a key.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Actor {
    /// As it stands in the record: a person's name, or `key ` and the key's name.
    pub name: String,
    pub role: Role,
}

impl Desk {
    /// Opens the database and takes the shop's settings.
    pub fn open(options: &StoreOptions, shop: Shop) -> Result<Desk, Failure> {
        let (store, shop) = (Arc::new(Store::open(options, shop.rules.rates)?), Arc::new(shop));
        let (attempts, printers, webhooks) = (Attempts::default(), Printers::default(), Webhooks::default());
        let (bell, feed) = (Arc::default(), Feed::default());
        let till = Till::new(Arc::clone(&store), Arc::clone(&shop), Arc::clone(&bell));
        let figures = Figures::of(store.load().clone());
        Ok(Desk { store, shop, press: Arc::default(), attempts, printers, webhooks, bell, feed, till, figures })
    }

    /// The same desk with the shop's own press.
    #[must_use]
    pub fn with_press(self, press: Press) -> Desk {
        Desk { press: Arc::new(press), ..self }
    }

    pub fn press(&self) -> Arc<Press> {
        Arc::clone(&self.press)
    }

    /// The same desk with printers.
    #[must_use]
    pub fn with_printers(self, printers: Printers) -> Desk {
        Desk { printers, ..self }
    }

    pub const fn printers(&self) -> &Printers {
        &self.printers
    }

    /// The same desk with rules for webhooks and the key of their secrets.
    #[must_use]
    pub fn with_webhooks(self, webhooks: Webhooks) -> Desk {
        Desk { webhooks, ..self }
    }

    pub const fn webhooks(&self) -> &Webhooks {
        &self.webhooks
    }

    pub fn shop(&self) -> &Shop {
        &self.shop
    }

    /// The shop's settings for an act that outlives this call.
    pub fn shop_shared(&self) -> Arc<Shop> {
        Arc::clone(&self.shop)
    }

    /// `sqlite` or `postgresql`.
    pub fn database_kind(&self) -> &'static str {
        self.store.kind()
    }

    /// Reads what was measured, before the shop opens: an act that had to read it first would keep others waiting.
    pub fn warm_up(&self) -> Result<(), Failure> {
        self.store.read(|reading| Ok(evidence::warm(reading)?))
    }

    /// For the end: what was acknowledged is durable already; this leaves all of it in the database file itself.
    pub fn settle(&self) -> Result<(), Failure> {
        Ok(self.store.settle()?)
    }

    /// Looks at one consistent state.
    pub fn look<T>(&self, look: impl FnOnce(&mut Reading<'_>, &Shop) -> Result<T, Failure>) -> Result<T, Failure> {
        self.store.read(|reading| look(reading, &self.shop))
    }

    /// A window into the shop for a thread that looks often and briefly; none where a look may have to wait for a server.
    pub fn window(&self) -> Result<Option<Window>, Failure> {
        let window = self.store.window()?;
        Ok(window.map(|window| Window { window, shop: self.shop_shared() }))
    }

    /// So many can look at length at once.
    pub fn long_looks(&self) -> usize {
        self.store.long_looks()
    }

    /// Looks at one consistent state for as long as somebody takes to be told of it. Few can at once; the others wait a little, or are
    /// told to come again.
    pub fn look_at_length<T>(
        &self,
        look: impl FnOnce(&mut Reading<'_>, &Shop) -> Result<T, Failure>,
    ) -> Result<T, Failure> {
        self.store.read_at_length(|reading| look(reading, &self.shop))
    }

    /// Does one act: all of it, durably, or nothing.
    pub fn act<T, F>(&self, act: F) -> Result<T, Failure>
    where
        F: Fn(&mut Tx<'_>, &Shop) -> Result<T, Failure> + Send + 'static,
        T: Send + 'static,
    {
        let shop = self.shop_shared();
        let (outcome, published) = self.store.write(move |tx| told(tx, &shop, &act))?;
        if published == Published::Something {
            self.bell.ring();
        }
        Ok(outcome)
    }

    /// Rings when there is something new behind the end of the change sequence.
    pub fn bell(&self) -> &Bell {
        &self.bell
    }

    /// What happened last, for those who follow.
    pub const fn feed(&self) -> &Feed {
        &self.feed
    }

    /// How soon acts of other processes on the same database are looked for.
    pub fn others_are_seen_within(&self) -> Duration {
        self.store.others_are_seen_within()
    }

    pub(super) const fn till(&self) -> &Till {
        &self.till
    }

    /// Does one act for a caller that has the desk to itself.
    pub fn act_alone<T, F>(&mut self, act: F) -> Result<T, Failure>
    where
        F: Fn(&mut Tx<'_>, &Shop) -> Result<T, Failure>,
    {
        let (outcome, _) = self.store.write_alone(|tx| told(tx, &self.shop, &act))?;
        Ok(outcome)
    }

    /// A consistent copy of the database beside its users; see `store`.
    pub fn copy_to(&self, file: &std::path::Path) -> Result<(), Failure> {
        Ok(self.store.copy_to(file)?)
    }
}

/// One consistent state of the shop.
pub type View<'a> = Reading<'a>;

/// Looks into the shop through a connection of its own.
pub struct Window {
    window: store::Window,
    shop: Arc<Shop>,
}

impl Window {
    /// Looks at one consistent state, on the thread of the caller.
    pub fn look<T>(&mut self, look: impl FnOnce(&mut View<'_>, &Shop) -> Result<T, Failure>) -> Result<T, Failure> {
        let Window { window, shop } = self;
        window.read(|reading| look(reading, shop))
    }
}

/// An act, and all it did told in its own transaction.
fn told<T>(
    tx: &mut Tx<'_>,
    shop: &Shop,
    act: &impl Fn(&mut Tx<'_>, &Shop) -> Result<T, Failure>,
) -> Result<(T, Published), Failure> {
    let outcome = act(tx, shop)?;
    Ok((outcome, shelf::publish(tx, shop)?))
}
