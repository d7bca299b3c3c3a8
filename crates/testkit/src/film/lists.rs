//! Cut lists: a CMX-style EDL and OpenTimelineIO.

use std::fmt::Write;

use serde_json::{Value, json};

use super::scenario::{Use, take};
use super::shooting::reel;
use super::{RATE, timecode};

/// First record timecode of the film: one hour.
pub const RECORD_START: u64 = 3600 * RATE;

/// The film as a CMX-style edit decision list. File names carry the ending `.mov`.
#[must_use]
pub fn edl(title: &str, cut: &[Use]) -> String {
    let mut out = format!("TITLE: {title}\nFCM: NON-DROP FRAME\n\n");
    let mut record = RECORD_START;
    for (number, u) in cut.iter().enumerate() {
        let t = take(u.take);
        let source = t.start + u.from;
        let line = |out: &mut String, reel: &str, kind: &str, source: u64, length: u64| {
            let _ = writeln!(
                out,
                "{:03}  {reel:<8} V     {kind:<8} {} {} {} {}",
                number + 1,
                timecode(source),
                timecode(source + length),
                timecode(record),
                timecode(record + length),
            );
        };
        if u.dissolve > 0 {
            let before = &cut[number - 1];
            let from = take(before.take);
            line(
                &mut out,
                reel(&from),
                "C",
                from.start + before.from + before.frames,
                0,
            );
            line(
                &mut out,
                reel(&t),
                &format!("D    {:03}", u.dissolve),
                source,
                u.frames,
            );
            let _ = writeln!(out, "* FROM CLIP NAME: {}.mov", from.name);
            let _ = writeln!(out, "* TO CLIP NAME: {}.mov", t.name);
        } else {
            line(&mut out, reel(&t), "C", source, u.frames);
            let _ = writeln!(out, "* FROM CLIP NAME: {}.mov", t.name);
        }
        out.push('\n');
        record += u.frames;
    }
    out
}

fn time(value: u64) -> Value {
    json!({ "OTIO_SCHEMA": "RationalTime.1", "rate": RATE as f64, "value": value as f64 })
}

fn range(start: u64, duration: u64) -> Value {
    json!({ "OTIO_SCHEMA": "TimeRange.1", "start_time": time(start), "duration": time(duration) })
}

/// The film as OpenTimelineIO. Media are named relative to the list, in `clips/`.
#[must_use]
pub fn otio(title: &str, cut: &[Use]) -> Value {
    let mut children = Vec::new();
    for (number, u) in cut.iter().enumerate() {
        let t = take(u.take);
        if u.dissolve > 0 {
            children.push(json!({
                "OTIO_SCHEMA": "Transition.1",
                "name": format!("dissolve to {}", t.name),
                "transition_type": "SMPTE_Dissolve",
                "in_offset": time(0),
                "out_offset": time(u.dissolve),
                "metadata": {},
            }));
        }
        children.push(json!({
            "OTIO_SCHEMA": "Clip.2",
            "name": t.name,
            "source_range": range(t.start + u.from, u.frames),
            "metadata": { "shot": number + 1, "scene": u.scene, "reel": reel(&t) },
            "markers": [],
            "effects": [],
            "enabled": true,
            "active_media_reference_key": "DEFAULT_MEDIA",
            "media_references": { "DEFAULT_MEDIA": {
                "OTIO_SCHEMA": "ExternalReference.1",
                "target_url": format!("clips/{}.mov", t.name),
                "available_range": range(t.start, t.frames),
                "metadata": {},
                "name": t.name,
            }},
        }));
    }
    json!({
        "OTIO_SCHEMA": "Timeline.1",
        "name": title,
        "global_start_time": time(RECORD_START),
        "metadata": {},
        "tracks": {
            "OTIO_SCHEMA": "Stack.1",
            "name": "tracks",
            "metadata": {}, "markers": [], "effects": [], "enabled": true, "source_range": null,
            "children": [{
                "OTIO_SCHEMA": "Track.1",
                "name": "V1",
                "kind": "Video",
                "metadata": {}, "markers": [], "effects": [], "enabled": true, "source_range": null,
                "children": children,
            }],
        },
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::film::scenario::cut;

    #[test]
    fn the_lists_hold_every_shot() {
        let cut = cut();
        let text = edl("T", &cut);
        assert_eq!(
            text.matches("CLIP NAME").count(),
            cut.len() + 1,
            "one dissolve names two clips"
        );
        assert!(
            text.contains("013  D002     V     C        10:14:37:14 10:14:37:14"),
            "{text}"
        );
        assert!(text.contains("013  C002     V     D    016 "), "{text}");
        let list = otio("T", &cut);
        let children = list["tracks"]["children"][0]["children"]
            .as_array()
            .expect("a track");
        assert_eq!(children.len(), cut.len() + 1);
    }
}
