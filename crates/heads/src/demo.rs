//! Ready scenes for looking at the cast, and a plain daylight response. The film builds its own scenes.

use std::sync::Arc;

use glam::{Vec2, Vec3, vec2, vec3};

use crate::expression::Expression;
use crate::person::{Pigment, SkinScores};
use crate::render::eye_middle;
use crate::scene::{Ambient, Camera, Light, Placement, Scene};
use crate::set::{Backdrop, Neutral, Place, Pool, Set};
use crate::shade::{Band, Reflector};

/// Light for a portrait.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Mood {
    /// A big window to one side.
    SoftWindow,
    /// A lamp close by, dark room.
    Lamp,
    /// Sun and sky.
    Sun,
    /// Even light from the front.
    Flat,
}

/// A light at an azimuth (degrees, positive = picture right), elevation and distance (dm) from the eyes.
#[must_use]
pub fn light_at(
    azimuth: f32,
    elevation: f32,
    distance: f32,
    radius: f32,
    irradiance: f32,
) -> Light {
    let (a, e) = (azimuth.to_radians(), elevation.to_radians());
    let d = vec3(a.sin() * e.cos(), e.sin(), a.cos() * e.cos());
    Light {
        position: eye_middle() + d * distance,
        radius,
        irradiance,
        falloff: true,
        shades: Vec::new(),
    }
}

/// Lights, ambients, and a set that goes with them.
#[must_use]
pub fn lighting(mood: Mood) -> (Vec<Light>, Vec<Ambient>, Set) {
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
    let set = |place, wall, pools| Set {
        place,
        neutral: Neutral::True,
        seed: 3,
        wall,
        blur: 0.010,
        texture: 1.0,
        zoom: 1.0,
        window: (0, 1.6),
        lamp: (0, 1.4),
        pools,
    };
    match mood {
        Mood::SoftWindow => {
            let w = [0.46, 0.42, 0.36];
            (
                vec![
                    light_at(48.0, 18.0, 16.0, 6.0, 0.95),
                    light_at(-145.0, 32.0, 20.0, 4.0, 0.30),
                ],
                vec![ambient(0, wall(w), 0.22, 0.20, 0.13)],
                set(
                    Place::LivingRoom,
                    w,
                    vec![
                        pool(0.7, -0.1, 0.9, 0.55, 0.20),
                        Pool::even(0.03),
                        Pool::even(0.20),
                    ],
                ),
            )
        }
        Mood::Lamp => {
            let w = [0.16, 0.15, 0.17];
            let mut s = set(
                Place::Evening,
                w,
                vec![
                    pool(-0.5, -0.08, 0.55, 1.1, 0.05),
                    Pool::even(0.06),
                    Pool::even(0.12),
                ],
            );
            s.lamp = (0, 1.8);
            (
                vec![
                    light_at(-46.0, 10.0, 12.0, 2.6, 0.75),
                    light_at(120.0, 25.0, 18.0, 5.0, 0.22),
                ],
                vec![ambient(0, wall([0.30, 0.22, 0.14]), 0.05, 0.075, 0.07)],
                s,
            )
        }
        Mood::Sun => (
            vec![
                light_at(-38.0, 38.0, 400.0, 2.4, 0.95),
                light_at(150.0, 35.0, 30.0, 8.0, 0.25),
            ],
            vec![
                ambient(1, None, 0.42, 0.24, 0.08),
                ambient(0, wall([0.25, 0.30, 0.14]), 0.0, 0.05, 0.12),
            ],
            {
                let mut s = set(
                    Place::Park,
                    [0.3, 0.35, 0.25],
                    vec![
                        pool(-0.2, 0.1, 0.9, 0.75, 0.25),
                        Pool::even(0.1),
                        Pool::even(0.35),
                        Pool::even(0.1),
                    ],
                );
                s.window = (1, 1.5);
                s.blur = 0.014;
                s
            },
        ),
        Mood::Flat => {
            let w = [0.40, 0.43, 0.46];
            (
                vec![
                    light_at(-25.0, 24.0, 16.0, 6.0, 0.62),
                    light_at(35.0, 12.0, 18.0, 8.0, 0.28),
                ],
                vec![ambient(0, wall(w), 0.24, 0.20, 0.12)],
                set(
                    Place::Office,
                    w,
                    vec![
                        pool(-0.2, -0.2, 1.0, 0.42, 0.26),
                        Pool::even(0.1),
                        Pool::even(0.22),
                    ],
                ),
            )
        }
    }
}

