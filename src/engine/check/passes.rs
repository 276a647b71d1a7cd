//! A pendulum's swings in what a sensor on it sends: when it turned back, what it felt then, how fast it passed the bottom.

use super::principal;
use crate::engine::sample::Sample;
use nalgebra::{Matrix3, Vector3};
use std::f64::consts::TAU;

/// Pieces in which it is judged whether the sensor swings, s: a period and a half of a bat, and how far they are apart.
const WINDOW_S: (f64, f64) = (2.0, 0.5);
/// In one that does, this share of the squares of the rate lies along one axis,
const ONE_AXIS: f64 = 0.97;
/// the root mean square of the rate lies between these, rad/s,
const RATE_RADPS: (f64, f64) = (0.15, 5.0);
/// and the axis keeps to that of the first within acos of this.
const SAME_AXIS: f64 = 0.97;
/// The rate has turned back once it is beyond this part of its root mean square on the other side.
const BEYOND: f64 = 0.4;
/// About a turning point and a bottom this part of a period either way is fitted: a fifth of a radian of phase, at which a
/// cosine is a parabola to 2e-5 of its height in the middle.
const FITTED: f64 = 0.05;
/// One half swing is as long as the next to this part.
const ALIKE: f64 = 0.08;
/// Half swings of anything that hangs from a hand's breadth inside its end, s: 0.15 m to 4 m of equal length.
const HALF_S: (f64, f64) = (0.35, 2.0);

/// A turning point.
#[derive(Clone, Copy, Debug)]
pub struct Crossing {
    /// When the rate crossed zero, s.
    pub time_s: f64,
    /// How steeply, rad/s².
    pub slope_radps2: f64,
    /// The specific force at that time, m/s², in S.
    pub force_s_mps2: Vector3<f64>,
}

/// Consecutive half swings, all alike.
#[derive(Clone, Debug)]
pub struct Passes {
    /// The axis that it swings about, unit, in S.
    pub axis_s: Vector3<f64>,
    /// Turning points.
    pub crossings: Vec<Crossing>,
    /// The greatest rate between one and the next, rad/s, with its sign and the gyro's bias.
    pub bottoms: Vec<f64>,
    /// How many samples each of these was fitted from.
    pub samples_fitted: usize,
}

impl Passes {
    /// The mean time of a half swing, s.
    pub fn mean_half_s(&self) -> f64 {
        let ends = self.crossings.first().zip(self.crossings.last());
        let span_s = ends.map_or(0.0, |(first, last)| last.time_s - first.time_s);
        span_s / self.crossings.len().saturating_sub(1).max(1) as f64
    }

    /// The angle that it swings to, roughly, by the gyro, rad: sin(θ/2) = ω/(2Ω) with Ω by the half swings.
    pub fn amplitude_rad(&self) -> f64 {
        let n = self.bottoms.len().max(1) as f64;
        let rate_radps = self.bottoms.iter().map(|rate| rate.abs()).sum::<f64>() / n;
        let small_radps = TAU / (2.0 * self.mean_half_s());
        2.0 * (0.5 * rate_radps / small_radps).clamp(0.0, 1.0).asin()
    }
}

/// The longest run of half swings that are alike; `None` while nothing swings.
pub fn passes(samples: &[Sample]) -> Option<Passes> {
    let (from, to, axis_s) = swinging(samples)?;
    let span = samples.get(from..to)?;
    let n = span.len() as f64;
    let bias_s = span.iter().map(|sample| sample.gyro_s_radps).sum::<Vector3<f64>>() / n;
    let rates: Vec<(f64, f64)> =
        span.iter().map(|sample| (sample.time.0, (sample.gyro_s_radps - bias_s).dot(&axis_s))).collect();
    let rms = (rates.iter().map(|(_, rate)| rate * rate).sum::<f64>() / n).sqrt();
    let turned = longest_alike(&turning_points(&rates, BEYOND * rms));
    let half_s =
        turned.windows(2).map(|pair| pair[1] - pair[0]).sum::<f64>() / turned.len().saturating_sub(1).max(1) as f64;
    let reach_s = 2.0 * FITTED * half_s;
    let crossings: Option<Vec<Crossing>> =
        turned.iter().map(|&time_s| crossing(span, &rates, time_s, reach_s)).collect();
    let crossings = crossings?;
    let bottoms: Option<Vec<f64>> =
        crossings.windows(2).map(|pair| greatest(&rates, 0.5 * (pair[0].time_s + pair[1].time_s), reach_s)).collect();
    let samples_fitted = (2.0 * reach_s * n / (rates.last()?.0 - rates.first()?.0)) as usize;
    Some(Passes { axis_s, crossings, bottoms: bottoms?, samples_fitted })
}

/// From which sample to which the sensor swings about one axis, for the longest time, and about which.
fn swinging(samples: &[Sample]) -> Option<(usize, usize, Vector3<f64>)> {
    let mut best: Option<(usize, usize, Vector3<f64>)> = None;
    let mut run: Option<(usize, usize, Vector3<f64>)> = None;
    let mut from_s = samples.first()?.time.0;
    let last_s = samples.last()?.time.0;
    // A recording of a day in one call would be a mistake: a check keeps minutes.
    for _ in 0..100_000 {
        if from_s + WINDOW_S.0 > last_s {
            break;
        }
        let from = samples.partition_point(|sample| sample.time.0 < from_s);
        let to = samples.partition_point(|sample| sample.time.0 < from_s + WINDOW_S.0);
        let axis_s = samples.get(from..to).and_then(one_axis);
        run = match (run, axis_s) {
            (Some((first, _, axis_s)), Some(now_s)) if now_s.dot(&axis_s).abs() > SAME_AXIS => {
                Some((first, to, axis_s))
            }
            (_, axis_s) => axis_s.map(|axis_s| (from, to, axis_s)),
        };
        if let Some(run) = run
            && best.is_none_or(|best| run.1 - run.0 > best.1 - best.0)
        {
            best = Some(run);
        }
        from_s += WINDOW_S.1;
    }
    let (from, to, _) = best?;
    let axis_s = samples.get(from..to).and_then(one_axis)?;
    Some((from, to, axis_s))
}

