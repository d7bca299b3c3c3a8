//! A soft roll-off of the lights that keeps white where it belongs.

use super::invalid::{Invalid, check};
use serde::{Deserialize, Serialize};

/// What a roll-off acts on.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum RollOff {
    /// Each channel by its own curve. Brings unequal images of white back to one neutral white;
    /// bright colours lose saturation on their way there.
    #[default]
    PerChannel,
    /// All three channels by one factor, the one that the curve gives their largest. Keeps the
    /// proportions R':G':B', so hue and the ratio of chroma to level; no channel passes the curve.
    InProportion,
}

/// A smooth, strictly rising curve of the lights: what lies at `from` comes out at `to`.
///
/// Applied after a gain, it anchors white: `from` is where the gain has put source white, `to` is
/// where white belongs. It serves gains above 1 (the lights are compressed) and below 1 (they are
/// spread, so that blown windows do not turn grey or tinted).
///
/// With start `s`, `w = from − s`, `Δ = (to − s)/w`, `m = end_slope` and `ξ = (x − s)/w`:
///
/// ```text
/// x ≤ s:          y = x
/// s < x < from:   y = s + wΔ · (Δξ² + ξ(1−ξ)) / (Δ + (1 + m − 2Δ) ξ(1−ξ))
/// x ≥ from:       y = to + m (x − from)
/// ```
///
/// The middle piece is the monotone rational quadratic of Gregory and Delbourgo (1982, from memory)
/// with slope 1 at `s` and `m` at `from`; both joints are C¹. It is strictly rising for every
/// positive `Δ` and `m`, and its inverse is the root of a quadratic. At `m = Δ²` it is the hyperbola
/// `y = s + u/(1 + ku)`, whose slope moves from 1 to `Δ²` without turning.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Shoulder {
    /// What the curves act on. With [`RollOff::InProportion`] the three curves must be the same.
    pub roll_off: RollOff,
    /// Where each curve leaves the identity, in signal units. Range: below `from` and `to`, and
    /// above 0 when in proportion. Below it nothing changes.
    pub start: [f64; 3],
    /// The level that is brought to `to`, in signal units (1 = reference white). Neutral: `to`.
    pub from: [f64; 3],
    /// Where that level comes out, in signal units. Usually 1.
    pub to: [f64; 3],
    /// Slope at `from` and beyond. Range: [`Self::MIN_SLOPE`]–[`Self::MAX_SLOPE`]. Neutral: 1.
    pub end_slope: [f64; 3],
}

impl Default for Shoulder {
    fn default() -> Self {
        Self::NEUTRAL
    }
}

impl Shoulder {
    /// The flattest that a curve may be anywhere: what lies above skin keeps its modelling.
    pub const MIN_SLOPE: f64 = 0.3;

    /// The steepest that a curve may be anywhere. After a gain of one half, the lowest that a
    /// correction of exposure needs, neighbouring codes come out no further than two codes apart.
    pub const MAX_SLOPE: f64 = 4.0;

    /// The shoulder that changes nothing.
    pub const NEUTRAL: Self = Self {
        roll_off: RollOff::PerChannel,
        start: [0.7; 3],
        from: [1.0; 3],
        to: [1.0; 3],
        end_slope: [1.0; 3],
    };

    /// Curves that bring `from` to `to`, channel by channel, with a chosen slope beyond white.
    ///
    /// Where the lights are compressed (`Δ ≤ 1`) it is `Δ^1.5`: the slope then falls quickly and stays
    /// nearly level toward white, so that it keeps above [`Self::MIN_SLOPE`] down to `Δ` = 0.463,
    /// where the hyperbola (`Δ²`) ends at 0.548. Where they are spread it is `to/from`, which gives
    /// excursions beyond white back their extent.
    #[must_use]
    pub fn per_channel(start: [f64; 3], from: [f64; 3], to: [f64; 3]) -> Self {
        Self {
            roll_off: RollOff::PerChannel,
            start,
            from,
            to,
            end_slope: std::array::from_fn(|c| easy_end_slope(start[c], from[c], to[c])),
        }
    }

    /// One curve for all channels, applied in proportion.
    #[must_use]
    pub fn in_proportion(start: f64, from: f64, to: f64) -> Self {
        Self {
            roll_off: RollOff::InProportion,
            ..Self::per_channel([start; 3], [from; 3], [to; 3])
        }
    }

    /// Per-channel curves that undo what unequal gains do to white **and** to what lies beyond it:
    /// where `from[c]` changes by `gain[c]` for each unit of source signal at white, the slope
    /// beyond white is the same for all channels from end to end, so that excursions stay neutral.
    ///
    /// `gain` is the derivative of the operation before this one, along neutrals, at white.
    #[must_use]
    pub fn neutral_beyond_white(
        start: [f64; 3],
        from: [f64; 3],
        to: [f64; 3],
        gain: [f64; 3],
    ) -> Self {
        let mut shoulder = Self::per_channel(start, from, to);
        let common = (0..3).map(|c| shoulder.end_slope[c] * gain[c]).sum::<f64>() / 3.0;
        shoulder.end_slope = gain.map(|gain| common / gain);
        shoulder
    }

    /// Checks every parameter, and that no curve is flatter or steeper than allowed.
    ///
    /// # Errors
    /// The first parameter outside its range.
    pub fn validate(&self) -> Result<(), Invalid> {
        for c in 0..3 {
            let (start, from, to, end) =
                (self.start[c], self.from[c], self.to[c], self.end_slope[c]);
            check(format!("from[{c}]"), from, true, "a finite number")?;
            check(format!("to[{c}]"), to, true, "a finite number")?;
            let limit = from.min(to);
            check(
                format!("start[{c}]"),
                start,
                start < limit,
                &format!("below from and to, {limit}"),
            )?;
            let in_range = |slope: f64| (Self::MIN_SLOPE..=Self::MAX_SLOPE).contains(&slope);
            let range = format!("{}–{}", Self::MIN_SLOPE, Self::MAX_SLOPE);
            check(format!("end_slope[{c}]"), end, in_range(end), &range)?;
            let (least, most) = self.slope_range(c);
            for slope in [least, most] {
                check(
                    format!("slope of channel {c} between start and from"),
                    slope,
                    in_range(slope),
                    &format!("{range}: move start down or from nearer to to"),
                )?;
            }
            if self.roll_off == RollOff::InProportion {
                check(
                    format!("start[{c}]"),
                    start,
                    start > 0.0,
                    "above 0 for a roll-off in proportion",
                )?;
                for (name, values) in [
                    ("start", self.start),
                    ("from", self.from),
                    ("to", self.to),
                    ("end_slope", self.end_slope),
                ] {
                    check(
                        format!("{name}[{c}]"),
                        values[c],
                        values[c] == values[0],
                        &format!("{}, as channel 0, for a roll-off in proportion", values[0]),
                    )?;
                }
            }
        }
        Ok(())
    }

    /// Whether it changes nothing, exactly.
    #[must_use]
    pub fn is_identity(&self) -> bool {
        self.from == self.to && self.end_slope == [1.0; 3]
    }
}

fn easy_end_slope(start: f64, from: f64, to: f64) -> f64 {
    let mean = (to - start) / (from - start);
    if mean <= 1.0 {
        mean.powf(1.5)
    } else {
        to / from
    }
}
