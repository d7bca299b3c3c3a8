//! A finished picture handed over whole: every frame with the fix of its shot.

use crate::event::Stage;
use crate::files::{Output, remove};
use crate::job::{Job, PictureNames, RenderJob, RenderPart, Rendered};
use crate::limit::Limited;
use crate::problem::{Context, Problem};
use crate::steps::cutting::{seen_of, used_of};
use crate::steps::handing::{Delivery, clip_chain, clip_key, first_number, keyed};
use crate::steps::taking::{naming, probe_of, source_path};
use crate::steps::transforming::{input_ops, with_input};
use crate::{AppError, Result};
use inkarnat_cut::{Seen, SpanKind};
use inkarnat_film::{Deliverable, Film, Fingerprint, InputKey, Shot, ShotId, Source};
use inkarnat_media::Codec;
use inkarnat_ops::{Chain, MovingChain, Op};
use serde::{Deserialize, Serialize};
use serde_json::json;

/// Part of the key of every whole picture: raised when rendering changes.
const METHOD: u32 = 1;

/// A shot of a whole picture, as the film remembers it.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
struct Held {
    shot: ShotId,
    /// Key of what its clip would be.
    key: InputKey,
    first: u64,
    frames: u64,
}

/// Everything that was handed over of single shots: their clips, and whole pictures that hold them.
pub(crate) fn clips_of(film: &Film) -> Result<Vec<Deliverable>> {
    let mut clips = Vec::new();
    for file in film.deliverables()? {
        match file.kind.as_str() {
            "clip" => clips.push(file),
            "picture" => {
                let held: Vec<Held> = serde_json::from_value(file.detail["shots"].clone())
                    .map_err(AppError::protocol)?;
                clips.extend(held.into_iter().map(|held| {
                    let mut clip = file.clone();
                    clip.shot = Some(held.shot);
                    clip.key = held.key;
                    clip.kind = "clip".to_owned();
                    clip.detail["first"] = json!(held.first);
                    clip.detail["frames"] = json!(held.frames);
                    clip.detail["delivered_first"] = json!(held.first);
                    clip.detail["within"] = json!(true);
                    clip
                }));
            }
            _ => {}
        }
    }
    Ok(clips)
}

/// Hands over every finished picture of the film.
pub(crate) fn hand_over(
    film: &mut Film,
    output: &Output,
    order: (Codec, &Delivery),
    context: Context<'_>,
    problems: &mut Vec<Problem>,
) -> Result<()> {
    let mut pictures = Vec::new();
    for source in film.sources()? {
        if let Some(seen) = seen_of(&source)? {
            pictures.push((source, seen));
        }
    }
    if pictures.is_empty() {
        return Err(AppError::Request(
            "there is no finished picture in this film to hand over whole; leave --whole out to get a clip of each shot, or take the picture in with `inkarnat cut FILM PICTURE`".to_owned(),
        ));
    }
    let count = pictures.len();
    let mut names: Vec<String> = Vec::new();
    for (index, (source, seen)) in pictures.iter().enumerate() {
        // Two files of one name may lie in different folders: one must not take the other's place.
        let name = match names.iter().filter(|known| **known == stem(source)).count() {
            0 => stem(source),
            others => format!("{}-{}", stem(source), others + 1),
        };
        names.push(stem(source));
        context.begun(Stage::Handover, &name, (index + 1, count));
        match render(film, output, (&name, source, seen), order, context) {
            Ok((summary, unchanged)) => {
                context.ended(Stage::Handover, &name, summary, unchanged);
            }
            Err(error @ (AppError::Cancelled | AppError::Film(_))) => return Err(error),
            Err(error) => context.fail(problems, Stage::Handover, &name, error.to_string()),
        }
    }
    Ok(())
}

fn stem(source: &Source) -> String {
    source.path.file_stem().map_or_else(
        || "picture".to_owned(),
        |stem| stem.to_string_lossy().into_owned(),
    )
}

/// The spans of frames in which each shot is seen, in order: those of the shot, and where it dissolves into the next one all
/// of the dissolve.
fn spans_of(shots: &[Shot], seen: &Seen) -> Vec<(u64, u64)> {
    let mut spans: Vec<(u64, u64)> = shots.iter().map(|s| (s.in_frame, s.out_frame)).collect();
    for dissolve in seen.spans.iter().filter(|s| s.what == SpanKind::Dissolve) {
        let (from, to) = (dissolve.in_frame, dissolve.out_frame);
        let last = |span: &(u64, u64)| span.1 >= from && span.1 <= to;
        let Some(first) = spans.iter().position(last) else {
            continue;
        };
        if let Some(next) = spans.get(first + 1).filter(|next| next.0 <= to) {
            let next = (next.0.min(from), next.1);
            spans[first].1 = spans[first].1.max(to);
            spans[first + 1] = next;
        }
    }
    spans
}

