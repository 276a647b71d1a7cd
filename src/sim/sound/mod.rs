//! Sound tracks of a clip with known answers: which swings are in it, and where.
//!
//! A lesson's contacts on the recording's clock, a clip that begins somewhere in it on a clock that goes up to 100 ppm wrong, and
//! in the clip cracks, echoes, voices, other bats, a pitching machine, nets, wind and noise (`parts`). The sounds' shapes are
//! plausible, not measured: common practice, no source. [`SoundTrack::draw`] is the one door.

mod parts;
mod plan;

use super::Random;
use parts::Mixer;
use plan::Plan;
pub use plan::SoundKind;

/// Speed of sound that the tracks are made with, m/s.
const SPEED_OF_SOUND_MPS: f64 = 343.2;

/// A swing's contact as it is stored.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct StoredContact {
    /// As measured, on the recording's clock, s.
    pub at_s: f64,
    /// The standard error of that, s.
    pub sigma_s: f64,
    /// As it was, s.
    pub true_s: f64,
}

/// Where contacts are in the film.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct SoundTruth {
    /// Film time of the recording's zero, s.
    pub offset_s: f64,
    /// How much faster film time goes.
    pub drift: f64,
    /// From bat to microphone, on average, m.
    pub distance_m: f64,
}

impl SoundTruth {
    /// When a contact is seen, film time, s.
    pub fn seen_s(&self, true_s: f64) -> f64 {
        self.offset_s + (1.0 + self.drift) * true_s
    }

    /// When it is heard, s.
    pub fn heard_s(&self, true_s: f64) -> f64 {
        self.seen_s(true_s) + self.distance_m / SPEED_OF_SOUND_MPS
    }
}

/// A sound track and its truth.
#[derive(Clone, Debug)]
pub struct SoundTrack {
    /// Of which kind it is.
    pub kind: SoundKind,
    /// Samples a second.
    pub rate_hz: u32,
    /// Of each channel; full scale is 1.
    pub channels: Vec<Vec<f32>>,
    /// Bits a sample; `None`: floats.
    pub bits: Option<u16>,
    /// Of the stored swings that met a ball.
    pub contacts: Vec<StoredContact>,
    /// `None` where no stored swing is in the clip.
    pub truth: Option<SoundTruth>,
    /// Stored contacts whose crack is in the clip and is not muffled.
    pub audible: usize,
    /// How long the clip is, s.
    pub duration_s: f64,
}

impl SoundTrack {
    /// One of a kind.
    pub fn draw(kind: SoundKind, seed: u64) -> Self {
        Self::lasting(kind, seed, None)
    }

    /// One of a kind that is so long, s.
    pub fn lasting(kind: SoundKind, seed: u64, duration_s: Option<f64>) -> Self {
        let mut random = Random::new(seed);
        let plan = Plan::draw(kind, duration_s, &mut random);
        let rate_hz = if random.chance(0.5) { 44_100 } else { 48_000 };
        let mut mixer = Mixer::new(rate_hz, plan.duration_s, &mut random);
        plan.play(&mut mixer);
        let channels = mixer.finish(plan.gain, random.chance(0.25));
        let bits = [Some(16), Some(16), Some(24), Some(32), None][random.index(5)];
        let truth = plan.is_in_clip.then_some(plan.truth);
        let audible = plan.audible();
        Self { kind, rate_hz, channels, bits, contacts: plan.stored, truth, audible, duration_s: plan.duration_s }
    }

    /// As a WAV file; `None` if it is too long for one.
    pub fn wav(&self) -> Option<Vec<u8>> {
        let spec = hound::WavSpec {
            channels: self.channels.len() as u16,
            sample_rate: self.rate_hz,
            bits_per_sample: self.bits.unwrap_or(32),
            sample_format: if self.bits.is_some() { hound::SampleFormat::Int } else { hound::SampleFormat::Float },
        };
        let mut bytes = std::io::Cursor::new(Vec::new());
        let mut writer = hound::WavWriter::new(&mut bytes, spec).ok()?;
        let scale = self.bits.map(|bits| f64::from(bits - 1).exp2());
        for at in 0..self.channels.first().map_or(0, Vec::len) {
            for channel in &self.channels {
                let value = channel.get(at).copied().unwrap_or(0.0);
                match scale {
                    // As an amplifier does: what is too loud is cut.
                    Some(scale) => {
                        let most = scale - 1.0;
                        writer.write_sample((f64::from(value) * scale).round().clamp(-scale, most) as i32).ok()?;
                    }
                    None => writer.write_sample(value).ok()?,
                }
            }
        }
        writer.finalize().ok()?;
        Some(bytes.into_inner())
    }
}
