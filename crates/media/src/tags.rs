//! What the codes of a picture mean: tagged by the file, or assumed by a written rule.

use inkarnat_color::picture::{Model, PixelFormat, Siting, Subsampling};
use inkarnat_color::{Coefficients, Known, Levels, Primaries, WorkingSpace};
use serde::{Deserialize, Serialize};
use std::fmt;

/// The transfer characteristic of the signal. Code points of Rec. ITU-T H.273 table 3.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Transfer {
    /// BT.709, code 1; BT.601 (6) and BT.2020 (14, 15) have the same curve.
    Bt709,
    /// BT.601, code 6.
    Bt601,
    /// BT.2020 in 10 bits, code 14.
    Bt2020Bits10,
    /// BT.2020 in 12 bits, code 15.
    Bt2020Bits12,
    /// Assumed display gamma 2.2, code 4.
    Gamma22,
    /// Assumed display gamma 2.8, code 5.
    Gamma28,
    /// SMPTE ST 240, code 7.
    Smpte240,
    /// Light itself, code 8.
    Linear,
    /// IEC 61966-2-1 sRGB, code 13.
    Srgb,
    /// SMPTE ST 2084 (BT.2100 PQ), code 16.
    Pq,
    /// BT.2100 HLG, code 18.
    Hlg,
    /// Any other code.
    Other(u8),
}

impl Transfer {
    /// The H.273 code point.
    #[must_use]
    pub const fn code(self) -> u8 {
        match self {
            Self::Bt709 => 1,
            Self::Gamma22 => 4,
            Self::Gamma28 => 5,
            Self::Bt601 => 6,
            Self::Smpte240 => 7,
            Self::Linear => 8,
            Self::Srgb => 13,
            Self::Bt2020Bits10 => 14,
            Self::Bt2020Bits12 => 15,
            Self::Pq => 16,
            Self::Hlg => 18,
            Self::Other(code) => code,
        }
    }

    /// The characteristic of an H.273 code point.
    #[must_use]
    pub const fn from_code(code: u8) -> Self {
        match code {
            1 => Self::Bt709,
            4 => Self::Gamma22,
            5 => Self::Gamma28,
            6 => Self::Bt601,
            7 => Self::Smpte240,
            8 => Self::Linear,
            13 => Self::Srgb,
            14 => Self::Bt2020Bits10,
            15 => Self::Bt2020Bits12,
            16 => Self::Pq,
            18 => Self::Hlg,
            other => Self::Other(other),
        }
    }

    /// PQ or HLG.
    #[must_use]
    pub const fn is_hdr(self) -> bool {
        matches!(self, Self::Pq | Self::Hlg)
    }
}

impl fmt::Display for Transfer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Bt709 => f.write_str("BT.709"),
            Self::Bt601 => f.write_str("BT.601"),
            Self::Bt2020Bits10 => f.write_str("BT.2020 (10 bit)"),
            Self::Bt2020Bits12 => f.write_str("BT.2020 (12 bit)"),
            Self::Gamma22 => f.write_str("gamma 2.2"),
            Self::Gamma28 => f.write_str("gamma 2.8"),
            Self::Smpte240 => f.write_str("SMPTE ST 240"),
            Self::Linear => f.write_str("linear light"),
            Self::Srgb => f.write_str("sRGB"),
            Self::Pq => f.write_str("PQ"),
            Self::Hlg => f.write_str("HLG"),
            Self::Other(code) => write!(f, "transfer code {code} of H.273"),
        }
    }
}

/// Colour tags as the code points of Rec. ITU-T H.273 tables 2–4; 2 = unspecified.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct TagCodes {
    /// Colour primaries.
    pub primaries: u8,
    /// Transfer characteristics.
    pub transfer: u8,
    /// Matrix coefficients.
    pub matrix: u8,
}

impl TagCodes {
    /// Nothing stated.
    pub const UNSPECIFIED: Self = Self {
        primaries: 2,
        transfer: 2,
        matrix: 2,
    };
    /// BT.709 throughout.
    pub const BT709: Self = Self {
        primaries: 1,
        transfer: 1,
        matrix: 1,
    };

