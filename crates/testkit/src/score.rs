//! Scores a corrector's pictures against the truth of a scene.

use inkarnat_color::lab::LabConverter;
use inkarnat_color::{Coefficients, Rgb, WorkingSpace, delta_e_2000};
use serde::Serialize;

use crate::cast::{camera_name, cast, class_name, excluded_rows, light_held_out};
use crate::corrector::{Corrected, Corrector, PersonAim, SceneInput, ShotInput, Verdict};
use crate::grid::neutrality_name;
use crate::reach::{Question, Reachable, search};
use crate::scene::{Group, SceneSpec, Shot};
use crate::stage::Region;
use crate::truth::{
    SkinPixels, exposure_for_level, hue_deg, lab, level_pct, mean_signal, true_signal,
};

/// How aims are given to the corrector.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Aims {
    /// `own`, the default.
    Own,
    /// The true level ±3 and hue ±3° typed in.
    Typed,
}

/// One person in one shot under one corrector.
#[derive(Debug, Clone, Serialize)]
pub struct Row {
    /// Name of the corrector's row.
    pub corrector: String,
    /// Scene.
    pub scene: String,
    /// Its group.
    pub group: Group,
    /// Any part held out.
    pub held_out: bool,
    /// Shot number, from 0.
    pub shot: usize,
    /// Light of the shot (key light first).
    pub light: String,
    /// Camera.
    pub camera: &'static str,
    /// Kind of neutral surface.
    pub neutrality: &'static str,
    /// Person number, from 0.
    pub person: usize,
    /// Class of complexion.
    pub class: &'static str,
    /// CIEDE2000 of skin against the truth at the aim's level.
    pub skin_de00: f64,
    /// Level against the truth in percent, where the aim was typed or another shot supports it.
    pub level_error_pct: Option<f64>,
    /// Hue against the truth in degrees, where both have one.
    pub hue_error_deg: Option<f64>,
    /// CIEDE2000 of the neutral surfaces, mean by area; none where there is none.
    pub neutral_de00: Option<f64>,
    /// What the corrector says.
    pub verdict: Verdict,
    /// Its note.
    pub note: String,
    /// Questions to the editor.
    pub questions: usize,
    /// Whether the testkit's own search reaches the truth.
    pub reachable: Reachable,
    /// Newly clipped share of the picture, percent.
    pub clipped_picture_pct: f64,
    /// Newly clipped share of this person's lit skin, percent.
    pub clipped_skin_pct: f64,
    /// Noise of the darkest quarter, after over before.
    pub noise_gain: Option<f64>,
    /// Median of skin or picture moved by more than 0.3 (scored on good scenes).
    pub touched: bool,
}

/// A scene drawn, with everything that scoring needs, once for all correctors.
#[derive(Debug)]
pub struct Prepared<'a> {
    spec: &'a SceneSpec,
    shots: Vec<Shot>,
    skins: Vec<Vec<SkinPixels>>,
    own_levels: Vec<Vec<f64>>,
    supported: bool,
}

/// A person's true reading at the aim's level.
#[derive(Debug, Clone, Copy)]
struct Reference {
    signal: [f64; 3],
    exposure: f64,
}

impl<'a> Prepared<'a> {
    /// Draws a scene; `None` where somebody's skin is not in sight.
    #[must_use]
    pub fn new(spec: &'a SceneSpec, width: usize, height: usize) -> Option<Self> {
        let shots = spec.render(width, height);
        let mut skins = Vec::new();
        for shot in &shots {
            let people: Option<Vec<_>> = (0..spec.people.len())
                .map(|p| SkinPixels::of(shot, p as u8))
                .collect();
            skins.push(people?);
        }
        let source = |s: usize, p: usize, skins: &[Vec<SkinPixels>]| {
            level_pct(mean_signal(&shots[s].picture, &skins[s][p].pixels))
        };
        let truth = |s: usize, p: usize, skins: &[Vec<SkinPixels>]| {
            level_pct(true_signal(&shots[s], &skins[s][p].pixels, 1.0))
        };
        // The own level: as shot where a shot stands alone; else the person's mean over the shots, each shot keeping
        // what its own set and framing make of the same face.
        let own_levels = (0..shots.len())
            .map(|s| {
                (0..spec.people.len())
                    .map(|p| {
                        let shift = (0..shots.len())
                            .map(|other| source(other, p, &skins) - truth(other, p, &skins))
                            .sum::<f64>()
                            / shots.len() as f64;
                        truth(s, p, &skins) + shift
                    })
                    .collect()
            })
            .collect();
        let supported = shots.len() > 1;
        Some(Self {
            spec,
            shots,
            skins,
            own_levels,
            supported,
        })
    }

    /// The shots as drawn.
    #[must_use]
    pub fn shots(&self) -> &[Shot] {
        &self.shots
    }

