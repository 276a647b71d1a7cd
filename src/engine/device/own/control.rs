//! The control characteristic: what a sensor is asked, and what it answers.

use super::super::{Exchange, PacketError};
use super::information::{mdps, mg};
use super::{VERSION, exact_length, least_length, part, u32_at};

const START: u8 = 1;
const STOP: u8 = 2;
const SET_RATE: u8 = 3;
const SET_RANGE: u8 = 4;
const EXCHANGE_TIMES: u8 = 5;

/// Version, opcode and status.
const ANSWER_BYTES: usize = 3;
const EXCHANGED_BYTES: usize = 15;

/// What a sensor can be asked.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Request {
    /// Send readings.
    Start,
    /// Send no more.
    Stop,
    /// Take so many samples in 1000 s.
    SetRate {
        /// The rate, mHz.
        rate_mhz: u32,
    },
    /// Work with these ranges; 0 leaves one as it is.
    SetRange {
        /// Of the gyro, m°/s.
        gyro_mdps: u32,
        /// Of the accelerometer, mg.
        accel_mg: u32,
        /// Of the high-range accelerometer, mg.
        accel_hi_mg: u32,
    },
    /// Give this number back, with the tick at which it came.
    ExchangeTimes {
        /// The host's time as it sends, ns since 1970 UTC; to the sensor only a number.
        sent_utc_ns: i64,
    },
}

impl Request {
    /// To set a rate in Hz.
    pub fn set_rate(sample_rate_hz: f64) -> Self {
        Self::SetRate { rate_mhz: (sample_rate_hz * 1e3).round() as u32 }
    }

    /// To set ranges in rad/s and m/s²; `None` leaves one as it is.
    pub fn set_range(gyro_radps: Option<f64>, accel_mps2: Option<f64>, accel_hi_mps2: Option<f64>) -> Self {
        Self::SetRange {
            gyro_mdps: gyro_radps.map_or(0, mdps),
            accel_mg: accel_mps2.map_or(0, mg),
            accel_hi_mg: accel_hi_mps2.map_or(0, mg),
        }
    }

    /// The number that stands for it.
    pub fn opcode(&self) -> u8 {
        match self {
            Self::Start => START,
            Self::Stop => STOP,
            Self::SetRate { .. } => SET_RATE,
            Self::SetRange { .. } => SET_RANGE,
            Self::ExchangeTimes { .. } => EXCHANGE_TIMES,
        }
    }

    /// What is written to the characteristic.
    pub fn encode(&self) -> Vec<u8> {
        let mut bytes = vec![self.opcode()];
        match *self {
            Self::Start | Self::Stop => {}
            Self::SetRate { rate_mhz } => bytes.extend(rate_mhz.to_le_bytes()),
            Self::SetRange { gyro_mdps, accel_mg, accel_hi_mg } => {
                bytes.extend([gyro_mdps, accel_mg, accel_hi_mg].iter().flat_map(|range| range.to_le_bytes()));
            }
            Self::ExchangeTimes { sent_utc_ns } => bytes.extend(sent_utc_ns.to_le_bytes()),
        }
        bytes
    }

    /// What a sensor makes of what was written; the error is the status to answer with.
    pub fn parse(bytes: &[u8]) -> Result<Self, Status> {
        let &opcode = bytes.first().ok_or(Status::WrongLength)?;
        let with = |argument_bytes: usize, request: Self| {
            if bytes.len() == 1 + argument_bytes { Ok(request) } else { Err(Status::WrongLength) }
        };
        match opcode {
            START => with(0, Self::Start),
            STOP => with(0, Self::Stop),
            SET_RATE => with(4, Self::SetRate { rate_mhz: u32_at(bytes, 1) }),
            SET_RANGE => with(
                12,
                Self::SetRange {
                    gyro_mdps: u32_at(bytes, 1),
                    accel_mg: u32_at(bytes, 5),
                    accel_hi_mg: u32_at(bytes, 9),
                },
            ),
            EXCHANGE_TIMES => with(8, Self::ExchangeTimes { sent_utc_ns: i64::from_le_bytes(part(bytes, 1)) }),
            _ => Err(Status::UnknownOpcode),
        }
    }
}

/// How a sensor took a request.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Status {
    /// It was done.
    Done,
    /// There is no such request, or this sensor does not have it.
    UnknownOpcode,
    /// The request has too few or too many bytes.
    WrongLength,
    /// It cannot work with that value.
    NotSupported,
    /// Not now: rate and ranges are set while no readings are sent.
    NotNow,
    /// It is broken.
    Faulty,
    /// A status that is not known here: the request was not done.
    Unknown(u8),
}

const STATUSES: [Status; 6] =
    [Status::Done, Status::UnknownOpcode, Status::WrongLength, Status::NotSupported, Status::NotNow, Status::Faulty];

impl Status {
    fn from_code(code: u8) -> Self {
        STATUSES.get(usize::from(code)).copied().unwrap_or(Self::Unknown(code))
    }

    fn code(self) -> u8 {
        match self {
            Self::Unknown(code) => code,
            known => STATUSES.iter().position(|&status| status == known).unwrap_or_default() as u8,
        }
    }
}

/// What a sensor answers.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Answer {
    /// It has exchanged times.
    Exchanged(Exchange),
    /// How it took another request, or why it has not exchanged times (so never that with [`Status::Done`]).
    Told {
        /// The opcode as it was written to it; 0 if nothing was.
        opcode: u8,
        /// How it took it.
        status: Status,
    },
}

impl Answer {
    /// From the bytes of an indication.
    pub fn parse(bytes: &[u8]) -> Result<Self, PacketError> {
        least_length(bytes, 1)?;
        let [version] = part(bytes, 0);
        if version != VERSION {
            return Err(PacketError::Version { found: version, expected: VERSION });
        }
        least_length(bytes, ANSWER_BYTES)?;
        let [opcode, code] = part(bytes, 1);
        let status = Status::from_code(code);
        if (opcode, status) != (EXCHANGE_TIMES, Status::Done) {
            exact_length(bytes, ANSWER_BYTES)?;
            return Ok(Self::Told { opcode, status });
        }
        exact_length(bytes, EXCHANGED_BYTES)?;
        let sent_utc_ns = i64::from_le_bytes(part(bytes, 3));
        Ok(Self::Exchanged(Exchange { sent_utc_ns, tick: u64::from(u32_at(bytes, 11)) }))
    }

    /// The bytes of the indication; of an exchange's tick the lower 32 bits.
    pub fn encode(&self) -> Vec<u8> {
        match *self {
            Self::Told { opcode, status } => vec![VERSION, opcode, status.code()],
            Self::Exchanged(Exchange { sent_utc_ns, tick }) => {
                let mut bytes = vec![VERSION, EXCHANGE_TIMES, Status::Done.code()];
                bytes.extend(sent_utc_ns.to_le_bytes());
                bytes.extend((tick as u32).to_le_bytes());
                bytes
            }
        }
    }
}
