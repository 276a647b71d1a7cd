//! A sensor, with its mounts and checks.

use crate::daemon::access::Who;
use crate::daemon::api::Problem;
use crate::daemon::page::shell::{Here, Page};
use crate::daemon::page::view::View;
use axum::Extension;
use maud::html;

/// The page.
pub async fn page(view: View, Extension(who): Extension<Who>) -> Result<Page, Problem> {
    Ok(Page::new("Sensor", Here::Setup, view, &who, html! { h1 { "Sensor" } }))
}

/// How a check stands now: a part of a page.
pub async fn check() -> &'static str {
    ""
}
