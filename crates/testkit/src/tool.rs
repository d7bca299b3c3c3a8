//! The tool itself as a corrector, in process: the same reading, solving and applying that the command line does on
//! encoded clips, without a codec between.

use inkarnat_color::{Coefficients, Levels, Region as Area, Rgb, WorkingSpace};
use inkarnat_fix::aim::{Aim, Band, Want};
use inkarnat_fix::{
    Limits, PersonProblem, PicturePixel, Problem, ProblemError, Solution, State, solve_all,
};
use inkarnat_ops::Chain;
use inkarnat_reading::{ClipRule, Patch, PatchPixels, Shape, Similarity, choose, patch_pixels};

use crate::corrector::{Corrected, Corrector, PersonAim, SceneInput, ShotInput, Verdict};

/// Skin pixels a person and picture pixels a shot that the solver is given, as the application does.
const SKIN_PIXELS: usize = 1500;
const PICTURE_PIXELS: usize = 4000;

/// Reads, solves a scene's shots together, and applies.
#[derive(Debug, Clone)]
pub struct Tool {
    name: String,
}

impl Tool {
    /// The tool under the given row name.
    #[must_use]
    pub fn new(name: impl Into<String>) -> Self {
        Self { name: name.into() }
    }
}

impl Corrector for Tool {
    fn name(&self) -> &str {
        &self.name
    }

    fn correct(&self, scene: &SceneInput<'_>) -> Result<Vec<Corrected>, String> {
        let problems: Vec<Problem> = scene
            .shots
            .iter()
            .zip(&scene.aims)
            .map(|(shot, aims)| Problem {
                scene: Some("scene".to_owned()),
                excluded_lights: scene
                    .excluded_rows
                    .iter()
                    .map(|r| (*r).to_owned())
                    .collect(),
                ..problem_of(shot, &scene.people, aims)
            })
            .collect();
        Ok(scene
            .shots
            .iter()
            .zip(solve_all(&problems))
            .map(|(shot, solution)| corrected(shot, solution))
            .collect())
    }
}

fn aim_of(aim: &PersonAim) -> Aim {
    match aim {
        PersonAim::Own => Aim::own(),
        PersonAim::Typed {
            level_pct: [low, high],
            hue_deg: [from, to],
        } => Aim::typed(
            Want::Band(Band {
                low: *low,
                high: *high,
            }),
            Want::Band(Band {
                low: *from,
                high: *to,
            }),
        ),
    }
}

fn crop(picture: &Rgb, area: Area) -> Rgb {
    let mut part = Rgb::new(area.width, area.height);
    for row in 0..area.height {
        let start = (area.y + row) * picture.width + area.x;
        for (to, from) in part.planes.iter_mut().zip(&picture.planes) {
            to[row * area.width..(row + 1) * area.width]
                .copy_from_slice(&from[start..start + area.width]);
        }
    }
    part
}

/// Points that fill the unit square evenly (powers of the inverse of the plastic number).
fn spread(n: usize) -> [f64; 2] {
    [0.754_877_666_246_692_7, 0.569_840_290_998_053_3]
        .map(|step| (0.5 + step * (n + 1) as f64).fract())
}

fn inside(patches: &[PatchPixels], x: usize, y: usize) -> bool {
    patches.iter().any(|patch| {
        let area = patch.region;
        let within = (area.x..area.x + area.width).contains(&x)
            && (area.y..area.y + area.height).contains(&y);
        within
            && patch
                .inside
                .binary_search(&(((y - area.y) * area.width + x - area.x) as u32))
                .is_ok()
    })
}

