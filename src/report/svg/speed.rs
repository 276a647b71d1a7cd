//! Speed of the sweet spot and the hands against time from contact.

use super::super::words::{Unit, Units, rounded};
use super::band::{Band, Ranges, value_at};
use super::chart::{Chart, Drawn, Field, Name, Scale, frame, line, names, shade, thinned};
use super::numbers::table;
use super::{others, swings_in_words};
use crate::engine::swing::{Curves, Swing};
use maud::{Markup, html};

/// Shown before contact at least, and at most, ms.
const BEFORE_MS: (f64, f64) = (250.0, 400.0);
/// Shown before the start, ms.
const BEFORE_START_MS: f64 = 30.0;
/// Shown after contact where something is known of it: of swings that met nothing, ms.
const AFTER_MS: f64 = 100.0;
/// Faster is no bat, m/s.
const FASTEST_MPS: f64 = 200.0;
/// Between two rows of the table, ms.
const ROW_MS: f64 = 25.0;

/// What one chart shows.
struct Scene<'a> {
    thin: Vec<Drawn<'a>>,
    bold: Option<Drawn<'a>>,
    then: Option<&'a Band>,
}

/// Speed of sweet spot and hands against time from contact, over how it was then.
pub fn speed(now: Option<Drawn>, then: Option<&Band>, units: Units) -> Chart {
    let scene = Scene { thin: Vec::new(), bold: now, then };
    let about = match (now, then) {
        (Some(_), Some(band)) => {
            let (word, of) = (band.called.word(), swings_in_words(band.swings));
            format!("bold: now; shaded: {word}, 80 % of {of}")
        }
        (Some(_), None) => "whole: sweet spot; dashed: hands".to_owned(),
        (None, Some(band)) => format!("{}: the middle 80 % of {}", band.called.word(), swings_in_words(band.swings)),
        (None, None) => "no swing yet".to_owned(),
    };
    let description = scene.description(units.speed());
    Chart { svg: scene.svg(units, &about, &description), as_text: scene.text(units.speed()) }
}

/// The same of all swings of a recording, the fastest bold.
pub fn speeds(swings: &[Swing], units: Units) -> Markup {
    let (thin, bold) = others(swings);
    let about = super::which(swings);
    let scene = Scene { thin, bold, then: None };
    let description = format!("{} Drawn: {about}.", scene.description(units.speed()));
    scene.svg(units, &about, &description)
}

