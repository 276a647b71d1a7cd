//! A full disk and an I/O error at every call in turn: nothing acknowledged is lost, and the program lives.

use super::shim::Shim;
use super::{enter, names};
use crate::support::folder::Folder;
use crate::support::serving::Serving;
use crate::support::sse::request;
use std::collections::BTreeSet;
use std::net::SocketAddr;
use swingd::sim::Random;

/// Linux's numbers (errno.h).
const EIO: i32 = 5;
const ENOSPC: i32 = 28;

/// Enters one while the disk fails as it was told to. An answer is an acknowledgement or says that nothing was done; in that
/// case the same request succeeds once the disk is well.
async fn enter_against(shim: &Shim, serving: &Serving, address: SocketAddr, name: &str, note: &str) -> bool {
    let status = enter(address, name, note).await;
    let did_fail = shim.failed() > 0;
    shim.heal();
    assert!(status == 201 || (did_fail && [503, 507].contains(&status)), "{name}: {status}: {}", serving.errors());
    let health = request(address, "GET /v1/faults", &[], "").await;
    assert_eq!(health.status, 200, "{name}: the program does not answer any more");
    if status != 201 {
        assert_eq!(enter(address, name, note).await, 201, "{name}: on a disk that is well: {}", serving.errors());
    }
    did_fail
}

fn each_once(names: &[String], expected: &BTreeSet<String>, what: &str) {
    let found: BTreeSet<String> = names.iter().cloned().collect();
    assert_eq!(&found, expected, "{what}");
    assert_eq!(names.len(), expected.len(), "{what}: one is there twice");
}

#[tokio::test(flavor = "multi_thread")]
async fn each_call_that_stores_something_fails_in_turn() {
    for (error, calls) in [(EIO, 1), (ENOSPC, 1), (EIO, u64::MAX), (ENOSPC, u64::MAX)] {
        let folder = Folder::new("failing");
        let shim = Shim::new(&folder);
        let mut serving = Serving::start_with(&folder, &[], &shim.variables());
        let address = serving.address();
        let mut entered = BTreeSet::new();
        let mut tried = 0;
        loop {
            let name = format!("Bat {tried}");
            shim.fail(tried, calls, error);
            let did_fail = enter_against(&shim, &serving, address, &name, "").await;
            entered.insert(name);
            if !did_fail {
                break;
            }
            tried += 1;
        }
        println!("error {error}, {calls} calls at once: {tried} calls of one change failed in turn");
        assert!(tried >= 2, "only {tried} calls: nothing was synced");
        each_once(&names(address).await, &entered, "before the kill");
        serving.kill();
        let serving = Serving::start(&folder, &[]);
        each_once(&names(serving.address()).await, &entered, "after the kill");
    }
}

#[tokio::test(flavor = "multi_thread")]
async fn calls_fail_at_random_while_the_log_is_moved_into_the_database() {
    const CHANGES: u64 = 900;
    let folder = Folder::new("failing-much");
    let shim = Shim::new(&folder);
    let mut serving = Serving::start_with(&folder, &[], &shim.variables());
    let address = serving.address();
    let mut random = Random::new(860_001);
    let (mut entered, mut failed, note) = (BTreeSet::new(), 0, "w".repeat(2000));
    for k in 0..CHANGES {
        let name = format!("Bat {k}");
        let error = if random.chance(0.5) { EIO } else { ENOSPC };
        shim.fail(random.index(12) as u64, 1 + random.index(3) as u64, error);
        failed += u64::from(enter_against(&shim, &serving, address, &name, &note).await);
        entered.insert(name);
    }
    println!("{failed} of {CHANGES} changes met a failing call");
    assert!(failed > CHANGES / 4);
    // The log was moved into the database meanwhile, or the failures there were not tried.
    let database = std::fs::metadata(folder.kept().join("store.sqlite")).unwrap().len();
    assert!(database > 1_000_000, "{database} bytes");
    each_once(&names(address).await, &entered, "before the kill");
    serving.kill();
    let serving = Serving::start(&folder, &[]);
    each_once(&names(serving.address()).await, &entered, "after the kill");
}