    /// Of a working space, whose signal is for a BT.1886 display (code points of Rec. ITU-T H.273).
    #[must_use]
    pub const fn of(space: WorkingSpace) -> Self {
        let (primaries, transfer) = match space.primaries {
            Primaries::Bt709 => (1, 1),
            Primaries::Bt2020 => (9, 14),
            Primaries::Bt601Line525 => (6, 6),
            Primaries::Bt601Line625 => (5, 6),
        };
        let matrix = match (space.coefficients, space.primaries) {
            (Coefficients::Bt709, _) => 1,
            (Coefficients::Bt2020, _) => 9,
            (Coefficients::Bt601, Primaries::Bt601Line625) => 5,
            (Coefficients::Bt601, _) => 6,
        };
        Self {
            primaries,
            transfer,
            matrix,
        }
    }
}

/// What the codes of a clip mean.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Tags {
    /// Luma coefficients. Of R'G'B' and grey pictures: those to be used when they are coded.
    pub coefficients: Known<Coefficients>,
    /// Primaries.
    pub primaries: Known<Primaries>,
    /// Transfer characteristic.
    pub transfer: Known<Transfer>,
    /// Codes of black and white.
    pub levels: Known<Levels>,
    /// Position of chroma samples.
    pub siting: Known<Siting>,
    /// The file's own code points, 2 where it is silent.
    pub codes: TagCodes,
}

impl Tags {
    /// Code points that say what was used: the file's own, and the assumption where it is silent.
    #[must_use]
    pub fn codes_used(&self) -> TagCodes {
        let TagCodes {
            primaries,
            transfer,
            matrix,
        } = self.codes;
        let silent = |code: u8| matches!(code, 0 | 2 | 3);
        TagCodes {
            primaries: if silent(primaries) {
                match self.primaries.value() {
                    Primaries::Bt709 => 1,
                    Primaries::Bt601Line625 => 5,
                    Primaries::Bt601Line525 => 6,
                    Primaries::Bt2020 => 9,
                }
            } else {
                primaries
            },
            transfer: if silent(transfer) {
                self.transfer.value().code()
            } else {
                transfer
            },
            // The matrix is the one that the planes are written with, whatever the source was.
            matrix: match (self.coefficients.value(), matrix) {
                (Coefficients::Bt601, 5) => 5,
                (Coefficients::Bt601, _) => 6,
                (Coefficients::Bt709, _) => 1,
                (Coefficients::Bt2020, _) => 9,
            },
        }
    }

    /// One line for each assumption.
    #[must_use]
    pub fn assumptions(&self) -> Vec<String> {
        fn line<T: fmt::Display>(what: &str, fact: &Known<T>) -> Option<String> {
            fact.assumption()
                .map(|reason| format!("{what} assumed {}: {reason}", fact.value()))
        }
        [
            line("luma coefficients", &self.coefficients),
            line("primaries", &self.primaries),
            line("transfer", &self.transfer),
            line("levels", &self.levels),
            self.siting
                .assumption()
                .map(|reason| format!("chroma siting assumed: {reason}")),
        ]
        .into_iter()
        .flatten()
        .collect()
    }
}

/// What the editor says about a clip, over whatever its file says.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, Serialize, Deserialize)]
pub struct Stated {
    /// Luma coefficients.
    pub coefficients: Option<Coefficients>,
    /// Primaries.
    pub primaries: Option<Primaries>,
    /// Transfer characteristic.
    pub transfer: Option<Transfer>,
    /// Codes of black and white.
    pub levels: Option<Levels>,
    /// Position of chroma samples.
    pub siting: Option<Siting>,
}

/// What a decoder gives to judge by. Numbers as H.273 (and FFmpeg) have them.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) struct Raw {
    pub(crate) primaries: i32,
    pub(crate) transfer: i32,
    pub(crate) matrix: i32,
    /// 0 unstated, 1 narrow, 2 full.
    pub(crate) range: i32,
    /// 0 unstated, 1 left, 2 centre, 3 top left, 4 top, 5 bottom left, 6 bottom.
    pub(crate) siting: i32,
    pub(crate) width: usize,
    pub(crate) height: usize,
    pub(crate) rgb: bool,
    pub(crate) grey: bool,
    /// A `yuvj…` format: the format itself says full range.
    pub(crate) full_format: bool,
    pub(crate) across: u8,
    pub(crate) down: u8,
    pub(crate) depth: u8,
    /// The codec is one of still pictures (JPEG, PNG, TIFF …).
    pub(crate) still_codec: bool,
}

