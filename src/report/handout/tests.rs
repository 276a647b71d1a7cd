use super::*;
use crate::ball::Bounds;
use crate::compare::conditions::Condition;
use crate::compare::numbers::{Answer, Group, Needed};
use crate::report::svg::TrendPoint;
use crate::report::svg::groups::tests::{line, mean_path};
use crate::report::then_now::LookedAt;
use crate::report::then_now::tests::{compared_in as compared, if_squared_up};

const HOSTILE: &str = "\"'><script>alert(1)</script>&amp;<b>";
/// The name of a namespace (W3C, *Namespaces in XML*): nothing is asked for there.
const NAMESPACE: &str = "xmlns=\"http://www.w3.org/2000/svg\"";

fn heard(what: &str) -> Heard {
    Heard { what: what.into(), swings: 30, days: 3, flagged: 2, excluded: 1 }
}

/// Faster now from 80 ms before contact on; by the way nowhere shown to differ.
fn curves() -> ComparedCurves {
    ComparedCurves {
        speed_by_time: line(-0.2, 28.4, 1.4),
        speed_by_distance: line(-2.4, 28.4, 0.3),
        by_rotation: line(-0.2, 22.0, 1.6),
        by_hands: line(-0.2, 7.0, -0.3),
        then_path: mean_path(0.45, 0.0),
        now_path: mean_path(0.6, 0.05),
        then_typical: Some(0),
        now_typical: Some(0),
    }
}

/// Two balls measured then, none now; what the typical swing of now would do.
fn balls() -> Vec<Balls> {
    let if_squared_up = Some(if_squared_up(Bounds::new(36.0, 42.0), Bounds::new(80.0, 110.0)));
    vec![
        Balls { name: "Then".into(), exit_speeds_mps: vec![30.0, 34.0], ..Balls::default() },
        Balls { name: "Now".into(), if_squared_up, ..Balls::default() },
    ]
}

fn example(reader: Reader) -> Handout {
    let needed = Some(Needed { swings: 24, days: 2 });
    let point = |day: f64| TrendPoint { day, when: format!("day {day}"), values: vec![30.0, 31.0] };
    Handout {
        reader,
        units: Units::Metric,
        nickname: "Kestrel".into(),
        made: "Nov 25, 2026".into(),
        then: heard("Oct 1 to Oct 8, 2026, right"),
        now: heard("Nov 1 to Nov 8, 2026, right"),
        numbers: vec![
            compared(Metric::BatSpeed, Answer::Changed),
            compared(Metric::AttackAngle, Answer::NotChanged),
            compared(Metric::TimingWindow, Answer::CannotTell { needed }),
        ],
        mismatches: vec![Mismatch {
            condition: Condition::Bat,
            then: vec![(Some("Ash 33".into()), 30)],
            now: vec![(Some("Maple 32".into()), 30)],
        }],
        curves: Some(curves()),
        looked_at: [looked_at(), LookedAt::default()],
        balls: balls(),
        trends: vec![(Metric::BatSpeed, None)],
        varied: vec!["Bat: Oct 1, 2026 with Ash 33; Nov 1, 2026 with Maple 32".into()],
        trend_lines: vec![TrendLine { name: "right".into(), points: [1.0, 8.0, 15.0].map(point).into() }],
        words: "Hands first.".into(),
        homework: vec![Homework { drill: "Tee, low".into(), amount: "3 × 10".into(), ..Homework::default() }],
        flags: vec![(Flag::Gap, 2)],
        version: "swingd".into(),
        ..Handout::default()
    }
}

fn looked_at() -> LookedAt {
    let typical = Some("Oct 8, 2026, 17:48:03, number 3 of 12 that count on that day".into());
    LookedAt { swings: 5000, drawn: 1000, cut_at: Some(5000), typical }
}

const READERS: [Reader; 2] = [Reader::Athlete, Reader::Instructor];

#[test]
fn nothing_is_asked_for_from_elsewhere_and_nothing_runs() {
    for reader in READERS {
        let html = handout(&example(reader)).replace(NAMESPACE, "");
        for word in ["http", "<script", "href", " src", "url(", "@import", "<link", "<form", "onclick", " id="] {
            assert!(!html.contains(word), "{word} in {html}");
        }
    }
}

#[test]
fn paper_of_any_size_is_left_to_the_printer() {
    let html = handout(&example(Reader::Athlete));
    let page = html.split("@page{").nth(1).unwrap().split('}').next().unwrap();
    assert!(page.contains("margin:") && page.contains("mm") && !page.contains("size"), "{page}");
    for rule in ["tr,figure,li,.care", "break-inside:avoid", "break-after:avoid"] {
        assert!(html.contains(rule), "{rule}");
    }
}

