//! Which ball and which air are taken for what a ball would do if squared up: chosen in a form that works without the script.
//!
//! Nothing in the record says it: neither athlete, bat nor lesson has a sport or a place.

use crate::daemon::api::then_now::query::{filled_in, read, split};
use crate::daemon::api::{BallKind, Problem, SquaredUpParams};
use crate::daemon::record::squared_up::Asked;
use crate::report::squared_up::usual;
use crate::report::words::Units;
use maud::{Markup, html};
use serde::Deserialize;

/// What a query of a page says of it.
const KEYS: [&str; 5] = ["ball", "temperature_c", "temperature_f", "elevation_m", "elevation_ft"];
/// Metres in a foot, exact (NIST SP 811, appendix B).
const M_PER_FT: f64 = 0.3048;

/// As the form sends it, in the units of the page.
#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct Said {
    ball: Option<BallKind>,
    temperature_c: Option<f64>,
    temperature_f: Option<f64>,
    elevation_m: Option<f64>,
    elevation_ft: Option<f64>,
}

/// What is chosen.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct BallAndAir {
    params: SquaredUpParams,
    /// The same as it is computed with.
    pub asked: Asked,
}

impl BallAndAir {
    /// What a query chooses, and the query without that.
    ///
    /// # Errors
    /// If a number is none, or out of its range.
    pub fn of(query: &str) -> Result<(Self, String), Problem> {
        let (own, others) = split(query, &KEYS);
        let said: Said = read(&filled_in(&own))?;
        let params = SquaredUpParams {
            ball: said.ball,
            temperature_c: said.temperature_c.or(said.temperature_f.map(|degrees_f| (degrees_f - 32.0) / 1.8)),
            elevation_m: said.elevation_m.or(said.elevation_ft.map(|feet| feet * M_PER_FT)),
            ..SquaredUpParams::default()
        };
        Ok((Self { params, asked: params.asked()? }, others))
    }

    /// The same for another form, by the API's own keys.
    pub fn hidden(&self) -> Markup {
        let SquaredUpParams { ball, temperature_c, elevation_m, .. } = self.params;
        html! {
            @if let Some(ball) = ball { input type="hidden" name="ball" value=(word(ball)); }
            @if let Some(degrees) = temperature_c { input type="hidden" name="temperature_c" value=(degrees); }
            @if let Some(metres) = elevation_m { input type="hidden" name="elevation_m" value=(metres); }
        }
    }

    /// The form; `others` is what else the page was asked, kept as it is.
    pub fn form(&self, units: Units, others: &[(String, String)]) -> Markup {
        let [temperature, elevation] = self.fields(units);
        html! {
            details.choose.no-print data-key="ball-and-air" {
                summary { "Choose another ball, air or height" }
                p.faint { "Where nothing is chosen: " (usual(units)) "." }
                form method="get" {
                    @for (key, value) in others { input type="hidden" name=(key) value=(value); }
                    .fields {
                        label { span { "Ball" } select name="ball" {
                            @for (kind, words) in [(BallKind::Baseball, "baseball"), (BallKind::Softball, "softball, 12-inch")] {
                                option value=(word(kind)) selected[self.params.ball == Some(kind)] { (words) }
                            }
                        } }
                        (temperature.markup()) (elevation.markup())
                    }
                    button type="submit" { "Take these" }
                }
            }
        }
    }

    fn fields(&self, units: Units) -> [Field; 2] {
        let Asked { field, .. } = self.asked;
        let SquaredUpParams { temperature_c, elevation_m, .. } = self.params;
        let example = |ends: [f64; 2]| ends.map(plain).join(" to ");
        let usual_c = [field.temperature_c.low, field.temperature_c.high];
        match units {
            Units::Us => {
                let fahrenheit = |celsius: f64| 32.0 + 1.8 * celsius;
                let feet = |metres: f64| metres / M_PER_FT;
                [
                    Field {
                        label: "Air, °F",
                        key: "temperature_f",
                        value: temperature_c.map(fahrenheit),
                        example: example(usual_c.map(fahrenheit)),
                    },
                    Field {
                        label: "Above the sea, ft",
                        key: "elevation_ft",
                        value: elevation_m.map(feet),
                        example: plain(feet(field.elevation_m)),
                    },
                ]
            }
            Units::Metric => [
                Field { label: "Air, °C", key: "temperature_c", value: temperature_c, example: example(usual_c) },
                Field {
                    label: "Above the sea, m",
                    key: "elevation_m",
                    value: elevation_m,
                    example: plain(field.elevation_m),
                },
            ],
        }
    }
}

