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
/// Cells before those asked for that an onset is told against: 11 ms.
const BEFORE: usize = 32;
/// Cells from the loudest on that belong to the rise.
const AFTER: usize = 3;
/// A level is told from so many cells at least.
const LEAST_BEFORE: usize = 4;
/// No onset raises the power by less than this.
const LEAST_RISE: f64 = 1.5;
/// Power of silence.
const FAINTEST: f64 = 1e-10;

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

    /// Where the band becomes loud before its loudest cell between two samples, in samples, and how loud it becomes there.
    pub fn onset(&self, from: usize, to: usize) -> Option<(f64, f32)> {
        let (first, end) = (from / CELL, (to / CELL).min(self.cells.len()));
        let cells = self.cells.get(first..end)?;
        let peak = cells.iter().copied().fold(0.0, f32::max);
        let loudest = first + cells.iter().position(|&cell| cell >= peak)?;
        let early = first.saturating_sub(BEFORE);
        let rising = self.cells.get(early..(loudest + AFTER).min(self.cells.len()))?;
        let at = early + change(rising)?;
        Some(((at as f64 + 0.5) * CELL as f64, peak))
    }
}

/// The first cell of the louder part, where two levels explain the cells best: the powers of noise about a level are taken as
/// exponential, and the logarithm of their likelihood is the largest there (Maeda, *Zisin* 38, 365 (1985), who finds the first
/// arrivals of earthquakes so; from memory). A share of the loudest cell, as a threshold, is passed by noise alone where there is much.
fn change(cells: &[f32]) -> Option<usize> {
    let powers: Vec<f64> = cells.iter().map(|cell| f64::from(*cell).powi(2) + FAINTEST).collect();
    let all: f64 = powers.iter().sum();
    let mut before = powers.iter().take(LEAST_BEFORE).sum::<f64>();
    let mut best: Option<(f64, usize)> = None;
    for (at, power) in powers.iter().enumerate().skip(LEAST_BEFORE) {
        let (earlier, later) = (at as f64, (powers.len() - at) as f64);
        let (quiet, loud) = (before / earlier, (all - before) / later);
        let likelihood = -earlier * quiet.ln() - later * loud.ln();
        if loud > LEAST_RISE * quiet && best.is_none_or(|(most, _)| likelihood > most) {
            best = Some((likelihood, at));
        }
        before += power;
    }
    best.map(|(_, at)| at)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Noise that comes to 0.6 of the blow's loudest cell well before it.
    #[test]
    fn noise_before_a_blow_is_not_its_onset() {
        let noise = |at: usize| 0.1 + 0.05 * (at % 7) as f32;
        let mut cells: Vec<f32> = (0..60).map(noise).collect();
        cells[20] = 0.6;
        cells.extend([0.8, 1.0]);
        assert_eq!(change(&cells), Some(60));
    }

    #[test]
    fn what_does_not_become_louder_has_no_onset() {
        assert_eq!(change(&[]), None);
        assert_eq!(change(&[0.5; 40]), None);
        assert_eq!(change(&[1.0, 1.0, 1.0, 1.0, 0.1, 0.1]), None);
        assert_eq!(change(&[f32::NAN; 40]), None);
    }
}
