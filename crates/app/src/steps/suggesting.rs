//! Setups and scenes as they are suggested: what the editor has grouped stays.

use crate::job::{Job, LookJob, Looked};
use crate::problem::Context;
use crate::steps::cutting::{left_out_of, seen_of, used_of};
use crate::steps::fixing::FixRecord;
use crate::steps::taking::{locate, probe_of};
use crate::steps::transforming::{input_ops, with_input};
use crate::{AppError, Result};
use inkarnat_cut::{Suggested, Thumbnail, ToGroup, camera_of_reel, name_facts, suggest};
use inkarnat_film::{Film, InputKey, Setup, Shot, ShotId, Source, SourceId};

/// Part of the key of every look: raised when looking changes.
const METHOD: u32 = 1;

/// Where a shot is looked at, in quarters of its length.
const QUARTERS: [u64; 3] = [1, 2, 3];

/// Puts shots that the editor has not grouped into the setups and scenes that are suggested, in one
/// decision that can be taken back.
///
/// # Errors
/// If the film cannot be written, or on cancelling.
pub(crate) fn suggest_groups(film: &mut Film, context: Context<'_>) -> Result<()> {
    let shots = film.shots()?;
    if shots.len() < 2 {
        return Ok(());
    }
    let sources = film.sources()?;
    look(film, &shots, &sources, context)?;
    let facts: Vec<ToGroup> = shots
        .iter()
        .map(|shot| facts_of(film, shot, &sources))
        .collect::<Result<_>>()?;
    let found = suggest(&facts);
    let places = places_of(film, &shots, &facts, &found)?;
    if film.arrange(&places)? {
        let (setups, scenes) = (film.setups()?.len(), film.scenes()?.len());
        context.note(
            film.name(),
            &format!(
                "setups and scenes as suggested ({setups} and {scenes}); `inkarnat show` lists them, `inkarnat group` changes them and `inkarnat undo` takes them back"
            ),
        );
    }
    Ok(())
}

/// Looks at every shot that was not looked at before.
fn look(film: &mut Film, shots: &[Shot], sources: &[Source], context: Context<'_>) -> Result<()> {
    for source in sources {
        let mut wanted: Vec<(ShotId, InputKey, [u64; 3])> = Vec::new();
        let mut path = None;
        for shot in shots.iter().filter(|shot| shot.source == source.id) {
            let left_out = left_out_of(source, shot)?;
            let key = with_input(
                film,
                source,
                InputKey::of(&(
                    METHOD,
                    &source.fingerprint,
                    shot.in_frame,
                    shot.out_frame,
                    &left_out,
                )),
            )?;
            if film
                .signature(shot.id)?
                .is_some_and(|(known, _)| known == key)
            {
                continue;
            }
            let frames: Vec<u64> = (shot.in_frame..shot.out_frame)
                .filter(|frame| !left_out.frame(*frame))
                .collect();
            if frames.is_empty() {
                continue;
            }
            if path.is_none() {
                // Reading the shot will say what is wrong with its clip.
                path = locate(film, shot).ok().map(|(_, path)| path);
            }
            let at = QUARTERS.map(|quarter| frames[frames.len() * quarter as usize / 4]);
            wanted.push((shot.id, key, at));
        }
        let Some(path) = path else { continue };
        let job = Job::Look(LookJob {
            path,
            input: input_ops(film, source)?,
            frames: wanted.iter().flat_map(|(_, _, frames)| *frames).collect(),
        });
        let looked: Looked = match context.workers.run(&job, context.cancel, |_, _| {}) {
            Ok(looked) => looked,
            Err(AppError::Cancelled) => return Err(AppError::Cancelled),
            Err(_) => continue,
        };
        for ((shot, key, _), pictures) in wanted.iter().zip(looked.pictures.chunks(QUARTERS.len()))
        {
            let pictures: Vec<Thumbnail> = pictures.iter().flatten().cloned().collect();
            film.keep_signature(*shot, key, &Thumbnail::median(&pictures))?;
        }
    }
    Ok(())
}

