//! What was wasted: by reason, week and cut, and in sum what the ledger says.

use crate::followed::number;
use crate::ground::{Which, on_both};
use crate::scene::{Scene, at, range};
use sakudana::ops::pay::waste::{Out, WasteReport};
use sakudana::ops::take_out::Whither;

on_both!(waste_is_told_by_reason_week_and_cut);

fn of<'a>(report: &'a WasteReport, week: &str, cut: &str) -> &'a Out {
    let row = report.rows.iter().find(|row| row.week.to_string() == week && row.cut.as_deref() == Some(cut));
    &row.unwrap_or_else(|| panic!("{week} {cut}: {report:?}")).out
}

fn reasons(out: &Out) -> Vec<(String, bool, i64)> {
    out.reasons().into_iter().map(|reason| (reason.text, reason.returned, reason.portion.grams)).collect()
}

fn waste_is_told_by_reason_week_and_cut(which: Which) {
    let s = Scene::new(which);
    let mut outputs = vec![("saku", 300); 6];
    outputs.extend([("scrape", 1_000), ("belly", 200), ("saku", 210)]);
    let t = s.cut(&outputs, 500);
    s.out(&t[0], Whither::Waste, None, Some("Past its  use-by"), at(20));
    s.out(&t[1], Whither::Waste, None, Some("past its use-by"), at(21));
    s.out(&t[6], Whither::Waste, Some(150), Some("fell"), at(22));
    s.out(&t[6], Whither::Kitchen, Some(200), None, at(23));
    s.sell(&t[6], Some(100), at(24));
    let two = s.sell_lines(&[&t[2], &t[7]], at(25));
    s.reverse(s.sell(&t[8], None, at(26)), at(27));
    s.count(&t[6], 500, at(28));
    // On the Monday after, which is another week.
    s.bring_back(two, at(5 * 24 * 60), &[(&t[7], 120, 0, "Warm"), (&t[2], 300, 0, "smell"), (&t[7], 80, 0, "warm")]);
    s.out(&t[3], Whither::Waste, None, Some("grey"), at(5 * 24 * 60 + 1));

    let report = s.waste(range("2026-11-23", "2026-12-06"));
    let saku = of(&report, "2026-W48", "saku");
    assert_eq!((saku.sold.grams, saku.kitchen.grams, saku.wasted.grams), (300, 0, 600), "a reversed sale is none");
    assert_eq!(reasons(saku), [("past its use-by".to_owned(), false, 600)], "however it was written");
    let scrape = of(&report, "2026-W48", "scrape");
    assert_eq!(
        (scrape.sold.grams, scrape.kitchen.grams, scrape.wasted.grams, scrape.counted.grams),
        (100, 200, 150, 50)
    );
    assert_eq!(scrape.wasted_permille(), Some(333), "150 of 450 g");
    let later = of(&report, "2026-W49", "saku");
    let mut told = reasons(later);
    told.sort();
    assert_eq!(told, [("grey".to_owned(), false, 300), ("smell".to_owned(), true, 300)]);
    assert_eq!((later.sold.grams, later.returned.grams, later.left_g()), (0, 300, 300));
    assert_eq!(reasons(of(&report, "2026-W49", "belly")), [("warm".to_owned(), true, 200)]);
    let weeks: Vec<(String, i64)> =
        report.weeks.iter().map(|(week, out)| (week.to_string(), out.wasted.grams)).collect();
    assert_eq!(weeks, [("2026-W48".to_owned(), 750), ("2026-W49".to_owned(), 800)]);

    let account = |name: &str, what: &str| {
        number(&s.ground, &format!("(SELECT COALESCE(SUM({what}), 0) FROM entries WHERE account = '{name}')"))
    };
    let total = &report.total;
    assert_eq!(
        (total.wasted.grams, total.wasted.cost_cents),
        (account("waste", "grams"), account("waste", "cost_cents"))
    );
    assert_eq!(total.kitchen.cost_cents, account("kitchen", "cost_cents"));
    assert_eq!(total.sold.grams - total.returned.grams, account("customer", "grams"));
    assert_eq!(total.sold.cost_cents - total.returned.cost_cents, account("customer", "cost_cents"));
    assert_eq!(total.counted.grams, account("count_difference", "grams"));
    let by_reason: i64 = total.reasons().iter().map(|reason| reason.portion.cost_cents).sum();
    assert_eq!(by_reason, total.wasted.cost_cents);
    assert!(by_reason > 0, "it had cost something");
    assert_eq!(s.waste(range("2026-12-07", "2026-12-13")).total, Out::default());
    assert_eq!(s.waste(range("2026-11-25", "2026-11-25")).total.wasted.grams, 750, "one day");
    s.clean();
}