/// A medium close-up of one person of the cast.
#[must_use]
pub fn portrait(person: usize, mood: Mood, aspect: f32, height: usize) -> Scene {
    let (lights, ambients, set) = lighting(mood);
    let turn = [0.16, -0.12, 0.05, -0.2, 0.18, -0.22, 0.1, 0.2, -0.15][person % 9];
    let gain = vec![1.0; lights.len() + ambients.len()];
    Scene {
        camera: Camera::front(vec3(0.0, 6.72, 0.6), 14.0, 4.6),
        lights,
        ambients,
        focus: eye_middle(),
        people: vec![Placement {
            person,
            head: vec3(turn, 0.02, 0.015),
            gaze: vec2(-turn * 0.8, -0.01),
            expression: Expression {
                smile: [0.6, 0.15, 0.2, 0.4, 0.35, 0.1, 0.6, 0.3, 0.25][person % 9],
                ..Expression::default()
            },
            ..Placement::default()
        }],
        backdrop: Arc::new(Backdrop::paint(&set, aspect, height)),
        backdrop_gain: gain,
        backdrop_shift: Vec2::ZERO,
        foreground: None,
    }
}

/// Skin under D65 in linear BT.709: the logarithm as a quadratic of the scores, fitted to sums over the four
/// components, the CIE 1931 observer and D65 (computed; within 1.2 % over all complexions with added melanin
/// and blood).
fn skin_rgb(s: &SkinScores) -> Vec3 {
    const FIT: [[f32; 15]; 3] = [
        [
            -0.9917, -0.3811, 0.4352, -0.1006, -0.2348, -0.0001, -0.0041, 0.0026, 0.0060, -0.0023,
            -0.0242, 0.0727, 0.0724, -0.1128, -0.0135,
        ],
        [
            -1.5583, -0.4237, 0.0463, 0.5830, -0.0312, 0.0003, -0.0009, 0.0107, -0.0132, -0.0126,
            0.0316, -0.0227, -0.0141, -0.1151, 0.1016,
        ],
        [
            -1.9315, -0.4717, -0.4379, -0.1548, 0.4268, -0.0004, -0.0114, -0.0096, 0.0059, -0.0158,
            -0.0438, 0.1676, -0.0474, 0.1346, 0.0220,
        ],
    ];
    let mut feature = [
        1.0, s[0], s[1], s[2], s[3], 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0,
    ];
    let mut k = 5;
    for a in 0..4 {
        for b in a..4 {
            feature[k] = s[a] * s[b];
            k += 1;
        }
    }
    Vec3::from(FIT.map(|row| {
        row.iter()
            .zip(&feature)
            .map(|(w, f)| w * f)
            .sum::<f32>()
            .exp()
    }))
}

/// A plain response: every light is D65, channels are linear BT.709; skin by a fit to its spectra.
#[must_use]
pub fn daylight(_light: usize, path: &[Reflector], band: Band) -> [f32; 3] {
    let mut c = Vec3::ONE;
    for r in path {
        c *= match r {
            Reflector::Skin(s) => skin_rgb(s),
            Reflector::Pigment(Pigment::Neutral(r)) => Vec3::splat(*r),
            Reflector::Pigment(Pigment::Colour(c)) => Vec3::from(*c),
            Reflector::Tint(Pigment::Neutral(_)) => Vec3::ONE,
            Reflector::Tint(Pigment::Colour(c)) => {
                Vec3::from(*c) / (c.iter().sum::<f32>() / 3.0).max(1e-6)
            }
        };
    }
    // The red channel of a display lies mostly above 600 nm.
    let long = vec3(0.83, 0.0, 0.0);
    (match band {
        Band::All => c,
        Band::Long => c * long,
        Band::Short => c * (Vec3::ONE - long),
    })
    .to_array()
}
