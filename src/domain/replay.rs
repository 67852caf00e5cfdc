//! A sale that already happened at a till that was cut off: what of it contradicts the stock, and what the ledger does so that it still
//! balances. It is never refused. Who is asked about it afterwards, and how it is settled, is `ops::settle`'s.
//!
//! | what the line meets | what moves to the customer | what is missing |
//! |---|---|---|
//! | nothing to say against it | a block whole; of a tub what was sold | nothing |
//! | no tray of that code, or not one alone | nothing | what was sold, if it says how much |
//! | the tray was sold, or left the stock another way | nothing | what was sold; of a block that says nothing, its weight |
//! | held, expired, frozen, not fit for raw eating, an old label, a doubtful code | as if nothing were said: the goods are gone | nothing |
//! | held or expired since, or sold before it was cut by the till's clock | as if nothing were said | nothing |
//! | a tub, or a bulk tray, that holds less | what is there | the rest |
//! | a tub, or a bulk tray, and no weight | nothing: nobody knows how much | unknown |
//! | a block of another weight | the block as the books have it | nothing |
//! | a price other than the books' | as if nothing were said; the money is recorded as charged | nothing |
//! | a key that was used for other content | as a sale of its own: something was sold | as above |
//! | a sale that got through by itself and was reversed | as a sale of its own: the goods went | as above |

use super::refusal::{Code, Refusal};
use super::tray::{Kind, Tray};
use super::verdict::Stop;
use crate::units::instant::{Instant, MICROS_PER_HOUR, MICROS_PER_MINUTE};
use crate::units::mass::Grams;
use crate::units::money::{Cents, PricePerKg};

/// Whether someone may have eaten what should not have been sold.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Danger {
    None,
    Eaten,
}

macro_rules! contradictions {
    ($($name:ident, $text:literal, $danger:ident, $title:literal, $advice:literal;)*) => {
        /// Everything a sale can contradict, the gravest first.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
        pub enum Contradiction { $($name,)* }

        impl Contradiction {
            pub const ALL: &'static [Contradiction] = &[$(Contradiction::$name,)*];

            /// The stable code, as clients see it.
            pub const fn as_str(self) -> &'static str {
                match self { $(Contradiction::$name => $text,)* }
            }

            pub const fn danger(self) -> Danger {
                match self { $(Contradiction::$name => Danger::$danger,)* }
            }

            /// What happened, for the manager.
            pub const fn title(self) -> &'static str {
                match self { $(Contradiction::$name => $title,)* }
            }

            /// What to do about it.
            pub const fn advice(self) -> &'static str {
                match self { $(Contradiction::$name => $advice,)* }
            }
        }
    };
}

