//! A swing's curves as they are kept and as they leave: whole numbers of small steps on an even grid.
//!
//! [`StoredCurves`] is made once from the engine's [`Curves`], with nothing cut and no point left out; [`encode`] and
//! [`decode`] are its bytes (specified in proto-docs/curves.md), [`CurvesJson`] and [`to_csv`] its text.

mod bits;
mod compact;
mod text;

pub use compact::{VERSION, decode, encode};
pub use text::{CurvesJson, to_csv};

use crate::engine::swing::Curves;
use nalgebra::Vector3;

/// Fewer points than this have no step.
const FEWEST_POINTS: usize = 2;
/// More do not fit their count.
const MOST_POINTS: usize = u16::MAX as usize;
/// A grid is even if each of its times is where it has to be, to this part of a step.
const EVEN_WITHIN: f64 = 1e-3;
/// Steps in a m/s and a rad/s: 0.5 mm/s and 0.5 mrad/s of error at most. The least σ that simulated swings of a flawless
/// sensor have is 21 mm/s, 9 mm/s for the hands, and 9 mrad/s.
const SPEED_STEPS: f64 = 1e3;
/// Steps in a metre: 0.05 mm of error at most.
const PLACE_STEPS: f64 = 1e4;

macro_rules! channels {
    ($($variant:ident $key:literal $steps:ident $doc:literal,)*) => {
        /// One curve of a swing, in the order in which they are kept.
        #[derive(Clone, Copy, Debug, PartialEq, Eq)]
        pub enum Channel { $(#[doc = $doc] $variant,)* }

        impl Channel {
            /// All of them, in order.
            pub const ALL: [Channel; 9] = [$(Channel::$variant,)*];

            /// The column's name in CSV; it ends in the unit.
            pub fn key(self) -> &'static str {
                match self { $(Channel::$variant => $key,)* }
            }

            /// How many steps make one of its unit.
            pub fn steps_a_unit(self) -> f64 {
                match self { $(Channel::$variant => $steps,)* }
            }
        }
    };
}

channels! {
    BatSpeed "bat_speed_mps" SPEED_STEPS "Speed of the sweet spot, m/s.",
    HandSpeed "hand_speed_mps" SPEED_STEPS "Speed of the hands point, m/s.",
    TurnRate "turn_rate_radps" SPEED_STEPS "Angular rate across the bat's axis, rad/s.",
    SweetSpotX "sweet_spot_w_x_m" PLACE_STEPS "Sweet spot from where it is at contact, along its horizontal heading there, m.",
    SweetSpotY "sweet_spot_w_y_m" PLACE_STEPS "The same, to the left of that, m.",
    SweetSpotZ "sweet_spot_w_z_m" PLACE_STEPS "The same, upward, m.",
    HandsX "hands_w_x_m" PLACE_STEPS "Hands point, from the same place along the same axis, m.",
    HandsY "hands_w_y_m" PLACE_STEPS "The same, to the left of that, m.",
    HandsZ "hands_w_z_m" PLACE_STEPS "The same, upward, m.",
}

/// Why curves cannot be kept, or bytes are none.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum CurvesError {
    /// A swing that could not be drawn, or one of an hour.
    #[error("the curves have {found} points; expected {FEWEST_POINTS} to {MOST_POINTS}")]
    Points {
        /// How many there are.
        found: usize,
    },
    /// A curve of another length than the times.
    #[error("`{}` has {found} values; expected {expected}, one a time", channel.key())]
    Length {
        /// Which one.
        channel: Channel,
        /// Its values.
        found: usize,
        /// The times.
        expected: usize,
    },
    /// The times are no grid.
    #[error("time {point} of the curves is {found_s} s; expected {expected_s} s: even steps of 1 ns to 4 s")]
    Uneven {
        /// Its place.
        point: usize,
        /// It.
        found_s: f64,
        /// What it is on an even grid.
        expected_s: f64,
    },
    /// No time is that of contact.
    #[error("the curves' times go from {first_s} s in steps of {step_s} s; expected one of them to be 0, contact")]
    NoContact {
        /// The first.
        first_s: f64,
        /// The step.
        step_s: f64,
    },
    /// A value that is infinite, not a number or beyond what 32 bits hold in steps.
    #[error("`{}` is {found} at point {point}; expected a finite value within ±{}", channel.key(),
        f64::from(i32::MAX) / channel.steps_a_unit())]
    Value {
        /// Of which curve.
        channel: Channel,
        /// Its place.
        point: usize,
        /// It.
        found: f64,
    },
    /// Bytes of another form.
    #[error("the stored curves are of version {found}; expected {VERSION}")]
    Version {
        /// The first byte.
        found: u8,
    },
    /// Bytes whose head makes no sense.
    #[error(
        "the head of stored curves says a step of {step_ns} ns and contact at point {contact} of {points}; expected \
             a step, and contact at one of {FEWEST_POINTS} points or more"
    )]
    Head {
        /// The step.
        step_ns: u32,
        /// Points.
        points: u16,
        /// Contact.
        contact: u16,
    },
    /// Fewer bytes than the head promises.
    #[error("the stored curves end after {found} bytes; expected more")]
    Short {
        /// How many there are.
        found: usize,
    },
    /// Bits that no curve is written as.
    #[error("the stored `{}` are damaged at point {point}; expected what a curve is written as", channel.key())]
    Damaged {
        /// Of which curve.
        channel: Channel,
        /// At which point.
        point: usize,
    },
    /// Something behind the last value.
    #[error("{found} bits stand behind the last value of stored curves; expected fewer than 8, all zero")]
    Trailing {
        /// How many bits.
        found: usize,
    },
}

