//! Bats and training implements.

use super::Api;
use super::check::Check;
use super::etag::{IfMatch, Versioned};
use super::extract::{Body, Id, Params};
use super::idempotency::Creation;
use super::page::{Page, PageParams};
use super::patch::Patch;
use super::plate;
use super::problem::Result;
use crate::daemon::store::queries::bats;
use crate::daemon::store::rows::{self, Moi, Seen, UtcMicros};
use axum::Json;
use axum::extract::State;
use axum::http::StatusCode;
use axum::response::Response;
use serde::{Deserialize, Serialize};
use utoipa::ToSchema;
use uuid::Uuid;

/// g, m/s² (CGPM 1901).
const STANDARD_GRAVITY_MPS2: f64 = 9.80665;
/// The pivot of ASTM F2398, from the knob's end: 6 in.
pub const PIVOT_FROM_KNOB_M: f64 = 0.1524;

/// What can be said of a bat or a training implement. Lengths are from the knob's end.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct BatBody {
    /// What people call it.
    #[schema(min_length = 1, max_length = 100)]
    name: String,
    /// A bat, or a training implement (a rod, a weighted bat).
    kind: BatKind,
    /// From the knob's end to the tip, m.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.3, maximum = 1.5)]
    length_m: Option<f64>,
    /// Mass, kg.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.05, maximum = 5.0)]
    mass_kg: Option<f64>,
    /// Centre of mass from the knob's end, m.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.05, maximum = 1.5)]
    balance_m: Option<f64>,
    /// Moment of inertia about the pivot 6 in from the knob's end (ASTM F2398), where it is known otherwise than by a
    /// pendulum, kg·m².
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.001, maximum = 2.0)]
    moi_knob6_kgm2: Option<f64>,
    /// Period of small swings about that pivot, s: the moment of inertia follows from it with mass and balance point.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.3, maximum = 5.0)]
    pendulum_period_s: Option<f64>,
    /// 1 σ of that period, s.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.0, maximum = 1.0)]
    pendulum_period_sigma_s: Option<f64>,
    /// Sweet spot, m; where nothing is said, 6 in from the tip.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.2, maximum = 1.5)]
    sweet_spot_m: Option<f64>,
    /// Barrel's diameter, m.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schema(minimum = 0.01, maximum = 0.2)]
    barrel_diameter_m: Option<f64>,
    /// Free words.
    #[serde(default)]
    #[schema(max_length = 2000)]
    note: String,
    /// No longer offered for new rounds.
    #[serde(default)]
    is_retired: bool,
}

/// Changes to a bat.
pub type BatPatch = Patch<BatBody>;

/// What is swung.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum BatKind {
    /// A bat.
    Bat,
    /// A training implement.
    Implement,
}

/// A bat or a training implement as it is stored.
#[derive(Clone, Debug, PartialEq, Serialize, ToSchema)]
pub struct Bat {
    /// Its id.
    id: Uuid,
    /// Counts its changes; the ETag.
    version: i64,
    /// Moment of inertia about the pivot 6 in from the knob's end, however it is known, kg·m².
    #[schema(required)]
    moi_kgm2: Option<f64>,
    /// 1 σ of it, where it is known, kg·m².
    #[schema(required)]
    moi_sigma_kgm2: Option<f64>,
    /// What was said of it.
    #[serde(flatten)]
    body: BatBody,
}

/// List bats
///
/// Bats and training implements, in the order in which they were entered.
#[utoipa::path(get, path = "/v1/bats", tag = "bats", params(PageParams), responses((status = 200, body = Page<Bat>)))]
pub async fn list(State(api): State<Api>, Params(params): Params<PageParams>) -> Result<Json<Page<Bat>>> {
    let rows = bats::list(&mut *api.store.read().await?, params.slice()?).await?;
    Ok(Json(params.page(rows, |row| row.id.to_string(), Bat::of)))
}

/// Enter a bat
#[utoipa::path(post, path = "/v1/bats", tag = "bats", request_body = BatBody, responses((status = 201, body = Bat)))]
pub async fn create(State(api): State<Api>, creation: Creation, Body(body): Body<BatBody>) -> Result<Response> {
    let created = api.now();
    let row = body.row(Uuid::now_v7(), created, 1)?;
    let mut changes = api.store.write().await?;
    bats::insert(&mut changes, &row).await?;
    let location = format!("/v1/bats/{}", row.id);
    creation.finish(&api, changes, location, 1, &Bat::of(row)).await
}

