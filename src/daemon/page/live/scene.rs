//! What there is to see at the plate, as plain values, and how a swing or what was read changes it.
//!
//! A swing that was told and one that was read are the same [`Last`] and [`Card`]; the read one goes before: it has what people
//! said of it. A card that was read once and is not among those read later is gone: moved, or erased.

use super::then::Then;
use crate::daemon::hub::{Fault, LiveSwing};
use crate::daemon::page::words::flags_of;
use crate::daemon::record::plate::AtBat;
use crate::daemon::store::queries::swings_read::FoundSwing;
use crate::daemon::store::rows::{Mark, Side, UtcMicros};
use crate::engine::Stage;
use crate::engine::metrics::{Estimate, Flag, Metric, square_stretch};
use crate::engine::profile::SwingContext;
use crate::engine::session::ToldSwing;
use crate::engine::swing::{Contact, Curves};
use crate::engine::wire::mcap::AtThePlateSide;
use crate::report::event;
use crate::report::svg::Square;
use serde::Deserialize;
use std::collections::BTreeMap;
use std::sync::{Arc, OnceLock};
use uuid::Uuid;

/// More cards of one round than anybody looks through here.
pub const MOST_CARDS: usize = 60;

/// Everything that is shown.
#[derive(Clone, Debug, Default)]
pub struct Scene {
    /// Who is at the plate; `None`: not read yet.
    pub at_bat: Option<AtBat>,
    /// Why it could not be read, where it could not.
    pub unread: Option<String>,
    /// What can be said at a touch.
    pub choices: Choices,
    /// The last swing of whoever is at the plate.
    pub last: Option<Last>,
    /// How it was then.
    pub then: Option<Then>,
    /// The round's swings, oldest first.
    pub round: Vec<Card>,
    /// How many of the round's come before those.
    pub before: i64,
    /// The sensors, by name.
    pub sensors: BTreeMap<String, SensorLine>,
    /// What is wrong now.
    pub faults: Vec<Fault>,
}

/// What can be said at a touch, most recent first.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Choices {
    /// Who may swing next.
    pub athletes: Vec<AthleteChoice>,
    /// With what.
    pub bats: Vec<(Uuid, String)>,
    /// What is practised.
    pub drills: Vec<String>,
}

/// An athlete, with what they last swung.
#[derive(Clone, Debug, PartialEq)]
pub struct AthleteChoice {
    /// Who.
    pub id: Uuid,
    /// What they are called.
    pub nickname: String,
    /// From which side.
    pub side: Option<Side>,
    /// With what.
    pub bat_id: Option<Uuid>,
}

/// Where a swing was told: the same place is the same swing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Told {
    sensor: Arc<str>,
    session: Arc<str>,
    number: u64,
}

/// The last swing.
#[derive(Clone, Debug)]
pub struct Last {
    /// Its id, once it is known.
    pub id: Option<Uuid>,
    /// Where it was told, if it was told here.
    pub told: Option<Told>,
    /// Whose it is.
    pub athlete_id: Option<Uuid>,
    /// In which round.
    pub round_id: Option<Uuid>,
    /// From which side.
    pub side: Option<Side>,
    /// When, for the order.
    pub at: UtcMicros,
    /// How good its numbers are by now.
    pub stage: Stage,
    /// Whether it met a ball.
    pub met_ball: bool,
    /// Its numbers.
    pub metrics: [Option<Estimate>; Metric::COUNT],
    /// What makes it poorer.
    pub flags: Vec<Flag>,
    /// How it went; `None`: it could not be drawn.
    pub curves: Option<Arc<Curves>>,
    /// Its start, s from contact.
    pub start_s: f64,
    /// The pitch that it was measured against.
    pub pitch: SwingContext,
    /// Whether anybody said how fast it is; else it is the profile's.
    pub is_pitch_said: bool,
    /// Whether it counts.
    pub mark: Mark,
    /// Whether it was read from the store.
    pub is_stored: bool,
    /// Once it was asked for: numbers do not wait for it.
    square: OnceLock<Option<Square>>,
}

/// A swing of the round.
#[derive(Clone, Debug, PartialEq)]
pub struct Card {
    /// Which.
    pub id: Uuid,
    /// When, for the order.
    pub at: UtcMicros,
    /// Whether it met a ball.
    pub met_ball: bool,
    /// Its speed.
    pub bat_speed: Option<Estimate>,
    /// What makes it poorer.
    pub flags: Vec<Flag>,
    /// Whether it counts.
    pub mark: Mark,
    /// The version that an edit has to name; `None`: it is not stored yet.
    pub version: Option<i64>,
}

/// A sensor's state, as far as it is shown: of what [`SensorState`](crate::daemon::state::SensorState) says.
#[derive(Clone, Debug, Default, PartialEq, Deserialize)]
pub struct SensorLine {
    /// Its own name.
    pub name: Option<String>,
    /// `waiting`, `connected` or `lost`.
    pub link: String,
    /// How full its battery is.
    pub battery_percent: Option<u8>,
    /// Samples a second.
    pub sample_rate_hz: f64,
    /// For how long nothing has come, s.
    pub silent_s: Option<u64>,
    /// Where it is recorded.
    pub recording: RecordingLine,
}

