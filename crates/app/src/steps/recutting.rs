//! Taking a cut in: a list is read, linked to clips, and matched with the shots of the film.

use crate::event::Stage;
use crate::problem::{Context, Problem};
use crate::steps::cutting::{Used, counted, rate_of, used_of};
use crate::steps::suggesting::suggest_groups;
use crate::steps::taking::{listed, naming, new_source, probe_of};
use crate::steps::watching::{picture_of, used_in_picture};
use crate::{AppError, Result};
use inkarnat_cut::{
    CutList, Event, Known, Linked, Matched, Rate, SourceFacts, Status, Wanted, link, match_recut,
    plain,
};
use inkarnat_film::{Film, Fingerprint, Place, Shot, Source, SourceId, value_of};
use inkarnat_interchange::{edl, otio};
use serde::Serialize;
use std::path::{Path, PathBuf};

/// A cut to be taken in.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct CutOrder {
    /// The list.
    pub list: PathBuf,
    /// Clips that it may name, beside those that the film knows.
    pub clips: Vec<PathBuf>,
    /// The rate of an EDL, as typed; `None`: that of the clips.
    pub rate: Option<String>,
}

/// What a cut changed.
#[derive(Clone, Debug, Default, PartialEq, Serialize)]
pub struct CutChanges {
    /// The shots of the new cut, in order.
    pub shots: Vec<ShotChange>,
    /// Shots that are no longer in it; what was decided about them waits.
    pub lost: Vec<String>,
}

/// What became of a shot.
#[derive(Clone, Debug, PartialEq, Serialize)]
pub struct ShotChange {
    /// The shot.
    pub shot: String,
    /// What became of it.
    pub status: Status,
    /// Whether it also stands in another place.
    pub moved: bool,
    /// Whether an earlier cut had lost it.
    pub back: bool,
}

/// Takes a cut in. What cannot be linked is a [`Problem`], and the rest goes on.
///
/// # Errors
/// If the list cannot be read, nothing of it can be linked, or the film cannot be written.
pub fn cut_film(
    film: &mut Film,
    order: &CutOrder,
    context: Context<'_>,
    problems: &mut Vec<Problem>,
) -> Result<CutChanges> {
    let name = order.list.to_string_lossy().into_owned();
    context.begun(Stage::Start, &name, (1, 1));
    if !is_list(&order.list) {
        return cut_picture(film, order, context);
    }
    let bytes = std::fs::read(&order.list).map_err(|reason| AppError::File {
        path: order.list.clone(),
        doing: "reading the cut list",
        reason,
        advice: "check the path and its permissions",
    })?;
    add_clips(film, &order.clips, context, problems)?;
    let list = read_list(&order.list, &bytes, || rate_for(film, order))?;
    add_named(film, &order.list, &list, context, problems)?;
    let sources = film.sources()?;
    let usable = usable(&sources, context, problems);
    let facts: Vec<SourceFacts> = usable
        .iter()
        .map(|source| facts_of(source))
        .collect::<Result<_>>()?;
    let mut linked: Vec<(&Event, Linked)> = Vec::new();
    let mut missing = 0;
    for event in &list.events {
        match link(event, &facts) {
            Ok(found) => {
                for note in &found.notes {
                    context.note(&name, &format!("{}: {note}", event.place));
                }
                linked.push((event, found));
            }
            Err(why) => {
                missing += 1;
                let what = said(&event.name, &event.number);
                context.fail(
                    problems,
                    Stage::Start,
                    &what,
                    format!(
                        "{name}, {}: {what} is not linked: {}",
                        event.place, why.reason
                    ),
                );
            }
        }
    }
    for refused in &list.refused {
        context.fail(
            problems,
            Stage::Start,
            &refused.name,
            format!(
                "{name}, {}: {} is refused: {}",
                refused.place, refused.name, refused.reason
            ),
        );
    }
    for note in &list.notes {
        context.note(&name, note);
    }
    if linked.is_empty() {
        return Err(AppError::Request(format!(
            "{name}: nothing of it can be linked; clips of this film: {}",
            listed(sources.iter().map(|s| s.path.to_string_lossy()))
        )));
    }
    let changes = place(film, &name, &list, &linked, &usable)?;
    suggest_groups(film, context)?;
    context.ended(
        Stage::Start,
        &name,
        format!("{} shots linked, {missing} not", linked.len()),
        false,
    );
    Ok(changes)
}

