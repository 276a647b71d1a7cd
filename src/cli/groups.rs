//! Two groups of swings, as commands are told which: what holds for both, for the earlier one and for the later one.

use super::ask::{When, bat_id};
use super::door::{Address, Door};
use std::str::FromStr;
use uuid::Uuid;

/// Which swings are set side by side.
#[derive(Clone, Debug, Default, clap::Args)]
pub struct GroupsArgs {
    /// Days of the earlier group: FROM..TO, FROM.., ..TO or one day
    #[arg(long, value_name = "FROM..TO")]
    pub then: Option<Days>,
    /// Days of the later group
    #[arg(long, value_name = "FROM..TO")]
    pub now: Option<Days>,
    /// What holds for both groups
    #[command(flatten)]
    pub both: BothArgs,
    /// What holds for the earlier group alone
    #[command(flatten)]
    pub then_alone: ThenArgs,
    /// What holds for the later group alone
    #[command(flatten)]
    pub now_alone: NowArgs,
}

macro_rules! group_args {
    ($name:ident $words:literal $heading:literal $prefix:literal $lesson:literal $side:literal
     $bat:literal $drill:literal $source:literal) => {
        #[doc = $words]
        #[derive(Clone, Debug, Default, clap::Args)]
        #[command(next_help_heading = $heading)]
        pub struct $name {
            /// Of this lesson or practice
            #[arg(id = $lesson, long = $lesson, value_name = "ID")]
            pub lesson: Option<Uuid>,
            /// From this side
            #[arg(id = $side, long = $side, value_name = "SIDE", value_parser = ["right", "left"])]
            pub side: Option<String>,
            /// With this bat: name or id
            #[arg(id = $bat, long = $bat, value_name = "NAME")]
            pub bat: Option<String>,
            /// In rounds of exactly this drill
            #[arg(id = $drill, long = $drill, value_name = "DRILL")]
            pub drill: Option<String>,
            /// In rounds with this ball source
            #[arg(id = $source, long = $source, value_name = "SOURCE",
                                                value_parser = ["tee", "toss", "front_toss", "machine", "live", "dry"])]
            pub ball_source: Option<String>,
        }

        impl $name {
            fn put_into(&self, door: &Door, address: Address) -> anyhow::Result<Address> {
                Ok(address
                    .with(concat!($prefix, "lesson"), self.lesson.map(|id| id.to_string()))
                    .with(concat!($prefix, "side"), self.side.as_ref())
                    .with(concat!($prefix, "bat"), bat_id(door, self.bat.as_deref())?)
                    .with(concat!($prefix, "drill"), self.drill.as_ref())
                    .with(concat!($prefix, "ball_source"), self.ball_source.as_ref()))
            }
        }
    };
}

group_args!(BothArgs "What holds for both groups." "Both groups" "" "lesson" "side" "bat" "drill" "ball-source");
group_args!(ThenArgs "What holds for the earlier group alone." "The earlier group alone" "then_" "then-lesson"
    "then-side" "then-bat" "then-drill" "then-ball-source");
group_args!(NowArgs "What holds for the later group alone." "The later group alone" "now_" "now-lesson"
    "now-side" "now-bat" "now-drill" "now-ball-source");

impl GroupsArgs {
    /// As parameters of a comparison.
    ///
    /// # Errors
    /// If a day is none here, or a bat is not known.
    pub(super) fn put_into(&self, door: &Door, mut address: Address) -> anyhow::Result<Address> {
        if let Some(then) = self.then {
            address = then.put_into(address, "then_from", "then_to")?;
        }
        if let Some(now) = self.now {
            address = now.put_into(address, "now_from", "now_to")?;
        }
        let address = self.both.put_into(door, address)?;
        self.now_alone.put_into(door, self.then_alone.put_into(door, address)?)
    }
}

/// From a day to a day, both whole; one may be left out: `2026-10-01..2026-10-31`, `..2026-10-31`, `2026-11-01..`, or one day.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Days {
    from: Option<When>,
    to: Option<When>,
}

impl FromStr for Days {
    type Err = String;

    fn from_str(text: &str) -> Result<Self, String> {
        let end = |text: &str| if text.is_empty() { Ok(None) } else { text.parse::<When>().map(Some) };
        let (from, to) = match text.split_once("..") {
            Some((from, to)) => (end(from)?, end(to)?),
            None => (end(text)?, end(text)?),
        };
        match (from, to) {
            (None, None) => {
                Err("expected days such as 2026-10-01..2026-10-31, ..2026-10-31 or 2026-11-01..".to_owned())
            }
            (from, to) => Ok(Self { from, to }),
        }
    }
}

impl Days {
    fn put_into(self, address: Address, from: &str, to: &str) -> anyhow::Result<Address> {
        let begins = self.from.map(When::begins).transpose()?;
        Ok(address.with(from, begins).with(to, self.to.map(When::ends).transpose()?))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn days_are_a_span_with_either_end_open_or_one_day() {
        let of = |text: &str| text.parse::<Days>().map(|days| (days.from.is_some(), days.to.is_some()));
        assert_eq!(of("2026-10-01..2026-10-31"), Ok((true, true)));
        assert_eq!((of("..2026-10-31"), of("2026-11-01..")), (Ok((false, true)), Ok((true, false))));
        let day: Days = "2026-11-01".parse().unwrap();
        assert_eq!(day.from, day.to);
        for text in ["", "..", "yesterday..", "2026-10-01...2026-10-02", "2026-10-01..2026-02-30"] {
            assert!(of(text).is_err(), "{text}");
        }
    }
}
