//! From what there is to see to HTML: a file a group of parts. Pure.

mod numbers;
mod plate;
mod round;
mod sensor;

pub use numbers::said;

use super::scene::Scene;
use super::screen::Slot;
use crate::daemon::page::words;
use crate::daemon::store::rows::{Bats, Side};
use crate::report::svg::{self, Chart, Drawn, Pitch};
use crate::report::words::Units;
use maud::{Markup, html};

const NO_THEN: &str = "no then yet: fewer than three earlier swings of this kind";

const OTHER_KIND: &str = "this swing is of another round: the next one is set beside earlier ones of its kind";

/// A part of the page.
pub fn part(scene: &Scene, slot: Slot, units: Units) -> Markup {
    match slot {
        Slot::Faults => sensor::faults(scene),
        Slot::Who => html! { (plate::who(scene, units)) (plate::near(scene)) },
        Slot::Numbers => numbers::numbers(scene, units),
        Slot::Speed => speed(scene, units),
        Slot::Side => path(scene, svg::View::Side, units),
        Slot::Above => path(scene, svg::View::Above, units),
        Slot::Round => round::round(scene, units),
        Slot::Plate => plate::choices(scene, units),
        Slot::Sensor => sensor::sensors(scene),
    }
}

fn now(scene: &Scene) -> Option<Drawn<'_>> {
    let last = scene.last.as_ref()?;
    Some(Drawn { curves: last.curves.as_deref()?, start_s: last.start_s })
}

fn speed(scene: &Scene, units: Units) -> Markup {
    let (now, then) = (now(scene), scene.then_of_last());
    let band = then.and_then(|then| then.band.as_ref());
    if now.is_none() && band.is_none() {
        return html! {};
    }
    html! {
        (both("speed", &svg::speed(now, band, units), Some(then.map_or(why_no_then(scene), |then| &then.words))))
    }
}

fn why_no_then(scene: &Scene) -> &'static str {
    if scene.then.is_some() { OTHER_KIND } else { NO_THEN }
}

fn path(scene: &Scene, view: svg::View, units: Units) -> Markup {
    let (Some(now), Some(last)) = (now(scene), &scene.last) else { return html! {} };
    let is_pitched = last.pitch.pitch_speed_mps > 0.0;
    let pitch = is_pitched.then_some(Pitch { descent_deg: last.pitch.pitch_descent_deg });
    let key = match view {
        svg::View::Side => "side",
        svg::View::Above => "above",
    };
    both(key, &svg::path(now, view, pitch, last.square(), units), None)
}

/// A chart, and the same as a table.
fn both(key: &str, chart: &Chart, words: Option<&str>) -> Markup {
    html! {
        (chart.svg)
        .foot {
            details data-key=(format!("{key}-table")) {
                summary data-key=(format!("{key}-summary")) { "As a table" }
                .wide tabindex="0" role="region" aria-label=(format!("Numbers: {key}")) { (chart.as_text) }
            }
            @if let Some(words) = words { p.faint { (words) } }
        }
    }
}

fn bats_from(side: Side) -> &'static str {
    words::bats(match side {
        Side::Right => Bats::Right,
        Side::Left => Bats::Left,
    })
}

#[cfg(test)]
mod tests;
