//! The least change of each metric that matters to the instructor: what a comparison asks for.

use super::Api;
use super::check::Check;
use super::etag::{IfMatch, Versioned};
use super::patch::Patch;
use super::problem::Result;
use super::swings::words::MetricWord;
use crate::compare::numbers::Amounts;
use crate::daemon::store::StoreError;
use crate::daemon::store::queries::amounts::{self, SetAmounts};
use crate::engine::metrics::Metric;
use crate::report::words::{Units, label};
use axum::extract::State;
use serde::{Deserialize, Serialize};
use std::borrow::Cow;
use std::collections::BTreeMap;
use std::ops::RangeInclusive;
use utoipa::openapi::schema::{AdditionalProperties, ObjectBuilder, SchemaType, Type};
use utoipa::openapi::{RefOr, Schema};
use utoipa::{PartialSchema, ToSchema};

/// Amounts that can be said, in any unit: what is smaller matters to nobody, what is larger no swing does.
const RANGE: RangeInclusive<f64> = 1e-6..=1e5;

/// What matters, for every metric.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct AmountsOut {
    /// Grows with every change; the ETag.
    version: i64,
    /// A metric each, in the order in which they are reported.
    amounts: Vec<AmountOut>,
}

/// The least change of a metric that matters.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
#[schema(as = Amount)]
pub struct AmountOut {
    /// Of which metric.
    #[schema(inline)]
    metric: MetricWord,
    /// What people call it.
    label: &'static str,
    /// The sign of the unit that the metric's key ends in.
    unit: &'static str,
    /// In that unit.
    amount: f64,
    /// What it is where the instructor says nothing.
    default: f64,
    /// Whether the instructor said it.
    is_set: bool,
}

/// What the instructor says, by the metric's key, in its unit.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(transparent)]
pub struct AmountsBody(BTreeMap<String, f64>);

/// Changes to what matters; null takes back what was said.
pub type AmountsPatch = Patch<AmountsBody>;

impl PartialSchema for AmountsBody {
    fn schema() -> RefOr<Schema> {
        let mut object = ObjectBuilder::new()
            .description(Some("The least change that matters, by the metric's key and in its unit; null: the default."))
            .additional_properties(Some(AdditionalProperties::FreeForm(false)));
        for metric in Metric::ALL {
            let number = ObjectBuilder::new()
                .schema_type(SchemaType::from_iter([Type::Number, Type::Null]))
                .minimum(Some(*RANGE.start()))
                .maximum(Some(*RANGE.end()));
            object = object.property(metric.key(), number);
        }
        object.into()
    }
}

impl ToSchema for AmountsBody {
    fn name() -> Cow<'static, str> {
        "AmountsBody".into()
    }
}

/// Read what matters
///
/// For each metric the least change that matters: the instructor's where they said one, else the default, which is common
/// practice without a source.
#[utoipa::path(get, path = "/v1/amounts", tag = "amounts", responses((status = 200, body = AmountsOut)))]
pub async fn read(State(api): State<Api>) -> Result<Versioned<AmountsOut>> {
    let said = amounts::read(&mut *api.store.read().await?).await?;
    Ok(Versioned(said.version, AmountsOut::of(&said)))
}

/// Say what matters
///
/// In each metric's own unit; null goes back to the default.
#[utoipa::path(
    patch, path = "/v1/amounts", tag = "amounts",
    request_body(content = AmountsPatch, content_type = "application/merge-patch+json"),
    responses((status = 200, body = AmountsOut))
)]
pub async fn edit(
    State(api): State<Api>,
    IfMatch(version): IfMatch,
    patch: AmountsPatch,
) -> Result<Versioned<AmountsOut>> {
    let mut changes = api.store.write().await?;
    let before = amounts::read(&mut changes).await?;
    if before.version != version {
        return Err(StoreError::Stale { kind: "amounts", seen: version, now: before.version }.into());
    }
    let after = patch.apply(&AmountsBody::of(&before))?.checked()?;
    for (metric, (before, after)) in Metric::ALL.into_iter().zip(before.set.into_iter().zip(after)) {
        if before != after {
            amounts::put(&mut changes, metric, after).await?;
        }
    }
    let said = amounts::read(&mut changes).await?;
    changes.commit().await?;
    Ok(Versioned(said.version, AmountsOut::of(&said)))
}

