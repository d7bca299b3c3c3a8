//! A list of simple operations as a transform file has them.

use super::cdl::Cdl;
use super::invalid::{Invalid, check};
use super::lut::Lut3d;
use serde::{Deserialize, Serialize};

/// Nodes applied in order. What a transform file holds, scaled to signal units (1 = reference white)
/// whatever depth its numbers were written for.
///
/// Source of every formula: the Common LUT Format, version 3.0 (S-2014-006), from which SMPTE
/// ST 2136-1 was made.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Process {
    /// The nodes.
    pub nodes: Vec<Node>,
}

/// One node.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(tag = "node", rename_all = "snake_case")]
pub enum Node {
    /// A 3×3 matrix with an offset.
    Matrix(Matrix),
    /// A scale, a clamp or both.
    Range(Range),
    /// A CDL in one of its four styles.
    Cdl(StyledCdl),
    /// One curve a channel.
    Curves(Curves),
    /// A grid of colours.
    Grid(Grid),
    /// A logarithm or what undoes it.
    Log(Log),
    /// A power law or what undoes it.
    Exponent(Exponent),
}

/// `out = rows · (R, G, B, 1)`.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Matrix {
    /// Three coefficients and an offset for each of R, G, B.
    pub rows: [[f64; 4]; 3],
}

impl Matrix {
    /// The matrix that changes nothing.
    pub const NEUTRAL: Self = Self {
        rows: [
            [1.0, 0.0, 0.0, 0.0],
            [0.0, 1.0, 0.0, 0.0],
            [0.0, 0.0, 1.0, 0.0],
        ],
    };

    /// Brings a domain to 0–1, channel by channel.
    #[must_use]
    pub fn from_domain(min: [f64; 3], max: [f64; 3]) -> Self {
        let mut matrix = Self::NEUTRAL;
        for (c, row) in matrix.rows.iter_mut().enumerate() {
            row[c] = 1.0 / (max[c] - min[c]);
            row[3] = -min[c] / (max[c] - min[c]);
        }
        matrix
    }
}

/// A scale by two pairs of values, or a clamp at one end by one pair.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Range {
    /// Input and output at the low end.
    pub low: Option<[f64; 2]>,
    /// Input and output at the high end.
    pub high: Option<[f64; 2]>,
    /// Whether output is held between the ends. With one end alone it always is.
    pub clamp: bool,
}

/// How a CDL is applied.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum CdlStyle {
    /// Clamped to 0–1 before the power and at the end.
    Fwd,
    /// Undoes [`Self::Fwd`] as far as that can be undone.
    Rev,
    /// Without clamping.
    FwdNoClamp,
    /// Undoes [`Self::FwdNoClamp`].
    RevNoClamp,
}

impl CdlStyle {
    /// All styles, for tests that loop over every one.
    pub const ALL: [Self; 4] = [Self::Fwd, Self::Rev, Self::FwdNoClamp, Self::RevNoClamp];

    /// Whether it undoes.
    #[must_use]
    pub const fn is_reverse(self) -> bool {
        matches!(self, Self::Rev | Self::RevNoClamp)
    }
}

/// A CDL and how it is applied.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct StyledCdl {
    /// The numbers. Not 0 in slope or saturation where the style undoes.
    pub cdl: Cdl,
    /// The style.
    pub style: CdlStyle,
}

/// What the entries of curves stand for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum CurveDomain {
    /// Equal steps from 0 to 1; signal beyond is held at the ends.
    Unit,
    /// Every 16-bit floating-point number, in the order of their bit patterns.
    Half,
}

/// One curve a channel, linearly interpolated.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Curves {
    /// What the entries stand for.
    pub domain: CurveDomain,
    /// Entries R, G, B: 2–65536, exactly 65536 for [`CurveDomain::Half`].
    pub table: Vec<[f32; 3]>,
}

impl Curves {
    /// The largest number of entries.
    pub const MAX_SIZE: usize = 65_536;
}

/// How colours between the nodes of a grid are found.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Interpolation {
    /// In the cell's eight corners.
    Trilinear,
    /// In one of six tetrahedra along the cell's neutral diagonal.
    Tetrahedral,
}

/// A grid of colours.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Grid {
    /// How colours between nodes are found.
    pub interpolation: Interpolation,
    /// The grid, usually over 0–1.
    pub lut: Lut3d,
}

/// Which logarithm.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum LogStyle {
    /// Logarithm to base 10; the parameters are not used.
    Log10,
    /// 10 to the power of the signal.
    AntiLog10,
    /// Logarithm to base 2.
    Log2,
    /// 2 to the power of the signal.
    AntiLog2,
    /// A logarithm with gain and offset on both sides.
    LinToLog,
    /// Undoes it.
    LogToLin,
    /// The same with a straight line below a break.
    CameraLinToLog,
    /// Undoes it.
    CameraLogToLin,
}

