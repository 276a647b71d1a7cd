//! Curves as bytes and back: second differences in an adaptive Golomb-Rice code (R. F. Rice, JPL Publication 79-22, 1979; its
//! width adapts as in ITU-T T.87, A.5, without that standard's other parts). Specified in proto-docs/curves.md.

use super::bits::{BitReader, BitWriter};
use super::{Channel, CurvesError, FEWEST_POINTS, StoredCurves};

/// The first byte.
pub const VERSION: u8 = 1;

/// Bytes before the values.
const HEAD: usize = 9;
/// Bits of a curve's first value.
const FIRST_BITS: u32 = 32;
/// As many ones say that a difference is written out,
const ESCAPE: u32 = 24;
/// in this many bits.
const ESCAPED_BITS: u32 = 40;
/// How far back the width of the code looks: what it has seen is halved when it has seen this many.
const SEEN_MOST: u64 = 16;

/// The bytes of curves.
pub fn encode(curves: &StoredCurves) -> Vec<u8> {
    let mut head = vec![VERSION];
    head.extend(curves.step_ns.to_le_bytes());
    head.extend((curves.points() as u16).to_le_bytes());
    head.extend(curves.contact.to_le_bytes());
    let mut bits = BitWriter::behind(head);
    for steps in &curves.steps {
        put_curve(steps, &mut bits);
    }
    bits.into_bytes()
}

/// The curves of bytes. What is allocated is at most 32 times the length of the bytes.
///
/// # Errors
/// If the bytes are not exactly what [`encode`] gives for some curves.
pub fn decode(bytes: &[u8]) -> Result<StoredCurves, CurvesError> {
    let found = bytes.len();
    let (&version, _) = bytes.split_first().ok_or(CurvesError::Short { found })?;
    if version != VERSION {
        return Err(CurvesError::Version { found: version });
    }
    let (head, values) = bytes.split_first_chunk::<HEAD>().ok_or(CurvesError::Short { found })?;
    let &[_, s0, s1, s2, s3, p0, p1, c0, c1] = head;
    let step_ns = u32::from_le_bytes([s0, s1, s2, s3]);
    let (points, contact) = (u16::from_le_bytes([p0, p1]), u16::from_le_bytes([c0, c1]));
    if step_ns == 0 || usize::from(points) < FEWEST_POINTS || contact >= points {
        return Err(CurvesError::Head { step_ns, points, contact });
    }
    let points = usize::from(points);
    let mut bits = BitReader::new(values);
    // Each value behind a curve's first takes a bit at least.
    if bits.left() < Channel::ALL.len() * (FIRST_BITS as usize + points - 1) {
        return Err(CurvesError::Short { found });
    }
    let mut steps = [const { Vec::new() }; 9];
    for (channel, steps) in Channel::ALL.into_iter().zip(&mut steps) {
        *steps = take_curve(channel, points, &mut bits, found)?;
    }
    let left = bits.left();
    if left >= 8 || bits.take(left as u32) != Some(0) {
        return Err(CurvesError::Trailing { found: left });
    }
    Ok(StoredCurves { step_ns, contact, steps })
}

fn put_curve(steps: &[i32], bits: &mut BitWriter) {
    let (mut width, mut course) = (Width::new(), Course::default());
    for (point, &value) in steps.iter().enumerate() {
        if point == 0 {
            bits.put(u64::from(value as u32), FIRST_BITS);
        } else {
            width.put(zigzag(i64::from(value) - course.next(point)), bits);
        }
        course.push(value);
    }
}

fn take_curve(
    channel: Channel,
    points: usize,
    bits: &mut BitReader<'_>,
    found: usize,
) -> Result<Vec<i32>, CurvesError> {
    let (mut width, mut course) = (Width::new(), Course::default());
    let mut steps = Vec::with_capacity(points);
    for point in 0..points {
        let value = if point == 0 {
            bits.take(FIRST_BITS).map(|first| Some(first as u32 as i32))
        } else {
            let folded = width.take(bits);
            folded.map(|folded| i32::try_from(course.next(point) + unfolded(folded?)).ok())
        };
        let value = value.ok_or(CurvesError::Short { found })?.ok_or(CurvesError::Damaged { channel, point })?;
        course.push(value);
        steps.push(value);
    }
    Ok(steps)
}

/// The last two values, and the next if they go on as they went.
#[derive(Default)]
struct Course {
    last: i64,
    before: i64,
}

impl Course {
    fn next(&self, point: usize) -> i64 {
        if point == 1 { self.last } else { 2 * self.last - self.before }
    }

    fn push(&mut self, value: i32) {
        (self.before, self.last) = (self.last, i64::from(value));
    }
}

/// How wide the code is, by what it has seen.
struct Width {
    sum: u64,
    seen: u64,
}

impl Width {
    fn new() -> Self {
        Self { sum: 4, seen: 1 }
    }

    /// The least number of low bits k with seen · 2^k ≥ sum. `sum` stays below 16 · 2^40.
    fn low_bits(&self) -> u32 {
        (0..44).find(|k| self.seen << k >= self.sum).unwrap_or(44)
    }

    fn put(&mut self, folded: u64, bits: &mut BitWriter) {
        let low = self.low_bits();
        match folded >> low {
            ones if ones < u64::from(ESCAPE) => {
                bits.put((1 << (ones + 1)) - 2, ones as u32 + 1);
                bits.put(folded, low);
            }
            _ => {
                bits.put((1 << ESCAPE) - 1, ESCAPE);
                bits.put(folded, ESCAPED_BITS);
            }
        }
        self.see(folded);
    }

    /// Nothing if the bits end; nothing within if they are such as [`Width::put`] never writes.
    fn take(&mut self, bits: &mut BitReader<'_>) -> Option<Option<u64>> {
        let low = self.low_bits();
        let folded = match bits.ones(ESCAPE)? {
            ESCAPE => {
                let folded = bits.take(ESCAPED_BITS)?;
                if folded >> low < u64::from(ESCAPE) {
                    return Some(None);
                }
                folded
            }
            ones => u64::from(ones) << low | bits.take(low)?,
        };
        self.see(folded);
        Some(Some(folded))
    }

    fn see(&mut self, folded: u64) {
        self.sum += folded;
        self.seen += 1;
        if self.seen == SEEN_MOST {
            self.sum /= 2;
            self.seen /= 2;
        }
    }
}

/// 0, −1, 1, −2 … as 0, 1, 2, 3 …
fn zigzag(difference: i64) -> u64 {
    ((difference << 1) ^ (difference >> 63)) as u64
}

fn unfolded(folded: u64) -> i64 {
    (folded >> 1) as i64 ^ -((folded & 1) as i64)
}
