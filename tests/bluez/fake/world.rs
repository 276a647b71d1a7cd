//! What the fake service knows: adapters, sensors, and which adapter has an object for which sensor. No sockets here;
//! what changes is returned as signals to be sent.

use super::sensor::{Answer, FakeCharacteristic, FakeSensor, FakeService, OnWrite};
use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;
use uuid::Uuid;
use zbus::Message;
use zbus::{ObjectPath, OwnedObjectPath, Variant};

pub const ADAPTER: &str = "org.bluez.Adapter1";
pub const DEVICE: &str = "org.bluez.Device1";
pub const SERVICE: &str = "org.bluez.GattService1";
pub const CHARACTERISTIC: &str = "org.bluez.GattCharacteristic1";
pub const PROPERTIES: &str = "org.freedesktop.DBus.Properties";
pub const OBJECT_MANAGER: &str = "org.freedesktop.DBus.ObjectManager";

pub type Properties = BTreeMap<String, Variant<'static>>;
pub type Interfaces = BTreeMap<String, Properties>;

#[derive(Default)]
pub struct World {
    pub is_service_up: bool,
    pub adapters: BTreeMap<String, Adapter>,
    pub sensors: BTreeMap<String, Sensor>,
    /// Before every answer.
    pub delay: Duration,
    /// Refuses every call to the service with this error.
    pub denied: Option<&'static str>,
    pub calls: Vec<Call>,
    /// Programs' connections to the bus.
    pub connections: usize,
}

/// A call that the program made.
#[derive(Clone, Debug, PartialEq)]
pub struct Call {
    pub path: String,
    pub member: String,
}

pub struct Adapter {
    pub is_powered: bool,
    pub is_discovering: bool,
}

pub struct Sensor {
    pub spec: FakeSensor,
    /// The adapters that hear it, with what signal, dBm.
    pub heard_by: BTreeMap<String, i16>,
    /// The service's objects for it, by adapter.
    pub devices: BTreeMap<String, Device>,
    pub on_connect: Answer,
    pub on_read: Answer,
    pub on_write: BTreeMap<Uuid, OnWrite>,
    pub writes: Vec<Write>,
}

/// What a program wrote.
pub struct Write {
    pub to: Uuid,
    pub bytes: Vec<u8>,
    /// `request` is with response, `command` without.
    pub kind: String,
}

#[derive(Default)]
pub struct Device {
    pub is_connected: bool,
    pub is_resolved: bool,
    pub rssi_dbm: Option<i16>,
    /// What was turned on, and by which connection to the bus.
    pub notifying: BTreeSet<(usize, Uuid)>,
    /// Attempts to connect that were broken off.
    pub broken_off: usize,
}

impl Device {
    fn notifies(&self, uuid: Uuid) -> bool {
        self.notifying.iter().any(|(_, of)| *of == uuid)
    }
}

/// An object of the service, by its path.
#[derive(Clone, Debug, PartialEq)]
pub enum Object {
    Root,
    Adapter(String),
    Device { adapter: String, address: String },
    Service { adapter: String, address: String, at: usize },
    Characteristic { adapter: String, address: String, at: (usize, usize) },
}

impl Object {
    pub fn parse(path: &str) -> Option<Self> {
        if path == "/" {
            return Some(Self::Root);
        }
        let parts: Vec<&str> = path.strip_prefix("/org/bluez/")?.split('/').collect();
        let number = |part: &str, head: &str| usize::from_str_radix(part.strip_prefix(head)?, 16).ok();
        let adapter = parts[0].to_owned();
        let address = parts.get(1).and_then(|part| part.strip_prefix("dev_")).map(|it| it.replace('_', ":"));
        Some(match parts.as_slice() {
            [_] => Self::Adapter(adapter),
            [_, _] => Self::Device { adapter, address: address? },
            [_, _, service] => Self::Service { adapter, address: address?, at: number(service, "service")? },
            [_, _, service, char] => {
                let at = (number(service, "service")?, number(char, "char")?);
                Self::Characteristic { adapter, address: address?, at }
            }
            _ => return None,
        })
    }

    pub fn path(&self) -> String {
        let device = |adapter: &str, address: &str| format!("/org/bluez/{adapter}/dev_{}", address.replace(':', "_"));
        match self {
            Self::Root => "/".into(),
            Self::Adapter(adapter) => format!("/org/bluez/{adapter}"),
            Self::Device { adapter, address } => device(adapter, address),
            Self::Service { adapter, address, at } => format!("{}/service{at:04x}", device(adapter, address)),
            Self::Characteristic { adapter, address, at: (service, char) } => {
                format!("{}/service{service:04x}/char{char:04x}", device(adapter, address))
            }
        }
    }

    fn device(adapter: &str, address: &str) -> Self {
        Self::Device { adapter: adapter.into(), address: address.into() }
    }
}

