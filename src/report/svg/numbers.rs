//! A chart's numbers as a table.

use maud::{Markup, html};

/// The first cell of a row is its head.
pub(super) fn table(caption: &str, heads: &[String], rows: impl Iterator<Item = Vec<String>>) -> Markup {
    html! {
        table {
            caption { (caption) }
            thead { tr { @for head in heads { th scope="col" { (head) } } } }
            tbody {
                @for row in rows {
                    tr {
                        @for (i, cell) in row.iter().enumerate() {
                            @if i == 0 { th scope="row" { (cell) } } @else { td { (cell) } }
                        }
                    }
                }
            }
        }
    }
}
