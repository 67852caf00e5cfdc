//! A tray: any labelled thing in stock. What may be done to it is decided here and in `verdict`; how it came about in `breakdown`.

use super::life::clocks::Subject;
use super::life::date_mark::days_counted;
use super::life::lived::Lived;
use super::tray_code::TrayCode;
use crate::units::instant::Instant;
use crate::units::mass::Grams;
use crate::units::money::PricePerKg;
use crate::units::zone::Zone;

/// How a tray is sold: whole, by weight out of it, or not at all (input to a breakdown or the kitchen).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Kind {
    Block,
    Tub,
    Bulk,
}

impl Kind {
    pub const fn as_str(self) -> &'static str {
        match self {
            Kind::Block => "block",
            Kind::Tub => "tub",
            Kind::Bulk => "bulk",
        }
    }

    /// Whether a tray of this kind is sold and so carries a sales label.
    pub const fn carries_label(self) -> bool {
        !matches!(self, Kind::Bulk)
    }

    pub fn parse(text: &str) -> Option<Kind> {
        [Kind::Block, Kind::Tub, Kind::Bulk].into_iter().find(|kind| kind.as_str() == text)
    }
}

/// Where a tray went.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Fate {
    Sold,
    Kitchen,
    Waste,
    BrokenDown,
    ToppedInto,
    CountedAway,
}

impl Fate {
    pub const ALL: [(Fate, &'static str); 6] = [
        (Fate::Sold, "sold"),
        (Fate::Kitchen, "kitchen"),
        (Fate::Waste, "waste"),
        (Fate::BrokenDown, "broken_down"),
        (Fate::ToppedInto, "topped_into"),
        (Fate::CountedAway, "counted_away"),
    ];

    pub fn as_str(self) -> &'static str {
        Self::ALL.iter().find(|(fate, _)| *fate == self).map_or("", |(_, text)| text)
    }

    pub fn parse(text: &str) -> Option<Fate> {
        Self::ALL.iter().find(|(_, name)| *name == text).map(|(fate, _)| *fate)
    }
}

/// Why a tray needs a label it does not have yet.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum LabelReason {
    New,
    Markdown,
    Weight,
    Thawed,
    /// Fish with an earlier date was poured into it.
    OlderFish,
    /// Fish of a lot that its label does not name was poured into it.
    OtherFish,
    ShorterLife,
    Reprint,
}

impl LabelReason {
    pub const ALL: [(LabelReason, &'static str); 8] = [
        (LabelReason::New, "new"),
        (LabelReason::Markdown, "markdown"),
        (LabelReason::Weight, "weight"),
        (LabelReason::Thawed, "thawed"),
        (LabelReason::OlderFish, "older_fish"),
        (LabelReason::OtherFish, "other_fish"),
        (LabelReason::ShorterLife, "shorter_life"),
        (LabelReason::Reprint, "reprint"),
    ];

    pub fn as_str(self) -> &'static str {
        Self::ALL.iter().find(|(reason, _)| *reason == self).map_or("", |(_, text)| text)
    }

    /// How wrong the label on the tray is. One that has none yet has no wrong one.
    const fn weight(self) -> u8 {
        match self {
            LabelReason::Thawed => 5,
            LabelReason::OlderFish => 4,
            LabelReason::New => 3,
            LabelReason::OtherFish => 2,
            LabelReason::Weight => 1,
            LabelReason::Markdown | LabelReason::ShorterLife | LabelReason::Reprint => 0,
        }
    }

    pub fn parse(text: &str) -> Option<LabelReason> {
        Self::ALL.iter().find(|(_, name)| *name == text).map(|(reason, _)| *reason)
    }
}

/// A tray as it stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Tray {
    pub id: i64,
    pub code: TrayCode,
    pub kind: Kind,
    pub cut: String,
    pub species: String,
    pub batch_id: Option<i64>,
    pub place: String,
    /// None while in stock.
    pub fate: Option<Fate>,
    pub gone_at: Option<Instant>,
    pub net: Grams,
    pub initial: Grams,
    pub price: PricePerKg,
    pub list_price: PricePerKg,
    pub markdown_reason: Option<String>,
    pub lived: Lived,
    /// Oldest cutting of anything in it; the receiving for what was never cut.
    pub cut_at: Instant,
    pub use_by: Option<Instant>,
    /// The end of the day the supplier gave; freezing does not pause it.
    pub supplier_until: Option<Instant>,
    /// What the printed use-by had left when a freeze paused it: the most the label after thawing may promise.
    pub paused_left_micros: Option<i64>,
    pub frozen_at: Option<Instant>,
    pub thawed_at: Option<Instant>,
    pub label_wanted: Option<LabelReason>,
    pub version: i64,
}

impl Tray {
    pub const fn in_stock(&self) -> bool {
        self.fate.is_none()
    }

    /// This tray as its clocks see it.
    pub fn subject(&self, zone: Zone) -> Subject {
        let frozen_on = self.frozen_at.map(|at| zone.day_of(at));
        Subject {
            as_of: self.lived.as_of,
            wear: self.lived.wear,
            budgets: self.lived.budgets,
            since: self.cut_at,
            date_day_one: self.lived.date_day_one,
            days_before_freezing: self.lived.date_day_one.zip(frozen_on).map(|(one, day)| days_counted(one, day)),
            // Here everything cut carries its date mark into the freezer and out of it.
            unmarked_thaw: None,
            wholly_frozen_before: self.lived.wholly_frozen_before,
            was_thawed: self.was_frozen(),
            supplier_until: self.supplier_until,
            raw_budget_validated: self.lived.raw_budget_validated,
        }
    }

    /// Whether this fish was frozen once, here or before it came.
    pub const fn was_frozen(&self) -> bool {
        self.thawed_at.is_some()
    }

    /// Asks for a label. The gravest reason stands, whatever else changed since: a lighter one must not hide it.
    pub fn want_label(&mut self, reason: LabelReason) {
        if self.label_wanted.is_none_or(|wanted| reason.weight() >= wanted.weight()) {
            self.label_wanted = Some(reason);
        }
    }

    pub fn marked_down(&self) -> bool {
        self.price < self.list_price
    }
}
