//! One sensor's connection, kept alive for ever.
//!
//! A task a sensor: connect, learn how to read it, subscribe, start, watch; on any trouble say what and why, wait a
//! little and begin again. Talks to the radio, puts what the connection itself has to say into the sensor's ring, in
//! order with the packets, and its faults to the hub. Ends only when it is cancelled, at the latest after the time-out of
//! the call it is in.

use super::clock::Clock;
use super::hub::{Fault, Hub};
use super::inlet::Inlet;
use super::radio::{Link, Radio, RadioError, printable};
use crate::engine::device::own::{self, Information, Request};
use crate::engine::wire::mcap::{DeviceRecord, Entry, LinkRecord, LinkState};
use std::sync::Arc;
use std::time::Duration;
use tokio::time::{Instant, MissedTickBehavior, interval, sleep, timeout};
use tokio_util::sync::CancellationToken;
use uuid::Uuid;

/// A connection is given up when nothing has come over it for so long: some platforms never report a loss. Longer than
/// the fault is waited for, as links do stall for a second or two.
const SILENCE: Duration = Duration::from_millis(2500);
/// The first packet after a start may take so long.
const FIRST_PACKET: Duration = Duration::from_secs(5);
/// All of connecting and discovering may take so long.
const CONNECTING: Duration = Duration::from_secs(30);
/// A read, write or subscription may take so long.
const CALL: Duration = Duration::from_secs(5);
/// Asking whether the connection is there, and ending it, may take so long.
const SHORT_CALL: Duration = Duration::from_secs(1);
/// Asking the system why may take so long: the loss itself is to be told soon.
const ASK_WHY: Duration = Duration::from_millis(400);
/// The wait before the second attempt; doubled for each further one,
const FIRST_WAIT: Duration = Duration::from_millis(100);
/// up to this: a sensor that comes back is not waited for much longer.
const LONGEST_WAIT: Duration = Duration::from_millis(1600);
/// The connection is looked at so often.
const LOOK_EVERY: Duration = Duration::from_millis(250);
/// The clocks are compared three times once the sensor sends, where it can,
const FIRST_EXCHANGES: u32 = 2;
const EXCHANGE_FIRST_EVERY: Duration = Duration::from_secs(1);
/// and then so often,
const EXCHANGE_EVERY: Duration = Duration::from_secs(60);
/// and the battery is read so often.
const BATTERY_EVERY: Duration = Duration::from_secs(60);

/// One text for all ways of being away, so that a sensor at the edge of reach is not told of again and again.
const CONNECTS_ANEW: &str = "it is tried again by itself; should that not help: wake the sensor, bring it closer, check its \
                             battery; nothing else may be connected to it";

/// The fault of a connection.
pub const CONNECTION: &str = "connection";

/// A sensor that is to be kept connected.
#[derive(Clone, Debug, PartialEq)]
pub struct Target {
    /// What the radio calls it.
    pub id: String,
    /// The name it advertises.
    pub name: Option<String>,
    /// How it is spoken to.
    pub speaks: Speaks,
}

/// How a sensor is spoken to.
#[derive(Clone, Debug, PartialEq)]
pub enum Speaks {
    /// The project's own profile.
    Own,
    /// As a descriptor says.
    Described(Box<Described>),
}

/// What a descriptor says of the connection.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Described {
    /// The descriptor's text.
    pub toml: String,
    /// Characteristics to be notified by.
    pub notify: Vec<Uuid>,
    /// What to write to start it.
    pub start: Vec<Write>,
    /// What to write to stop it.
    pub stop: Vec<Write>,
}

/// Bytes to be written to a characteristic.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Write {
    /// Where.
    pub characteristic: Uuid,
    /// What.
    pub bytes: Vec<u8>,
    /// Whether the sensor is to acknowledge it, where the characteristic can be written either way.
    pub with_response: bool,
}

/// What a connection needs around it.
pub struct Keeper<R> {
    /// The radio.
    pub radio: Arc<R>,
    /// Whom to connect to.
    pub target: Target,
    /// Where its packets go.
    pub inlet: Arc<Inlet>,
    /// Where faults go.
    pub hub: Arc<Hub>,
    /// The time.
    pub clock: Arc<dyn Clock>,
    /// Ends it: the service stops.
    pub cancel: CancellationToken,
    /// Ends it: the sensor is not to be used any more. A child of `cancel`.
    pub let_go: CancellationToken,
}

/// What a connection has turned out to be.
struct Made<L> {
    link: L,
    exchanges_times: bool,
    has_battery: bool,
    stop: Vec<Write>,
}

impl<R: Radio> Keeper<R> {
    /// Keeps the sensor connected until cancelled or let go.
    pub async fn run(self) {
        self.keep().await;
        if !self.cancel.is_cancelled() {
            self.hub.clear(Some(self.inlet.sensor()), CONNECTION);
        }
    }

