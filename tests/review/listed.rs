//! The catalogue's price changes while trays lie there: they keep their list price, and advice is about that.

use crate::ground::{CUTS, Which, actor, on_both};
use crate::setting::{Day, at};
use sakudana::domain::catalogue::CutDraft;
use sakudana::ops::edit_catalogue::{Expected, put_cut};
use sakudana::ops::review::Proposal;

on_both!(advice_is_about_the_trays_own_list_price);

/// All that is said of each line of the table.
fn told(proposal: &Proposal) -> Vec<String> {
    proposal.rows.iter().map(|row| format!("{row:?}")).collect()
}

fn advice_is_about_the_trays_own_list_price(which: Which) {
    // The kitchen's worth follows the catalogue; here it pays nothing.
    let day = Day::of(which, |shop| shop.terms.kitchen_permille = 0);
    day.ground.trays("saku", 8, 300);
    let before = day.proposal("saku", at(3));
    let (number, cut) = CUTS.iter().enumerate().find(|(_, cut)| cut.code == "saku").unwrap();
    for (version, price) in [(1, 6_000), (2, 60_000), (3, 0)] {
        let draft = CutDraft { price_per_kg_cents: price, ..cut.draft(number) };
        day.ground
            .desk
            .act(move |tx, _| put_cut(tx, &actor(), at(3), "saku", &draft, Expected::Version(version)).map(drop))
            .unwrap();
        let after = day.proposal("saku", at(3));
        assert_eq!(told(&after), told(&before), "at {price} in the catalogue");
        assert_eq!((after.basis, after.sentence), (before.basis.clone(), before.sentence.clone()));
    }
}