impl LogStyle {
    /// All styles, for tests that loop over every one.
    pub const ALL: [Self; 8] = [
        Self::Log10,
        Self::AntiLog10,
        Self::Log2,
        Self::AntiLog2,
        Self::LinToLog,
        Self::LogToLin,
        Self::CameraLinToLog,
        Self::CameraLogToLin,
    ];

    /// Whether it has a break, and a straight line below.
    #[must_use]
    pub const fn has_break(self) -> bool {
        matches!(self, Self::CameraLinToLog | Self::CameraLogToLin)
    }

    /// Whether it has parameters.
    #[must_use]
    pub const fn has_parameters(self) -> bool {
        self.has_break() || matches!(self, Self::LinToLog | Self::LogToLin)
    }
}

/// The parameters of a logarithm for one channel.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LogParams {
    /// Gain of the logarithm. Neutral: 1. Not 0.
    pub log_slope: f64,
    /// Added to the logarithm. Neutral: 0.
    pub log_offset: f64,
    /// Gain of the linear signal. Neutral: 1. Not 0.
    pub lin_slope: f64,
    /// Added to the linear signal. Neutral: 0.
    pub lin_offset: f64,
    /// Linear signal at and below which the line holds.
    pub lin_break: Option<f64>,
    /// Slope of the line; the logarithm's own at the break where absent.
    pub linear_slope: Option<f64>,
}

impl Default for LogParams {
    fn default() -> Self {
        Self {
            log_slope: 1.0,
            log_offset: 0.0,
            lin_slope: 1.0,
            lin_offset: 0.0,
            lin_break: None,
            linear_slope: None,
        }
    }
}

impl LogParams {
    /// The logarithm's own slope at the break: that of the line where none is given. Not a number
    /// without a break.
    #[must_use]
    pub fn slope_at_break(&self, base: f64) -> f64 {
        let at = self.lin_break.unwrap_or(f64::NAN);
        self.log_slope * self.lin_slope / ((self.lin_slope * at + self.lin_offset) * base.ln())
    }
}

/// A logarithm.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Log {
    /// Which.
    pub style: LogStyle,
    /// The base of the styles with parameters. Positive, not 1. Usual: 2 or 10.
    pub base: f64,
    /// Of R, G, B.
    pub params: [LogParams; 3],
}

/// Which power law.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum ExponentStyle {
    /// A power; negative signal becomes 0.
    BasicFwd,
    /// Undoes it.
    BasicRev,
    /// A power, mirrored for negative signal.
    BasicMirrorFwd,
    /// Undoes it.
    BasicMirrorRev,
    /// A power; negative signal stays.
    BasicPassThruFwd,
    /// Undoes it.
    BasicPassThruRev,
    /// A power with a straight line near 0 and below.
    MonCurveFwd,
    /// Undoes it.
    MonCurveRev,
    /// The same, mirrored for negative signal.
    MonCurveMirrorFwd,
    /// Undoes it.
    MonCurveMirrorRev,
}

impl ExponentStyle {
    /// All styles, for tests that loop over every one.
    pub const ALL: [Self; 10] = [
        Self::BasicFwd,
        Self::BasicRev,
        Self::BasicMirrorFwd,
        Self::BasicMirrorRev,
        Self::BasicPassThruFwd,
        Self::BasicPassThruRev,
        Self::MonCurveFwd,
        Self::MonCurveRev,
        Self::MonCurveMirrorFwd,
        Self::MonCurveMirrorRev,
    ];

    /// Whether it has a line near 0, so an offset.
    #[must_use]
    pub const fn has_offset(self) -> bool {
        matches!(
            self,
            Self::MonCurveFwd
                | Self::MonCurveRev
                | Self::MonCurveMirrorFwd
                | Self::MonCurveMirrorRev
        )
    }
}

/// A power law.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Exponent {
    /// Which.
    pub style: ExponentStyle,
    /// Exponents of R, G, B. Range: > 0; 1–10 with a line.
    pub exponent: [f64; 3],
    /// Offsets of R, G, B for the styles with a line. Range: 0–0.9.
    pub offset: [f64; 3],
}

impl Process {
    /// Checks every node.
    ///
    /// # Errors
    /// The first parameter outside its range, with the number of its node.
    pub fn validate(&self) -> Result<(), Invalid> {
        for (index, node) in self.nodes.iter().enumerate() {
            node.validate()
                .map_err(|e| e.inside(&format!("nodes[{index}]")))?;
        }
        Ok(())
    }

    /// Whether it changes nothing, exactly. Tables, clamps and power laws count as changing something.
    #[must_use]
    pub fn is_identity(&self) -> bool {
        self.nodes.iter().all(|node| match node {
            Node::Matrix(matrix) => *matrix == Matrix::NEUTRAL,
            Node::Cdl(cdl) => {
                cdl.cdl.is_identity()
                    && matches!(cdl.style, CdlStyle::FwdNoClamp | CdlStyle::RevNoClamp)
            }
            _ => false,
        })
    }
}

