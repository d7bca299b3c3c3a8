//! A node that is being read.

use super::array::{Array, short};
use super::{ClfError, file};
use crate::xml::{Element, numbers};
use inkarnat_ops::{
    Cdl, CdlStyle, CurveDomain, Curves, Exponent, ExponentStyle, Grid, Interpolation, Log,
    LogParams, LogStyle, Lut3d, Matrix, Node, Range, StyledCdl,
};

/// The elements that are nodes.
pub(super) const NODES: [&str; 7] = [
    "Matrix", "Range", "LUT1D", "LUT3D", "Log", "Exponent", "ASC_CDL",
];

/// Values of a range, in the order that they are kept in.
const RANGE: [&str; 4] = ["minInValue", "minOutValue", "maxInValue", "maxOutValue"];

pub(super) struct Open {
    kind: String,
    line: usize,
    style: Option<String>,
    interpolation: Option<String>,
    half_domain: bool,
    raw_halfs: bool,
    /// Signal units in one unit of the file, at the input and at the output.
    scale_in: f64,
    pub(super) scale_out: (String, f64),
    array: Option<Array>,
    range: [Option<f64>; 4],
    slope: Option<[f64; 3]>,
    offset: Option<[f64; 3]>,
    power: Option<[f64; 3]>,
    sop: bool,
    saturation: Option<f64>,
    base: Option<f64>,
    logs: [Option<LogParams>; 3],
    powers: [Option<[Option<f64>; 2]>; 3],
}

/// The file's number of 1.0.
fn scale(depth: &str) -> Option<f64> {
    match depth {
        "8i" => Some(255.0),
        "10i" => Some(1023.0),
        "12i" => Some(4095.0),
        "16i" => Some(65_535.0),
        "16f" | "32f" => Some(1.0),
        _ => None,
    }
}

impl Open {
    /// # Errors
    /// If a depth is missing, unknown, or not the one that the node before gives.
    pub(super) fn new(start: &Element, before: Option<&str>) -> Result<Self, ClfError> {
        let (kind, line) = (start.name.clone(), start.line);
        let depth = |name: &str| {
            let given = start.attribute(name).unwrap_or_default();
            scale(given)
                .map(|scale| (given.to_owned(), scale))
                .ok_or_else(|| {
                    file(
                        line,
                        format!("{kind} with {name}=\"{}\"", short(given)),
                        "8i, 10i, 12i, 16i, 16f or 32f",
                    )
                })
        };
        let (given, scale_in) = depth("inBitDepth")?;
        let scale_out = depth("outBitDepth")?;
        if let Some(before) = before.filter(|before| *before != given) {
            return Err(file(
                line,
                format!("{kind} with inBitDepth=\"{given}\""),
                format!("\"{before}\", the outBitDepth of the node before"),
            ));
        }
        let flag = |name: &str| match start.attribute(name) {
            None => Ok(false),
            Some("true") if kind == "LUT1D" => Ok(true),
            Some(given) => Err(file(
                line,
                format!("{kind} with {name}=\"{}\"", short(given)),
                format!("no {name}, or \"true\" in a LUT1D"),
            )),
        };
        Ok(Self {
            half_domain: flag("halfDomain")?,
            raw_halfs: flag("rawHalfs")?,
            style: start.attribute("style").map(str::to_owned),
            interpolation: start.attribute("interpolation").map(str::to_owned),
            kind,
            line,
            scale_in,
            scale_out,
            array: None,
            range: [None; 4],
            slope: None,
            offset: None,
            power: None,
            sop: false,
            saturation: None,
            base: None,
            logs: [None; 3],
            powers: [None; 3],
        })
    }

    /// An element inside the node begins.
    ///
    /// # Errors
    /// If it does not belong there.
    pub(super) fn start(&mut self, start: &Element, parent: &str) -> Result<(), ClfError> {
        let line = start.line;
        match (self.kind.as_str(), parent, start.name.as_str()) {
            (_, _, "Description") => Ok(()),
            ("Matrix" | "LUT1D" | "LUT3D", kind, "Array") if kind == self.kind => {
                if self.array.is_some() {
                    return Err(file(line, "a second Array", "one in a node"));
                }
                self.array = Some(Array::new(&self.kind, start.attribute("dim"), line)?);
                Ok(())
            }
            ("Range", "Range", name) if RANGE.contains(&name) => Ok(()),
            ("Log", "Log", "LogParams") => self.log_params(start),
            ("Exponent", "Exponent", "ExponentParams") => self.exponent_params(start),
            ("ASC_CDL", "ASC_CDL", "SOPNode") => {
                self.sop = true;
                Ok(())
            }
            ("ASC_CDL", "ASC_CDL", "SatNode")
            | ("ASC_CDL", "SOPNode", "Slope" | "Offset" | "Power")
            | ("ASC_CDL", "SatNode", "Saturation") => Ok(()),
            (kind, _, name) => Err(file(
                line,
                format!("the element '{}' in a {kind}", short(name)),
                "an element that version 3.0 of the format has there",
            )),
        }
    }

