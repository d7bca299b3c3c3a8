//! Named surfaces that sets and clothes are made of.
//!
//! Built from chart spectra and smooth curves of our own; none is a measurement of the thing named. What is promised
//! and tested is the neutrality that scenes rely on, as C*ab under D65.

use crate::chart::patch;
use crate::spectrum::Spectrum;

/// How neutral a surface is under the light of reference.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Neutrality {
    /// C*ab ≤ 1: may stand for the light.
    True,
    /// C*ab 3–8: looks neutral, is not.
    Nearly,
    /// C*ab above 8: coloured.
    None,
}

/// A named surface.
#[derive(Debug, Clone, PartialEq)]
pub struct Material {
    /// A plain name.
    pub name: &'static str,
    /// How neutral it is.
    pub neutrality: Neutrality,
    /// Reflectance factor.
    pub reflectance: Spectrum,
}

fn step(nm: f64, centre: f64, width: f64) -> f64 {
    1.0 / (1.0 + (-(nm - centre) / width).exp())
}

fn bump(nm: f64, centre: f64, width: f64) -> f64 {
    (-((nm - centre) / width).powi(2) / 2.0).exp()
}

/// A grey of the given reflectance that leans by `lean` per 100 nm (positive: warm), with an optional bump.
fn leaning(level: f64, lean: f64, bump_height: f64, bump_nm: f64) -> Spectrum {
    Spectrum::from_fn(|nm| {
        level * (lean * (nm - 550.0) / 100.0).exp() * (1.0 + bump_height * bump(nm, bump_nm, 30.0))
    })
}

/// All materials, in a fixed order.
#[must_use]
pub fn materials() -> Vec<Material> {
    use Neutrality::{Nearly, None, True};
    let m = |name, neutrality, reflectance| Material {
        name,
        neutrality,
        reflectance,
    };
    vec![
        // Truly neutral.
        m("grey card", True, Spectrum::flat(0.18)),
        m("white board", True, leaning(0.86, 0.004, 0.0, 450.0)),
        m("grey wall", True, leaning(0.42, -0.005, 0.0, 450.0)),
        m("light grey paint", True, leaning(0.62, 0.005, 0.0, 450.0)),
        m("charcoal felt", True, leaning(0.055, 0.006, 0.0, 450.0)),
        m("brushed steel", True, leaning(0.32, -0.006, 0.0, 450.0)),
        m("chart grey 5", True, *patch("neutral 5 (.70 D)")),
        m("chart grey 6.5", True, *patch("neutral 6.5 (.44 D)")),
        // Nearly neutral: what an eye or a naive balance takes for neutral.
        m("warm white cloth", Nearly, leaning(0.78, 0.085, 0.0, 450.0)),
        m(
            "cool white cloth",
            Nearly,
            leaning(0.80, -0.015, 0.075, 445.0),
        ),
        m("cream plaster", Nearly, leaning(0.66, 0.10, 0.0, 450.0)),
        m("concrete", Nearly, leaning(0.30, 0.075, 0.0, 450.0)),
        m(
            "greenish office paint",
            Nearly,
            leaning(0.55, 0.0, 0.075, 540.0),
        ),
        m("slate", Nearly, leaning(0.11, -0.14, 0.0, 450.0)),
        m(
            "silver cardboard",
            Nearly,
            leaning(0.46, -0.065, 0.0, 450.0),
        ),
        m("pinkish plaster", Nearly, leaning(0.58, 0.03, 0.07, 640.0)),
        // Coloured.
        m(
            "foliage",
            None,
            Spectrum::from_fn(|nm| {
                0.035 + 0.085 * bump(nm, 550.0, 28.0) + 0.42 * step(nm, 712.0, 10.0)
            }),
        ),
        m("chart foliage", None, *patch("foliage")),
        m(
            "light oak",
            None,
            Spectrum::from_fn(|nm| 0.11 + 0.42 * step(nm, 575.0, 55.0)),
        ),
        m(
            "dark walnut",
            None,
            Spectrum::from_fn(|nm| 0.035 + 0.15 * step(nm, 620.0, 50.0)),
        ),
        m(
            "brick",
            None,
            Spectrum::from_fn(|nm| 0.065 + 0.27 * step(nm, 592.0, 20.0)),
        ),
        m(
            "denim",
            None,
            Spectrum::from_fn(|nm| {
                0.05 + 0.10 * bump(nm, 445.0, 45.0) + 0.25 * step(nm, 715.0, 14.0)
            }),
        ),
        m(
            "navy wool",
            None,
            Spectrum::from_fn(|nm| {
                0.022 + 0.045 * bump(nm, 440.0, 40.0) + 0.12 * step(nm, 720.0, 15.0)
            }),
        ),
        m(
            "terracotta",
            None,
            Spectrum::from_fn(|nm| 0.09 + 0.36 * step(nm, 588.0, 18.0)),
        ),
        m(
            "mustard cloth",
            None,
            Spectrum::from_fn(|nm| 0.05 + 0.46 * step(nm, 535.0, 18.0)),
        ),
        m(
            "sage paint",
            None,
            Spectrum::from_fn(|nm| 0.24 + 0.13 * bump(nm, 540.0, 55.0)),
        ),
        m(
            "red curtain",
            None,
            Spectrum::from_fn(|nm| 0.035 + 0.38 * step(nm, 612.0, 12.0)),
        ),
        m(
            "teal door",
            None,
            Spectrum::from_fn(|nm| 0.06 + 0.17 * bump(nm, 492.0, 42.0)),
        ),
        m("plum velvet", None, *patch("purple")),
        m("blue sky paint", None, *patch("blue sky")),
        m("orange plastic", None, *patch("orange")),
        m(
            "sand",
            None,
            Spectrum::from_fn(|nm| 0.20 + 0.27 * step(nm, 545.0, 60.0)),
        ),
    ]
}

/// The material of that name.
///
/// # Panics
/// If there is none: names are written in the program.
#[must_use]
pub fn material(name: &str) -> Material {
    materials()
        .into_iter()
        .find(|m| m.name == name)
        .unwrap_or_else(|| panic!("expected the name of a material, got {name:?}"))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::skin::lab_of;

    #[test]
    fn neutrality_is_as_promised() {
        for m in materials() {
            let chroma = lab_of(&m.reflectance).chroma();
            let kept = match m.neutrality {
                Neutrality::True => chroma <= 1.0,
                Neutrality::Nearly => (3.0..=8.0).contains(&chroma),
                Neutrality::None => chroma > 8.0,
            };
            assert!(kept, "{}: C* {chroma:.2} is not {:?}", m.name, m.neutrality);
            assert!(
                m.reflectance.0.iter().all(|r| (0.0..=1.0).contains(r)),
                "{}: a reflectance lies in 0…1",
                m.name
            );
        }
    }
}
