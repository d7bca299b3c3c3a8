//! The one sampling that every spectrum of this crate has.

/// Number of samples of a [`Spectrum`].
pub const COUNT: usize = 81;
/// Wavelength of the first sample, in nanometres.
pub const FIRST_NM: f64 = 380.0;
/// Distance between samples, in nanometres.
pub const STEP_NM: f64 = 5.0;

/// 81 samples from 380 to 780 nm in steps of 5 nm.
///
/// *Unit*: that of the thing sampled (reflectance factor, relative power, relative sensitivity).
/// *Nominal range*: reflectance 0…1; power and sensitivity from 0 up.
/// *Outside range*: kept; fluorescent surfaces exceed 1.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Spectrum(pub [f64; COUNT]);

/// How a table goes on outside the wavelengths that it covers.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outside {
    /// The end value goes on (reflectances and lights; CIE 15:2018 section 7.2.2.1 as nearest-value extrapolation).
    Constant,
    /// Nothing (sensitivities of sensors).
    Zero,
}

/// Wavelength of sample `index`, in nanometres.
#[must_use]
pub fn wavelength_nm(index: usize) -> f64 {
    FIRST_NM + STEP_NM * index as f64
}

impl Spectrum {
    /// The same value at every wavelength.
    #[must_use]
    pub const fn flat(value: f64) -> Self {
        Self([value; COUNT])
    }

    /// Samples a function of the wavelength in nanometres.
    #[must_use]
    pub fn from_fn(mut f: impl FnMut(f64) -> f64) -> Self {
        Self(std::array::from_fn(|i| f(wavelength_nm(i))))
    }

    /// Interpolates an evenly spaced table of `(nanometres, value)`, in ascending order.
    ///
    /// Sprague's fifth-order formula (CIE 167:2005), as CIE 15 advises for even spacing; results below 0 become 0.
    /// Tables with fewer than six rows, or unevenly spaced ones, are interpolated linearly.
    ///
    /// # Panics
    /// If the table is empty or not ascending: the tables are part of the program.
    #[must_use]
    pub fn from_table(table: &[(f64, f64)], outside: Outside) -> Self {
        assert!(!table.is_empty(), "a spectral table needs at least one row");
        assert!(
            table.windows(2).all(|w| w[0].0 < w[1].0),
            "a spectral table must ascend in wavelength"
        );
        let (first, last) = (table[0], table[table.len() - 1]);
        let even = table.len() >= 6 && {
            let step = table[1].0 - table[0].0;
            table
                .windows(2)
                .all(|w| (w[1].0 - w[0].0 - step).abs() < 1e-9)
        };
        Self::from_fn(|nm| {
            if nm < first.0 || nm > last.0 {
                return match outside {
                    Outside::Constant if nm < first.0 => first.1,
                    Outside::Constant => last.1,
                    Outside::Zero => 0.0,
                };
            }
            let upper = table
                .partition_point(|row| row.0 <= nm)
                .min(table.len() - 1);
            let lower = upper.saturating_sub(1);
            let t = if upper == lower {
                0.0
            } else {
                (nm - table[lower].0) / (table[upper].0 - table[lower].0)
            };
            if t == 0.0 {
                table[lower].1
            } else if t == 1.0 {
                table[upper].1
            } else if even {
                sprague(table, lower, t).max(0.0)
            } else {
                table[lower].1 + t * (table[upper].1 - table[lower].1)
            }
        })
    }

    /// Sample by sample, `f(self, other)`.
    #[must_use]
    pub fn zip(&self, other: &Self, mut f: impl FnMut(f64, f64) -> f64) -> Self {
        Self(std::array::from_fn(|i| f(self.0[i], other.0[i])))
    }

    /// Sample by sample, `f(self)`.
    #[must_use]
    pub fn map(&self, mut f: impl FnMut(f64) -> f64) -> Self {
        Self(std::array::from_fn(|i| f(self.0[i])))
    }

    /// Every sample times `factor`.
    #[must_use]
    pub fn scaled(&self, factor: f64) -> Self {
        self.map(|v| v * factor)
    }

    /// The product of two spectra: light on a surface, or light through a filter.
    #[must_use]
    pub fn times(&self, other: &Self) -> Self {
        self.zip(other, |a, b| a * b)
    }

    /// `(1 − amount)·self + amount·other`.
    #[must_use]
    pub fn mixed(&self, other: &Self, amount: f64) -> Self {
        self.zip(other, |a, b| a + amount * (b - a))
    }