impl Scene<'_> {
    fn svg(&self, units: Units, about: &str, description: &str) -> Markup {
        let unit = units.speed();
        let field = self.field(units);
        let content = html! {
            @if let Some(band) = self.then { (shades(band, unit, &field)) }
            (field.grid(&field.x.ticks(4.0), &field.y.ticks(4.0)))
            (field.upright("zero", 0.0, "contact"))
            @if let Some(start_ms) = self.start_ms() { (field.upright("start", start_ms, "start")) }
            @if let Some(band) = self.then { (medians(band, unit, &field)) }
            @for drawn in &self.thin { (lines(drawn.curves, false, unit, &field)) }
            @if let Some(drawn) = self.bold { (lines(drawn.curves, true, unit, &field)) }
            (names(self.names(unit, &field), &field))
            (field.below("ms from contact"))
        };
        frame(&format!("Speed, {}", unit.sign), about, description, &content)
    }

    fn all(&self) -> impl Iterator<Item = Drawn<'_>> {
        self.thin.iter().copied().chain(self.bold)
    }

    /// Of the bold swing, where it is shown.
    fn start_ms(&self) -> Option<f64> {
        let start_ms = self.bold?.start_s * 1e3;
        (-BEFORE_MS.1..-1.0).contains(&start_ms).then_some(start_ms)
    }

    /// The same field for usual swings, so that one is seen against the next.
    fn field(&self, units: Units) -> Field {
        let starts_ms = self.all().map(|drawn| BEFORE_START_MS - drawn.start_s * 1e3).filter(|t| t.is_finite());
        let before_ms = ((starts_ms.fold(BEFORE_MS.0, f64::max) / 50.0).ceil() * 50.0).min(BEFORE_MS.1);
        let times_s = self.all().filter_map(|drawn| drawn.curves.times_s.last());
        let is_after = |t: &f64| *t > 1e-3;
        let is_after = times_s.chain(self.then.and_then(|band| band.times_s.last())).any(is_after);
        let x = Scale::new((-before_ms, if is_after { AFTER_MS } else { 0.0 }), (44.0, 346.0));
        let unit = units.speed();
        let (step, least) = match units {
            Units::Us => (20.0, 80.0),
            Units::Metric => (10.0, 40.0),
        };
        let speeds_mps = self.all().flat_map(|drawn| &drawn.curves.bat_speed_mps);
        let speeds_mps = speeds_mps.chain(self.then.iter().flat_map(|band| &band.bat_speed_mps.high));
        let fastest_mps = speeds_mps.copied().filter(|v| *v < FASTEST_MPS).fold(0.0, f64::max);
        let greatest = ((fastest_mps * unit.factor / step).ceil() * step).max(least);
        Field { x, y: Scale::new((0.0, greatest), (282.0, 82.0)) }
    }

    fn names(&self, unit: Unit, field: &Field) -> Vec<Name> {
        let name = |class, words: &str, places: Vec<(f64, f64)>| {
            Some(Name { class, words: words.to_owned(), place: *thinned(places.into_iter()).last()? })
        };
        let now = self.bold.map(|drawn| {
            let of = |speed_mps| places(&drawn.curves.times_s, speed_mps, unit, field);
            (of(&drawn.curves.bat_speed_mps), of(&drawn.curves.hand_speed_mps))
        });
        let then = self.then.map(|band| {
            let of = |ranges: &Ranges| places(&band.times_s, &ranges.middle, unit, field);
            (of(&band.bat_speed_mps), of(&band.hand_speed_mps))
        });
        let word = self.then.map_or("", |band| band.called.word());
        let [(sweet_class, sweet_name), (hands_class, hands_name)] = match now {
            Some(_) => [("sweet thin", word), ("hands thin", word)],
            None => [("sweet", "sweet spot"), ("hands", "hands")],
        };
        let now = now.map(|(sweet, hands)| [name("sweet", "sweet spot", sweet), name("hands", "hands", hands)]);
        let then =
            then.map(|(sweet, hands)| [name(sweet_class, sweet_name, sweet), name(hands_class, hands_name, hands)]);
        now.into_iter().chain(then).flatten().flatten().collect()
    }

    fn description(&self, unit: Unit) -> String {
        let contact = |times_s: &[f64], values: &[f64]| {
            value_at(times_s, values, 0.0).map_or("unknown".to_owned(), |v| rounded(v * unit.factor, 1))
        };
        let mut said =
            "Speed of the sweet spot (whole line) and of the hands (dashed) against time from contact.".to_owned();
        if let Some(Drawn { curves, .. }) = self.bold {
            let bat = contact(&curves.times_s, &curves.bat_speed_mps);
            let hands = contact(&curves.times_s, &curves.hand_speed_mps);
            said += &format!(" At contact the sweet spot has {bat} {0} and the hands have {hands} {0}", unit.sign);
            said += &self.start_ms().map_or(".".to_owned(), |t| format!(", {} ms after the start.", rounded(-t, 0)));
        }
        if let Some(band) = self.then {
            let [low, middle, high] = band.bat_speed_mps.each().map(|values| contact(&band.times_s, values));
            let (called, of, sign) = (band.called.at_beginning(), swings_in_words(band.swings), unit.sign);
            said += &format!(
                " {called}, of {of}: at contact {middle} {sign}, the middle 80 % from {low} to {high} {sign}."
            );
        }
        if self.bold.is_none() && self.then.is_none() {
            said += " No swing yet.";
        }
        said
    }

    fn text(&self, unit: Unit) -> Markup {
        let mut heads = vec!["Time from contact, ms".to_owned()];
        for point in ["Sweet spot", "Hands"] {
            heads.extend(self.bold.map(|_| format!("{point}, {}", unit.sign)));
            heads.extend(self.then.map(|band| format!("{point} {}, {}", band.called.word(), unit.sign)));
        }
        let caption = match self.then {
            Some(band) => format!(
                "Speed against time from contact. {}: the median of {} and, in brackets, the range of the middle 80 %.",
                band.called.at_beginning(),
                swings_in_words(band.swings)
            ),
            None if self.bold.is_none() => "Speed against time from contact: no swing yet.".to_owned(),
            None => "Speed against time from contact.".to_owned(),
        };
        let rows = (-(BEFORE_MS.1 / ROW_MS) as i32..=(AFTER_MS / ROW_MS) as i32).map(|k| f64::from(k) * ROW_MS);
        table(&caption, &heads, rows.filter_map(|time_ms| self.row(time_ms, unit)))
    }

    /// `None` where nothing is known, or before what the chart shows.
    fn row(&self, time_ms: f64, unit: Unit) -> Option<Vec<String>> {
        let time_s = time_ms * 1e-3;
        let value =
            |times_s: &[f64], values: &[f64]| Some(rounded(value_at(times_s, values, time_s)? * unit.factor, 1));
        let range = |band: &Band, ranges: &Ranges| {
            let [low, middle, high] = ranges.each().map(|values| value(&band.times_s, values));
            Some(format!("{} ({} to {})", middle?, low?, high?))
        };
        let mut cells = Vec::new();
        for hands in [false, true] {
            if let Some(Drawn { curves, .. }) = self.bold {
                let speed_mps = if hands { &curves.hand_speed_mps } else { &curves.bat_speed_mps };
                cells.push(value(&curves.times_s, speed_mps));
            }
            if let Some(band) = self.then {
                cells.push(range(band, if hands { &band.hand_speed_mps } else { &band.bat_speed_mps }));
            }
        }
        let is_shown = time_ms >= -BEFORE_MS.0 || self.start_ms().is_some_and(|start_ms| time_ms >= start_ms - ROW_MS);
        (is_shown && cells.iter().any(Option::is_some)).then(|| {
            let cells = cells.into_iter().map(|cell| cell.unwrap_or_else(|| "–".to_owned()));
            std::iter::once(rounded(time_ms, 0)).chain(cells).collect()
        })
    }
}

