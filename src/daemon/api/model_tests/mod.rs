//! Random sequences of what people and the service do to a record, against a plain model of it. After each step every
//! swing is read back page by page and compared: whose it is, what was said of it, its version and revision; what an
//! analysis said once it says for ever.

mod model;
mod steps;

use super::test_api::{on_each, set_clock};
use model::Model;
use proptest::strategy::{Strategy, ValueTree};
use proptest::test_runner::{Config, RngSeed, TestRunner};
use steps::{Step, steps};

/// Sequences.
const CASES: usize = 64;
/// 2026-11-26 noon UTC, µs: after all that is entered.
const NOW_US: i64 = 1_795_694_400_000_000;

#[test]
fn any_sequence_of_changes_leaves_what_a_plain_model_of_the_record_says() {
    on_each(async |api| {
        let (api, _clock) = set_clock(api, NOW_US);
        let config = Config { rng_seed: RngSeed::Fixed(4), failure_persistence: None, ..Config::default() };
        let mut runner = TestRunner::new(config);
        let mut done = std::collections::BTreeMap::<&str, usize>::new();
        for case in 0..CASES {
            let steps = steps().new_tree(&mut runner).unwrap().current();
            // Shown only if the test fails.
            println!("case {case}: {steps:?}");
            let mut model = Model::new(&api, case).await;
            for step in steps {
                if model.take(&api, &step).await {
                    *done.entry(step.name()).or_default() += 1;
                }
                model.check(&api).await;
            }
            model.check_whole(&api).await;
        }
        // A sequence in which nothing could be done would show nothing.
        assert!(Step::NAMES.iter().all(|name| done.get(name).is_some_and(|count| *count >= 5)), "{done:?}");
    });
}