    /// The sum of the products of the samples (the integral without the step of 5 nm).
    #[must_use]
    pub fn dot(&self, other: &Self) -> f64 {
        self.0.iter().zip(&other.0).map(|(a, b)| a * b).sum()
    }

    /// Cosine of the angle between two spectra as vectors: 1 for the same shape at any scale.
    #[must_use]
    pub fn cosine(&self, other: &Self) -> f64 {
        self.dot(other) / (self.dot(self) * other.dot(other)).sqrt()
    }
}

/// Sprague interpolation at fraction `t` between rows `lower` and `lower + 1`.
fn sprague(table: &[(f64, f64)], lower: usize, t: f64) -> f64 {
    // Two rows are made up beyond each end from the six nearest ones: CIE 167:2005, coefficients over 209.
    const ENDS: [[f64; 6]; 2] = [
        [884.0, -1960.0, 3033.0, -2648.0, 1080.0, -180.0],
        [508.0, -540.0, 488.0, -367.0, 144.0, -24.0],
    ];
    let n = table.len();
    let value = |i: isize| -> f64 {
        if i < 0 {
            let row = (i + 2) as usize;
            (0..6).map(|k| ENDS[row][k] * table[k].1).sum::<f64>() / 209.0
        } else if i as usize >= n {
            let row = 1 - (i as usize - n);
            (0..6)
                .map(|k| ENDS[row][k] * table[n - 1 - k].1)
                .sum::<f64>()
                / 209.0
        } else {
            table[i as usize].1
        }
    };
    let base = lower as isize;
    let [a, b, c, d, e, f] = std::array::from_fn(|k| value(base - 2 + k as isize));
    let a1 = (2.0 * a - 16.0 * b + 16.0 * d - 2.0 * e) / 24.0;
    let a2 = (-a + 16.0 * b - 30.0 * c + 16.0 * d - e) / 24.0;
    let a3 = (-9.0 * a + 39.0 * b - 70.0 * c + 66.0 * d - 33.0 * e + 7.0 * f) / 24.0;
    let a4 = (13.0 * a - 64.0 * b + 126.0 * c - 124.0 * d + 61.0 * e - 12.0 * f) / 24.0;
    let a5 = (-5.0 * a + 25.0 * b - 50.0 * c + 50.0 * d - 25.0 * e + 5.0 * f) / 24.0;
    c + t * (a1 + t * (a2 + t * (a3 + t * (a4 + t * a5))))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_table_at_our_own_step_is_kept() {
        let table: Vec<_> = (0..COUNT)
            .map(|i| (wavelength_nm(i), (i * i) as f64))
            .collect();
        let s = Spectrum::from_table(&table, Outside::Zero);
        assert!((0..COUNT).all(|i| s.0[i] == (i * i) as f64));
    }

    #[test]
    fn sprague_restores_a_quartic_inside_and_near_the_ends() {
        // A fifth-order formula must be exact on a polynomial of fourth order, its made-up end rows included.
        let f = |nm: f64| {
            let x = (nm - 550.0) / 100.0;
            5.0 + x - 0.7 * x * x + 0.3 * x.powi(3) + 0.1 * x.powi(4)
        };
        let table: Vec<_> = (0..31)
            .map(|i| 400.0 + 10.0 * f64::from(i))
            .map(|nm| (nm, f(nm)))
            .collect();
        let s = Spectrum::from_table(&table, Outside::Constant);
        for i in 0..COUNT {
            let nm = wavelength_nm(i);
            let expected = f(nm.clamp(400.0, 700.0));
            // The end rows of CIE 167 are rounded fits, not exact extrapolation.
            let tolerance = if (420.0..=680.0).contains(&nm) {
                1e-9
            } else {
                2e-3
            };
            assert!(
                (s.0[i] - expected).abs() < tolerance,
                "{nm} nm: {} against {expected}",
                s.0[i]
            );
        }
    }

    #[test]
    fn outside_the_table() {
        let table: Vec<_> = (0..29)
            .map(|i| (400.0 + 10.0 * f64::from(i), 2.0))
            .collect();
        assert_eq!(Spectrum::from_table(&table, Outside::Zero).0[0], 0.0);
        assert_eq!(
            Spectrum::from_table(&table, Outside::Zero).0[COUNT - 1],
            0.0
        );
        assert_eq!(
            Spectrum::from_table(&table, Outside::Constant).0[COUNT - 1],
            2.0
        );
    }
}
