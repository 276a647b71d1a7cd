//! The socket that is taken for the system's bus, and the answers: of the bus itself, and of the Bluetooth service.

use super::sensor::Answer;
use super::world::{ADAPTER, CHARACTERISTIC, Call, DEVICE, OBJECT_MANAGER, Object, PROPERTIES, World, owned_path};
use super::world::{Interfaces, Write, changed};
use futures::StreamExt;
use std::collections::{BTreeMap, HashMap};
use std::sync::{Arc, Mutex, MutexGuard};
use std::time::Duration;
use tokio::net::{UnixListener, UnixStream};
use tokio::sync::watch;
use zbus::message::{Header, Type};
use zbus::zvariant::{DynamicType, Type as Signed};
use zbus::{Connection, Guid, Message, OwnedObjectPath, OwnedVariant, Variant, connection::Builder};

const BUS: &str = "org.freedesktop.DBus";
const UNKNOWN_OBJECT: Refusal = ("org.freedesktop.DBus.Error.UnknownObject", "no such object");
const UNKNOWN_METHOD: Refusal = ("org.freedesktop.DBus.Error.UnknownMethod", "no such method");
const NO_SERVICE: Refusal =
    ("org.freedesktop.DBus.Error.ServiceUnknown", "The name org.bluez was not provided by any .service files");
const NOT_READY: Refusal = ("org.bluez.Error.NotReady", "Resource Not Ready");
const IN_PROGRESS: Refusal = ("org.bluez.Error.InProgress", "Operation already in progress");
const NOT_CONNECTED: Refusal = ("org.bluez.Error.Failed", "Not connected");
const NOTIFYING: Refusal = ("org.bluez.Error.Failed", "Already notifying");
const BROKEN_OFF: Refusal = ("org.bluez.Error.Failed", "le-connection-abort-by-local");

/// An error's name and message.
type Refusal = (&'static str, &'static str);

/// What tests and connections share.
pub struct Shared {
    world: Mutex<World>,
    /// Counts changes of the world.
    version: watch::Sender<u64>,
    clients: Mutex<Vec<Connection>>,
}

impl Shared {
    pub fn new(world: World) -> Self {
        Self { world: Mutex::new(world), version: watch::Sender::new(0), clients: Mutex::default() }
    }

    pub fn world(&self) -> MutexGuard<'_, World> {
        self.world.lock().expect("no panic while the world changes")
    }

    /// Changes the world, and sends what is to be said of it.
    pub async fn change(&self, change: impl FnOnce(&mut World) -> Vec<Message>) {
        let signals = change(&mut self.world());
        self.version.send_modify(|version| *version += 1);
        for signal in signals {
            self.send(&signal).await;
        }
    }

    pub async fn send(&self, signal: &Message) {
        let clients = self.clients.lock().expect("no panic").clone();
        for client in clients {
            // One that has gone meanwhile hears nothing.
            let _ = client.send(signal).await;
        }
    }

    /// Waits until the world is so.
    pub async fn until<T>(&self, mut look: impl FnMut(&mut World) -> Option<T>) -> T {
        let mut version = self.version.subscribe();
        loop {
            if let Some(found) = look(&mut self.world()) {
                return found;
            }
            version.changed().await.expect("the sender is ours");
        }
    }

    pub async fn close_all(&self) {
        let clients = std::mem::take(&mut *self.clients.lock().expect("no panic"));
        for client in clients {
            let _ = client.close().await;
        }
    }
}

/// Takes programs until it is aborted, and numbers them.
pub async fn listen(listener: UnixListener, first_client: usize, shared: Arc<Shared>) {
    for client in 0.. {
        let Ok((stream, _)) = listener.accept().await else { return };
        tokio::spawn(serve(stream, first_client + client, shared.clone()));
    }
}

