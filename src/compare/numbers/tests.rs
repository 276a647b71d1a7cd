//! Against other programs (`tests/reference/comparison.py`), published examples, and hostile values.

use super::*;
use crate::engine::metrics::Estimate;
use serde_json::Value;

const METRIC: Metric = Metric::BatSpeed;

fn swing(day: i64, value: f64, sigma: f64) -> Observed {
    let mut metrics = [None; Metric::COUNT];
    metrics[METRIC.index()] = Some(Estimate { value, sigma });
    Observed { day, round: None, metrics }
}

fn question(amount: f64) -> Question {
    Question { family: vec![METRIC], amounts: Amounts([amount; Metric::COUNT]) }
}

fn document() -> Value {
    serde_json::from_str(include_str!("../../../tests/reference/comparison.json")).expect("JSON")
}

/// Both groups of a case, and what one program says of it.
fn case(name: &str, program: &str) -> ([Vec<Observed>; 2], Value) {
    let document = document();
    let case = document["cases"].as_array().expect("cases").iter().find(|case| case["name"] == name).expect("the case");
    let group = |key: &str| {
        let swings = case[key].as_array().expect("swings").iter();
        let number = |swing: &Value, place: usize| swing[place].as_f64().expect("a number");
        swings.map(|one| swing(one[0].as_i64().expect("a day"), number(one, 1), number(one, 2))).collect()
    };
    ([group("then"), group("now")], case["answers"][program].clone())
}

fn difference([then, now]: &[Vec<Observed>; 2]) -> Difference {
    compare(then, now, &question(0.9))[0].difference.expect("a difference")
}

fn fit([then, now]: &[Vec<Observed>; 2]) -> (Fit, f64) {
    let cells = Cells::new(then, now, METRIC);
    (Fit::new(&cells, Design::of(cells.counts())), cells.scale)
}

/// Within a share of the answer, or of one.
fn assert_near(what: &str, ours: f64, theirs: &Value, share: f64) {
    let theirs = theirs.as_f64().expect("a number");
    assert!((ours - theirs).abs() <= share * theirs.abs().max(1.0), "{what}: {ours} against {theirs}");
}

/// Minimisers stop where the likelihood is flat to its rounding, 10⁻¹² of it or so: variances are right to its square
/// root, 10⁻⁶ of themselves, times a few for `MixedLM`'s own stop. What follows from the variances is as good.
const AS_MINIMISED: f64 = 2e-5;

#[test]
fn statsmodels_mixed_lm() {
    for name in ["even", "uneven", "shared"] {
        let (groups, theirs) = case(name, "mixed_lm");
        let ours = difference(&groups);
        assert_near(name, ours.value, &theirs["value"], AS_MINIMISED);
        // Theirs is of the inverse of the whole observed information, ours of the block of the means, (X'V⁻¹X)⁻¹. The
        // two are the same for even days; the cross terms of uneven ones are of the order of 1/days of the variance's
        // own relative error.
        let share = if name == "uneven" { 1e-3 } else { AS_MINIMISED };
        assert_near(name, ours.standard_error, &theirs["standard_error"], share);
        let (fit, scale) = fit(&groups);
        // A shared day's difference has the variance of two cells.
        let cells = if fit.design == Design::Shared { 2.0 } else { 1.0 };
        assert_near(name, fit.of_swings * scale * scale, &theirs["of_swings"], AS_MINIMISED);
        assert_near(name, fit.of_days * scale * scale / cells, &theirs["of_cells"], AS_MINIMISED);
    }
}

