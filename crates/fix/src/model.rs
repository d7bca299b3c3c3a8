//! The two families of moves, as parameters and as operations.

use inkarnat_color::transfer::{bt709_oetf, bt709_oetf_inverse};
use inkarnat_ops::{Cdl, Chain, KeyedCdl, Op, Shoulder};

use crate::solution::Reach;

/// Parameters of a move, all 0 = identity.
///
/// *Picture*: [stops of exposure, ln gain of R, ln gain of B (linear light), ln tone power, ln saturation].
/// *Mids*: [ln power of all, ln power of R, ln power of B, unused, ln saturation].
pub(crate) type Parameters = [f64; 5];

/// A colour with its logarithms, which many moves are applied to: a power then costs one exponential.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Logged {
    pub(crate) rgb: [f64; 3],
    ln: [f64; 3],
}

impl Logged {
    pub(crate) fn new(rgb: [f64; 3]) -> Self {
        Self {
            rgb,
            ln: rgb.map(|v| v.max(0.0).ln()),
        }
    }

    pub(crate) fn all(list: &[[f64; 3]]) -> Vec<Self> {
        list.iter().map(|p| Self::new(*p)).collect()
    }

    /// Natural logarithm of one channel; minus infinity at black and below.
    pub(crate) fn ln(&self, channel: usize) -> f64 {
        self.ln[channel]
    }
}

/// A move, ready to be applied.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Move {
    /// Slope and power, no offset; saturation stays neutral here.
    pub(crate) balance: Cdl,
    ln_slope: [f64; 3],
    /// Roll-off, in stages.
    pub(crate) shoulders: Vec<Shoulder>,
    bends: [Vec<Bend>; 3],
    /// Saturation, after the roll-off so that what is rolled off to white stays white.
    pub(crate) saturation: f64,
    /// Operations that were given, in place of all the above.
    given: Option<Chain>,
    /// Corrections of skin alone, last.
    pub(crate) keyed: Vec<KeyedCdl>,
}

/// One channel of a [`Shoulder`], with what its curve needs at every pixel worked out once.
#[derive(Clone, Copy, Debug, PartialEq)]
struct Bend {
    start: f64,
    from: f64,
    to: f64,
    end: f64,
    mean: f64,
    per_width: f64,
    turn: f64,
    scale: f64,
}

impl Bend {
    fn new(shoulder: &Shoulder, c: usize) -> Self {
        let (start, from, to) = (shoulder.start[c], shoulder.from[c], shoulder.to[c]);
        let (width, end) = (from - start, shoulder.end_slope[c]);
        let mean = (to - start) / width;
        Self {
            start,
            from,
            to,
            end,
            mean,
            per_width: 1.0 / width,
            turn: 1.0 + end - 2.0 * mean,
            scale: width * mean,
        }
    }

    fn apply(&self, x: f64) -> f64 {
        // All three pieces, then the one that holds: loops over this are then free of jumps.
        let t = (x - self.start) * self.per_width;
        let both = t * (1.0 - t);
        let bent =
            self.start + self.scale * (self.mean * t * t + both) / (self.mean + self.turn * both);
        let beyond = self.to + self.end * (x - self.from);
        let above = if x < self.from { bent } else { beyond };
        if x <= self.start { x } else { above }
    }
}