/// The axis that a piece swings about, if it does.
fn one_axis(piece: &[Sample]) -> Option<Vector3<f64>> {
    let n = piece.len() as f64;
    let first = piece.first()?;
    let is_whole = piece.windows(2).all(|pair| pair[1].time.0 - pair[0].time.0 < 0.1);
    if !is_whole || piece.last()?.time.0 - first.time.0 < 0.8 * WINDOW_S.0 {
        return None;
    }
    let bias_s = piece.iter().map(|sample| sample.gyro_s_radps).sum::<Vector3<f64>>() / n;
    let mut sum = Matrix3::zeros();
    for sample in piece {
        let omega = sample.gyro_s_radps - bias_s;
        sum += omega * omega.transpose();
    }
    let rms = (sum.trace() / n).sqrt();
    let (axis_s, share) = principal(sum)?;
    (share > ONE_AXIS && (RATE_RADPS.0..RATE_RADPS.1).contains(&rms)).then_some(axis_s)
}

/// When a rate turned back, roughly: in the middle between leaving one side and reaching the other.
fn turning_points(rates: &[(f64, f64)], beyond: f64) -> Vec<f64> {
    let mut points = Vec::new();
    let mut side: Option<(f64, f64)> = None;
    for &(time_s, rate) in rates.iter().filter(|(_, rate)| rate.abs() > beyond) {
        if let Some((before_s, before)) = side
            && before * rate < 0.0
        {
            points.push(0.5 * (before_s + time_s));
        }
        side = Some((time_s, rate));
    }
    points
}

/// The longest run of turning points with steps as long as the one before and the one after the run's first.
fn longest_alike(points: &[f64]) -> Vec<f64> {
    let is_step = |step_s: f64| (HALF_S.0..HALF_S.1).contains(&step_s);
    let (mut best, mut from) = (0..0, 0);
    for k in 1..points.len() {
        let step_s = points[k] - points[k - 1];
        let before_s = if k - 1 > from { points[k - 1] - points[k - 2] } else { step_s };
        if !is_step(step_s) {
            from = k;
        } else if (step_s - before_s).abs() > ALIKE * before_s {
            from = k - 1;
        }
        if k + 1 - from > best.len() {
            best = from..k + 1;
        }
    }
    points.get(best).unwrap_or_default().to_vec()
}

/// The turning point near a time, by a line through the rates about it, twice, and parabolas through the forces.
fn crossing(span: &[Sample], rates: &[(f64, f64)], near_s: f64, reach_s: f64) -> Option<Crossing> {
    let mut time_s = near_s;
    let mut slope_radps2 = 0.0;
    for _ in 0..3 {
        let about = within(rates, time_s, reach_s, |rate| rate.0);
        let [value, slope, _] = parabola(about.iter().map(|(at_s, rate)| (at_s - time_s, *rate)))?;
        let step_s = (value / slope).clamp(-reach_s, reach_s);
        (time_s, slope_radps2) = (time_s - step_s, slope);
    }
    let about = within(span, time_s, reach_s, |sample| sample.time.0);
    let force = |axis: usize| {
        let points = about.iter().map(|sample| (sample.time.0 - time_s, sample.accel_s_mps2[axis]));
        parabola(points).map(|[value, ..]| value)
    };
    Some(Crossing { time_s, slope_radps2, force_s_mps2: Vector3::new(force(0)?, force(1)?, force(2)?) })
}

/// The rate farthest from zero near a time: a parabola's vertex.
fn greatest(rates: &[(f64, f64)], near_s: f64, reach_s: f64) -> Option<f64> {
    let about = within(rates, near_s, reach_s, |rate| rate.0);
    let [value, slope, bend] = parabola(about.iter().map(|(at_s, rate)| (at_s - near_s, *rate)))?;
    let vertex = value - slope * slope / (4.0 * bend);
    vertex.is_finite().then_some(vertex)
}

/// Those of a list in the order of time that lie within `reach_s` of a time.
fn within<T>(list: &[T], time_s: f64, reach_s: f64, time_of: impl Fn(&T) -> f64) -> &[T] {
    let from = list.partition_point(|one| time_of(one) < time_s - reach_s);
    let to = list.partition_point(|one| time_of(one) <= time_s + reach_s);
    list.get(from..to).unwrap_or_default()
}

/// c₀ + c₁t + c₂t² by least squares; `None` for fewer than five points.
fn parabola(points: impl Iterator<Item = (f64, f64)>) -> Option<[f64; 3]> {
    let (mut normal, mut right, mut count) = (Matrix3::zeros(), Vector3::zeros(), 0);
    for (t, y) in points {
        let row = Vector3::new(1.0, t, t * t);
        normal += row * row.transpose();
        right += row * y;
        count += 1;
    }
    let solved = (count >= 5).then(|| normal.try_inverse()).flatten()? * right;
    Some([solved.x, solved.y, solved.z])
}
