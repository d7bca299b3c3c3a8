//! Lights.

use std::sync::OnceLock;

use crate::camera::observer;
use crate::data;
use crate::spectrum::{Outside, Spectrum};

/// A light: its name and its relative spectral power, scaled so that a perfect white under it has luminance Y = 1.
#[derive(Debug, Clone, PartialEq)]
pub struct Illuminant {
    /// Name as CIE 15:2018 and ISO 7589 give it (`A`, `D65`, `FL2`, `LED-B1`, …), or of a mixture.
    pub name: String,
    /// Relative power, scaled to Y = 1 for the CIE 1931 observer (sum of samples, not times 5 nm).
    pub power: Spectrum,
}

impl Illuminant {
    /// Scales `power` to luminance 1.
    #[must_use]
    pub fn new(name: impl Into<String>, power: &Spectrum) -> Self {
        let luminance = power.dot(&observer()[1]);
        Self {
            name: name.into(),
            power: power.scaled(1.0 / luminance),
        }
    }

    /// Two lights together; `amount` (0…1) is the share of luminance that comes from `other`.
    #[must_use]
    pub fn mixed(&self, other: &Self, amount: f64) -> Self {
        Self::new(
            format!("{}+{}", self.name, other.name),
            &self.power.mixed(&other.power, amount),
        )
    }

    /// Light through a filter or off a coloured wall, scaled to luminance 1 again.
    #[must_use]
    pub fn filtered(&self, name: impl Into<String>, transmittance: &Spectrum) -> Self {
        Self::new(name, &self.power.times(transmittance))
    }
}

/// All 42 lights, in file order.
pub fn illuminants() -> &'static [Illuminant] {
    static ALL: OnceLock<Vec<Illuminant>> = OnceLock::new();
    ALL.get_or_init(|| {
        let (header, rows) = data::rows(data::ILLUMINANTS);
        header[1..]
            .iter()
            .enumerate()
            .map(|(i, name)| Illuminant::new(*name, &data::column(&rows, i + 1, Outside::Constant)))
            .collect()
    })
}

/// The light of that name.
#[must_use]
pub fn illuminant(name: &str) -> Option<&'static Illuminant> {
    illuminants().iter().find(|l| l.name == name)
}

/// D65, the light of reference.
///
/// # Panics
/// Never: the table holds it.
#[must_use]
pub fn d65() -> &'static Illuminant {
    illuminant("D65").expect("the table of lights holds D65")
}

#[cfg(test)]
mod tests {
    use super::*;

    /// CIE 15:2018 table of chromaticities (2°), to the four digits that a 5 nm sum is good for.
    #[test]
    fn chromaticities_of_standard_lights() {
        for (name, x, y) in [
            ("A", 0.447_58, 0.407_45),
            ("C", 0.310_06, 0.316_16),
            ("D50", 0.345_67, 0.358_51),
            ("D65", 0.312_72, 0.329_03),
            ("FL2", 0.3721, 0.3751),
            ("FL11", 0.3805, 0.3769),
        ] {
            let power = &illuminant(name).expect(name).power;
            let [bx, by, bz] = observer().each_ref().map(|bar| power.dot(bar));
            let sum = bx + by + bz;
            assert!((bx / sum - x).abs() < 1e-4, "{name} x {}", bx / sum);
            assert!((by / sum - y).abs() < 1e-4, "{name} y {}", by / sum);
        }
    }

    #[test]
    fn forty_two_lights_of_luminance_one() {
        assert_eq!(illuminants().len(), 42);
        for l in illuminants() {
            assert!(
                (l.power.dot(&observer()[1]) - 1.0).abs() < 1e-12,
                "{}",
                l.name
            );
            assert!(l.power.0.iter().all(|v| *v >= 0.0), "{}", l.name);
        }
    }
}
