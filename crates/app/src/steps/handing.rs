//! Handing over: clips, CDL files, tables and readings.

use crate::event::Stage;
use crate::exports::{Around, ExportFile};
use crate::files::{Output, remove};
use crate::job::{Job, PictureNames, RenderJob, Rendered};
use crate::limit::{LimitTo, Limited};
use crate::problem::{Context, Problem};
use crate::seen::seen_chain_of;
use crate::show::report;
use crate::steps::cutting::{counted, used_of};
use crate::steps::fixing::FixRecord;
use crate::steps::taking::{locate, naming, probe_of};
use crate::steps::transforming::{input_ops, look_ops, with_input};
use crate::steps::versions::{changed_since, name_for, record};
use crate::steps::whole;
use crate::{AppError, Result, exports, lists};
use inkarnat_film::{
    Deliverable, Film, Fingerprint, InputKey, Setup, Shot, ShotId, Source, Step, StepOutcome,
};
use inkarnat_media::{Codec, Kind, Probe, Timecode};
use inkarnat_ops::{Chain, MovingChain, Op};
use serde::Serialize;
use serde_json::json;
use std::path::{Path, PathBuf};

/// Part of the key of every rendered clip: raised when rendering changes.
const METHOD: u32 = 1;

/// Handles of what is handed over again alone, frames: half a second, for transitions to move in.
pub const SINCE_HANDLES: u64 = 12;

/// What to hand over.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Delivery {
    /// How clips are coded; `None`: no clips.
    pub codec: Option<Codec>,
    /// Directory for what the encoder was given of each shot, `SHOT.yuv`: planes of 16-bit codes, low
    /// byte first. Every clip is then rendered anew. For checks.
    pub encoder_input: Option<PathBuf>,
    /// Whether a finished picture is handed over whole, every shot with its fix, in place of clips of its shots.
    pub whole: bool,
    /// Frames of the source beyond each end of a shot that is a piece of one.
    pub handles: u64,
    /// Only what has changed since this version.
    pub since: Option<String>,
    /// Limits that clips and tables are kept inside at the cost of saturation; `None`: nothing is limited.
    pub limit: Option<LimitTo>,
    /// Whether clips have the look in them, and tables and CLF with it are written beside those without.
    pub look: bool,
    /// Whether tables and CLF that begin at the clip's own signal, before its input transform, are written too.
    pub input: bool,
    /// Name of the version that is recorded; `None`: the next number.
    pub name: Option<String>,
}

/// Hands the film over to a directory.
///
/// # Errors
/// If the directory or the film cannot be written, or on cancelling. What is wrong with a shot is a
/// [`Problem`].
pub fn hand_over(
    film: &mut Film,
    directory: &Path,
    delivery: &Delivery,
    context: Context<'_>,
    problems: &mut Vec<Problem>,
) -> Result<()> {
    let name = name_for(film, delivery.name.as_deref())?;
    let output = Output::prepare(directory, film)?;
    let shots = match &delivery.since {
        None => film.shots()?,
        Some(version) => changed_since(film, version, delivery.look)?,
    };
    if let (Some(codec), true) = (delivery.codec, delivery.whole) {
        whole::hand_over(film, &output, (codec, delivery), context, problems)?;
    } else if let Some(codec) = delivery.codec {
        for (index, shot) in shots.iter().enumerate() {
            context.begun(Stage::Handover, &shot.name, (index + 1, shots.len()));
            match render_shot(film, &output, shot, (codec, delivery), context) {
                Ok((summary, unchanged)) => {
                    context.ended(Stage::Handover, &shot.name, summary, unchanged);
                }
                Err(error @ (AppError::Cancelled | AppError::Film(_))) => return Err(error),
                Err(error) => {
                    context.fail(problems, Stage::Handover, &shot.name, error.to_string());
                }
            }
        }
    }
    let mut current = Vec::new();
    let mut corrections = Vec::new();
    for setup in film.setups()? {
        let carried = shots.iter().any(|s| s.setup == setup.id && !s.kept);
        let Some((_, record)) = film.fix::<FixRecord>(setup.id)?.filter(|_| carried) else {
            continue;
        };
        for (name, of, files) in files_of(film, (&setup, &record), &shots, delivery)? {
            for note in &files.notes {
                context.note(&name, note);
            }
            if let Some(correction) = files.correction {
                corrections.push((of, correction));
            }
            put(
                film,
                &output,
                &name,
                files.files,
                context,
                problems,
                &mut current,
            )?;
        }
    }
    let changes = delivery.since.is_some();
    let suffix = if changes { "_changes" } else { "" };
    let of_film = film.name().to_owned();
    let sources = film.sources()?;
    let media: Vec<(&Shot, String)> = shots
        .iter()
        .filter_map(|shot| {
            let source = sources.iter().find(|source| source.id == shot.source)?;
            let name = source.path.file_name()?;
            Some((shot, name.to_string_lossy().into_owned()))
        })
        .collect();
    let mut files = exports::collected(&format!("{of_film}{suffix}"), &corrections, &media)?;
    let lists = lists::of_film(film, &output, &shots, changes)?;
    for note in &lists.notes {
        context.note(&of_film, note);
    }
    files.extend(lists.files);
    put(
        film,
        &output,
        &of_film,
        files,
        context,
        problems,
        &mut current,
    )?;
    if delivery.since.is_none() {
        output.withdraw(&current, film)?;
    }
    write_readings(film, directory)?;
    record(film, &name)?;
    context.note(
        &directory.to_string_lossy(),
        &match &delivery.since {
            None => format!("recorded as {name:?}"),
            Some(since) => format!(
                "{} changed since {since:?}; recorded as {name:?}",
                shots.len()
            ),
        },
    );
    Ok(())
}

