//! The reading of a shot: its frames summed up, with an uncertainty beside each number.

use crate::frame::{FrameReading, Unreadable};
use crate::statistics::{Trimmed, median, theil_sen, trimmed};
use inkarnat_color::lab::LabConverter;
use inkarnat_color::{
    Chroma, DeltaE2000, Fraction, Hue, HueDelta, Lab, Levels, Percent, SKIN_TONE_LINE,
    WorkingSpace, Ycbcr, delta_e_2000,
};
use serde::{Deserialize, Serialize};

/// The signal of one code of the source: the coarsest thing that its numbers can differ by.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct CodeStep {
    /// Y' of one code.
    pub luma: f64,
    /// Cb or Cr of one code.
    pub chroma: f64,
}

impl CodeStep {
    /// The step of a code range at a depth of 8–16 bits (held to that).
    #[must_use]
    pub fn of(levels: Levels, depth: u8) -> Self {
        let depth = depth.clamp(8, 16);
        Self {
            luma: 1.0 / levels.luma_scale(depth).1,
            chroma: 1.0 / levels.chroma_scale(depth).1,
        }
    }
}

/// What a shot's reading needs to know besides its frames.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct ShotContext {
    /// The working space that the frames were read in.
    pub space: WorkingSpace,
    /// Code step of the source.
    pub step: CodeStep,
    /// The skin-tone line that `off_line` counts from.
    pub line: Hue,
    /// Frames that were looked at and not read: lost, or unreadable.
    pub frames_lost: usize,
}

impl ShotContext {
    /// BT.709, the usual skin-tone line, no frame lost.
    #[must_use]
    pub fn new(step: CodeStep) -> Self {
        Self {
            space: WorkingSpace::default(),
            step,
            line: SKIN_TONE_LINE,
            frames_lost: 0,
        }
    }
}

/// How a reading moves from the first to the last frame read, by a straight line through the median
/// of all pairs (Theil–Sen).
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Drift {
    /// Change of level over the shot, percent of reference white.
    pub level: f64,
    /// Its standard uncertainty (k = 1).
    pub level_u: f64,
    /// Change of hue over the shot in degrees; `None` where there is no hue.
    pub hue: Option<f64>,
    /// Its standard uncertainty (k = 1).
    pub hue_u: Option<f64>,
    /// Frames from the first to the last one read.
    pub span: u64,
}

/// The frame that differs most from the shot's reading.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct WorstFrame {
    /// Source frame.
    pub frame: u64,
    /// CIEDE2000 from the shot's reading.
    pub de00: DeltaE2000,
}

/// What a patch reads in a shot. All uncertainties are standard ones (k = 1).
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct ShotReading {
    /// Level Y'.
    pub level: Percent,
    /// Its uncertainty, percent of reference white.
    pub level_u: f64,
    /// The level as a 10-bit narrow-range code, not rounded.
    pub code10: f64,
    /// Cb and Cr.
    pub mean: Chroma,
    /// Hue; `None` below [`Chroma::HUE_FLOOR`].
    pub hue: Option<Hue>,
    /// Its uncertainty in degrees.
    pub hue_u: Option<f64>,
    /// Signed arc from the skin-tone line; positive toward yellow/green, negative toward red/magenta.
    pub off_line: Option<HueDelta>,
    /// Chroma magnitude, 0–0.7.
    pub chroma: f64,
    /// Its uncertainty.
    pub chroma_u: f64,
    /// Chroma divided by level (both as signal); `None` at a level of 1 % or less.
    pub sat_ratio: Option<f64>,
    /// R'G'B' of the mean.
    pub rgb: [f64; 3],
    /// CIELAB of the mean on the reference display.
    pub lab: Lab,
    /// C*ab of that.
    pub chroma_ab: f64,
    /// Share of the patch that is clipped, mean over the frames.
    pub clipped: Fraction,
    /// Mean of the frames' confidence times the share of frames that were read.
    pub confidence: Fraction,
    /// Movement over the shot.
    pub drift: Drift,
    /// Standard deviation of the finest detail of luma, median over the frames, percent of
    /// reference white.
    pub noise: f64,
    /// The frame that differs most.
    pub worst_frame: WorstFrame,
    /// Frames read.
    pub frames_read: usize,
    /// Frames looked at and not read.
    pub frames_lost: usize,
}

