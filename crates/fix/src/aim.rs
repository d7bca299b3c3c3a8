//! Where a person should read: a centre, a width, and bands that were typed in.

use inkarnat_color::{Hue, HueDelta, Lab, Percent, SKIN_TONE_LINE, WorkingSpace};
use serde::{Deserialize, Serialize};

use crate::presets::{PRESETS, Preset};

/// Half-width of the skin-tone line when it is asked for without a width, in degrees (common practice, no source).
pub const LINE_HALF_WIDTH_DEG: f64 = 3.0;

/// Width of an aim in CIEDE2000 when none is given.
pub const OWN_WIDTH: f64 = 2.0;

/// An inclusive range; for hue it runs counter-clockwise from `low` to `high`.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Band {
    /// Lower end: percent of reference white, degrees, or a ratio.
    pub low: f64,
    /// Upper end, same unit.
    pub high: f64,
}

impl Band {
    /// The middle of a band of levels or ratios.
    #[must_use]
    pub fn middle(self) -> f64 {
        (self.low + self.high) / 2.0
    }

    /// Half the extent of a band of levels or ratios.
    #[must_use]
    pub fn half(self) -> f64 {
        (self.high - self.low) / 2.0
    }

    fn middle_hue(self) -> Hue {
        let low = Hue::from_degrees(self.low);
        low.turned(HueDelta::from_degrees(self.half_hue_deg()))
    }

    /// Half the extent of a band of hues, in degrees.
    #[must_use]
    pub fn half_hue_deg(self) -> f64 {
        (self.high - self.low).rem_euclid(360.0) / 2.0
    }
}

/// What is wanted of one quantity.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Want {
    /// The person's own, estimated.
    Own,
    /// One value; on aim within the width of the aim.
    Value(f64),
    /// On aim anywhere inside; solved to the middle.
    Band(Band),
}

impl Want {
    /// The value solved to for a level or a ratio, `None` for `own`.
    #[must_use]
    pub fn centre(self) -> Option<f64> {
        match self {
            Self::Own => None,
            Self::Value(value) => Some(value),
            Self::Band(band) => Some(band.middle()),
        }
    }

    /// The hue solved to, `None` for `own`.
    #[must_use]
    pub fn centre_hue(self) -> Option<Hue> {
        match self {
            Self::Own => None,
            Self::Value(degrees) => Some(Hue::from_degrees(degrees)),
            Self::Band(band) => Some(band.middle_hue()),
        }
    }
}

/// What is wanted of saturation.
///
/// Saturation is part of every aim. A solver that is free in it drains the colour until level and hue fit.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum SaturationAim {
    /// The person's own at the level aimed at, after the cast is undone.
    Own,
    /// Chroma C*ab at the level aimed at.
    ChromaAb(f64),
    /// Cb/Cr magnitude over luma, at the level aimed at.
    Ratio(Want),
}

/// Where an aim comes from.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum AimKind {
    /// The person's own reading.
    Own,
    /// Numbers typed in.
    Typed,
    /// A preset of [`PRESETS`], by name.
    Preset(String),
    /// The reading of a reference shot, by name. Its numbers are filled in by [`Aim::with_reference`].
    Like(String),
}

/// Where a person should read.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Aim {
    /// Where the aim comes from.
    pub kind: AimKind,
    /// Level Y', percent of reference white.
    pub level: Want,
    /// Hue on the Cb/Cr plane, degrees.
    pub hue: Want,
    /// Saturation.
    pub saturation: SaturationAim,
    /// Width in CIEDE2000 about the centre, for what is not a typed band.
    pub width: f64,
}

/// An aim with every number known: the point that the solver goes to.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct AimCentre {
    /// Level Y', percent of reference white.
    pub level: Percent,
    /// Hue; `None` where the skin has no hue to speak of (chroma below the floor).
    pub hue: Option<Hue>,
    /// Cb/Cr magnitude, 0–0.7, at that level.
    pub chroma: f64,
    /// The same point as CIELAB (D65, BT.1886 display).
    pub lab: Lab,
}

impl AimCentre {
    /// A centre from level, hue and Cb/Cr magnitude.
    #[must_use]
    pub fn new(level: Percent, hue: Option<Hue>, chroma: f64, space: WorkingSpace) -> Self {
        Self {
            level,
            hue,
            chroma,
            lab: inkarnat_color::lab_from_signal(signal_of(level, hue, chroma, space), space),
        }
    }

    /// R'G'B' of the centre.
    #[must_use]
    pub fn signal(&self, space: WorkingSpace) -> [f64; 3] {
        signal_of(self.level, self.hue, self.chroma, space)
    }

