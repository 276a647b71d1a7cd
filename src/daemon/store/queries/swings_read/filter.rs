//! Which swings of a list: conditions put together so that one index serves each.

use crate::daemon::store::rows::{BallSource, Mark, Occasion, Side, UtcMicros, Word};
use crate::engine::metrics::Flag;
use sqlx::any::AnyArguments;
use sqlx::query::Query;
use sqlx::{Any, AssertSqlSafe};
use uuid::Uuid;

/// What swings have to be; a `None` and a `false` leave it open.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct SwingFilter {
    /// Whose.
    pub whose: Option<Whose>,
    /// Of this lesson or practice.
    pub lesson: Option<Uuid>,
    /// Of this round.
    pub round: Option<Uuid>,
    /// Of this recording.
    pub recording: Option<Uuid>,
    /// Of lessons, or of practice.
    pub occasion: Option<Occasion>,
    /// From this side.
    pub side: Option<Side>,
    /// With this bat.
    pub bat: Option<Uuid>,
    /// In rounds of this drill.
    pub drill: Option<String>,
    /// In rounds with this ball source.
    pub ball_source: Option<BallSource>,
    /// Contact was at this instant or later,
    pub from: Option<UtcMicros>,
    /// and before this one.
    pub to: Option<UtcMicros>,
    /// Whether they met a ball.
    pub met_ball: Option<bool>,
    /// They have this flag.
    pub flag: Option<Flag>,
    /// They do not have this one.
    pub without_flag: Option<Flag>,
    /// They have none.
    pub is_unflagged: bool,
    /// Marked so.
    pub mark: Option<Mark>,
    /// Not marked as excluded.
    pub is_counted: bool,
    /// They have this tag.
    pub tag: Option<String>,
}

/// Whose swings.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Whose {
    /// An athlete's.
    Athlete(Uuid),
    /// Those of which nobody knows whose they are.
    Nobody,
}

/// Conditions with their values, in the order of the parameters.
#[derive(Clone, Debug, Default)]
pub(in super::super) struct Conditions {
    text: String,
    values: Vec<Value>,
    /// Whether a condition that has an index of its own is among them.
    is_led: bool,
}

#[derive(Clone, Debug)]
enum Value {
    Text(String),
    Whole(i64),
}

impl SwingFilter {
    /// As conditions on `swings s`, `analyses a`, `rounds r` and `lessons l`.
    ///
    /// The first of round, lesson, recording, athlete, tag and bat chooses the index: it leaves the fewest. The others
    /// stand inside `COALESCE`, so that no planner prefers an index of theirs and sorts a whole cage's swings of one bat.
    pub(in super::super) fn conditions(&self) -> Conditions {
        let mut all = Conditions::default();
        all.id("round_id", self.round);
        all.id("lesson_id", self.lesson);
        all.id("recording_id", self.recording);
        all.whose(self.whose);
        all.tag(self.tag.as_deref());
        all.id("bat_id", self.bat);
        all.number("s.contact_utc_us >= ", self.from.map(|at| at.0));
        all.number("s.contact_utc_us < ", self.to.map(|at| at.0));
        all.word("COALESCE(s.side, '') = ", self.side.map(Word::word));
        all.word("COALESCE(l.occasion, '') = ", self.occasion.map(Word::word));
        all.word("COALESCE(r.drill, '') = ", self.drill.as_deref());
        all.word("COALESCE(r.ball_source, '') = ", self.ball_source.map(Word::word));
        all.word("s.mark = ", self.mark.map(Word::word));
        all.word("s.mark <> ", self.is_counted.then_some(Mark::Exclude.word()));
        all.word("a.contact = ", self.met_ball.map(|met_ball| if met_ball { "ball" } else { "none" }));
        all.word("a.flags = ", self.is_unflagged.then_some(","));
        all.flag("a.flags LIKE ", self.flag);
        all.flag("a.flags NOT LIKE ", self.without_flag);
        all
    }
}

impl Conditions {
    fn id(&mut self, column: &'static str, id: Option<Uuid>) {
        let Some(id) = id else { return };
        let leads = !std::mem::replace(&mut self.is_led, true);
        let column = if leads { format!("s.{column} = ") } else { format!("COALESCE(s.{column}, '') = ") };
        self.add(&column, Value::Text(id.to_string()));
    }