/// Writes small files, and remembers where they went. What is wrong with one is a [`Problem`].
fn put(
    film: &mut Film,
    output: &Output,
    of: &str,
    files: Vec<ExportFile>,
    context: Context<'_>,
    problems: &mut Vec<Problem>,
    current: &mut Vec<String>,
) -> Result<()> {
    for file in files {
        match output.write(&file.below, file.kind, &file.bytes, film) {
            Err(error @ AppError::Film(_)) => return Err(error),
            Err(error) => context.fail(problems, Stage::Handover, of, error.to_string()),
            Ok(()) => {}
        }
        current.push(file.below);
    }
    Ok(())
}

/// The files of a setup's fix: of the fix itself where shots carry it as it is, and of each shot whose fix follows its
/// light.
fn files_of(
    film: &Film,
    (setup, record): (&Setup, &FixRecord),
    shots: &[Shot],
    delivery: &Delivery,
) -> Result<Vec<(String, Vec<ShotId>, exports::Exports)>> {
    let own: Vec<&Shot> = shots
        .iter()
        .filter(|shot| shot.setup == setup.id && !shot.kept)
        .collect();
    let (moving, steady): (Vec<&Shot>, Vec<&Shot>) = own
        .iter()
        .partition(|shot| !record.chain_for(shot).is_constant());
    let sources = film.sources()?;
    let around = around(film, setup, &own, &sources, delivery)?;
    let mut all = Vec::new();
    if !steady.is_empty() {
        let files = exports::of_fix(film.space(), &setup.name, record, &around)?;
        let of = steady.iter().map(|shot| shot.id).collect();
        all.push((setup.name.clone(), of, files));
    }
    for shot in &moving {
        let Some(source) = sources.iter().find(|source| source.id == shot.source) else {
            continue;
        };
        let name = match (steady.is_empty(), moving.len()) {
            (true, 1) => setup.name.clone(),
            _ if shot.name == setup.name => format!("{}-light", shot.name),
            _ => shot.name.clone(),
        };
        let files = exports::of_moving(film.space(), (film, shot, source), &name, record, &around)?;
        all.push((shot.name.clone(), vec![shot.id], files));
    }
    Ok(all)
}

/// What tables of a setup's fix are asked for beside it alone.
fn around(
    film: &Film,
    setup: &Setup,
    shots: &[&Shot],
    sources: &[Source],
    delivery: &Delivery,
) -> Result<Around> {
    let mut inputs: Vec<Vec<Op>> = Vec::new();
    if delivery.input {
        for source in sources
            .iter()
            .filter(|source| shots.iter().any(|shot| shot.source == source.id))
        {
            let input = input_ops(film, source)?;
            if !inputs.contains(&input) {
                inputs.push(input);
            }
        }
    }
    Ok(Around {
        limit: delivery.limit,
        look: if delivery.look {
            look_ops(film, setup)?
        } else {
            Vec::new()
        },
        several_inputs: inputs.len() > 1,
        input: match inputs.as_slice() {
            [only] => only.clone(),
            _ => Vec::new(),
        },
    })
}

/// Writes `readings.json`, `readings.csv` and `frames.csv` anew.
///
/// # Errors
/// If it cannot be written.
pub fn write_readings(film: &mut Film, directory: &Path) -> Result<()> {
    let output = Output::prepare(directory, film)?;
    let mut report = report(film)?;
    // They carry the time of day; what is delivered depends on the film alone.
    report.versions.clear();
    let mut text = serde_json::to_vec_pretty(&report).map_err(AppError::protocol)?;
    text.push(b'\n');
    output.write("readings.json", "readings", &text, film)?;
    for (name, text) in crate::tables::of_film(film)? {
        output.write(name, "readings", &text, film)?;
    }
    Ok(())
}

