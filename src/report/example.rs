//! Made-up swings to lay out in tests.

use super::RecordingSummary;
use crate::engine::metrics::{Estimate, Flag, Metric};
use crate::engine::sample::SensorTime;
use crate::engine::swing::{Contact, Curves, Swing};
use nalgebra::Vector3;

const VALUES: [f64; Metric::COUNT] =
    [30.0, 30.4, 6.2, 9.4, 8.1, 157.0, 8.1, -24.0, 31.5, 2310.0, -1650.0, 33.0, 2.52, 14.2];

pub(super) fn summary() -> RecordingSummary {
    RecordingSummary {
        path: "lesson.csv".to_owned(),
        samples: 60_000,
        duration_s: 60.0,
        sample_rate_hz: 1000.0,
        ..RecordingSummary::default()
    }
}

/// The `n`-th of a lesson: each a little different; every third met nothing and has a flag and no window.
pub(crate) fn swing(n: usize) -> Swing {
    let share = 1.0 + 0.02 * (n as f64 - 1.0);
    let mut metrics = VALUES.map(|v| Some(Estimate { value: v * share, sigma: v.abs() * 0.005 }));
    let dry = n.is_multiple_of(3);
    if dry {
        metrics[Metric::TimingWindow.index()] = None;
    }
    Swing {
        start: SensorTime(10.0 * n as f64 - 0.157),
        contact: SensorTime(10.0 * n as f64),
        contact_sigma_s: 1e-4,
        contact_kind: if dry { Contact::None } else { Contact::Ball },
        metrics,
        flags: if dry { vec![Flag::Gap, Flag::NoRest] } else { Vec::new() },
        curves: curves(share, dry),
    }
}

/// A bat whose turn rises as a half cosine, in a plane tilted by 0.5 rad.
fn curves(share: f64, dry: bool) -> Curves {
    let mut curves = Curves::default();
    let w = std::f64::consts::PI / 0.17;
    for k in -350..=if dry { 120 } else { 0 } {
        let t_s = f64::from(k) / 1000.0;
        let t = t_s.clamp(-0.17, 0.17);
        let angle = 19.0 * share * (t + (w * t).sin() / w);
        let rate = 19.0 * share * (1.0 + (w * t).cos());
        let out = Vector3::new(angle.sin(), -angle.cos() * 0.88, -angle.cos() * 0.48);
        let from = Vector3::new(0.0, -0.88, -0.48) * 0.8;
        let hands = out * 0.27 + Vector3::new(t, 0.3 * t, 0.0);
        curves.times_s.push(t_s);
        curves.bat_speed_mps.push(0.8 * rate);
        curves.hand_speed_mps.push(0.27 * rate + 1.0);
        curves.turn_rate_radps.push(rate);
        curves.sweet_spot_w_m.push(hands + out * 0.53 - from);
        curves.hands_w_m.push(hands - from);
    }
    curves
}
