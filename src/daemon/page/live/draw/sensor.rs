//! The sensors, and what is wrong.

use super::super::scene::{Scene, SensorLine};
use maud::{Markup, html};

/// Silence up to this is none, s.
const SILENT_S: u64 = 2;

/// What is wrong, why, and what can be done. Several stand in one line, to be opened, so that they leave room for the numbers.
pub fn faults(scene: &Scene) -> Markup {
    let unread = scene.unread.as_ref().map(|_| "the record cannot be read");
    let causes: Vec<_> = unread.into_iter().chain(scene.faults.iter().map(|fault| fault.cause.as_str())).collect();
    html! {
        @if causes.len() > 1 {
            details.care data-key="faults" {
                summary data-key="faults-summary" { span { strong { (causes.len()) " notices: " } (causes.join("; ")) } }
                (each(scene))
            }
        } @else {
            (each(scene))
        }
    }
}

fn each(scene: &Scene) -> Markup {
    html! {
        @if let Some(why) = &scene.unread {
            .care { strong { "The record cannot be read: " } (why) ". It is tried again." }
        }
        @for fault in &scene.faults {
            .care data-fault=(fault.key) {
                @if let Some(sensor) = &fault.sensor { strong { bdi { (sensor) } ": " } }
                (fault.cause) ". " b { "Do: " } (fault.remedy) "."
            }
        }
    }
}

/// Each sensor on a line.
pub fn sensors(scene: &Scene) -> Markup {
    html! {
        h2 { "Sensor" }
        @if scene.sensors.is_empty() {
            p { "None is connected. " a.change href="/setup" data-key="find-sensor" { "Find one" } }
        }
        @for (id, sensor) in &scene.sensors {
            p.sensor data-link=(sensor.link) {
                b { bdi { (sensor.name.as_deref().unwrap_or(id)) } } ": " (words(sensor))
            }
        }
    }
}

fn words(sensor: &SensorLine) -> String {
    let link = match sensor.link.as_str() {
        "connected" => "connected",
        "lost" => "connection lost",
        _ => "waited for",
    };
    // To the next ten, so that it stands still.
    let rate = (sensor.sample_rate_hz / 10.0).round() * 10.0;
    let parts = [
        Some(link.to_owned()),
        sensor.silent_s.filter(|silent_s| *silent_s >= SILENT_S).map(|silent_s| format!("silent for {silent_s} s")),
        (rate > 0.0).then(|| format!("{rate:.0} samples a second")),
        sensor.battery_percent.map(|percent| format!("battery {percent} %")),
        Some(if sensor.recording.file.is_some() { "recording" } else { "not recording" }.to_owned()),
    ];
    parts.into_iter().flatten().collect::<Vec<_>>().join(", ")
}
