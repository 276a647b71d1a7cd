use super::keys::{KEYS, Key};
use super::*;
use crate::cli::test_folder::TestFolder;
use std::collections::BTreeSet;
use std::path::Path;

fn places(folder: &Path) -> Places {
    Places { config_file: Some(folder.join("swingd.toml")), data_folder: Some(folder.join("kept")) }
}

fn environment(pairs: &[(&str, &str)]) -> Vec<(OsString, OsString)> {
    pairs.iter().map(|(name, value)| ((*name).into(), (*value).into())).collect()
}

fn args(words: &[&str]) -> ConfigArgs {
    #[derive(clap::Parser)]
    struct Line {
        #[command(flatten)]
        config: ConfigArgs,
    }
    let line: Line = clap::Parser::try_parse_from([&["swingd"], words].concat()).unwrap();
    line.config
}

/// With the file `swingd.toml` of the folder, if it is there.
fn load(folder: &TestFolder, pairs: &[(&str, &str)], words: &[&str]) -> Result<Config, ConfigError> {
    Config::load(&args(words), environment(pairs), &places(folder.as_ref())).map(|(config, _)| config)
}

fn error_of(folder: &TestFolder, pairs: &[(&str, &str)], words: &[&str]) -> String {
    load(folder, pairs, words).unwrap_err().to_string()
}

/// For each key what the file, the variable and the flag say, the latter two as TOML too.
const VALUES: [(&str, &str, &str, &str); 19] = [
    ("data.folder", "\"/f\"", "/e", "/g"),
    ("http.listen", "\"127.0.0.1:1\"", "127.0.0.1:2", "[::1]:3"),
    ("http.hosts", "[\"a\"]", "b, c", "d"),
    ("http.requests_per_minute", "10", "20", "30"),
    ("store.url", "\"postgres://f/x\"", "postgresql://e/x", "postgres://coach@g:5433/x"),
    ("cage.name", "\"f\"", "e", "g"),
    ("retention.days", "1", "2", "3"),
    ("sensors.auto", "false", "true", "false"),
    ("sensors.only", "[\"a\"]", "b, c", "d"),
    ("sensors.descriptors", "\"/f\"", "/e", "/g"),
    ("sensors.profile", "\"/f\"", "/e", "/g"),
    ("sensors.profiles", "\"/f\"", "/e", "/g"),
    ("recording.near_full_mb", "1", "2", "3"),
    ("recording.most_mb", "1", "2", "3"),
    ("recording.idle_close_s", "1", "2", "3"),
    ("events.keep", "1", "2", "3"),
    ("log.level", "\"warn\"", "debug", "off"),
    ("log.days", "1", "2", "3"),
    ("log.to_file", "false", "true", "false"),
];

/// What a key's row of the configuration says.
fn row(config: &Config, name: &str) -> (String, Origin) {
    let rows = config.rows();
    let (_, value, origin) = rows.iter().find(|(key, ..)| key.name == name).unwrap();
    let text = match value {
        toml::Value::Array(names) => names.iter().map(|name| name.as_str().unwrap()).collect::<Vec<_>>().join(", "),
        value => value.as_str().map_or_else(|| value.to_string(), str::to_owned),
    };
    (text, (*origin).clone())
}

/// As a key's row shows what was given.
fn as_shown(key: &Key, text: &str) -> String {
    match key.expected == Key::named("data.folder").unwrap().expected {
        true => std::path::absolute(text).unwrap().to_str().unwrap().to_owned(),
        false => {
            if text.starts_with("[\"") {
                text.trim_matches(['[', ']', '"']).to_owned()
            } else {
                text.to_owned()
            }
        }
    }
}

