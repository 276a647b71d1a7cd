//! Descriptors of other sensors: a TOML language for documented notify layouts.
//!
//! Enters: the text of a descriptor, checked as a whole on [`Descriptor::parse`]; then a notification's characteristic
//! and bytes. Leaves: how to recognise and start the sensor, and [`Decoded`] readings in SI units. The language is
//! specified in proto-docs/descriptors.md. Left out: bit fields, readings spread over several notifications, checksums.

mod channel;
mod decode;
mod error;
mod layout;
mod parse;
mod stream;
mod table;
#[cfg(test)]
mod tests;
mod vectors;

pub use error::DescriptorError;

use super::{Decoded, PacketError, StreamLayout};
use crate::engine::profile::SensorProfile;
use layout::{Channel, Stream};

/// The longest attribute value (Bluetooth Core Specification, Vol. 3, Part F, 3.2.9), bytes.
const LONGEST_PACKET: usize = 512;

/// How one kind of sensor is recognised, started and read.
#[derive(Clone, Debug, PartialEq)]
pub struct Descriptor {
    /// The kind's name.
    pub name: String,
    /// Who makes it.
    pub maker: String,
    /// The board, where the name does not say it.
    pub board: Option<String>,
    /// Where its layout is documented.
    pub source: Source,
    /// What is poor about the sensor or its layout, for people to read.
    pub limits: Vec<String>,
    services: Vec<String>,
    name_prefixes: Vec<String>,
    streams: Vec<Stream>,
    start: Vec<Command>,
    stop: Vec<Command>,
    also_notify: Vec<String>,
}

/// Where a layout is documented.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Source {
    /// The page or file.
    pub url: String,
    /// Its date or version.
    pub date: String,
    /// The licence it is published under.
    pub licence: String,
    /// What was taken from it, and what was not.
    pub note: Option<String>,
}

/// Bytes to be written to a characteristic.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Command {
    /// UUID, 8-4-4-4-12, lower case.
    pub characteristic: String,
    /// What to write.
    pub bytes: Vec<u8>,
    /// Whether the sensor acknowledges the write.
    pub with_response: bool,
}

/// The descriptors that come with the program: file name and text.
///
/// All are of general-purpose boards, from layouts their makers publish. None suits a full swing: each says why.
pub fn shipped() -> [(&'static str, &'static str); 4] {
    macro_rules! file {
        ($name:literal) => {
            ($name, include_str!(concat!("../../../../descriptors/", $name)))
        };
    }
    [
        file!("adafruit-bluefruit.toml"),
        file!("nordic-thingy52.toml"),
        file!("st-motenv1.toml"),
        file!("ti-cc2650-sensortag.toml"),
    ]
}

impl Descriptor {
    /// From the text of a TOML file. Everything is checked, its `[[test]]` packets too; every error has its line.
    pub fn parse(text: &str) -> Result<Self, DescriptorError> {
        parse::parse(text)
    }

    /// Whether a sensor of this name and these services (UUIDs, any case) looks like one of this kind: by a service, or
    /// by the beginning of its name.
    ///
    /// Sensors do not always advertise their services, and names are anybody's: once connected, the characteristics of
    /// [`Self::notify`] decide.
    pub fn matches(&self, name: Option<&str>, services: &[&str]) -> bool {
        let by_service = |own: &String| services.iter().any(|service| service.eq_ignore_ascii_case(own));
        let by_name = |prefix: &String| name.is_some_and(|name| name.starts_with(prefix.as_str()));
        self.services.iter().any(by_service) || self.name_prefixes.iter().any(by_name)
    }

    /// The characteristics to subscribe to, before [`Self::start`].
    pub fn notify(&self) -> Vec<&str> {
        let streams = self.streams.iter().map(|stream| &stream.characteristic);
        self.also_notify.iter().chain(streams).map(String::as_str).collect()
    }

    /// What to write, in this order, to make it send.
    pub fn start(&self) -> &[Command] {
        &self.start
    }

    /// What to write, in this order, to make it stop.
    pub fn stop(&self) -> &[Command] {
        &self.stop
    }

    /// What a notification holds.
    pub fn decode(&self, characteristic: &str, bytes: &[u8]) -> Result<Decoded, PacketError> {
        let is_from = |own: &str| own.eq_ignore_ascii_case(characteristic);
        match self.streams.iter().enumerate().find(|(_, stream)| is_from(&stream.characteristic)) {
            Some((index, stream)) => decode::decode(index, stream, bytes),
            None if self.also_notify.iter().any(|own| is_from(own)) => Ok(Decoded::Other),
            None => Err(PacketError::UnknownCharacteristic),
        }
    }

    /// How its streams count: one, or one of the gyro and one of the accelerometer.
    pub fn streams(&self) -> Vec<StreamLayout> {
        let layout = |stream: &Stream| StreamLayout {
            sequence_modulus: stream.sequence_modulus(),
            tick_modulus: stream.ticks().map(|(modulus, _)| modulus),
            tick_hz: stream.ticks().map_or(0.0, |(_, tick_hz)| tick_hz),
            sample_rate_hz: stream.sample_rate_hz,
            has_gyro: stream.gyro.is_some(),
        };
        self.streams.iter().map(layout).collect()
    }

    /// Whether a stream has neither counter nor time: what was lost of it cannot be told, and its readings are as late
    /// as the radio was.
    pub fn is_untimed(&self) -> bool {
        self.streams.iter().any(|stream| stream.sequence_modulus().is_none() && stream.ticks().is_none())
    }

    /// `sensor` with rate, ranges and bandwidths as they stand here.
    pub fn described_in(&self, sensor: &SensorProfile) -> SensorProfile {
        let channel = |of: fn(&Stream) -> Option<Channel>| self.streams.iter().find_map(of);
        let (gyro, accel) = (channel(|it| it.gyro), channel(|it| it.accel));
        let range = |channel: Option<Channel>, before: f64| channel.map_or(before, |it| it.range);
        let bandwidth =
            |channel: Option<Channel>, before: f64| channel.and_then(|it| it.bandwidth_hz).unwrap_or(before);
        SensorProfile {
            sample_rate_hz: self.streams.first().map(|stream| stream.sample_rate_hz).or(sensor.sample_rate_hz),
            gyro_range_radps: range(gyro, sensor.gyro_range_radps),
            accel_range_mps2: range(accel, sensor.accel_range_mps2),
            accel_hi_range_mps2: range(channel(|it| it.accel_hi), sensor.accel_hi_range_mps2),
            gyro_bandwidth_hz: bandwidth(gyro, sensor.gyro_bandwidth_hz),
            accel_bandwidth_hz: bandwidth(accel, sensor.accel_bandwidth_hz),
            ..sensor.clone()
        }
    }
}
