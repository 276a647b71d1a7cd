//! What other devices measured of an athlete's balls, by side.

use super::super::super::figure::wide;
use super::super::super::words::{self, NOTHING};
use crate::ball::measured::Tally;
use crate::daemon::record::measured_balls::FromSide;
use crate::report::words::{Unit, Units, rounded};
use maud::{Markup, html};

/// The table; nothing where nothing was measured.
pub fn section(sides: &[FromSide], units: Units) -> Markup {
    let excluded: usize = sides.iter().map(|from| from.excluded).sum();
    let (speed, length) = (units.speed(), units.length());
    let table = html! {
        table.balls {
            thead { tr {
                th.words scope="col" { "Side" } th.words scope="col" { "What" } th scope="col" { "Balls" }
                th scope="col" { "Best" } th scope="col" { "Median" } th scope="col" { "Spread" }
            } }
            tbody { @for from in sides {
                (row(from, "Exit speed", from.tallies.exit_speed_mps, speed, 1))
                (row(from, "Carry", from.tallies.carry_m, length, 0))
            } }
        }
    };
    html! {
        @if !sides.is_empty() {
            section.balls {
                h2 { "Ball, measured" }
                (wide("Ball, measured", &table))
                p.faint {
                    "By other devices, whatever was entered or imported of them. Spread is one standard deviation of the balls."
                    @if excluded > 0 { " Without " (words::count(excluded, "ball")) " of swings left out by the instructor." }
                }
            }
        }
    }
}

fn row(from: &FromSide, what: &str, tally: Tally, unit: Unit, decimals: usize) -> Markup {
    let shown = |value: Option<f64>| value.map_or(NOTHING.to_owned(), |value| rounded(value * unit.factor, decimals));
    html! {
        tr {
            th.words scope="row" { (words::side(from.side)) }
            td.words { (what) span.faint { ", " (unit.sign) } }
            td { (tally.count) } td { (shown(tally.best)) } td { (shown(tally.median)) } td { (shown(tally.spread)) }
        }
    }
}
