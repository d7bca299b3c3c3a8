//! What the film file keeps of a face beside its outlines.

use inkarnat_people::FaceLight;
use serde::{Deserialize, Serialize};
use std::ops::Range;

/// What a face is taken for.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Role {
    /// Somebody's, and read.
    Person,
    /// Asked about, and not read until answered.
    Doubted,
    /// Nobody's: a picture, a mask.
    NoPerson,
    /// Nothing of it can be read.
    Unread,
}

impl Role {
    /// The word that is stored.
    pub(crate) const fn word(self) -> &'static str {
        match self {
            Self::Person => "person",
            Self::Doubted => "doubted",
            Self::NoPerson => "no person",
            Self::Unread => "unread",
        }
    }

    pub(crate) fn of(word: &str) -> Self {
        match word {
            "person" => Self::Person,
            "doubted" => Self::Doubted,
            "no person" => Self::NoPerson,
            _ => Self::Unread,
        }
    }
}

/// Frames in which a face is lost.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct Lost {
    /// Source frames, half-open.
    pub(crate) frames: Range<u64>,
    /// The first reason.
    pub(crate) why: String,
}

/// What is known of a face in a shot.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct FaceFacts {
    /// Source frames in which it is held, half-open spans.
    pub(crate) held: Vec<Range<u64>>,
    /// Source frames in which it is lost.
    pub(crate) lost: Vec<Lost>,
    /// The best score of the detector, 0–1.
    pub(crate) score: f64,
    /// Views in its mean embedding.
    pub(crate) views: u32,
    /// Lasting change in itself, over its width.
    pub(crate) liveliness: f64,
    /// Whether it may be a picture of a face; unknown where too little of it is seen.
    pub(crate) picture: Option<bool>,
    /// Median width, pixels.
    pub(crate) width_px: f64,
    /// The light on it.
    pub(crate) light: Option<FaceLight>,
    /// Share of its regions that is unclipped skin of one colour, 0–1.
    pub(crate) coverage: f64,
    /// Frames looked at from its first one on.
    pub(crate) looked_at: u64,
    /// Why it has no reading.
    pub(crate) unread: Option<String>,
    /// Hue of its reading.
    pub(crate) hue_deg: Option<f64>,
}

/// Hues of the published band of facial skin, degrees (union of the 90 % ranges of every group of
/// published facial spectra under D65).
const BAND_DEG: [f64; 2] = [111.0, 135.0];
/// How far from that band no light on a set carries skin: from there on paint or a mask is asked
/// about. A rule of our own, no source.
const PAINT_DEG: f64 = 70.0;

impl FaceFacts {
    /// The first frame that holds it.
    pub(crate) fn first(&self) -> u64 {
        self.held.first().map_or(0, |span| span.start)
    }

    /// What it is taken for where nothing was answered.
    pub(crate) fn role(&self) -> Role {
        if self.unread.is_some() {
            Role::Unread
        } else if self.picture == Some(true) || self.hue_deg.is_some_and(far_from_skin) {
            Role::Doubted
        } else {
            Role::Person
        }
    }
}

fn far_from_skin(hue_deg: f64) -> bool {
    let middle = (BAND_DEG[0] + BAND_DEG[1]) / 2.0;
    let half = (BAND_DEG[1] - BAND_DEG[0]) / 2.0;
    let arc = (hue_deg - middle + 180.0).rem_euclid(360.0) - 180.0;
    arc.abs() > half + PAINT_DEG
}
