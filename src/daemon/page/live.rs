//! The cage screen.

use super::shell::{Here, Page};
use super::view::View;
use crate::daemon::access::Who;
use crate::daemon::api::Problem;
use axum::Extension;
use maud::html;

/// The page.
pub async fn page(view: View, Extension(who): Extension<Who>) -> Result<Page, Problem> {
    Ok(Page::new("At the plate", Here::Live, view, &who, html! { h1 { "At the plate" } }).following("/live/stream"))
}

/// Its parts, as they change.
pub async fn stream() -> &'static str {
    ""
}