#[test]
fn full_matrices_with_sigmas_and_the_worst_ratio() {
    for name in ["even", "uneven", "uneven_with_sigmas", "shared", "shared_uneven_with_sigmas"] {
        let (groups, theirs) = case(name, "dense");
        let ours = difference(&groups);
        let (fit, scale) = fit(&groups);
        let cells = if fit.design == Design::Shared { 2.0 } else { 1.0 };
        assert_near(name, ours.value, &theirs["value"], AS_MINIMISED);
        assert_near(name, ours.standard_error, &theirs["standard_error"], AS_MINIMISED);
        assert_near(name, fit.of_swings * scale * scale, &theirs["of_swings"], AS_MINIMISED);
        assert_near(name, fit.of_days * scale * scale / cells, &theirs["of_cells"], AS_MINIMISED);
        assert_near(name, ours.degrees_of_freedom, &theirs["freedom"], 0.0);
        // The worst ratio is looked for in steps of √2 here, of 5 % there: a parabola about it loses (ln √2 / 2)² / 2
        // of its curvature, under 2 % of a standard error even where that is one a unit of the logarithm.
        let step = 0.02 * ours.standard_error;
        assert_near(name, ours.low, &theirs["low"], step);
        assert_near(name, ours.high, &theirs["high"], step);
        assert_near(name, ours.p, &theirs["p"], 0.01);
        assert_near(name, ours.p_same, &theirs["p_same"], 0.01);
    }
}

/// Even days without sigmas, also where days are more alike than swings: t tests on means of days, to rounding; TOST by
/// pingouin.
#[test]
fn scipy_t_tests_on_means_of_days_and_pingouin_tost() {
    for name in ["even", "even_negative", "shared", "sleep"] {
        let (groups, theirs) = case(name, "on_days");
        let ours = difference(&groups);
        let own = [ours.value, ours.low, ours.high, ours.p, ours.p_same, ours.degrees_of_freedom];
        for (key, own) in ["value", "low", "high", "p", "p_same", "freedom"].into_iter().zip(own) {
            assert_near(&format!("{name} {key}"), own, &theirs[key], 1e-9);
        }
        let share = if name == "even_negative" { 1e-9 } else { AS_MINIMISED };
        assert_near(name, ours.standard_error, &theirs["standard_error"], share);
    }
}

/// Student, *Biometrika* 6 (1908), 1: ten patients, 1.58 hours more on the second drug, t = 4.06, two-sided p 0.0028.
#[test]
fn student_1908_sleep() {
    let (groups, _) = case("sleep", "on_days");
    let ours = difference(&groups);
    assert!((ours.value - 1.58).abs() < 1e-12 && (ours.value / ours.standard_error - 4.06).abs() < 0.005);
    assert!((ours.p - 0.0028).abs() < 0.00005 && ours.degrees_of_freedom == 9.0);
}

/// O. L. Davies & P. L. Goldsmith (eds), *Statistical Methods in Research and Production* (4th ed., 1972), section 6.4;
/// G. E. P. Box & G. C. Tiao, *Bayesian Inference in Statistical Analysis* (1973), section 5.1.2. R's lme4 prints for
/// them, by REML (from memory): batches 42.00, residual 49.51, mean 1527.50 with 19.38. For even batches that is the
/// analysis of variance.
#[test]
fn davies_goldsmith_1972_dyestuff() {
    let (groups, theirs) = case("dyestuff", "mixed_lm");
    let (fit, scale) = fit(&groups);
    assert!((fit.of_days.sqrt() * scale - 42.00).abs() < 0.005, "{fit:?}");
    assert!((fit.of_swings.sqrt() * scale - 49.51).abs() < 0.005);
    let error = reml::Means::new(&fit.items, fit.of_days).variance().sqrt() * scale;
    assert_near("standard error", error, &theirs["standard_error"], AS_MINIMISED);
    let compared = &compare(&groups[0], &[], &question(1.0))[0];
    assert!((compared.then.mean.expect("a mean") - 1527.5).abs() < 1e-9);
    assert_eq!((compared.difference, compared.now.mean), (None, None));
}

/// A percentile interval is short by √(1 − 1/days) of the plain variance and by the normal's 1.96 for Student's 1.99:
/// 0.972 of ours with 40 days a group; 20,000 drawings know its ends to 0.01 of its length.
#[test]
fn scipy_bootstrap_of_many_days() {
    let (groups, theirs) = case("many_days", "bootstrap");
    let ours = difference(&groups);
    let length = theirs["high"].as_f64().expect("high") - theirs["low"].as_f64().expect("low");
    assert!((length / (ours.high - ours.low) - 0.972).abs() < 0.03, "{length} {ours:?}");
}