/// The fewest frames that make a reading, where the shot has as many.
pub const MIN_FRAMES: usize = 3;

/// Sums up the frames of a shot: trimmed means of Y', Cb and Cr over the frames (10 % at each end),
/// and everything else from those.
///
/// *Uncertainty* of a mean, k = 1, is the larger part of these, and the last one added in square:
/// - scatter from frame to frame about a straight line, of the trimmed mean (winsorised standard
///   deviation / 0.8 √n; Tukey and McLaughlin 1963), widened for frames that resemble their
///   neighbours and for the few degrees of freedom;
/// - with fewer than five frames, that scatter blended with what the blocks of each frame say;
/// - where frames scatter less than their noise must make them (a still, a frozen picture), what the
///   blocks of one frame say;
/// - coarse codes: what is left of the rounding error once noise and shading spread it.
///
/// # Errors
/// [`Unreadable::TooFewFrames`] with fewer than [`MIN_FRAMES`] readings (fewer than all, of shorter
/// shots), [`Unreadable::NotFinite`].
pub fn read_shot(
    frames: &[FrameReading],
    context: &ShotContext,
) -> Result<ShotReading, Unreadable> {
    let all = frames.len() + context.frames_lost;
    let needed = all.clamp(1, MIN_FRAMES);
    if frames.len() < needed {
        return Err(Unreadable::TooFewFrames {
            found: frames.len(),
            all,
            needed,
        });
    }
    if !frames.iter().all(is_finite) {
        return Err(Unreadable::NotFinite);
    }
    let over = |value: fn(&FrameReading) -> f64| frames.iter().map(value).collect::<Vec<f64>>();
    let mean_over =
        |value: fn(&FrameReading) -> f64| over(value).iter().sum::<f64>() / frames.len() as f64;
    let at = over(|f| f.frame as f64);

    let luma = Series::new(&at, over(|f| f.mean.y));
    let (cb, cr) = (over(|f| f.mean.cb), over(|f| f.mean.cr));
    let mean = Chroma {
        cb: Series::new(&at, cb.clone()).trimmed.mean,
        cr: Series::new(&at, cr.clone()).trimmed.mean,
    };
    let chroma = mean.magnitude();
    let (cos, sin) = if chroma > 0.0 {
        (mean.cb / chroma, mean.cr / chroma)
    } else {
        (1.0, 0.0)
    };
    let turned = |along: f64, across: f64| {
        Series::new(
            &at,
            cb.iter()
                .zip(&cr)
                .map(|(cb, cr)| along * cb + across * cr)
                .collect(),
        )
    };
    let (radial, tangential) = (turned(cos, sin), turned(-sin, cos));

    let sources = |channel: usize, step: f64| {
        let rms = |value: &dyn Fn(&FrameReading) -> f64| {
            (frames.iter().map(|f| value(f) * value(f)).sum::<f64>() / frames.len() as f64).sqrt()
        };
        Sources {
            one_frame: rms(&|f| f.mean_u[channel]),
            white_noise: rms(&|f| f.noise[channel] / f64::from(f.samples.max(1)).sqrt()),
            rounding: rounding(rms(&|f| f.spread[channel]), step),
        }
    };
    let of_luma = sources(0, context.step.luma);
    let (of_cb, of_cr) = (
        sources(1, context.step.chroma),
        sources(2, context.step.chroma),
    );
    let of_radial = of_cb.turned(&of_cr, cos, sin);
    let of_tangential = of_cb.turned(&of_cr, sin, cos);

    let ycbcr = Ycbcr {
        y: luma.trimmed.mean,
        cb: mean.cb,
        cr: mean.cr,
    };
    let hue = mean.hue();
    let degrees = |tangent: f64| (tangent / chroma).to_degrees();
    let rgb = context.space.coefficients.rgb_from_ycbcr(ycbcr);
    let converter = LabConverter::new(context.space);
    let lab = converter.lab(rgb);
    let level = Percent::from_signal(ycbcr.y);
    let worst = frames
        .iter()
        .map(|f| {
            let rgb = context.space.coefficients.rgb_from_ycbcr(f.mean);
            WorstFrame {
                frame: f.frame,
                de00: delta_e_2000(lab, converter.lab(rgb)),
            }
        })
        .reduce(|worst, next| {
            if next.de00.0 > worst.de00.0 {
                next
            } else {
                worst
            }
        })
        .ok_or(Unreadable::TooFewFrames {
            found: 0,
            all,
            needed,
        })?;
    let span = luma.span();
    Ok(ShotReading {
        level,
        level_u: luma.uncertainty(&of_luma) * 100.0,
        code10: level.code10(),
        mean,
        hue,
        hue_u: hue.map(|_| degrees(tangential.uncertainty(&of_tangential))),
        off_line: hue.map(|hue| hue.from_origin(context.line)),
        chroma,
        chroma_u: radial.uncertainty(&of_radial),
        sat_ratio: (ycbcr.y > 0.01).then(|| chroma / ycbcr.y),
        rgb,
        lab,
        chroma_ab: lab.chroma(),
        clipped: Fraction(mean_over(|f| f.clipped)),
        confidence: Fraction(mean_over(|f| f.confidence) * frames.len() as f64 / all as f64),
        drift: Drift {
            level: luma.slope * span * 100.0,
            level_u: luma.drift_u(&of_luma) * 100.0,
            hue: hue.map(|_| degrees(tangential.slope * span)),
            hue_u: hue.map(|_| degrees(tangential.drift_u(&of_tangential))),
            span: span as u64,
        },
        noise: median(&mut over(|f| f.noise[0])).unwrap_or(0.0) * 100.0,
        worst_frame: worst,
        frames_read: frames.len(),
        frames_lost: context.frames_lost,
    })
}

