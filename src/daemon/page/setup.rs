//! Setting up.

use super::shell::{Here, Page};
use super::view::View;
use crate::daemon::access::Who;
use crate::daemon::api::Problem;
use axum::Extension;
use maud::html;

/// From nothing to the first swing.
pub async fn start(view: View, Extension(who): Extension<Who>) -> Result<Page, Problem> {
    Ok(Page::new("Start", Here::Setup, view, &who, html! { h1 { "Start" } }))
}

/// Athletes, bats and sensors.
pub async fn overview(view: View, Extension(who): Extension<Who>) -> Result<Page, Problem> {
    Ok(Page::new("Set up", Here::Setup, view, &who, html! { h1 { "Set up" } }))
}

/// An athlete with consents.
pub async fn athlete(view: View, Extension(who): Extension<Who>) -> Result<Page, Problem> {
    Ok(Page::new("Athlete", Here::Setup, view, &who, html! { h1 { "Athlete" } }))
}

/// A bat, with the pendulum timer.
pub async fn bat(view: View, Extension(who): Extension<Who>) -> Result<Page, Problem> {
    Ok(Page::new("Bat", Here::Setup, view, &who, html! { h1 { "Bat" } }))
}

/// A sensor, with its mounts and checks.
pub async fn sensor(view: View, Extension(who): Extension<Who>) -> Result<Page, Problem> {
    Ok(Page::new("Sensor", Here::Setup, view, &who, html! { h1 { "Sensor" } }))
}

/// How a check stands now: a part of a page.
pub async fn check() -> &'static str {
    ""
}
