//! Limits of delivery that a hand-over is asked to keep, at the cost of saturation.

use inkarnat_film::Deliverable;
use inkarnat_ops::{Limiter, MovingChain, Op};
use inkarnat_reading::Limit;
use serde::{Deserialize, Serialize};

/// The limits that R', G' and B' are brought inside (EBU R 103).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum LimitTo {
    /// −5…105 %: what lies beyond is a gamut error.
    Preferred,
    /// 0…100 %.
    Nominal,
}

impl LimitTo {
    /// The limiter of a coding with `depth` bits.
    ///
    /// It stays one code inside: rounding Y', Cb and Cr to codes moves B' by up to 1.4 of them, of which the limits
    /// themselves allow a half.
    pub(crate) fn limiter(self, coefficients: inkarnat_color::Coefficients, depth: u8) -> Limiter {
        let (low, high) = match self {
            Self::Preferred => Limit::Preferred,
            Self::Nominal => Limit::Nominal,
        }
        .codes(8);
        // Narrow range in 8 bits: 16 is black, 219 codes to white (BT.709-6 item 5.6).
        let signal = |code: u32| (f64::from(code) - 16.0) / 219.0;
        let code = 1.0 / f64::from(219_u32 << (depth.max(8) - 8));
        Limiter {
            coefficients,
            low: signal(low) + code,
            high: signal(high) - code,
        }
    }
}

/// What a limiter did to a clip.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub(crate) struct Limited {
    /// What it was asked for.
    pub(crate) to: LimitTo,
    /// Its own numbers.
    pub(crate) limiter: Limiter,
    /// Pixels that it changed, percent of all pixels of the clip.
    pub(crate) changed_pct: f64,
    /// The most saturation that a pixel with a hue gave up, percent.
    pub(crate) largest_loss_pct: f64,
}

impl Limited {
    /// The limiter that a clip was made with.
    pub(crate) fn of(clip: &Deliverable) -> Option<Self> {
        serde_json::from_value(clip.detail["limited"].clone()).ok()
    }

    /// What rendering said of the limiter that it was given; `None` without one.
    pub(crate) fn made(
        to: Option<LimitTo>,
        limiter: Option<Limiter>,
        counted: Option<(f64, f64)>,
    ) -> Option<Self> {
        let (changed_pct, largest_loss_pct) = counted?;
        Some(Self {
            to: to?,
            limiter: limiter?,
            changed_pct,
            largest_loss_pct,
        })
    }

    /// One line.
    pub(crate) fn said(&self) -> String {
        format!(
            "limited to {:.1}…{:.1} % at the cost of saturation: {:.3} % of its pixels changed, of which the worst gave up {:.0} % of its saturation",
            100.0 * self.limiter.low,
            100.0 * self.limiter.high,
            self.changed_pct,
            self.largest_loss_pct
        )
    }
}

/// A chain as a clip was made with it.
pub(crate) fn as_delivered(mut chain: MovingChain, clip: &Deliverable) -> MovingChain {
    if let Some(limited) = Limited::of(clip) {
        chain.chain.output = vec![Op::Limiter(limited.limiter)];
    }
    chain
}
