//! What the machine itself offers: radio, clock, port.

use super::Check;
use crate::daemon::clock::Now;
use crate::daemon::lock::Occupancy;
use crate::daemon::radio::RadioError;
use std::io::{ErrorKind, Read};
use std::net::{SocketAddr, TcpListener};
use std::process::{Child, Command, Stdio};
use std::thread;
use std::time::{Duration, Instant};

/// Whether Bluetooth can be used.
pub(super) fn radio(health: Option<Result<(), RadioError>>) -> Check {
    match health {
        None => Check::not_checked("radio", "nothing here asks the adapter yet"),
        Some(Ok(())) => Check::ok("radio", "there is an adapter, and this program may use it"),
        Some(Err(error)) => Check::problem("radio", error.to_string(), error.remedy()),
    }
}

/// 2026-01-01, ns since 1970 UTC: this program is not older.
const EARLIEST_UTC_NS: i64 = 1_767_225_600_000_000_000;

/// Whether the clock can be right, and whether the system says that it is kept so.
pub(super) fn clock(now: Now, is_synchronised: Option<bool>) -> Check {
    let time = jiff::Timestamp::from_second(now.utc_ns / 1_000_000_000).unwrap_or_default();
    let (name, remedy) = ("clock", "set the time, and let the system keep it (on Linux: timedatectl set-ntp true)");
    if now.utc_ns < EARLIEST_UTC_NS {
        return Check::problem(name, format!("{time}, which is past"), remedy);
    }
    match is_synchronised {
        Some(true) => Check::ok(name, format!("{time}, kept by the system")),
        Some(false) => Check::warning(name, format!("{time}, not kept by the system"), remedy),
        None => Check::ok(name, format!("{time}; whether it is kept right is not known here")),
    }
}

/// How long the system is asked about its clock.
const CLOCK_PATIENCE: Duration = Duration::from_secs(2);

/// Whether the system keeps its clock right, where it tells: systemd's `NTPSynchronized`.
pub(super) fn is_synchronised() -> Option<bool> {
    if !cfg!(target_os = "linux") {
        return None;
    }
    let mut ask = Command::new("timedatectl");
    ask.args(["show", "--property=NTPSynchronized", "--value"]);
    match first_line(&mut ask, CLOCK_PATIENCE)?.as_str() {
        "yes" => Some(true),
        "no" => Some(false),
        _ => None,
    }
}

/// What a program that ends well says first, if it ends in time; else it is ended.
fn first_line(command: &mut Command, patience: Duration) -> Option<String> {
    let quiet = command.stdin(Stdio::null()).stdout(Stdio::piped()).stderr(Stdio::null());
    let mut child = quiet.spawn().ok()?;
    if !ends_within(&mut child, patience) {
        // It may just have ended.
        let _ = child.kill();
        let _ = child.wait();
        return None;
    }
    let mut text = String::new();
    child.stdout.take()?.take(1000).read_to_string(&mut text).ok()?;
    text.lines().next().map(str::to_owned)
}

/// Whether it ends well in time.
fn ends_within(child: &mut Child, patience: Duration) -> bool {
    let start = Instant::now();
    while start.elapsed() < patience {
        match child.try_wait() {
            Ok(None) => thread::sleep(Duration::from_millis(10)),
            ended => return ended.is_ok_and(|status| status.is_some_and(|status| status.success())),
        }
    }
    false
}

/// Whether the HTTP server can have its port, or has it.
pub(super) fn port(address: SocketAddr, occupancy: &Occupancy) -> Check {
    let name = "port";
    match TcpListener::bind(address) {
        Ok(_) if address.port() == 0 => Check::ok(name, format!("{address}: any that is free")),
        Ok(_) => Check::ok(name, format!("{address} is free")),
        Err(error) if error.kind() == ErrorKind::AddrInUse => match occupancy {
            Occupancy::Held(Some(holder)) if holder.http == Some(address) => {
                Check::ok(name, format!("{address} is held by the swingd that runs (process {})", holder.pid))
            }
            _ => {
                let remedy = "stop that program, or give another address by --http-listen";
                Check::problem(name, format!("{address} is held by another program"), remedy)
            }
        },
        Err(error) => {
            let remedy = "give another address by --http-listen";
            Check::problem(name, format!("{address} cannot be used: {error}"), remedy)
        }
    }
}

#[cfg(test)]
mod tests {
    use super::super::Verdict;
    use super::*;

    fn at(utc_ns: i64) -> Now {
        Now { utc_ns, elapsed: Duration::ZERO }
    }

    #[test]
    fn the_clock_is_judged() {
        let earliest: jiff::Timestamp = "2026-01-01T00:00:00Z".parse().unwrap();
        assert_eq!(i128::from(EARLIEST_UTC_NS), earliest.as_nanosecond());
        let line = |utc_ns, kept| clock(at(utc_ns), kept).line();
        assert_eq!(
            line(0, Some(true)),
            "problem     clock          1970-01-01T00:00:00Z, which is past; set the time, and let the system keep it \
             (on Linux: timedatectl set-ntp true)"
        );
        assert_eq!(clock(at(EARLIEST_UTC_NS - 1), None).verdict, Verdict::Problem);
        assert_eq!(
            line(EARLIEST_UTC_NS, Some(true)),
            "ok          clock          2026-01-01T00:00:00Z, kept by the system"
        );
        assert_eq!(clock(at(EARLIEST_UTC_NS), None).verdict, Verdict::Ok);
        assert_eq!(clock(at(EARLIEST_UTC_NS), Some(false)).verdict, Verdict::Warning);
        assert_eq!(clock(at(i64::MAX), None).verdict, Verdict::Ok);
        assert_eq!(clock(at(i64::MIN), None).verdict, Verdict::Problem);
    }

    #[test]
    fn the_radio_is_told_with_its_remedy() {
        assert_eq!(radio(None).line(), "not checked radio          nothing here asks the adapter yet");
        assert_eq!(radio(Some(Ok(()))).verdict, Verdict::Ok);
        assert_eq!(
            radio(Some(Err(RadioError::SwitchedOff))).line(),
            "problem     radio          Bluetooth is switched off; switch Bluetooth on"
        );
    }

    #[cfg(unix)]
    #[test]
    fn a_program_that_does_not_end_is_ended() {
        let sh = |script: &str| {
            let mut command = Command::new("sh");
            command.args(["-c", script]);
            command
        };
        let (patience, none) = (Duration::from_secs(20), Duration::from_millis(1));
        assert_eq!(first_line(&mut sh("echo yes; echo no"), patience).as_deref(), Some("yes"));
        assert_eq!(first_line(&mut sh("echo yes; exit 3"), patience), None);
        assert_eq!(first_line(&mut sh("exec tail -f /dev/null"), none), None);
        assert_eq!(first_line(&mut Command::new("no-such-program-anywhere"), patience), None);
    }
}