/// Standard deviation of the finest detail of Y' in the darkest quarter, as the application measures it.
fn dark_noise(picture: &Rgb) -> Option<f64> {
    let luma = picture.luma(Coefficients::Bt709);
    let mut detail: Vec<(f32, f32)> = Vec::new();
    for y in (0..picture.height).step_by(8) {
        for x in (1..picture.width.saturating_sub(1)).step_by(29) {
            let i = y * picture.width + x;
            detail.push((luma[i], (luma[i - 1] - 2.0 * luma[i] + luma[i + 1]).abs()));
        }
    }
    detail.sort_by(|a, b| a.0.total_cmp(&b.0).then(a.1.total_cmp(&b.1)));
    let quarter = detail.len() / 4;
    let mut dark: Vec<f32> = detail[..quarter].iter().map(|d| d.1).collect();
    dark.sort_by(f32::total_cmp);
    dark.get(quarter / 2)
        .map(|median| f64::from(*median) / (0.674_5 * 6f64.sqrt()))
}

/// What the tool reads of a shot: the problem that its solver gets, as the application makes it.
#[must_use]
pub fn problem_of(shot: &ShotInput<'_>, names: &[String], aims: &[PersonAim]) -> Problem {
    let (width, height) = (shot.picture.width, shot.picture.height);
    let beyond = shot.picture.planes[0]
        .iter()
        .zip(&shot.picture.planes[1])
        .zip(&shot.picture.planes[2])
        .filter(|((r, g), b)| r.max(**g).max(**b) > ClipRule::BEYOND)
        .count();
    let rule = ClipRule::of_source(
        Levels::Narrow,
        shot.codec.sampling().1,
        beyond as f64 / (width * height) as f64,
    );
    let mut people = Vec::new();
    let mut held = Vec::new();
    for ((name, aim), [cx, cy, rx, ry]) in names.iter().zip(aims).zip(shot.patches) {
        let patch = Patch {
            shape: Shape::Ellipse {
                centre: [*cx, *cy],
                radii: [*rx, *ry],
            },
            frame: 0,
            person: Some(name.clone()),
        };
        let pixels = patch_pixels(&patch, &Similarity::IDENTITY, width, height);
        let part = crop(shot.picture, pixels.region);
        let chosen = choose(&part, &pixels, rule);
        let count = chosen.pixels.len();
        let skin = (0..SKIN_PIXELS)
            .filter(|_| count > 0)
            .map(|n| {
                let place = (spread(n)[0] * count as f64) as usize;
                part.pixel(chosen.pixels[place.min(count - 1)] as usize)
            })
            .collect();
        people.push(PersonProblem {
            name: name.clone(),
            skin,
            aim: aim_of(aim),
            ..PersonProblem::default()
        });
        held.push(pixels);
    }
    let picture = (0..PICTURE_PIXELS)
        .map(|n| {
            let [x, y] = spread(n);
            let x = ((x * width as f64) as usize).min(width - 1);
            let y = ((y * height as f64) as usize).min(height - 1);
            PicturePixel {
                rgb: shot.picture.pixel(y * width + x),
                skin: inside(&held, x, y),
            }
        })
        .collect();
    Problem {
        people,
        picture,
        limits: Limits::default(),
        space: WorkingSpace::default(),
        dark_noise: dark_noise(shot.picture),
        ..Problem::default()
    }
}

fn corrected(shot: &ShotInput<'_>, solution: Result<Solution, ProblemError>) -> Corrected {
    let solution = match solution {
        Ok(solution) => solution,
        // What cannot be read is left alone, as a film does.
        Err(why) => {
            return Corrected {
                picture: shot.picture.clone(),
                verdict: Verdict::Unread,
                questions: Vec::new(),
                note: why.to_string(),
            };
        }
    };
    let fix = solution.fix();
    let mut picture = shot.picture.clone();
    Chain::of_fix(fix.ops.clone()).apply_rgb(&mut picture);
    let (verdict, stopped) = match &fix.state {
        State::OnAim => (Verdict::OnAim, String::new()),
        State::Short { limit, .. } => (Verdict::Short, format!(", stopped by {limit}")),
    };
    let what = if fix.is_identity() {
        "no fix".to_owned()
    } else {
        fix.reach.to_string()
    };
    Corrected {
        picture,
        verdict,
        questions: Vec::new(),
        note: what + &stopped,
    }
}
