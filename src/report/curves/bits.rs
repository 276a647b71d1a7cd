//! Bits in and out of bytes, the most significant first.

/// Takes bits.
#[derive(Default)]
pub(super) struct BitWriter {
    bytes: Vec<u8>,
    /// Bits of the last byte that are not taken yet.
    free: u32,
}

impl BitWriter {
    /// Behind what is there.
    pub(super) fn behind(bytes: Vec<u8>) -> Self {
        Self { bytes, free: 0 }
    }

    /// The lowest `count` bits of a number.
    pub(super) fn put(&mut self, number: u64, count: u32) {
        for place in (0..count).rev() {
            if self.free == 0 {
                self.bytes.push(0);
                self.free = 8;
            }
            self.free -= 1;
            if let Some(last) = self.bytes.last_mut() {
                *last |= (((number >> place) & 1) as u8) << self.free;
            }
        }
    }

    /// The bytes; what is free of the last is zero.
    pub(super) fn into_bytes(self) -> Vec<u8> {
        self.bytes
    }
}

/// Gives bits.
pub(super) struct BitReader<'a> {
    bytes: &'a [u8],
    at: usize,
}

impl<'a> BitReader<'a> {
    /// From the first.
    pub(super) fn new(bytes: &'a [u8]) -> Self {
        Self { bytes, at: 0 }
    }

    /// The next `count` bits (64 at most) as a number; nothing if there are fewer.
    pub(super) fn take(&mut self, count: u32) -> Option<u64> {
        (0..count).try_fold(0, |number, _| Some(number << 1 | u64::from(self.bit()?)))
    }

    /// How many ones come next, `most` at most; takes them, and the zero behind them if there are fewer.
    pub(super) fn ones(&mut self, most: u32) -> Option<u32> {
        for count in 0..most {
            if !self.bit()? {
                return Some(count);
            }
        }
        Some(most)
    }

    /// How many are left.
    pub(super) fn left(&self) -> usize {
        self.bytes.len() * 8 - self.at
    }

    fn bit(&mut self) -> Option<bool> {
        let byte = self.bytes.get(self.at / 8)?;
        let bit = byte >> (7 - self.at % 8) & 1;
        self.at += 1;
        Some(bit == 1)
    }
}