#[test]
fn every_answer_stands_in_both_versions() {
    let athlete = handout(&example(Reader::Athlete));
    let part = |from: &str, to: &str| athlete.split(from).nth(1).unwrap().split(to).next().unwrap().to_owned();
    let changed = part("What differs</h2>", "<h2>");
    assert!(changed.contains("Bat speed at contact: 1.00 m/s faster (95 %: 0.50 to 1.50)"), "{changed}");
    assert!(part("What does not differ</h2>", "<h2>").contains("Attack angle: the same, within 3°."));
    let unsure = part("What we cannot tell yet</h2>", "<h2>");
    assert!(unsure.contains("Timing window.") && unsure.contains("about 24 more swings on 2 more days"), "{unsure}");
    let alike = handout(&Handout { mismatches: Vec::new(), ..example(Reader::Athlete) });
    assert!(alike.contains("What has changed</h2>") && alike.contains("What has not changed</h2>"), "{alike}");
    let instructor = handout(&example(Reader::Instructor));
    for words in [
        "Changed, 1.00 m/s faster (95 %: 0.50 to 1.50)",
        "Not changed by more than",
        "Cannot tell",
        "0.007",
        "degrees of freedom",
        "samples are missing",
    ] {
        assert!(instructor.contains(words), "{words}: {instructor}");
    }
    for html in [athlete, instructor] {
        for words in [
            "Hands first.",
            "Tee, low",
            "3 × 10",
            "Stop when something hurts",
            "no diagnosis and no score",
            "A rise or a fall may come from this and not from the swing:",
            "Oct 1, 2026 with Ash 33; Nov 1, 2026 with Maple 32.",
            "then with Ash 33, now with Maple 32",
        ] {
            assert!(html.contains(words), "{words}: {html}");
        }
    }
}

#[test]
fn balls_are_told_as_measured_or_as_not_measured_with_what_was_taken() {
    for reader in READERS {
        let html = handout(&example(reader));
        let ball = html.split("<h2>The ball</h2>").nth(1).unwrap().split("<h2>").next().unwrap();
        for words in [
            "how fast the ball left the bat) of 2 balls: best 34.0 m/s, the middle one (median) 32.0 m/s",
            "Now: no ball was measured.",
            "not measured: its typical swing, a single one, would send the ball off at 36 to 42 m/s and carry it 80 to 110 m.",
            "a baseball; the round&#39;s pitch of 27 m/s; bats from light to heavy",
            "at sea level; no wind",
        ] {
            assert!(ball.replace('\'', "&#39;").contains(words), "{words}: {ball}");
        }
        assert!(!handout(&Handout { balls: Vec::new(), ..example(reader) }).contains("The ball"));
    }
    let drawn = handout(&example(Reader::Instructor));
    assert_eq!(drawn.matches("class=\"hit\"").count(), 2);
    assert!(drawn.contains("if squared up, not measured: 36 to 42"));
}

#[test]
fn speeds_and_ways_are_drawn_and_told() {
    for (reader, charts) in [(Reader::Athlete, 3), (Reader::Instructor, 10)] {
        let html = handout(&example(reader));
        assert_eq!(html.matches("<svg").count(), charts, "{reader:?}");
        assert!(html.matches("line now bold").count() >= 2 && !html.contains("no swing yet"), "{reader:?}");
    }
    let html = handout(&example(Reader::Instructor));
    for words in [
        "Against time, shown to differ: 80 to 0 ms before contact.",
        "Against the barrel's way still to go, nowhere shown to differ.",
        "more than 5000 swings were chosen, and the newest 5000 alone were read; curves are of 1000 of 5000 swings",
        "that of Oct 8, 2026, 17:48:03, number 3 of 12 that count on that day.",
    ] {
        assert!(html.contains(words), "{words}: {html}");
    }
    let all = Handout {
        numbers: Metric::ALL.map(|one| compared(one, Answer::Changed)).into(),
        ..example(Reader::Instructor)
    };
    assert_eq!(handout(&all).matches("aria-label=\"Has it changed?\"").count(), 2, "none as high as a sheet");
}

#[test]
fn the_athlete_reads_what_each_number_is() {
    let html = handout(&example(Reader::Athlete));
    for metric in [Metric::BatSpeed, Metric::AttackAngle, Metric::TimingWindow] {
        assert!(html.contains(crate::report::words::plainly(metric)), "{metric:?}");
    }
}

#[test]
fn of_one_lesson_it_says_that_nothing_can_be_told() {
    for reader in READERS {
        let alone = |metric: Metric| Compared {
            now: Group::default(),
            difference: None,
            ..compared(metric, Answer::CannotTell { needed: None })
        };
        let few = Handout {
            now: Heard { what: "no day yet".into(), ..Heard::default() },
            numbers: Metric::ALL.map(alone).into(),
            trend_lines: Vec::new(),
            curves: None,
            ..example(reader)
        };
        let html = handout(&few);
        assert_eq!(html.matches("Cannot tell: none of the later swings").count(), Metric::COUNT, "{html}");
        if reader == Reader::Athlete {
            assert!(html.contains("Nothing that was asked about can be said to have changed."), "{html}");
        }
        assert!(!handout(&Handout { reader, ..Handout::default() }).is_empty());
    }
}

#[test]
fn words_from_people_are_words() {
    for reader in READERS {
        let mut hostile = example(reader);
        for text in [&mut hostile.nickname, &mut hostile.words, &mut hostile.then.what] {
            *text = HOSTILE.into();
        }
        hostile.mismatches[0].then[0].0 = Some(HOSTILE.into());
        let all = || HOSTILE.to_owned();
        hostile.homework = vec![Homework { drill: all(), implement: all(), amount: all(), words: all() }];
        hostile.trend_lines[0].name = HOSTILE.into();
        hostile.varied = vec![all()];
        let html = handout(&hostile);
        assert!(html.contains("&lt;script&gt;") && !html.contains("<script") && !html.contains("<b>\""), "{html}");
    }
}