    async fn keep(&self) {
        let (mut wait, mut hardware) = (FIRST_WAIT, None);
        while !self.let_go.is_cancelled() {
            let before = self.inlet.received();
            // One that is let go while it is being connected to is disconnected in order, once it is.
            let made = tokio::select! {
                made = limited("connecting", CONNECTING, self.connect(&mut hardware)) => made,
                () = self.cancel.cancelled() => return,
            };
            let error = match made {
                Ok(made) => {
                    self.tell(LinkState::Connected, None);
                    let lost = tokio::select! {
                        error = self.watch(&made) => Some(error),
                        // These never end: a call of theirs that hangs holds up nothing.
                        () = self.exchange_times(&made, before) => None,
                        () = self.read_battery(&made) => None,
                        () = self.let_go.cancelled() => None,
                    };
                    let Some(error) = lost else { return self.end(made).await };
                    let error = self.why(error).await;
                    self.tell(LinkState::Lost, Some(error.to_string()));
                    let _ = timeout(SHORT_CALL, made.link.disconnect()).await;
                    error
                }
                Err(error) => error,
            };
            self.fault(&error);
            if self.inlet.received() > before {
                wait = FIRST_WAIT;
            }
            tokio::select! {
                () = sleep(wait) => {}
                () = self.let_go.cancelled() => return,
            }
            wait = (2 * wait).min(LONGEST_WAIT);
        }
    }

    /// Why a connection was lost, if it was not the sensor's doing.
    async fn why(&self, error: RadioError) -> RadioError {
        match timeout(ASK_WHY, self.radio.health()).await {
            Ok(Err(cause)) => cause,
            Ok(Ok(())) | Err(_) => error,
        }
    }

    /// `hardware` is what the sensor says of itself, asked for once: each reading is as slow as the link, and a sensor that
    /// is back is waited for.
    async fn connect(&self, hardware: &mut Option<String>) -> Result<Made<R::Link>, RadioError> {
        let sink = self.inlet.sink(Arc::clone(&self.clock));
        let link = self.radio.connect(&self.target.id, sink).await?;
        let started = match &self.target.speaks {
            Speaks::Own => {
                let exchanges_times = self.start_own(&link, hardware).await;
                exchanges_times.map(|exchanges_times| (exchanges_times, vec![control(Request::Stop)]))
            }
            Speaks::Described(described) => {
                self.start_described(&link, described, hardware).await.map(|()| (false, described.stop.clone()))
            }
        };
        match started {
            Ok((exchanges_times, stop)) => {
                let has_battery = link.characteristics().contains(&uuid(own::BATTERY_LEVEL));
                Ok(Made { link, exchanges_times, has_battery, stop })
            }
            Err(error) => {
                let _ = timeout(SHORT_CALL, link.disconnect()).await;
                Err(error)
            }
        }
    }

    /// Starts it; whether it exchanges times.
    async fn start_own(&self, link: &R::Link, hardware: &mut Option<String>) -> Result<bool, RadioError> {
        let bytes = read(link, uuid(own::INFORMATION)).await?;
        let hardware = self.hardware(link, hardware).await;
        let device = DeviceRecord { name: self.target.name.clone(), hardware, ..DeviceRecord::default() }
            .with_information(&bytes);
        self.push(|log_time_ns| Entry::Device { log_time_ns, device });
        // Information that cannot be read is told by the session, and what comes is recorded all the same.
        let exchanges_times = Information::parse(&bytes).is_ok_and(|it| it.capabilities.exchanges_times);
        subscribe(link, uuid(own::CONTROL)).await?;
        subscribe(link, uuid(own::DATA)).await?;
        write(link, &control(Request::Start)).await?;
        Ok(exchanges_times)
    }

    async fn start_described(
        &self,
        link: &R::Link,
        described: &Described,
        hardware: &mut Option<String>,
    ) -> Result<(), RadioError> {
        let (name, hardware) = (self.target.name.clone(), self.hardware(link, hardware).await);
        let device =
            DeviceRecord { name, hardware, descriptor_toml: Some(described.toml.clone()), ..DeviceRecord::default() };
        self.push(|log_time_ns| Entry::Device { log_time_ns, device });
        for characteristic in &described.notify {
            subscribe(link, *characteristic).await?;
        }
        for start in &described.start {
            write(link, start).await?;
        }
        Ok(())
    }

    /// Manufacturer, model and firmware, as far as the sensor says.
    async fn hardware(&self, link: &R::Link, known: &mut Option<String>) -> Option<String> {
        if known.is_some() {
            return known.clone();
        }
        let there = link.characteristics();
        let mut parts = Vec::new();
        for characteristic in [own::MANUFACTURER_NAME, own::MODEL_NUMBER, own::FIRMWARE_REVISION].map(uuid) {
            if there.contains(&characteristic)
                && let Ok(bytes) = read(link, characteristic).await
            {
                parts.push(printable(&String::from_utf8_lossy(&bytes)));
            }
        }
        *known = (!parts.is_empty()).then(|| parts.join(" "));
        known.clone()
    }

