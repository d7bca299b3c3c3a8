//! Light that changes inside a shot: whether a fix has to move with it, and how.
//!
//! A fix moves only where skin *and* background say that the light has changed: both along one curve, in the same direction
//! and by a like amount. Somebody who crosses a shadow moves skin alone, a lamp behind them or a pan the background alone;
//! then the fix stays constant. What it follows is the background's course in time, which is nearly free of noise and holds
//! still when a head turns, scaled to what that light does to the skin: so nothing pumps with a performer, and frames in
//! which the face is lost are followed too.

mod course;

use crate::problem::PicturePixel;
use course::Course;
use inkarnat_color::{Fraction, WorkingSpace};
use inkarnat_ops::{Cdl, Keyframe, Keyframes};
use inkarnat_reading::{BackgroundReading, FrameReading, log_light, signal_of_log_light};
use nalgebra::{Matrix3, Vector3};
use serde::{Deserialize, Serialize};

/// Least change of light on skin that is followed, natural log: about 1.5 % of level at 55 %.
const LEAST_LIGHT: f64 = 0.05;
/// The same of one channel against luma: about 2° of hue.
const LEAST_TINT: f64 = 0.02;
/// Least change of the background beside that of the skin, and largest.
const SHARE: (f64, f64) = (0.33, 3.0);
/// Least cosine between what happens to skin and to the background, as changes of three channels.
const DIRECTION: f64 = 0.8;
/// Most that may be left of the skin's movement when the background's course is taken out, of the whole.
const UNEXPLAINED: f64 = 0.4;
/// Least share of the frames of skin in which the background can be read, as one part.
const WITNESSED: Fraction = Fraction(0.7);
/// Fewest frames that say anything about a course.
const FEWEST: usize = 12;
/// Most that light is brought back by: the 1.5 stops that a fix may move exposure.
const MOST: f64 = 1.5 * std::f64::consts::LN_2;
/// How far keyframes may be from the course, natural log of light: a fifth of a percent of level.
const KEYFRAME_TOLERANCE: f64 = 0.006;

/// What was found about the light of a shot.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum LightVerdict {
    /// Nothing moves that would have to be followed.
    Steady,
    /// Skin and background move together: the fix follows.
    Followed,
    /// The skin changes and the background does not: somebody crosses a shadow, turns, walks away from a lamp.
    SkinAlone,
    /// Both change, but not together.
    Apart,
    /// The skin changes, and the background cannot be read: the camera moves, or there is next to none.
    Unwitnessed,
}

/// What was found about the light of a shot, and what brings it back.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Light {
    /// Whether it is followed, and why not.
    pub verdict: LightVerdict,
    /// Change of the skin's level over the shot, percent of reference white, by the course that is followed; where none
    /// is, as it was read.
    pub level_pct: f64,
    /// First and last frame between which it changes.
    pub span: (u64, u64),
    /// What brings each frame to the light of the frame of reference: slopes alone, so that black stays. Empty where
    /// nothing is followed.
    pub keyframes: Keyframes,
    /// The frame whose light the others are brought to.
    pub reference: u64,
    /// Share of the change that is brought back: below 1 where it exceeds 1.5 stops.
    pub share: f64,
}

impl Light {
    fn constant(verdict: LightVerdict, level_pct: f64, span: (u64, u64)) -> Self {
        Self {
            verdict,
            level_pct,
            span,
            keyframes: Keyframes::default(),
            reference: span.0,
            share: 1.0,
        }
    }

    /// Whether the fix follows it.
    #[must_use]
    pub fn is_followed(&self) -> bool {
        self.verdict == LightVerdict::Followed
    }

    /// One sentence for the editor; `None` where nothing moves.
    #[must_use]
    pub fn sentence(&self) -> Option<String> {
        let (from, to) = self.span;
        let skin = format!(
            "the skin's level moves by {:.1} % between frames {from} and {to}",
            self.level_pct.abs()
        );
        Some(match self.verdict {
            LightVerdict::Steady => return None,
            LightVerdict::Followed => {
                let how = if self.share < 0.999 {
                    format!(
                        "the fix follows it for {:.0} % of the way, as far as 1.5 stops",
                        100.0 * self.share
                    )
                } else {
                    "the fix follows it".to_owned()
                };
                format!(
                    "the light changes by {:.1} % of level on skin from frame {from} to {to}: {how}, with {} keyframes",
                    self.level_pct.abs(),
                    self.keyframes.keys.len()
                )
            }
            LightVerdict::SkinAlone => format!(
                "{skin} and the background stays: that is no change of light, the fix stays constant"
            ),
            LightVerdict::Apart => {
                format!("{skin} and the background moves otherwise: the fix stays constant")
            }
            LightVerdict::Unwitnessed => format!(
                "{skin}, and the background cannot be compared from frame to frame: the fix stays constant"
            ),
        })
    }