/// Whether a path is that of a cut list, by its ending; anything else is taken for a picture.
fn is_list(path: &Path) -> bool {
    path.extension()
        .is_some_and(|e| e.eq_ignore_ascii_case("edl") || e.eq_ignore_ascii_case("otio"))
}

/// Takes a finished picture in as the cut.
fn cut_picture(film: &mut Film, order: &CutOrder, context: Context<'_>) -> Result<CutChanges> {
    let name = order.list.to_string_lossy().into_owned();
    if let Some(clip) = order.clips.first() {
        return Err(AppError::Request(format!(
            "{name} is taken for a finished picture, which is its own source, and {} is given beside it; give the picture alone, or a cut list (.otio or .edl) with its clips",
            clip.display()
        )));
    }
    if order.rate.is_some() {
        return Err(AppError::Request(format!(
            "{name} is taken for a finished picture, which has its own rate; --rate belongs to an EDL"
        )));
    }
    let picture = picture_of(film, &order.list, context).map_err(|error| match error {
        AppError::Clip(text) => AppError::Clip(format!(
            "{text} (expected a cut list, .otio or .edl, or a finished picture)"
        )),
        error => error,
    })?;
    let linked: Vec<(&Event, Linked)> = picture
        .list
        .events
        .iter()
        .zip(picture.linked.iter().cloned())
        .collect();
    let changes = place(film, &name, &picture.list, &linked, &[&picture.source])?;
    context.ended(
        Stage::Start,
        &name,
        format!("{} shots found in it", linked.len()),
        false,
    );
    Ok(changes)
}

pub(crate) fn said(name: &str, number: &str) -> String {
    if name.is_empty() {
        format!("event {number}")
    } else {
        name.to_owned()
    }
}

/// The rate of an EDL: as typed, else that of the clips.
fn rate_for(film: &Film, order: &CutOrder) -> Result<Rate> {
    let wrong = |error: String| AppError::Request(format!("{}: {error}", order.list.display()));
    match &order.rate {
        Some(text) => text.parse().ok().and_then(Rate::of_f64).ok_or_else(|| {
            wrong(format!(
                "--rate {text}: expected frames a second, such as 24, 25 or 29.97"
            ))
        }),
        None => common_rate(film)?.ok_or_else(|| {
            wrong("an EDL does not say its frame rate, and the film has no clips yet; give the clips, or --rate".to_owned())
        }),
    }
}

/// Reads a cut list; `rate` is asked for where the list does not say its own.
pub(crate) fn read_list(
    list: &Path,
    bytes: &[u8],
    rate: impl FnOnce() -> Result<Rate>,
) -> Result<CutList> {
    let shown = list.display();
    let ending = list
        .extension()
        .map(|e| e.to_string_lossy().to_lowercase())
        .unwrap_or_default();
    let wrong = |error: String| AppError::Request(format!("{shown}: {error}"));
    match ending.as_str() {
        "otio" => otio::read(bytes).map_err(|error| wrong(error.to_string())),
        "edl" => edl::read(bytes, rate()?).map_err(|error| wrong(error.to_string())),
        _ => Err(wrong("expected a cut list (.otio or .edl)".to_owned())),
    }
}

/// The rate that most sources have, the earliest of equally many.
pub(crate) fn common_rate(film: &Film) -> Result<Option<Rate>> {
    let mut rates: Vec<(Rate, usize)> = Vec::new();
    for source in film.sources()? {
        let Some(rate) = rate_of(&probe_of(&source)?) else {
            continue;
        };
        match rates.iter_mut().find(|(known, _)| *known == rate) {
            Some((_, count)) => *count += 1,
            None => rates.push((rate, 1)),
        }
    }
    let most = rates.iter().map(|(_, count)| *count).max();
    Ok(rates
        .into_iter()
        .find(|(_, count)| Some(*count) == most)
        .map(|(rate, _)| rate))
}

/// Remembers clips as sources, without making shots of them.
pub(crate) fn add_clips(
    film: &mut Film,
    clips: &[PathBuf],
    context: Context<'_>,
    problems: &mut Vec<Problem>,
) -> Result<()> {
    for (index, clip) in clips.iter().enumerate() {
        let name = clip.to_string_lossy().into_owned();
        context.begun(Stage::Start, &name, (index + 1, clips.len()));
        match add_clip(film, clip, context) {
            Ok(known) => context.ended(Stage::Start, &name, "a source".to_owned(), known),
            Err(error @ (AppError::Cancelled | AppError::Film(_))) => return Err(error),
            Err(error) => context.fail(problems, Stage::Start, &name, error.to_string()),
        }
    }
    Ok(())
}

