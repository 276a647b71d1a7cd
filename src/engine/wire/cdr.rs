//! The plain binary form of ROS 2 messages: OMG Common Data Representation, version 1, little-endian.
//!
//! Source: OMG DDS-XTypes 1.3, § 7.4.1 (encoding version 1) and § 7.6.3.1.2 (the four bytes in front). Numbers are
//! aligned to their size, counted from behind those four bytes; a sequence is its length (u32) and its elements; a
//! string is a sequence of bytes with a closing zero.

/// Encapsulation header: CDR, little-endian, no options.
const HEADER: [u8; 4] = [0, 1, 0, 0];

/// Writes the fields of one message.
#[derive(Debug)]
pub(super) struct CdrWriter(Vec<u8>);

impl CdrWriter {
    pub(super) fn new() -> Self {
        Self(HEADER.to_vec())
    }

    pub(super) fn i64(&mut self, value: i64) {
        self.align(8);
        self.0.extend(value.to_le_bytes());
    }

    pub(super) fn string(&mut self, text: &str) {
        self.length(text.len() + 1);
        self.0.extend(text.as_bytes());
        self.0.push(0);
    }

    pub(super) fn bytes(&mut self, bytes: &[u8]) {
        self.length(bytes.len());
        self.0.extend(bytes);
    }

    pub(super) fn numbers(&mut self, numbers: impl ExactSizeIterator<Item = f64>) {
        self.length(numbers.len());
        if numbers.len() > 0 {
            self.align(8);
            numbers.for_each(|number| self.0.extend(number.to_le_bytes()));
        }
    }

    pub(super) fn finish(self) -> Vec<u8> {
        self.0
    }

    fn length(&mut self, length: usize) {
        self.align(4);
        // Callers write batches and packets, many orders of magnitude below the limit.
        self.0.extend(u32::try_from(length).unwrap_or(u32::MAX).to_le_bytes());
    }

    fn align(&mut self, size: usize) {
        let end = HEADER.len() + (self.0.len() - HEADER.len()).next_multiple_of(size);
        self.0.resize(end, 0);
    }
}

/// What a message that cannot be read lacks.
#[derive(Debug, PartialEq, Eq)]
pub(super) struct CdrError(pub(super) &'static str);

/// Reads the fields of one message.
#[derive(Debug)]
pub(super) struct CdrReader<'a> {
    body: &'a [u8],
    at: usize,
}

impl<'a> CdrReader<'a> {
    pub(super) fn new(message: &'a [u8]) -> Result<Self, CdrError> {
        match message.split_first_chunk::<4>() {
            Some(([0, 1, _, _], body)) => Ok(Self { body, at: 0 }),
            Some(_) => Err(CdrError("it is not little-endian CDR version 1")),
            None => Err(CdrError("it is shorter than its header")),
        }
    }

    pub(super) fn i64(&mut self) -> Result<i64, CdrError> {
        self.align(8);
        let bytes = self.take(8)?;
        Ok(bytes.try_into().map_or(0, i64::from_le_bytes))
    }

    pub(super) fn string(&mut self) -> Result<&'a str, CdrError> {
        let bytes = self.bytes()?;
        let text = bytes.strip_suffix(&[0]).ok_or(CdrError("a string has no closing zero"))?;
        std::str::from_utf8(text).map_err(|_| CdrError("a string is not UTF-8"))
    }

    pub(super) fn bytes(&mut self) -> Result<&'a [u8], CdrError> {
        let length = self.length()?;
        self.take(length)
    }

    /// The doubles of a sequence.
    pub(super) fn numbers(&mut self) -> Result<impl ExactSizeIterator<Item = f64> + use<'a>, CdrError> {
        let length = self.length()?;
        if length > 0 {
            self.align(8);
        }
        let bytes = self.take(length.checked_mul(8).ok_or(SHORT)?)?;
        let (numbers, _) = bytes.as_chunks::<8>();
        Ok(numbers.iter().map(|bytes| f64::from_le_bytes(*bytes)))
    }

    fn length(&mut self) -> Result<usize, CdrError> {
        self.align(4);
        let bytes = self.take(4)?;
        Ok(bytes.try_into().map_or(0, u32::from_le_bytes) as usize)
    }

    fn align(&mut self, size: usize) {
        self.at = self.at.next_multiple_of(size);
    }

    fn take(&mut self, count: usize) -> Result<&'a [u8], CdrError> {
        let end = self.at.checked_add(count).ok_or(SHORT)?;
        let bytes = self.body.get(self.at..end).ok_or(SHORT)?;
        self.at = end;
        Ok(bytes)
    }
}

const SHORT: CdrError = CdrError("it ends before its last field");

#[cfg(test)]
mod tests {
    use super::*;

    /// Worked by hand after DDS-XTypes 1.3, § 7.4.1.
    #[test]
    fn bytes_are_as_the_standard_has_them() {
        let mut writer = CdrWriter::new();
        writer.string("ab");
        writer.numbers([1.0].into_iter());
        writer.bytes(&[7]);
        writer.i64(-2);
        let mut expected = vec![0, 1, 0, 0];
        expected.extend([3, 0, 0, 0, b'a', b'b', 0]);
        // One byte to the length's multiple of 4, the length, and the number at a multiple of 8: 16.
        expected.extend([0, 1, 0, 0, 0, 0, 0, 0, 0]);
        expected.truncate(4 + 12);
        expected.extend([0; 4]);
        expected.extend(1.0_f64.to_le_bytes());
        expected.extend([1, 0, 0, 0, 7, 0, 0, 0]);
        expected.extend((-2_i64).to_le_bytes());
        assert_eq!(writer.finish(), expected);
    }

    #[test]
    fn what_is_cut_short_is_an_error() {
        let mut writer = CdrWriter::new();
        writer.numbers([1.0, 2.0].into_iter());
        let message = writer.finish();
        for length in 0..message.len() {
            let read = CdrReader::new(&message[..length]).and_then(|mut reader| reader.numbers().map(|n| n.len()));
            assert!(read.is_err(), "{length}");
        }
        let endless = [0, 1, 0, 0, 255, 255, 255, 255];
        assert!(CdrReader::new(&endless).unwrap().numbers().is_err());
    }
}