    /// Cb/Cr magnitude over luma.
    #[must_use]
    pub fn sat_ratio(&self) -> f64 {
        self.chroma / self.level.signal().max(1e-6)
    }
}

fn signal_of(level: Percent, hue: Option<Hue>, chroma: f64, space: WorkingSpace) -> [f64; 3] {
    let angle = hue.unwrap_or(SKIN_TONE_LINE).degrees().to_radians();
    space.coefficients.rgb_from_ycbcr(inkarnat_color::Ycbcr {
        y: level.signal(),
        cb: chroma * angle.cos(),
        cr: chroma * angle.sin(),
    })
}

/// What is wrong with an aim that was typed in.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum AimError {
    /// Nothing was given.
    #[error(
        "the aim is empty; give `own`, a preset such as `measured-tan`, `like:SHOT`, or `level:62-68,hue:120-126`"
    )]
    Empty,
    /// A word that is neither a preset nor a quantity.
    #[error(
        "no aim is called \"{given}\"; give `own`, `like:SHOT`, `level:LOW-HIGH,hue:LOW-HIGH`, or one of: {}",
        preset_names()
    )]
    Unknown {
        /// The word.
        given: String,
    },
    /// A part that is not `quantity:value`.
    #[error(
        "\"{given}\" names no quantity; expected `level:62-68`, `hue:120-126`, `hue:line` or `saturation:0.28-0.34`"
    )]
    Quantity {
        /// The part.
        given: String,
    },
    /// A value that is no number and no range.
    #[error(
        "{quantity}: \"{given}\" is not a number or a range; expected something like {quantity}:{example}"
    )]
    Number {
        /// `level`, `hue` or `saturation`.
        quantity: &'static str,
        /// The text.
        given: String,
        /// A good value.
        example: &'static str,
    },
    /// A value outside what the quantity can be.
    #[error("{quantity}: {given} is outside {low}–{high}{unit}")]
    Outside {
        /// `level`, `hue` or `saturation`.
        quantity: &'static str,
        /// The value.
        given: f64,
        /// Least allowed.
        low: f64,
        /// Most allowed.
        high: f64,
        /// Unit, with a space before it where one belongs.
        unit: &'static str,
    },
    /// A range that runs backwards.
    #[error("{quantity}: the range {low}-{high} runs backwards; write the smaller number first")]
    Backwards {
        /// `level`, `hue` or `saturation`.
        quantity: &'static str,
        /// First number.
        low: f64,
        /// Second number.
        high: f64,
    },
    /// One quantity twice.
    #[error("{quantity} is given twice in \"{given}\"; give it once")]
    Twice {
        /// `level`, `hue` or `saturation`.
        quantity: &'static str,
        /// The whole text.
        given: String,
    },
    /// `like:` without a shot.
    #[error("`like:` names no shot; write `like:SHOT` with the name of a shot of this film")]
    NoShot,
}

fn preset_names() -> String {
    let names: Vec<&str> = PRESETS.iter().map(|p| p.name).collect();
    names.join(", ")
}

impl Default for Aim {
    fn default() -> Self {
        Self::own()
    }
}

impl Aim {
    /// The default: everything as the person's own.
    #[must_use]
    pub fn own() -> Self {
        Self {
            kind: AimKind::Own,
            level: Want::Own,
            hue: Want::Own,
            saturation: SaturationAim::Own,
            width: OWN_WIDTH,
        }
    }

    /// Typed level (percent) and hue (degrees) bands; saturation stays own.
    #[must_use]
    pub fn typed(level: Want, hue: Want) -> Self {
        Self {
            kind: AimKind::Typed,
            level,
            hue,
            ..Self::own()
        }
    }

    /// The aim of a preset.
    #[must_use]
    pub fn preset(preset: &Preset) -> Self {
        Self {
            kind: AimKind::Preset(preset.name.to_owned()),
            level: Want::Band(preset.level),
            hue: preset.hue.map_or(Want::Own, Want::Band),
            saturation: SaturationAim::Own,
            width: OWN_WIDTH,
        }
    }

