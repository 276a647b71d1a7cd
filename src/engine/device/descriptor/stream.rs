//! `[[stream]]`: one characteristic's packets.

use std::ops::Range;

use toml::de::DeValue;

use super::channel::{self, Quantity, endian, kind};
use super::layout::{Channel, Counter, Field, Fixed, Kind, Samples, Stream, Time};
use super::table::{Table, count, hex, integer, number, uuid};
use super::{DescriptorError, LONGEST_PACKET};

pub(super) const KEYS: [&str; 16] = [
    "characteristic",
    "sample_rate_hz",
    "endian",
    "length",
    "header",
    "sample",
    "samples",
    "samples_at",
    "sample_length",
    "trailer",
    "counter",
    "time",
    "match",
    "gyro",
    "accel",
    "accel_hi",
];
pub(super) const SAMPLES_KEYS: [&str; 4] = ["at", "type", "endian", "most"];
pub(super) const COUNTER_KEYS: [&str; 5] = ["at", "type", "endian", "modulus", "counts"];
pub(super) const TIME_KEYS: [&str; 6] = ["at", "type", "endian", "modulus", "tick_hz", "of"];
pub(super) const MATCH_KEYS: [&str; 3] = ["at", "hex", "otherwise"];

/// Gyro and accelerometer come together or in one stream each.
const MOST_STREAMS: usize = 2;
const MOST_MATCHES: usize = 8;

type Result<T> = std::result::Result<T, DescriptorError>;

/// All streams, checked against each other.
pub(super) fn streams(root: &Table<'_>) -> Result<Vec<Stream>> {
    let tables = root.tables("stream", MOST_STREAMS, &KEYS)?;
    let streams: Vec<Stream> = tables.iter().map(stream).collect::<Result<_>>()?;
    let carrying = |of: fn(&Stream) -> bool| streams.iter().filter(|stream| of(stream)).count();
    if carrying(|it| it.gyro.is_some()) != 1 || carrying(|it| it.accel.is_some()) != 1 {
        let found = if tables.is_empty() { "missing" } else { "without one gyro and one accel" };
        let expected = "[[stream]] with [stream.gyro] and [stream.accel], or a [[stream]] of each";
        return Err(root.error("stream", found, expected));
    }
    if let ([first, second], [_, table]) = (streams.as_slice(), tables.as_slice()) {
        if first.characteristic == second.characteristic {
            return Err(table.error("characteristic", "that of the first stream", "one of its own"));
        }
        if first.sample_rate_hz != second.sample_rate_hz {
            let expected = format!("{:?} as in the first stream: readings are paired", first.sample_rate_hz);
            return Err(table.error("sample_rate_hz", format!("{:?}", second.sample_rate_hz), expected));
        }
    }
    Ok(streams)
}

fn stream(table: &Table<'_>) -> Result<Stream> {
    let is_big_endian = endian(table, false)?;
    let characteristic = table.required("characteristic", "a UUID", uuid)?;
    let sample_rate_hz = table.required("sample_rate_hz", "a rate from 0.1 to 1e5 Hz", |value| {
        number(value).filter(|hz| (0.1..=1e5).contains(hz))
    })?;
    let header = header(table, is_big_endian)?;
    let body = body(table, is_big_endian)?;
    let [gyro, accel, accel_hi] = body.channels;
    let mut stream = Stream {
        characteristic,
        sample_rate_hz,
        least_length: 0,
        most_length: LONGEST_PACKET,
        fixed: header.fixed,
        samples: header.samples,
        samples_at: samples_at(table, header.end)?,
        sample_length: body.length,
        trailer: table.optional("trailer", "bytes after the readings", |it| count(it, 0, LONGEST_PACKET))?.unwrap_or(0),
        counter: header.counter,
        time: header.time,
        gyro,
        accel,
        accel_hi,
    };
    (stream.least_length, stream.most_length) = lengths(table, &stream)?;
    check_header_places(table, &stream, &header.places)?;
    check_counter(table, &stream)?;
    Ok(stream)
}

