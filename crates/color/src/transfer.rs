//! Transfer functions between signal and light.

/// BT.709-6 item 1.2: signal of scene-linear light `l` (0–1; above 1 continued by the same power).
#[must_use]
pub fn bt709_oetf(l: f64) -> f64 {
    if l >= 0.018 {
        1.099 * l.powf(0.45) - 0.099
    } else {
        4.5 * l
    }
}

/// The inverse of [`bt709_oetf`]; negative signals stay on the straight part.
#[must_use]
pub fn bt709_oetf_inverse(v: f64) -> f64 {
    if v >= 4.5 * 0.018 {
        ((v + 0.099) / 1.099).powf(1.0 / 0.45)
    } else {
        v / 4.5
    }
}

/// The reference display of BT.1886: light of a signal on a screen of given white and black.
///
/// Formula from memory (BT.1886-0, 03/2011); values checked against an independent library.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Bt1886 {
    /// White luminance in the unit wanted for the result (1 = relative light, 100 = cd/m²).
    pub white: f64,
    /// Black luminance, same unit, below `white`.
    pub black: f64,
}

impl Bt1886 {
    /// Relative light, white 1, black 0: a pure power of 2.4.
    pub const RELATIVE: Self = Self {
        white: 1.0,
        black: 0.0,
    };

    /// Display light of a signal; signals at and below black give `black` for a zero-black display.
    #[must_use]
    pub fn light_from_signal(self, v: f64) -> f64 {
        let (root_white, root_black) = (self.white.powf(1.0 / 2.4), self.black.powf(1.0 / 2.4));
        let span = root_white - root_black;
        span.powf(2.4) * (v + root_black / span).max(0.0).powf(2.4)
    }

    /// Signal of a display light at or above zero.
    #[must_use]
    pub fn signal_from_light(self, l: f64) -> f64 {
        let (root_white, root_black) = (self.white.powf(1.0 / 2.4), self.black.powf(1.0 / 2.4));
        let span = root_white - root_black;
        (l.max(0.0) / span.powf(2.4)).powf(1.0 / 2.4) - root_black / span
    }
}

const PQ_M1: f64 = 2610.0 / 16384.0;
const PQ_M2: f64 = 2523.0 / 4096.0 * 128.0;
const PQ_C1: f64 = 3424.0 / 4096.0;
const PQ_C2: f64 = 2413.0 / 4096.0 * 32.0;
const PQ_C3: f64 = 2392.0 / 4096.0 * 32.0;

/// PQ EOTF (BT.2100-3 table 4): cd/m² (0–10 000) of a signal (0–1; clamped to it).
#[must_use]
pub fn pq_eotf(v: f64) -> f64 {
    let p = v.clamp(0.0, 1.0).powf(1.0 / PQ_M2);
    10_000.0 * ((p - PQ_C1).max(0.0) / (PQ_C2 - PQ_C3 * p)).powf(1.0 / PQ_M1)
}

/// Inverse PQ EOTF (BT.2100-3 table 4): signal of a luminance in cd/m² (0–10 000; clamped to it).
#[must_use]
pub fn pq_inverse_eotf(nits: f64) -> f64 {
    let p = (nits.clamp(0.0, 10_000.0) / 10_000.0).powf(PQ_M1);
    ((PQ_C1 + PQ_C2 * p) / (1.0 + PQ_C3 * p)).powf(PQ_M2)
}

const HLG_A: f64 = 0.178_832_77;
const HLG_B: f64 = 1.0 - 4.0 * HLG_A;

/// HLG OETF (BT.2100-3 table 5): signal of scene-linear light `e` (0–1; negatives by odd symmetry).
#[must_use]
pub fn hlg_oetf(e: f64) -> f64 {
    let c = 0.5 - HLG_A * (4.0 * HLG_A).ln();
    let magnitude = e.abs();
    let signal = if magnitude <= 1.0 / 12.0 {
        (3.0 * magnitude).sqrt()
    } else {
        HLG_A * (12.0 * magnitude - HLG_B).ln() + c
    };
    signal.copysign(e)
}

/// Inverse of [`hlg_oetf`].
#[must_use]
pub fn hlg_oetf_inverse(v: f64) -> f64 {
    let c = 0.5 - HLG_A * (4.0 * HLG_A).ln();
    let magnitude = v.abs();
    let light = if magnitude <= 0.5 {
        magnitude * magnitude / 3.0
    } else {
        (((magnitude - c) / HLG_A).exp() + HLG_B) / 12.0
    };
    light.copysign(v)
}
