//! The section in which the sound of a film is matched with the lesson's swings.

use crate::daemon::store::rows::Round;
use crate::report::words::Units;
use maud::{Markup, html};
use uuid::Uuid;

/// A file, a round and a distance, and where the answer goes.
pub fn film(lesson: Uuid, rounds: &[Round], units: Units) -> Markup {
    let length = units.length();
    let word = match units {
        Units::Us => "us",
        Units::Metric => "metric",
    };
    html! {
        section.change.no-print {
            h2 { "Film" }
            p {
                "Choose the sound track of a film of this lesson: a WAV file of 44.1 or 48 kHz, as long as the film. Most programs that play "
                "or cut films can export it. The cracks of bat on ball are matched with the swings; the sound is not kept."
            }
            form.telling #film data-film=(format!("/v1/lessons/{lesson}/film-match")) data-units=(word) data-factor=(1.0 / length.factor) {
                label { "Sound track " input type="file" name="sound" accept="audio/wav,.wav" required; }
                @if rounds.len() > 1 {
                    label {
                        "Shows " select name="round" {
                            option value="" { "the whole lesson" }
                            @for (k, round) in rounds.iter().enumerate() {
                                option value=(round.id) { "round " (k + 1) @if let Some(drill) = &round.drill { ", " (drill) } }
                            }
                        }
                    }
                }
                label {
                    "From bat to camera, " (length.sign) ", if known " input name="distance" inputmode="decimal" pattern="[0-9]+([.,][0-9]*)?" size="6";
                }
                button type="submit" { "Find the swings" }
            }
            div #film-answer role="status" {}
        }
    }
}