    /// Text of an array; all other text comes whole, at the end of its element.
    ///
    /// # Errors
    /// As [`Array::take`].
    pub(super) fn array_text(&mut self, text: &str, line: usize) -> Result<(), ClfError> {
        match &mut self.array {
            Some(array) => array.take(text, line, self.raw_halfs),
            None => Ok(()),
        }
    }

    /// An element inside the node ends.
    ///
    /// # Errors
    /// If its text is not the numbers that it should be.
    pub(super) fn end(&mut self, name: &str, text: &str, line: usize) -> Result<(), ClfError> {
        if let Some(at) = RANGE.iter().position(|known| *known == name) {
            let [value] = once(self.range[at].map(|v| [v]), name, text, line)?;
            self.range[at] = Some(value);
            return Ok(());
        }
        match name {
            "Array" => {
                self.array = self.array.take().map(Array::finish).transpose()?;
            }
            "Slope" => self.slope = Some(once(self.slope, name, text, line)?),
            "Offset" => self.offset = Some(once(self.offset, name, text, line)?),
            "Power" => self.power = Some(once(self.power, name, text, line)?),
            "Saturation" => {
                let [value] = once(self.saturation.map(|v| [v]), name, text, line)?;
                self.saturation = Some(value);
            }
            _ => {}
        }
        Ok(())
    }

    fn log_params(&mut self, start: &Element) -> Result<(), ClfError> {
        let line = start.line;
        let base = attribute_number(start, "base")?.unwrap_or(2.0);
        if self.base.replace(base).is_some_and(|known| known != base) {
            return Err(file(line, "a second base", "the same for all channels"));
        }
        let neutral = LogParams::default();
        let number =
            |name, otherwise| attribute_number(start, name).map(|value| value.unwrap_or(otherwise));
        let params = LogParams {
            log_slope: number("logSideSlope", neutral.log_slope)?,
            log_offset: number("logSideOffset", neutral.log_offset)?,
            lin_slope: number("linSideSlope", neutral.lin_slope)?,
            lin_offset: number("linSideOffset", neutral.lin_offset)?,
            lin_break: attribute_number(start, "linSideBreak")?,
            linear_slope: attribute_number(start, "linearSlope")?,
        };
        put(&mut self.logs, params, start)
    }

    fn exponent_params(&mut self, start: &Element) -> Result<(), ClfError> {
        let params = [
            attribute_number(start, "exponent")?,
            attribute_number(start, "offset")?,
        ];
        put(&mut self.powers, params, start)
    }

    /// The node whole.
    ///
    /// # Errors
    /// If something is missing or outside its range.
    pub(super) fn finish(mut self) -> Result<Node, ClfError> {
        let line = self.line;
        let node = match self.kind.as_str() {
            "Matrix" => self.matrix()?,
            "Range" => self.range_node()?,
            "LUT1D" => self.curves()?,
            "LUT3D" => self.grid()?,
            "Log" => self.log()?,
            "Exponent" => self.exponent()?,
            _ => self.cdl()?,
        };
        node.validate().map_err(|e| {
            file(
                line,
                format!("{}: {} is {}", self.kind, e.field, e.given),
                e.expected,
            )
        })?;
        Ok(node)
    }

    fn missing(&self, what: &str) -> ClfError {
        file(self.line, format!("{} without {what}", self.kind), what)
    }

    fn styled<T: Copy>(&self, styles: &[(&str, T)], otherwise: Option<T>) -> Result<T, ClfError> {
        let Some(given) = &self.style else {
            return otherwise.ok_or_else(|| self.missing("a style"));
        };
        let found = styles.iter().find(|(name, _)| name == given);
        found.map(|(_, style)| *style).ok_or_else(|| {
            let names: Vec<&str> = styles.iter().map(|(name, _)| *name).collect();
            file(
                self.line,
                format!("{} with style=\"{}\"", self.kind, short(given)),
                names.join(", "),
            )
        })
    }

