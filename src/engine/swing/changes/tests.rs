use super::*;
use crate::engine::geometry::Attitude;
use crate::engine::metrics::StartRule;
use crate::engine::motion::state::{Parameters, parameter};
use nalgebra::Vector3;

fn column(bat_speed: f64, attack: f64, contact_s: f64) -> Column {
    let mut metrics = [0.0; Metric::COUNT];
    metrics[Metric::BatSpeed.index()] = bat_speed;
    metrics[Metric::AttackAngle.index()] = attack;
    Column::new(metrics, &[0.0; Metric::COUNT], contact_s)
}

/// For y = 2a − 3b with variances 4 and 9 and covariance 5: 4·4 + 9·9 − 2·2·3·5 = 37; an independent 1.5 adds 2.25.
#[test]
fn a_spread_is_the_quadratic_form_and_the_independent_squares() {
    let (a, b) = (VELOCITY, PARAMETERS + 1);
    let mut covariance = Covariance::zeros();
    (covariance[(a, a)], covariance[(b, b)]) = (4.0, 9.0);
    (covariance[(a, b)], covariance[(b, a)]) = (5.0, 5.0);
    let changes = Changes {
        by_state: vec![(a, column(2.0, 1.0, 0.5)), (b, column(-3.0, 0.0, 0.0))],
        others: vec![column(1.5, 0.0, 0.25)],
        by_contact: [0.0; Metric::COUNT],
    };
    let spread = changes.spread(&covariance);
    assert!((spread.metrics[Metric::BatSpeed.index()] - 39.25).abs() < 1e-12);
    assert!((spread.metrics[Metric::AttackAngle.index()] - 4.0).abs() < 1e-12);
    assert_eq!(spread.metrics[Metric::BatTilt.index()], 0.0);
    assert!((spread.contact_s2 - (1.0 + 0.0625)).abs() < 1e-12);
}

#[test]
fn a_shift_of_contact_comes_in_with_what_contact_changes() {
    let mut by_contact = [0.0; Metric::COUNT];
    by_contact[Metric::BatSpeed.index()] = 100.0;
    let column = Column::new([1.0; Metric::COUNT], &by_contact, 2e-3);
    assert!((column.metrics[Metric::BatSpeed.index()] - 1.2).abs() < 1e-12);
    assert_eq!(column.metrics[Metric::BatTilt.index()], 1.0);
}

#[test]
fn differences_by_one_sigma_give_the_slope_of_what_is_linear() {
    let state = NavState {
        attitude: Attitude::identity(),
        velocity_w_mps: Vector3::new(1.0, 2.0, 3.0),
        position_w_m: Vector3::zeros(),
        parameters: Parameters::zeros(),
    };
    let mut covariance = Covariance::zeros();
    // Position and heading change no metric and are left out, as is what is known exactly.
    for (place, sigma) in [(VELOCITY + 1, 0.3), (PARAMETERS + parameter::TILT, 0.01), (ATTITUDE + 2, 1.0), (6, 1.0)] {
        covariance[(place, place)] = sigma * sigma;
    }
    let moved = |probe: &Probe| {
        let velocity = probe.state.velocity_w_mps - state.velocity_w_mps;
        column(7.0 * velocity.y, 11.0 * probe.state.parameters[parameter::TILT], 0.0)
    };
    let columns = by_state(&state, &covariance, moved);
    assert_eq!(columns.iter().map(|c| c.0).collect::<Vec<_>>(), [VELOCITY + 1, PARAMETERS + parameter::TILT]);
    let of = |k: usize, metric: Metric| columns[k].1.metrics[metric.index()];
    assert!((of(0, Metric::BatSpeed) - 7.0).abs() < 1e-9 && of(0, Metric::AttackAngle) == 0.0);
    assert!((of(1, Metric::AttackAngle) - 11.0).abs() < 1e-9 && of(1, Metric::BatSpeed) == 0.0);
}

#[test]
fn a_start_that_jumps_to_the_other_rule_is_no_small_change() {
    let from = Values { start_s: Some(-0.15), start_rule: Some(StartRule::Still), values: [Some(1.0); Metric::COUNT] };
    let mut to = Values { values: [Some(1.5); Metric::COUNT], ..from };
    to.values[Metric::BatTilt.index()] = None;
    let same = difference(&from, &to);
    assert_eq!((same[Metric::BatSpeed.index()], same[Metric::TimeToContact.index()]), (0.5, 0.5));
    assert_eq!(same[Metric::BatTilt.index()], 0.0);
    to.start_rule = Some(StartRule::Dip);
    let jumped = difference(&from, &to);
    assert_eq!((jumped[Metric::BatSpeed.index()], jumped[Metric::TimeToContact.index()]), (0.5, 0.0));
    assert!(BY_START.iter().all(|metric| jumped[metric.index()] == 0.0));
}
