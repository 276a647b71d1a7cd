//! A bat or an implement, with the pendulum timer for its moment of inertia.

use super::fields::{self, Shown};
use crate::daemon::access::Who;
use crate::daemon::api::bats::{PIVOT_FROM_KNOB_M, pendulum_kgm2};
use crate::daemon::api::extract::Id;
use crate::daemon::api::{Api, Problem};
use crate::daemon::page::shell::{Here, Page};
use crate::daemon::page::view::View;
use crate::daemon::store::queries::bats;
use crate::daemon::store::rows::{Bat, Moi, Word};
use crate::report::words::Units;
use axum::Extension;
use axum::extract::State;
use maud::{Markup, html};
use serde_json::json;
use uuid::Uuid;

/// What is swung, as it is read.
pub const KINDS: [(&str, &str); 2] = [("bat", "a bat"), ("implement", "a training implement")];

/// The page.
pub async fn page(
    State(api): State<Api>,
    Id(id): Id<Uuid>,
    view: View,
    Extension(who): Extension<Who>,
) -> Result<Page, Problem> {
    let bat = bats::get(&mut *api.store.read().await?, id).await?;
    let main = html! {
        p.back { a href="/setup" { "Set up" } " / bat" }
        h1 { (bat.name) @if bat.is_retired { span.faint { " (retired)" } } }
        .columns {
            section aria-labelledby="edit" {
                h2 #edit { "What is known" }
                (edit(&bat, view.units))
                (going(&bat))
            }
            section aria-labelledby="moment" {
                h2 #moment { "Moment of inertia" }
                (moment_words(bat.moi.as_ref()))
                (timer(&bat, view.units))
            }
        }
    };
    Ok(Page::new(bat.name.clone(), Here::Setup, view, &who, main))
}

fn edit(bat: &Bat, units: Units) -> Markup {
    let length = fields::length(units);
    let entered = match bat.moi {
        Some(Moi::Entered { moi_knob6_kgm2, .. }) => Some(moi_knob6_kgm2),
        _ => None,
    };
    let is_swung = matches!(bat.moi, Some(Moi::Pendulum { .. }));
    html! {
        form data-send=(format!("PATCH /v1/bats/{}", bat.id)) data-version=(bat.version) {
            .fields {
                (fields::line("Name", "name", &bat.name, "", true))
                (fields::choice("It is", "kind", &KINDS, bat.kind.word()))
                (fields::number("Length", "length_m", length, bat.length_m, ""))
                (fields::number("Weight", "mass_kg", fields::mass(units), bat.mass_kg, ""))
                (fields::number("Balance point from the knob's end", "balance_m", length, bat.balance_m, ""))
                (fields::number("Sweet spot from the knob's end", "sweet_spot_m", length, bat.sweet_spot_m, "else 6 in (15.2 cm) from the tip"))
                (fields::number("Barrel's diameter", "barrel_diameter_m", length, bat.barrel_diameter_m, ""))
                @if !is_swung {
                    (fields::number("Moment of inertia, 6 in pivot", "moi_knob6_kgm2", fields::moment(units), entered, "where it is known"))
                }
                (fields::note(&bat.note))
            }
            (fields::problem())
            button.primary.change type="submit" { "Keep the changes" }
        }
    }
}

/// Out of use, or out of the record.
fn going(bat: &Bat) -> Markup {
    let path = format!("/v1/bats/{}", bat.id);
    let (words, is_retired) = if bat.is_retired { ("Use it again", false) } else { ("Retire it", true) };
    html! {
        .row.going {
            button.change type="button" data-send=(format!("PATCH {path}")) data-version=(bat.version)
                data-body=(json!({ "is_retired": is_retired })) { (words) }
            button.change.danger type="button" data-send=(format!("DELETE {path}")) data-version=(bat.version) data-then="/setup"
                data-confirm=(format!("Remove {}? Its swings stay, without a bat. To keep it with them, retire it instead.", bat.name)) {
                "Remove it"
            }
        }
        p.faint { "A retired bat is offered no longer; its swings keep it." }
    }
}

