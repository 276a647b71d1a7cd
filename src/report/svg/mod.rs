//! Swings as pictures: speed against time before contact, the path from the side and from above.
//!
//! A picture has no script and no outside part; it follows the reader's light or dark scheme by CSS variables. Colours
//! are of the set that people with any colour vision tell apart (Okabe & Ito, *Color Universal Design*, 2008), and no
//! line is told by colour alone: the hands' lines are dashed and every line is named where it ends. The swing drawn bold
//! is the fastest.

mod chart;
pub mod draw;
mod path;
mod speed;

use super::words::Units;
use crate::engine::metrics::Metric;
use crate::engine::swing::Swing;
use maud::{Markup, PreEscaped, html};

/// Colours of the pictures as CSS variables, light and dark, for files that stand by themselves.
pub const COLOURS: &str = "\
.chart{--paper:#ffffff;--ink:#1d2329;--faint:#59636e;--grid:#dfe3e8;--sweet:#0072b2;--hands:#d55e00;--mark:#009e73;--then:#0072b2;\
font-family:system-ui,-apple-system,'Segoe UI',Roboto,'Liberation Sans',sans-serif}\
@media(prefers-color-scheme:dark){.chart{--paper:#15191e;--ink:#e8ecf0;--faint:#a3adb8;--grid:#323a43;--sweet:#56b4e9;\
--hands:#e69f00;--mark:#4cc7a0;--then:#56b4e9}}";

/// Lines of the pictures, by those variables: for pages that say the colours themselves.
pub const RULES: &str = "\
.chart{font-size:15px;display:block;max-width:100%;height:auto;background:var(--paper)}\
.chart text{fill:var(--faint)}.chart .title{fill:var(--ink);font-size:17px;font-weight:600}\
.chart .line{fill:none;stroke-linejoin:round;stroke-linecap:round;stroke-width:1.2;stroke-opacity:.38}\
.chart .bold{stroke-width:3;stroke-opacity:1}.chart .sweet{stroke:var(--sweet)}\
.chart .hands{stroke:var(--hands);stroke-dasharray:6 4.5}.chart .grid{stroke:var(--grid);stroke-width:1}\
.chart .zero{stroke:var(--faint);stroke-width:1.2}.chart .bat{stroke:var(--faint);stroke-width:1.2;stroke-opacity:.55}\
.chart .bat.last{stroke:var(--ink);stroke-width:4;stroke-opacity:1;stroke-linecap:round}\
.chart .mark{fill:var(--mark);stroke:var(--paper);stroke-width:2}\
.chart text.sweet{fill:var(--sweet);stroke:none;font-weight:600}\
.chart text.hands{fill:var(--hands);stroke:none;font-weight:600}.chart text.mark{fill:var(--mark);stroke:none}";

/// From which side a path is seen.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum View {
    /// Level with the bat, its heading at contact to the right.
    Side,
    /// From above, its heading at contact to the right.
    Above,
}

/// Speed of the sweet spot and of the hands against time before contact.
pub fn speed(swings: &[Swing], units: Units) -> Markup {
    speed::panel(swings, units)
}

/// Path of the sweet spot and of the hands.
pub fn path(swings: &[Swing], units: Units, view: View) -> Markup {
    path::panel(swings, units, view)
}

/// All three below one another, as a file of its own.
pub fn picture(swings: &[Swing], units: Units) -> String {
    let (width, height) = (chart::WIDTH, chart::HEIGHT);
    let panels = [speed(swings, units), path(swings, units, View::Side), path(swings, units, View::Above)];
    let total = height * panels.len() as f64;
    html! {
        svg.chart xmlns="http://www.w3.org/2000/svg" width=(width) height=(total) viewBox=(format!("0 0 {width} {total}")) {
            style { (PreEscaped(COLOURS)) (PreEscaped(RULES)) }
            @for (i, panel) in panels.iter().enumerate() {
                g transform=(format!("translate(0 {})", height * i as f64)) { (panel) }
            }
        }
    }
    .into_string()
}

/// The place of the swing drawn bold.
fn fastest(swings: &[Swing]) -> Option<usize> {
    let speed = |swing: &Swing| swing.metrics[Metric::BatSpeed.index()].map_or(f64::NEG_INFINITY, |m| m.value);
    (0..swings.len()).max_by(|&a, &b| speed(&swings[a]).total_cmp(&speed(&swings[b])))
}

/// "swing 3, the fastest of 12", as far as there is something to say.
fn which(swings: &[Swing]) -> String {
    match (swings.len(), fastest(swings)) {
        (0, _) | (_, None) => "no swing".to_owned(),
        (1, _) => "one swing".to_owned(),
        (count, Some(bold)) => format!("{count} swings, bold: swing {}, the fastest", bold + 1),
    }
}

/// The swings with the bold one last, so that it lies on top.
fn bold_last(swings: &[Swing]) -> impl Iterator<Item = (bool, &Swing)> {
    let bold = fastest(swings);
    let others = swings.iter().enumerate().filter(move |(i, _)| Some(*i) != bold).map(|(_, swing)| (false, swing));
    others.chain(bold.map(|i| (true, &swings[i])))
}

#[cfg(test)]
mod tests {
    use super::super::example::swing;
    use super::*;

    /// Tags open and close in pairs, and nothing is drawn at a place that is no number.
    fn assert_well_formed(svg: &str) {
        assert!(svg.starts_with("<svg") && svg.ends_with("</svg>"));
        assert!(!svg.contains("NaN") && !svg.contains("inf"));
        for tag in ["svg", "g", "path", "text", "line", "title", "desc"] {
            let opened = svg.matches(&format!("<{tag} ")).count() + svg.matches(&format!("<{tag}>")).count();
            assert_eq!(opened, svg.matches(&format!("</{tag}>")).count(), "{tag}");
        }
    }

    #[test]
    fn one_several_or_no_swings_make_a_picture() {
        for count in [0, 1, 7] {
            let swings: Vec<Swing> = (1..=count).map(swing).collect();
            let svg = picture(&swings, Units::Us);
            assert_well_formed(&svg);
            // Sweet spot and hands of every swing in each of the three charts.
            assert_eq!(svg.matches("class=\"line ").count(), 6 * count);
            assert_eq!(svg.matches(" bold\"").count(), if count > 0 { 6 } else { 0 });
            assert!(!svg.contains("<script"));
        }
    }

    #[test]
    fn curves_of_any_numbers_draw() {
        let mut hostile = swing(1);
        hostile.curves.bat_speed_mps.truncate(5);
        hostile.curves.hand_speed_mps[30] = f64::NAN;
        hostile.curves.sweet_spot_w_m[40].x = f64::INFINITY;
        hostile.curves.hands_w_m[41].y = 1e300;
        hostile.curves.times_s[2] = f64::NAN;
        let mut empty = swing(2);
        empty.curves = Default::default();
        assert_well_formed(&picture(&[hostile, empty], Units::Metric));
    }

    #[test]
    fn the_fastest_is_bold_and_on_top() {
        let swings: Vec<Swing> = [2, 5, 1].map(swing).into();
        assert_eq!(fastest(&swings), Some(1));
        let order: Vec<_> = bold_last(&swings).map(|(bold, swing)| (bold, swing.contact.0)).collect();
        assert_eq!(order, [(false, 20.0), (false, 10.0), (true, 50.0)]);
    }
}
