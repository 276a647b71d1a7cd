//! What a session told of a swing, into the store.
//!
//! A swing is the same one as before if it is of the same recording and run, and its contact within [`SAME_WITHIN_S`]: then
//! an analysis is added to it, and what the instructor said of it stays. The same word twice adds nothing. The id of a new
//! swing follows from its recording, so that whatever is stored again after a crash finds itself.

use crate::daemon::hex::hex;
use crate::daemon::store::queries::{analyses, curves, profiles, swings, tombstones};
use crate::daemon::store::rows::{Analysis, Mark, Owner, Side, Swing, UtcMicros};
use crate::daemon::store::{StoreError, Transaction};
use crate::engine::metrics::{Estimate, Flag};
use crate::engine::session::ToldSwing;
use crate::engine::swing::Contact;
use crate::engine::wire::mcap::{AtThePlate, AtThePlateSide};
use crate::report::curves::{StoredCurves, encode};
use crate::report::event;
use sha2::{Digest, Sha256};
use uuid::{Builder, Uuid};

/// Two analyses of one swing put its contact no farther apart than this, s: several σ of the poorest contact. No batter
/// swings again so soon.
const SAME_WITHIN_S: f64 = 0.1;
/// The analysis, as far as a version of this program names it.
const ENGINE_VERSION: &str = env!("CARGO_PKG_VERSION");

/// What a swing comes from.
#[derive(Clone, Debug, PartialEq)]
pub struct Source {
    /// The recording's row, which is there.
    pub recording_id: Uuid,
    /// The installation whose recording it is.
    pub cage: String,
    /// The recording's name without ending.
    pub file_stem: String,
    /// When the recording began.
    pub begun: UtcMicros,
    /// The sensor's clock then, s: places contact on UTC where nothing was received over the air.
    pub first_s: f64,
    /// Whom all of its swings belong to, whatever it says itself; `None`: to whoever it says was at the plate.
    pub owner: Option<Owner>,
}

/// What became of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Kept {
    /// The swing.
    pub swing_id: Uuid,
    /// The analysis that says this of it.
    pub revision: i64,
    /// Whether the swing was not known before.
    pub is_new: bool,
    /// Whether anything was written; if not, it had been already.
    pub is_added: bool,
    /// Whom it belongs to, after any move by hand.
    pub owner: Owner,
}

/// Writes what was told of a swing; `None`, and nothing is written, if it is a new one of an athlete who was erased.
///
/// # Errors
/// If it cannot be written, or its times are not finite.
pub async fn keep(
    changes: &mut Transaction,
    source: &Source,
    told: &ToldSwing,
    now: UtcMicros,
) -> Result<Option<Kept>, StoreError> {
    let contact_s = told.swing.contact.0;
    if !contact_s.is_finite() || !told.swing.start.0.is_finite() {
        return Err(StoreError::Refused("a swing's times are not finite; expected times on the sensor's clock".into()));
    }
    let place = swings::Place { recording_id: source.recording_id, run: i64::from(told.run), contact_s };
    let toml = told.profile.to_toml();
    let profile_sha256 = sha256_hex(toml.as_bytes());
    let mut analysis = analysis(source, told, profile_sha256, now);
    let before = swings::near(changes, place, SAME_WITHIN_S).await?;
    if let Some(before) = before {
        analysis.swing_id = before.id;
        let said = analyses::latest_of_stage(changes, before.id, &analysis.stage).await?;
        if let Some(said) = said.filter(|said| says_the_same(said, &analysis)) {
            let revision = said.revision;
            return Ok(Some(Kept {
                swing_id: before.id,
                revision,
                is_new: false,
                is_added: false,
                owner: before.owner,
            }));
        }
        analysis.revision = before.revision + 1;
    }
    let owner = match before {
        Some(before) => before.owner,
        None => match owner(changes, source, told).await? {
            Some(owner) => owner,
            None => return Ok(None),
        },
    };
    profiles::keep(changes, &analysis.profile_sha256, &toml).await?;
    let utc = contact_utc(source, told);
    match before {
        Some(_) => swings::revise(changes, &analysis, utc).await?,
        None => insert(changes, source, told, owner, &mut analysis, utc).await?,
    }
    analyses::insert(changes, &analysis).await?;
    // A swing that could not be drawn has no curves; its flags say why.
    if let Ok(stored) = StoredCurves::new(&told.swing.curves) {
        curves::insert(changes, analysis.swing_id, analysis.revision, &encode(&stored)).await?;
    }
    let (swing_id, revision) = (analysis.swing_id, analysis.revision);
    Ok(Some(Kept { swing_id, revision, is_new: before.is_none(), is_added: true, owner }))
}

/// The id of a swing: UUIDv7 (RFC 9562, section 5.7) with the begin of its recording, and for the random bits SHA-256 of the
/// installation, the recording's name without ending and the swing's number in its session.
pub fn swing_id(cage: &str, file_stem: &str, begun_ms: u64, number: u64) -> Uuid {
    let mut hash = Sha256::new();
    for text in [cage, file_stem] {
        hash.update((text.len() as u64).to_be_bytes());
        hash.update(text.as_bytes());
    }
    hash.update(number.to_be_bytes());
    let digest = hash.finalize();
    let mut bytes = [0; 10];
    bytes.iter_mut().zip(digest.iter()).for_each(|(byte, hashed)| *byte = *hashed);
    Builder::from_unix_timestamp_millis(begun_ms, &bytes).into_uuid()
}

