//! Bars, drawn as SVG whose numbers stand beside them: the bar itself is told to nobody who cannot see it.

use maud::{Markup, html};

/// A bar of a value below the longest one. Nothing below zero is drawn.
pub fn bar(value: i64, most: i64) -> Markup {
    let width = (value.max(0) as f64 / most.max(1) as f64 * 100.0).min(100.0);
    html! {
        svg.bar viewBox="0 0 100 10" preserveAspectRatio="none" aria-hidden="true" {
            rect.ground x="0" y="0" width="100" height="10" {}
            rect.value x="0" y="0" width=(format!("{width:.2}")) height="10" {}
        }
    }
}

/// A share from 0 to 1 with a mark at another one.
pub fn ticked(share: f64, mark: f64) -> Markup {
    let at = |share: f64| share.clamp(0.0, 1.0) * 100.0;
    html! {
        svg.bar viewBox="0 0 100 10" preserveAspectRatio="none" aria-hidden="true" {
            rect.ground x="0" y="0" width="100" height="10" {}
            rect.value x="0" y="2" width=(format!("{:.2}", at(share))) height="6" {}
            rect.mark x=(format!("{:.2}", (at(mark) - 0.5).clamp(0.0, 99.0))) y="0" width="1" height="10" {}
        }
    }
}
