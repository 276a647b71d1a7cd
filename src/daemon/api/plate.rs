//! Who and what the next swing belongs to.

use super::Api;
use super::check::Check;
use super::extract::Body;
use super::problem::Result;
use crate::engine::wire::mcap::{AtThePlate, AtThePlateSide};
use axum::extract::State;
use axum::http::StatusCode;
use serde::Deserialize;
use utoipa::ToSchema;

/// Of who and what is at the plate each has no more characters than this: every swing's event repeats them.
const LONGEST_NAME: usize = 200;

/// Who is at the plate, as a front-end says it. A key that is not known is refused, unlike in a recording, which may be of
/// a later version.
#[derive(Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PlateBody {
    nickname: Option<String>,
    side: Option<SideWord>,
    bat: Option<String>,
    drill: Option<String>,
    round: Option<String>,
}

/// A batter's side.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum SideWord {
    /// Bats right-handed.
    Right,
    /// Bats left-handed.
    Left,
}

/// Say who is at the plate
#[utoipa::path(put, path = "/v1/at-the-plate", tag = "plate", request_body = PlateBody, responses((status = 204)))]
pub async fn put(State(api): State<Api>, Body(body): Body<PlateBody>) -> Result<StatusCode> {
    let PlateBody { nickname, side, bat, drill, round } = body;
    let mut check = Check::new();
    for (key, name) in [("nickname", &nickname), ("bat", &bat), ("drill", &drill), ("round", &round)] {
        check.text(key, name.as_deref().unwrap_or_default(), LONGEST_NAME);
    }
    check.done()?;
    let side = side.map(|side| match side {
        SideWord::Right => AtThePlateSide::Right,
        SideWord::Left => AtThePlateSide::Left,
    });
    (api.plate)(&AtThePlate { nickname, side, bat, drill, round, ..AtThePlate::default() });
    Ok(StatusCode::NO_CONTENT)
}
