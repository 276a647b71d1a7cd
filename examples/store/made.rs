//! Sessions as rows and as what a live session tells.

use super::plan::{DRILLS, Plan, Session, TAGS, id};
use super::pool::{Pool, Pooled};
use std::sync::Arc;
use swingd::daemon::store::rows::{
    BallResult, BallSource, EnteredBy, Lesson, Mark, MatchedBy, Occasion, Origin, Recording, RecordingState,
    RecordingSummary, Round, Side, UtcMicros, Word,
};
use swingd::engine::metrics::{Estimate, Metric};
use swingd::engine::sample::SensorTime;
use swingd::engine::session::{Placed, ToldSwing};
use swingd::engine::swing::{Curves, Swing};
use swingd::engine::wire::mcap::{AtThePlate, AtThePlateSide};
use swingd::sim::Random;
use uuid::Uuid;

/// A rest between rounds, s.
const BREAK_S: f64 = 120.0;

/// What one session consists of.
pub struct Made {
    pub lesson: Lesson,
    pub rounds: Vec<Round>,
    pub recording: Recording,
    pub swings: Vec<MadeSwing>,
}

/// One swing: what was told of it in turn, and what people and other devices say of it.
pub struct MadeSwing {
    pub told: Vec<ToldSwing>,
    pub tags: Vec<String>,
    pub mark: Mark,
    pub note: String,
    /// Its swing is yet to be put in.
    pub ball: Option<BallResult>,
}

impl Made {
    /// A session of the plan.
    pub fn of(session: &Session, plan: &Plan, pool: &Pool, sensor_id: Uuid) -> Self {
        let mut random = Random::new(session.seed);
        let lesson_shift = random.normal(0.02);
        let mut made = Self {
            lesson: lesson(session, plan),
            rounds: Vec::new(),
            recording: recording(session, sensor_id, &mut random),
            swings: Vec::new(),
        };
        let mut at_s = 30.0;
        for (round_id, swings) in &session.rounds {
            let round = round(session, *round_id, at_s, plan, &mut random);
            let plate = plate(&round, &made.lesson);
            for _ in 0..*swings {
                at_s += random.between(8.0, 20.0);
                let number = made.swings.len() as u64;
                let pooled = pooled(pool, &round, &mut random);
                let shift = plan.athletes[session.athlete].shift + lesson_shift;
                let told = told(pooled, (number, at_s), session.begun_us, (shift, &plate), &mut random);
                made.swings.push(MadeSwing::of(told, session, &mut random));
            }
            made.rounds.push(round);
            at_s += BREAK_S;
        }
        let ended = UtcMicros(session.begun_us + (at_s * 1e6) as i64);
        made.lesson.ended = Some(ended);
        made.recording.ended = Some(ended);
        made.recording.summary = Some(RecordingSummary {
            duration_s: at_s,
            samples: (at_s * 1000.0) as i64,
            sample_rate_hz: 1000.0,
            gaps: 0,
            missing_samples: 0,
        });
        made
    }
}

impl MadeSwing {
    fn of(told: Vec<ToldSwing>, session: &Session, random: &mut Random) -> Self {
        let contact_utc_us = told.first().and_then(|told| told.contact_utc).map_or(0, |placed| placed.utc_ns / 1000);
        let is_measured = session.athlete.is_multiple_of(2) && random.chance(0.4);
        let met_ball = told.iter().all(|told| told.swing.contact_kind == swingd::engine::swing::Contact::Ball);
        let marked = random.unit();
        Self {
            told,
            tags: if random.chance(0.05) { vec![TAGS[random.index(TAGS.len())].to_owned()] } else { Vec::new() },
            mark: if marked < 0.04 {
                Mark::Exclude
            } else if marked < 0.05 {
                Mark::Keep
            } else {
                Mark::None
            },
            note: if random.chance(0.02) { "hands stay inside, front side closed".to_owned() } else { String::new() },
            ball: (met_ball && is_measured).then(|| ball(session, contact_utc_us, random)),
        }
    }

    /// Whether somebody said something of it.
    pub fn is_edited(&self) -> bool {
        !self.tags.is_empty() || !self.note.is_empty() || self.mark != Mark::None
    }
}

fn ball(session: &Session, contact_utc_us: i64, random: &mut Random) -> BallResult {
    let offset_ms = random.normal(40.0);
    BallResult {
        id: id(random, session.begun_us),
        athlete_id: None,
        swing_id: None,
        matched_by: Some(MatchedBy::Time),
        match_offset_ms: Some(offset_ms),
        measured: UtcMicros(contact_utc_us + (offset_ms * 1000.0) as i64),
        device: "radar".into(),
        entered_by: EnteredBy::Csv,
        exit_speed_mps: Some(random.about(36.0, 4.0)),
        launch_angle_deg: Some(random.about(14.0, 12.0)),
        direction_deg: Some(random.about(0.0, 18.0)),
        carry_m: None,
        note: String::new(),
        version: 1,
    }
}

