//! A recording as MCAP: the project's own container, for files and for what a live sensor sends.
//!
//! Six kinds of message, each on a channel of its own, with its schema in the file: [`Packet`]s verbatim and decoded
//! samples (CDR, described as ROS 2 messages, which general viewers open), the profile, who is at the plate, how packets
//! are to be read and what became of the connection (JSON).
//! The layout is specified in proto-docs/recordings.md.

mod copy;
mod entries;
mod message;
#[cfg(test)]
mod tests;
mod without;
mod writer;

pub use copy::{McapCopy, SourceEnd, same_messages};
pub use entries::{Entry, McapEntries};
pub use message::{AtThePlate, AtThePlateSide, DeviceRecord, LinkRecord, LinkState, Packet};
pub use without::{Cut, copy_without, copy_without_names};
pub use writer::{McapWriter, sensor_time_ns};

/// The first bytes of every MCAP file (the MCAP specification, "Magic").
pub const MAGIC: &[u8] = mcap::MAGIC;

/// The name of the schema of decoded samples.
pub const SAMPLES_SCHEMA: &str = "swingd_msgs/msg/Samples";

/// The name of the schema of verbatim packets.
pub const PACKET_SCHEMA: &str = "swingd_msgs/msg/Packet";

/// The name of the schema of a profile.
pub const PROFILE_SCHEMA: &str = "swingd.Profile";

/// The name of the schema of who is at the plate.
pub const AT_THE_PLATE_SCHEMA: &str = "swingd.AtThePlate";

/// The name of the schema of how packets are to be read.
pub const DEVICE_SCHEMA: &str = "swingd.Device";

/// The name of the schema of what became of the connection.
pub const LINK_SCHEMA: &str = "swingd.Link";

/// What a channel is: a topic, its schema and how both are written.
struct ChannelKind {
    topic: &'static str,
    schema: &'static str,
    schema_encoding: &'static str,
    schema_text: &'static str,
    message_encoding: &'static str,
}

const SAMPLES: ChannelKind = ChannelKind {
    topic: "/samples",
    schema: SAMPLES_SCHEMA,
    schema_encoding: "ros2msg",
    schema_text: include_str!("../../../../proto-docs/schemas/Samples.msg"),
    message_encoding: "cdr",
};

const PACKETS: ChannelKind = ChannelKind {
    topic: "/packets",
    schema: PACKET_SCHEMA,
    schema_encoding: "ros2msg",
    schema_text: include_str!("../../../../proto-docs/schemas/Packet.msg"),
    message_encoding: "cdr",
};

const PROFILES: ChannelKind = ChannelKind {
    topic: "/profile",
    schema: PROFILE_SCHEMA,
    schema_encoding: "jsonschema",
    schema_text: include_str!("../../../../proto-docs/schemas/profile.schema.json"),
    message_encoding: "json",
};

const PLATE: ChannelKind = ChannelKind {
    topic: "/at_the_plate",
    schema: AT_THE_PLATE_SCHEMA,
    schema_encoding: "jsonschema",
    schema_text: include_str!("../../../../proto-docs/schemas/at_the_plate.schema.json"),
    message_encoding: "json",
};

const DEVICES: ChannelKind = ChannelKind {
    topic: "/device",
    schema: DEVICE_SCHEMA,
    schema_encoding: "jsonschema",
    schema_text: include_str!("../../../../proto-docs/schemas/device.schema.json"),
    message_encoding: "json",
};

const LINKS: ChannelKind = ChannelKind {
    topic: "/link",
    schema: LINK_SCHEMA,
    schema_encoding: "jsonschema",
    schema_text: include_str!("../../../../proto-docs/schemas/link.schema.json"),
    message_encoding: "json",
};
