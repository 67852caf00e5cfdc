//! What a transaction has touched so far: its acts, and the trays under them, so that no act can forget to tell of what it did.

use crate::domain::tray::Tray;
use crate::units::instant::Instant;
use std::collections::{BTreeMap, BTreeSet};

/// An act that was appended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ToldAct {
    pub id: i64,
    pub kind: &'static str,
    pub recorded_at: Instant,
}

/// A tray that was touched.
#[derive(Debug, Clone, Default)]
pub struct TouchedTray {
    /// As it was written last; none when something around it changed.
    pub tray: Option<Tray>,
    /// The acts under which it was touched, by their places among the acts; none before the first act.
    pub acts: BTreeSet<Option<usize>>,
}

#[derive(Debug, Default)]
pub struct Touched {
    pub acts: Vec<ToldAct>,
    pub trays: BTreeMap<i64, TouchedTray>,
}

impl Touched {
    pub(super) fn act(&mut self, act: ToldAct) {
        self.acts.push(act);
    }

    /// The act that was appended last.
    pub(super) fn last_act(&self) -> Option<i64> {
        self.acts.last().map(|act| act.id)
    }

    /// A tray was written.
    pub(super) fn wrote(&mut self, tray: &Tray) {
        self.touch(tray.id).tray = Some(tray.clone());
    }

    /// Something that a tray is judged by changed.
    pub(super) fn around(&mut self, tray_id: i64) {
        self.touch(tray_id);
    }

    fn touch(&mut self, tray_id: i64) -> &mut TouchedTray {
        let act = self.acts.len().checked_sub(1);
        let tray = self.trays.entry(tray_id).or_default();
        tray.acts.insert(act);
        tray
    }
}
