//! The two families of moves, as parameters and as operations.

use inkarnat_color::transfer::{bt709_oetf, bt709_oetf_inverse};
use inkarnat_ops::{Cdl, Op, Shoulder};

use crate::solution::Reach;

/// Parameters of a move, all 0 = identity.
///
/// *Picture*: [stops of exposure, ln gain of R, ln gain of B (linear light), ln tone power, ln saturation].
/// *Mids*: [ln power of all, ln power of R, ln power of B, unused, ln saturation].
pub(crate) type Parameters = [f64; 5];

/// A move, ready to be applied.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Move {
    /// Slope and power; saturation stays neutral here.
    pub(crate) balance: Cdl,
    /// Roll-off, none to two stages.
    pub(crate) shoulders: Vec<Shoulder>,
    /// Saturation, after the roll-off so that what is rolled off to white stays white.
    pub(crate) saturation: f64,
}

/// What a family of moves may use.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Family {
    pub(crate) reach: Reach,
    /// Whether the source has areas clipped at white; then white is anchored in every channel.
    pub(crate) blown: bool,
}

/// Output levels at which the balance follows a gain in scene light exactly.
const MATCHED: (f64, f64) = (0.25, 0.8);
/// A single roll-off starts here or above.
const LOWEST_START: f64 = 0.5;
/// A single roll-off never starts above this.
const HIGHEST_START: f64 = 0.9;
/// Ratio (to − start)/(from − start) of every roll-off that is not limited by [`HIGHEST_START`]: the hyperbola's end
/// slope is its square, 0.3025, just above the flattest that a [`Shoulder`] may be.
const EASE: f64 = 0.55;

/// Mean slope of a spread of the lights; its steepest part stays below the steepest that a [`Shoulder`] may be, 4.
const SPREAD: f64 = 2.2;

impl Family {
    pub(crate) fn build(self, p: &Parameters) -> Move {
        match self.reach {
            Reach::Mids => mids(p),
            _ => picture(p, self.blown),
        }
    }
}

fn mids(p: &Parameters) -> Move {
    let tilt = [p[1], 0.0, p[2]];
    let middle = 0.2126 * p[1] + 0.0722 * p[2];
    Move {
        balance: Cdl {
            power: tilt.map(|t| (p[0] + t - middle).clamp(-1.5, 1.5).exp()),
            ..Cdl::NEUTRAL
        },
        shoulders: Vec::new(),
        saturation: p[4].clamp(-1.5, 1.5).exp(),
    }
}

fn picture(p: &Parameters, blown: bool) -> Move {
    let tilt = [p[1], 0.0, p[2]];
    // Equal luminance for an 18 % grey, near enough: what is left is exposure.
    let middle = 0.2126 * p[1] + 0.0722 * p[2];
    let tone = p[3].clamp(-1.5, 1.5).exp();
    let mut balance = Cdl::NEUTRAL;
    let mut white = [1.0; 3];
    for c in 0..3 {
        let gain = (p[0] * std::f64::consts::LN_2 + tilt[c] - middle)
            .clamp(-3.5, 3.5)
            .exp();
        let (slope, power) = light_gain(gain);
        balance.slope[c] = slope;
        balance.power[c] = power * tone;
        white[c] = slope.powf(power * tone);
    }
    Move {
        balance,
        shoulders: roll_off(white, blown),
        saturation: p[4].clamp(-1.5, 1.5).exp(),
    }
}

/// (slope, power) that act like a gain in scene light on a BT.709 signal and keep black black.
///
/// The exact form, a gain and an offset, lifts black; this one agrees with it where the result is 25 % and 80 %, and by
/// less than 1.5 % of signal between, for gains up to one and a half stops.
fn light_gain(gain: f64) -> (f64, f64) {
    let source = |out: f64| bt709_oetf(bt709_oetf_inverse(out) / gain);
    let (low, high) = (source(MATCHED.0), source(MATCHED.1));
    let power = (MATCHED.1 / MATCHED.0).ln() / (high / low).ln();
    (MATCHED.1.powf(1.0 / power) / high, power)
}

