//! Listening for adverts: one task turns it on while anybody wants it, and off after the last one.
//!
//! BlueZ counts one discovery for each program, so two scans that begin and end it for themselves would end each other's.

use super::super::RadioError;
use super::error::unless_so_already;
use super::near::powered_adapters;
use btleplug::api::{Central as _, ScanFilter};
use btleplug::platform::Manager;
use std::time::Duration;
use tokio::sync::watch;
use tokio::time::{sleep, timeout};

/// How often listening is asked for again: an adapter that was switched off and on has forgotten it.
const AGAIN: Duration = Duration::from_secs(1);

/// How the last attempt to listen ended; `None` while nobody wants it.
type Outcome = Option<Result<(), RadioError>>;

/// Asks the task to listen.
#[derive(Debug)]
pub(super) struct Discovery {
    listeners: watch::Sender<usize>,
    outcome: watch::Receiver<Outcome>,
}

/// Adverts are listened for while this lives.
#[derive(Debug)]
pub(super) struct Listening(watch::Sender<usize>);

impl Drop for Listening {
    fn drop(&mut self) {
        self.0.send_modify(|count| *count = count.saturating_sub(1));
    }
}

impl Discovery {
    /// Starts the task on the current runtime; it ends with the last [`Discovery`] and [`Listening`].
    pub(super) fn new(manager: Manager, limit: Duration) -> Self {
        let (listeners, wanted) = watch::channel(0);
        let (report, outcome) = watch::channel(None);
        tokio::spawn(run(manager, limit, wanted, report));
        Self { listeners, outcome }
    }

    /// Listens from now on; returns once it is on.
    pub(super) async fn listen(&self) -> Result<Listening, RadioError> {
        self.listeners.send_modify(|count| *count += 1);
        let listening = Listening(self.listeners.clone());
        let mut outcome = self.outcome.clone();
        let gone = || RadioError::ServiceGone("the radio was ended".into());
        let outcome = outcome.wait_for(Option::is_some).await.map_err(|_| gone())?.clone();
        outcome.unwrap_or_else(|| Err(gone()))?;
        Ok(listening)
    }
}

async fn run(manager: Manager, limit: Duration, mut wanted: watch::Receiver<usize>, report: watch::Sender<Outcome>) {
    while wanted.wait_for(|count| *count > 0).await.is_ok() {
        while *wanted.borrow() > 0 {
            report.send_replace(Some(bounded(limit, start(&manager)).await));
            tokio::select! {
                _ = wanted.wait_for(|count| *count == 0) => {}
                () = sleep(AGAIN) => {}
            }
        }
        report.send_replace(None);
        let _ = bounded(limit, stop(&manager)).await;
    }
}

async fn bounded(limit: Duration, work: impl Future<Output = Result<(), RadioError>>) -> Result<(), RadioError> {
    let late = || RadioError::TimedOut { what: "listening for sensors", limit_s: limit.as_secs() };
    timeout(limit, work).await.unwrap_or_else(|_| Err(late()))
}

/// On every adapter that is switched on; an error if none would. (`start_scan` itself switches adapters on, so those
/// that are off are left out.)
async fn start(manager: &Manager) -> Result<(), RadioError> {
    let mut outcome = Err(RadioError::NoAdapter);
    for adapter in powered_adapters(manager).await? {
        let started = adapter.start_scan(ScanFilter::default()).await.map_err(RadioError::from);
        let started = started.or_else(unless_so_already);
        outcome = if outcome.is_ok() { outcome } else { started };
    }
    outcome
}

async fn stop(manager: &Manager) -> Result<(), RadioError> {
    for adapter in powered_adapters(manager).await? {
        let _ = adapter.stop_scan().await;
    }
    Ok(())
}
