//! What can be seen in the pixels of a problem before anything is concluded from it.

use inkarnat_color::WorkingSpace;
use inkarnat_color::lab::LabConverter;
use nalgebra::Vector2;

use crate::light::surfaces::{Surface, surfaces};
use crate::light::{linear709, log_ratios, log_ratios_of};
use crate::problem::{LEAST_SKIN, Problem, ProblemError};
use crate::sample::{signal_of, trimmed_means, value_of};
use crate::solution::SkinValue;

/// Pixels that surfaces are looked for in.
const LOOKED_AT: usize = 2500;

/// What can be seen.
pub(crate) struct Evidence {
    /// Usable skin of each person.
    pub(crate) skin: Vec<Vec<[f64; 3]>>,
    /// Skin of each person as it is read.
    pub(crate) values: Vec<SkinValue>,
    /// Chromaticity of that.
    pub(crate) raws: Vec<Vector2<f64>>,
    /// Everything but skin.
    pub(crate) outside: Vec<[f64; 3]>,
    /// Surface colours in it.
    pub(crate) surfaces: Vec<Surface>,
}

pub(crate) fn finite(p: &[f32; 3]) -> Option<[f64; 3]> {
    p.iter().all(|v| v.is_finite()).then(|| p.map(f64::from))
}

/// Whether a pixel's colour says something about its surface: neither near clipping nor near black.
fn tells(p: &[f64; 3], space: WorkingSpace) -> bool {
    let largest = p.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let least = p.iter().copied().fold(f64::INFINITY, f64::min);
    largest < 0.98 && least > 0.02 && space.coefficients.luma(*p) > 0.08
}

impl Evidence {
    pub(crate) fn new(problem: &Problem) -> Result<Self, ProblemError> {
        problem.validate()?;
        let space = problem.space;
        let mut skin: Vec<Vec<[f64; 3]>> = Vec::new();
        for person in &problem.people {
            let pixels: Vec<[f64; 3]> = person
                .skin
                .iter()
                .filter_map(finite)
                .filter(|p| {
                    let largest = p.iter().copied().fold(f64::NEG_INFINITY, f64::max);
                    largest < 1.085 && space.coefficients.luma(*p) > 0.02
                })
                .collect();
            if pixels.len() < LEAST_SKIN {
                return Err(ProblemError::TooLittleSkin {
                    person: person.name.clone(),
                    usable: pixels.len(),
                    given: person.skin.len(),
                    needed: LEAST_SKIN,
                });
            }
            skin.push(pixels);
        }
        let lab = LabConverter::new(space);
        let values: Vec<SkinValue> = skin
            .iter()
            .map(|pixels| value_of(trimmed_means(pixels, space), space, &lab))
            .collect();
        let raws = values
            .iter()
            .map(|v| log_ratios(linear709(signal_of(v, space), space)))
            .collect();
        let outside: Vec<[f64; 3]> = problem
            .picture
            .iter()
            .filter(|p| !p.skin)
            .filter_map(|p| finite(&p.rgb))
            .collect();
        let colours: Vec<Vector2<f64>> = outside
            .iter()
            .step_by(outside.len().div_ceil(LOOKED_AT).max(1))
            .filter(|p| tells(p, space))
            .map(|p| log_ratios_of(*p, space))
            .collect();
        Ok(Self {
            skin,
            values,
            raws,
            outside,
            surfaces: surfaces(&colours),
        })
    }

    /// The pixels of each surface, within `radius` of it.
    pub(crate) fn members(
        &self,
        which: &[usize],
        radius: f64,
        space: WorkingSpace,
    ) -> Vec<Vec<[f64; 3]>> {
        let mut members: Vec<Vec<[f64; 3]>> = which.iter().map(|_| Vec::new()).collect();
        if which.is_empty() {
            return members;
        }
        for p in self.outside.iter().filter(|p| tells(p, space)) {
            let at = log_ratios_of(*p, space);
            let nearest = which
                .iter()
                .enumerate()
                .map(|(n, i)| ((self.surfaces[*i].at - at).norm(), n))
                .fold((f64::INFINITY, 0), |a, b| if b.0 < a.0 { b } else { a });
            if nearest.0 < radius {
                members[nearest.1].push(*p);
            }
        }
        members
    }
}
