//! Limits of delivery: EBU R 103, version 3.0 (May 2020), annex 1, table 1.
//!
//! R', G', B' and luma are held against three pairs of limits. The measuring filter, [1 2 3 4 3 2 1]/16
//! across and [1 2 1]/4 down, keeps overshoots of codecs and of sharp edges out; it is quoted from a
//! second-hand note, the page itself was not at hand: **to be verified**. A picture is in error when
//! more than 1 % of its area is.

use inkarnat_color::{Coefficients, Rgb};
use serde::{Deserialize, Serialize};

/// Which pair of limits.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Limit {
    /// Black to white: what graded material should keep to closely.
    Nominal,
    /// 5 % further on either side: beyond it is a gamut error.
    Preferred,
    /// The codes that may carry video: never to be exceeded.
    Total,
}

impl Limit {
    /// All three, narrowest first.
    pub const ALL: [Self; 3] = [Self::Nominal, Self::Preferred, Self::Total];

    /// The lowest and highest code at a depth of 8, 10, 12 or 16 bits (table 1); other depths take
    /// the codes of 8 bits raised to theirs.
    #[must_use]
    pub const fn codes(self, depth: u8) -> (u32, u32) {
        match (self, depth) {
            (Self::Total, 10) => (4, 1019),
            (Self::Total, 12) => (16, 4079),
            (Self::Total, 16) => (256, 65_279),
            (_, 9..) => {
                let (low, high) = self.codes(8);
                (low << (depth - 8), high << (depth - 8))
            }
            (Self::Nominal, _) => (16, 235),
            (Self::Preferred, _) => (5, 246),
            (Self::Total, _) => (1, 254),
        }
    }

    /// The same in signal units: half a code further out, since what rounds to a limit is inside it.
    #[must_use]
    pub fn signal(self, depth: u8) -> (f32, f32) {
        let unit = f64::from(219_u32 << (depth.max(8) - 8));
        let black = f64::from(16_u32 << (depth.max(8) - 8));
        let (low, high) = self.codes(depth);
        (
            ((f64::from(low) - 0.5 - black) / unit) as f32,
            ((f64::from(high) + 0.5 - black) / unit) as f32,
        )
    }
}

/// The share of a picture's area that may be outside, percent.
pub const AREA_PCT: f64 = 1.0;

/// Pixels outside, counted.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Outside {
    /// Pixels looked at.
    pub pixels: u64,
    /// Pixels with any component outside, by limit.
    pub any: [u64; 3],
    /// By limit, then by component: luma, R', G', B'.
    pub component: [[u64; 4]; 3],
}

impl std::ops::Add for Outside {
    type Output = Self;

    fn add(self, other: Self) -> Self {
        Self {
            pixels: self.pixels + other.pixels,
            any: std::array::from_fn(|l| self.any[l] + other.any[l]),
            component: std::array::from_fn(|l| {
                std::array::from_fn(|c| self.component[l][c] + other.component[l][c])
            }),
        }
    }
}

/// One frame held against the limits.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct FrameLimits {
    /// The frame.
    pub frame: u64,
    /// Area outside the nominal limits, percent.
    pub nominal_pct: f64,
    /// Area outside the preferred limits, percent.
    pub preferred_pct: f64,
    /// Area outside the total limits, percent.
    pub total_pct: f64,
    /// The component that is outside most: `luma`, `red`, `green` or `blue`; none where nothing is.
    pub worst: Option<String>,
}

impl FrameLimits {
    /// What the counts of a frame say.
    #[must_use]
    pub fn of(frame: u64, outside: &Outside) -> Self {
        let share = |count: u64| 100.0 * count as f64 / outside.pixels.max(1) as f64;
        let worst = Limit::ALL
            .iter()
            .rev()
            .map(|limit| outside.component[*limit as usize])
            .find(|counts| counts.iter().any(|count| *count > 0))
            .and_then(|counts| {
                let names = ["luma", "red", "green", "blue"];
                // Of equal ones the first.
                let most = counts.iter().max()?;
                let at = counts.iter().position(|count| count == most)?;
                Some(names[at].to_owned())
            });
        Self {
            frame,
            nominal_pct: share(outside.any[0]),
            preferred_pct: share(outside.any[1]),
            total_pct: share(outside.any[2]),
            worst,
        }
    }

    fn pct(&self, limit: Limit) -> f64 {
        match limit {
            Limit::Nominal => self.nominal_pct,
            Limit::Preferred => self.preferred_pct,
            Limit::Total => self.total_pct,
        }
    }
}

