//! What a chain does to neutrals, from black to white.

use crate::data::op::Op;

/// Steps of the ramp: four times finer than eight bits.
const STEPS: u32 = 1024;

/// A place of the neutral ramp where a brighter signal comes out darker.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Fall {
    /// Signal in, where it comes out brightest before it falls. Range: 0–1.
    pub from: f64,
    /// Signal in, at the bottom of the fall. Range: above `from`, to 1.
    pub to: f64,
    /// By how much the largest channel's signal falls there. Unit: signal (1 = reference white).
    pub by: f64,
}

/// The deepest fall along neutrals from 0 to 1, channel by channel; `None` where no channel falls by more than `allowed`.
///
/// What falls has two inputs for one output: it cannot be undone there, and a level asked for behind it may not be
/// reached.
#[must_use]
pub fn deepest_fall(ops: &[Op], allowed: f64) -> Option<Fall> {
    let mut deepest: Option<Fall> = None;
    let mut highest = [(f64::NEG_INFINITY, 0.0); 3];
    for step in 0..=STEPS {
        let at = f64::from(step) / f64::from(STEPS);
        let out = ops.iter().fold([at; 3], |rgb, op| op.apply(rgb));
        for (value, high) in out.into_iter().zip(&mut highest) {
            if value > high.0 {
                *high = (value, at);
            }
            let by = high.0 - value;
            if by > allowed && deepest.is_none_or(|known| by > known.by) {
                deepest = Some(Fall {
                    from: high.1,
                    to: at,
                    by,
                });
            }
        }
    }
    deepest
}

/// The steepest that a chain makes neutrals near a signal, the largest of the channels: by how much it widens the steps between codes there.
#[must_use]
pub fn slope_at(ops: &[Op], at: f64) -> f64 {
    let half = 1.0 / f64::from(STEPS);
    let through = |v: f64| ops.iter().fold([v; 3], |rgb, op| op.apply(rgb));
    let (low, high) = (through(at - half), through(at + half));
    (0..3)
        .map(|c| ((high[c] - low[c]) / (2.0 * half)).abs())
        .fold(0.0, f64::max)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::data::cdl::Cdl;
    use crate::data::lut::Lut3d;

    #[test]
    fn a_gain_does_not_fall_and_a_hump_does() {
        let gain = Op::Cdl(Cdl {
            slope: [1.2, 1.0, 0.8],
            ..Cdl::NEUTRAL
        });
        assert_eq!(deepest_fall(std::slice::from_ref(&gain), 1e-9), None);
        assert!((slope_at(&[gain], 0.5) - 1.2).abs() < 1e-9);
        let mut lut = Lut3d::identity(17, [0.0; 3], [1.0; 3]);
        for rgb in &mut lut.table {
            if rgb[1] > 0.75 {
                rgb[1] = 1.5 - rgb[1];
            }
        }
        let fall = deepest_fall(&[Op::Lut(lut)], 0.004).unwrap();
        assert!(
            (fall.from - 0.75).abs() < 1e-3 && (fall.to - 1.0).abs() < 1e-3,
            "{fall:?}"
        );
        assert!((fall.by - 0.25).abs() < 1e-3, "{fall:?}");
    }
}
