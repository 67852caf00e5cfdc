//! What the shop's rules refuse: stable codes, each with the fields it concerns and the reason. How a refusal looks in
//! HTTP is decided once, in `web::problem`.

use std::fmt;

/// One field and why it was refused. The field is a path in the words of the request (`lines/0/weight_g`); empty when the
/// refusal concerns the act as a whole.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Finding {
    pub field: String,
    pub reason: String,
}

/// A refused act: nothing of it was done.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Refusal {
    pub code: Code,
    pub findings: Vec<Finding>,
}

impl Refusal {
    pub fn new(code: Code, field: impl Into<String>, reason: impl Into<String>) -> Refusal {
        Refusal { code, findings: vec![Finding { field: field.into(), reason: reason.into() }] }
    }

    /// The same refusal seen from outside: every field moved under `prefix` (`lines/0`).
    pub fn under(mut self, prefix: &str) -> Refusal {
        for finding in &mut self.findings {
            let joined =
                if finding.field.is_empty() { prefix.to_owned() } else { format!("{prefix}/{}", finding.field) };
            finding.field = joined;
        }
        self
    }

    /// Joins refusals of several lines into one: the code is that of the most general kind by the order of `Code`, which
    /// is the documented precedence, and every finding is kept.
    pub fn join(refusals: Vec<Refusal>) -> Option<Refusal> {
        let code = refusals.iter().map(|r| r.code).min()?;
        Some(Refusal { code, findings: refusals.into_iter().flat_map(|r| r.findings).collect() })
    }
}

impl fmt::Display for Refusal {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{}", self.code.as_str())?;
        for finding in &self.findings {
            write!(f, "; {}: {}", finding.field, finding.reason)?;
        }
        Ok(())
    }
}

impl std::error::Error for Refusal {}

impl From<Refusal> for Vec<Refusal> {
    fn from(refusal: Refusal) -> Vec<Refusal> {
        vec![refusal]
    }
}

/// What kind of no a code is; the web turns each into one status.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Class {
    /// The request itself is wrong and will be wrong tomorrow.
    Invalid,
    /// The thing named by the address does not exist.
    Absent,
    /// The request is fine, the state of the shop is not.
    Conflict,
    /// The thing changed since it was read.
    Stale,
    /// Nobody has shown who they are.
    Unauthenticated,
    /// Too often; later it may do.
    TooOften,
}

macro_rules! codes {
    ($($name:ident, $text:literal, $class:ident, $title:literal;)*) => {
        /// Every refusal code of the shop's rules. Earlier ones take precedence when a tray, or the lines of a sale, earn several.
        #[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
        pub enum Code { $($name,)* }

        impl Code {
            pub const ALL: &'static [Code] = &[$(Code::$name,)*];

            /// The stable code, as clients see it.
            pub const fn as_str(self) -> &'static str {
                match self { $(Code::$name => $text,)* }
            }

            pub const fn class(self) -> Class {
                match self { $(Code::$name => Class::$class,)* }
            }

            /// One sentence that is the same for every occurrence.
            pub const fn title(self) -> &'static str {
                match self { $(Code::$name => $title,)* }
            }
        }
    };
}

