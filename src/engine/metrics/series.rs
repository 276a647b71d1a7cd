//! Curves known at increasing, about even times: values between, slopes, peaks, crossings.
//!
//! Everything here moves continuously when the values move a little: σ comes from differences of these functions.

use std::ops::{Add, Mul, Sub};

/// Halvings of a step to find a crossing in it: to 1e-12 of the step.
const HALVINGS: usize = 40;

/// What can be interpolated: a number or a vector.
pub(super) trait Point: Copy + Add<Output = Self> + Sub<Output = Self> + Mul<f64, Output = Self> {}
impl<T: Copy + Add<Output = T> + Sub<Output = T> + Mul<f64, Output = T>> Point for T {}

/// A time and the value there.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct At {
    pub(super) time_s: f64,
    pub(super) value: f64,
}

/// The i for which `time_s` lies in `[times_s[i], times_s[i + 1]]`, the first or last interval if outside. Needs two times.
pub(super) fn interval(times_s: &[f64], time_s: f64) -> usize {
    times_s.partition_point(|&t| t <= time_s).clamp(1, times_s.len() - 1) - 1
}

/// Cubic through two points with their derivatives (Hermite), `part` of the way along a step of `step_s`.
pub(super) fn hermite<T: Point>(part: f64, step_s: f64, from: (T, T), to: (T, T)) -> T {
    let rest = 1.0 - part;
    let (p0, v0) = from;
    let (p1, v1) = to;
    p0 * (rest * rest * (1.0 + 2.0 * part))
        + p1 * (part * part * (3.0 - 2.0 * part))
        + (v0 * (part * rest * rest) - v1 * (part * part * rest)) * step_s
}

/// The derivative at `times_s[i]` of the parabola through that point and its neighbours (the nearest three at an end).
pub(super) fn slope<T: Point>(times_s: &[f64], values: &[T], i: usize) -> T {
    let mid = i.clamp(1, times_s.len() - 2);
    let (t, y) = (&times_s[mid - 1..=mid + 1], &values[mid - 1..=mid + 1]);
    let early = (y[1] - y[0]) * (1.0 / (t[1] - t[0]));
    let late = (y[2] - y[1]) * (1.0 / (t[2] - t[1]));
    early + (late - early) * ((2.0 * times_s[i] - t[0] - t[1]) / (t[2] - t[0]))
}

/// The value at `time_s` by cubics with the slopes of [`slope`]. Needs three values.
pub(super) fn cubic<T: Point>(times_s: &[f64], values: &[T], time_s: f64) -> T {
    let i = interval(times_s, time_s);
    let step_s = times_s[i + 1] - times_s[i];
    let from = (values[i], slope(times_s, values, i));
    let to = (values[i + 1], slope(times_s, values, i + 1));
    hermite((time_s - times_s[i]) / step_s, step_s, from, to)
}

/// ∫ from `from_s` to the last time, by the same cubics: Simpson's rule up to the first sample, then the trapezium and its
/// end correction step by step.
pub(super) fn integral_to_end(times_s: &[f64], values: &[f64], from_s: f64) -> f64 {
    let first = interval(times_s, from_s) + 1;
    let inside = |time_s| cubic(times_s, values, time_s);
    let head = inside(from_s) + 4.0 * inside(0.5 * (from_s + times_s[first])) + values[first];
    let mut sum = head * (times_s[first] - from_s) / 6.0;
    let mut slope_before = slope(times_s, values, first);
    for i in first + 1..times_s.len() {
        let step_s = times_s[i] - times_s[i - 1];
        let slope_here = slope(times_s, values, i);
        sum += (values[i - 1] + values[i]) * 0.5 * step_s + (slope_before - slope_here) * step_s * step_s / 12.0;
        slope_before = slope_here;
    }
    sum
}

/// The greatest value from `from_s` to the last time: the vertex of the parabola through the greatest sample and its
/// neighbours, held inside. Needs three values and `from_s` not after the last time.
pub(super) fn peak(times_s: &[f64], values: &[f64], from_s: f64) -> At {
    let last = times_s.len() - 1;
    let first = times_s.partition_point(|&t| t < from_s).min(last);
    let top = (first..=last).fold(first, |best, i| if values[i] > values[best] { i } else { best });
    let sample = At { time_s: times_s[top], value: values[top] };
    let mid = top.clamp(1, last - 1);
    let earliest_s = if top == 0 { times_s[0] } else { times_s[top - 1] }.max(from_s);
    let latest_s = times_s[(top + 1).min(last)];
    match Parabola::through(times_s, values, mid) {
        Some(parabola) if parabola.curvature < 0.0 => {
            let at = parabola.at(parabola.vertex_s().clamp(earliest_s.min(latest_s), latest_s));
            if at.value >= sample.value { at } else { sample }
        }
        _ => sample,
    }
}