impl World {
    pub fn device(&self, adapter: &str, address: &str) -> Option<&Device> {
        self.sensors.get(address)?.devices.get(adapter)
    }

    pub fn device_mut(&mut self, adapter: &str, address: &str) -> Option<&mut Device> {
        self.sensors.get_mut(address)?.devices.get_mut(adapter)
    }

    pub fn service(&self, adapter: &str, address: &str, at: usize) -> Option<&FakeService> {
        self.device(adapter, address).filter(|it| it.is_resolved)?;
        self.sensors.get(address)?.spec.services.get(at)
    }

    pub fn characteristic(&self, adapter: &str, address: &str, at: (usize, usize)) -> Option<&FakeCharacteristic> {
        self.service(adapter, address, at.0)?.characteristics.get(at.1)
    }

    /// Properties by interface; `None` for an object that is not there.
    pub fn interfaces(&self, object: &Object) -> Option<Interfaces> {
        let (interface, properties) = match object {
            Object::Root => return Some(Interfaces::new()),
            Object::Adapter(name) => (ADAPTER, self.adapter_properties(name)?),
            Object::Device { adapter, address } => (DEVICE, self.device_properties(adapter, address)?),
            Object::Service { adapter, address, at } => {
                let service = self.service(adapter, address, *at)?;
                let uuid = Variant::from(service.uuid.to_string());
                (SERVICE, named([("UUID", uuid), ("Primary", Variant::from(true))]))
            }
            Object::Characteristic { adapter, address, at } => {
                let it = self.characteristic(adapter, address, *at)?;
                let uuid = Variant::from(it.uuid.to_string());
                let flags = Variant::from(it.flags.clone());
                (CHARACTERISTIC, named([("UUID", uuid), ("Flags", flags), ("MTU", Variant::from(247_u16))]))
            }
        };
        Some(Interfaces::from([(interface.to_owned(), properties)]))
    }

    fn adapter_properties(&self, name: &str) -> Option<Properties> {
        let adapter = self.adapters.get(name)?;
        let number = name.bytes().last().unwrap_or(b'0');
        Some(named([
            ("Address", Variant::from(format!("00:00:5E:00:53:{number:02X}"))),
            ("AddressType", Variant::from("public")),
            ("Name", Variant::from("cage")),
            ("Alias", Variant::from("cage")),
            ("Modalias", Variant::from("usb:v1D6Bp0246d0540")),
            ("Powered", Variant::from(adapter.is_powered)),
            ("Discovering", Variant::from(adapter.is_discovering)),
        ]))
    }

    fn device_properties(&self, adapter: &str, address: &str) -> Option<Properties> {
        let (spec, device) = (&self.sensors.get(address)?.spec, self.device(adapter, address)?);
        let uuids: Vec<String> = spec.services.iter().map(|it| it.uuid.to_string()).collect();
        let mut properties = named([
            ("Address", Variant::from(address.to_owned())),
            ("AddressType", Variant::from("random")),
            ("Alias", Variant::from(spec.name.clone().unwrap_or_else(|| address.replace(':', "-")))),
            ("Paired", Variant::from(false)),
            ("Connected", Variant::from(device.is_connected)),
            ("ServicesResolved", Variant::from(device.is_resolved)),
            ("Trusted", Variant::from(false)),
            ("Blocked", Variant::from(false)),
            ("LegacyPairing", Variant::from(false)),
            ("UUIDs", Variant::from(uuids)),
        ]);
        properties.extend(spec.name.clone().map(|name| ("Name".to_owned(), Variant::from(name))));
        properties.extend(device.rssi_dbm.map(|rssi| ("RSSI".to_owned(), Variant::from(rssi))));
        Some(properties)
    }

    /// Every object that is there.
    pub fn objects(&self) -> Vec<Object> {
        let mut all: Vec<Object> = self.adapters.keys().cloned().map(Object::Adapter).collect();
        for (address, sensor) in &self.sensors {
            for adapter in sensor.devices.keys() {
                all.push(Object::device(adapter, address));
                all.extend(self.below(adapter, address));
            }
        }
        all
    }

    fn below(&self, adapter: &str, address: &str) -> Vec<Object> {
        let services = (0..).map_while(|at| Some((at, self.service(adapter, address, at)?)));
        let (adapter, address) = (adapter.to_owned(), address.to_owned());
        services
            .flat_map(|(at, service)| {
                let own = Object::Service { adapter: adapter.clone(), address: address.clone(), at };
                let (adapter, address) = (adapter.clone(), address.clone());
                let characteristics = (0..service.characteristics.len()).map(move |k| Object::Characteristic {
                    adapter: adapter.clone(),
                    address: address.clone(),
                    at: (at, k),
                });
                std::iter::once(own).chain(characteristics)
            })
            .collect()
    }

