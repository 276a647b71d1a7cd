//! The text format 0.0.4 of Prometheus ("Exposition formats", prometheus.io/docs/instrumenting/exposition_formats).

use super::{BUCKETS_S, Requests};
use std::collections::BTreeMap;
use std::fmt::{Display, Write};

/// The media type of what [`Text`] writes.
pub const MEDIA_TYPE: &str = "text/plain; version=0.0.4; charset=utf-8";

/// Labels of a value.
type Labels<'a> = &'a [(&'a str, &'a str)];

/// Metrics as they are written, one after the other.
#[derive(Debug, Default)]
pub struct Text(String);

impl Text {
    /// A metric with its values: its name, its type, what it is, and for each value its labels.
    pub fn metric<V: Display>(&mut self, name: &str, kind: &str, help: &str, values: &[(Labels<'_>, V)]) -> &mut Self {
        self.head(name, kind, help);
        for (labels, value) in values {
            self.value(name, labels, value);
        }
        self
    }

    /// A metric with one value.
    pub fn one(&mut self, name: &str, kind: &str, help: &str, value: impl Display) -> &mut Self {
        self.metric(name, kind, help, &[(&[], value)])
    }

    /// Requests, and how long they took.
    pub fn requests(&mut self, all: &BTreeMap<(String, &'static str), Requests>) -> &mut Self {
        let name = "swingd_http_requests_total";
        self.head(name, "counter", "Requests that were answered.");
        for ((route, method), of) in all {
            for (status, count) in &of.of_status {
                self.value(name, &[("route", route), ("method", method), ("status", &status.to_string())], count);
            }
        }
        let name = "swingd_http_request_duration_seconds";
        self.head(name, "histogram", "Time until the answer began.");
        for ((route, method), of) in all {
            let mut count = 0;
            for (end_s, within) in BUCKETS_S.iter().zip(of.in_bucket) {
                count += within;
                let end = end_s.to_string();
                let labels = [("route", route.as_str()), ("method", method), ("le", &end)];
                self.value(&format!("{name}_bucket"), &labels, count);
            }
            let total: u64 = of.of_status.values().sum();
            let labels = [("route", route.as_str()), ("method", method), ("le", "+Inf")];
            self.value(&format!("{name}_bucket"), &labels, total);
            let labels = [("route", route.as_str()), ("method", *method)];
            self.value(&format!("{name}_sum"), &labels, of.sum_s);
            self.value(&format!("{name}_count"), &labels, total);
        }
        self
    }

    /// All of it.
    pub fn done(&mut self) -> String {
        std::mem::take(&mut self.0)
    }

    fn head(&mut self, name: &str, kind: &str, help: &str) {
        self.0 += &format!("# HELP {name} {}\n# TYPE {name} {kind}\n", help.replace('\\', "\\\\").replace('\n', "\\n"));
    }

    fn value(&mut self, name: &str, labels: Labels<'_>, value: impl Display) {
        let quoted = |text: &str| text.replace('\\', "\\\\").replace('"', "\\\"").replace('\n', "\\n");
        let labels: Vec<_> = labels.iter().map(|(name, value)| format!("{name}=\"{}\"", quoted(value))).collect();
        let labels = if labels.is_empty() { String::new() } else { format!("{{{}}}", labels.join(",")) };
        // Writing to text cannot fail.
        let _ = writeln!(self.0, "{name}{labels} {value}");
    }
}

#[cfg(test)]
mod tests {
    use super::super::Metrics;
    use super::*;
    use std::time::Duration;

    #[test]
    fn text_is_as_the_format_says() {
        let mut text = Text::default();
        text.one("swingd_a_seconds", "gauge", "Of a \\ and\na break.", 1.5);
        text.metric("swingd_b_total", "counter", "B.", &[(&[("k", "a\"b\\c\nd")], 1)]);
        let expected = "# HELP swingd_a_seconds Of a \\\\ and\\na break.\n# TYPE swingd_a_seconds gauge\n\
                        swingd_a_seconds 1.5\n# HELP swingd_b_total B.\n# TYPE swingd_b_total counter\n\
                        swingd_b_total{k=\"a\\\"b\\\\c\\nd\"} 1\n";
        assert_eq!(text.done(), expected);
    }

    #[test]
    fn buckets_hold_those_below_them_too() {
        let metrics = Metrics::new(0.0);
        for ms in [1, 15, 40_000] {
            metrics.answered("/v1/bats", "GET", 200, Duration::from_millis(ms));
        }
        let mut text = Text::default();
        let text = text.requests(&metrics.requests()).done();
        let of = |le: &str| format!("_bucket{{route=\"/v1/bats\",method=\"GET\",le=\"{le}\"}}");
        for (le, count) in [("0.002", 1), ("0.01", 1), ("0.02", 2), ("30", 2), ("+Inf", 3)] {
            assert!(text.contains(&format!("{} {count}\n", of(le))), "{le}: {text}");
        }
        assert!(text.contains("_sum{route=\"/v1/bats\",method=\"GET\"} 40.016\n"), "{text}");
        assert!(text.contains("_total{route=\"/v1/bats\",method=\"GET\",status=\"200\"} 3\n"), "{text}");
    }
}
