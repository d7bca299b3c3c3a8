//! Makes the demo film: `film --to DIRECTORY [--data .cache/heads] [--height 720] [--only PART-OF-NAME,…] [--stills DIRECTORY] [--masks]`.
//!
//! Camera files come into `clips/`, cut lists and the finished picture beside them, the truth into `truth/`. What is
//! there already from the same scenario is kept. With `--masks` only the masks of the truth are written, again, of takes
//! that are there; with `--stills` the middle frame of every take is written instead, as
//! recorded and below it as under the light of reference.
#![expect(
    clippy::print_stdout,
    clippy::print_stderr,
    reason = "a program that talks on its terminal"
)]

use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::Instant;

use inkarnat_heads::{Baked, HeadData, Size, cast};
use inkarnat_testkit::film::lists::{RECORD_START, edl, otio};
use inkarnat_testkit::film::movie::MovieError;
use inkarnat_testkit::film::program::{BARS, LEADER, join};
use inkarnat_testkit::film::scenario::{Take, Use, cut, takes};
use inkarnat_testkit::film::shooting::{middle_masks, reel, shoot, still};
use inkarnat_testkit::film::{RATE, timecode};
use rayon::prelude::*;
use serde_json::{Value, json};

/// Raised whenever the renderer or the cameras change what a take looks like, or its truth holds more; the takes and
/// their cast are compared.
const VERSION: u32 = 6;
const TITLE: &str = "THE SPARE KEY";

struct Arguments {
    to: PathBuf,
    data: PathBuf,
    height: usize,
    only: Option<String>,
    stills: Option<PathBuf>,
    masks: bool,
}

fn arguments() -> Result<Arguments, MovieError> {
    let mut result = Arguments {
        to: PathBuf::new(),
        data: PathBuf::from(".cache/heads"),
        height: 720,
        only: None,
        stills: None,
        masks: false,
    };
    let mut rest = std::env::args().skip(1);
    while let Some(word) = rest.next() {
        if word == "--masks" {
            result.masks = true;
            continue;
        }
        let value = rest
            .next()
            .ok_or(MovieError(format!("{word} needs a value")))?;
        match word.as_str() {
            "--to" => result.to = value.into(),
            "--data" => result.data = value.into(),
            "--only" => result.only = Some(value),
            "--stills" => result.stills = Some(value.into()),
            "--height" => {
                result.height = value
                    .parse()
                    .ok()
                    .filter(|h| (180..=2160).contains(h) && h % 18 == 0)
                    .ok_or(MovieError(format!(
                        "--height {value}: expected a multiple of 18 from 180 to 2160"
                    )))?;
            }
            _ => {
                return Err(MovieError(format!(
                    "unknown argument {word:?}; expected --to DIRECTORY, --data DIRECTORY, --height PIXELS, --only PART-OF-NAME,… --stills DIRECTORY or --masks"
                )));
            }
        }
    }
    if result.to.as_os_str().is_empty() && result.stills.is_none() {
        return Err(MovieError("expected --to DIRECTORY".into()));
    }
    Ok(result)
}

fn io(path: &Path) -> impl Fn(std::io::Error) -> MovieError {
    let name = path.display().to_string();
    move |e| MovieError(format!("{name}: {e}"))
}

fn write(path: &Path, bytes: &[u8]) -> Result<(), MovieError> {
    let part = path.with_extension("part");
    std::fs::write(&part, bytes)
        .and_then(|()| std::fs::rename(&part, path))
        .map_err(io(path))
}

/// A plain 8-bit grey picture (portable graymap).
fn write_mask(path: &Path, coverage: &[f32], width: usize) -> Result<(), MovieError> {
    let mut bytes = format!("P5 {width} {} 255\n", coverage.len() / width).into_bytes();
    bytes.extend(
        coverage
            .iter()
            .map(|c| (c.clamp(0.0, 1.0) * 255.0 + 0.5) as u8),
    );
    write(path, &bytes)
}

fn key(take: &Take, height: usize) -> String {
    let cast = cast();
    let people: Vec<_> = take.people.iter().map(|p| &cast[*p]).collect();
    format!("{VERSION} {height} {take:?} {people:?}\n")
}

