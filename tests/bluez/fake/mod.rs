//! A fake of the Bluetooth service `org.bluez`, and of the system's bus that leads to it.
//!
//! Programs under test are child processes with `DBUS_SYSTEM_BUS_ADDRESS` set to [`FakeBluez::address`]. Each method
//! changes what the service knows and sends the signals that BlueZ would. They are for plain threads, not for tasks.

mod bus;
mod sensor;
mod world;

pub use sensor::{Answer, FakeSensor};

use bus::Shared;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::Duration;
use tokio::net::UnixListener;
use tokio::runtime::{Builder, Runtime};
use tokio::task::JoinHandle;
use tokio::time::timeout;
use uuid::Uuid;
use world::{Adapter, Device, Sensor, World, Write};

/// The service's own name on the bus.
const SERVICE_NAME: &str = ":1.1";

/// How long a test waits for what it expects.
pub const PATIENCE: Duration = Duration::from_secs(20);

/// The fake, with one adapter `hci0` that is on; it ends when dropped.
pub struct FakeBluez {
    shared: Arc<Shared>,
    folder: PathBuf,
    listening: Option<JoinHandle<()>>,
    /// How often the bus was started.
    starts: usize,
    runtime: Option<Runtime>,
}

impl FakeBluez {
    pub fn start() -> Self {
        static COUNT: AtomicUsize = AtomicUsize::new(0);
        let number = COUNT.fetch_add(1, Ordering::Relaxed);
        let folder = std::env::temp_dir().join(format!("swingd-bluez-{}-{number}", std::process::id()));
        std::fs::create_dir_all(&folder).expect("a folder");
        let runtime = Builder::new_multi_thread().worker_threads(1).enable_all().build().expect("a runtime");
        let world = World { is_service_up: true, ..World::default() };
        let shared = Arc::new(Shared::new(world));
        let mut fake = Self { shared, folder, listening: None, starts: 0, runtime: Some(runtime) };
        fake.start_bus();
        fake.add_adapter("hci0");
        fake
    }

    /// For `DBUS_SYSTEM_BUS_ADDRESS`.
    pub fn address(&self) -> String {
        format!("unix:path={}", self.socket().display())
    }

    fn socket(&self) -> PathBuf {
        self.folder.join("bus")
    }

    fn runtime(&self) -> &Runtime {
        self.runtime.as_ref().expect("it lives as long as the fake")
    }

    fn change(&self, change: impl FnOnce(&mut World) -> Vec<zbus::Message>) {
        self.runtime().block_on(self.shared.change(change));
    }

    fn set(&self, change: impl FnOnce(&mut World)) {
        self.change(|world| {
            change(world);
            Vec::new()
        });
    }

    fn of_sensor(&self, address: &str, change: impl FnOnce(&mut Sensor)) {
        self.set(|world| change(world.sensors.get_mut(address).expect("a sensor that was added")));
    }

    // The bus and the service

    /// The bus takes programs, again after [`Self::stop_bus`].
    pub fn start_bus(&mut self) {
        let _entered = self.runtime().enter();
        let listener = UnixListener::bind(self.socket()).expect("a socket");
        self.listening = Some(tokio::spawn(bus::listen(listener, self.starts * 1000, self.shared.clone())));
        self.starts += 1;
    }

    /// The bus goes, with all its connections.
    pub fn stop_bus(&mut self) {
        if let Some(listening) = self.listening.take() {
            listening.abort();
        }
        let _ = std::fs::remove_file(self.socket());
        self.runtime().block_on(self.shared.close_all());
    }

    /// The Bluetooth service ends: its name and all its objects are lost without a signal, as are connections.
    pub fn stop_service(&self) {
        self.set(|world| {
            world.is_service_up = false;
            world.sensors.values_mut().for_each(|it| it.devices.clear());
            world.adapters.values_mut().for_each(|it| it.is_discovering = false);
        });
    }

    /// It is there again, and knows no sensor.
    pub fn start_service(&self) {
        self.set(|world| world.is_service_up = true);
    }

    /// Every answer comes so late.
    pub fn slow(&self, delay: Duration) {
        self.set(|world| world.delay = delay);
    }

    /// The bus lets nobody call the service.
    pub fn deny(&self) {
        self.set(|world| world.denied = Some("org.freedesktop.DBus.Error.AccessDenied"));
    }

    // Adapters

    pub fn add_adapter(&self, name: &str) {
        self.set(|world| {
            world.adapters.insert(name.into(), Adapter { is_powered: true, is_discovering: false });
        });
    }

    pub fn remove_adapter(&self, name: &str) {
        self.set(|world| {
            world.adapters.remove(name);
            world.sensors.values_mut().for_each(|it| drop(it.devices.remove(name)));
        });
    }

    pub fn power(&self, adapter: &str, is_on: bool) {
        self.change(|world| world.set_powered(adapter, is_on));
    }

    pub fn is_powered(&self, adapter: &str) -> bool {
        self.shared.world().adapters.get(adapter).is_some_and(|it| it.is_powered)
    }

    // Sensors

    /// A sensor that advertises from now on, to all adapters there are.
    pub fn add_sensor(&self, spec: FakeSensor) {
        self.change(|world| {
            let heard_by = world.adapters.keys().map(|it| (it.clone(), spec.signal_dbm)).collect();
            let sensor = Sensor {
                heard_by,
                devices: Default::default(),
                on_connect: Answer::Accept,
                on_read: Answer::Accept,
                on_write: Default::default(),
                writes: Vec::new(),
                spec,
            };
            world.sensors.insert(sensor.spec.address.clone(), sensor);
            world.hear()
        });
    }

