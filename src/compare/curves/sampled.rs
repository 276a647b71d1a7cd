//! One swing's curves on the even places that all swings share, counted back from contact.
//!
//! In: curves as the engine tells them, or anything else; out: values at 0, 1, 2… steps before contact, as far as the curves
//! are sound without a break up to contact. Nothing after contact is used. Between two points a value is linear, which cannot
//! overshoot; of points 1 ms apart a speed that bends by 40² of itself a s² errs by 40²·30/8 · 1e-6 = 6 mm/s at most.

use super::Drawn;
use nalgebra::Vector3;

/// From a time to the next, s.
pub const TIME_STEP_S: f64 = 0.002;
/// Times before contact: 0.30 s.
const TIME_STEPS: usize = 150;
/// From a distance to the next, m.
pub const DISTANCE_STEP_M: f64 = 0.02;
/// Distances before contact: 1.5 m.
const DISTANCE_STEPS: usize = 75;
/// Times that are nearer to each other are one, s.
const NEAR_S: f64 = 1e-9;

/// A swing on even places: item k of a list is k steps before contact.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Sampled {
    /// The day.
    pub day: i64,
    /// Barrel speed by time, m/s.
    pub speed_mps: Vec<f64>,
    /// Barrel speed by distance still to go, m/s.
    pub speed_by_distance_mps: Vec<f64>,
    /// The part of the barrel's speed by time that the hands make, m/s.
    pub by_hands_mps: Vec<f64>,
    /// The part that turning makes, m/s.
    pub by_rotation_mps: Vec<f64>,
    /// Sweet spot by time, m.
    pub sweet_spot_w_m: Vec<Vector3<f64>>,
    /// Hands point by time, m.
    pub hands_w_m: Vec<Vector3<f64>>,
}

/// One instant of a swing.
#[derive(Clone, Copy)]
struct Point {
    time_s: f64,
    speed_mps: f64,
    hand_speed_mps: f64,
    sweet_spot_w_m: Vector3<f64>,
    hands_w_m: Vector3<f64>,
}

impl Sampled {
    /// Of a swing; all lists are empty where contact is not among its sound points.
    pub fn of(drawn: &Drawn) -> Self {
        let points = sound_to_contact(drawn);
        let places: Vec<Point> = (0..=TIME_STEPS).map_while(|k| at(&points, -(k as f64) * TIME_STEP_S)).collect();
        let sweet_spot_w_m: Vec<_> = places.iter().map(|place| place.sweet_spot_w_m).collect();
        let hands_w_m: Vec<_> = places.iter().map(|place| place.hands_w_m).collect();
        let by_hands_mps = by_hands(&places, &sweet_spot_w_m, &hands_w_m);
        Self {
            day: drawn.day,
            speed_mps: places.iter().map(|place| place.speed_mps).collect(),
            speed_by_distance_mps: by_distance(&points, drawn.time_to_contact_s),
            by_rotation_mps: places.iter().zip(&by_hands_mps).map(|(place, hands)| place.speed_mps - hands).collect(),
            by_hands_mps,
            sweet_spot_w_m,
            hands_w_m,
        }
    }
}

/// The points up to contact that follow each other without a break: finite, later and later.
fn sound_to_contact(drawn: &Drawn) -> Vec<Point> {
    let curves = &drawn.curves;
    let speeds = curves.times_s.iter().zip(&curves.bat_speed_mps).zip(&curves.hand_speed_mps);
    let paths = curves.sweet_spot_w_m.iter().zip(&curves.hands_w_m);
    let points = speeds.zip(paths).map(|(((&time_s, &speed_mps), &hand_speed_mps), (&sweet_spot_w_m, &hands_w_m))| {
        Point { time_s, speed_mps, hand_speed_mps, sweet_spot_w_m, hands_w_m }
    });
    let mut run: Vec<Point> = Vec::new();
    for point in points {
        if !point.is_sound() || run.last().is_some_and(|last| last.time_s >= point.time_s) {
            run.clear();
        }
        if point.is_sound() {
            run.push(point);
            if point.time_s >= -NEAR_S {
                let reaches = run.len() > 1 || point.time_s <= NEAR_S;
                return if reaches { run } else { Vec::new() };
            }
        }
    }
    Vec::new()
}

impl Point {
    fn is_sound(&self) -> bool {
        let all = [self.time_s, self.speed_mps, self.hand_speed_mps];
        let places = self.sweet_spot_w_m.iter().chain(self.hands_w_m.iter());
        all.iter().chain(places).all(|value| value.abs() < LARGEST)
            && self.speed_mps >= 0.0
            && self.hand_speed_mps >= 0.0
    }

