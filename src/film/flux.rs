//! How much louder the parts of the band became at once, from frame to frame: spectral flux (Bello et al., *IEEE Trans. Speech
//! Audio Process.* 13, 1035 (2005), section III-A) of the logarithm of each part's power over its slowly followed level.
//!
//! A crack makes all parts louder at once; a voice makes a few, and slowly. Both sides of a sample go through one complex
//! transform: |Z(k)|² + |Z(−k)|² is twice the sum of their powers.

use super::envelope::BAND_HZ;
use super::wav::Pair;
use rustfft::algorithm::Radix4;
use rustfft::num_complex::Complex32;
use rustfft::{Fft, FftDirection};

/// Samples a frame, a power of two: about 11 ms.
pub const FRAME: usize = 512;
/// Samples from a frame to the next: about 5 ms.
pub const HOP: usize = 256;
/// Parts of the band, each a fifth of an octave or a little more.
const PARTS: usize = 10;
/// A part's level is followed over about so many frames: 2 s.
const MEMORY_FRAMES: f32 = 375.0;
/// Power of the faintest sound that counts, of a mean power density: below the last bit of 16.
const FAINTEST: f32 = 1e-7;

/// The flux of a sound track.
pub struct Flux {
    fft: Radix4<f32>,
    window: Vec<f32>,
    scratch: Vec<Complex32>,
    frame: Vec<Complex32>,
    waiting: Vec<Pair>,
    edges: [usize; PARTS + 1],
    levels: [f32; PARTS],
    /// Powers of the last two frames, the older one first.
    before: [[f32; PARTS]; 2],
    frames: usize,
    /// A number a frame: the mean over the parts of how much their power's logarithm rose over two frames.
    values: Vec<f32>,
}

impl Flux {
    /// For a sample rate.
    pub fn new(rate_hz: f64) -> Self {
        let fft = Radix4::new(FRAME, FftDirection::Forward);
        let turn = std::f64::consts::TAU / FRAME as f64;
        let octaves = f64::from(BAND_HZ[1] / BAND_HZ[0]).log2();
        let edges = std::array::from_fn(|k| {
            let edge_hz = f64::from(BAND_HZ[0]) * (octaves * k as f64 / PARTS as f64).exp2();
            (edge_hz * FRAME as f64 / rate_hz).round() as usize
        });
        Self {
            window: (0..FRAME).map(|k| (0.5 - 0.5 * (turn * k as f64).cos()) as f32).collect(),
            scratch: vec![Complex32::default(); fft.get_inplace_scratch_len()],
            fft,
            frame: Vec::with_capacity(FRAME),
            waiting: Vec::new(),
            edges,
            levels: [0.0; PARTS],
            before: [[0.0; PARTS]; 2],
            frames: 0,
            values: Vec::new(),
        }
    }

    /// The next samples.
    pub fn push(&mut self, block: &[Pair]) {
        self.waiting.extend_from_slice(block);
        let mut at = 0;
        while let Some(samples) = self.waiting.get(at..at + FRAME) {
            self.frame.clear();
            let windowed = samples.iter().zip(&self.window);
            self.frame.extend(windowed.map(|(pair, weight)| Complex32::new(pair[0] * weight, pair[1] * weight)));
            self.take_frame();
            at += HOP;
        }
        self.waiting.drain(..at);
    }

    fn take_frame(&mut self) {
        self.fft.process_with_scratch(&mut self.frame, &mut self.scratch);
        let powers = self.powers();
        if self.frames == 0 {
            (self.levels, self.before) = (powers, [powers; 2]);
        }
        let mut rise = 0.0;
        let parts = powers.iter().zip(&self.before[0]).zip(&mut self.levels);
        for ((power, before), level) in parts {
            rise += ((power + *level) / (before + *level)).ln().max(0.0);
            let weight = (1.0 / MEMORY_FRAMES).max(1.0 / (self.frames + 1) as f32);
            // A blow lifts the level by no more than a loud breath would.
            *level += (power.min(4.0 * *level) - *level) * weight;
        }
        self.values.push(rise / PARTS as f32);
        self.before = [self.before[1], powers];
        self.frames += 1;
    }

    fn powers(&self) -> [f32; PARTS] {
        std::array::from_fn(|part| {
            let (first, end) = (self.edges[part], self.edges[part + 1].max(self.edges[part] + 1));
            let power = |k: usize| {
                let mirrored = self.frame.get(FRAME - k).map_or(0.0, Complex32::norm_sqr);
                0.5 * (self.frame.get(k).map_or(0.0, Complex32::norm_sqr) + mirrored)
            };
            (first..end).map(power).sum::<f32>() / (end - first) as f32 + FAINTEST
        })
    }

    /// A number a frame; frame k begins with sample k · [`HOP`].
    pub fn values(&self) -> &[f32] {
        &self.values
    }
}
