//! Where a swing came from: recording, sensor, engine, profile, and every analysis of it.

use super::super::super::figure::wide;
use super::super::super::when;
use super::super::super::words::{self, NOTHING, name};
use super::Whole;
use crate::daemon::store::rows::{Analysis, Origin, RecordingState};
use crate::engine::metrics::Metric;
use crate::report::words::Units;
use maud::{Markup, html};

/// Of a SHA-256, digits that tell profiles apart for the eye.
const SHORT: usize = 12;

/// All of it.
pub fn section(whole: &Whole, units: Units) -> Markup {
    let (swing, analysis) = (&whole.found.swing, &whole.found.analysis);
    html! {
        section.origin {
            h2 { "Where it came from" }
            dl.pairs {
                dt { "Recording" } dd { (recording(whole)) }
                dt { "Time in it" } dd {
                    "start " (seconds(analysis.start_s)) ", contact " (seconds(analysis.contact_s))
                    " on the sensor's clock"
                    @if swing.run > 0 { ", after " (swing.run) " of its restarts" }
                }
                dt { "Contact" } dd {
                    (when::instant(swing.contact_utc))
                    @if let Some(sigma_us) = swing.contact_utc_sigma_us {
                        span.faint { " (σ " (milliseconds(sigma_us)) ")" }
                    }
                }
                dt { "Sensor" } dd { (sensor(whole)) }
                dt { "Owner" } dd { @if swing.is_moved { "moved by hand" } @else { "as the recording says" } }
                dt { "Curves" } dd { a.open href=(format!("/v1/swings/{}/curves.csv", swing.id)) download { "as CSV" } }
            }
            (revisions(whole, units))
        }
    }
}

fn seconds(s: f64) -> String {
    format!("{s:.4} s")
}

fn milliseconds(us: i64) -> String {
    format!("{:.1} ms", us as f64 / 1e3)
}

fn recording(whole: &Whole) -> Markup {
    let recording = &whole.recording;
    html! {
        (name(&recording.file_name))
        @if let Some(imported) = &recording.imported_name { ", imported from " (name(imported)) }
        @else if recording.origin == Origin::Live { ", recorded here" }
        @if recording.state == RecordingState::Removed { ", removed since" } @else {
            " " a.open.change href=(format!("/v1/recordings/{}/file", recording.id)) download { "the file" }
        }
    }
}

fn sensor(whole: &Whole) -> Markup {
    html! {
        @match &whole.sensor {
            Some(sensor) if sensor.label.is_empty() => (name(&sensor.name)),
            Some(sensor) => { (name(&sensor.label)) " (" (name(&sensor.name)) ")" },
            None => "not known",
        }
    }
}

fn revisions(whole: &Whole, units: Units) -> Markup {
    let table = html! {
        table {
            caption.unseen { "Analyses of this swing, the latest first" }
            thead { tr {
                th scope="col" { "Analysis" } th.words scope="col" { "Made" } th.words scope="col" { "Stage" }
                th.words scope="col" { "Engine" } th.words scope="col" { "Profile" }
                th scope="col" { "Bat speed" span.faint.under { (units.speed().sign) ", ± 95 %" } }
                th.words scope="col" { "Flags" }
            } }
            tbody { @for one in whole.revisions.iter().rev() { (revision(one, units)) } }
        }
    };
    html! { h3 { "Analyses" } (wide("Analyses", &table)) }
}

fn revision(one: &Analysis, units: Units) -> Markup {
    let short = one.profile_sha256.get(..SHORT).unwrap_or(NOTHING);
    html! {
        tr {
            th scope="row" { (one.revision) }
            td.words { (when::minute(one.analysed)) }
            td.words { (stage(&one.stage)) }
            td.words { (one.engine_version) }
            td.words { a.open href=(format!("/v1/profiles/{}", one.profile_sha256)) { (short) } }
            td { (words::estimate(Metric::BatSpeed, one.metrics[Metric::BatSpeed.index()], units)) }
            td.words { (words::flags(&one.flags)) }
        }
    }
}

/// How much of the recording an analysis had.
fn stage(word: &str) -> &'static str {
    match word {
        "streaming" => "up to contact",
        "final" => "with what followed",
        _ => "with later rests",
    }
}
