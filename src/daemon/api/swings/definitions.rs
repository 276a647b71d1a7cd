//! What the numbers and flags of swings are, so that a front-end needs no other document.

use crate::engine::metrics::{Flag, Metric};
use crate::report::words::{Units, label, meaning};
use axum::Json;
use serde::Serialize;
use utoipa::ToSchema;

/// What is measured of a swing, and what can be wrong with it.
#[derive(Serialize, ToSchema)]
pub struct Definitions {
    /// The metrics, in the order in which they are reported.
    metrics: Vec<MetricDefinition>,
    /// The flags.
    flags: Vec<FlagDefinition>,
}

/// A metric.
#[derive(Serialize, ToSchema)]
pub struct MetricDefinition {
    /// Its key in all answers; it ends in its unit.
    key: &'static str,
    /// What people call it.
    label: &'static str,
    /// The sign of the unit in which its numbers are.
    unit: &'static str,
    /// What it is.
    definition: &'static str,
}

/// A flag.
#[derive(Serialize, ToSchema)]
pub struct FlagDefinition {
    /// Its key in all answers.
    key: &'static str,
    /// What it means.
    meaning: &'static str,
}

/// Read what the numbers are
///
/// Every metric with its unit and definition, and what every flag means.
#[utoipa::path(get, path = "/v1/definitions", tag = "swings", responses((status = 200, body = Definitions)))]
pub async fn read() -> Json<Definitions> {
    let metric = |metric: Metric| MetricDefinition {
        key: metric.key(),
        label: label(metric),
        unit: Units::Metric.of(metric).sign,
        definition: metric.definition().trim(),
    };
    let flag = |flag: Flag| FlagDefinition { key: flag.key(), meaning: meaning(flag) };
    Json(Definitions { metrics: Metric::ALL.map(metric).into(), flags: Flag::ALL.map(flag).into() })
}
