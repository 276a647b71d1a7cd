//! One recording as one JSON document: what `swingd replay --json` prints, one a line.
//!
//! Metrics keep their keys, which end in the unit, and their order; an absent one is `null`. `sigma` is one standard
//! deviation. All numbers are finite. Flags are sorted.

use super::RecordingSummary;
use crate::engine::metrics::{Estimate, Metric};
use crate::engine::swing::{Contact, Swing};
use serde::Serialize;
use serde::ser::{SerializeMap, Serializer};

/// The document.
#[derive(Debug, Serialize)]
pub struct Document<'a> {
    recording: RecordingJson<'a>,
    swings: Vec<SwingJson>,
}

#[derive(Debug, Serialize)]
struct RecordingJson<'a> {
    path: &'a str,
    samples: u64,
    duration_s: f64,
    sample_rate_hz: f64,
    gaps: u64,
    missing_samples: u64,
}

#[derive(Debug, Serialize)]
pub(super) struct SwingJson {
    start_s: f64,
    contact_s: f64,
    contact: &'static str,
    metrics: Metrics,
    flags: Vec<&'static str>,
}

#[derive(Debug)]
struct Metrics([Option<EstimateJson>; Metric::COUNT]);

#[derive(Clone, Copy, Debug, Serialize)]
struct EstimateJson {
    value: f64,
    sigma: f64,
}

impl<'a> Document<'a> {
    /// Of a recording and its swings, in order. A swing whose times are not finite is left out: it has no place.
    pub fn new(recording: &'a RecordingSummary, swings: &[Swing]) -> Self {
        let placed = |swing: &&Swing| swing.start.0.is_finite() && swing.contact.0.is_finite();
        Self {
            recording: RecordingJson {
                path: &recording.path,
                samples: recording.samples,
                duration_s: finite_or_zero(recording.duration_s),
                sample_rate_hz: finite_or_zero(recording.sample_rate_hz),
                gaps: recording.gaps,
                missing_samples: recording.missing_samples,
            },
            swings: swings.iter().filter(placed).map(SwingJson::new).collect(),
        }
    }

    /// On one line, without its end.
    pub fn to_line(&self) -> Result<String, serde_json::Error> {
        serde_json::to_string(self)
    }
}

impl SwingJson {
    pub(super) fn new(swing: &Swing) -> Self {
        let mut flags = swing.flags.clone();
        flags.sort();
        flags.dedup();
        Self {
            start_s: swing.start.0,
            contact_s: swing.contact.0,
            contact: match swing.contact_kind {
                Contact::Ball => "ball",
                Contact::None => "none",
            },
            metrics: Metrics(swing.metrics.map(|estimate| estimate.and_then(EstimateJson::new))),
            flags: flags.into_iter().map(|flag| flag.key()).collect(),
        }
    }
}

impl EstimateJson {
    fn new(estimate: Estimate) -> Option<Self> {
        let Estimate { value, sigma } = estimate;
        (value.is_finite() && sigma.is_finite()).then_some(Self { value, sigma })
    }
}

impl Serialize for Metrics {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut map = serializer.serialize_map(Some(Metric::COUNT))?;
        for metric in Metric::ALL {
            map.serialize_entry(metric.key(), &self.0[metric.index()])?;
        }
        map.end()
    }
}

fn finite_or_zero(value: f64) -> f64 {
    if value.is_finite() { value } else { 0.0 }
}

#[cfg(test)]
mod tests {
    use super::super::example::{summary, swing};
    use super::*;
    use crate::engine::metrics::Flag;
    use serde_json::{Value, json};

    fn parsed(swings: &[Swing]) -> Value {
        let line = Document::new(&summary(), swings).to_line().unwrap();
        assert!(!line.contains('\n'));
        serde_json::from_str(&line).unwrap()
    }

    #[test]
    fn a_recording_without_swings() {
        let recording = json!({"path": "lesson.csv", "samples": 60000, "duration_s": 60.0, "sample_rate_hz": 1000.0,
                               "gaps": 0, "missing_samples": 0});
        assert_eq!(parsed(&[]), json!({"recording": recording, "swings": []}));
    }

    #[test]
    fn a_swing_has_all_keys_in_order_and_null_for_what_is_absent() {
        let document = parsed(&[swing(1), swing(3)]);
        let swings = document["swings"].as_array().unwrap();
        assert_eq!(swings[0]["contact"], "ball");
        assert_eq!(swings[0]["metrics"]["bat_speed_mps"], json!({"value": 30.0, "sigma": 0.15}));
        assert_eq!(swings[1]["contact"], "none");
        assert_eq!(swings[1]["contact_s"], 30.0);
        assert_eq!(swings[1]["metrics"]["timing_window_ms"], Value::Null);
        assert_eq!(swings[1]["flags"], json!(["gap", "no_rest"]));
        let line = Document::new(&summary(), &[swing(1)]).to_line().unwrap();
        let places: Vec<_> = Metric::ALL.iter().map(|m| line.find(&format!("\"{}\":", m.key())).unwrap()).collect();
        assert!(places.is_sorted());
    }

    #[test]
    fn what_is_not_finite_is_null_and_flags_are_sorted_once() {
        let mut hostile = swing(1);
        hostile.metrics[0] = Some(Estimate { value: f64::NAN, sigma: 1.0 });
        hostile.metrics[1] = Some(Estimate { value: 1.0, sigma: f64::INFINITY });
        hostile.flags = vec![Flag::NoRest, Flag::Gap, Flag::NoRest];
        let mut nowhere = swing(2);
        nowhere.contact.0 = f64::NAN;
        let document = parsed(&[hostile, nowhere]);
        assert_eq!(document["swings"].as_array().unwrap().len(), 1);
        let metrics = &document["swings"][0]["metrics"];
        assert_eq!((&metrics["bat_speed_mps"], &metrics["peak_bat_speed_mps"]), (&Value::Null, &Value::Null));
        assert_eq!(document["swings"][0]["flags"], json!(["gap", "no_rest"]));
    }
}