/// A swing's curves, rounded to their steps. A point is at contact; the others lie evenly about it.
///
/// A value differs from the engine's by half a step at most, a time by a thousandth of the grid's step and half a
/// nanosecond for each point between it and contact.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StoredCurves {
    step_ns: u32,
    contact: u16,
    /// In steps, one list for each of [`Channel::ALL`], all of one length.
    steps: [Vec<i32>; 9],
}

impl StoredCurves {
    /// Of a swing. Nothing is cut: what the engine tells of a swing is 0.62 s before contact and, if nothing was met, 0.1 s
    /// after it, at 0.5 to 1 ms a point.
    ///
    /// # Errors
    /// If there are none, their lengths differ, the times are no even grid with a point at contact, or a value is not
    /// finite or too large. The engine gives none of these but curves of no length, for a motion that is not sound.
    pub fn new(curves: &Curves) -> Result<Self, CurvesError> {
        let times_s = &curves.times_s;
        let found = times_s.len();
        if !(FEWEST_POINTS..=MOST_POINTS).contains(&found) {
            return Err(CurvesError::Points { found });
        }
        let (step_ns, contact) = grid(times_s)?;
        let mut steps = [const { Vec::new() }; 9];
        for (channel, steps) in Channel::ALL.into_iter().zip(&mut steps) {
            *steps = rounded(channel, curves, found)?;
        }
        Ok(Self { step_ns, contact, steps })
    }

    /// How many points there are; at least two.
    pub fn points(&self) -> usize {
        self.steps[0].len()
    }

    /// From a point to the next, s.
    pub fn step_s(&self) -> f64 {
        f64::from(self.step_ns) / 1e9
    }

    /// The point at contact.
    pub fn contact(&self) -> usize {
        usize::from(self.contact)
    }

    /// Seconds from contact, one a point; exactly 0 at contact.
    pub fn times_s(&self) -> impl Iterator<Item = f64> {
        (0..self.points()).map(|point| self.time_s(point))
    }

    /// The first of the times; not above 0.
    pub fn first_s(&self) -> f64 {
        self.time_s(0)
    }

