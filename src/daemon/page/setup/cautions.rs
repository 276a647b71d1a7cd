//! What has to be heeded before anybody swings.

use maud::{Markup, html};

/// As they stand on the pages. None of them is a rule of a league or a maker: those are to be asked for.
const CAUTIONS: [&str; 6] = [
    "Swing only where a net or a wall stops ball and bat, and nobody is within reach of either.",
    "Pull hard at the sensor by hand before the first swing and between rounds. If it moves, fix it anew; if the knob is cracked, do not swing.",
    "The bat is a little heavier at the knob than without the sensor. Take some easy swings first.",
    "Do not use a sensor whose case is broken or whose battery bulges.",
    "Measure nobody who has not agreed, or whose parent or guardian has not, where they are under age.",
    "The numbers are measurements with an uncertainty. They replace no coach and no physician. Ask your league before a game.",
];

/// The list.
pub fn list() -> Markup {
    html! { ul.cautions { @for caution in CAUTIONS { li { (caution) } } } }
}