    fn reference(&self, shot: usize, person: usize, aims: Aims) -> Reference {
        let skin = &self.skins[shot][person];
        let exposure = match aims {
            Aims::Typed => 1.0,
            Aims::Own => exposure_for_level(&self.shots[shot], skin, self.own_levels[shot][person]),
        };
        Reference {
            signal: true_signal(&self.shots[shot], &skin.pixels, exposure),
            exposure,
        }
    }

    /// The scene as a corrector may see it.
    #[must_use]
    pub fn input(&self, aims: Aims) -> SceneInput<'_> {
        let spec = self.spec;
        let aims = (0..self.shots.len())
            .map(|s| {
                (0..spec.people.len())
                    .map(|p| match aims {
                        Aims::Own => PersonAim::Own,
                        Aims::Typed => {
                            let truth = self.reference(s, p, aims).signal;
                            let (level, hue) = (level_pct(truth), hue_deg(truth).unwrap_or(123.0));
                            PersonAim::Typed {
                                level_pct: [level - 3.0, level + 3.0],
                                hue_deg: [hue - 3.0, hue + 3.0],
                            }
                        }
                    })
                    .collect()
            })
            .collect();
        // A held-out light must not stand in the tool's own table while its scene is scored.
        let excluded_rows = spec
            .lights()
            .into_iter()
            .filter(|l| light_held_out(*l))
            .flat_map(excluded_rows)
            .collect();
        SceneInput {
            name: &spec.name,
            people: spec
                .people
                .iter()
                .map(|p| cast()[*p].name.clone())
                .collect(),
            shots: self
                .shots
                .iter()
                .zip(&spec.shots)
                .map(|(shot, spec)| ShotInput {
                    picture: &shot.picture,
                    codec: spec.codec,
                    patches: &shot.patches,
                    regions: &shot.regions,
                })
                .collect(),
            aims,
            excluded_rows,
        }
    }

    /// Whether the truth can be reached, shot by shot.
    #[must_use]
    pub fn reachable(&self, aims: Aims) -> Vec<Reachable> {
        (0..self.shots.len())
            .map(|s| {
                search(&Question {
                    picture: &self.shots[s].picture,
                    people: (0..self.spec.people.len())
                        .map(|p| {
                            let reference = self.reference(s, p, aims).signal;
                            (self.skins[s][p].pixels.as_slice(), reference)
                        })
                        .collect(),
                })
            })
            .collect()
    }

    /// Runs a corrector and scores it.
    ///
    /// # Errors
    /// What the corrector says went wrong, or that it gave back another number or size of pictures.
    pub fn score(
        &self,
        corrector: &dyn Corrector,
        aims: Aims,
        reachable: &[Reachable],
    ) -> Result<Vec<Row>, String> {
        let input = self.input(aims);
        let corrected = corrector.correct(&input)?;
        if corrected.len() != self.shots.len() {
            return Err(format!(
                "{} pictures came back for {} shots",
                corrected.len(),
                self.shots.len()
            ));
        }
        let mut rows = Vec::new();
        for (s, result) in corrected.iter().enumerate() {
            let source = &self.shots[s].picture;
            if (result.picture.width, result.picture.height) != (source.width, source.height) {
                return Err(format!("shot {s} came back in another size"));
            }
            rows.extend(self.score_shot(s, result, corrector.name(), aims, reachable[s]));
        }
        Ok(rows)
    }

    fn score_shot(
        &self,
        s: usize,
        result: &Corrected,
        corrector: &str,
        aims: Aims,
        reachable: Reachable,
    ) -> Vec<Row> {
        let (spec, shot) = (self.spec, &self.shots[s]);
        let references: Vec<Reference> = (0..spec.people.len())
            .map(|p| self.reference(s, p, aims))
            .collect();
        let exposure =
            references.iter().map(|r| r.exposure.ln()).sum::<f64>() / references.len() as f64;
        let neutral_de00 = neutral_error(shot, &result.picture, exposure.exp());
        let all: Vec<usize> = (0..shot.regions.len()).collect();
        let clipped_picture_pct = newly_clipped_pct(&shot.picture, &result.picture, &all);
        let noise_gain = noise_gain(shot, &result.picture);
        let picture_moved = median_move(&shot.picture, &result.picture);
        let light = {
            let (key, fill) = (&spec.shots[s].key, &spec.shots[s].fill);
            if key == fill {
                key.illuminant().name
            } else {
                format!("{}|{}", key.illuminant().name, fill.illuminant().name)
            }
        };
        (0..spec.people.len())
            .map(|p| {
                let pixels = &self.skins[s][p].pixels;
                let (before, after) = (
                    mean_signal(&shot.picture, pixels),
                    mean_signal(&result.picture, pixels),
                );
                let truth = references[p].signal;
                let scored_level = aims == Aims::Typed || self.supported;
                let skin_moved = delta_e_2000(lab(before), lab(after)).0;
                Row {
                    corrector: corrector.to_owned(),
                    scene: spec.name.clone(),
                    group: spec.group,
                    held_out: spec.held_out(),
                    shot: s,
                    light: light.clone(),
                    camera: camera_name(spec.camera),
                    neutrality: neutrality_name(spec.neutrality),
                    person: p,
                    class: class_name(cast()[spec.people[p]].class),
                    skin_de00: delta_e_2000(lab(after), lab(truth)).0,
                    level_error_pct: scored_level.then(|| level_pct(after) - level_pct(truth)),
                    hue_error_deg: hue_deg(after)
                        .zip(hue_deg(truth))
                        .map(|(a, t)| (a - t + 180.0).rem_euclid(360.0) - 180.0),
                    neutral_de00,
                    verdict: result.verdict,
                    note: result.note.clone(),
                    questions: result.questions.len(),
                    reachable,
                    clipped_picture_pct,
                    clipped_skin_pct: newly_clipped_pct(&shot.picture, &result.picture, pixels),
                    noise_gain,
                    touched: skin_moved > 0.3 || picture_moved > 0.3,
                }
            })
            .collect()
    }
}

