use super::*;
use proptest::prelude::*;
use std::collections::BTreeMap;
use std::io;

/// Files in memory; fails at one of its calls, if told so.
#[derive(Default)]
struct Memory {
    files: BTreeMap<String, Vec<u8>>,
    open: Option<(String, Vec<u8>)>,
    calls: usize,
    fails_at: Option<usize>,
    longest: usize,
}

impl Memory {
    fn call(&mut self) -> io::Result<()> {
        self.calls += 1;
        if Some(self.calls) == self.fails_at { Err(io::ErrorKind::StorageFull.into()) } else { Ok(()) }
    }

    fn text(&self, path: &str) -> &str {
        std::str::from_utf8(self.files.get(path).unwrap_or_else(|| panic!("no {path}"))).unwrap()
    }
}

impl Sink for Memory {
    fn begin(&mut self, path: &str) -> io::Result<()> {
        self.call()?;
        assert!(self.open.is_none() && !self.files.contains_key(path), "{path}");
        self.open = Some((path.to_owned(), Vec::new()));
        Ok(())
    }

    fn write(&mut self, bytes: &[u8]) -> io::Result<()> {
        self.call()?;
        self.longest = self.longest.max(bytes.len());
        self.open.as_mut().unwrap().1.extend(bytes);
        Ok(())
    }

    fn end(&mut self) -> io::Result<()> {
        self.call()?;
        self.files.extend(self.open.take());
        Ok(())
    }
}

fn label(text: &str) -> Label {
    Label::new(text).unwrap()
}

fn session(text: &str) -> Session {
    Session { label: label(text), kind: SessionKind::Practice, start_utc_ns: Some(0) }
}

fn run() -> Run {
    Run { sampling_frequency_hz: 100.0, ..Run::default() }
}

fn reading(time_s: f64) -> Reading {
    Reading { time_s, gyro_radps: [1.0, 2.0, 3.0], accel_mps2: [0.0, f64::NAN, 9.5], accel_hi_mps2: None }
}

fn text_column() -> EventColumn {
    EventColumn { name: "note".into(), long_name: "Note".into(), description: "In words".into(), units: None }
}

fn event(onset_s: f64, note: &str) -> Event {
    Event { onset_s, duration_s: 0.15, trial_type: TrialType::SwingBall, values: vec![Value::Text(note.into())] }
}

/// One participant with one recording.
fn written(
    sink: Memory,
    person: &Participant,
    run: &Run,
    readings: Vec<Reading>,
    events: &[Event],
) -> Result<(Memory, RunCounts), BidsError> {
    let about = About { name: "Some swings".into(), ..About::default() };
    let mut data_set = BidsWriter::new(sink, &about, vec![text_column()])?;
    let mut participant = data_set.participant(person)?;
    let mut at = participant.session(&session("p1"))?;
    let counts = at.run(run, readings, events)?;
    at.finish()?;
    participant.finish()?;
    Ok((data_set.finish()?, counts))
}

fn wren() -> Participant {
    Participant::new(label("a1"))
}

const RUN: &str = "sub-a1/ses-p1/motion/sub-a1_ses-p1_task-batting_tracksys-imu_run-01";

#[test]
fn a_label_is_letters_and_digits_and_an_id_tells_no_time() {
    for bad in ["", "a-b", "a_b", "ä", "a/b", "..", " ", &"x".repeat(65)] {
        assert!(matches!(Label::new(bad), Err(BidsError::Label { .. })), "{bad}");
        assert!(Label::new(bad).unwrap_err().to_string().contains("expected 1 to 64 letters and digits"));
    }
    assert_eq!(Label::of_id("019ab3c4-7d10-7a5e-8123-9f00aa55ee77").unwrap().as_str(), "9f00aa55ee77");
    assert_eq!(Label::of_id("k-7").unwrap().as_str(), "k7");
    assert!(Label::of_id("-é-").is_err());
}

