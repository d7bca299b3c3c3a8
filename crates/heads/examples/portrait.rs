//! Renders portraits of the cast to PNG, for looking at: `portrait DATA OUT [PERSON|all] [MOOD] [WIDTH] [SAMPLES] [close]`.

use std::path::Path;
use std::time::Instant;

use inkarnat_heads::demo::{Mood, daylight, portrait};
use inkarnat_heads::{Baked, HeadData, ShadeTables, Size, cast, render, shade};

fn encode(x: f32) -> u8 {
    // A soft shoulder from 0.75 on, then the sRGB curve.
    let x = x.max(0.0);
    let y = if x < 0.75 { x } else { 0.75 + 0.25 * (1.0 - (-(x - 0.75) / 0.25).exp()) };
    let v = if y <= 0.003_130_8 { 12.92 * y } else { 1.055 * y.powf(1.0 / 2.4) - 0.055 };
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
    let size = Size { width, height: width * 9 / 16, samples: get(5, "2").parse()? };
    let people = cast();
    for (k, p) in people.iter().enumerate() {
        if who != "all" && !who.split(',').any(|w| p.name.eq_ignore_ascii_case(w)) {
            continue;
        }
        let start = Instant::now();
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
        for mood in moods {
            let mut scene = portrait(k, mood, 16.0 / 9.0, size.height);
            scene.people[0].person = 0;
            match get(6, "").as_str() {
                "close" => {
                    scene.camera.height = 2.5;
                    scene.camera.target.y = 7.12;
                    scene.camera.position.y = 7.12;
                }
                "eyes" => {
                    scene.camera.height = 1.0;
                    scene.camera.target.y = 7.2;
                    scene.camera.position.y = 7.2;
                }
                "mouth" => {
                    scene.camera.height = 1.3;
                    scene.camera.target.y = 6.65;
                    scene.camera.position.y = 6.65;
                    scene.people[0].expression.open = 0.5;
                }
                "wide" => scene.camera.height = 12.0,
                "turn" => scene.people[0].head.x = 0.85,
                "profile" => {
                    scene.people[0].body_yaw = 0.8;
                    scene.people[0].head.x = 0.7;
                }
                _ => {}
            }
            let start = Instant::now();
            let buffers = render(&data, &scene, &baked, size)?;
            let rendered = start.elapsed();
            let start = Instant::now();
            let tables = ShadeTables::new(&buffers, &daylight);
            let made = start.elapsed();
            let start = Instant::now();
            let picture = shade(&buffers, &tables);
            eprintln!("{} {mood:?}: bake {bake:?} render {rendered:?} tables {made:?} shade {:?}", p.name, start.elapsed());
            let bytes: Vec<u8> = picture.iter().flatten().map(|x| encode(x * 1.15)).collect();
            let path = format!("{out}/{}_{}_{mood:?}{}.png", k, p.name, get(6, ""));
            image::save_buffer(path, &bytes, size.width as u32, size.height as u32, image::ColorType::Rgb8)?;
        }
    }
    Ok(())
}
