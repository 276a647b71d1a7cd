//! What a ball would do if it were squared up, and what was measured of balls.
//!
//! Never a measurement: bat speed and a pitch speed give a range of exit speeds, and those a range of carries.
