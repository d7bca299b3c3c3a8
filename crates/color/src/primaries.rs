//! Primaries, white and the way to XYZ.

use crate::matrix::{Matrix3, inverse, transform};
use crate::ycbcr::Coefficients;
use serde::{Deserialize, Serialize};

/// The chromaticities of R, G and B. The white of all of them is D65.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Primaries {
    /// Rec. ITU-R BT.709-6 items 1.3 and 1.4.
    Bt709,
    /// Rec. ITU-R BT.2020-2 / BT.2100-3 table 2.
    Bt2020,
    /// Rec. ITU-R BT.601-7 section 2.6, 525-line systems.
    Bt601Line525,
    /// Rec. ITU-R BT.601-7 section 2.6, 625-line systems.
    Bt601Line625,
}

/// D65 as the television standards give it: x = 0.3127, y = 0.3290.
pub const D65_XY: (f64, f64) = (0.3127, 0.3290);

impl Primaries {
    /// All sets, for tests that loop over every one.
    pub const ALL: [Self; 4] = [
        Self::Bt709,
        Self::Bt2020,
        Self::Bt601Line525,
        Self::Bt601Line625,
    ];

    /// xy of red, green and blue.
    #[must_use]
    pub const fn chromaticities(self) -> [(f64, f64); 3] {
        match self {
            Self::Bt709 => [(0.640, 0.330), (0.300, 0.600), (0.150, 0.060)],
            Self::Bt2020 => [(0.708, 0.292), (0.170, 0.797), (0.131, 0.046)],
            Self::Bt601Line525 => [(0.630, 0.340), (0.310, 0.595), (0.155, 0.070)],
            Self::Bt601Line625 => [(0.640, 0.330), (0.290, 0.600), (0.150, 0.060)],
        }
    }

    /// Linear RGB (white = 1, 1, 1) to XYZ with Y = 1 at white.
    #[must_use]
    pub fn xyz_from_rgb(self) -> Matrix3 {
        let columns = self.chromaticities().map(xyz_from_xy);
        let unscaled: Matrix3 = std::array::from_fn(|row| columns.map(|column| column[row]));
        let white = xyz_from_xy(D65_XY);
        // The three chromaticities of every set above span a triangle, so the inverse exists.
        let scale = inverse(&unscaled).map_or([1.0; 3], |m| transform(&m, white));
        std::array::from_fn(|row| {
            std::array::from_fn(|column| unscaled[row][column] * scale[column])
        })
    }
}

impl std::fmt::Display for Primaries {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Bt709 => "BT.709",
            Self::Bt2020 => "BT.2020",
            Self::Bt601Line525 => "BT.601 (525 lines)",
            Self::Bt601Line625 => "BT.601 (625 lines)",
        })
    }
}

/// XYZ of a chromaticity at Y = 1.
#[must_use]
pub fn xyz_from_xy((x, y): (f64, f64)) -> [f64; 3] {
    [x / y, 1.0, (1.0 - x - y) / y]
}

/// What the numbers of a film's working signal mean.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct WorkingSpace {
    /// Colour of the primaries.
    pub primaries: Primaries,
    /// Luma coefficients of readings.
    pub coefficients: Coefficients,
}

impl Default for WorkingSpace {
    /// BT.709 primaries and coefficients; the display follows BT.1886.
    fn default() -> Self {
        Self {
            primaries: Primaries::Bt709,
            coefficients: Coefficients::Bt709,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The luminance row of the matrix is the set of luma coefficients that the standards print,
    /// rounded there to four places.
    #[test]
    fn luminance_row_equals_the_printed_luma_coefficients() {
        for (primaries, coefficients) in [
            (Primaries::Bt709, Coefficients::Bt709),
            (Primaries::Bt2020, Coefficients::Bt2020),
        ] {
            let row = primaries.xyz_from_rgb()[1];
            let (kr, kg, kb) = coefficients.weights();
            for (a, b) in row.iter().zip([kr, kg, kb]) {
                assert!((a - b).abs() < 6e-5, "{primaries}: {row:?}");
            }
        }
    }

    /// BT.2087-0 (values from memory, equal to the unrounded product to four places).
    #[test]
    fn bt2087_matrix() {
        let to_2020 = inverse(&Primaries::Bt2020.xyz_from_rgb()).unwrap();
        let m = crate::matrix::product(&to_2020, &Primaries::Bt709.xyz_from_rgb());
        let printed = [
            [0.6274, 0.3293, 0.0433],
            [0.0691, 0.9195, 0.0114],
            [0.0164, 0.0880, 0.8956],
        ];
        for (a, b) in m.iter().flatten().zip(printed.iter().flatten()) {
            assert!((a - b).abs() < 6e-5);
        }
    }

    #[test]
    fn white_is_d65() {
        for primaries in Primaries::ALL {
            let white = transform(&primaries.xyz_from_rgb(), [1.0; 3]);
            for (a, b) in white.iter().zip(xyz_from_xy(D65_XY)) {
                assert!((a - b).abs() < 1e-12);
            }
        }
    }
}
