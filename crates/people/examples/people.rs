//! Finds, follows and reads everybody in shots: `people MODELS_DIR OUTPUT_DIR SHOT…`; a shot is a
//! picture or a directory of numbered pictures. Prints what is read of each person; draws the chosen
//! skin of every tenth frame into OUTPUT_DIR, and writes the tracks there as JSON.
#![allow(clippy::print_stdout)]

use inkarnat_color::{Levels, Rgb, WorkingSpace};
use inkarnat_people::{
    FaceFollower, FaceTrack, FollowSettings, Frame, Member, Models, Part, SideLights, SkinRule,
    choose_skin, face_light, group, side_lights, skin_region,
};
use inkarnat_reading::{CodeStep, ShotContext, read_frame, read_shot};
use std::path::{Path, PathBuf};
use std::time::Instant;

type Failure = Box<dyn std::error::Error>;

fn main() -> Result<(), Failure> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [models, output, shots @ ..] = arguments.as_slice() else {
        return Err("usage: people MODELS_DIR OUTPUT_DIR SHOT…".into());
    };
    let models = Models::load(Path::new(models))?;
    let output = Path::new(output);
    let mut members = Vec::new();
    let mut names = Vec::new();
    for (number, shot) in shots.iter().enumerate() {
        let frames = frames(Path::new(shot))?;
        let mut follower = FaceFollower::new(FollowSettings::default());
        let mut spent = 0.0;
        for (number, path) in (0..).zip(&frames) {
            let picture = load(path)?;
            let begun = Instant::now();
            follower.next(&models, number, &picture, number + 1 == frames.len() as u64)?;
            spent += begun.elapsed().as_secs_f64();
        }
        let tracks: Vec<FaceTrack> = follower.finish().into_iter().flatten().collect();
        println!(
            "{shot}: {} frames, {} faces, {:.1} ms a frame",
            frames.len(),
            tracks.len(),
            1e3 * spent / frames.len().max(1) as f64
        );
        let name = Path::new(shot)
            .file_stem()
            .unwrap_or_default()
            .to_string_lossy()
            .to_string();
        std::fs::write(
            output.join(format!("{name}.json")),
            serde_json::to_string(&tracks)?,
        )?;
        for (k, track) in tracks.iter().enumerate() {
            println!(
                " face {k} from {}: {} held, score {:.2}, {} views, spread {:.2}, changes {:.5} of {:.5}{}",
                track.numbers[0],
                track.held(),
                track.score,
                track.views,
                track.spread,
                track.liveliness.lasting,
                track.liveliness.all,
                if track.liveliness.may_be_a_picture() == Some(true) {
                    ", may be a picture"
                } else {
                    ""
                }
            );
            for (span, reason) in track.lost_spans() {
                println!("   lost {}–{}: {reason}", span.start, span.end - 1);
            }
            read(&frames, track, &output.join(format!("{name}_{k}")))?;
            members.push(Member {
                embedding: track.embedding.clone(),
                weight: f64::from(track.views),
                shot: number as u64,
                held: track.held_spans(),
            });
            names.push(format!("{name}/{k}"));
        }
    }
    let groups = group(&members, &[]);
    for (k, person) in groups.people.iter().enumerate() {
        let list: Vec<&str> = person.iter().map(|&m| names[m].as_str()).collect();
        println!("person {k}: {}", list.join(" "));
    }
    for question in &groups.questions {
        println!(
            "one person? {} and {} (distance {:.2})",
            question.first, question.second, question.distance
        );
    }
    Ok(())
}

fn frames(shot: &Path) -> Result<Vec<PathBuf>, Failure> {
    if !shot.is_dir() {
        return Ok(vec![shot.to_path_buf()]);
    }
    let mut all: Vec<PathBuf> = std::fs::read_dir(shot)?
        .map(|entry| entry.map(|e| e.path()))
        .collect::<Result<_, _>>()?;
    all.sort();
    Ok(all)
}

fn load(path: &Path) -> Result<Rgb, Failure> {
    let image = image::open(path)?.to_rgb8();
    let mut picture = Rgb::new(image.width() as usize, image.height() as usize);
    for (index, pixel) in image.pixels().enumerate() {
        picture.set_pixel(index, pixel.0.map(|code| f32::from(code) / 255.0));
    }
    Ok(picture)
}