    /// Pixels in the light of the reference, each brought there from the frame that it was taken in; where the frames are
    /// not known, they stay as they are.
    #[must_use]
    pub fn brought_all(&self, mut pixels: Vec<[f32; 3]>, frames: &[u64]) -> Vec<[f32; 3]> {
        if self.is_followed() && frames.len() == pixels.len() {
            for (pixel, frame) in pixels.iter_mut().zip(frames) {
                *pixel = self.brought(*pixel, *frame);
            }
        }
        pixels
    }

    /// The same for pixels of the whole picture.
    pub fn bring_picture(&self, picture: &mut [PicturePixel], frames: &[u64]) {
        if self.is_followed() && frames.len() == picture.len() {
            for (pixel, frame) in picture.iter_mut().zip(frames) {
                pixel.rgb = self.brought(pixel.rgb, *frame);
            }
        }
    }

    fn brought(&self, pixel: [f32; 3], frame: u64) -> [f32; 3] {
        self.keyframes
            .at(frame)
            .apply(pixel.map(f64::from))
            .map(|v| v as f32)
    }
}

/// Looks at the light of a shot.
///
/// `people` are the readings of each person's frames, `background` those of the background, both in the order of their
/// frames; `rate` is the number of frames a second. Frames that are no picture of the shot (dissolves, flashes and fades
/// that are known) are not among them; flashes and fades that nobody knew of are found here and left out.
#[must_use]
pub fn light_of(
    people: &[Vec<FrameReading>],
    background: &[BackgroundReading],
    rate: f64,
    space: WorkingSpace,
) -> Light {
    let kept = course::without_fades(background, rate);
    let skin: Vec<(u64, Vector3<f64>)> = of_all(people, space)
        .into_iter()
        .filter(|(frame, _)| kept.0 <= *frame && *frame <= kept.1)
        .collect();
    let (Some(first), Some(last)) = (skin.first(), skin.last()) else {
        return Light::constant(LightVerdict::Steady, 0.0, (0, 0));
    };
    let span = (first.0, last.0);
    if skin.len() < FEWEST {
        return Light::constant(LightVerdict::Steady, 0.0, span);
    }
    let k = luma(space);
    let level = |light: &Vector3<f64>| {
        let rgb = signal_of_log_light([light[0], light[1], light[2]]);
        100.0 * space.coefficients.luma(rgb)
    };
    let moved = course::smoothed(&skin, rate);
    let (skin_luma, skin_tint) = extents(&moved, k);
    let ends = course::change(&moved, k);
    let levels = level(&moved[ends.1].1) - level(&moved[ends.0].1);
    let (from, to) = (moved[ends.0.min(ends.1)].0, moved[ends.0.max(ends.1)].0);
    let constant = |verdict| Light::constant(verdict, levels, (from, to));
    if skin_luma < LEAST_LIGHT && skin_tint < LEAST_TINT {
        return constant(LightVerdict::Steady);
    }
    let Some(course) = Course::new(background, kept, &skin, rate, WITNESSED) else {
        return constant(LightVerdict::Unwitnessed);
    };
    let pairs: Vec<(f64, Vector3<f64>)> = skin
        .iter()
        .filter_map(|(frame, light)| Some((course.at(*frame)?, *light)))
        .collect();
    if pairs.len() < FEWEST {
        return constant(LightVerdict::Unwitnessed);
    }
    let amplitude = course.extent(&pairs);
    let skin_extent = skin_luma.max(skin_tint);
    if amplitude < (SHARE.0 * skin_extent).max(0.6 * LEAST_TINT) {
        return constant(LightVerdict::SkinAlone);
    }
    let Some(response) = Response::fit(&pairs) else {
        return constant(LightVerdict::Apart);
    };
    let fitted: Vec<(u64, Vector3<f64>)> = skin
        .iter()
        .filter_map(|(frame, _)| Some((*frame, response.at(course.at(*frame)?))))
        .collect();
    let (fit_luma, fit_tint) = extents(&fitted, k);
    let significant = fit_luma >= LEAST_LIGHT || fit_tint >= LEAST_TINT;
    let direction =
        response.middle().dot(&course.direction) / response.middle().norm().max(f64::MIN_POSITIVE);
    let ratio = response.middle().norm();
    let rest: Vec<(u64, Vector3<f64>)> = skin
        .iter()
        .filter_map(|(frame, light)| Some((*frame, light - response.at(course.at(*frame)?))))
        .collect();
    let unexplained =
        spread(&course::smoothed(&rest, rate)) / spread(&moved).max(f64::MIN_POSITIVE);
    if !significant
        || direction < DIRECTION
        || !(1.0 / SHARE.1..=1.0 / SHARE.0).contains(&ratio)
        || unexplained > UNEXPLAINED
        || !response.is_monotone(k)
    {
        return constant(LightVerdict::Apart);
    }
    followed(&course, &response, &fitted, k, level)
}

