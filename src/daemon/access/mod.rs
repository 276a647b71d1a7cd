//! Who may: which requests are looked at, who they come from, what they may, and who saw what.
//!
//! In the order in which a request meets them: [`server`] takes the connection ([`room`]: if there is a place);
//! [`host`]: whether it means this service and no page from elsewhere sent it; [`rate`]: whether it is not one too many;
//! [`caller`]: who it comes from; [`rules`]: what a route needs; [`about`]: whom it is about; [`ledger`]: that it was
//! answered, kept before the answer goes out. [`pairing`] and [`secret`]: how a device gets its token.
//!
//! All but `server` and `ledger` are decisions that are told the time. What a front-end has to know: proto-docs/access.md.

pub mod about;
pub mod caller;
pub mod host;
pub mod ledger;
pub mod pairing;
pub mod rate;
pub mod room;
pub mod rules;
pub mod secret;
pub mod server;
mod settings;

pub use caller::{Peer, Who};
pub use settings::{Patience, Settings};

use super::store::Store;
use host::Hosts;
use ledger::Ledger;
use pairing::Desk;
use rate::Rates;
use std::collections::BTreeSet;
use std::net::SocketAddr;
use std::sync::{Mutex, MutexGuard, PoisonError};
use uuid::Uuid;

/// What the router decides with.
#[derive(Debug)]
pub struct Access {
    /// By which names the service may be asked.
    pub hosts: Hosts,
    /// How long a request may take.
    pub patience: Patience,
    /// Where it is written down who saw what.
    pub ledger: Ledger,
    /// What this installation is called.
    pub cage: String,
    /// Where the service listens.
    pub listen: SocketAddr,
    rates: Mutex<Rates>,
    desk: Mutex<Desk>,
}

/// Whose data an answer is about beside those whom request and answer name: a handler that knows it puts it into its answer's
/// extensions.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct OfAthletes(pub BTreeSet<Uuid>);

impl Access {
    /// For a service that listens there; to be called on a runtime.
    pub fn new(settings: &Settings, cage: String, listen: SocketAddr, store: Store) -> Self {
        Self {
            hosts: Hosts::new(&settings.hosts),
            patience: settings.patience,
            ledger: Ledger::open(store),
            cage,
            listen,
            rates: Mutex::new(Rates::new(settings.requests_per_minute)),
            desk: Mutex::default(),
        }
    }

    /// How often one may ask.
    pub fn rates(&self) -> MutexGuard<'_, Rates> {
        self.rates.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Where pairing codes are given back.
    pub fn desk(&self) -> MutexGuard<'_, Desk> {
        self.desk.lock().unwrap_or_else(PoisonError::into_inner)
    }
}
