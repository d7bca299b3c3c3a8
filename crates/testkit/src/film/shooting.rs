//! Renders a take through its camera, with the truth of every frame.

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::{Arc, Mutex};

use glam::{Vec2, vec2, vec3};
use inkarnat_color::picture::{Planes16, Region as Area};
use inkarnat_color::transfer::bt709_oetf;
use inkarnat_color::{Coefficients, Rgb};
use inkarnat_heads::demo::light_at;
use inkarnat_heads::motion::{blink, breath, glance, speech, sway};
use inkarnat_heads::{
    Ambient, Backdrop, Baked, Band, Buffers, Camera, Expression, HeadData, Neutral, Pigment, Place,
    Placement, Pool, ReadPart, Reflector, Region, Response, Scene, Set, Shade, ShadeTables, Size,
    eye_middle, render, shade,
};
use inkarnat_spectra::spectrum::{COUNT, wavelength_nm};
use inkarnat_spectra::{
    Illuminant, LightResponse, Random, SkinModel, Spectrum, balance_gains, cameras, d65,
    reflectance_from_rgb709,
};
use rayon::prelude::*;
use serde::Serialize;

use super::RATE;
use super::movie::{MovieError, Track, Writer};
use super::scenario::{Action, CameraSetup, Setting, Take, light, lights_of};
use crate::render::quantise;
use crate::truth::{hue_deg, lab, level_pct};

/// A camera's answer to everything in a scene: spectra, lights, balance and exposure.
pub struct SceneResponse {
    lights: Vec<LightResponse>,
    gains: [f64; 3],
    pigments: Mutex<BTreeMap<[u32; 3], Spectrum>>,
}

impl std::fmt::Debug for SceneResponse {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("SceneResponse")
            .field("gains", &self.gains)
            .finish_non_exhaustive()
    }
}

impl SceneResponse {
    /// As the camera was set up on the day.
    #[must_use]
    pub fn as_shot(camera: &CameraSetup, lights: &[Illuminant]) -> Self {
        let sensor = &cameras()[camera.sensor];
        let gains = balance_gains(sensor.in_light(&light(camera.balance)).white());
        Self {
            lights: lights.iter().map(|l| sensor.in_light(l)).collect(),
            gains: gains.map(|g| g * camera.exposure_stops.exp2()),
            pigments: Mutex::default(),
        }
    }

    /// The truth: the same sensor, every light D65, nominal exposure.
    #[must_use]
    pub fn reference(camera: &CameraSetup, lights: usize) -> Self {
        let response = cameras()[camera.sensor].in_light(d65());
        Self {
            gains: balance_gains(response.white()),
            lights: vec![response; lights],
            pigments: Mutex::default(),
        }
    }

    fn reflectance(&self, pigment: Pigment) -> Spectrum {
        match pigment {
            Pigment::Neutral(r) => Spectrum::flat(f64::from(r)),
            Pigment::Colour(rgb) => {
                let key = rgb.map(f32::to_bits);
                let mut known = self
                    .pigments
                    .lock()
                    .unwrap_or_else(std::sync::PoisonError::into_inner);
                *known
                    .entry(key)
                    .or_insert_with(|| reflectance_from_rgb709(rgb.map(f64::from)))
            }
        }
    }
}

impl Response for SceneResponse {
    fn rgb(&self, light: usize, path: &[Reflector], band: Band) -> [f32; 3] {
        let mut spectrum = Spectrum::from_fn(|nm| band.weight(nm));
        for reflector in path {
            let on_the_way = match reflector {
                Reflector::Skin(scores) => {
                    SkinModel::published()
                        .skin(scores.map(f64::from))
                        .reflectance
                }
                Reflector::Pigment(pigment) => self.reflectance(*pigment),
                Reflector::Tint(pigment) => {
                    let r = self.reflectance(*pigment);
                    // The mean over the middle of the visible range, so that a neutral changes nothing.
                    let inside = |i: &usize| (400.0..=700.0).contains(&wavelength_nm(*i));
                    let (sum, n) = (0..COUNT)
                        .filter(inside)
                        .fold((0.0, 0), |(s, n), i| (s + r.0[i], n + 1));
                    r.scaled(f64::from(n) / f64::max(sum, 1e-6))
                }
            };
            spectrum = spectrum.times(&on_the_way);
        }
        let rgb = self.lights[light].linear_rgb(&spectrum);
        std::array::from_fn(|c| (rgb[c] * self.gains[c]) as f32)
    }
}

