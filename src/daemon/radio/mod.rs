//! The radio behind one narrow trait: what the daemon needs of Bluetooth, and nothing of how it is had.
//!
//! [`ble`] is the real one; tests have others that misbehave on purpose.

pub mod ble;

use std::future::Future;
use std::sync::Arc;
use std::time::Duration;
use uuid::Uuid;

/// Where a sensor's notifications go. It is called from the task that drains them and does nothing but stamp and copy
/// into a ring, so it never blocks.
pub type Sink = Arc<dyn Fn(Uuid, Vec<u8>) + Send + Sync>;

/// A sensor that can be heard.
#[derive(Clone, Debug, PartialEq)]
pub struct Advert {
    /// What [`Radio::connect`] takes: stable on this machine (on macOS no address is told).
    pub id: String,
    /// The name it advertises.
    pub name: Option<String>,
    /// Signal strength, dBm.
    pub rssi_dbm: Option<i16>,
    /// Services it advertises.
    pub services: Vec<Uuid>,
    /// The adapter that heard it.
    pub adapter: String,
}

/// Text as it came over the air, without what would steer a terminal, and not endless.
pub fn printable(text: &str) -> String {
    let shown = text.trim_matches(['\0', ' ']).chars().map(|c| if c.is_control() { '\u{fffd}' } else { c });
    shown.take(LONGEST_TEXT).collect()
}

/// Longer texts are cut: an advert holds 29 bytes of name at most, but a system's Bluetooth service may know more.
const LONGEST_TEXT: usize = 40;

/// What went wrong on the radio, and what can be done about it.
#[derive(Clone, Debug, PartialEq, Eq, thiserror::Error)]
pub enum RadioError {
    /// There is no adapter.
    #[error("no Bluetooth adapter was found")]
    NoAdapter,
    /// The adapter is switched off.
    #[error("Bluetooth is switched off")]
    SwitchedOff,
    /// The system does not let this program use Bluetooth.
    #[error("the system does not let this program use Bluetooth: {0}")]
    NotPermitted(String),
    /// The system's Bluetooth service does not answer.
    #[error("the Bluetooth service does not answer: {0}")]
    ServiceGone(String),
    /// The sensor cannot be heard.
    #[error("the sensor cannot be heard")]
    NotFound,
    /// It lacks a characteristic.
    #[error("the sensor has no characteristic {0}")]
    NoCharacteristic(Uuid),
    /// The connection is gone.
    #[error("the connection was lost")]
    Lost,
    /// Something took too long.
    #[error("{what} took more than {limit_s} s")]
    TimedOut {
        /// What.
        what: &'static str,
        /// The limit, s.
        limit_s: u64,
    },
    /// Anything else, in the system's words.
    #[error("{0}")]
    Other(String),
}

impl RadioError {
    /// What a person can do about it.
    pub fn remedy(&self) -> &'static str {
        match self {
            Self::NoAdapter => "plug in a Bluetooth adapter, or switch the built-in one on",
            Self::SwitchedOff => "switch Bluetooth on",
            Self::NotPermitted(_) => "allow this program to use Bluetooth in the system's privacy settings",
            Self::ServiceGone(_) => "start the Bluetooth service (on Linux: systemctl start bluetooth)",
            Self::NotFound | Self::Lost | Self::TimedOut { .. } => {
                "wake the sensor, bring it closer, check its battery; nothing else may be connected to it"
            }
            Self::NoCharacteristic(_) => "check that the descriptor fits this sensor's firmware",
            Self::Other(_) => "switch Bluetooth off and on again; should that not help, restart the sensor",
        }
    }
}

/// All adapters of the machine.
pub trait Radio: Send + Sync + 'static {
    /// A connection of it.
    type Link: Link;

    /// Whether it can be used at all.
    fn health(&self) -> impl Future<Output = Result<(), RadioError>> + Send;

    /// Listens for so long; everything that was heard in that time, each once, with its last signal strength.
    fn scan(&self, duration: Duration) -> impl Future<Output = Result<Vec<Advert>, RadioError>> + Send;

    /// Connects and discovers. From [`Link::subscribe`] on, notifications go to `sink`, each exactly once, also when this
    /// is the second connection to the same sensor.
    fn connect(&self, id: &str, sink: Sink) -> impl Future<Output = Result<Self::Link, RadioError>> + Send;
}

/// A connection to one sensor.
pub trait Link: Send + Sync + 'static {
    /// Its characteristics.
    fn characteristics(&self) -> Vec<Uuid>;

    /// Reads a value.
    fn read(&self, characteristic: Uuid) -> impl Future<Output = Result<Vec<u8>, RadioError>> + Send;

    /// Writes a value; where the characteristic can be written either way, with response or without.
    fn write(
        &self,
        characteristic: Uuid,
        bytes: &[u8],
        with_response: bool,
    ) -> impl Future<Output = Result<(), RadioError>> + Send;

    /// Turns notifications or indications on.
    fn subscribe(&self, characteristic: Uuid) -> impl Future<Output = Result<(), RadioError>> + Send;

    /// Whether the platform still takes it for connected; some never report a loss.
    fn is_connected(&self) -> impl Future<Output = bool> + Send;

    /// Ends the connection.
    fn disconnect(&self) -> impl Future<Output = ()> + Send;
}
