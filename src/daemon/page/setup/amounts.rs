//! How much matters: for each number the least change that is worth a word, in the units of the page.

use super::fields::{self, Shown};
use crate::compare::numbers::Amounts;
use crate::daemon::access::Who;
use crate::daemon::api::{Api, Problem};
use crate::daemon::page::shell::{Here, Page};
use crate::daemon::page::view::View;
use crate::daemon::store::queries::amounts;
use crate::engine::metrics::Metric;
use crate::report::words::{Units, label};
use axum::Extension;
use axum::extract::State;
use maud::{Markup, html};

/// The page.
pub async fn page(State(api): State<Api>, view: View, Extension(who): Extension<Who>) -> Result<Page, Problem> {
    let said = amounts::read(&mut *api.store.read().await?).await?;
    let main = html! {
        p.back { a href="/setup" { "Set up" } " / how much matters" }
        h1 { "How much matters" }
        p {
            "For each number the least change that is worth a word. \u{201c}Not changed\u{201d} means: surely by less than this. Say it \
             before you look at a comparison, not after."
        }
        p.faint { "An empty field takes the value beside it, which is common practice and has no source." }
        form #amounts data-send="PATCH /v1/amounts" data-version=(said.version) {
            .fields { @for metric in Metric::ALL { (field(metric, said.set[metric.index()], view.units)) } }
            (fields::problem())
            button.primary.change type="submit" { "Keep the changes" }
        }
    };
    Ok(Page::new("How much matters", Here::Setup, view, &who, main))
}

fn field(metric: Metric, set: Option<f64>, units: Units) -> Markup {
    let unit = units.of(metric);
    let shown = Shown { sign: unit.sign, factor: 1.0 / unit.factor, decimals: 2 };
    let usual = shown.text(Amounts::default().0[metric.index()]);
    fields::number(label(metric), metric.key(), shown, set, &usual)
}