contradictions! {
    OnHold, "on_hold", Eaten, "Sold although it was on hold",
        "Read the reason of the hold. If it is a recall or the fish may not be safe, find who bought it and tell them.";
    ExposureReached, "exposure_reached", Eaten, "Sold after too long above the cold limit",
        "Find who bought it if you can, and tell them not to eat it.";
    ParasiteFreezingMissing, "parasite_freezing_missing", Eaten, "Sold for raw eating without its freezing against parasites on record",
        "Look for the record. If there is none, find who bought it if you can, and tell them not to eat it raw.";
    PastUseBy, "past_use_by", Eaten, "Sold after its use-by",
        "Find who bought it if you can, and tell them not to eat it. Look why the till sold it.";
    LifeEnded, "life_ended", Eaten, "Sold after its computed life had ended",
        "Look at the story of the tray. If the fish was not fit, find who bought it and tell them.";
    HeldSince, "held_since", Eaten, "Put on hold after it was sold: someone may have it",
        "It was not on hold when it was sold. Read the reason of the hold. If it is a recall or the fish may not be safe, find who bought it and tell them.";
    LabelOutdated, "label_outdated", Eaten, "Sold with a label that no longer counts",
        "The label promised more than was left, or said what is no longer so. Look at the tray; the customer may keep it too long.";
    BeforeItWasCut, "before_it_was_cut", None, "Sold before the tray was here, by the till's clock",
        "The till's clock is wrong, or it was another tray. Set the clock. What had run out when the till told of it is named beside this.";
    ExpiredSince, "expired_since", None, "Sold in time by the till's clock alone",
        "Its time was over when the till told of the sale. Look at the till's clock and the receipt. If the clock was wrong, find who bought it and tell them.";
    UnknownCode, "unknown_code", None, "Sold by a code that names no tray of ours",
        "Find out which tray it was. If a tray is missing on the shelf, that may be the one.";
    CodeContradicts, "code_contradicts", None, "The code says what is not so of this tray",
        "It may have been another tray. Look whether this one still lies there.";
    AlreadySold, "already_sold", None, "Sold twice",
        "One of the two sales was of another tray. Look which tray is missing on the shelf.";
    GoneOtherwise, "gone_otherwise", None, "Sold although it had left the stock another way",
        "It was another tray, or it was never thrown away, cooked or cut. Look which tray is missing.";
    WrongKind, "wrong_kind", None, "Sold although trays of this kind are not sold",
        "Look what was sold: a piece of it should have had a label of its own.";
    Frozen, "frozen", None, "Sold from the freezer, without a thawing on record",
        "The label does not say how long it is good for once thawed. Tell the counter to thaw and print first.";
    KeyReused, "key_reused", None, "The till used one key for two different sales",
        "Compare both sales. If it was one sale sent in two ways, count what they name. Tell whoever looks after the till.";
    WasReversed, "was_reversed", None, "Reversed at the counter, and the till sold it all the same",
        "It was sold once more, since the till says that the goods went. If they did not, they lie on the shelf unbooked: count the trays that the sale names.";
    WeightUnknown, "weight_unknown", None, "Sold by weight, but the till does not say how much",
        "Weigh what is left, or read the receipt.";
    Overdrawn, "overdrawn", None, "More was sold than it held",
        "Weigh what is left. If it was filled up without saying so, or weighed wrongly, book a count difference.";
    WeightDiffers, "weight_differs", None, "Sold at another weight than the books have",
        "Look at the label and the scales. The books took off the weight they had.";
    PriceDiffers, "price_differs", None, "Sold at another price than the books have",
        "The money is recorded as charged. A markdown that the till did not know yet is the usual reason.";
}

impl Contradiction {
    pub fn parse(text: &str) -> Option<Contradiction> {
        Self::ALL.iter().copied().find(|one| one.as_str() == text)
    }

    /// What a reason against a sale is called once the sale has happened.
    const fn of_stop(code: Code) -> Contradiction {
        match code {
            Code::AlreadySold => Contradiction::AlreadySold,
            Code::TrayGone => Contradiction::GoneOtherwise,
            Code::WrongKind => Contradiction::WrongKind,
            Code::OnHold => Contradiction::OnHold,
            Code::ExposureReached => Contradiction::ExposureReached,
            Code::PastUseBy => Contradiction::PastUseBy,
            Code::LifeEnded => Contradiction::LifeEnded,
            Code::WeightDiffers => Contradiction::WeightDiffers,
            Code::LabelSuperseded | Code::LabelOutdated => Contradiction::LabelOutdated,
            Code::ParasiteFreezingMissing => Contradiction::ParasiteFreezingMissing,
            Code::Frozen => Contradiction::Frozen,
            _ => Contradiction::CodeContradicts,
        }
    }
}

/// One thing that a line contradicts.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Finding {
    pub what: Contradiction,
    pub reason: String,
}

/// What a till says of one line.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Claim {
    pub grams: Option<Grams>,
    pub charged: Cents,
}

