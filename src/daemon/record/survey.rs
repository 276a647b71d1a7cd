//! What a recording says of itself, before anything in it is measured.

use crate::daemon::files::{OpenRecording, RecordingError};
use crate::daemon::store::rows::UtcMicros;
use crate::engine::wire::mcap::Entry;
use tokio_util::sync::CancellationToken;

/// When a recording was made and how long it is.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Survey {
    /// The sensor that sent it, where it is named.
    pub sensor: Option<String>,
    /// When the first and the last of it was received; `None`: it does not say.
    pub utc: Option<(UtcMicros, UtcMicros)>,
    /// From the first sample that stands in it as such to the last, s; 0 where it has only packets.
    pub duration_s: f64,
}

/// Reads a recording to its end, or until it is to stop, in constant memory.
///
/// # Errors
/// If it cannot be read to its end.
pub fn survey(mut open: OpenRecording, stop: &CancellationToken) -> Result<Survey, RecordingError> {
    let (mut survey, mut samples_s) = (Survey::default(), None);
    while !stop.is_cancelled()
        && let Some(entry) = open.next_entry()?
    {
        match entry {
            // A host that did not know the time says 0.
            Entry::Packet(packet) if packet.received_utc_ns > 0 => {
                let at = UtcMicros(packet.received_utc_ns / 1000);
                let (first, last) = survey.utc.unwrap_or((at, at));
                survey.utc = Some((first.min(at), last.max(at)));
            }
            Entry::Samples { samples, .. } => {
                if let (Some(first), Some(last)) = (samples.first(), samples.last()) {
                    let (first_s, _) = samples_s.unwrap_or((first.time.0, last.time.0));
                    samples_s = Some((first_s, last.time.0));
                }
            }
            _ => {}
        }
    }
    survey.sensor = open.sensor();
    survey.duration_s = samples_s.map_or(0.0, |(first_s, last_s)| last_s - first_s);
    Ok(survey)
}
