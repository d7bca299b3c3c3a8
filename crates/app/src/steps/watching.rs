//! One finished picture file as a cut: its shots are pieces of that one source.

use crate::event::Stage;
use crate::job::{Job, WatchJob};
use crate::problem::Context;
use crate::steps::cutting::{Used, counted, rate_of, seen_of};
use crate::steps::recutting::add_clip;
use crate::steps::taking::{naming, probe_of};
use crate::{AppError, Result};
use inkarnat_cut::{
    CutList, Event, Linked, Rate, Seen, SourceSpan, SpanKind, Timecode, Transition, TransitionKind,
};
use inkarnat_film::{Film, Source};
use std::path::Path;

/// A finished picture as a cut list, with each event's place in the one source.
pub(crate) struct Picture {
    pub(crate) source: Source,
    pub(crate) list: CutList,
    pub(crate) linked: Vec<Linked>,
}

/// Takes a finished picture in and looks through it, unless that was done before.
pub(crate) fn picture_of(film: &mut Film, path: &Path, context: Context<'_>) -> Result<Picture> {
    let name = path.to_string_lossy().into_owned();
    add_clip(film, path, context)?;
    let absolute = std::fs::canonicalize(path).ok();
    let find = |film: &Film| -> Result<Source> {
        film.sources()?
            .into_iter()
            .find(|source| Some(&source.absolute) == absolute.as_ref())
            .ok_or_else(|| {
                AppError::Clip(format!(
                    "{name}: was moved while it was taken in; try again"
                ))
            })
    };
    let mut source = find(film)?;
    if seen_of(&source)?.is_none() {
        let job = Job::Watch(WatchJob {
            path: source.absolute.clone(),
            space: film.space(),
        });
        let seen: Seen = context
            .workers
            .run(&job, context.cancel, context.progress(Stage::Start, &name))
            .map_err(|error| naming(path, error))?;
        film.keep_seen(source.id, &seen)?;
        source = find(film)?;
    }
    let seen = seen_of(&source)?.unwrap_or_default();
    if seen.shots.is_empty() {
        return Err(AppError::Request(format!(
            "{name}: no shot in it, only {}; give the finished picture or a cut list (.otio or .edl)",
            seen.spans
                .first()
                .map_or("nothing", |span| span.what.word())
        )));
    }
    let probe = probe_of(&source)?;
    let rate = rate_of(&probe).unwrap_or(Rate::FILM);
    let start = counted(&probe).map_or(
        Timecode {
            frame: 0,
            drop: false,
        },
        |(_, start)| start,
    );
    let events: Vec<Event> = seen
        .shots
        .iter()
        .enumerate()
        .map(|(at, span)| event(at, *span, &seen, (&source, rate)))
        .collect();
    let linked = seen
        .shots
        .iter()
        .map(|(from, to)| Linked {
            source: 0,
            in_frame: *from,
            out_frame: *to,
            notes: Vec::new(),
        })
        .collect();
    Ok(Picture {
        list: CutList {
            title: film.name().to_owned(),
            rate,
            start,
            events,
            refused: Vec::new(),
            notes: Vec::new(),
        },
        source,
        linked,
    })
}

fn event(at: usize, (from, to): (u64, u64), seen: &Seen, (source, rate): (&Source, Rate)) -> Event {
    let dissolve = |at: u64| {
        seen.spans
            .iter()
            .find(|span| span.what == SpanKind::Dissolve && span.in_frame == at)
            .map(|span| Transition {
                kind: TransitionKind::Dissolve,
                before: 0,
                after: (span.out_frame - span.in_frame) as i64,
            })
    };
    Event {
        place: format!("frame {from}"),
        number: format!("{:03}", at + 1),
        track: "V".to_owned(),
        name: source
            .path
            .file_name()
            .map(|name| name.to_string_lossy().into_owned())
            .unwrap_or_default(),
        reel: None,
        scene: None,
        target: None,
        pictures: None,
        source: SourceSpan {
            rate,
            start: from as i64,
            end: to as i64,
            available: None,
        },
        record_in: from as i64,
        record_out: to as i64,
        speed: 1.0,
        head: dissolve(from),
        tail: dissolve(to),
        cdl: None,
        comments: Vec::new(),
    }
}

/// How the picture uses one of its shots.
pub(crate) fn used_in_picture(event: &Event) -> Used {
    Used {
        record_in: event.record_in,
        record_out: event.record_out,
        speed: 1.0,
        under_before: 0,
        under_after: 0,
        head: event.head,
        tail: event.tail,
        event: event.number.clone(),
        reel: None,
        scene: None,
        clip: event.name.clone(),
        listed: None,
    }
}