    /// Names of the objects directly below one, for introspection.
    pub fn children(&self, object: &Object) -> Vec<String> {
        let head = object.path() + "/";
        let paths = self.objects().into_iter().map(|it| it.path());
        paths.filter_map(|path| path.strip_prefix(&head).map(str::to_owned)).filter(|it| !it.contains('/')).collect()
    }

    /// Adverts reach the adapters that listen. A sensor that is connected does not advertise.
    pub fn hear(&mut self) -> Vec<Message> {
        let mut signals = Vec::new();
        let mut news = Vec::new();
        let adapters = &self.adapters;
        for (address, sensor) in &mut self.sensors {
            if sensor.devices.values().any(|it| it.is_connected) {
                continue;
            }
            for (adapter, &rssi_dbm) in &sensor.heard_by {
                if !adapters.get(adapter).is_some_and(|it| it.is_powered && it.is_discovering) {
                    continue;
                }
                let is_new = !sensor.devices.contains_key(adapter);
                sensor.devices.entry(adapter.clone()).or_default().rssi_dbm = Some(rssi_dbm);
                news.push((Object::device(adapter, address), is_new, rssi_dbm));
            }
        }
        for (object, is_new, rssi_dbm) in news {
            signals.push(if is_new { self.added(&object) } else { changed(&object, DEVICE, "RSSI", rssi_dbm.into()) });
        }
        signals
    }

    pub fn added(&self, object: &Object) -> Message {
        let interfaces = self.interfaces(object).unwrap_or_default();
        signal(&Object::Root, OBJECT_MANAGER, "InterfacesAdded", &(owned_path(object), interfaces))
    }

    pub fn set_powered(&mut self, name: &str, is_powered: bool) -> Vec<Message> {
        let Some(adapter) = self.adapters.get_mut(name).filter(|it| it.is_powered != is_powered) else {
            return Vec::new();
        };
        *adapter = Adapter { is_powered, is_discovering: false };
        let mut signals = vec![changed(&Object::Adapter(name.into()), ADAPTER, "Powered", is_powered.into())];
        let addresses: Vec<String> = self.sensors.keys().cloned().collect();
        for address in addresses {
            signals.extend(self.lose(name, &address));
        }
        signals
    }

    /// Ends a connection; the signals that BlueZ would send.
    pub fn lose(&mut self, adapter: &str, address: &str) -> Vec<Message> {
        let Some(device) = self.device_mut(adapter, address) else { return Vec::new() };
        let was_connected = device.is_connected;
        *device = Device { broken_off: device.broken_off + 1, ..Device::default() };
        let object = Object::device(adapter, address);
        let change = |property| changed(&object, DEVICE, property, false.into());
        if was_connected { vec![change("ServicesResolved"), change("Connected")] } else { Vec::new() }
    }

    /// The notification, where the program has turned them on.
    pub fn notification(&self, address: &str, uuid: Uuid, bytes: &[u8]) -> Option<Message> {
        let sensor = self.sensors.get(address)?;
        let (adapter, _) = sensor.devices.iter().find(|(_, it)| it.is_connected && it.notifies(uuid))?;
        let places = self.below(adapter, address).into_iter();
        let mut characteristics = places.filter(|it| match it {
            Object::Characteristic { at, .. } => {
                self.characteristic(adapter, address, *at).is_some_and(|it| it.uuid == uuid)
            }
            _ => false,
        });
        Some(changed(&characteristics.next()?, CHARACTERISTIC, "Value", Variant::from(bytes.to_vec())))
    }

    /// A program has gone: what it turned on is turned off, as BlueZ does; connections to sensors stay.
    pub fn forget(&mut self, client: usize) {
        self.connections -= 1;
        let devices = self.sensors.values_mut().flat_map(|it| it.devices.values_mut());
        devices.for_each(|it| it.notifying.retain(|(by, _)| *by != client));
    }

    /// How often a method was called.
    pub fn count(&self, member: &str) -> usize {
        self.calls.iter().filter(|call| call.member == member).count()
    }
}

fn named<const N: usize>(properties: [(&str, Variant<'static>); N]) -> Properties {
    properties.into_iter().map(|(name, value)| (name.to_owned(), value)).collect()
}

pub fn owned_path(object: &Object) -> OwnedObjectPath {
    ObjectPath::try_from(object.path()).expect("a path").into()
}

/// `PropertiesChanged` of one property.
pub fn changed(object: &Object, interface: &str, property: &str, value: Variant<'static>) -> Message {
    let body = (interface, Properties::from([(property.to_owned(), value)]), Vec::<String>::new());
    signal(object, PROPERTIES, "PropertiesChanged", &body)
}

fn signal<B>(object: &Object, interface: &str, member: &str, body: &B) -> Message
where
    B: serde::Serialize + zbus::zvariant::DynamicType,
{
    let builder = Message::signal(object.path(), interface, member).sender(super::SERVICE_NAME);
    builder.build(body).expect("a signal")
}
