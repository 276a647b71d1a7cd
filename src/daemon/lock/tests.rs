use super::*;
use crate::daemon::test_child;

fn folder(name: &str) -> PathBuf {
    let folder = std::env::temp_dir().join(format!("swingd-lock-{}-{name}", std::process::id()));
    let _ = std::fs::remove_dir_all(&folder);
    folder
}

fn holder() -> Holder {
    let started = jiff::Timestamp::UNIX_EPOCH;
    Holder::this_process(started, Some("127.0.0.1:7951".parse().unwrap()))
}

// Elsewhere a locked file cannot be read.
#[cfg(unix)]
#[test]
fn a_second_instance_is_refused_and_told_who_is_there() {
    let folder = folder("second").join("deeper");
    let lock = InstanceLock::take(&folder, &holder()).unwrap();
    let refused = InstanceLock::take(&folder, &holder()).unwrap_err().to_string();
    let told = format!(
        "{}: another swingd works on this data folder (process {}, since 1970-01-01T00:00:00Z, at http://127.0.0.1:7951); \
         expected to be the only one: stop it, or give another folder by --data-folder",
        folder.display(),
        std::process::id()
    );
    assert_eq!(refused, told);
    assert_eq!(occupancy(&folder).unwrap(), Occupancy::Held(Some(holder())));
    drop(lock);
    assert_eq!(occupancy(&folder).unwrap(), Occupancy::Free);
    drop(InstanceLock::take(&folder, &holder()).unwrap());
    std::fs::remove_dir_all(folder.parent().unwrap()).unwrap();
}

// Elsewhere a locked file cannot be read.
#[cfg(unix)]
#[test]
fn a_second_process_is_refused_too() {
    let folder = folder("process");
    let lock = InstanceLock::take(&folder, &holder()).unwrap();
    let refused = test_child::run("daemon::lock::tests::child_takes_the_folder", folder.to_str().unwrap());
    let out = String::from_utf8_lossy(&refused.stdout).into_owned();
    assert!(refused.status.success(), "{out}");
    assert!(out.contains(&format!("refused: process {}", std::process::id())), "{out}");
    drop(lock);
    let taken = test_child::run("daemon::lock::tests::child_takes_the_folder", folder.to_str().unwrap());
    assert!(String::from_utf8_lossy(&taken.stdout).contains("taken"));
    // The child is gone without having stopped in order: its text is there, its lock is not.
    assert!(std::fs::read_to_string(lock_path(&folder)).unwrap().contains("pid = "));
    assert_eq!(occupancy(&folder).unwrap(), Occupancy::Free);
    std::fs::remove_dir_all(folder).unwrap();
}

#[test]
#[ignore = "the other process of `cargo test --lib a_second_process_is_refused_too`"]
fn child_takes_the_folder() {
    let Some(folder) = test_child::given() else { return };
    match InstanceLock::take(Path::new(&folder), &holder()) {
        Ok(lock) => {
            println!("taken");
            std::mem::forget(lock);
        }
        Err(LockError::Held { holder: Some(holder), .. }) => println!("refused: {holder}"),
        Err(other) => panic!("{other}"),
    }
}

#[test]
fn foreign_text_is_no_holder() {
    let folder = folder("foreign");
    make_private_folder(&folder).unwrap();
    for text in [&b"pid = \"x\""[..], b"\xff\xfe", &[b'a'; 9000]] {
        std::fs::write(lock_path(&folder), text).unwrap();
        assert_eq!(occupancy(&folder).unwrap(), Occupancy::Free);
        let foreign = File::open(lock_path(&folder)).unwrap();
        foreign.lock().unwrap();
        assert_eq!(occupancy(&folder).unwrap(), Occupancy::Held(None));
        let refused = InstanceLock::take(&folder, &holder()).unwrap_err().to_string();
        assert!(refused.contains("(it does not tell which)"), "{refused}");
        foreign.unlock().unwrap();
    }
    std::fs::remove_dir_all(folder).unwrap();
}

// Elsewhere a locked file cannot be read.
#[cfg(unix)]
#[test]
fn what_is_told_later_replaces_what_was_told() {
    let folder = folder("later");
    let mut lock = InstanceLock::take(&folder, &holder()).unwrap();
    let without = Holder { http: None, started: "now".into(), ..holder() };
    lock.tell(&without).unwrap();
    assert_eq!(occupancy(&folder).unwrap(), Occupancy::Held(Some(without)));
    std::fs::remove_dir_all(folder).unwrap();
}

#[test]
fn a_file_in_the_place_of_the_folder_is_told() {
    let file = folder("file");
    std::fs::write(&file, "").unwrap();
    let refused = InstanceLock::take(&file.join("below"), &holder()).unwrap_err().to_string();
    assert!(refused.starts_with(&file.join("below").display().to_string()), "{refused}");
    assert!(refused.ends_with("; expected a folder that can be made and written to"), "{refused}");
    std::fs::remove_file(file).unwrap();
}

#[cfg(unix)]
#[test]
fn a_new_folder_is_for_its_user_alone() {
    use std::os::unix::fs::PermissionsExt;
    let folder = folder("private");
    make_private_folder(&folder.join("deeper")).unwrap();
    for made in [&folder, &folder.join("deeper")] {
        assert_eq!(std::fs::metadata(made).unwrap().permissions().mode() & 0o777, 0o700);
    }
    std::fs::remove_dir_all(folder).unwrap();
}
