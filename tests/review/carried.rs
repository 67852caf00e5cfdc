//! Errands and the acts beside them: what the kitchen took by hand, what was frozen, sold or dropped; what is asked again because of it; and
//! what orders have laid aside.

use crate::ground::{Which, actor, on_both};
use crate::setting::{Day, accept, at, carried, changed, code, declined};
use sakudana::ops::review::Course;
use sakudana::ops::review::decide::Draft;

on_both!(
    what_the_kitchen_took_by_hand_counts,
    what_was_frozen_or_sold_does_not_come_back,
    all_of_a_tub_is_what_lay_in_it,
    an_errand_is_dropped,
    of_yesterday_a_tray_is_decided_anew,
    a_scan_at_the_freezer_is_nothing_for_the_kitchen,
    a_part_for_the_kitchen_is_kept_and_known_again,
    what_is_promised_is_no_part_of_the_next_decision,
    a_sold_tray_is_taken_back_too,
    what_was_promised_is_in_no_order,
    what_an_order_laid_aside_is_left_alone,
);

/// A day with a tub of which so much is to go to the kitchen.
fn with_part(which: Which, grams: Option<i64>) -> (Day, String) {
    let day = Day::open(which);
    let tub = day.ground.trays("scrape", 1, 900)[0].clone();
    let mut part = changed(&day.proposal("scrape", at(1)), None);
    part.kitchen = vec![carried(&tub, grams)];
    day.decide(at(1), vec![part]).unwrap();
    (day, tub)
}

fn kitchen(tub: &str, grams: i64) -> (String, String, i64) {
    (tub.to_owned(), "kitchen".to_owned(), grams)
}

fn what_the_kitchen_took_by_hand_counts(which: Which) {
    let (day, tub) = with_part(which, Some(450));
    day.to_kitchen(&tub, Some(200), at(1));
    assert_eq!(day.errands(at(1)), [kitchen(&tub, 250)], "what is left of it");
    day.to_kitchen(&tub, Some(250), at(1));
    assert!(day.errands(at(1)).is_empty());
    assert_eq!(day.complete_refused(&tub, None, at(1)), "no_errand");
    assert_eq!(day.tray(&tub).net.get(), 450, "not a second time");
    let blocks = day.ground.trays("saku", 6, 300);
    let mut whole = changed(&day.proposal("saku", at(1)), None);
    whole.kitchen = vec![carried(&blocks[0], None)];
    day.decide(at(1), vec![whole]).unwrap();
    day.to_kitchen(&blocks[0], None, at(1));
    assert!(day.errands(at(1)).is_empty());
    day.holds_together();
}

fn what_was_frozen_or_sold_does_not_come_back(which: Which) {
    let day = Day::of(which, |shop| shop.terms.freezer_permille = 950);
    let trays = day.ground.trays("saku", 6, 300);
    let mut both = changed(&day.proposal("saku", at(1)), None);
    (both.freeze, both.kitchen) = (vec![trays[1].clone()], vec![carried(&trays[2], None), carried(&trays[3], None)]);
    day.decide(at(1), vec![both]).unwrap();
    day.take_to(&trays[1], "freezer", at(1));
    day.take_to(&trays[2], "freezer", at(1));
    day.reverse(day.sell(&trays[3], at(1)), at(1));
    for frozen in [&trays[1], &trays[2]] {
        day.thaw(frozen, at(2));
    }
    assert!(day.errands(at(2)).is_empty(), "{:?}", day.errands(at(2)));
    day.holds_together();
}

fn all_of_a_tub_is_what_lay_in_it(which: Which) {
    let (day, tub) = with_part(which, None);
    let other = day.ground.trays("scrape", 1, 500)[0].clone();
    day.pour(&tub, &other, 300, at(1));
    assert_eq!(day.errands(at(1)), [kitchen(&tub, 900)]);
    let (_, tray) = day.complete(&tub, None, at(1));
    assert_eq!(tray.net.get(), 300, "what was poured in later stays");
    assert!(day.errands(at(1)).is_empty());
    day.holds_together();
}

