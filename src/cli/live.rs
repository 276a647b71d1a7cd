//! What happens, as lines in a terminal: swings as they are told, faults with their remedies.

use crate::daemon::hub::{FAULT, FAULT_CLEARED, News};
use crate::engine::metrics::Metric;
use crate::report::words::{HALF_WIDTH_95, Units};
use serde_json::Value;
use std::io::{self, Write};
use std::sync::Arc;
use tokio::sync::broadcast::Receiver;
use tokio::sync::broadcast::error::{RecvError, TryRecvError};

/// The few numbers that fit a line, and what they are called there.
const SHOWN: [(Metric, &str); 5] = [
    (Metric::BatSpeed, "bat"),
    (Metric::HandSpeed, "hands"),
    (Metric::TimeToContact, "to contact"),
    (Metric::AttackAngle, "attack"),
    (Metric::TimingWindow, "window"),
];

/// News as lines.
pub struct Lines {
    news: Receiver<Arc<News>>,
    units: Units,
}

impl Lines {
    /// From here on.
    pub fn new(news: Receiver<Arc<News>>, units: Units) -> Self {
        Self { news, units }
    }

    /// Prints what comes, on a thread that may wait; ends when nothing can come any more.
    ///
    /// # Errors
    /// If `out` cannot be written to.
    pub fn follow(&mut self, out: &mut dyn Write) -> io::Result<()> {
        loop {
            match self.news.blocking_recv() {
                Ok(news) => self.print(&news, out)?,
                Err(RecvError::Lagged(count)) => writeln!(out, "({count} lines left out)")?,
                Err(RecvError::Closed) => return Ok(()),
            }
        }
    }

    /// Prints what has come and was not printed yet.
    ///
    /// # Errors
    /// If `out` cannot be written to.
    pub fn drain(&mut self, out: &mut dyn Write) -> io::Result<()> {
        loop {
            match self.news.try_recv() {
                Ok(news) => self.print(&news, out)?,
                Err(TryRecvError::Lagged(count)) => writeln!(out, "({count} lines left out)")?,
                Err(TryRecvError::Empty | TryRecvError::Closed) => return Ok(()),
            }
        }
    }

    fn print(&self, news: &News, out: &mut dyn Write) -> io::Result<()> {
        let Ok(data) = serde_json::from_str::<Value>(&news.data) else { return Ok(()) };
        let line = match news.kind.as_str() {
            "swing" => swing_line(&data, self.units),
            FAULT => Some(format!("! {}{}; {}", sensor(&data), text(&data["cause"]), text(&data["remedy"]))),
            FAULT_CLEARED => Some(format!("  {}over: {}", sensor(&data), text(&data["cause"]))),
            _ => None,
        };
        if let Some(line) = line {
            writeln!(out, "{line}")?;
            out.flush()?;
        }
        Ok(())
    }
}

/// A swing when it is told first, and its final numbers; what later rests add is in the tables.
fn swing_line(data: &Value, units: Units) -> Option<String> {
    let told = &data["told"];
    let stage = text(&told["stage"]);
    if stage == "revised" {
        return None;
    }
    let number = told["number"].as_u64()? + 1;
    let met = if told["contact"] == "ball" { "ball" } else { "nothing" };
    let numbers: Vec<String> = SHOWN.iter().map(|(metric, name)| shown(told, *metric, name, units)).collect();
    let flags: Vec<&str> = told["flags"].as_array()?.iter().filter_map(Value::as_str).collect();
    let flags = if flags.is_empty() { String::new() } else { format!("  [{}]", flags.join(", ")) };
    Some(format!("swing {number:<3} {stage:<9} {met:<7}  {}{flags}", numbers.join("  ")))
}

fn shown(told: &Value, metric: Metric, name: &str, units: Units) -> String {
    let unit = units.of(metric);
    let estimate = &told["metrics"][metric.key()];
    let number = |key: &str| estimate[key].as_f64().map(|value| value * unit.factor);
    match (number("value"), number("sigma")) {
        (Some(value), Some(sigma)) => format!("{name} {value:.1} ± {:.1} {}", HALF_WIDTH_95 * sigma, unit.sign),
        _ => format!("{name} –"),
    }
}

fn sensor(data: &Value) -> String {
    data["sensor"].as_str().map_or(String::new(), |sensor| format!("{sensor}: "))
}

fn text(value: &Value) -> &str {
    value.as_str().unwrap_or("")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::daemon::hub::{Fault, Hub};
    use serde_json::json;

    #[test]
    fn swings_and_faults_are_lines_and_the_rest_is_not() {
        let hub = Hub::new(Vec::new(), 1, 10, Box::new(|_| {}));
        let mut lines = Lines::new(hub.subscribe(None).news, Units::Metric);
        let metrics = json!({"bat_speed_mps": {"value": 30.04, "sigma": 0.1}, "timing_window_ms": null});
        let told =
            |stage: &str| json!({"number": 0, "stage": stage, "contact": "ball", "metrics": metrics, "flags": ["gap"]});
        for stage in ["streaming", "final", "revised"] {
            hub.publish("swing", json!({"sensor": "knob", "told": told(stage)}).to_string());
        }
        hub.publish("rest", "{}".into());
        let (cause, remedy) = ("it is silent".to_owned(), "wake it".to_owned());
        hub.fault(Fault { sensor: Some("knob".into()), key: "no_data", cause, remedy });
        hub.clear(Some("knob"), "no_data");
        let mut out = Vec::new();
        lines.drain(&mut out).unwrap();
        let expected = "swing 1   streaming ball     bat 30.0 ± 0.2 m/s  hands –  to contact –  attack –  window –  [gap]\n\
                        swing 1   final     ball     bat 30.0 ± 0.2 m/s  hands –  to contact –  attack –  window –  [gap]\n\
                        ! knob: it is silent; wake it\n  knob: over: it is silent\n";
        assert_eq!(String::from_utf8(out).unwrap(), expected);
    }
}
