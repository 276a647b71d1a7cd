//! Words held to what they are made of.

use super::*;
use crate::compare::numbers::{Amounts, Group};

/// Now minus then of a metric, in its unit, with its interval.
fn compared(metric: Metric, [value, low, high]: [f64; 3], answer: Answer) -> Compared {
    let group = Group { swings: 30, days: 3, ..Group::default() };
    let difference = Difference {
        value,
        standard_error: (high - low) / 4.0,
        degrees_of_freedom: 4.0,
        low,
        high,
        p: 0.5,
        p_holm: 0.5,
        p_same: 0.5,
        p_same_holm: 0.5,
    };
    Compared { metric, then: group, now: group, difference: Some(difference), amount: 0.894, answer }
}

const UNKNOWN: Answer = Answer::CannotTell { needed: None };

#[test]
fn a_change_says_how_much_in_which_direction_and_how_sure() {
    // 0.84939 m/s are 1.9 mph, by 0.44704 m/s to the mph.
    let [value, low, high] = [1.9, 0.8, 3.0].map(|mph: f64| mph * 0.44704);
    let faster = compared(Metric::BatSpeed, [value, low, high], Answer::Changed);
    assert_eq!(sentence(&faster, Units::Us), "Bat speed at contact: changed, 1.9 mph faster (95 %: 0.8 to 3.0)");
    let slower = compared(Metric::BatSpeed, [-value, -high, -low], Answer::Changed);
    assert_eq!(answer(&slower, Units::Us), "changed, 1.9 mph slower (95 %: 0.8 to 3.0)");
    assert_eq!(answer(&slower, Units::Metric), "changed, 0.85 m/s slower (95 %: 0.36 to 1.34)");
    let angle = compared(Metric::AttackAngle, [-4.0, -6.5, -1.5], Answer::Changed);
    assert_eq!(answer(&angle, Units::Us), "changed, 4.0° more downward (95 %: 1.5 to 6.5)");
}

#[test]
fn an_interval_that_holds_both_directions_names_both() {
    let either = compared(Metric::TimeToContact, [2.0, -3.0, 7.0], UNKNOWN);
    assert_eq!(difference(&either, Units::Us).unwrap(), "2.0 ms longer (95 %: 3.0 shorter to 7.0 longer)");
    let neither = compared(Metric::TimeToContact, [0.001, -3.0, 3.0], UNKNOWN);
    assert_eq!(difference(&neither, Units::Us).unwrap(), "0.0 ms apart (95 %: 3.0 shorter to 3.0 longer)");
}

#[test]
fn what_did_not_change_names_the_amount_that_would_matter() {
    let same = compared(Metric::BatSpeed, [0.0, -0.2, 0.2], Answer::NotChanged);
    assert_eq!(answer(&same, Units::Us), "not changed by more than 2 mph");
    assert_eq!(answer(&same, Units::Metric), "not changed by more than 0.89 m/s");
    assert_eq!(amount(Metric::TurnRate, 75.0, Units::Us), "75 °/s");
    assert_eq!(amount(Metric::AttackAngle, 3.0, Units::Us), "3°");
    for (metric, us, si) in [
        (Metric::BatSpeed, "2 mph", "0.89 m/s"),
        (Metric::HandSpeed, "1 mph", "0.45 m/s"),
        (Metric::PathLength, "0.33 ft", "0.1 m"),
        (Metric::TimeToContact, "5 ms", "5 ms"),
    ] {
        let usual = Amounts::default().0[metric.index()];
        assert_eq!([Units::Us, Units::Metric].map(|units| amount(metric, usual, units)), [us, si]);
    }
    for (given, shown) in [(12.5, "12.5°"), (0.0004, "0.0004°"), (0.0, "0°"), (f64::NAN, "–°"), (1e300, "–°")]
    {
        assert_eq!(amount(Metric::AttackAngle, given, Units::Us), shown);
    }
}