/// Writes a report to a file of its own, whole or not at all. A file that is there is replaced only if it is a report.
///
/// # Errors
/// If something else is there, or it cannot be written.
pub fn write_new_report(film: &Film, to: &Path, html: &[u8]) -> Result<()> {
    crate::files::write_alone(film, to, html, |there| {
        let begin = there.get(..1024.min(there.len())).unwrap_or_default();
        String::from_utf8_lossy(begin).contains(": report</title>")
    })
}

/// Writes `report.html` anew.
///
/// # Errors
/// If it cannot be written.
pub fn write_report(film: &mut Film, directory: &Path, html: &[u8]) -> Result<()> {
    let output = Output::prepare(directory, film)?;
    output.write("report.html", "report", html, film)
}

/// The chain of a shot, as its setup's fix and its own light give it; a kept shot stays as it is.
pub(crate) fn chain_of(film: &Film, shot: &Shot) -> Result<MovingChain> {
    if shot.kept {
        return Ok(MovingChain::default());
    }
    Ok(film
        .fix::<FixRecord>(shot.setup)?
        .map(|(_, record)| record.chain_for(shot))
        .unwrap_or_default())
}

/// The chain of a shot's clip, with or without the look.
pub(crate) fn clip_chain(film: &Film, shot: &Shot, look: bool) -> Result<MovingChain> {
    if look {
        seen_chain_of(film, shot)
    } else {
        chain_of(film, shot)
    }
}

/// The source frame in the middle of a shot.
pub(crate) fn middle_of(shot: &Shot) -> u64 {
    shot.in_frame + (shot.out_frame - shot.in_frame) / 2
}

/// A chain as it goes into keys: one that is the same for all frames as it always did.
#[derive(Serialize)]
#[serde(untagged)]
pub(crate) enum Keyed<'a> {
    Constant(&'a Chain),
    Moving(&'a MovingChain),
}

pub(crate) const fn keyed(chain: &MovingChain) -> Keyed<'_> {
    match &chain.light {
        None => Keyed::Constant(&chain.chain),
        Some(_) => Keyed::Moving(chain),
    }
}

/// The key of a rendered clip: everything that decides its content.
pub(crate) fn clip_key(
    film: &Film,
    source: &Source,
    chain: &MovingChain,
    codec: Codec,
    span: (u64, u64),
) -> Result<InputKey> {
    let chain = keyed(chain);
    let key = if span == (0, source.frames) {
        InputKey::of(&(METHOD, &source.fingerprint, chain, codec))
    } else {
        InputKey::of(&(METHOD, &source.fingerprint, chain, codec, span))
    };
    with_input(film, source, key)
}

/// The source frames that a shot's clip holds: those of the shot, those that transitions take from
/// beside it, and handles, as far as the source has them.
pub(crate) fn span_with_handles(shot: &Shot, source: &Source, handles: u64) -> Result<(u64, u64)> {
    let (before, after) = used_of(shot)?.map_or((0, 0), |used| {
        (used.under_before + handles, used.under_after + handles)
    });
    Ok((
        shot.in_frame.saturating_sub(before),
        (shot.out_frame + after).min(source.frames),
    ))
}

/// The source frame that a delivered clip begins with, and its frames.
pub(crate) fn span_of_clip(clip: &Deliverable, source: &Source) -> (u64, u64) {
    let number = |name: &str| clip.detail[name].as_u64();
    (
        number("first").unwrap_or(0),
        number("frames").unwrap_or(source.frames),
    )
}

/// Timecode of a frame of a source; `None` where the source has none.
pub(crate) fn timecode_at(source: &Source, frame: u64) -> Result<Option<Timecode>> {
    let probe = probe_of(source)?;
    let Some(first) = &probe.timecode else {
        return Ok(None);
    };
    Ok(counted(&probe).and_then(|(rate, start)| {
        let at = inkarnat_cut::Timecode {
            frame: start.frame + frame as i64,
            drop: start.drop,
        };
        if frame == 0 {
            return Some(first.clone());
        }
        Timecode::parse(&at.text(rate))
    }))
}

/// Where a shot's clip lies below the output directory: a file, or a folder of pictures; of a still one picture.
fn clip_name(shot: &Shot, codec: Codec, kind: Kind) -> String {
    let name = &shot.name;
    if codec.is_pictures() && kind != Kind::Still {
        format!("clips/{name}")
    } else {
        format!("clips/{name}.{}", codec.extension())
    }
}

