//! How a swing went: speed against time over the lesson's others from the same side, and its path.

use super::super::super::figure::figure;
use super::Whole;
use super::beside::under_chart;
use crate::engine::metrics::{Metric, square_stretch};
use crate::engine::swing::Curves;
use crate::report::svg::View;
use crate::report::svg::{self, Drawn, Pitch, Square};
use crate::report::words::Units;
use maud::{Markup, html};

/// The charts, each with the same as text.
pub fn section(whole: &Whole, units: Units) -> Markup {
    html! {
        section.curves {
            h2 { "How it went" }
            @match &whole.curves {
                Some(curves) => (charts(whole, curves, units)),
                None => p { "There are no curves of this swing." },
            }
        }
    }
}

fn charts(whole: &Whole, curves: &Curves, units: Units) -> Markup {
    let analysis = &whole.found.analysis;
    let now = Drawn { curves, start_s: analysis.start_s - analysis.contact_s };
    let (pitch, square) = (pitch(whole), square(whole, curves));
    html! {
        (figure(&svg::speed(Some(now), whole.band.as_ref(), units), "speed", &html! {
            (under_chart(&whole.others, whole.band.as_ref(), whole.found.swing.side))
        }))
        @for (view, key) in [(View::Side, "side"), (View::Above, "above")] {
            (figure(&svg::path(now, view, pitch, square, units), key, &html! {
                @if pitch.is_none() { "Nothing was pitched, so there is no line of a pitch." }
            }))
        }
    }
}

/// That which the timing window was computed with; where the profile cannot be read, the round's word.
fn pitch(whole: &Whole) -> Option<Pitch> {
    let of_round = || {
        let round = whole.round.as_ref()?;
        Some((round.pitch_speed_mps?, round.pitch_descent_deg?))
    };
    let profile = whole.profile.as_ref().map(|profile| &profile.swing);
    let (speed_mps, descent_deg) =
        profile.map(|swing| (swing.pitch_speed_mps, swing.pitch_descent_deg)).or_else(of_round)?;
    (speed_mps > 0.0).then_some(Pitch { descent_deg })
}

/// Where the timing window begins and ends, against the pitch that the swing was analysed with.
fn square(whole: &Whole, curves: &Curves) -> Option<Square> {
    let analysis = &whole.found.analysis;
    let roll_rate_dps = analysis.metrics[Metric::RollRate.index()]?.value;
    let context = &whole.profile.as_ref()?.swing;
    let stretch = square_stretch(curves, roll_rate_dps.to_radians(), context, analysis.met_ball)?;
    Some(Square { from_s: stretch.from_s, to_s: stretch.to_s })
}
