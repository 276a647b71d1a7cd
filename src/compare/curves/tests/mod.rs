mod bands;
mod shapes;

use super::*;

/// SplitMix64 (Steele, Lea and Flood, OOPSLA 2014).
pub struct Chance(pub u64);

impl Chance {
    pub fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    pub fn below(&mut self, count: usize) -> usize {
        (self.next() % count as u64) as usize
    }

    /// Between 0 and 1, neither.
    pub fn share(&mut self) -> f64 {
        ((self.next() >> 11) as f64 + 0.5) / (1u64 << 53) as f64
    }

    /// Of mean 0 and variance 1 (Box and Muller).
    pub fn normal(&mut self) -> f64 {
        (-2.0 * self.share().ln()).sqrt() * (std::f64::consts::TAU * self.share()).cos()
    }
}

/// A swing of this many points, 1 ms apart, the last at contact; what it does at a time.
fn swing(day: i64, points: usize, at: impl Fn(f64) -> [Vector3<f64>; 4]) -> Drawn {
    let times_s: Vec<f64> = (0..points).map(|k| -((points - 1 - k) as f64) * 1e-3).collect();
    let mut curves = Curves { times_s: times_s.clone(), ..Curves::default() };
    for time_s in times_s {
        let [sweet_spot, hands, its_velocity, theirs] = at(time_s);
        curves.bat_speed_mps.push(its_velocity.norm());
        curves.hand_speed_mps.push(theirs.norm());
        curves.turn_rate_radps.push(0.0);
        curves.sweet_spot_w_m.push(sweet_spot);
        curves.hands_w_m.push(hands);
    }
    Drawn { day, time_to_contact_s: None, curves }
}

/// A barrel that goes straight on at a speed that grows evenly.
fn straight(day: i64, points: usize, contact_mps: f64, growth_mps2: f64) -> Drawn {
    swing(day, points, |t| {
        let along = contact_mps * t + 0.5 * growth_mps2 * t * t;
        let velocity = Vector3::new(contact_mps + growth_mps2 * t, 0.0, 0.0);
        [Vector3::new(along, 0.0, 0.0), Vector3::new(along, 0.5, 0.0), velocity, velocity]
    })
}

fn near(found: &[f64], expected: &[f64], within: f64) {
    assert_eq!(found.len(), expected.len());
    for (k, (found, expected)) in found.iter().zip(expected).enumerate() {
        assert!((found - expected).abs() <= within, "{k}: {found}, expected {expected}");
    }
}
