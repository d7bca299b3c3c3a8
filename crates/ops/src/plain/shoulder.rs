//! The roll-off on one colour, forward and back.

use crate::data::shoulder::{RollOff, Shoulder};

/// One channel's curve.
#[derive(Clone, Copy)]
struct Curve {
    start: f64,
    from: f64,
    to: f64,
    end: f64,
    width: f64,
    mean: f64,
}

impl Curve {
    fn forward(&self, x: f64) -> f64 {
        if x <= self.start {
            x
        } else if x < self.from {
            let t = (x - self.start) / self.width;
            let both = t * (1.0 - t);
            let rise = self.mean * t * t + both;
            let bend = self.mean + (1.0 + self.end - 2.0 * self.mean) * both;
            self.start + self.width * self.mean * rise / bend
        } else {
            self.to + self.end * (x - self.from)
        }
    }

    fn backward(&self, y: f64) -> f64 {
        if y <= self.start {
            y
        } else if y < self.to {
            // With v the height reached, 0–1: (mean − 1 + v·k) t² + (1 − v·k) t − v·mean = 0,
            // k = 1 + end − 2 mean. The root in 0–1, in the form that never cancels.
            let v = (y - self.start) / (self.to - self.start);
            let k = 1.0 + self.end - 2.0 * self.mean;
            let a = self.mean - 1.0 + v * k;
            let b = 1.0 - v * k;
            let root = (b * b + 4.0 * a * v * self.mean).max(0.0).sqrt();
            self.start + self.width * 2.0 * v * self.mean / (b + root)
        } else {
            self.from + (y - self.to) / self.end
        }
    }

    fn slope(&self, x: f64) -> f64 {
        if x <= self.start {
            1.0
        } else if x < self.from {
            let t = (x - self.start) / self.width;
            let both = t * (1.0 - t);
            let bend = self.mean + (1.0 + self.end - 2.0 * self.mean) * both;
            let rise = self.end * t * t + 2.0 * self.mean * both + (1.0 - t) * (1.0 - t);
            self.mean * self.mean * rise / (bend * bend)
        } else {
            self.end
        }
    }
}

impl Shoulder {
    fn curve(&self, c: usize) -> Curve {
        let (start, from, to) = (self.start[c], self.from[c], self.to[c]);
        Curve {
            start,
            from,
            to,
            end: self.end_slope[c],
            width: from - start,
            mean: (to - start) / (from - start),
        }
    }

    /// The colour after the roll-off.
    #[must_use]
    pub fn apply(&self, rgb: [f64; 3]) -> [f64; 3] {
        self.with(rgb, Curve::forward)
    }

    /// The colour before the roll-off: exact up to rounding for every valid shoulder.
    #[must_use]
    pub fn apply_inverse(&self, rgb: [f64; 3]) -> [f64; 3] {
        self.with(rgb, Curve::backward)
    }

    fn with(&self, rgb: [f64; 3], function: impl Fn(&Curve, f64) -> f64) -> [f64; 3] {
        match self.roll_off {
            RollOff::PerChannel => std::array::from_fn(|c| function(&self.curve(c), rgb[c])),
            RollOff::InProportion => {
                let largest = rgb.iter().copied().fold(f64::NEG_INFINITY, f64::max);
                let curve = self.curve(0);
                if largest > curve.start {
                    let factor = function(&curve, largest) / largest;
                    rgb.map(|v| v * factor)
                } else {
                    rgb
                }
            }
        }
    }

    /// Slope of one channel's curve at a level: output units per input unit.
    #[must_use]
    pub fn slope_at(&self, channel: usize, level: f64) -> f64 {
        self.curve(channel).slope(level)
    }

    /// The flattest and the steepest slope of one channel's curve, found on 256 steps between
    /// `start` and `from` and at both ends.
    #[must_use]
    pub fn slope_range(&self, channel: usize) -> (f64, f64) {
        let curve = self.curve(channel);
        (0..=256)
            .map(|step| curve.slope(curve.start + curve.width * f64::from(step) / 256.0))
            .fold(
                (f64::INFINITY, f64::NEG_INFINITY),
                |(least, most), slope| (least.min(slope), most.max(slope)),
            )
    }
}
