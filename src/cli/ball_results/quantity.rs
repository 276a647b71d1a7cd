//! Numbers with their unit behind them: `92mph`, `310 ft`.

use std::str::FromStr;

/// A speed, m/s.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Speed {
    /// m/s.
    pub mps: f64,
}

/// A length, m.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Length {
    /// m.
    pub m: f64,
}

/// m/s in each; the mile and the foot are exact since 1959 (NIST SP 811, appendix B).
const SPEEDS: [(&str, f64); 3] = [("mph", 0.44704), ("kmh", 1.0 / 3.6), ("mps", 1.0)];
/// m in each.
const LENGTHS: [(&str, f64); 2] = [("ft", 0.3048), ("m", 1.0)];

impl FromStr for Speed {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let mps = read(text, &SPEEDS).ok_or("expected a number and its unit, such as 92mph, 148kmh or 41.1mps")?;
        Ok(Self { mps })
    }
}

impl FromStr for Length {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let m = read(text, &LENGTHS).ok_or("expected a number and its unit, such as 310ft or 94.5m")?;
        Ok(Self { m })
    }
}

fn read(text: &str, units: &[(&str, f64)]) -> Option<f64> {
    let (number, factor) = units.iter().find_map(|(unit, factor)| Some((text.strip_suffix(unit)?, factor)))?;
    let value = number.trim_end().parse::<f64>().ok().filter(|value| value.is_finite());
    value.map(|value| value * factor)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_number_has_its_unit_behind_it() {
        let mps = |text: &str| text.parse::<Speed>().ok().map(|speed| (speed.mps * 1e4).round() / 1e4);
        assert_eq!(mps("100mph"), Some(44.704));
        assert_eq!((mps("144 kmh"), mps("41.1mps")), (Some(40.0), Some(41.1)));
        let m = |text: &str| text.parse::<Length>().ok().map(|length| (length.m * 1e4).round() / 1e4);
        assert_eq!((m("100ft"), m("94.5m")), (Some(30.48), Some(94.5)));
        for text in ["92", "mph", "92 knots", "infmph", "NaNmph", "92mph "] {
            assert_eq!(mps(text), None, "{text}");
        }
        assert_eq!((m("30"), m("30mm")), (None, None));
    }
}
