//! Looking back.

use super::shell::{Here, Page};
use super::view::View;
use crate::daemon::access::Who;
use crate::daemon::api::Problem;
use axum::Extension;
use maud::html;

/// All athletes.
pub async fn athletes(view: View, Extension(who): Extension<Who>) -> Result<Page, Problem> {
    Ok(Page::new("Athletes", Here::Past, view, &who, html! { h1 { "Athletes" } }))
}

/// An athlete's lessons, and the trend of a metric.
pub async fn athlete(view: View, Extension(who): Extension<Who>) -> Result<Page, Problem> {
    Ok(Page::new("Athlete", Here::Past, view, &who, html! { h1 { "Athlete" } }))
}

/// A lesson with its rounds.
pub async fn lesson(view: View, Extension(who): Extension<Who>) -> Result<Page, Problem> {
    Ok(Page::new("Lesson", Here::Past, view, &who, html! { h1 { "Lesson" } }))
}

/// A swing.
pub async fn swing(view: View, Extension(who): Extension<Who>) -> Result<Page, Problem> {
    Ok(Page::new("Swing", Here::Past, view, &who, html! { h1 { "Swing" } }))
}
