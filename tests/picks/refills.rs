//! Refills: a case is filled to its plan from cold stores, and a scan moves the tray.

use crate::ground::{Which, actor, on_both};
use crate::shop::{House, at, codes, open, order, passed, refill, refused};
use sakudana::domain::picking::list::{LineState, State};
use sakudana::domain::picking::plan::{CasePlan, PlanLine};
use sakudana::domain::refusal::Code;
use sakudana::ops::case_plan;
use sakudana::ops::edit_catalogue::Expected;
use sakudana::ops::failure::Failure;
use sakudana::ops::pick::PickDraft;
use sakudana::ops::pick::work::{Consent, Outcome};
use sakudana::ops::place_tray::{Way, take_to};

on_both!(
    a_case_is_filled_to_its_plan_from_cold_stores,
    a_second_refill_counts_what_is_on_its_way,
    another_tray_fills_the_case_as_well,
    a_plan_is_changed_under_its_version,
);

fn plan(house: &House, place: &str, lines: &[(&str, i64)], expected: Expected) -> Result<CasePlan, Failure> {
    let line = |(cut, trays): &(&str, i64)| PlanLine { cut: (*cut).into(), trays: *trays };
    let (place, lines): (String, Vec<PlanLine>) = (place.into(), lines.iter().map(line).collect());
    house.ground.desk.act(move |tx, _| case_plan::put(tx, &actor(), at(0), &place, &lines, expected))
}

fn place_of(house: &House, code: &str) -> String {
    let found = house.ground.desk.look(|reading, shop| sakudana::ops::board::one(reading, shop, at(9), code));
    found.unwrap().facts.tray.place
}

fn a_case_is_filled_to_its_plan_from_cold_stores(which: Which) {
    let house = open(which);
    let bench = house.batch(0, &[("saku", "bench", 300)]).remove(0);
    let shown = house.batch(1, &[("saku", "case", 300), ("saku", "window", 300)]);
    let frozen = house.batch(1, &[("saku", "room", 300)]).remove(0);
    let code = frozen.clone();
    house
        .ground
        .desk
        .act(move |tx, shop| take_to(tx, shop, &actor(), at(1), &code, "freezer", Way::Freeze, None))
        .unwrap();
    let cold = house.batch(2, &[("saku", "room", 300), ("collar", "room", 500)]);
    let later = house.batch(3, &[("saku", "room", 310), ("saku", "room", 320)]);
    refused(house.make(4, &refill("case")), Code::NoCasePlan);
    plan(&house, "case", &[("saku", 3), ("collar", 1), ("belly", 2)], Expected::New).unwrap();
    plan(&house, "window", &[("saku", 1)], Expected::New).unwrap();
    let list = house.make(4, &refill("case")).unwrap();
    let id = list.list.id;
    let mut wanted = codes(&list, LineState::Wanted);
    wanted.sort();
    let mut expected = vec![cold[0].clone(), cold[1].clone(), later[0].clone()];
    expected.sort();
    assert_eq!(wanted, expected);
    // Of belly there is none: two trays are missing. The bench and another case are no stores; what is frozen is not for a case.
    assert_eq!(list.missing_trays(), 2);
    let (told, all): (Vec<String>, _) = (passed(&list).into_iter().map(|(code, _)| code).collect(), passed(&list));
    assert_eq!(told.len(), 3, "{all:?}");
    assert!([&bench, &shown[0], &shown[1]].into_iter().all(|code| told.contains(code)) && !told.contains(&frozen));
    assert!(all.iter().all(|(_, why)| *why == "other_place"), "{all:?}");
    for code in &wanted {
        let scanned = house.scan(4, id, code).unwrap();
        assert_eq!(scanned.outcome, Outcome::Picked);
        assert_eq!(place_of(&house, code), "case", "it stands in the case from then on");
    }
    assert_eq!(house.list(4, id).list.state, State::Open, "two trays of belly are missing still");
    let done = house.end(4, id).unwrap();
    assert_eq!((done.list.state, done.missing_trays()), (State::Done, 2));
    let said = refused(house.make(5, &PickDraft { cut: Some("saku".into()), ..refill("case") }), Code::NothingToPick);
    assert!(said.contains("what its plan says"), "{said}");
    let said = refused(house.make(5, &refill("case")), Code::NothingToPick);
    assert!(said.contains("nothing stands in a cold store"), "belly: {said}");
    refused(house.make(5, &refill("window")), Code::NothingToPick);
    // One is sold: one is fetched.
    house.sell(5, &shown[0], None);
    let again = house.make(5, &refill("case")).unwrap();
    assert_eq!(codes(&again, LineState::Wanted), [later[1].clone()]);
    house.is_sound();
}