fn run() -> Result<(), MovieError> {
    let arguments = arguments()?;
    if let Some(directory) = &arguments.stills {
        return stills(directory, &arguments);
    }
    let (clips, truth) = (arguments.to.join("clips"), arguments.to.join("truth"));
    for directory in [&clips, &truth] {
        std::fs::create_dir_all(directory).map_err(io(directory))?;
    }
    let size = size_of(&arguments);
    let wanted = wanted(&arguments);
    if arguments.masks {
        return masks(&wanted, &arguments, size, &truth);
    }
    let fresh = |t: &Take| {
        let known = std::fs::read_to_string(truth.join(format!("{}.key", t.name)));
        known.is_ok_and(|k| k == key(t, size.height))
            && clips.join(format!("{}.mov", t.name)).exists()
    };
    let missing: Vec<&Take> = wanted.iter().filter(|t| !fresh(t)).collect();
    if !missing.is_empty() {
        shoot_all(&missing, &arguments, size, (&clips, &truth))?;
    }
    // The truth of some takes alone holds the shots that use them.
    let cut: Vec<Use> = cut()
        .into_iter()
        .filter(|u| wanted.iter().any(|t| t.name == u.take))
        .collect();
    finish(
        &arguments.to,
        &cut,
        (&clips, &truth),
        arguments.only.is_none(),
        (size.width, size.height),
    )
}

fn size_of(arguments: &Arguments) -> Size {
    Size {
        width: arguments.height * 16 / 9,
        height: arguments.height,
        samples: 2,
    }
}

fn wanted(arguments: &Arguments) -> Vec<Take> {
    let parts = arguments.only.as_deref().unwrap_or_default();
    takes()
        .into_iter()
        .filter(|t| parts.split(',').any(|part| t.name.contains(part)))
        .collect()
}

/// The renderer's data, the people of some takes by their place in the cast, and those people ready for it.
fn company(
    takes: &[&Take],
    arguments: &Arguments,
) -> Result<(HeadData, Vec<usize>, Vec<Baked>), MovieError> {
    let data = HeadData::load(&arguments.data).map_err(|e| MovieError(e.to_string()))?;
    let mut who: Vec<usize> = takes
        .iter()
        .flat_map(|t| t.people.iter().copied())
        .collect();
    who.sort_unstable();
    who.dedup();
    let cast = cast();
    let baked: Vec<Baked> = who
        .par_iter()
        .map(|p| Baked::new(&data, &cast[*p]).map_err(|e| MovieError(e.to_string())))
        .collect::<Result<_, _>>()?;
    Ok((data, who, baked))
}

fn stills(directory: &Path, arguments: &Arguments) -> Result<(), MovieError> {
    std::fs::create_dir_all(directory).map_err(io(directory))?;
    let takes = wanted(arguments);
    let (data, who, baked) = company(&takes.iter().collect::<Vec<_>>(), arguments)?;
    let index_of = |person: usize| who.iter().position(|p| *p == person).unwrap_or(0);
    let size = size_of(arguments);
    for take in &takes {
        let pair = still(take, take.frames / 2, (&data, &baked), &index_of, size)?;
        let mut bytes = format!("P6 {} {} 255\n", size.width, 2 * size.height).into_bytes();
        for picture in &pair {
            for i in 0..size.width * size.height {
                bytes.extend(
                    picture
                        .pixel(i)
                        .map(|v| (v.clamp(0.0, 1.0) * 255.0 + 0.5) as u8),
                );
            }
        }
        write(&directory.join(format!("{}.ppm", take.name)), &bytes)?;
    }
    Ok(())
}

/// Masks of takes whose camera files stay as they are.
fn masks(
    takes: &[Take],
    arguments: &Arguments,
    size: Size,
    truth: &Path,
) -> Result<(), MovieError> {
    let (data, who, baked) = company(&takes.iter().collect::<Vec<_>>(), arguments)?;
    let index_of = |person: usize| who.iter().position(|p| *p == person).unwrap_or(0);
    for take in takes {
        let mut mask = mask_writer(take, truth, size);
        middle_masks(take, (&data, &baked), &index_of, size, &mut mask)?;
    }
    Ok(())
}

/// Writes masks of a take beside its truth.
fn mask_writer(
    take: &Take,
    truth: &Path,
    size: Size,
) -> impl FnMut(&str, usize, &[f32]) -> Result<(), MovieError> {
    move |what, person, coverage| {
        let path = truth.join(format!("{}_{what}{person}.pgm", take.name));
        write_mask(&path, coverage, size.width)
    }
}

fn shoot_all(
    missing: &[&Take],
    arguments: &Arguments,
    size: Size,
    (clips, truth): (&Path, &Path),
) -> Result<(), MovieError> {
    let start = Instant::now();
    let (data, who, baked) = company(missing, arguments)?;
    let index_of = |person: usize| who.iter().position(|p| *p == person).unwrap_or(0);
    println!(
        "{} people ready after {:.0} s",
        who.len(),
        start.elapsed().as_secs_f64()
    );
    for take in missing {
        let start = Instant::now();
        let mut mask = mask_writer(take, truth, size);
        let path = clips.join(format!("{}.mov", take.name));
        let found = shoot(take, &path, (&data, &baked), &index_of, size, &mut mask)?;
        let text = serde_json::to_string(&found).map_err(|e| MovieError(e.to_string()))?;
        write(&truth.join(format!("{}.json", take.name)), text.as_bytes())?;
        // Last, so that a take counts as made only when all of it is there.
        write(
            &truth.join(format!("{}.key", take.name)),
            key(take, size.height).as_bytes(),
        )?;
        println!(
            "{}: {} frames in {:.0} s",
            take.name,
            take.frames,
            start.elapsed().as_secs_f64()
        );
    }
    Ok(())
}

