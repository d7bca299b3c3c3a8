//! Reading.

use super::EdlError;
use super::lines::{RawEvent, take_apart};
use inkarnat_cut::{
    CutList, Event, Rate, Refused, SourceSpan, Timecode, TimecodeError, Transition, TransitionKind,
    flatten,
};

/// The reel that means black.
const BLACK: &str = "BL";
/// The reel that means anything without a reel.
const AUXILIARY: &str = "AX";

/// The times of an event as counts.
#[derive(Clone, Copy)]
struct Times {
    source: (i64, i64),
    record: (i64, i64),
}

/// Reads a list whose times are counted at a rate: sources and record alike.
///
/// What cannot be taken is refused by name, and the rest goes on.
///
/// # Errors
/// [`EdlError`] where the list as a whole cannot be trusted: no events, or times that do not exist
/// at this rate.
pub fn read(bytes: &[u8], rate: Rate) -> Result<CutList, EdlError> {
    let text = String::from_utf8_lossy(bytes);
    let lines = take_apart(&text);
    let pictures: Vec<&RawEvent> = lines.events.iter().filter(|e| has_picture(e)).collect();
    if pictures.is_empty() {
        return Err(match lines.malformed.first() {
            Some((line, _, text)) => EdlError::Line {
                line: *line,
                reason: no_event(text),
            },
            None => EdlError::Empty,
        });
    }
    let mut notes: Vec<String> = lines
        .unknown
        .iter()
        .map(|(line, text)| format!("line {line}: not known and left aside: {text}"))
        .collect();
    let drop = mode(&pictures, rate, &mut notes)?;
    let mut refused: Vec<Refused> = lines
        .malformed
        .iter()
        .map(|(line, number, text)| Refused {
            place: format!("line {line}"),
            name: named("", number),
            reason: no_event(text),
        })
        .collect();
    let mut tracks: Vec<(String, Vec<Event>)> = Vec::new();
    let mut start: Option<(i64, bool)> = None;
    for (at, raw) in pictures.iter().enumerate() {
        let times = match times(raw, rate, drop.unwrap_or(raw.drop)) {
            Ok(times) => times,
            Err(reason) => {
                refused.push(refuse(raw, reason));
                continue;
            }
        };
        // The outgoing side of a transition: of no length, with its other side under one number.
        let next = pictures.get(at + 1);
        if times.record.0 == times.record.1
            && next.is_some_and(|n| n.number == raw.number && n.kind != "C")
        {
            continue;
        }
        if start.is_none_or(|(first, _)| times.record.0 < first) {
            start = Some((times.record.0, drop.unwrap_or(raw.drop)));
        }
        let outgoing = at
            .checked_sub(1)
            .map(|before| pictures[before])
            .filter(|before| before.number == raw.number && raw.kind != "C");
        let track = track_of(&raw.channels);
        let events = match tracks.iter().position(|(name, _)| *name == track) {
            Some(position) => &mut tracks[position].1,
            None => {
                tracks.push((track.clone(), Vec::new()));
                let last = tracks.len() - 1;
                &mut tracks[last].1
            }
        };
        match event(raw, outgoing, times, (rate, &track), &mut notes) {
            Ok((event, head)) => {
                if let Some(before) = events.last_mut().filter(|e| e.record_out == times.record.0) {
                    before.tail = head;
                }
                if let Some(event) = event {
                    place(events, event, &mut refused);
                }
            }
            Err(reason) => refused.push(refuse(raw, reason)),
        }
    }
    tracks.sort_by(|a, b| a.0.cmp(&b.0));
    let tracks: Vec<Vec<Event>> = tracks.into_iter().map(|(_, events)| events).collect();
    let mut events = flatten(&tracks);
    let (first, dropping) = start.unwrap_or((0, false));
    for event in &mut events {
        event.record_in -= first;
        event.record_out -= first;
    }
    Ok(CutList {
        title: lines.title,
        rate,
        start: Timecode {
            frame: first,
            drop: dropping,
        },
        events,
        refused,
        notes,
    })
}

