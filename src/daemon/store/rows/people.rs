use super::{Side, UtcMicros, Word};
use uuid::Uuid;

/// Whoever swings.
#[derive(Clone, Debug, PartialEq)]
pub struct Athlete {
    /// Its id.
    pub id: Uuid,
    /// A name of their choice.
    pub nickname: String,
    /// Year of birth; no more than that is kept.
    pub birth_year: Option<i64>,
    /// From where they bat.
    pub bats: Bats,
    /// Height, m.
    pub height_m: Option<f64>,
    /// Free words.
    pub note: String,
    /// When they were entered.
    pub created: UtcMicros,
    /// Counts its changes.
    pub version: i64,
}

/// The side or sides an athlete bats from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Bats {
    /// Right-handed.
    Right,
    /// Left-handed.
    Left,
    /// Either.
    Both,
    /// Not said.
    Unknown,
}

impl Word for Bats {
    const ALL: &'static [Self] = &[Self::Right, Self::Left, Self::Both, Self::Unknown];

    fn word(self) -> &'static str {
        match self {
            Self::Right => "right",
            Self::Left => "left",
            Self::Both => "both",
            Self::Unknown => "unknown",
        }
    }
}

/// Who allowed what for an athlete.
#[derive(Clone, Debug, PartialEq)]
pub struct Consent {
    /// Its id.
    pub id: Uuid,
    /// For whom.
    pub athlete_id: Uuid,
    /// The name of whoever gave it.
    pub given_by: String,
    /// What they are to the athlete.
    pub relation: Relation,
    /// What for.
    pub scope: Vec<Scope>,
    /// When.
    pub given: UtcMicros,
    /// Until when; `None`: until it is withdrawn.
    pub expires: Option<UtcMicros>,
    /// When it was withdrawn.
    pub withdrawn: Option<UtcMicros>,
    /// Free words.
    pub note: String,
    /// Counts its changes.
    pub version: i64,
}

/// What whoever gave a consent is to the athlete.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Relation {
    /// The athlete.
    Itself,
    /// A parent.
    Parent,
    /// A guardian.
    Guardian,
    /// Somebody else who may.
    Other,
}

impl Word for Relation {
    const ALL: &'static [Self] = &[Self::Itself, Self::Parent, Self::Guardian, Self::Other];

    fn word(self) -> &'static str {
        match self {
            Self::Itself => "self",
            Self::Parent => "parent",
            Self::Guardian => "guardian",
            Self::Other => "other",
        }
    }
}

/// What a consent is for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Scope {
    /// Swings may be measured.
    Measuring,
    /// What was measured may be kept.
    Keeping,
    /// It may be shown to others in the cage.
    Showing,
    /// It may be given to others.
    Sharing,
}

impl Word for Scope {
    const ALL: &'static [Self] = &[Self::Measuring, Self::Keeping, Self::Showing, Self::Sharing];

    fn word(self) -> &'static str {
        match self {
            Self::Measuring => "measuring",
            Self::Keeping => "keeping",
            Self::Showing => "showing",
            Self::Sharing => "sharing",
        }
    }
}

/// An athlete's time in the cage, or what they did between lessons.
#[derive(Clone, Debug, PartialEq)]
pub struct Lesson {
    /// Its id.
    pub id: Uuid,
    /// Whose.
    pub athlete_id: Uuid,
    /// Which of the two it is.
    pub occasion: Occasion,
    /// The installation it was at.
    pub cage: String,
    /// When it began.
    pub begun: UtcMicros,
    /// When it ended; `None`: it is going on.
    pub ended: Option<UtcMicros>,
    /// A few words; may be empty.
    pub title: String,
    /// Free words.
    pub note: String,
    /// Counts its changes.
    pub version: i64,
}

/// Lesson or practice.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Occasion {
    /// With the instructor.
    Lesson,
    /// Without: between lessons, at home, before the hour begins.
    Practice,
}

impl Word for Occasion {
    const ALL: &'static [Self] = &[Self::Lesson, Self::Practice];

    fn word(self) -> &'static str {
        match self {
            Self::Lesson => "lesson",
            Self::Practice => "practice",
        }
    }
}

/// What an athlete was told to do until they come again.
#[derive(Clone, Debug, PartialEq)]
pub struct Homework {
    /// Its id.
    pub id: Uuid,
    /// For whom.
    pub athlete_id: Uuid,
    /// In which of their lessons it was given.
    pub lesson_id: Option<Uuid>,
    /// When.
    pub given: UtcMicros,
    /// What is to be practised.
    pub drill: String,
    /// With what; `None`: not said.
    pub bat_id: Option<Uuid>,
    /// How often and how long, as people say it; may be empty.
    pub how_much: String,
    /// Free words.
    pub words: String,
    /// When it was done or taken back; `None`: it is still to be done.
    pub ended: Option<UtcMicros>,
    /// Counts its changes.
    pub version: i64,
}

/// A group of swings within a lesson: one drill, one ball source, one bat, one side.
#[derive(Clone, Debug, PartialEq)]
pub struct Round {
    /// Its id.
    pub id: Uuid,
    /// In which lesson.
    pub lesson_id: Uuid,
    /// When it began.
    pub begun: UtcMicros,
    /// What is practised.
    pub drill: Option<String>,
    /// Where the ball comes from.
    pub ball_source: Option<BallSource>,
    /// The ball's speed at the plate, m/s.
    pub pitch_speed_mps: Option<f64>,
    /// How steeply it comes down there, degrees below the horizontal.
    pub pitch_descent_deg: Option<f64>,
    /// With what.
    pub bat_id: Option<Uuid>,
    /// From which side.
    pub side: Option<Side>,
    /// Free words.
    pub note: String,
    /// Counts its changes.
    pub version: i64,
}

/// Where the ball comes from.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum BallSource {
    /// Off a tee.
    Tee,
    /// Tossed from the side.
    Toss,
    /// Tossed from the front, from nearby.
    FrontToss,
    /// A pitching machine.
    Machine,
    /// A pitcher.
    Live,
    /// No ball.
    Dry,
}

impl Word for BallSource {
    const ALL: &'static [Self] = &[Self::Tee, Self::Toss, Self::FrontToss, Self::Machine, Self::Live, Self::Dry];

    fn word(self) -> &'static str {
        match self {
            Self::Tee => "tee",
            Self::Toss => "toss",
            Self::FrontToss => "front_toss",
            Self::Machine => "machine",
            Self::Live => "live",
            Self::Dry => "dry",
        }
    }
}

/// Who and what the next swing at an installation belongs to.
#[derive(Clone, Debug, PartialEq)]
pub struct Plate {
    /// The installation.
    pub cage: String,
    /// Who swings; `None`: nobody is known to.
    pub athlete_id: Option<Uuid>,
    /// In which lesson or practice.
    pub lesson_id: Option<Uuid>,
    /// In which round.
    pub round_id: Option<Uuid>,
    /// From which side.
    pub side: Option<Side>,
    /// With what.
    pub bat_id: Option<Uuid>,
    /// What is practised.
    pub drill: Option<String>,
    /// Where the ball comes from.
    pub ball_source: Option<BallSource>,
    /// The ball's speed at the plate, m/s.
    pub pitch_speed_mps: Option<f64>,
    /// How steeply it comes down there, degrees below the horizontal.
    pub pitch_descent_deg: Option<f64>,
    /// Since when.
    pub since: UtcMicros,
    /// Counts its changes.
    pub version: i64,
}