async fn serve(stream: UnixStream, client: usize, shared: Arc<Shared>) {
    let Ok(stream) = stream.into_std() else { return };
    let builder = Builder::unix_stream(stream).server(Guid::generate()).p2p();
    let Ok(mut calls) = builder.build_message_stream().await else { return };
    let connection = Connection::from(&calls);
    shared.clients.lock().expect("no panic").push(connection.clone());
    shared.change(|world| said_nothing(|| world.connections += 1)).await;
    while let Some(Ok(message)) = calls.next().await {
        if message.message_type() == Type::MethodCall {
            // Each on its own, so that one that hangs holds up no other.
            tokio::spawn(Asked { connection: connection.clone(), client, message, shared: shared.clone() }.answer());
        }
    }
    // The stream's end is the connection's.
    shared.clients.lock().expect("no panic").retain(|it| !it.is_closed());
    shared.change(|world| said_nothing(|| world.forget(client))).await;
}

/// A change that the service says nothing of.
fn said_nothing(change: impl FnOnce()) -> Vec<Message> {
    change();
    Vec::new()
}

/// One call by the program.
struct Asked {
    connection: Connection,
    client: usize,
    message: Message,
    shared: Arc<Shared>,
}

impl Asked {
    async fn answer(self) {
        let header = self.message.header();
        let is_for_bus = header.destination().is_some_and(|it| it.as_str() == BUS);
        let refused = if is_for_bus { self.by_bus(&header).await } else { self.by_service(&header).await };
        if let Err((name, message)) = refused {
            let reply = Message::error(&header, name).and_body(&(message,));
            let _ = self.connection.send(&reply).await;
        }
    }

    async fn reply<B: serde::Serialize + DynamicType>(&self, body: &B) -> Result<(), Refusal> {
        let _ = self.connection.send(&Message::method_return(&self.message.header()).and_body(body)).await;
        Ok(())
    }

    fn arguments<T>(&self) -> Result<T, Refusal>
    where
        T: serde::de::DeserializeOwned + Signed,
    {
        let wrong = |_| ("org.freedesktop.DBus.Error.InvalidArgs", "not the arguments of this method");
        self.message.body().deserialize().map_err(wrong)
    }

    async fn by_bus(&self, header: &Header<'_>) -> Result<(), Refusal> {
        match header.member().map(|it| it.as_str()).unwrap_or_default() {
            "Hello" => self.reply(&":1.7").await,
            "AddMatch" | "RemoveMatch" => self.reply(&()).await,
            "NameHasOwner" => {
                let is_up = self.shared.world().is_service_up;
                self.reply(&is_up).await
            }
            "GetNameOwner" => {
                let is_up = self.shared.world().is_service_up;
                if is_up { self.reply(&super::SERVICE_NAME).await } else { Err(NO_SERVICE) }
            }
            _ => Err(UNKNOWN_METHOD),
        }
    }

    async fn by_service(&self, header: &Header<'_>) -> Result<(), Refusal> {
        let path = header.path().map(|it| it.to_string()).unwrap_or_default();
        let member = header.member().map(|it| it.to_string()).unwrap_or_default();
        let interface = header.interface().map(|it| it.to_string()).unwrap_or_default();
        let call = Call { path: path.clone(), member: member.clone() };
        self.change(|world| world.calls.push(call)).await;
        let (delay, is_up, denied) = {
            let world = self.shared.world();
            (world.delay, world.is_service_up, world.denied)
        };
        tokio::time::sleep(delay).await;
        if !is_up {
            return Err(NO_SERVICE);
        }
        if let Some(error) = denied {
            return Err((error, "Rejected send message"));
        }
        let object = Object::parse(&path).ok_or(UNKNOWN_OBJECT)?;
        let interfaces = self.shared.world().interfaces(&object).ok_or(UNKNOWN_OBJECT)?;
        match (interface.as_str(), member.as_str()) {
            ("org.freedesktop.DBus.Introspectable", "Introspect") => self.introspect(&object).await,
            (OBJECT_MANAGER, "GetManagedObjects") => self.managed_objects().await,
            (PROPERTIES, "Get") => self.property(interfaces).await,
            (PROPERTIES, "GetAll") => {
                let (interface,): (String,) = self.arguments()?;
                self.reply(interfaces.get(&interface).ok_or(UNKNOWN_METHOD)?).await
            }
            (PROPERTIES, "Set") => self.set(&object).await,
            (ADAPTER, _) => self.of_adapter(&object, &member).await,
            (DEVICE, _) => self.of_device(&object, &member).await,
            (CHARACTERISTIC, _) => self.of_characteristic(&object, &member).await,
            _ => Err(UNKNOWN_METHOD),
        }
    }