/// What becomes of a line.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Settlement {
    /// Leaves the tray to the customer.
    pub moved: Grams,
    /// Was sold and is not in the books; none when nobody knows how much.
    pub missing: Option<Grams>,
    /// The gravest first; empty for a plain sale.
    pub findings: Vec<Finding>,
}

/// A line whose code names no tray.
pub fn settle_unknown(claim: Claim, refusal: &Refusal) -> Settlement {
    let reason = refusal.findings.first().map_or_else(|| refusal.code.title().to_owned(), |first| first.reason.clone());
    let findings = vec![Finding { what: Contradiction::UnknownCode, reason }];
    Settlement { moved: Grams::ZERO, missing: claim.grams, findings }
}

/// A line whose code names a tray, with what it cost then, and what there is against its sale.
pub fn settle(claim: Claim, tray: &Tray, price: PricePerKg, mut findings: Vec<Finding>) -> Settlement {
    let mut find = |what, reason: String| findings.push(Finding { what, reason });
    let (moved, missing) = match (tray.in_stock(), tray.kind, claim.grams) {
        (false, Kind::Block, None) => (Grams::ZERO, Some(tray.initial)),
        (false, _, said) => (Grams::ZERO, said),
        (true, Kind::Block, said) => {
            if let Some(said) = said.filter(|said| *said != tray.net) {
                find(Contradiction::WeightDiffers, format!("the till says {said}, the books {}", tray.net));
            }
            (tray.net, Some(Grams::ZERO))
        }
        (true, _, None) => {
            find(Contradiction::WeightUnknown, "the till does not say how much was sold".into());
            (Grams::ZERO, None)
        }
        (true, _, Some(said)) => match said.minus(tray.net) {
            Some(rest) if !rest.is_zero() => {
                find(Contradiction::Overdrawn, format!("{said} were sold and it held {}", tray.net));
                (tray.net, Some(rest))
            }
            _ => (said, Some(Grams::ZERO)),
        },
    };
    if let Some((charged, booked)) = price_differs(claim, tray, price) {
        let reason = format!("{} minor units were charged, the books say {}", charged.get(), booked.get());
        find(Contradiction::PriceDiffers, reason);
    }
    findings.sort_by_key(|finding| finding.what);
    Settlement { moved, missing, findings }
}

/// The price charged and that of the books, where both are known and not the same.
fn price_differs(claim: Claim, tray: &Tray, price: PricePerKg) -> Option<(Cents, Cents)> {
    let weight = match tray.kind {
        Kind::Block => Some(tray.net),
        _ => claim.grams,
    };
    let booked = price.for_weight(weight.filter(|_| tray.in_stock())?);
    (booked != claim.charged).then_some((claim.charged, booked))
}

/// The reasons against a sale, each as of when it is judged.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Against {
    /// As of when the sale was received.
    pub now: Vec<Stop>,
    /// As of when it is taken to have happened.
    pub then: Vec<Stop>,
    /// Of the holds that were placed after it and are open.
    pub held_since: Vec<String>,
}

const TIME_OVER: [Code; 3] = [Code::PastUseBy, Code::LifeEnded, Code::ExposureReached];

fn time_over(stops: &[Stop]) -> Option<&Stop> {
    stops.iter().find(|stop| TIME_OVER.contains(&stop.code))
}

/// Whether a sale at `at` of a tray that is here since `began` is one that no clock of ours can have seen.
fn too_early(at: Instant, began: Instant) -> bool {
    began.since(at) > CLOCK_TOLERANCE
}

