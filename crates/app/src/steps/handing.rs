//! Handing over: clips, CDL files, tables and readings.

use crate::event::Stage;
use crate::files::Output;
use crate::job::{Job, RenderJob, Rendered};
use crate::problem::{Context, Problem};
use crate::show::report;
use crate::steps::fixing::FixRecord;
use crate::steps::taking::{locate, naming};
use crate::{AppError, Result, exports};
use inkarnat_film::{Film, Fingerprint, InputKey, Shot, Source, Step, StepOutcome};
use inkarnat_media::Codec;
use inkarnat_ops::Chain;
use serde_json::json;
use std::path::{Path, PathBuf};

/// Part of the key of every rendered clip: raised when rendering changes.
const METHOD: u32 = 1;

/// What to hand over.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Delivery {
    /// How clips are coded; `None`: no clips.
    pub codec: Option<Codec>,
    /// Directory for what the encoder was given of each shot, `SHOT.yuv`: planes of 16-bit codes, low
    /// byte first. Every clip is then rendered anew. For checks.
    pub encoder_input: Option<PathBuf>,
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
    let output = Output::prepare(directory, film)?;
    if let Some(codec) = delivery.codec {
        let shots = film.shots()?;
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
    let shots = film.shots()?;
    let mut current = Vec::new();
    for setup in film.setups()? {
        let carried = shots.iter().any(|s| s.setup == setup.id && !s.kept);
        let Some((_, record)) = film.fix::<FixRecord>(setup.id)?.filter(|_| carried) else {
            continue;
        };
        let files = exports::of_fix(film.space(), &setup, &record)?;
        for note in &files.notes {
            context.note(&setup.name, note);
        }
        for file in files.files {
            current.push(file.below.clone());
            let written = output.write(&file.below, file.kind, &file.bytes, film);
            if let Err(error) = written {
                match error {
                    AppError::Film(_) => return Err(error),
                    error => {
                        context.fail(problems, Stage::Handover, &setup.name, error.to_string());
                    }
                }
            }
        }
    }
    output.withdraw(&current, film)?;
    write_readings(film, directory)
}

/// Writes `readings.json` anew.
///
/// # Errors
/// If it cannot be written.
pub fn write_readings(film: &mut Film, directory: &Path) -> Result<()> {
    let output = Output::prepare(directory, film)?;
    let mut text = serde_json::to_vec_pretty(&report(film)?).map_err(AppError::protocol)?;
    text.push(b'\n');
    output.write("readings.json", "readings", &text, film)
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

/// The chain of a shot, as its setup's fix gives it; a kept shot stays as it is.
pub(crate) fn chain_of(film: &Film, shot: &Shot) -> Result<Chain> {
    if shot.kept {
        return Ok(Chain::default());
    }
    Ok(film
        .fix::<FixRecord>(shot.setup)?
        .map(|(_, record)| Chain::of_fix(record.fix().ops.clone()))
        .unwrap_or_default())
}

/// The key of a rendered clip: everything that decides its content.
pub(crate) fn clip_key(source: &Source, chain: &Chain, codec: Codec) -> InputKey {
    InputKey::of(&(METHOD, &source.fingerprint, chain, codec))
}

/// Where a shot's clip lies below the output directory.
fn clip_name(shot: &Shot) -> String {
    format!("clips/{}.mov", shot.name)
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
    let chain = chain_of(film, shot)?;
    let key = clip_key(&source, &chain, codec);
    let place = output.place(&clip_name(shot), film)?;
    let known = film.deliverables()?.into_iter().any(|known| {
        known.path == place.path
            && known.key == key
            && Fingerprint::of_file(&place.path).is_ok_and(|print| print == known.fingerprint)
    });
    if known && delivery.encoder_input.is_none() {
        return Ok((format!("{} is there", place.shown.display()), true));
    }
    let temporary = place.temporary();
    let identity = chain.is_identity();
    let job = RenderJob {
        source: path,
        output: temporary.clone(),
        frames: source.frames,
        chain,
        codec,
        encoder_input: delivery
            .encoder_input
            .as_ref()
            .map(|directory| directory.join(format!("{}.yuv", shot.name))),
    };
    let _ = std::fs::remove_file(&temporary);
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
            let detail = json!({
                "codec": codec,
                "frames": rendered.frames,
                "identity": identity,
                "notes": rendered.notes,
            });
            let deliverable =
                place.deliverable("clip", Some(shot.id), fingerprint, key.clone(), detail);
            film.keep_clip(shot.id, &deliverable)?;
            std::fs::rename(&temporary, &place.path).map_err(&failed)?;
            Ok(rendered)
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
            let _ = std::fs::remove_file(&temporary);
            if !matches!(error, AppError::Cancelled | AppError::Film(_)) {
                film.keep_failure(shot.id, Step::Handover, &key, &error.to_string())?;
            }
            Err(error)
        }
    }
}
