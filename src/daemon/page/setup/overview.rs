//! Athletes, bats and sensors.

use crate::daemon::access::Who;
use crate::daemon::api::Problem;
use crate::daemon::page::shell::{Here, Page};
use crate::daemon::page::view::View;
use axum::Extension;
use maud::html;

/// The page.
pub async fn page(view: View, Extension(who): Extension<Who>) -> Result<Page, Problem> {
    Ok(Page::new("Set up", Here::Setup, view, &who, html! { h1 { "Set up" } }))
}
