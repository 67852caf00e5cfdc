//! From what a scanner sent to the tray it names, and to every reason not to believe its code. Scan and sale go the same way, so that they
//! never disagree.

use super::failure::{Failure, refuse};
use super::judge::{cut_by_code, facts};
use crate::domain::claims::{self, Claims, Printed};
use crate::domain::gs1::own::Carried;
use crate::domain::refusal::{Code, Finding, Refusal};
use crate::domain::scan_text::{self, Scanned};
use crate::domain::shop::Shop;
use crate::domain::tray::{Kind, Tray};
use crate::domain::tray_code::TrayCode;
use crate::domain::verdict::{Facts, Stop, Verdict, judge};
use crate::store::catalogue::cut_with_item_number;
use crate::store::issued_labels::{self, IssuedLabel};
use crate::store::{Reading, lots, trays};
use crate::units::instant::{Instant, MICROS_PER_HOUR};

/// How many tray codes a refusal lists.
const LISTED: usize = 20;

/// A request that names a tray by a scan: the field it stands in, and what a code of ours is called that no tray has.
#[derive(Debug, Clone, Copy)]
pub struct Asked<'a> {
    pub field: &'a str,
    pub text: &'a str,
    pub absent: Code,
}

impl Asked<'_> {
    /// The refusal where no tray has the code.
    pub(super) fn absent(&self, code: &TrayCode) -> Refusal {
        Refusal::new(self.absent, self.field, format!("there is no tray {code}"))
    }
}

/// A tray that a request refers to in its body, by anything a scanner may send. For acts that do not sell: an old price on the label is
/// no matter, but the code must be one of this tray.
pub fn tray_by_scan(
    reading: &mut Reading<'_>,
    shop: &Shop,
    now: Instant,
    field: &str,
    text: &str,
) -> Result<Tray, Failure> {
    let (tray, claims) = named(reading, shop, now, Asked { field, text, absent: Code::UnknownReference })?;
    if claims != Claims::default() {
        let labels = issued_labels::of_tray(reading, tray.id)?;
        identity(reading, shop, &tray, &claims, &labels)?.map_err(|refusal| moved_to(field, refusal))?;
    }
    Ok(tray)
}

/// The tray of a scan as judged now: what stops its sale, and what its code says that is not so.
pub fn judged(
    reading: &mut Reading<'_>,
    shop: &Shop,
    now: Instant,
    asked: Asked<'_>,
) -> Result<(Facts, Verdict), Failure> {
    let (tray, claims) = named(reading, shop, now, asked)?;
    let mut doubts = Vec::new();
    if claims != Claims::default() {
        let labels = issued_labels::of_tray(reading, tray.id)?;
        let identity = identity(reading, shop, &tray, &claims, &labels)?;
        let labels: Vec<Printed> = labels.iter().map(|label| printed(shop, tray.kind, label)).collect();
        doubts = doubted(shop, now, &tray, &claims, identity, &labels);
    }
    let facts = facts(reading, shop, tray, now)?;
    let verdict = judge(&facts, now).with(doubts);
    Ok((facts, verdict))
}

/// Every reason not to believe a code: it is not one of this tray, or no label of it says this now.
pub(super) fn doubted(
    shop: &Shop,
    now: Instant,
    tray: &Tray,
    claims: &Claims,
    identity: Result<(), Refusal>,
    labels: &[Printed],
) -> Vec<Stop> {
    let mut doubts = Vec::new();
    if let Err(refusal) = identity {
        let stop = |finding: Finding| Stop { code: refusal.code, reason: finding.reason };
        doubts.extend(refusal.findings.into_iter().map(stop));
    }
    doubts.extend(claims::doubts(claims, tray, labels, shop.zone.day_of(now)));
    doubts
}

fn moved_to(field: &str, mut refusal: Refusal) -> Refusal {
    for finding in &mut refusal.findings {
        field.clone_into(&mut finding.field);
    }
    refusal
}

/// What a text says, before the stock is asked.
pub(super) fn read(shop: &Shop, asked: Asked<'_>) -> Result<Scanned, Refusal> {
    scan_text::read(asked.text, shop).map_err(|refusal| moved_to(asked.field, refusal))
}

/// The tray that a text names, and what the code claims of it.
fn named(reading: &mut Reading<'_>, shop: &Shop, now: Instant, asked: Asked<'_>) -> Result<(Tray, Claims), Failure> {
    match read(shop, asked)? {
        Scanned::Tray { code, claims } => match trays::find(reading, &code)? {
            Some(tray) => Ok((tray, claims)),
            None => Err(asked.absent(&code).into()),
        },
        Scanned::Linear { item_number, carried } => {
            Ok((by_linear_code(reading, shop, now, asked.field, (item_number, carried))?, Claims::carried(carried)))
        }
    }
}

/// The one block that has, or had, a label with this price or weight. Older labels count too: the code may be on one of those, and then it is
/// not that of another tray which is labelled so today. So do blocks that went today and yesterday: scanned twice, one must not stand for its
/// twin.
pub(super) fn by_linear_code(
    reading: &mut Reading<'_>,
    shop: &Shop,
    now: Instant,
    field: &str,
    (item_number, carried): (i64, Carried),
) -> Result<Tray, Failure> {
    let Some(cut) = cut_with_item_number(reading, item_number)? else {
        return refuse(Code::NoTrayFits, field, format!("there is no cut with the number {item_number}"));
    };
    let labels = issued_labels::of_blocks(reading, &cut, now.plus_micros(-48 * MICROS_PER_HOUR))?;
    let fits = |label: &&IssuedLabel| printed(shop, Kind::Block, label).carries(carried);
    let mut fitting: Vec<i64> = labels.iter().filter(fits).map(|label| label.tray_id).collect();
    fitting.dedup();
    match fitting.as_slice() {
        [] => refuse(Code::NoTrayFits, field, format!("no {cut} in stock has it on its label")),
        [one] => Ok(trays::by_id(reading, *one)?),
        several => {
            let mut codes = Vec::new();
            for id in several.iter().take(LISTED) {
                codes.push(trays::by_id(reading, *id)?.code.grouped());
            }
            let more =
                if several.len() > LISTED { format!(" and {} more", several.len() - LISTED) } else { String::new() };
            refuse(Code::SeveralTrays, field, format!("it may be {}{more}; scan the QR", codes.join(", ")))
        }
    }
}

fn printed(shop: &Shop, kind: Kind, label: &IssuedLabel) -> Printed {
    Printed::of(kind, label.use_by.map(|end| shop.zone.local(end)), label.net, label.price)
}

/// Whether the code's article and lot are the tray's.
fn identity(
    reading: &mut Reading<'_>,
    shop: &Shop,
    tray: &Tray,
    claims: &Claims,
    labels: &[IssuedLabel],
) -> Result<Result<(), Refusal>, Failure> {
    if claims.article.is_none() && claims.lot.is_none() {
        return Ok(Ok(()));
    }
    let cut = cut_by_code(reading, "tray_code", &tray.cut)?;
    let lots: Vec<String> = lots::of_tray(reading, tray.id)?.into_iter().map(|lot| lot.code).collect();
    let issued: Vec<String> = labels.iter().map(|label| label.article.clone()).collect();
    Ok(claims::check_identity(claims, &shop.codes, tray, (cut.item_number, &issued), &lots))
}
