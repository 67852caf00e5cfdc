//! The shop itself: what its settings say of it that rules and labels need.

use super::gs1::own::Codes;
use super::hours::OpeningHours;
use super::profile::Rules;
use super::terms::ShopTerms;
use crate::units::currency::{Currency, WeightUnit};
use crate::units::instant::{Instant, MICROS_PER_MINUTE};
use crate::units::temperature::MilliCelsius;
use crate::units::zone::{Zone, write_american, write_american_day, write_day};
use chrono::NaiveDate;

/// Whose law the labels and limits follow.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Jurisdiction {
    Us,
    Eu,
}

impl Jurisdiction {
    pub const fn as_str(self) -> &'static str {
        match self {
            Jurisdiction::Us => "us",
            Jurisdiction::Eu => "eu",
        }
    }

    pub fn parse(text: &str) -> Option<Jurisdiction> {
        [Jurisdiction::Us, Jurisdiction::Eu].into_iter().find(|j| j.as_str() == text)
    }
}

#[derive(Debug, Clone)]
pub struct Shop {
    pub name: String,
    pub address: String,
    pub zone: Zone,
    pub currency: Currency,
    /// In which labels give weights and prices.
    pub weight_unit: WeightUnit,
    pub jurisdiction: Jurisdiction,
    /// The profile of the jurisdiction with the shop's own settings over it.
    pub rules: Rules,
    /// Scheme and host of the address in the QR, such as `https://fish.example`.
    pub web_address: String,
    /// What the codes on labels are made of.
    pub codes: Codes,
    /// Minutes within which a mis-scan can be put back.
    pub reversal_minutes: i64,
    /// Drip that may go missing at a breakdown without a word, in permille of the input.
    pub drip_permille: i64,
    /// Verification scale interval of the receiving scale and of the bench scale, in grams.
    pub receiving_scale_g: i64,
    pub bench_scale_g: i64,
    /// How long fish is reckoned to lie on the bench before it is cut, when nobody says.
    pub bench_minutes: i64,
    pub hours: OpeningHours,
    pub terms: ShopTerms,
}

impl Shop {
    pub const fn reversal_micros(&self) -> i64 {
        self.reversal_minutes * MICROS_PER_MINUTE
    }

    /// A local time as labels write it. Day first in the EU (Reg. 1169/2011 Annex X: secondary); the month is in letters everywhere, so that
    /// no reader can swap them.
    pub fn write_time(&self, at: Instant) -> String {
        match self.jurisdiction {
            Jurisdiction::Us => write_american(self.zone, at),
            Jurisdiction::Eu => self.zone.write(at),
        }
    }

    /// The local day, written the same way.
    pub fn write_day_of(&self, at: Instant) -> String {
        self.write_day(self.zone.day_of(at))
    }

    /// A day, written the same way.
    pub fn write_day(&self, day: NaiveDate) -> String {
        match self.jurisdiction {
            Jurisdiction::Us => write_american_day(day),
            Jurisdiction::Eu => write_day(day),
        }
    }

    /// The storage a label promises for: [`LABEL_STORAGE_LIMIT`], in whole degrees that are not above it.
    pub const fn storage_words(&self) -> &'static str {
        match self.jurisdiction {
            Jurisdiction::Us => "Keep at 32 to 35 °F",
            Jurisdiction::Eu => "Keep at 0 to 2 °C",
        }
    }

    /// An amount in minor units, as labels and pages write it.
    pub fn money(&self, amount: impl Into<i64>) -> String {
        self.currency.write(amount)
    }
}

/// Up to how warm a label tells its buyer to keep the fish: what its use-by holds for.
pub const LABEL_STORAGE_LIMIT: MilliCelsius = MilliCelsius::clamped(2_000);

/// Cautions for labels, pages and documents: generic, and always second to the local food code.
pub const RAW_CAUTION: &str = "Raw fish. Pregnant, older or immune-weak people should not eat it raw.";
pub const COOKING_CAUTION: &str = "For cooking: cook it through before eating. Not for raw eating.";
pub const LABEL_CAUTIONS: [&str; 2] = [RAW_CAUTION, "Contains fish."];

/// The caution on every page.
pub const PAGE_CAUTION: &str = "Remaining life is an estimate for planning. It does not show that fish is safe: the local food code, the shop's \
food-safety plan and its inspector decide. Where the time above the cold limit is unknown, hold the fish and do not sell it.";
