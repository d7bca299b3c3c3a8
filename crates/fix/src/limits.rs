//! How far a fix may go.

use serde::{Deserialize, Serialize};

/// Every limit of a fix. All are hard: a fix stops at them.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(default, deny_unknown_fields)]
pub struct Limits {
    /// Most that exposure moves either way, in stops. 0 = not at all.
    pub exposure_stops: f64,
    /// Least slope of the tone curve over the skin's own range (5th–95th percentile). 1 = unchanged.
    pub skin_slope_min: f64,
    /// Greatest slope of the tone curve over the skin's own range.
    pub skin_slope_max: f64,
    /// Least slope of the tone curve above the skin. 0 = flat allowed.
    pub upper_slope_min: f64,
    /// New clipped and crushed pixels of the picture, in points of percent of the picture.
    pub new_clipping_pct: f64,
    /// New clipped and crushed pixels of skin, in percent of the skin.
    pub skin_new_clipping_pct: f64,
    /// Least ratio of the spread of the skin's chromaticity, after over before.
    pub skin_spread_min: f64,
    /// Greatest ratio of the spread of the skin's chromaticity.
    pub skin_spread_max: f64,
    /// Noise gain (root mean square of the luma error of equal errors in R', G', B') in the darkest quarter. 1 = unchanged.
    pub noise_gain: f64,
    /// Most 10-bit codes that two neighbouring 10-bit luma codes are pulled apart, at levels that the picture has.
    pub code_gap: f64,
    /// Chroma that an area clipped in the source may gain, CIEDE2000 from the neutral of its own lightness.
    pub clipped_area_chroma: f64,
    /// Where source white must stay at least, in percent, when areas are clipped at it.
    pub clipped_area_level_pct: f64,
    /// Where source white must stay at least, in percent, when nothing in the picture reaches it.
    pub white_level_pct: f64,
    /// What near-neutral surfaces may gain in the mean, CIEDE2000 from the neutral of their own lightness.
    pub neutral_growth: f64,
    /// Least and greatest saturation parameter are `1/saturation` and `saturation`.
    pub saturation: f64,
    /// How much further from its centre in level alone than in the source skin may end, CIEDE2000, beyond the width of the aim
    /// where the fix is on aim and a part of it where it is not.
    pub level_loss: f64,
    /// The same in hue alone, beyond half of the width where the fix is off aim.
    pub hue_loss: f64,
}

impl Default for Limits {
    fn default() -> Self {
        Self {
            exposure_stops: 1.5,
            skin_slope_min: 0.7,
            skin_slope_max: 1.6,
            upper_slope_min: 0.3,
            new_clipping_pct: 2.0,
            skin_new_clipping_pct: 0.1,
            skin_spread_min: 0.8,
            skin_spread_max: 1.25,
            noise_gain: 1.6,
            code_gap: 2.0,
            clipped_area_chroma: 1.0,
            clipped_area_level_pct: 97.0,
            white_level_pct: 80.0,
            neutral_growth: 0.5,
            saturation: 1.5,
            level_loss: 0.0,
            hue_loss: 0.0,
        }
    }
}

/// A limit that cannot be.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
#[error("limit {name}: {given} is outside {low}–{high}")]
pub struct LimitsError {
    /// Name of the limit, as it is written in a file.
    pub name: &'static str,
    /// What was given.
    pub given: f64,
    /// Least allowed.
    pub low: f64,
    /// Most allowed.
    pub high: f64,
}

impl Limits {
    /// Checks that identity is within every limit, so that a fix can always stop somewhere.
    ///
    /// # Errors
    /// The first limit that is not a number or that identity itself would break.
    pub fn validate(&self) -> Result<(), LimitsError> {
        for (name, given, low, high) in [
            ("exposure_stops", self.exposure_stops, 0.0, 10.0),
            ("skin_slope_min", self.skin_slope_min, 0.0, 1.0),
            ("skin_slope_max", self.skin_slope_max, 1.0, 10.0),
            ("upper_slope_min", self.upper_slope_min, 0.0, 1.0),
            ("new_clipping_pct", self.new_clipping_pct, 0.0, 100.0),
            (
                "skin_new_clipping_pct",
                self.skin_new_clipping_pct,
                0.0,
                100.0,
            ),
            ("skin_spread_min", self.skin_spread_min, 0.0, 1.0),
            ("skin_spread_max", self.skin_spread_max, 1.0, 10.0),
            ("noise_gain", self.noise_gain, 1.0, 10.0),
            ("code_gap", self.code_gap, 1.0, 100.0),
            ("clipped_area_chroma", self.clipped_area_chroma, 0.0, 100.0),
            (
                "clipped_area_level_pct",
                self.clipped_area_level_pct,
                0.0,
                100.0,
            ),
            ("white_level_pct", self.white_level_pct, 0.0, 100.0),
            ("neutral_growth", self.neutral_growth, 0.0, 100.0),
            ("saturation", self.saturation, 1.0, 4.0),
            ("level_loss", self.level_loss, 0.0, 100.0),
            ("hue_loss", self.hue_loss, 0.0, 100.0),
        ] {
            if !(low..=high).contains(&given) {
                return Err(LimitsError {
                    name,
                    given,
                    low,
                    high,
                });
            }
        }
        Ok(())
    }
}

