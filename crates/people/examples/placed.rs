//! Where faces and their skin are found, as numbers: `placed MODELS_DIR FRAMES_DIR FRAME`. FRAMES_DIR holds the numbered pictures
//! of one shot. Prints one JSON: for each face its cheeks' middles and its width in pixels, frame by frame, and the pixels of
//! chosen skin in frame FRAME; or, with the word `all` for FRAME, what is read in every frame. `script/film/placed.py` holds them
//! against the truth of the demo film, `script/film/steady.py` looks at how steady the readings are.
#![allow(clippy::print_stdout, reason = "a program that prints")]

use inkarnat_color::{Rgb, WorkingSpace};
use inkarnat_people::{
    FaceFollower, FaceTrack, FollowSettings, Frame, Models, Outline, Part, Side, SideLights,
    SkinRule, choose_skin, face_light, side_lights, skin_region,
};
use inkarnat_reading::read_frame;
use serde_json::{Value, json};
use std::path::{Path, PathBuf};

/// No frame has this number.
const ALL: u64 = u64::MAX;

type Failure = Box<dyn std::error::Error>;

fn main() -> Result<(), Failure> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [models, directory, frame] = arguments.as_slice() else {
        return Err("usage: placed MODELS_DIR FRAMES_DIR FRAME|all".into());
    };
    let models = Models::load(Path::new(models))?;
    let marked: u64 = if frame == "all" { ALL } else { frame.parse()? };
    let mut frames: Vec<PathBuf> = std::fs::read_dir(directory)?
        .map(|entry| entry.map(|e| e.path()))
        .collect::<Result<_, _>>()?;
    frames.sort();
    let mut follower = FaceFollower::new(FollowSettings::default());
    for (number, path) in (0..).zip(&frames) {
        let last = number + 1 == frames.len() as u64;
        follower.next(&models, number, &load(path)?, last)?;
    }
    let faces = follower
        .finish()
        .into_iter()
        .flatten()
        .map(|track| placed(&frames, &track, marked))
        .collect::<Result<Vec<Value>, Failure>>()?;
    println!("{}", json!({"frames": frames.len(), "faces": faces}));
    Ok(())
}

fn load(path: &Path) -> Result<Rgb, Failure> {
    let image = image::open(path)?.to_rgb8();
    let mut picture = Rgb::new(image.width() as usize, image.height() as usize);
    for (index, pixel) in image.pixels().enumerate() {
        picture.set_pixel(index, pixel.0.map(|code| f32::from(code) / 255.0));
    }
    Ok(picture)
}

/// The middle of a part's area.
fn middle(outline: &Outline, part: Part) -> [f64; 2] {
    let points = outline.part(part);
    let (mut area, mut sum) = (0.0, [0.0; 2]);
    for (a, b) in points.iter().zip(points.iter().cycle().skip(1)) {
        let cross = a[0] * b[1] - b[0] * a[1];
        area += cross;
        sum[0] += (a[0] + b[0]) * cross;
        sum[1] += (a[1] + b[1]) * cross;
    }
    sum.map(|s| s / (3.0 * area))
}

fn placed(frames: &[PathBuf], track: &FaceTrack, marked: u64) -> Result<Value, Failure> {
    let rule = SkinRule::default();
    let held: Vec<(u64, &Outline)> = track
        .numbers
        .iter()
        .zip(&track.frames)
        .filter_map(|(frame, state)| Some((*frame, state.held()?)))
        .collect();
    let mut sides: Vec<SideLights> = Vec::new();
    for (frame, outline) in held.iter().step_by(5) {
        let picture = load(&frames[*frame as usize])?;
        if let Some(region) = skin_region(outline, picture.width, picture.height) {
            sides.push(side_lights(
                &picture.region(region),
                region,
                outline,
                &rule,
            )?);
        }
    }
    let light = face_light(&sides, WorkingSpace::default());
    let mut chosen = Vec::new();
    let mut parts = Vec::new();
    if let (Some(light), Some((frame, outline))) = (
        &light,
        held.iter().min_by_key(|(frame, _)| frame.abs_diff(marked)),
    ) && *frame == marked
    {
        let picture = load(&frames[marked as usize])?;
        if let Some(region) = skin_region(outline, picture.width, picture.height)
            && let Ok(skin) = choose_skin(
                &picture.region(region),
                region,
                outline,
                light.key,
                &rule,
                &[],
            )
        {
            let of = skin.chosen.region;
            chosen = skin
                .chosen
                .pixels
                .iter()
                .map(|i| {
                    let (x, y) = (*i as usize % of.width, *i as usize / of.width);
                    (of.y + y) * picture.width + of.x + x
                })
                .collect();
            parts = skin.parts.iter().map(|part| format!("{part:?}")).collect();
        }
    }
    let mut read = Vec::new();
    if let (Some(light), true) = (&light, marked == ALL) {
        for (frame, outline) in &held {
            let picture = load(&frames[*frame as usize])?;
            let Some(region) = skin_region(outline, picture.width, picture.height) else {
                continue;
            };
            let Ok(skin) = choose_skin(
                &picture.region(region),
                region,
                outline,
                light.key,
                &rule,
                &[],
            ) else {
                continue;
            };
            let chosen = picture.region(skin.chosen.region);
            let reading = read_frame(*frame, &chosen, &skin.chosen, WorkingSpace::default())?;
            read.push(json!({
                "frame": frame,
                "level_pct": 100.0 * reading.mean.y,
                "hue_deg": reading.mean.chroma().hue().map(|hue| hue.degrees()),
                "pixels": skin.chosen.pixels.len(),
                "parts": skin.parts.len(),
                "width": outline.width,
                "yaw_deg": outline.yaw_deg,
            }));
        }
    }
    Ok(json!({
        "read": read,
        "key": light.map(|light| format!("{:?}", light.key)),
        "held": held.iter().map(|(frame, outline)| json!({
            "frame": frame,
            "width": outline.width,
            "right": middle(outline, Part::Cheek(Side::Right)),
            "left": middle(outline, Part::Cheek(Side::Left)),
        })).collect::<Vec<_>>(),
        "parts": parts,
        "chosen": chosen,
    }))
}
