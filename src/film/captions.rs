//! WebVTT captions (W3C Candidate Recommendation of 4 April 2019) with ready lines of text.

use std::fmt::Write;

/// A caption is shown so long before the contact, s.
const BEFORE_S: f64 = 0.5;
/// And so long after it, s, unless the next comes first.
const AFTER_S: f64 = 4.0;

/// What is shown at a contact.
#[derive(Clone, Debug, PartialEq)]
pub struct Caption {
    /// Film time of the contact, s.
    pub film_s: f64,
    /// Lines of text.
    pub lines: Vec<String>,
}

/// A WebVTT file with a cue a caption, in order of time. What lies before the clip's beginning is left out.
pub fn web_vtt(captions: &[Caption]) -> String {
    let mut shown: Vec<&Caption> =
        captions.iter().filter(|caption| caption.film_s >= 0.0 && caption.film_s < LATEST_S).collect();
    shown.sort_by(|a, b| a.film_s.total_cmp(&b.film_s));
    let mut text = "WEBVTT\n".to_owned();
    for (at, caption) in shown.iter().enumerate() {
        let begins_s = (caption.film_s - BEFORE_S).max(0.0);
        let next_s = shown.get(at + 1).map_or(f64::INFINITY, |next| next.film_s - BEFORE_S);
        // The end is after the beginning, as the standard asks, even of two contacts at one instant.
        let ends_s = (caption.film_s + AFTER_S).min(next_s).max(begins_s + 0.001);
        // Writing to a string cannot fail.
        let _ = write!(text, "\n{} --> {}\n", timestamp(begins_s), timestamp(ends_s));
        let lines: Vec<String> =
            caption.lines.iter().flat_map(|line| line.lines()).map(escaped).filter(|line| !line.is_empty()).collect();
        let _ = writeln!(text, "{}", if lines.is_empty() { "–".to_owned() } else { lines.join("\n") });
    }
    text
}

/// Nothing is later in a film, s.
const LATEST_S: f64 = 1e6;

/// HH:MM:SS.mmm.
fn timestamp(at_s: f64) -> String {
    let all_ms = (at_s * 1000.0).round() as u64;
    let (ms, s, min, h) = (all_ms % 1000, all_ms / 1000 % 60, all_ms / 60_000 % 60, all_ms / 3_600_000);
    format!("{h:02}:{min:02}:{s:02}.{ms:03}")
}

/// Text that a cue may hold: no character of a tag or an entity, so no "-->" either.
fn escaped(line: &str) -> String {
    let mut text = String::with_capacity(line.len());
    for character in line.trim().chars() {
        match character {
            '&' => text.push_str("&amp;"),
            '<' => text.push_str("&lt;"),
            '>' => text.push_str("&gt;"),
            '\0' => text.push('\u{fffd}'),
            other => text.push(other),
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    fn caption(film_s: f64, lines: &[&str]) -> Caption {
        Caption { film_s, lines: lines.iter().map(|&line| line.to_owned()).collect() }
    }

    #[test]
    fn a_file_reads_as_the_standard_has_it() {
        let text = web_vtt(&[caption(3725.25, &["Swing 2"]), caption(0.2, &["Swing 1", "bat speed 61.3 ± 0.4 mph"])]);
        let expected = "WEBVTT\n\n00:00:00.000 --> 00:00:04.200\nSwing 1\nbat speed 61.3 ± 0.4 mph\n\n\
                        01:02:04.750 --> 01:02:09.250\nSwing 2\n";
        assert_eq!(text, expected);
    }

    #[test]
    fn text_can_neither_end_a_cue_nor_begin_a_tag() {
        let text = web_vtt(&[caption(1.0, &["a --> b & <c>\n\n\nd", "", "\r\n"])]);
        assert_eq!(text, "WEBVTT\n\n00:00:00.500 --> 00:00:05.000\na --&gt; b &amp; &lt;c&gt;\nd\n");
        assert_eq!(web_vtt(&[caption(1.0, &[])]), "WEBVTT\n\n00:00:00.500 --> 00:00:05.000\n–\n");
    }

    #[test]
    fn a_cue_ends_where_the_next_begins_and_never_before_it_begins() {
        let text = web_vtt(&[caption(2.0, &["a"]), caption(4.0, &["b"]), caption(4.0, &["c"])]);
        let times: Vec<&str> = text.lines().filter(|line| line.contains("-->")).collect();
        let expected =
            ["00:00:01.500 --> 00:00:03.500", "00:00:03.500 --> 00:00:03.501", "00:00:03.500 --> 00:00:08.000"];
        assert_eq!(times, expected);
    }

    #[test]
    fn what_is_no_time_of_the_film_is_left_out() {
        let hostile = [f64::NAN, f64::INFINITY, -1.0, 1e300].map(|film_s| caption(film_s, &["x"]));
        assert_eq!(web_vtt(&hostile), "WEBVTT\n");
    }
}