/// A shot held against the limits.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct ShotLimits {
    /// Frames looked at.
    pub frames: u64,
    /// Frames with more than 1 % of their area outside the nominal limits.
    pub over_nominal: u64,
    /// The same for the preferred limits: gamut errors.
    pub over_preferred: u64,
    /// The same for the total limits.
    pub over_total: u64,
    /// The frames with the largest area outside the preferred limits, then the nominal ones, worst
    /// first; at most [`Self::WORST`], none where nothing is outside.
    pub worst: Vec<FrameLimits>,
}

impl ShotLimits {
    /// Frames that are named.
    pub const WORST: usize = 3;

    /// The sum of frames, in any order.
    #[must_use]
    pub fn of(mut frames: Vec<FrameLimits>) -> Self {
        let over = |limit: Limit| {
            let over = frames.iter().filter(|frame| frame.pct(limit) > AREA_PCT);
            over.count() as u64
        };
        let (over_nominal, over_preferred, over_total) = (
            over(Limit::Nominal),
            over(Limit::Preferred),
            over(Limit::Total),
        );
        let count = frames.len() as u64;
        frames.retain(|frame| frame.worst.is_some());
        frames.sort_by(|a, b| {
            b.preferred_pct
                .total_cmp(&a.preferred_pct)
                .then(b.nominal_pct.total_cmp(&a.nominal_pct))
                .then(a.frame.cmp(&b.frame))
        });
        frames.truncate(Self::WORST);
        Self {
            frames: count,
            over_nominal,
            over_preferred,
            over_total,
            worst: frames,
        }
    }
}

/// Holds pictures against the limits of one depth.
#[derive(Clone, Copy, Debug)]
pub struct LimitMeter {
    limits: [(f32, f32); 3],
    weights: [f32; 3],
}

/// Half the width of the filter across.
const REACH: usize = 3;

impl LimitMeter {
    /// `depth` is that of the codes that are judged, `coefficients` give their luma.
    #[must_use]
    pub fn new(depth: u8, coefficients: Coefficients) -> Self {
        let (r, g, b) = coefficients.weights();
        Self {
            limits: Limit::ALL.map(|limit| limit.signal(depth)),
            weights: [r as f32, g as f32, b as f32],
        }
    }

    /// Counts the pixels of some rows. The filter takes the rows `step` above and below where there
    /// are any (1, or 2 where the rows of two fields lie between each other): give a band with as
    /// many rows around those that are counted, and the result is that of the whole picture.
    #[must_use]
    pub fn count(&self, band: &Rgb, rows: std::ops::Range<usize>, step: usize) -> Outside {
        let width = band.width;
        let mut sum = Outside::default();
        if width == 0 {
            return sum;
        }
        let mut padded = vec![0.0_f32; width + 2 * REACH];
        let mut filtered = [(); 3].map(|()| vec![0.0_f32; width]);
        for y in rows {
            let row = |y: usize| y * width..(y + 1) * width;
            let above = row(y.checked_sub(step).unwrap_or(y));
            let below = row(if y + step < band.height { y + step } else { y });
            for (plane, out) in band.planes.iter().zip(&mut filtered) {
                let (a, b, c) = (&plane[above.clone()], &plane[row(y)], &plane[below.clone()]);
                let middle = &mut padded[REACH..REACH + width];
                for (((out, a), b), c) in middle.iter_mut().zip(a).zip(b).zip(c) {
                    *out = (a + 2.0 * b + c) * 0.25;
                }
                let (first, last) = (padded[REACH], padded[REACH + width - 1]);
                padded[..REACH].fill(first);
                padded[REACH + width..].fill(last);
                for (out, w) in out.iter_mut().zip(padded.windows(2 * REACH + 1)) {
                    *out = (w[0] + w[6] + 2.0 * (w[1] + w[5]) + 3.0 * (w[2] + w[4]) + 4.0 * w[3])
                        / 16.0;
                }
            }
            self.count_row(&filtered, &mut sum);
        }
        sum
    }

