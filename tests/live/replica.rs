//! What a till keeps: the offers it was told of, by tray. Built from a snapshot, from changes, or from both.

use sakudana::domain::verdict::Outcome;
use sakudana::ops::changes::{ChangeRow, FeedPosition};
use sakudana::ops::desk::Desk;
use sakudana::ops::live_stock::{CutSum, Wanted, open};
use sakudana::units::instant::Instant;
use serde_json::Value;
use std::collections::BTreeMap;
use std::ops::ControlFlow;

/// Offers as text, by tray code.
pub type Replica = BTreeMap<String, String>;

/// A snapshot as it was taken.
#[derive(Debug, Clone)]
pub struct Snapshot {
    pub position: FeedPosition,
    pub replica: Replica,
    pub cuts: Vec<CutSum>,
    /// The trays in the order they came.
    pub order: Vec<String>,
}

pub fn apply(replica: &mut Replica, change: &ChangeRow) {
    match (&change.tray_code, &change.offer) {
        (Some(tray), Some(offer)) => drop(replica.insert(tray.clone(), offer.clone())),
        (Some(tray), None) => drop(replica.remove(tray)),
        (None, offer) => assert_eq!(*offer, None, "an offer of no tray"),
    }
}

/// Everything up to a position.
pub fn at(changes: &[ChangeRow], position: FeedPosition) -> Replica {
    let mut replica = Replica::new();
    changes.iter().take_while(|change| change.position <= position).for_each(|change| apply(&mut replica, change));
    replica
}

pub fn snapshot(desk: &Desk, now: Instant, wanted: &Wanted) -> Snapshot {
    let mut text = String::new();
    let (position, cuts) = desk
        .look_at_length(|reading, shop| {
            let stock = open(reading, shop, now, wanted.clone())?;
            let cuts = stock.pour(reading, &mut |piece| {
                text.push_str(piece);
                ControlFlow::Continue(())
            })?;
            Ok((stock.position, cuts.expect("nobody had enough")))
        })
        .unwrap();
    let named = |offer: &str| {
        let value: Value = serde_json::from_str(offer).unwrap_or_else(|error| panic!("{error}: {offer}"));
        (value["tray_code"].as_str().unwrap().to_owned(), offer.to_owned())
    };
    // An offer is one line.
    let offers: Vec<(String, String)> = text.split(",\n").filter(|offer| !offer.is_empty()).map(named).collect();
    let order = offers.iter().map(|(tray, _)| tray.clone()).collect();
    Snapshot { position, order, replica: offers.into_iter().collect(), cuts }
}

/// What the offers of a replica come to, cut by cut.
pub fn sums(replica: &Replica) -> BTreeMap<String, (i64, i64)> {
    let mut sums = BTreeMap::<String, (i64, i64)>::new();
    for offer in replica.values() {
        let value: Value = serde_json::from_str(offer).unwrap();
        let stopped = value["verdict"] == Outcome::Stop.as_str();
        let sum = sums.entry(value["cut_code"].as_str().unwrap().to_owned()).or_default();
        sum.0 += 1;
        sum.1 += if stopped { 0 } else { value["net_weight_g"].as_i64().unwrap() };
    }
    sums
}

/// The part of a replica that a filter asks for.
pub fn part(replica: &Replica, wanted: &Wanted) -> Replica {
    let fits = |offer: &str| {
        let value: Value = serde_json::from_str(offer).unwrap();
        wanted.cut.as_ref().is_none_or(|cut| value["cut_code"] == **cut)
            && wanted.place.as_ref().is_none_or(|place| value["place_code"] == **place)
            && wanted.verdict.is_none_or(|verdict| value["verdict"] == verdict.as_str())
    };
    replica.iter().filter(|(_, offer)| fits(offer)).map(|(tray, offer)| (tray.clone(), offer.clone())).collect()
}
