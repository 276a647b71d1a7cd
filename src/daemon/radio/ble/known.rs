//! A peripheral that was connected to, with its one stream of notifications.

use super::super::{RadioError, Sink};
use super::session::{Session, locked};
use btleplug::api::Peripheral as _;
use btleplug::platform::Peripheral;
use futures::StreamExt as _;
use std::sync::{Arc, Mutex};
use tokio::sync::OnceCell;
use tokio::task::JoinHandle;

/// Kept for as long as the session lives.
///
/// After a loss the stream goes silent, and resumes with the next connection to the same peripheral; a second stream
/// would double everything. What notifications mean is looked up in this `Peripheral`, so it alone is asked to discover.
pub(super) struct Known {
    pub(super) peripheral: Peripheral,
    lead: Mutex<Lead>,
    drain: OnceCell<JoinHandle<()>>,
}

/// Where notifications go.
#[derive(Default)]
struct Lead {
    sink: Option<Sink>,
    /// Counts the connections, whose sinks may be one and the same.
    connection: u64,
}

impl Known {
    pub(super) fn new(peripheral: Peripheral) -> Self {
        Self { peripheral, lead: Mutex::default(), drain: OnceCell::new() }
    }

    /// Sees to it that notifications are drained, by one task that does nothing else.
    pub(super) async fn drain(self: &Arc<Self>, session: &Session) -> Result<(), RadioError> {
        let (weak, peripheral) = (Arc::downgrade(self), self.peripheral.clone());
        let begin = session.of_service(async move {
            let mut stream = peripheral.notifications().await?;
            Ok(tokio::spawn(async move {
                while let Some(notification) = stream.next().await {
                    let sink = weak.upgrade().and_then(|known| locked(&known.lead).sink.clone());
                    if let Some(sink) = sink {
                        sink(notification.uuid, notification.value);
                    }
                }
            }))
        });
        self.drain.get_or_try_init(|| begin).await.map(drop)
    }

    /// Whether its stream has ended; none does on Linux.
    pub(super) fn is_over(&self) -> bool {
        self.drain.get().is_some_and(JoinHandle::is_finished)
    }

    /// From now on notifications go there. Returns what [`Self::detach`] takes.
    pub(super) fn attach(&self, sink: Sink) -> u64 {
        let mut lead = locked(&self.lead);
        *lead = Lead { sink: Some(sink), connection: lead.connection + 1 };
        lead.connection
    }

    /// From now on they go nowhere, unless a later connection has attached a sink.
    pub(super) fn detach(&self, connection: u64) {
        let mut lead = locked(&self.lead);
        if lead.connection == connection {
            lead.sink = None;
        }
    }
}