#[test]
fn a_name_is_told_only_if_it_is_given() {
    let (sink, _) = written(Memory::default(), &wren(), &run(), vec![reading(0.0)], &[]).unwrap();
    let head = "participant_id\tspecies\tage\tsex\thandedness\tbats\n";
    assert_eq!(sink.text("participants.tsv"), format!("{head}sub-a1\thomo sapiens\tn/a\tn/a\tn/a\tn/a\n"));
    assert!(!sink.text("participants.json").contains("nickname"));
    let person = Participant {
        nickname: Some("Wren\tthe\n2nd".into()),
        age_years: Some(93),
        sex: Some(Sex::Female),
        handedness: Some(Handedness::Both),
        bats: Some(Bats::Both),
        ..wren()
    };
    let (sink, _) = written(Memory::default(), &person, &run(), vec![reading(0.0)], &[]).unwrap();
    let row = "sub-a1\thomo sapiens\t89\tfemale\tambidextrous\tboth\tWren the 2nd\n";
    assert_eq!(sink.text("participants.tsv").lines().nth(1), row.lines().next());
    assert_eq!((Participant::age_in(2026, 2014), Participant::age_in(2026, 2027)), (Some(12), None));
    assert_eq!(Participant::age_in(2026, 1900), Some(OLDEST_AGE_YEARS));
}

#[test]
fn rows_are_the_samples_that_came_and_events_are_sorted() {
    let readings = [f64::NAN, 5.0, 5.01, 5.01, 4.0, 5.02, f64::INFINITY, 5.05].map(reading).to_vec();
    let events = [event(5.03, "late"), event(4.9, "\tearly\n"), event(f64::NAN, "nowhere"), event(5.0, " ")];
    let (sink, counts) = written(Memory::default(), &wren(), &run(), readings, &events).unwrap();
    let rest = "\t1\t2\t3\t0\tn/a\t9.5\n";
    let latencies = ["0.000000", "0.010000", "0.020000", "0.050000"];
    assert_eq!(sink.text(&format!("{RUN}_motion.tsv")), latencies.map(|at| format!("{at}{rest}")).concat());
    let expected = "onset\tduration\ttrial_type\tnote\n-0.1\t0.15\tswing_ball\tearly\n0\t0.15\tswing_ball\tn/a\n0.03\t0.15\tswing_ball\tlate\n";
    assert_eq!(sink.text(&format!("{RUN}_events.tsv")), expected);
    assert_eq!((counts.samples, counts.unplaced_samples, counts.gaps), (4, 4, 1));
    assert_eq!((counts.events, counts.unplaced_events), (3, 1));
    assert!((counts.effective_hz.unwrap() - 100.0).abs() < 1e-6 && (counts.duration_s - 0.05).abs() < 1e-9);
}

#[test]
fn what_cannot_be_used_is_refused_in_words() {
    let refused = |run: Run, readings: Vec<Reading>, events: &[Event]| {
        written(Memory::default(), &wren(), &run, readings, events).map(|_| ()).unwrap_err().to_string()
    };
    for found_hz in [0.0, -1.0, f64::NAN, f64::INFINITY] {
        let run = Run { sampling_frequency_hz: found_hz, ..Run::default() };
        assert!(refused(run, vec![reading(0.0)], &[]).contains("expected a number above 0"));
    }
    assert!(refused(run(), vec![reading(f64::NAN)], &[]).contains("expected at least one"));
    let short = Event { values: Vec::new(), ..event(0.0, "") };
    assert!(refused(run(), vec![reading(0.0)], &[short]).contains("0 values; expected 1"));
    for bad in ["onset", "Note", "a b", "", "1a"] {
        let column = EventColumn { name: bad.into(), ..text_column() };
        let refused = BidsWriter::new(Memory::default(), &About::default(), vec![column]).map(|_| ());
        assert!(matches!(refused, Err(BidsError::Column { .. })), "{bad}");
    }
}

