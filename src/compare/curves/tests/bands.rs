//! The band of a difference: against spm1d, by structure, and how often it is wrong by chance.

use super::super::difference::band;
use super::super::line::OfDay;
use super::super::random_field::TField;
use super::*;
use crate::quantile::quantile;
use serde_json::Value;

fn reference() -> Value {
    serde_json::from_str(include_str!("../../../../tests/reference/curve_band.json")).unwrap()
}

fn numbers(value: &Value) -> Vec<f64> {
    value.as_array().unwrap().iter().map(|x| x.as_f64().unwrap()).collect()
}

fn swings(value: &Value) -> Vec<OfDay> {
    value.as_array().unwrap().iter().map(|row| (row[0].as_i64().unwrap(), numbers(&row[1]))).collect()
}

/// The worst effect of the days is looked for in steps of √2, by the other program of 5 %. Of these swings it is without bound
/// for most places, where both look, and the half width is flat about the worst of the others: 2e-5 of it is lost.
const IN_STEPS: f64 = 1e-3;

/// t, smoothness and degrees of freedom to rounding; the threshold to the root of spm1d's own probability, and to what its
/// minimiser finds within 1e-3; ends of stretches and their p follow from that threshold.
#[test]
fn spm1d_has_the_same_fields_thresholds_and_stretches() {
    let reference = reference();
    let cases = reference["cases"].as_array().unwrap();
    assert_eq!(cases.len(), 4);
    for case in cases {
        let name = &case["name"];
        let found = band(&swings(&case["then"]), &swings(&case["now"]), 1.0).unwrap();
        let of = |key: &str| case[key].as_f64().unwrap();
        assert_eq!(found.degrees_of_freedom, of("df"), "{name}");
        assert!((found.smoothness / of("fwhm") - 1.0).abs() < 1e-9, "{name}: {}", found.smoothness);
        let field = TField { degrees_of_freedom: of("df"), places: 41, fwhm: of("fwhm") };
        let threshold = field.threshold(0.05).unwrap();
        assert!((threshold / of("root") - 1.0).abs() < 1e-8, "{name}: {threshold}");
        assert!((threshold / of("zstar") - 1.0).abs() < 1e-3, "{name}: {threshold}");
        let is_even = case.get("half_width").is_none();
        if is_even {
            let t = found.mean.iter().zip(&found.half_width).map(|(mean, width)| mean / width * threshold);
            near(&t.collect::<Vec<_>>(), &numbers(&case["t"]), 1e-6);
        } else {
            near(&found.mean, &numbers(&case["mean"]), 1e-9);
            let shares = found.half_width.iter().zip(numbers(&case["half_width"])).map(|(ours, theirs)| ours / theirs);
            near(&shares.collect::<Vec<_>>(), &[1.0; 41], IN_STEPS);
        }
        let theirs = case["stretches"].as_array().unwrap();
        assert_eq!(found.differs.len(), theirs.len(), "{name}: {:?}", found.differs);
        for (ours, theirs) in found.differs.iter().zip(theirs) {
            let [from, to, p] = numbers(theirs)[..] else { panic!() };
            // Places are counted back from the last. Where the half width is another by a share, so is the difference over
            // it, which falls by 0.08 a place at this stretch's end; and the logarithm of p, −11, goes with the square of the
            // stretch's 6.4 places.
            let end = IN_STEPS / 0.08;
            let (places, share) = if is_even { (1e-2, 1e-2) } else { (end, 2.0 * 11.0 * end / 6.4) };
            near(&[ours.from + 40.0, ours.to + 40.0], &[from, to], places);
            assert!((ours.p - p).abs() <= share * p + 1e-9, "{name}: {ours:?}, {p}");
        }
    }
}

#[test]
fn numpy_has_the_same_percentiles() {
    let reference = reference();
    let swings = swings(&reference["cases"][2]["now"]);
    for (key, share) in [("low", 0.1), ("high", 0.9)] {
        let at = |place: usize| {
            let mut values: Vec<f64> = swings.iter().map(|(_, values)| values[place]).collect();
            values.sort_by(f64::total_cmp);
            quantile(&values, share).unwrap()
        };
        near(&(0..41).map(at).collect::<Vec<_>>(), &numbers(&reference[key]), 1e-12);
    }
}

/// A smooth Gaussian field of variance about 1: noise under a bell of this width at half maximum, in places.
fn smooth(chance: &mut Chance, places: usize, width: f64) -> Vec<f64> {
    let reach = (1.5 * width).ceil() as usize;
    let bell = |k: f64| (-4.0 * std::f64::consts::LN_2 * (k / width).powi(2)).exp();
    let bell: Vec<f64> = (0..=2 * reach).map(|k| bell(k as f64 - reach as f64)).collect();
    let size = bell.iter().map(|b| b * b).sum::<f64>().sqrt();
    let noise: Vec<f64> = (0..places + 2 * reach).map(|_| chance.normal()).collect();
    (0..places).map(|at| bell.iter().zip(&noise[at..]).map(|(b, x)| b * x).sum::<f64>() / size).collect()
}

