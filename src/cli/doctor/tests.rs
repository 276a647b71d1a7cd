use super::*;
use crate::daemon::lock::{Holder, InstanceLock};
use crate::daemon::test_folder::TestFolder;
use std::net::{SocketAddr, TcpListener};
use std::path::Path;

/// The checks of a configuration in which only these keys are given.
fn checks(folder: &Path, given: &[(&str, &str)]) -> Vec<Check> {
    let environment = given.iter().map(|(name, value)| ((*name).into(), (*value).into()));
    let data_folder = Some(folder.join("kept"));
    of_configuration(Config::load(&ConfigArgs::default(), environment, &Places { config_file: None, data_folder }))
}

fn check(checks: &[Check], name: &str) -> Check {
    checks.iter().find(|check| check.name == name).unwrap().clone()
}

/// Any that is free.
const ANY_PORT: (&str, &str) = ("SWINGD_HTTP_LISTEN", "127.0.0.1:0");

#[test]
fn all_is_well_and_nothing_is_left_behind_but_the_folders() {
    let folder = TestFolder::new("doctor-well");
    let checks = checks(folder.as_ref(), &[ANY_PORT, ("SWINGD_RECORDING_NEAR_FULL_MB", "1")]);
    let names: Vec<_> = checks.iter().map(|check| check.name).collect();
    let all = ["configuration", "data folder", "log folder", "profiles", "descriptors", "instance", "port"];
    assert_eq!(names, all);
    // How fast the disk is, is not this test's.
    let well = checks.iter().filter(|check| check.name != "data folder").all(|check| check.verdict == Verdict::Ok);
    assert!(well, "{checks:?}");
    assert_ne!(check(&checks, "data folder").verdict, Verdict::Problem);
    assert_eq!(folder.files(), ["kept"]);
    let left: Vec<_> = std::fs::read_dir(folder.path("kept")).unwrap().map(|e| e.unwrap().file_name()).collect();
    assert_eq!(left, ["log"]);
    assert_eq!(std::fs::read_dir(folder.path("kept/log")).unwrap().count(), 0);
}

#[test]
fn a_data_folder_that_cannot_be_made_is_a_problem() {
    let folder = TestFolder::new("doctor-file");
    folder.write("kept", "a file");
    let checks = checks(folder.as_ref(), &[ANY_PORT]);
    let line = check(&checks, "data folder").line();
    let start = format!("problem     data folder    {}: cannot be written: ", folder.path("kept").display());
    assert!(line.starts_with(&start), "{line}");
    assert!(
        line.ends_with("; make it a folder that this user may write to, or give another by --data-folder"),
        "{line}"
    );
    assert_eq!(check(&checks, "log folder").verdict, Verdict::Problem);
    assert_eq!(check(&checks, "instance").verdict, Verdict::Ok);
}

#[cfg(target_os = "linux")]
#[test]
fn a_read_only_folder_is_a_problem() {
    // Not even root makes a folder there.
    let checks = checks(Path::new("/proc/self"), &[ANY_PORT]);
    assert_eq!(check(&checks, "data folder").verdict, Verdict::Problem);
}

// Elsewhere a locked file cannot be read.
#[cfg(unix)]
#[test]
fn a_taken_port_is_a_problem_unless_swingd_has_it() {
    let folder = TestFolder::new("doctor-port");
    let taken = TcpListener::bind("127.0.0.1:0").unwrap();
    let address: SocketAddr = taken.local_addr().unwrap();
    let text = address.to_string();
    let given = [("SWINGD_HTTP_LISTEN", text.as_str())];
    let other = check(&checks(folder.as_ref(), &given), "port").line();
    let told = "is held by another program; stop that program, or give another address by --http-listen";
    assert_eq!(other, format!("problem     port           {address} {told}"));

    let holder = Holder::this_process(jiff::Timestamp::UNIX_EPOCH, Some(address));
    let mut lock = InstanceLock::take(&folder.path("kept"), &holder).unwrap();
    let held = checks(folder.as_ref(), &given);
    let own = check(&held, "port").line();
    assert_eq!(
        own,
        format!("ok          port           {address} is held by the swingd that runs (process {})", holder.pid)
    );
    assert_eq!(check(&held, "instance").found, format!("one runs: {holder}"));
    lock.tell(&Holder { http: Some("127.0.0.1:1".parse().unwrap()), ..holder }).unwrap();
    assert_eq!(check(&checks(folder.as_ref(), &given), "port").verdict, Verdict::Problem);
}

#[test]
fn files_that_cannot_be_read_are_told_with_their_line() {
    let folder = TestFolder::new("doctor-files");
    let good = folder.write("good.toml", "[bat]\nlength_m = 0.84\n");
    let bad = folder.write("bad.toml", "[bat]\nlength_m = 0.84\nmass_kg = -1\n");
    let given = |name, path: &Path| {
        let path = path.to_str().unwrap().to_owned();
        let checks = checks(folder.as_ref(), &[ANY_PORT, (name, &path)]);
        check(&checks, "profiles").line()
    };
    assert_eq!(given("SWINGD_SENSORS_PROFILE", &good), "ok          profiles       1 read");
    let start = format!("problem     profiles       {}: line 3: `bat.mass_kg` is -1.0; expected ", bad.display());
    for line in [given("SWINGD_SENSORS_PROFILE", &bad), given("SWINGD_SENSORS_PROFILES", folder.as_ref())] {
        assert!(line.starts_with(&start) && line.ends_with("; correct the file"), "{line}");
    }
    let absent = given("SWINGD_SENSORS_PROFILES", &folder.path("absent"));
    assert!(
        absent.starts_with(&format!("problem     profiles       {}: ", folder.path("absent").display())),
        "{absent}"
    );
    let odd = folder.write("odd.toml", "[bat]\nlenght_m = 0.84\n");
    assert!(given("SWINGD_SENSORS_PROFILE", &odd).starts_with("warning     profiles "));
}

#[test]
fn a_bad_descriptor_is_a_problem() {
    let folder = TestFolder::new("doctor-descriptor");
    folder.write("one.toml", "name = 3\n");
    folder.write("notes.txt", "not read");
    let path = folder.as_ref().to_str().unwrap();
    let checks = checks(folder.as_ref(), &[ANY_PORT, ("SWINGD_SENSORS_DESCRIPTORS", path)]);
    let check = check(&checks, "descriptors");
    assert_eq!(check.verdict, Verdict::Problem);
    assert!(check.found.starts_with(&format!("{}: ", folder.path("one.toml").display())), "{}", check.found);
}

#[test]
fn a_configuration_that_cannot_be_used_is_one_problem() {
    let folder = TestFolder::new("doctor-config");
    let checks = checks(folder.as_ref(), &[("SWINGD_LOG_DAYS", "soon")]);
    assert_eq!(checks.len(), 1);
    assert_eq!(
        checks[0].line(),
        "problem     configuration  environment: SWINGD_LOG_DAYS is \"soon\"; expected a whole number of days from 1 to \
         3650; correct it; until then data folder, log, files and port are not checked"
    );
}

#[test]
fn unknown_variables_are_warnings() {
    let folder = TestFolder::new("doctor-variable");
    let checks = checks(folder.as_ref(), &[ANY_PORT, ("SWINGD_LOG_DAY", "3")]);
    assert_eq!(
        check(&checks, "environment").line(),
        "warning     environment    environment: \"SWINGD_LOG_DAY\" is not known and was ignored; the nearest known \
         variable is SWINGD_LOG_DAYS; rename or remove it"
    );
}