/// Lights, reflected light and set of a take.
fn stage(take: &Take) -> (Vec<inkarnat_heads::Light>, Vec<Ambient>, Set) {
    let wall = |c: [f32; 3]| Some(Pigment::Colour(c));
    let ambient = |light, via, up, side, down| Ambient {
        light,
        via,
        up,
        side,
        down,
    };
    let pool = |x: f32, y: f32, radius, level, floor| Pool {
        centre: vec2(x, y),
        radius,
        level,
        floor,
    };
    let set = |place, neutral, wall, pools| Set {
        place,
        neutral,
        seed: take.seed,
        wall,
        blur: 0.011,
        zoom: 4.8 / take.height,
        window: (1, 1.3),
        lamp: (0, 1.4),
        texture: 1.0,
        pools,
    };
    // Cameras that look at each other across a room see the key from opposite sides.
    let side = if take.seed.is_multiple_of(2) {
        -1.0
    } else {
        1.0
    };
    match take.setting {
        Setting::Office => {
            let w = [0.40, 0.43, 0.46];
            (
                vec![
                    light_at(-22.0 * side, 30.0, 16.0, 6.0, 0.68),
                    light_at(50.0 * side, 14.0, 18.0, 8.0, 0.22),
                ],
                vec![ambient(0, wall(w), 0.24, 0.18, 0.11)],
                set(
                    Place::Office,
                    Neutral::True,
                    w,
                    vec![
                        pool(-0.2, -0.3, 1.2, 0.5, 0.28),
                        Pool::even(0.12),
                        Pool::even(0.20),
                    ],
                ),
            )
        }
        Setting::LivingRoom => {
            let w = [0.46, 0.42, 0.36];
            (
                vec![
                    light_at(44.0 * side, 20.0, 16.0, 6.0, 0.82),
                    light_at(-145.0 * side, 32.0, 20.0, 4.0, 0.25),
                ],
                vec![ambient(0, wall(w), 0.22, 0.20, 0.13)],
                set(
                    Place::LivingRoom,
                    Neutral::Nearly,
                    w,
                    vec![
                        pool(0.6 * side, -0.1, 0.9, 0.55, 0.22),
                        Pool::even(0.03),
                        Pool::even(0.20),
                    ],
                ),
            )
        }
        Setting::Kitchen => {
            let w = [0.48, 0.46, 0.40];
            (
                vec![
                    light_at(-62.0, 16.0, 15.0, 5.0, 0.62),
                    light_at(64.0, 12.0, 13.0, 2.6, 0.42),
                ],
                vec![
                    ambient(0, wall(w), 0.12, 0.12, 0.08),
                    ambient(1, wall(w), 0.06, 0.06, 0.05),
                ],
                set(
                    Place::Kitchen,
                    Neutral::True,
                    w,
                    vec![
                        pool(-0.7, 0.0, 0.9, 0.5, 0.12),
                        pool(0.8, 0.0, 0.7, 0.5, 0.05),
                        Pool::even(0.10),
                        Pool::even(0.05),
                    ],
                ),
            )
        }
        Setting::Park => (
            vec![
                light_at(-36.0, 36.0, 400.0, 2.4, 0.75),
                light_at(150.0, 35.0, 30.0, 8.0, 0.22),
            ],
            vec![
                ambient(1, None, 0.42, 0.26, 0.10),
                ambient(0, wall([0.25, 0.30, 0.14]), 0.0, 0.05, 0.12),
            ],
            {
                let mut s = set(
                    Place::Park,
                    Neutral::Nearly,
                    [0.3, 0.35, 0.25],
                    vec![
                        pool(-0.2, 0.1, 0.9, 0.7, 0.25),
                        Pool::even(0.1),
                        Pool::even(0.3),
                        Pool::even(0.08),
                    ],
                );
                s.blur = 0.014;
                s
            },
        ),
        Setting::SodiumStreet => (
            vec![
                light_at(-30.0, 48.0, 30.0, 1.2, 0.60),
                light_at(120.0, 30.0, 30.0, 4.0, 0.18),
            ],
            vec![ambient(0, wall([0.30, 0.22, 0.14]), 0.05, 0.06, 0.05)],
            set(
                Place::Street,
                Neutral::Nearly,
                [0.35, 0.33, 0.30],
                vec![
                    pool(-0.4, 0.0, 0.7, 0.35, 0.06),
                    Pool::even(0.03),
                    Pool::even(0.05),
                ],
            ),
        ),
        Setting::Evening => {
            let w = [0.16, 0.15, 0.17];
            let mut s = set(
                Place::Evening,
                Neutral::Nearly,
                w,
                vec![
                    pool(-0.5, -0.08, 0.55, 0.9, 0.05),
                    Pool::even(0.05),
                    Pool::even(0.10),
                ],
            );
            s.window = (1, 0.3);
            (
                vec![
                    light_at(-44.0 * side, 10.0, 12.0, 2.6, 0.70),
                    light_at(120.0 * side, 25.0, 18.0, 5.0, 0.15),
                ],
                vec![ambient(0, wall([0.30, 0.22, 0.14]), 0.06, 0.08, 0.07)],
                s,
            )
        }
    }
}