/// Read a bat
#[utoipa::path(get, path = "/v1/bats/{id}", tag = "bats", params(("id" = Uuid, Path)), responses((status = 200, body = Bat)))]
pub async fn read(State(api): State<Api>, Id(id): Id<Uuid>) -> Result<Versioned<Bat>> {
    let row = bats::get(&mut *api.store.read().await?, id).await?;
    Ok(Versioned(row.version, Bat::of(row)))
}

/// Edit a bat
///
/// Swings that were analysed with it keep their numbers; the next swings and new analyses use what it says then.
#[utoipa::path(
    patch, path = "/v1/bats/{id}", tag = "bats", params(("id" = Uuid, Path)),
    request_body(content = BatPatch, content_type = "application/merge-patch+json"),
    responses((status = 200, body = Bat))
)]
pub async fn edit(
    State(api): State<Api>,
    Id(id): Id<Uuid>,
    IfMatch(version): IfMatch,
    patch: BatPatch,
) -> Result<Versioned<Bat>> {
    let mut changes = api.store.write().await?;
    let before = bats::get(&mut changes, id).await?;
    let row = patch.apply(&BatBody::of(&before))?.row(id, before.created, version)?;
    bats::update(&mut changes, &row).await?;
    changes.commit().await?;
    plate::renew(&api).await;
    let version = version + 1;
    Ok(Versioned(version, Bat::of(rows::Bat { version, ..row })))
}

/// Remove a bat
///
/// Rounds and swings with it stay, without a bat. To keep it with them, mark it as retired instead.
#[utoipa::path(delete, path = "/v1/bats/{id}", tag = "bats", params(("id" = Uuid, Path)), responses((status = 204)))]
pub async fn remove(State(api): State<Api>, Id(id): Id<Uuid>, IfMatch(version): IfMatch) -> Result<StatusCode> {
    let mut changes = api.store.write().await?;
    bats::delete(&mut changes, Seen { id, version }).await?;
    changes.commit().await?;
    plate::renew(&api).await;
    Ok(StatusCode::NO_CONTENT)
}

impl Bat {
    fn of(row: rows::Bat) -> Self {
        let (moi_kgm2, moi_sigma_kgm2) = match row.moi {
            Some(Moi::Entered { moi_knob6_kgm2, sigma_kgm2 } | Moi::Pendulum { moi_knob6_kgm2, sigma_kgm2, .. }) => {
                (Some(moi_knob6_kgm2), sigma_kgm2)
            }
            None => (None, None),
        };
        Self { id: row.id, version: row.version, moi_kgm2, moi_sigma_kgm2, body: BatBody::of(&row) }
    }
}

impl BatBody {
    fn of(row: &rows::Bat) -> Self {
        let (mut moi_knob6_kgm2, mut pendulum_period_s, mut pendulum_period_sigma_s) = (None, None, None);
        match row.moi {
            Some(Moi::Entered { moi_knob6_kgm2: moi, .. }) => moi_knob6_kgm2 = Some(moi),
            Some(Moi::Pendulum { period_s, period_sigma_s, .. }) => {
                (pendulum_period_s, pendulum_period_sigma_s) = (Some(period_s), period_sigma_s);
            }
            None => {}
        }
        Self {
            name: row.name.clone(),
            kind: match row.kind {
                rows::BatKind::Bat => BatKind::Bat,
                rows::BatKind::Implement => BatKind::Implement,
            },
            length_m: row.length_m,
            mass_kg: row.mass_kg,
            balance_m: row.balance_m,
            moi_knob6_kgm2,
            pendulum_period_s,
            pendulum_period_sigma_s,
            sweet_spot_m: row.sweet_spot_m,
            barrel_diameter_m: row.barrel_diameter_m,
            note: row.note.clone(),
            is_retired: row.is_retired,
        }
    }

    fn row(self, id: Uuid, created: UtcMicros, version: i64) -> Result<rows::Bat> {
        self.check()?;
        let moi = self.moi();
        Ok(rows::Bat {
            id,
            name: self.name,
            kind: match self.kind {
                BatKind::Bat => rows::BatKind::Bat,
                BatKind::Implement => rows::BatKind::Implement,
            },
            length_m: self.length_m,
            mass_kg: self.mass_kg,
            balance_m: self.balance_m,
            moi,
            sweet_spot_m: self.sweet_spot_m,
            barrel_diameter_m: self.barrel_diameter_m,
            note: self.note,
            is_retired: self.is_retired,
            created,
            version,
        })
    }

