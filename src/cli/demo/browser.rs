//! The browser of the person at this machine.

use std::process::{Command, Stdio};

/// Best effort: where the page is has been printed.
pub(super) fn open(url: &str) {
    let Some(mut command) = browser() else { return };
    let quiet = command.arg(url).stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::null());
    // Nothing to do about a system without a browser.
    let _ = quiet.spawn();
}

/// The system's own way to open an address; on Linux only where there is a screen, for a text browser would take over the
/// terminal.
fn browser() -> Option<Command> {
    let words: &[&str] = match std::env::consts::OS {
        "macos" => &["open"],
        "windows" => &["cmd", "/C", "start", ""],
        _ if ["DISPLAY", "WAYLAND_DISPLAY"].iter().any(|name| std::env::var_os(name).is_some()) => &["xdg-open"],
        _ => return None,
    };
    let (program, arguments) = words.split_first()?;
    let mut command = Command::new(program);
    command.args(arguments);
    Some(command)
}
