//! Then and now, and a lesson's film: what an instructor asks, and that the answers on the page are those of the API.

use crate::past::{import, practice};
use crate::support::cage::{Cage, Plays, visit};
use serde_json::{Value, json};
use std::process::Command;

/// Key, answer, and both means of each number; the means as they are written.
const TOLD: &str = "return [...document.querySelectorAll('.told > [data-metric]')].map((row) => [row.dataset.metric, \
    row.querySelector('.answer').textContent, ...[...row.querySelectorAll('dl.facts .number')] \
    .map((at) => at.textContent).filter((text) => !text.includes('spread')).slice(0, 2)])";

/// The film begins so long before the first contact, s.
const LEAD_S: f64 = 4.0;

/// Half of the last place that is written.
fn half_a_place(written: &str) -> f64 {
    0.5 * 10f64.powi(-(written.split_once('.').map_or(0, |(_, decimals)| decimals.len()) as i32))
}

/// How many numbers the page and the API have alike.
fn agree(told: &Value, api: &Value) -> usize {
    let (told, api) = (told.as_array().expect("rows"), api["numbers"].as_array().expect("numbers"));
    assert_eq!(told.len(), api.len());
    let mut agreed = 0;
    for (row, of) in told.iter().zip(api) {
        assert_eq!(row[0], of["metric"]);
        for (at, group) in [(2, "then"), (3, "now")] {
            let written = row[at].as_str().expect("a mean").replace('\u{2212}', "-");
            let written = written.trim_end_matches(|one: char| !one.is_ascii_digit());
            let (shown, mean) =
                (written.parse::<f64>().expect("a number"), of[group]["mean"].as_f64().expect("a mean"));
            assert!((shown - mean).abs() <= half_a_place(written) * 1.000_001, "{row} {mean}");
            agreed += 1;
        }
    }
    agreed
}

/// A week before the practice another one, of another seed.
fn practice_before(cage: &Cage) {
    let out = cage.path("before");
    let mut synth = Command::new(env!("CARGO_BIN_EXE_swingd"));
    synth.args(["synth", "lesson", "--seed", "5", "--mcap", "--out"]).arg(&out);
    let made = synth.output().expect("a lesson");
    assert!(made.status.success(), "{made:?}");
    import(cage, &out.join("lesson-good-0005.mcap"), "2026-11-13T17:30:00Z");
}

#[tokio::test(flavor = "multi_thread")]
async fn two_days_are_compared_as_the_api_does_and_taken_home() {
    visit("then-now", Plays::Nothing, async |cage| {
        let practice = practice(cage).await;
        practice_before(cage);
        let browser = &cage.browser;
        cage.open(&format!("/athletes/{}", practice.athlete)).await;
        browser.press("Units:").await;
        browser.sees("m/s, m").await;
        browser.press("Then and now: has it changed?").await;
        browser.sees("Then, Nov 13, 2026").await;
        let asked = format!(
            "/v1/comparison?athlete={}&then_from=2026-11-13&then_to=2026-11-13&now_from=2026-11-20&now_to=2026-11-20",
            practice.athlete
        );
        let (told, api) = (browser.run(TOLD, &[]).await, cage.get(&asked).await);
        assert_eq!(agree(&told, &api), 28);
        // One day each: whatever the numbers are, nothing can be told.
        assert!(
            told.as_array().unwrap().iter().all(|row| row[1].as_str().unwrap().starts_with("Cannot tell")),
            "{told}"
        );
        // The instructor says what matters.
        browser.press("Say how much matters").await;
        browser.enter("Bat speed at contact", "0.7").await;
        browser.press("Keep the changes").await;
        browser.until("the amount", "return document.querySelector('input')?.value === '0.7'", &[]).await;
        assert_eq!(cage.get("/v1/amounts").await["amounts"][0]["amount"], 0.7);
        // A sheet, with the instructor's words and without a way to what is not on it.
        cage.open(&format!("/athletes/{}/then-and-now", practice.athlete)).await;
        browser.enter("Your words", "Stay tall <through> the ball.").await;
        browser.press("For athlete and parent").await;
        browser.sees("Stay tall <through> the ball.").await;
        browser.sees("What we cannot tell yet").await;
        assert_eq!(browser.run("return document.querySelectorAll('script, [href], [src]').length", &[]).await, 0);
        browser.is_accessible("the sheet to take home").await;
        assert!((1..=5).contains(&browser.prints().await), "sheets of paper");
    })
    .await;
}