fn is_finite(f: &FrameReading) -> bool {
    let triples = [f.mean_u, f.spread, f.noise];
    let sum: f64 = triples.iter().flatten().sum();
    (sum + f.mean.y + f.mean.cb + f.mean.cr + f.clipped + f.confidence).is_finite()
}

/// What makes the mean of a frame uncertain, as signal.
struct Sources {
    /// Uncertainty of one frame's mean by its blocks.
    one_frame: f64,
    /// The least that noise must scatter one frame's mean, were it independent from pixel to pixel.
    white_noise: f64,
    /// Rounding error, shared by all frames.
    rounding: f64,
}

impl Sources {
    /// Of the sum c·self + s·other.
    fn turned(&self, other: &Self, c: f64, s: f64) -> Self {
        let both = |a: f64, b: f64| (c * a).hypot(s * b);
        Self {
            one_frame: both(self.one_frame, other.one_frame),
            white_noise: both(self.white_noise, other.white_noise),
            rounding: both(self.rounding, other.rounding),
        }
    }
}

/// Standard deviation of the error that rounding to whole codes leaves in a mean over values that
/// spread over a normal distribution: the first harmonic of the sawtooth, damped by the spread; with
/// no spread, step / √12.
fn rounding(spread: f64, step: f64) -> f64 {
    let codes = spread / step;
    let harmonic = step / (std::f64::consts::PI * std::f64::consts::SQRT_2)
        * (-2.0 * (std::f64::consts::PI * codes).powi(2)).exp();
    if codes.is_finite() {
        harmonic
    } else {
        step / 12f64.sqrt()
    }
}

/// One number through the frames.
struct Series {
    trimmed: Trimmed,
    /// Change a frame.
    slope: f64,
    at: Vec<f64>,
    /// What is left after the line.
    rest: Vec<f64>,
    /// Whether a line was taken out.
    straightened: bool,
}