fn lesson(session: &Session, plan: &Plan) -> Lesson {
    Lesson {
        id: session.id,
        athlete_id: plan.athletes[session.athlete].id,
        occasion: session.occasion,
        cage: session.cage().into(),
        begun: UtcMicros(session.begun_us),
        ended: None,
        title: String::new(),
        note: String::new(),
        version: 1,
    }
}

fn recording(session: &Session, sensor_id: Uuid, random: &mut Random) -> Recording {
    let is_live = session.occasion == Occasion::Lesson;
    let id = id(random, session.begun_us);
    Recording {
        id,
        cage: session.cage().into(),
        file_name: format!("{id}.mcap"),
        sensor_id: is_live.then_some(sensor_id),
        origin: if is_live { Origin::Live } else { Origin::Import },
        imported_name: (!is_live).then(|| "practice.csv".into()),
        athlete_id: None,
        begun: UtcMicros(session.begun_us),
        ended: None,
        summary: None,
        sha256: (!is_live).then(|| format!("{:064x}", id.as_u128())),
        state: RecordingState::Stored,
        version: 1,
    }
}

fn round(session: &Session, id: Uuid, at_s: f64, plan: &Plan, random: &mut Random) -> Round {
    let athlete = &plan.athletes[session.athlete];
    let source = BallSource::ALL[random.index(BallSource::ALL.len())];
    let is_pitched = matches!(source, BallSource::Machine | BallSource::Live);
    Round {
        id,
        lesson_id: session.id,
        begun: UtcMicros(session.begun_us + (at_s * 1e6) as i64),
        drill: random.chance(0.8).then(|| DRILLS[random.index(DRILLS.len())].to_owned()),
        ball_source: random.chance(0.95).then_some(source),
        pitch_speed_mps: is_pitched.then(|| random.about(30.0, 3.0)),
        pitch_descent_deg: None,
        bat_id: Some(athlete.own_bats[if random.chance(0.6) { 0 } else { 1 + random.index(2) }]),
        side: Some(athlete.side(random)),
        note: String::new(),
        version: 1,
    }
}

fn plate(round: &Round, lesson: &Lesson) -> AtThePlate {
    AtThePlate {
        athlete_id: Some(lesson.athlete_id.to_string()),
        lesson_id: Some(lesson.id.to_string()),
        round_id: Some(round.id.to_string()),
        bat_id: round.bat_id.map(|id| id.to_string()),
        side: round.side.map(|side| match side {
            Side::Right => AtThePlateSide::Right,
            Side::Left => AtThePlateSide::Left,
        }),
        ball_source: round.ball_source.map(|source| source.word().to_owned()),
        ..AtThePlate::default()
    }
}

/// Nine of ten swings at a ball meet it.
fn pooled<'a>(pool: &'a Pool, round: &Round, random: &mut Random) -> &'a Pooled {
    let is_dry = round.ball_source == Some(BallSource::Dry) || random.chance(0.1);
    let kind = if is_dry { &pool.dry } else { &pool.ball };
    &kind[random.index(kind.len())]
}

/// A swing of the pool, at another time, its numbers and curves moved a little: by the same amounts in each analysis.
pub fn told(
    pooled: &Pooled,
    (number, at_s): (u64, f64),
    begun_us: i64,
    (shift, plate): (f64, &AtThePlate),
    random: &mut Random,
) -> Vec<ToldSwing> {
    let mut factors = [1.0; Metric::COUNT];
    factors.iter_mut().for_each(|factor| *factor += shift + random.normal(0.02));
    let scale = factors[Metric::BatSpeed.index()];
    let told = |(stage, swing): &(_, Swing)| {
        let mut metrics = swing.metrics;
        for (estimate, factor) in metrics.iter_mut().zip(factors) {
            *estimate = estimate.map(|one| Estimate { value: one.value * factor, sigma: one.sigma * factor.abs() });
        }
        ToldSwing {
            number,
            run: 0,
            stage: *stage,
            swing: Swing {
                start: SensorTime(at_s - (swing.contact.0 - swing.start.0)),
                contact: SensorTime(at_s),
                metrics,
                curves: scaled(&swing.curves, scale),
                ..swing.clone()
            },
            contact_utc: Some(Placed { utc_ns: begun_us * 1000 + (at_s * 1e9) as i64, sigma_s: 0.004, is_poor: false }),
            at_the_plate: plate.clone(),
            profile: Arc::clone(&pooled.profile),
        }
    };
    pooled.told.iter().map(told).collect()
}

/// Speeds and paths by one factor: what is noise in them stays noise of the same size in steps, within the factor.
fn scaled(curves: &Curves, factor: f64) -> Curves {
    let all = |values: &[f64]| values.iter().map(|value| value * factor).collect();
    Curves {
        times_s: curves.times_s.clone(),
        bat_speed_mps: all(&curves.bat_speed_mps),
        hand_speed_mps: all(&curves.hand_speed_mps),
        turn_rate_radps: all(&curves.turn_rate_radps),
        sweet_spot_w_m: curves.sweet_spot_w_m.iter().map(|place| place * factor).collect(),
        hands_w_m: curves.hands_w_m.iter().map(|place| place * factor).collect(),
    }
}