    /// Reads an aim: `own`, a preset's name, `like:SHOT`, or a list such as `level:62-68,hue:120-126`.
    ///
    /// Quantities: `level` in percent, `hue` in degrees (or `line` for the skin-tone line ±3°, `line±5`, `line+-5`),
    /// `saturation` as Cb/Cr magnitude over luma. Each takes one number, a range `LOW-HIGH`, or `own`. A hue range may
    /// pass through 0 (`350-10`).
    ///
    /// # Errors
    /// [`AimError`] says what was given and what was expected.
    pub fn parse(text: &str) -> Result<Self, AimError> {
        let text = text.trim();
        if text.is_empty() {
            return Err(AimError::Empty);
        }
        if text == "own" {
            return Ok(Self::own());
        }
        if let Some(shot) = text.strip_prefix("like:") {
            let shot = shot.trim();
            if shot.is_empty() {
                return Err(AimError::NoShot);
            }
            return Ok(Self {
                kind: AimKind::Like(shot.to_owned()),
                ..Self::own()
            });
        }
        if let Some(preset) = PRESETS.iter().find(|p| p.name == text) {
            return Ok(Self::preset(preset));
        }
        if !text.contains(':') {
            return Err(AimError::Unknown {
                given: text.to_owned(),
            });
        }
        Self::parse_list(text)
    }

    fn parse_list(text: &str) -> Result<Self, AimError> {
        let (mut level, mut hue, mut saturation) = (None, None, None);
        for part in text.split(',') {
            let part = part.trim();
            let (name, value) = part.split_once(':').ok_or_else(|| AimError::Quantity {
                given: part.to_owned(),
            })?;
            let value = value.trim();
            let (slot, want, name) = match name.trim() {
                "level" => (&mut level, parse_want("level", value, &LEVEL)?, "level"),
                "hue" => {
                    let want = match value.strip_prefix("line") {
                        Some(rest) => parse_line(value, rest)?,
                        None => parse_want("hue", value, &HUE)?,
                    };
                    (&mut hue, want, "hue")
                }
                "saturation" => (
                    &mut saturation,
                    parse_want("saturation", value, &SATURATION)?,
                    "saturation",
                ),
                _ => {
                    return Err(AimError::Quantity {
                        given: part.to_owned(),
                    });
                }
            };
            if slot.replace(want).is_some() {
                return Err(AimError::Twice {
                    quantity: name,
                    given: text.to_owned(),
                });
            }
        }
        Ok(Self {
            kind: AimKind::Typed,
            level: level.unwrap_or(Want::Own),
            hue: hue.unwrap_or(Want::Own),
            saturation: match saturation {
                None | Some(Want::Own) => SaturationAim::Own,
                Some(want) => SaturationAim::Ratio(want),
            },
            width: OWN_WIDTH,
        })
    }

    /// Fills in the reading of the reference shot of a `like:` aim.
    #[must_use]
    pub fn with_reference(mut self, level: Percent, hue: Option<Hue>, sat_ratio: f64) -> Self {
        self.level = Want::Value(level.0);
        self.hue = hue.map_or(Want::Own, |h| Want::Value(h.degrees()));
        self.saturation = SaturationAim::Ratio(Want::Value(sat_ratio));
        self
    }

    /// Whether the numbers of a reference shot are still to be filled in.
    #[must_use]
    pub fn needs_reference(&self) -> bool {
        matches!(self.kind, AimKind::Like(_)) && self.level == Want::Own
    }
}

struct Range {
    low: f64,
    high: f64,
    unit: &'static str,
    example: &'static str,
    circular: bool,
}

const LEVEL: Range = Range {
    low: 1.0,
    high: 100.0,
    unit: " %",
    example: "62-68",
    circular: false,
};
const HUE: Range = Range {
    low: 0.0,
    high: 360.0,
    unit: "°",
    example: "120-126",
    circular: true,
};
const SATURATION: Range = Range {
    low: 0.0,
    high: 1.5,
    unit: "",
    example: "0.28-0.34",
    circular: false,
};

fn parse_number(quantity: &'static str, given: &str, range: &Range) -> Result<f64, AimError> {
    let cleaned = given.trim().trim_end_matches(['%', '°']).trim();
    let value: f64 = cleaned
        .parse()
        .ok()
        .filter(|v: &f64| v.is_finite())
        .ok_or_else(|| AimError::Number {
            quantity,
            given: given.to_owned(),
            example: range.example,
        })?;
    if (range.low..=range.high).contains(&value) {
        Ok(value)
    } else {
        Err(AimError::Outside {
            quantity,
            given: value,
            low: range.low,
            high: range.high,
            unit: range.unit,
        })
    }
}

fn parse_want(quantity: &'static str, text: &str, range: &Range) -> Result<Want, AimError> {
    if text == "own" {
        return Ok(Want::Own);
    }
    // A dash at the very start is a sign, and then out of range.
    let dash = text
        .char_indices()
        .find(|(i, c)| *i > 0 && matches!(c, '-' | '–'));
    let Some((at, dash)) = dash else {
        return parse_number(quantity, text, range).map(Want::Value);
    };
    let low = parse_number(quantity, &text[..at], range)?;
    let high = parse_number(quantity, &text[at + dash.len_utf8()..], range)?;
    if low > high && !range.circular {
        return Err(AimError::Backwards {
            quantity,
            low,
            high,
        });
    }
    Ok(Want::Band(Band { low, high }))
}

