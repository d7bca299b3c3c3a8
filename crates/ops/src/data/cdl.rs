//! Slope, offset, power and saturation.

use super::invalid::{Invalid, check};
use serde::{Deserialize, Serialize};

/// An ASC CDL, without clamping unless asked for.
///
/// Per channel `base = in·slope + offset`, `v = base^power` where `base ≥ 0` and `v = base` below;
/// then, with luma `Y = 0.2126 R + 0.7152 G + 0.0722 B` of `v`, `out = Y + saturation·(v − Y)`.
/// The luma weights are those of the transfer functions' definition, whatever the working space.
///
/// Source: the ASC_CDL process node of the Common LUT Format (S-2014-006), styles `FwdNoClamp` and
/// `Fwd`, which cites “ASC Color Decision List (ASC CDL) Transfer Functions and Interchange Syntax”,
/// release 1.2 (2009-05-04).
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Cdl {
    /// Gain of R', G', B'. Range: ≥ 0. Neutral: 1.
    pub slope: [f64; 3],
    /// Lift of R', G', B' in signal units (1 = reference white). Range: any finite. Neutral: 0.
    pub offset: [f64; 3],
    /// Exponent of R', G', B'. Range: > 0. Neutral: 1.
    pub power: [f64; 3],
    /// Distance from luma, as a factor. Range: ≥ 0 (0 = monochrome). Neutral: 1.
    pub saturation: f64,
}

impl Default for Cdl {
    fn default() -> Self {
        Self::NEUTRAL
    }
}

impl Cdl {
    /// The CDL that changes nothing.
    pub const NEUTRAL: Self = Self {
        slope: [1.0; 3],
        offset: [0.0; 3],
        power: [1.0; 3],
        saturation: 1.0,
    };

    /// Weights of R', G' and B' in the luma that saturation turns about.
    pub const LUMA: [f64; 3] = [0.2126, 0.7152, 0.0722];

    /// Checks every parameter against its range.
    ///
    /// # Errors
    /// The first parameter that is not finite or outside its range.
    pub fn validate(&self) -> Result<(), Invalid> {
        for c in 0..3 {
            let slope = self.slope[c];
            check(
                format!("slope[{c}]"),
                slope,
                slope >= 0.0,
                "a finite number, 0 or more",
            )?;
        }
        for c in 0..3 {
            check(
                format!("offset[{c}]"),
                self.offset[c],
                true,
                "a finite number",
            )?;
        }
        for c in 0..3 {
            let power = self.power[c];
            check(
                format!("power[{c}]"),
                power,
                power > 0.0,
                "a finite number above 0",
            )?;
        }
        check(
            "saturation",
            self.saturation,
            self.saturation >= 0.0,
            "a finite number, 0 or more",
        )
    }

    /// Whether it changes nothing, exactly.
    #[must_use]
    pub fn is_identity(&self) -> bool {
        *self == Self::NEUTRAL
    }

    /// The one CDL that does exactly what `self` and then `next` do, where there is one.
    ///
    /// There is one when either is neutral, when `next` only changes power (before any saturation)
    /// or saturation, or when `self` has neither power nor saturation.
    #[must_use]
    pub fn then(&self, next: &Self) -> Option<Self> {
        if self.is_identity() {
            return Some(*next);
        }
        let only_saturation = Self {
            saturation: next.saturation,
            ..Self::NEUTRAL
        };
        if *next == only_saturation {
            return Some(Self {
                saturation: self.saturation * next.saturation,
                ..*self
            });
        }
        if self.saturation != 1.0 {
            return None;
        }
        let mut joined = *next;
        for c in 0..3 {
            if self.power[c] == 1.0 {
                joined.slope[c] = self.slope[c] * next.slope[c];
                joined.offset[c] = self.offset[c] * next.slope[c] + next.offset[c];
            } else if next.slope[c] == 1.0 && next.offset[c] == 0.0 {
                joined.slope[c] = self.slope[c];
                joined.offset[c] = self.offset[c];
                joined.power[c] = self.power[c] * next.power[c];
            } else {
                return None;
            }
        }
        Some(joined)
    }
}