#[test]
fn labels_are_taken_once_and_nothing_empty_is_listed() {
    let mut data_set = BidsWriter::new(Memory::default(), &About::default(), Vec::new()).unwrap();
    let mut participant = data_set.participant(&wren()).unwrap();
    let empty = participant.session(&session("empty")).unwrap();
    empty.finish().unwrap();
    let mut at = participant.session(&session("p1")).unwrap();
    at.run(&run(), [reading(0.0)], &[]).unwrap();
    at.run(&run(), [reading(0.0)], &[]).unwrap();
    at.finish().unwrap();
    assert!(matches!(participant.session(&session("p1")), Err(BidsError::Doubled { label }) if label == "ses-p1"));
    participant.finish().unwrap();
    data_set.participant(&Participant::new(label("b2"))).unwrap().finish().unwrap();
    assert!(matches!(data_set.participant(&wren()), Err(BidsError::Doubled { label }) if label == "sub-a1"));
    let sink = data_set.finish().unwrap();
    assert_eq!(
        sink.text("sub-a1/sub-a1_sessions.tsv"),
        "session_id\tacq_time\tkind\nses-p1\t1970-01-01T00:00:00.000000Z\tpractice\n"
    );
    assert_eq!(sink.text("participants.tsv").lines().count(), 2);
    assert!(sink.files.contains_key(&format!("{}_motion.tsv", RUN.replace("run-01", "run-02"))));
    let nothing = BidsWriter::new(Memory::default(), &About::default(), Vec::new()).unwrap();
    assert!(matches!(nothing.finish().map(|_| ()), Err(BidsError::NoRun)));
}

#[test]
fn a_sink_that_fails_at_any_call_is_told_of_with_the_file() {
    let readings: Vec<Reading> = (0..3000).map(|k| reading(f64::from(k) * 0.01)).collect();
    let whole = written(Memory::default(), &wren(), &run(), readings.clone(), &[event(1.0, "x")]).unwrap().0;
    assert!(whole.longest < PIECE_BYTES + 512 && whole.text(&format!("{RUN}_motion.tsv")).len() > PIECE_BYTES);
    for call in 1..=whole.calls {
        let sink = Memory { fails_at: Some(call), ..Memory::default() };
        match written(sink, &wren(), &run(), readings.clone(), &[event(1.0, "x")]).map(|_| ()) {
            Err(BidsError::Write { path, .. }) => assert!(whole.files.contains_key(&path), "{path}"),
            other => panic!("call {call}: {other:?}"),
        }
    }
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 64, failure_persistence: None, ..ProptestConfig::default() })]

    /// Whatever a sensor sent, every row has as many cells as there are channels, each a finite number or `n/a`.
    #[test]
    fn any_readings_make_a_whole_table(
        numbers in prop::collection::vec((any::<f64>(), any::<f64>(), any::<Option<f64>>()), 1..40),
        has_accel_hi: bool,
        note in ".{0,30}",
    ) {
        let reading = |(time_s, value, hi): &(f64, f64, Option<f64>)| Reading {
            time_s: *time_s,
            gyro_radps: [*value; 3],
            accel_mps2: [0.0, -*value, *value],
            accel_hi_mps2: hi.map(|hi| [hi; 3]),
        };
        let readings: Vec<Reading> = numbers.iter().map(reading).collect();
        let run = Run { has_accel_hi, ..run() };
        match written(Memory::default(), &wren(), &run, readings, &[event(1.0, &note)]) {
            Ok((sink, counts)) => {
                let channels = sink.text(&format!("{RUN}_channels.tsv")).lines().count() - 1;
                let text = sink.text(&format!("{RUN}_motion.tsv"));
                prop_assert_eq!(text.lines().count() as u64, counts.samples);
                for line in text.lines() {
                    let cells: Vec<&str> = line.split('\t').collect();
                    prop_assert_eq!(cells.len(), channels);
                    let good = |cell: &&str| *cell == "n/a" || cell.parse::<f64>().is_ok_and(f64::is_finite);
                    prop_assert!(cells.iter().all(good), "{line}");
                }
                let events = sink.text(&format!("{RUN}_events.tsv"));
                prop_assert!(events.lines().all(|line| line.split('\t').count() == 4), "{events:?}");
            }
            Err(error) => prop_assert!(matches!(error, BidsError::NoSample), "{error}"),
        }
    }
}
