//! What a session tells, each as one line of JSON: the same live, in the event stream, and from a replay.

use super::json::SwingJson;
use crate::engine::Stage;
use crate::engine::session::{Placed, Told, ToldSwing};
use crate::engine::wire::mcap::AtThePlate;
use jiff::Timestamp;
use serde::Serialize;

/// The kinds of events of a session, as the `event` field of the event stream names them.
pub const KINDS: [&str; 5] = ["swing", "rest", "roll", "anew", "problem"];

#[derive(Serialize)]
struct SwingLine<'a> {
    number: u64,
    run: u32,
    stage: &'static str,
    contact_utc: Option<String>,
    contact_utc_sigma_s: Option<f64>,
    contact_sigma_s: f64,
    poor_utc: bool,
    at_the_plate: &'a AtThePlate,
    #[serde(flatten)]
    swing: SwingJson,
}

#[derive(Serialize)]
struct RestLine {
    from_s: f64,
    to_s: f64,
}

#[derive(Serialize)]
struct RollLine {
    from_s: f64,
    to_s: f64,
    angle_deg: f64,
}

#[derive(Serialize)]
struct AnewLine {
    run: u32,
}

#[derive(Serialize)]
struct ProblemLine<'a> {
    cause: &'a str,
}

/// The kind (one of [`KINDS`]) and the JSON of what was told, on one line.
///
/// # Errors
/// None that is known: the types can all be written.
pub fn line(told: &Told) -> Result<(&'static str, String), serde_json::Error> {
    Ok(match told {
        Told::Swing(swing) => ("swing", serde_json::to_string(&swing_line(swing))?),
        Told::Rest { from, to } => ("rest", serde_json::to_string(&RestLine { from_s: from.0, to_s: to.0 })?),
        Told::Roll { from, to, angle_rad } => {
            let angle_deg = angle_rad.to_degrees();
            ("roll", serde_json::to_string(&RollLine { from_s: from.0, to_s: to.0, angle_deg })?)
        }
        Told::Anew { run } => ("anew", serde_json::to_string(&AnewLine { run: *run })?),
        Told::Problem(cause) => ("problem", serde_json::to_string(&ProblemLine { cause })?),
    })
}

fn swing_line(told: &ToldSwing) -> SwingLine<'_> {
    SwingLine {
        number: told.number,
        run: told.run,
        stage: stage(told.stage),
        contact_utc: told.contact_utc.and_then(utc),
        contact_utc_sigma_s: told.contact_utc.map(|placed| placed.sigma_s),
        contact_sigma_s: told.swing.contact_sigma_s,
        poor_utc: told.contact_utc.is_none_or(|placed| placed.is_poor),
        at_the_plate: &told.at_the_plate,
        swing: SwingJson::new(&told.swing),
    }
}

/// A stage as programs read it: the first estimate at contact, the final one when the window about the swing has closed,
/// and one that later rests have made better still.
pub fn stage(stage: Stage) -> &'static str {
    match stage {
        Stage::Streaming => "streaming",
        Stage::Smoothed => "final",
        Stage::Revised => "revised",
    }
}

/// RFC 3339, UTC, to the microsecond.
fn utc(placed: Placed) -> Option<String> {
    let micros = placed.utc_ns.div_euclid(1000);
    Timestamp::from_microsecond(micros).ok().map(|instant| format!("{instant:.6}"))
}

#[cfg(test)]
mod tests {
    use super::super::example::swing;
    use super::*;
    use crate::engine::sample::SensorTime;
    use serde_json::{Value, json};
    use std::sync::Arc;

    #[test]
    fn a_swing_says_whose_it_is_how_good_and_when_on_utc() {
        let told = Told::Swing(Box::new(ToldSwing {
            number: 4,
            run: 1,
            stage: Stage::Smoothed,
            swing: swing(1),
            contact_utc: Some(Placed { utc_ns: 1_764_087_018_123_456_789, sigma_s: 0.004, is_poor: false }),
            at_the_plate: AtThePlate { nickname: Some("Wren".into()), ..AtThePlate::default() },
            profile: Arc::default(),
        }));
        let (kind, line) = line(&told).unwrap();
        let read: Value = serde_json::from_str(&line).unwrap();
        assert_eq!(kind, "swing");
        assert!(!line.contains('\n'));
        assert_eq!(read["contact_utc"], "2025-11-25T16:10:18.123456Z");
        assert_eq!((&read["stage"], &read["number"], &read["run"]), (&json!("final"), &json!(4), &json!(1)));
        assert_eq!(read["metrics"]["bat_speed_mps"], json!({"value": 30.0, "sigma": 0.15}));
        assert_eq!(read["at_the_plate"], json!({"nickname": "Wren"}));
    }

    #[test]
    fn other_news_are_short() {
        let (from, to) = (SensorTime(1.0), SensorTime(2.5));
        let lines = [
            Told::Rest { from, to },
            Told::Roll { from, to, angle_rad: std::f64::consts::PI },
            Told::Anew { run: 2 },
            Told::Problem("why".into()),
        ]
        .map(|told| line(&told).unwrap());
        let expected = [
            ("rest", json!({"from_s": 1.0, "to_s": 2.5})),
            ("roll", json!({"from_s": 1.0, "to_s": 2.5, "angle_deg": 180.0})),
            ("anew", json!({"run": 2})),
            ("problem", json!({"cause": "why"})),
        ];
        for ((kind, line), (expected_kind, expected)) in lines.iter().zip(expected) {
            assert_eq!(*kind, expected_kind);
            assert_eq!(serde_json::from_str::<Value>(line).unwrap(), expected);
        }
        assert!(KINDS.iter().all(|kind| *kind == "swing" || lines.iter().any(|(told, _)| told == kind)));
    }
}