/// A take ready to be rendered.
pub struct Shoot {
    take: Take,
    scene: Scene,
}

impl std::fmt::Debug for Shoot {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Shoot")
            .field("take", &self.take.name)
            .finish_non_exhaustive()
    }
}

impl Shoot {
    /// Builds the set of a take. `index_of` gives a person's place among the baked ones.
    #[must_use]
    pub fn new(take: &Take, height: usize, index_of: &dyn Fn(usize) -> usize) -> Self {
        let (lights, ambients, set) = stage(take);
        let count = take.people.len();
        let people = take
            .people
            .iter()
            .enumerate()
            .map(|(k, person)| {
                let across = if count == 2 { [-2.3, 2.3][k] } else { 0.0 };
                Placement {
                    person: index_of(*person),
                    position: vec3(across, 0.0, 0.0),
                    body_yaw: if count == 2 {
                        [0.45, -0.45][k]
                    } else {
                        0.15 - 0.3 * (take.seed % 2) as f32
                    },
                    ..Placement::default()
                }
            })
            .collect();
        // The body ends below y = 3.3: keep the lower edge above 3.7.
        let target = vec3(0.0, f32::max(3.7 + take.height / 2.0, 6.75), 0.6);
        let illuminations = lights.len() + ambients.len();
        Self {
            take: *take,
            scene: Scene {
                camera: Camera::front(target, 14.0 * (take.height / 4.6).max(0.8), take.height),
                lights,
                ambients,
                focus: eye_middle(),
                people,
                backdrop: Arc::new(Backdrop::paint(&set, 16.0 / 9.0, height)),
                backdrop_gain: vec![1.0; illuminations],
                backdrop_shift: Vec2::ZERO,
                foreground: None,
            },
        }
    }

    /// Share of the sun at a frame.
    fn cloud(&self, frame: u64) -> f32 {
        if self.take.action != Action::Cloud {
            return 1.0;
        }
        let t = frame as f32 / self.take.frames as f32;
        let s = ((t - 0.2) / 0.55).clamp(0.0, 1.0);
        1.0 - 0.62 * s * s * (3.0 - 2.0 * s)
    }

    /// The scene at a frame.
    #[must_use]
    pub fn at(&self, frame: u64) -> Scene {
        let take = &self.take;
        let t = frame as f32 / RATE as f32;
        let through = frame as f32 / take.frames as f32;
        let mut scene = self.scene.clone();
        for (k, placement) in scene.people.iter_mut().enumerate() {
            let seed = take.seed * 10 + k as u32;
            let talks = matches!(take.action, Action::Talk) && k == 0;
            let spoken = if talks {
                speech(t, seed)
            } else {
                Expression::default()
            };
            placement.head = sway(t, seed) + vec3(-0.6 * placement.body_yaw, 0.02, 0.0);
            placement.gaze = glance(t, seed);
            placement.breath = breath(t, seed);
            placement.expression = Expression {
                blink: blink(t, seed),
                // Friendly people: a face quite at rest looks stern.
                smile: if talks { 0.34 } else { 0.32 + 0.26 * through },
                ..spoken
            };
            match take.action {
                Action::Turn => placement.head.x += 0.5 * (through * 3.0 - 1.5).sin(),
                Action::CrossShadow => {
                    placement.position.x = -2.4 + 4.8 * through;
                    placement.body_yaw = 0.5;
                    placement.head.x = sway(t, seed).x - 0.25;
                }
                _ => {}
            }
        }
        if take.action == Action::CrossShadow {
            scene.lights[0].shades = vec![Shade {
                normal: vec3(1.0, 0.0, 0.0),
                offset: 0.1,
                width: f32::INFINITY,
                softness: 0.35,
                transmission: 0.30,
            }];
        }
        if take.action == Action::Cloud {
            let sun = self.cloud(frame);
            scene.lights[0].irradiance *= sun;
            // What the ground sends back of the sun follows it; a cloud makes the sky a little brighter.
            scene.ambients[0].up *= 1.0 + 0.25 * (1.0 - sun);
            scene.ambients[1].side *= sun;
            scene.ambients[1].down *= sun;
            scene.backdrop_gain[0] *= sun;
            scene.backdrop_gain[3] *= sun;
        }
        scene
    }
}

