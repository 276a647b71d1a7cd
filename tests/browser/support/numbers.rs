//! Numbers as they are shown against those of the API.

use serde_json::Value;

/// Every row (key, value, half the width of the 95 % interval, unit) is the API's number of that swing in that unit, to half a digit;
/// how many there are.
pub fn agree(rows: &Value, swing: &Value) -> usize {
    let rows = rows.as_array().expect("rows");
    rows.iter().for_each(|row| agrees(row, swing).unwrap_or_else(|why| panic!("{why}")));
    rows.len()
}

/// Whether every row is, where either may still change.
pub fn agree_now(rows: &Value, swing: &Value) -> bool {
    rows.as_array().is_some_and(|rows| rows.iter().all(|row| agrees(row, swing).is_ok()))
}

fn agrees(row: &Value, swing: &Value) -> Result<(), String> {
    let text = |k: usize| row[k].as_str().ok_or_else(|| format!("text: {row}"));
    let key = text(0)?;
    let (metric, factor) = (&swing["metrics"][key], factor(text(3)?)?);
    let of = |part: &str| metric[part].as_f64().map(|it| it * factor).ok_or_else(|| format!("{key}: {metric}"));
    is_rounded(text(1)?, of("value")?, key)?;
    is_rounded(text(2)?, of("sigma")? * 1.96, key)
}

/// From the API's unit to the one that is shown (NIST SP 811, appendix B).
fn factor(unit: &str) -> Result<f64, String> {
    match unit {
        "mph" => Ok(1.0 / 0.44704),
        "ft" => Ok(1.0 / 0.3048),
        "m/s" | "m" | "ms" | "°" | "°/s" => Ok(1.0),
        _ => Err(format!("no unit: {unit:?}")),
    }
}

fn is_rounded(shown: &str, value: f64, key: &str) -> Result<(), String> {
    let shown = shown.trim().replace('−', "-");
    let digits = shown.split_once('.').map_or(0, |(_, digits)| digits.len());
    let half_a_digit = 0.5 * 10f64.powi(-(digits as i32));
    let number: f64 = shown.parse().map_err(|_| format!("{key}: {shown:?} is no number"))?;
    let is_it = (number - value).abs() <= half_a_digit * 1.001;
    if is_it { Ok(()) } else { Err(format!("{key}: {shown} is shown, but it is {value}")) }
}