fn tagged<T>(value: T) -> Known<T> {
    Known::Tagged { value }
}

fn assumed<T>(value: T, reason: impl Into<String>) -> Known<T> {
    Known::Assumed {
        value,
        reason: reason.into(),
    }
}

fn or_stated<T>(stated: Option<T>, found: Known<T>) -> Known<T> {
    stated.map_or(found, |value| Known::Stated { value })
}

/// Applies the rules. An error names a matrix that is not read.
pub(crate) fn resolve(raw: &Raw, stated: &Stated) -> Result<Tags, String> {
    let coefficients = match stated.coefficients {
        Some(value) => Known::Stated { value },
        None => coefficients(raw)?,
    };
    let primaries = or_stated(stated.primaries, primaries(raw, *coefficients.value()));
    let transfer = or_stated(stated.transfer, transfer(raw));
    let levels = or_stated(stated.levels, levels(raw));
    let siting = or_stated(stated.siting, siting(raw));
    let code = |value: i32| u8::try_from(value).unwrap_or(2);
    Ok(Tags {
        coefficients,
        primaries,
        transfer,
        levels,
        siting,
        codes: TagCodes {
            primaries: code(raw.primaries),
            transfer: code(raw.transfer),
            matrix: code(raw.matrix),
        },
    })
}

/// The meaning of decoded planes under resolved tags.
pub(crate) fn pixel_format(raw: &Raw, tags: &Tags) -> PixelFormat {
    let (model, subsampling) = if raw.rgb {
        (Model::Rgb, Subsampling::S444)
    } else if raw.grey {
        (Model::Grey, Subsampling::S444)
    } else {
        (
            Model::Ycbcr(*tags.coefficients.value()),
            Subsampling {
                across: raw.across,
                down: raw.down,
            },
        )
    };
    PixelFormat {
        model,
        subsampling,
        siting: *tags.siting.value(),
        depth: raw.depth,
        levels: *tags.levels.value(),
        fields: false,
    }
}

/// No larger than a standard-definition raster with its usual padding.
fn is_standard_definition(raw: &Raw) -> bool {
    raw.height <= 576 && raw.width <= 1024
}

fn coefficients(raw: &Raw) -> Result<Known<Coefficients>, String> {
    use Coefficients::{Bt601, Bt709, Bt2020};
    if raw.rgb || raw.grey {
        // Nothing in the picture depends on it; the tag may still say how it is to be coded.
        return Ok(match raw.matrix {
            1 => tagged(Bt709),
            5 | 6 => tagged(Bt601),
            9 => tagged(Bt2020),
            _ => untagged_coefficients(raw),
        });
    }
    Ok(match raw.matrix {
        1 => tagged(Bt709),
        5 | 6 => tagged(Bt601),
        9 => tagged(Bt2020),
        4 => assumed(Bt601, "tagged FCC (Kr 0.30, Kb 0.11), BT.601 is nearest"),
        7 => assumed(
            Bt709,
            "tagged SMPTE ST 240 (Kr 0.212, Kb 0.087), BT.709 is nearest",
        ),
        // 0 would be R'G'B' planes, which these are not; 3 is reserved.
        0 | 2 | 3 => untagged_coefficients(raw),
        8 => return Err("a YCgCo matrix".into()),
        10 => return Err("a BT.2020 constant-luminance matrix".into()),
        14 => return Err("an ICtCp matrix".into()),
        other => return Err(format!("matrix code {other} of H.273")),
    })
}

