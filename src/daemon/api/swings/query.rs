//! The parameters of lists of swings: which swings, and which part of the list.
//!
//! Both stand in one query. They are told apart by key and read one by one, so that a key that is of neither is refused.

use super::super::check::Check;
use super::super::instant::Instant;
use super::super::page;
use super::super::problem::{Kind, Problem};
use super::super::words::{BallSource, Mark, Occasion, Side};
use super::words::{ContactWord, FlagWord};
use crate::daemon::store::queries::swings_read::{Order, SwingFilter, Whose};
use crate::daemon::store::queries::{Slice, TimeKey};
use axum::extract::{FromRequestParts, Query};
use axum::http::Uri;
use axum::http::request::Parts;
use serde::de::{DeserializeOwned, Error};
use serde::{Deserialize, Deserializer};
use utoipa::{IntoParams, ToSchema};
use uuid::Uuid;

/// Drills and tags are no longer than this, characters.
pub const LONGEST_DRILL: usize = 100;
/// The same of tags.
pub const LONGEST_TAG: usize = 50;
/// The keys of [`PartParams`].
const PART: [&str; 3] = ["after", "limit", "order"];

/// Which swings. All that is named has to hold.
#[derive(Clone, Debug, Default, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub struct FilterParams {
    /// Of this athlete, or `none`: those of which nobody knows whose they are.
    #[param(value_type = Option<String>, pattern = "^(none|[0-9a-fA-F]{8}(-[0-9a-fA-F]{4}){3}-[0-9a-fA-F]{12})$")]
    athlete: Option<AthleteOrNone>,
    /// Of this lesson or practice.
    lesson: Option<Uuid>,
    /// Of this round.
    round: Option<Uuid>,
    /// Of this recording.
    recording: Option<Uuid>,
    /// Of lessons, or of practice.
    #[param(inline)]
    occasion: Option<Occasion>,
    /// From this side.
    #[param(inline)]
    side: Option<Side>,
    /// With this bat.
    bat: Option<Uuid>,
    /// In rounds of exactly this drill.
    #[param(max_length = 100)]
    drill: Option<String>,
    /// In rounds with this ball source.
    #[param(inline)]
    ball_source: Option<BallSource>,
    /// Contact was at this instant or later.
    #[param(value_type = Option<String>, format = DateTime)]
    from: Option<Instant>,
    /// Contact was before this instant.
    #[param(value_type = Option<String>, format = DateTime)]
    to: Option<Instant>,
    /// Whether they met a ball.
    #[param(inline)]
    contact: Option<ContactWord>,
    /// They have this flag.
    #[param(inline)]
    flag: Option<FlagWord>,
    /// They do not have this flag.
    #[param(inline)]
    without_flag: Option<FlagWord>,
    /// `true`: they have no flag at all.
    unflagged: Option<bool>,
    /// The instructor marked them so.
    #[param(inline)]
    mark: Option<Mark>,
    /// `true`: they are not marked as excluded.
    counted: Option<bool>,
    /// They have this tag.
    #[param(max_length = 50)]
    tag: Option<String>,
}

/// Which part of a list, and in which order.
#[derive(Clone, Debug, Default, Deserialize, IntoParams)]
#[into_params(parameter_in = Query)]
#[serde(deny_unknown_fields)]
pub struct PartParams {
    /// `next` of the page before.
    #[param(max_length = 200)]
    after: Option<String>,
    /// At most so many items.
    #[param(minimum = 1, maximum = 500)]
    pub limit: Option<u16>,
    /// By contact: the newest first where nothing is said.
    #[param(inline)]
    order: Option<OrderWord>,
}

/// In which order.
#[derive(Clone, Copy, Debug, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum OrderWord {
    /// Back in time.
    Newest,
    /// Forth in time.
    Oldest,
}

/// An athlete, or nobody.
#[derive(Clone, Copy, Debug)]
struct AthleteOrNone(Whose);

impl<'de> Deserialize<'de> for AthleteOrNone {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = String::deserialize(deserializer)?;
        if text == "none" {
            return Ok(Self(Whose::Nobody));
        }
        let id = text.parse().map_err(|_| D::Error::custom("athlete: expected a UUID or `none`"))?;
        Ok(Self(Whose::Athlete(id)))
    }
}

/// Which swings, where no part of a list is asked for.
pub struct Filter(pub SwingFilter);

/// Which swings, and which part of the list of them.
pub struct ListQuery {
    /// Which.
    pub filter: SwingFilter,
    /// Which part.
    pub part: PartParams,
}

impl<S: Send + Sync> FromRequestParts<S> for Filter {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self, Problem> {
        let params: FilterParams = read(parts.uri.query().unwrap_or_default())?;
        Ok(Self(params.filter()?))
    }
}

impl<S: Send + Sync> FromRequestParts<S> for ListQuery {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, _: &S) -> Result<Self, Problem> {
        let (part, filter) = split(parts.uri.query().unwrap_or_default(), &PART);
        let filter: FilterParams = read(&filter)?;
        Ok(Self { filter: filter.filter()?, part: read(&part)? })
    }
}

impl PartParams {
    /// What to ask the store for.
    pub fn slice(&self) -> Result<Slice<TimeKey>, Problem> {
        page::slice(self.after.as_deref(), self.limit)
    }

    /// In which order.
    pub fn order(&self) -> Order {
        match self.order {
            Some(OrderWord::Oldest) => Order::Oldest,
            Some(OrderWord::Newest) | None => Order::Newest,
        }
    }
}

impl FilterParams {
    /// What to ask the store for.
    pub fn filter(self) -> Result<SwingFilter, Problem> {
        Check::new()
            .text("drill", self.drill.as_deref().unwrap_or_default(), LONGEST_DRILL)
            .text("tag", self.tag.as_deref().unwrap_or_default(), LONGEST_TAG)
            .done()?;
        Ok(SwingFilter {
            whose: self.athlete.map(|athlete| athlete.0),
            lesson: self.lesson,
            round: self.round,
            recording: self.recording,
            occasion: self.occasion.map(Into::into),
            side: self.side.map(Into::into),
            bat: self.bat,
            drill: self.drill,
            ball_source: self.ball_source.map(Into::into),
            from: self.from.map(Into::into),
            to: self.to.map(Into::into),
            met_ball: self.contact.map(|contact| matches!(contact, ContactWord::Ball)),
            flag: self.flag.map(|flag| flag.0),
            without_flag: self.without_flag.map(|flag| flag.0),
            is_unflagged: self.unflagged == Some(true),
            mark: self.mark.map(Into::into),
            is_counted: self.counted == Some(true),
            tag: self.tag,
        })
    }
}

/// The parts of a query whose keys are among these, and the others.
pub fn split(query: &str, keys: &[&str]) -> (String, String) {
    let is_of_them = |pair: &&str| keys.contains(&pair.split('=').next().unwrap_or_default());
    let (these, others): (Vec<_>, Vec<_>) = query.split('&').filter(|pair| !pair.is_empty()).partition(is_of_them);
    (these.join("&"), others.join("&"))
}

/// Part of a query.
pub fn read<T: DeserializeOwned>(query: &str) -> Result<T, Problem> {
    let malformed = |words: String| Problem::new(Kind::Malformed, words);
    let uri: Uri = format!("/?{query}").parse().map_err(|error| malformed(format!("the query: {error}")))?;
    let read = Query::<T>::try_from_uri(&uri).map_err(|rejection| malformed(rejection.body_text()))?;
    Ok(read.0)
}