#[test]
fn statsmodels_multipletests_holm() {
    let stored = document()["holm"].clone();
    let list = |key: &str| -> Vec<f64> {
        stored[key].as_array().expect("a list").iter().map(|p| p.as_f64().expect("a number")).collect()
    };
    for (ours, theirs) in holm(&list("p")).iter().zip(list("adjusted")) {
        assert!((ours - theirs).abs() < 1e-15);
    }
    assert_eq!(holm(&[f64::NAN, 0.01]), [1.0, 0.02]);
    assert_eq!(holm(&[]), [0.0; 0]);
}

/// Days of swings about a middle; `wave` is what days add, up and down.
fn days(from: i64, count: i64, middle: f64, wave: f64) -> Vec<Observed> {
    let of_day = |day: i64| {
        let added = if day % 2 == 0 { wave } else { -wave };
        (0..20).map(move |i| swing(from + day, middle + added + f64::from(i % 5 - 2) * 0.5, 0.2))
    };
    (0..count).flat_map(of_day).collect()
}

#[test]
fn three_answers() {
    let answer = |now: &[Observed]| compare(&days(0, 6, 30.0, 0.1), now, &question(0.9))[0].answer;
    assert_eq!(answer(&days(10, 6, 32.0, 0.1)), Answer::Changed);
    assert_eq!(answer(&days(10, 6, 30.1, 0.1)), Answer::NotChanged);
    assert!(matches!(answer(&days(10, 4, 30.6, 1.0)), Answer::CannotTell { needed: Some(_) }));
    // Proven, but less than matters.
    assert_eq!(answer(&days(10, 6, 30.4, 0.1)), Answer::NotChanged);
}

#[test]
fn one_day_on_each_side_never_tells_however_many_swings() {
    let many = |day: i64, middle: f64| (0..50).flat_map(|_| days(day, 1, middle, 0.0)).collect::<Vec<_>>();
    let compared = &compare(&many(0, 30.0), &many(1, 40.0), &question(3.0))[0];
    assert_eq!((compared.then.days, compared.now.days, compared.difference), (1, 1, None));
    let Answer::CannotTell { needed: Some(needed) } = compared.answer else { panic!("{:?}", compared.answer) };
    assert!(needed.days >= 2 && needed.swings == needed.days * 1000, "{needed:?}");
}

#[test]
fn more_is_needed_for_less_and_for_more_metrics() {
    let needed = |amount: f64, family: Vec<Metric>| {
        let question = Question { family, amounts: Amounts([amount; Metric::COUNT]) };
        match compare(&days(0, 12, 30.0, 0.5), &days(20, 3, 30.4, 0.5), &question)[0].answer {
            Answer::CannotTell { needed } => needed.map(|needed| needed.days),
            other => panic!("{other:?}"),
        }
    };
    let (wide, narrow) = (needed(0.9, vec![METRIC]).expect("days"), needed(0.7, vec![METRIC]).expect("days"));
    let of_all = needed(0.9, Metric::ALL.to_vec()).expect("days");
    assert!(wide < narrow && wide < of_all, "{wide} {narrow} {of_all}");
    assert_eq!(needed(0.01, vec![METRIC]), None);
}

/// Taken as apart, days that the athlete moved through would drown what is told within each.
#[test]
fn days_of_both_groups_are_compared_within_themselves() {
    let compared = &compare(&days(0, 6, 30.0, 3.0), &days(0, 6, 31.5, 3.0), &question(0.9))[0];
    let difference = compared.difference.expect("a difference");
    assert_eq!((difference.degrees_of_freedom, compared.answer), (5.0, Answer::Changed));
    let apart = &compare(&days(0, 6, 30.0, 3.0), &days(10, 6, 31.5, 3.0), &question(0.9))[0];
    assert!(matches!(apart.answer, Answer::CannotTell { .. }));
    let mean = |group: Group| group.mean.expect("a mean");
    assert!((mean(compared.now) - mean(compared.then) - difference.value).abs() < 1e-9);
}

