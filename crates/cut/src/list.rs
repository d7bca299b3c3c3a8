//! A cut list as the formats have it in common.

use crate::{Rate, Timecode};
use inkarnat_ops::Cdl;
use serde::{Deserialize, Serialize};

/// A cut list: one line of picture events in record order, gaps between them where nothing is.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct CutList {
    /// Its title, empty where it has none.
    pub title: String,
    /// Record rate.
    pub rate: Rate,
    /// Record timecode of the first frame.
    pub start: Timecode,
    /// Events by their record time.
    pub events: Vec<Event>,
    /// What is in the list and cannot be taken, by name.
    pub refused: Vec<Refused>,
    /// What was assumed or left aside, one line each.
    pub notes: Vec<String>,
}

/// One use of a source.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Event {
    /// Where it stands in the list ("line 12", "track V1, item 3").
    pub place: String,
    /// Its number in the list.
    pub number: String,
    /// The track.
    pub track: String,
    /// Name of the clip, empty where the list has none.
    pub name: String,
    /// Reel or tape name.
    pub reel: Option<String>,
    /// Path or URL of the file, or of the folder of pictures.
    pub target: Option<String>,
    /// How the pictures in the folder are named, where the target is one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub pictures: Option<Pictures>,
    /// What of the source is used.
    pub source: SourceSpan,
    /// First record frame, counted from the list's start.
    pub record_in: i64,
    /// The record frame after the last.
    pub record_out: i64,
    /// Source frames a record frame: 1 as shot, 2 twice as fast, below 0 backward, 0 a frozen frame.
    pub speed: f64,
    /// The transition that it comes in by, if not a cut.
    pub head: Option<Transition>,
    /// The transition that it goes out by, if not a cut.
    pub tail: Option<Transition>,
    /// A correction that the list carries.
    pub cdl: Option<Cdl>,
    /// The scene that the list says it belongs to.
    #[serde(default)]
    pub scene: Option<String>,
    /// Comments, one line each.
    pub comments: Vec<String>,
}

/// How pictures, one a frame, are named: `PREFIX` `number` `SUFFIX`.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Pictures {
    /// What stands before the number.
    pub prefix: String,
    /// What stands behind it, with the dot.
    pub suffix: String,
    /// Number of the first picture.
    pub first: i64,
    /// Digits that numbers are filled up to by zeros.
    pub digits: u32,
}

/// A span of a source in the source's own time.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct SourceSpan {
    /// Rate that it is counted at.
    pub rate: Rate,
    /// First frame that is used, the earliest one also where it runs backward.
    pub start: i64,
    /// The frame after the last.
    pub end: i64,
    /// The media's own first frame and the frame after its last, where the list says so.
    pub available: Option<(i64, i64)>,
}

/// A gradual change from one event to the next.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Transition {
    /// Its kind.
    pub kind: TransitionKind,
    /// Record frames of it before the cut.
    pub before: i64,
    /// Record frames of it from the cut on.
    pub after: i64,
}

/// A kind of transition.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum TransitionKind {
    /// One picture fades into the other.
    Dissolve,
    /// An edge moves across the picture.
    Wipe,
}

/// Something in a list that cannot be taken.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Refused {
    /// Where it stands in the list.
    pub place: String,
    /// Its name, or its number where it has none.
    pub name: String,
    /// Why, and what to do.
    pub reason: String,
}

/// Which end of an event a transition is at, for whoever needs source frames under it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Under {
    /// Source frames needed before the event's first.
    pub before: i64,
    /// Source frames needed after its last.
    pub after: i64,
}

impl Event {
    /// Record frames.
    #[must_use]
    pub const fn frames(&self) -> i64 {
        self.record_out - self.record_in
    }

    /// Source frames that a number of record frames take.
    #[must_use]
    pub fn source_frames(&self, record: i64) -> i64 {
        if self.speed == 0.0 {
            return 1;
        }
        // A hair less, so that 0.1 · 10 is one frame.
        ((record as f64 * self.speed.abs()) - 1e-6).ceil() as i64
    }

    /// Source frames that the transitions at its ends use beyond its own.
    #[must_use]
    pub fn under(&self) -> Under {
        if self.speed == 0.0 {
            return Under::default();
        }
        let reach = |frames: i64| (frames as f64 * self.speed.abs()).ceil() as i64;
        let head = reach(self.head.map_or(0, |t| t.before));
        let tail = reach(self.tail.map_or(0, |t| t.after));
        if self.speed < 0.0 {
            Under {
                before: tail,
                after: head,
            }
        } else {
            Under {
                before: head,
                after: tail,
            }
        }
    }

    /// The part of it between two record frames; transitions stay at the ends that stay.
    #[must_use]
    pub fn part(&self, record_in: i64, record_out: i64) -> Self {
        let mut part = self.clone();
        part.record_in = record_in.clamp(self.record_in, self.record_out);
        part.record_out = record_out.clamp(part.record_in, self.record_out);
        let moved = |frames: i64| (frames as f64 * self.speed.abs()).round() as i64;
        let (cut_head, cut_tail) = (
            part.record_in - self.record_in,
            self.record_out - part.record_out,
        );
        if self.speed != 0.0 {
            let (early, late) = if self.speed < 0.0 {
                (cut_tail, cut_head)
            } else {
                (cut_head, cut_tail)
            };
            part.source.start += moved(early);
            part.source.end = (self.source.end - moved(late)).max(part.source.start + 1);
        }
        if cut_head > 0 {
            part.head = None;
        }
        if cut_tail > 0 {
            part.tail = None;
        }
        part
    }
}

#[cfg(test)]
pub(crate) mod testing {
    use super::*;

    pub(crate) fn event(name: &str, source: (i64, i64), record: (i64, i64), speed: f64) -> Event {
        Event {
            place: "line 1".to_owned(),
            number: "001".to_owned(),
            track: "V".to_owned(),
            name: name.to_owned(),
            reel: None,
            target: None,
            pictures: None,
            source: SourceSpan {
                rate: Rate::FILM,
                start: source.0,
                end: source.1,
                available: None,
            },
            record_in: record.0,
            record_out: record.1,
            speed,
            head: None,
            tail: None,
            cdl: None,
            scene: None,
            comments: Vec::new(),
        }
    }
}