    fn count_row(&self, [r, g, b]: &[Vec<f32>; 3], sum: &mut Outside) {
        let [on_r, on_g, on_b] = self.weights;
        sum.pixels += r.len() as u64;
        for (limit, (low, high)) in self.limits.into_iter().enumerate() {
            let outside = |v: f32| u32::from(v < low) | u32::from(v > high);
            let (mut any, mut counts) = (0_u32, [0_u32; 4]);
            for ((r, g), b) in r.iter().zip(g).zip(b) {
                let luma = on_r * r + on_g * g + on_b * b;
                let found = [outside(luma), outside(*r), outside(*g), outside(*b)];
                any += found[0] | found[1] | found[2] | found[3];
                for (count, found) in counts.iter_mut().zip(found) {
                    *count += found;
                }
            }
            sum.any[limit] += u64::from(any);
            for (count, found) in sum.component[limit].iter_mut().zip(counts) {
                *count += u64::from(found);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn flat(code: f64, depth: u8) -> Rgb {
        let unit = f64::from(1_u32 << (depth - 8));
        let v = ((code / unit - 16.0) / 219.0) as f32;
        let mut picture = Rgb::new(16, 8);
        for i in 0..16 * 8 {
            picture.set_pixel(i, [v; 3]);
        }
        picture
    }

    /// EBU R 103 v3.0, annex 1, table 1: every code at an edge is inside, the next one outside.
    #[test]
    fn codes_at_the_edges_of_the_table() {
        let table = [
            (8, [(16, 235), (5, 246), (1, 254)]),
            (10, [(64, 940), (20, 984), (4, 1019)]),
            (12, [(256, 3760), (80, 3936), (16, 4079)]),
            (16, [(4096, 60_160), (1280, 62_976), (256, 65_279)]),
        ];
        for (depth, rows) in table {
            for (limit, (low, high)) in Limit::ALL.into_iter().zip(rows) {
                assert_eq!(limit.codes(depth), (low, high), "{limit:?} {depth}");
                let meter = LimitMeter::new(depth, Coefficients::Bt709);
                let outside = |code: i64| {
                    let picture = flat(code as f64, depth);
                    meter.count(&picture, 0..8, 1).any[limit as usize]
                };
                let (low, high) = (i64::from(low), i64::from(high));
                assert_eq!([outside(low), outside(high)], [0, 0], "{limit:?} {depth}");
                assert_eq!(
                    [outside(low - 1), outside(high + 1)],
                    [128, 128],
                    "{limit:?} {depth}"
                );
            }
        }
    }

    #[test]
    fn any_component_counts_and_is_named() {
        let mut picture = flat(500.0, 10);
        for i in 0..16 * 8 {
            picture.planes[2][i] = 1.2;
        }
        let meter = LimitMeter::new(10, Coefficients::Bt709);
        let counts = meter.count(&picture, 0..8, 1);
        assert_eq!(counts.component[1], [0, 0, 0, 128]);
        let frame = FrameLimits::of(7, &counts);
        assert_eq!(frame.worst.as_deref(), Some("blue"));
        assert_eq!((frame.preferred_pct, frame.total_pct), (100.0, 100.0));
    }

    /// An overshoot of one pixel is taken out by the filter; an area is not.
    #[test]
    fn the_filter_passes_areas_and_stops_ringing() {
        let meter = LimitMeter::new(10, Coefficients::Bt709);
        let mut picture = flat(900.0, 10);
        for plane in &mut picture.planes {
            plane[4 * 16 + 8] = 1.1;
        }
        assert_eq!(meter.count(&picture, 0..8, 1).any, [0; 3]);
        for plane in &mut picture.planes {
            for y in 2..6 {
                plane[y * 16 + 2..y * 16 + 14].fill(1.1);
            }
        }
        assert!(meter.count(&picture, 0..8, 1).any[1] > 0);
    }

    #[test]
    fn bands_with_a_border_equal_the_whole() {
        let (width, height) = (33, 40);
        let mut picture = Rgb::new(width, height);
        let mut state = 7_u32;
        for i in 0..width * height {
            let mut next = || {
                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                (state >> 8) as f32 / (1 << 24) as f32 * 3.0 - 1.0
            };
            picture.set_pixel(i, [next(), next(), next()]);
        }
        let meter = LimitMeter::new(8, Coefficients::Bt601);
        for step in [1, 2] {
            let whole = meter.count(&picture, 0..height, step);
            let mut sum = Outside::default();
            for first in (0..height).step_by(8) {
                let from = first.saturating_sub(step);
                let to = (first + 8 + step).min(height);
                let mut band = Rgb::new(width, to - from);
                for c in 0..3 {
                    band.planes[c].copy_from_slice(&picture.planes[c][from * width..to * width]);
                }
                sum = sum + meter.count(&band, first - from..first - from + 8, step);
            }
            assert_eq!(sum, whole);
            assert!(whole.any[0] > 0);
        }
    }

    #[test]
    fn a_shot_names_its_worst_frames() {
        let frame = |frame, nominal_pct, preferred_pct| FrameLimits {
            frame,
            nominal_pct,
            preferred_pct,
            total_pct: 0.0,
            worst: (nominal_pct > 0.0).then(|| "luma".to_owned()),
        };
        let shot = ShotLimits::of(vec![
            frame(0, 0.0, 0.0),
            frame(1, 2.0, 0.5),
            frame(2, 3.0, 1.5),
            frame(3, 1.0, 0.5),
            frame(4, 0.1, 0.0),
        ]);
        assert_eq!(
            (shot.frames, shot.over_nominal, shot.over_preferred),
            (5, 2, 1)
        );
        let named: Vec<u64> = shot.worst.iter().map(|f| f.frame).collect();
        assert_eq!(named, [2, 1, 3]);
    }
}
