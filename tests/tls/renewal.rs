//! A certificate of the shop's own is renewed before it ends; told by the clock, not by waiting.

use sakudana::cli::tls::authority::Authority;
use sakudana::cli::tls::files::validity;
use sakudana::cli::tls::keeper::{Keeper, Source};
use sakudana::units::instant::{Instant, MICROS_PER_HOUR, MICROS_PER_SECOND};

const DAY: i64 = 24 * MICROS_PER_HOUR;

#[test]
fn a_third_of_its_life_before_its_end_it_is_another() {
    let directory = tempfile::tempdir().unwrap();
    let begin: Instant = Instant::from_micros(1_790_000_000_000_000).unwrap();
    let names = vec!["shop.local".to_owned(), "192.168.1.7".to_owned()];
    let file = directory.path().join("authority.pem");
    let authority = Authority::open(&file, &names, begin).unwrap();
    let first_print = authority.fingerprint();
    let keeper = Keeper::new(Source::Authority(Box::new(authority), names.clone()), begin).unwrap();
    let shown = |keeper: &Keeper| keeper.shown().cert[0].clone();
    let first = shown(&keeper);
    let ends = |days: i64| {
        validity(&shown(&keeper)).unwrap().1 - begin.micros() / MICROS_PER_SECOND - days * DAY / MICROS_PER_SECOND
    };
    assert_eq!(ends(90), 0);
    keeper.refresh(begin.plus_micros(60 * DAY));
    assert_eq!(shown(&keeper), first, "thirty days are left");
    keeper.refresh(begin.plus_micros(61 * DAY));
    assert_ne!(shown(&keeper), first);
    assert_eq!(ends(61 + 90), 0);

    // Nine years on it is the same authority; when that has ended, nothing is vouched for any more.
    let late = begin.plus_micros(3_600 * DAY);
    let again = Authority::open(&file, &names, late).unwrap();
    assert_eq!(again.fingerprint(), first_print);
    assert!(again.issue(&names, late).is_ok());
    assert!(again.issue(&names, begin.plus_micros(3_654 * DAY)).is_err());
    // Near that end its certificates end with it, and are not made anew each minute.
    let last = begin.plus_micros(3_640 * DAY);
    let keeper = Keeper::new(Source::Authority(Box::new(again), names.clone()), last).unwrap();
    let (found, ends) = (shown(&keeper), validity(&shown(&keeper)).unwrap().1);
    assert_eq!(ends, (begin.micros() + 3_653 * DAY) / MICROS_PER_SECOND);
    keeper.refresh(last.plus_micros(5 * DAY));
    assert_eq!(shown(&keeper), found);
    let second = directory.path().join("another.pem");
    assert_ne!(Authority::open(&second, &names, begin).unwrap().fingerprint(), first_print, "each shop has its own");
}
