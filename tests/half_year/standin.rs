//! stand-in
use crate::counter::Counter;
use crate::world::*;
use sakudana::domain::advice::{Demand, Problem, Stage, Unit};
use sakudana::domain::demand::Forecast;
use sakudana::domain::terms::ShopTerms;

pub fn ask(counter: &Counter<'_>, forecast: &Forecast, terms: &ShopTerms, at: i64, sure: bool) -> Problem {
    let year = counter.year;
    let stock = counter.stock();
    let ends: Vec<i64> = stock.iter().map(|(b, _)| year.batches[*b].end).collect();
    let last = *ends.last().unwrap();
    let mut cuts: Vec<i64> = vec![at];
    cuts.extend(ends.iter().copied());
    for day in at / DAY..=last / DAY {
        if let Some((_, close)) = open_on(day) {
            for t in [day * DAY + REVIEWS[0], day * DAY + REVIEWS[1], close] {
                if t > at && t < last { cuts.push(t) }
            }
        }
    }
    cuts.sort();
    cuts.dedup();
    let mut stages = Vec::new();
    let close = open_on(at / DAY).unwrap().1;
    let mut today = 0;
    for pair in cuts.windows(2) {
        let mut hours = 0.0;
        for day in pair[0] / DAY..=pair[1] / DAY {
            let Some((open, close)) = open_on(day) else { continue };
            let (mut t, end) = (open.max(pair[0]), close.min(pair[1]));
            while t < end {
                let next = ((t / HOUR + 1) * HOUR).min(end);
                hours += forecast.pattern.factors[weekday(day)][(t % DAY / HOUR) as usize] * (next - t) as f64 / HOUR as f64;
                t = next;
            }
        }
        let s = pair[0] % DAY;
        let open = open_on(pair[0] / DAY).is_some();
        stages.push(Stage {
            hours,
            review: open && REVIEWS.contains(&s),
            kitchen_g: if open && s == REVIEWS[0] { year.kitchen_g_per_day } else { 0 },
        });
        if pair[1] <= close { today += 1 }
    }
    let mut units = Vec::new();
    let mut reaches = Vec::new();
    for (b, trays) in stock {
        for t in trays {
            units.push(Unit {
                grams: year.grams[t],
                price: year.ladder[counter.steps[b]],
                ends: cuts.iter().position(|c| *c == year.batches[b].end).unwrap(),
                tray: t,
            });
        }
        reaches.push(units.len());
    }
    Problem {
        units, stages, today: today.max(1), prices: year.ladder.clone(), reaches,
        demand: if sure { Demand::Known(forecast.belief.mean()) } else { Demand::Believed(forecast.belief) },
        elasticity: forecast.elasticity.at_list,
        kitchen_cents_per_kg: year.kitchen_cents_per_kg,
        freezer: None,
        waste_cents_per_kg: year.waste_cents_per_kg,
        left_cents_per_kg: 0,
    }
}
