//! "Use this one": a choice among what is heard takes effect without a restart, and holds after one.

use super::cage::{Cage, Service, packets};
use super::knob::Knob;
use super::{KNOB, OTHER};
use crate::fake::PATIENCE;
use serde_json::{Value, json};
use std::thread::sleep;
use std::time::{Duration, Instant};

const NAME: &str = "chosen";

/// What is said of a sensor that is near, once it is so.
fn near(service: &Service, name: &str, what: &str, is_so: impl Fn(&Value) -> bool) -> Value {
    let until = Instant::now() + PATIENCE;
    loop {
        let all = service.get("/v1/nearby");
        let item = all["items"].as_array().expect("a list").iter().find(|item| item["name"] == name).cloned();
        if let Some(item) = item.filter(|item| is_so(item)) {
            return item;
        }
        assert!(Instant::now() < until, "{name}: {what}: {all}");
        sleep(Duration::from_millis(50));
    }
}

fn choose(service: &Service, name: &str, is_used: bool) {
    let id = near(service, name, "near", |_| true)["id"].as_str().expect("an id").replace('/', "%2F");
    let answer = service.put(&format!("/v1/nearby/{id}"), &json!({ "is_used": is_used }));
    assert_eq!(answer["is_used"], is_used, "{answer}");
}

fn is_connected(item: &Value) -> bool {
    item["is_connected"] == true
}

#[test]
fn a_chosen_sensor_is_connected_others_are_let_go_and_a_restart_keeps_the_choice() {
    let cage = Cage::start();
    let _knobs = [(KNOB, "Knob"), (OTHER, "Other")].map(|(address, name)| Knob::still(&cage, address, name));
    let mut service = Service::start(&cage, NAME, "", &[]);
    for name in ["Knob", "Other"] {
        service.state(name, "while none is chosen, all are connected", |it| packets(it) > 20);
    }
    choose(&service, "Knob", true);
    service.state("Other", "it is let go", |it| it["link"] == "lost");
    near(&service, "Other", "it is not connected", |it| !is_connected(it));
    assert!(!cage.fake().is_connected(OTHER) && cage.fake().is_connected(KNOB));
    assert_eq!(service.faults(), Vec::<Value>::new(), "letting go is no fault");

    choose(&service, "Other", true);
    near(&service, "Other", "it is connected again", is_connected);
    choose(&service, "Knob", false);
    service.state("Knob", "it is let go", |it| it["link"] == "lost");

    service.restart(&cage, NAME);
    near(&service, "Other", "it was chosen before", is_connected);
    let knob = near(&service, "Knob", "it is heard, and left alone", |_| true);
    assert_eq!(
        (&knob["is_used"], &knob["is_connected"], &knob["sensor"]),
        (&json!(false), &json!(false), &Value::Null)
    );
    assert!(!cage.fake().is_connected(KNOB));

    choose(&service, "Other", false);
    near(&service, "Knob", "none is chosen, so all are connected", is_connected);
}