fn read(frames: &[PathBuf], track: &FaceTrack, drawing: &Path) -> Result<(), Failure> {
    let rule = SkinRule::default();
    let held = || {
        track
            .numbers
            .iter()
            .zip(&track.frames)
            .filter_map(|(frame, state)| Some((*frame, state.held()?)))
    };
    let mut sides: Vec<SideLights> = Vec::new();
    for (frame, outline) in held() {
        let picture = load(&frames[frame as usize])?;
        if let Some(region) = skin_region(outline, picture.width, picture.height) {
            sides.push(side_lights(
                &picture.region(region),
                region,
                outline,
                &rule,
            )?);
        }
    }
    let Some(light) = face_light(&sides, WorkingSpace::default()) else {
        println!("   no side of the face can be read");
        return Ok(());
    };
    if let Some((_, outline)) = held().next() {
        let facing = Part::ALL.map(|part| format!("{:.2}", outline.facing(part)));
        println!("   facing {} yaw {:.0}", facing.join(" "), outline.yaw_deg);
    }
    println!(
        "   key {:?}, key to fill {}, {}",
        light.key,
        light
            .key_to_fill
            .map_or("unknown".into(), |r| format!("{r:.2}")),
        light
            .two_lights
            .map_or("one light".into(), |t| format!("two lights: {t:?}"))
    );
    let (mut readings, mut lost) = (Vec::new(), 0);
    let (mut coverage, mut confidence) = (0.0, 0.0);
    for (count, (frame, outline)) in held().enumerate() {
        let picture = load(&frames[frame as usize])?;
        let Some(region) = skin_region(outline, picture.width, picture.height) else {
            continue;
        };
        match choose_skin(
            &picture.region(region),
            region,
            outline,
            light.key,
            &rule,
            &[],
        ) {
            Ok(skin) => {
                let chosen = picture.region(skin.chosen.region);
                readings.push(read_frame(
                    frame,
                    &chosen,
                    &skin.chosen,
                    WorkingSpace::default(),
                )?);
                if count == 0 {
                    println!("   parts {:?} {:.3?}", skin.parts, skin.model);
                }
                coverage += skin.coverage;
                confidence += skin.confidence;
                if count % 10 == 0 {
                    draw(
                        &frames[frame as usize],
                        outline,
                        &skin,
                        &format!("{}_{frame}.png", drawing.display()),
                    )?;
                }
            }
            Err(reason) => {
                println!("   frame {frame}: {reason}");
                lost += 1;
            }
        }
    }
    let step = CodeStep::of(Levels::Full, 8);
    let context = ShotContext {
        frames_lost: lost,
        ..ShotContext::new(step)
    };
    let n = readings.len().max(1) as f64;
    match read_shot(&readings, &context) {
        Ok(shot) => println!(
            "   level {:.1} ±{:.1} %, hue {}, chroma {:.3}, coverage {:.2}, confidence {:.2}, {} frames, {:.0} pixels",
            shot.level.0,
            shot.level_u,
            shot.hue
                .map_or("none".into(), |h| format!("{:.1}°", h.degrees())),
            shot.chroma,
            coverage / n,
            confidence / n,
            shot.frames_read,
            readings.iter().map(|r| f64::from(r.samples)).sum::<f64>() / n
        ),
        Err(reason) => println!("   no reading: {reason}"),
    }
    Ok(())
}

/// The face three times: as it is, with the regions outlined, with the chosen pixels green.
fn draw(
    path: &Path,
    outline: &inkarnat_people::Outline,
    skin: &inkarnat_people::FaceSkin,
    target: &str,
) -> Result<(), Failure> {
    let image = image::open(path)?.to_rgb8();
    let mut marked = image.clone();
    let region = skin.chosen.region;
    for &index in &skin.chosen.pixels {
        let (x, y) = (index as usize % region.width, index as usize / region.width);
        let pixel = marked.get_pixel_mut((region.x + x) as u32, (region.y + y) as u32);
        pixel.0 = [pixel.0[0] / 3, 255, pixel.0[2] / 3];
    }
    let [l, t, r, b] = outline.bounds();
    let margin = 0.15 * outline.width;
    let hold = |v: f64, limit: u32| v.clamp(0.0, f64::from(limit)) as u32;
    let (x, y) = (
        hold(l - margin, image.width()),
        hold(t - 2.0 * margin, image.height()),
    );
    let (w, h) = (
        hold(r + margin, image.width()).saturating_sub(x).max(1),
        hold(b + margin, image.height()).saturating_sub(y).max(1),
    );
    let zoom = 500.0 / f64::from(h);
    let size = ((f64::from(w) * zoom) as u32 + 1, 500);
    let mut sheet = image::RgbImage::new(2 * size.0, size.1);
    for (k, source) in [&image, &marked].into_iter().enumerate() {
        let part = image::imageops::crop_imm(source, x, y, w, h).to_image();
        let part =
            image::imageops::resize(&part, size.0, size.1, image::imageops::FilterType::Triangle);
        image::imageops::replace(&mut sheet, &part, i64::from(k as u32 * size.0), 0);
    }
    for part in Part::ALL {
        let corners = outline.part(part);
        for (a, b) in corners.iter().zip(corners.iter().cycle().skip(1)) {
            for step in 0..200 {
                let at = |k: usize, o: u32| {
                    (a[k] + (b[k] - a[k]) * f64::from(step) / 200.0 - f64::from(o)) * zoom
                };
                let (px, py) = (at(0, x), at(1, y));
                if px >= 0.0 && py >= 0.0 && px < f64::from(size.0) && py < 500.0 {
                    sheet.put_pixel(px as u32, py as u32, image::Rgb([255, 255, 0]));
                }
            }
        }
    }
    sheet.save(target)?;
    Ok(())
}
