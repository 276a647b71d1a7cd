//! The parts of the page as they were drawn last, for every viewer at once.

use crate::report::words::Units;
use axum::body::Bytes;
use maud::{Markup, PreEscaped};
use serde_json::json;
use std::sync::Arc;

/// A part of the page that is drawn anew as a whole.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Slot {
    /// What is wrong.
    Faults,
    /// Who is at the plate.
    Who,
    /// The last swing's numbers.
    Numbers,
    /// Its speed against time.
    Speed,
    /// Its path from the side.
    Side,
    /// Its path from above.
    Above,
    /// The round's swings.
    Round,
    /// What can be said of who is at the plate.
    Plate,
    /// The sensors.
    Sensor,
}

impl Slot {
    /// All of them, as they are sent.
    pub const ALL: [Self; 9] = [
        Self::Faults,
        Self::Who,
        Self::Numbers,
        Self::Speed,
        Self::Side,
        Self::Above,
        Self::Round,
        Self::Plate,
        Self::Sensor,
    ];

    /// As `data-slot` names it.
    pub fn name(self) -> &'static str {
        match self {
            Self::Faults => "faults",
            Self::Who => "who",
            Self::Numbers => "numbers",
            Self::Speed => "speed",
            Self::Side => "side",
            Self::Above => "above",
            Self::Round => "round",
            Self::Plate => "plate",
            Self::Sensor => "sensor",
        }
    }
}

/// A part as it was drawn.
#[derive(Clone, Debug)]
pub struct Part {
    /// Later drawings have higher ones.
    pub version: u64,
    /// What is in the slot.
    pub html: Arc<str>,
    /// The same as an event of the stream.
    pub frame: Bytes,
}

/// All parts, one for each of [`Slot::ALL`].
pub type Parts = [Part; Slot::ALL.len()];

/// What there is to send.
#[derive(Clone, Debug, Default)]
pub struct Screen {
    us: Option<Arc<Parts>>,
    metric: Option<Arc<Parts>>,
    /// The last swing in words, in US units and in metric ones.
    pub said: Option<Said>,
    /// Whose data are shown; `None`: it was not read yet.
    pub about: Option<Arc<[uuid::Uuid]>>,
}

/// A swing in words.
#[derive(Clone, Debug)]
pub struct Said {
    /// Later ones have higher ones.
    pub version: u64,
    us: Bytes,
    metric: Bytes,
}

impl Screen {
    /// The parts in some units, if somebody looks at them.
    pub fn parts(&self, units: Units) -> Option<&Arc<Parts>> {
        match units {
            Units::Us => self.us.as_ref(),
            Units::Metric => self.metric.as_ref(),
        }
    }

    /// Puts them; `None`: nobody looks.
    pub fn put(&mut self, units: Units, parts: Option<Arc<Parts>>) {
        match units {
            Units::Us => self.us = parts,
            Units::Metric => self.metric = parts,
        }
    }

    /// What is in a slot.
    pub fn html(&self, units: Units, slot: Slot) -> Markup {
        PreEscaped(self.parts(units).map_or_else(String::new, |parts| parts[slot as usize].html.to_string()))
    }
}

impl Part {
    /// Drawn.
    pub fn new(slot: Slot, version: u64, html: String) -> Self {
        let data = json!({ "slot": slot.name(), "html": html });
        Self { version, frame: frame("part", &data.to_string()), html: html.into() }
    }
}

impl Said {
    /// In both units.
    pub fn new(version: u64, us: &str, metric: &str) -> Self {
        let say = |text: &str| frame("say", &json!({ "text": text }).to_string());
        Self { version, us: say(us), metric: say(metric) }
    }

    /// As an event of the stream.
    pub fn frame(&self, units: Units) -> Bytes {
        match units {
            Units::Us => self.us.clone(),
            Units::Metric => self.metric.clone(),
        }
    }
}

/// An event (WHATWG HTML, "Server-sent events"). JSON on one line has no line break in it.
pub fn frame(event: &str, data: &str) -> Bytes {
    format!("event: {event}\ndata: {data}\n\n").into()
}
