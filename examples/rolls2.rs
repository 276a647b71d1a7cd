use swingd::sim::*;
fn main() {
    let mut s = [0.0f64; 6];
    let n = 300;
    for seed in 0..n {
        let (_, t) = Scenario::new(Kind::Swing(SwingKind::Ball), Preset::Good, 90_000 + seed).truth();
        let d = &t.drawn;
        s[0] += d.tilt_rad[0].powi(2) / 1e-4;
        s[1] += d.tilt_rad[1].powi(2) / 1e-4;
        s[2] += d.gyro_bias_radps.norm_squared() / 3e-4;
        s[3] += d.accel_bias_mps2.norm_squared() / 0.12;
        s[4] += (d.gyro_matrix - nalgebra::Matrix3::identity()).norm_squared() / 9.0 / 0.005f64.powi(2);
        s[5] += (d.bandwidth_hz).powi(1);
    }
    println!("{:?}", s.map(|x| x / n as f64));
}
