//! What a check's result means, and what to do.

use super::Stands;
use crate::engine::check::aim::Aiming;
use crate::engine::check::mount::{MountFound, Mounting};
use crate::engine::check::pendulum::{Swinging, Swung};
use crate::engine::check::still::{Still, Stood};

/// Whether what was found fits; `None` before there is a result, and where there is nothing to fit.
pub fn fits(stands: &Stands) -> Option<bool> {
    match stands {
        Stands::Still(Still::Seen(stood)) => Some(stood.fits()),
        Stands::Mount(Mounting::Seen(found)) => Some(found.agrees()),
        Stands::Mount(Mounting::NotUpright) => Some(false),
        Stands::Pendulum(Swinging::Seen(swung)) => Some(swung.fits()),
        _ => None,
    }
}

/// What to do about the result; `None` before there is one.
pub fn remedy(stands: &Stands) -> Option<String> {
    match stands {
        Stands::Still(Still::Seen(stood)) => Some(after_still(stood)),
        Stands::Mount(Mounting::Seen(found)) => Some(after_mount(found)),
        Stands::Mount(Mounting::NotUpright) => Some(
            "The bat did not stand upright before it was rolled, or the knob was down. Stand it on its barrel end, knob up, \
             and begin again."
                .into(),
        ),
        Stands::Pendulum(Swinging::Seen(swung)) => Some(after_pendulum(swung)),
        Stands::Aim(Aiming::Seen(_)) => {
            Some("Store it, and take it again after the sensor was off or lay still for long.".into())
        }
        _ => None,
    }
}

fn after_still(stood: &Stood) -> String {
    match (stood.force_mps2.fits(), stood.bias_fits()) {
        (true, true) => "Nothing to do.".into(),
        (false, _) => "Lay the sensor another way up, where nothing shakes it, and begin again. If it still does not fit, its \
                       accelerometer is worse than its data sheet says: calibrate it (swingd calibrate), or use another."
            .into(),
        (true, false) => "Leave the sensor alone for some minutes until it is warm, switch it off and on, and begin again. If \
                          it still does not fit, its gyro is worse than its data sheet says: use another."
            .into(),
    }
}

fn after_mount(found: &MountFound) -> String {
    if !found.agrees() {
        return "Gravity and rolling tell different axes: the bat leaned, or the sensor moved in its mount. Fix the sensor, stand \
                the bat upright, and begin again."
            .into();
    }
    let another_way = if found.is_another_way() {
        " The sensor sits another way than was entered: look at where the IMU sits along the bat, too."
    } else {
        ""
    };
    format!("Store this mount. It holds until the sensor is taken off.{another_way}")
}

fn after_pendulum(swung: &Swung) -> String {
    let excess = swung.rate_excess();
    let speed = format!(
        "Fix the sensor again and repeat, with nothing touching the bat. If it still does not fit, the gyro reads {:.1} % \
         (± {:.1} %) too {}: calibrate it (swingd calibrate), or use another.",
        100.0 * excess.value.abs(),
        100.0 * excess.sigma,
        if excess.value > 0.0 { "much" } else { "little" },
    );
    let period = "The bat swings with another period than its data say. Was it hung from the point 6 in from the knob, and is \
                  it this bat? Then time it again on the bat's page.";
    match (swung.speed_mps.fits(), swung.period_against_s.is_none_or(|period| period.fits())) {
        (true, true) => "Nothing to do.".into(),
        (true, false) => period.into(),
        (false, true) => speed,
        (false, false) => format!("{period} {speed}"),
    }
}