/// What is known of it, in both units.
fn moment_words(moi: Option<&Moi>) -> Markup {
    let (value, sigma, how) = match moi {
        None => return html! { p { "Not known: that of a usual bat of this length and weight is taken." } },
        Some(Moi::Entered { moi_knob6_kgm2, sigma_kgm2 }) => (*moi_knob6_kgm2, *sigma_kgm2, "entered".to_owned()),
        Some(Moi::Pendulum { moi_knob6_kgm2, sigma_kgm2, period_s, period_sigma_s }) => {
            let sigma =
                period_sigma_s.map(|sigma_s| format!(", σ\u{a0}{:.1}\u{a0}ms", sigma_s * 1e3)).unwrap_or_default();
            (*moi_knob6_kgm2, *sigma_kgm2, format!("from a period of {period_s:.4} s{sigma}"))
        }
    };
    html! {
        p #moment-now {
            strong { (with_sigma(value, sigma, fields::moment(Units::Metric))) }
            " = " (with_sigma(value, sigma, fields::moment(Units::Us)))
            br;
            span.faint { "about the pivot 6 in from the knob's end (ASTM F2398); " (how) }
        }
    }
}

fn with_sigma(value: f64, sigma: Option<f64>, shown: Shown) -> String {
    let sigma = sigma.map(|sigma| format!(", σ\u{a0}{}", shown.text(sigma))).unwrap_or_default();
    format!("{}{sigma}", shown.with_unit(value))
}

/// The timer, or what it lacks.
fn timer(bat: &Bat, units: Units) -> Markup {
    let mass = bat.mass_kg.filter(|mass| *mass > 0.0);
    let balance = bat.balance_m.filter(|balance| *balance > PIVOT_FROM_KNOB_M);
    let (Some(mass_kg), Some(balance_m)) = (mass, balance) else { return lacking(bat) };
    let shown = fields::moment(units);
    html! {
        h3 { "Time it as a pendulum" }
        ol {
            li { "Hang the bat, barrel down, so that it turns about a point 6 in (15.2 cm) from the knob's end: on two nails, or a knife edge under tape." }
            li {
                "Let it swing a little: 10° to either side at most. A wide swing takes longer, by the share θ²/16 of its "
                "widest angle θ in radians: 0.2 % of the period at 10°, 0.8 % at 20°, and twice that of the moment."
            }
            li { "Touch the button, or press the space bar, as it passes the lowest point to the right; count every later pass to the right, and touch again at the last." }
            li { "Do it three times or more." }
        }
        // One second's worth: the moment goes with the square of the period.
        #timer data-kgm2=(pendulum_kgm2(mass_kg, balance_m, 1.0)) data-unit=(shown.sign) data-factor=(shown.factor) data-decimals=(shown.decimals) {
            label.short { span { "Full swings in a run" } input #timer-swings type="number" inputmode="numeric" min="3" max="60" value="10"; }
            button #timer-touch.touch type="button" { "Touch at the first pass" }
            p #timer-said role="status" { "No run yet." }
            table hidden { caption.unseen { "Runs" }
                thead { tr { th scope="col" { "run" } th scope="col" { "swings" } th scope="col" { "period, s" } th scope="col" { span.unseen { "remove" } } } }
                tbody #timer-runs {}
            }
            dl.pairs {
                dt { "Period" } dd #timer-period { "—" }
                dt { "Moment of inertia" } dd #timer-moment { "—" }
            }
            p.faint {
                "σ of the period is the spread of the runs divided by the root of their number, and at least 0.05 s divided by the swings of a run: "
                "as well as a hand times (common practice, no source). σ of the moment is that of the period alone; mass and balance point are taken as exact."
            }
            form data-send=(format!("PATCH /v1/bats/{}", bat.id)) data-version=(bat.version) data-body=r#"{"moi_knob6_kgm2":null}"# {
                input #timer-period-s type="hidden" name="pendulum_period_s" data-as="number";
                input #timer-sigma-s type="hidden" name="pendulum_period_sigma_s" data-as="number";
                (fields::problem())
                button.primary.change #timer-keep type="submit" disabled { "Keep this period" }
            }
        }
        @if matches!(bat.moi, Some(Moi::Pendulum { .. })) {
            button.change type="button" data-send=(format!("PATCH /v1/bats/{}", bat.id)) data-version=(bat.version)
                data-body=r#"{"pendulum_period_s":null,"pendulum_period_sigma_s":null}"# { "Forget the period that is kept" }
        }
    }
}

fn lacking(bat: &Bat) -> Markup {
    let lacks = match (bat.mass_kg, bat.balance_m) {
        (None, None) => "its weight and its balance point are",
        (None, Some(_)) => "its weight is",
        (Some(_), None) => "its balance point is",
        (Some(_), Some(_)) => "a balance point beyond the 6 in pivot is",
    };
    html! {
        p.care {
            "The pendulum timer needs weight and balance point: the period says how the moment of inertia compares with the pull "
            "of gravity, which is weight times the way from pivot to balance point. Here " (lacks) " missing. Weigh the bat as it is swung, "
            "with the sensor on it; lay it across an edge until it balances, and measure from the knob's end to the edge."
        }
    }
}
