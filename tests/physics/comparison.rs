//! How often the comparison of two groups of swings is wrong: a short run of `cargo run --release --example honesty`.

#[path = "../../examples/honesty/athletes.rs"]
mod athletes;

use athletes::{Days, LAYOUTS, Layout, Tally};
use swingd::compare::numbers::{Answer, compare};
use swingd::engine::metrics::Metric;
use swingd::sim::Random;

/// Forty athletes of each layout are 360 an effect of the day. Of 360 at 5 %, more than 18 + 3.1·√(360·0.05·0.95) = 30
/// come less than three times in a thousand; of forty, more than 2 + 4·√(40·0.05·0.95) = 7 less than once in a
/// thousand.
#[test]
fn at_most_five_in_a_hundred_are_told_wrongly() {
    for (column, day_share) in [0.0, 0.3, 0.5].into_iter().enumerate() {
        let mut all = Tally::default();
        for (row, layout) in LAYOUTS.iter().enumerate() {
            let mut tally = Tally::default();
            for athlete in 0..40 {
                let seed = 1 << 60 | (row as u64) << 40 | (column as u64) << 32 | u64::from(athlete);
                tally.add(layout, day_share, athlete, &mut Random::new(seed));
            }
            assert!(tally.is_honest(4.0), "{}, {day_share}: {tally:?}", layout.name);
            all = all.with(tally);
        }
        assert!(all.is_honest(3.1), "{day_share}: {all:?}");
        assert!(all.told_of_all > 0 && all.told_same > 0, "it says nothing: {all:?}");
    }
}

/// What is said to be needed, done: told with a probability near the promised 80 %. The promise is made from ten and
/// two days, which know what days add to a third or so, so the middle of a hundred promises is kept, not each; it holds
/// to within 0.035 by its formula, and 300 athletes know a share to 0.07 (3 standard deviations). One that asked for
/// twice too much would tell 97 %, one for half of it 50 %.
#[test]
fn what_is_said_to_be_needed_is_about_enough() {
    let layout = |days: i64| Layout {
        name: "",
        then: Days { first: 0, count: 10, swings: [10, 10] },
        now: Days { first: 10, count: days, swings: [10, 10] },
    };
    let question = athletes::question(&[Metric::BatSpeed]);
    let answer = |days: i64, by: usize, seed: u64| {
        let [then, now] = athletes::athlete(&layout(days), 0.5, &mut Random::new(1 << 61 | seed));
        compare(&then, &athletes::raised(&now, by, 1.0), &question)[0].answer
    };
    let mut promised: Vec<u32> = (0..100).map(|seed| days_needed(answer(2, 0, seed))).collect();
    promised.sort_unstable();
    let days = 2 + i64::from(promised[50]);
    let share = |by: usize, wanted: Answer| {
        (0..300).filter(|seed| answer(days, by, 1000 + seed) == wanted).count() as f64 / 300.0
    };
    let (changed, same) = (share(1, Answer::Changed), share(0, Answer::NotChanged));
    for told in [changed, same] {
        assert!((0.7..0.92).contains(&told), "{days} days: {changed} {same}, promised {promised:?}");
    }
}

/// Already told: none.
fn days_needed(answer: Answer) -> u32 {
    match answer {
        Answer::CannotTell { needed } => needed.map_or(60, |needed| needed.days),
        Answer::Changed | Answer::NotChanged => 0,
    }
}
