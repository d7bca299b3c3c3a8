//! Renders portraits of the cast to PNG, for looking at: `portrait DATA OUT [PERSON|all] [MOOD] [WIDTH] [SAMPLES] [VIEW,…] [cap|parts]`.
//! With `parts` the parts of the face that are read are tinted.

use std::path::Path;
use std::time::Instant;

use inkarnat_heads::demo::{Mood, daylight, portrait};
use inkarnat_heads::{
    Baked, Covering, Foreground, HeadData, Pigment, ReadPart, ShadeTables, Size, cast, render,
    shade,
};

fn encode(x: f32) -> u8 {
    // A soft shoulder from 0.75 on, then the sRGB curve.
    let x = x.max(0.0);
    let y = if x < 0.75 {
        x
    } else {
        0.75 + 0.25 * (1.0 - (-(x - 0.75) / 0.25).exp())
    };
    let v = if y <= 0.003_130_8 {
        12.92 * y
    } else {
        1.055 * y.powf(1.0 / 2.4) - 0.055
    };
    (v * 255.0 + 0.5) as u8
}

#[expect(clippy::print_stderr, reason = "an example that reports its times")]
fn main() -> Result<(), Box<dyn std::error::Error>> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let get = |i: usize, d: &str| args.get(i).cloned().unwrap_or_else(|| d.into());
    let start = Instant::now();
    let data = HeadData::load(Path::new(&get(0, ".cache/heads")))?;
    eprintln!("load {:?}", start.elapsed());
    let out = get(1, "/tmp");
    let who = get(2, "all");
    let width: usize = get(4, "1280").parse()?;
    let size = Size {
        width,
        height: width * 9 / 16,
        samples: get(5, "2").parse()?,
    };
    let people = cast();
    for (k, p) in people.iter().enumerate() {
        if who != "all" && !who.split(',').any(|w| p.name.eq_ignore_ascii_case(w)) {
            continue;
        }
        let start = Instant::now();
        let mut p = p.clone();
        if get(7, "") == "cap" {
            p.covering = Some(Covering::Cap([0.10, 0.03, 0.03]));
        }
        let p = &p;
        let baked = [Baked::new(&data, p)?];
        let bake = start.elapsed();
        let moods = match get(3, "each").as_str() {
            "window" => vec![Mood::SoftWindow],
            "lamp" => vec![Mood::Lamp],
            "sun" => vec![Mood::Sun],
            "flat" => vec![Mood::Flat],
            "every" => vec![Mood::SoftWindow, Mood::Lamp, Mood::Sun, Mood::Flat],
            _ => vec![[Mood::SoftWindow, Mood::Flat, Mood::Sun, Mood::Lamp][k % 4]],
        };
        for (mood, view) in moods.iter().flat_map(|m| {
            get(6, "")
                .split(',')
                .map(|v| (*m, v.to_string()))
                .collect::<Vec<_>>()
        }) {
            let mut scene = portrait(k, mood, 16.0 / 9.0, size.height);
            scene.people[0].person = 0;
            let mut look = |y: f32, height: f32| {
                scene.camera.height = height;
                scene.camera.target.y = y;
                scene.camera.position.y = y;
            };
            match view.as_str() {
                "close" => look(7.12, 2.5),
                "eyes" => look(7.2, 1.0),
                "mouth" => {
                    look(6.65, 1.3);
                    scene.people[0].expression.open = 0.5;
                }
                "wide" => {
                    look(6.9, 14.0);
                    scene.foreground = Some(Foreground::hiding(
                        &scene.camera,
                        scene.people[0].position,
                        4.1,
                        Pigment::Colour([0.14, 0.07, 0.035]),
                        [0.45, 0.1, 0.15, 0.0, 0.0, 0.0, 0.0, 0.0],
                    ));
                }
                "turn" => scene.people[0].head.x = 0.85,
                "left" => scene.people[0].head.x = -0.85,
                "profile" => {
                    scene.people[0].body_yaw = 0.8;
                    scene.people[0].head.x = 0.7;
                }
                "back" => {
                    look(6.0, 5.0);
                    scene.people[0].body_yaw = 2.2;
                    scene.people[0].head.x = -0.66;
                }
                "under" => {
                    look(4.9, 3.0);
                    scene.people[0].body_yaw = 2.2;
                    scene.people[0].head.x = -0.66;
                }
                "blink" => scene.people[0].expression.blink = 1.0,
                "talk" => scene.people[0].expression.open = 0.5,
                _ => {}
            }
            let times = if view == "bench" { 8 } else { 1 };
            let mut start = Instant::now();
            let mut buffers = render(&data, &scene, &baked, size)?;
            let rendered = start.elapsed();
            let tables = ShadeTables::new(&buffers, &daylight);
            start = Instant::now();
            let mut picture = shade(&buffers, &tables);
            let shaded = start.elapsed();
            start = Instant::now();
            for _ in 1..times {
                buffers = render(&data, &scene, &baked, size)?;
                picture = shade(&buffers, &tables);
            }
            let mean = start.elapsed() / (times - 1).max(1);
            eprintln!(
                "{} {mood:?} {view}: bake {bake:?} render {rendered:?} shade {shaded:?} mean {mean:?}",
                p.name
            );
            if get(7, "") == "parts" {
                for part in ReadPart::ALL {
                    for (p, c) in picture.iter_mut().zip(buffers.read_coverage(0, part)) {
                        p[part as usize % 3] += 0.25 * c;
                    }
                }
            }
            let bytes: Vec<u8> = picture.iter().flatten().map(|x| encode(x * 1.15)).collect();
            let path = format!("{out}/{k}_{}_{mood:?}{view}.png", p.name);
            image::save_buffer(
                path,
                &bytes,
                size.width as u32,
                size.height as u32,
                image::ColorType::Rgb8,
            )?;
        }
    }
    Ok(())
}
