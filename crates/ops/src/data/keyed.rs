//! A CDL that acts on one range of colours, faded in by a soft key.

use super::cdl::Cdl;
use super::invalid::{Invalid, check};
use inkarnat_color::Coefficients;
use serde::{Deserialize, Serialize};

/// A soft range of one quantity: 1 on a flat top, 0 outside, smooth flanks between.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Window {
    /// Middle of the flat top, in the unit of the quantity.
    pub centre: f64,
    /// Full width of the flat top. Range: ≥ 0.
    pub width: f64,
    /// Width of each flank. Range: > 0.
    pub softness: f64,
}

impl Window {
    /// Half the extent of the window, flank included.
    #[must_use]
    pub fn reach(&self) -> f64 {
        self.width / 2.0 + self.softness
    }

    fn validate(&self) -> Result<(), Invalid> {
        check("centre", self.centre, true, "a finite number")?;
        check(
            "width",
            self.width,
            self.width >= 0.0,
            "a finite number, 0 or more",
        )?;
        check(
            "softness",
            self.softness,
            self.softness > 0.0,
            "a finite number above 0",
        )
    }
}

/// Which colours a [`KeyedCdl`] acts on: the product of three windows.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Key {
    /// The coding whose Cb/Cr plane and luma the key is measured on.
    pub coefficients: Coefficients,
    /// Hue on the Cb/Cr plane in degrees, counter-clockwise from +Cb; measured as an arc.
    pub hue: Window,
    /// Chroma magnitude on the Cb/Cr plane (axes ±0.5). The window must end above 0, since neutrals
    /// have no hue.
    pub saturation: Window,
    /// Luma in signal units (1 = reference white).
    pub level: Window,
}

/// A CDL mixed in by a key: `out = in + weight·(cdl(in) − in)`.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct KeyedCdl {
    /// The colours that it acts on.
    pub key: Key,
    /// What is done to them. Neutral: [`Cdl::NEUTRAL`].
    pub cdl: Cdl,
}

impl KeyedCdl {
    /// Checks every parameter against its range.
    ///
    /// # Errors
    /// The first parameter that is not finite or outside its range.
    pub fn validate(&self) -> Result<(), Invalid> {
        let Key {
            hue,
            saturation,
            level,
            ..
        } = &self.key;
        for (name, window) in [("hue", hue), ("saturation", saturation), ("level", level)] {
            window
                .validate()
                .map_err(|e| e.inside(name).inside("key"))?;
        }
        check(
            "key.hue.width",
            hue.width,
            hue.reach() <= 180.0,
            "a window that meets itself nowhere: width/2 + softness of 180 degrees or less",
        )?;
        check(
            "key.saturation.centre",
            saturation.centre,
            saturation.centre - saturation.reach() >= 0.0,
            "a window that ends at 0 or above, since neutrals have no hue",
        )?;
        self.cdl.validate().map_err(|e| e.inside("cdl"))
    }

    /// Whether it changes nothing, exactly.
    #[must_use]
    pub fn is_identity(&self) -> bool {
        self.cdl.is_identity()
    }
}
