//! The film as cut lists that other programs read: once of its sources, with the corrections as CDLs, and once of the clips
//! that were handed over.

use crate::exports::{ExportFile, Said, cdl_of_shot};
use crate::files::Output;
use crate::steps::cutting::{Used, used_of};
use crate::steps::fixing::FixRecord;
use crate::steps::handing::span_of_clip;
use crate::steps::recutting::{common_rate, facts_of};
use crate::{AppError, Result};
use inkarnat_cut::{CutList, Event, Pictures, Rate, SourceFacts, SourceSpan, Timecode};
use inkarnat_film::{Deliverable, Film, SetupId, Shot, Source};
use inkarnat_interchange::{edl, otio};
use inkarnat_ops::Cdl;
use std::path::{Component, Path};

/// Where lists lie below the output directory.
const LISTS: &str = "lists";

/// The lists, and what is missing in them.
pub(crate) struct Lists {
    pub(crate) files: Vec<ExportFile>,
    pub(crate) notes: Vec<String>,
}

/// The lists of the given shots. `changes`: they are not the whole film, and get names of their own beside it.
pub(crate) fn of_film(
    film: &Film,
    output: &Output,
    shots: &[Shot],
    changes: bool,
) -> Result<Lists> {
    let frame = Frame::of(film, changes)?;
    let sources = film.sources()?;
    let delivered = film.deliverables()?;
    let lists_at = output.at(LISTS);
    let mut of_sources = Vec::new();
    let mut of_clips = Vec::new();
    // Shots that no list uses follow each other.
    let mut record = 0;
    for shot in film.shots()? {
        let Some(source) = sources.iter().find(|source| source.id == shot.source) else {
            continue;
        };
        let facts = facts_of(source)?;
        let used = used_of(&shot)?;
        let at = (lists_at.as_path(), frame.rate, record);
        let event = event_of(&shot, source, &facts, used.as_ref(), at);
        record = event.record_out;
        if !shots.iter().any(|chosen| chosen.id == shot.id) {
            continue;
        }
        let clip = delivered.iter().find(|file| {
            file.kind == "clip" && file.shot == Some(shot.id) && output.holds(&file.path)
        });
        if let Some(clip) = clip {
            of_clips.push(of_clip(&event, source, (&shot, &facts), (clip, &lists_at)));
        }
        of_sources.push(Event {
            cdl: cdl_of(film, &shot)?.0,
            comments: cdl_of(film, &shot)?.1,
            ..event
        });
    }
    let mut lists = Lists {
        files: Vec::new(),
        notes: Vec::new(),
    };
    for (events, suffix) in [(of_sources, ""), (of_clips, "_delivered")] {
        if !events.is_empty() {
            frame.write(&format!("{}{suffix}", frame.name), events, &mut lists);
        }
    }
    Ok(lists)
}

/// What the events of all lists stand in.
struct Frame {
    name: String,
    title: String,
    rate: Rate,
    start: Timecode,
}

impl Frame {
    fn of(film: &Film, changes: bool) -> Result<Self> {
        let suffix = if changes { "_changes" } else { "" };
        let name = format!("{}{suffix}", film.name());
        let known: Option<CutList> = film.cut_list().map_err(AppError::Film)?;
        Ok(match known {
            Some(list) => Self {
                title: if list.title.is_empty() {
                    name.clone()
                } else {
                    list.title
                },
                name,
                rate: list.rate,
                start: list.start,
            },
            // Clips that no list uses, one after another from an hour on: common practice, no source.
            None => {
                let rate = common_rate(film)?.unwrap_or(Rate::FILM);
                Self {
                    title: name.clone(),
                    name,
                    rate,
                    start: Timecode {
                        frame: 3600 * i64::from(rate.nominal()),
                        drop: false,
                    },
                }
            }
        })
    }

    fn write(&self, name: &str, events: Vec<Event>, lists: &mut Lists) {
        let list = |events| CutList {
            title: self.title.clone(),
            rate: self.rate,
            start: self.start,
            events,
            refused: Vec::new(),
            notes: Vec::new(),
        };
        let mut put = |ending: &str, text: String| {
            lists.files.push(ExportFile {
                below: format!("{LISTS}/{name}.{ending}"),
                kind: "list",
                bytes: text.into_bytes(),
            });
        };
        put("otio", otio::write(&list(events.clone())));
        // All times of an EDL are counted at one rate.
        let (counted, other): (Vec<Event>, Vec<Event>) = events
            .into_iter()
            .partition(|event| event.source.rate.counts_like(self.rate));
        if !counted.is_empty() {
            put("edl", edl::write(&list(counted)));
        }
        for event in other {
            lists.notes.push(format!(
                "{} runs at {} frames a second and an EDL counts at one rate, here {}: it is left out of {name}.edl; use {name}.otio",
                event.name, event.source.rate, self.rate
            ));
        }
    }
}

/// The CDL of a shot, and what is said beside it.
fn cdl_of(film: &Film, shot: &Shot) -> Result<(Option<Cdl>, Vec<String>)> {
    let setup = setup_name(film, shot.setup)?;
    let mut comments = vec![format!("SHOT: {}", shot.name)];
    if shot.kept {
        comments.push("CORRECTION: none, the shot is kept as it is".to_owned());
        return Ok((None, comments));
    }
    let Some((_, record)) = film.fix::<FixRecord>(shot.setup)? else {
        comments.push("CORRECTION: none was made".to_owned());
        return Ok((None, comments));
    };
    let (said, warning) = cdl_of_shot(&record, shot);
    let (cdl, what) = match said {
        Said::Exact(cdl) => (
            Some(cdl),
            "the fix itself, to be applied without clamping".to_owned(),
        ),
        Said::Nearest(cdl, missing) => (Some(cdl), missing),
        Said::None(why) => (None, format!("not in this list: {why}")),
    };
    comments.push(format!("CORRECTION {setup}: {what}"));
    comments.extend(warning.map(|warning| format!("CORRECTION {setup}: {warning}")));
    Ok((cdl, comments))
}

