//! Text to a descriptor.

use toml::de::DeTable;

use super::layout::{Channel, Stream};
use super::table::{Table, hex, integer, line_of, list_of_words, uuid, uuids, words};
use super::{Command, Descriptor, DescriptorError, LONGEST_PACKET, Source, stream, vectors};
use crate::engine::geometry::G_MPS2;

pub(super) const KEYS: [&str; 12] = [
    "descriptor",
    "name",
    "maker",
    "board",
    "limits",
    "source",
    "recognise",
    "notify",
    "start",
    "stop",
    "stream",
    "test",
];
pub(super) const SOURCE_KEYS: [&str; 4] = ["url", "date", "licence", "note"];
pub(super) const RECOGNISE_KEYS: [&str; 2] = ["services", "name_prefixes"];
pub(super) const COMMAND_KEYS: [&str; 3] = ["characteristic", "hex", "response"];

/// The version of the language.
const VERSION: i64 = 1;

/// A descriptor is written by hand; a longer text is none.
const LONGEST_TEXT: usize = 1 << 16;

const MOST_COMMANDS: usize = 20;

/// What a swing of a grown player reaches at the knob: 1,900 to 2,900 °/s and, by where the sensor sits, up to 77 g.
const SWING_GYRO_RADPS: f64 = 2900.0 * std::f64::consts::PI / 180.0;
const SWING_ACCEL_MPS2: f64 = 77.0 * G_MPS2;

/// See [`Descriptor::parse`].
pub(super) fn parse(text: &str) -> Result<Descriptor, DescriptorError> {
    if text.len() > LONGEST_TEXT {
        let found = format!("{} bytes", text.len());
        return Err(DescriptorError::Syntax { line: 1, found, expected: "at most 65536 bytes" });
    }
    let document = DeTable::parse(text).map_err(|error| DescriptorError::Syntax {
        line: line_of(text, error.span().unwrap_or(0..0)),
        found: error.message().replace('\n', ", "),
        expected: "TOML: `key = value` lines under [sections]",
    })?;
    let root = Table::document(text, document.get_ref(), &KEYS)?;
    root.required("descriptor", "1, the version of this language", |value| {
        integer(value).filter(|version| *version == VERSION)
    })?;
    let (services, name_prefixes) = recognise(&root)?;
    let descriptor = Descriptor {
        name: root.required("name", "what the sensor is called", words)?,
        maker: root.required("maker", "who makes it", words)?,
        board: root.optional("board", "the board's name", words)?,
        source: source(&root)?,
        limits: root.optional("limits", "a list of texts", list_of_words)?.unwrap_or_default(),
        services,
        name_prefixes,
        streams: stream::streams(&root)?,
        start: commands(&root, "start")?,
        stop: commands(&root, "stop")?,
        also_notify: root.optional("notify", "a list of UUIDs", uuids)?.unwrap_or_default(),
    };
    check_limits(&root, &descriptor)?;
    vectors::check(&root, &descriptor)?;
    Ok(descriptor)
}

fn source(root: &Table<'_>) -> Result<Source, DescriptorError> {
    let expected = "a section [source] that says where the layout is documented";
    let table = root.table("source", &SOURCE_KEYS)?.ok_or_else(|| root.error("source", "missing", expected))?;
    Ok(Source {
        url: table.required("url", "the address of the documentation", words)?,
        date: table.required("date", "its date or version, a text", words)?,
        licence: table.required("licence", "the licence it is published under", words)?,
        note: table.optional("note", "a text", words)?,
    })
}

fn recognise(root: &Table<'_>) -> Result<(Vec<String>, Vec<String>), DescriptorError> {
    let expected = "a section [recognise] with `services` or `name_prefixes`";
    let table =
        root.table("recognise", &RECOGNISE_KEYS)?.ok_or_else(|| root.error("recognise", "missing", expected))?;
    let services = table.optional("services", "a list of UUIDs, at most 20", uuids)?.unwrap_or_default();
    let prefixes = table.optional("name_prefixes", "a list of texts, at most 20", list_of_words)?.unwrap_or_default();
    match services.is_empty() && prefixes.is_empty() {
        true => Err(root.error("recognise", "empty", expected)),
        false => Ok((services, prefixes)),
    }
}

fn commands(root: &Table<'_>, key: &str) -> Result<Vec<Command>, DescriptorError> {
    let command = |table: Table<'_>| {
        Ok(Command {
            characteristic: table.required("characteristic", "a UUID", uuid)?,
            bytes: table.required("hex", &format!("1 to {LONGEST_PACKET} bytes in hexadecimal"), |value| {
                hex(value).filter(|bytes| (1..=LONGEST_PACKET).contains(&bytes.len()))
            })?,
            with_response: table.optional("response", "true or false", |value| value.as_bool())?.unwrap_or(true),
        })
    };
    root.tables(key, MOST_COMMANDS, &COMMAND_KEYS)?.into_iter().map(command).collect()
}

/// A descriptor whose sensor clips real swings, or cannot tell what was lost, has to say so in words.
fn check_limits(root: &Table<'_>, descriptor: &Descriptor) -> Result<(), DescriptorError> {
    let below = |of: fn(&Stream) -> Option<Channel>, reach: f64| {
        descriptor.streams.iter().filter_map(of).any(|channel| channel.range < reach)
    };
    let has_high_range = descriptor.streams.iter().any(|it| it.accel_hi.is_some_and(|it| it.range >= SWING_ACCEL_MPS2));
    let reasons = [
        (descriptor.is_untimed(), "that a stream has neither counter nor time"),
        (below(|it| it.gyro, SWING_GYRO_RADPS), "that the gyro's range ends below the 2900 °/s of real swings"),
        (
            below(|it| it.accel, SWING_ACCEL_MPS2) && !has_high_range,
            "that the accelerometer's range ends below the 77 g of real swings",
        ),
    ];
    let unsaid: Vec<&str> = reasons.into_iter().filter(|(holds, _)| *holds).map(|(_, words)| words).collect();
    match unsaid.is_empty() || !descriptor.limits.is_empty() {
        true => Ok(()),
        false => {
            let found = if root.has("limits") { "empty" } else { "missing" };
            Err(root.error("limits", found, format!("a list of texts that say {}", unsaid.join(", "))))
        }
    }
}