/// The least value near `times_s[mid]`, a sample not above its neighbours.
pub(super) fn trough(times_s: &[f64], values: &[f64], mid: usize) -> At {
    let sample = At { time_s: times_s[mid], value: values[mid] };
    match Parabola::through(times_s, values, mid) {
        Some(parabola) if parabola.curvature > 0.0 => {
            parabola.at(parabola.vertex_s().clamp(times_s[mid - 1], times_s[mid + 1]))
        }
        _ => sample,
    }
}

/// The last instant at which the value was below `level`, on the cubic between the samples on its two sides; `None` if
/// it never was. Needs three values.
pub(super) fn last_below(times_s: &[f64], values: &[f64], level: f64) -> Option<f64> {
    let below = values.iter().rposition(|&v| v < level)?;
    if below + 1 == values.len() {
        return times_s.last().copied();
    }
    let step_s = times_s[below + 1] - times_s[below];
    let from = (values[below], slope(times_s, values, below));
    let to = (values[below + 1], slope(times_s, values, below + 1));
    let (mut low, mut high) = (0.0, 1.0);
    for _ in 0..HALVINGS {
        let middle = 0.5 * (low + high);
        if hermite(middle, step_s, from, to) < level {
            low = middle;
        } else {
            high = middle;
        }
    }
    Some(times_s[below] + 0.5 * (low + high) * step_s)
}

/// y = value + slope·(t − time) + curvature·(t − time)², about its middle point.
struct Parabola {
    time_s: f64,
    value: f64,
    slope: f64,
    curvature: f64,
}

impl Parabola {
    fn through(times_s: &[f64], values: &[f64], mid: usize) -> Option<Self> {
        let (before_s, after_s) = (times_s[mid] - times_s[mid - 1], times_s[mid + 1] - times_s[mid]);
        let early = (values[mid] - values[mid - 1]) / before_s;
        let late = (values[mid + 1] - values[mid]) / after_s;
        let curvature = (late - early) / (before_s + after_s);
        let slope = early + curvature * before_s;
        let sound = curvature.is_finite() && slope.is_finite() && curvature != 0.0;
        sound.then_some(Self { time_s: times_s[mid], value: values[mid], slope, curvature })
    }

    fn vertex_s(&self) -> f64 {
        self.time_s - self.slope / (2.0 * self.curvature)
    }

    fn at(&self, time_s: f64) -> At {
        let dt_s = time_s - self.time_s;
        At { time_s, value: self.value + dt_s * (self.slope + dt_s * self.curvature) }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const TIMES_S: [f64; 6] = [-5.0, -4.0, -2.5, -2.0, -1.0, 0.0];

    fn sampled(f: impl Fn(f64) -> f64) -> Vec<f64> {
        TIMES_S.iter().map(|&t| f(t)).collect()
    }

    #[test]
    fn a_parabola_at_uneven_times_is_met_exactly() {
        let f = |t: f64| 3.0 - 0.7 * (t + 1.7) * (t + 1.7);
        let values = sampled(f);
        for t in [-5.0, -4.6, -3.1, -2.2, -1.5, -0.1, 0.0] {
            assert!((cubic(&TIMES_S, &values, t) - f(t)).abs() < 1e-12, "{t}");
        }
        let top = peak(&TIMES_S, &values, -5.0);
        assert!((top.time_s + 1.7).abs() < 1e-12 && (top.value - 3.0).abs() < 1e-12);
        let low = trough(&TIMES_S, &sampled(|t| -f(t)), 3);
        assert!((low.time_s + 1.7).abs() < 1e-12 && (low.value + 3.0).abs() < 1e-12);
    }

    #[test]
    fn the_integral_of_a_parabola_is_exact_from_a_sample_on() {
        let values = sampled(|t| 1.0 + t * t);
        let exact = 2.5 + 2.5f64.powi(3) / 3.0;
        assert!((integral_to_end(&TIMES_S, &values, -2.5) - exact).abs() < 1e-12);
    }

    #[test]
    fn a_peak_at_the_end_stays_inside() {
        let top = peak(&TIMES_S, &sampled(|t| 4.0 - (t - 2.0) * (t - 2.0)), -5.0);
        assert_eq!((top.time_s, top.value), (0.0, 0.0));
        let before_from = peak(&TIMES_S, &sampled(|t| -t), -3.0);
        assert_eq!(before_from.time_s, -2.5);
    }

    #[test]
    fn the_last_crossing_counts() {
        let values = sampled(|t| (t + 3.3) * (t + 3.3));
        assert!((last_below(&TIMES_S, &values, 1.0).unwrap() + 2.3).abs() < 1e-11);
        assert_eq!(last_below(&TIMES_S, &values, 0.0), None);
        assert_eq!(last_below(&TIMES_S, &values, 12.0), Some(0.0));
    }
}