/// One day of twelve in common is not worth leaving eleven out.
#[test]
fn a_single_day_of_both_groups_does_not_decide() {
    let compared = &compare(&days(0, 6, 30.0, 0.3), &days(5, 6, 32.0, 0.3), &question(0.9))[0];
    assert_eq!(compared.difference.expect("a difference").degrees_of_freedom, 10.0);
}

#[test]
fn statistics_of_a_group() {
    let swings = [swing(1, 1.0, 0.3), swing(1, 3.0, 0.3), swing(2, 6.0, 0.4), swing(2, 8.0, 0.4)];
    let group = compare(&swings, &[], &question(1.0))[0].then;
    let near =
        |ours: Option<f64>, known: f64| assert!((ours.expect("a value") - known).abs() < 1e-12, "{ours:?} {known}");
    assert_eq!((group.swings, group.days), (4, 2));
    near(group.swing_spread, 2f64.sqrt());
    near(group.day_spread, 12.5f64.sqrt());
    near(group.sigma, 0.125f64.sqrt());
    assert_eq!(compare(&[], &[], &question(1.0))[0].now, Group::default());
}

#[test]
fn what_is_no_measurement_does_not_count() {
    let mut swings = days(0, 3, 30.0, 0.1);
    let count = swings.len();
    for (value, sigma) in
        [(f64::NAN, 0.1), (f64::INFINITY, 0.1), (1e300, 0.1), (30.0, f64::NAN), (30.0, -0.1), (30.0, f64::INFINITY)]
    {
        swings.push(swing(0, value, sigma));
    }
    assert_eq!(compare(&swings, &[], &question(1.0))[0].then.swings, count);
}

/// Every number said is finite, every p a probability.
fn assert_sound(compared: &Compared) {
    for group in [compared.then, compared.now] {
        let said = [group.mean, group.swing_spread, group.day_spread, group.sigma];
        assert!(said.iter().flatten().all(|number| number.is_finite()), "{group:?}");
    }
    if let Some(d) = compared.difference {
        assert!([d.value, d.standard_error, d.low, d.high].iter().all(|number| number.is_finite()), "{d:?}");
        assert!([d.p, d.p_holm, d.p_same, d.p_same_holm].iter().all(|p| (0.0..=1.0).contains(p)), "{d:?}");
        assert!(d.low <= d.value && d.value <= d.high && d.standard_error >= 0.0, "{d:?}");
    }
}

#[test]
fn hostile_values_make_no_panic_and_no_nonsense() {
    let values = [0.0, 30.0, 30.0 + 1e-14, -1e59, 1e59, 1e-300, 5.0];
    let sigmas = [0.0, 1e-300, 0.2, 1e59];
    let mut state = 1_u64;
    let mut index = move |count: usize| {
        // Knuth's multiplier, *The Art of Computer Programming* 2, 3.3.4: the upper bits are good.
        state = state.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1);
        (state >> 33) as usize % count
    };
    for round in 0..400 {
        let mut group = |shift: i64| -> Vec<Observed> {
            let (swings, days) = (index(9), 1 + index(4));
            let kinds = 1 + index(values.len());
            (0..swings).map(|_| swing(index(days) as i64 + shift, values[index(kinds)], sigmas[index(4)])).collect()
        };
        let (then, now) = (group(0), group(round % 6));
        for amount in [0.9, 0.0, -1.0, f64::NAN, f64::INFINITY, 1e-300] {
            assert_sound(&compare(&then, &now, &question(amount))[0]);
        }
    }
}

#[test]
fn without_any_spread_a_change_is_a_change_and_none_is_none() {
    let flat = |day: i64, value: f64| (0..3).flat_map(|d| vec![swing(day + d, value, 0.0); 4]).collect::<Vec<_>>();
    let answer = |value: f64, amount: f64| compare(&flat(0, 30.0), &flat(9, value), &question(amount))[0].answer;
    assert_eq!(answer(30.0, 0.9), Answer::NotChanged);
    assert_eq!(answer(32.0, 0.9), Answer::Changed);
    assert!(matches!(answer(30.0, f64::NAN), Answer::CannotTell { needed: None }));
}
