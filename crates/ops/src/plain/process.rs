//! The nodes of a transform file on one colour.

use crate::data::lut::Lut3d;
use crate::data::process::{
    CdlStyle, CurveDomain, Curves, Exponent, ExponentStyle, Grid, Interpolation, Log, LogParams,
    LogStyle, Matrix, Node, Process, Range, StyledCdl,
};
use half::f16;

impl Process {
    /// The colour after every node.
    #[must_use]
    pub fn apply(&self, rgb: [f64; 3]) -> [f64; 3] {
        self.nodes.iter().fold(rgb, |rgb, node| node.apply(rgb))
    }
}

impl Node {
    /// The colour after this node.
    #[must_use]
    pub fn apply(&self, rgb: [f64; 3]) -> [f64; 3] {
        match self {
            Self::Matrix(matrix) => matrix.apply(rgb),
            Self::Range(range) => rgb.map(|v| range.apply(v)),
            Self::Cdl(styled) => styled.apply(rgb),
            Self::Curves(curves) => curves.apply(rgb),
            Self::Grid(grid) => grid.apply(rgb),
            Self::Log(log) => std::array::from_fn(|c| log.apply(rgb[c], &log.params[c])),
            Self::Exponent(exponent) => std::array::from_fn(|c| exponent.apply(rgb[c], c)),
        }
    }
}

impl Matrix {
    fn apply(&self, [r, g, b]: [f64; 3]) -> [f64; 3] {
        self.rows
            .map(|[on_r, on_g, on_b, offset]| on_r * r + on_g * g + on_b * b + offset)
    }
}

impl Range {
    fn apply(&self, value: f64) -> f64 {
        let scaled = match (self.low, self.high) {
            (Some([in_low, out_low]), Some([in_high, out_high])) => {
                let scale = (out_high - out_low) / (in_high - in_low);
                value * scale + out_low - in_low * scale
            }
            _ => value,
        };
        if !self.clamp {
            return scaled;
        }
        let low = self.low.map_or(f64::NEG_INFINITY, |[_, out]| out);
        let high = self.high.map_or(f64::INFINITY, |[_, out]| out);
        scaled.max(low).min(high)
    }
}

impl StyledCdl {
    fn apply(&self, rgb: [f64; 3]) -> [f64; 3] {
        match (self.style, self.cdl.inverse()) {
            (CdlStyle::Fwd, _) => self.cdl.apply_clamped(rgb),
            (CdlStyle::FwdNoClamp, _) => self.cdl.apply(rgb),
            (CdlStyle::Rev, Some(inverse)) => inverse.apply_clamped(rgb),
            (CdlStyle::RevNoClamp, Some(inverse)) => inverse.apply(rgb),
            // Not valid; nothing sensible can come of it.
            (CdlStyle::Rev | CdlStyle::RevNoClamp, None) => [f64::NAN; 3],
        }
    }
}

impl Curves {
    /// # Panics
    /// If there are fewer than two entries, or not 65536 over the halves
    /// ([`Node::validate`] finds both).
    fn apply(&self, rgb: [f64; 3]) -> [f64; 3] {
        std::array::from_fn(|c| match self.domain {
            CurveDomain::Unit => {
                let last = self.table.len() - 1;
                let place = (rgb[c] * last as f64).max(0.0).min(last as f64);
                let low = (place as usize).min(last - 1);
                self.between(low, low + 1, place - low as f64, c)
            }
            CurveDomain::Half => self.over_halves(rgb[c], c),
        })
    }

    fn between(&self, low: usize, high: usize, part: f64, c: usize) -> f64 {
        let (a, b) = (
            f64::from(self.table[low][c]),
            f64::from(self.table[high][c]),
        );
        if part == 0.0 { a } else { a + (b - a) * part }
    }

    /// Between the entries of the halves on both sides of a value.
    fn over_halves(&self, value: f64, c: usize) -> f64 {
        const LARGEST: f64 = 65_504.0;
        if value.is_nan() {
            return f64::from(self.table[usize::from(f16::NAN.to_bits())][c]);
        }
        let value = value.clamp(-LARGEST, LARGEST);
        let near = f16::from_f64(value);
        let found = f64::from(near);
        let bits = near.to_bits();
        let index = usize::from(bits);
        // Bit patterns grow with the size of the number, on either side of 0.
        let further = found.abs() < value.abs();
        let other = match (found == value, further) {
            (true, _) => return self.between(index, index, 0.0, c),
            (false, true) => bits + 1,
            (false, false) => bits - 1,
        };
        let span = f64::from(f16::from_bits(other)) - found;
        self.between(index, usize::from(other), (value - found) / span, c)
    }
}

impl Grid {
    fn apply(&self, rgb: [f64; 3]) -> [f64; 3] {
        match self.interpolation {
            Interpolation::Tetrahedral => self.lut.sample(rgb),
            Interpolation::Trilinear => trilinear(&self.lut, rgb),
        }
    }
}

