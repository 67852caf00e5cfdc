//! The table `[shop.terms]`: what the review reckons with where a cut says nothing else.

use super::hours::time;
use super::reader::Section;
use crate::domain::terms::{
    CENTS_PER_KG, ELASTICITY_PERMILLE, KITCHEN_G_PER_DAY, PORTION_G, ShopTerms, UNITS_PER_HOUR_PERMILLE,
};
use toml::Value;

const TIMES: &str = "must be 1 to 6 times such as \"08:30\", each later than the one before";
const OFF: &str = "must be 1 to 8 whole numbers from 1 to 900, each above the one before";

/// Reads `[shop.terms]`; what is wrong with it goes to the section's problems.
pub fn read(shop: &mut Section<'_>) -> ShopTerms {
    let standard = ShopTerms::default();
    let table = match shop.value("terms") {
        None => return standard,
        Some(Value::Table(table)) => table,
        Some(other) => {
            shop.wrong("terms", &other, "must be a table, [shop.terms]");
            return standard;
        }
    };
    shop.inner("terms", table, |section| ShopTerms {
        review_times: list(section, "review_times", standard.review_times, TIMES, 6, |value| {
            value.as_str().and_then(time)
        }),
        off_permille: list(section, "off_permille", standard.off_permille, OFF, 8, |value| {
            value.as_integer().filter(|off| (1..=900).contains(off))
        }),
        kitchen_permille: section.number("kitchen_permille", standard.kitchen_permille, 0..=1_000),
        kitchen_g_per_day: section.number("kitchen_g_per_day", standard.kitchen_g_per_day, KITCHEN_G_PER_DAY),
        freezer_permille: section.number("freezer_permille", standard.freezer_permille, 0..=1_000),
        freezer_least_hours: section.number("freezer_least_hours", standard.freezer_least_hours, 1..=240),
        waste_cents_per_kg: section.number("waste_cents_per_kg", standard.waste_cents_per_kg, CENTS_PER_KG),
        least_gain_cents: section.number("least_gain_cents", standard.least_gain_cents, 0..=1_000_000),
        least_gain_permille: section.number("least_gain_permille", standard.least_gain_permille, 0..=1_000),
        elasticity_permille: section.number("elasticity_permille", standard.elasticity_permille, ELASTICITY_PERMILLE),
        prior_units_per_hour_permille: section.number(
            "prior_units_per_hour_permille",
            standard.prior_units_per_hour_permille,
            UNITS_PER_HOUR_PERMILLE,
        ),
        portion_g: section.number("portion_g", standard.portion_g, PORTION_G),
    })
}

/// A list of at least one and at most `most` values that rise.
fn list<T: PartialOrd + Clone>(
    section: &mut Section<'_>,
    key: &'static str,
    standard: Vec<T>,
    must: &str,
    most: usize,
    read: impl Fn(&Value) -> Option<T>,
) -> Vec<T> {
    let Some(found) = section.value(key) else { return standard };
    let values = found.as_array().and_then(|values| values.iter().map(read).collect::<Option<Vec<T>>>());
    let rises = |values: &Vec<T>| values.iter().zip(values.iter().skip(1)).all(|(earlier, later)| earlier < later);
    match values.filter(|values| (1..=most).contains(&values.len()) && rises(values)) {
        Some(values) => values,
        None => {
            section.wrong(key, &found, must);
            standard
        }
    }
}

#[cfg(test)]
mod tests {
    use crate::cli::settings::{Settings, Sources, read};
    use crate::domain::hours::Span;

    fn read_alone(text: &str) -> Result<Settings, Vec<String>> {
        read(text, &Sources::default(), &|_| None)
    }

    #[test]
    fn the_week_is_read_and_every_wrong_day_is_named() {
        let hours = read_alone("[shop.hours]\nmon = 'closed'\nsat = '08:30-14:00'").unwrap().shop.hours;
        assert_eq!(hours.days[0], None);
        let span = |span: Option<Span>| span.map(|s| format!("{}-{}", s.open.format("%H:%M"), s.close.format("%H:%M")));
        assert_eq!(span(hours.days[5]).as_deref(), Some("08:30-14:00"));
        assert_eq!(span(hours.days[1]).as_deref(), Some("09:00-19:00"), "what is not said is as usual");
        let wrong = "[shop.hours]\nmon = '19:00-10:00'\ntue = '10-19'\nwed = true\nthu = '10:00-10:00'\nfri = 'shut'\nsat = '10:00-24:30'\nsunday = 'closed'";
        let problems = read_alone(wrong).unwrap_err();
        for key in ["mon", "tue", "wed", "thu", "fri", "sat", "sunday"] {
            assert!(problems.iter().any(|p| p.starts_with(&format!("shop.hours.{key}"))), "{key}: {problems:#?}");
        }
        assert_eq!(problems.len(), 7);
        let never: String = super::super::hours::DAYS.iter().map(|day| format!("{day} = 'closed'\n")).collect();
        assert!(read_alone(&format!("[shop.hours]\n{never}")).unwrap_err()[0].starts_with("shop.hours = "));
        assert!(read_alone("[shop]\nhours = 3").unwrap_err()[0].starts_with("shop.hours = 3"));
    }

    #[test]
    fn terms_have_their_ranges_and_all_that_is_wrong_is_told() {
        let rows = [
            ("review_times", "['15:00', '08:30']"),
            ("review_times", "['8:30']"),
            ("review_times", "[]"),
            ("review_times", "['08:00', '08:00']"),
            ("off_permille", "[100, 100]"),
            ("off_permille", "[0, 100]"),
            ("off_permille", "[901]"),
            ("off_permille", "['100']"),
            ("kitchen_permille", "1001"),
            ("kitchen_g_per_day", "-1"),
            ("freezer_permille", "1001"),
            ("freezer_least_hours", "0"),
            ("waste_cents_per_kg", "-1"),
            ("least_gain_cents", "1_000_001"),
            ("least_gain_permille", "1001"),
            ("elasticity_permille", "10_001"),
            ("prior_units_per_hour_permille", "0"),
            ("portion_g", "0"),
            ("nobody", "1"),
        ];
        for (key, value) in rows {
            let problems = read_alone(&format!("[shop.terms]\n{key} = {value}")).unwrap_err();
            assert_eq!(problems.len(), 1, "{problems:?}");
            assert!(problems[0].starts_with(&format!("shop.terms.{key}")), "{problems:?}");
        }
        let wrong = "[shop.terms]\nreview_times = 3\noff_permille = 4\nportion_g = 0\nkitchen_permille = -1";
        assert_eq!(read_alone(wrong).unwrap_err().len(), 4);
        let said = "[shop.terms]\nreview_times = ['09:00']\noff_permille = [150, 300]\nfreezer_permille = 300\nportion_g = 200";
        let terms = read_alone(said).unwrap().shop.terms;
        assert_eq!((terms.review_times.len(), terms.off_permille), (1, vec![150, 300]));
        assert_eq!((terms.freezer_permille, terms.portion_g, terms.kitchen_permille), (300, 200, 250));
        assert!(read_alone("[shop]\nterms = 3").unwrap_err()[0].starts_with("shop.terms = 3"));
    }
}
