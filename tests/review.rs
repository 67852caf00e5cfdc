//! A day of reviews in memory's own time, on both databases: what is advised and what never is; deciding, deciding otherwise, declining; what is
//! asked again and what is not; taking back; errands that end with a scan; two managers at once; hostile input.
#![allow(
    clippy::unwrap_used,
    clippy::expect_used,
    clippy::indexing_slicing,
    clippy::panic,
    reason = "a test that meets what it did not expect should stop right there"
)]

#[path = "review/carried.rs"]
mod carried;
#[path = "model/ground.rs"]
mod ground;
#[path = "review/listed.rs"]
mod listed;
#[path = "review/setting.rs"]
mod setting;
mod support;

use ground::{Which, actor, on_both};
use sakudana::ops::review::decide::Way;
use sakudana::ops::review::{Course, What};
use setting::{Day, accept, at, carried, changed, declined, draft};

on_both!(
    nothing_is_advised_on_what_is_stopped,
    an_accepted_price_falls_asks_for_a_label_and_is_told,
    advice_is_for_what_was_looked_at,
    what_was_decided_is_not_asked_again,
    a_changed_price_is_kept_with_what_is_expected_of_it,
    other_trays_go_to_the_kitchen,
    a_mistouch_is_taken_back,
    a_label_with_the_new_price_stands,
    an_errand_ends_with_a_scan,
    the_kitchen_takes_no_more_than_it_has_room_for,
    frozen_by_a_scan,
    two_managers_decide_once,
    all_or_nothing,
    hostile_input_is_refused_with_its_field,
);

/// Held, ended, near its time in the warm, frozen, bulk: none of it is in a proposal; the first three stand beside it.
fn nothing_is_advised_on_what_is_stopped(which: Which) {
    let day = Day::open(which);
    let trays = day.ground.trays("saku", 8, 300);
    day.hold(&trays[0], at(1));
    day.take_to(&trays[1], "freezer", at(1));
    // Warm for so long that the exposure ends before everything else, and not yet over.
    day.take_to(&trays[2], "bench", at(2));
    let morning = day.morning(at(3));
    let [proposal] = &morning.proposals[..] else { panic!("{:?}", morning.proposals) };
    let advised: Vec<String> = proposal.trays.iter().map(|a| a.on.tray.code.to_string()).collect();
    assert_eq!(advised, trays[3..]);
    let aside: Vec<(String, &str)> =
        morning.aside.iter().map(|a| (a.judged.facts.tray.code.to_string(), a.why.as_str())).collect();
    assert_eq!(aside, [(trays[0].clone(), "on_hold"), (trays[2].clone(), "exposure")]);
    // Much later everything has ended: it is taken off, and nothing is advised any more.
    let late = day.morning(at(24 * 8));
    assert!(late.proposals.is_empty(), "{:?}", late.proposals);
    assert!(late.aside.iter().filter(|a| a.why.as_str() == "take_off").count() >= 2);
    day.holds_together();
}

fn an_accepted_price_falls_asks_for_a_label_and_is_told(which: Which) {
    let day = Day::open(which);
    let trays = day.ground.trays("saku", 6, 300);
    day.label(&trays, at(0));
    let proposal = day.proposal("saku", at(1));
    let price = proposal.price.unwrap();
    assert!(proposal.best.advised && proposal.gain_over_nothing_cents() > 0, "{proposal:?}");
    assert!(proposal.rows.iter().any(|row| row.advised && row.what == What::Price(price)));
    assert!(proposal.sentence.starts_with("Lower "), "{}", proposal.sentence);
    let changes = day.changes();
    let taken = day.decide(at(1), vec![accept(&proposal)]).unwrap();
    let lowered: Vec<_> = taken[0].trays.iter().filter(|tray| tray.course == "mark_down").collect();
    assert!(!lowered.is_empty());
    for decided in &lowered {
        let tray = day.tray(&decided.tray_code);
        assert_eq!((tray.price, tray.markdown_reason.as_deref()), (price, Some("Best used soon")));
        assert_eq!(tray.label_wanted.map(|wanted| wanted.as_str()), Some("markdown"));
        assert!((0..=1_000).contains(&decided.sold_permille));
    }
    // Each tray is told with its new price, and nothing else is.
    let told = day.changes_since(changes);
    assert_eq!(told.len(), lowered.len(), "{told:?}");
    assert!(told.iter().all(|offer| offer.contains(&format!("\"price_per_kg_cents\":{}", price.get()))), "{told:?}");
    let kept = &day.decisions(at(1))[0];
    assert_eq!((kept.decision.way.as_str(), kept.decision.decided_by.as_str()), ("accepted", actor().name.as_str()));
    assert_eq!(kept.decision.price_per_kg_cents, Some(price.get()));
    assert_eq!(kept.decision.expected, proposal.best.whole);
    assert_eq!(kept.decision.alone.total_cents, proposal.nothing.whole.total_cents);
    assert!(kept.decision.explanation.contains(&proposal.sentence), "{}", kept.decision.explanation);
    day.holds_together();
}