    fn check(&self) -> Result<()> {
        let length = self.length_m.unwrap_or(f64::INFINITY);
        let is_on_it = |place: Option<f64>| place.is_none_or(|place| place <= length);
        let is_hung = self.mass_kg.is_some() && self.balance_m.is_some_and(|balance| balance > PIVOT_FROM_KNOB_M);
        let has_period = self.pendulum_period_s.is_some();
        Check::new()
            .name("name", &self.name, 100)
            .text("note", &self.note, 2000)
            .range("length_m", self.length_m, 0.3..=1.5)
            .range("mass_kg", self.mass_kg, 0.05..=5.0)
            .range("balance_m", self.balance_m, 0.05..=1.5)
            .range("moi_knob6_kgm2", self.moi_knob6_kgm2, 0.001..=2.0)
            .range("pendulum_period_s", self.pendulum_period_s, 0.3..=5.0)
            .range("pendulum_period_sigma_s", self.pendulum_period_sigma_s, 0.0..=1.0)
            .range("sweet_spot_m", self.sweet_spot_m, 0.2..=1.5)
            .range("barrel_diameter_m", self.barrel_diameter_m, 0.01..=0.2)
            .that(is_on_it(self.balance_m), "balance_m", "lies beyond the tip; expected at most length_m")
            .that(is_on_it(self.sweet_spot_m), "sweet_spot_m", "lies beyond the tip; expected at most length_m")
            .that(
                !has_period || is_hung,
                "pendulum_period_s",
                "needs mass_kg, and balance_m beyond the pivot at 0.1524 m",
            )
            .that(
                !has_period || self.moi_knob6_kgm2.is_none(),
                "moi_knob6_kgm2",
                "follows from pendulum_period_s; expected one of the two",
            )
            .that(
                has_period || self.pendulum_period_sigma_s.is_none(),
                "pendulum_period_sigma_s",
                "has no pendulum_period_s",
            )
            .done()
    }

    /// σ of a moment that a pendulum told is that of the period: σ_I = 2·I·σ_T/T; mass and balance point are taken as exact.
    fn moi(&self) -> Option<Moi> {
        let Some(period_s) = self.pendulum_period_s else {
            let entered = |moi_knob6_kgm2| Moi::Entered { moi_knob6_kgm2, sigma_kgm2: None };
            return self.moi_knob6_kgm2.map(entered);
        };
        let moi_knob6_kgm2 = pendulum_kgm2(self.mass_kg?, self.balance_m?, period_s);
        let sigma_kgm2 = self.pendulum_period_sigma_s.map(|sigma_s| 2.0 * moi_knob6_kgm2 * sigma_s / period_s);
        Some(Moi::Pendulum { moi_knob6_kgm2, sigma_kgm2, period_s, period_sigma_s: self.pendulum_period_sigma_s })
    }
}

/// The physical pendulum, I = m·g·d·(T/2π)², d from pivot to centre of mass (any textbook of mechanics; the method of
/// ASTM F2398): moment of inertia about the 6 in pivot of a bat that swings about it with small amplitude, kg·m².
pub fn pendulum_kgm2(mass_kg: f64, balance_m: f64, period_s: f64) -> f64 {
    let arm_m = balance_m - PIVOT_FROM_KNOB_M;
    mass_kg * STANDARD_GRAVITY_MPS2 * arm_m * (period_s / (2.0 * std::f64::consts::PI)).powi(2)
}

#[cfg(test)]
mod tests {
    use super::super::test_api::{TestApi, on_each};
    use serde_json::json;

    #[test]
    fn a_uniform_rod_hung_6_in_from_its_end_has_the_inertia_of_the_textbook() {
        // A rod of 0.8 m and 1 kg about a point a quarter of a metre from its middle: I = mL²/12 + m d².
        let arm_m = 0.4 - super::PIVOT_FROM_KNOB_M;
        let expected = 0.8f64.powi(2) / 12.0 + arm_m * arm_m;
        let period_s = 2.0 * std::f64::consts::PI * (expected / (super::STANDARD_GRAVITY_MPS2 * arm_m)).sqrt();
        let body = json!({"name": "Rod", "kind": "implement", "length_m": 0.8, "mass_kg": 1.0, "balance_m": 0.4,
            "pendulum_period_s": period_s, "pendulum_period_sigma_s": 0.01 * period_s});
        let body: super::BatBody = serde_json::from_value(body).unwrap();
        let Some(super::Moi::Pendulum { moi_knob6_kgm2, sigma_kgm2, .. }) = body.moi() else { panic!("no pendulum") };
        assert!((moi_knob6_kgm2 - expected).abs() < 1e-12, "{moi_knob6_kgm2} {expected}");
        assert!((sigma_kgm2.unwrap() - 0.02 * expected).abs() < 1e-12);
    }

