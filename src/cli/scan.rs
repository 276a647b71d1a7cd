//! `swingd scan`: which sensors are near, how well they are heard, and whether they are understood.
//!
//! It connects to none, unless asked for batteries, and then only to those that are understood: others' headphones are
//! left alone.

use super::config::{Config, ConfigArgs};
use super::serve::catalogue;
use crate::daemon::finder::Catalogue;
use crate::daemon::radio::ble::{BleRadio, hide_harmless_panics};
use crate::daemon::radio::{Advert, Link, Radio, RadioError, printable};
use crate::engine::device::own::{self, BATTERY_LEVEL};
use anyhow::Context;
use serde::Serialize;
use std::io::Write;
use std::sync::Arc;
use std::time::Duration;
use uuid::Uuid;

/// What `scan` is asked for.
#[derive(Clone, Debug, clap::Args)]
pub struct ScanArgs {
    /// How long to listen, from 0.2 to 60 s
    #[arg(long, default_value_t = 5.0, value_parser = listening_time)]
    pub seconds: f64,
    /// Print a JSON document instead of a table
    #[arg(long)]
    pub json: bool,
    /// Connect to sensors that are understood and read their batteries
    #[arg(long)]
    pub battery: bool,
    /// The configuration
    #[command(flatten)]
    pub config: ConfigArgs,
}

const NOT_UNDERSTOOD: &str = "not understood";

fn listening_time(text: &str) -> Result<f64, String> {
    let value = text.parse::<f64>().ok().filter(|value| (0.2..=60.0).contains(value));
    value.ok_or_else(|| "expected a number from 0.2 to 60".to_owned())
}

/// Listens and prints.
///
/// # Errors
/// If the radio cannot be used, with what can be done about it, or `out` cannot be written to.
pub fn run(args: &ScanArgs, out: &mut dyn Write, err: &mut dyn Write) -> anyhow::Result<()> {
    let (config, _) = Config::of_this_machine(&args.config)?;
    let catalogue = catalogue(&config)?;
    hide_harmless_panics();
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build();
    let runtime = runtime.context("no thread for the radio")?;
    runtime.block_on(run_on(&BleRadio::default(), args, &catalogue, out, err))
}

async fn run_on<R: Radio>(
    radio: &R,
    args: &ScanArgs,
    catalogue: &Catalogue,
    out: &mut dyn Write,
    err: &mut dyn Write,
) -> anyhow::Result<()> {
    let heard = radio.scan(Duration::from_secs_f64(args.seconds)).await.map_err(with_remedy)?;
    let mut near: Vec<Near> = heard.iter().map(|advert| Near::new(advert, catalogue.name_of(advert))).collect();
    near.sort_by_key(|it| (it.understood_as.is_none(), std::cmp::Reverse(it.signal_dbm), it.id.clone()));
    if args.battery {
        for one in near.iter_mut().filter(|it| it.understood_as.is_some()) {
            match battery_percent(radio, &one.id).await {
                Ok(percent) => one.battery_percent = Some(percent),
                Err(error) => writeln!(err, "{}: battery: {}", one.id, with_remedy(error))?,
            }
        }
    }
    let text = if args.json { document(&near)? } else { table(&near, args) };
    out.write_all(text.as_bytes())?;
    for (name, limit) in catalogue.limits_of(&heard) {
        writeln!(err, "{name}: {limit}")?;
    }
    Ok(out.flush()?)
}

fn with_remedy(error: RadioError) -> anyhow::Error {
    let remedy = error.remedy();
    anyhow::anyhow!("{error}; to do: {remedy}")
}

async fn battery_percent<R: Radio>(radio: &R, id: &str) -> Result<u8, RadioError> {
    let link = radio.connect(id, Arc::new(|_, _| {})).await?;
    let read = link.read(Uuid::parse_str(BATTERY_LEVEL).unwrap_or_default()).await;
    link.disconnect().await;
    let bytes = read?;
    let odd = || RadioError::Other(format!("battery level {bytes:02x?}; expected one byte from 0 to 100"));
    own::battery_percent(&bytes).ok_or_else(odd)
}

/// One sensor that was heard, as it is printed.
#[derive(Debug, Serialize)]
struct Near {
    name: Option<String>,
    id: String,
    signal_dbm: Option<i16>,
    adapter: String,
    understood_as: Option<String>,
    battery_percent: Option<u8>,
}

impl Near {
    fn new(advert: &Advert, understood_as: Option<String>) -> Self {
        Self {
            name: advert.name.as_deref().map(printable),
            id: advert.id.clone(),
            signal_dbm: advert.rssi_dbm,
            adapter: advert.adapter.clone(),
            understood_as,
            battery_percent: None,
        }
    }
}

fn document(near: &[Near]) -> Result<String, serde_json::Error> {
    Ok(serde_json::to_string(&serde_json::json!({ "sensors": near }))? + "\n")
}

fn table(near: &[Near], args: &ScanArgs) -> String {
    if near.is_empty() {
        return format!(
            "nothing was heard in {} s; wake the sensor and bring it closer; while connected to anything, it is silent\n",
            args.seconds
        );
    }
    let mut rows = vec![["Name", "Id", "Signal", "Adapter", "Understood as", "Battery"].map(str::to_owned)];
    rows.extend(near.iter().map(row));
    let columns = if args.battery { 6 } else { 5 };
    let width = |column: usize| rows.iter().map(|row| row[column].chars().count()).max().unwrap_or(0);
    let widths: [usize; 6] = std::array::from_fn(width);
    let line = |row: &[String; 6]| {
        let cells = row.iter().zip(widths).take(columns).map(|(cell, width)| format!("{cell:<width$}"));
        cells.collect::<Vec<_>>().join("  ").trim_end().to_owned() + "\n"
    };
    rows.iter().map(line).collect()
}