/// The keyframes of a course that is followed.
fn followed(
    course: &Course,
    response: &Response,
    fitted: &[(u64, Vector3<f64>)],
    k: Vector3<f64>,
    level: impl Fn(&Vector3<f64>) -> f64,
) -> Light {
    // The light that most frames are nearest to moves least.
    let mut order: Vec<usize> = (0..fitted.len()).collect();
    order.sort_by(|a, b| k.dot(&fitted[*a].1).total_cmp(&k.dot(&fitted[*b].1)));
    let (reference, light) = fitted[order[order.len() / 2]];
    let most = fitted
        .iter()
        .map(|(_, l)| k.dot(&(l - light)).abs())
        .fold(0.0, f64::max);
    let share = (MOST / most.max(f64::MIN_POSITIVE)).min(1.0);
    let aim = signal_of_log_light([light[0], light[1], light[2]]);
    let slopes = |u: f64| -> [f64; 3] {
        let there = light + share * (response.at(u) - light);
        let signal = signal_of_log_light([there[0], there[1], there[2]]);
        std::array::from_fn(|c| aim[c] / signal[c])
    };
    let tolerance = KEYFRAME_TOLERANCE * 0.45;
    let keys = course
        .keyframes(|u| slopes(u).map(f64::ln), tolerance)
        .into_iter()
        .map(|frame| Keyframe {
            frame,
            cdl: Cdl {
                slope: slopes(course.at(frame).unwrap_or_default()),
                ..Cdl::NEUTRAL
            },
        })
        .collect();
    let (from, to) = course::change(fitted, k);
    Light {
        verdict: LightVerdict::Followed,
        level_pct: level(&fitted[to].1) - level(&fitted[from].1),
        span: (fitted[from.min(to)].0, fitted[from.max(to)].0),
        keyframes: Keyframes { keys },
        reference,
        share,
    }
}

fn luma(space: WorkingSpace) -> Vector3<f64> {
    let (kr, kg, kb) = space.coefficients.weights();
    Vector3::new(kr, kg, kb)
}

/// Extent in luma, and the largest of a channel against it.
fn extents(series: &[(u64, Vector3<f64>)], k: Vector3<f64>) -> (f64, f64) {
    let extent = |value: &dyn Fn(&Vector3<f64>) -> f64| {
        let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
        for (_, light) in series {
            let value = value(light);
            (low, high) = (low.min(value), high.max(value));
        }
        (high - low).max(0.0)
    };
    let tint = (0..3)
        .map(|c| extent(&|light| light[c] - k.dot(light)))
        .fold(0.0, f64::max);
    (extent(&|light| k.dot(light)), tint)
}

/// Root mean square about the mean.
fn spread(series: &[(u64, Vector3<f64>)]) -> f64 {
    let count = series.len().max(1) as f64;
    let mean = series.iter().map(|(_, v)| v).sum::<Vector3<f64>>() / count;
    (series
        .iter()
        .map(|(_, v)| (v - mean).norm_squared())
        .sum::<f64>()
        / count)
        .sqrt()
}