/// What stands in a packet once.
struct Header {
    counter: Option<Counter>,
    time: Option<Time>,
    samples: Samples,
    fixed: Vec<Fixed>,
    /// Where its fields stand, each with its key.
    places: Vec<(Range<usize>, &'static str)>,
    /// Where the readings begin if the stream does not say: after the running order, or after the last field.
    end: usize,
}

fn header(table: &Table<'_>, is_big_endian: bool) -> Result<Header> {
    let tables = [
        ("counter", table.table("counter", &COUNTER_KEYS)?),
        ("time", table.table("time", &TIME_KEYS)?),
        ("samples", counted(table)?),
    ];
    let sizes = tables.iter().map(|(key, it)| Ok((*key, it.as_ref().map(kind).transpose()?.map(Kind::size))));
    let order = running_order(table, "header", &sizes.collect::<Result<Vec<_>>>()?)?;
    let [(_, counter), (_, time), (_, samples)] = &tables;
    let field = |key: &str, own: &Table<'_>| unsigned_field(own, is_big_endian, order.as_ref().map(|it| it.place(key)));
    let counter = counter.as_ref().map(|own| counter_of(own, field("counter", own)?)).transpose()?;
    let time = time.as_ref().map(|own| time_of(own, field("time", own)?)).transpose()?;
    let samples = match samples {
        Some(own) => {
            let most = own.required("most", "1 to 255 readings", |value| count(value, 1, 255))?;
            Samples::Counted { field: field("samples", own)?, most }
        }
        None => plain_samples(table)?,
    };
    let fixed = fixed(table)?;
    let mut places: Vec<(Range<usize>, &'static str)> = Vec::new();
    let place = |field: Field| field.at..field.end();
    places.extend(counter.map(|it| (place(it.field), "counter")));
    places.extend(time.map(|it| (place(it.field), "time")));
    if let Samples::Counted { field, .. } = samples {
        places.push((place(field), "samples"));
    }
    places.extend(fixed.iter().map(|it| (it.at..it.at + it.bytes.len(), "match")));
    let last = places.iter().map(|(place, _)| place.end).max().unwrap_or(0);
    let end = order.map_or(last, |it| it.length);
    Ok(Header { counter, time, samples, fixed, places, end })
}

/// The table `samples`, where it is one.
fn counted<'a>(table: &Table<'a>) -> Result<Option<Table<'a>>> {
    let is_table = table.optional("samples", "", |value| Some(matches!(value, DeValue::Table(_))))?;
    if is_table == Some(true) { table.table("samples", &SAMPLES_KEYS) } else { Ok(None) }
}

fn plain_samples(table: &Table<'_>) -> Result<Samples> {
    let expected = "1 to 255 readings, \"from_length\", or where their number stands: { at, type, most }";
    let read = |value: &DeValue<'_>| match value.as_str() {
        Some("from_length") => Some(Samples::FromLength),
        Some(_) => None,
        None => count(value, 1, 255).map(Samples::Fixed),
    };
    Ok(table.optional("samples", expected, read)?.unwrap_or(Samples::Fixed(1)))
}

fn counter_of(own: &Table<'_>, field: Field) -> Result<Counter> {
    let counts = [("packets", false), ("samples", true)];
    let read = |value: &DeValue<'_>| channel::named(value, &counts);
    let counts_samples = own.optional("counts", &channel::names(&counts), read)?.unwrap_or(false);
    Ok(Counter { field, modulus: modulus(own, field)?, counts_samples })
}

fn time_of(own: &Table<'_>, field: Field) -> Result<Time> {
    let tick_hz = own.required("tick_hz", "ticks a second, above 0 up to 1e9", |value| {
        number(value).filter(|hz| *hz > 0.0 && *hz <= 1e9)
    })?;
    let which = [("first", false), ("last", true)];
    let read = |value: &DeValue<'_>| channel::named(value, &which);
    let is_of_last = own.optional("of", &channel::names(&which), read)?.unwrap_or(false);
    Ok(Time { field, modulus: modulus(own, field)?, tick_hz, is_of_last })
}

/// A field that is an unsigned number, at `at` by the running order or at its own key `at`.
fn unsigned_field(own: &Table<'_>, is_big_endian: bool, at: Option<usize>) -> Result<Field> {
    let kind = kind(own)?;
    if !matches!(kind, Kind::Unsigned(_)) {
        return Err(own.error("type", "no unsigned number", "one of \"u8\", \"u16\", \"u24\", \"u32\""));
    }
    let at = match at {
        Some(_) if own.has("at") => {
            return Err(own.error("at", "beside the running order `header`", "one of the two"));
        }
        Some(at) => at,
        None => own.required("at", "a byte offset", |value| count(value, 0, LONGEST_PACKET))?,
    };
    Ok(Field { at, kind, is_big_endian: endian(own, is_big_endian)? })
}