    fn whose(&mut self, whose: Option<Whose>) {
        match whose {
            Some(Whose::Athlete(id)) => self.id("athlete_id", Some(id)),
            Some(Whose::Nobody) if std::mem::replace(&mut self.is_led, true) => {
                self.text += " AND COALESCE(s.athlete_id, '') = ''";
            }
            Some(Whose::Nobody) => self.text += " AND s.athlete_id IS NULL",
            None => {}
        }
    }

    fn tag(&mut self, tag: Option<&str>) {
        let Some(tag) = tag else { return };
        if std::mem::replace(&mut self.is_led, true) {
            self.add(
                "EXISTS (SELECT 1 FROM swing_tags t WHERE t.swing_id = s.id AND t.tag = ",
                Value::Text(tag.into()),
            );
        } else {
            self.add("s.id IN (SELECT t.swing_id FROM swing_tags t WHERE t.tag = ", Value::Text(tag.into()));
        }
        self.text += ")";
    }

    /// A flag stands between commas; its `_` is no wildcard.
    fn flag(&mut self, condition: &str, flag: Option<Flag>) {
        let Some(flag) = flag else { return };
        self.add(condition, Value::Text(format!("%,{},%", flag.key().replace('_', "!_"))));
        self.text += " ESCAPE '!'";
    }

    fn word(&mut self, condition: &str, word: Option<&str>) {
        if let Some(word) = word {
            self.add(condition, Value::Text(word.into()));
        }
    }

    pub(in super::super) fn number(&mut self, condition: &str, number: Option<i64>) {
        if let Some(number) = number {
            self.add(condition, Value::Whole(number));
        }
    }

    /// `AND condition $n`; the condition is text of this folder.
    fn add(&mut self, condition: &str, value: Value) {
        let parameter = self.parameter(value);
        self.text += &format!(" AND {condition}{parameter}");
    }

    /// A parameter with its value.
    fn parameter(&mut self, value: Value) -> String {
        self.values.push(value);
        format!("${}", self.values.len())
    }

    /// Only rows past a key of two columns, the second an id, in a direction.
    pub(in super::super) fn past(&mut self, columns: &str, is_falling: bool, key: Option<super::super::TimeKey>) {
        let Some(key) = key else { return };
        let at = self.parameter(Value::Whole(key.at.0));
        let id = self.parameter(Value::Text(key.id.to_string()));
        let past = if is_falling { "<" } else { ">" };
        self.text += &format!(" AND ({columns}) {past} ({at}, {id})");
    }

    /// One id has to be this.
    pub(in super::super) fn is(&mut self, condition: &'static str, id: Option<Uuid>) {
        self.word(condition, id.map(|id| id.to_string()).as_deref());
    }

    /// More, without a value.
    pub(in super::super) fn and(&mut self, condition: &'static str) {
        self.text += " AND ";
        self.text += condition;
    }

    /// Ends the last one, which is a subquery.
    pub(in super::super) fn close(&mut self) {
        self.text += ")";
    }

    /// `head WHERE all of them tail`, then a number as the last parameter, which is a LIMIT.
    pub(in super::super) fn query(self, head: &str, tail: &str, limit: i64) -> Query<'static, Any, AnyArguments> {
        let text = format!("{head} WHERE 1 = 1{} {tail} LIMIT ${}", self.text, self.values.len() + 1);
        self.bound(text).bind(limit)
    }

    /// `head WHERE all of them`.
    pub(in super::super) fn query_all(self, head: &str) -> Query<'static, Any, AnyArguments> {
        let text = format!("{head} WHERE 1 = 1{}", self.text);
        self.bound(text)
    }

    fn bound(self, text: String) -> Query<'static, Any, AnyArguments> {
        let query = sqlx::query(AssertSqlSafe(text));
        self.values.into_iter().fold(query, |query, value| match value {
            Value::Text(text) => query.bind(text),
            Value::Whole(number) => query.bind(number),
        })
    }
}
