use super::*;
use crate::compare::conditions::Condition;
use crate::compare::numbers::{Amounts, Answer, Difference, Group, Needed};
use crate::report::svg::TrendPoint;

const HOSTILE: &str = "\"'><script>alert(1)</script>&amp;<b>";
/// The name of a namespace (W3C, *Namespaces in XML*): nothing is asked for there.
const NAMESPACE: &str = "xmlns=\"http://www.w3.org/2000/svg\"";

fn heard(what: &str) -> Heard {
    Heard { what: what.into(), swings: 30, days: 3, flagged: 2, excluded: 1 }
}

fn compared(metric: Metric, answer: Answer) -> Compared {
    let group = |mean| Group { swings: 30, days: 3, mean: Some(mean), swing_spread: Some(0.9), ..Group::default() };
    let difference = Difference {
        value: 1.0,
        standard_error: 0.2,
        degrees_of_freedom: 4.0,
        low: 0.5,
        high: 1.5,
        p: 0.007,
        p_holm: 0.03,
        p_same: 0.6,
        p_same_holm: 1.0,
    };
    Compared {
        metric,
        then: group(30.0),
        now: group(31.0),
        difference: Some(difference),
        amount: Amounts::default().0[metric.index()],
        answer,
    }
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
        curves: Some(ComparedCurves::default()),
        trends: vec![(Metric::BatSpeed, None)],
        trend_lines: vec![TrendLine { name: "right".into(), points: [1.0, 8.0, 15.0].map(point).into() }],
        words: "Hands first.".into(),
        homework: vec![Homework { drill: "Tee, low".into(), amount: "3 × 10".into(), ..Homework::default() }],
        flags: vec![(Flag::Gap, 2)],
        version: "swingd".into(),
        ..Handout::default()
    }
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
    let changed = part("What has changed</h2>", "<h2>");
    assert!(changed.contains("Bat speed at contact: 1.00 m/s faster (95 %: 0.50 to 1.50)"), "{changed}");
    assert!(part("What has not changed</h2>", "<h2>").contains("Attack angle: the same, within 3°"));
    let unsure = part("what it would take</h2>", "<h2>");
    assert!(unsure.contains("Timing window.") && unsure.contains("about 24 more swings on 2 more days"), "{unsure}");
    let instructor = handout(&example(Reader::Instructor));
    for words in [
        "Changed: up by",
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
            "then with Ash 33, now with Maple 32",
        ] {
            assert!(html.contains(words), "{words}: {html}");
        }
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
        assert_eq!(html.matches("Cannot tell: no swing of now").count(), Metric::COUNT, "{html}");
        if reader == Reader::Athlete {
            assert!(html.contains("Nothing can be said to have changed."), "{html}");
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
        let html = handout(&hostile);
        assert!(html.contains("&lt;script&gt;") && !html.contains("<script") && !html.contains("<b>\""), "{html}");
    }
}