fn untagged_coefficients(raw: &Raw) -> Known<Coefficients> {
    use Coefficients::{Bt601, Bt709, Bt2020};
    let what = if raw.rgb || raw.grey {
        "for coding a picture without a matrix"
    } else {
        "no matrix tag"
    };
    match raw.primaries {
        1 => return assumed(Bt709, format!("{what}, primaries tagged BT.709")),
        5 | 6 => return assumed(Bt601, format!("{what}, primaries tagged BT.601")),
        9 => return assumed(Bt2020, format!("{what}, primaries tagged BT.2020")),
        _ => {}
    }
    if matches!(raw.transfer, 16 | 18) {
        return assumed(Bt2020, format!("{what}, transfer tagged PQ or HLG"));
    }
    let (width, height) = (raw.width, raw.height);
    if is_standard_definition(raw) {
        assumed(
            Bt601,
            format!("{what}, {width}×{height} is standard definition (at most 1024×576)"),
        )
    } else if height > 1080 || width > 2048 {
        assumed(
            Bt709,
            format!("{what}, {width}×{height} with a standard dynamic range"),
        )
    } else {
        assumed(
            Bt709,
            format!("{what}, {width}×{height} is high definition"),
        )
    }
}

fn primaries(raw: &Raw, coefficients: Coefficients) -> Known<Primaries> {
    match raw.primaries {
        1 => tagged(Primaries::Bt709),
        5 => tagged(Primaries::Bt601Line625),
        6 | 7 => tagged(Primaries::Bt601Line525),
        9 => tagged(Primaries::Bt2020),
        0 | 2 | 3 => match coefficients {
            Coefficients::Bt709 => assumed(Primaries::Bt709, "no tag, as its matrix"),
            Coefficients::Bt2020 => assumed(Primaries::Bt2020, "no tag, as its matrix"),
            Coefficients::Bt601 if raw.matrix == 5 || matches!(raw.height, 288 | 576) => assumed(
                Primaries::Bt601Line625,
                "no tag, BT.601 matrix and the lines of a 625-line system",
            ),
            Coefficients::Bt601 => assumed(Primaries::Bt601Line525, "no tag, BT.601 matrix"),
        },
        11 | 12 => assumed(
            Primaries::Bt709,
            "tagged P3, which is not converted: its R'G'B' is read as it is",
        ),
        other => assumed(
            Primaries::Bt709,
            format!("tagged {other} of H.273, which is not converted: its R'G'B' is read as it is"),
        ),
    }
}

fn transfer(raw: &Raw) -> Known<Transfer> {
    match raw.transfer {
        0 | 2 | 3 if raw.still_codec && raw.rgb => {
            assumed(Transfer::Srgb, "no tag, a still picture")
        }
        0 | 2 | 3 => assumed(Transfer::Bt709, "no tag"),
        code => tagged(Transfer::from_code(u8::try_from(code).unwrap_or(2))),
    }
}

fn levels(raw: &Raw) -> Known<Levels> {
    if raw.full_format {
        return tagged(Levels::Full);
    }
    match raw.range {
        1 => tagged(Levels::Narrow),
        2 => tagged(Levels::Full),
        _ if raw.rgb => assumed(Levels::Full, "no tag, R'G'B' codes"),
        _ if raw.still_codec => assumed(Levels::Full, "no tag, a codec of still pictures"),
        _ => assumed(Levels::Narrow, "no tag, video"),
    }
}

fn siting(raw: &Raw) -> Known<Siting> {
    if raw.rgb || raw.grey || (raw.across == 0 && raw.down == 0) {
        return tagged(Siting::Left);
    }
    match raw.siting {
        1 => tagged(Siting::Left),
        2 => tagged(Siting::Centre),
        3 => tagged(Siting::TopLeft),
        4 => assumed(Siting::Centre, "tagged top, centre is nearest"),
        5 => assumed(Siting::Left, "tagged bottom left, left is nearest"),
        6 => assumed(Siting::Centre, "tagged bottom, centre is nearest"),
        _ if raw.still_codec => assumed(Siting::Centre, "no tag, midway as in JPEG"),
        _ if raw.down == 0 => assumed(Siting::Left, "no tag, on the left column as in 4:2:2 video"),
        _ => assumed(
            Siting::Left,
            "no tag, on the left column as in MPEG-2 and H.264",
        ),
    }
}
