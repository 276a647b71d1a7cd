//! A swing's numbers as lines of a caption, and contact times in film time as CSV.
//!
//! Who swung is not said: a film that is shown to others should not name a child.

use super::words::{Cell, Row, Units, row_of, with_unit};
use crate::engine::metrics::{Estimate, Metric};

/// What a caption shows, in this order: no more than can be read while a film runs.
const SHOWN: [Metric; 5] =
    [Metric::BatSpeed, Metric::HandSpeed, Metric::AttackAngle, Metric::BatTilt, Metric::TimeToContact];
/// The columns of [`contacts_csv`].
const COLUMNS: &str = "swing,swing_id,contact,film_s,film_sigma_s";

/// A swing in the film.
#[derive(Clone, Debug, PartialEq)]
pub struct InFilm {
    /// Counts the swings of the lesson or round from 1.
    pub number: usize,
    /// Its id.
    pub id: String,
    /// Film time of its contact, s.
    pub film_s: f64,
    /// 1 σ of that, s.
    pub film_sigma_s: f64,
    /// Whether it met a ball.
    pub met_ball: bool,
}

/// The lines of a swing's caption: a number each with half the width of its 95 % interval.
pub fn lines(swing: &InFilm, metrics: &[Option<Estimate>; Metric::COUNT], units: Units) -> Vec<String> {
    let first = if swing.met_ball { String::new() } else { ", no ball met".to_owned() };
    let mut lines = vec![format!("Swing {}{first}", swing.number)];
    for metric in SHOWN {
        let Row { label, cells, .. } = row_of(metric, &[metrics[metric.index()]], units);
        if let Some(Some(Cell { value, half_width })) = cells.into_iter().next() {
            lines.push(format!("{label} {value} ± {}", with_unit(&half_width, units.of(metric))));
        }
    }
    lines
}

/// A line of names, then a line a swing, in order of the film.
pub fn contacts_csv(swings: &[InFilm]) -> String {
    let mut text = format!("{COLUMNS}\n");
    for InFilm { number, id, film_s, film_sigma_s, met_ball } in swings {
        let contact = if *met_ball { "ball" } else { "none" };
        text += &format!("{number},{id},{contact},{film_s:.4},{film_sigma_s:.4}\n");
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    fn in_film(met_ball: bool) -> InFilm {
        InFilm { number: 3, id: "a-b".into(), film_s: 12.34567, film_sigma_s: 0.00121, met_ball }
    }

    #[test]
    fn a_caption_has_the_numbers_that_there_are() {
        let mut metrics = [None; Metric::COUNT];
        metrics[Metric::BatSpeed.index()] = Some(Estimate { value: 30.0, sigma: 0.1 });
        metrics[Metric::AttackAngle.index()] = Some(Estimate { value: -8.0, sigma: 0.5 });
        let us = lines(&in_film(true), &metrics, Units::Us);
        // 30 m/s are 67.108 mph; 1.96 · 0.1 m/s are 0.438 mph and 1.96 · 0.5° are 0.98°.
        assert_eq!(us, ["Swing 3", "Bat speed at contact 67.11 ± 0.44 mph", "Attack angle −8.00 ± 0.98°"]);
        let metric = lines(&in_film(false), &metrics, Units::Metric);
        assert_eq!(metric[..2], ["Swing 3, no ball met", "Bat speed at contact 30.00 ± 0.20 m/s"]);
        assert_eq!(lines(&in_film(true), &[None; Metric::COUNT], Units::Us), ["Swing 3"]);
    }

    #[test]
    fn contact_times_are_a_table() {
        let text = contacts_csv(&[in_film(true), in_film(false)]);
        assert_eq!(
            text,
            "swing,swing_id,contact,film_s,film_sigma_s\n3,a-b,ball,12.3457,0.0012\n3,a-b,none,12.3457,0.0012\n"
        );
    }
}
