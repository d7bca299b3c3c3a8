//! Writing.

use inkarnat_cut::{CutList, Event, Timecode, Transition, TransitionKind};
use std::fmt::Write;

/// Characters that a reel name has room for.
const REEL: usize = 8;

/// The text of a list. Reel names are cut to eight characters without spaces, as the oldest readers
/// expect; clip names stand in full beside them. A transition over the cut begins where its first
/// frame is, since the format has no other.
#[must_use]
pub fn write(list: &CutList) -> String {
    let drop = list.start.drop && list.rate.dropped().is_some();
    let mode = if drop { "DROP FRAME" } else { "NON-DROP FRAME" };
    let title = one_line(&list.title);
    let mut out = format!("TITLE: {title}\nFCM: {mode}\n");
    let mut number = 0;
    for (index, event) in list.events.iter().enumerate() {
        let before = index
            .checked_sub(1)
            .map(|at| &list.events[at])
            .filter(|before| before.record_out == event.record_in);
        out.push('\n');
        number += 1;
        write_event(&mut out, list, number, before, event, drop);
        let next = list.events.get(index + 1).map(|next| next.record_in);
        // A transition to the next event is written with that one; a fade out stands alone.
        if let Some(tail) = event.tail.filter(|_| next != Some(event.record_out)) {
            out.push('\n');
            number += 1;
            write_fade_out(&mut out, list, number, (event, tail), drop);
        }
    }
    out
}

fn one_line(text: &str) -> String {
    text.split_whitespace().collect::<Vec<_>>().join(" ")
}

fn reel_of(event: &Event) -> String {
    let name = event.reel.as_deref().unwrap_or("AX");
    let plain: String = name
        .chars()
        .map(|c| if c.is_whitespace() { '_' } else { c })
        .take(REEL)
        .collect();
    if plain.is_empty() {
        "AX".to_owned()
    } else {
        plain
    }
}

fn name_of(event: &Event) -> String {
    let name = if event.name.is_empty() {
        event.target.as_deref().unwrap_or_default()
    } else {
        &event.name
    };
    one_line(name.rsplit('/').next().unwrap_or(name))
}

/// The black that an event fades into: as long as the transition.
fn write_fade_out(
    out: &mut String,
    list: &CutList,
    number: usize,
    (event, tail): (&Event, Transition),
    drop: bool,
) {
    let record = |frame: i64| {
        Timecode {
            frame: list.start.frame + frame,
            drop,
        }
        .text(list.rate)
    };
    let length = tail.before + tail.after;
    let source_drop = drop && event.source.rate.dropped().is_some();
    let at = Timecode {
        frame: event.source.end,
        drop: source_drop,
    }
    .text(event.source.rate);
    let black = |frame: i64| Timecode { frame, drop }.text(list.rate);
    let from = event.record_out - tail.before;
    let (reel, here) = (reel_of(event), record(from));
    let letter = letter_of(tail.kind);
    let _ = writeln!(
        out,
        "{number:03}  {reel:<REEL$} V     C        {at} {at} {here} {here}"
    );
    let _ = writeln!(
        out,
        "{number:03}  {:<REEL$} V     {letter}{length:03} {} {} {here} {}",
        "BL",
        black(0),
        black(length),
        record(from + length)
    );
}

const fn letter_of(kind: TransitionKind) -> &'static str {
    match kind {
        TransitionKind::Dissolve => "D    ",
        TransitionKind::Wipe => "W001 ",
    }
}

fn write_event(
    out: &mut String,
    list: &CutList,
    number: usize,
    before: Option<&Event>,
    event: &Event,
    drop: bool,
) {
    let record = |frame: i64| {
        Timecode {
            frame: list.start.frame + frame,
            drop,
        }
        .text(list.rate)
    };
    let source = |event: &Event, frame: i64| {
        let drop = drop && event.source.rate.dropped().is_some();
        Timecode { frame, drop }.text(event.source.rate)
    };
    // Frames that the transition before the cut takes from the event's own head and tail.
    let early = event.head.map_or(0, |t| t.before);
    let late = event.tail.map_or(0, |t| t.before);
    let (record_in, record_out) = (event.record_in - early, event.record_out - late);
    let reach = |frames: i64| (frames as f64 * event.speed.abs()).round() as i64;
    let (start, end) = if event.speed == 0.0 {
        (event.source.start, event.source.end)
    } else if event.speed < 0.0 {
        (
            event.source.start + reach(late),
            event.source.end + reach(early),
        )
    } else {
        (
            event.source.start - reach(early),
            event.source.end - reach(late),
        )
    };
    let reel = reel_of(event);
    let kind = match event.head {
        None => "C        ".to_owned(),
        Some(head) => {
            let (reel, at) = match before {
                Some(before) => {
                    let over = before.tail.map_or(0, |t| t.before);
                    (reel_of(before), source(before, before.source.end - over))
                }
                None => ("BL".to_owned(), source(event, 0)),
            };
            let here = record(record_in);
            let _ = writeln!(
                out,
                "{number:03}  {reel:<REEL$} V     C        {at} {at} {here} {here}"
            );
            let letter = letter_of(head.kind);
            format!("{letter}{:03} ", head.before + head.after)
        }
    };
    let _ = writeln!(
        out,
        "{number:03}  {reel:<REEL$} V     {kind}{} {} {} {}",
        source(event, start),
        source(event, end),
        record(record_in),
        record(record_out)
    );
    if event.speed != 1.0 {
        let fps = event.speed * list.rate.value();
        let sign = if fps < 0.0 { "-" } else { "" };
        let _ = writeln!(
            out,
            "M2   {reel:<REEL$} {sign}{:07.3}                {}",
            fps.abs(),
            source(event, start)
        );
    }
    if event.head.is_some() {
        if let Some(before) = before {
            let _ = writeln!(out, "* FROM CLIP NAME: {}", name_of(before));
        }
        let _ = writeln!(out, "* TO CLIP NAME: {}", name_of(event));
    } else if !name_of(event).is_empty() {
        let _ = writeln!(out, "* FROM CLIP NAME: {}", name_of(event));
    }
    if let Some(cdl) = &event.cdl {
        let triple = |v: [f64; 3]| format!("({:.6} {:.6} {:.6})", v[0], v[1], v[2]);
        let _ = writeln!(
            out,
            "* ASC_SOP {}{}{}",
            triple(cdl.slope),
            triple(cdl.offset),
            triple(cdl.power)
        );
        let _ = writeln!(out, "* ASC_SAT {:.6}", cdl.saturation);
    }
    if let Some(scene) = &event.scene {
        let _ = writeln!(out, "* SCENE: {}", one_line(scene));
    }
    for comment in &event.comments {
        let _ = writeln!(out, "* {}", one_line(comment));
    }
}