fn a_second_refill_counts_what_is_on_its_way(which: Which) {
    let house = open(which);
    let b = house.blocks(&[300, 310, 320, 330]);
    plan(&house, "case", &[("saku", 2)], Expected::New).unwrap();
    let first = house.make(4, &refill("case")).unwrap();
    assert_eq!(codes(&first, LineState::Wanted), [b[0].clone(), b[1].clone()]);
    refused(house.make(4, &refill("case")), Code::NothingToPick);
    house.scan(4, first.list.id, &b[0]).unwrap();
    refused(house.make(4, &refill("case")), Code::NothingToPick);
    // The plan grows: one more is fetched by somebody else, and none twice.
    plan(&house, "case", &[("saku", 3)], Expected::Version(1)).unwrap();
    let second = house.make(4, &refill("case")).unwrap();
    assert_eq!(codes(&second, LineState::Wanted), [b[2].clone()]);
    // What was wanted is sold; filling up again finds what is still missing in the case.
    house.sell(4, &b[1], None);
    let filled = house.fill_up(4, first.list.id).unwrap();
    assert_eq!((codes(&filled, LineState::Wanted), filled.missing_trays()), (vec![b[3].clone()], 0));
    house.scan(4, first.list.id, &b[3]).unwrap();
    house.scan(4, second.list.id, &b[2]).unwrap();
    assert_eq!([&b[0], &b[2], &b[3]].map(|code| place_of(&house, code)), ["case"; 3].map(str::to_owned));
    house.is_sound();
}

fn another_tray_fills_the_case_as_well(which: Which) {
    let house = open(which);
    let b = house.blocks(&[300, 310, 320]);
    let other = house.batch(3, &[("saku", "window", 300)]).remove(0);
    plan(&house, "case", &[("saku", 1)], Expected::New).unwrap();
    plan(&house, "window", &[("saku", 1)], Expected::New).unwrap();
    let id = house.make(4, &refill("case")).unwrap().list.id;
    let said = refused(house.scan(4, id, &other), Code::NotASubstitute);
    assert!(said.contains("takes nothing from"), "{said}");
    assert_eq!(house.scan(4, id, &b[2]).unwrap().outcome, Outcome::Confirm);
    assert_eq!(place_of(&house, &b[2]), "room", "nothing was moved yet");
    let scanned = house.scan_with(4, id, &b[2], Consent::Given).unwrap();
    assert_eq!((scanned.outcome, scanned.after.list.state), (Outcome::Substituted, State::Done));
    assert_eq!((place_of(&house, &b[2]), place_of(&house, &b[0])), ("case".into(), "room".into()));
    // What somebody put into the case without a scan is there, and needs no move.
    let order = house.make(4, &order(1)).unwrap();
    assert_eq!(codes(&order, LineState::Wanted), [b[0].clone()]);
    house.is_sound();
}

fn a_plan_is_changed_under_its_version(which: Which) {
    let house = open(which);
    let put = |place: &str, lines: &[(&str, i64)], expected| plan(&house, place, lines, expected);
    let one = || house.ground.desk.look(|reading, _| case_plan::one(reading, "case"));
    refused(one(), Code::NotFound);
    refused(put("case", &[("saku", 1)], Expected::Version(1)), Code::NotFound);
    refused(put("nowhere", &[("saku", 1)], Expected::New), Code::NotFound);
    refused(put("freezer", &[("saku", 1)], Expected::New), Code::InvalidValue);
    for (lines, field) in [
        (&[("saku", 0)][..], "lines/0/trays"),
        (&[("saku", 201)], "lines/0/trays"),
        (&[("saku", 1), ("saku", 2)], "lines/1/cut_code"),
        (&[("saku", 1), ("bones", 2)], "lines/1/cut_code"),
    ] {
        assert!(refused(put("case", lines, Expected::New), Code::InvalidValue).contains(field), "{field}");
    }
    refused(put("case", &[("no-such", 1)], Expected::New), Code::UnknownReference);
    assert_eq!(put("case", &[("saku", 4), ("collar", 2)], Expected::New).unwrap().version, 1);
    refused(put("case", &[("saku", 4)], Expected::New), Code::AlreadyExists);
    refused(put("case", &[("saku", 4)], Expected::Version(2)), Code::VersionMismatch);
    assert_eq!(put("case", &[("saku", 5)], Expected::Version(1)).unwrap().version, 2);
    assert_eq!(one().unwrap().lines, [PlanLine { cut: "saku".into(), trays: 5 }]);
    // An empty plan is none to fill to.
    assert_eq!(put("case", &[], Expected::Version(2)).unwrap().version, 3);
    refused(house.make(4, &refill("case")), Code::NoCasePlan);
    house.is_sound();
}
