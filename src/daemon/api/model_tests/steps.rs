//! What is done. Numbers choose among what there is.

use proptest::prelude::*;

/// One thing that is done.
#[derive(Clone, Debug)]
pub enum Step {
    /// An athlete is entered.
    Athlete,
    /// A bat is entered, twice under one key, and another under the same key.
    Bat,
    /// A lesson or practice is entered.
    Lesson { athlete: usize, is_practice: bool },
    /// A round is entered.
    Round { lesson: usize, bat: usize, side: usize, drill: usize },
    /// A swing is measured with a round at the plate, or nobody.
    Swing { round: Option<usize> },
    /// A better analysis of one.
    Better { swing: usize },
    /// The same analysis again, as after a crash.
    Again { swing: usize },
    /// What is said of one.
    Edit { swing: usize, mark: usize, note: String, tags: Vec<String> },
    /// The same by somebody who has not seen the present version.
    Stale { swing: usize },
    /// Into a round.
    ToRound { swing: usize, round: usize },
    /// To another athlete.
    ToAthlete { swing: usize, athlete: usize },
    /// To nobody.
    ToNobody { swing: usize },
    /// Several into a round, by one request that is sent twice.
    Several { swings: Vec<usize>, round: usize },
    /// A bat is removed.
    RemoveBat { bat: usize },
    /// A round is removed, if it is empty.
    RemoveRound { round: usize },
    /// A lesson is removed, if it is empty.
    RemoveLesson { lesson: usize },
    /// All that is an athlete's is removed.
    Erase { athlete: usize },
}

impl Step {
    /// Of all kinds.
    pub const NAMES: [&'static str; 17] = [
        "athlete",
        "bat",
        "lesson",
        "round",
        "swing",
        "better",
        "again",
        "edit",
        "stale",
        "to round",
        "to athlete",
        "to nobody",
        "several",
        "remove bat",
        "remove round",
        "remove lesson",
        "erase",
    ];

    /// Of this kind.
    pub fn name(&self) -> &'static str {
        let place = match self {
            Self::Athlete => 0,
            Self::Bat => 1,
            Self::Lesson { .. } => 2,
            Self::Round { .. } => 3,
            Self::Swing { .. } => 4,
            Self::Better { .. } => 5,
            Self::Again { .. } => 6,
            Self::Edit { .. } => 7,
            Self::Stale { .. } => 8,
            Self::ToRound { .. } => 9,
            Self::ToAthlete { .. } => 10,
            Self::ToNobody { .. } => 11,
            Self::Several { .. } => 12,
            Self::RemoveBat { .. } => 13,
            Self::RemoveRound { .. } => 14,
            Self::RemoveLesson { .. } => 15,
            Self::Erase { .. } => 16,
        };
        Self::NAMES[place]
    }
}

/// A sequence: something to work with, then anything.
pub fn steps() -> impl Strategy<Value = Vec<Step>> {
    let one = 0..100_usize;
    let beginning = [
        Step::Athlete,
        Step::Athlete,
        Step::Bat,
        Step::Lesson { athlete: 0, is_practice: false },
        Step::Round { lesson: 0, bat: 0, side: 0, drill: 0 },
        Step::Swing { round: Some(0) },
    ];
    let any = prop_oneof![
        1 => Just(Step::Athlete),
        1 => Just(Step::Bat),
        2 => (one.clone(), any::<bool>()).prop_map(|(athlete, is_practice)| Step::Lesson { athlete, is_practice }),
        3 => (one.clone(), one.clone(), one.clone(), one.clone())
            .prop_map(|(lesson, bat, side, drill)| Step::Round { lesson, bat, side, drill }),
        6 => proptest::option::weighted(0.8, one.clone()).prop_map(|round| Step::Swing { round }),
        3 => one.clone().prop_map(|swing| Step::Better { swing }),
        2 => one.clone().prop_map(|swing| Step::Again { swing }),
        4 => said(),
        2 => one.clone().prop_map(|swing| Step::Stale { swing }),
        3 => (one.clone(), one.clone()).prop_map(|(swing, round)| Step::ToRound { swing, round }),
        3 => (one.clone(), one.clone()).prop_map(|(swing, athlete)| Step::ToAthlete { swing, athlete }),
        1 => one.clone().prop_map(|swing| Step::ToNobody { swing }),
        2 => (proptest::collection::vec(one.clone(), 1..5), one.clone())
            .prop_map(|(swings, round)| Step::Several { swings, round }),
        1 => one.clone().prop_map(|bat| Step::RemoveBat { bat }),
        2 => one.clone().prop_map(|round| Step::RemoveRound { round }),
        2 => one.clone().prop_map(|lesson| Step::RemoveLesson { lesson }),
        1 => one.prop_map(|athlete| Step::Erase { athlete }),
    ];
    proptest::collection::vec(any, 6..20).prop_map(move |more| beginning.iter().cloned().chain(more).collect())
}

fn said() -> impl Strategy<Value = Step> {
    let tags = proptest::collection::vec("[a-c]{1,2}", 0..4);
    (0..100_usize, 0..3_usize, "[a-zé' %_\"]{0,12}", tags).prop_map(|(swing, mark, note, tags)| Step::Edit {
        swing,
        mark,
        note,
        tags,
    })
}
