//! A group's mean path, and the swing nearest the middle of all.

use super::MeanPath;
use super::line::{places, reach};
use super::sampled::{Sampled, TIME_STEP_S};
use crate::quantile::median;
use nalgebra::Vector3;

/// The swings of a group that have all times that three quarters of it have, and how many times these are.
fn whole(group: &[Sampled]) -> (Vec<(usize, &Sampled)>, usize) {
    let steps = reach(group.iter().map(|swing| swing.speed_mps.len())).unwrap_or(0);
    let has_all = |(_, swing): &(usize, &Sampled)| steps > 0 && swing.speed_mps.len() >= steps;
    (group.iter().enumerate().filter(has_all).collect(), steps)
}

/// Of a group.
pub fn mean_path(group: &[Sampled]) -> MeanPath {
    let (swings, steps) = whole(group);
    let mut path = MeanPath { times_s: places(steps, TIME_STEP_S), ..MeanPath::default() };
    for k in (0..steps).rev() {
        let sweet_spots: Vec<Vector3<f64>> =
            swings.iter().filter_map(|(_, s)| s.sweet_spot_w_m.get(k)).copied().collect();
        let hands: Vec<Vector3<f64>> = swings.iter().filter_map(|(_, s)| s.hands_w_m.get(k)).copied().collect();
        let mean = mean(&sweet_spots);
        path.sweet_spot_w_m.push(mean);
        path.hands_w_m.push(self::mean(&hands));
        let spread = |axis: usize| {
            let squares: f64 = sweet_spots.iter().map(|place| (place[axis] - mean[axis]).powi(2)).sum();
            (squares / (sweet_spots.len() as f64 - 1.0)).sqrt()
        };
        if sweet_spots.len() > 1 {
            path.height_spread_m.push(spread(2));
            path.aside_spread_m.push(spread(1));
        }
    }
    path
}

fn mean(places: &[Vector3<f64>]) -> Vector3<f64> {
    places.iter().sum::<Vector3<f64>>() / places.len().max(1) as f64
}

/// Place, in the list, of the swing nearest the middle of all; the first of several.
///
/// The middle is at each time the median of the swings' speeds and of each coordinate of their sweet spots. A swing's
/// distance from it is the mean square, over the times, of the difference in speed, by all swings' own mean square, plus
/// the same of the sweet spot's place: speed and path count alike, whatever their units.
pub fn typical(group: &[Sampled]) -> Option<usize> {
    let (swings, steps) = whole(group);
    let mut distances = vec![[0.0; 2]; swings.len()];
    for k in 0..steps {
        let at = |axis: usize, swing: &Sampled| {
            let value = match axis {
                3 => swing.speed_mps.get(k).copied(),
                _ => swing.sweet_spot_w_m.get(k).map(|place| place[axis]),
            };
            value.unwrap_or(0.0)
        };
        for axis in 0..4 {
            let mut values: Vec<f64> = swings.iter().map(|(_, swing)| at(axis, swing)).collect();
            values.sort_unstable_by(f64::total_cmp);
            let middle = median(&values)?;
            for (distance, (_, swing)) in distances.iter_mut().zip(&swings) {
                distance[axis / 3] += (at(axis, swing) - middle).powi(2);
            }
        }
    }
    let all = distances.iter().fold([0.0; 2], |all, one| [all[0] + one[0], all[1] + one[1]]);
    let share = |[path, speed]: [f64; 2]| {
        let of = |one: f64, all: f64| if all > 0.0 { one / all } else { 0.0 };
        of(path, all[0]) + of(speed, all[1])
    };
    let nearest = swings.iter().zip(&distances).min_by(|(_, a), (_, b)| share(**a).total_cmp(&share(**b)));
    nearest.map(|((index, _), _)| *index)
}
