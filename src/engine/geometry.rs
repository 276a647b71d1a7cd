//! Frames and rotations.
//!
//! - **S**, sensor frame: the axes of the IMU as it sends them.
//! - **B**, bat frame: origin at the centre of the knob's end face, +z along the bat's axis from knob to barrel tip.
//! - **W**, world frame: z up, right-handed; its heading is arbitrary until a swing or an aim fixes it.
//!
//! Quaternions are unit, Hamilton, scalar first where they are written out.

use nalgebra::{Quaternion, UnitQuaternion, Vector3};

/// Standard gravity, m/s² (ISO 80000-3; CGPM 1901).
pub const G_MPS2: f64 = 9.80665;

/// Specific force of a body at rest, in W: a unit accelerometer reads +g along "up".
pub fn gravity_reaction_w_mps2() -> Vector3<f64> {
    Vector3::new(0.0, 0.0, G_MPS2)
}

/// The attitude of the sensor, q_WS: takes vectors from S to W.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Attitude(UnitQuaternion<f64>);

impl Attitude {
    /// S and W coincide.
    pub fn identity() -> Self {
        Self(UnitQuaternion::identity())
    }

    /// From q_WS as (w, x, y, z); `None` if its length is zero or not finite.
    pub fn from_wxyz(wxyz: [f64; 4]) -> Option<Self> {
        unit_quaternion(wxyz).map(Self)
    }

    /// From a rotation vector in W, rad.
    pub fn from_rotation_vector(rotation_w_rad: Vector3<f64>) -> Self {
        Self(UnitQuaternion::from_scaled_axis(rotation_w_rad))
    }

    /// The attitude, with heading zero, in which `specific_force_s` points up. Any attitude if it has no length.
    pub fn levelled(specific_force_s: Vector3<f64>) -> Self {
        let up = Vector3::z();
        let rotation = UnitQuaternion::rotation_between(&specific_force_s, &up)
            .unwrap_or_else(|| UnitQuaternion::from_scaled_axis(Vector3::x() * std::f64::consts::PI));
        Self(rotation)
    }

    /// q_WS as (w, x, y, z).
    pub fn wxyz(self) -> [f64; 4] {
        [self.0.w, self.0.i, self.0.j, self.0.k]
    }

    /// A vector from S to W.
    pub fn to_world(self, v_s: Vector3<f64>) -> Vector3<f64> {
        self.0 * v_s
    }

    /// A vector from W to S.
    pub fn to_sensor(self, v_w: Vector3<f64>) -> Vector3<f64> {
        self.0.inverse() * v_w
    }

    /// Turned by a rotation vector given in S (on the right: q ⊗ exp(φ)), rad.
    #[inline]
    pub fn turned_in_sensor(self, rotation_s_rad: Vector3<f64>) -> Self {
        Self(self.0 * exponential(rotation_s_rad))
    }

    /// Turned by a rotation vector given in W (on the left: exp(φ) ⊗ q), rad.
    pub fn turned_in_world(self, rotation_w_rad: Vector3<f64>) -> Self {
        Self(exponential(rotation_w_rad) * self.0)
    }

    /// The rotation vector, in W, that takes `from` to `self`, rad.
    pub fn rotation_vector_w_from(self, from: Self) -> Vector3<f64> {
        (self.0 * from.0.inverse()).scaled_axis()
    }

    /// The rotation as a matrix, R_WS.
    pub fn matrix(self) -> nalgebra::Matrix3<f64> {
        self.0.to_rotation_matrix().into_inner()
    }

    /// With the length brought back to one after many products.
    pub fn renormalised(self) -> Self {
        Self(UnitQuaternion::new_normalize(self.0.into_inner()))
    }
}

/// A unit quaternion from (w, x, y, z) of any length; `None` if the length is zero or not finite.
pub fn unit_quaternion(wxyz: [f64; 4]) -> Option<UnitQuaternion<f64>> {
    let [w, x, y, z] = wxyz;
    let q = Quaternion::new(w, x, y, z);
    let norm = q.norm();
    (norm.is_finite() && norm > 1e-9).then(|| UnitQuaternion::new_normalize(q))
}

/// The unit quaternion of a rotation vector. Below 0.2 rad by its series, which errs by less than 1e-13.
#[inline]
fn exponential(rotation_rad: Vector3<f64>) -> UnitQuaternion<f64> {
    let h2 = rotation_rad.norm_squared() / 4.0;
    if h2 > 0.01 {
        return UnitQuaternion::from_scaled_axis(rotation_rad);
    }
    let cosine = 1.0 - h2 / 2.0 * (1.0 - h2 / 12.0 * (1.0 - h2 / 30.0 * (1.0 - h2 / 56.0)));
    let half_sinc = 0.5 * (1.0 - h2 / 6.0 * (1.0 - h2 / 20.0 * (1.0 - h2 / 42.0)));
    UnitQuaternion::new_unchecked(Quaternion::from_parts(cosine, rotation_rad * half_sinc))
}

/// The matrix of the cross product: `skew(a) * b == a.cross(&b)`.
pub fn skew(a: Vector3<f64>) -> nalgebra::Matrix3<f64> {
    nalgebra::Matrix3::new(0.0, -a.z, a.y, a.z, 0.0, -a.x, -a.y, a.x, 0.0)
}
