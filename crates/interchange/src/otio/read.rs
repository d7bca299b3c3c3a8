//! Reading.

use super::OtioError;
use inkarnat_cut::{
    CutList, Event, Pictures, Rate, Refused, SourceSpan, Timecode, Transition, TransitionKind,
    flatten,
};
use inkarnat_ops::Cdl;
use serde_json::Value;

/// A time, or a length of it.
#[derive(Clone, Copy, Debug)]
struct Time {
    value: f64,
    rate: Rate,
}

impl Time {
    fn of(value: &Value) -> Option<Self> {
        let number = value["value"].as_f64().filter(|v| v.is_finite())?;
        let rate = Rate::of_f64(value["rate"].as_f64()?)?;
        // Counts beyond this are no frames.
        (number.abs() < 1e12).then_some(Self {
            value: number,
            rate,
        })
    }

    fn at(self, rate: Rate) -> f64 {
        if self.rate == rate {
            self.value
        } else {
            self.value / self.rate.value() * rate.value()
        }
    }
}

/// A time range.
#[derive(Clone, Copy, Debug)]
struct Range {
    start: Time,
    duration: Time,
}

impl Range {
    fn of(value: &Value) -> Option<Self> {
        Some(Self {
            start: Time::of(&value["start_time"])?,
            duration: Time::of(&value["duration"]).filter(|d| d.value >= 0.0)?,
        })
    }
}

/// What has been gathered so far.
struct Reading {
    rate: Rate,
    refused: Vec<Refused>,
    notes: Vec<String>,
}

/// What is wrong, without the place that the parser puts after it.
fn without_place(error: &serde_json::Error) -> String {
    let text = error.to_string();
    let place = format!(" at line {} column {}", error.line(), error.column());
    text.strip_suffix(&place).unwrap_or(&text).to_owned()
}

/// Reads a timeline. What cannot be taken is refused by name, and the rest goes on.
///
/// # Errors
/// [`OtioError`] where it is no timeline, or has no clips.
pub fn read(bytes: &[u8]) -> Result<CutList, OtioError> {
    let bytes = bytes.strip_prefix(b"\xef\xbb\xbf").unwrap_or(bytes);
    let root: Value = serde_json::from_slice(bytes).map_err(|error| OtioError::Json {
        line: error.line(),
        column: error.column(),
        reason: without_place(&error),
    })?;
    let timeline = timeline_of(&root)?;
    let tracks: Vec<&Value> = timeline["tracks"]["children"]
        .as_array()
        .into_iter()
        .flatten()
        .filter(|t| schema(t) == "Track" && t["kind"].as_str().unwrap_or("Video") == "Video")
        .collect();
    let others = timeline["tracks"]["children"]
        .as_array()
        .into_iter()
        .flatten()
        .filter(|t| schema(t) != "Track");
    let Some(rate) = record_rate(timeline, &tracks) else {
        return Err(OtioError::Empty);
    };
    let mut reading = Reading {
        rate,
        refused: Vec::new(),
        notes: Vec::new(),
    };
    for other in others {
        reading.refused.push(Refused {
            place: "tracks".to_owned(),
            name: name_of(other),
            reason: format!(
                "a {} among the tracks, which is not supported; flatten it before exporting",
                schema(other)
            ),
        });
    }
    let events: Vec<Vec<Event>> = tracks
        .iter()
        .enumerate()
        .map(|(at, track)| reading.track(at, track))
        .collect();
    let events = flatten(&events);
    if events.is_empty() && reading.refused.is_empty() {
        return Err(OtioError::Empty);
    }
    let start = Time::of(&timeline["global_start_time"]).map_or(0.0, |t| t.at(rate));
    Ok(CutList {
        title: name_of(timeline),
        rate,
        start: Timecode {
            frame: start.round() as i64,
            drop: timeline["metadata"]["drop_frame"]
                .as_bool()
                .unwrap_or(false),
        },
        events,
        refused: reading.refused,
        notes: reading.notes,
    })
}

