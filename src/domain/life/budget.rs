//! How long fish may be kept for eating raw, in hours at 0 °C, by species group and form. How fast those hours run is `life`'s.

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

/// The budget in microseconds at 0 °C. A shop's own setting counts only where it is stricter.
pub fn budget_micros(group: SpeciesGroup, form: Form, shop_hours: Option<i64>) -> i64 {
    let hours = budget_hours(group, form);
    shop_hours.map_or(hours, |own| own.clamp(0, hours)) * MICROS_PER_HOUR
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

    #[test]
    fn a_shop_may_only_be_stricter() {
        assert_eq!(budget_micros(SpeciesGroup::Tuna, Form::Block, Some(72)), 72 * MICROS_PER_HOUR);
        assert_eq!(budget_micros(SpeciesGroup::Tuna, Form::Block, Some(200)), 96 * MICROS_PER_HOUR);
    }
}