/// Noise and the camera's curve, from tables.
struct Recorder {
    curve: Vec<f32>,
    grain: Vec<f32>,
}

/// Entries a unit of the square root of light.
const CURVE_STEPS: f32 = 8192.0;

impl Recorder {
    fn new() -> Self {
        let mut random = Random::new(77, 7);
        Self {
            curve: (0..(CURVE_STEPS * 1.2) as usize)
                .map(|i| bt709_oetf((i as f64 / f64::from(CURVE_STEPS)).powi(2)) as f32)
                .collect(),
            grain: (0..1 << 20).map(|_| random.normal() as f32).collect(),
        }
    }

    /// Light to signal; clips at 109 % as a sensor's full well does.
    fn signal(&self, light: f32) -> f32 {
        let light = light.min(1.21);
        if light <= 0.0 {
            return (4.5 * light).max(-0.07);
        }
        let at = light.sqrt() * CURVE_STEPS;
        let i = at as usize;
        self.curve[i] + (at - i as f32) * (self.curve[i + 1] - self.curve[i])
    }

    fn record(
        &self,
        picture: &[[f32; 3]],
        (width, height): (usize, usize),
        noise: f32,
        seed: u64,
    ) -> Rgb {
        let mut random = Random::new(seed, 29);
        let mut out = Rgb::new(width, height);
        for y in 0..height {
            // A place of its own in the grain for every row, so that no pattern stands still.
            let mut at = random.next_u32() as usize;
            for x in 0..width {
                let i = y * width + x;
                let pixel = picture[i].map(|v| {
                    at += 1;
                    // Photon noise: variance goes with light; `noise` is meant at a mid grey of 18 %.
                    let sd = noise * (0.25 + 0.75 * v.max(0.0) / 0.18).sqrt();
                    self.signal(v + sd * self.grain[at % self.grain.len()])
                });
                out.set_pixel(i, pixel);
            }
        }
        out
    }
}

/// A reading of skin as the truth files give it.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct SkinReading {
    /// Level, percent.
    pub level_pct: f64,
    /// Hue on the Cb/Cr plane, degrees; none below the chroma floor.
    pub hue_deg: Option<f64>,
    /// CIELAB: L*, a*, b*.
    pub lab: [f64; 3],
}

impl SkinReading {
    fn of(signal: [f64; 3]) -> Self {
        let lab = lab(signal);
        Self {
            level_pct: level_pct(signal),
            hue_deg: hue_deg(signal),
            lab: [lab.l, lab.a, lab.b],
        }
    }
}

/// A person in a take.
#[derive(Debug, Clone, Serialize)]
pub struct PersonTruth {
    /// Name.
    pub person: String,
    /// Which cheek the patch lies on, the person's own side.
    pub cheek: &'static str,
    /// Patch by frame: centre and radii as fractions of width and height; none where the cheek is out of sight.
    pub patch: Vec<Option<[f64; 4]>>,
    /// Three points of the skin about the middle of that cheek by frame (inner, outer, lower), as fractions, in sight or
    /// not: a place on the cheek keeps its shares of the three.
    pub points: Vec<[[f64; 2]; 3]>,
    /// Face by frame: left, top, right, bottom as fractions.
    pub face: Vec<Option<[f64; 4]>>,
    /// Frames that were read.
    pub read_frames: Vec<u64>,
    /// As shot, frame by frame of those.
    pub as_shot: Vec<SkinReading>,
    /// The same pixels under D65 at nominal exposure.
    pub wanted: Vec<SkinReading>,
}