/// `Clip` of `Clip.2`.
fn schema(value: &Value) -> &str {
    let text = value["OTIO_SCHEMA"]
        .as_str()
        .unwrap_or("value without a schema");
    text.split('.').next().unwrap_or(text)
}

fn name_of(value: &Value) -> String {
    value["name"].as_str().unwrap_or_default().to_owned()
}

fn timeline_of(root: &Value) -> Result<&Value, OtioError> {
    let found = |found: String| Err(OtioError::Form { found });
    match schema(root) {
        "Timeline" => Ok(root),
        "SerializableCollection" => {
            let timelines: Vec<&Value> = root["children"]
                .as_array()
                .into_iter()
                .flatten()
                .filter(|child| schema(child) == "Timeline")
                .collect();
            match timelines.as_slice() {
                [one] => Ok(one),
                several => found(format!(
                    "a collection of {} timelines (export one of them)",
                    several.len()
                )),
            }
        }
        other => found(format!("a {other}")),
    }
}

/// The rate that record time is counted at: the timeline's own, else that of its first clip.
fn record_rate(timeline: &Value, tracks: &[&Value]) -> Option<Rate> {
    let of_items = tracks.iter().find_map(|track| {
        track["children"]
            .as_array()?
            .iter()
            .find_map(|item| Some(item_range(item)?.duration.rate))
    });
    Time::of(&timeline["global_start_time"])
        .map(|t| t.rate)
        .filter(|rate| of_items.is_none_or(|of| of.counts_like(*rate)))
        .or(of_items)
}

fn media_of(clip: &Value) -> &Value {
    let references = &clip["media_references"];
    if references.is_object() {
        let key = clip["active_media_reference_key"]
            .as_str()
            .unwrap_or("DEFAULT_MEDIA");
        &references[key]
    } else {
        &clip["media_reference"]
    }
}

/// The range of an item, where it can be told.
fn item_range(item: &Value) -> Option<Range> {
    Range::of(&item["source_range"]).or_else(|| match schema(item) {
        "Clip" => Range::of(&media_of(item)["available_range"]),
        "Track" => {
            let parts: Vec<Range> = item["children"]
                .as_array()?
                .iter()
                .filter(|child| schema(child) != "Transition")
                .map(item_range)
                .collect::<Option<_>>()?;
            let rate = parts.first()?.duration.rate;
            let value = parts.iter().map(|part| part.duration.at(rate)).sum();
            Some(Range {
                start: Time { value: 0.0, rate },
                duration: Time { value, rate },
            })
        }
        "Stack" | "Timeline" => {
            let children = match schema(item) {
                "Timeline" => &item["tracks"]["children"],
                _ => &item["children"],
            };
            children
                .as_array()?
                .iter()
                .filter_map(item_range)
                .max_by(|a, b| {
                    let seconds = |r: &Range| r.duration.value / r.duration.rate.value();
                    seconds(a).total_cmp(&seconds(b))
                })
        }
        _ => None,
    })
}

impl Reading {
    fn track(&mut self, index: usize, track: &Value) -> Vec<Event> {
        let name = match name_of(track) {
            name if name.is_empty() => format!("V{}", index + 1),
            name => name,
        };
        let empty = Vec::new();
        let items = track["children"].as_array().unwrap_or(&empty);
        let mut events: Vec<Event> = Vec::new();
        let mut at = 0.0_f64;
        let mut incoming: Option<Transition> = None;
        for (number, item) in items.iter().enumerate() {
            let place = format!("track {name}, item {}", number + 1);
            if schema(item) == "Transition" {
                incoming = self.transition(item, &place);
                let here = at.round() as i64;
                if let Some(before) = events.last_mut().filter(|e| e.record_out == here) {
                    before.tail = incoming;
                }
                continue;
            }
            let head = incoming.take();
            let Some(range) = item_range(item) else {
                self.refuse(item, &place, "has no length: neither source_range nor available_range is there, so everything after it may stand at another time".to_owned());
                continue;
            };
            let from = at;
            at += range.duration.at(self.rate);
            let record = (from.round() as i64, at.round() as i64);
            match self.item(item, range, record, (&place, &name)) {
                Ok(None) => {}
                Ok(Some(event)) => events.push(Event {
                    number: (number + 1).to_string(),
                    head,
                    ..event
                }),
                Err(reason) => self.refuse(item, &place, reason),
            }
        }
        events
    }

