//! What is seen in a finished picture: its shots, what is no shot, what lies over a picture.

use serde::{Deserialize, Serialize};

/// What was seen in a finished picture.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Seen {
    /// The shots, half-open spans of frames, in order. Where one dissolves into the next, the cut
    /// is where the dissolve begins.
    pub shots: Vec<(u64, u64)>,
    /// Spans that are no shot, or no picture of one shot alone.
    pub spans: Vec<SeenSpan>,
    /// Parts of the picture that belong to no shot.
    pub areas: Vec<SeenArea>,
}

/// A span of frames.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct SeenSpan {
    /// First frame.
    pub in_frame: u64,
    /// The frame after the last.
    pub out_frame: u64,
    /// What it is.
    pub what: SpanKind,
}

/// What a span of frames is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum SpanKind {
    /// Colour bars.
    Bars,
    /// A leader: a count-down or another drawn picture before the film.
    Leader,
    /// A slate or card: a still picture with writing before the film.
    Slate,
    /// Black.
    Black,
    /// Writing on black and nothing else: a title card, credits that stand or roll.
    Card,
    /// One shot fades into the next.
    Dissolve,
    /// A shot fades up from black or white.
    FadeIn,
    /// A shot fades down to black or white.
    FadeOut,
    /// A flash: a few much brighter frames inside a shot.
    Flash,
}

impl SpanKind {
    /// Whether such a span is no shot at all.
    #[must_use]
    pub const fn is_no_shot(self) -> bool {
        matches!(
            self,
            Self::Bars | Self::Leader | Self::Slate | Self::Black | Self::Card
        )
    }

    /// The word for it.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Bars => "bars",
            Self::Leader => "leader",
            Self::Slate => "slate",
            Self::Black => "black",
            Self::Card => "card",
            Self::Dissolve => "dissolve",
            Self::FadeIn => "fade in",
            Self::FadeOut => "fade out",
            Self::Flash => "flash",
        }
    }
}

/// A part of the picture over a span of frames, in fractions of its width and height.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct SeenArea {
    /// First frame.
    pub in_frame: u64,
    /// The frame after the last.
    pub out_frame: u64,
    /// What it is.
    pub what: AreaKind,
    /// Left edge.
    pub left: f64,
    /// Upper edge.
    pub top: f64,
    /// Right edge.
    pub right: f64,
    /// Lower edge.
    pub bottom: f64,
}

/// What a part of the picture is.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum AreaKind {
    /// A bar of a matte: black above, below or beside the picture.
    Matte,
    /// Writing over the picture.
    Title,
}

impl AreaKind {
    /// The word for it.
    #[must_use]
    pub const fn word(self) -> &'static str {
        match self {
            Self::Matte => "matte",
            Self::Title => "title",
        }
    }
}