/// The truth of a take.
#[derive(Debug, Clone, Serialize)]
pub struct TakeTruth {
    /// Name of the camera file.
    pub clip: String,
    /// Frames.
    pub frames: u64,
    /// First timecode.
    pub timecode: String,
    /// Camera letter.
    pub camera: char,
    /// Its sensor.
    pub sensor: String,
    /// The light that it is balanced for.
    pub balance: String,
    /// Exposure against nominal, stops.
    pub exposure_stops: f64,
    /// Lights in the picture.
    pub lights: Vec<String>,
    /// Share of the key light by frame, where it changes.
    pub key_share: Option<Vec<f32>>,
    /// People.
    pub people: Vec<PersonTruth>,
}

/// Frames apart that skin is read in.
const READ_EVERY: u64 = 12;
/// Frames in work at a time.
const BATCH: u64 = 6;

struct FrameResult {
    codes: Planes16,
    people: Vec<FramePerson>,
}

#[derive(Clone)]
struct FramePerson {
    patch: Option<[f64; 4]>,
    points: [[f64; 2]; 3],
    face: Option<[f64; 4]>,
    readings: Option<(SkinReading, SkinReading)>,
}

/// An ellipse well inside a region: about its centroid, shrunk until nearly all of it is covered.
fn patch_in(coverage: &[f32], width: usize) -> Option<[f64; 4]> {
    let height = coverage.len() / width;
    let (mut sum, mut sx, mut sy, mut sxx, mut syy) = (0.0f64, 0.0, 0.0, 0.0, 0.0);
    for (i, c) in coverage.iter().enumerate() {
        if *c >= 0.999 {
            let (x, y) = ((i % width) as f64 + 0.5, (i / width) as f64 + 0.5);
            sum += 1.0;
            sx += x;
            sy += y;
            sxx += x * x;
            syy += y * y;
        }
    }
    if sum < 150.0 {
        return None;
    }
    let (cx, cy) = (sx / sum, sy / sum);
    let mut rx = (sxx / sum - cx * cx).sqrt();
    let mut ry = (syy / sum - cy * cy).sqrt();
    for _ in 0..12 {
        let (mut all, mut covered) = (0usize, 0usize);
        for y in (cy - ry).max(0.0) as usize..((cy + ry) as usize + 1).min(height) {
            for x in (cx - rx).max(0.0) as usize..((cx + rx) as usize + 1).min(width) {
                let (u, v) = ((x as f64 + 0.5 - cx) / rx, (y as f64 + 0.5 - cy) / ry);
                if u * u + v * v <= 1.0 {
                    all += 1;
                    covered += usize::from(coverage[y * width + x] >= 0.999);
                }
            }
        }
        if all > 0 && covered * 100 >= all * 99 {
            return (all >= 60).then_some([
                cx / width as f64,
                cy / height as f64,
                rx / width as f64,
                ry / height as f64,
            ]);
        }
        rx *= 0.9;
        ry *= 0.9;
    }
    None
}

fn inside_patch(patch: [f64; 4], width: usize, height: usize) -> Vec<usize> {
    let [cx, cy, rx, ry] = patch;
    (0..width * height)
        .filter(|i| {
            let x = ((i % width) as f64 + 0.5) / width as f64;
            let y = ((i / width) as f64 + 0.5) / height as f64;
            ((x - cx) / rx).powi(2) + ((y - cy) / ry).powi(2) <= 1.0
        })
        .collect()
}

/// Mean signal of some pixels of a linear picture.
fn mean_of_linear(picture: &[[f32; 3]], pixels: &[usize]) -> [f64; 3] {
    let mut sum = [0.0; 3];
    for i in pixels {
        for (s, v) in sum.iter_mut().zip(picture[*i]) {
            *s += bt709_oetf(f64::from(v));
        }
    }
    sum.map(|s| s / pixels.len().max(1) as f64)
}

fn cheek_luma(buffers: &Buffers, picture: &[[f32; 3]], placement: usize, region: Region) -> f64 {
    let coverage = buffers.coverage(placement, region);
    let (mut sum, mut weight) = (0.0, 1.0);
    for (c, p) in coverage.iter().zip(picture) {
        sum += f64::from(*c) * Coefficients::Bt709.luma(p.map(f64::from));
        weight += f64::from(*c);
    }
    sum / weight
}

/// Takes what of the picture something covers: what it is (`skin` for all of a person's, a part of the face that is read, or
/// `wall` for the set's plain wall), the person's number in the take, coverage.
pub type MaskWriter<'a> = dyn FnMut(&str, usize, &[f32]) -> Result<(), MovieError> + 'a;

