//! Words of small sets, as the API has them: types of their own, so that a word added to the store does not leave by itself.

use crate::daemon::store::rows;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;

/// A set of the API with the members of one of the store's, and the way from each to the other.
macro_rules! words {
    ($(#[$meta:meta])* $name:ident { $($(#[$doc:meta])* $member:ident),+ $(,)? }) => {
        $(#[$meta])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
        #[serde(rename_all = "snake_case")]
        pub enum $name {
            $($(#[$doc])* $member),+
        }

        impl From<rows::$name> for $name {
            fn from(row: rows::$name) -> Self {
                match row {
                    $(rows::$name::$member => Self::$member),+
                }
            }
        }

        impl From<$name> for rows::$name {
            fn from(word: $name) -> Self {
                match word {
                    $($name::$member => Self::$member),+
                }
            }
        }
    };
}

words! {
    /// A batter's side.
    Side {
        /// Bats right-handed.
        Right,
        /// Bats left-handed.
        Left,
    }
}

words! {
    /// The side or sides an athlete bats from.
    Bats {
        /// Right-handed.
        Right,
        /// Left-handed.
        Left,
        /// Either.
        Both,
        /// Not said.
        Unknown,
    }
}

words! {
    /// What whoever gave a consent is to the athlete.
    Relation {
        /// The athlete.
        #[serde(rename = "self")]
        Itself,
        /// A parent.
        Parent,
        /// A guardian.
        Guardian,
        /// Somebody else who may.
        Other,
    }
}

words! {
    /// What a consent is for.
    Scope {
        /// Swings may be measured.
        Measuring,
        /// What was measured may be kept.
        Keeping,
        /// It may be shown to others in the cage.
        Showing,
        /// It may be given to others.
        Sharing,
    }
}

words! {
    /// Lesson or practice.
    Occasion {
        /// With the instructor.
        Lesson,
        /// Without: between lessons, at home, before the hour begins.
        Practice,
    }
}

words! {
    /// Where the ball comes from.
    BallSource {
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
}

words! {
    /// How a mount is known.
    MountSource {
        /// Somebody's word.
        Entered,
        /// From the sensor, by the calibration routine.
        Measured,
    }
}

words! {
    /// The instructor's word on whether a swing counts.
    Mark {
        /// Nothing was said.
        None,
        /// It counts, whatever its flags.
        Keep,
        /// It does not count.
        Exclude,
    }
}

words! {
    /// How a ball result came here.
    EnteredBy {
        /// Typed in.
        Hand,
        /// By a program.
        Program,
        /// In a table.
        Csv,
    }
}

words! {
    /// How a ball result found its swing.
    MatchedBy {
        /// It was the nearest in time.
        Time,
        /// Somebody said so.
        Hand,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::daemon::store::rows::Word;
    use serde_json::{json, to_value};

    fn same_words<R: Word + PartialEq + std::fmt::Debug, A: From<R> + Into<R> + Copy + Serialize>() {
        for &row in R::ALL {
            let word = A::from(row);
            assert_eq!(to_value(word).unwrap(), json!(row.word()));
            assert_eq!(Into::<R>::into(word), row);
        }
    }

    #[test]
    fn the_words_are_those_of_the_store() {
        same_words::<rows::Side, Side>();
        same_words::<rows::Bats, Bats>();
        same_words::<rows::Relation, Relation>();
        same_words::<rows::Scope, Scope>();
        same_words::<rows::Occasion, Occasion>();
        same_words::<rows::BallSource, BallSource>();
        same_words::<rows::MountSource, MountSource>();
        same_words::<rows::Mark, Mark>();
        same_words::<rows::EnteredBy, EnteredBy>();
        same_words::<rows::MatchedBy, MatchedBy>();
    }
}
