//! What must hold for every life, on random temperatures.

use crate::ground::{DAY, GRAIN, HOUR, Kept, at, block, day, kept, kept_warm, mc, us};
use proptest::prelude::{Just, Strategy, any, prop_assert, prop_assert_eq, prop_oneof, proptest};
use sakudana::domain::life::clocks::{Clock, Life, Standing, Subject, reckon};
use sakudana::domain::life::curve::Because;
use sakudana::domain::life::date_mark::Calendar;
use sakudana::domain::place::StorageMethod;
use sakudana::units::zone::Zone;

/// A place of any method with readings over ten days.
fn places() -> impl Strategy<Value = Kept> {
    let method = prop_oneof![
        Just((StorageMethod::Chill, 2_000, -1_000..12_000_i64)),
        Just((StorageMethod::Superchill, -500, -4_000..2_000)),
        Just((StorageMethod::Ambient, 20_000, 0..30_000)),
        Just((StorageMethod::Frozen, -18_000, -60_000..0)),
    ];
    method.prop_flat_map(|(method, limit, range)| {
        proptest::collection::vec((0..10 * DAY, range), 0..40).prop_map(move |rows| kept(&us(), method, limit, &rows))
    })
}

fn fishes() -> impl Strategy<Value = Subject> {
    let spans = [0..5 * DAY, 0..5 * DAY, 0..20 * DAY, 0..9 * HOUR, 0..2_i64];
    (spans, any::<bool>(), any::<bool>(), proptest::option::of(-2 * DAY..8 * DAY)).prop_map(
        |([raw, colour, frozen, exposed, hot], before, thawed, supplier)| {
            let mut fish = block(&us());
            (fish.wear.raw_micros, fish.wear.colour_micros, fish.wear.frozen_micros) = (raw, colour, frozen);
            (fish.wear.exposed_micros, fish.wear.hot_micros) = (exposed, hot.min(exposed));
            (fish.wholly_frozen_before, fish.was_thawed) = (before && thawed, thawed);
            fish.supplier_until = supplier.map(at);
            (fish.date_day_one, fish.days_before_freezing) = (Some(day("2026-11-24")), Some(1));
            fish
        },
    )
}

fn seen(fish: &Subject, place: &Kept, after: i64) -> Life {
    reckon(fish, (&place.curve, place.method), &us(), Zone::UTC, at(after))
}

/// A door that stands open for a moment is not projected: after the reading the place counts at what it was last, but what is foretold counts
/// at its upper limit, until it was above it for too long. Silence then shortens what was foretold, and never lengthens it.
#[test]
fn a_passing_warm_spell_is_not_foretold() {
    let rules = us();
    let door = [(0, 1_000), (DAY - HOUR / 4, 6_000), (DAY, 6_000)];
    let place = kept_warm(&rules, StorageMethod::Chill, (2_000, HOUR / 2), &door);
    let (now, later) = (seen(&block(&rules), &place, DAY), seen(&block(&rules), &place, DAY + HOUR));
    assert_eq!((now.projection.temperature.get(), now.projection.because), (2_000, Because::UpperLimit));
    let left = block(&rules).budgets.raw_micros - now.wear.raw_micros;
    let at_the_limit = now.at.plus_micros(left * 100 / 144);
    let foretold = now.clocks.of(Clock::Raw).and_then(|answer| answer.ends_at).unwrap();
    assert!(at_the_limit.since(foretold).abs() <= GRAIN, "1.44 at 2 °C: {foretold} {at_the_limit}");
    assert_eq!(now.clocks.of(Clock::Exposure).and_then(|answer| answer.ends_at), None);
    // An hour without a reading counted at 6 °C, 2.56 of an hour in ice.
    assert_eq!(later.wear.raw_micros - now.wear.raw_micros, HOUR * 256 / 100);
    assert!(later.ends_at < now.ends_at);
    let long = kept_warm(&rules, StorageMethod::Chill, (2_000, HOUR / 4), &door);
    assert_eq!(seen(&block(&rules), &long, DAY).projection.because, Because::LastReadingWarmer);
}