codes! {
    WrongCredentials, "wrong_credentials", Unauthenticated, "Name or password is wrong.";
    TooManyAttempts, "too_many_attempts", TooOften, "Too many attempts; wait and try again.";
    NotFound, "not_found", Absent, "There is nothing at this address.";
    InvalidValue, "invalid_value", Invalid, "A value is missing, malformed or out of range.";
    UnreadableFile, "unreadable_file", Invalid, "Nothing in the file can be understood.";
    NotACode, "not_a_code", Invalid, "The text is none of the codes this shop reads.";
    WrongCheckCharacter, "wrong_check_character", Invalid, "The code's check character does not fit: a character is wrong or swapped.";
    WrongCheckDigit, "wrong_check_digit", Invalid, "The code's check digit does not fit: it was misread or mistyped.";
    OtherShop, "other_shop", Invalid, "The code belongs to another shop.";
    UnknownReference, "unknown_reference", Invalid, "A thing the request refers to does not exist.";
    AddressRefused, "address_refused", Invalid, "The address is none that this shop sends to.";
    ReasonRequired, "reason_required", Invalid, "This act needs a reason.";
    TimeInFuture, "time_in_future", Invalid, "The time lies in the future.";
    TimeTooEarly, "time_too_early", Invalid, "The time lies before the thing it happened to existed.";
    MassExceedsInput, "mass_exceeds_input", Invalid, "More comes out than went in, beyond what the scales allow.";
    LossUnexplained, "loss_unexplained", Invalid, "The missing weight is more than scales and drip explain; name it or give a reason.";
    PickTooLarge, "pick_too_large", Invalid, "So many trays for so great a weight are not put together at once; ask in parts.";
    DuplicateLine, "duplicate_line", Invalid, "The same tray stands on two lines.";
    KeyReused, "key_reused", Invalid, "The idempotency key was used before with other content.";
    VersionMismatch, "version_mismatch", Stale, "The thing changed since it was read.";
    AlreadyExists, "already_exists", Conflict, "A thing with this code exists already.";
    NoTrayFits, "no_tray_fits", Conflict, "No tray in stock has this cut and this price or weight on its label.";
    SeveralTrays, "several_trays", Conflict, "Several trays have this price or weight on their labels; scan the QR.";
    CodeContradicts, "code_contradicts", Conflict, "The code says what is not so of this tray: it may be another one.";
    AlreadySold, "already_sold", Conflict, "The tray was sold already.";
    TrayGone, "tray_gone", Conflict, "The tray is no longer in stock.";
    WrongKind, "wrong_kind", Conflict, "This act is not for this kind of tray.";
    OnHold, "on_hold", Conflict, "The tray, or the batch or lot it comes from, is on hold.";
    ExposureReached, "exposure_reached", Conflict, "The time above the cold limit is used up; it never resets.";
    PastUseBy, "past_use_by", Conflict, "The printed use-by has passed.";
    LifeEnded, "life_ended", Conflict, "The computed life has ended.";
    WeightDiffers, "weight_differs", Conflict, "The weight in the code is not the weight of the tray.";
    LabelSuperseded, "label_superseded", Conflict, "A newer label was issued for the tray; the old one no longer counts.";
    LabelOutdated, "label_outdated", Conflict, "The label promises more life than is left; print a new one.";
    FreezingTooShort, "freezing_too_short", Conflict, "The freezing on record was not cold enough, or not long enough.";
    ParasiteFreezingMissing, "parasite_freezing_missing", Conflict, "This species needs a record of parasite freezing before it is sold for raw eating.";
    Frozen, "frozen", Conflict, "The tray is frozen; thaw it first.";
    NotFrozen, "not_frozen", Conflict, "The tray is not frozen.";
    Refreeze, "refreeze", Conflict, "Fish that was thawed is not frozen again for raw eating.";
    UseFreezeOrThaw, "use_freeze_or_thaw", Conflict, "Moving into or out of frozen storage is a freeze or a thaw, not a move.";
    AlreadyThere, "already_there", Conflict, "The tray is in that place already.";
    InsufficientStock, "insufficient_stock", Conflict, "The tray holds less than that.";
    PriceDiffers, "price_differs", Conflict, "The till charged another price than the tray costs.";
    NotTheSame, "not_the_same", Conflict, "Only the same cut of the same species can be put together.";
    PlaceInUse, "place_in_use", Conflict, "The place still holds trays.";
    NoCasePlan, "no_case_plan", Conflict, "The place has no plan to be filled to.";
    PickListOver, "pick_list_over", Conflict, "The pick list is done, or was given up.";
    NothingToPick, "nothing_to_pick", Conflict, "Nothing is missing, or there is nothing to take.";
    WindowUnreachable, "window_unreachable", Conflict, "No selection of trays comes within the weight asked for.";
    ReservedForAnother, "reserved_for_another", Conflict, "The tray is reserved for another pick list.";
    NotASubstitute, "not_a_substitute", Conflict, "The tray cannot stand in for one on the list.";
    PriceWouldRise, "price_would_rise", Conflict, "A markdown lowers a price; it never raises it.";
    NotACandidate, "not_a_candidate", Conflict, "Nothing is advised for it now.";
    AdviceChanged, "advice_changed", Conflict, "What the advice rests on has changed; look again.";
    AlreadyDecided, "already_decided", Conflict, "Someone decided this already.";
    AlreadyUndone, "already_undone", Conflict, "The decision was taken back already.";
    ActedUpon, "acted_upon", Conflict, "The decision was acted upon; it can no longer be taken back.";
    NoErrand, "no_errand", Conflict, "Nothing is to be carried with this tray.";
    NotReleased, "not_on_hold", Conflict, "The hold was released already.";
    AlreadyAcknowledged, "already_acknowledged", Conflict, "Someone took note of the alarm already.";
    AlreadyReversed, "already_reversed", Conflict, "The sale was reversed already.";
    NotReversible, "not_reversible", Conflict, "The sale has exceptions or returns; it is settled there.";
    ReturnExceedsSale, "return_exceeds_sale", Conflict, "More would come back than was sold.";
    AlreadyResolved, "already_resolved", Conflict, "The exception was settled already.";
    WayDoesNotFit, "way_does_not_fit", Conflict, "The exception cannot be settled in this way.";
    WindowPassed, "window_passed", Conflict, "The time for undoing this has passed.";
    LastManager, "last_manager", Conflict, "The shop needs at least one manager who can sign in.";
    KeyRevoked, "key_revoked", Conflict, "The key was revoked; create another.";
    TwoSecretsLive, "two_secrets_live", Conflict, "Two secrets of the key are in use; a third would end one of them.";
    WebhookLimit, "webhook_limit", Conflict, "The shop has as many webhooks as it can serve.";
    WebhookKeyUnusable, "webhook_key_unusable", Conflict, "The key that seals the secrets of webhooks cannot be used.";
    PrintOver, "print_over", Conflict, "The print is over, or is being called back already.";
    NotInDoubt, "not_in_doubt", Conflict, "What became of the print is known.";
    LabelRefused, "label_refused", Conflict, "The label cannot be printed as the rules require.";
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_are_distinct_and_snake_case() {
        let mut seen = std::collections::BTreeSet::new();
        for code in Code::ALL {
            assert!(seen.insert(code.as_str()), "{} stands twice", code.as_str());
            assert!(code.as_str().bytes().all(|b| b.is_ascii_lowercase() || b == b'_'));
            assert!(code.title().ends_with('.'));
        }
    }

    #[test]
    fn joining_keeps_every_finding_and_the_first_code() {
        let joined = Refusal::join(vec![
            Refusal::new(Code::OnHold, "", "held").under("lines/1"),
            Refusal::new(Code::AlreadySold, "tray_code", "sold").under("lines/0"),
        ]);
        assert_eq!(joined.as_ref().map(|r| r.code), Some(Code::AlreadySold));
        assert_eq!(
            joined.map(|r| r.findings.into_iter().map(|f| f.field).collect::<Vec<_>>()),
            Some(vec!["lines/1".into(), "lines/0/tray_code".into()])
        );
    }
}
