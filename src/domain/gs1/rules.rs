//! Which elements may stand together: what each needs and excludes, repeats; and the stricter rules of what this shop prints.

use super::fault::{Fault, What};
use super::message::{ELEMENT_LIMIT, Element, Message, is_like};
use super::restricted;

/// The rules of the GS1 Barcode Syntax Dictionary over a whole message: they hold over all codes on one item together.
pub fn check(message: &Message) -> Result<(), Fault> {
    let elements = message.elements();
    if elements.len() > ELEMENT_LIMIT {
        return Err(Fault::new(What::TooManyElements));
    }
    for element in elements {
        if elements.iter().any(|other| other.ai == element.ai && other.value != element.value) {
            return Err(Fault::of(What::RepeatedDifferently, &element.ai));
        }
        let excluded = element.row.excludes.split(',').any(|pattern| stands_beside(elements, element, pattern));
        if excluded {
            return Err(Fault::of(What::Excluded, &element.ai));
        }
        if !has_what_it_needs(elements, element) {
            return Err(Fault::of(What::Required, &element.ai));
        }
    }
    Ok(())
}

/// An identifier does not exclude itself, even where it fits a pattern such as `310n`.
fn stands_beside(elements: &[Element], element: &Element, pattern: &str) -> bool {
    elements.iter().any(|other| other.ai != element.ai && is_like(&other.ai, pattern))
}

fn has_what_it_needs(elements: &[Element], element: &Element) -> bool {
    let needs = element.row.needs;
    needs.is_empty()
        || needs.split(',').any(|group| group.split('+').all(|pattern| stands_beside(elements, element, pattern)))
}

/// What this shop prints keeps stricter rules than a reader may demand. A weight stands only on an article of variable measure: indicator
/// digit 9 (GS1 General Specifications), or a restricted number. One unit of weight. A span of days runs forward.
pub fn printable(message: &Message) -> Result<(), Fault> {
    check(message)?;
    let weight = message.first_like("310n").or_else(|| message.first_like("320n"));
    let article = message.value("01").unwrap_or("");
    if let Some(weight) = weight.filter(|_| !article.starts_with('9') && !restricted::is_restricted(article)) {
        return Err(Fault::of(What::IndicatorNine, &weight.ai));
    }
    if message.first_like("310n").is_some() && message.first_like("320n").is_some() {
        return Err(Fault::of(What::TwoUnits, "320n"));
    }
    let span = message.value("7007").and_then(|days| days.split_at_checked(6));
    if span.is_some_and(|(start, end)| !end.is_empty() && end < start) {
        return Err(Fault::of(What::SpanReversed, "7007"));
    }
    Ok(())
}