/// What there is against a sale that happened at `at`, of a tray that is here since `began`. What a tray is, and what its code says, is as
/// it is known today; whether it was held, or its time was over, is asked of then. Only the till's clock says when that was: where the
/// answer hangs on it, that is a finding too, and where the tray shows that it is wrong, the time of receiving counts as well.
pub fn findings(against: Against, at: Instant, began: Instant) -> Vec<Finding> {
    let Against { now, then, held_since } = against;
    let of_time =
        |stop: &Stop| TIME_OVER.contains(&stop.code) || matches!(stop.code, Code::OnHold | Code::LabelOutdated);
    let mut more = Vec::new();
    let mut stops: Vec<Stop> = then.into_iter().filter(of_time).collect();
    if too_early(at, began) {
        let reason = format!("by the till's clock it was sold at {at}, and it is here since {began}");
        more.push(Finding { what: Contradiction::BeforeItWasCut, reason });
        let said: Vec<Code> = stops.iter().map(|stop| stop.code).collect();
        let besides = |stop: &&Stop| of_time(stop) && stop.code != Code::OnHold && !said.contains(&stop.code);
        stops.extend(now.iter().filter(besides).cloned());
    } else if let Some(over) = time_over(&now).filter(|_| time_over(&stops).is_none()) {
        more.push(Finding { what: Contradiction::ExpiredSince, reason: over.reason.clone() });
    }
    more.extend(held_since.into_iter().map(|reason| Finding { what: Contradiction::HeldSince, reason }));
    stops.extend(now.into_iter().filter(|stop| !of_time(stop)));
    let of_stop = |stop: Stop| Finding { what: Contradiction::of_stop(stop.code), reason: stop.reason };
    stops.into_iter().map(of_stop).chain(more).collect()
}

/// What there is to say of a till's clock.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum TillClock {
    Plausible,
    /// Ahead of when the sale was received.
    Ahead,
    /// Older than any queue is kept.
    LongAgo,
    /// Earlier than the sale before it in the same queue.
    Backwards,
}

impl TillClock {
    pub const fn as_str(self) -> &'static str {
        match self {
            TillClock::Plausible => "plausible",
            TillClock::Ahead => "ahead",
            TillClock::LongAgo => "long_ago",
            TillClock::Backwards => "backwards",
        }
    }

    pub fn parse(text: &str) -> Option<TillClock> {
        let all = [TillClock::Plausible, TillClock::Ahead, TillClock::LongAgo, TillClock::Backwards];
        all.into_iter().find(|one| one.as_str() == text)
    }
}

/// Two clocks may differ by so much and both be called right.
const CLOCK_TOLERANCE: i64 = 2 * MICROS_PER_MINUTE;
/// How long a queue may have waited.
const QUEUE_LIMIT: i64 = 35 * 24 * MICROS_PER_HOUR;

/// When a sale is taken to have happened, out of the till's claim, when it was received, and when the sale before it in the queue happened.
/// The queue is the order; a clock that contradicts it, or the server, is noted and not followed.
pub fn happened(claimed: Instant, received: Instant, before: Option<Instant>) -> (Instant, TillClock) {
    if claimed.since(received) > CLOCK_TOLERANCE {
        (received, TillClock::Ahead)
    } else if received.since(claimed) > QUEUE_LIMIT {
        (received, TillClock::LongAgo)
    } else {
        let claimed = claimed.min(received);
        match before.filter(|before| *before > claimed) {
            Some(before) => (before.min(received), TillClock::Backwards),
            None => (claimed, TillClock::Plausible),
        }
    }
}

/// How a manager settles an exception.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Way {
    /// Nothing to correct.
    Noted,
    /// The sale was of another tray.
    WasOtherTray,
    /// What is missing is booked as a count difference.
    CountDifference,
    /// Whoever bought it was told, or looked for.
    Recalled,
}

impl Way {
    pub const ALL: [Way; 4] = [Way::Noted, Way::WasOtherTray, Way::CountDifference, Way::Recalled];

    pub const fn as_str(self) -> &'static str {
        match self {
            Way::Noted => "noted",
            Way::WasOtherTray => "was_other_tray",
            Way::CountDifference => "count_difference",
            Way::Recalled => "recalled",
        }
    }

    pub fn parse(text: &str) -> Option<Way> {
        Self::ALL.into_iter().find(|way| way.as_str() == text)
    }
}

#[cfg(test)]
mod tests;