    async fn change(&self, change: impl FnOnce(&mut World)) {
        self.shared.change(|world| said_nothing(|| change(world))).await;
    }

    async fn introspect(&self, object: &Object) -> Result<(), Refusal> {
        let children = self.shared.world().children(object);
        let nodes: String = children.iter().map(|name| format!("<node name=\"{name}\"/>")).collect();
        self.reply(&format!("<node>{nodes}</node>")).await
    }

    async fn managed_objects(&self) -> Result<(), Refusal> {
        let objects: HashMap<OwnedObjectPath, Interfaces> = {
            let world = self.shared.world();
            let with_interfaces = |object: &Object| Some((owned_path(object), world.interfaces(object)?));
            world.objects().iter().filter_map(with_interfaces).collect()
        };
        self.reply(&objects).await
    }

    async fn property(&self, interfaces: Interfaces) -> Result<(), Refusal> {
        let (interface, name): (String, String) = self.arguments()?;
        let value = interfaces.get(&interface).and_then(|it| it.get(&name)).ok_or(UNKNOWN_METHOD)?;
        self.reply(value).await
    }

    async fn set(&self, object: &Object) -> Result<(), Refusal> {
        let (_, name, value): (String, String, OwnedVariant) = self.arguments()?;
        let (Object::Adapter(adapter), "Powered", Ok(is_on)) = (object, name.as_str(), bool::try_from(value)) else {
            return Err(UNKNOWN_METHOD);
        };
        self.shared.change(|world| world.set_powered(adapter, is_on)).await;
        self.reply(&()).await
    }

    async fn of_adapter(&self, object: &Object, member: &str) -> Result<(), Refusal> {
        let Object::Adapter(name) = object else { return Err(UNKNOWN_METHOD) };
        let start = match member {
            "SetDiscoveryFilter" => return self.reply(&()).await,
            "StartDiscovery" => true,
            "StopDiscovery" => false,
            _ => return Err(UNKNOWN_METHOD),
        };
        let mut refused = None;
        let change = |world: &mut World| {
            let Some(adapter) = world.adapters.get_mut(name) else { return Vec::new() };
            refused = match (adapter.is_powered, adapter.is_discovering) {
                (false, _) => Some(NOT_READY),
                (true, is_discovering) if is_discovering == start => Some(IN_PROGRESS),
                (true, _) => None,
            };
            if refused.is_some() {
                return Vec::new();
            }
            adapter.is_discovering = start;
            let devices = world.sensors.values_mut().filter_map(|it| it.devices.get_mut(name));
            devices.for_each(|it| it.rssi_dbm = None);
            let mut signals = vec![changed(object, ADAPTER, "Discovering", start.into())];
            signals.extend(world.hear());
            signals
        };
        self.shared.change(change).await;
        match refused {
            Some(refusal) => Err(refusal),
            None => self.reply(&()).await,
        }
    }

    async fn of_device(&self, object: &Object, member: &str) -> Result<(), Refusal> {
        let Object::Device { adapter, address } = object else { return Err(UNKNOWN_METHOD) };
        match member {
            "Disconnect" => {
                self.shared.change(|world| world.lose(adapter, address)).await;
                self.reply(&()).await
            }
            "Connect" => self.connect(object, adapter, address).await,
            _ => Err(UNKNOWN_METHOD),
        }
    }