#[test]
fn a_flag_goes_before_a_variable_and_that_before_the_file_and_that_before_the_default() {
    let folder = TestFolder::new("config-precedence");
    let path = folder.path("swingd.toml");
    assert_eq!(VALUES.map(|(name, ..)| name).as_slice(), KEYS.iter().map(|key| key.name).collect::<Vec<_>>());
    for (name, in_file, in_variable, in_flag) in VALUES {
        let key = Key::named(name).unwrap();
        let shown = |text: &str| as_shown(key, text);
        let variable = [(key.variable(), in_variable)];
        let variable: Vec<_> = variable.iter().map(|(name, value)| (name.as_str(), *value)).collect();
        let flag = format!("{}={in_flag}", key.flag());
        folder.write("swingd.toml", format!("# a line before\n{name} = {in_file}\n"));
        let from_flag = row(&load(&folder, &variable, &[&flag]).unwrap(), name);
        assert_eq!(from_flag, (shown(in_flag), Origin::Flag(key.flag())));
        let from_variable = row(&load(&folder, &variable, &[]).unwrap(), name);
        assert_eq!(from_variable, (shown(in_variable), Origin::Environment(key.variable())));
        let from_file = row(&load(&folder, &[], &[]).unwrap(), name);
        assert_eq!(from_file, (shown(in_file.trim_matches('"')), Origin::File { path: path.clone(), line: 2 }));
        std::fs::remove_file(&path).unwrap();
        let (default, origin) = row(&load(&folder, &[], &[]).unwrap(), name);
        assert_eq!(origin, Origin::Default);
        let expected =
            if name == "data.folder" { folder.path("kept").display().to_string() } else { key.default.into() };
        assert_eq!(default, expected);
    }
}

#[test]
fn every_key_has_its_flag_and_no_flag_is_without_a_key() {
    let command = <ConfigArgs as clap::Args>::augment_args(clap::Command::new("swingd"));
    let flags: BTreeSet<String> = command.get_arguments().map(|arg| format!("--{}", arg.get_long().unwrap())).collect();
    let keys = KEYS.iter().map(Key::flag).chain(["--config".to_owned()]);
    assert_eq!(flags, keys.collect());
    assert!(command.get_arguments().all(|arg| arg.get_help().is_some()));
}

#[test]
fn the_printed_configuration_is_a_file_that_gives_the_same() {
    let folder = TestFolder::new("config-round");
    folder
        .write("swingd.toml", "[sensors]\nonly = [\"knob \\\"1\\\"\", \"ü\"]\nprofile = \"p.toml\"\n[log]\ndays = 3\n");
    let first = load(&folder, &[("SWINGD_LOG_LEVEL", "info,a=off")], &["--http-listen", "[::1]:8000"]).unwrap();
    assert_eq!(first.sensors.profile.value, Some(folder.path("p.toml")));
    let values = |config: &Config| config.rows().map(|(key, value, _)| (key.name, value));
    folder.write("swingd.toml", first.to_toml());
    let again = load(&folder, &[], &[]).unwrap();
    assert_eq!(values(&again), values(&first));
    assert!(again.rows().iter().all(|(_, _, origin)| matches!(origin, Origin::File { .. })));
}

#[test]
fn the_origin_stands_beside_each_value() {
    let folder = TestFolder::new("config-print");
    folder.write("swingd.toml", "[log]\ndays = 3\n");
    let config = load(&folder, &[("SWINGD_LOG_LEVEL", "debug")], &["--http-listen=127.0.0.1:9"]).unwrap();
    let text = config.to_toml().replace(&*folder.as_ref().to_string_lossy(), "HOME");
    insta::assert_snapshot!(text.replace('\\', "/"));
    let json = config.to_json();
    assert_eq!(
        json["log"]["level"]["origin"],
        serde_json::json!({ "kind": "environment", "name": "SWINGD_LOG_LEVEL" })
    );
    assert_eq!(json["log"]["days"]["origin"]["line"], 2);
    assert_eq!(json["sensors"]["only"], serde_json::json!({ "value": [], "origin": { "kind": "default" } }));
    assert_eq!(json.as_object().unwrap().values().map(|section| section.as_object().unwrap().len()).sum::<usize>(), 19);
}

#[cfg(unix)]
#[test]
fn a_line_break_in_a_path_does_not_leave_the_comment() {
    let folder = TestFolder::new("config-break");
    let file = folder.write("a\n[log]\ndays = 9.toml", "log.days = 3\n");
    let config = load(&folder, &[], &["--config", file.to_str().unwrap()]).unwrap();
    assert_eq!(config.to_toml().parse::<toml::Table>().unwrap()["log"]["days"].as_integer(), Some(3));
}

