//! What the solver gives back.

use inkarnat_color::{Chroma, Hue, Lab, Percent};
use inkarnat_ops::Op;
use serde::{Deserialize, Serialize};

use crate::aim::AimCentre;
use crate::keyed::MOST_TAKEN;
use crate::light::LightEstimate;
use crate::limits::Limit;

/// What a fix acts on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Reach {
    /// The balance of the whole frame.
    Picture,
    /// The mid-tones; white and black stay.
    Mids,
    /// Skin alone, by a colour key.
    Skin,
}

impl Reach {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Picture, Self::Mids, Self::Skin];
}

impl std::fmt::Display for Reach {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(match self {
            Self::Picture => "picture",
            Self::Mids => "mids",
            Self::Skin => "skin",
        })
    }
}

/// Skin as a trimmed mean: what a reading of it gives.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct SkinValue {
    /// Level Y', percent of reference white.
    pub level: Percent,
    /// Trimmed mean of Cb and Cr, ±0.5.
    pub chroma: Chroma,
    /// CIELAB of the trimmed mean (D65, BT.1886 display).
    pub lab: Lab,
}

impl SkinValue {
    /// Hue; `None` below the chroma floor.
    #[must_use]
    pub fn hue(&self) -> Option<Hue> {
        self.chroma.hue()
    }

    /// Cb/Cr magnitude over luma.
    #[must_use]
    pub fn sat_ratio(&self) -> f64 {
        self.chroma.magnitude() / self.level.signal().max(1e-6)
    }
}

/// What a fix does to everything that is not the skin it was made for.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Cost {
    /// Surfaces that are neutral or nearly so, after the fix: CIEDE2000 from the colour expected of them at their own luma
    /// (grey for grey, cream for cream). `None`: none found.
    pub neutral_de00: Option<f64>,
    /// The same before the fix.
    pub neutral_de00_before: Option<f64>,
    /// Share of what is not skin that a key on skin takes in by more than half, percent. 0 = no key, or a clean one.
    #[serde(default)]
    pub keyed_pct: f64,
    /// Newly clipped and crushed pixels, percent of the picture.
    pub clip_growth_pct: f64,
    /// Newly clipped and crushed pixels of skin, percent of the skin, the worst person.
    pub skin_clip_growth_pct: f64,
    /// Contrast of the picture, after over before: 5th–95th percentile of luma. 1 = unchanged.
    pub contrast: f64,
    /// Median move of pixels that are not skin, CIEDE2000 beyond the exposure change that was asked for.
    pub outside_de00_median: f64,
    /// 95th percentile of the same.
    pub outside_de00_p95: f64,
    /// Noise gain in the darkest quarter. 1 = unchanged.
    pub noise_gain: f64,
    /// Noise of the darkest quarter after the fix, standard deviation of Y', where the source's is known.
    pub dark_noise: Option<f64>,
    /// Flattest and steepest slope of the tone curve over the skin's own range.
    pub skin_slope: (f64, f64),
    /// Flattest slope of the tone curve above the skin.
    pub upper_slope: f64,
    /// Spread of the skin's chromaticity, after over before, the person furthest from 1.
    pub skin_spread: f64,
    /// Largest distance of two neighbouring 10-bit luma codes after the fix, in codes.
    pub code_gap: f64,
    /// Change of light on skin, stops; the person with the most.
    pub exposure_stops: f64,
    /// Areas clipped in the source: CIEDE2000 from the neutral of their own lightness, gained. `None`: no such area.
    pub clipped_area_de00: Option<f64>,
}

/// One person before and after.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct PersonResult {
    /// Name.
    pub name: String,
    /// Skin in the source.
    pub before: SkinValue,
    /// Skin after the fix.
    pub after: SkinValue,
    /// The point that was solved to.
    pub centre: AimCentre,
    /// CIEDE2000 from the centre before the fix.
    pub de00_before: f64,
    /// CIEDE2000 from the centre after the fix.
    pub de00: f64,
    /// Whether this person is on aim after the fix.
    pub on_aim: bool,
}

/// How far a fix got.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "is", rename_all = "snake_case")]
pub enum State {
    /// Everybody is on aim.
    OnAim,
    /// Somebody is not.
    Short {
        /// What stopped it.
        limit: Limit,
        /// Share of the way from before to the aim's centre that was gone, by the person worst off; 0–1.
        way: f64,
        /// Who is not on aim.
        people: Vec<String>,
    },
}

/// One correction.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Fix {
    /// What it acts on.
    pub reach: Reach,
    /// The operations, in order; none = the picture stays exactly as it is.
    pub ops: Vec<Op>,
    /// What it costs.
    pub cost: Cost,
    /// Everybody before and after, in the order of the problem.
    pub people: Vec<PersonResult>,
    /// How far it got.
    pub state: State,
    /// One sentence: what it does and what stops it.
    pub explain: String,
}

impl Fix {
    /// Whether it changes nothing.
    #[must_use]
    pub fn is_identity(&self) -> bool {
        self.ops.is_empty()
    }
}

/// Why no key was laid on skin.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum NoKey {
    /// Everybody is on aim as they are.
    NothingToDo,
    /// The key takes in too much that is not skin: this share of it by more than half, 0–1.
    TakesIn(f64),
}

impl std::fmt::Display for NoKey {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::NothingToDo => {
                f.write_str("the skin is on aim as it is: a key has nothing to do")
            }
            Self::TakesIn(share) => write!(
                f,
                "no key can tell this skin from the rest: it would take in {:.0} % of what is not skin ({:.0} % is the most)",
                100.0 * share,
                100.0 * MOST_TAKEN
            ),
        }
    }
}

/// Every reach, and the one chosen.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Solution {
    /// The reach chosen.
    pub chosen: Reach,
    /// One sentence: why this one.
    pub why: String,
    /// Balance of the whole frame.
    pub picture: Fix,
    /// Mid-tones.
    pub mids: Fix,
    /// The picture's own balance by its neutrals and its level, and a key on skin for the rest. `None`: no key can tell
    /// this skin from most of the picture, or there is nothing left for one to do.
    pub skin: Option<Fix>,
    /// Why there is no `skin`; `None` where there is one, or where it was solved before reasons were kept.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub no_key: Option<NoKey>,
    /// What was found out about the light.
    pub light: LightEstimate,
}

impl Solution {
    /// The fix chosen.
    #[must_use]
    pub fn fix(&self) -> &Fix {
        match (self.chosen, &self.skin) {
            (Reach::Mids, _) => &self.mids,
            (Reach::Skin, Some(skin)) => skin,
            _ => &self.picture,
        }
    }
}
