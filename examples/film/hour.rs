//! How long an hour of sound takes to be matched, and an hour with as many onsets as are ever kept.

use std::time::Instant;
use swingd::film::cracks::MOST_CRACKS;
use swingd::film::{Contact, Crack, Sound, align, listen};
use swingd::sim::Random;
use swingd::sim::sound::{SoundKind, SoundTrack};

/// An hour of sound is matched within this, s of one processor.
const WITHIN_S: f64 = 10.0;
/// Contacts of the crowded hour.
const CONTACTS: usize = 300;

/// Time that passed and, where the system tells it, time of the processor, since a beginning.
struct Stopwatch {
    begun: Instant,
    cpu_s: Option<f64>,
}

impl Stopwatch {
    fn start() -> Self {
        Self { begun: Instant::now(), cpu_s: cpu_s() }
    }

    /// Of the processor if it is known: other programs that run take none of it.
    fn read_s(&self) -> f64 {
        match (cpu_s(), self.cpu_s) {
            (Some(now_s), Some(then_s)) => now_s - then_s,
            _ => self.begun.elapsed().as_secs_f64(),
        }
    }
}

/// What this thread had of a processor, s; Linux tells it in nanoseconds.
fn cpu_s() -> Option<f64> {
    let text = std::fs::read_to_string("/proc/thread-self/schedstat").ok()?;
    Some(text.split_whitespace().next()?.parse::<f64>().ok()? * 1e-9)
}

/// Measures both, tells them, and whether both are quick enough.
pub fn is_in_time() -> bool {
    let track = SoundTrack::lasting(SoundKind::Ordinary, 5, Some(3600.0));
    let wav = track.wav().expect("an hour fits into a file");
    let contacts: Vec<Contact> = track.contacts.iter().map(|c| Contact { at_s: c.at_s, sigma_s: c.sigma_s }).collect();
    let (channels, size_mb, truth) = (track.channels.len(), wav.len() >> 20, track.truth.expect("swings in it"));
    drop(track);
    let (watch, begun) = (Stopwatch::start(), Instant::now());
    let sound = listen(&wav[..]).expect("a file that is whole");
    let heard_s = watch.read_s();
    let found = align(&contacts, &sound, None).expect("an hour of swings");
    let all_s = watch.read_s();
    println!(
        "an hour, {channels} channels, {size_mb} MB: {all_s:.2} s of a processor ({:.2} s by the clock), of these {heard_s:.2} s listening; \
         {} cracks, {} of {} contacts matched",
        begun.elapsed().as_secs_f64(),
        sound.cracks.len(),
        found.matched,
        found.in_clip
    );
    let is_in_clip = |contact: &&Contact| (0.0..=sound.duration_s).contains(&truth.seen_s(contact.at_s));
    let contacts: Vec<Contact> = contacts.iter().filter(is_in_clip).take(CONTACTS).copied().collect();
    let crowded_s = heard_s + crowded(&contacts, sound);
    println!("with listening {crowded_s:.2} s");
    all_s <= WITHIN_S && crowded_s <= WITHIN_S
}

/// The hour with other onsets at random, as many as are ever kept: how long matching takes, s.
fn crowded(contacts: &[Contact], mut sound: Sound) -> f64 {
    let mut random = Random::new(17);
    while sound.cracks.len() < MOST_CRACKS {
        sound.cracks.push(Crack { at_s: random.between(0.0, sound.duration_s), loudness: 0.1 });
    }
    sound.cracks.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
    let watch = Stopwatch::start();
    let found = align(contacts, &sound, None);
    let all_s = watch.read_s();
    let came = found.map_or_else(|refusal| refusal.to_string(), |found| format!("{} matched", found.matched));
    println!("an hour with {} onsets, {} contacts: {all_s:.2} s to match; {came}", sound.cracks.len(), contacts.len());
    all_s
}