    fn take_array(&mut self) -> Result<Array, ClfError> {
        self.array.take().ok_or_else(|| self.missing("an Array"))
    }

    fn matrix(&mut self) -> Result<Node, ClfError> {
        let array = self.take_array()?;
        let columns = array.dim[1];
        let mut matrix = Matrix {
            rows: [[0.0; 4]; 3],
        };
        for (r, row) in matrix.rows.iter_mut().enumerate() {
            for (c, value) in row.iter_mut().take(columns).enumerate() {
                let unit = if c < 3 { self.scale_in } else { 1.0 };
                *value = array.values[r * columns + c] * unit / self.scale_out.1;
            }
        }
        Ok(Node::Matrix(matrix))
    }

    fn range_node(&self) -> Result<Node, ClfError> {
        let clamp = self.styled(&[("Clamp", true), ("noClamp", false)], Some(true))?;
        let pair = |at: usize| match (self.range[at], self.range[at + 1]) {
            (Some(input), Some(output)) => {
                Ok(Some([input / self.scale_in, output / self.scale_out.1]))
            }
            (None, None) => Ok(None),
            (None, _) => Err(self.missing(RANGE[at])),
            (_, None) => Err(self.missing(RANGE[at + 1])),
        };
        Ok(Node::Range(Range {
            low: pair(0)?,
            high: pair(2)?,
            clamp,
        }))
    }

    fn curves(&mut self) -> Result<Node, ClfError> {
        if let Some(given) = self.interpolation.as_deref().filter(|i| *i != "linear") {
            return Err(file(
                self.line,
                format!("LUT1D with interpolation=\"{}\"", short(given)),
                "linear",
            ));
        }
        let array = self.take_array()?;
        let columns = array.dim[1];
        let value = |row: &[f64], c: usize| (row[c.min(columns - 1)] / self.scale_out.1) as f32;
        Ok(Node::Curves(Curves {
            domain: if self.half_domain {
                CurveDomain::Half
            } else {
                CurveDomain::Unit
            },
            table: array
                .values
                .chunks_exact(columns)
                .map(|row| std::array::from_fn(|c| value(row, c)))
                .collect(),
        }))
    }

    fn grid(&mut self) -> Result<Node, ClfError> {
        let interpolation = match self.interpolation.as_deref() {
            None | Some("trilinear") => Interpolation::Trilinear,
            Some("tetrahedral") => Interpolation::Tetrahedral,
            Some(given) => {
                return Err(file(
                    self.line,
                    format!("LUT3D with interpolation=\"{}\"", short(given)),
                    "trilinear or tetrahedral",
                ));
            }
        };
        let array = self.take_array()?;
        let size = array.dim[0];
        let mut lut = Lut3d::identity(size, [0.0; 3], [1.0; 3]);
        for (index, colour) in array.values.chunks_exact(3).enumerate() {
            // The file counts blue fastest, a table red.
            let (r, g, b) = (index / (size * size), index / size % size, index % size);
            lut.table[r + g * size + b * size * size] =
                std::array::from_fn(|c| (colour[c] / self.scale_out.1) as f32);
        }
        Ok(Node::Grid(Grid { interpolation, lut }))
    }

    fn log(&self) -> Result<Node, ClfError> {
        let style = self.styled(&LOG_STYLES, None)?;
        let params = channels(&self.logs);
        if style.has_parameters() && params.is_none() {
            return Err(self.missing("LogParams"));
        }
        Ok(Node::Log(Log {
            style,
            base: self.base.unwrap_or(2.0),
            params: params.unwrap_or_default().map(Option::unwrap_or_default),
        }))
    }

    fn exponent(&self) -> Result<Node, ClfError> {
        let style = self.styled(&EXPONENT_STYLES, None)?;
        let Some(params) = channels(&self.powers) else {
            return Err(self.missing("ExponentParams"));
        };
        let (mut exponent, mut offset) = ([1.0; 3], [0.0; 3]);
        for c in 0..3 {
            // A channel that nothing is said about stays.
            let Some([power, k]) = params[c] else {
                continue;
            };
            exponent[c] = power.ok_or_else(|| self.missing("an exponent"))?;
            offset[c] = match (style.has_offset(), k) {
                (true, Some(k)) => k,
                (true, None) => return Err(self.missing("an offset")),
                (false, None) => 0.0,
                (false, Some(_)) => {
                    return Err(file(
                        self.line,
                        "an offset",
                        "none: only the monCurve styles have one",
                    ));
                }
            };
        }
        Ok(Node::Exponent(Exponent {
            style,
            exponent,
            offset,
        }))
    }