    #[test]
    fn a_bat_is_entered_read_edited_and_removed() {
        on_each(async |api: TestApi| {
            let made = api.post("/v1/bats", json!({"name": "Ash 33", "kind": "bat", "length_m": 0.838})).await;
            assert_eq!((made.status, made.header("etag")), (201, Some("\"1\"")));
            let path = made.header("location").unwrap().to_owned();
            let read = api.get(&path).await;
            assert_eq!(read.json, made.json);
            let edited = api.patch(&path, "\"1\"", json!({"mass_kg": 0.87, "length_m": null})).await;
            assert_eq!((edited.status, edited.header("etag")), (200, Some("\"2\"")));
            assert_eq!((&edited.json["mass_kg"], edited.json.get("length_m")), (&json!(0.87), None));
            let late = api.patch(&path, "\"1\"", json!({"name": "Other"})).await;
            assert_eq!((late.status, &late.json["type"]), (412, &json!("/v1/problems/changed")));
            assert_eq!(api.get(&path).await.json, edited.json);
            assert_eq!(api.delete(&path, "\"1\"").await.status, 412);
            assert_eq!(api.delete(&path, "\"2\"").await.status, 204);
            assert_eq!(api.get(&path).await.status, 404);
        });
    }

    /// The bat that the stations were told of last.
    #[test]
    fn the_next_swings_are_with_the_bat_as_it_was_edited_and_without_it_once_it_is_removed() {
        on_each(async |api: TestApi| {
            let heard = || api.plate.lock().unwrap().clone();
            let made = api.post("/v1/bats", json!({"name": "Ash 33", "kind": "bat", "length_m": 0.838})).await;
            assert!(heard().is_empty(), "nobody swings with it yet");
            api.put("/v1/at-the-plate", json!({"bat_id": made.json["id"]})).await;
            let path = made.header("location").unwrap();
            api.patch(path, "\"1\"", json!({"name": "Ash 34", "length_m": 0.864})).await;
            let told = heard();
            assert_eq!((told.len(), told[1].bat.as_deref()), (2, Some("Ash 34")));
            assert_eq!(api.delete(path, "\"1\"").await.status, 412);
            assert_eq!(heard().len(), 2, "nothing changed");
            assert_eq!(api.delete(path, "\"2\"").await.status, 204);
            let told = heard();
            assert_eq!((told.len(), &told[2].bat), (3, &None));
        });
    }

    #[test]
    fn all_that_is_wrong_is_told_at_once_and_nothing_is_stored() {
        on_each(async |api: TestApi| {
            let body = json!({"name": " ", "kind": "bat", "length_m": 9.0, "pendulum_period_s": 1.0});
            let refused = api.post("/v1/bats", body).await;
            let pointers: Vec<_> =
                refused.json["errors"].as_array().unwrap().iter().map(|error| &error["pointer"]).collect();
            assert_eq!(refused.status, 422);
            assert_eq!(pointers, [&json!("/name"), &json!("/length_m"), &json!("/pendulum_period_s")]);
            let unknown = api.post("/v1/bats", json!({"name": "A", "kind": "bat", "weight": 3})).await;
            assert_eq!(unknown.status, 422);
            assert_eq!(api.get("/v1/bats").await.json, json!({"items": [], "next": null}));
        });
    }

    #[test]
    fn the_same_creation_again_makes_nothing_twice() {
        on_each(async |api: TestApi| {
            let body = json!({"name": "Ash 33", "kind": "bat"});
            let first = api.post_with_key("/v1/bats", "k1", body.clone()).await;
            let second = api.post_with_key("/v1/bats", "k1", body).await;
            assert_eq!((second.status, &second.json), (201, &first.json));
            assert_eq!(second.header("location"), first.header("location"));
            let other = api.post_with_key("/v1/bats", "k1", json!({"name": "Birch", "kind": "bat"})).await;
            assert_eq!((other.status, &other.json["type"]), (422, &json!("/v1/problems/key-reused")));
            assert_eq!(api.get("/v1/bats").await.json["items"].as_array().unwrap().len(), 1);
        });
    }

    #[test]
    fn a_list_is_read_page_by_page() {
        on_each(async |api: TestApi| {
            for k in 0..5 {
                api.post("/v1/bats", json!({"name": format!("Bat {k}"), "kind": "bat"})).await;
            }
            let (mut names, mut path) = (Vec::new(), "/v1/bats?limit=2".to_owned());
            loop {
                let page = api.get(&path).await.json;
                let items = page["items"].as_array().unwrap();
                assert!(!items.is_empty() && items.len() <= 2);
                names.extend(items.iter().map(|item| item["name"].as_str().unwrap().to_owned()));
                let Some(next) = page["next"].as_str() else { break };
                path = format!("/v1/bats?limit=2&after={next}");
            }
            assert_eq!(names, ["Bat 0", "Bat 1", "Bat 2", "Bat 3", "Bat 4"]);
        });
    }
}
