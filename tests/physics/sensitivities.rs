//! The filter's linear model of a span against differences of the span's own integral.

use crate::support::{Eased, MARGIN, readings, state_of};
use nalgebra::{SMatrix, SVector, Vector3};
use swingd::engine::motion::conditioning::Reading;
use swingd::engine::motion::span::{integrate, preintegrate};
use swingd::engine::motion::state::{ATTITUDE, ErrorVector, NavState, PARAMETERS, POSITION, SIZE, VELOCITY, parameter};
use swingd::sim::Trajectory;
use swingd::sim::textbook::Tumble;

const STEPS: usize = 400;

/// A turn that reaches 15 rad/s, pushed about by up to 70 m/s².
fn span() -> (Vec<Reading>, NavState) {
    let tumble = Tumble::new([0.9, 1.0, 1.3], 1.2, 3.0).expect("a path about the third axis");
    let motion = Eased { motion: tumble, rest_s: 0.05, moving_s: 0.3, span_s: 0.6 };
    let mut list = readings(&motion, 1000.0, STEPS);
    for reading in &mut list {
        let push = 60.0 * (9.0 * reading.time_s).sin();
        reading.accel_s_mps2 += Vector3::new(push, -0.5 * push, 0.3 * push);
    }
    (list, state_of(&motion.at(0.0)))
}

/// By how much the end of the span differs between two starts: attitude, velocity, position.
fn apart(list: &[Reading], a: &NavState, b: &NavState) -> SVector<f64, 9> {
    let end = |start| *integrate(list, MARGIN, MARGIN + STEPS, start).last().expect("a step");
    let (a, b) = (end(a), end(b));
    let mut out = SVector::<f64, 9>::zeros();
    out.fixed_rows_mut::<3>(ATTITUDE).copy_from(&a.attitude.rotation_vector_w_from(b.attitude));
    out.fixed_rows_mut::<3>(VELOCITY).copy_from(&(a.velocity_w_mps - b.velocity_w_mps));
    out.fixed_rows_mut::<3>(POSITION).copy_from(&(a.position_w_m - b.position_w_m));
    out
}

/// For every parameter and every part of the start. Blocks of 0.1 rad by the midpoint rule err by 0.1²/24, 0.04 %, of what
/// they add; blocks of 25 ms in a span of 0.4 s by (25/400)²/2, 0.2 %, with each integral of something that rises with time,
/// of which the position has three. Asserted to 0.3 %, of the position to 1 %, of the greatest entry that an error of its
/// kind has in the same rows, as sums of blocks may cancel in one entry.
#[test]
fn sensitivities_are_the_derivatives_of_the_integral() {
    let (list, start) = span();
    let (_, sensitivity) = preintegrate(&list, MARGIN, MARGIN + STEPS, &start);
    let model = sensitivity.forward(&SMatrix::<f64, SIZE, SIZE>::identity());
    let kinds = [
        ("attitude", ATTITUDE..ATTITUDE + 3),
        ("velocity", VELOCITY..VELOCITY + 3),
        ("position", POSITION..POSITION + 3),
        ("gyro bias", PARAMETERS..PARAMETERS + 3),
        ("gyro matrix", PARAMETERS + parameter::GYRO_MATRIX..PARAMETERS + parameter::GYRO_FORCE),
        ("force sensitivity", PARAMETERS + parameter::GYRO_FORCE..PARAMETERS + parameter::ACCEL_BIAS),
        ("accel bias", PARAMETERS + parameter::ACCEL_BIAS..PARAMETERS + parameter::ACCEL_MATRIX),
        ("accel matrix", PARAMETERS + parameter::ACCEL_MATRIX..PARAMETERS + parameter::TILT),
    ];
    for (name, places) in kinds {
        let ends: Vec<(usize, SVector<f64, 9>)> =
            places.map(|place| (place, derivative(&list, &start, place))).collect();
        for (rows, part_of) in [(ATTITUDE, 3e-3), (VELOCITY, 3e-3), (POSITION, 1e-2)] {
            let part = |v: &SVector<f64, 9>| v.fixed_rows::<3>(rows).into_owned();
            let greatest = ends.iter().map(|(_, end)| part(end).amax()).fold(0.0, f64::max);
            for (place, end) in &ends {
                let miss = (part(end) - model.fixed_view::<3, 1>(rows, *place)).amax();
                assert!(miss <= part_of * greatest + 1e-8, "{name}, place {place}, rows {rows}: {miss} of {greatest}");
            }
        }
    }
}

/// By a central difference; its step keeps what it leaves out, of the second order, below 1e-8 of an entry.
fn derivative(list: &[Reading], start: &NavState, place: usize) -> SVector<f64, 9> {
    let step = 1e-5;
    let mut error = ErrorVector::zeros();
    error[place] = step;
    apart(list, &start.corrected(&error), &start.corrected(&-error)) / (2.0 * step)
}

/// A state without errors leads to one without: and parameters and heading at rest stay what they were.
#[test]
fn what_does_not_move_is_carried_as_it_is() {
    let (list, start) = span();
    let (_, sensitivity) = preintegrate(&list, MARGIN, MARGIN + STEPS, &start);
    let model = sensitivity.forward(&SMatrix::<f64, SIZE, SIZE>::identity());
    let still = SIZE - POSITION - 3;
    let rows = model.rows(POSITION + 3, still);
    assert_eq!(rows, SMatrix::<f64, SIZE, SIZE>::identity().rows(POSITION + 3, still));
    // Backward is forward's transpose.
    let back = sensitivity.backward(&SMatrix::<f64, SIZE, SIZE>::identity());
    assert!((back - model.transpose()).amax() < 1e-12 * model.amax());
}