/// Gives whether the clip was known.
pub(crate) fn add_clip(film: &mut Film, clip: &Path, context: Context<'_>) -> Result<bool> {
    let known = std::fs::canonicalize(clip)
        .ok()
        .is_some_and(|absolute| match film.sources() {
            Ok(sources) => sources.iter().any(|s| s.absolute == absolute),
            Err(_) => false,
        });
    if known {
        // Whether it is still the same file is asked below, for every source.
        return Ok(true);
    }
    match new_source(film, clip, context)? {
        None => Ok(true),
        Some((source, probed)) => {
            for note in &probed.probe.notes {
                context.note(&clip.to_string_lossy(), note);
            }
            film.add_source(&source)
                .map_err(|error| naming(clip, AppError::Film(error)))?;
            Ok(false)
        }
    }
}

/// Takes in the files that the list names by their path, as far as they are there.
fn add_named(
    film: &mut Film,
    list: &Path,
    cut: &CutList,
    context: Context<'_>,
    problems: &mut Vec<Problem>,
) -> Result<()> {
    let directory = list.parent().unwrap_or(Path::new(""));
    let mut clips: Vec<PathBuf> = Vec::new();
    for target in cut
        .events
        .iter()
        .filter_map(|event| event.target.as_deref())
    {
        let path = directory.join(plain(target));
        if !clips.contains(&path) && path.is_file() {
            clips.push(path);
        }
    }
    add_clips(film, &clips, context, problems)
}

/// The sources that may be linked: not those whose file is another one by now.
fn usable<'a>(
    sources: &'a [Source],
    context: Context<'_>,
    problems: &mut Vec<Problem>,
) -> Vec<&'a Source> {
    let mut usable = Vec::new();
    for source in sources {
        let changed =
            Fingerprint::of_file(&source.absolute).is_ok_and(|found| found != source.fingerprint);
        if changed {
            let name = source.path.to_string_lossy().into_owned();
            context.fail(
                problems,
                Stage::Start,
                &name,
                format!("{name}: is not the file that was taken in (encoded again?), so the list is not linked to it; bring the old file back, or take this one in with `inkarnat start`"),
            );
        } else {
            usable.push(source);
        }
    }
    usable
}

pub(crate) fn facts_of(source: &Source) -> Result<SourceFacts> {
    let probe = probe_of(source)?;
    let reel = probe
        .metadata
        .iter()
        .find(|(name, _)| name.to_lowercase().ends_with("reel_name"))
        .map(|(_, value)| value.clone());
    Ok(SourceFacts {
        path: source.absolute.to_string_lossy().replace('\\', "/"),
        reel,
        rate: rate_of(&probe).unwrap_or(Rate::FILM),
        start: counted(&probe).map(|(_, start)| start.frame),
        frames: source.frames as i64,
    })
}

fn place(
    film: &mut Film,
    origin: &str,
    list: &CutList,
    linked: &[(&Event, Linked)],
    sources: &[&Source],
) -> Result<CutChanges> {
    let wanted: Vec<Wanted> = linked
        .iter()
        .map(|(event, found)| Wanted {
            source: sources[found.source].id.0,
            in_frame: found.in_frame,
            out_frame: found.out_frame,
            speed: event.speed,
        })
        .collect();
    let shots = film.all_shots()?;
    let matched = match_recut(&known_shots(film, &shots)?, &wanted);
    let mut names = Names::new(film, &shots)?;
    let mut places = Vec::new();
    for ((event, found), change) in linked.iter().zip(&matched.shots) {
        let source = sources[found.source];
        // The shots of a finished picture have nothing in common by their source.
        let (setup, scene) = if source.seen.is_null() {
            names.of(source)
        } else {
            names.own(&format!("{}-{:03}", stem(source), places.len() + 1))
        };
        places.push(Place {
            shot: change.known.map(|at| shots[at].id),
            like: change.like.map(|at| shots[at].id),
            name: if source.seen.is_null() {
                stem(source)
            } else {
                setup.clone()
            },
            source: source.id,
            in_frame: found.in_frame,
            out_frame: found.out_frame,
            setup,
            scene,
            used: value_of(&if source.seen.is_null() {
                used(event, found, source)
            } else {
                used_in_picture(event)
            }),
        });
    }
    let placed = film.place(&places, origin, list)?;
    changes_of(film, &shots, &matched, &placed)
}

