//! The line under the points, and what is uncertain in it.

use super::{MOST_LEAST_DELAY_S, Point};

/// What is not seen of jitter in a few points, s.
const FLOOR_S: f64 = 1e-4;

/// 1 σ of a touched point's delay, as a share of the points' mean height above the line. Chosen on simulated delays.
const TOUCHED: f64 = 0.5;

/// How a clock's rate changes by itself, mostly with temperature (common practice, no source). It counts outside the
/// window that the line was fitted to.
const WANDER: f64 = 1e-6;

/// The line under all points with the least sum of heights above it (Moon, Skelly & Towsley 1999).
#[derive(Clone, Debug)]
pub(super) struct Under {
    /// The lower convex hull, from left to right.
    hull: Vec<Point>,
    /// Its slope.
    pub(super) drift: f64,
    /// Mean height of the points above it, s.
    mean_above_s: f64,
    /// From the first point to the last, s.
    span_s: f64,
}

/// `points` from left to right; `None` without any.
pub(super) fn line_under(points: impl Iterator<Item = Point> + Clone) -> Option<Under> {
    let mut hull: Vec<Point> = Vec::new();
    let (mut count, mut sum_x_s, mut sum_z_s) = (0.0, 0.0, 0.0);
    for point in points {
        while let [.., a, b] = hull[..] {
            let turns_up = (b.x_s - a.x_s) * (point.z_s - a.z_s) > (b.z_s - a.z_s) * (point.x_s - a.x_s);
            if turns_up {
                break;
            }
            hull.pop();
        }
        hull.push(point);
        count += 1.0;
        sum_x_s += point.x_s;
        sum_z_s += point.z_s;
    }
    let (first, last) = (*hull.first()?, *hull.last()?);
    let (mean_x_s, mean_z_s) = (sum_x_s / count, sum_z_s / count);
    // The sum of heights is least for the edge that the mean abscissa falls on.
    let right = hull.partition_point(|point| point.x_s < mean_x_s).clamp(1, hull.len().max(2) - 1);
    let (a, b) = (hull.get(right - 1).copied().unwrap_or(first), hull.get(right).copied().unwrap_or(last));
    let drift = if b.x_s > a.x_s { (b.z_s - a.z_s) / (b.x_s - a.x_s) } else { 0.0 };
    let mean_above_s = (mean_z_s - a.z_s - drift * (mean_x_s - a.x_s)).max(0.0);
    Some(Under { hull, drift, mean_above_s, span_s: last.x_s - first.x_s })
}

/// The clocks' difference: a line through the least-delayed point, less what that point was delayed.
#[derive(Clone, Copy, Debug)]
pub(super) struct Line {
    /// The point it goes through.
    pub(super) touch: Point,
    /// Its slope.
    pub(super) drift: f64,
    /// 1 σ of the slope.
    pub(super) drift_sigma: f64,
    /// By how much that point was delayed, s.
    pub(super) delay_s: f64,
    /// 1 σ of it.
    pub(super) delay_sigma_s: f64,
    /// Where the points began.
    first_x_s: f64,
}

impl Line {
    /// Before the first pair.
    pub(super) fn unknown() -> Self {
        let origin = Point { x_s: 0.0, z_s: 0.0 };
        let delay_s = MOST_LEAST_DELAY_S / 2.0;
        Self { touch: origin, drift: 0.0, drift_sigma: 0.0, delay_s, delay_sigma_s: delay_s, first_x_s: 0.0 }
    }

    /// The line with the slope of `under` held to what is known of such clocks, and lowered to touch the points. Of
    /// `phase_s` see [`super::spread`]: the touched point was delayed by anything up to it.
    pub(super) fn new(under: &Under, phase_s: f64, drift_sigma: f64) -> Self {
        let phase_variance = phase_s.powi(2) / 12.0;
        // The points that tell the line are the least delayed of the least delayed ones.
        let touch_variance = (TOUCHED * under.mean_above_s).powi(2) + FLOOR_S.powi(2);
        // Of a straight line through evenly spread points that each err so.
        let found_variance = 12.0 * (phase_variance + touch_variance) / under.span_s.powi(2).max(1e-12);
        let known_variance = drift_sigma.powi(2);
        let drift = under.drift * known_variance / (known_variance + found_variance);
        let by_height = |a: &&Point, b: &&Point| a.over(drift).total_cmp(&b.over(drift));
        let touch = under.hull.iter().min_by(by_height).copied().unwrap_or(Point { x_s: 0.0, z_s: 0.0 });
        Self {
            touch,
            drift,
            drift_sigma: (known_variance * found_variance / (known_variance + found_variance)).sqrt(),
            delay_s: (MOST_LEAST_DELAY_S + phase_s) / 2.0,
            delay_sigma_s: (MOST_LEAST_DELAY_S.powi(2) / 12.0 + phase_variance + touch_variance).sqrt(),
            first_x_s: under.hull.first().map_or(0.0, |first| first.x_s),
        }
    }

    /// The height of a point above the line through the least-delayed one, s.
    pub(super) fn above_s(&self, point: Point) -> f64 {
        point.z_s - self.touch.z_s - self.drift * (point.x_s - self.touch.x_s)
    }

    /// Goes down to a point that lies lower.
    pub(super) fn lower_to(&mut self, point: Point) {
        if self.above_s(point) < 0.0 {
            self.touch = point;
        }
    }

    /// By how much the host's clock had gone on more than the sensor's.
    pub(super) fn offset_s(&self, x_s: f64) -> f64 {
        self.touch.z_s + self.drift * (x_s - self.touch.x_s) - self.delay_s
    }

    /// 1 σ of [`Self::offset_s`].
    pub(super) fn sigma_s(&self, x_s: f64, newest_x_s: f64) -> f64 {
        self.delay_sigma_s.hypot(self.turned_s(x_s, newest_x_s))
    }

    /// The part of it that grows with the distance from the touched point and from the window.
    pub(super) fn turned_s(&self, x_s: f64, newest_x_s: f64) -> f64 {
        let outside_s = (self.first_x_s - x_s).max(x_s - newest_x_s).max(0.0);
        (self.drift_sigma * (x_s - self.touch.x_s)).hypot(WANDER * outside_s)
    }
}