impl AmountsOut {
    fn of(said: &SetAmounts) -> Self {
        let (amounts, defaults) = (said.amounts().0, Amounts::default().0);
        let numbers = amounts.into_iter().zip(defaults).zip(said.set);
        let one = |(metric, ((amount, default), set)): (Metric, ((f64, f64), Option<f64>))| AmountOut {
            metric: MetricWord(metric),
            label: label(metric),
            unit: Units::Metric.of(metric).sign,
            amount,
            default,
            is_set: set.is_some(),
        };
        Self { version: said.version, amounts: Metric::ALL.into_iter().zip(numbers).map(one).collect() }
    }
}

impl AmountsBody {
    fn of(said: &SetAmounts) -> Self {
        let set = Metric::ALL.into_iter().zip(said.set);
        Self(set.filter_map(|(metric, set)| Some((metric.key().to_owned(), set?))).collect())
    }

    fn checked(&self) -> Result<[Option<f64>; Metric::COUNT]> {
        let mut check = Check::new();
        for (key, amount) in &self.0 {
            let is_known = Metric::ALL.into_iter().any(|metric| metric.key() == key);
            check.that(is_known, key, "is no metric; GET /v1/amounts has them").range(key, Some(*amount), RANGE);
        }
        check.done()?;
        Ok(Metric::ALL.map(|metric| self.0.get(metric.key()).copied()))
    }
}

#[cfg(test)]
mod tests {
    use super::super::test_api::{TestApi, on_each};
    use super::*;
    use serde_json::json;

    const PATH: &str = "/v1/amounts";

    #[test]
    fn what_matters_is_the_default_until_something_else_is_said() {
        on_each(async |api: TestApi| {
            let usual = api.get(PATH).await;
            let all = usual.json["amounts"].as_array().unwrap();
            assert_eq!((usual.status, all.len(), usual.header("etag")), (200, Metric::COUNT, Some("\"1\"")));
            assert!(all.iter().all(|one| one["is_set"] == false && one["amount"] == one["default"]), "{all:?}");
            let said = api.patch(PATH, "\"1\"", json!({"bat_speed_mps": 1.5, "attack_angle_deg": 2})).await;
            assert_eq!((said.status, &said.json), (200, &api.get(PATH).await.json), "{:?}", said.json);
            let speed = json!({"metric": "bat_speed_mps", "label": "Bat speed at contact", "unit": "m/s", "amount": 1.5,
                "default": 0.894, "is_set": true});
            assert_eq!(said.json["amounts"][0], speed);
            assert_eq!(api.patch(PATH, "\"1\"", json!({"bat_speed_mps": 2})).await.status, 412);
            let etag = said.header("etag").unwrap();
            let back = api.patch(PATH, etag, json!({"bat_speed_mps": null, "attack_angle_deg": null})).await;
            assert_eq!((back.status, &back.json["amounts"]), (200, &usual.json["amounts"]));
            assert!(back.json["version"].as_i64() > said.json["version"].as_i64());
        });
    }

    #[test]
    fn what_is_no_amount_is_refused_and_nothing_is_changed() {
        on_each(async |api: TestApi| {
            for (pointer, body) in [
                ("/power", json!({"power": 1.0, "bat_speed_mps": 1.0})),
                ("/bat_speed_mps", json!({"bat_speed_mps": 0.0})),
                ("/bat_speed_mps", json!({"bat_speed_mps": -1.0})),
                ("/bat_speed_mps", json!({"bat_speed_mps": 1e300})),
            ] {
                let refused = api.patch(PATH, "\"1\"", body).await;
                assert_eq!((refused.status, &refused.json["errors"][0]["pointer"]), (422, &json!(pointer)));
            }
            assert_eq!(api.patch(PATH, "\"1\"", json!({"bat_speed_mps": "much"})).await.status, 422);
            assert_eq!(api.patch(PATH, "\"1\"", json!({"bat_speed_mps": {"a": 1}})).await.status, 422);
            assert_eq!(api.get(PATH).await.json["version"], 1);
        });
    }
}