/// The curves of each channel that change anything, in order; all shoulders here act channel by channel.
fn bends(shoulders: &[Shoulder]) -> [Vec<Bend>; 3] {
    std::array::from_fn(|c| {
        shoulders
            .iter()
            .filter(|s| s.from[c] != s.to[c] || s.end_slope[c] != 1.0)
            .map(|s| Bend::new(s, c))
            .collect()
    })
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
/// The roll-off that all channels share starts here or above.
const LOWEST_START: f64 = 0.5;
/// A roll-off of one channel alone starts here or above: below, it would tint what is neutral.
const LOWEST_OWN_START: f64 = 0.8;
/// No roll-off starts above this.
const HIGHEST_START: f64 = 0.9;
/// Ratio (to − start)/(from − start) of every roll-off that is not limited by [`HIGHEST_START`]: as small as the
/// flattest slope that a [`Shoulder`] may have leaves room for.
const EASE: f64 = 0.55;
/// Mean slope of a spread of the lights; its steepest part stays below the steepest that a [`Shoulder`] may be, 4.
const SPREAD: f64 = 2.0;

impl Family {
    pub(crate) fn build(self, p: &Parameters) -> Move {
        if *p == [0.0; 5] {
            // Exactly, not up to rounding.
            return Move {
                balance: Cdl::NEUTRAL,
                ln_slope: [0.0; 3],
                shoulders: Vec::new(),
                bends: Default::default(),
                saturation: 1.0,
                given: None,
                keyed: Vec::new(),
            };
        }
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
        ln_slope: [0.0; 3],
        shoulders: Vec::new(),
        bends: Default::default(),
        saturation: p[4].clamp(-1.5, 1.5).exp(),
        given: None,
        keyed: Vec::new(),
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
    let shoulders = roll_off(white, blown);
    Move {
        balance,
        ln_slope: balance.slope.map(f64::ln),
        bends: bends(&shoulders),
        shoulders,
        saturation: p[4].clamp(-1.5, 1.5).exp(),
        given: None,
        keyed: Vec::new(),
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

/// One channel's curve: (start, from, to).
type Curve = (f64, f64, f64);

/// Brings source white, which gains have put at `white`, back to 1.
///
/// First one curve for all channels, up to where the brightest neutral can lie: a neutral in a cast clips in the source
/// where its strongest channel does, and that is the channel with the least gain. So neutrals stay neutral on every
/// level. What is still beyond 1 in other channels is left there, unless the source has blown areas: those are white in
/// every channel, so every channel is then brought to 1 by itself, from as high as possible.
fn roll_off(white: [f64; 3], blown: bool) -> Vec<Shoulder> {
    let least = white.iter().copied().fold(f64::INFINITY, f64::min);
    let mut shoulders: Vec<Shoulder> = compressed(least, LOWEST_START)
        .into_iter()
        .map(|curve| stage([Some(curve); 3]))
        .collect();
    if blown {
        let left = shoulders.iter().fold(white, |v, s| s.apply(v));
        let own = left.map(|w| match w {
            w if w < 1.0 => spread(w),
            w => compressed(w, LOWEST_OWN_START),
        });
        let stages = own.iter().map(Vec::len).max().unwrap_or(0);
        shoulders.extend((0..stages).map(|k| stage(own.each_ref().map(|o| o.get(k).copied()))));
    }
    shoulders
}

/// Curves that bring `white`, above 1, down to 1, in as many steps as the flattest slope of each asks for.
fn compressed(mut white: f64, lowest: f64) -> Vec<Curve> {
    let mut curves = Vec::new();
    while white > 1.0 + 1e-9 {
        let single = (1.0 - EASE * white) / (1.0 - EASE);
        let curve = if single >= lowest {
            (single.min(HIGHEST_START), white, 1.0)
        } else {
            (lowest, white, lowest + EASE * (white - lowest))
        };
        curves.push(curve);
        white = curve.2;
    }
    curves
}

/// The curve that brings `white`, below 1, up to 1. Where even the lowest start is not enough, white stays short of 1,
/// which the limit on clipped areas then sees.
fn spread(white: f64) -> Vec<Curve> {
    if white > 1.0 - 1e-9 {
        return Vec::new();
    }
    let lowest = 0.1f64.min(white / 2.0);
    let start = ((SPREAD * white - 1.0) / (SPREAD - 1.0)).clamp(lowest, HIGHEST_START);
    let to = (start + SPREAD * (white - start)).min(1.0);
    vec![(start, white, to)]
}

fn stage(curves: [Option<Curve>; 3]) -> Shoulder {
    let [r, g, b] = curves.map(|c| c.unwrap_or((HIGHEST_START, 1.0, 1.0)));
    Shoulder::per_channel([r.0, g.0, b.0], [r.1, g.1, b.1], [r.2, g.2, b.2])
}

impl Move {
    /// Operations that nobody solved for. Their saturation, as far as one number says it, is the product of the CDLs'.
    pub(crate) fn given(ops: Vec<Op>) -> Self {
        let saturation = ops
            .iter()
            .map(|op| match op {
                Op::Cdl(cdl) => cdl.saturation,
                _ => 1.0,
            })
            .product();
        Self {
            balance: Cdl::NEUTRAL,
            ln_slope: [0.0; 3],
            shoulders: Vec::new(),
            bends: Default::default(),
            saturation,
            given: Some(Chain::of_fix(ops)),
            keyed: Vec::new(),
        }
    }

    /// Gains and powers alone; of operations that were given, all of them.
    pub(crate) fn balanced(&self, of: &Logged) -> [f64; 3] {
        if let Some(given) = &self.given {
            return given.apply_pixel(of.rgb);
        }
        std::array::from_fn(|c| self.balanced_channel(of, c))
    }

    /// The same of one channel, where no operations were given.
    pub(crate) fn balanced_channel(&self, of: &Logged, c: usize) -> f64 {
        let Cdl { slope, power, .. } = self.balance;
        if of.rgb[c] < 0.0 || power[c] == 1.0 {
            of.rgb[c] * slope[c]
        } else {
            (power[c] * (of.ln[c] + self.ln_slope[c])).exp()
        }
    }

    /// What a step from this move to another one adds to the exponent of a channel: a factor of the pixel's logarithm, and
    /// what comes on top.
    pub(crate) fn exponent_step(&self, to: &Self, c: usize) -> [f64; 2] {
        let (here, there) = (self.balance.power[c], to.balance.power[c]);
        [
            there - here,
            there * to.ln_slope[c] - here * self.ln_slope[c],
        ]
    }

    /// Roll-off of many pixels, from what [`Self::balanced`] gives: each channel by its own curve.
    pub(crate) fn roll_off(&self, channels: &mut [Vec<f64>; 3]) {
        for (bends, channel) in self.bends.iter().zip(channels) {
            for bend in bends {
                for v in channel.iter_mut() {
                    *v = bend.apply(*v);
                }
            }
        }
    }

    fn rolled_off(&self, balanced: [f64; 3]) -> [f64; 3] {
        std::array::from_fn(|c| {
            self.bends[c]
                .iter()
                .fold(balanced[c], |v, bend| bend.apply(v))
        })
    }

    /// Whether it differs from another move in nothing that comes before saturation.
    pub(crate) fn rolls_off_as(&self, other: &Self) -> bool {
        self.balance.slope == other.balance.slope
            && self.balance.power == other.balance.power
            && self.shoulders == other.shoulders
    }

    /// Saturation and keys, which come after the roll-off.
    pub(crate) fn finished(&self, rolled_off: [f64; 3]) -> [f64; 3] {
        let mut v = rolled_off;
        if self.given.is_none() && self.saturation != 1.0 {
            let y = Cdl::LUMA[0] * v[0] + Cdl::LUMA[1] * v[1] + Cdl::LUMA[2] * v[2];
            v = v.map(|c| y + self.saturation * (c - y));
        }
        self.keyed.iter().fold(v, |v, keyed| keyed.apply(v))
    }

    pub(crate) fn apply(&self, rgb: [f64; 3]) -> [f64; 3] {
        self.apply_logged(&Logged::new(rgb))
    }

    pub(crate) fn apply_logged(&self, of: &Logged) -> [f64; 3] {
        self.finished(self.rolled_off(self.balanced(of)))
    }

    /// Share of these pixels that a key takes in by more than half.
    pub(crate) fn keyed_share(&self, pixels: &[[f64; 3]]) -> f64 {
        if self.keyed.is_empty() {
            return 0.0;
        }
        let base = Self {
            keyed: Vec::new(),
            ..self.clone()
        };
        let step = pixels.len().div_ceil(1000).max(1);
        let looked: Vec<[f64; 3]> = pixels
            .iter()
            .step_by(step)
            .map(|p| base.apply(*p))
            .collect();
        let taken = looked
            .iter()
            .filter(|p| self.keyed.iter().any(|k| k.key.weight(**p) > 0.5))
            .count();
        taken as f64 / looked.len().max(1) as f64
    }

    /// As operations; none for the identity.
    pub(crate) fn ops(&self) -> Vec<Op> {
        if let Some(given) = &self.given {
            return given.fix.clone();
        }
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
        ops.extend(self.keyed.iter().map(|k| Op::KeyedCdl(*k)));
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
                    let white = made.apply([1.0; 3]);
                    let least = white.iter().copied().fold(f64::INFINITY, f64::min);
                    assert!(least <= 1.0 + 1e-6, "{stops} {r} {b}: {least}");
                    for v in white {
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

    /// The curves worked out for speed, against the shoulders' own.
    #[test]
    fn a_move_does_what_its_operations_do() {
        for (reach, blown) in [
            (Reach::Picture, false),
            (Reach::Picture, true),
            (Reach::Mids, false),
        ] {
            let family = Family { reach, blown };
            for p in [
                [0.9, 0.3, -0.5, 0.1, 0.2],
                [-1.2, -0.4, 0.2, -0.1, -0.3],
                [1.5, -0.8, 1.2, 0.0, 0.0],
            ] {
                let made = family.build(&p);
                let chain = Chain::of_fix(made.ops());
                for i in 0..200 {
                    let t = f64::from(i) / 180.0 - 0.02;
                    let rgb = [t, (7.3 * t).fract(), 1.0 - t];
                    for (a, b) in made.apply(rgb).iter().zip(chain.apply_pixel(rgb)) {
                        assert!((a - b).abs() < 1e-13, "{reach} {p:?} {rgb:?}: {a} {b}");
                    }
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
