//! Writes scenes of the grid as PPM stills: `stills DIRECTORY NAME-PART [COUNT] [WIDTH]`; the shot, and the truth below it.
#![expect(clippy::print_stdout, reason = "an example talks on standard output")]

use std::io::Write;

use inkarnat_color::Rgb;
use inkarnat_testkit::grid;
use inkarnat_testkit::render::encode;

fn main() -> std::io::Result<()> {
    let mut arguments = std::env::args().skip(1);
    let directory = arguments.next().unwrap_or_else(|| ".".into());
    let part = arguments.next().unwrap_or_default();
    let count = arguments.next().and_then(|c| c.parse().ok()).unwrap_or(4);
    let width: usize = arguments.next().and_then(|c| c.parse().ok()).unwrap_or(640);
    std::fs::create_dir_all(&directory)?;
    let scenes = grid();
    for (number, scene) in scenes
        .iter()
        .filter(|s| s.name.contains(&part))
        .take(count)
        .enumerate()
    {
        let mut pictures = Vec::new();
        for shot in scene.render(width, width * 9 / 16) {
            pictures.push(shot.picture.clone());
            pictures.push(encode(&shot.truth));
        }
        let path = format!("{directory}/{number:02}.ppm");
        println!("{path}: {}", scene.name);
        write(&path, &pictures)?;
    }
    Ok(())
}

fn write(path: &str, pictures: &[Rgb]) -> std::io::Result<()> {
    let (width, height) = (pictures[0].width, pictures[0].height);
    let mut bytes = format!("P6 {width} {} 255\n", height * pictures.len()).into_bytes();
    for picture in pictures {
        for index in 0..width * height {
            bytes.extend(
                picture
                    .pixel(index)
                    .map(|v| (v.clamp(0.0, 1.0) * 255.0 + 0.5) as u8),
            );
        }
    }
    std::fs::File::create(path)?.write_all(&bytes)
}
