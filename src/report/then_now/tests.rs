use super::super::squared_up::{PitchFrom, Taken};
use super::super::words::Units;
use super::*;
use crate::ball::Bounds;
use crate::ball::kind::Kind;
use crate::ball::squared_up::{Field, SquaredUp};
use crate::compare::alike::Trend;
use crate::compare::numbers::{Amounts, Answer, Compared, Difference, Group, Needed};
use crate::engine::metrics::Metric;

fn group(mean: f64) -> Group {
    Group { swings: 30, days: 3, mean: Some(mean), swing_spread: Some(0.9), day_spread: Some(0.4), sigma: Some(0.1) }
}

/// One more of its unit now, 0.5 to 1.5.
pub(in crate::report) fn compared_in(metric: Metric, answer: Answer) -> Compared {
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
    let amount = Amounts::default().0[metric.index()];
    Compared { metric, then: group(30.0), now: group(31.0), difference: Some(difference), amount, answer }
}

fn compared(answer: Answer) -> Compared {
    compared_in(Metric::BatSpeed, answer)
}

/// What a typical swing with an unknown bat would do to a baseball, and what is taken for that.
pub(in crate::report) fn if_squared_up(exit_speed_mps: Bounds, carry_m: Bounds) -> (SquaredUp, Taken) {
    let field = Field::default();
    let given = Taken { pitch_speed_mps: 27.0, pitch_from: PitchFrom::Round, kind: Kind::Baseball, field };
    let (q, density_kgpm3) = (Bounds::new(0.06, 0.24), Bounds::exactly(1.2));
    (SquaredUp { q, is_bats_own: false, exit_speed_mps, density_kgpm3, carry_m }, given)
}

#[test]
fn the_answer_stands_first_in_the_readers_units() {
    let metric = Told::new(&compared(Answer::Changed), Units::Metric);
    assert_eq!(metric.answer, "Changed, 1.00 m/s faster (95 %: 0.50 to 1.50)");
    assert_eq!(metric.difference.as_deref(), Some("+1.00"));
    assert_eq!(metric.interval, Some(("+0.50".into(), "+1.50".into())));
    let us = Told::new(&compared(Answer::NotChanged), Units::Us);
    // 0.894 m/s ÷ 0.44704 m/s per mph.
    assert_eq!((us.answer.as_str(), us.kind), ("Not changed by more than 2 mph", "same"));
    assert_eq!(us.then.mean.as_deref(), Some("67.1"), "half the interval is 1.1 mph: two digits of it");
    let needed = Some(Needed { swings: 24, days: 1 });
    let unsure = Told::new(&compared(Answer::CannotTell { needed }), Units::Us);
    assert_eq!(unsure.answer, "Cannot tell yet: about 24 more swings on 1 more day");
}

#[test]
fn a_fall_is_a_fall_and_what_is_not_known_is_not_said() {
    let mut fallen = compared(Answer::Changed);
    let difference = fallen.difference.as_mut().unwrap();
    (difference.value, difference.low, difference.high) = (-1.0, -1.5, -0.5);
    let told = Told::new(&fallen, Units::Metric);
    assert_eq!(
        (told.answer.as_str(), told.difference.as_deref()),
        ("Changed, 1.00 m/s slower (95 %: 0.50 to 1.50)", Some("−1.00"))
    );
    let empty = Compared { difference: None, now: Group::default(), ..compared(Answer::CannotTell { needed: None }) };
    let told = Told::new(&empty, Units::Us);
    assert_eq!(told.answer, "Cannot tell: none of the later swings has this number");
    assert_eq!((told.difference, told.now.mean, told.details.len()), (None, None, 0));
    let one_day = Compared { now: group(31.0), ..empty };
    assert!(Told::new(&one_day, Units::Us).answer.contains("too few days"));
}

#[test]
fn strange_numbers_do_no_harm() {
    for strange in [f64::NAN, f64::INFINITY, -f64::INFINITY, 1e300] {
        let mut odd = compared(Answer::Changed);
        odd.difference.as_mut().unwrap().high = strange;
        odd.difference.as_mut().unwrap().value = strange;
        odd.amount = strange;
        assert!(!Told::new(&odd, Units::Us).answer.is_empty());
    }
    assert_eq!([f64::NAN, 0.0001, 0.0312].map(p_words), ["–", "< 0.001", "0.031"]);
}