fn changes_of(
    film: &Film,
    before: &[Shot],
    matched: &Matched,
    placed: &[inkarnat_film::ShotId],
) -> Result<CutChanges> {
    let after = film.shots()?;
    let name = |id| {
        after
            .iter()
            .find(|shot| shot.id == id)
            .map(|shot| shot.name.clone())
            .unwrap_or_default()
    };
    Ok(CutChanges {
        shots: placed
            .iter()
            .zip(&matched.shots)
            .map(|(id, change)| ShotChange {
                shot: name(*id),
                status: change.status,
                moved: change.moved,
                back: change.back,
            })
            .collect(),
        lost: matched
            .lost
            .iter()
            .map(|at| before[*at].name.clone())
            .collect(),
    })
}

fn known_shots(film: &Film, shots: &[Shot]) -> Result<Vec<Known>> {
    let in_cut = film.shots()?;
    shots
        .iter()
        .map(|shot| {
            Ok(Known {
                source: shot.source.0,
                in_frame: shot.in_frame,
                out_frame: shot.out_frame,
                speed: used_of(shot)?.map_or(1.0, |used| used.speed),
                position: in_cut.iter().position(|s| s.id == shot.id),
            })
        })
        .collect()
}

fn used(event: &Event, found: &Linked, source: &Source) -> Used {
    let under = event.under();
    let clamp = |frames: i64, room: u64| (frames.max(0) as u64).min(room);
    Used {
        record_in: event.record_in,
        record_out: event.record_out,
        speed: event.speed,
        under_before: clamp(under.before, found.in_frame),
        under_after: clamp(under.after, source.frames - found.out_frame),
        head: event.head,
        tail: event.tail,
        event: event.number.clone(),
        reel: event.reel.clone(),
        clip: event.name.clone(),
        scene: event.scene.clone(),
        listed: Some(event.source),
    }
}

fn stem(source: &Source) -> String {
    source
        .path
        .file_stem()
        .map_or_else(|| "clip".to_owned(), |s| s.to_string_lossy().into_owned())
}

/// Setup and scene of shots that a cut makes: those of the other uses of the same source; else a
/// setup of the source's own name, in the scene of the shot before.
struct Names {
    known: Vec<(SourceId, String, String)>,
    taken: Vec<String>,
    scene: String,
}

impl Names {
    fn new(film: &Film, shots: &[Shot]) -> Result<Self> {
        let setups = film.setups()?;
        let scenes = film.scenes()?;
        let scene_of = |id| {
            scenes
                .iter()
                .find(|scene| scene.id == id)
                .map(|scene| scene.name.clone())
        };
        let mut known = Vec::new();
        for shot in shots {
            let Some(setup) = setups.iter().find(|setup| setup.id == shot.setup) else {
                continue;
            };
            if !known.iter().any(|(source, _, _)| *source == shot.source) {
                let scene = scene_of(setup.scene).unwrap_or_else(|| film.name().to_owned());
                known.push((shot.source, setup.name.clone(), scene));
            }
        }
        Ok(Self {
            known,
            taken: setups.iter().map(|setup| setup.name.clone()).collect(),
            scene: scenes
                .first()
                .map_or_else(|| film.name().to_owned(), |scene| scene.name.clone()),
        })
    }

    fn of(&mut self, source: &Source) -> (String, String) {
        if let Some((_, setup, scene)) = self.known.iter().find(|(id, _, _)| *id == source.id) {
            self.scene.clone_from(scene);
            return (setup.clone(), scene.clone());
        }
        let (name, scene) = self.own(&stem(source));
        self.known.push((source.id, name.clone(), scene.clone()));
        (name, scene)
    }

    /// A setup of its own, in the scene of the shot before.
    fn own(&mut self, wanted: &str) -> (String, String) {
        let mut name = wanted.to_owned();
        let mut number = 1;
        while self.taken.contains(&name) {
            number += 1;
            name = format!("{wanted}-{number}");
        }
        self.taken.push(name.clone());
        (name, self.scene.clone())
    }
}
