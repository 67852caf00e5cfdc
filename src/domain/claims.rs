//! What a scanned code claims of its tray, weighed against the tray and the labels it was given. What a scan says is read by `scan_text`; whether
//! the tray may be sold otherwise is `verdict`'s.

use super::gs1::dates;
use super::gs1::own::{Carried, Codes};
use super::gs1::tray_link::to_the_minute;
use super::refusal::{Code, Refusal};
use super::tray::{Kind, Tray};
use super::verdict::Stop;
use crate::units::mass::Grams;
use crate::units::money::{Cents, PricePerKg};
use chrono::{Datelike, NaiveDate, NaiveDateTime, NaiveTime};

/// What a code says beside the tray's own code; a tray code that was typed says nothing more.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Claims {
    /// The article number in fourteen digits.
    pub article: Option<String>,
    pub lot: Option<String>,
    pub net_weight: Option<Grams>,
    pub price: Option<Cents>,
    /// Two digits each of year, month and day; which century they mean depends on the day of the reader.
    pub use_by: Option<String>,
    /// The same to the minute, in ten digits.
    pub use_by_time: Option<String>,
}

impl Claims {
    /// What a linear code says.
    pub fn carried(carried: Carried) -> Claims {
        match carried {
            Carried::Price(price) => Claims { price: Some(price), ..Claims::default() },
            Carried::Weight(weight) => Claims { net_weight: Some(weight), ..Claims::default() },
        }
    }

    fn says_what_was_printed(&self) -> bool {
        self.net_weight.is_some() || self.price.is_some() || self.use_by.is_some() || self.use_by_time.is_some()
    }
}

/// What a label that was issued says in its code.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Printed {
    pub use_by: Option<NaiveDate>,
    /// On a tub's label alone: nothing else in its code tells it from an older one of the same day.
    pub use_by_time: Option<NaiveTime>,
    /// A tub's label says neither: what is in it changes.
    pub weight_and_price: Option<(Grams, Cents)>,
}

impl Printed {
    pub fn of(kind: Kind, use_by: Option<NaiveDateTime>, net: Grams, price: PricePerKg) -> Printed {
        let tub = kind == Kind::Tub;
        Printed {
            use_by: use_by.map(|end| end.date()),
            use_by_time: use_by.filter(|_| tub).map(|end| end.time()),
            weight_and_price: (!tub).then(|| (net, price.for_weight(net))),
        }
    }

    fn ends_at(&self, claim: Option<&str>) -> bool {
        let said = self.use_by.zip(self.use_by_time).map(|(day, time)| to_the_minute(day, time));
        claim.is_none_or(|claim| said.as_deref() == Some(claim))
    }

    fn weighs(&self, claim: Option<Grams>) -> bool {
        claim.is_none_or(|claim| self.weight_and_price.is_some_and(|(weight, _)| weight == claim))
    }

    fn costs(&self, claim: Option<Cents>) -> bool {
        claim.is_none_or(|claim| self.weight_and_price.is_some_and(|(_, price)| price == claim))
    }

    fn ends(&self, claim: Option<&str>, today: NaiveDate) -> bool {
        claim.is_none_or(|claim| self.use_by.is_some() && self.use_by == dates::day(claim, today.year()).ok())
    }

    /// Whether the linear code beside this label's code carries this.
    pub fn carries(&self, carried: Carried) -> bool {
        match carried {
            Carried::Price(price) => self.costs(Some(price)),
            Carried::Weight(weight) => self.weighs(Some(weight)),
        }
    }

    /// Whether this label's code says what is claimed.
    pub fn says(&self, claims: &Claims, today: NaiveDate) -> bool {
        self.weighs(claims.net_weight)
            && self.costs(claims.price)
            && self.ends(claims.use_by.as_deref(), today)
            && self.ends_at(claims.use_by_time.as_deref())
    }
}

/// Refuses a code whose article or lot is not the tray's: whatever it is, it is no code of this tray. `lots` are those that lie or lay on it,
/// `issued` the article numbers on its labels: they stay true when the cut gets another number.
pub fn check_identity(
    claims: &Claims,
    codes: &Codes,
    tray: &Tray,
    (item_number, issued): (i64, &[String]),
    lots: &[String],
) -> Result<(), Refusal> {
    let contradicts = |reason: String| Err(Refusal::new(Code::CodeContradicts, "", reason));
    if let Some(article) =
        claims.article.as_ref().filter(|article| !codes.names(article, item_number) && !issued.contains(article))
    {
        return contradicts(format!("tray {} is not of the article {article}", tray.code));
    }
    // Scanners may be set to one case, and no two lots of ours differ in it alone.
    let is_on_it = |claim: &&String| lots.iter().any(|lot| lot.eq_ignore_ascii_case(claim));
    match claims.lot.as_ref().filter(|claim| !is_on_it(claim)) {
        Some(lot) => contradicts(format!("tray {} has nothing of the lot {lot}", tray.code)),
        None => Ok(()),
    }
}

/// Reasons not to believe a code, where the tray is in stock. `labels` are all that were issued for it, the latest last.
///
/// A markdown that is not on the label yet is no reason: the code says what its label says, and the till takes the lower price.
pub fn doubts(claims: &Claims, tray: &Tray, labels: &[Printed], today: NaiveDate) -> Vec<Stop> {
    let mut stops = Vec::new();
    if !tray.in_stock() || !claims.says_what_was_printed() {
        return stops;
    }
    let mut stop = |code, reason: String| stops.push(Stop { code, reason });
    let latest = labels.last().is_some_and(|label| label.says(claims, today));
    if latest {
        if let Some(claim) = claims.net_weight.filter(|claim| tray.kind == Kind::Block && *claim != tray.net) {
            stop(
                Code::WeightDiffers,
                format!("its code says {claim}, but it weighs {} now; print a new label", tray.net),
            );
        }
    } else if labels.iter().any(|label| label.says(claims, today)) {
        stop(Code::LabelSuperseded, "a newer label was issued for it; take the code on that".into());
    } else {
        unheard_of(claims, labels, today, &mut stop);
    }
    if let Some(day) =
        claims.use_by.as_ref().and_then(|digits| dates::day(digits, today.year()).ok()).filter(|day| *day < today)
    {
        stop(Code::PastUseBy, format!("the use-by in its code was {day}"));
    }
    stops
}

/// What in a code is on no label of the tray.
fn unheard_of(claims: &Claims, labels: &[Printed], today: NaiveDate, stop: &mut impl FnMut(Code, String)) {
    let none = |fits: &dyn Fn(&Printed) -> bool| !labels.iter().any(fits);
    let weight = claims.net_weight.filter(|_| none(&|label| label.weighs(claims.net_weight)));
    if let Some(weight) = weight {
        stop(Code::WeightDiffers, format!("its code says {weight}; no label of it ever did"));
    }
    let price = claims.price.filter(|_| none(&|label| label.costs(claims.price)));
    if let Some(price) = price {
        stop(
            Code::CodeContradicts,
            format!("its code says a price of {} minor units; no label of it ever did", price.get()),
        );
    }
    let day = claims.use_by.as_ref().filter(|day| none(&|label| label.ends(Some(day), today)));
    if let Some(day) = day {
        stop(
            Code::CodeContradicts,
            format!("its code says a use-by of {day} (year, month, day); no label of it ever did"),
        );
    }
    if weight.is_none() && price.is_none() && day.is_none() {
        stop(Code::CodeContradicts, "no label of it says all that is in its code".into());
    }
}