#[test]
fn errors_name_the_place_what_was_found_and_what_was_expected() {
    let folder = TestFolder::new("config-errors");
    let path = folder.path("swingd.toml").display().to_string();
    let listen = "expected an address and a port, such as 127.0.0.1:7951, or 0.0.0.0:7951 for other machines too";
    let in_file = [
        ("[http]\nlisten = \"0.0.0.0\"", format!("line 2: `http.listen` is the text \"0.0.0.0\"; {listen}")),
        ("http.listen = 80", format!("line 1: `http.listen` is 80; {listen}")),
        (
            "[log]\n\ndays = \"3\"",
            "line 3: `log.days` is the text \"3\"; expected a whole number of days from 1 to 3650".into(),
        ),
        ("[log]\ndays = 0", "line 2: `log.days` is 0; expected a whole number of days from 1 to 3650".into()),
        ("log.to_file = 1", "line 1: `log.to_file` is 1; expected true or false".into()),
        (
            "[log]\ndays = 1.5",
            "line 2: `log.days` is of the kind float; expected a whole number of days from 1 to 3650".into(),
        ),
        ("[log]\nday = 3", "line 2: `log.day` is not known; the nearest known key is `log.days`".into()),
        ("[htp]\nlisten = 3", "line 2: `htp.listen` is not known; the nearest known key is `http.listen`".into()),
        ("listen = 3", "line 1: `listen` is not known; the nearest known key is `http.listen`".into()),
        ("\n[lag]", "line 2: `lag` is not known; the nearest known key is `log.days`".into()),
        ("log = 3", "line 1: `log` is 3; expected a section, [log]".into()),
        (
            "[[log]]\ndays = 3",
            "line 1: `log` is of the kind array of other things than text; expected a section, [log]".into(),
        ),
        (
            "data.folder = \"~/swings\"",
            "line 1: `data.folder` is the text \"~/swings\"; expected a path without ~ (write \
                                        the home folder in full), or nothing for the default"
                .into(),
        ),
    ];
    for (text, told) in in_file {
        folder.write("swingd.toml", text);
        assert_eq!(error_of(&folder, &[], &[]), format!("{path}: {told}"), "{text}");
    }
    folder.write("swingd.toml", "[log\n");
    let told = error_of(&folder, &[], &[]);
    assert!(told.starts_with(&format!("{path}: line 1: this is not TOML: ")), "{told}");
    folder.write("swingd.toml", "");
    assert_eq!(
        error_of(&folder, &[("SWINGD_SENSORS_ONLY", "a,,b")], &[]),
        "environment: SWINGD_SENSORS_ONLY is \"a,,b\"; expected a list of up to 64 names or ids (in a flag or variable: \
         with commas between)"
    );
    assert_eq!(
        error_of(&folder, &[], &["--log-level", "loud"]),
        "--log-level is \"loud\"; expected off, error, warn, info, debug or trace; after it, with commas between, \
         PART=LEVEL as in info,swingd::daemon=debug"
    );
    assert_eq!(
        error_of(&folder, &[], &["--http-listen", "localhost:1"]),
        format!("--http-listen is \"localhost:1\"; {listen}")
    );
}

#[test]
fn a_value_that_another_goes_before_is_not_looked_at() {
    let folder = TestFolder::new("config-before");
    folder.write("swingd.toml", "log.days = \"soon\"\n");
    let config = load(&folder, &[("SWINGD_EVENTS_KEEP", "none")], &["--events-keep=9", "--log-days=2"]).unwrap();
    assert_eq!((config.events_keep.value, config.log.days.value), (9, 2));
}

#[test]
fn a_file_that_was_asked_for_has_to_be_there() {
    let folder = TestFolder::new("config-file");
    assert_eq!(load(&folder, &[("SWINGD_CONFIG", "")], &[]).unwrap().file, None);
    let absent = folder.path("absent.toml");
    let absent = absent.to_str().unwrap();
    for told in [error_of(&folder, &[("SWINGD_CONFIG", absent)], &[]), error_of(&folder, &[], &["--config", absent])] {
        assert!(told.starts_with(&format!("{absent}: not read: ")), "{told}");
    }
    let (one, two) = (folder.write("1.toml", "log.days = 1"), folder.write("2.toml", "log.days = 2"));
    let (one, two) = (one.to_str().unwrap(), two.to_str().unwrap());
    assert_eq!(load(&folder, &[("SWINGD_CONFIG", one)], &[]).unwrap().log.days.value, 1);
    let config = load(&folder, &[("SWINGD_CONFIG", one)], &["--config", two]).unwrap();
    assert_eq!((config.log.days.value, config.file.as_deref()), (2, Some(Path::new(two))));
}