/// A sale, a move of the end, a markdown by hand: the basis is another one, and nothing of the decision is done.
fn advice_is_for_what_was_looked_at(which: Which) {
    let day = Day::open(which);
    let trays = day.ground.trays("saku", 6, 300);
    let proposal = day.proposal("saku", at(1));
    day.mark_down(&trays[0], 7_900, at(1));
    assert_eq!(day.refused(at(1), vec![accept(&proposal)]), ("advice_changed", "decisions/0/basis".to_owned()));
    assert_eq!(day.tray(&trays[1]).price.get(), 7_950);
    let proposal = day.proposal("saku", at(1));
    day.sell(&trays[5], at(1));
    assert_eq!(day.refused(at(1), vec![accept(&proposal)]).0, "advice_changed");
    day.decide(at(1), vec![accept(&day.proposal("saku", at(1)))]).unwrap();
    day.holds_together();
}

fn what_was_decided_is_not_asked_again(which: Which) {
    let day = Day::open(which);
    day.ground.trays("saku", 6, 300);
    let proposal = day.proposal("saku", at(1));
    day.decide(at(1), vec![declined(&proposal)]).unwrap();
    assert!(day.find("saku", at(1)).is_none(), "a declined one is silent");
    // New trays: asked again, and it says why.
    day.ground.trays("saku", 1, 310);
    let again = day.proposal("saku", at(1));
    assert!(again.again.as_deref().is_some_and(|why| why.contains("a tray was added")), "{:?}", again.again);
    day.decide(at(1), vec![accept(&again)]).unwrap();
    assert!(day.find("saku", at(1)).is_none());
    // A second review of the day: other advice is asked, and taken down a step.
    let lower = (2..10).find_map(|hour| day.find("saku", at(hour)));
    let lower = lower.expect("with the evening the price falls further");
    assert!(lower.again.as_deref().is_some_and(|why| why.contains("other advice")), "{:?}", lower.again);
    // Tomorrow is another day.
    let tomorrow = day.find("saku", at(25));
    assert!(tomorrow.is_none_or(|proposal| proposal.again.is_none()));
    day.holds_together();
}

fn a_changed_price_is_kept_with_what_is_expected_of_it(which: Which) {
    let day = Day::open(which);
    day.ground.trays("saku", 6, 300);
    let proposal = day.proposal("saku", at(1));
    // A line of the table, word for word: what it says is what is kept.
    let row = proposal.rows.iter().find(|row| matches!(row.what, What::Price(_)) && !row.advised).unwrap();
    let What::Price(price) = row.what else { unreachable!() };
    let mut by_row = changed(&proposal, Some(price.get()));
    by_row.kitchen = row.kitchen.iter().map(|(code, grams)| carried(code, Some(*grams))).collect();
    let taken = day.decide(at(1), vec![by_row]).unwrap();
    let (kept, said) = (taken[0].decision.expected, row.whole);
    assert!(
        (kept.total_cents - said.total_cents).abs() <= 2 && (kept.sold_g - said.sold_g).abs() <= 2,
        "{kept:?} {said:?}"
    );
    assert_eq!(taken[0].trays.iter().filter(|tray| tray.course == "mark_down").count(), row.lowered);
    // The advice stays what it was: it is not asked again at once.
    assert!(day.find("saku", at(1)).is_none());
    // A price of nobody's ladder.
    day.ground.trays("belly", 3, 300);
    let proposal = day.proposal("belly", at(1));
    let taken = day.decide(at(1), vec![changed(&proposal, Some(4_321))]).unwrap();
    assert_eq!(taken[0].decision.price_per_kg_cents, Some(4_321));
    assert!(taken[0].trays.iter().all(|tray| tray.new_price == 4_321 && tray.course == "mark_down"));
    day.holds_together();
}