/// CIEDE2000 of the neutral surfaces against the truth at `exposure`, mean by area over the unclipped ones.
fn neutral_error(shot: &Shot, picture: &Rgb, exposure: f64) -> Option<f64> {
    let (mut sum, mut weight) = (0.0, 0.0);
    for number in shot.neutrals() {
        let mut pixels = shot.pixels(Region::Neutral(number));
        pixels.retain(|i| {
            shot.picture
                .pixel(*i)
                .iter()
                .all(|v| (0.01..0.99).contains(v))
        });
        // A sliver between other things is mostly chroma of its neighbours.
        if pixels.len() < 40 {
            continue;
        }
        let step = pixels.len().div_ceil(2000);
        let sample: Vec<usize> = pixels.iter().copied().step_by(step).collect();
        let truth = lab(true_signal(shot, &sample, exposure));
        let found = lab(mean_signal(picture, &sample));
        sum += pixels.len() as f64 * delta_e_2000(found, truth).0;
        weight += pixels.len() as f64;
    }
    (weight > 0.0).then(|| sum / weight)
}

/// Pixels with a channel beyond white or black that had none there before, percent.
fn newly_clipped_pct(before: &Rgb, after: &Rgb, pixels: &[usize]) -> f64 {
    // A quarter of an 8-bit code: what rounding alone may do.
    let clipped = |p: [f32; 3]| p.iter().any(|v| !(-0.001..=1.001).contains(v));
    let new = pixels
        .iter()
        .filter(|i| clipped(after.pixel(**i)) && !clipped(before.pixel(**i)))
        .count();
    100.0 * new as f64 / pixels.len().max(1) as f64
}

/// Second differences of luma along rows in the darkest quarter, after over before.
fn noise_gain(shot: &Shot, after: &Rgb) -> Option<f64> {
    let before = shot.picture.luma(Coefficients::Bt709);
    let after_luma = after.luma(Coefficients::Bt709);
    let width = after.width;
    let mut sorted = before.clone();
    sorted.sort_by(f32::total_cmp);
    let limit = sorted[sorted.len() / 4];
    let (mut was, mut is, mut count) = (0.0f64, 0.0f64, 0usize);
    for i in 1..before.len() - 1 {
        let column = i % width;
        let inside = column > 0 && column + 1 < width;
        let same = shot.regions[i - 1] == shot.regions[i] && shot.regions[i + 1] == shot.regions[i];
        if before[i] <= limit && inside && same && shot.regions[i] != Region::Other {
            was += f64::from(before[i - 1] - 2.0 * before[i] + before[i + 1]).powi(2);
            is += f64::from(after_luma[i - 1] - 2.0 * after_luma[i] + after_luma[i + 1]).powi(2);
            count += 1;
        }
    }
    // Below a thousandth of white there is no noise to speak of.
    (count > 100 && was / count as f64 > 1e-6).then(|| (is / was).sqrt())
}

/// Median move of the picture's pixels, CIEDE2000.
fn median_move(before: &Rgb, after: &Rgb) -> f64 {
    let converter = LabConverter::new(WorkingSpace::default());
    let count = before.planes[0].len();
    let mut moves: Vec<f64> = (0..count)
        .step_by(count.div_ceil(4000))
        .map(|i| {
            let (a, b) = (before.pixel(i), after.pixel(i));
            if a == b {
                0.0
            } else {
                delta_e_2000(
                    converter.lab(a.map(f64::from)),
                    converter.lab(b.map(f64::from)),
                )
                .0
            }
        })
        .collect();
    moves.sort_by(f64::total_cmp);
    moves[moves.len() / 2]
}