fn modulus(own: &Table<'_>, field: Field) -> Result<u64> {
    let whole = 1_u64 << (8 * field.kind.size());
    let expected = format!("2 to {whole}, as the field holds");
    let read = |value: &DeValue<'_>| {
        integer(value).and_then(|it| u64::try_from(it).ok()).filter(|it| (2..=whole).contains(it))
    };
    Ok(own.optional("modulus", &expected, read)?.unwrap_or(whole))
}

fn fixed(table: &Table<'_>) -> Result<Vec<Fixed>> {
    let otherwise = [("refused", false), ("ignored", true)];
    let one = |own: Table<'_>| {
        let at = own.required("at", "a byte offset", |value| count(value, 0, LONGEST_PACKET))?;
        let bytes = own.required("hex", "1 to 16 bytes in hexadecimal", |value| {
            hex(value).filter(|bytes| (1..=16).contains(&bytes.len()))
        })?;
        let read = |value: &DeValue<'_>| channel::named(value, &otherwise);
        let else_ignored = own.optional("otherwise", &channel::names(&otherwise), read)?.unwrap_or(false);
        Ok(Fixed { at, bytes, else_ignored })
    };
    table.tables("match", MOST_MATCHES, &MATCH_KEYS)?.into_iter().map(one).collect()
}

/// What stands in a packet once a reading.
struct Body {
    channels: [Option<Channel>; 3],
    length: usize,
}

fn body(table: &Table<'_>, is_big_endian: bool) -> Result<Body> {
    const CHANNELS: [(&str, Quantity); 3] =
        [("gyro", Quantity::AngularRate), ("accel", Quantity::SpecificForce), ("accel_hi", Quantity::SpecificForce)];
    let tables = CHANNELS.map(|(key, quantity)| (key, quantity, table.table(key, &channel::KEYS)));
    let sizes = tables.iter().map(|(key, _, own)| {
        let own = own.as_ref().map_err(Clone::clone)?.as_ref();
        Ok((*key, own.map(kind).transpose()?.map(|kind| 3 * kind.size())))
    });
    let order = running_order(table, "sample", &sizes.collect::<Result<Vec<_>>>()?)?;
    let mut places: Vec<(Range<usize>, &'static str)> = Vec::new();
    let mut channels = [None; 3];
    for (slot, (key, quantity, own)) in channels.iter_mut().zip(tables) {
        let Some(own) = own? else {
            continue;
        };
        let at = order.as_ref().map(|it| it.place(key));
        let channel = channel::channel(&own, quantity, is_big_endian, at)?;
        places.extend(channel.fields.map(|field| (field.at..field.end(), key)));
        *slot = Some(channel);
    }
    let last = places.iter().map(|(place, _)| place.end).max().unwrap_or(0);
    if last == 0 {
        return Err(table.error("gyro", "missing", "[stream.gyro], [stream.accel] or both"));
    }
    let in_order = order.map_or(last, |it| it.length);
    let expected = format!("bytes from one reading to the next, {in_order} to {LONGEST_PACKET}");
    let read = |value: &DeValue<'_>| count(value, in_order, LONGEST_PACKET);
    let length = table.optional("sample_length", &expected, read)?.unwrap_or(in_order);
    check_overlaps(table, &places)?;
    Ok(Body { channels, length })
}

/// Fields that stand one after the other.
struct Order {
    places: Vec<(&'static str, usize)>,
    length: usize,
}

impl Order {
    fn place(&self, key: &str) -> usize {
        self.places.iter().find(|(name, _)| *name == key).map_or(0, |(_, at)| *at)
    }
}

/// The list `key` of numbers of bytes to skip, and of each of the fields that the stream has, once.
fn running_order(table: &Table<'_>, key: &str, sizes: &[(&'static str, Option<usize>)]) -> Result<Option<Order>> {
    let present: Vec<(&'static str, usize)> = sizes.iter().filter_map(|(name, size)| Some((*name, (*size)?))).collect();
    let read = |value: &DeValue<'_>| {
        let mut order = Order { places: Vec::new(), length: 0 };
        for item in value.as_array()?.iter() {
            match item.get_ref().as_str() {
                None => order.length += count(item.get_ref(), 1, LONGEST_PACKET)?,
                Some(name) => {
                    let (name, size) = present.iter().find(|(own, _)| *own == name)?;
                    order.places.push((name, order.length));
                    order.length += size;
                }
            }
        }
        let once = |name: &str| order.places.iter().filter(|(own, _)| *own == name).count() == 1;
        let is_whole = present.iter().all(|(name, _)| once(name)) && order.length <= LONGEST_PACKET;
        is_whole.then_some(order)
    };
    let names: Vec<String> = present.iter().map(|(name, _)| format!("\"{name}\"")).collect();
    let names = if names.is_empty() { "no field".to_owned() } else { names.join(", ") };
    table.optional(key, &format!("a list that names {names}, each once, with numbers of bytes to skip"), read)
}

