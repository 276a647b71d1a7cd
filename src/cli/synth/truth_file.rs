//! The layout of NAME.truth.json. Times are on the recording's clock, in seconds; units are in the names.

use crate::engine::metrics::Metric;
use crate::engine::profile::Side;
use crate::engine::swing::Contact;
use crate::sim::{Scenario, Simulated, Span, SwingKind, SwingTruth};
use nalgebra::{Matrix3, Vector3};
use serde::Serialize;
use std::collections::BTreeMap;

/// All that a simulated recording truly was.
#[derive(Debug, Serialize)]
pub struct TruthFile {
    /// What was asked for on the command line.
    kind: String,
    /// The sensor's preset.
    preset: &'static str,
    /// The seed that gives the recording again.
    seed: u64,
    /// The batter's side.
    side: &'static str,
    /// Samples written.
    samples: usize,
    /// Samples lost.
    samples_lost: usize,
    /// Swings in order.
    swings: Vec<SwingEntry>,
    /// What was no swing, in order.
    events: Vec<EventEntry>,
    /// Still poses of 0.8 s or more, in order, as [from, to].
    rests_s: Vec<[f64; 2]>,
    /// The six holds of a calibration routine and its turns, as [from, to]; empty without one.
    calibration_s: Vec<[f64; 2]>,
    /// The errors of this one sensor.
    drawn: DrawnEntry,
}

/// One swing.
#[derive(Debug, Serialize)]
struct SwingEntry {
    /// ball, dry, check or slow.
    label: &'static str,
    /// "report": must be found; "optional": may be, and if so its numbers must be right.
    expect: &'static str,
    /// Start t_0.
    start_s: Option<f64>,
    /// Contact t_c.
    contact_s: f64,
    /// "ball" or "none".
    contact: &'static str,
    /// From the load to the end of the follow-through.
    active_s: [f64; 2],
    /// Values by key; null where there is none.
    metrics: BTreeMap<&'static str, Option<f64>>,
    /// How the ball was met.
    hit: Option<HitEntry>,
}

/// How a ball was met.
#[derive(Debug, Serialize)]
struct HitEntry {
    /// Where on the bat, from the knob end.
    from_knob_m: f64,
    /// How far the ball's centre was off the axis's line of flight, upward positive.
    across_m: f64,
    /// How long the ball stayed.
    blow_s: f64,
    /// The impulse.
    impulse_ns: f64,
}

/// An event that is no swing.
#[derive(Debug, Serialize)]
struct EventEntry {
    /// Its name on the command line.
    label: &'static str,
    /// Always "ignore".
    expect: &'static str,
    /// Its start.
    start_s: f64,
    /// Its end.
    end_s: f64,
}

/// The errors of one sensor: reading = matrix · truth + bias, in the sensor's axes.
#[derive(Debug, Serialize)]
struct DrawnEntry {
    /// How much the clock runs fast, parts in a million.
    clock_ppm: f64,
    /// True −3 dB frequency.
    bandwidth_hz: f64,
    gyro_bias_radps: [f64; 3],
    /// By rows.
    gyro_matrix: [[f64; 3]; 3],
    accel_bias_mps2: [f64; 3],
    /// By rows.
    accel_matrix: [[f64; 3]; 3],
    /// Rotation vector in nominal bat axes, about x and y, that takes z to the true axis.
    tilt_rad: [f64; 2],
    /// True q_BS, (w, x, y, z).
    q_bs_true: [f64; 4],
    /// True position of the IMU in B.
    offset_true_m: [f64; 3],
}

impl TruthFile {
    /// Of a recording.
    pub fn of(simulated: &Simulated, scenario: &Scenario, kind: &str) -> Self {
        let truth = &simulated.truth;
        let pair = |span: &Span| [span.start_sensor_s, span.end_sensor_s];
        let event = |(kind, span): &(crate::sim::EventKind, Span)| EventEntry {
            label: kind.key(),
            expect: "ignore",
            start_s: span.start_sensor_s,
            end_s: span.end_sensor_s,
        };
        Self {
            kind: kind.to_owned(),
            preset: scenario.preset.key(),
            seed: scenario.seed,
            side: if truth.batter.context.side == Side::Right { "right" } else { "left" },
            samples: simulated.samples.len(),
            samples_lost: truth.lost,
            swings: truth.swings.iter().map(SwingEntry::of).collect(),
            events: truth.events.iter().map(event).collect(),
            rests_s: truth.rests.iter().map(pair).collect(),
            calibration_s: truth.calibration.iter().map(pair).collect(),
            drawn: DrawnEntry::of(&truth.drawn),
        }
    }
}

impl SwingEntry {
    fn of(swing: &SwingTruth) -> Self {
        let (label, expect) = match swing.kind {
            SwingKind::Ball => ("ball", "report"),
            SwingKind::Dry => ("dry", "report"),
            SwingKind::Check => ("check", "optional"),
            SwingKind::Slow => ("slow", "optional"),
        };
        Self {
            label,
            expect,
            start_s: Some(swing.start_sensor_s).filter(|start_s| start_s.is_finite()),
            contact_s: swing.contact_sensor_s,
            contact: if swing.contact_kind == Contact::Ball { "ball" } else { "none" },
            active_s: [swing.active_sensor_s.0, swing.active_sensor_s.1],
            metrics: Metric::ALL.into_iter().map(|metric| (metric.key(), swing.values.of(metric))).collect(),
            hit: swing.hit.map(|hit| HitEntry {
                from_knob_m: hit.from_knob_m,
                across_m: hit.across_m,
                blow_s: hit.blow_s,
                impulse_ns: hit.impulse_ns,
            }),
        }
    }
}

impl DrawnEntry {
    fn of(drawn: &crate::sim::Drawn) -> Self {
        let row = |v: Vector3<f64>| [v.x, v.y, v.z];
        let rows = |m: &Matrix3<f64>| [0, 1, 2].map(|i| row(m.row(i).transpose()));
        let q = drawn.mount.q_bs;
        Self {
            clock_ppm: drawn.clock_ppm,
            bandwidth_hz: drawn.bandwidth_hz,
            gyro_bias_radps: row(drawn.gyro_bias_radps),
            gyro_matrix: rows(&drawn.gyro_matrix),
            accel_bias_mps2: row(drawn.accel_bias_mps2),
            accel_matrix: rows(&drawn.accel_matrix),
            tilt_rad: drawn.tilt_rad,
            q_bs_true: [q.w, q.i, q.j, q.k],
            offset_true_m: row(drawn.mount.offset_b_m),
        }
    }
}
