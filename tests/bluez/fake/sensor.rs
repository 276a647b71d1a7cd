//! What a fake sensor is made of, and how it answers.

use std::sync::Arc;
use std::time::Duration;
use uuid::Uuid;

/// A sensor as a test describes it.
#[derive(Clone, Debug)]
pub struct FakeSensor {
    pub address: String,
    pub name: Option<String>,
    pub signal_dbm: i16,
    pub services: Vec<FakeService>,
}

#[derive(Clone, Debug)]
pub struct FakeService {
    pub uuid: Uuid,
    pub characteristics: Vec<FakeCharacteristic>,
}

#[derive(Clone, Debug)]
pub struct FakeCharacteristic {
    pub uuid: Uuid,
    /// In BlueZ's words: `read`, `write`, `write-without-response`, `notify`, `indicate`.
    pub flags: Vec<String>,
    /// What a read gives.
    pub value: Vec<u8>,
}

impl FakeSensor {
    /// One without services, heard by every adapter with -60 dBm.
    pub fn new(address: &str, name: &str) -> Self {
        let name = (!name.is_empty()).then(|| name.to_owned());
        Self { address: address.to_owned(), name, signal_dbm: -60, services: Vec::new() }
    }

    pub fn signal_dbm(self, signal_dbm: i16) -> Self {
        Self { signal_dbm, ..self }
    }

    /// Adds a service; its characteristics as UUID and flags with spaces between.
    pub fn service(mut self, uuid: Uuid, characteristics: &[(Uuid, &str)]) -> Self {
        let characteristic = |&(uuid, flags): &(Uuid, &str)| FakeCharacteristic {
            uuid,
            flags: flags.split_whitespace().map(str::to_owned).collect(),
            value: Vec::new(),
        };
        let characteristics = characteristics.iter().map(characteristic).collect();
        self.services.push(FakeService { uuid, characteristics });
        self
    }

    /// What a read of a characteristic that was added gives.
    pub fn value(mut self, uuid: Uuid, bytes: &[u8]) -> Self {
        let found = self.characteristic_mut(uuid).expect("a characteristic of the sensor");
        found.value = bytes.to_vec();
        self
    }

    pub fn characteristic_mut(&mut self, uuid: Uuid) -> Option<&mut FakeCharacteristic> {
        self.services.iter_mut().flat_map(|it| &mut it.characteristics).find(|it| it.uuid == uuid)
    }
}

/// How a call that reaches a sensor is answered.
#[derive(Clone, Debug, Default, PartialEq)]
pub enum Answer {
    #[default]
    Accept,
    /// With this D-Bus error and message.
    Refuse(&'static str, &'static str),
    /// Never, or as soon as the answer is set to another.
    Hang,
    /// Accepted after so long.
    Late(Duration),
}

/// What a write makes the sensor notify, after the write is answered.
pub type OnWrite = Arc<dyn Fn(&[u8]) -> Vec<(Uuid, Vec<u8>)> + Send + Sync>;