    fn mix(&self, later: &Self, share: f64) -> Self {
        let mix = |a: f64, b: f64| a + (b - a) * share;
        Self {
            time_s: mix(self.time_s, later.time_s),
            speed_mps: mix(self.speed_mps, later.speed_mps),
            hand_speed_mps: mix(self.hand_speed_mps, later.hand_speed_mps),
            sweet_spot_w_m: self.sweet_spot_w_m.lerp(&later.sweet_spot_w_m, share),
            hands_w_m: self.hands_w_m.lerp(&later.hands_w_m, share),
        }
    }
}

/// What is greater is no speed, place or time of a swing; its squares and sums stay finite.
const LARGEST: f64 = 1e9;

/// The swing at a time; `None` beyond its points.
fn at(points: &[Point], time_s: f64) -> Option<Point> {
    let after = points.partition_point(|point| point.time_s < time_s - NEAR_S);
    let later = points.get(after)?;
    if (later.time_s - time_s).abs() <= NEAR_S {
        return Some(*later);
    }
    let earlier = points.get(after.checked_sub(1)?)?;
    Some(earlier.mix(later, (time_s - earlier.time_s) / (later.time_s - earlier.time_s)))
}

/// Speed at even lengths of path still to go, from the swing's start where it is known.
///
/// The length is the integral of the speed (trapezoids), not the sum of the stored places' distances: those are rounded to
/// 0.1 mm, and the rounding alone would make some centimetres of path at rest. Of points 1 ms apart a bend of the speed by
/// 300 m/s² between two makes h²/12 · 300 = 25 µm.
fn by_distance(points: &[Point], time_to_contact_s: Option<f64>) -> Vec<f64> {
    let start_s = time_to_contact_s.filter(|time_s| *time_s >= 0.0).map_or(f64::NEG_INFINITY, |time_s| -time_s);
    let mut speeds_mps: Vec<f64> = points.last().map(|contact| contact.speed_mps).into_iter().collect();
    let mut gone_m = 0.0;
    for pair in points.windows(2).rev() {
        let [earlier, later] = pair else { continue };
        if earlier.time_s < start_s - NEAR_S {
            break;
        }
        let length_m = 0.5 * (earlier.speed_mps + later.speed_mps) * (later.time_s - earlier.time_s);
        while speeds_mps.len() <= DISTANCE_STEPS {
            let place_m = speeds_mps.len() as f64 * DISTANCE_STEP_M;
            if gone_m + length_m < place_m {
                break;
            }
            let share = (place_m - gone_m) / length_m;
            speeds_mps.push(later.speed_mps + (earlier.speed_mps - later.speed_mps) * share);
        }
        gone_m += length_m;
    }
    speeds_mps
}

/// The component of the hands' velocity along the sweet spot's, m/s.
///
/// The sizes of both velocities are the stored speeds (rounded to 1 mm/s); only the angle between them is taken from the
/// stored places. Places rounded to 0.1 mm make 0.05 mm · 2 / 4 ms = 25 mm/s of error an axis at most in a central difference
/// over ± 2 ms, 10 mm/s root mean square, and 0.1 m/s and 37 mm/s at contact, where the difference is one-sided: of hands at
/// 7 m/s an angle of 0.3° there, which moves the component by 0.04 m/s at most where the velocities stand at right angles.
/// A difference that is symmetric has no delay; on a circle it has the very direction of the velocity.
fn by_hands(places: &[Point], sweet_spot_w_m: &[Vector3<f64>], hands_w_m: &[Vector3<f64>]) -> Vec<f64> {
    let part = |(k, place): (usize, &Point)| {
        let (along, hands) = (direction(sweet_spot_w_m, k)?, direction(hands_w_m, k)?);
        Some(place.hand_speed_mps * along.dot(&hands).clamp(-1.0, 1.0))
    };
    places.iter().enumerate().map_while(part).collect()
}

/// Of the motion at a place; of no motion none that is any (zero). `None` of fewer than two places.
fn direction(places: &[Vector3<f64>], k: usize) -> Option<Vector3<f64>> {
    let place = |k: usize| places.get(k).copied();
    let one_sided = |a: Vector3<f64>, b: Vector3<f64>, c: Option<Vector3<f64>>| match c {
        Some(c) => 3.0 * a - 4.0 * b + c,
        None => a - b,
    };
    let step = match (k.checked_sub(1).and_then(place), place(k)?, place(k + 1)) {
        (Some(later), _, Some(earlier)) => later - earlier,
        (None, here, Some(earlier)) => one_sided(here, earlier, place(k + 2)),
        (Some(later), here, None) => -one_sided(here, later, k.checked_sub(2).and_then(place)),
        (None, _, None) => return None,
    };
    Some(step.try_normalize(0.0).unwrap_or_default())
}
