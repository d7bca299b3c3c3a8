//! The light on a face over a shot: its key side, how much stronger the key is, and whether the two
//! sides are lit by two colours.

use crate::outline::Side;
use crate::skin::{SideLights, median};
use inkarnat_color::lab::LabConverter;
use inkarnat_color::{DeltaE2000, WorkingSpace, Ycbcr, delta_e_2000};
use serde::{Deserialize, Serialize};

/// Exponent from signal to display light (BT.1886 with a black of 0).
const DISPLAY: f64 = 2.4;
/// CIEDE2000 between the sides at one level from which two lights are reported.
const TWO_LIGHTS: f64 = 6.0;
/// Key-to-fill ratio below which the sides count as equal, and the better seen one is read.
const EVEN: f64 = 1.1;

/// Two colours of light on one face, with both readings.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct TwoLights {
    /// The key side.
    pub key: Ycbcr,
    /// The other side.
    pub fill: Ycbcr,
    /// Between the two, the fill side brought to the luma of the key side in display light.
    pub de00: DeltaE2000,
}

/// The light on one face over a shot.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct FaceLight {
    /// The side that is read, in every frame of the shot.
    pub key: Side,
    /// Display light of the key side over that of the other, median over the frames that show both;
    /// may be below 1 where the lit side is turned away. `None` where no frame shows both.
    pub key_to_fill: Option<f64>,
    /// `None` where both sides have one colour, or only one is seen.
    pub two_lights: Option<TwoLights>,
    /// Frames that show both sides.
    pub frames: usize,
}

/// Chooses the key side once for a shot, from every frame that was looked at: the brighter one, or
/// on an even face the one that is seen better. `None` where no frame shows a side.
#[must_use]
pub fn face_light(frames: &[SideLights], space: WorkingSpace) -> Option<FaceLight> {
    let both: Vec<_> = frames
        .iter()
        .filter_map(|f| Some((f.right?, f.left?)))
        .collect();
    let seen = |side: Side| -> f64 {
        frames
            .iter()
            .filter_map(|f| f.of(side))
            .map(|s| s.facing.clamp(0.0, 1.0))
            .sum()
    };
    let (right, left) = (seen(Side::Right), seen(Side::Left));
    if right == 0.0 && left == 0.0 {
        return None;
    }
    let ratio =
        (!both.is_empty()).then(|| {
            median(both.iter().map(|(r, l)| {
                DISPLAY * (r.mean.y.max(1.0 / 219.0) / l.mean.y.max(1.0 / 219.0)).ln()
            }))
            .exp()
        });
    // A side that hardly shows cannot be read, however bright; and equal ones are chosen by sight.
    let key = match ratio {
        Some(ratio) if ratio >= EVEN && right >= 0.5 * left => Side::Right,
        Some(ratio) if ratio <= 1.0 / EVEN && left >= 0.5 * right => Side::Left,
        _ if right >= left => Side::Right,
        _ => Side::Left,
    };
    let mean = |side: Side| {
        let of = |pick: fn(&Ycbcr) -> f64| {
            median(
                both.iter()
                    .map(|(r, l)| pick(&if side == Side::Right { r.mean } else { l.mean })),
            )
        };
        Ycbcr {
            y: of(|c| c.y),
            cb: of(|c| c.cb),
            cr: of(|c| c.cr),
        }
    };
    let two_lights = (!both.is_empty()).then(|| {
        let (key, fill) = (mean(key), mean(key.other()));
        TwoLights {
            key,
            fill,
            de00: colour_difference(key, fill, space),
        }
    });
    Some(FaceLight {
        key,
        key_to_fill: ratio.map(|r| if key == Side::Right { r } else { 1.0 / r }),
        two_lights: two_lights.filter(|two| two.de00.0 >= TWO_LIGHTS),
        frames: both.len(),
    })
}

/// CIEDE2000 of two colours, the second brought to the luma of the first in display light.
fn colour_difference(key: Ycbcr, fill: Ycbcr, space: WorkingSpace) -> DeltaE2000 {
    let lab = LabConverter::new(space);
    let first = space.coefficients.rgb_from_ycbcr(key);
    let gain = key.y.max(1e-3) / fill.y.max(1e-3);
    let second = space.coefficients.rgb_from_ycbcr(fill).map(|v| v * gain);
    delta_e_2000(lab.lab(first), lab.lab(second))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::skin::SideLight;

    fn side(y: f64, cb: f64, cr: f64, facing: f64) -> Option<SideLight> {
        Some(SideLight {
            mean: Ycbcr { y, cb, cr },
            pixels: 100,
            facing,
        })
    }

    #[test]
    fn the_brighter_side_is_read_and_its_ratio_is_of_light() {
        let frame = SideLights {
            right: side(0.6, -0.06, 0.09, 1.0),
            left: side(0.3, -0.03, 0.045, 1.0),
        };
        let light = face_light(&[frame; 5], WorkingSpace::default()).unwrap();
        assert_eq!(light.key, Side::Right);
        assert!((light.key_to_fill.unwrap() - 2f64.powf(2.4)).abs() < 1e-9);
        // Same colour, half the signal: one light.
        assert_eq!(light.two_lights, None);
    }

    #[test]
    fn two_colours_are_reported_with_both_readings() {
        let frame = SideLights {
            right: side(0.5, -0.06, 0.09, 1.0),
            left: side(0.4, 0.03, 0.02, 1.0),
        };
        let two = face_light(&[frame], WorkingSpace::default())
            .unwrap()
            .two_lights
            .unwrap();
        assert_eq!((two.key.y, two.fill.y), (0.5, 0.4));
        assert!(two.de00.0 > 10.0, "{:?}", two.de00);
    }

    #[test]
    fn one_side_in_sight_is_read_and_none_is_none() {
        let frame = SideLights {
            right: None,
            left: side(0.3, -0.03, 0.045, 0.7),
        };
        let light = face_light(&[frame], WorkingSpace::default()).unwrap();
        assert_eq!((light.key, light.key_to_fill), (Side::Left, None));
        assert_eq!(
            face_light(&[SideLights::default()], WorkingSpace::default()),
            None
        );
        assert_eq!(face_light(&[], WorkingSpace::default()), None);
    }
}