fn row(one: &Near) -> [String; 6] {
    let or_dash = |text: Option<String>| text.unwrap_or_else(|| "-".into());
    [
        or_dash(one.name.clone()),
        one.id.clone(),
        or_dash(one.signal_dbm.map(|it| format!("{it} dBm"))),
        one.adapter.clone(),
        one.understood_as.clone().unwrap_or_else(|| NOT_UNDERSTOOD.into()),
        or_dash(one.battery_percent.map(|it| format!("{it} %"))),
    ]
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::daemon::radio::Sink;

    /// A radio that heard what it was given.
    struct Heard(Result<Vec<Advert>, RadioError>);

    struct Silent;

    impl Link for Silent {
        fn characteristics(&self) -> Vec<Uuid> {
            Vec::new()
        }

        async fn read(&self, _: Uuid) -> Result<Vec<u8>, RadioError> {
            Ok(vec![101])
        }

        async fn write(&self, _: Uuid, _: &[u8], _: bool) -> Result<(), RadioError> {
            Ok(())
        }

        async fn subscribe(&self, _: Uuid) -> Result<(), RadioError> {
            Ok(())
        }

        async fn is_connected(&self) -> bool {
            true
        }

        async fn disconnect(&self) {}
    }

    impl Radio for Heard {
        type Link = Silent;

        async fn health(&self) -> Result<(), RadioError> {
            Ok(())
        }

        async fn scan(&self, _: Duration) -> Result<Vec<Advert>, RadioError> {
            self.0.clone()
        }

        async fn connect(&self, _: &str, _: Sink) -> Result<Silent, RadioError> {
            Ok(Silent)
        }
    }

    fn advert(name: Option<&str>, id: &str, rssi_dbm: i16, services: Vec<Uuid>) -> Advert {
        let name = name.map(str::to_owned);
        Advert { id: id.into(), name, rssi_dbm: Some(rssi_dbm), services, adapter: "hci0".into() }
    }

    fn printed(heard: Result<Vec<Advert>, RadioError>, args: &ScanArgs) -> (anyhow::Result<()>, String, String) {
        let (mut out, mut err) = (Vec::new(), Vec::new());
        let runtime = tokio::runtime::Builder::new_current_thread().build().unwrap();
        let done = runtime.block_on(run_on(&Heard(heard), args, &Catalogue::default(), &mut out, &mut err));
        (done, String::from_utf8(out).unwrap(), String::from_utf8(err).unwrap())
    }

    fn battery() -> Uuid {
        Uuid::parse_str(BATTERY_LEVEL).unwrap()
    }

    fn args() -> ScanArgs {
        ScanArgs { seconds: 5.0, json: false, battery: false, config: ConfigArgs::default() }
    }

    #[test]
    fn those_that_are_understood_come_first_then_the_loudest() {
        let own = Uuid::parse_str(own::SERVICE).unwrap();
        let heard = vec![
            advert(None, "A", -70, vec![]),
            advert(Some("\u{1b}[2Jbad"), "B", -40, vec![battery()]),
            advert(Some("Knob"), "C", -80, vec![battery(), own]),
        ];
        let (done, out, _) = printed(Ok(heard), &args());
        done.unwrap();
        let expected = "Name     Id  Signal   Adapter  Understood as\n\
                        Knob     C   -80 dBm  hci0     swingd sensor\n\
                        \u{fffd}[2Jbad  B   -40 dBm  hci0     not understood\n\
                        -        A   -70 dBm  hci0     not understood\n";
        assert_eq!(out, expected);
    }

    #[test]
    fn silence_is_told_with_what_to_do() {
        let (done, out, _) = printed(Ok(Vec::new()), &args());
        done.unwrap();
        assert_eq!(
            out,
            "nothing was heard in 5 s; wake the sensor and bring it closer; while connected to anything, it is silent\n"
        );
        let (_, out, _) = printed(Ok(Vec::new()), &ScanArgs { json: true, ..args() });
        assert_eq!(out, "{\"sensors\":[]}\n");
    }

    #[test]
    fn an_error_comes_with_its_remedy() {
        let (done, out, _) = printed(Err(RadioError::SwitchedOff), &args());
        assert_eq!(done.unwrap_err().to_string(), "Bluetooth is switched off; to do: switch Bluetooth on");
        assert_eq!(out, "");
    }

    #[test]
    fn a_battery_beyond_full_is_not_believed() {
        let own = Uuid::parse_str(own::SERVICE).unwrap();
        let args = ScanArgs { battery: true, json: true, ..args() };
        let (done, out, err) = printed(Ok(vec![advert(None, "C", -80, vec![own])]), &args);
        done.unwrap();
        assert!(err.contains("C: battery: battery level [65]; expected one byte from 0 to 100"), "{err}");
        assert!(out.contains("\"battery_percent\":null"), "{out}");
    }

    #[test]
    fn listening_has_bounds() {
        assert_eq!(listening_time("0.2"), Ok(0.2));
        assert!(["0.1", "61", "NaN", "-5", "five"].iter().all(|text| listening_time(text).is_err()));
    }
}
