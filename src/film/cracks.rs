//! Onsets in a sound track that may be cracks of bat on ball, each to a fraction of a millisecond.
//!
//! A frame is an onset where the spectral flux of the band (`flux`) is the largest nearby and stands above the local
//! median by [`SPREADS`] robust spreads; its instant is where the band-passed envelope (`envelope`) becomes loud. Whether an onset is
//! the crack that was measured is not asked here: other bats sound alike. What is kept grows with the clip by about
//! 13 kB a second; the sound itself is dropped block by block.

use super::envelope::Envelope;
use super::flux::{FRAME, Flux, HOP};
use super::wav::{SHORTEST_S, Wav, WavError};
use std::io::Read;

/// Samples read at a time.
const BLOCK: usize = 1 << 14;
/// Frames either side that the local median is taken over: 1 s.
const MEDIAN_REACH: usize = 190;
/// Frames from one median to the next.
const MEDIAN_STEP: usize = 48;
/// So many robust spreads above the median an onset stands.
const SPREADS: f32 = 5.0;
/// And so much at least: the parts of the band become louder by 0.4 nepers in power on average.
const LEAST_RISE: f32 = 0.4;
/// An onset is the largest within so many frames either side: 43 ms.
const APART: usize = 8;
/// An onset no louder than one so short before it is its echo, s.
const ECHO_S: f64 = 0.1;
/// An onset is found so long after the sound arrives, s: what the filters take.
const LATE_S: f64 = 0.1e-3;
/// No more onsets than this are kept; the loudest are.
pub const MOST_CRACKS: usize = 4_000;
/// The standard error of an onset's instant against the sound's arrival, s; held by `film`'s measurements.
pub const ONSET_SIGMA_S: f64 = 0.4e-3;

/// An onset that may be a crack.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Crack {
    /// When it is heard, film time, s.
    pub at_s: f64,
    /// How loud the band becomes; full scale is about 1.
    pub loudness: f64,
}

/// What was heard.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Sound {
    /// How long the clip is, s.
    pub duration_s: f64,
    /// In order of time.
    pub cracks: Vec<Crack>,
    /// Fainter ones that were left out, so that no clip takes minutes to be matched.
    pub left_out: usize,
}

/// Reads a sound track to its end and finds the cracks.
///
/// # Errors
/// If it cannot be read.
pub fn listen(reader: impl Read) -> Result<Sound, WavError> {
    let mut wav = Wav::open(reader)?;
    let rate_hz = wav.rate_hz();
    let mut envelope = Envelope::new(rate_hz).ok_or(WavError::Rate(rate_hz as u32))?;
    let mut flux = Flux::new(rate_hz);
    let mut block = Vec::with_capacity(BLOCK);
    loop {
        wav.next_block(&mut block, BLOCK)?;
        if block.is_empty() {
            break;
        }
        envelope.push(&block);
        flux.push(&block);
    }
    let duration_s = wav.read_s();
    if duration_s < SHORTEST_S {
        return Err(WavError::TooShort);
    }
    let (cracks, left_out) = cracks(flux.values(), &envelope, rate_hz);
    Ok(Sound { duration_s, cracks, left_out })
}

/// The loudest in order of time, and how many were left out.
fn cracks(flux: &[f32], envelope: &Envelope, rate_hz: f64) -> (Vec<Crack>, usize) {
    let mut found: Vec<Crack> = onsets(flux)
        .into_iter()
        .filter_map(|frame| {
            let from = (frame * HOP).saturating_sub(HOP);
            let (at, loudness) = envelope.onset(from, frame * HOP + FRAME + HOP)?;
            Some(Crack { at_s: at / rate_hz - LATE_S, loudness: loudness.into() })
        })
        .collect();
    drop_echoes(&mut found);
    let left_out = keep_loudest(&mut found, MOST_CRACKS);
    (found, left_out)
}

/// Keeps so many, in order of time; how many were left out.
pub(super) fn keep_loudest(found: &mut Vec<Crack>, most: usize) -> usize {
    let left_out = found.len().saturating_sub(most);
    if left_out > 0 {
        found.sort_by(|a, b| b.loudness.total_cmp(&a.loudness));
        found.truncate(most);
    }
    found.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
    left_out
}

/// In order of time: what follows something louder at once comes back from a wall.
fn drop_echoes(found: &mut Vec<Crack>) {
    let mut louder: Option<Crack> = None;
    found.retain(|crack| {
        let is_echo = louder.is_some_and(|by| crack.at_s - by.at_s < ECHO_S && crack.loudness <= by.loudness);
        if !is_echo {
            louder = Some(*crack);
        }
        !is_echo
    });
}

/// Frames whose flux is the largest nearby and above the threshold there.
fn onsets(flux: &[f32]) -> Vec<usize> {
    let mut found = Vec::new();
    for (step, frames) in flux.chunks(MEDIAN_STEP).enumerate() {
        let first = step * MEDIAN_STEP;
        let threshold = threshold(around(flux, first + MEDIAN_STEP / 2, MEDIAN_REACH));
        for (k, &value) in frames.iter().enumerate() {
            let is_largest = || around(flux, first + k, APART).iter().all(|&other| other <= value);
            if value > threshold && is_largest() && found.last().is_none_or(|last| first + k > last + APART) {
                found.push(first + k);
            }
        }
    }
    found
}

fn around(values: &[f32], middle: usize, reach: usize) -> &[f32] {
    let end = (middle + reach + 1).min(values.len());
    values.get(middle.saturating_sub(reach)..end).unwrap_or_default()
}

fn threshold(values: &[f32]) -> f32 {
    let mut sorted = values.to_vec();
    let middle = median(&mut sorted);
    sorted.iter_mut().for_each(|value| *value = (*value - middle).abs());
    // 1.4826: from the median of deviations to σ of a normal.
    (middle + SPREADS * 1.4826 * median(&mut sorted)).max(LEAST_RISE)
}

fn median(values: &mut [f32]) -> f32 {
    let at = values.len() / 2;
    if values.is_empty() { 0.0 } else { *values.select_nth_unstable_by(at, f32::total_cmp).1 }
}

#[cfg(test)]
mod tests;