fn parse_line(whole: &str, rest: &str) -> Result<Want, AimError> {
    let rest = rest.trim();
    let half = if rest.is_empty() {
        LINE_HALF_WIDTH_DEG
    } else {
        let number = rest
            .strip_prefix('±')
            .or_else(|| rest.strip_prefix("+-"))
            .ok_or_else(|| AimError::Number {
                quantity: "hue",
                given: whole.to_owned(),
                example: "line±3",
            })?;
        let half_width = Range {
            low: 0.1,
            high: 60.0,
            unit: "°",
            example: "line±3",
            circular: false,
        };
        parse_number("hue", number, &half_width)?
    };
    let line = SKIN_TONE_LINE.degrees();
    Ok(Want::Band(Band {
        low: line - half,
        high: line + half,
    }))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn reads_every_form() {
        assert_eq!(Aim::parse("own").unwrap(), Aim::own());
        let typed = Aim::parse("level:62-68,hue:120-126").unwrap();
        assert_eq!(typed.kind, AimKind::Typed);
        assert_eq!(typed.level.centre(), Some(65.0));
        assert_eq!(typed.hue.centre_hue().unwrap().degrees(), 123.0);
        assert_eq!(typed.saturation, SaturationAim::Own);
        let only_level = Aim::parse(" level: 48 % ").unwrap();
        assert_eq!(only_level.level, Want::Value(48.0));
        assert_eq!(only_level.hue, Want::Own);
        let line = Aim::parse("hue:line+-5").unwrap();
        assert_eq!(
            line.hue,
            Want::Band(Band {
                low: 118.0,
                high: 128.0
            })
        );
        assert_eq!(Aim::parse("hue:line").unwrap().hue.centre(), Some(123.0));
        let through_zero = Aim::parse("hue:350-10").unwrap();
        assert_eq!(through_zero.hue.centre_hue().unwrap().degrees(), 0.0);
        let tan = Aim::parse("measured-tan").unwrap();
        assert_eq!(
            tan.level,
            Want::Band(Band {
                low: 45.0,
                high: 51.0
            })
        );
        let like = Aim::parse("like:A003 close").unwrap();
        assert_eq!(like.kind, AimKind::Like("A003 close".into()));
        assert!(like.needs_reference());
        let filled = like.with_reference(Percent(51.0), Some(Hue::from_degrees(124.0)), 0.21);
        assert!(!filled.needs_reference());
        let saturation = Aim::parse("saturation:0.2-0.24").unwrap().saturation;
        assert_eq!(
            saturation,
            SaturationAim::Ratio(Want::Band(Band {
                low: 0.2,
                high: 0.24
            }))
        );
    }

    #[test]
    fn says_what_is_wrong() {
        for (text, expected) in [
            ("", "the aim is empty"),
            ("measured-green", "no aim is called \"measured-green\""),
            ("level:62-68,120-126", "\"120-126\" names no quantity"),
            ("brightness:50", "\"brightness:50\" names no quantity"),
            ("level:bright", "level: \"bright\" is not a number"),
            ("level:NaN", "level: \"NaN\" is not a number"),
            ("level:-4", "level: -4 is outside 1–100 %"),
            ("level:620-680", "level: 620 is outside 1–100 %"),
            ("level:68-62", "the range 68-62 runs backwards"),
            ("hue:400", "hue: 400 is outside 0–360°"),
            ("hue:line5", "hue: \"line5\" is not a number"),
            ("level:50,level:60", "level is given twice"),
            ("like:", "`like:` names no shot"),
        ] {
            let message = Aim::parse(text).unwrap_err().to_string();
            assert!(message.contains(expected), "{text}: {message}");
        }
    }

    #[test]
    fn centre_goes_to_signal_and_back() {
        let space = WorkingSpace::default();
        let centre = AimCentre::new(Percent(52.0), Some(Hue::from_degrees(123.0)), 0.11, space);
        let back = space.coefficients.ycbcr_from_rgb(centre.signal(space));
        assert!((back.y - 0.52).abs() < 1e-12);
        assert!((back.chroma().magnitude() - 0.11).abs() < 1e-12);
        assert!((back.chroma().hue().unwrap().degrees() - 123.0).abs() < 1e-9);
    }
}
