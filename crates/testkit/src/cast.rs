//! Who and what may appear in a scene, and what of it is held out from tuning.

use std::sync::OnceLock;

use inkarnat_color::ItaClass;
use inkarnat_spectra::{Random, Skin, SkinModel, cameras, illuminants};

/// Faces a class of complexion.
const PER_CLASS: usize = 6;
/// Seed of the cast.
const SEED: u64 = 1;

/// One skin of the cast.
#[derive(Debug, Clone, PartialEq)]
pub struct Member {
    /// Class and number, `tan-2`.
    pub name: String,
    /// Class of complexion under D65.
    pub class: ItaClass,
    /// The skin.
    pub skin: Skin,
    /// Every third skin is held out.
    pub held_out: bool,
}

/// Lower-case name of a class.
#[must_use]
pub fn class_name(class: ItaClass) -> &'static str {
    match class {
        ItaClass::VeryLight => "very-light",
        ItaClass::Light => "light",
        ItaClass::Intermediate => "intermediate",
        ItaClass::Tan => "tan",
        ItaClass::Brown => "brown",
        ItaClass::Dark => "dark",
    }
}

/// 36 skins, six of each class from very light to dark, drawn from the published components.
pub fn cast() -> &'static [Member] {
    static CAST: OnceLock<Vec<Member>> = OnceLock::new();
    CAST.get_or_init(|| {
        let model = SkinModel::published();
        let mut all = Vec::new();
        for (stream, class) in ItaClass::ALL.into_iter().enumerate() {
            let mut random = Random::new(SEED, stream as u64);
            for number in 1..=PER_CLASS {
                let held_out = third(all.len());
                all.push(Member {
                    name: format!("{}-{number}", class_name(class)),
                    class,
                    skin: model.draw_of_class(class, &mut random),
                    held_out,
                });
            }
        }
        all
    })
}

/// Every third of a list, counted from one: indices 2, 5, 8, ….
#[must_use]
pub fn third(index: usize) -> bool {
    index % 3 == 2
}

/// Whether the light at `index` in file order is held out.
#[must_use]
pub fn light_held_out(index: usize) -> bool {
    third(index)
}

/// Whether the camera at `index` (0 ideal, 1 first measured, 2 second measured) is held out.
#[must_use]
pub fn camera_held_out(index: usize) -> bool {
    index == 2
}

/// Index of a light by name.
///
/// # Panics
/// If there is none: names are written in the program.
#[must_use]
pub fn light_index(name: &str) -> usize {
    illuminants()
        .iter()
        .position(|l| l.name == name)
        .unwrap_or_else(|| panic!("expected the name of a light, got {name:?}"))
}

/// Short name of a camera for scene names.
#[must_use]
pub fn camera_name(index: usize) -> &'static str {
    debug_assert!(index < cameras().len());
    ["ideal", "first", "second"][index]
}

/// Rows that a table of lights must lose while a scene under the light at `index` is scored: the light itself and
/// near copies.
///
/// A near copy has a spectrum (400–700 nm, 5 nm) whose cosine with the light's is above 0.9995, or is a phase of
/// daylight (`DL` and kelvin) less than 300 K away. Computed once, with colour-science 0.4.7, for the 127 lights of
/// the estimator's table (CIE lights, measured lamps `x:`, Planck radiators `P`, daylights `DL`).
#[must_use]
pub fn excluded_rows(index: usize) -> Vec<&'static str> {
    let name = illuminants()[index].name.as_str();
    let rows: &[&str] = match name {
        "C" => &["C", "DL6750"],
        "D60" => &["D60", "DL6050"],
        "ID50" => &["D50", "DL5000", "DL5350"],
        "ISO 7589 Photographic Daylight" => &["D55", "DL5350", "DL5700"],
        _ => return vec![name],
    };
    rows.to_vec()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_third_is_held_out() {
        assert_eq!(cast().len(), 36);
        assert_eq!(cast().iter().filter(|m| m.held_out).count(), 12);
        let lights = (0..illuminants().len())
            .filter(|i| light_held_out(*i))
            .count();
        assert_eq!(lights, 14);
        for class in ItaClass::ALL {
            let members = cast().iter().filter(|m| m.class == class);
            assert_eq!(members.filter(|m| m.held_out).count(), 2, "{class:?}");
        }
    }

    #[test]
    fn only_held_out_lights_need_an_entry_of_near_copies() {
        for name in ["C", "D60", "ID50", "ISO 7589 Photographic Daylight"] {
            assert!(light_held_out(light_index(name)), "{name}");
        }
        assert_eq!(excluded_rows(light_index("FL3")), ["FL3"]);
    }
}
