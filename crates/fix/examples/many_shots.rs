//! Prints what a film of many shots would hold of its skin and its pictures, for `script/film/many.py`: measured by `script/bench solve`.
//!
//! `many_shots SHOTS PEOPLE`, with PEOPLE `some` (one to three of six in a shot) or `all` (all six in every shot). The first line
//! says whose shots they are; each further one is a sample: number of the shot, number of the person (0: the picture), JSON.

#[path = "../tests/common/mod.rs"]
mod common;

use std::io::Write as _;

use common::{COLOURED, ROOM, Scene};
use inkarnat_color::ItaClass;
use inkarnat_spectra::{Random, illuminant};
use serde_json::json;

/// Shots of a setup, setups of a scene: what fiction of this length comes to (common practice, no source).
const SHOTS_OF_SETUP: [usize; 4] = [3, 5, 6, 4];
const SETUPS_OF_SCENE: usize = 4;
/// Skin pixels of a person in a shot, as `inkarnat read` keeps them.
const SKIN_PIXELS: usize = 1500;
const LIGHTS: [&str; 4] = ["D65", "A", "LED-B3", "D65"];

fn main() {
    let mut arguments = std::env::args().skip(1);
    let shots: usize = arguments
        .next()
        .and_then(|count| count.parse().ok())
        .expect("the number of shots");
    let all = match arguments.next().as_deref() {
        Some("some") => false,
        Some("all") => true,
        other => panic!("given {other:?}, expected `some` or `all`"),
    };
    let mut random = Random::new(5, 1);
    let mut plan = Vec::new();
    let mut scenes = Vec::new();
    let (mut setup, mut left) = (0, SHOTS_OF_SETUP[0]);
    for shot in 0..shots {
        if left == 0 {
            setup += 1;
            left = SHOTS_OF_SETUP[setup % SHOTS_OF_SETUP.len()];
        }
        left -= 1;
        let story = setup / SETUPS_OF_SCENE;
        // Whom a scene is about, and how many of them stand in this setup: one, two, one, three.
        let who: Vec<usize> = if all {
            (0..6).collect()
        } else {
            let count = [1, 2, 1, 3][setup % 4];
            (0..count).map(|i| (story + setup % 2 + i) % 6).collect()
        };
        // A scene has one light; each setup its own camera and exposure, each shot a little of its own.
        let mut of_setup = Random::new(7, setup as u64);
        let gains = [
            (0.12 * of_setup.normal()).exp(),
            1.0,
            (0.15 * of_setup.normal()).exp(),
        ];
        let stops = (0.3 * of_setup.normal()).clamp(-0.9, 0.9) + 0.04 * random.normal();
        scenes.push(Scene {
            light: illuminant(LIGHTS[story % LIGHTS.len()]).expect("a light of the table"),
            gains: gains.map(|gain| gain * (0.01 * random.normal()).exp()),
            stops,
            people: who.iter().map(|i| ItaClass::ALL[*i]).collect(),
            materials: if story % 5 == 4 {
                COLOURED.to_vec()
            } else {
                ROOM.to_vec()
            },
            window: if setup % 3 == 2 { 0.06 } else { 0.0 },
            seed: 1000 + shot as u64,
            ..Scene::new(ItaClass::Tan)
        });
        plan.push(json!({
            "setup": setup + 1,
            "scene": story + 1,
            "people": who.iter().map(|i| i + 1).collect::<Vec<_>>(),
        }));
    }
    let mut out = std::io::BufWriter::new(std::io::stdout().lock());
    writeln!(out, "{}", json!({ "shots": plan })).expect("standard output");
    for (shot, scene) in scenes.iter().enumerate() {
        let people = plan[shot]["people"].as_array().into_iter().flatten();
        for (i, who) in people.enumerate() {
            let mut pixels = Vec::new();
            for part in 0.. {
                if pixels.len() >= SKIN_PIXELS {
                    break;
                }
                let again = Scene {
                    seed: scene.seed + 10_000 * part,
                    ..scene.clone()
                };
                pixels.extend(again.skin(i));
            }
            pixels.truncate(SKIN_PIXELS);
            let sample = json!({ "pixels": coded(pixels), "frames": [] });
            writeln!(out, "{} {} {sample}", shot + 1, who).expect("standard output");
        }
        let picture: Vec<_> = scene
            .picture()
            .into_iter()
            .map(|pixel| json!({ "rgb": coded(vec![pixel.rgb])[0], "skin": pixel.skin }))
            .collect();
        let sample = json!({ "sample": picture });
        writeln!(out, "{} 0 {sample}", shot + 1).expect("standard output");
    }
}

/// As a camera of 10 bits and narrow range hands them on.
fn coded(pixels: Vec<[f32; 3]>) -> Vec<[f32; 3]> {
    pixels
        .into_iter()
        .map(|pixel| pixel.map(|v| (v * 876.0).round() / 876.0))
        .collect()
}
