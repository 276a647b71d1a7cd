//! How often the comparison of two groups of swings is wrong: a short run of `cargo run --release --example honesty`.

#[path = "../../examples/honesty/athletes.rs"]
mod athletes;

use athletes::{LAYOUTS, Tally};
use swingd::sim::Random;

/// Five athletes of every layout and effect of the day would prove little; a hundred of each together are 900 an effect of the day.
/// Of 900 at 5 % more than 45 + 3.1·√(900·0.05·0.95) = 65 come once in a thousand times.
#[test]
fn at_most_five_in_a_hundred_are_told_wrongly() {
    for (column, day_share) in [0.0, 0.3, 0.5].into_iter().enumerate() {
        let mut tally = Tally::default();
        for (row, layout) in LAYOUTS.iter().enumerate() {
            for athlete in 0..100_u64 {
                let seed = 1 << 60 | (row as u64) << 40 | (column as u64) << 32 | athlete;
                tally.add(layout, day_share, &mut Random::new(seed));
            }
        }
        assert!(tally.is_honest(3.1), "{day_share}: {tally:?}");
        assert!(tally.told_of_all > 0 && tally.told_same > 0, "it says nothing: {tally:?}");
    }
}