fn other_trays_go_to_the_kitchen(which: Which) {
    let day = Day::open(which);
    let trays = day.ground.trays("saku", 6, 300);
    let proposal = day.proposal("saku", at(1));
    let mut other = changed(&proposal, None);
    other.kitchen = vec![carried(&trays[2], None)];
    let taken = day.decide(at(1), vec![other]).unwrap();
    assert!(taken[0].decision.expected.kitchen_g >= 300);
    assert_eq!(day.errands(at(1)), [(trays[2].clone(), "kitchen".to_owned(), 300)]);
    assert_eq!(day.tray(&trays[2]).price.get(), 7_950, "what is cooked is not marked down");
    day.holds_together();
}

fn a_mistouch_is_taken_back(which: Which) {
    let day = Day::open(which);
    let trays = day.ground.trays("saku", 6, 300);
    day.label(&trays, at(0));
    day.mark_down(&trays[0], 7_900, at(0));
    let proposal = day.proposal("saku", at(1));
    let taken = day.decide(at(1), vec![accept(&proposal)]).unwrap();
    let sold = taken[0].trays.iter().rfind(|tray| tray.course == "mark_down").unwrap().tray_code.clone();
    day.sell(&sold, at(1));
    let undone = day.undo(taken[0].decision.id, at(1)).unwrap();
    assert!(undone.decision.undone.is_some());
    for code in trays.iter().filter(|code| **code != sold) {
        let tray = day.tray(code);
        let (price, wanted) = if *code == trays[0] { (7_900, Some("markdown")) } else { (7_950, None) };
        assert_eq!((tray.price.get(), tray.label_wanted.map(|w| w.as_str())), (price, wanted), "{code}");
    }
    assert_eq!(day.undo_refused(taken[0].decision.id, at(1)), "already_undone");
    let again = day.proposal("saku", at(1));
    assert_eq!(again.again, None, "what was taken back was never decided");
    // A price that was charged in between is still known: the till that was cut off charged no other.
    let second = day.decide(at(1), vec![accept(&again)]).unwrap();
    assert_eq!(day.undo_refused(second[0].decision.id, at(2)), "window_passed");
    assert_eq!(day.undo_refused(999, at(1)), "not_found");
    day.holds_together();
}

/// A customer may have read it: it is not raised again.
fn a_label_with_the_new_price_stands(which: Which) {
    let day = Day::open(which);
    day.ground.trays("saku", 6, 300);
    let taken = day.decide(at(1), vec![accept(&day.proposal("saku", at(1)))]).unwrap();
    let lowered = taken[0].trays.iter().find(|tray| tray.course == "mark_down").unwrap().tray_code.clone();
    day.label(std::slice::from_ref(&lowered), at(1));
    assert_eq!(day.undo_refused(taken[0].decision.id, at(1)), "acted_upon");
    assert!(day.tray(&lowered).marked_down());
    // So it is where somebody lowered the price further.
    day.ground.trays("belly", 3, 300);
    let taken = day.decide(at(1), vec![changed(&day.proposal("belly", at(1)), Some(5_000))]).unwrap();
    day.mark_down(&taken[0].trays[0].tray_code, 4_000, at(1));
    assert_eq!(day.undo_refused(taken[0].decision.id, at(1)), "acted_upon");
    day.holds_together();
}

