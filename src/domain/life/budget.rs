//! What a tray may use up: ice time for eating raw and for its colour, time in frozen storage, by species group and form. How fast it
//! runs is `rate`'s.

use super::rate::COLOUR_BUDGET_MICROS;
use super::wear::Budgets;
use crate::domain::profile::{RawModel, Rules};
use crate::units::instant::MICROS_PER_HOUR;

/// Species that keep alike.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum SpeciesGroup {
    Tuna,
    Salmonid,
    Oily,
    White,
}

/// The form a cut is kept in: the more surface, the shorter.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Form {
    Whole,
    Loin,
    Block,
    Slices,
    Scrape,
    ForCooking,
}

impl SpeciesGroup {
    pub const ALL: [(SpeciesGroup, &'static str); 4] = [
        (SpeciesGroup::Tuna, "tuna"),
        (SpeciesGroup::Salmonid, "salmonid"),
        (SpeciesGroup::Oily, "oily"),
        (SpeciesGroup::White, "white"),
    ];

    pub fn as_str(self) -> &'static str {
        Self::ALL.iter().find(|(group, _)| *group == self).map_or("", |(_, text)| text)
    }

    pub fn parse(text: &str) -> Option<SpeciesGroup> {
        Self::ALL.iter().find(|(_, name)| *name == text).map(|(group, _)| *group)
    }
}

impl Form {
    pub const ALL: [(Form, &'static str); 6] = [
        (Form::Whole, "whole"),
        (Form::Loin, "loin"),
        (Form::Block, "block"),
        (Form::Slices, "slices"),
        (Form::Scrape, "scrape"),
        (Form::ForCooking, "for_cooking"),
    ];

    pub fn as_str(self) -> &'static str {
        Self::ALL.iter().find(|(form, _)| *form == self).map_or("", |(_, text)| text)
    }

    pub fn parse(text: &str) -> Option<Form> {
        Self::ALL.iter().find(|(_, name)| *name == text).map(|(form, _)| *form)
    }
}

/// The budget in hours at 0 °C.
///
/// Tuna, whole to block: 96 h, the 4 days at 0 °C of Agustini (yellowfin, K value, J. Coastal Development). Slices: 4 h on ice
/// (Liu, Wang & Luo 2010, Food Science (China) 31(2):273-276), taken for every species. All else is common practice, no source:
/// other groups shorter than tuna, scrape half of its block because of its cut surface, cooking cuts one and a half times.
pub const fn budget_hours(group: SpeciesGroup, form: Form) -> i64 {
    let block = match group {
        SpeciesGroup::Tuna => 96,
        SpeciesGroup::Salmonid | SpeciesGroup::White => 72,
        SpeciesGroup::Oily => 48,
    };
    match form {
        Form::Whole | Form::Loin | Form::Block => block,
        Form::Slices => 4,
        Form::Scrape => block / 2,
        Form::ForCooking => block + block / 2,
    }
}

/// The budget a shop set for one of its cuts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct OwnBudget {
    pub hours: Option<i64>,
    /// The shop has validated it, so that it counts even where it is looser.
    pub validated: bool,
}

/// The longest budget a shop may validate, in hours at 0 °C: 24 days, the longest that yellowfin was accepted by a panel at 0 °C (university
/// thesis, Sri Lanka). It keeps typing errors out and recommends nothing.
pub const LONGEST_OWN_HOURS: i64 = 24 * 24;

/// The raw budget in microseconds at 0 °C. A shop's own counts where it is stricter, or validated.
pub fn budget_micros(group: SpeciesGroup, form: Form, own: OwnBudget) -> i64 {
    let hours = budget_hours(group, form);
    let most = if own.validated { LONGEST_OWN_HOURS } else { hours };
    own.hours.map_or(hours, |wish| wish.clamp(0, most)) * MICROS_PER_HOUR
}

/// Everything a tray of this group and form may use up under the rules in force.
pub fn budgets(rules: &Rules, group: SpeciesGroup, form: Form, own: OwnBudget) -> Budgets {
    Budgets {
        raw_micros: budget_micros(group, form, own),
        colour_micros: rules.running.colour.then(|| colour_micros(rules.rates.model, group, form)).flatten(),
        frozen_micros: rules.frozen_micros(),
    }
}

/// The colour budget of red fish, in microseconds at 0 °C; none for other fish and where nobody looks at the colour.
///
/// Tuna keeps its colour for 6 days at 4 °C (never frozen: Seki et al. 2016, Asian Fisheries Science 29(4):232-244, abstract), counted at
/// 0 °C by the model in force, which makes it an estimate: no hours at other temperatures are published. Slices: 4 h on ice (Liu, Wang &
/// Luo 2010, Food Science (China) 31(2):273-276). Scrape half of its block: common practice, no source.
fn colour_micros(model: RawModel, group: SpeciesGroup, form: Form) -> Option<i64> {
    if group != SpeciesGroup::Tuna {
        return None;
    }
    match form {
        Form::Loin | Form::Block => Some(block_colour_micros(model)),
        Form::Scrape => Some(block_colour_micros(model) / 2),
        Form::Slices => Some(4 * MICROS_PER_HOUR),
        Form::Whole | Form::ForCooking => None,
    }
}

fn block_colour_micros(model: RawModel) -> i64 {
    match model {
        RawModel::Cautious | RawModel::SquareRoot => COLOUR_BUDGET_MICROS,
        // The rate of this model alone at 4 °C, rounded down: the published six days must not grow by the choice of a slower model.
        RawModel::Exponential => 6 * 24 * MICROS_PER_HOUR / 1_000_000 * 1_616_074,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn names_read_back() {
        assert!(
            SpeciesGroup::ALL
                .iter()
                .all(|(group, text)| SpeciesGroup::parse(text) == Some(*group) && group.as_str() == *text)
        );
        assert!(Form::ALL.iter().all(|(form, text)| Form::parse(text) == Some(*form) && form.as_str() == *text));
    }

    fn own(hours: i64, validated: bool) -> OwnBudget {
        OwnBudget { hours: Some(hours), validated }
    }

    #[test]
    fn a_shop_may_only_be_stricter_unless_it_validated() {
        let micros = |own| budget_micros(SpeciesGroup::Tuna, Form::Block, own) / MICROS_PER_HOUR;
        assert_eq!(micros(OwnBudget::default()), 96);
        assert_eq!((micros(own(72, false)), micros(own(72, true))), (72, 72));
        assert_eq!((micros(own(200, false)), micros(own(200, true))), (96, 200));
        assert_eq!((micros(own(-1, true)), micros(own(9_999, true))), (0, LONGEST_OWN_HOURS));
    }
}
