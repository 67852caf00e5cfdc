//! What labels are drawn with: the typefaces, the stocks, and on which of them a label is tried.

use super::failure::{Failure, refuse};
use super::label::Wanted;
use crate::domain::label_fields::Pack;
use crate::domain::refusal::Code;
use crate::labels::facts::TrayLabel;
use crate::labels::layout::{Layout, lay_out};
use crate::labels::refusal::LabelRefusal;
use crate::labels::stock::{Dpi, LabelStock};
use crate::labels::stocks::Stocks;
use crate::labels::text::Fonts;
use std::sync::Arc;

/// The shop's press.
#[derive(Debug, Clone)]
pub struct Press {
    /// None: the built-in typefaces alone.
    fonts: Option<Arc<Fonts>>,
    stocks: Stocks,
    /// Names of the stocks in the shop's printers, tried in this order.
    usual: Vec<String>,
    dpi: Dpi,
    pack: Pack,
}

/// The stocks tried when a shop names none.
pub const USUAL_STOCKS: [&str; 3] = ["62x40", "80x50", "100x62"];

impl Default for Press {
    fn default() -> Press {
        Press {
            fonts: None,
            stocks: Stocks::built_in().clone(),
            usual: USUAL_STOCKS.map(str::to_owned).to_vec(),
            dpi: Dpi::D203,
            pack: Pack::Usual,
        }
    }
}

impl Press {
    /// The usual stocks exist at this resolution, which whoever reads the settings has looked at.
    pub fn new(fonts: Option<Fonts>, stocks: Stocks, usual: Vec<String>, dpi: Dpi, pack: Pack) -> Press {
        Press { fonts: fonts.map(Arc::new), stocks, usual, dpi, pack }
    }

    pub fn fonts(&self) -> &Fonts {
        self.fonts.as_deref().unwrap_or_else(|| Fonts::standard())
    }

    pub const fn pack(&self) -> Pack {
        self.pack
    }

    pub const fn stocks(&self) -> &Stocks {
        &self.stocks
    }

    /// Lays a label out on the first usual stock that takes all of it; what the last of them refuses is the refusal.
    pub fn fit(&self, label: &TrayLabel) -> Result<(Layout, LabelStock), Failure> {
        self.fit_at(label, self.dpi)
    }

    /// The same on the stock and at the resolution that are asked for.
    pub fn fit_on(&self, label: &TrayLabel, wanted: &Wanted) -> Result<(Layout, LabelStock), Failure> {
        let dpi = match wanted.dpi.map(Dpi::from_number) {
            None => self.dpi,
            Some(Some(dpi)) => dpi,
            Some(None) => return refuse(Code::InvalidValue, "dpi", "must be 203, 300 or 600"),
        };
        let Some(name) = &wanted.stock else {
            return self.fit_at(label, dpi);
        };
        let Some(stock) = self.stocks.find(name, dpi) else {
            return refuse(Code::InvalidValue, "stock", "there is no such label stock at this resolution");
        };
        Ok((lay_out(self.fonts(), label, &stock)?, stock))
    }

    fn fit_at(&self, label: &TrayLabel, dpi: Dpi) -> Result<(Layout, LabelStock), Failure> {
        let mut refused = LabelRefusal::CodeDoesNotFit;
        for stock in self.usual.iter().filter_map(|name| self.stocks.find(name, dpi)) {
            match lay_out(self.fonts(), label, &stock) {
                Ok(layout) => return Ok((layout, stock)),
                Err(refusal) => refused = refusal,
            }
        }
        Err(refused.into())
    }
}