/// SHA-256, hexadecimal.
pub fn sha256_hex(bytes: &[u8]) -> String {
    hex(&Sha256::digest(bytes))
}

impl Source {
    /// The id of the swing of this number, if it is a new one.
    pub fn swing_id(&self, number: u64) -> Uuid {
        swing_id(&self.cage, &self.file_stem, u64::try_from(self.begun.0 / 1000).unwrap_or(0), number)
    }
}

/// Whom a new swing belongs to, as far as the store knows them; `None` if they were erased.
async fn owner(changes: &mut Transaction, source: &Source, told: &ToldSwing) -> Result<Option<Owner>, StoreError> {
    let claimed = source.owner.unwrap_or_else(|| claimed(&told.at_the_plate));
    let owner = swings::known(changes, claimed).await?;
    // Only after they were not found: on PostgreSQL another installation may be erasing them just now.
    if let (None, Some(id)) = (owner.athlete_id, claimed.athlete_id)
        && tombstones::find(changes, id).await?.is_some()
    {
        return Ok(None);
    }
    Ok(Some(owner))
}

async fn insert(
    changes: &mut Transaction,
    source: &Source,
    told: &ToldSwing,
    owner: Owner,
    analysis: &mut Analysis,
    (contact_utc, contact_utc_sigma_us): (UtcMicros, Option<i64>),
) -> Result<(), StoreError> {
    let id = free_id(changes, source, told.number).await?;
    analysis.swing_id = id;
    let swing = Swing {
        id,
        recording_id: source.recording_id,
        run: i64::from(told.run),
        contact_s: analysis.contact_s,
        contact_utc,
        contact_utc_sigma_us,
        athlete_id: owner.athlete_id,
        lesson_id: owner.lesson_id,
        round_id: owner.round_id,
        side: owner.side,
        bat_id: owner.bat_id,
        mark: Mark::None,
        note: String::new(),
        tags: Vec::new(),
        is_moved: false,
        revision: 1,
        version: 1,
    };
    swings::insert(changes, &swing).await
}

/// An analysis that finds more swings than one before numbers them otherwise: then the id of a number may be another
/// swing's, and a number that no session reaches is taken.
async fn free_id(changes: &mut Transaction, source: &Source, number: u64) -> Result<Uuid, StoreError> {
    let mut taken = 0u64;
    loop {
        let id = source.swing_id(number | taken << 32);
        if !swings::is_there(changes, id).await? {
            return Ok(id);
        }
        taken += 1;
    }
}

fn claimed(plate: &AtThePlate) -> Owner {
    let id = |text: &Option<String>| text.as_deref().and_then(|text| text.parse().ok());
    Owner {
        athlete_id: id(&plate.athlete_id),
        lesson_id: id(&plate.lesson_id),
        round_id: id(&plate.round_id),
        side: plate.side.map(|side| match side {
            AtThePlateSide::Right => Side::Right,
            AtThePlateSide::Left => Side::Left,
        }),
        bat_id: id(&plate.bat_id),
    }
}

/// Contact on UTC and its σ, µs.
fn contact_utc(source: &Source, told: &ToldSwing) -> (UtcMicros, Option<i64>) {
    match told.contact_utc {
        Some(placed) => (UtcMicros(placed.utc_ns.div_euclid(1000)), Some((placed.sigma_s * 1e6).round() as i64)),
        None => {
            let since_us = ((told.swing.contact.0 - source.first_s) * 1e6).round() as i64;
            (UtcMicros(source.begun.0.saturating_add(since_us)), None)
        }
    }
}

fn analysis(source: &Source, told: &ToldSwing, profile_sha256: String, analysed: UtcMicros) -> Analysis {
    let swing = &told.swing;
    let mut flags: Vec<Flag> = swing.flags.clone();
    flags.sort();
    flags.dedup();
    let finite = |estimate: &Estimate| estimate.value.is_finite() && estimate.sigma.is_finite();
    Analysis {
        swing_id: Uuid::nil(),
        revision: 1,
        analysed,
        engine_version: ENGINE_VERSION.into(),
        profile_sha256,
        recording_id: source.recording_id,
        stage: event::stage(told.stage).into(),
        start_s: swing.start.0,
        contact_s: swing.contact.0,
        contact_sigma_s: swing.contact_sigma_s,
        met_ball: swing.contact_kind == Contact::Ball,
        flags: flags.into_iter().map(|flag| flag.key().to_owned()).collect(),
        metrics: swing.metrics.map(|estimate| estimate.filter(finite)),
    }
}

fn says_the_same(before: &Analysis, now: &Analysis) -> bool {
    let place = Analysis { revision: before.revision, analysed: before.analysed, ..now.clone() };
    *before == place
}

#[cfg(test)]
mod tests;
