//! Renders the cast for a look at how steadily a face is read: `turned DATA OUT [PERSON,…]`.
//!
//! OUT gets a directory a person and sequence, with numbered pictures (BT.709 signal, 8 bits): `turn`, a head that turns from
//! 45° one way to 45° the other in soft light from the front; `turn_even`, the same in light that comes evenly from the front
//! and both sides, as under an overcast sky; `turn_side`, the same under a big window at the side; `near`, a camera that goes
//! from a close picture to a wide one in the soft light; `behind`, the backs of heads. `script/film/steady.py` reads them.

use std::path::Path;

use glam::vec3;
use inkarnat_heads::demo::{Mood, daylight, light_at, portrait};
use inkarnat_heads::{Ambient, Baked, HeadData, ShadeTables, Size, cast, render, shade};

/// Recommendation ITU-R BT.709-6, item 1.2.
fn signal(light: f32) -> f32 {
    if light < 0.018 {
        4.5 * light
    } else {
        1.099 * light.powf(0.45) - 0.099
    }
}

/// Pictures of a sequence.
const FRAMES: usize = 31;

#[expect(clippy::print_stderr, reason = "an example that says how far it is")]
fn main() -> Result<(), Box<dyn std::error::Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let (Some(data), Some(out)) = (arguments.first(), arguments.get(1)) else {
        return Err("usage: turned DATA OUT [PERSON,…]".into());
    };
    let data = HeadData::load(Path::new(data))?;
    let size = Size::HD720;
    for (k, person) in cast().iter().enumerate() {
        let asked = arguments.get(2).is_none_or(|names| {
            names
                .split(',')
                .any(|name| person.name.eq_ignore_ascii_case(name))
        });
        if !asked {
            continue;
        }
        let baked = [Baked::new(&data, person)?];
        for sequence in ["turn", "turn_even", "turn_side", "near", "behind"] {
            let directory =
                Path::new(out).join(format!("{}_{sequence}", person.name.to_ascii_lowercase()));
            std::fs::create_dir_all(&directory)?;
            for frame in 0..FRAMES {
                let share = frame as f32 / (FRAMES - 1) as f32;
                let mut scene = portrait(k, Mood::SoftWindow, 16.0 / 9.0, size.height);
                scene.people[0].person = 0;
                scene.people[0].head = vec3(0.0, 0.0, 0.0);
                scene.people[0].gaze = glam::Vec2::ZERO;
                scene.people[0].expression = inkarnat_heads::Expression::default();
                if sequence != "turn_side" {
                    // A large source in front and a little above, and a light room.
                    scene.lights = vec![light_at(0.0, 18.0, 16.0, 9.0, 0.62)];
                    scene.ambients = vec![Ambient {
                        light: 0,
                        via: None,
                        up: 0.30,
                        side: 0.28,
                        down: 0.20,
                    }];
                    scene.backdrop_gain = vec![0.6, 0.6];
                }
                if sequence == "turn_even" {
                    scene.lights = [-75.0, 0.0, 75.0]
                        .map(|side| light_at(side, 18.0, 16.0, 9.0, 0.30))
                        .to_vec();
                    scene.ambients = vec![Ambient {
                        light: 0,
                        via: None,
                        up: 0.30,
                        side: 0.28,
                        down: 0.26,
                    }];
                    scene.backdrop_gain = vec![0.6; 4];
                }
                if sequence == "behind" {
                    scene.people[0].body_yaw = std::f32::consts::PI + 1.2 * (share - 0.5);
                }
                let yaw = if sequence == "near" || sequence == "behind" {
                    0.0
                } else {
                    90.0 * share - 45.0
                };
                scene.people[0].head.x = yaw.to_radians();
                scene.people[0].gaze.x = -0.3 * yaw.to_radians();
                if sequence == "near" {
                    // Height of the picture in decimetres, in even steps of its logarithm.
                    scene.camera.height = 2.6 * (8.0f32 / 2.6).powf(share);
                    let y = 7.1 - 0.1 * (scene.camera.height - 2.6);
                    scene.camera.target.y = y;
                    scene.camera.position.y = y;
                }
                let buffers = render(&data, &scene, &baked, size)?;
                let picture = shade(&buffers, &ShadeTables::new(&buffers, &daylight));
                let mut image = image::RgbImage::new(size.width as u32, size.height as u32);
                for (pixel, light) in image.pixels_mut().zip(&picture) {
                    pixel.0 = light.map(|v| (signal(v).clamp(0.0, 1.0) * 255.0).round() as u8);
                }
                image.save(directory.join(format!("{frame:03}.png")))?;
            }
            eprintln!("{} {sequence}", person.name);
        }
    }
    Ok(())
}