fn places(times_s: &[f64], speed_mps: &[f64], unit: Unit, field: &Field) -> Vec<(f64, f64)> {
    let slow = times_s.iter().zip(speed_mps).filter(|(_, speed)| speed.abs() < FASTEST_MPS);
    field.places(slow.map(|(time_s, speed)| (time_s * 1e3, speed * unit.factor)))
}

fn lines(curves: &Curves, bold: bool, unit: Unit, field: &Field) -> Markup {
    html! {
        (line("hands", bold, places(&curves.times_s, &curves.hand_speed_mps, unit, field)))
        (line("sweet", bold, places(&curves.times_s, &curves.bat_speed_mps, unit, field)))
    }
}

fn medians(band: &Band, unit: Unit, field: &Field) -> Markup {
    html! {
        (line("hands middle", false, places(&band.times_s, &band.hand_speed_mps.middle, unit, field)))
        (line("sweet middle", false, places(&band.times_s, &band.bat_speed_mps.middle, unit, field)))
    }
}

/// Between the 10th and the 90th percentile.
fn shades(band: &Band, unit: Unit, field: &Field) -> Markup {
    let between = |class: &str, ranges: &Ranges| {
        let edge = |values| places(&band.times_s, values, unit, field);
        shade(class, edge(&ranges.high), edge(&ranges.low))
    };
    html! { (between("sweet", &band.bat_speed_mps)) (between("hands", &band.hand_speed_mps)) }
}
