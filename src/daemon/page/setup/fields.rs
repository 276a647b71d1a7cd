//! Fields of forms, named as the API's bodies are. What is shown is in the units of the page; the script sends the API's.

pub use crate::daemon::page::words::problem;
use crate::report::words::Units;
use maud::{Markup, html};

/// Metres in an inch, exact (NIST SP 811, appendix B).
const M_PER_IN: f64 = 0.0254;
/// Kilograms in an ounce avoirdupois, exact (the same).
const KG_PER_OZ: f64 = 0.028_349_523_125;

/// A unit in which a quantity of the API is shown.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Shown {
    /// Its sign.
    pub sign: &'static str,
    /// So many of the API's unit are one of it.
    pub factor: f64,
    /// Decimals that are shown.
    pub decimals: usize,
}

/// A bat's lengths and heights, m in the API.
pub fn length(units: Units) -> Shown {
    match units {
        Units::Us => Shown { sign: "in", factor: M_PER_IN, decimals: 2 },
        Units::Metric => Shown { sign: "cm", factor: 0.01, decimals: 1 },
    }
}

/// A bat's mass, kg in the API.
pub fn mass(units: Units) -> Shown {
    match units {
        Units::Us => Shown { sign: "oz", factor: KG_PER_OZ, decimals: 2 },
        Units::Metric => Shown { sign: "g", factor: 0.001, decimals: 0 },
    }
}

/// Moments of inertia, kg·m² in the API.
pub fn moment(units: Units) -> Shown {
    match units {
        Units::Us => Shown { sign: "oz·in²", factor: KG_PER_OZ * M_PER_IN * M_PER_IN, decimals: 0 },
        Units::Metric => Shown { sign: "kg·m²", factor: 1.0, decimals: 4 },
    }
}

/// As it is, for numbers that have no unit.
pub const PLAIN: Shown = Shown { sign: "", factor: 1.0, decimals: 0 };

impl Shown {
    /// A value of the API as it is shown, without zeros at the end that say nothing.
    pub fn text(self, value: f64) -> String {
        let text = format!("{:.*}", self.decimals, value / self.factor);
        if text.contains('.') { text.trim_end_matches('0').trim_end_matches('.').to_owned() } else { text }
    }

    /// The same with its unit.
    pub fn with_unit(self, value: f64) -> String {
        format!("{} {}", self.text(value), self.sign)
    }
}

/// A number; empty where it is not known.
pub fn number(label: &str, name: &str, shown: Shown, value: Option<f64>, example: &str) -> Markup {
    html! {
        label {
            span { (label) @if !shown.sign.is_empty() { ", " (shown.sign) } }
            input type="text" inputmode="decimal" autocomplete="off" name=(name) data-as="number"
                data-factor=(shown.factor) data-exact=[value] value=[value.map(|value| shown.text(value))]
                pattern="[0-9]*[.,]?[0-9]+" title="a number" placeholder=(example);
        }
    }
}

/// A number of either sign.
pub fn number_signed(label: &str, name: &str, shown: Shown, value: Option<f64>) -> Markup {
    html! {
        label {
            span { (label) @if !shown.sign.is_empty() { ", " (shown.sign) } }
            input type="text" inputmode="decimal" autocomplete="off" name=(name) data-as="number"
                data-factor=(shown.factor) data-exact=[value] value=[value.map(|value| shown.text(value))]
                pattern="[-+]?[0-9]*[.,]?[0-9]+" title="a number" data-leave;
        }
    }
}

/// A line of text; `must`: it may not be empty.
pub fn line(label: &str, name: &str, value: &str, example: &str, must: bool) -> Markup {
    html! {
        label {
            span { (label) }
            input type="text" autocomplete="off" name=(name) value=(value) maxlength="100" placeholder=(example) required[must];
        }
    }
}

/// Free words.
pub fn note(value: &str) -> Markup {
    // An empty field is null, which the API takes for no note.
    html! { label.whole { span { "Note" } textarea name="note" rows="2" maxlength="2000" { (value) } } }
}

/// One of some words, each with what people read.
pub fn choice(label: &str, name: &str, words: &[(&str, &str)], chosen: &str) -> Markup {
    html! {
        label {
            span { (label) }
            select name=(name) {
                @for (word, read) in words { option value=(word) selected[*word == chosen] { (read) } }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_value_is_shown_in_its_unit_and_its_factor_leads_back() {
        assert_eq!(length(Units::Us).with_unit(0.8382), "33 in");
        assert_eq!(length(Units::Metric).with_unit(0.838), "83.8 cm");
        assert_eq!(mass(Units::Us).with_unit(0.85), "29.98 oz");
        assert_eq!(mass(Units::Metric).with_unit(0.85), "850 g");
        // 10,000 oz·in² by the factors of NIST SP 811: 0.028349523125 × 0.0254².
        assert_eq!(moment(Units::Us).with_unit(0.182_899_84), "10000 oz·in²");
        for shown in [length(Units::Us), length(Units::Metric), mass(Units::Us), mass(Units::Metric)] {
            let back: f64 = shown.text(0.8382).parse::<f64>().unwrap() * shown.factor;
            assert!((back - 0.8382).abs() <= 0.5 * shown.factor * 0.1_f64.powi(shown.decimals as i32), "{shown:?}");
        }
    }

    #[test]
    fn what_a_field_holds_is_escaped() {
        let hostile = r#""><script>alert(1)</script>"#;
        let drawn = html! { (line("a", "nickname", hostile, "", true)) (note(hostile)) }.into_string();
        assert!(!drawn.contains("<script"), "{drawn}");
    }
}
