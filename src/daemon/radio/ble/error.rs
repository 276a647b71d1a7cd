//! What btleplug says, as something a person can act on.
//!
//! On Linux it passes on D-Bus errors inside a box whose type it does not export; their names are found in the text of
//! `Debug`. Names and messages are those of the D-Bus specification ("Well-known error names" of libdbus) and of BlueZ's
//! `src/error.c`, from memory; those that matter are met through the real library in `tests/bluez`.

use super::super::RadioError;

/// Words for whoever is not allowed.
const NOT_ALLOWED: &str = if cfg!(target_os = "macos") {
    "macOS asks once for each signed program, and denies Bluetooth to background jobs outside a signed bundle"
} else if cfg!(target_os = "linux") {
    "the system bus refused; the user has to be in the group `bluetooth`, or logged in at the machine itself"
} else {
    "the system refused"
};

/// What the D-Bus library says where its connection to the bus is closed.
const BUS_CLOSED: &str = "Failed to send message";

/// Part of an error's text, and what it means.
const MEANINGS: [(&str, Meaning); 20] = [
    ("org.freedesktop.DBus.Error.AccessDenied", Meaning::NotPermitted),
    ("org.freedesktop.DBus.Error.AuthFailed", Meaning::NotPermitted),
    ("org.freedesktop.DBus.Error.UnknownObject", Meaning::NotFound),
    ("org.freedesktop.DBus.Error.UnknownMethod", Meaning::NotFound),
    ("org.freedesktop.DBus.Error.UnknownInterface", Meaning::NotFound),
    ("org.freedesktop.DBus.Error.ServiceUnknown", Meaning::ServiceGone),
    ("org.freedesktop.DBus.Error.NameHasNoOwner", Meaning::ServiceGone),
    ("org.freedesktop.DBus.Error.NoReply", Meaning::ServiceGone),
    ("org.freedesktop.DBus.Error.Timeout", Meaning::ServiceGone),
    ("org.freedesktop.DBus.Error.Disconnected", Meaning::ServiceGone),
    ("org.freedesktop.DBus.Error.NoServer", Meaning::ServiceGone),
    ("org.freedesktop.DBus.Error.FileNotFound", Meaning::ServiceGone),
    ("org.freedesktop.DBus.Error.Spawn", Meaning::ServiceGone),
    (BUS_CLOSED, Meaning::ServiceGone),
    ("org.bluez.Error.DoesNotExist", Meaning::NotFound),
    ("org.bluez.Error.NotReady", Meaning::SwitchedOff),
    ("org.bluez.Error.NotConnected", Meaning::Lost),
    // Both spellings come with `org.bluez.Error.Failed`.
    ("Not connected", Meaning::Lost),
    ("Not Connected", Meaning::Lost),
    ("le-connection-abort", Meaning::Lost),
];

/// BlueZ's messages for what need not be done.
const SO_ALREADY: [&str; 3] = ["Operation already in progress", "Already Connected", "Already notifying"];

#[derive(Clone, Copy)]
enum Meaning {
    NotPermitted,
    NotFound,
    ServiceGone,
    SwitchedOff,
    Lost,
}

impl From<btleplug::Error> for RadioError {
    fn from(error: btleplug::Error) -> Self {
        match error {
            btleplug::Error::PermissionDenied => not_permitted(),
            btleplug::Error::DeviceNotFound => Self::NotFound,
            btleplug::Error::NotConnected => Self::Lost,
            btleplug::Error::NoAdapterAvailable => Self::NoAdapter,
            other => from_text(&format!("{other:?}"), &other.to_string()),
        }
    }
}

/// No error, where it says no more than that what was asked for is so already.
pub(super) fn unless_so_already(error: RadioError) -> Result<(), RadioError> {
    match &error {
        RadioError::Other(text) if SO_ALREADY.iter().any(|words| text.contains(words)) => Ok(()),
        _ => Err(error),
    }
}

/// The connection to the bus is closed, and does not come back.
pub(super) fn bus_closed() -> RadioError {
    RadioError::ServiceGone("the connection to the system's bus was closed".into())
}

/// For a system that does not tell the state of its adapter to those it does not trust.
pub(super) fn not_permitted() -> RadioError {
    RadioError::NotPermitted(NOT_ALLOWED.into())
}

fn from_text(named: &str, plain: &str) -> RadioError {
    match MEANINGS.iter().find(|(part, _)| named.contains(part)) {
        Some((_, Meaning::NotPermitted)) => not_permitted(),
        Some((_, Meaning::NotFound)) => RadioError::NotFound,
        Some((part, _)) if *part == BUS_CLOSED => bus_closed(),
        Some((_, Meaning::ServiceGone)) => RadioError::ServiceGone(plain.into()),
        Some((_, Meaning::SwitchedOff)) => RadioError::SwitchedOff,
        Some((_, Meaning::Lost)) => RadioError::Lost,
        None if plain.is_empty() => RadioError::Other(named.into()),
        None => RadioError::Other(plain.into()),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn of_bus(name: &str, message: &str) -> RadioError {
        from_text(&format!("Other(DbusError(D-Bus error: {message} ({name})))"), message)
    }

    #[test]
    fn errors_of_the_bus_are_told_apart() {
        let gone = "The name org.bluez was not provided by any .service files";
        let service = of_bus("org.freedesktop.DBus.Error.ServiceUnknown", gone);
        assert_eq!(service, RadioError::ServiceGone(gone.into()));
        assert_eq!(of_bus("org.bluez.Error.Failed", "Not connected"), RadioError::Lost);
        assert_eq!(of_bus("org.bluez.Error.NotReady", "Resource Not Ready"), RadioError::SwitchedOff);
        assert_eq!(of_bus("org.freedesktop.DBus.Error.UnknownObject", "no such object"), RadioError::NotFound);
        let denied = of_bus("org.freedesktop.DBus.Error.AccessDenied", "Rejected send message");
        assert!(matches!(denied, RadioError::NotPermitted(_)), "{denied:?}");
        assert_eq!(of_bus("org.freedesktop.DBus.Error.Failed", "Failed to send message"), bus_closed());
        let other = of_bus("org.bluez.Error.Failed", "Operation failed with ATT error: 0x0e");
        assert_eq!(other, RadioError::Other("Operation failed with ATT error: 0x0e".into()));
    }

    #[test]
    fn what_is_so_already_is_no_failure() {
        let so = [("InProgress", "Operation already in progress"), ("AlreadyConnected", "Already Connected")];
        for (name, message) in so {
            assert_eq!(unless_so_already(of_bus(&format!("org.bluez.Error.{name}"), message)), Ok(()));
        }
        let failed = of_bus("org.bluez.Error.Failed", "Input/output error");
        assert_eq!(unless_so_already(failed.clone()), Err(failed));
        assert_eq!(unless_so_already(RadioError::Lost), Err(RadioError::Lost));
    }
}
