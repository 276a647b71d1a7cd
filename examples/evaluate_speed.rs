use nalgebra::Vector3;
use std::hint::black_box;
use swingd::engine::metrics::*;
use swingd::engine::profile::*;
fn main() {
    let bat = Bat { length_m: 0.838, mass_kg: 0.85, balance_m: 0.55, moi_knob6_kgm2: 0.2, sweet_spot_m: 0.686, barrel_diameter_m: 0.066 };
    let ctx = SwingContext { side: Side::Right, pitch_speed_mps: 20.0, pitch_descent_deg: 8.0 };
    for ball in [true, false] {
    let n = 700;
    let times_s: Vec<f64> = (-n..=if ball { 0 } else { 100 }).map(|k| k as f64 / 1000.0).collect();
    let states: Vec<_> = times_s.iter().map(|&t| {
        let w = std::f64::consts::PI / 0.16;
        let tt = t.max(-0.16);
        let (a, r) = (20.0 * (tt + (w * tt).sin() / w), 20.0 * (1.0 + (w * tt).cos()) + 1.0 + (9.0*t).sin());
        let u = Vector3::new(a.sin() * 0.95, -a.cos() * 0.95, -0.3).normalize();
        let om = Vector3::new(0.0, 0.0, r);
        BatState { axis_w: u, omega_w_radps: om, hands_w_m: u * 0.3, velocity_hands_w_mps: om.cross(&(u * 0.3)) }
    }).collect();
    let m = BatMotion { times_s, states, contact: n as usize, ball };
    let mut s = Scratch::default();
    println!("{:?}", evaluate(&m, &bat, &ctx));
    let t = std::time::Instant::now();
    for _ in 0..2000 { black_box(evaluate_with(&mut s, black_box(&m), &bat, &ctx)); }
    println!("{:.1} µs", t.elapsed().as_secs_f64() / 2000.0 * 1e6);
    }
}