fn trilinear(lut: &Lut3d, rgb: [f64; 3]) -> [f64; 3] {
    let last = lut.size - 1;
    let strides = [1, lut.size, lut.size * lut.size];
    let mut corner = 0;
    let part: [f64; 3] = std::array::from_fn(|c| {
        let (min, max) = (lut.domain_min[c], lut.domain_max[c]);
        let place = ((rgb[c] - min) / (max - min) * last as f64)
            .max(0.0)
            .min(last as f64);
        let low = (place as usize).min(last - 1);
        corner += low * strides[c];
        place - low as f64
    });
    let mut out = [0.0; 3];
    for which in 0..8 {
        let mut weight = 1.0;
        let mut index = corner;
        for c in 0..3 {
            let high = which >> c & 1 == 1;
            weight *= if high { part[c] } else { 1.0 - part[c] };
            index += if high { strides[c] } else { 0 };
        }
        if weight > 0.0 {
            for (out, value) in out.iter_mut().zip(lut.table[index]) {
                *out += weight * f64::from(value);
            }
        }
    }
    out
}

impl Log {
    fn apply(&self, value: f64, p: &LogParams) -> f64 {
        // A logarithm's argument is held above 0 by the smallest normal `f32`.
        let held = |v: f64| v.max(f64::from(f32::MIN_POSITIVE));
        let ln_base = self.base.ln();
        let to_log = |v: f64| {
            p.log_slope * held(p.lin_slope * v + p.lin_offset).ln() / ln_base + p.log_offset
        };
        let to_lin = |v: f64| {
            (self.base.powf((v - p.log_offset) / p.log_slope) - p.lin_offset) / p.lin_slope
        };
        let at = p.lin_break.unwrap_or(f64::NEG_INFINITY);
        let slope = p
            .linear_slope
            .unwrap_or_else(|| p.slope_at_break(self.base));
        match self.style {
            LogStyle::Log10 => held(value).log10(),
            LogStyle::AntiLog10 => 10_f64.powf(value),
            LogStyle::Log2 => held(value).log2(),
            LogStyle::AntiLog2 => value.exp2(),
            LogStyle::LinToLog => to_log(value),
            LogStyle::LogToLin => to_lin(value),
            LogStyle::CameraLinToLog if value <= at => to_log(at) + slope * (value - at),
            LogStyle::CameraLinToLog => to_log(value),
            LogStyle::CameraLogToLin if value <= to_log(at) => at + (value - to_log(at)) / slope,
            LogStyle::CameraLogToLin => to_lin(value),
        }
    }
}

impl Exponent {
    fn apply(&self, value: f64, c: usize) -> f64 {
        let g = self.exponent[c];
        let line = Line::new(g, self.offset[c]);
        let mirrored = |f: &dyn Fn(f64) -> f64| f(value.abs()).copysign(value);
        match self.style {
            ExponentStyle::BasicFwd => value.max(0.0).powf(g),
            ExponentStyle::BasicRev => value.max(0.0).powf(1.0 / g),
            ExponentStyle::BasicMirrorFwd => mirrored(&|v| v.powf(g)),
            ExponentStyle::BasicMirrorRev => mirrored(&|v| v.powf(1.0 / g)),
            ExponentStyle::BasicPassThruFwd | ExponentStyle::BasicPassThruRev if value < 0.0 => {
                value
            }
            ExponentStyle::BasicPassThruFwd => value.powf(g),
            ExponentStyle::BasicPassThruRev => value.powf(1.0 / g),
            ExponentStyle::MonCurveFwd => line.forward(value),
            ExponentStyle::MonCurveRev => line.back(value),
            ExponentStyle::MonCurveMirrorFwd => mirrored(&|v| line.forward(v)),
            ExponentStyle::MonCurveMirrorRev => mirrored(&|v| line.back(v)),
        }
    }
}

/// A power law that begins with a straight line.
struct Line {
    g: f64,
    k: f64,
    x_break: f64,
    y_break: f64,
    slope: f64,
}

impl Line {
    fn new(g: f64, k: f64) -> Self {
        // An exponent of 1 or an offset of 0 would divide by zero: held just beside.
        let (g, k) = (g.max(1.0 + 1e-6), k.max(1e-6));
        let y_break = (k * g / ((g - 1.0) * (1.0 + k))).powf(g);
        Self {
            g,
            k,
            x_break: k / (g - 1.0),
            y_break,
            slope: (g - 1.0) / k * y_break,
        }
    }

    fn forward(&self, x: f64) -> f64 {
        if x >= self.x_break {
            ((x + self.k) / (1.0 + self.k)).powf(self.g)
        } else {
            x * self.slope
        }
    }

    fn back(&self, y: f64) -> f64 {
        if y >= self.y_break {
            (1.0 + self.k) * y.powf(1.0 / self.g) - self.k
        } else {
            y / self.slope
        }
    }
}
