//! A sound track read by blocks: WAV of 44.1 or 48 kHz, in integers of 16, 24 or 32 bits or floats of 32, any number of channels.
//!
//! Channels are paired: of one, both sides are the same; of two, each is its own; of more, those with even numbers are averaged
//! into one side and those with odd numbers into the other. So nothing is lost that is in opposite phase on two channels.

use hound::{SampleFormat, WavReader, WavSpec};
use std::io::Read;

/// Sample rates that are read, Hz.
pub const RATES_HZ: [u32; 2] = [44_100, 48_000];
/// More channels are no sound track of a film.
const MOST_CHANNELS: u16 = 16;

/// Both sides of a sample; full scale is 1.
pub type Pair = [f32; 2];

/// Why a sound track cannot be read.
#[derive(Debug, thiserror::Error)]
pub enum WavError {
    /// It is no WAV file, or its head is broken.
    #[error("it is not a WAV file that can be read ({0}); expected RIFF/WAVE with PCM or float samples")]
    NotWav(String),
    /// It has another rate.
    #[error("its sample rate is {0} Hz; expected 44100 or 48000 Hz")]
    Rate(u32),
    /// Its samples are of another kind.
    #[error("its samples are {bits}-bit {kind}; expected 16, 24 or 32-bit integers or 32-bit floats")]
    Samples {
        /// Bits a sample.
        bits: u16,
        /// "integers" or "floats".
        kind: &'static str,
    },
    /// It has none or too many.
    #[error("it has {0} channels; expected 1 to {MOST_CHANNELS}")]
    Channels(u16),
    /// It ends before it should.
    #[error("it breaks off after {read_s:.1} s ({cause}); expected {expected_s:.1} s as its head says")]
    BreaksOff {
        /// What was read, s.
        read_s: f64,
        /// What its head promises, s.
        expected_s: f64,
        /// What went wrong.
        cause: String,
    },
    /// There is nothing in it.
    #[error("there is no sound in it; expected at least {SHORTEST_S} s")]
    TooShort,
    /// It lasts longer than a lesson.
    #[error("its head says that it lasts {:.1} h; expected at most {:.0} h", lasts_s / 3600.0, LONGEST_S / 3600.0)]
    TooLong {
        /// What its head promises, s.
        lasts_s: f64,
    },
}

/// A shorter sound track is not looked at, s.
pub const SHORTEST_S: f64 = 1.0;
/// A longer sound track is not listened to, s: more than a lesson lasts, and 190 MB of memory while it is listened to.
pub const LONGEST_S: f64 = 4.0 * 3600.0;

/// A sound track whose head was read.
pub struct Wav<R> {
    reader: WavReader<R>,
    spec: WavSpec,
    /// Samples of each channel that its head promises.
    promised: u32,
    read: u64,
}

impl<R: Read> Wav<R> {
    /// Reads the head.
    ///
    /// # Errors
    /// If it is not of a kind that is read.
    pub fn open(reader: R) -> Result<Self, WavError> {
        let reader = WavReader::new(reader).map_err(|error| WavError::NotWav(error.to_string()))?;
        let spec = reader.spec();
        if !RATES_HZ.contains(&spec.sample_rate) {
            return Err(WavError::Rate(spec.sample_rate));
        }
        match (spec.sample_format, spec.bits_per_sample) {
            (SampleFormat::Int, 16 | 24 | 32) | (SampleFormat::Float, 32) => {}
            (SampleFormat::Int, bits) => return Err(WavError::Samples { bits, kind: "integers" }),
            (SampleFormat::Float, bits) => return Err(WavError::Samples { bits, kind: "floats" }),
        }
        if !(1..=MOST_CHANNELS).contains(&spec.channels) {
            return Err(WavError::Channels(spec.channels));
        }
        let promised = reader.duration();
        let lasts_s = f64::from(promised) / f64::from(spec.sample_rate);
        if lasts_s > LONGEST_S {
            return Err(WavError::TooLong { lasts_s });
        }
        Ok(Self { reader, spec, promised, read: 0 })
    }

    /// Samples a second.
    pub fn rate_hz(&self) -> f64 {
        f64::from(self.spec.sample_rate)
    }

    /// How much was read, s.
    pub fn read_s(&self) -> f64 {
        self.read as f64 / self.rate_hz()
    }

    /// The next samples, at most `most`, in place of what `block` held; none at the end.
    ///
    /// # Errors
    /// If the file breaks off.
    pub fn next_block(&mut self, block: &mut Vec<Pair>, most: usize) -> Result<(), WavError> {
        block.clear();
        let left = u64::from(self.promised).saturating_sub(self.read);
        let count = left.min(most as u64) as usize;
        let channels = usize::from(self.spec.channels);
        let read = match self.spec.sample_format {
            SampleFormat::Float => {
                fill(block, count, channels, self.reader.samples::<f32>().map(|sample| sample.map(finite)))
            }
            SampleFormat::Int => {
                let scale = 1.0 / f64::from(self.spec.bits_per_sample - 1).exp2() as f32;
                let samples = self.reader.samples::<i32>();
                fill(block, count, channels, samples.map(|sample| sample.map(|value| value as f32 * scale)))
            }
        };
        self.read += block.len() as u64;
        read.map_err(|error| WavError::BreaksOff {
            read_s: self.read_s(),
            expected_s: f64::from(self.promised) / self.rate_hz(),
            cause: error.to_string(),
        })
    }
}

/// What is no number is silence, and nothing is beyond what a float track may hold.
fn finite(sample: f32) -> f32 {
    if sample.is_finite() { sample.clamp(-16.0, 16.0) } else { 0.0 }
}

fn fill(
    block: &mut Vec<Pair>,
    count: usize,
    channels: usize,
    mut samples: impl Iterator<Item = hound::Result<f32>>,
) -> hound::Result<()> {
    let side_counts = [channels.div_ceil(2), channels / 2];
    for _ in 0..count {
        let mut sums = Pair::default();
        for channel in 0..channels {
            let Some(sample) = samples.next() else { return Ok(()) };
            let sample = sample?;
            if channel % 2 == 0 { sums[0] += sample } else { sums[1] += sample }
        }
        let [first, second] = side_counts;
        let left = sums[0] / first as f32;
        block.push([left, if second == 0 { left } else { sums[1] / second as f32 }]);
    }
    Ok(())
}

#[cfg(test)]
mod tests;
