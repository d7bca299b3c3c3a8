//! Where faces and their skin are found, as numbers: `placed MODELS_DIR FRAMES_DIR FRAME [MASKS…]`. FRAMES_DIR holds the numbered pictures
//! of one shot. Prints one JSON: for each face its cheeks' middles and its width in pixels, frame by frame, and the pixels of
//! chosen skin in frame FRAME; or, with the word `all` for FRAME, what is read in every frame. `script/film/placed.py` holds them
//! against the truth of the demo film, `script/film/steady.py` looks at how steady the readings are.
//!
//! Each of MASKS is `FOREHEAD,CHEEK,FLANK,WIDTH`: three grey pictures of where the parts of one face truly are in frame FRAME, and
//! the face's width in pixels. What the same rule chooses inside them is printed as `ruled`.
#![allow(clippy::print_stdout, reason = "a program that prints")]

use inkarnat_color::{Region, Rgb, WorkingSpace};
use inkarnat_people::{
    FaceFollower, FaceTrack, FollowSettings, Frame, Models, Outline, Part, Side, SideLights,
    SkinRule, choose_skin, choose_skin_in, face_light, side_lights, skin_region,
};
use inkarnat_reading::{Chosen, read_frame};
use serde_json::{Value, json};
use std::path::{Path, PathBuf};

/// No frame has this number.
const ALL: u64 = u64::MAX;

type Failure = Box<dyn std::error::Error>;

fn main() -> Result<(), Failure> {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    let [models, directory, frame, masks @ ..] = arguments.as_slice() else {
        return Err("usage: placed MODELS_DIR FRAMES_DIR FRAME|all [MASKS…]".into());
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
    let ruled = masks
        .iter()
        .map(|masks| ruled(&load(&frames[marked as usize])?, masks))
        .collect::<Result<Vec<_>, Failure>>()?;
    println!(
        "{}",
        json!({"frames": frames.len(), "faces": faces, "ruled": ruled})
    );
    Ok(())
}

/// What the rule chooses inside parts that are given by masks.
fn ruled(picture: &Rgb, masks: &str) -> Result<Vec<usize>, Failure> {
    let [forehead, cheek, flank, width] = masks.split(',').collect::<Vec<_>>()[..] else {
        return Err(format!("masks {masks:?}; expected FOREHEAD,CHEEK,FLANK,WIDTH").into());
    };
    let width: f64 = width.parse()?;
    let masks = [forehead, cheek, flank]
        .map(mask)
        .into_iter()
        .collect::<Result<Vec<Vec<bool>>, Failure>>()?;
    if masks
        .iter()
        .any(|mask| mask.len() != picture.width * picture.height)
    {
        return Err(format!("{forehead}: expected masks of the picture's size").into());
    }
    // Which side it is does not matter to the rule.
    let parts = Part::read(Side::Right);
    let inside = |part: Part, [x, y]: [f64; 2]| {
        let mask = &masks[parts.iter().position(|p| *p == part).unwrap_or(0)];
        let at = y.round() as usize * picture.width + x.round() as usize;
        mask.get(at).copied().unwrap_or(false)
    };
    // As `skin_region`: three standard deviations of the smoothing, a fortieth of the width, around the parts.
    let margin = (3.0 * width / 40.0).ceil() as usize;
    let (mut low, mut high) = ([usize::MAX; 2], [0usize; 2]);
    for (at, _) in masks.iter().flatten().enumerate().filter(|(_, on)| **on) {
        let at = at % (picture.width * picture.height);
        for (k, v) in [at % picture.width, at / picture.width]
            .into_iter()
            .enumerate()
        {
            low[k] = low[k].min(v.saturating_sub(margin));
            high[k] = high[k].max(v + margin + 1);
        }
    }
    let region = Region {
        x: low[0],
        y: low[1],
        width: high[0].min(picture.width).saturating_sub(low[0]),
        height: high[1].min(picture.height).saturating_sub(low[1]),
    };
    if region.area() == 0 {
        return Ok(Vec::new());
    }
    // Nothing that the rule would read there: an empty list says so.
    Ok(choose_skin_in(
        &picture.region(region),
        region,
        &parts,
        inside,
        width,
        &SkinRule::default(),
    )
    .map_or_else(|_| Vec::new(), |chosen| places(&chosen, picture.width)))
}

/// Where a plain 8-bit grey picture (portable graymap) is at least half white.
fn mask(path: &str) -> Result<Vec<bool>, Failure> {
    let bytes = std::fs::read(path)?;
    // Four words and the one white space after each are the header.
    let mut rest = bytes.as_slice();
    let mut words = Vec::new();
    while words.len() < 4 {
        let end = rest
            .iter()
            .position(u8::is_ascii_whitespace)
            .ok_or_else(|| format!("{path}: not a plain grey picture"))?;
        words.push(std::str::from_utf8(&rest[..end])?);
        rest = &rest[end + 1..];
    }
    let [kind, width, height, _] = words[..] else {
        return Err(format!("{path}: not a plain grey picture").into());
    };
    if kind != "P5" || rest.len() != width.parse::<usize>()? * height.parse::<usize>()? {
        return Err(format!("{path}: not a plain grey picture").into());
    }
    Ok(rest.iter().map(|share| *share >= 128).collect())
}

/// Chosen pixels as places in the whole picture, row by row.
fn places(chosen: &Chosen, width: usize) -> Vec<usize> {
    let of = chosen.region;
    chosen
        .pixels
        .iter()
        .map(|i| {
            let (x, y) = (*i as usize % of.width, *i as usize / of.width);
            (of.y + y) * width + of.x + x
        })
        .collect()
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
    let mut parts: Vec<Value> = Vec::new();
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
            chosen = places(&skin.chosen, picture.width);
            parts = skin
                .parts
                .iter()
                .map(|&part| json!({"part": format!("{part:?}"), "corners": outline.part(part)}))
                .collect();
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
