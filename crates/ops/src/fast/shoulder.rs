//! The roll-off on rows.

use crate::data::shoulder::{RollOff, Shoulder};
use multiversion::multiversion;

/// A roll-off in `f32`.
#[derive(Clone, Copy, Debug)]
pub(super) struct FastShoulder {
    roll_off: RollOff,
    curves: [Curve; 3],
}

/// One channel's curve, its fixed parts worked out.
#[derive(Clone, Copy, Debug)]
struct Curve {
    start: f32,
    from: f32,
    to: f32,
    end: f32,
    per_width: f32,
    rise: f32,
    mean: f32,
    bend: f32,
}

impl FastShoulder {
    pub(super) fn new(shoulder: &Shoulder) -> Self {
        Self {
            roll_off: shoulder.roll_off,
            curves: std::array::from_fn(|c| {
                let (start, from, to, end) = (
                    shoulder.start[c],
                    shoulder.from[c],
                    shoulder.to[c],
                    shoulder.end_slope[c],
                );
                let mean = (to - start) / (from - start);
                Curve {
                    start: start as f32,
                    from: from as f32,
                    to: to as f32,
                    end: end as f32,
                    per_width: (1.0 / (from - start)) as f32,
                    rise: (to - start) as f32,
                    mean: mean as f32,
                    bend: (1.0 + end - 2.0 * mean) as f32,
                }
            }),
        }
    }

    /// All three rows have the same length.
    pub(super) fn apply(&self, [r, g, b]: [&mut [f32]; 3]) {
        match self.roll_off {
            RollOff::PerChannel => {
                for (row, curve) in [r, g, b].into_iter().zip(self.curves) {
                    per_channel(row, curve);
                }
            }
            RollOff::InProportion => in_proportion(r, g, b, self.curves[0]),
        }
    }
}

#[inline(always)]
fn at(x: f32, curve: Curve) -> f32 {
    let t = (x - curve.start) * curve.per_width;
    let both = t * (1.0 - t);
    let risen = curve.mean.mul_add(t * t, both) / curve.bend.mul_add(both, curve.mean);
    let inside = curve.rise.mul_add(risen, curve.start);
    let beyond = curve.end.mul_add(x - curve.from, curve.to);
    let lights = if x < curve.from { inside } else { beyond };
    if x > curve.start { lights } else { x }
}

#[multiversion(targets("x86_64+avx2+fma"))]
fn per_channel(row: &mut [f32], curve: Curve) {
    for v in row {
        *v = at(*v, curve);
    }
}

#[multiversion(targets("x86_64+avx2+fma"))]
fn in_proportion(r: &mut [f32], g: &mut [f32], b: &mut [f32], curve: Curve) {
    for ((r, g), b) in r.iter_mut().zip(g).zip(b) {
        let largest = r.max(*g).max(*b);
        let factor = if largest > curve.start {
            at(largest, curve) / largest
        } else {
            1.0
        };
        *r *= factor;
        *g *= factor;
        *b *= factor;
    }
}
