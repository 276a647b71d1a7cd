//! Numbers as they are shown against those of the API.

use serde_json::Value;

/// Every row (key, value, half the width of the 95 % interval, unit) is the API's number of that swing in that unit, to half a digit;
/// how many there are.
pub fn agree(rows: &Value, swing: &Value) -> usize {
    let rows = rows.as_array().expect("rows");
    for row in rows {
        let text = |k: usize| row[k].as_str().unwrap_or_else(|| panic!("text: {row}"));
        let (key, metric) = (text(0), &swing["metrics"][text(0)]);
        let factor = factor(text(3));
        let of = |part: &str| metric[part].as_f64().unwrap_or_else(|| panic!("{key}: {metric}")) * factor;
        is_rounded(text(1), of("value"), key);
        is_rounded(text(2), of("sigma") * 1.96, key);
    }
    rows.len()
}

/// From the API's unit to the one that is shown (NIST SP 811, appendix B).
fn factor(unit: &str) -> f64 {
    match unit {
        "mph" => 1.0 / 0.44704,
        "ft" => 1.0 / 0.3048,
        "m/s" | "m" | "ms" | "°" | "°/s" => 1.0,
        _ => panic!("no unit: {unit:?}"),
    }
}

fn is_rounded(shown: &str, value: f64, key: &str) {
    let shown = shown.trim().replace('−', "-");
    let digits = shown.split_once('.').map_or(0, |(_, digits)| digits.len());
    let half_a_digit = 0.5 * 10f64.powi(-(digits as i32));
    let number: f64 = shown.parse().unwrap_or_else(|_| panic!("{key}: {shown:?} is no number"));
    assert!((number - value).abs() <= half_a_digit * 1.001, "{key}: {shown} is shown, but it is {value}");
}
