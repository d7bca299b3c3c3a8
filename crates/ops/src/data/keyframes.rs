//! Operations that change from frame to frame, as data.

use super::cdl::Cdl;
use super::chain::Chain;
use super::invalid::{Invalid, check};
use super::op::Op;
use serde::{Deserialize, Serialize};

/// A CDL that holds in one frame of the source.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Keyframe {
    /// Source frame, from 0.
    pub frame: u64,
    /// What is done there.
    pub cdl: Cdl,
}

/// A CDL through the frames of a source.
///
/// Between two keyframes each parameter runs along a monotone piecewise cubic through its values: the tangent at a key is
/// the weighted harmonic mean of the slopes beside it, 0 where these differ in sign (Fritsch and Butland, “A method for
/// constructing local monotone piecewise cubic interpolants”, SIAM Journal on Scientific and Statistical Computing 5, 1984), at the ends by
/// three
/// points, held to the shape (as in Moler, *Numerical Computing with MATLAB*, 2004, section 3.6). So no value overshoots
/// its neighbours, and with two keys it is a straight line. Before the first key and after the last their values hold.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Keyframes {
    /// In order of their frames; no frame twice. None: neutral throughout.
    pub keys: Vec<Keyframe>,
}

/// Slope, offset and power of R', G', B', and saturation, in one row.
type Parameters = [f64; 10];

fn parameters(cdl: &Cdl) -> Parameters {
    let [s, o, p] = [cdl.slope, cdl.offset, cdl.power];
    [
        s[0],
        s[1],
        s[2],
        o[0],
        o[1],
        o[2],
        p[0],
        p[1],
        p[2],
        cdl.saturation,
    ]
}

fn cdl_of(p: Parameters) -> Cdl {
    Cdl {
        slope: [p[0], p[1], p[2]],
        offset: [p[3], p[4], p[5]],
        power: [p[6], p[7], p[8]],
        saturation: p[9],
    }
}

impl Keyframes {
    /// Checks the order of the keys and every CDL.
    ///
    /// # Errors
    /// The first thing that does not fit.
    pub fn validate(&self) -> Result<(), Invalid> {
        for (index, key) in self.keys.iter().enumerate() {
            key.cdl
                .validate()
                .map_err(|e| e.inside(&format!("keys[{index}].cdl")))?;
            if let Some(before) = index.checked_sub(1).map(|i| self.keys[i].frame) {
                check(
                    format!("keys[{index}].frame"),
                    key.frame as f64,
                    key.frame > before,
                    &format!("a frame after that of the key before, {before}"),
                )?;
            }
        }
        Ok(())
    }

    /// Whether nothing is changed in any frame, exactly.
    #[must_use]
    pub fn is_identity(&self) -> bool {
        self.keys.iter().all(|key| key.cdl.is_identity())
    }

    /// What is done in a frame.
    #[must_use]
    pub fn at(&self, frame: u64) -> Cdl {
        let keys = &self.keys;
        let (Some(first), Some(last)) = (keys.first(), keys.last()) else {
            return Cdl::NEUTRAL;
        };
        if frame <= first.frame {
            return first.cdl;
        }
        if frame >= last.frame {
            return last.cdl;
        }
        // The key at or before the frame; one follows.
        let index = keys.partition_point(|key| key.frame <= frame) - 1;
        if keys[index].frame == frame {
            return keys[index].cdl;
        }
        let (from, to) = (
            parameters(&keys[index].cdl),
            parameters(&keys[index + 1].cdl),
        );
        let (begins, ends) = (self.tangent(index), self.tangent(index + 1));
        let length = (keys[index + 1].frame - keys[index].frame) as f64;
        let t = (frame - keys[index].frame) as f64 / length;
        // Hermite's cubics.
        let (t2, t3) = (t * t, t * t * t);
        cdl_of(std::array::from_fn(|i| {
            from[i] * (2.0 * t3 - 3.0 * t2 + 1.0)
                + begins[i] * length * (t3 - 2.0 * t2 + t)
                + to[i] * (3.0 * t2 - 2.0 * t3)
                + ends[i] * length * (t3 - t2)
        }))
    }