/// What a label may promise: kept from now on in an unmeasured case as warm as the label allows, or as warm as here if that is warmer.
#[test]
fn a_promise_is_kept_at_what_the_label_says() {
    let rules = us();
    let calendar = Calendar::new(Zone::UTC);
    let cold = kept(&rules, StorageMethod::Superchill, -1_500, &[(0, -1_500), (DAY, -1_500)]);
    let warm = kept(&rules, StorageMethod::Ambient, 10_000, &[(0, 10_000), (DAY, 10_000)]);
    for (place, rate) in [(cold, 144), (warm, 400)] {
        let standing = || Standing::new(&rules, &calendar, (&place.curve, place.method), at(DAY));
        let (here, promised) =
            (standing().life(&block(&rules)), standing().then_kept_at(mc(2_000)).life(&block(&rules)));
        assert_eq!((here.wear, promised.projection.because), (promised.wear, Because::StorageOnLabel));
        let end = promised.clocks.of(Clock::Raw).and_then(|answer| answer.ends_at).unwrap();
        let left = (block(&rules).budgets.raw_micros - here.wear.raw_micros).max(0);
        if left > 0 {
            assert!(end.since(at(DAY + left * 100 / rate)).abs() <= GRAIN, "{end}");
        }
        assert!(promised.ends_at <= here.ends_at);
    }
}

proptest! {
    /// Without new readings the answer stays: each clock ends at the same instant whenever it is asked after its last reading, but for the
    /// grain of rounding; and it has ended exactly when its end has passed.
    #[test]
    fn an_end_stays_where_it_was_foretold(place in places(), fish in fishes(), ask in 10 * DAY..11 * DAY, later in 0..20 * DAY) {
        let (first, second) = (seen(&fish, &place, ask), seen(&fish, &place, ask + later));
        for clock in Clock::ALL {
            let (Some(one), Some(two)) = (first.clocks.of(clock), second.clocks.of(clock)) else { continue };
            match (one.ends_at, two.ends_at) {
                (Some(one), Some(two)) => prop_assert!(one.since(two).abs() <= GRAIN, "{clock:?}: {one} {two}"),
                (one, two) => prop_assert_eq!(one, two, "{:?}", clock),
            }
            prop_assert!(two.used_permille >= one.used_permille);
        }
    }

    /// A life that has ended stays ended: later readings of the same place do not bring it back.
    #[test]
    fn nothing_comes_back_to_life(place in places(), fish in fishes(), ask in 0..11 * DAY, later in 1..20 * DAY) {
        let (first, second) = (seen(&fish, &place, ask), seen(&fish, &place, ask + later));
        if let Some(end) = first.ends_at.filter(|end| *end < first.at) {
            prop_assert!(second.ends_at.is_some_and(|again| again.since(end).abs() <= GRAIN), "{:?}", second.ends_at);
        }
    }

    /// At its end a tray is within every limit, and a moment later it is not.
    #[test]
    fn the_end_is_the_last_moment_within(place in places(), fish in fishes(), ask in 10 * DAY..11 * DAY) {
        let life = seen(&fish, &place, ask);
        let Some(end) = life.ends_at.filter(|end| *end >= fish.as_of) else { return Ok(()) };
        let at_the_end = seen(&fish, &place, end.since(at(0)));
        prop_assert!(at_the_end.ends_at.is_none_or(|again| again >= end.plus_micros(-GRAIN)));
        let after = seen(&fish, &place, end.since(at(0)) + GRAIN + 1);
        prop_assert!(after.ends_at.is_some_and(|again| again < after.at), "{:?} at {}", after.ends_at, after.at);
        prop_assert_eq!(life.limiting.and_then(|clock| life.clocks.of(clock)).and_then(|answer| answer.ends_at), life.ends_at);
    }

    /// More wear never lengthens a life, and neither does losing the claim to have been frozen before.
    #[test]
    fn a_worse_past_never_lengthens(place in places(), fish in fishes(), more in [0..DAY, 0..DAY, 0..DAY, 0..HOUR, 0..2_i64], ask in 0..11 * DAY) {
        let mut worse = fish;
        worse.wear.raw_micros += more[0];
        worse.wear.colour_micros += more[1];
        worse.wear.frozen_micros += more[2];
        worse.wear.exposed_micros += more[3];
        worse.wear.hot_micros += more[4];
        (worse.wholly_frozen_before, worse.was_thawed) = (false, true);
        let (good, bad) = (seen(&fish, &place, ask), seen(&worse, &place, ask));
        let never = at(100_000 * DAY);
        prop_assert!(bad.ends_at.unwrap_or(never) <= good.ends_at.unwrap_or(never));
    }

    /// Reckoning place by place gives the same lives as reckoning each tray alone, on whatever day; and a clock of the shop that was set
    /// back shows nothing earlier than the stay began.
    #[test]
    fn many_at_once_is_each_alone(place in places(), fishes in proptest::collection::vec(fishes(), 1..6), ask in -2 * DAY..11 * DAY) {
        let (rules, calendar) = (us(), Calendar::new(Zone::UTC));
        let standing = Standing::new(&rules, &calendar, (&place.curve, place.method), at(ask));
        for fish in &fishes {
            let life = standing.life(fish);
            prop_assert_eq!(&life, &seen(fish, &place, ask));
            prop_assert!(life.at >= fish.as_of);
        }
    }
}
