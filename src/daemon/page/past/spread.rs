//! Mean and spread of a metric over a group of swings, as people read them.

use super::super::words::NOTHING;
use crate::daemon::api::Statistics;
use crate::engine::metrics::Metric;
use crate::report::words::{Units, decimals, rounded};
use maud::{Markup, html};

/// "67.1, spread 2.0": the mean, and one standard deviation of the swings about it. The unit stands elsewhere.
pub fn mean_and_spread(metric: Metric, values: Vec<f64>, units: Units) -> Markup {
    let factor = units.of(metric).factor;
    let Statistics { mean, standard_deviation, .. } = Statistics::of(values);
    let decimals = decimals(standard_deviation.map(|spread| spread * factor).into_iter()).min(1);
    html! {
        @match mean {
            Some(mean) => {
                span.number { (rounded(mean * factor, decimals)) }
                @if let Some(spread) = standard_deviation {
                    span.faint.number { " spread " (rounded(spread * factor, decimals)) }
                }
            },
            None => span.faint { (NOTHING) },
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_spread_is_one_standard_deviation_in_the_units_asked_for() {
        let of = |values: &[f64], units| {
            let text = mean_and_spread(Metric::BatSpeed, values.to_vec(), units).into_string();
            text.replace("<span class=\"number\">", "")
                .replace("<span class=\"faint number\">", "")
                .replace("</span>", "")
        };
        // Mean 30, Σ(x − mean)² = 8, so s = √(8/2) = 2 m/s.
        let values = [28.0, 30.0, 32.0];
        assert_eq!(of(&values, Units::Metric), "30.0 spread 2.0");
        assert_eq!(of(&values, Units::Us), "67.1 spread 4.5");
        assert_eq!(of(&[30.0], Units::Metric), "30.0");
        assert!(of(&[], Units::Us).contains(NOTHING));
    }
}