#[test]
fn what_cannot_be_told_says_what_it_would_take_or_why_not() {
    let needs = |swings, days| Answer::CannotTell { needed: Some(Needed { swings, days }) };
    let mut unknown = compared(Metric::BatSpeed, [0.0, -2.0, 2.0], needs(40, 2));
    assert_eq!(answer(&unknown, Units::Us), "cannot tell yet: about 40 more swings on 2 more days");
    unknown.answer = needs(1, 1);
    assert_eq!(answer(&unknown, Units::Us), "cannot tell yet: about 1 more swing on 1 more day");
    unknown.answer = UNKNOWN;
    assert_eq!(answer(&unknown, Units::Us), "cannot tell: more than 26 more days would be needed");
    unknown.difference = None;
    assert_eq!(answer(&unknown, Units::Us), "cannot tell: too few days, more are needed");
    unknown.now.swings = 0;
    assert_eq!(answer(&unknown, Units::Us), "cannot tell: none of the later swings has this number");
}

#[test]
fn numbers_that_are_none_are_not_said() {
    for value in [f64::NAN, f64::INFINITY] {
        let strange = compared(Metric::BatSpeed, [value; 3], Answer::Changed);
        assert_eq!(answer(&strange, Units::Us), "changed");
        let unsure = compared(Metric::BatSpeed, [1.0, value, value], Answer::Changed);
        assert_eq!(answer(&unsure, Units::Metric), "changed, 1.0 m/s faster");
    }
}

#[test]
fn every_metric_has_two_directions() {
    for metric in Metric::ALL {
        let [more, less] = directions(metric);
        assert!(more != less && !more.is_empty() && !less.is_empty(), "{metric:?}");
    }
}

#[test]
fn conditions_that_differ_are_named_for_each_group() {
    let of = |condition, then: &[(Option<&str>, usize)], now: &[(Option<&str>, usize)]| {
        let own = |values: &[(Option<&str>, usize)]| {
            values.iter().map(|(value, count)| (value.map(str::to_owned), *count)).collect()
        };
        mismatch(&Mismatch { condition, then: own(then), now: own(now) })
    };
    let bats = of(Condition::Bat, &[(Some("Ash 33"), 20)], &[(Some("Maple 32"), 9)]);
    assert_eq!(bats, "then with Ash 33, now with Maple 32");
    let sources = [(Some("tee"), 20), (Some("front_toss"), 3)];
    let balls = of(Condition::BallSource, &sources, &[(None, 5)]);
    assert_eq!(balls, "then off a tee (20) and front toss (3), now a ball source that is not said");
    let many: Vec<_> = ["a", "b", "c", "d", "e"].iter().map(|drill| (Some(*drill), 2)).collect();
    let drills = of(Condition::Drill, &many, &[]);
    assert!(drills.ends_with("in the drill \u{201c}c\u{201d} (2) and 2 others, now nothing"), "{drills}");
    assert!(of(Condition::Drill, &many[..4], &[]).contains("and one other, now"), "one");
    assert_eq!(
        of(Condition::Side, &[(Some("left"), 1)], &[(Some("right"), 1)]),
        "then from the left, now from the right"
    );
}

#[test]
fn a_condition_that_changed_over_days_is_told_with_its_days() {
    let stretch = |first_day, last_day, value: &str, swings| Stretch {
        first_day,
        last_day,
        values: vec![(Some(value.to_owned()), swings)],
    };
    let told = |stretches| varied(&Varied { condition: Condition::Bat, stretches }, &|day| format!("day {day}"));
    let lighter = vec![stretch(1, 20, "Ash 33", 40), stretch(27, 27, "Maple 31", 12)];
    assert_eq!(told(lighter), "day 1 to day 20 with Ash 33; day 27 with Maple 31");
    let to_and_fro = (0..5).map(|k| stretch(k, k, if k % 2 == 0 { "Ash" } else { "Oak" }, 7)).collect();
    assert_eq!(told(to_and_fro), "day 0 to day 4, in 5 stretches, with Ash (21) and with Oak (14)");
    assert_eq!(told(Vec::new()), "on no day");
}
