//! The least-delayed pair of each short stretch of time, over a sliding window.

use super::Point;
use std::collections::VecDeque;

/// Stretches kept.
const MOST: usize = 160;

/// The length of the first stretches, s.
const SHORTEST_S: f64 = 0.25;

/// It doubles up to this as time goes on, s: the window is then [`MOST`] of it, 640 s.
const LONGEST_S: f64 = 4.0;

#[derive(Clone, Debug)]
pub(super) struct Minima {
    length_s: f64,
    /// Number of the stretch and its lowest point; numbers increase.
    lowest: VecDeque<(i64, Point)>,
}

impl Minima {
    pub(super) fn new() -> Self {
        Self { length_s: SHORTEST_S, lowest: VecDeque::with_capacity(MOST + 1) }
    }

    /// Takes a point; points before the newest stretch are left out. Whether a stretch has begun with it.
    pub(super) fn push(&mut self, point: Point, drift: f64) -> bool {
        let number = self.number(point);
        match self.lowest.back_mut() {
            Some((newest, _)) if number < *newest => false,
            Some((newest, kept)) if number == *newest => {
                if point.over(drift) < kept.over(drift) {
                    *kept = point;
                }
                false
            }
            _ => {
                self.lowest.push_back((number, point));
                self.make_room(number, drift);
                true
            }
        }
    }

    pub(super) fn points(&self) -> impl Iterator<Item = Point> + Clone {
        self.lowest.iter().map(|one| one.1)
    }

    fn number(&self, point: Point) -> i64 {
        (point.x_s / self.length_s).floor() as i64
    }

    fn make_room(&mut self, newest: i64, drift: f64) {
        if self.lowest.len() > MOST && self.length_s < LONGEST_S {
            let kept = std::mem::take(&mut self.lowest);
            self.length_s *= 2.0;
            self.lowest.reserve(MOST + 1);
            for (_, point) in kept {
                self.push(point, drift);
            }
        }
        let window = (MOST as f64 * LONGEST_S / self.length_s) as i64;
        while self.lowest.len() > MOST || self.lowest.front().is_some_and(|first| newest - first.0 > window) {
            self.lowest.pop_front();
        }
    }
}