/// The number of a shot's first picture: its timecode counted in frames from 00:00:00:00, or the frame of the source where
/// that has no timecode.
pub(crate) fn first_number(probe: &Probe, first: u64) -> u64 {
    counted(probe)
        .and_then(|(_, start)| u64::try_from(start.frame).ok())
        .unwrap_or(0)
        + first
}

fn render_shot(
    film: &mut Film,
    output: &Output,
    shot: &Shot,
    (codec, delivery): (Codec, &Delivery),
    context: Context<'_>,
) -> Result<(String, bool)> {
    if !shot.kept
        && let Some(record) = film.step(shot.id, Step::Read)?
        && let StepOutcome::Failed(reason) = record.outcome
    {
        return Err(AppError::Clip(format!(
            "not handed over, since it could not be read: {reason}"
        )));
    }
    let (source, path) = locate(film, shot)?;
    let mut chain = clip_chain(film, shot, delivery.look)?;
    let limiter = delivery
        .limit
        .map(|to| to.limiter(film.space().coefficients, codec.depth()));
    chain.chain.output = limiter.map(Op::Limiter).into_iter().collect();
    let (first, end) = span_with_handles(shot, &source, delivery.handles)?;
    let key = clip_key(film, &source, &chain, codec, (first, end))?;
    let probe = probe_of(&source)?;
    let place = output.place(&clip_name(shot, codec, probe.kind), film)?;
    let known = film.deliverables()?.into_iter().any(|known| {
        known.kind == "clip"
            && known.path == place.path
            && known.key == key
            && Fingerprint::of_file(&place.path).is_ok_and(|print| print == known.fingerprint)
    });
    if known && delivery.encoder_input.is_none() {
        return Ok((format!("{} is there", place.shown.display()), true));
    }
    let looked = chain.chain.look.clone();
    let temporary = place.temporary();
    let input = input_ops(film, &source)?;
    let identity = chain.is_identity() && input.is_empty();
    let job = RenderJob {
        source: path,
        input,
        output: temporary.clone(),
        first,
        frames: end - first,
        whole: (first, end) == (0, source.frames),
        timecode: timecode_at(&source, first)?,
        chain,
        parts: Vec::new(),
        space: film.space(),
        codec,
        pictures: codec.is_pictures().then(|| PictureNames {
            name: shot.name.clone(),
            first: (probe.kind != Kind::Still).then(|| first_number(&probe, first)),
        }),
        encoder_input: delivery
            .encoder_input
            .as_ref()
            .map(|directory| directory.join(format!("{}.yuv", shot.name))),
    };
    let _ = remove(&temporary);
    let outcome = context.workers.run::<Rendered>(
        &Job::Render(job),
        context.cancel,
        context.progress(Stage::Handover, &shot.name),
    );
    let finished = outcome
        .map_err(|error| {
            // The editor knows the file by its final name.
            let text = error.to_string().replace(
                temporary.to_string_lossy().as_ref(),
                place.shown.to_string_lossy().as_ref(),
            );
            match error {
                AppError::Cancelled => AppError::Cancelled,
                _ => naming(&source.path, AppError::Clip(text)),
            }
        })
        .and_then(|rendered| {
            let failed = AppError::writing(&place.shown);
            let fingerprint = Fingerprint::of_file(&temporary).map_err(&failed)?;
            let limited = Limited::made(delivery.limit, limiter, rendered.limited);
            let mut notes = rendered.notes.clone();
            notes.extend(limited.as_ref().map(Limited::said));
            let detail = json!({
                "limited": limited,
                "look": delivery.look && !looked.is_empty(),
                "codec": codec,
                "first": first,
                "frames": rendered.frames,
                "identity": identity,
                "notes": notes,
            });
            let deliverable =
                place.deliverable("clip", Some(shot.id), fingerprint, key.clone(), detail);
            film.keep_clip(shot.id, &deliverable)?;
            place.put(&temporary).map_err(&failed)?;
            Ok(Rendered { notes, ..rendered })
        });
    match finished {
        Ok(rendered) => {
            for note in &rendered.notes {
                context.note(&shot.name, note);
            }
            let how = if identity { "unchanged" } else { "corrected" };
            Ok((
                format!(
                    "{} frames, {how}: {}",
                    rendered.frames,
                    place.shown.display()
                ),
                false,
            ))
        }
        Err(error) => {
            let _ = remove(&temporary);
            if !matches!(error, AppError::Cancelled | AppError::Film(_)) {
                film.keep_failure(shot.id, Step::Handover, &key, &error.to_string())?;
            }
            Err(error)
        }
    }
}
