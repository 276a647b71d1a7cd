//! The layout of a stream's notifications, as checked.

/// How a number is written.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Kind {
    Unsigned(usize),
    Signed(usize),
    Float,
}

impl Kind {
    /// The names of the language.
    pub(super) const NAMES: [(&str, Self); 9] = [
        ("i8", Self::Signed(1)),
        ("u8", Self::Unsigned(1)),
        ("i16", Self::Signed(2)),
        ("u16", Self::Unsigned(2)),
        ("i24", Self::Signed(3)),
        ("u24", Self::Unsigned(3)),
        ("i32", Self::Signed(4)),
        ("u32", Self::Unsigned(4)),
        ("f32", Self::Float),
    ];

    /// Bytes of one.
    pub(super) fn size(self) -> usize {
        match self {
            Self::Unsigned(bytes) | Self::Signed(bytes) => bytes,
            Self::Float => 4,
        }
    }

    /// The least and the greatest count; `None` for what has no end one meets.
    pub(super) fn ends(self) -> Option<(f64, f64)> {
        match self {
            Self::Unsigned(bytes) => Some((0.0, 2_f64.powi(8 * bytes as i32) - 1.0)),
            Self::Signed(bytes) => {
                let half = 2_f64.powi(8 * bytes as i32 - 1);
                Some((-half, half - 1.0))
            }
            Self::Float => None,
        }
    }
}

/// One number in a packet.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Field {
    pub(super) at: usize,
    pub(super) kind: Kind,
    pub(super) is_big_endian: bool,
}

impl Field {
    pub(super) fn end(&self) -> usize {
        self.at + self.kind.size()
    }

    /// Its bits as an unsigned number; `None` where the bytes end before it does.
    fn bits(&self, bytes: &[u8]) -> Option<u64> {
        let own = bytes.get(self.at..self.end())?;
        let add = |sum: u64, byte: &u8| sum << 8 | u64::from(*byte);
        Some(if self.is_big_endian { own.iter().fold(0, add) } else { own.iter().rev().fold(0, add) })
    }

    /// A counter's or a time's value.
    pub(super) fn unsigned(&self, bytes: &[u8]) -> Option<u64> {
        self.bits(bytes)
    }

    /// A measured value, in counts.
    pub(super) fn number(&self, bytes: &[u8]) -> Option<f64> {
        let bits = self.bits(bytes)?;
        Some(match self.kind {
            Kind::Unsigned(_) => bits as f64,
            Kind::Signed(size) => {
                let unused = 64 - 8 * size as u32;
                (((bits << unused) as i64) >> unused) as f64
            }
            Kind::Float => f64::from(f32::from_bits(bits as u32)),
        })
    }
}

/// How many readings a packet holds.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Samples {
    Fixed(usize),
    FromLength,
    Counted { field: Field, most: usize },
}

/// What numbers the packets, or their readings.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) struct Counter {
    pub(super) field: Field,
    pub(super) modulus: u64,
    pub(super) counts_samples: bool,
}

/// When the readings of a packet were taken.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Time {
    pub(super) field: Field,
    pub(super) modulus: u64,
    pub(super) tick_hz: f64,
    pub(super) is_of_last: bool,
}

/// Bytes that have to be there.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Fixed {
    pub(super) at: usize,
    pub(super) bytes: Vec<u8>,
    /// A packet without them is of another kind and no mistake.
    pub(super) else_ignored: bool,
}

/// Three numbers in each reading.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Channel {
    /// Places from the start of a reading, in the order of sending.
    pub(super) fields: [Field; 3],
    /// SI units per count.
    pub(super) scale: f64,
    /// SI units at count 0.
    pub(super) offset: f64,
    /// For x, y and z of S: which of the numbers sent, and its sign.
    pub(super) axes: [(usize, f64); 3],
    /// End of the sensor's range, SI units.
    pub(super) range: f64,
    pub(super) bandwidth_hz: Option<f64>,
}

/// The packets of one characteristic.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Stream {
    pub(super) characteristic: String,
    pub(super) sample_rate_hz: f64,
    pub(super) least_length: usize,
    pub(super) most_length: usize,
    pub(super) fixed: Vec<Fixed>,
    pub(super) samples: Samples,
    pub(super) samples_at: usize,
    pub(super) sample_length: usize,
    pub(super) trailer: usize,
    pub(super) counter: Option<Counter>,
    pub(super) time: Option<Time>,
    pub(super) gyro: Option<Channel>,
    pub(super) accel: Option<Channel>,
    pub(super) accel_hi: Option<Channel>,
}

impl Stream {
    /// Bytes of a packet of so many readings.
    pub(super) fn packet_length(&self, samples: usize) -> usize {
        self.samples_at + samples * self.sample_length + self.trailer
    }

    /// The number of readings where it is always the same.
    pub(super) fn fixed_samples(&self) -> Option<usize> {
        match self.samples {
            Samples::Fixed(samples) => Some(samples),
            _ => None,
        }
    }

    /// The modulus of the packets' numbers. A counter of readings numbers packets too where all have as many.
    pub(super) fn sequence_modulus(&self) -> Option<u64> {
        let counter = self.counter?;
        if counter.counts_samples {
            Some(counter.modulus / self.fixed_samples()? as u64)
        } else {
            Some(counter.modulus)
        }
    }

    /// The modulus of the ticks and their frequency. A counter of readings is a clock that ticks once a reading.
    pub(super) fn ticks(&self) -> Option<(u64, f64)> {
        let of_counter = || self.counter.filter(|it| it.counts_samples).map(|it| (it.modulus, self.sample_rate_hz));
        self.time.map(|it| (it.modulus, it.tick_hz)).or_else(of_counter)
    }
}
