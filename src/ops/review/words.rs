//! Advice in one sentence that a busy person understands: what to do, and what it changes against leaving everything alone.

use super::{Course, Proposal, Row};
use crate::domain::shop::Shop;
use crate::domain::tray::Kind;
use crate::units::mass::Grams;

/// So many trays, with their weight.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
struct Part {
    trays: usize,
    grams: i64,
}

/// What is expected to be sold today.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Sold {
    units: f64,
    grams: i64,
    all_permille: i64,
    in_time_g: i64,
}

/// Everything the sentence says.
#[derive(Debug, Clone, Copy, PartialEq)]
struct Said<'a> {
    cut: &'a str,
    kind: Kind,
    all: Part,
    kitchen: Part,
    frozen: Part,
    lowered: Part,
    price: &'a str,
    sold: Sold,
    alone: Sold,
    saved_g: i64,
}

/// The sentence of a proposal.
pub fn sentence(shop: &Shop, proposal: &Proposal) -> String {
    let part = |of: &dyn Fn(&super::Advised) -> i64| {
        let grams: Vec<i64> = proposal.trays.iter().map(of).filter(|grams| *grams > 0).collect();
        Part { trays: grams.len(), grams: grams.iter().sum() }
    };
    let taken = |course: Course| part(&|a| if a.course == course { a.on.free_g - a.kitchen_g } else { 0 });
    let price = proposal.price.map(|price| shop.weight_unit.write_price(price, &shop.currency)).unwrap_or_default();
    let said = Said {
        cut: &proposal.cut_name,
        kind: proposal.trays.first().map_or(Kind::Block, |a| a.on.tray.kind),
        all: part(&|a| a.on.free_g),
        kitchen: part(&|a| a.kitchen_g),
        frozen: taken(Course::Freeze),
        lowered: taken(Course::MarkDown),
        price: &price,
        sold: sold(&proposal.best),
        alone: sold(&proposal.nothing),
        saved_g: proposal.nothing.whole.wasted_g - proposal.best.whole.wasted_g,
    };
    let changes = [said.sells(), said.thrown_away(), Some(more(shop, proposal.gain_over_nothing_cents()))];
    format!("{}: {}.", said.doing(), changes.into_iter().flatten().collect::<Vec<_>>().join("; "))
}

const fn sold(row: &Row) -> Sold {
    Sold {
        units: row.sold_today_units,
        grams: row.sold_today_g,
        all_permille: row.sells_out_today_permille,
        in_time_g: row.whole.sold_g,
    }
}

fn more(shop: &Shop, cents: i64) -> String {
    let (amount, word) = if cents < 0 { (-cents, "less") } else { (cents, "more") };
    format!("about {} {word}", near(shop, amount))
}

/// An amount of which nobody believes the last digits, without decimals where it has none.
pub fn near(shop: &Shop, cents: i64) -> String {
    let unit = 10_i64.pow(shop.currency.decimals());
    let step = if cents >= 10 * unit { unit } else { (unit / 10).max(1) };
    let amount = (cents + step / 2).div_euclid(step) * step;
    let written = shop.money(amount);
    if amount % unit != 0 || unit == 1 {
        return written;
    }
    let none = |mark: char| format!("{mark}{}", zeros(unit));
    written.replacen(&none('.'), "", 1).replacen(&none(','), "", 1)
}

fn zeros(unit: i64) -> String {
    unit.to_string().trim_start_matches('1').to_owned()
}

/// A weight to ten grams.
fn about(grams: i64) -> i64 {
    (grams + 5).div_euclid(10) * 10
}

fn weight(grams: i64) -> String {
    Grams::new(grams).map(|grams| grams.to_string()).unwrap_or_default()
}