/// The film's truth; of the whole film also its cut lists and the finished picture.
fn finish(
    to: &Path,
    cut: &[Use],
    (clips, truth): (&Path, &Path),
    whole: bool,
    size: (usize, usize),
) -> Result<(), MovieError> {
    let start = Instant::now();
    let mut record = 0;
    let mut shots = Vec::new();
    for (number, u) in cut.iter().enumerate() {
        let path = truth.join(format!("{}.json", u.take));
        let text = std::fs::read_to_string(&path).map_err(io(&path))?;
        let take: Value = serde_json::from_str(&text)
            .map_err(|e| MovieError(format!("{}: {e}", path.display())))?;
        shots.push(json!({
            "shot": number + 1,
            "scene": u.scene,
            "setup": u.take,
            "reel": reel(&inkarnat_testkit::film::scenario::take(u.take)),
            "clip": format!("clips/{}.mov", u.take),
            "purpose": u.purpose,
            "source_in": u.from,
            "source_out": u.from + u.frames,
            "record_in": record,
            "record_out": record + u.frames,
            "film_in": BARS + LEADER + record,
            "dissolve": u.dissolve,
            "title": u.title,
            "lights": take["lights"],
            "camera": take["camera"],
            "people": people_of(&take, u.from, u.frames),
        }));
        record += u.frames;
    }
    let film = json!({
        "title": TITLE,
        "note": "An invented scenario with an invented cast; every picture is rendered.",
        "rate": RATE,
        "width": size.0,
        "height": size.1,
        "bars": [0, BARS],
        "leader": [BARS, BARS + LEADER],
        "record_start": timecode(RECORD_START),
        "shots": shots,
    });
    let text = serde_json::to_string_pretty(&film).map_err(|e| MovieError(e.to_string()))?;
    write(&truth.join("film.json"), text.as_bytes())?;
    if !whole {
        return Ok(());
    }
    write(&to.join("the_spare_key.edl"), edl(TITLE, cut).as_bytes())?;
    let list =
        serde_json::to_string_pretty(&otio(TITLE, cut)).map_err(|e| MovieError(e.to_string()))?;
    write(&to.join("the_spare_key.otio"), list.as_bytes())?;
    let master = to.join("the_spare_key.mov");
    join(cut, clips, &master, size)?;
    println!(
        "{} shots, {} frames and the finished picture joined in {:.0} s",
        cut.len(),
        record + BARS + LEADER,
        start.elapsed().as_secs_f64()
    );
    Ok(())
}

/// People of a shot: their patch at its first readable frame, and mean readings over the shot.
fn people_of(take: &Value, from: u64, frames: u64) -> Vec<Value> {
    let list = |v: &Value| v.as_array().cloned().unwrap_or_default();
    list(&take["people"])
        .iter()
        .map(|person| {
            let patches = list(&person["patch"]);
            let first = (from..from + frames).find(|f| patches.get(*f as usize).is_some_and(|p| !p.is_null()));
            let inside: Vec<usize> = list(&person["read_frames"])
                .iter()
                .enumerate()
                .filter(|(_, f)| f.as_u64().is_some_and(|f| (from..from + frames).contains(&f)))
                .map(|(n, _)| n)
                .collect();
            let mean = |what: &str| {
                let readings = list(&person[what]);
                let of = |get: &dyn Fn(&Value) -> Option<f64>| {
                    let values: Vec<f64> = inside.iter().filter_map(|n| get(&readings[*n])).collect();
                    (!values.is_empty()).then(|| values.iter().sum::<f64>() / values.len() as f64)
                };
                json!({
                    "level_pct": of(&|r| r["level_pct"].as_f64()),
                    "hue_deg": of(&|r| r["hue_deg"].as_f64()),
                    "lab": [of(&|r| r["lab"][0].as_f64()), of(&|r| r["lab"][1].as_f64()), of(&|r| r["lab"][2].as_f64())],
                })
            };
            json!({
                "person": person["person"],
                "patch_frame": first,
                "patch": first.map(|f| patches[f as usize].clone()),
                "as_shot": mean("as_shot"),
                "wanted": mean("wanted"),
            })
        })
        .collect()
}

fn main() -> ExitCode {
    match run() {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => {
            eprintln!("film: {why}");
            ExitCode::FAILURE
        }
    }
}