/// Gives the masks of a frame: everybody's skin, all of it and each part of the face that is read, and the set's wall.
fn masks(take: &Take, buffers: &Buffers, mask: &mut MaskWriter<'_>) -> Result<(), MovieError> {
    let skin: Vec<Region> = Region::ALL.into_iter().filter(|r| r.is_skin()).collect();
    for k in 0..take.people.len() {
        mask("skin", k, &buffers.coverage_of(k, &skin))?;
        for part in ReadPart::ALL {
            let name = match part {
                ReadPart::Forehead => "forehead",
                ReadPart::RightCheek => "cheek_right",
                ReadPart::LeftCheek => "cheek_left",
                ReadPart::RightFlank => "flank_right",
                ReadPart::LeftFlank => "flank_left",
            };
            mask(name, k, &buffers.read_coverage(k, part))?;
        }
    }
    mask(
        "wall",
        0,
        &buffers.set_coverage(&|material| material.name == "wall"),
    )?;
    Ok(())
}

/// The masks of a take's middle frame alone.
///
/// # Errors
/// When the renderer or `mask` fails.
pub fn middle_masks(
    take: &Take,
    (data, baked): (&HeadData, &[Baked]),
    index_of: &dyn Fn(usize) -> usize,
    size: Size,
    mask: &mut MaskWriter<'_>,
) -> Result<(), MovieError> {
    let shoot = Shoot::new(take, size.height, index_of);
    let buffers = render(data, &shoot.at(take.frames / 2), baked, size)
        .map_err(|e| MovieError(format!("{}: {e}", take.name)))?;
    masks(take, &buffers, mask)
}

