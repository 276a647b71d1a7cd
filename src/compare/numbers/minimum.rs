//! The least of a function of one variable that is not negative.

/// Places at which it is looked at first, of the greatest: near zero they are dense, as variances spread over decades.
const FIRST: [f64; 9] = [0.0, 1e-4, 1e-3, 1e-2, 0.03, 0.1, 0.3, 0.6, 1.0];
/// Where nothing is less here, of the greatest, than at 0, the least is at 0.
const JUST_ABOVE: f64 = 1e-6;
/// 2 − the golden ratio.
const GOLDEN: f64 = 0.381_966_011_250_105;
/// Steps: golden ones alone come to 4·10⁻⁹ of the bracket with forty.
const STEPS: usize = 40;
/// A place is known to this share of itself: the square root of what a number resolves, as a minimum is flat.
const TOLERANCE: f64 = 3e-8;
/// Sums of a thousand terms are right to this share of them.
const ROUNDING: f64 = 1e-12;

/// Where `f` is least between 0 and `most`: the best of some places, then between its neighbours by R. P. Brent's
/// method (*Algorithms for Minimization without Derivatives*, 1973, chapter 5). Exactly 0 where nothing is below `f(0)`
/// by more than rounding; 0 too if `most` is not positive and finite.
pub fn minimum(f: impl Fn(f64) -> f64, most: f64) -> f64 {
    if !(most > 0.0 && most < f64::INFINITY) {
        return 0.0;
    }
    let places = FIRST.map(|share| share * most);
    let values = places.map(&f);
    let mut best = 0;
    for (index, value) in values.iter().enumerate() {
        if *value < values[best] {
            best = index;
        }
    }
    if best == 0 && f(JUST_ABOVE * most) >= values[0] {
        return 0.0;
    }
    let neighbours = [places[best.saturating_sub(1)], places[(best + 1).min(FIRST.len() - 1)]];
    let (place, value) = brent(&f, neighbours, (places[best], values[best]));
    if values[0] - value > ROUNDING * values[0].abs().max(1.0) { place } else { 0.0 }
}

/// The best, second and third best point so far.
struct Points {
    best: (f64, f64),
    second: (f64, f64),
    third: (f64, f64),
}

impl Points {
    /// Step from the best point to the vertex of the parabola through all three; not finite if they are on a line.
    fn to_vertex(&self) -> f64 {
        let (x, fx) = self.best;
        let r = (x - self.second.0) * (fx - self.third.1);
        let q = (x - self.third.0) * (fx - self.second.1);
        -((x - self.third.0) * q - (x - self.second.0) * r) / (2.0 * (q - r))
    }

    fn insert(&mut self, point: (f64, f64)) {
        if point.1 <= self.best.1 {
            (self.third, self.second, self.best) = (self.second, self.best, point);
        } else if point.1 <= self.second.1 || self.second.0 == self.best.0 {
            (self.third, self.second) = (self.second, point);
        } else if point.1 <= self.third.1 || self.third.0 == self.best.0 || self.third.0 == self.second.0 {
            self.third = point;
        }
    }
}

fn brent(f: &impl Fn(f64) -> f64, [mut low, mut high]: [f64; 2], start: (f64, f64)) -> (f64, f64) {
    let mut points = Points { best: start, second: start, third: start };
    let (mut step, mut before) = (high - low, high - low);
    for _ in 0..STEPS {
        let x = points.best.0;
        let tolerance = TOLERANCE * x.abs() + f64::MIN_POSITIVE;
        if (x - low).max(high - x) <= 2.0 * tolerance {
            break;
        }
        let parabola = points.to_vertex();
        let lands_within = x + parabola > low && x + parabola < high;
        let next = if lands_within && parabola.abs() < 0.5 * before.abs() {
            parabola
        } else {
            let side = if x < 0.5 * (low + high) { high - x } else { low - x };
            step = side;
            GOLDEN * side
        };
        (before, step) = (step, next);
        let at = x + if next.abs() < tolerance { tolerance.copysign(next) } else { next };
        let point = (at, f(at));
        let is_better = point.1 <= points.best.1;
        let end = if is_better { x } else { at };
        if (at > x) == is_better {
            low = end
        } else {
            high = end
        }
        points.insert(point);
    }
    points.best
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A minimum's place is as good as the square root of a number's resolution, times its width.
    #[test]
    fn finds_the_least_of_known_functions() {
        assert!((minimum(|x| (x - 0.37).powi(2), 5.0) - 0.37).abs() < 1e-7);
        assert!((minimum(|x| x - x.ln_1p() * 1.02, 100.0) - 0.02).abs() < 1e-7);
        assert!((minimum(|x| (x + 1.0).ln() + 3.0 / (x + 1.0), 1e4) - 2.0).abs() < 1e-6);
        assert_eq!(minimum(|x| x, 5.0), 0.0);
        assert_eq!(minimum(|_| 1.0, 5.0), 0.0);
        assert!((minimum(|x| -x, 5.0) - 5.0).abs() < 1e-6);
    }

    #[test]
    fn nonsense_gives_zero() {
        for most in [f64::NAN, f64::INFINITY, -1.0, 0.0] {
            assert_eq!(minimum(|x| x, most), 0.0);
        }
        assert_eq!(minimum(|_| f64::NAN, 2.0), 0.0);
    }
}