/// A number that may be left empty.
struct Field {
    label: &'static str,
    key: &'static str,
    value: Option<f64>,
    /// What is taken where it is empty.
    example: String,
}

impl Field {
    fn markup(&self) -> Markup {
        html! {
            label {
                span { (self.label) }
                input type="number" step="any" name=(self.key) value=[self.value.map(plain)] placeholder=(self.example);
            }
        }
    }
}

/// To a tenth, as a field takes it.
fn plain(value: f64) -> String {
    let text = format!("{value:.1}");
    text.strip_suffix(".0").unwrap_or(&text).to_owned()
}

fn word(ball: BallKind) -> &'static str {
    match ball {
        BallKind::Baseball => "baseball",
        BallKind::Softball => "softball",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::ball::Bounds;
    use crate::ball::kind::Kind;
    use crate::daemon::api::Kind as Problems;

    #[test]
    fn what_is_said_in_either_units_is_the_same_and_the_rest_is_left() {
        let (us, others) = BallAndAir::of("side=left&ball=softball&temperature_f=68&elevation_ft=5280&drill=").unwrap();
        assert_eq!((us.asked.kind, others.as_str()), (Kind::Softball, "side=left&drill="));
        // (68 − 32)/1.8 = 20; 5280 ft are a mile of 1609.344 m.
        assert!((us.asked.field.temperature_c.low - 20.0).abs() < 1e-9, "{us:?}");
        assert!((us.asked.field.elevation_m - 1609.344).abs() < 1e-9, "{us:?}");
        let again = us.form(Units::Us, &[]).into_string();
        for part in ["value=\"softball\" selected", "value=\"68\"", "value=\"5280\""] {
            assert!(again.contains(part), "{part}: {again}");
        }
        let metric = us.form(Units::Metric, &[]).into_string();
        assert!(metric.contains("value=\"20\"") && metric.contains("value=\"1609.3\""), "{metric}");
        let hidden = us.hidden().into_string();
        assert!(hidden.contains("name=\"elevation_m\"") && hidden.contains("value=\"softball\""), "{hidden}");
    }

    #[test]
    fn an_empty_form_takes_the_usual_and_says_it() {
        let (nothing, _) = BallAndAir::of("ball=&temperature_c=&elevation_m=").unwrap();
        assert_eq!((nothing.asked, nothing.hidden().into_string()), (Asked::default(), String::new()));
        assert_eq!(nothing.asked.field.temperature_c, Bounds::new(10.0, 30.0));
        let form = nothing.form(Units::Us, &[("side".into(), "<b>".into())]).into_string();
        for part in ["a baseball, air of 50 to 86 °F, at sea level", "placeholder=\"50 to 86\"", "value=\"&lt;b&gt;\""]
        {
            assert!(form.contains(part), "{part}: {form}");
        }
    }

    #[test]
    fn what_is_no_ball_and_no_air_is_refused() {
        for query in
            ["ball=cricket", "temperature_c=warm", "ball=softball&ball=baseball", "elevation_m=1&elevation_m=2"]
        {
            assert_eq!(BallAndAir::of(query).unwrap_err().kind, Problems::Malformed, "{query}");
        }
        for query in
            ["temperature_c=61", "temperature_f=-100", "elevation_ft=1e9", "elevation_m=NaN", "temperature_c=inf"]
        {
            assert_eq!(BallAndAir::of(query).unwrap_err().kind, Problems::Invalid, "{query}");
        }
    }
}