    /// One curve, a value a point, in SI.
    pub fn values(&self, channel: Channel) -> impl Iterator<Item = f64> {
        // Dividing, unlike multiplying by a step, gives the double nearest to the decimal, which prints short.
        self.steps[channel as usize].iter().map(move |steps| f64::from(*steps) / channel.steps_a_unit())
    }

    /// As the engine has them.
    pub fn to_curves(&self) -> Curves {
        let values = |channel| self.values(channel).collect::<Vec<f64>>();
        let path = |x, y, z| {
            let places = self.values(x).zip(self.values(y)).zip(self.values(z));
            places.map(|((x, y), z)| Vector3::new(x, y, z)).collect()
        };
        Curves {
            times_s: self.times_s().collect(),
            bat_speed_mps: values(Channel::BatSpeed),
            hand_speed_mps: values(Channel::HandSpeed),
            turn_rate_radps: values(Channel::TurnRate),
            sweet_spot_w_m: path(Channel::SweetSpotX, Channel::SweetSpotY, Channel::SweetSpotZ),
            hands_w_m: path(Channel::HandsX, Channel::HandsY, Channel::HandsZ),
        }
    }

    fn time_s(&self, point: usize) -> f64 {
        let points = point as i64 - i64::from(self.contact);
        (points * i64::from(self.step_ns)) as f64 / 1e9
    }
}

/// Step, ns, and the point at contact, of times of which there are two at least.
fn grid(times_s: &[f64]) -> Result<(u32, u16), CurvesError> {
    let (first_s, last_s) = (times_s[0], times_s[times_s.len() - 1]);
    let step_s = (last_s - first_s) / (times_s.len() - 1) as f64;
    let step_ns = (step_s * 1e9).round();
    let sound = (1.0..=f64::from(u32::MAX)).contains(&step_ns);
    for (point, found_s) in times_s.iter().copied().enumerate() {
        let expected_s = first_s + point as f64 * step_s;
        if !(sound && (found_s - expected_s).abs() <= EVEN_WITHIN * step_s) {
            return Err(CurvesError::Uneven { point, found_s, expected_s });
        }
    }
    let contact = (-first_s / step_s).round();
    // Both casts saturate; what they would change is refused.
    match times_s.get(contact as usize) {
        Some(at_s) if contact >= 0.0 && at_s.abs() <= EVEN_WITHIN * step_s => Ok((step_ns as u32, contact as u16)),
        _ => Err(CurvesError::NoContact { first_s, step_s }),
    }
}

fn rounded(channel: Channel, curves: &Curves, expected: usize) -> Result<Vec<i32>, CurvesError> {
    let component = |path: &[Vector3<f64>], axis: usize| path.iter().map(|place| place[axis]).collect::<Vec<f64>>();
    let values = match channel {
        Channel::BatSpeed => curves.bat_speed_mps.clone(),
        Channel::HandSpeed => curves.hand_speed_mps.clone(),
        Channel::TurnRate => curves.turn_rate_radps.clone(),
        Channel::SweetSpotX => component(&curves.sweet_spot_w_m, 0),
        Channel::SweetSpotY => component(&curves.sweet_spot_w_m, 1),
        Channel::SweetSpotZ => component(&curves.sweet_spot_w_m, 2),
        Channel::HandsX => component(&curves.hands_w_m, 0),
        Channel::HandsY => component(&curves.hands_w_m, 1),
        Channel::HandsZ => component(&curves.hands_w_m, 2),
    };
    if values.len() != expected {
        return Err(CurvesError::Length { channel, found: values.len(), expected });
    }
    let steps = |(point, found): (usize, f64)| {
        let steps = (found * channel.steps_a_unit()).round();
        let fits = steps.abs() <= f64::from(i32::MAX);
        fits.then_some(steps as i32).ok_or(CurvesError::Value { channel, point, found })
    };
    values.into_iter().enumerate().map(steps).collect()
}

#[cfg(test)]
mod tests;
