//! What a shelf is, told as plainly as can be, one call after the other: grams left, price, sold or not. Written without a look into the
//! program; the checker asks whether what callers heard fits some order of calls on this.

use std::collections::BTreeMap;

use stateright::semantics::SequentialSpec;

/// What a caller wants.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Call {
    /// Trays, and how much of a tub.
    Sell(Vec<(usize, Option<i64>)>),
    /// All of a block, or so much of a tub.
    Kitchen(usize, Option<i64>),
    MarkDown(usize, i64),
    /// A sale by its number, with the trays on it.
    Reverse(i64, Vec<usize>),
    Scan(usize),
}

impl Call {
    pub fn trays(&self) -> Vec<usize> {
        match self {
            Call::Sell(lines) => lines.iter().map(|line| line.0).collect(),
            Call::Reverse(_, trays) => trays.clone(),
            Call::Kitchen(tray, _) | Call::MarkDown(tray, _) | Call::Scan(tray) => vec![*tray],
        }
    }
}

/// What a caller hears.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Said {
    Sold {
        sale: i64,
        cents: i64,
    },
    /// What is left.
    Taken(i64),
    MarkedDown,
    Reversed,
    /// The code, and what a refused sale of one tray says besides: the sale it went out with, or the grams that are left.
    Refused(String, Option<i64>),
    Seen {
        grams: i64,
        price: i64,
        verdict: String,
        sale: Option<i64>,
    },
    /// The database was too busy: nothing was done, so there is nothing to explain.
    Nothing,
}

/// A call with the number its sale was given, which is the database's own choice.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Op {
    pub call: Call,
    pub sale: Option<i64>,
}

#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub struct Tray {
    pub tub: bool,
    pub grams: i64,
    pub price: i64,
    pub marked_down: bool,
    pub gone: Option<Gone>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Gone {
    Sold,
    Cooked,
}

#[derive(Debug, Clone, PartialEq, Eq, Hash)]
struct Sale {
    lines: Vec<(usize, i64)>,
    standing: bool,
}

#[derive(Debug, Clone, PartialEq, Eq, Hash, Default)]
pub struct Shelf {
    pub trays: Vec<Tray>,
    /// By their numbers, so that two draws leave the same shelf in either order.
    sales: BTreeMap<i64, Sale>,
}

fn refused(code: &str) -> Said {
    Said::Refused(code.to_owned(), None)
}

impl Shelf {
    pub fn of(trays: &[Tray]) -> Shelf {
        Shelf { trays: trays.to_vec(), sales: BTreeMap::new() }
    }

    /// The standing sale that the shop names for a tray: the highest number, where a tub has several.
    fn sale_of(&self, tray: usize) -> Option<i64> {
        let on = |sale: &Sale| sale.standing && sale.lines.iter().any(|line| line.0 == tray);
        self.sales.iter().rev().find(|(_, sale)| on(sale)).map(|(number, _)| *number)
    }

    /// Why a line cannot be sold, the gravest first.
    fn stop(&self, tray: usize, grams: i64) -> Option<Said> {
        let found = &self.trays[tray];
        match found.gone {
            Some(Gone::Sold) => Some(Said::Refused("already_sold".into(), self.sale_of(tray))),
            Some(Gone::Cooked) => Some(refused("tray_gone")),
            None if grams > found.grams => Some(Said::Refused("insufficient_stock".into(), Some(found.grams))),
            None => None,
        }
    }

    fn sell(&mut self, lines: &[(usize, Option<i64>)], number: i64) -> Said {
        let lines: Vec<(usize, i64)> =
            lines.iter().map(|(tray, grams)| (*tray, grams.unwrap_or(self.trays[*tray].grams))).collect();
        let stops: Vec<Said> = lines.iter().filter_map(|(tray, grams)| self.stop(*tray, *grams)).collect();
        if !stops.is_empty() {
            return joined(stops, lines.len());
        }
        let mut cents = 0;
        for (tray, grams) in &lines {
            let tray = &mut self.trays[*tray];
            tray.grams -= grams;
            tray.gone = (tray.grams == 0).then_some(Gone::Sold);
            // Half a cent is rounded up.
            cents += (tray.price * grams + 500) / 1_000;
        }
        self.sales.insert(number, Sale { lines, standing: true });
        Said::Sold { sale: number, cents }
    }

    fn cook(&mut self, tray: usize, grams: Option<i64>) -> Said {
        let tray = &mut self.trays[tray];
        let grams = grams.unwrap_or(tray.grams);
        match tray.gone {
            Some(_) => refused("tray_gone"),
            None if grams > tray.grams => refused("insufficient_stock"),
            None => {
                tray.grams -= grams;
                tray.gone = (tray.grams == 0).then_some(Gone::Cooked);
                Said::Taken(tray.grams)
            }
        }
    }

    fn mark_down(&mut self, tray: usize, price: i64) -> Said {
        let tray = &mut self.trays[tray];
        match tray.gone {
            Some(Gone::Sold) => refused("already_sold"),
            Some(Gone::Cooked) => refused("tray_gone"),
            None if price >= tray.price => refused("price_would_rise"),
            None => {
                (tray.price, tray.marked_down) = (price, true);
                Said::MarkedDown
            }
        }
    }

    fn reverse(&mut self, number: i64) -> Said {
        // A sale that nobody was told of: only a damaged history asks.
        let Some(sale) = self.sales.get_mut(&number) else { return refused("not_found") };
        if !sale.standing {
            return refused("already_reversed");
        }
        if sale.lines.iter().any(|(tray, _)| self.trays[*tray].gone == Some(Gone::Cooked)) {
            return refused("tray_gone");
        }
        sale.standing = false;
        for (tray, grams) in &sale.lines {
            self.trays[*tray].grams += grams;
            self.trays[*tray].gone = None;
        }
        Said::Reversed
    }

    fn scan(&self, tray: usize) -> Said {
        let found = &self.trays[tray];
        let verdict = match found.gone {
            Some(Gone::Sold) => "already_sold",
            Some(Gone::Cooked) => "tray_gone",
            None if found.marked_down => "sell_at_markdown",
            None => "sell",
        };
        let sale = found.gone.and_then(|_| self.sale_of(tray));
        Said::Seen { grams: found.grams, price: found.price, verdict: verdict.into(), sale }
    }
}

/// The codes a sale may earn here, the gravest first (`openapi/refusal-codes.tsv` has them in this order).
const GRAVEST_FIRST: [&str; 3] = ["already_sold", "tray_gone", "insufficient_stock"];

/// Of several lines only the gravest code is told.
fn joined(mut stops: Vec<Said>, lines: usize) -> Said {
    let grave = |said: &Said| match said {
        Said::Refused(code, _) => GRAVEST_FIRST.iter().position(|known| known == code),
        _ => None,
    };
    stops.sort_by_key(grave);
    match stops.swap_remove(0) {
        Said::Refused(code, _) if lines > 1 => Said::Refused(code, None),
        only => only,
    }
}

impl SequentialSpec for Shelf {
    type Op = Op;
    type Ret = Said;

    fn invoke(&mut self, op: &Op) -> Said {
        match &op.call {
            Call::Sell(lines) => self.sell(lines, op.sale.unwrap_or(0)),
            Call::Kitchen(tray, grams) => self.cook(*tray, *grams),
            Call::MarkDown(tray, price) => self.mark_down(*tray, *price),
            Call::Reverse(sale, _) => self.reverse(*sale),
            Call::Scan(tray) => self.scan(*tray),
        }
    }
}