    fn cdl(&self) -> Result<Node, ClfError> {
        let style = self.styled(&CDL_STYLES, Some(CdlStyle::Fwd))?;
        let part = |value: Option<[f64; 3]>, neutral: [f64; 3], what| match value {
            None if self.sop => Err(self.missing(what)),
            value => Ok(value.unwrap_or(neutral)),
        };
        Ok(Node::Cdl(StyledCdl {
            cdl: Cdl {
                slope: part(self.slope, [1.0; 3], "Slope in its SOPNode")?,
                offset: part(self.offset, [0.0; 3], "Offset in its SOPNode")?,
                power: part(self.power, [1.0; 3], "Power in its SOPNode")?,
                saturation: self.saturation.unwrap_or(1.0),
            },
            style,
        }))
    }
}

pub(super) const CDL_STYLES: [(&str, CdlStyle); 4] = [
    ("Fwd", CdlStyle::Fwd),
    ("Rev", CdlStyle::Rev),
    ("FwdNoClamp", CdlStyle::FwdNoClamp),
    ("RevNoClamp", CdlStyle::RevNoClamp),
];

pub(super) const LOG_STYLES: [(&str, LogStyle); 8] = [
    ("log10", LogStyle::Log10),
    ("antiLog10", LogStyle::AntiLog10),
    ("log2", LogStyle::Log2),
    ("antiLog2", LogStyle::AntiLog2),
    ("linToLog", LogStyle::LinToLog),
    ("logToLin", LogStyle::LogToLin),
    ("cameraLinToLog", LogStyle::CameraLinToLog),
    ("cameraLogToLin", LogStyle::CameraLogToLin),
];

pub(super) const EXPONENT_STYLES: [(&str, ExponentStyle); 10] = [
    ("basicFwd", ExponentStyle::BasicFwd),
    ("basicRev", ExponentStyle::BasicRev),
    ("basicMirrorFwd", ExponentStyle::BasicMirrorFwd),
    ("basicMirrorRev", ExponentStyle::BasicMirrorRev),
    ("basicPassThruFwd", ExponentStyle::BasicPassThruFwd),
    ("basicPassThruRev", ExponentStyle::BasicPassThruRev),
    ("monCurveFwd", ExponentStyle::MonCurveFwd),
    ("monCurveRev", ExponentStyle::MonCurveRev),
    ("monCurveMirrorFwd", ExponentStyle::MonCurveMirrorFwd),
    ("monCurveMirrorRev", ExponentStyle::MonCurveMirrorRev),
];

/// Numbers that may be said once.
fn once<const N: usize>(
    seen: Option<[f64; N]>,
    name: &str,
    text: &str,
    line: usize,
) -> Result<[f64; N], ClfError> {
    if seen.is_some() {
        return Err(file(line, format!("a second {name}"), "one in a node"));
    }
    Ok(numbers(name, text, line)?)
}

fn attribute_number(start: &Element, name: &str) -> Result<Option<f64>, ClfError> {
    let Some(text) = start.attribute(name) else {
        return Ok(None);
    };
    let [value] = numbers(name, text, start.line)?;
    Ok(Some(value))
}

/// Puts parameters down for one channel, or for all that have none yet.
fn put<T: Copy>(to: &mut [Option<T>; 3], params: T, start: &Element) -> Result<(), ClfError> {
    let line = start.line;
    let channels = match start.attribute("channel") {
        None => 0..3,
        Some("R") => 0..1,
        Some("G") => 1..2,
        Some("B") => 2..3,
        Some(given) => {
            return Err(file(
                line,
                format!("the channel \"{}\"", short(given)),
                "R, G or B",
            ));
        }
    };
    for c in channels {
        if to[c].replace(params).is_some() {
            return Err(file(
                line,
                format!("a second {} for a channel", start.name),
                "one for each channel, or one for all",
            ));
        }
    }
    Ok(())
}

/// `None` where nothing was said of any channel.
fn channels<T: Copy>(of: &[Option<T>; 3]) -> Option<[Option<T>; 3]> {
    of.iter().any(Option::is_some).then_some(*of)
}
