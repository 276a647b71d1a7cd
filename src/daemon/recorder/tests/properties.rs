use std::io::ErrorKind;

use proptest::prelude::*;
use proptest::test_runner::RngSeed;

use super::*;

#[derive(Clone, Debug)]
enum Step {
    Packets(usize),
    Device,
    Plate,
    Sync,
    WaitMs(u64),
    Fail { after: u64, operations: u64, kind: ErrorKind },
    Limit(u64),
    ReadOnly(bool),
    Heal,
}

fn steps() -> impl Strategy<Value = Vec<Step>> {
    let kinds = [ErrorKind::Other, ErrorKind::StorageFull, ErrorKind::PermissionDenied, ErrorKind::Interrupted];
    let kind = proptest::sample::select(kinds.to_vec());
    let fail = (0..12_u64, prop_oneof![Just(1), 1..60_u64], kind);
    let step = prop_oneof![
        6 => (1..20_usize).prop_map(Step::Packets),
        1 => Just(Step::Device),
        1 => Just(Step::Plate),
        2 => Just(Step::Sync),
        4 => (1..3000_u64).prop_map(Step::WaitMs),
        3 => fail.prop_map(|(after, operations, kind)| Step::Fail { after, operations, kind }),
        1 => (0..40_000_u64).prop_map(Step::Limit),
        1 => any::<bool>().prop_map(Step::ReadOnly),
        1 => Just(Step::Heal),
    ];
    proptest::collection::vec(step, 1..30)
}

fn apply(bench: &mut Bench, step: Step) {
    match step {
        Step::Packets(count) => (0..count).for_each(|_| bench.packet()),
        Step::Device => bench.entry(device()),
        Step::Plate => bench.entry(plate("Wren")),
        Step::Sync => bench.sync(),
        Step::WaitMs(ms) => bench.wait_ms(ms),
        Step::Fail { after, operations, kind } => {
            let from = bench.disk.operations() + after;
            bench.disk.fail(from..from + operations, kind);
        }
        Step::Limit(bytes) => {
            let used: usize = bench.disk.contents().values().map(Vec::len).sum();
            bench.disk.limit(Some(used as u64 + bytes));
        }
        Step::ReadOnly(is_read_only) => bench.disk.make_read_only(is_read_only),
        Step::Heal => bench.disk.heal(),
    }
}

proptest! {
    #![proptest_config(ProptestConfig {
        cases: 128,
        rng_seed: RngSeed::Fixed(3),
        failure_persistence: None,
        ..ProptestConfig::default()
    })]

    #[test]
    fn whatever_the_disk_does_nothing_said_to_be_written_is_lost(steps in steps(), longest in 16_000..60_000_u64) {
        let mut bench = Bench::new(Settings { longest_file_bytes: longest, resume_bytes: 1000, ..settings() });
        for step in steps {
            apply(&mut bench, step);
            bench.check();
        }
        bench.disk.heal();
        bench.wait_ms(2000);
        let lost = bench.core.progress().lost();
        bench.packet();
        prop_assert_eq!(bench.core.progress().lost(), lost, "a healed disk is used within 2 s");
        bench.check();
        bench.close();
        bench.check();
        bench.check_recovery();
    }
}