impl Series {
    fn new(at: &[f64], values: Vec<f64>) -> Self {
        /// Fewer frames tell no slope from scatter.
        const FEWEST_FOR_SLOPE: usize = 8;
        /// Standard uncertainties by which a slope must stand out to be taken out of the scatter.
        const CLEAR: f64 = 3.0;
        let slope = theil_sen(at, &values);
        let middle = at.iter().sum::<f64>() / at.len().max(1) as f64;
        let without = |line: f64| -> Vec<f64> {
            at.iter()
                .zip(&values)
                .map(|(x, v)| v - line * (x - middle))
                .collect()
        };
        // A slow flicker looks like a slope; taken out, it would make the rest look too steady.
        let straight = without(slope);
        let square: f64 = at.iter().map(|x| (x - middle).powi(2)).sum();
        let scatter = trimmed(&mut straight.clone()).map_or(0.0, |t| t.winsorised_sd);
        let slope_u = scatter / square.sqrt() * resemblance(&straight);
        let straightened = values.len() >= FEWEST_FOR_SLOPE && slope.abs() > CLEAR * slope_u;
        let rest = if straightened { straight } else { without(0.0) };
        let mut sorted = values;
        // `read_shot` has refused an empty shot.
        let trimmed = trimmed(&mut sorted).unwrap_or(Trimmed {
            mean: 0.0,
            winsorised_sd: 0.0,
            cut: 0,
        });
        Self {
            trimmed,
            slope,
            at: at.to_vec(),
            rest,
            straightened,
        }
    }

    fn span(&self) -> f64 {
        let low = self.at.iter().copied().fold(f64::INFINITY, f64::min);
        let high = self.at.iter().copied().fold(f64::NEG_INFINITY, f64::max);
        (high - low).max(0.0)
    }

    /// Uncertainty of the trimmed mean.
    fn uncertainty(&self, sources: &Sources) -> f64 {
        self.scatter_u(sources).hypot(sources.rounding)
    }

    fn scatter_u(&self, sources: &Sources) -> f64 {
        /// Frames from which scatter speaks for itself.
        const ENOUGH: usize = 5;
        /// How many frames' worth of weight the blocks have before that.
        const PRIOR: f64 = 2.0;
        let n = self.rest.len() as f64;
        let mut sorted = self.rest.clone();
        let Some(rest) = trimmed(&mut sorted) else {
            return sources.one_frame;
        };
        if rest.winsorised_sd < 0.5 * sources.white_noise || n < 2.0 {
            return sources.one_frame;
        }
        if self.rest.len() < ENOUGH {
            let square = (PRIOR * sources.one_frame.powi(2)
                + (n - 1.0) * rest.winsorised_sd.powi(2))
                / (PRIOR + n - 1.0);
            return (square / n).sqrt();
        }
        let cut = rest.cut as f64;
        let kept_share = (n - 2.0 * cut) / n;
        let freedom = n - 2.0 * cut - 1.0 - f64::from(u8::from(self.straightened));
        let few = (freedom / (freedom - 2.0).max(1.0)).sqrt();
        rest.winsorised_sd / (kept_share * n.sqrt()) * few * resemblance(&self.rest)
    }

    /// Uncertainty of the change from the first to the last frame.
    fn drift_u(&self, sources: &Sources) -> f64 {
        let n = self.rest.len() as f64;
        let middle = self.at.iter().sum::<f64>() / n;
        let square: f64 = self.at.iter().map(|x| (x - middle).powi(2)).sum();
        if square <= 0.0 {
            return 0.0;
        }
        // The scatter of a mean, back to that of one frame, then to that of a slope.
        self.scatter_u(sources) * n.sqrt() / square.sqrt() * self.span()
    }
}

/// How much frames that resemble their neighbours widen the uncertainty of a mean: √((1 + r) / (1 − r))
/// with the correlation r of neighbours, where that exceeds half of what chance makes (all of it in
/// a few frames, where chance would widen too often).
fn resemblance(rest: &[f64]) -> f64 {
    const FEW: f64 = 12.0;
    let n = rest.len() as f64;
    let mean = rest.iter().sum::<f64>() / n;
    let product = |lag: usize| -> f64 {
        rest.iter()
            .zip(&rest[lag.min(rest.len())..])
            .map(|(a, b)| (a - mean) * (b - mean))
            .sum()
    };
    let own = product(0);
    let r = if own > 0.0 { product(1) / own } else { 0.0 };
    // A short series shows less than there is: Kendall's correction (1 + 4 r) / n.
    let chance = if n < FEW { 1.0 } else { 0.5 } / n.sqrt();
    let r = if r > chance {
        (r + (1.0 + 4.0 * r) / n).min(0.95)
    } else {
        0.0
    };
    ((1.0 + r) / (1.0 - r)).sqrt()
}

#[cfg(test)]
mod tests;