/// Renders a take to `path`, frame by frame, and gives its truth. Masks of its middle frame are written beside it by `mask`:
/// each person's skin, all of it and each part of the face that is read, and the set's wall.
///
/// # Errors
/// When the renderer or `ffmpeg` fails.
pub fn shoot(
    take: &Take,
    path: &Path,
    (data, baked): (&HeadData, &[Baked]),
    index_of: &dyn Fn(usize) -> usize,
    size: Size,
    mask: &mut MaskWriter<'_>,
) -> Result<TakeTruth, MovieError> {
    let lights = lights_of(take.setting);
    let shoot = Shoot::new(take, size.height, index_of);
    let fail = |e: inkarnat_heads::HeadsError| MovieError(format!("{}: {e}", take.name));
    let first = render(data, &shoot.at(take.frames / 2), baked, size).map_err(fail)?;
    let as_shot = ShadeTables::new(&first, &SceneResponse::as_shot(&take.camera, &lights));
    let reference = ShadeTables::new(
        &first,
        &SceneResponse::reference(&take.camera, lights.len()),
    );
    let picture = shade(&first, &as_shot);
    // The key side of the face, chosen once: the brighter cheek in the middle of the take.
    let cheeks: Vec<Region> = (0..take.people.len())
        .map(|k| {
            let left = cheek_luma(&first, &picture, k, Region::LeftCheek);
            let right = cheek_luma(&first, &picture, k, Region::RightCheek);
            if left >= right {
                Region::LeftCheek
            } else {
                Region::RightCheek
            }
        })
        .collect();
    masks(take, &first, mask)?;
    let names: Vec<String> = (0..take.people.len())
        .map(|k| first.person(k).name.clone())
        .collect();
    drop((first, picture));

    let recorder = Recorder::new();
    let (width, height) = (size.width, size.height);
    let one = |frame: u64| -> Result<FrameResult, MovieError> {
        let buffers = render(data, &shoot.at(frame), baked, size).map_err(fail)?;
        let picture = shade(&buffers, &as_shot);
        let seed = u64::from(take.seed) << 32 | frame;
        let signal = recorder.record(&picture, (width, height), take.camera.noise, seed);
        let (subsampling, depth) = take.camera.codec.sampling();
        let codes = quantise(&signal, subsampling, depth);
        let truth = frame
            .is_multiple_of(READ_EVERY)
            .then(|| shade(&buffers, &reference));
        let coded = truth
            .as_ref()
            .map(|_| codes.as_native().rgb_region(Area::whole(width, height)));
        let people = (0..take.people.len())
            .map(|k| {
                let patch = patch_in(&buffers.coverage(k, cheeks[k]), width);
                let face = buffers.faces[k].face_box.map(|b| {
                    let (w, h) = (width as f64, height as f64);
                    [
                        f64::from(b[0]) / w,
                        f64::from(b[1]) / h,
                        f64::from(b[2]) / w,
                        f64::from(b[3]) / h,
                    ]
                });
                let readings = match (patch, &truth, &coded) {
                    (Some(patch), Some(truth), Some(coded)) => {
                        let pixels = inside_patch(patch, width, height);
                        Some((
                            SkinReading::of(crate::truth::mean_signal(coded, &pixels)),
                            SkinReading::of(mean_of_linear(truth, &pixels)),
                        ))
                    }
                    _ => None,
                };
                let side = usize::from(cheeks[k] == Region::LeftCheek);
                let points = buffers.faces[k].cheeks[side].map(|p| {
                    [
                        f64::from(p.x) / width as f64,
                        f64::from(p.y) / height as f64,
                    ]
                });
                FramePerson {
                    patch,
                    points,
                    face,
                    readings,
                }
            })
            .collect();
        Ok(FrameResult { codes, people })
    };

    let mut people: Vec<PersonTruth> = names
        .into_iter()
        .zip(&cheeks)
        .map(|(person, cheek)| PersonTruth {
            person,
            cheek: if *cheek == Region::LeftCheek {
                "left"
            } else {
                "right"
            },
            patch: Vec::new(),
            points: Vec::new(),
            face: Vec::new(),
            read_frames: Vec::new(),
            as_shot: Vec::new(),
            wanted: Vec::new(),
        })
        .collect();
    let track = Track {
        start: take.start,
        frames: take.frames,
        seed: take.seed,
        reel: reel(take),
    };
    let mut writer = Writer::new(path, take.camera.codec, (width, height), track)?;
    for start in (0..take.frames).step_by(BATCH as usize) {
        let frames: Vec<u64> = (start..(start + BATCH).min(take.frames)).collect();
        let results: Vec<Result<FrameResult, MovieError>> =
            frames.par_iter().map(|f| one(*f)).collect();
        for (frame, result) in frames.iter().zip(results) {
            let result = result?;
            writer.write(&result.codes)?;
            for (person, found) in people.iter_mut().zip(result.people) {
                person.patch.push(found.patch);
                person.points.push(found.points);
                person.face.push(found.face);
                if let Some((as_shot, wanted)) = found.readings {
                    person.read_frames.push(*frame);
                    person.as_shot.push(as_shot);
                    person.wanted.push(wanted);
                }
            }
        }
    }
    writer.finish()?;
    Ok(TakeTruth {
        clip: take.name.to_owned(),
        frames: take.frames,
        timecode: super::timecode(take.start),
        camera: take.camera.letter,
        sensor: cameras()[take.camera.sensor].name.clone(),
        balance: light(take.camera.balance).name,
        exposure_stops: take.camera.exposure_stops,
        lights: lights.into_iter().map(|l| l.name).collect(),
        key_share: (take.action == Action::Cloud)
            .then(|| (0..take.frames).map(|f| shoot.cloud(f)).collect()),
        people,
    })
}

/// One frame of a take as recorded, and the truth of it.
///
/// # Errors
/// When the renderer fails.
pub fn still(
    take: &Take,
    frame: u64,
    (data, baked): (&HeadData, &[Baked]),
    index_of: &dyn Fn(usize) -> usize,
    size: Size,
) -> Result<[Rgb; 2], MovieError> {
    let lights = lights_of(take.setting);
    let shoot = Shoot::new(take, size.height, index_of);
    let buffers = render(data, &shoot.at(frame), baked, size)
        .map_err(|e| MovieError(format!("{}: {e}", take.name)))?;
    let recorder = Recorder::new();
    let picture = |response: &SceneResponse, noise: f32| {
        let linear = shade(&buffers, &ShadeTables::new(&buffers, response));
        recorder.record(
            &linear,
            (size.width, size.height),
            noise,
            u64::from(take.seed),
        )
    };
    Ok([
        picture(
            &SceneResponse::as_shot(&take.camera, &lights),
            take.camera.noise,
        ),
        picture(&SceneResponse::reference(&take.camera, lights.len()), 0.0),
    ])
}

/// Reel of a take: the first part of its name.
#[must_use]
pub fn reel(take: &Take) -> &'static str {
    take.name.split('_').next().unwrap_or(take.name)
}