fn samples_at(table: &Table<'_>, default: usize) -> Result<usize> {
    let read = |value: &DeValue<'_>| count(value, 0, LONGEST_PACKET);
    Ok(table.optional("samples_at", "where the first reading begins, a byte offset", read)?.unwrap_or(default))
}

/// The least and the greatest length of a packet.
fn lengths(table: &Table<'_>, stream: &Stream) -> Result<(usize, usize)> {
    let (least, most) = match stream.samples {
        Samples::Fixed(samples) => (stream.packet_length(samples), stream.packet_length(samples)),
        Samples::Counted { most, .. } => (stream.packet_length(1), stream.packet_length(most)),
        Samples::FromLength => (stream.packet_length(1), LONGEST_PACKET),
    };
    if least > LONGEST_PACKET || (most > LONGEST_PACKET && stream.fixed_samples().is_none()) {
        let found = format!("such that packets have {least} to {most} bytes");
        return Err(table.error("samples", found, format!("at most {LONGEST_PACKET} bytes")));
    }
    let read = |value: &DeValue<'_>| {
        let one = |value: &DeValue<'_>| count(value, least, LONGEST_PACKET);
        let Some(list) = value.as_array() else {
            return one(value).map(|length| (length, length));
        };
        let ends: Option<Vec<usize>> = list.iter().map(|value| one(value.get_ref())).collect();
        let [low, high] = ends?.try_into().ok()?;
        (low <= high).then_some((low, high))
    };
    let expected = format!("bytes of a packet, or a list of least and most, from {least} as the fields need");
    Ok(table.optional("length", &expected, read)?.unwrap_or((least, most)))
}

/// Header fields overlap neither each other nor the readings, and lie within every packet.
fn check_header_places(table: &Table<'_>, stream: &Stream, places: &[(Range<usize>, &'static str)]) -> Result<()> {
    check_overlaps(table, places)?;
    let readings = match stream.samples {
        Samples::Fixed(samples) => stream.samples_at..stream.samples_at + samples * stream.sample_length,
        _ => stream.samples_at..usize::MAX,
    };
    for (place, key) in places {
        if place.start < readings.end && readings.start < place.end {
            let expected = format!("none of the readings' bytes, which begin at {}", readings.start);
            return Err(table.error(key, bytes_of(place), expected));
        }
        if place.end > stream.least_length {
            return Err(table.error(
                key,
                bytes_of(place),
                format!("within the packet's {} bytes", stream.least_length),
            ));
        }
    }
    Ok(())
}

fn check_overlaps(table: &Table<'_>, places: &[(Range<usize>, &'static str)]) -> Result<()> {
    let mut places = places.to_vec();
    places.sort_by_key(|(place, _)| (place.start, place.end));
    for pair in places.windows(2) {
        if let [(before, other), (place, key)] = pair
            && place.start < before.end
        {
            let expected = format!("bytes of its own: `{other}` has {}", bytes_of(before));
            return Err(table.error(key, bytes_of(place), expected));
        }
    }
    Ok(())
}

fn bytes_of(place: &Range<usize>) -> String {
    match place.len() {
        1 => format!("at byte {}", place.start),
        _ => format!("at bytes {} to {}", place.start, place.end.saturating_sub(1)),
    }
}

/// A counter of readings has to number packets or to be the clock.
fn check_counter(table: &Table<'_>, stream: &Stream) -> Result<()> {
    let Some(counter) = stream.counter.filter(|counter| counter.counts_samples) else {
        return Ok(());
    };
    match stream.fixed_samples() {
        Some(samples) if counter.modulus % samples as u64 != 0 || counter.modulus < 2 * samples as u64 => {
            let found = format!("of readings, with modulus {}", counter.modulus);
            Err(table.error("counter", found, format!("a modulus that the {samples} readings of a packet divide")))
        }
        None if stream.time.is_some() => {
            let found = "of readings beside `time`, in packets of different numbers of them";
            Err(table.error("counter", found, "one of packets, or no `time`"))
        }
        _ => Ok(()),
    }
}
