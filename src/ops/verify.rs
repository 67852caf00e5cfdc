//! Verify: every invariant that data can show, by name, with how much was checked. Read-only; runs on a live database.

use super::failure::Failure;
use super::repair;
use crate::store::Reading;
use crate::store::verify::{Question, ask};

/// One invariant and what was found.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Finding {
    pub name: &'static str,
    pub checked: i64,
    /// The first things that break it, in words; empty when it holds.
    pub wrong: Vec<String>,
}

/// The invariants, in the order of the design: mass, once, never later, oldest first, whole numbers, and the stops.
pub const QUESTIONS: &[Question] = &[
    Question {
        name: "mass: every act sums to zero, lot by lot, in grams and cost",
        count: "SELECT act_id, lot_id FROM entries GROUP BY act_id, lot_id",
        wrong: "SELECT 'act ' || act_id || ', lot ' || lot_id || ': ' || SUM(grams) || ' g, ' || SUM(cost_cents) || ' cents' AS what \
                FROM entries GROUP BY act_id, lot_id HAVING SUM(grams) <> 0 OR SUM(cost_cents) <> 0",
    },
    Question {
        name: "mass: each lot was received once, with its weight and its cost",
        count: "SELECT id FROM lots",
        wrong: "SELECT 'lot ' || l.code AS what FROM lots l LEFT JOIN entries e ON e.lot_id = l.id AND e.account = 'supplier' \
                GROUP BY l.id, l.code, l.received_g, l.cost_cents \
                HAVING COALESCE(-SUM(e.grams), 0) <> l.received_g OR COALESCE(-SUM(e.cost_cents), 0) <> l.cost_cents",
    },
    Question {
        name: "mass: what lies on a tray by lot is what the ledger put there",
        count: "SELECT tray_id, lot_id FROM holdings",
        wrong: "SELECT 'tray ' || h.tray_id || ', lot ' || h.lot_id || ': ' || h.grams || ' g held, ' || COALESCE(SUM(e.grams), 0) || ' g in the ledger' AS what \
                FROM holdings h LEFT JOIN entries e ON e.tray_id = h.tray_id AND e.lot_id = h.lot_id \
                GROUP BY h.tray_id, h.lot_id, h.grams, h.cost_cents \
                HAVING COALESCE(SUM(e.grams), 0) <> h.grams OR COALESCE(SUM(e.cost_cents), 0) <> h.cost_cents",
    },
    Question {
        name: "mass: the weight of a tray is the sum of what lies on it",
        count: "SELECT id FROM trays",
        wrong: "SELECT 'tray ' || t.code || ': ' || t.net_g || ' g, held ' || COALESCE(SUM(h.grams), 0) || ' g' AS what \
                FROM trays t LEFT JOIN holdings h ON h.tray_id = t.id GROUP BY t.id, t.code, t.net_g HAVING COALESCE(SUM(h.grams), 0) <> t.net_g",
    },
    Question {
        name: "mass: every ledger entry on a tray has its line of what lies there",
        count: "SELECT id FROM entries WHERE tray_id IS NOT NULL",
        wrong: "SELECT 'entry ' || e.id AS what FROM entries e LEFT JOIN holdings h ON h.tray_id = e.tray_id AND h.lot_id = e.lot_id \
                WHERE e.tray_id IS NOT NULL AND h.tray_id IS NULL",
    },
    Question {
        name: "mass: in every breakdown input is output, named losses and the explained rest",
        count: "SELECT id FROM breakdowns",
        wrong: "SELECT 'breakdown ' || b.id AS what FROM breakdowns b \
                WHERE b.input_g <> b.output_g + b.named_loss_g + b.unexplained_g \
                OR b.input_g <> (SELECT SUM(i.grams) FROM breakdown_inputs i WHERE i.breakdown_id = b.id) \
                OR b.output_g <> (SELECT SUM(o.grams) FROM breakdown_outputs o WHERE o.breakdown_id = b.id) \
                OR b.named_loss_g <> (SELECT COALESCE(SUM(x.grams), 0) FROM breakdown_losses x WHERE x.breakdown_id = b.id) \
                OR b.unexplained_g < -b.scale_g OR (b.unexplained_g > b.scale_g + b.drip_g AND b.reason IS NULL)",
    },
    Question {
        name: "once: no block stands on two sales",
        count: "SELECT id FROM trays WHERE kind = 'block'",
        wrong: "SELECT 'tray ' || t.code || ': ' || COUNT(*) || ' sales' AS what FROM trays t JOIN sale_lines l ON l.tray_id = t.id \
                JOIN sales s ON s.id = l.sale_id WHERE t.kind = 'block' AND s.reversed_by_act_id IS NULL GROUP BY t.id, t.code HAVING COUNT(*) > 1",
    },
    Question {
        name: "once: a block is gone as sold if and only if it stands on a sale",
        count: "SELECT id FROM trays WHERE kind = 'block'",
        wrong: "SELECT 'tray ' || t.code AS what FROM trays t WHERE t.kind = 'block' AND \
                (CASE WHEN t.fate = 'sold' THEN 1 ELSE 0 END) <> (CASE WHEN EXISTS (SELECT 1 FROM sale_lines l JOIN sales s ON s.id = l.sale_id \
                WHERE l.tray_id = t.id AND s.reversed_by_act_id IS NULL) THEN 1 ELSE 0 END)",
    },
    Question {
        name: "once: the weight on sales is the weight that went to customers",
        count: "SELECT id FROM sales",
        wrong: "SELECT 'sale ' || s.id AS what FROM sales s WHERE COALESCE((SELECT SUM(l.grams) FROM sale_lines l WHERE l.sale_id = s.id), 0) \
                <> COALESCE((SELECT SUM(e.grams) FROM entries e WHERE e.act_id = s.act_id AND e.account = 'customer'), 0) \
                + COALESCE((SELECT SUM(e.grams) FROM exceptions x JOIN entries e ON e.act_id = x.act_id AND e.account = 'customer' \
                WHERE x.sale_id = s.id AND x.way = 'was_other_tray'), 0) \
                OR s.total_cents <> COALESCE((SELECT SUM(r.price_cents) FROM replayed_lines r WHERE r.sale_id = s.id), \
                (SELECT SUM(l.price_cents) FROM sale_lines l WHERE l.sale_id = s.id), -1)",
    },
    Question {
        name: "once: what a till says of a line is what its sale moved and what is missing of it",
        count: "SELECT sale_id FROM replayed_lines",
        wrong: "SELECT 'sale ' || s.id AS what FROM sales s JOIN replayed_lines r ON r.sale_id = s.id GROUP BY s.id, s.act_id \
                HAVING SUM(r.moved_g) <> COALESCE((SELECT SUM(e.grams) FROM entries e WHERE e.act_id = s.act_id AND e.account = 'customer'), 0) \
                UNION ALL SELECT 'sale ' || r.sale_id || ', line ' || r.line_number AS what FROM replayed_lines r \
                LEFT JOIN exceptions x ON x.sale_id = r.sale_id AND x.line_number = r.line_number \
                WHERE (r.moved_g = 0 OR r.grams > r.moved_g) AND x.id IS NULL",
    },
    Question {
        name: "exceptions: every exception is of a sale there is, and says what it found",
        count: "SELECT id FROM exceptions",
        wrong: "SELECT 'exception ' || x.id AS what FROM exceptions x LEFT JOIN sales s ON s.id = x.sale_id \
                WHERE s.id IS NULL OR NOT EXISTS (SELECT 1 FROM exception_findings f WHERE f.exception_id = x.id AND f.code = x.code)",
    },
    Question {
        name: "exceptions: what a manager's settling moved to the customer, beside what it put back, is what the ledger says",
        count: "SELECT id FROM exceptions WHERE act_id IS NOT NULL",
        wrong: "SELECT 'exception ' || x.id AS what FROM exceptions x WHERE x.act_id IS NOT NULL AND x.settled_g <> \
                COALESCE((SELECT SUM(e.grams) FROM entries e WHERE e.act_id = x.act_id AND (e.account = 'customer' OR (e.tray_id IS NOT NULL AND e.grams > 0))), 0)",
    },
    Question {
        name: "returns: no more came back than was sold, and it went to waste",
        count: "SELECT id FROM return_lines",
        wrong: "SELECT 'sale ' || r.sale_id || ', tray ' || r.tray_id AS what FROM return_lines r GROUP BY r.sale_id, r.tray_id \
                HAVING SUM(r.grams) > COALESCE((SELECT SUM(l.grams) FROM sale_lines l WHERE l.sale_id = r.sale_id AND l.tray_id = r.tray_id), 0) \
                UNION ALL SELECT 'act ' || r.act_id AS what FROM return_lines r GROUP BY r.act_id \
                HAVING SUM(r.grams) <> COALESCE((SELECT SUM(e.grams) FROM entries e WHERE e.act_id = r.act_id AND e.account = 'waste'), 0) \
                OR SUM(r.grams) <> COALESCE((SELECT -SUM(e.grams) FROM entries e WHERE e.act_id = r.act_id AND e.account = 'customer'), 0)",
    },
    Question {
        name: "once: every reversal undoes its act exactly",
        count: "SELECT id FROM acts WHERE reverses_act_id IS NOT NULL",
        wrong: "SELECT 'act ' || a.id AS what FROM acts a JOIN entries e ON e.act_id = a.id OR e.act_id = a.reverses_act_id \
                WHERE a.reverses_act_id IS NOT NULL GROUP BY a.id, e.lot_id, e.account HAVING SUM(e.grams) <> 0 OR SUM(e.cost_cents) <> 0",
    },
    Question {
        name: "never later: no label promises more than the computed life at its printing",
        count: "SELECT id FROM issued_labels",
        wrong: "SELECT 'label ' || id AS what FROM issued_labels WHERE use_by > life_ends_at \
                OR (template IN ('block', 'tub', 'markdown') AND (use_by IS NULL OR life_ends_at IS NULL))",
    },
    Question {
        name: "never later: no later label promises more than an earlier one, but for time frozen between",
        count: "SELECT id FROM issued_labels",
        wrong: "SELECT 'labels ' || a.id || ' and ' || b.id AS what FROM issued_labels a JOIN issued_labels b ON b.tray_id = a.tray_id AND b.id > a.id \
                WHERE a.template NOT IN ('bulk', 'kitchen') AND b.use_by > a.use_by + COALESCE((SELECT SUM(s.to_at - s.from_at) FROM stays s WHERE s.tray_id = a.tray_id \
                AND s.method = 'frozen' AND s.from_at >= a.at AND s.to_at <= b.at), 0)",
    },
    Question {
        name: "never later: nothing was sold after the use-by on its label, but what an exception says",
        count: "SELECT id FROM sale_lines",
        wrong: "SELECT 'sale ' || s.id || ', tray ' || l.tray_id AS what FROM sale_lines l JOIN sales s ON s.id = l.sale_id \
                JOIN issued_labels i ON i.tray_id = l.tray_id AND i.id = (SELECT MAX(j.id) FROM issued_labels j WHERE j.tray_id = l.tray_id AND j.at <= s.at) \
                WHERE s.at > i.use_by AND NOT EXISTS (SELECT 1 FROM exceptions x JOIN exception_findings n ON n.exception_id = x.id WHERE x.sale_id = s.id \
                AND n.code IN ('past_use_by', 'label_outdated') AND (x.tray_id = l.tray_id OR (x.other_tray_id = l.tray_id \
                AND n.reason LIKE 'tray ' || (SELECT c.code FROM trays c WHERE c.id = l.tray_id) || ': %'))) \
                AND NOT EXISTS (SELECT 1 FROM stays f WHERE f.tray_id = l.tray_id AND f.method = 'frozen' AND f.from_at >= i.at AND f.from_at <= s.at)",
    },
    Question {
        name: "never later: stays follow each other without a gap, and a life is anchored where the last one began",
        count: "SELECT id FROM stays",
        wrong: "SELECT 'stay ' || n.id AS what FROM stays p JOIN stays n ON n.tray_id = p.tray_id AND n.id > p.id \
                WHERE n.id = (SELECT MIN(x.id) FROM stays x WHERE x.tray_id = p.tray_id AND x.id > p.id) \
                AND (p.to_at IS NULL OR n.from_at <> p.to_at) \
                UNION ALL SELECT 'tray ' || t.code AS what FROM trays t JOIN lives l ON l.tray_id = t.id JOIN stays s ON s.tray_id = t.id \
                WHERE s.id = (SELECT MAX(x.id) FROM stays x WHERE x.tray_id = t.id) AND s.from_at <> l.as_of",
    },
    Question {
        name: "never later: a tray in stock stands in exactly one place, one that is gone in none",
        count: "SELECT id FROM trays",
        wrong: "SELECT 'tray ' || t.code AS what FROM trays t LEFT JOIN stays s ON s.tray_id = t.id AND s.to_at IS NULL \
                GROUP BY t.id, t.code, t.fate, t.place_code HAVING COUNT(s.id) <> (CASE WHEN t.fate IS NULL THEN 1 ELSE 0 END) \
                OR (t.fate IS NULL AND MIN(s.place_code) <> t.place_code)",
    },
    Question {
        name: "oldest first: no output of a breakdown has more life or a later cutting than any input",
        count: "SELECT o.id FROM breakdown_outputs o JOIN breakdown_inputs i ON i.breakdown_id = o.breakdown_id",
        wrong: "SELECT 'breakdown ' || o.breakdown_id || ', tray ' || o.tray_id AS what FROM breakdown_outputs o \
                JOIN breakdown_inputs i ON i.breakdown_id = o.breakdown_id WHERE o.cut_at > i.cut_at \
                OR o.life_budget_micros - o.life_used_micros > CASE WHEN i.life_used_micros > i.life_budget_micros THEN 0 ELSE i.life_budget_micros - i.life_used_micros END \
                OR 1.0 * o.life_used_micros * i.life_budget_micros < 0.999999 * i.life_used_micros * o.life_budget_micros",
    },
    Question {
        name: "whole numbers: every mass and price is in its range",
        count: "SELECT id FROM trays",
        wrong: "SELECT 'tray ' || code AS what FROM trays WHERE net_g < 0 OR net_g > 10000000 OR price_per_kg_cents < 0",
    },
    // A sale that waited for a release has the earlier time and the later act, and was judged by what it then found.
    Question {
        name: "holds: nothing was sold while it was on hold, but what an exception says",
        count: "SELECT id FROM holds",
        wrong: "SELECT 'hold ' || h.id || ', sale ' || s.id AS what FROM holds h \
                JOIN sale_lines l ON l.tray_id = h.target_id JOIN sales s ON s.id = l.sale_id \
                WHERE h.scope = 'tray' AND s.act_id > h.act_id AND s.at > h.placed_at AND (h.released_at IS NULL OR s.at < h.released_at) AND s.act_id < COALESCE(h.release_act_id, s.act_id + 1) \
                AND NOT EXISTS (SELECT 1 FROM exceptions x JOIN exception_findings n ON n.exception_id = x.id WHERE x.sale_id = s.id \
                AND n.code IN ('on_hold') AND (x.tray_id = l.tray_id OR (x.other_tray_id = l.tray_id \
                AND n.reason LIKE 'tray ' || (SELECT c.code FROM trays c WHERE c.id = l.tray_id) || ': %'))) \
                UNION ALL SELECT 'hold ' || h.id || ', sale ' || s.id AS what FROM holds h JOIN held_trays t ON t.hold_id = h.id \
                JOIN sale_lines l ON l.tray_id = t.tray_id JOIN sales s ON s.id = l.sale_id \
                WHERE h.scope = 'batch' AND s.act_id > h.act_id AND s.at > h.placed_at AND (h.released_at IS NULL OR s.at < h.released_at) AND s.act_id < COALESCE(h.release_act_id, s.act_id + 1) \
                AND NOT EXISTS (SELECT 1 FROM exceptions x JOIN exception_findings n ON n.exception_id = x.id WHERE x.sale_id = s.id \
                AND n.code IN ('on_hold') AND (x.tray_id = l.tray_id OR (x.other_tray_id = l.tray_id \
                AND n.reason LIKE 'tray ' || (SELECT c.code FROM trays c WHERE c.id = l.tray_id) || ': %'))) \
                UNION ALL SELECT 'hold ' || h.id || ', sale ' || s.id AS what FROM holds h JOIN holdings g ON g.lot_id = h.target_id \
                JOIN sale_lines l ON l.tray_id = g.tray_id JOIN sales s ON s.id = l.sale_id \
                WHERE h.scope = 'lot' AND EXISTS (SELECT 1 FROM entries e WHERE e.tray_id = l.tray_id AND e.lot_id = h.target_id AND e.act_id < s.act_id) \
                AND s.act_id > h.act_id AND s.at > h.placed_at AND (h.released_at IS NULL OR s.at < h.released_at) AND s.act_id < COALESCE(h.release_act_id, s.act_id + 1) \
                AND NOT EXISTS (SELECT 1 FROM exceptions x JOIN exception_findings n ON n.exception_id = x.id WHERE x.sale_id = s.id \
                AND n.code IN ('on_hold') AND (x.tray_id = l.tray_id OR (x.other_tray_id = l.tray_id \
                AND n.reason LIKE 'tray ' || (SELECT c.code FROM trays c WHERE c.id = l.tray_id) || ': %')))",
    },
    Question {
        name: "prices: a tray in stock costs its list price, or what its last markdown that was not taken back made of it",
        count: "SELECT id FROM trays WHERE fate IS NULL",
        wrong: "SELECT 'tray ' || t.code AS what FROM trays t LEFT JOIN markdowns m ON m.id = (SELECT MAX(x.id) FROM markdowns x \
                WHERE x.tray_id = t.id AND NOT EXISTS (SELECT 1 FROM markdowns_undone u WHERE u.markdown_id = x.id)) \
                WHERE t.fate IS NULL AND t.price_per_kg_cents <> COALESCE(m.new_price_per_kg_cents, t.list_price_per_kg_cents)",
    },
    Question {
        name: "decisions: what was taken back leaves no errand, nor does a tray that is gone, and an errand that is done names its act",
        count: "SELECT id FROM errands",
        wrong: "SELECT 'errand ' || e.id AS what FROM errands e JOIN decisions d ON d.id = e.decision_id JOIN trays t ON t.id = e.tray_id \
                WHERE ((d.undone_at IS NOT NULL OR t.fate IS NOT NULL) AND e.done_at IS NULL AND e.dropped_at IS NULL) \
                OR (e.done_at IS NOT NULL AND (e.done_act_id IS NULL OR e.dropped_at IS NOT NULL))",
    },
    Question {
        name: "labels: what a label says, and the article in its code, are kept with it",
        count: "SELECT id FROM issued_labels",
        wrong: "SELECT 'label ' || id AS what FROM issued_labels WHERE says NOT LIKE '{%\"fields\"%}' OR LENGTH(article) <> 14",
    },
    Question {
        name: "no skipped change: on the shelf stands every tray for sale, where it stands, and nothing else",
        count: "SELECT id FROM trays WHERE fate IS NULL AND kind <> 'bulk'",
        wrong: "SELECT 'tray ' || t.code AS what FROM trays t LEFT JOIN shelf s ON s.tray_id = t.id \
                WHERE (t.fate IS NULL AND t.kind <> 'bulk') <> (s.tray_id IS NOT NULL) \
                OR s.tray_code <> t.code OR s.cut_code <> t.cut_code OR s.place_code <> t.place_code OR s.sellable_g NOT IN (0, t.net_g)",
    },
    Question {
        name: "no skipped change: the last change of each tray says what the shelf says",
        count: "SELECT DISTINCT tray_code FROM changes WHERE tray_code IS NOT NULL",
        wrong: "SELECT 'tray ' || COALESCE(c.tray_code, s.tray_code) AS what FROM changes c \
                JOIN (SELECT MAX(id) AS id FROM changes WHERE tray_code IS NOT NULL GROUP BY tray_code) newest ON newest.id = c.id \
                FULL JOIN shelf s ON s.tray_code = c.tray_code \
                WHERE COALESCE(c.offer, '') <> COALESCE(s.offer, '')",
    },
    Question {
        name: "picks: no tray is reserved on two open lists",
        count: "SELECT l.id FROM pick_lines l JOIN pick_lists p ON p.id = l.list_id WHERE p.state = 'open' AND l.state IN ('wanted', 'picked')",
        wrong: "SELECT 'tray ' || t.code AS what FROM pick_lines l JOIN pick_lists p ON p.id = l.list_id JOIN trays t ON t.id = l.tray_id \
                WHERE p.state = 'open' AND l.state IN ('wanted', 'picked') GROUP BY t.id, t.code HAVING COUNT(DISTINCT p.id) > 1",
    },
    Question {
        name: "prints: every print is of a label that was issued for its tray",
        count: "SELECT id FROM prints",
        wrong: "SELECT 'print ' || p.id AS what FROM prints p \
                WHERE NOT EXISTS (SELECT 1 FROM issued_labels i WHERE i.act_id = p.act_id AND i.tray_id = p.tray_id)",
    },
    Question {
        name: "webhooks: each stands at a change that there is, and each dead letter tells of one",
        count: "SELECT id FROM webhooks UNION ALL SELECT id FROM webhook_dead_letters",
        wrong: "SELECT 'webhook ' || w.id AS what FROM webhooks w WHERE (w.position_xact <> 0 OR w.position_id <> 0) \
                AND NOT EXISTS (SELECT 1 FROM changes c WHERE c.id = w.position_id AND c.xact = w.position_xact) \
                UNION ALL SELECT 'dead letter ' || l.id AS what FROM webhook_dead_letters l \
                WHERE NOT EXISTS (SELECT 1 FROM changes c WHERE c.id = l.change_id AND c.xact = l.xact)",
    },
];

/// Checks every invariant on one consistent state.
pub fn verify(reading: &mut Reading<'_>) -> Result<Vec<Finding>, Failure> {
    let mut findings = Vec::with_capacity(QUESTIONS.len());
    for question in QUESTIONS {
        let answer = ask(reading, question)?;
        findings.push(Finding { name: question.name, checked: answer.checked, wrong: answer.wrong });
    }
    let (checked, wrong) = repair::wrong_anchors(reading)?;
    let name = "never later: what each tray in stock lived through is what its places and ancestors give, told from the beginning";
    findings.push(Finding { name, checked, wrong });
    Ok(findings)
}