fn an_errand_ends_with_a_scan(which: Which) {
    let day = Day::open(which);
    let tub = day.ground.trays("scrape", 1, 900)[0].clone();
    let blocks = day.ground.trays("saku", 6, 300);
    let mut part = changed(&day.proposal("scrape", at(1)), None);
    part.kitchen = vec![carried(&tub, Some(400))];
    let mut whole = changed(&day.proposal("saku", at(1)), None);
    whole.kitchen = blocks.iter().take(2).map(|code| carried(code, None)).collect();
    day.decide(at(1), vec![part, whole]).unwrap();
    assert_eq!(day.errands(at(1)).len(), 3);
    // One is sold before it is carried: it is no errand any more.
    day.sell(&blocks[0], at(1));
    assert_eq!(day.complete_refused(&blocks[0], None, at(1)), "no_errand");
    assert_eq!(day.complete_refused(&blocks[2], None, at(1)), "no_errand");
    let (kind, tray) = day.complete(&tub, None, at(1));
    assert_eq!((kind.as_str(), tray.net.get()), ("kitchen", 500));
    let (_, gone) = day.complete(&blocks[1], None, at(1));
    assert_eq!(gone.fate.map(|fate| fate.as_str()), Some("kitchen"));
    assert!(day.errands(at(1)).is_empty());
    assert_eq!(day.complete_refused(&tub, None, at(1)), "no_errand");
    // What was carried stays carried when the decision is taken back.
    let decision = day.decisions(at(1)).into_iter().find(|t| t.decision.cut == "saku").unwrap().decision.id;
    day.undo(decision, at(1)).unwrap();
    assert!(!day.tray(&blocks[1]).in_stock());
    day.holds_together();
}

fn the_kitchen_takes_no_more_than_it_has_room_for(which: Which) {
    let day = Day::of(which, |shop| {
        shop.terms.kitchen_permille = 900;
        shop.terms.kitchen_g_per_day = 700;
    });
    // It ends before there is another morning.
    day.ground.trays("belly", 5, 300);
    let proposal = day.proposal("belly", at(1));
    let to_kitchen: Vec<_> = proposal.trays.iter().filter(|a| a.course == Course::Kitchen).collect();
    assert_eq!(to_kitchen.len(), 2, "{}", proposal.sentence);
    assert!(proposal.sentence.contains("to the kitchen"), "{}", proposal.sentence);
    let codes: Vec<String> = to_kitchen.iter().map(|a| a.on.tray.code.to_string()).collect();
    day.decide(at(1), vec![accept(&proposal)]).unwrap();
    // Promised counts as taken, and taken as well.
    day.ground.trays("belly", 3, 300);
    for carried in [0, 1, 2] {
        for code in codes.iter().take(carried).skip(carried.saturating_sub(1)) {
            day.complete(code, None, at(1));
        }
        let left = day.proposal("belly", at(1)).assumptions.kitchen_left_g;
        assert_eq!(left, 100, "after {carried} were carried");
    }
    day.holds_together();
}

fn frozen_by_a_scan(which: Which) {
    let day = Day::of(which, |shop| shop.terms.freezer_permille = 950);
    let trays = day.ground.trays("saku", 6, 300);
    let proposal = day.proposal("saku", at(1));
    let mut freeze = changed(&proposal, None);
    freeze.freeze = vec![trays[1].clone()];
    day.decide(at(1), vec![freeze]).unwrap();
    assert_eq!(day.errands(at(1)), [(trays[1].clone(), "freeze".to_owned(), 300)]);
    assert_eq!(day.complete_refused(&trays[1], None, at(1)), "invalid_value");
    assert_eq!(day.complete_refused(&trays[1], Some("case"), at(1)), "invalid_value");
    let (kind, tray) = day.complete(&trays[1], Some("freezer"), at(1));
    assert_eq!((kind.as_str(), tray.place.as_str()), ("freeze", "freezer"));
    assert!(day.errands(at(1)).is_empty());
    day.holds_together();
}