    /// The same keys with another CDL after each: exact in between as well where `next` changes what `self` does by a
    /// factor and an addition alone. `None` where two CDLs cannot be said in one.
    #[must_use]
    pub fn then(&self, next: &Cdl) -> Option<Self> {
        let affine = self
            .keys
            .iter()
            .all(|key| key.cdl.power == [1.0; 3] && key.cdl.saturation == 1.0);
        if !affine && !next.is_identity() {
            return None;
        }
        let keys = self
            .keys
            .iter()
            .map(|key| {
                Some(Keyframe {
                    frame: key.frame,
                    cdl: key.cdl.then(next)?,
                })
            })
            .collect::<Option<Vec<_>>>()?;
        Some(Self { keys })
    }

    /// Length and slopes of the piece that begins at a key.
    fn piece(&self, index: usize) -> (f64, Parameters) {
        let (a, b) = (&self.keys[index], &self.keys[index + 1]);
        let length = (b.frame - a.frame) as f64;
        let (from, to) = (parameters(&a.cdl), parameters(&b.cdl));
        (length, std::array::from_fn(|i| (to[i] - from[i]) / length))
    }

    fn tangent(&self, index: usize) -> Parameters {
        let last = self.keys.len() - 1;
        if last == 1 {
            return self.piece(0).1;
        }
        if index == 0 || index == last {
            let (near, far) = if index == 0 {
                (self.piece(0), self.piece(1))
            } else {
                (self.piece(last - 1), self.piece(last - 2))
            };
            return std::array::from_fn(|i| end_tangent((near.0, near.1[i]), (far.0, far.1[i])));
        }
        let ((before, left), (after, right)) = (self.piece(index - 1), self.piece(index));
        std::array::from_fn(|i| {
            if left[i] * right[i] <= 0.0 {
                return 0.0;
            }
            let (w1, w2) = (2.0 * after + before, after + 2.0 * before);
            (w1 + w2) / (w1 / left[i] + w2 / right[i])
        })
    }
}

/// Tangent at an end, from the piece there and the one next to it: each its length and its slope.
fn end_tangent((h0, d0): (f64, f64), (h1, d1): (f64, f64)) -> f64 {
    let tangent = ((2.0 * h0 + h1) * d0 - h0 * d1) / (h0 + h1);
    if tangent * d0 <= 0.0 {
        0.0
    } else if d0 * d1 <= 0.0 && tangent.abs() > 3.0 * d0.abs() {
        3.0 * d0
    } else {
        tangent
    }
}

/// A chain whose fix begins with a CDL of its own for every frame: what brings the light of each frame to that of one of
/// them, before everything else that the fix does.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct MovingChain {
    /// What is done to every frame alike.
    pub chain: Chain,
    /// What is done before the fix of the chain, by source frames; `None` for steady light.
    #[serde(default)]
    pub light: Option<Keyframes>,
}

impl From<Chain> for MovingChain {
    fn from(chain: Chain) -> Self {
        Self { chain, light: None }
    }
}

impl MovingChain {
    /// Whether every frame gets the same.
    #[must_use]
    pub fn is_constant(&self) -> bool {
        self.light
            .as_ref()
            .is_none_or(|light| light.keys.windows(2).all(|two| two[0].cdl == two[1].cdl))
    }

    /// Whether nothing is changed in any frame ([`Chain::is_identity`]).
    #[must_use]
    pub fn is_identity(&self) -> bool {
        self.chain.is_identity() && self.light.as_ref().is_none_or(Keyframes::is_identity)
    }

    /// Checks every operation.
    ///
    /// # Errors
    /// The first parameter outside its range.
    pub fn validate(&self) -> Result<(), Invalid> {
        self.chain.validate()?;
        self.light.as_ref().map_or(Ok(()), |light| {
            light.validate().map_err(|e| e.inside("light"))
        })
    }

    /// What is done to a frame of the source: plain operations. The light's CDL becomes part of the fix's first CDL where
    /// one CDL says both exactly.
    #[must_use]
    pub fn at(&self, frame: u64) -> Chain {
        let Some(light) = &self.light else {
            return self.chain.clone();
        };
        let cdl = light.at(frame);
        let mut chain = self.chain.clone();
        if cdl.is_identity() {
            return chain;
        }
        let joined = match chain.fix.first() {
            Some(Op::Cdl(first)) => cdl.then(first),
            _ => None,
        };
        match joined {
            Some(joined) => chain.fix[0] = Op::Cdl(joined),
            None => chain.fix.insert(0, Op::Cdl(cdl)),
        }
        chain
    }

