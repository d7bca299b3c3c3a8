//! The cut: which pieces of which sources, in what order.

use crate::job::{LeftOut, LeftOutArea};
use crate::{AppError, Result};
use inkarnat_cut::{Rate, Seen, SourceSpan, Timecode, Transition};
use inkarnat_film::{Shot, Source};
use inkarnat_media::Probe;
use serde::{Deserialize, Serialize};

/// How the cut uses a shot.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct Used {
    /// First frame in the film, counted from its start.
    pub record_in: i64,
    /// The frame of the film after its last.
    pub record_out: i64,
    /// Source frames a frame of the film: 1 as shot, below 0 backward, 0 a frozen frame.
    pub speed: f64,
    /// Source frames that a transition at its beginning takes from before it.
    pub under_before: u64,
    /// Source frames that a transition at its end takes from after it.
    pub under_after: u64,
    /// The transition that it comes in by.
    pub head: Option<Transition>,
    /// The transition that it goes out by.
    pub tail: Option<Transition>,
    /// Number of its event in the list.
    pub event: String,
    /// Reel or tape name in the list.
    pub reel: Option<String>,
    /// Name of the clip in the list.
    pub clip: String,
    /// The scene that the list says it belongs to.
    #[serde(default)]
    pub scene: Option<String>,
    /// The source span as the list has it; `None` for a finished picture.
    pub listed: Option<SourceSpan>,
}

/// How the cut uses a shot; `None` for a clip taken in whole.
pub(crate) fn used_of(shot: &Shot) -> Result<Option<Used>> {
    if shot.used.is_null() {
        return Ok(None);
    }
    serde_json::from_value(shot.used.clone())
        .map(Some)
        .map_err(|error| {
            AppError::Request(format!(
                "{}: placed by another version ({error}); take the cut in again with `inkarnat cut`",
                shot.name
            ))
        })
}

/// What was seen in a source as a finished picture.
pub(crate) fn seen_of(source: &Source) -> Result<Option<Seen>> {
    if source.seen.is_null() {
        return Ok(None);
    }
    serde_json::from_value(source.seen.clone())
        .map(Some)
        .map_err(|error| {
            AppError::Request(format!(
                "{}: looked at by another version ({error}); take the picture in again with `inkarnat cut`",
                source.path.display()
            ))
        })
}

/// Rate and timecode of the first frame of a source, as cut lists count; `None` where it has no
/// timecode that fits its rate.
pub(crate) fn counted(probe: &Probe) -> Option<(Rate, Timecode)> {
    let rate = rate_of(probe)?;
    let first = probe.timecode.as_ref()?;
    let start = Timecode::parse(&first.text, rate, first.drop_frame).ok()?;
    Some((rate, start))
}

/// The rate of a source as cut lists count.
pub(crate) fn rate_of(probe: &Probe) -> Option<Rate> {
    Rate::of_f64(probe.rate.value())
}

/// What of a shot is left out of every statistic.
pub(crate) fn left_out_of(source: &Source, shot: &Shot) -> Result<LeftOut> {
    let Some(seen) = seen_of(source)? else {
        return Ok(LeftOut::default());
    };
    let within = |from: u64, to: u64| {
        let (from, to) = (from.max(shot.in_frame), to.min(shot.out_frame));
        (from < to).then_some((from, to))
    };
    Ok(LeftOut {
        frames: seen
            .spans
            .iter()
            .filter_map(|span| within(span.in_frame, span.out_frame))
            .collect(),
        areas: seen
            .areas
            .iter()
            .filter_map(|area| {
                Some(LeftOutArea {
                    frames: within(area.in_frame, area.out_frame)?,
                    left: area.left,
                    top: area.top,
                    right: area.right,
                    bottom: area.bottom,
                })
            })
            .collect(),
    })
}