/// Whether a sensor is recorded.
#[derive(Clone, Debug, Default, PartialEq, Deserialize)]
pub struct RecordingLine {
    /// The file, if one is open.
    pub file: Option<String>,
}

/// What was read of the store at once.
#[derive(Clone, Debug)]
pub struct Read {
    /// Who is at the plate.
    pub at_bat: AtBat,
    /// What can be said.
    pub choices: Choices,
    /// The round's last swings, oldest first.
    pub round: Vec<Card>,
    /// How many of the round's come before those.
    pub before: i64,
    /// Of the swing that was the last one: what is stored of it now.
    pub asked: Option<Asked>,
    /// The last swing of whoever is at the plate, if it is another one than was asked for.
    pub newest: Option<Last>,
}

/// What is stored of a swing that was asked for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Asked {
    /// Which.
    pub id: Uuid,
    /// Whose it is and whether it counts; `None`: it is not there.
    pub now: Option<(Option<Uuid>, Mark)>,
}

impl Scene {
    /// Whoever is at the plate.
    pub fn athlete_id(&self) -> Option<Uuid> {
        self.at_bat.as_ref()?.plate.athlete_id
    }

    /// A swing was told; whether the numbers shown are its now.
    pub fn swing(&mut self, live: &LiveSwing, now: UtcMicros) -> bool {
        let mut last = Last::told(live, now);
        self.put_card(&last, live);
        let is_same = self.last.as_ref().is_some_and(|shown| shown.is_same(&last));
        let is_next = self.last.as_ref().is_none_or(|shown| last.follows(shown));
        if !(is_same || is_next) || last.athlete_id != self.athlete_id() {
            return false;
        }
        if let Some(shown) = self.last.take().filter(|_| is_same) {
            (last.mark, last.is_stored, last.id) = (shown.mark, shown.is_stored, last.id.or(shown.id));
        }
        self.last = Some(last);
        true
    }

    /// What was read holds now, but for what was told meanwhile.
    pub fn read(&mut self, read: Read) {
        let round = |at_bat: &AtBat| (at_bat.plate.athlete_id, at_bat.plate.round_id);
        let is_other = self.at_bat.as_ref().is_none_or(|before| round(before) != round(&read.at_bat));
        let known = if is_other { Vec::new() } else { std::mem::take(&mut self.round) };
        let unstored = known.into_iter().filter(|card| card.version.is_none());
        let is_read = |card: &Card| read.round.iter().any(|read| read.id == card.id);
        let unstored: Vec<Card> = unstored.filter(|card| !is_read(card)).collect();
        self.round = read.round;
        self.round.extend(unstored);
        self.round.sort_by_key(|card| (card.at, card.id));
        (self.before, self.choices, self.unread) = (read.before, read.choices, None);
        let athlete_id = read.at_bat.plate.athlete_id;
        self.at_bat = Some(read.at_bat);
        if let (Some(last), Some(asked)) = (&mut self.last, read.asked)
            && last.id == Some(asked.id)
        {
            match asked.now {
                Some((whose, mark)) => (last.athlete_id, last.mark, last.is_stored) = (whose, mark, true),
                // Told, and yet to be stored.
                None if !last.is_stored => {}
                None => self.last = None,
            }
        }
        // One that was read may have been followed by another before anybody listened.
        let is_behind = |last: &Last| last.told.is_none() && read.newest.as_ref().is_some_and(|new| new.at > last.at);
        let last = self.last.take().filter(|last| last.athlete_id == athlete_id && !is_behind(last));
        self.last = last.or(read.newest);
    }

    /// How it was then, if that is of the kind of the swing that is shown: the next one may be of another.
    pub fn then_of_last(&self) -> Option<&Then> {
        let round_id = self.at_bat.as_ref()?.plate.round_id;
        self.then.as_ref().filter(|_| self.last.as_ref().is_none_or(|last| last.round_id == round_id))
    }

    /// Whose swing counts as which of the round, from 1.
    pub fn number(&self, id: Uuid) -> Option<i64> {
        let place = self.round.iter().position(|card| card.id == id)?;
        Some(self.before + 1 + i64::try_from(place).unwrap_or(0))
    }