/// Swings of days, each with so many; days differ by an effect, in spreads of swings.
fn days(chance: &mut Chance, first: i64, counts: &[usize], effect: f64, width: f64) -> Vec<OfDay> {
    let mut swings = Vec::new();
    for (day, count) in (first..).zip(counts) {
        let shift = smooth(chance, 51, width);
        for _ in 0..*count {
            let own = smooth(chance, 51, width);
            swings.push((day, own.iter().zip(&shift).map(|(own, shift)| own + effect * shift).collect()));
        }
    }
    swings
}

/// How often the band excludes no difference somewhere, although there is none. Half of the swings of each day by other
/// days' counts: `paired` puts both groups on the same days.
fn false_share(repeats: usize, [then, now]: [&[usize]; 2], effect: f64, paired: bool) -> f64 {
    let mut chance = Chance(5);
    let wrong = |_: &usize| {
        let (earlier, mut later) =
            (days(&mut chance, 0, then, effect, 15.0), days(&mut chance, 100, now, effect, 15.0));
        if paired {
            later.iter_mut().for_each(|(day, _)| *day -= 100);
        }
        !band(&earlier, &later, 1.0).unwrap().differs.is_empty()
    };
    (0..repeats).filter(wrong).count() as f64 / repeats as f64
}

/// 5 % and three standard errors of a share of so many.
#[test]
fn no_more_than_one_band_in_twenty_is_wrong_by_chance() {
    let (repeats, most) = (300, 0.05 + 3.0 * (0.05 * 0.95 / 300f64).sqrt());
    for counts in [[&[3, 3][..], &[3, 3]], [&[3, 3, 3], &[3, 3, 3]], [&[2, 2], &[8, 8, 8, 8]]] {
        for effect in [0.0, 0.5] {
            let share = false_share(repeats, counts, effect, false);
            assert!(share <= most, "{counts:?}, {effect}: {share}");
        }
    }
    let share = false_share(repeats, [&[2, 4, 3], &[4, 2, 3]], 0.5, true);
    assert!(share <= most, "{share}");
}

/// A difference of twice the spread of swings on 5 and 5 days is found: the band is no excuse.
#[test]
fn a_true_difference_is_found_where_it_is() {
    let mut chance = Chance(6);
    let (then, mut now) = (days(&mut chance, 0, &[5; 5], 0.3, 10.0), days(&mut chance, 9, &[5; 5], 0.3, 10.0));
    for (_, values) in &mut now {
        values.iter_mut().skip(30).for_each(|value| *value += 3.0);
    }
    let found = band(&then, &now, 0.5).unwrap();
    assert_eq!(found.differs.len(), 1, "{:?}", found.differs);
    let Stretch { from, to, p } = found.differs[0];
    assert!((-10.5..=-8.0).contains(&from) && to == 0.0 && p < 0.01, "{:?}", found.differs);
}

#[test]
fn too_few_days_have_no_band_and_shared_days_are_pairs() {
    let mut chance = Chance(7);
    let mut of = |first: i64, count: usize| days(&mut chance, first, &vec![4; count], 0.3, 15.0);
    let degrees = |then: &[OfDay], now: &[OfDay]| band(then, now, 1.0).map(|band| band.degrees_of_freedom);
    assert_eq!(degrees(&of(0, 1), &of(10, 1)), None, "forty swings on one day are still one day");
    assert_eq!(degrees(&of(0, 2), &of(10, 1)), None);
    assert_eq!(degrees(&of(0, 2), &of(10, 2)), Some(2.0));
    assert_eq!(degrees(&of(0, 2), &of(0, 2)), None);
    assert_eq!(degrees(&of(0, 3), &of(0, 3)), Some(2.0));
    assert_eq!(degrees(&of(0, 5), &of(4, 5)), Some(8.0), "one day of both does not decide");
    assert_eq!(degrees(&of(0, 5), &of(1, 5)), Some(8.0), "four pairs would promise less");
    assert_eq!(degrees(&of(0, 2), &of(0, 3)), Some(3.0), "two pairs would promise less");
    assert_eq!(degrees(&of(0, 3), &[]), None);
    let same: Vec<OfDay> = (0..4).map(|day| (day, vec![1.0; 20])).collect();
    assert_eq!(band(&same[..2], &same[2..], 1.0), None, "without spread nothing is known of chance");
}
