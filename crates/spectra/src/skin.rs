//! Facial skin: four principal components of absorbance, class means, seeded draws.

use std::sync::OnceLock;

use inkarnat_color::{ItaClass, Lab, ita_deg};

use crate::camera::xyz;
use crate::data;
use crate::illuminant::d65;
use crate::random::Random;
use crate::spectrum::{Outside, Spectrum};

/// Standard deviation of the four scores over 6906 faces.
pub const SCORE_SD: [f64; 4] = [0.836_73, 0.150_53, 0.090_31, 0.054_01];

/// The skin of one face as the model sees it.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Skin {
    /// Scores on the four components, in absorbance.
    pub scores: [f64; 4],
    /// Reflectance factor.
    pub reflectance: Spectrum,
}

impl Skin {
    /// CIELAB under D65 of the reflectance itself (CIE 1931 observer).
    #[must_use]
    pub fn lab(&self) -> Lab {
        lab_of(&self.reflectance)
    }

    /// Class of complexion.
    #[must_use]
    pub fn class(&self) -> ItaClass {
        ItaClass::from_ita(ita_deg(self.lab()))
    }
}

/// CIELAB under D65 of a reflectance, relative to that light's own white.
#[must_use]
pub fn lab_of(reflectance: &Spectrum) -> Lab {
    Lab::from_xyz_white(xyz(reflectance, d65()), xyz(&Spectrum::flat(1.0), d65()))
}

/// The published model of facial skin: `A = mean + Σ score·component`, `R = 10^−A`.
#[derive(Debug, Clone, PartialEq)]
pub struct SkinModel {
    mean: Spectrum,
    components: [Spectrum; 4],
}

impl SkinModel {
    /// The model of the compiled-in table.
    pub fn published() -> &'static Self {
        static MODEL: OnceLock<SkinModel> = OnceLock::new();
        MODEL.get_or_init(|| {
            let (_, rows) = data::rows(data::SKIN_COMPONENTS);
            // Components change sign, so they must not be cut off at 0 as a reflectance is: lift, interpolate, lower.
            let lifted = |c: usize| {
                let table: Vec<_> = rows
                    .iter()
                    .map(|r| (data::number(r[0]), data::number(r[c]) + 10.0))
                    .collect();
                Spectrum::from_table(&table, Outside::Constant).map(|v| v - 10.0)
            };
            Self {
                mean: lifted(1),
                components: [lifted(2), lifted(3), lifted(4), lifted(5)],
            }
        })
    }

    /// The skin with the given scores.
    #[must_use]
    pub fn skin(&self, scores: [f64; 4]) -> Skin {
        let absorbance = std::array::from_fn(|i| {
            self.mean.0[i]
                + (0..4)
                    .map(|k| scores[k] * self.components[k].0[i])
                    .sum::<f64>()
        });
        Skin {
            scores,
            reflectance: Spectrum(absorbance).map(|a| 10f64.powf(-a)),
        }
    }

    /// A face at random.
    pub fn draw(&self, random: &mut Random) -> Skin {
        self.skin(SCORE_SD.map(|sd| sd * random.normal()))
    }

    /// A face at random among those of one class: draws until one belongs to it.
    pub fn draw_of_class(&self, class: ItaClass, random: &mut Random) -> Skin {
        loop {
            let skin = self.draw(random);
            if skin.class() == class {
                return skin;
            }
        }
    }

    /// Scores of a reflectance: the components are orthonormal on the 31 wavelengths from 400 to 700 nm by 10 nm.
    #[must_use]
    pub fn scores_of(&self, reflectance: &Spectrum) -> [f64; 4] {
        let difference = reflectance
            .map(|r| -r.max(1e-4).log10())
            .zip(&self.mean, |a, m| a - m);
        std::array::from_fn(|k| {
            (4..=64)
                .step_by(2)
                .map(|i| difference.0[i] * self.components[k].0[i])
                .sum()
        })
    }

    /// The same skin with more (positive) or less (negative) blood near the surface: a flush on cheeks, a pale brow.
    ///
    /// `amount` is in standard deviations of the third component, whose shape is that of haemoglobin
    /// (dips at 540 and 580 nm); the sign is turned so that more is redder.
    #[must_use]
    pub fn flushed(&self, skin: &Skin, amount: f64) -> Skin {
        let mut scores = skin.scores;
        scores[2] -= amount * SCORE_SD[2];
        self.skin(scores)
    }
}