    /// The whole fix as keyframes of one CDL, where it is one; `None` for steady light and for a fix that takes more.
    #[must_use]
    pub fn keyframes(&self) -> Option<Keyframes> {
        let light = self.light.as_ref()?;
        match self.chain.fix.as_slice() {
            [] => Some(light.clone()),
            [Op::Cdl(cdl)] => light.then(cdl),
            _ => None,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn slopes(keys: &[(u64, f64)]) -> Keyframes {
        let keys = keys
            .iter()
            .map(|(frame, slope)| Keyframe {
                frame: *frame,
                cdl: Cdl {
                    slope: [*slope, 1.0, 2.0 * slope],
                    ..Cdl::NEUTRAL
                },
            })
            .collect();
        Keyframes { keys }
    }

    #[test]
    fn holds_outside_and_meets_every_key() {
        let light = slopes(&[(10, 1.0), (20, 1.5), (40, 1.25)]);
        light.validate().unwrap();
        assert_eq!(light.at(0), light.keys[0].cdl);
        assert_eq!(light.at(99), light.keys[2].cdl);
        for key in &light.keys {
            assert_eq!(light.at(key.frame), key.cdl);
        }
        // Two keys: a straight line.
        let line = slopes(&[(0, 1.0), (10, 2.0)]);
        assert!((line.at(3).slope[0] - 1.3).abs() < 1e-12);
        assert_eq!(Keyframes::default().at(5), Cdl::NEUTRAL);
    }

    #[test]
    fn keys_out_of_order_are_named() {
        let text = slopes(&[(10, 1.0), (10, 1.5)])
            .validate()
            .unwrap_err()
            .to_string();
        assert!(text.contains("keys[1].frame is 10"), "{text}");
    }

    proptest! {
        /// Nothing overshoots its neighbours, so that every frame's CDL is valid and nothing pumps.
        #[test]
        fn stays_between_its_neighbours(
            steps in proptest::collection::vec((1u64..40, 0.3f64..3.0), 2..12),
            at in 0u64..500,
        ) {
            let mut frame = 0;
            let keys: Vec<(u64, f64)> = steps.iter().map(|(gap, value)| { frame += gap; (frame, *value) }).collect();
            let light = slopes(&keys);
            let value = light.at(at).slope[0];
            let before = keys.iter().rev().find(|k| k.0 <= at).unwrap_or(&keys[0]).1;
            let after = keys.iter().find(|k| k.0 >= at).unwrap_or(&keys[keys.len() - 1]).1;
            let (low, high) = (f64::min(before, after), f64::max(before, after));
            prop_assert!(value >= low - 1e-12 && value <= high + 1e-12, "{value} in {low}..{high}");
        }

        /// Joining before or after interpolating is the same: what is exported is what is applied.
        #[test]
        fn exported_keyframes_are_what_is_applied(
            steps in proptest::collection::vec((1u64..40, 0.3f64..3.0), 2..8),
            at in 0u64..300, slope in 0.5f64..1.5, offset in -0.1f64..0.1, power in 0.7f64..1.4, saturation in 0.5f64..1.5,
        ) {
            let mut frame = 0;
            let keys: Vec<(u64, f64)> = steps.iter().map(|(gap, value)| { frame += gap; (frame, *value) }).collect();
            let fix = Cdl { slope: [slope, 1.0, 0.9], offset: [offset, 0.0, 0.01], power: [power; 3], saturation };
            let moving = MovingChain { chain: Chain::of_fix(vec![Op::Cdl(fix)]), light: Some(slopes(&keys)) };
            let Op::Cdl(applied) = moving.at(at).fix[0].clone() else { panic!() };
            let exported = moving.keyframes().unwrap().at(at);
            for (a, b) in parameters(&applied).iter().zip(parameters(&exported)) {
                prop_assert!((a - b).abs() < 1e-12);
            }
        }
    }
}
