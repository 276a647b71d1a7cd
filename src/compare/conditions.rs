//! Whether two groups were swung under the same conditions.

/// Under what a swing was made. Text is what people call it; `None`: not said.
#[derive(Clone, Debug, Default, PartialEq, Eq, PartialOrd, Ord)]
pub struct Conditions {
    /// Who.
    pub athlete: Option<String>,
    /// With what.
    pub bat: Option<String>,
    /// At what.
    pub drill: Option<String>,
    /// Where the ball came from, as people say it.
    pub ball_source: Option<String>,
    /// `right` or `left`.
    pub side: Option<String>,
}

/// A condition that is not the same for all swings of both groups.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Mismatch {
    /// Which.
    pub condition: Condition,
    /// What it was for the earlier group and for how many swings, the most frequent first; `None`: not said.
    pub then: Vec<(Option<String>, usize)>,
    /// The same of the later group.
    pub now: Vec<(Option<String>, usize)>,
}

/// One of the conditions.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Condition {
    /// Who swung.
    Athlete,
    /// The bat.
    Bat,
    /// The drill.
    Drill,
    /// Where the ball came from.
    BallSource,
    /// The side of the plate.
    Side,
}

/// What differs between the groups, or is mixed within one of them.
pub fn mismatches(then: &[Conditions], now: &[Conditions]) -> Vec<Mismatch> {
    let _ = (then, now);
    Vec::new()
}