fn place(events: &mut Vec<Event>, event: Event, refused: &mut Vec<Refused>) {
    let over = events
        .iter()
        .find(|e| e.record_in < event.record_out && event.record_in < e.record_out);
    match over {
        None => events.push(event),
        Some(first) => refused.push(Refused {
            place: event.place.clone(),
            name: named(&event.name, &event.number),
            reason: format!(
                "overlaps event {} ({}) in record time; one of the two has to go",
                first.number, first.place
            ),
        }),
    }
}

fn no_event(text: &str) -> String {
    format!(
        "begins with an event's number and is no event: `{text}`; expected number, reel, channels, transition and four times, such as `001  A001  V  C  10:00:00:00 10:00:02:00 01:00:00:00 01:00:02:00`"
    )
}

fn named(name: &str, number: &str) -> String {
    if name.is_empty() {
        format!("event {number}")
    } else {
        name.to_owned()
    }
}

fn refuse(raw: &RawEvent, reason: String) -> Refused {
    let name = raw.to.as_ref().or(raw.from.as_ref()).map_or("", |n| n);
    Refused {
        place: format!("line {}", raw.line),
        name: named(name, &raw.number),
        reason,
    }
}

fn has_picture(raw: &RawEvent) -> bool {
    let channels = raw.channels.to_uppercase();
    channels.contains('V') || channels == "B"
}

/// `V`, `V2`…; what carries sound too counts as `V`.
fn track_of(channels: &str) -> String {
    channels
        .to_uppercase()
        .split('/')
        .find(|part| part.starts_with('V'))
        .unwrap_or("V")
        .to_owned()
}

fn times(raw: &RawEvent, rate: Rate, drop: bool) -> Result<Times, String> {
    let at = |which: usize| {
        Timecode::parse(&raw.times[which], rate, drop)
            .map(|t| t.frame)
            .map_err(|error| error.to_string())
    };
    Ok(Times {
        source: (at(0)?, at(1)?),
        record: (at(2)?, at(3)?),
    })
}

/// Whether times without a mark are drop-frame: as the list says (`None`), unless they only add up
/// the other way.
fn mode(
    events: &[&RawEvent],
    rate: Rate,
    notes: &mut Vec<String>,
) -> Result<Option<bool>, EdlError> {
    let differing = |forced: Option<bool>| -> Result<usize, EdlError> {
        let mut count = 0;
        for raw in events {
            let drop = forced.unwrap_or(raw.drop);
            for text in &raw.times {
                match Timecode::parse(text, rate, drop) {
                    // Only this event is in doubt.
                    Ok(_) | Err(TimecodeError::Form { .. }) => {}
                    Err(error) => {
                        return Err(EdlError::Line {
                            line: raw.line,
                            reason: error.to_string(),
                        });
                    }
                }
            }
            if raw.speed.is_none()
                && let Ok(times) = times(raw, rate, drop)
                && times.source.1 - times.source.0 != times.record.1 - times.record.0
            {
                count += 1;
            }
        }
        Ok(count)
    };
    let stated = differing(None);
    if rate.dropped().is_none() || stated.as_ref().is_ok_and(|count| *count == 0) {
        return stated.map(|_| None);
    }
    let says_drop = events.iter().any(|raw| raw.drop);
    if differing(Some(!says_drop)) == Ok(0) {
        let (said, is) = if says_drop {
            ("drop-frame", "non-drop")
        } else {
            ("non-drop", "drop-frame")
        };
        notes.push(format!(
            "the list is marked {said}, and its times only add up as {is}: read as {is}"
        ));
        return Ok(Some(!says_drop));
    }
    stated.map(|_| None)
}

