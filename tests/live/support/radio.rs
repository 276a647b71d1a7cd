//! A radio with made-up sensors in reach.

use super::sensor::{Sensor, Subscriber, uuid};
use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, MutexGuard};
use std::time::Duration;
use swingd::daemon::radio::{Advert, Link, Radio, RadioError, Sink};
use swingd::engine::device::own;
use tokio::time::sleep;
use uuid::Uuid;

/// How the radio is.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Radios {
    On,
    Off,
    ServiceGone,
}

pub struct Air {
    pub radio: Radios,
    /// Whether a lost connection is reported.
    pub reports_loss: bool,
    pub sensors: BTreeMap<String, Sensor>,
}

#[derive(Clone)]
pub struct FakeRadio(Arc<Mutex<Air>>);

impl FakeRadio {
    pub fn new(sensors: impl IntoIterator<Item = (String, Sensor)>) -> Self {
        let air = Air { radio: Radios::On, reports_loss: true, sensors: sensors.into_iter().collect() };
        Self(Arc::new(Mutex::new(air)))
    }

    pub fn air(&self) -> MutexGuard<'_, Air> {
        self.0.lock().unwrap()
    }

    fn is_there(&self) -> Result<(), RadioError> {
        match self.air().radio {
            Radios::On => Ok(()),
            Radios::Off => Err(RadioError::SwitchedOff),
            Radios::ServiceGone => Err(RadioError::ServiceGone("made up".into())),
        }
    }
}

impl Air {
    /// All connections end.
    pub fn cut(&mut self) {
        self.sensors.values_mut().for_each(Sensor::cut);
    }
}

impl Radio for FakeRadio {
    type Link = FakeLink;

    async fn health(&self) -> Result<(), RadioError> {
        self.is_there()
    }

    async fn scan(&self, duration: Duration) -> Result<Vec<Advert>, RadioError> {
        self.is_there()?;
        sleep(duration).await;
        self.is_there()?;
        let air = self.air();
        let heard = air.sensors.iter().filter(|(_, sensor)| sensor.is_on && sensor.in_reach);
        let advert = |id: &String| Advert {
            id: id.clone(),
            name: Some(format!("made-up {id}")),
            rssi_dbm: Some(-60),
            services: vec![uuid(own::SERVICE)],
            adapter: "fake0".into(),
        };
        Ok(heard.map(|(id, _)| advert(id)).collect())
    }

    async fn connect(&self, id: &str, sink: Sink) -> Result<FakeLink, RadioError> {
        self.is_there()?;
        sleep(Duration::from_millis(150)).await;
        // The real one gives up by itself after a while.
        for _ in 0..110 {
            if !self.air().sensors.get(id).is_some_and(|sensor| sensor.connect_hangs) {
                break;
            }
            sleep(Duration::from_millis(100)).await;
        }
        self.is_there()?;
        let mut air = self.air();
        let sensor = air.sensors.get_mut(id).filter(|sensor| sensor.is_on && sensor.in_reach);
        let sensor = sensor.ok_or(RadioError::NotFound)?;
        sensor.subscriber = Some(Subscriber { sink, data: false, control: false, started: false });
        Ok(FakeLink { radio: self.clone(), id: id.into() })
    }
}

pub struct FakeLink {
    radio: FakeRadio,
    id: String,
}

impl FakeLink {
    async fn with<T>(&self, call: impl FnOnce(&mut Sensor) -> T) -> Result<T, RadioError> {
        sleep(Duration::from_millis(20)).await;
        self.radio.is_there()?;
        let mut air = self.radio.air();
        let sensor = air.sensors.get_mut(&self.id).filter(|sensor| sensor.subscriber.is_some());
        sensor.map(call).ok_or(RadioError::Lost)
    }
}

impl Link for FakeLink {
    fn characteristics(&self) -> Vec<Uuid> {
        [own::DATA, own::INFORMATION, own::CONTROL, own::BATTERY_LEVEL].map(uuid).to_vec()
    }

    async fn read(&self, characteristic: Uuid) -> Result<Vec<u8>, RadioError> {
        if characteristic == uuid(own::BATTERY_LEVEL) {
            return self.with(|_| vec![77]).await;
        }
        self.with(|sensor| sensor.information()).await
    }

    async fn write(&self, characteristic: Uuid, bytes: &[u8], with_response: bool) -> Result<(), RadioError> {
        assert!(with_response);
        assert_eq!(characteristic, uuid(own::CONTROL));
        self.with(|sensor| sensor.request(bytes)).await
    }

    async fn subscribe(&self, characteristic: Uuid) -> Result<(), RadioError> {
        let turn_on = |sensor: &mut Sensor| {
            if let Some(subscriber) = &mut sensor.subscriber {
                subscriber.data |= characteristic == uuid(own::DATA);
                subscriber.control |= characteristic == uuid(own::CONTROL);
            }
        };
        self.with(turn_on).await
    }

    async fn is_connected(&self) -> bool {
        let air = self.radio.air();
        !air.reports_loss || air.sensors.get(&self.id).is_some_and(|sensor| sensor.subscriber.is_some())
    }

    async fn disconnect(&self) {
        if let Some(sensor) = self.radio.air().sensors.get_mut(&self.id) {
            sensor.cut();
        }
    }
}
