//! The calibration routine, recognised in what a recording holds: six still holds (level at four rolls, up, down), then
//! the bat spun twice about its own axis.

use nalgebra::Vector3;
use std::f64::consts::PI;

/// A rest, as the bat lay in it.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Hold {
    /// Start, s.
    pub from_s: f64,
    /// End, s.
    pub to_s: f64,
    /// Up, unit, in B.
    pub up_b: Vector3<f64>,
}

/// A roll about the bat's axis.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Spin {
    /// Start, s.
    pub from_s: f64,
    /// End, s.
    pub to_s: f64,
    /// Both ways counted, rad.
    pub angle_rad: f64,
}

/// A routine that was found.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Routine {
    /// Start of its first hold, s.
    pub from_s: f64,
    /// End of its spin, s.
    pub to_s: f64,
}

/// A hold lasts at least this long, s.
const HOLD_S: f64 = 0.8;
/// A hold may be cut in two for this long, s, if the bat's up stays within acos of this.
const TWITCH_S: f64 = 0.6;
const SAME_POSE: f64 = 0.985;
/// All holds lie within this time before the spin, s.
const WITHIN_S: f64 = 40.0;
/// Two turns, rad, less their slow beginnings and ends, which no roll counts.
const TWO_TURNS_RAD: f64 = 2.6 * PI;
/// The bat is up or down if its axis is within acos of this of the vertical, level if within asin of the other.
const UPRIGHT: f64 = 0.85;
const LEVEL: f64 = 0.35;
/// Level holds are told apart by their roll, within half of this, rad.
const QUARTER_RAD: f64 = PI / 2.0;

/// The routines in a recording, in order, from its rests and rolls.
pub fn routines(holds: &[Hold], spins: &[Spin]) -> Vec<Routine> {
    let holds = &joined(holds);
    spins.iter().filter(|spin| spin.angle_rad >= TWO_TURNS_RAD).filter_map(|spin| before(holds, spin)).collect()
}

/// Holds with those joined that a twitch has cut in two: the same pose, hardly apart.
fn joined(holds: &[Hold]) -> Vec<Hold> {
    let mut out: Vec<Hold> = Vec::with_capacity(holds.len());
    for hold in holds {
        match out.last_mut() {
            Some(last) if hold.from_s - last.to_s < TWITCH_S && last.up_b.dot(&hold.up_b) > SAME_POSE => {
                last.to_s = hold.to_s;
            }
            _ => out.push(*hold),
        }
    }
    out
}

/// The routine that ends with this spin, if its six holds are there.
fn before(holds: &[Hold], spin: &Spin) -> Option<Routine> {
    let near = |hold: &&Hold| {
        hold.to_s <= spin.from_s + 0.5 && hold.to_s > spin.from_s - WITHIN_S && hold.to_s - hold.from_s >= HOLD_S
    };
    let near: Vec<&Hold> = holds.iter().filter(near).collect();
    let up = near.iter().find(|hold| hold.up_b.z > UPRIGHT)?;
    let down = near.iter().find(|hold| hold.up_b.z < -UPRIGHT)?;
    let level = four_level(&near)?;
    let from_s = level.iter().chain([up, down]).map(|hold| hold.from_s).fold(f64::INFINITY, f64::min);
    Some(Routine { from_s, to_s: spin.to_s })
}

/// Four level holds, about a quarter turn apart in roll.
fn four_level<'a>(holds: &[&'a Hold]) -> Option<Vec<&'a Hold>> {
    let level: Vec<&Hold> = holds.iter().copied().filter(|hold| hold.up_b.z.abs() < LEVEL).collect();
    let roll = |hold: &Hold| hold.up_b.y.atan2(hold.up_b.x);
    level.iter().find_map(|first| {
        (0..4)
            .map(|quarter| {
                let wanted = roll(first) + QUARTER_RAD * quarter as f64;
                let off = |hold: &&&Hold| (roll(hold) - wanted + PI).rem_euclid(2.0 * PI) - PI;
                level.iter().find(|hold| off(hold).abs() < QUARTER_RAD / 2.0).copied()
            })
            .collect()
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn holds() -> Vec<Hold> {
        let ups = [
            Vector3::new(1.0, 0.1, 0.05),
            Vector3::new(0.05, 1.0, -0.05),
            Vector3::new(-1.0, 0.1, 0.1),
            Vector3::new(0.1, -1.0, 0.0),
            Vector3::new(0.05, 0.0, 1.0),
            Vector3::new(0.0, 0.05, -1.0),
        ];
        ups.iter()
            .enumerate()
            .map(|(i, up)| Hold { from_s: 3.0 * i as f64, to_s: 3.0 * i as f64 + 2.0, up_b: up.normalize() })
            .collect()
    }

    const SPIN: Spin = Spin { from_s: 19.0, to_s: 22.0, angle_rad: 4.0 * PI };

    #[test]
    fn six_holds_and_two_turns_are_a_routine() {
        assert_eq!(routines(&holds(), &[SPIN]), [Routine { from_s: 0.0, to_s: 22.0 }]);
    }

    #[test]
    fn without_any_one_hold_there_is_none() {
        for missing in 0..6 {
            let mut holds = holds();
            holds.remove(missing);
            assert!(routines(&holds, &[SPIN]).is_empty(), "without hold {missing}");
        }
    }

    #[test]
    fn one_turn_or_a_late_spin_is_none() {
        assert!(routines(&holds(), &[Spin { angle_rad: 2.0 * PI, ..SPIN }]).is_empty());
        assert!(routines(&holds(), &[Spin { from_s: 70.0, to_s: 73.0, ..SPIN }]).is_empty());
    }
}