fn facts_of(film: &Film, shot: &Shot, sources: &[Source]) -> Result<ToGroup> {
    let used = used_of(shot)?;
    let picture = film
        .signature(shot.id)?
        .and_then(|(_, value)| serde_json::from_value::<Option<Thumbnail>>(value).ok())
        .flatten();
    let source = sources.iter().find(|source| source.id == shot.source);
    if let Some(source) = source
        && seen_of(source)?.is_some()
    {
        // A finished picture is no clip of one camera: its shots are told apart by what they show.
        return Ok(ToGroup {
            source: -shot.id.0,
            camera: Some(format!("picture {}", source.id.0)),
            place: None,
            scene: used.and_then(|used| used.scene),
            picture,
        });
    }
    Ok(ToGroup {
        source: shot.source.0,
        camera: match source {
            // Without a letter two clips may be of any two cameras of one make.
            Some(source) => {
                let Camera { letter, kind } = camera_of(source)?;
                letter.map(|letter| format!("{letter} {kind}"))
            }
            None => None,
        },
        place: source.and_then(|source| name_facts(&stem(source)).place),
        scene: used.and_then(|used| used.scene),
        picture,
    })
}

/// What tells a camera from others.
struct Camera {
    /// Its letter, by the name of its reel or clip.
    letter: Option<String>,
    /// How it records.
    kind: String,
}

fn camera_of(source: &Source) -> Result<Camera> {
    let probe = probe_of(source)?;
    let reel = probe
        .metadata
        .iter()
        .find(|(name, _)| name.to_lowercase().ends_with("reel_name"))
        .and_then(|(_, reel)| camera_of_reel(reel));
    Ok(Camera {
        letter: reel.or_else(|| name_facts(&stem(source)).camera),
        kind: format!(
            "{} {} {}x{} {:.3}",
            probe.codec,
            probe.pixel_format,
            probe.width,
            probe.height,
            probe.rate.value()
        ),
    })
}

fn stem(source: &Source) -> String {
    source
        .path
        .file_stem()
        .map_or_else(String::new, |stem| stem.to_string_lossy().into_owned())
}

/// Setup and scene by name of every shot that is put somewhere.
fn places_of(
    film: &Film,
    shots: &[Shot],
    facts: &[ToGroup],
    found: &[Suggested],
) -> Result<Vec<(ShotId, String, String)>> {
    let by_hand = film.grouped_by_hand()?;
    let hand = |shot: &Shot| by_hand.iter().find(|hand| hand.shot == shot.id);
    let setup_by_hand = |shot: &Shot| hand(shot).is_some_and(|hand| hand.setup);
    let setups = film.setups()?;
    let scenes = film.scenes()?;
    let setup_of = |shot: &Shot| setups.iter().find(|setup| setup.id == shot.setup);
    let scene_of = |setup: &Setup| {
        scenes
            .iter()
            .find(|scene| scene.id == setup.scene)
            .map_or_else(|| film.name().to_owned(), |scene| scene.name.clone())
    };
    let free = |number: usize, of: fn(&Suggested) -> usize| {
        shots
            .iter()
            .zip(found)
            .filter(move |(_, suggested)| of(suggested) == number)
            .map(|(shot, _)| shot)
            .filter(|shot| !setup_by_hand(shot))
    };
    let count = |of: fn(&Suggested) -> usize| found.iter().map(of).max().map_or(0, |n| n + 1);

    // A setup keeps the name that its first shot has already.
    let mut setup_names: Vec<Option<String>> = Vec::new();
    for number in 0..count(|s| s.setup) {
        let known = free(number, |s| s.setup)
            .filter_map(setup_of)
            .map(|setup| setup.name.clone())
            .find(|name| !setup_names.iter().flatten().any(|taken| taken == name));
        let fresh = || {
            free(number, |s| s.setup).next().map(|shot| {
                let taken = |name: &String| {
                    setups.iter().any(|setup| setup.name == *name)
                        || setup_names.iter().flatten().any(|known| known == name)
                };
                numbered(&shot.name, taken)
            })
        };
        setup_names.push(known.or_else(fresh));
    }

    // The scene that every film begins with says nothing; nor is it split where all is one scene.
    let one = count(|s| s.scene) == 1 && facts.iter().all(|facts| facts.scene.is_none());
    let mut scene_names: Vec<String> = Vec::new();
    for number in 0..count(|s| s.scene) {
        let of_scene = || {
            facts
                .iter()
                .zip(found)
                .filter(move |(_, suggested)| suggested.scene == number)
                .map(|(facts, _)| facts)
        };
        let listed = of_scene().find_map(|facts| facts.scene.clone());
        let known = free(number, |s| s.scene)
            .filter_map(setup_of)
            .map(scene_of)
            .find(|name| (one || name != film.name()) && !scene_names.contains(name));
        let place = of_scene().find_map(|facts| facts.place.clone());
        let name = listed.or(known).unwrap_or_else(|| {
            let wanted = place.unwrap_or_else(|| format!("scene {}", number + 1));
            numbered(&wanted, |name| {
                scene_names.contains(name) || scenes.iter().any(|scene| scene.name == *name)
            })
        });
        scene_names.push(name);
    }

    // A setup stays in the scene that the editor put one of its shots into.
    let kept_scene = |setup: &str| {
        shots
            .iter()
            .filter(|shot| hand(shot).is_some_and(|hand| hand.scene))
            .filter_map(setup_of)
            .find(|known| known.name == setup)
            .map(scene_of)
    };
    let mut placed: Vec<(String, String)> = Vec::new();
    let mut places = Vec::new();
    for (shot, suggested) in shots.iter().zip(found) {
        let Some(setup) = setup_names[suggested.setup]
            .clone()
            .filter(|_| !setup_by_hand(shot))
        else {
            continue;
        };
        // All of a setup is in one scene: that of its first shot.
        let scene = match placed.iter().find(|(known, _)| *known == setup) {
            Some((_, scene)) => scene.clone(),
            None => {
                let scene =
                    kept_scene(&setup).unwrap_or_else(|| scene_names[suggested.scene].clone());
                placed.push((setup.clone(), scene.clone()));
                scene
            }
        };
        places.push((shot.id, setup, scene));
    }
    Ok(places)
}