/// Bursts of 3 ms over a faint noise, where balls were met.
fn sound(cracks_s: &[f64]) -> Vec<u8> {
    const RATE: u32 = 48_000;
    let spec =
        hound::WavSpec { channels: 1, sample_rate: RATE, bits_per_sample: 16, sample_format: hound::SampleFormat::Int };
    let (mut bytes, mut random) = (std::io::Cursor::new(Vec::new()), swingd::sim::Random::new(11));
    let mut writer = hound::WavWriter::new(&mut bytes, spec).expect("a header");
    let end_s = cracks_s.last().expect("a crack") + 3.0;
    for at in 0..(end_s * f64::from(RATE)) as usize {
        let at_s = at as f64 / f64::from(RATE);
        let since = cracks_s.iter().map(|crack_s| at_s - crack_s).filter(|since_s| (0.0..0.05).contains(since_s));
        let loudness: f64 = since.map(|since_s| (-since_s / 3e-3).exp()).sum();
        writer.write_sample((random.between(-1.0, 1.0) * (15_000.0 * loudness + 30.0)) as i16).expect("a sample");
    }
    writer.finalize().expect("an end");
    bytes.into_inner()
}

#[tokio::test(flavor = "multi_thread")]
async fn a_film_is_matched_with_the_lesson_and_its_captions_are_kept() {
    visit("film", Plays::Nothing, async |cage| {
        let practice = practice(cage).await;
        let contact_s = |swing: &Value| {
            let at: jiff::Timestamp = swing["contact_utc"].as_str().expect("a time").parse().expect("a time");
            at.as_microsecond() as f64 * 1e-6
        };
        let met = practice.swings.iter().filter(|swing| swing["contact"] == "ball");
        let contacts_s: Vec<f64> = met.map(contact_s).collect();
        let in_film: Vec<f64> = contacts_s.iter().map(|at_s| LEAD_S + at_s - contacts_s[0]).collect();
        let file = cage.path("clip.wav");
        std::fs::write(&file, sound(&in_film)).expect("a clip");
        let browser = &cage.browser;
        cage.open(&format!("/lessons/{}", practice.lesson)).await;
        browser.give("Sound track", &file).await;
        browser.press("Find the swings").await;
        browser.sees("Matched: ").await;
        browser.sees(&format!("{} of {} contacts in the clip have a crack", in_film.len(), in_film.len())).await;
        const TIMES: &str = "return [...document.querySelectorAll('#film-answer li')] \
            .filter((at) => !at.textContent.includes('no ball')).map((at) => parseFloat(at.textContent))";
        let times = browser.run(TIMES, &[]).await;
        let times: Vec<f64> = times.as_array().expect("times").iter().filter_map(Value::as_f64).collect();
        assert_eq!(times.len(), in_film.len());
        for (shown_s, true_s) in times.iter().zip(&in_film) {
            // Written to the millisecond; an onset is taken within half of one.
            assert!((shown_s - true_s).abs() <= 1.5e-3, "{shown_s} {true_s}");
        }
        const FILES: &str =
            "return [...document.querySelectorAll('#film-answer a[href^=\"blob:\"]')].map((at) => at.download)";
        assert_eq!(browser.run(FILES, &[]).await, json!(["swings.vtt", "contacts.csv"]));
        // A clip of something else is refused, in words.
        std::fs::write(&file, sound(&[1.0, 5.0, 9.5, 21.0])).expect("a clip");
        browser.give("Sound track", &file).await;
        browser.press("Find the swings").await;
        browser.sees("Not matched: ").await;
        assert_eq!(browser.run("return document.querySelectorAll('#film-answer a').length", &[]).await, json!(0));
    })
    .await;
}