    fn refuse(&mut self, item: &Value, place: &str, reason: String) {
        let name = match name_of(item) {
            name if name.is_empty() => schema(item).to_owned(),
            name => name,
        };
        self.refused.push(Refused {
            place: place.to_owned(),
            name,
            reason,
        });
    }

    fn transition(&mut self, item: &Value, place: &str) -> Option<Transition> {
        let frames = |value: &Value| Time::of(value).map(|t| t.at(self.rate).round() as i64);
        let (before, after) = (frames(&item["in_offset"]), frames(&item["out_offset"]));
        let (Some(before), Some(after)) = (before, after) else {
            self.refuse(item, place, "a transition without offsets".to_owned());
            return None;
        };
        let kind = item["transition_type"].as_str().unwrap_or_default();
        Some(Transition {
            kind: if kind == "SMPTE_Dissolve" {
                TransitionKind::Dissolve
            } else {
                TransitionKind::Wipe
            },
            before: before.max(0),
            after: after.max(0),
        })
    }

    /// The event of an item; `None` for a gap.
    fn item(
        &mut self,
        item: &Value,
        range: Range,
        (record_in, record_out): (i64, i64),
        (place, track): (&str, &str),
    ) -> Result<Option<Event>, String> {
        match schema(item) {
            "Gap" => return Ok(None),
            "Clip" => {}
            "Stack" => {
                return Err("a stack of several angles or layers in one clip, which is not supported; choose one and flatten it before exporting".to_owned());
            }
            "Track" | "Timeline" => {
                return Err(
                    "a nested sequence, which is not supported; flatten it before exporting"
                        .to_owned(),
                );
            }
            other => return Err(format!("a {other}, which is not supported")),
        }
        if item["enabled"] == Value::Bool(false) {
            self.notes.push(format!(
                "{place}: {} is disabled and left aside",
                name_of(item)
            ));
            return Ok(None);
        }
        if record_out <= record_in {
            return Err("a clip of no length; take it out of the timeline".to_owned());
        }
        let media = media_of(item);
        let (target, pictures) = match schema(media) {
            "ExternalReference" => (media["target_url"].as_str().map(str::to_owned), None),
            "ImageSequenceReference" => pictures_of(media)?,
            "GeneratorReference" => {
                return Err(
                    "made by a generator and not a clip; hand it over as a film file".to_owned(),
                );
            }
            _ => (None, None),
        };
        let available = Range::of(&media["available_range"]);
        let rate = available.map_or(range.start.rate, |a| a.start.rate);
        let speed = self.speed(item, place)?;
        let start = range.start.at(rate).round() as i64;
        // As many source frames as the film's frames take, each at its own rate.
        let length = range.duration.at(rate);
        let frames = if speed == 0.0 {
            1
        } else {
            ((length * speed.abs()) - 1e-6).ceil().max(1.0) as i64
        };
        Ok(Some(Event {
            place: place.to_owned(),
            number: String::new(),
            track: track.to_owned(),
            name: name_of(item),
            reel: reel_of(item, media),
            target,
            pictures,
            source: SourceSpan {
                rate,
                start,
                end: start + frames,
                available: available.map(|a| {
                    let first = a.start.at(rate).round() as i64;
                    (first, first + a.duration.at(rate).round() as i64)
                }),
            },
            record_in,
            record_out,
            speed,
            head: None,
            tail: None,
            cdl: cdl_of(&item["metadata"]["cdl"]),
            scene: scene_of(item),
            comments: comments_of(item),
        }))
    }

