//! Baseball and softball: mass, size, and how they rebound and fly.

use super::Bounds;
use std::f64::consts::PI;

/// Kilograms in an ounce and metres in an inch, exact (NIST SP 811, appendix B).
const KG_PER_OZ: f64 = 0.028_349_523_125;
const M_PER_IN: f64 = 0.0254;

/// Which ball.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub enum Kind {
    /// A baseball.
    #[default]
    Baseball,
    /// A 12-inch softball.
    Softball,
}

impl Kind {
    /// Mass, kg. Baseball: 5 to 5¼ oz (Official Baseball Rules, 3.01). Softball: 6¼ to 7 oz (rules of the game, from memory).
    pub fn mass_kg(self) -> Bounds {
        match self {
            Self::Baseball => Bounds::new(5.0 * KG_PER_OZ, 5.25 * KG_PER_OZ),
            Self::Softball => Bounds::new(6.25 * KG_PER_OZ, 7.0 * KG_PER_OZ),
        }
    }

    /// Radius, m, from the middle of the rules' circumference. Baseball: 9 to 9¼ in (Official Baseball Rules, 3.01). Softball:
    /// 11⅞ to 12⅛ in (rules of the game, from memory).
    pub fn radius_m(self) -> f64 {
        let circumference_in = match self {
            Self::Baseball => 9.125,
            Self::Softball => 12.0,
        };
        circumference_in * M_PER_IN / (2.0 * PI)
    }

    /// Coefficient of restitution e of ball and bat at the sweet spot.
    ///
    /// Baseball: 0.46 to 0.50. The certification of bats that are not of wood allows 0.50, "slightly higher than the best
    /// available wood bats" (NCAA Baseball Research Panel, 16 September 2008); wood goes down to about 0.46 (from memory).
    /// Softball: 0.42 to 0.52: from a soft ball on wood to a hollow bat that just passes the 98 mph certification (from memory).
    pub fn restitution(self) -> Bounds {
        match self {
            Self::Baseball => Bounds::new(0.46, 0.50),
            Self::Softball => Bounds::new(0.42, 0.52),
        }
    }

    /// Collision efficiency q where nothing is known of the bat: from a child's light bat to a heavy one, whatever e. About 0.2
    /// to 0.25 is told for men's bats and a baseball; a light bat gives way more, and a light bat before a heavy softball may
    /// not even send it back from rest (q below 0). Held by `an_unknown_bat_has_the_q_of_every_usual_one`.
    pub fn usual_q(self) -> Bounds {
        match self {
            Self::Baseball => Bounds::new(0.06, 0.24),
            Self::Softball => Bounds::new(-0.06, 0.21),
        }
    }

    /// Drag coefficient without spin.
    ///
    /// Baseball: 0.28 to 0.39. A. M. Nathan's trajectory calculator takes 0.30; balls differ in drag (Nathan, Kensrud, Smith and
    /// Lang, *How Far Did That Fly Ball Travel (Redux)*, 2014); and the distances that Nathan found in 80,000 batted balls (*Going
    /// Deep on Goin' Deep*, 2016) ask for up to 0.39, see `nathan_2016_distances_lie_within_the_ranges`. Softball: the same
    /// (from memory: measured ones lie in it).
    pub fn drag_without_spin(self) -> Bounds {
        match self {
            Self::Baseball => Bounds::new(0.28, 0.39),
            Self::Softball => Bounds::new(0.28, 0.39),
        }
    }
}
