//! Numbers that would be plausible and wrong if one were taken for another.

use serde::{Deserialize, Serialize};

macro_rules! unit {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, Default, PartialEq, PartialOrd, Serialize, Deserialize)]
        #[serde(transparent)]
        pub struct $name(pub f64);

        impl From<$name> for f64 {
            fn from(value: $name) -> f64 {
                value.0
            }
        }
    };
}

unit! {
    /// A signal level.
    ///
    /// *Unit*: percent of reference white. *Nominal range*: 0–100. *Outside range*: kept; narrow-range
    /// video reaches about −7…109.
    Percent
}
unit! {
    /// A share of a whole.
    ///
    /// *Unit*: none. *Nominal range*: 0–1. *Outside range*: an error of the caller.
    Fraction
}
unit! {
    /// A change of exposure.
    ///
    /// *Unit*: stops, a factor of two in light each. *Nominal range*: −10…10. *Outside range*: kept.
    Stops
}

impl Percent {
    /// The level of a signal value (1.0 = reference white).
    #[must_use]
    pub fn from_signal(signal: f64) -> Self {
        Self(signal * 100.0)
    }

    /// The signal value of this level (1.0 = reference white).
    #[must_use]
    pub fn signal(self) -> f64 {
        self.0 / 100.0
    }

    /// The level as a 10-bit narrow-range luma code, not rounded: 64 = 0 %, 940 = 100 %
    /// (BT.709-6 item 4.6).
    #[must_use]
    pub fn code10(self) -> f64 {
        64.0 + 8.76 * self.0
    }

    /// The level of a 10-bit narrow-range luma code (BT.709-6 item 4.6).
    #[must_use]
    pub fn from_code10(code: f64) -> Self {
        Self((code - 64.0) / 8.76)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn code10_is_bt709_item_4_6() {
        assert_eq!(Percent(0.0).code10(), 64.0);
        assert_eq!(Percent(100.0).code10(), 940.0);
        assert!((Percent::from_code10(721.0).0 - 75.0).abs() < 0.01);
    }
}