impl Node {
    /// Checks every parameter.
    ///
    /// # Errors
    /// The first parameter outside its range.
    pub fn validate(&self) -> Result<(), Invalid> {
        match self {
            Self::Matrix(matrix) => {
                for (r, row) in matrix.rows.iter().enumerate() {
                    for (c, value) in row.iter().enumerate() {
                        check(format!("rows[{r}][{c}]"), *value, true, "a finite number")?;
                    }
                }
                Ok(())
            }
            Self::Range(range) => range.validate(),
            Self::Cdl(styled) => styled.validate(),
            Self::Curves(curves) => curves.validate(),
            Self::Grid(grid) => grid.lut.validate(),
            Self::Log(log) => log.validate(),
            Self::Exponent(exponent) => exponent.validate(),
        }
    }
}

impl Range {
    fn validate(&self) -> Result<(), Invalid> {
        let ends = [("low", self.low), ("high", self.high)];
        if ends.iter().all(|(_, pair)| pair.is_none()) {
            return Err(Invalid::new("low", "absent", "a pair of values at one end"));
        }
        for (name, pair) in ends {
            for value in pair.into_iter().flatten() {
                check(name, value, true, "finite numbers")?;
            }
        }
        let (Some([in_low, out_low]), Some([in_high, out_high])) = (self.low, self.high) else {
            let one = self.low.or(self.high).unwrap_or_default();
            let same = (one[0] - one[1]).abs() <= 1e-6 * one[0].abs().max(1.0);
            check("one end", one[1], same, "the same value in and out")?;
            return check("clamp", f64::from(u8::from(self.clamp)), self.clamp, "1");
        };
        check(
            "high",
            in_high,
            in_high > in_low,
            "input above the low end's",
        )?;
        check(
            "high",
            out_high,
            out_high >= out_low,
            "output no lower than the low end's",
        )
    }
}

impl StyledCdl {
    fn validate(&self) -> Result<(), Invalid> {
        self.cdl.validate()?;
        if self.style.is_reverse() && self.cdl.inverse().is_none() {
            return Err(Invalid::new(
                "slope or saturation",
                0,
                "above 0: what is multiplied by 0 cannot be undone",
            ));
        }
        Ok(())
    }
}

impl Curves {
    fn validate(&self) -> Result<(), Invalid> {
        let (least, what) = match self.domain {
            CurveDomain::Unit => (2, "2–65536"),
            CurveDomain::Half => (Self::MAX_SIZE, "65536"),
        };
        let count = self.table.len();
        if !(least..=Self::MAX_SIZE).contains(&count) {
            return Err(Invalid::new("table length", count, what));
        }
        match self.table.iter().flatten().find(|v| !v.is_finite()) {
            // Curves over every half have entries for infinities and NaN too.
            Some(bad) if self.domain == CurveDomain::Unit => {
                Err(Invalid::new("table", bad, "finite numbers"))
            }
            _ => Ok(()),
        }
    }
}

impl Log {
    fn validate(&self) -> Result<(), Invalid> {
        if !self.style.has_parameters() {
            return Ok(());
        }
        let base = self.base;
        check(
            "base",
            base,
            base > 0.0 && base != 1.0,
            "a number above 0, not 1",
        )?;
        for (c, p) in self.params.iter().enumerate() {
            let name = |field: &str| format!("params[{c}].{field}");
            let not_zero = "a finite number, not 0";
            check(name("log_slope"), p.log_slope, p.log_slope != 0.0, not_zero)?;
            check(name("lin_slope"), p.lin_slope, p.lin_slope != 0.0, not_zero)?;
            check(name("log_offset"), p.log_offset, true, "a finite number")?;
            check(name("lin_offset"), p.lin_offset, true, "a finite number")?;
            if self.style.has_break() {
                let Some(at) = p.lin_break else {
                    return Err(Invalid::new(name("lin_break"), "absent", "a number"));
                };
                check(
                    name("lin_break"),
                    at,
                    p.lin_slope * at + p.lin_offset > 0.0,
                    "a number whose logarithm exists: lin_slope·lin_break + lin_offset above 0",
                )?;
                if let Some(slope) = p.linear_slope {
                    check(name("linear_slope"), slope, slope != 0.0, not_zero)?;
                }
            }
        }
        Ok(())
    }
}

impl Exponent {
    fn validate(&self) -> Result<(), Invalid> {
        for c in 0..3 {
            let (g, k) = (self.exponent[c], self.offset[c]);
            if self.style.has_offset() {
                let holds = (1.0..=10.0).contains(&g);
                check(format!("exponent[{c}]"), g, holds, "1–10")?;
                let holds = (0.0..=0.9).contains(&k);
                check(format!("offset[{c}]"), k, holds, "0–0.9")?;
            } else {
                check(format!("exponent[{c}]"), g, g > 0.0, "a number above 0")?;
            }
        }
        Ok(())
    }
}