fn an_errand_is_dropped(which: Which) {
    let (day, tub) = with_part(which, Some(450));
    let id = day.open_errands(at(2))[0].0;
    assert!(day.find("scrape", at(2)).is_none_or(|p| p.trays[0].on.free_g == 450));
    day.drop_errand(id, at(2)).unwrap();
    assert!(day.errands(at(2)).is_empty());
    assert_eq!(code(&day.drop_errand(id, at(2)).unwrap_err()), "no_errand");
    assert_eq!(code(&day.drop_errand(99, at(2)).unwrap_err()), "not_found");
    assert_eq!(day.complete_refused(&tub, None, at(2)), "no_errand");
    day.holds_together();
}

fn of_yesterday_a_tray_is_decided_anew(which: Which) {
    let day = Day::open(which);
    let trays = day.ground.trays("saku", 6, 300);
    let mut whole = changed(&day.proposal("saku", at(1)), None);
    whole.kitchen = vec![carried(&trays[0], None)];
    day.decide(at(1), vec![whole]).unwrap();
    let asked = |hours| day.proposal("saku", at(hours)).trays.iter().any(|a| a.on.tray.code.to_string() == trays[0]);
    assert_eq!(day.open_errands(at(20)).iter().map(|e| e.1).collect::<Vec<_>>(), [true], "of yesterday, and told so");
    assert!(asked(24), "the review speaks of it again");
    let taken = day.decide(at(24), vec![declined(&day.proposal("saku", at(24)))]).unwrap();
    assert!(day.errands(at(24)).is_empty());
    day.undo(taken[0].decision.id, at(24)).unwrap();
    assert_eq!(day.errands(at(24)).len(), 1, "a mistouch drops nothing");
    day.holds_together();
}

fn a_scan_at_the_freezer_is_nothing_for_the_kitchen(which: Which) {
    let (day, tub) = with_part(which, Some(450));
    assert_eq!(day.complete_refused(&tub, Some("freezer"), at(1)), "no_errand");
    assert_eq!(day.tray(&tub).net.get(), 900);
    day.ground.trays("scrape", 1, 900);
    let mut freeze = changed(&day.proposal("scrape", at(1)), None);
    freeze.freeze = vec![tub.clone()];
    let refused = day.refused(at(1), vec![freeze]);
    assert_eq!(refused, ("not_a_candidate", "decisions/0/freeze_tray_codes".to_owned()));
    // Of two for the kitchen the one that is named is done.
    let mut more = changed(&day.proposal("scrape", at(1)), None);
    more.kitchen = vec![carried(&tub, Some(100))];
    day.decide(at(1), vec![more]).unwrap();
    let second = day.open_errands(at(1))[1].0;
    assert_eq!(day.complete_named_refused(&tub, Some("freezer"), second, at(1)), "invalid_value");
    assert_eq!(day.complete_named_refused(&tub, None, second + 9, at(1)), "no_errand");
    assert_eq!(day.complete_named(&tub, second, at(1)).net.get(), 800);
    assert_eq!(day.errands(at(1)), [kitchen(&tub, 450)]);
    day.holds_together();
}

fn a_part_for_the_kitchen_is_kept_and_known_again(which: Which) {
    let day = Day::of(which, |shop| {
        shop.terms.kitchen_permille = 900;
        shop.terms.kitchen_g_per_day = 700;
    });
    let tub = day.ground.trays("scrape", 1, 2_000)[0].clone();
    let proposal = day.proposal("scrape", at(1));
    let advised = proposal.trays[0].kitchen_g;
    assert!((1..=700).contains(&advised), "{}", proposal.sentence);
    let taken = day.decide(at(1), vec![accept(&proposal)]).unwrap();
    assert_eq!((taken[0].trays[0].kitchen_g, taken[0].trays[0].advised_kitchen_g), (advised, advised));
    assert_eq!(day.decisions(at(1))[0].trays, taken[0].trays);
    day.undo(taken[0].decision.id, at(1)).unwrap();
    // Something else is done instead: what was advised and not done is not asked again, and no more than that.
    let proposal = day.proposal("scrape", at(1));
    let taken = day.decide(at(1), vec![declined(&proposal)]).unwrap();
    assert_eq!((taken[0].trays[0].kitchen_g, taken[0].trays[0].advised_kitchen_g), (0, advised));
    assert!(day.find("scrape", at(1)).is_none());
    // More of it: asked again.
    let other = day.ground.trays("scrape", 1, 500)[0].clone();
    day.pour(&tub, &other, 500, at(1));
    let again = day.proposal("scrape", at(1)).again;
    assert!(again.as_deref().is_some_and(|why| why.contains("there is more of")), "{again:?}");
    day.holds_together();
}