/// What stops a fix.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Limit {
    /// [`Limits::exposure_stops`].
    Exposure,
    /// [`Limits::skin_slope_min`] or [`Limits::skin_slope_max`].
    SkinContrast,
    /// [`Limits::upper_slope_min`].
    UpperContrast,
    /// [`Limits::new_clipping_pct`].
    Clipping,
    /// [`Limits::skin_new_clipping_pct`].
    SkinClipping,
    /// [`Limits::skin_spread_min`] or [`Limits::skin_spread_max`].
    SkinSpread,
    /// [`Limits::noise_gain`].
    Noise,
    /// [`Limits::code_gap`].
    CodeGap,
    /// [`Limits::clipped_area_chroma`] or [`Limits::clipped_area_level_pct`].
    ClippedAreas,
    /// [`Limits::white_level_pct`].
    WhiteEnd,
    /// [`Limits::neutral_growth`].
    Neutrals,
    /// [`Limits::saturation`].
    Saturation,
    /// [`Limits::level_loss`].
    Level,
    /// [`Limits::hue_loss`].
    Hue,
    /// No limit: several people pull apart.
    People,
    /// No limit: this reach has no move that gets nearer without harm elsewhere.
    Reach,
}

impl Limit {
    /// All of them.
    pub const ALL: [Self; 16] = [
        Self::Exposure,
        Self::SkinContrast,
        Self::UpperContrast,
        Self::Clipping,
        Self::SkinClipping,
        Self::SkinSpread,
        Self::Noise,
        Self::CodeGap,
        Self::ClippedAreas,
        Self::WhiteEnd,
        Self::Neutrals,
        Self::Saturation,
        Self::Level,
        Self::Hue,
        Self::People,
        Self::Reach,
    ];

    /// In plain trade words, to stand after "stopped by".
    #[must_use]
    pub fn words(self) -> &'static str {
        match self {
            Self::Exposure => "the limit on exposure",
            Self::SkinContrast => "the limit on contrast in the skin",
            Self::UpperContrast => "the limit on flat highlights",
            Self::Clipping => "the limit on new clipping in the picture",
            Self::SkinClipping => "the limit on new clipping on skin",
            Self::SkinSpread => "the limit on the spread of colour in the skin",
            Self::Noise => "the limit on noise in the shadows",
            Self::CodeGap => "the limit on gaps between codes",
            Self::ClippedAreas => "the blown areas, which must stay neutral and bright",
            Self::WhiteEnd => "the white end, which may not turn grey",
            Self::Neutrals => "the neutral surfaces, which must not gain colour",
            Self::Saturation => "the limit on saturation",
            Self::Level => "the level of the skin, which must not be lost for its colour",
            Self::Hue => "the hue of the skin, which must not end further off than in the source",
            Self::People => "people who pull apart",
            Self::Reach => "what this reach can do",
        }
    }

    /// One plain sentence, without a full stop: what going further would do.
    #[must_use]
    pub fn reason(self, limits: &Limits) -> String {
        let Limits {
            exposure_stops,
            skin_slope_min,
            skin_slope_max,
            upper_slope_min,
            new_clipping_pct,
            skin_new_clipping_pct,
            skin_spread_min,
            skin_spread_max,
            noise_gain,
            code_gap,
            clipped_area_chroma,
            white_level_pct,
            neutral_growth,
            saturation,
            ..
        } = limits;
        match self {
            Self::Exposure => format!("going further would move the exposure by more than {exposure_stops} stops"),
            Self::SkinContrast => format!(
                "going further would change the contrast within the skin beyond {skin_slope_min} to {skin_slope_max} times what it is"
            ),
            Self::UpperContrast => format!(
                "going further would flatten what is brighter than the skin below {upper_slope_min} of its contrast"
            ),
            Self::Clipping => format!(
                "going further would clip or crush more than {new_clipping_pct} % of the picture anew"
            ),
            Self::SkinClipping => format!(
                "going further would clip or crush more than {skin_new_clipping_pct} % of the skin itself"
            ),
            Self::SkinSpread => format!(
                "going further would press the colours within the skin together or pull them apart beyond {skin_spread_min} to {skin_spread_max} times their spread"
            ),
            Self::Noise => format!("going further would raise the noise in the shadows more than {noise_gain} times"),
            Self::CodeGap => format!(
                "going further would pull neighbouring 10-bit codes more than {code_gap} codes apart, which shows as bands"
            ),
            Self::ClippedAreas => format!(
                "going further would tint or dull what is blown out in the source (by more than CIEDE2000 {clipped_area_chroma})"
            ),
            Self::WhiteEnd => format!("going further would bring white below {white_level_pct} %, and it would look grey"),
            Self::Neutrals => format!(
                "going further would give grey things a colour (more than CIEDE2000 {neutral_growth} of it)"
            ),
            Self::Saturation => format!("going further would change the saturation of everything more than {saturation} times"),
            Self::Level => "the colour could only be had by giving up the level of the skin".to_owned(),
            Self::Hue => "the level or saturation could only be had by turning the hue of the skin further away".to_owned(),
            Self::People => "what brings one person nearer to their aim takes another away from theirs".to_owned(),
            Self::Reach => "no move of this kind gets nearer without doing harm elsewhere".to_owned(),
        }
    }
}

impl std::fmt::Display for Limit {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str(self.words())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn default_is_valid_and_bad_ones_are_named() {
        assert_eq!(Limits::default().validate(), Ok(()));
        let bad = Limits {
            noise_gain: 0.5,
            ..Limits::default()
        };
        assert_eq!(
            bad.validate().unwrap_err().to_string(),
            "limit noise_gain: 0.5 is outside 1–10"
        );
        let nan = Limits {
            exposure_stops: f64::NAN,
            ..Limits::default()
        };
        assert!(nan.validate().is_err());
    }
}
