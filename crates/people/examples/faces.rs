//! Prints and draws what is found in pictures: `faces MODELS_DIR OUTPUT_DIR PICTURE…`.
#![allow(clippy::print_stdout)]

use inkarnat_color::Rgb;
use inkarnat_people::{FindSettings, Models};
use std::path::Path;
use std::time::Instant;

fn main() -> Result<(), Box<dyn std::error::Error>> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [models, output, pictures @ ..] = arguments.as_slice() else {
        return Err("usage: faces MODELS_DIR OUTPUT_DIR PICTURE…".into());
    };
    let models = Models::load(Path::new(models))?;
    let mut all = Vec::new();
    for path in pictures {
        let mut image = image::open(path)?.to_rgb8();
        let mut picture = Rgb::new(image.width() as usize, image.height() as usize);
        for (index, pixel) in image.pixels().enumerate() {
            picture.set_pixel(index, pixel.0.map(|code| f32::from(code) / 255.0));
        }
        let started = Instant::now();
        let faces = models.find(&picture, &FindSettings::default())?;
        let found = started.elapsed();
        println!("{path}: {} faces in {found:.1?}", faces.len());
        let boxes: Vec<_> = faces.iter().map(|face| face.bounds).collect();
        println!("boxes {boxes:?}");
        for face in &faces {
            let started = Instant::now();
            let mesh = models.mesh(&picture, face)?;
            let meshed = started.elapsed();
            let started = Instant::now();
            let embedding = models.embedding(&picture, &mesh)?;
            println!(
                "  score {:.2} size {:.0} turned {:.0} mesh {:.2} yaw {:.0} ({meshed:.1?}, embedding {:.1?})",
                face.score,
                face.size(),
                face.turned_deg,
                mesh.score,
                mesh.yaw_deg(),
                started.elapsed()
            );
            all.push((path.clone(), embedding));
            for point in &mesh.points {
                let (x, y) = (point[0].round(), point[1].round());
                if x >= 0.0
                    && y >= 0.0
                    && x < f64::from(image.width())
                    && y < f64::from(image.height())
                {
                    image.put_pixel(x as u32, y as u32, image::Rgb([0, 255, 0]));
                }
            }
        }
        let name = Path::new(path)
            .file_stem()
            .unwrap_or_default()
            .to_string_lossy()
            .to_string();
        image.save(Path::new(output).join(format!("{name}.png")))?;
    }
    for (i, (a, first)) in all.iter().enumerate() {
        let row: Vec<String> = all[..i]
            .iter()
            .map(|(_, second)| format!("{:.2}", first.distance(second)))
            .collect();
        println!(
            "{:>3} {} {}",
            i,
            Path::new(a)
                .file_name()
                .unwrap_or_default()
                .to_string_lossy(),
            row.join(" ")
        );
    }
    Ok(())
}