fn what_is_promised_is_no_part_of_the_next_decision(which: Which) {
    let (day, tub) = with_part(which, Some(450));
    day.ground.trays("scrape", 1, 900);
    let proposal = day.proposal("scrape", at(1));
    let taken = day.decide(at(1), vec![declined(&proposal)]).unwrap();
    let kept = taken[0].trays.iter().find(|tray| tray.tray_code == tub).unwrap();
    assert_eq!((kept.net_g, kept.promised_g), (450, 450), "of it, what was free");
    day.complete(&tub, None, at(1));
    let followed = day.followed(at(1), taken[0].decision.id);
    assert_eq!((followed.then_g, followed.came.kitchen_g, followed.came.still_g), (450 + 900, 0, 450 + 900));
    day.holds_together();
}

fn a_sold_tray_is_taken_back_too(which: Which) {
    let day = Day::open(which);
    let trays = day.ground.trays("saku", 6, 300);
    day.label(&trays, at(0));
    let taken = day.decide(at(1), vec![accept(&day.proposal("saku", at(1)))]).unwrap();
    let lowered: Vec<_> = taken[0].trays.iter().filter(|tray| tray.course == Course::MarkDown.as_str()).collect();
    let sold = &lowered[0].tray_code;
    let sale = day.sell(sold, at(1));
    day.undo(taken[0].decision.id, at(1)).unwrap();
    day.reverse(sale, at(1));
    let tray = day.tray(sold);
    assert_eq!((tray.price.get(), tray.label_wanted), (7_950, None), "as before the decision");
    assert!(tray.in_stock() && tray.markdown_reason.is_none());
    day.holds_together();
}

fn what_was_promised_is_in_no_order(which: Which) {
    let day = Day::open(which);
    let trays = day.ground.trays("saku", 6, 300);
    let proposal = day.proposal("saku", at(1));
    let promised = Draft { kitchen: vec![carried(&trays[0], None)], ..changed(&proposal, None) };
    day.decide(at(1), vec![promised]).unwrap();
    assert_eq!(day.errands(at(1)), [kitchen(&trays[0], 300)]);
    assert_eq!(day.order("saku", 2, at(1)), trays[1..3], "the oldest is for the kitchen");
    day.holds_together();
}

fn what_an_order_laid_aside_is_left_alone(which: Which) {
    let day = Day::open(which);
    let trays = day.ground.trays("saku", 6, 300);
    let list = day.order("saku", 2, at(1));
    let morning = day.morning(at(1));
    let aside: Vec<(String, &str)> =
        morning.aside.iter().map(|a| (a.judged.facts.tray.code.to_string(), a.why.as_str())).collect();
    assert_eq!(aside.len(), 2, "{aside:?}");
    assert!(aside.iter().all(|(tray, why)| *why == "reserved" && list.contains(tray)), "{aside:?} {list:?}");
    assert_eq!(day.proposal("saku", at(1)).trays.len(), trays.len() - 2);
    day.decide(at(1), vec![accept(&day.proposal("saku", at(1)))]).unwrap();
    assert!(list.iter().all(|code| !day.tray(code).marked_down()));
    // Nobody came to fetch them, nobody worked on the list: they are for everybody again.
    assert!(day.morning(at(24)).aside.iter().all(|a| a.why.as_str() != "reserved"));
    assert_eq!(actor().name, day.decisions(at(1))[0].decision.decided_by);
    day.holds_together();
}