impl Said<'_> {
    fn noun(&self, count: usize) -> &'static str {
        match (self.kind, count) {
            (Kind::Tub, 1) => "tub",
            (Kind::Tub, _) => "tubs",
            (_, 1) => "block",
            _ => "blocks",
        }
    }

    /// The orders, the first with the name of the cut.
    fn doing(&self) -> String {
        let mut orders: Vec<String> = Vec::new();
        if self.kitchen.trays > 0 {
            orders.push(format!("send {} to the kitchen", self.some(self.kitchen, "oldest", true)));
        }
        if self.frozen.trays > 0 {
            orders.push(format!("freeze {}", self.some(self.frozen, "youngest", orders.is_empty())));
        }
        if self.lowered.trays > 0 {
            orders.push(self.lower(orders.is_empty()));
        }
        if orders.is_empty() {
            orders.push(format!("leave {} as it is", self.cut));
        }
        let mut text = match orders.split_last() {
            Some((last, [])) => last.clone(),
            Some((last, before)) => format!("{} and {last}", before.join(", ")),
            None => String::new(),
        };
        if let Some(first) = text.get_mut(0..1) {
            first.make_ascii_uppercase();
        }
        text
    }

    /// Trays that leave the counter, with their weight.
    fn some(&self, part: Part, which: &str, named: bool) -> String {
        let of = if named { format!(" of {}", self.cut) } else { String::new() };
        match (self.kind, part.trays) {
            (Kind::Tub, _) => format!("{}{of}", weight(part.grams)),
            (_, 1) if self.all.trays == 1 => format!("the block{of} ({})", weight(part.grams)),
            (_, count) if count == self.all.trays => format!("all {count} blocks{of} ({})", weight(part.grams)),
            (_, 1) => format!("the {which} block{of} ({})", weight(part.grams)),
            (_, count) => format!("the {count} {which} blocks{of} ({})", weight(part.grams)),
        }
    }

    fn lower(&self, first: bool) -> String {
        let count = self.lowered.trays;
        // A tub of which the kitchen gets a part is both taken and lowered.
        let gone = if self.kind == Kind::Tub { self.frozen.trays } else { self.kitchen.trays + self.frozen.trays };
        let what = match (first, count >= self.all.trays - gone.min(self.all.trays)) {
            (true, true) => self.cut.to_owned(),
            (false, true) => "the rest".to_owned(),
            (_, false) => {
                let of = if first { format!(" of {}", self.cut) } else { String::new() };
                match count {
                    1 => format!("the oldest {}{of}", self.noun(1)),
                    count => format!("the {count} oldest {}{of}", self.noun(count)),
                }
            }
        };
        format!("lower {what} to {}", self.price)
    }

    /// What sells today, where that is another number than before.
    fn sells(&self) -> Option<String> {
        let in_time = about(self.sold.in_time_g - self.alone.in_time_g);
        let later =
            (in_time >= 10 && self.lowered.trays > 0).then(|| format!("about {} more sells in time", weight(in_time)));
        match (self.kind, self.all.trays) {
            (Kind::Tub, _) => {
                let (now, before) = (about(self.sold.grams), about(self.alone.grams));
                if now <= before {
                    return later;
                }
                Some(format!(
                    "about {} of {} sells today instead of {}",
                    weight(now),
                    weight(self.all.grams),
                    weight(before)
                ))
            }
            (_, 1) => {
                let percent = |permille: i64| (permille + 5) / 10;
                let (now, before) = (percent(self.sold.all_permille), percent(self.alone.all_permille));
                if self.lowered.trays == 0 || now <= before {
                    return later;
                }
                Some(format!("it sells today with a chance of {now} % instead of {before} %"))
            }
            (_, count) => {
                let (now, before) = (super::weigh::whole(self.sold.units), super::weigh::whole(self.alone.units));
                if now <= before {
                    return later;
                }
                let sell = if now == 1 { "sells" } else { "sell" };
                Some(format!("about {now} of {count} blocks {sell} today instead of {before}"))
            }
        }
    }

    fn thrown_away(&self) -> Option<String> {
        match about(self.saved_g.abs()) {
            0 => None,
            grams if self.saved_g > 0 => Some(format!("about {} less is thrown away", weight(grams))),
            grams => Some(format!("about {} more is thrown away", weight(grams))),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SOLD: Sold = Sold { units: 4.2, grams: 840, all_permille: 350, in_time_g: 1_400 };

    fn blocks(all: usize, kitchen: usize, frozen: usize, lowered: usize) -> Said<'static> {
        let part = |trays: usize| Part { trays, grams: i64::try_from(trays).unwrap() * 270 };
        Said {
            cut: "Lean saku",
            kind: Kind::Block,
            all: part(all),
            kitchen: part(kitchen),
            frozen: part(frozen),
            lowered: part(lowered),
            price: "47.60 €/kg",
            sold: Sold { units: 6.1, grams: 1_240, all_permille: 602, in_time_g: 1_920 },
            alone: SOLD,
            saved_g: 523,
        }
    }

    #[test]
    fn orders_fit_what_they_are_about() {
        let tub = |said: Said<'static>| Said { kind: Kind::Tub, cut: "Scrape", ..said };
        for (said, words) in [
            (blocks(9, 0, 0, 9), "Lower Lean saku to 47.60 €/kg"),
            (blocks(9, 0, 0, 3), "Lower the 3 oldest blocks of Lean saku to 47.60 €/kg"),
            (blocks(9, 0, 0, 1), "Lower the oldest block of Lean saku to 47.60 €/kg"),
            (blocks(1, 1, 0, 0), "Send the block of Lean saku (270 g) to the kitchen"),
            (blocks(3, 3, 0, 0), "Send all 3 blocks of Lean saku (810 g) to the kitchen"),
            (blocks(3, 1, 0, 0), "Send the oldest block of Lean saku (270 g) to the kitchen"),
            (
                blocks(9, 2, 0, 7),
                "Send the 2 oldest blocks of Lean saku (540 g) to the kitchen and lower the rest to 47.60 €/kg",
            ),
            (
                blocks(9, 2, 4, 3),
                "Send the 2 oldest blocks of Lean saku (540 g) to the kitchen, freeze the 4 youngest blocks (1.080 kg) and lower the rest to 47.60 €/kg",
            ),
            (
                blocks(9, 0, 1, 2),
                "Freeze the youngest block of Lean saku (270 g) and lower the 2 oldest blocks to 47.60 €/kg",
            ),
            (tub(blocks(1, 1, 0, 1)), "Send 270 g of Scrape to the kitchen and lower the rest to 47.60 €/kg"),
            (tub(blocks(2, 0, 0, 1)), "Lower the oldest tub of Scrape to 47.60 €/kg"),
        ] {
            assert_eq!(said.doing(), words);
        }
    }

    #[test]
    fn what_changes_is_said_in_numbers_that_differ() {
        let said = blocks(9, 0, 0, 9);
        assert_eq!(said.sells().as_deref(), Some("about 6 of 9 blocks sell today instead of 4"));
        assert_eq!(said.thrown_away().as_deref(), Some("about 520 g less is thrown away"));
        let one = Said { sold: Sold { units: 1.2, ..said.sold }, alone: Sold { units: 0.3, ..SOLD }, ..said };
        assert_eq!(one.sells().as_deref(), Some("about 1 of 9 blocks sells today instead of 0"));
        let near = Said { sold: Sold { units: 4.4, ..said.sold }, ..said };
        assert_eq!(near.sells().as_deref(), Some("about 520 g more sells in time"));
        let single = blocks(1, 0, 0, 1);
        assert_eq!(single.sells().as_deref(), Some("it sells today with a chance of 60 % instead of 35 %"));
        let tub = Said { kind: Kind::Tub, ..blocks(1, 0, 0, 1) };
        assert_eq!(tub.sells().as_deref(), Some("about 1.240 kg of 270 g sells today instead of 840 g"));
        assert_eq!(Said { saved_g: -8, ..said }.thrown_away().as_deref(), Some("about 10 g more is thrown away"));
        assert_eq!(Said { saved_g: 4, ..said }.thrown_away(), None);
        assert_eq!(blocks(3, 3, 0, 0).sells().map(|_| ()), Some(()));
    }
}