fn two_managers_decide_once(which: Which) {
    let day = Day::open(which);
    day.ground.trays("saku", 6, 300);
    let proposal = day.proposal("saku", at(1));
    let outcomes: Vec<_> = std::thread::scope(|scope| {
        let ask = || scope.spawn(|| day.decide(at(1), vec![accept(&proposal)]));
        [ask(), ask()].into_iter().map(|thread| thread.join().unwrap()).collect()
    });
    let refused: Vec<&str> = outcomes.iter().filter_map(|outcome| outcome.as_ref().err().map(setting::code)).collect();
    assert_eq!(refused, ["already_decided"]);
    assert_eq!(day.decisions(at(1)).len(), 1);
    day.holds_together();
}

fn all_or_nothing(which: Which) {
    let day = Day::open(which);
    day.ground.trays("saku", 6, 300);
    day.ground.trays("belly", 3, 300);
    let (saku, belly) = (day.proposal("saku", at(1)), day.proposal("belly", at(1)));
    let mut stale = accept(&belly);
    stale.basis = saku.basis.clone();
    assert_eq!(day.refused(at(1), vec![accept(&saku), stale]), ("advice_changed", "decisions/1/basis".to_owned()));
    assert!(day.decisions(at(1)).is_empty());
    assert_eq!(day.decide(at(1), vec![accept(&saku), accept(&belly)]).unwrap().len(), 2);
    day.holds_together();
}

fn hostile_input_is_refused_with_its_field(which: Which) {
    let day = Day::open(which);
    let trays = day.ground.trays("saku", 6, 300);
    let tub = day.ground.trays("scrape", 1, 900)[0].clone();
    let proposal = day.proposal("saku", at(1));
    let kitchen = |lines: &[(&str, Option<i64>)]| {
        let mut draft = changed(&proposal, None);
        draft.kitchen = lines.iter().map(|(code, grams)| carried(code, *grams)).collect();
        draft
    };
    let mut priced = accept(&proposal);
    priced.price_per_kg_cents = Some(1);
    let mut noted = declined(&proposal);
    noted.note = Some("\u{202e}".into());
    let mut twice = kitchen(&[(&trays[0], None)]);
    twice.freeze = vec![trays[0].clone()];
    for (draft, code, field) in [
        (draft("saku", Way::Accepted, ""), "advice_changed", "basis"),
        (draft("saku", Way::Accepted, &"x".repeat(9_000)), "advice_changed", "basis"),
        (draft("loin", Way::Accepted, "x"), "not_a_candidate", "cut_code"),
        (draft("no such cut", Way::Accepted, "x"), "unknown_reference", "cut_code"),
        (priced, "invalid_value", "price_per_kg_cents"),
        (noted, "invalid_value", "note"),
        (changed(&proposal, None), "invalid_value", "way"),
        (changed(&proposal, Some(-1)), "invalid_value", "price_per_kg_cents"),
        (changed(&proposal, Some(i64::MAX)), "invalid_value", "price_per_kg_cents"),
        (changed(&proposal, Some(7_950)), "price_would_rise", "price_per_kg_cents"),
        (kitchen(&[("", None)]), "not_a_code", "kitchen/0/tray_code"),
        (kitchen(&[(&tub, None)]), "not_a_candidate", "kitchen/0/tray_code"),
        (kitchen(&[(&trays[0], Some(299))]), "wrong_kind", "kitchen/0/grams"),
        (kitchen(&[(&trays[0], None), (&trays[0], None)]), "duplicate_line", "kitchen/1"),
        (kitchen(&vec![(trays[0].as_str(), None); 201]), "invalid_value", "kitchen"),
        (twice, "duplicate_line", "freeze_tray_codes/0"),
    ] {
        let (found, at_field) = day.refused(at(1), vec![draft.clone()]);
        assert_eq!((found, at_field.as_str()), (code, format!("decisions/0/{field}").as_str()), "{draft:?}");
    }
    let mut tubs = changed(&day.proposal("scrape", at(1)), None);
    for (grams, code) in [(0, "invalid_value"), (-5, "invalid_value"), (901, "insufficient_stock")] {
        tubs.kitchen = vec![carried(&tub, Some(grams))];
        assert_eq!(day.refused(at(1), vec![tubs.clone()]).0, code, "{grams}");
    }
    assert!(day.decisions(at(1)).is_empty());
    assert_eq!(day.refused(at(1), Vec::new()).0, "invalid_value");
    day.holds_together();
}