#[test]
fn a_file_that_is_too_long_or_no_text_is_refused() {
    let folder = TestFolder::new("config-long");
    for bytes in [vec![b'#'; (1 << 20) + 1], b"# \xff".to_vec()] {
        folder.write("swingd.toml", bytes);
        let told = error_of(&folder, &[], &[]);
        assert!(told.contains("swingd.toml: not read: "), "{told}");
    }
}

#[test]
fn unknown_variables_are_told_and_others_left_alone() {
    let folder = TestFolder::new("config-unknown");
    let pairs = [("SWINGD_HTTP_LISTN", "x"), ("SWINGD_CONFG", "x"), ("PATH", "x"), ("SWING", "x")];
    let (_, unknown) = Config::load(&ConfigArgs::default(), environment(&pairs), &places(folder.as_ref())).unwrap();
    let told: Vec<_> = unknown.iter().map(|it| (it.name.as_str(), it.nearest.as_str())).collect();
    assert_eq!(told, [("SWINGD_CONFG", "SWINGD_CONFIG"), ("SWINGD_HTTP_LISTN", "SWINGD_HTTP_LISTEN")]);
}

#[cfg(unix)]
#[test]
fn a_variable_that_is_no_text_is_refused() {
    use std::os::unix::ffi::OsStringExt;
    let folder = TestFolder::new("config-bytes");
    let pairs = [(OsString::from("SWINGD_LOG_LEVEL"), OsString::from_vec(vec![0xff]))];
    let told = Config::load(&ConfigArgs::default(), pairs, &places(folder.as_ref())).unwrap_err().to_string();
    assert!(told.starts_with("environment: SWINGD_LOG_LEVEL is not Unicode text; expected off, "), "{told}");
}

#[test]
fn without_a_home_the_data_folder_has_to_be_given() {
    let told = Config::load(&ConfigArgs::default(), [], &Places::default()).unwrap_err().to_string();
    assert_eq!(
        told,
        "`data.folder` is not given and no home folder is known; expected --data-folder or SWINGD_DATA_FOLDER"
    );
    let given = Config::load(&args(&["--data-folder", "/d"]), [], &Places::default()).unwrap().0;
    assert_eq!(given.data_folder.value, std::path::absolute("/d").unwrap());
}

#[test]
fn a_password_is_neither_printed_nor_in_an_error() {
    let folder = TestFolder::new("config-password");
    let url = "postgres://coach:s3cr:@t@db.example:5433/cage?sslmode=require&password=0ther";
    let config = load(&folder, &[("SWINGD_STORE_URL", url)], &[]).unwrap();
    assert_eq!(config.store_url.value.as_deref(), Some(url));
    assert_eq!(config.store_shown(), "postgres://coach@db.example:5433/cage");
    let told = error_of(&folder, &[("SWINGD_STORE_URL", "postgress://coach:s3cret@db/cage")], &[]);
    for text in [config.to_toml(), config.to_json().to_string(), config.store().to_string(), told] {
        assert!(!text.contains("s3cr") && !text.contains("0ther"), "{text}");
    }
}

#[test]
fn hosts_are_names_as_browsers_send_them() {
    let folder = TestFolder::new("config-hosts");
    let hosts = |names| load(&folder, &[("SWINGD_HTTP_HOSTS", names)], &[]).map(|config| config.http_hosts.value);
    assert_eq!(hosts("Cage.local, [fe80::1]").unwrap(), ["cage.local", "[fe80::1]"]);
    for bad in ["cage.local:7951", "http://cage.local", "fe80::1", "a b", "kä.example", "*"] {
        assert!(hosts(bad).is_err(), "{bad}");
    }
}

/// Rows `| key | default | … |` of the page.
fn table_of_the_page() -> Vec<(String, String)> {
    let page = include_str!("../../../docs/operation.md");
    let rows = page.lines().filter_map(|line| line.strip_prefix("| `"));
    let cells = rows.map(|row| row.split(" | ").map(|cell| cell.trim_matches('`').to_owned()).collect::<Vec<_>>());
    cells.map(|cells| (cells[0].clone(), cells[1].clone())).collect()
}

#[test]
fn the_table_of_the_page_on_operation_has_every_key_with_its_default() {
    let folder = TestFolder::new("config-page");
    let config = load(&folder, &[], &[]).unwrap();
    let default = |(key, value, _): (Key, toml::Value, _)| match key.name {
        "data.folder" => (key.name.to_owned(), "\"\"".to_owned()),
        name => (name.to_owned(), value.to_string()),
    };
    assert_eq!(table_of_the_page(), config.rows().map(default));
}
