//! Connections that are lost, in every way they can be.

use super::cage::{Cage, Service, count, packets};
use super::knob::{Knob, Manner, Motion, PER_PACKET};
use super::swings::data_packet;
use super::{KNOB, TOLD, streaming};
use serde_json::Value;
use std::time::{Duration, Instant, SystemTime};

/// Everything that truly was lost is counted, and nothing else.
#[track_caller]
fn counted_exactly(knob: &Knob, service: &Service) -> Value {
    knob.behave(Manner::Silent);
    let (lost, arrived) = (knob.truly_lost(), knob.arrived().len() as u64);
    let all = |it: &Value| packets(it) == arrived && count(it, "lost_samples") == lost;
    let state = service.state("", &format!("{arrived} packets used, {lost} samples lost"), all);
    for none in ["duplicates", "reordered", "late", "absurd", "unreadable", "dropped", "lost_in_sensor"] {
        assert_eq!(count(&state, none), 0, "{none}: {state}");
    }
    assert_eq!(count(&state, "samples"), arrived * PER_PACKET as u64);
    state
}

#[test]
fn a_loss_in_a_swing_is_flagged_told_and_counted() {
    let motion = Motion::swing(810_101);
    let cage = Cage::start();
    let knob = Knob::appear(&cage, KNOB, "Knob", motion.clone(), 1.0);
    let service = Service::start(&cage, "loss-in-swing", &motion.profile_toml, &[]);
    service.state("", "almost contact", |_| knob.made() + 4 >= motion.contact_packet);
    let (mark, lost_at) = (service.mark(), Instant::now());
    cage.fake().lose(KNOB);
    let fault = service.fault(mark, "connection");
    assert!(fault.at - lost_at < TOLD, "told after {:?}", fault.at - lost_at);
    let cleared = service.cleared(mark, "connection");
    service.state("", "the end of the motion", |_| knob.made() > motion.packets() + 100);
    let state = counted_exactly(&knob, &service);
    assert!(count(&state, "lost_samples") > 0 && count(&state, "restarts") == 0, "{state}");
    for news in service.since(0).iter().filter(|it| it.kind == "swing") {
        let flags = news.data["told"]["flags"].as_array().unwrap();
        assert!(flags.contains(&"gap".into()), "a swing with a gap is told as whole: {}", news.text);
    }
    println!(
        "told after {:?}, over after {:?}; {} samples lost, {} swing events; {:?}",
        fault.at - lost_at,
        cleared.at - lost_at,
        count(&state, "lost_samples"),
        service.since(0).iter().filter(|it| it.kind == "swing").count(),
        service.printed(),
    );
}

#[test]
fn a_loss_that_nobody_reports_is_found() {
    let (cage, knob, service) = streaming("unreported");
    let (mark, lost_at) = (service.mark(), Instant::now());
    cage.fake().lose_silently(KNOB);
    let fault = service.fault(mark, "connection");
    assert!(fault.at - lost_at < TOLD, "told after {:?}", fault.at - lost_at);
    service.cleared(mark, "connection");
    service.more_packets(20);
    counted_exactly(&knob, &service);
}

#[test]
fn a_sensor_that_falls_silent_is_told_and_connected_anew() {
    let (cage, knob, service) = streaming("silent");
    let (mark, silent_at) = (service.mark(), Instant::now());
    let connections = cage.fake().calls("Connect");
    knob.behave(Manner::Silent);
    let fault = service.fault(mark, "no_data");
    assert!(fault.at - silent_at < TOLD, "told after {:?}", fault.at - silent_at);
    cage.fake().wait_for_calls("Connect", connections + 1);
    knob.behave(Manner::Well);
    let well_at = Instant::now();
    service.cleared(mark, "no_data");
    service.more_packets(20);
    println!("told after {:?}, data again after {:?}", fault.at - silent_at, well_at.elapsed());
    let state = counted_exactly(&knob, &service);
    assert!(count(&state, "lost_samples") > 0);
}

#[test]
fn five_losses_in_a_row_double_nothing() {
    let (cage, knob, service) = streaming("five-losses");
    for _ in 0..5 {
        cage.fake().lose(KNOB);
        service.more_packets(10);
    }
    counted_exactly(&knob, &service);
}

#[test]
#[ignore = "minutes: `cargo test --release --test bluez -- --ignored reconnects --nocapture`"]
fn reconnects_within() {
    const LOSSES: usize = 30;
    let (cage, knob, mut service) = streaming("reconnects");
    let mut back_utc_ns = Vec::new();
    for k in 0..LOSSES {
        cage.fake().heard_by(KNOB, "hci0", None);
        cage.fake().lose(KNOB);
        std::thread::sleep(Duration::from_millis(1000 * k as u64 / (LOSSES as u64 - 1)));
        cage.fake().heard_by(KNOB, "hci0", Some(-60));
        let back = SystemTime::now().duration_since(SystemTime::UNIX_EPOCH).unwrap();
        back_utc_ns.push(back.as_nanos() as i64);
        service.more_packets(100);
    }
    counted_exactly(&knob, &service);
    service.stop();
    let received: Vec<i64> = service.recorded().0.iter().filter_map(data_packet).map(|it| it.received_utc_ns).collect();
    let first_after = |back: &i64| received.iter().find(|at| *at > back).expect("a packet after it was back") - back;
    let mut times_s: Vec<f64> = back_utc_ns.iter().map(|back| first_after(back) as f64 * 1e-9).collect();
    times_s.sort_by(f64::total_cmp);
    let (p50, p95, worst) = (times_s[LOSSES / 2], times_s[(LOSSES * 95).div_ceil(100) - 1], times_s[LOSSES - 1]);
    println!("{LOSSES} losses, back in reach to first packet: p50 {p50:.3} s, p95 {p95:.3} s, worst {worst:.3} s");
    assert!(p95 <= 3.0);
}