#[test]
fn what_is_compared_and_what_is_left_out_is_one_sentence_each() {
    let then = Heard { what: "Oct 1, 2026".into(), swings: 1, days: 1, flagged: 2, excluded: 1 };
    let now = Heard { what: "Nov 1, 2026".into(), swings: 20, days: 2, ..Heard::default() };
    assert_eq!(groups(&then, &now), "Then, Oct 1, 2026: 1 swing on 1 day. Now, Nov 1, 2026: 20 swings on 2 days.");
    assert_eq!(left_out(&then, &now).unwrap(), "Left out: then 2 flagged and 1 by the instructor.");
    assert_eq!(left_out(&now, &now), None);
}

#[test]
fn what_was_looked_at_says_where_it_was_cut_and_which_swing_is_typical() {
    let all = LookedAt { swings: 1, drawn: 0, ..LookedAt::default() };
    assert_eq!(
        all.words("Then"),
        "Then: all swings that were chosen were read; curves are of 0 of 1 swing; no swing can stand for all."
    );
    let typical = Some("Oct 5, 2026, 17:48:03, number 3 of 20 that count on that day".into());
    let cut = LookedAt { swings: 4990, drawn: 1000, cut_at: Some(5000), typical };
    assert!(
        cut.words("Now").starts_with("Now: more than 5000 swings were chosen, and the newest 5000 alone were read;")
    );
    assert!(cut.words("Now").ends_with("is that of Oct 5, 2026, 17:48:03, number 3 of 20 that count on that day."));
}

#[test]
fn a_trend_is_told_only_where_its_interval_has_one_sign() {
    let trend = |low: f64, high: f64| Trend { days: 5, a_month: 0.5 * (low + high), low, high, p: 0.01, p_holm: 0.04 };
    let words = |low, high| trend_words(Metric::BatSpeed, Some(&trend(low, high)), Units::Metric);
    assert!(
        words(0.1, 0.5)
            .starts_with("Bat speed at contact rises by about 0.30 m/s a month (95\u{a0}%: 0.10 m/s to 0.50")
    );
    assert!(words(-0.5, -0.1).contains("falls by about 0.30 m/s"));
    assert!(words(-0.1, 0.5).contains("cannot be told to rise or to fall ("));
    let among_many = Trend { p_holm: 0.06, ..trend(0.1, 0.5) };
    assert!(trend_words(Metric::BatSpeed, Some(&among_many), Units::Metric).contains("one may look so by chance"));
    assert!(trend_words(Metric::BatSpeed, None, Units::Us).contains("fewer than three days"));
}

#[test]
fn what_was_measured_and_what_a_square_hit_would_do_are_two_sentences() {
    let mut balls = Balls { name: "Then".into(), exit_speeds_mps: vec![30.0, 34.0, 32.0], ..Balls::default() };
    let words = balls.words(Units::Metric);
    // Median 32, Σ(x − 32)² = 8, s = √(8/2) = 2 m/s.
    assert_eq!(
        words,
        [
            "Then, measured by another device: exit speed (how fast the ball left the bat) of 3 balls: best 34.0 m/s, the \
          middle one (median) 32.0 m/s, from ball to ball about 2.0 m/s either way (one standard deviation)."
        ]
    );
    balls.if_squared_up = Some(if_squared_up(Bounds::new(40.0, 44.0), Bounds::new(90.0, 120.0)));
    balls.exit_speeds_mps.clear();
    let words = balls.words(Units::Metric);
    assert_eq!(words[0], "Then: no ball was measured.");
    assert!(words[1].contains("Taken for that: a baseball; the round's pitch of 27 m/s; bats from light to heavy"));
    assert!(
        words[1].contains("if squared up (")
            && words[1].contains(", not measured: ")
            && words[1].contains("at sea level")
    );
    assert!(words[1].contains("40 to 44 m/s"), "{words:?}");
    assert_eq!(balls.drawn().range, Some((40.0, 44.0)));
    assert!(Balls::default().is_empty() && !balls.is_empty());
}