    /// Watches a connection until it is lost.
    async fn watch(&self, made: &Made<R::Link>) -> RadioError {
        let started = Instant::now();
        let before = self.inlet.received();
        let mut heard = false;
        let mut looks = interval(LOOK_EVERY);
        looks.set_missed_tick_behavior(MissedTickBehavior::Delay);
        loop {
            looks.tick().await;
            if self.inlet.received() > before && !heard {
                heard = true;
                self.hub.clear(Some(self.inlet.sensor()), CONNECTION);
            }
            let is_due = heard || started.elapsed() > FIRST_PACKET;
            if is_due && self.is_silent(SILENCE) {
                return RadioError::Lost;
            }
            match timeout(SHORT_CALL, made.link.is_connected()).await {
                Ok(true) => {}
                Ok(false) => return RadioError::Lost,
                // The system is slow, or gone, and then no data come either.
                Err(_) if is_due && self.is_silent(SHORT_CALL) => return RadioError::ServiceGone("no answer".into()),
                Err(_) => tracing::debug!(sensor = self.inlet.sensor(), "no answer whether it is connected"),
            }
        }
    }

    /// Compares clocks, if the sensor can: some times once it sends, then now and then.
    async fn exchange_times(&self, made: &Made<R::Link>, before: u64) {
        while !made.exchanges_times || self.inlet.received() <= before {
            sleep(LOOK_EVERY).await;
        }
        for count in 0_u32.. {
            let sent_utc_ns = self.clock.now().utc_ns;
            // One that fails is one comparison fewer; a lost connection shows by its silence.
            let _ = write(&made.link, &control(Request::ExchangeTimes { sent_utc_ns })).await;
            sleep(if count < FIRST_EXCHANGES { EXCHANGE_FIRST_EVERY } else { EXCHANGE_EVERY }).await;
        }
    }

    async fn read_battery(&self, made: &Made<R::Link>) {
        loop {
            if made.has_battery
                && let Ok(bytes) = read(&made.link, uuid(own::BATTERY_LEVEL)).await
            {
                self.inlet.aside(own::BATTERY_LEVEL.to_owned(), bytes, self.clock.now());
            }
            sleep(BATTERY_EVERY).await;
        }
    }

    /// Whether nothing has come for so long.
    fn is_silent(&self, time: Duration) -> bool {
        self.inlet.silent_s(self.clock.now()).is_none_or(|silent_s| silent_s > time.as_secs_f64())
    }

    /// Leaves the sensor at rest.
    async fn end(&self, made: Made<R::Link>) {
        for Write { characteristic, bytes, with_response } in &made.stop {
            let _ = timeout(SHORT_CALL, made.link.write(*characteristic, bytes, *with_response)).await;
        }
        let cause =
            if self.cancel.is_cancelled() { "the service was stopped" } else { "it is not to be used any more" };
        self.tell(LinkState::Lost, Some(cause.into()));
        let _ = timeout(SHORT_CALL, made.link.disconnect()).await;
    }

    fn tell(&self, state: LinkState, cause: Option<String>) {
        tracing::info!(sensor = self.inlet.sensor(), ?state, cause, "connection");
        self.push(|log_time_ns| Entry::Link { log_time_ns, link: LinkRecord { state, cause } });
    }

    fn fault(&self, error: &RadioError) {
        let is_away = matches!(error, RadioError::Lost | RadioError::NotFound | RadioError::TimedOut { .. });
        let remedy = if is_away { CONNECTS_ANEW } else { error.remedy() };
        self.hub.fault(Fault {
            sensor: Some(self.inlet.sensor().to_owned()),
            key: CONNECTION,
            cause: error.to_string(),
            remedy: remedy.to_owned(),
        });
    }

    fn push(&self, entry: impl FnOnce(u64) -> Entry) {
        let log_time_ns = u64::try_from(self.clock.now().utc_ns).unwrap_or(0);
        self.inlet.push(entry(log_time_ns));
    }
}

/// One of the constants of the profile, which are all valid.
fn uuid(text: &str) -> Uuid {
    Uuid::parse_str(text).unwrap_or_default()
}

async fn limited<T>(
    what: &'static str,
    limit: Duration,
    call: impl Future<Output = Result<T, RadioError>>,
) -> Result<T, RadioError> {
    match timeout(limit, call).await {
        Ok(done) => done,
        Err(_) => Err(RadioError::TimedOut { what, limit_s: limit.as_secs() }),
    }
}

async fn read<L: Link>(link: &L, characteristic: Uuid) -> Result<Vec<u8>, RadioError> {
    limited("reading from the sensor", CALL, link.read(characteristic)).await
}

async fn write<L: Link>(link: &L, what: &Write) -> Result<(), RadioError> {
    let Write { characteristic, bytes, with_response } = what;
    limited("writing to the sensor", CALL, link.write(*characteristic, bytes, *with_response)).await
}

/// A request to the control characteristic, which is always acknowledged.
fn control(request: Request) -> Write {
    Write { characteristic: uuid(own::CONTROL), bytes: request.encode(), with_response: true }
}

async fn subscribe<L: Link>(link: &L, characteristic: Uuid) -> Result<(), RadioError> {
    limited("subscribing to the sensor", CALL, link.subscribe(characteristic)).await
}