    fn speed(&mut self, item: &Value, place: &str) -> Result<f64, String> {
        let mut speed = 1.0;
        for effect in item["effects"].as_array().into_iter().flatten() {
            match schema(effect) {
                "FreezeFrame" => speed = 0.0,
                "LinearTimeWarp" => {
                    let scalar = effect["time_scalar"].as_f64().filter(|s| s.is_finite());
                    speed *= scalar.ok_or("a speed change without a number")?;
                }
                "TimeEffect" => {
                    return Err("a speed change that is not one number, which is not supported; render it before exporting".to_owned());
                }
                _ => self.notes.push(format!(
                    "{place}: effect {} of {} is left aside",
                    effect["effect_name"].as_str().unwrap_or("without a name"),
                    name_of(item)
                )),
            }
        }
        Ok(speed)
    }
}

/// The folder of a row of pictures, and how they are named.
fn pictures_of(media: &Value) -> Result<(Option<String>, Option<Pictures>), String> {
    let step = media["frame_step"].as_i64().unwrap_or(1);
    if step != 1 {
        return Err(format!(
            "a row of pictures with a step of {step}; give one that is used picture by picture"
        ));
    }
    let text = |name: &str| media[name].as_str().unwrap_or_default().to_owned();
    let folder = text("target_url_base");
    let digits = media["frame_zero_padding"].as_u64().unwrap_or(0);
    Ok((
        Some(folder.trim_end_matches('/').to_owned()).filter(|folder| !folder.is_empty()),
        Some(Pictures {
            prefix: text("name_prefix"),
            suffix: text("name_suffix"),
            first: media["start_frame"].as_i64().unwrap_or(1),
            digits: u32::try_from(digits).unwrap_or(0),
        }),
    ))
}

fn reel_of(item: &Value, media: &Value) -> Option<String> {
    [
        &item["metadata"]["cmx_3600"]["reel"],
        &item["metadata"]["reel"],
        &media["metadata"]["reel"],
        &media["metadata"]["cmx_3600"]["reel"],
    ]
    .iter()
    .find_map(|value| value.as_str())
    .filter(|reel| !reel.is_empty())
    .map(str::to_owned)
}

/// The format has no place for scenes: metadata of this name, text or a number.
fn scene_of(item: &Value) -> Option<String> {
    match &item["metadata"]["scene"] {
        Value::String(text) => Some(text.trim().to_owned()),
        Value::Number(number) => Some(number.to_string()),
        _ => None,
    }
    .filter(|scene| !scene.is_empty())
}

fn comments_of(item: &Value) -> Vec<String> {
    item["metadata"]["cmx_3600"]["comments"]
        .as_array()
        .into_iter()
        .flatten()
        .filter_map(|comment| comment.as_str().map(str::to_owned))
        .collect()
}

fn cdl_of(value: &Value) -> Option<Cdl> {
    let triple = |value: &Value| -> Option<[f64; 3]> {
        let numbers: Vec<f64> = value
            .as_array()?
            .iter()
            .map(Value::as_f64)
            .collect::<Option<_>>()?;
        numbers.try_into().ok()
    };
    let sop = &value["asc_sop"];
    let saturation = value["asc_sat"].as_f64();
    let numbers = (
        triple(&sop["slope"]),
        triple(&sop["offset"]),
        triple(&sop["power"]),
    );
    match (numbers, saturation) {
        ((Some(slope), Some(offset), Some(power)), saturation) => Some(Cdl {
            slope,
            offset,
            power,
            saturation: saturation.unwrap_or(1.0),
        }),
        (_, Some(saturation)) => Some(Cdl {
            saturation,
            ..Cdl::NEUTRAL
        }),
        _ => None,
    }
}
