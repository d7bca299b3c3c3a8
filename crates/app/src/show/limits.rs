//! Limits of delivery in a report.

use crate::Result;
use crate::limit::Limited;
use crate::steps::handing::timecode_at;
use inkarnat_film::Source;
use inkarnat_reading::ShotLimits;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// What a limiter did to a clip: luma and hue kept, saturation given up (ITU-R BT.601-7 clause 2.5.5).
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LimitedReport {
    /// The lowest R', G', B', percent.
    pub low_pct: f64,
    /// The highest R', G', B', percent.
    pub high_pct: f64,
    /// Pixels that were changed, percent of all pixels of the clip.
    pub changed_pct: f64,
    /// The most saturation that a pixel with a hue (chroma of at least 0.015) gave up, percent.
    pub largest_loss_pct: f64,
}

impl From<Limited> for LimitedReport {
    fn from(limited: Limited) -> Self {
        Self {
            low_pct: 100.0 * limited.limiter.low,
            high_pct: 100.0 * limited.limiter.high,
            changed_pct: limited.changed_pct,
            largest_loss_pct: limited.largest_loss_pct,
        }
    }
}

/// A shot held against the limits of delivery: EBU R 103 v3.0, R', G', B' and luma of every frame.
///
/// A frame is over a limit when more than 1 % of its area is, behind the measuring filter
/// [1 2 3 4 3 2 1]/16 across and [1 2 1]/4 down (the filter is yet to be verified).
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct LimitsReport {
    /// Frames looked at.
    pub frames: u64,
    /// Frames over the nominal limits (0–100 %), to which graded material should keep closely.
    pub over_nominal: u64,
    /// Frames over the preferred limits (−5–105 %): gamut errors.
    pub over_preferred: u64,
    /// Frames over the total limits (the codes that may carry video).
    pub over_total: u64,
    /// The frames furthest out, worst first; none where nothing is outside.
    pub worst: Vec<WorstLimitReport>,
}

/// A frame with area outside the limits.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct WorstLimitReport {
    /// Source frame.
    pub frame: u64,
    /// Its timecode; null where the source has none.
    pub timecode: Option<String>,
    /// Area outside the nominal limits, percent.
    pub nominal_pct: f64,
    /// Area outside the preferred limits, percent.
    pub preferred_pct: f64,
    /// Area outside the total limits, percent.
    pub total_pct: f64,
    /// The component that is outside most: `luma`, `red`, `green` or `blue`.
    pub component: Option<String>,
}

pub(super) fn limits_report(limits: &ShotLimits, source: &Source) -> Result<LimitsReport> {
    Ok(LimitsReport {
        frames: limits.frames,
        over_nominal: limits.over_nominal,
        over_preferred: limits.over_preferred,
        over_total: limits.over_total,
        worst: limits
            .worst
            .iter()
            .map(|frame| {
                Ok(WorstLimitReport {
                    frame: frame.frame,
                    timecode: timecode_at(source, frame.frame)?.map(|at| at.to_string()),
                    nominal_pct: frame.nominal_pct,
                    preferred_pct: frame.preferred_pct,
                    total_pct: frame.total_pct,
                    component: frame.worst.clone(),
                })
            })
            .collect::<Result<_>>()?,
    })
}