    /// How well an adapter hears a sensor from now on, dBm; `None`: not at all.
    pub fn heard_by(&self, address: &str, adapter: &str, signal_dbm: Option<i16>) {
        self.change(|world| {
            let sensor = world.sensors.get_mut(address).expect("a sensor that was added");
            match signal_dbm {
                Some(signal_dbm) => drop(sensor.heard_by.insert(adapter.into(), signal_dbm)),
                None => drop(sensor.heard_by.remove(adapter)),
            }
            world.hear()
        });
    }

    /// The service lists the sensor from an earlier day, without having heard it.
    pub fn remember(&self, address: &str, adapter: &str) {
        self.of_sensor(address, |sensor| drop(sensor.devices.insert(adapter.into(), Device::default())));
    }

    pub fn on_connect(&self, address: &str, answer: Answer) {
        self.of_sensor(address, |sensor| sensor.on_connect = answer);
    }

    pub fn on_read(&self, address: &str, answer: Answer) {
        self.of_sensor(address, |sensor| sensor.on_read = answer);
    }

    /// What reads give from now on.
    pub fn set_value(&self, address: &str, uuid: Uuid, bytes: &[u8]) {
        self.of_sensor(address, |sensor| {
            sensor.spec.characteristic_mut(uuid).expect("a characteristic of the sensor").value = bytes.to_vec();
        });
    }

    /// What the sensor notifies, of which characteristic, after each write to `uuid` is answered.
    pub fn on_write(
        &self,
        address: &str,
        uuid: Uuid,
        hook: impl Fn(&[u8]) -> Vec<(Uuid, Vec<u8>)> + Send + Sync + 'static,
    ) {
        self.of_sensor(address, |sensor| drop(sensor.on_write.insert(uuid, Arc::new(hook))));
    }

    /// All that was written, in order.
    pub fn writes(&self, address: &str, uuid: Uuid) -> Vec<Vec<u8>> {
        self.of_writes(address, uuid, |it| it.bytes.clone())
    }

    /// How it was written: `request` is with response, `command` without.
    pub fn write_kinds(&self, address: &str, uuid: Uuid) -> Vec<String> {
        self.of_writes(address, uuid, |it| it.kind.clone())
    }

    fn of_writes<T>(&self, address: &str, uuid: Uuid, part: impl Fn(&Write) -> T) -> Vec<T> {
        let world = self.shared.world();
        let writes = world.sensors.get(address).map(|it| it.writes.as_slice()).unwrap_or_default();
        writes.iter().filter(|it| it.to == uuid).map(part).collect()
    }

    /// A notification; false if the program is not connected or has not turned them on, so that none is sent.
    /// Loss is one that is not sent, doubling one that is sent twice, and order is the test's own.
    pub fn notify(&self, address: &str, uuid: Uuid, bytes: &[u8]) -> bool {
        let signal = self.shared.world().notification(address, uuid, bytes);
        if let Some(signal) = &signal {
            self.runtime().block_on(self.shared.send(signal));
        }
        signal.is_some()
    }

    /// The connection is lost, and BlueZ says so.
    pub fn lose(&self, address: &str) {
        self.change(|world| {
            let adapters: Vec<String> = world.adapters.keys().cloned().collect();
            adapters.iter().flat_map(|adapter| world.lose(adapter, address)).collect()
        });
    }

    /// The connection is lost without a signal.
    pub fn lose_silently(&self, address: &str) {
        self.of_sensor(address, |sensor| sensor.devices.values_mut().for_each(|it| *it = Device::default()));
    }

    pub fn is_connected(&self, address: &str) -> bool {
        let world = self.shared.world();
        world.sensors.get(address).is_some_and(|it| it.devices.values().any(|device| device.is_connected))
    }

    /// The adapter that holds the connection.
    pub fn connected_by(&self, address: &str) -> Option<String> {
        let world = self.shared.world();
        let mut devices = world.sensors.get(address)?.devices.iter();
        devices.find(|(_, it)| it.is_connected).map(|(adapter, _)| adapter.clone())
    }

    // What the program did

    /// How often it called a method.
    pub fn calls(&self, member: &str) -> usize {
        self.shared.world().count(member)
    }

    /// Waits until it has called a method so often.
    ///
    /// # Panics
    /// If it has not within [`PATIENCE`].
    pub fn wait_for_calls(&self, member: &str, count: usize) {
        self.wait_until(|world| world.count(member) >= count, &format!("{count} calls of {member}"));
    }

    /// Waits until the bus has so many connections.
    ///
    /// # Panics
    /// If it has not within [`PATIENCE`].
    pub fn wait_for_connections(&self, count: usize) {
        self.wait_until(|world| world.connections == count, &format!("{count} connections"));
    }

    #[track_caller]
    fn wait_until(&self, is_so: impl Fn(&World) -> bool, what: &str) {
        let so = self.shared.until(|world| is_so(world).then_some(()));
        let in_time = self.runtime().block_on(async { timeout(PATIENCE, so).await });
        let world = self.shared.world();
        assert!(in_time.is_ok(), "expected {what}; {} connections, {:?}", world.connections, world.calls);
    }
}

impl Drop for FakeBluez {
    fn drop(&mut self) {
        if let Some(runtime) = self.runtime.take() {
            runtime.shutdown_background();
        }
        let _ = std::fs::remove_dir_all(&self.folder);
    }
}