    /// Waits for the sensor to be in reach, as BlueZ does.
    async fn connect(&self, object: &Object, adapter: &str, address: &str) -> Result<(), Refusal> {
        let attempts = |world: &World| world.device(adapter, address).map(|it| it.broken_off);
        let at_first = attempts(&self.shared.world());
        let decide = |world: &mut World| {
            if !world.adapters.get(adapter).is_some_and(|it| it.is_powered) {
                return Some(Err(NOT_READY));
            }
            if attempts(world) != at_first {
                return Some(Err(BROKEN_OFF));
            }
            let sensor = world.sensors.get(address)?;
            match &sensor.on_connect {
                Answer::Refuse(name, message) => Some(Err((*name, *message))),
                Answer::Accept if sensor.heard_by.contains_key(adapter) => Some(Ok(Duration::ZERO)),
                Answer::Late(time) => Some(Ok(*time)),
                Answer::Accept | Answer::Hang => None,
            }
        };
        tokio::time::sleep(self.shared.until(decide).await?).await;
        self.shared.change(|world| set(world, adapter, address, object, "Connected")).await;
        self.reply(&()).await?;
        self.shared.change(|world| set(world, adapter, address, object, "ServicesResolved")).await;
        Ok(())
    }

    async fn of_characteristic(&self, object: &Object, member: &str) -> Result<(), Refusal> {
        let Object::Characteristic { adapter, address, at } = object else { return Err(UNKNOWN_METHOD) };
        let (characteristic, answer) = {
            let world = self.shared.world();
            let found = world.characteristic(adapter, address, *at).ok_or(UNKNOWN_OBJECT)?.clone();
            let is_connected = world.device(adapter, address).is_some_and(|it| it.is_connected);
            let sensor = world.sensors.get(address).filter(|_| is_connected).ok_or(NOT_CONNECTED)?;
            (found, sensor.on_read.clone())
        };
        let uuid = characteristic.uuid;
        match member {
            "ReadValue" => {
                match answer {
                    Answer::Accept => {}
                    Answer::Refuse(name, message) => return Err((name, message)),
                    Answer::Late(time) => tokio::time::sleep(time).await,
                    Answer::Hang => return self.never().await,
                }
                self.reply(&characteristic.value).await
            }
            "WriteValue" => self.write(address, uuid).await,
            "StartNotify" | "StopNotify" => {
                let (mine, mut is_new) = ((self.client, uuid), true);
                self.change(|world| {
                    let Some(device) = world.device_mut(adapter, address) else { return };
                    if member == "StartNotify" {
                        is_new = device.notifying.insert(mine);
                    } else {
                        device.notifying.remove(&mine);
                    }
                })
                .await;
                if is_new { self.reply(&()).await } else { Err(NOTIFYING) }
            }
            _ => Err(UNKNOWN_METHOD),
        }
    }

    async fn write(&self, address: &str, uuid: uuid::Uuid) -> Result<(), Refusal> {
        let (bytes, mut options): (Vec<u8>, BTreeMap<String, OwnedVariant>) = self.arguments()?;
        let kind = options.remove("type").and_then(|it| String::try_from(it).ok()).unwrap_or_default();
        let mut hook = None;
        self.change(|world| {
            let Some(sensor) = world.sensors.get_mut(address) else { return };
            sensor.writes.push(Write { to: uuid, bytes: bytes.clone(), kind });
            hook = sensor.on_write.get(&uuid).cloned();
        })
        .await;
        self.reply(&()).await?;
        for (uuid, bytes) in hook.map(|hook| hook(&bytes)).unwrap_or_default() {
            let signal = self.shared.world().notification(address, uuid, &bytes);
            if let Some(signal) = signal {
                self.shared.send(&signal).await;
            }
        }
        Ok(())
    }

    async fn never(&self) -> Result<(), Refusal> {
        std::future::pending().await
    }
}

fn set(world: &mut World, adapter: &str, address: &str, object: &Object, property: &str) -> Vec<Message> {
    let Some(device) = world.device_mut(adapter, address) else { return Vec::new() };
    if property == "Connected" {
        device.is_connected = true;
        device.rssi_dbm = None;
    } else if device.is_connected {
        device.is_resolved = true;
    } else {
        return Vec::new();
    }
    vec![changed(object, DEVICE, property, Variant::from(true))]
}

/// Bodies of our own always fit.
trait AndBody {
    fn and_body<B: serde::Serialize + DynamicType>(self, body: &B) -> Message;
}

impl AndBody for zbus::message::Builder<'_> {
    fn and_body<B: serde::Serialize + DynamicType>(self, body: &B) -> Message {
        self.sender(super::SERVICE_NAME).build(body).expect("a reply")
    }
}
