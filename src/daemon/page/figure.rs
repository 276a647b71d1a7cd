//! A chart as it stands in a page, with the same numbers as a table.

use crate::report::svg::Chart;
use maud::{Markup, html};

/// A chart with words under it, and its table to be opened.
pub fn figure(chart: &Chart, key: &str, caption: &Markup) -> Markup {
    html! {
        figure {
            (chart.svg)
            figcaption.faint { (caption) }
            details data-key=(format!("text-{key}")) {
                summary { "The same numbers as a table" }
                (wide(&format!("Numbers of the chart: {key}"), &chart.as_text))
            }
        }
    }
}

/// A table that may be wider than the screen: it is scrolled by itself, by keyboard too.
pub fn wide(about: &str, table: &Markup) -> Markup {
    html! { .wide role="region" aria-label=(about) tabindex="0" { (table) } }
}
