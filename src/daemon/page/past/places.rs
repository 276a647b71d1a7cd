//! Where swings can be moved to: athletes, rounds, sides and bats, as choices of a form. What is not chosen stays as it
//! is.

use super::super::when;
use super::super::words;
use crate::daemon::store::StoreError;
use crate::daemon::store::queries::rounds::{InLesson, of_latest_lessons};
use crate::daemon::store::queries::{Slice, athletes, bats};
use crate::daemon::store::rows::{Athlete, Bat, Round, Side, Word};
use maud::{Markup, html};
use sqlx::AnyConnection;
use uuid::Uuid;

/// Of each kind; who is not among them is found by the API.
const MOST: i64 = 500;

/// What can be chosen.
pub struct Places {
    athletes: Vec<Athlete>,
    rounds: Vec<InLesson>,
    bats: Vec<Bat>,
}

impl Places {
    /// All athletes and bats, and the rounds of one athlete; of all where swings are nobody's.
    ///
    /// # Errors
    /// If they cannot be read.
    pub async fn of(connection: &mut AnyConnection, athlete: Option<Uuid>) -> Result<Self, StoreError> {
        let slice = Slice { after: None, limit: MOST };
        let mut athletes = athletes::list(connection, None, slice).await?;
        athletes.sort_by_key(|athlete| athlete.nickname.to_lowercase());
        Ok(Self {
            athletes,
            rounds: of_latest_lessons(connection, athlete, MOST).await?,
            bats: bats::list(connection, slice).await?,
        })
    }

    /// Whose names and lessons the choices show.
    pub fn shown(&self) -> impl Iterator<Item = Uuid> {
        self.athletes.iter().map(|athlete| athlete.id).chain(self.rounds.iter().map(|round| round.athlete_id))
    }

    /// The fields of a form.
    pub fn fields(&self) -> Markup {
        html! {
            p.faint {
                "What stays \"as it is\" is not changed. With another athlete a swing comes into that athlete's lesson \
                 of the same time, which is made if there is none; with another round into that round's lesson. A lesson \
                 without a round cannot be chosen: make a round in it first, at the plate."
            }
            label { "Athlete " select name="athlete_id" data-leave {
                option value="" { "as it is" }
                @for athlete in &self.athletes { option value=(athlete.id) { (athlete.nickname) } }
            } }
            label { "Round " select name="round_id" data-leave {
                option value="" { "as it is" }
                @for rounds in self.rounds.chunk_by(|one, next| one.round.lesson_id == next.round.lesson_id) {
                    (lesson_of(rounds))
                }
            } }
            label { "Side " select name="side" data-leave {
                option value="" { "as it is" }
                @for side in [Side::Right, Side::Left] { option value=(side.word()) { (words::side(Some(side))) } }
            } }
            label { "Bat " select name="bat_id" data-leave {
                option value="" { "as it is" }
                @for bat in &self.bats { option value=(bat.id) { (bat.name) } }
            } }
        }
    }
}

fn lesson_of(rounds: &[InLesson]) -> Markup {
    html! {
        @if let Some(first) = rounds.first() {
            optgroup label=(format!("{}, {}", first.nickname, when::day_text(first.lesson_begun))) {
                @for (k, one) in rounds.iter().enumerate() {
                    option value=(one.round.id) { (k + 1) ". " (in_words(&one.round)) }
                }
            }
        }
    }
}

/// Drill, ball and side of a round, as far as they are said.
pub fn in_words(round: &Round) -> String {
    let side = round.side.map(|side| words::side(Some(side)).to_owned());
    let ball = round.ball_source.map(|source| words::ball_source(source).to_owned());
    let said: Vec<String> = [round.drill.clone(), ball, side].into_iter().flatten().collect();
    if said.is_empty() { "nothing said".to_owned() } else { said.join(", ") }
}