fn render(
    film: &mut Film,
    output: &Output,
    (name, source, seen): (&str, &Source, &Seen),
    (codec, delivery): (Codec, &Delivery),
    context: Context<'_>,
) -> Result<(String, bool)> {
    let path = source_path(film, source)?;
    let mut shots = Vec::new();
    for shot in film.shots()? {
        if shot.source == source.id && used_of(&shot)?.is_some() {
            shots.push(shot);
        }
    }
    shots.sort_by_key(|shot| shot.in_frame);
    let mut parts = Vec::new();
    let mut held = Vec::new();
    let limiter = delivery
        .limit
        .map(|to| to.limiter(film.space().coefficients, codec.depth()));
    for (shot, frames) in shots.iter().zip(spans_of(&shots, seen)) {
        let chain = clip_chain(film, shot, delivery.look)?;
        let mut whole = chain.clone();
        whole.chain.output = limiter.map(Op::Limiter).into_iter().collect();
        let span = (shot.in_frame, shot.out_frame);
        held.push(Held {
            shot: shot.id,
            key: clip_key(film, source, &whole, codec, span)?,
            first: span.0,
            frames: span.1 - span.0,
        });
        parts.push(RenderPart { frames, chain });
    }
    let looked = parts.iter().any(|part| !part.chain.chain.look.is_empty());
    let chain: MovingChain = Chain {
        output: limiter.map(Op::Limiter).into_iter().collect(),
        ..Chain::default()
    }
    .into();
    let keyed_parts: Vec<_> = parts.iter().map(|p| (p.frames, keyed(&p.chain))).collect();
    let key = InputKey::of(&(
        METHOD,
        "picture",
        &source.fingerprint,
        codec,
        keyed(&chain),
        &keyed_parts,
    ));
    let key = with_input(film, source, key)?;
    let below = match codec.is_pictures() {
        true => format!("picture/{name}"),
        false => format!("picture/{name}.{}", codec.extension()),
    };
    let place = output.place(&below, film)?;
    let known = film.deliverables()?.into_iter().any(|known| {
        known.path == place.path
            && known.key == key
            && Fingerprint::of_file(&place.path).is_ok_and(|print| print == known.fingerprint)
    });
    if known {
        return Ok((format!("{} is there", place.shown.display()), true));
    }
    let temporary = place.temporary();
    let number = first_number(&probe_of(source)?, 0);
    let job = RenderJob {
        source: path,
        input: input_ops(film, source)?,
        output: temporary.clone(),
        first: 0,
        frames: source.frames,
        whole: true,
        timecode: None,
        chain,
        parts,
        space: film.space(),
        codec,
        pictures: codec.is_pictures().then(|| PictureNames {
            name: name.to_owned(),
            first: Some(number),
        }),
        encoder_input: None,
    };
    let _ = remove(&temporary);
    let rendered: Result<Rendered> = context.workers.run(
        &Job::Render(job),
        context.cancel,
        context.progress(Stage::Handover, name),
    );
    let rendered = rendered
        .map_err(|error| match error {
            AppError::Cancelled => AppError::Cancelled,
            // The editor knows the file by its final name.
            error => naming(
                &source.path,
                AppError::Clip(error.to_string().replace(
                    temporary.to_string_lossy().as_ref(),
                    place.shown.to_string_lossy().as_ref(),
                )),
            ),
        })
        .inspect_err(|_| {
            let _ = remove(&temporary);
        })?;
    let failed = AppError::writing(&place.shown);
    let fingerprint = Fingerprint::of_file(&temporary).map_err(&failed)?;
    let limited = Limited::made(delivery.limit, limiter, rendered.limited);
    let mut notes = rendered.notes;
    notes.extend(limited.as_ref().map(Limited::said));
    let detail = json!({
        "limited": limited,
        "look": looked,
        "codec": codec,
        "first": 0,
        "frames": rendered.frames,
        "notes": notes,
        "shots": held,
    });
    let file = place.deliverable("picture", None, fingerprint, key, detail);
    film.keep_files(&[file])?;
    place.put(&temporary).map_err(&failed)?;
    for note in &notes {
        context.note(name, note);
    }
    Ok((
        format!(
            "{} frames, {} shots corrected: {}",
            rendered.frames,
            shots.iter().filter(|shot| !shot.kept).count(),
            place.shown.display()
        ),
        false,
    ))
}
