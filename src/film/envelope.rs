//! How loud the band of a crack is from a third of a millisecond to the next: what tells an onset's instant.
//!
//! Both sides pass a Butterworth high-pass and low-pass of second order (coefficients of `biquad`), their squares are added,
//! and of every [`CELL`] samples the largest is kept. The filters hold an onset back by about 0.1 ms.

use super::wav::Pair;
use biquad::{Biquad, Coefficients, DirectForm2Transposed, Hertz, Q_BUTTERWORTH_F32, Type};

/// Samples a cell.
pub const CELL: usize = 16;
/// The band in which a crack stands out from voices and machines, Hz.
pub const BAND_HZ: [f32; 2] = [1_500.0, 8_000.0];
/// An onset is where the band reaches this share of the blow's loudest cell.
const RISE: f32 = 0.4;

type Filter = DirectForm2Transposed<f32>;

/// The band's loudness, a number a cell.
pub struct Envelope {
    sides: [[Filter; 2]; 2],
    /// Amplitude, full scale 1.
    cells: Vec<f32>,
    loudest: f32,
    filled: usize,
}

impl Envelope {
    /// For a sample rate; `None` if no filter can be made for it.
    pub fn new(rate_hz: f64) -> Option<Self> {
        let filter = |kind, corner_hz| {
            let rate = Hertz::<f32>::from_hz(rate_hz as f32).ok()?;
            let corner = Hertz::<f32>::from_hz(corner_hz).ok()?;
            Some(Filter::new(Coefficients::from_params(kind, rate, corner, Q_BUTTERWORTH_F32).ok()?))
        };
        let side = || Some([filter(Type::HighPass, BAND_HZ[0])?, filter(Type::LowPass, BAND_HZ[1])?]);
        Some(Self { sides: [side()?, side()?], cells: Vec::new(), loudest: 0.0, filled: 0 })
    }

    /// The next samples.
    pub fn push(&mut self, block: &[Pair]) {
        for sample in block {
            let mut power = 0.0;
            for (filters, value) in self.sides.iter_mut().zip(sample) {
                power += filters.iter_mut().fold(*value, |value, filter| filter.run(value)).powi(2);
            }
            self.loudest = self.loudest.max(power);
            self.filled += 1;
            if self.filled == CELL {
                self.cells.push(self.loudest.sqrt());
                (self.loudest, self.filled) = (0.0, 0);
            }
        }
    }

    /// Where between two samples the band rises, in samples, and how loud it becomes.
    pub fn onset(&self, from: usize, to: usize) -> Option<(f64, f32)> {
        let (first, end) = (from / CELL, (to / CELL).min(self.cells.len()));
        let cells = self.cells.get(first..end)?;
        let peak = cells.iter().copied().fold(0.0, f32::max);
        let base = cells.iter().copied().fold(f32::INFINITY, f32::min);
        let level = base + RISE * (peak - base);
        let at = cells.iter().position(|&cell| cell > level)?;
        let (before, after) = (at.checked_sub(1).and_then(|k| cells.get(k)).copied().unwrap_or(base), *cells.get(at)?);
        let part = if after > before { f64::from((level - before) / (after - before)) } else { 0.5 };
        Some((((first + at) as f64 + part.clamp(0.0, 1.0)) * CELL as f64, peak))
    }
}