/// The event of a line, `None` for black, and the transition that it comes in by.
fn event(
    raw: &RawEvent,
    outgoing: Option<&RawEvent>,
    times: Times,
    (rate, track): (Rate, &str),
    notes: &mut Vec<String>,
) -> Result<(Option<Event>, Option<Transition>), String> {
    let record = times.record.1 - times.record.0;
    if record <= 0 {
        return Err("an event of no length; take it out of the list".to_owned());
    }
    let kind = match raw.kind.as_bytes().first() {
        Some(b'C') => None,
        Some(b'D') => Some(TransitionKind::Dissolve),
        Some(b'W') => Some(TransitionKind::Wipe),
        _ => {
            return Err(format!(
                "a key or another effect ({}), which is not supported; hand it over as a picture",
                raw.kind
            ));
        }
    };
    let head = kind.map(|kind| Transition {
        kind,
        before: 0,
        after: raw.length.min(record),
    });
    if raw.reel.eq_ignore_ascii_case(BLACK) {
        return Ok((None, head));
    }
    let (mut start, mut end) = times.source;
    let mut speed = 1.0;
    if let Some(fps) = raw.speed {
        speed = speed_of(fps, rate, (start, end), record);
        if speed < 0.0 && start > end {
            (start, end) = (end, start);
        }
        let needed = if speed == 0.0 {
            1
        } else {
            ((record as f64 * speed.abs()) - 1e-6).ceil() as i64
        };
        let listed = end - start;
        let close = (listed - needed).abs() <= 1;
        if listed != record && !close && speed != 0.0 {
            notes.push(format!(
                "line {}: {listed} source frames are listed, and {record} frames at {speed} times the speed take {needed}: those are used",
                raw.line
            ));
        }
        // What is listed is whole; the speed has been rounded to a thousandth of a frame a second.
        end = start
            + if close && listed != record && speed != 0.0 {
                listed
            } else {
                needed
            };
    } else if end - start != record {
        return Err(format!(
            "{} source frames for {record} frames of the film, and no speed is given; export the list with speed changes (M2)",
            end - start
        ));
    }
    let name = if outgoing.is_some() || kind.is_some() {
        raw.to.clone().or_else(|| raw.from.clone())
    } else {
        raw.from.clone().or_else(|| raw.to.clone())
    };
    let event = Event {
        pictures: None,
        place: format!("line {}", raw.line),
        number: raw.number.clone(),
        track: track.to_owned(),
        name: name.unwrap_or_default(),
        reel: (!raw.reel.eq_ignore_ascii_case(AUXILIARY)).then(|| raw.reel.clone()),
        target: raw.file.clone(),
        source: SourceSpan {
            rate,
            start,
            end,
            available: None,
        },
        record_in: times.record.0,
        record_out: times.record.1,
        speed,
        head,
        tail: None,
        cdl: raw.cdl,
        scene: raw.scene.clone(),
        comments: raw.comments.clone(),
    };
    Ok((Some(event), head))
}

/// Speed from frames a second. 23.976 is written as 24 or as 23.976: the reading that fits the
/// listed source frames better holds.
fn speed_of(fps: f64, rate: Rate, source: (i64, i64), record: i64) -> f64 {
    let candidates = [fps / f64::from(rate.nominal()), fps / rate.value()];
    let listed = (source.1 - source.0).abs() as f64 / record as f64;
    let off = |speed: &f64| {
        let whole = (speed * 100.0 - (speed * 100.0).round()).abs();
        ((speed.abs() - listed).abs(), whole)
    };
    let (first, second) = (off(&candidates[0]), off(&candidates[1]));
    // Both alike by the frames: a whole percentage is what somebody typed.
    let close = (first.0 - second.0).abs() < 1.0 / record as f64;
    let take_first = if close {
        first.1 <= second.1 + 1e-9
    } else {
        first.0 < second.0
    };
    let at = usize::from(!take_first);
    let speed = candidates[at];
    // A whole percentage that is written with these three decimals is what was meant.
    let whole = (speed * 100.0).round() / 100.0;
    let base = [f64::from(rate.nominal()), rate.value()][at];
    if whole != 0.0 && (whole * base - fps).abs() <= 0.000_51 {
        whole
    } else {
        speed
    }
}