/// Mean reflectance of a class of complexion.
pub fn class_mean(class: ItaClass) -> &'static Spectrum {
    static MEANS: OnceLock<Vec<Spectrum>> = OnceLock::new();
    let means = MEANS.get_or_init(|| {
        let (_, rows) = data::rows(data::SKIN_MEANS);
        data::groups(&rows, 1)
            .iter()
            .take(6)
            .map(|(_, rows)| {
                let table: Vec<_> = rows
                    .iter()
                    .map(|r| (data::number(r[2]), data::number(r[3])))
                    .collect();
                Spectrum::from_table(&table, Outside::Constant)
            })
            .collect()
    });
    let index = ItaClass::ALL.iter().position(|c| *c == class);
    &means[index.expect("every class is in the list of classes")]
}

/// Reflectance of lips over the skin of the same face: more blood, less scattering.
///
/// A smooth model of our own, not a measurement: the skin times a factor that falls from 1 in the red to 0.55 in the
/// green, which gives lips some 10 CIEDE2000 redder and darker than the cheek.
#[must_use]
pub fn lips(skin: &Skin) -> Spectrum {
    let reddish = Spectrum::from_fn(|nm| 0.58 + 0.37 / (1.0 + (-(nm - 600.0) / 14.0).exp()));
    skin.reflectance.times(&reddish)
}

#[cfg(test)]
mod tests {
    use super::*;
    use inkarnat_color::delta_e_2000;

    /// Published means of Lab by class: `data/skin_lab_by_class.csv` (International Skin Spectra Archive).
    ///
    /// 0.3 CIEDE2000 because the Lab of a mean is not the mean of Labs; "dark", the widest class, comes to 0.28.
    #[test]
    fn class_means_equal_the_published_ones() {
        for (class, l, a, b) in [
            (ItaClass::VeryLight, 67.83, 10.29, 11.30),
            (ItaClass::Light, 64.81, 11.23, 14.12),
            (ItaClass::Intermediate, 61.10, 12.03, 16.34),
            (ItaClass::Tan, 56.60, 12.25, 18.02),
            (ItaClass::Brown, 48.86, 11.79, 17.94),
            (ItaClass::Dark, 36.24, 9.24, 11.64),
        ] {
            let difference = delta_e_2000(lab_of(class_mean(class)), Lab { l, a, b }).0;
            assert!(difference < 0.3, "{class:?}: {difference}");
        }
    }

    #[test]
    fn scores_come_back() {
        let model = SkinModel::published();
        let scores = [0.7, -0.2, 0.1, 0.03];
        for (given, found) in scores
            .iter()
            .zip(model.scores_of(&model.skin(scores).reflectance))
        {
            // Six printed digits of 31 numbers a component.
            assert!((given - found).abs() < 2e-5, "{given} {found}");
        }
    }

    #[test]
    fn draws_cover_every_class_and_look_like_skin() {
        let model = SkinModel::published();
        for (stream, class) in ItaClass::ALL.into_iter().enumerate() {
            let mut random = Random::new(7, stream as u64);
            let skin = model.draw_of_class(class, &mut random);
            assert_eq!(skin.class(), class);
            let lab = skin.lab();
            assert!(lab.a > 0.0 && lab.b > 0.0, "{class:?} {lab:?}");
            let more = model.flushed(&skin, 1.0).lab();
            assert!(more.a > lab.a, "a flush reddens: {lab:?} {more:?}");
            let mouth = lab_of(&lips(&skin));
            assert!(mouth.a > lab.a && mouth.l < lab.l, "{lab:?} {mouth:?}");
        }
    }
}
