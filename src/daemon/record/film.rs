//! The swings of a lesson found in the sound of a film. The sound comes as a stream of pieces and is kept nowhere.

use super::super::store::StoreError;
use super::super::store::queries::Slice;
use super::super::store::queries::swings_read::{self, FoundSwing, Order, SwingFilter};
use super::super::store::rows::UtcMicros;
use crate::film::captions::{Caption, web_vtt};
use crate::film::matching::MOST_CONTACTS;
use crate::film::{Alignment, Contact, Refusal, Sound, align};
use crate::report::captions::{InFilm, contacts_csv, lines};
use crate::report::words::Units;
use sqlx::AnyConnection;
use std::io::{self, Read};
use tokio::sync::mpsc::Receiver;

/// So many pieces of a sound wait to be listened to: each some 64 kB, so that the upload waits and not the memory.
pub const PIECES_WAITING: usize = 8;

/// A sound that arrives piece by piece, for a thread that may wait. What sent the pieces ends it by going away.
#[derive(Debug)]
pub struct Pieces<B> {
    receiver: Receiver<B>,
    current: Option<B>,
    read: usize,
}

impl<B> Pieces<B> {
    /// Of what comes through a channel.
    pub fn new(receiver: Receiver<B>) -> Self {
        Self { receiver, current: None, read: 0 }
    }
}

impl<B: AsRef<[u8]>> Read for Pieces<B> {
    fn read(&mut self, into: &mut [u8]) -> io::Result<usize> {
        loop {
            let left = self.current.as_ref().and_then(|piece| piece.as_ref().get(self.read..)).unwrap_or_default();
            if !left.is_empty() {
                let count = left.len().min(into.len());
                for (to, from) in into.iter_mut().zip(left) {
                    *to = *from;
                }
                self.read += count;
                return Ok(count);
            }
            let Some(next) = self.receiver.blocking_recv() else { return Ok(0) };
            (self.current, self.read) = (Some(next), 0);
        }
    }
}

/// Swings that a film may show.
#[derive(Clone, Debug)]
pub struct Filmed {
    /// In order of time.
    swings: Vec<FoundSwing>,
    /// Contact times are counted from here.
    from: UtcMicros,
}

/// A film in which the swings were found.
#[derive(Clone, Debug, PartialEq)]
pub struct InPlace {
    /// How film and swings lie.
    pub alignment: Alignment,
    /// When the film began, by the swings' clock.
    pub begun: UtcMicros,
    /// Swings within the film, in order.
    pub swings: Vec<InFilm>,
    /// Their captions, WebVTT.
    pub captions: String,
    /// Their contact times.
    pub contacts_csv: String,
}

impl Filmed {
    /// Of a lesson or a round.
    ///
    /// # Errors
    /// If they cannot be read.
    pub async fn read(connection: &mut AnyConnection, filter: &SwingFilter) -> Result<Self, StoreError> {
        // One more than can be matched, so that too many are told from just enough.
        let slice = Slice { after: None, limit: MOST_CONTACTS as i64 + 1 };
        let swings = swings_read::list(connection, filter, Order::Oldest, slice).await?;
        let from = swings.first().map_or(UtcMicros(0), |found| found.swing.contact_utc);
        Ok(Self { swings, from })
    }

    /// Where they are in a film, if they are.
    ///
    /// # Errors
    /// If there is no one place for them.
    pub fn place(&self, sound: &Sound, distance_m: Option<f64>, units: Units) -> Result<InPlace, Refusal> {
        let met: Vec<Contact> =
            self.swings.iter().filter(|found| found.analysis.met_ball).map(|found| self.contact(found)).collect();
        let alignment = align(&met, sound, distance_m)?;
        let (mut swings, mut captions) = (Vec::new(), Vec::new());
        for (at, found) in self.swings.iter().enumerate() {
            let contact = self.contact(found);
            let film_s = alignment.film_s(contact.at_s);
            if !(0.0..=sound.duration_s).contains(&film_s) {
                continue;
            }
            let swing = InFilm {
                number: at + 1,
                id: found.swing.id.to_string(),
                film_s,
                film_sigma_s: alignment.sigma_s(contact),
                met_ball: found.analysis.met_ball,
            };
            captions.push(Caption { film_s, lines: lines(&swing, &found.analysis.metrics, units) });
            swings.push(swing);
        }
        let begun = UtcMicros(self.from.0.saturating_sub((alignment.film_s(0.0) * 1e6) as i64));
        let (captions, contacts_csv) = (web_vtt(&captions), contacts_csv(&swings));
        Ok(InPlace { alignment, begun, swings, captions, contacts_csv })
    }

    fn contact(&self, found: &FoundSwing) -> Contact {
        let since_us = found.swing.contact_utc.0.saturating_sub(self.from.0);
        Contact { at_s: since_us as f64 * 1e-6, sigma_s: found.analysis.contact_sigma_s }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn pieces_read_as_one_whatever_their_lengths() {
        let (sender, receiver) = tokio::sync::mpsc::channel(PIECES_WAITING);
        for piece in [&b"ab"[..], b"", b"cdefg", b"h"] {
            sender.try_send(piece.to_vec()).unwrap();
        }
        drop(sender);
        let (mut pieces, mut read, mut into) = (Pieces::new(receiver), Vec::new(), [0; 3]);
        loop {
            match pieces.read(&mut into).unwrap() {
                0 => break,
                count => read.extend_from_slice(&into[..count]),
            }
        }
        assert_eq!(read, b"abcdefgh");
        assert_eq!(pieces.read(&mut into).unwrap(), 0);
    }
}