fn setup_name(film: &Film, id: SetupId) -> Result<String> {
    Ok(film
        .setups()?
        .into_iter()
        .find(|setup| setup.id == id)
        .map(|setup| setup.name)
        .unwrap_or_default())
}

/// A shot as its cut list has it, or whole.
fn event_of(
    shot: &Shot,
    source: &Source,
    facts: &SourceFacts,
    used: Option<&Used>,
    (lists, rate, record): (&Path, Rate, i64),
) -> Event {
    let first = facts.start.unwrap_or(0);
    let file = file_name(&source.absolute);
    // The list's own count of the source, where there is one: it is what the editing program knows.
    let listed = used.and_then(|used| used.listed);
    let (start, end) = match listed {
        Some(span) => (span.start, span.end),
        None => (first + shot.in_frame as i64, first + shot.out_frame as i64),
    };
    let source_rate = listed.map_or(facts.rate, |span| span.rate);
    let begins = start - shot.in_frame as i64;
    let begins = if (begins - first).abs() <= 1 {
        first
    } else {
        begins
    };
    let length = facts.rate.convert(end - start, rate).max(1);
    Event {
        place: String::new(),
        number: used.map_or_else(String::new, |used| used.event.clone()),
        track: "V".to_owned(),
        name: used
            .map(|used| used.clip.clone())
            .filter(|clip| !clip.is_empty())
            .unwrap_or_else(|| file.clone()),
        reel: used
            .and_then(|used| used.reel.clone())
            .or_else(|| facts.reel.clone()),
        target: Some(way(lists, &source.absolute)),
        pictures: pictures(&source.absolute),
        source: SourceSpan {
            rate: source_rate,
            start,
            end,
            available: Some((begins, begins + source.frames as i64)),
        },
        record_in: used.map_or(record, |used| used.record_in),
        record_out: used.map_or(record + length, |used| used.record_out),
        speed: used.map_or(1.0, |used| used.speed),
        head: used.and_then(|used| used.head),
        tail: used.and_then(|used| used.tail),
        cdl: None,
        scene: used.and_then(|used| used.scene.clone()),
        comments: Vec::new(),
    }
}

/// The same use of the clip that was handed over, which has the correction in it.
fn of_clip(
    event: &Event,
    source: &Source,
    (shot, facts): (&Shot, &SourceFacts),
    (clip, lists): (&Deliverable, &Path),
) -> Event {
    let (first, frames) = span_of_clip(clip, source);
    // It counts on from its source's timecode, or from 0 where that has none.
    let begins = facts.start.map_or(0, |start| start + first as i64);
    let start = begins + shot.in_frame as i64 - first as i64;
    Event {
        name: file_name(&clip.path),
        reel: None,
        target: Some(way(lists, &clip.path)),
        pictures: pictures(&clip.path),
        source: SourceSpan {
            rate: facts.rate,
            start,
            end: start + (event.source.end - event.source.start),
            available: Some((begins, begins + frames as i64)),
        },
        comments: vec![
            format!("SHOT: {}", shot.name),
            "CORRECTION: in the clip already".to_owned(),
        ],
        ..event.clone()
    }
}

/// How the pictures are named, where a path is a folder of them.
fn pictures(path: &Path) -> Option<Pictures> {
    let names = inkarnat_media::picture_names(path)?;
    Some(Pictures {
        prefix: names.prefix,
        suffix: names.suffix,
        first: i64::try_from(names.first).ok()?,
        digits: names.digits,
    })
}

fn file_name(path: &Path) -> String {
    path.file_name()
        .map_or_else(String::new, |name| name.to_string_lossy().into_owned())
}

/// The way from a directory to a file as a relative URL reference (RFC 3986): a folder that is moved as a whole keeps it,
/// and it names nothing that is above both.
fn way(from: &Path, to: &Path) -> String {
    let (from, to): (Vec<Component<'_>>, Vec<Component<'_>>) =
        (from.components().collect(), to.components().collect());
    let shared = from.iter().zip(&to).take_while(|(a, b)| a == b).count();
    let up = std::iter::repeat_n("..".to_owned(), from.len() - shared);
    let down = to[shared..]
        .iter()
        .map(|part| encoded(&part.as_os_str().to_string_lossy()));
    up.chain(down).collect::<Vec<_>>().join("/")
}

/// A name as a part of a URL: all but unreserved characters percent-encoded (RFC 3986).
fn encoded(name: &str) -> String {
    let mut text = String::new();
    for byte in name.bytes() {
        if byte.is_ascii_alphanumeric() || b"-._~".contains(&byte) {
            text.push(char::from(byte));
        } else {
            text.push_str(&format!("%{byte:02X}"));
        }
    }
    text
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn ways_lead_there() {
        let way = |from: &str, to: &str| way(Path::new(from), Path::new(to));
        assert_eq!(way("/a/out/lists", "/a/b c.mov"), "../../b%20c.mov");
        assert_eq!(way("/a/lists", "/a/lists/x.mov"), "x.mov");
        assert_eq!(way("/a/lists", "/b/ü%.mov"), "../../b/%C3%BC%25.mov");
        assert_eq!(inkarnat_cut::plain("../%C3%BC%25.mov"), "../ü%.mov");
    }
}