fn numbered(wanted: &str, taken: impl Fn(&String) -> bool) -> String {
    let mut name = wanted.to_owned();
    let mut number = 1;
    while taken(&name) {
        number += 1;
        name = format!("{wanted}-{number}");
    }
    name
}

/// The setup whose fix a setup without a readable face carries: of the same camera in the same scene,
/// the nearest in film order.
pub(crate) fn carried_from(film: &Film, setup: &Setup) -> Result<Option<Setup>> {
    let sources = film.sources()?;
    let camera = |id: SourceId| -> Result<Option<(String, String)>> {
        let Some(source) = sources.iter().find(|source| source.id == id) else {
            return Ok(None);
        };
        let Camera { letter, kind } = camera_of(source)?;
        Ok(letter.map(|letter| (letter, kind)))
    };
    let shots = film.shots()?;
    let setups = film.setups()?;
    let Some(at) = shots.iter().position(|shot| shot.setup == setup.id) else {
        return Ok(None);
    };
    let Some(own) = camera(shots[at].source)? else {
        return Ok(None);
    };
    let mut nearest: Option<(usize, &Setup)> = None;
    for (index, shot) in shots.iter().enumerate() {
        let there = setups
            .iter()
            .find(|s| s.id == shot.setup && s.id != setup.id && s.scene == setup.scene);
        let Some(there) = there else { continue };
        let far = index.abs_diff(at);
        if !shot.kept
            && nearest.is_none_or(|(known, _)| far < known)
            && !film.people_read(shot.id)?.is_empty()
            && camera(shot.source)?.as_ref() == Some(&own)
        {
            nearest = Some((far, there));
        }
    }
    Ok(nearest.map(|(_, there)| there.clone()))
}

/// Whose fix a shot carries in which nobody is read; `None` where there is none to carry.
pub(crate) fn carries(film: &Film, shot: &Shot) -> Result<Option<String>> {
    let Some(setup) = film.setup(shot.setup)? else {
        return Ok(None);
    };
    for other in film.shots()? {
        if other.setup == setup.id && !other.kept && !film.people_read(other.id)?.is_empty() {
            return Ok(Some(setup.name));
        }
    }
    Ok(carried_from(film, &setup)?.map(|setup| setup.name))
}

/// What is said of a shot in which nobody is read and which carries a fix.
pub(crate) fn carrying(setup: &Setup, record: &FixRecord) -> String {
    match &record.carried_from {
        Some(from) => format!(
            "nobody is read in it; it carries the fix of {from}, which is of the same camera in the same scene"
        ),
        None => format!(
            "nobody is read in it; it carries the fix of its setup {}",
            setup.name
        ),
    }
}
