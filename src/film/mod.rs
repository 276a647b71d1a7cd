//! The sound of an instructor's own film: cracks of bat on ball, matched in time with swings that were measured.
//!
//! ```text
//!   wav (blocks of a sound track) ──► cracks (onsets) ──► matching (with contacts) ──► captions, contact times
//! ```
//!
//! What enters: any [`std::io::Read`] with a WAV file, and the instants of contact of stored swings, in seconds of one clock.
//! What leaves: where each contact is in the film, with its uncertainty, or a [`Refusal`](matching::Refusal) in words. Film time is
//! in seconds from the clip's beginning. The method, its sources and its measured errors stand in `proto-docs/film.md`.

pub mod captions;
pub mod cracks;
mod envelope;
#[cfg(test)]
pub(crate) mod example;
mod flux;
pub mod matching;
mod score;
pub mod wav;

pub use cracks::{Crack, Sound, listen};
pub use matching::{Alignment, Contact, Refusal, align};
pub use wav::WavError;
