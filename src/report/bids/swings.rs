//! A swing as an event: its contact, its metrics each with its σ, its flags.

use super::entity::{Event, EventColumn, TrialType, Value};
use crate::engine::metrics::Metric;
use crate::engine::swing::{Contact, Swing};
use crate::report::words::label;

/// The columns of swings, to which more can be added behind.
pub fn columns() -> Vec<EventColumn> {
    let sigma = column("contact_sigma_s", "σ of contact", "One standard deviation of the contact's time", Some("s"));
    let metrics = Metric::ALL.into_iter().flat_map(|metric| {
        let (key, units) = (metric.key(), Some(units(metric)));
        let of = format!("One standard deviation of {key}");
        [
            column(key, label(metric), meaning(metric), units),
            column(&format!("{key}_sigma"), &format!("σ of: {}", label(metric)), &of, units),
        ]
    });
    let flags = column("flags", "Flags", "What makes the swing poorer than usual, words with commas between", None);
    std::iter::once(sigma).chain(metrics).chain([flags]).collect()
}

/// The event of a swing, with a value for each of [`columns`].
pub fn event(swing: &Swing) -> Event {
    let metrics = swing.metrics.iter().flat_map(|estimate| match estimate {
        Some(estimate) => [Value::Number(estimate.value), Value::Number(estimate.sigma)],
        None => [Value::Missing, Value::Missing],
    });
    let flags = swing.flags.iter().map(|flag| flag.key()).collect::<Vec<_>>().join(",");
    Event {
        onset_s: swing.start.0,
        duration_s: swing.contact.seconds_since(swing.start),
        trial_type: match swing.contact_kind {
            Contact::Ball => TrialType::SwingBall,
            Contact::None => TrialType::SwingNone,
        },
        values: std::iter::once(Value::Number(swing.contact_sigma_s))
            .chain(metrics)
            .chain([Value::Text(flags)])
            .collect(),
    }
}

fn column(name: &str, long_name: &str, description: &str, units: Option<&str>) -> EventColumn {
    EventColumn {
        name: name.to_owned(),
        long_name: long_name.to_owned(),
        description: description.to_owned(),
        units: units.map(str::to_owned),
    }
}

/// The unit at the end of a metric's key, in the notation of BIDS ("Units").
fn units(metric: Metric) -> &'static str {
    match metric {
        Metric::BatSpeed | Metric::PeakBatSpeed | Metric::HandSpeed | Metric::HandSpeedAtContact => "m/s",
        Metric::PeakLead | Metric::TimeToContact | Metric::SpeedBuilt | Metric::TimingWindow => "ms",
        Metric::AttackAngle | Metric::BatTilt | Metric::PlaneTilt => "deg",
        Metric::TurnRate | Metric::RollRate => "deg/s",
        Metric::PathLength => "m",
    }
}

fn meaning(metric: Metric) -> &'static str {
    match metric {
        Metric::BatSpeed => "Speed of the sweet spot at contact",
        Metric::PeakBatSpeed => "Greatest speed of the sweet spot from start to contact",
        Metric::PeakLead => "How long before contact that peak was",
        Metric::HandSpeed => "Greatest speed of the hands point from start to contact",
        Metric::HandSpeedAtContact => "Speed of the hands point at contact",
        Metric::TimeToContact => "From start to contact",
        Metric::AttackAngle => "Angle of the sweet spot's velocity above the horizontal at contact",
        Metric::BatTilt => "Angle of the bat's axis above the horizontal at contact",
        Metric::PlaneTilt => "Angle of the plane of the sweet spot's last 50 ms against the horizontal",
        Metric::TurnRate => "Greatest angular rate across the bat's axis from start to contact",
        Metric::RollRate => "Angular rate about the bat's axis at contact",
        Metric::SpeedBuilt => "How long before contact the sweet spot was last below 90 % of its contact speed",
        Metric::PathLength => "Length of the sweet spot's path from start to contact",
        Metric::TimingWindow => "By how much the same swing could be early or late and still meet the ball squarely",
    }
}