/// Brings source white, which a gain has put at `white`, back to 1.
fn roll_off(white: [f64; 3], blown: bool) -> Vec<Shoulder> {
    let moved = |w: f64| w > 1.0 + 1e-9 || (blown && w < 1.0 - 1e-9);
    if !white.iter().copied().any(moved) {
        return Vec::new();
    }
    let neutral = Shoulder::NEUTRAL;
    let (mut start, mut from, mut to) = (neutral.start, neutral.from, neutral.to);
    let mut first = (neutral.start, neutral.from, neutral.to);
    let mut two = false;
    for c in 0..3 {
        let w = white[c];
        if !moved(w) {
            continue;
        }
        from[c] = w;
        to[c] = 1.0;
        if w < 1.0 {
            // Spread to white again, from as high as a mean slope of SPREAD allows. Where even the lowest start is
            // not enough, white stays short of 1, which the limit on clipped areas then sees.
            let lowest = 0.1f64.min(w / 2.0);
            start[c] = ((SPREAD * w - 1.0) / (SPREAD - 1.0)).clamp(lowest, HIGHEST_START);
            to[c] = (start[c] + SPREAD * (w - start[c])).min(1.0);
            continue;
        }
        let single = (1.0 - EASE * w) / (1.0 - EASE);
        if single >= LOWEST_START {
            start[c] = single.min(HIGHEST_START);
        } else {
            two = true;
            start[c] = LOWEST_START;
            from[c] = LOWEST_START + (1.0 - LOWEST_START) / EASE;
            first.1[c] = w;
            first.2[c] = from[c];
            // Lower than usual only for gains beyond two and a half stops.
            first.0[c] = ((from[c] - EASE * w) / (1.0 - EASE)).min(LOWEST_START);
        }
    }
    let mut stages = Vec::new();
    if two {
        stages.push(stage(first.0, first.1, first.2));
    }
    stages.push(stage(start, from, to));
    stages
}

fn stage(start: [f64; 3], from: [f64; 3], to: [f64; 3]) -> Shoulder {
    Shoulder::per_channel(start, from, to)
}

impl Move {
    pub(crate) fn apply(&self, rgb: [f64; 3]) -> [f64; 3] {
        let mut v = self.balance.apply(rgb);
        for shoulder in &self.shoulders {
            v = shoulder.apply(v);
        }
        if self.saturation != 1.0 {
            let y = Cdl::LUMA[0] * v[0] + Cdl::LUMA[1] * v[1] + Cdl::LUMA[2] * v[2];
            v = v.map(|c| y + self.saturation * (c - y));
        }
        v
    }

    /// As operations; none for the identity.
    pub(crate) fn ops(&self) -> Vec<Op> {
        let mut ops = Vec::new();
        let mut first = self.balance;
        if self.shoulders.is_empty() {
            first.saturation = self.saturation;
        }
        if !first.is_identity() {
            ops.push(Op::Cdl(first));
        }
        ops.extend(self.shoulders.iter().map(|s| Op::Shoulder(*s)));
        if !self.shoulders.is_empty() && self.saturation != 1.0 {
            ops.push(Op::Cdl(Cdl {
                saturation: self.saturation,
                ..Cdl::NEUTRAL
            }));
        }
        ops
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn light_gain_follows_scene_light_and_keeps_black() {
        for stops in [-1.5, -0.5, 0.3, 1.0, 1.5] {
            let gain = 2f64.powf(stops);
            let (slope, power) = light_gain(gain);
            for step in 5..=17 {
                let out = 0.05 * f64::from(step);
                let source = bt709_oetf(bt709_oetf_inverse(out) / gain);
                let found = (source * slope).powf(power);
                assert!(
                    (found - out).abs() < 0.015,
                    "{stops} stops at {out}: {found}"
                );
            }
        }
        let (slope, power) = light_gain(1.0);
        assert!((slope - 1.0).abs() < 1e-12 && (power - 1.0).abs() < 1e-12);
    }

    #[test]
    fn white_comes_back_and_every_shoulder_is_valid() {
        for blown in [false, true] {
            let family = Family {
                reach: Reach::Picture,
                blown,
            };
            for stops in [-1.5, -0.6, -0.05, 0.0, 0.05, 0.4, 0.8, 1.0, 1.2, 1.5] {
                for (r, b) in [(0.0, 0.0), (-0.8, 1.26), (0.3, -0.5), (0.02, -0.01)] {
                    let made = family.build(&[stops, r, b, 0.0, 0.0]);
                    for op in made.ops() {
                        op.validate()
                            .unwrap_or_else(|e| panic!("{stops} {r} {b}: {e}"));
                    }
                    for v in made.apply([1.0; 3]) {
                        assert!(v <= 1.0 + 1e-6, "{stops} {r} {b}: {v}");
                        // Below a quarter of the light no spread brings white back.
                        if blown && stops > -1.0 {
                            assert!((v - 1.0).abs() < 1e-6, "{stops} {r} {b}: {v}");
                        }
                    }
                    assert_eq!(made.apply([0.0; 3]), [0.0; 3]);
                }
            }
        }
    }

    #[test]
    fn mids_anchor_both_ends_and_zero_is_identity() {
        let family = Family {
            reach: Reach::Mids,
            blown: false,
        };
        let made = family.build(&[-0.3, 0.1, -0.2, 0.0, 0.1]);
        assert_eq!(made.apply([0.0; 3]), [0.0; 3]);
        for v in made.apply([1.0; 3]) {
            assert!((v - 1.0).abs() < 1e-12);
        }
        for reach in [Reach::Picture, Reach::Mids] {
            let family = Family { reach, blown: true };
            let v = family.build(&[0.0; 5]).apply([0.2, 0.5, 0.9]);
            for (a, b) in v.iter().zip([0.2, 0.5, 0.9]) {
                assert!((a - b).abs() < 1e-12);
            }
        }
    }
}