    /// A card for what was told, or what is new of it.
    fn put_card(&mut self, last: &Last, live: &LiveSwing) {
        let (Some(id), Some(at_bat)) = (last.id, &self.at_bat) else { return };
        let told = &live.told.at_the_plate;
        let of = |id: &Option<String>| id.as_deref().and_then(|id| id.parse::<Uuid>().ok());
        let is_here = (of(&told.athlete_id), of(&told.round_id)) == (at_bat.plate.athlete_id, at_bat.plate.round_id);
        let bat_speed = last.metrics[Metric::BatSpeed.index()];
        let flags = last.flags.clone();
        if let Some(card) = self.round.iter_mut().find(|card| card.id == id) {
            (card.met_ball, card.bat_speed, card.flags) = (last.met_ball, bat_speed, flags);
        } else if is_here && last.stage != Stage::Revised {
            let (mark, version) = (Mark::None, None);
            self.round.push(Card { id, at: last.at, met_ball: last.met_ball, bat_speed, flags, mark, version });
            if self.round.len() > MOST_CARDS {
                self.round.remove(0);
                self.before += 1;
            }
        }
    }
}

impl Last {
    /// As it was told.
    pub fn told(live: &LiveSwing, now: UtcMicros) -> Self {
        let ToldSwing { swing, at_the_plate, profile, contact_utc, number, stage, .. } = &*live.told;
        let told = Told { sensor: Arc::clone(&live.sensor), session: Arc::clone(&live.session), number: *number };
        Self {
            id: live.swing_id,
            told: Some(told),
            athlete_id: at_the_plate.athlete_id.as_deref().and_then(|id| id.parse().ok()),
            round_id: at_the_plate.round_id.as_deref().and_then(|id| id.parse().ok()),
            side: at_the_plate.side.map(|side| match side {
                AtThePlateSide::Right => Side::Right,
                AtThePlateSide::Left => Side::Left,
            }),
            at: contact_utc.map_or(now, |placed| UtcMicros(placed.utc_ns.div_euclid(1000))),
            stage: *stage,
            met_ball: swing.contact_kind == Contact::Ball,
            metrics: swing.metrics,
            flags: swing.flags.clone(),
            curves: (swing.curves.times_s.len() > 1).then(|| Arc::new(swing.curves.clone())),
            start_s: swing.start.0 - swing.contact.0,
            pitch: profile.swing.clone(),
            is_pitch_said: at_the_plate.pitch_speed_mps.is_some(),
            mark: Mark::None,
            is_stored: false,
            square: OnceLock::new(),
        }
    }

    /// As it is stored, with its curves, what it was measured against and whether somebody said that.
    pub fn stored(found: &FoundSwing, curves: Option<Curves>, pitch: (SwingContext, bool)) -> Self {
        let FoundSwing { swing, analysis, .. } = found;
        Self {
            id: Some(swing.id),
            told: None,
            athlete_id: swing.athlete_id,
            round_id: swing.round_id,
            side: swing.side,
            at: swing.contact_utc,
            stage: stage(&analysis.stage),
            met_ball: analysis.met_ball,
            metrics: analysis.metrics,
            flags: flags_of(&analysis.flags),
            curves: curves.map(Arc::new),
            start_s: analysis.start_s - analysis.contact_s,
            pitch: pitch.0,
            is_pitch_said: pitch.1,
            mark: swing.mark,
            is_stored: true,
            square: OnceLock::new(),
        }
    }

    /// Where on its path contact would still have been square, against a pitch.
    pub fn square(&self) -> Option<Square> {
        *self.square.get_or_init(|| {
            let roll_rate_radps = self.metrics[Metric::RollRate.index()]?.value.to_radians();
            let curves = self.curves.as_deref().filter(|_| self.pitch.pitch_speed_mps > 0.0)?;
            let stretch = square_stretch(curves, roll_rate_radps, &self.pitch, self.met_ball)?;
            Some(Square { from_s: stretch.from_s, to_s: stretch.to_s })
        })
    }

    /// Whether it is told of for the first time, after the other one. Instants do not tell: those of a recording that is played
    /// faster than it was run ahead.
    fn follows(&self, shown: &Self) -> bool {
        match (self.stage, &self.told, &shown.told) {
            (Stage::Streaming, ..) => true,
            (_, Some(told), Some(before)) => {
                (&told.sensor, &told.session) == (&before.sensor, &before.session) && told.number > before.number
            }
            _ => self.stage != Stage::Revised && self.at > shown.at,
        }
    }

    fn is_same(&self, other: &Self) -> bool {
        (self.id.is_some() && self.id == other.id) || (self.told.is_some() && self.told == other.told)
    }
}

impl Card {
    /// Of what is stored.
    pub fn of(found: &FoundSwing) -> Self {
        let FoundSwing { swing, analysis, .. } = found;
        Self {
            id: swing.id,
            at: swing.contact_utc,
            met_ball: analysis.met_ball,
            bat_speed: analysis.metrics[Metric::BatSpeed.index()],
            flags: flags_of(&analysis.flags),
            mark: swing.mark,
            version: Some(swing.version),
        }
    }
}

fn stage(word: &str) -> Stage {
    let all = [Stage::Streaming, Stage::Smoothed, Stage::Revised];
    all.into_iter().find(|stage| event::stage(*stage) == word).unwrap_or(Stage::Smoothed)
}

#[cfg(test)]
pub mod tests;