/// The light on the skin of everybody together, by frame: each person's own skin taken out as far as frames that they share
/// with those before allow.
fn of_all(people: &[Vec<FrameReading>], space: WorkingSpace) -> Vec<(u64, Vector3<f64>)> {
    let mut all: Vec<(u64, Vector3<f64>, f64)> = Vec::new();
    let mut order: Vec<&Vec<FrameReading>> = people.iter().collect();
    // Those who are seen longest first; the sort is stable.
    order.sort_by_key(|frames| std::cmp::Reverse(frames.len()));
    for frames in order {
        let own: Vec<(u64, Vector3<f64>)> = frames
            .iter()
            .filter_map(|reading| {
                let light = log_light(space.coefficients.rgb_from_ycbcr(reading.mean))?;
                Some((reading.frame, Vector3::from(light)))
            })
            .collect();
        if all.is_empty() {
            all = own.into_iter().map(|(f, light)| (f, light, 1.0)).collect();
            all.sort_by_key(|(frame, ..)| *frame);
            all.dedup_by_key(|(frame, ..)| *frame);
            continue;
        }
        let shared: Vec<Vector3<f64>> = own
            .iter()
            .filter_map(|(frame, light)| {
                let at = all.binary_search_by_key(frame, |(f, ..)| *f).ok()?;
                Some(light - all[at].1)
            })
            .collect();
        if shared.len() < FEWEST {
            continue;
        }
        let offset = Vector3::from_fn(|c, _| {
            let mut channel: Vec<f64> = shared.iter().map(|d| d[c]).collect();
            course::median(&mut channel)
        });
        for (frame, light) in own {
            match all.binary_search_by_key(&frame, |(f, ..)| *f) {
                Ok(at) => {
                    let (_, mean, count) = &mut all[at];
                    *mean = (*mean * *count + (light - offset)) / (*count + 1.0);
                    *count += 1.0;
                }
                Err(at) => all.insert(at, (frame, light - offset, 1.0)),
            }
        }
    }
    all.into_iter()
        .map(|(frame, light, _)| (frame, light))
        .collect()
}

/// What the light of the background, as one number, does to skin: a parabola for each channel.
struct Response {
    constant: Vector3<f64>,
    linear: Vector3<f64>,
    square: Vector3<f64>,
    /// Range of the number over the frames of skin, and its middle.
    range: (f64, f64),
    middle: f64,
}

impl Response {
    /// By least squares, frames that stand apart given less and less of a say (Tukey's biweight).
    fn fit(pairs: &[(f64, Vector3<f64>)]) -> Option<Self> {
        let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
        for (u, _) in pairs {
            (low, high) = (low.min(*u), high.max(*u));
        }
        let middle = (low + high) / 2.0;
        let mut weights = vec![1.0; pairs.len()];
        let mut found = None;
        for _ in 0..12 {
            let mut normal = Matrix3::zeros();
            let mut right = [Vector3::zeros(); 3];
            for ((u, light), weight) in pairs.iter().zip(&weights) {
                let row = Vector3::new(1.0, u - middle, (u - middle).powi(2));
                normal += *weight * row * row.transpose();
                for (c, right) in right.iter_mut().enumerate() {
                    *right += *weight * light[c] * row;
                }
            }
            // A little of a straight line, where the background has stood in two places only.
            let scale = normal[(1, 1)].max(f64::MIN_POSITIVE) * (high - low).powi(2);
            normal[(2, 2)] += 1e-3 * scale;
            let inverse = normal.try_inverse()?;
            let solved = right.map(|right| inverse * right);
            let response = Self {
                constant: Vector3::from_fn(|c, _| solved[c][0]),
                linear: Vector3::from_fn(|c, _| solved[c][1]),
                square: Vector3::from_fn(|c, _| solved[c][2]),
                range: (low, high),
                middle,
            };
            let off: Vec<f64> = pairs
                .iter()
                .map(|(u, light)| (light - response.at(*u)).norm())
                .collect();
            let scale = course::median(&mut off.clone()).max(1e-4) * 1.48 * 4.685;
            for (weight, off) in weights.iter_mut().zip(&off) {
                let share = (off / scale).min(1.0);
                *weight = (1.0 - share * share).powi(2);
            }
            found = Some(response);
        }
        found
    }

    /// The light on skin; beyond what was seen with skin it stands still.
    fn at(&self, u: f64) -> Vector3<f64> {
        let x = u.clamp(self.range.0, self.range.1) - self.middle;
        self.constant + x * self.linear + x * x * self.square
    }

    /// Change of the skin's light for one of the background's, in the middle of its range.
    fn middle(&self) -> Vector3<f64> {
        self.linear
    }

    /// Whether luma goes one way over the whole range, but for a tenth of the way at its ends.
    fn is_monotone(&self, k: Vector3<f64>) -> bool {
        let slope = |x: f64| k.dot(&(self.linear + 2.0 * x * self.square));
        let half = 0.4 * (self.range.1 - self.range.0);
        let tint_alone = k.dot(&self.linear).abs() < 0.3 * self.linear.norm();
        tint_alone || slope(-half) * slope(half) > 0.0
    }
}

#[cfg(test)]
mod tests;
