//! How each check is done, for a person in a cage.

use crate::daemon::api::checks::{CheckKind, CheckState};
use crate::daemon::page::setup::fields;
use crate::daemon::store::rows;
use maud::{Markup, html};
use serde_json::json;
use uuid::Uuid;

/// Before any of them.
pub const CAUTION: &str = "Before each check: nobody within reach of the bat, the floor clear, the sensor fixed so that it does not \
                           move when you pull at it. A bat that hangs or is let go can slip: keep feet and faces away from it.";

/// A routine as it is read.
struct Routine {
    kind: CheckKind,
    word: &'static str,
    title: &'static str,
    what_for: &'static str,
    steps: &'static [&'static str],
    begin: &'static str,
}

const ROUTINES: [Routine; 4] = [
    Routine {
        kind: CheckKind::Still,
        word: "still",
        title: "Standing still",
        what_for: "Whether the accelerometer reads gravity and the gyro nothing, as far as the sensor's data allow.",
        steps: &[
            "Lay bat or sensor on a table or the floor, in any way, where nothing shakes it.",
            "Touch the button, then leave it alone for five seconds.",
        ],
        begin: "Begin: it lies still",
    },
    Routine {
        kind: CheckKind::Mount,
        word: "mount",
        title: "How it sits",
        what_for: "Which way the bat's axis runs through the sensor. Do it whenever the sensor was put on.",
        steps: &[
            "Stand the bat on its barrel end, knob up, on a clear and level floor, and touch the button.",
            "Keep it upright and still for two seconds.",
            "Roll it about its own axis between your palms, upright: two and a half turns or more one way, then as many back, at a \
             turn a second or faster.",
        ],
        begin: "Begin: it stands",
    },
    Routine {
        kind: CheckKind::Pendulum,
        word: "pendulum",
        title: "As a pendulum",
        what_for: "Whether gyro and accelerometer agree: the speed at the bottom follows from the height fallen. And whether the \
                   bat's data are right: they say how long a swing lasts.",
        steps: &[
            "Hang the bat, barrel down, so that it turns about a point 6 in (15.2 cm) from the knob's end: on two nails, or a knife \
             edge under tape. It must not slip, and have a bat's length of room on both sides.",
            "Touch the button, draw the barrel aside by 15° to 30° (a foot or so), and let it go without a push.",
            "Step back and let it swing for ten seconds.",
        ],
        begin: "Begin: it hangs",
    },
    Routine {
        kind: CheckKind::Aim,
        word: "aim",
        title: "Taking aim",
        what_for: "Where the pitcher is, as the sensor sees it. It is kept with the recording; no number of a swing uses it.",
        steps: &[
            "Stand at the plate and touch the button.",
            "Hold the bat out level, the barrel pointing at where the ball is let go, for two seconds.",
        ],
        begin: "Begin: I point",
    },
];

/// All of them.
pub fn cards(sensor_id: Uuid, bats: &[rows::Bat], state: Option<&CheckState>) -> Markup {
    let chosen = state.and_then(|state| state.bat_id);
    html! {
        @for routine in &ROUTINES {
            section.step aria-labelledby=(format!("check-{}", routine.word)) {
                h3 id=(format!("check-{}", routine.word)) { (routine.title) }
                p { (routine.what_for) }
                ol { @for step in routine.steps { li { (step) } } }
                form data-send=(format!("POST /v1/sensors/{sensor_id}/checks")) data-body=(json!({"kind": routine.word}))
                    data-then="#check" {
                    .fields { (asked(routine.kind, bats, chosen)) }
                    (fields::problem())
                    button.primary.change type="submit" { (routine.begin) }
                }
            }
        }
    }
}

/// What else is to be known.
fn asked(kind: CheckKind, bats: &[rows::Bat], chosen: Option<Uuid>) -> Markup {
    html! {
        @if kind == CheckKind::Still {
            (fields::number_signed("Latitude of the cage, ° (south −); may stay empty", "latitude_deg", fields::PLAIN, None))
        } @else {
            label {
                span { "On which bat" }
                select name="bat_id" {
                    option value="" { "not said" }
                    @for bat in bats.iter().filter(|bat| !bat.is_retired) {
                        option value=(bat.id) selected[chosen == Some(bat.id)] { (bat.name) }
                    }
                }
            }
        }
    }
}

/// A routine's title.
pub fn title(kind: CheckKind) -> &'static str {
    ROUTINES.iter().find(|routine| routine.kind == kind).map_or("", |routine| routine.title)
}
