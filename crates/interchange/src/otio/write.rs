//! Writing.

use inkarnat_cut::{CutList, Event, Rate, Transition, TransitionKind};
use serde_json::{Map, Value, json};

/// The text of a list as an OpenTimelineIO timeline with one video track.
///
/// # Panics
/// Never: plain values serialise.
#[must_use]
pub fn write(list: &CutList) -> String {
    let mut children = Vec::new();
    let mut at = 0;
    for (index, event) in list.events.iter().enumerate() {
        if event.record_in > at {
            children.push(gap(event.record_in - at, list.rate));
        }
        if let Some(head) = event.head {
            children.push(transition(head, list.rate));
        }
        children.push(clip(event, list.rate));
        at = event.record_out;
        // A transition to the next event is written with that one; a fade out stands alone.
        let next = list.events.get(index + 1).map(|next| next.record_in);
        if let Some(tail) = event.tail.filter(|_| next != Some(at)) {
            children.push(transition(tail, list.rate));
            if next.is_none() {
                children.push(gap(tail.after.max(1), list.rate));
            }
        }
    }
    let timeline = json!({
        "OTIO_SCHEMA": "Timeline.1",
        "name": list.title,
        "global_start_time": time(list.start.frame, list.rate),
        "metadata": { "drop_frame": list.start.drop },
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
    });
    let mut text = serde_json::to_string_pretty(&timeline).expect("plain values serialise");
    text.push('\n');
    text
}

fn gap(frames: i64, rate: Rate) -> Value {
    json!({
        "OTIO_SCHEMA": "Gap.1",
        "name": "",
        "source_range": range(0, frames, rate),
        "metadata": {}, "effects": [], "markers": [], "enabled": true,
    })
}

fn time(value: i64, rate: Rate) -> Value {
    json!({ "OTIO_SCHEMA": "RationalTime.1", "rate": rate.value(), "value": value as f64 })
}

fn range(start: i64, duration: i64, rate: Rate) -> Value {
    json!({
        "OTIO_SCHEMA": "TimeRange.1",
        "start_time": time(start, rate),
        "duration": time(duration, rate),
    })
}

fn transition(transition: Transition, rate: Rate) -> Value {
    let kind = match transition.kind {
        TransitionKind::Dissolve => "SMPTE_Dissolve",
        TransitionKind::Wipe => "Custom_Transition",
    };
    json!({
        "OTIO_SCHEMA": "Transition.1",
        "name": "",
        "transition_type": kind,
        "in_offset": time(transition.before, rate),
        "out_offset": time(transition.after, rate),
        "metadata": {},
    })
}

fn clip(event: &Event, record: Rate) -> Value {
    let rate = event.source.rate;
    // The length in the film, counted at the source's rate.
    let frames = record.convert(event.frames(), rate);
    let mut metadata = Map::new();
    let mut own = Map::new();
    if let Some(reel) = &event.reel {
        own.insert("reel".to_owned(), json!(reel));
    }
    if !event.comments.is_empty() {
        own.insert("comments".to_owned(), json!(event.comments));
    }
    if let Some(scene) = &event.scene {
        metadata.insert("scene".to_owned(), json!(scene));
    }
    if !own.is_empty() {
        metadata.insert("cmx_3600".to_owned(), Value::Object(own));
    }
    if let Some(cdl) = &event.cdl {
        let numbers = json!({
            "asc_sop": { "slope": cdl.slope, "offset": cdl.offset, "power": cdl.power },
            "asc_sat": cdl.saturation,
        });
        metadata.insert("cdl".to_owned(), numbers);
    }
    let effects = if event.speed == 1.0 {
        json!([])
    } else {
        let schema = if event.speed == 0.0 {
            "FreezeFrame.1"
        } else {
            "LinearTimeWarp.1"
        };
        json!([{
            "OTIO_SCHEMA": schema,
            "name": "",
            "effect_name": schema.split('.').next(),
            "time_scalar": event.speed,
            "metadata": {},
        }])
    };
    let available = event
        .source
        .available
        .map(|(first, end)| range(first, end - first, rate));
    let media = match (&event.target, &event.pictures) {
        (None, _) => json!({
            "OTIO_SCHEMA": "MissingReference.1",
            "name": event.name, "available_range": null, "available_image_bounds": null,
            "metadata": {},
        }),
        (Some(folder), Some(pictures)) => json!({
            "OTIO_SCHEMA": "ImageSequenceReference.1",
            "name": event.name,
            "target_url_base": format!("{folder}/"),
            "name_prefix": pictures.prefix,
            "name_suffix": pictures.suffix,
            "start_frame": pictures.first,
            "frame_step": 1,
            "rate": rate.value(),
            "frame_zero_padding": pictures.digits,
            "missing_frame_policy": "error",
            "available_range": available,
            "available_image_bounds": null,
            "metadata": {},
        }),
        (Some(target), None) => json!({
            "OTIO_SCHEMA": "ExternalReference.1",
            "name": event.name,
            "target_url": target,
            "available_range": available,
            "available_image_bounds": null,
            "metadata": {},
        }),
    };
    json!({
        "OTIO_SCHEMA": "Clip.2",
        "name": event.name,
        "source_range": range(event.source.start, frames, rate),
        "metadata": metadata,
        "markers": [],
        "effects": effects,
        "enabled": true,
        "active_media_reference_key": "DEFAULT_MEDIA",
        "media_references": { "DEFAULT_MEDIA": media },
    })
}
