//! The course of the background's light through the frames of a shot, as one number.

use inkarnat_color::Fraction;
use inkarnat_ops::{Cdl, Keyframe, Keyframes};
use inkarnat_reading::BackgroundReading;
use nalgebra::{Matrix3, Vector3};

/// Longest flash, frames.
const FLASH: u64 = 6;
/// Seconds on either side over which a course is made smooth.
const SMOOTH_S: f64 = 0.24;
/// Fewest frames of a frozen picture.
const FROZEN: usize = 5;
/// What differs less is the same picture, natural log of light.
const SAME: f64 = 1e-6;
/// Least step of light, natural log.
const LEAST_STEP: f64 = 0.06;
/// Share of a step that happens from one frame to the next.
const SUDDEN: f64 = 0.7;
/// Least distance of two keyframes, seconds, but for steps.
const APART_S: f64 = 0.2;
/// Y' of what is black, and of what is white.
const BLANK: (f64, f64) = (0.03, 0.97);
/// Longest fade, seconds.
const LONGEST_FADE_S: f64 = 5.0;

/// The background's light along the direction in which it moves most.
pub(super) struct Course {
    /// That direction, in natural log of the light of R, G, B.
    pub(super) direction: Vector3<f64>,
    /// Frames and values, smooth.
    points: Vec<(u64, f64)>,
    /// Indices of points at which something begins anew: the first one after a step, the ends of frozen pictures.
    fixed: Vec<usize>,
    rate: f64,
}

impl Course {
    /// `None` where the background cannot be compared in `witnessed` of the frames of skin.
    pub(super) fn new(
        background: &[BackgroundReading],
        kept: (u64, u64),
        skin: &[(u64, Vector3<f64>)],
        rate: f64,
        Fraction(witnessed): Fraction,
    ) -> Option<Self> {
        let readable = |reading: &&BackgroundReading| {
            reading.light.is_some() && kept.0 <= reading.frame && reading.frame <= kept.1
        };
        let mut counts: Vec<usize> = Vec::new();
        for reading in background.iter().filter(readable) {
            let part = reading.part as usize;
            if counts.len() <= part {
                counts.resize(part + 1, 0);
            }
            let seen = skin.binary_search_by_key(&reading.frame, |(f, _)| *f);
            counts[part] += usize::from(seen.is_ok());
        }
        let (mut part, mut most) = (0, 0);
        for (index, count) in counts.iter().enumerate() {
            if *count > most {
                (part, most) = (index as u32, *count);
            }
        }
        if (most as f64) < witnessed * skin.len() as f64 {
            return None;
        }
        let raw: Vec<(u64, Vector3<f64>)> = background
            .iter()
            .filter(readable)
            .filter(|reading| reading.part == part)
            .filter_map(|reading| Some((reading.frame, Vector3::from(reading.light?))))
            .collect();
        let frozen = frozen(&raw, background);
        let raw = without_flashes(&raw);
        let mean = raw.iter().map(|(_, v)| v).sum::<Vector3<f64>>() / raw.len().max(1) as f64;
        let covariance: Matrix3<f64> = raw
            .iter()
            .map(|(_, v)| (v - mean) * (v - mean).transpose())
            .sum();
        let eigen = covariance.symmetric_eigen();
        let largest = eigen.eigenvalues.imax();
        let mut direction: Vector3<f64> = eigen.eigenvectors.column(largest).into();
        // An axis has two ends; more light is up.
        if direction.sum() < 0.0 {
            direction = -direction;
        }
        let line: Vec<(u64, f64)> = raw
            .iter()
            .map(|(frame, v)| (*frame, direction.dot(&(v - mean))))
            .collect();
        let steps = steps(&line);
        let mut points = line.clone();
        let mut from = 0;
        for end in steps.iter().copied().chain([line.len()]) {
            smooth(&line[from..end], &mut points[from..end], rate);
            from = end;
        }
        let mut fixed: Vec<usize> = steps.clone();
        for (from, to) in &frozen {
            let (from, to) = (*from, (*to).min(points.len()));
            if from + 1 >= to {
                continue;
            }
            let value = points[from..to].iter().map(|(_, v)| v).sum::<f64>() / (to - from) as f64;
            for point in &mut points[from..to] {
                point.1 = value;
            }
            fixed.extend([from, to - 1]);
        }
        fixed.sort_unstable();
        fixed.dedup();
        Some(Self {
            direction,
            points,
            fixed,
            rate,
        })
    }

    /// The value in a frame: between frames that were not read on a straight line, beyond them as there.
    pub(super) fn at(&self, frame: u64) -> Option<f64> {
        let (first, last) = (self.points.first()?, self.points.last()?);
        if frame <= first.0 {
            return Some(first.1);
        }
        if frame >= last.0 {
            return Some(last.1);
        }
        let after = self.points.partition_point(|(f, _)| *f < frame);
        let (b, a) = (self.points[after], self.points[after - 1]);
        let share = (frame - a.0) as f64 / (b.0 - a.0) as f64;
        Some(a.1 + share * (b.1 - a.1))
    }

    /// How far it goes over the frames of skin.
    pub(super) fn extent<T>(&self, pairs: &[(f64, T)]) -> f64 {
        let (mut low, mut high) = (f64::INFINITY, f64::NEG_INFINITY);
        for (u, _) in pairs {
            (low, high) = (low.min(*u), high.max(*u));
        }
        high - low
    }

    /// As few frames as it takes for the keyframes' own curve to be everywhere within `tolerance` of what `value` makes of
    /// the course.
    pub(super) fn keyframes(&self, value: impl Fn(f64) -> [f64; 3], tolerance: f64) -> Vec<u64> {
        let wanted: Vec<[f64; 3]> = self.points.iter().map(|(_, u)| value(*u)).collect();
        let last = self.points.len() - 1;
        let mut chosen: Vec<usize> = vec![0, last];
        for index in &self.fixed {
            chosen.extend([index.saturating_sub(1), *index, (index + 1).min(last)]);
        }
        chosen.sort_unstable();
        chosen.dedup();
        let apart = (APART_S * self.rate).max(1.0);
        loop {
            let curve = Keyframes {
                keys: chosen
                    .iter()
                    .map(|index| Keyframe {
                        frame: self.points[*index].0,
                        // Logarithms run in the place of offsets, which may have any sign.
                        cdl: Cdl {
                            offset: wanted[*index],
                            ..Cdl::NEUTRAL
                        },
                    })
                    .collect(),
            };
            let mut worst: Option<(f64, usize)> = None;
            for (index, (frame, _)) in self.points.iter().enumerate() {
                let near = chosen.partition_point(|c| *c < index);
                let distance = |other: Option<&usize>| {
                    other.map_or(f64::INFINITY, |other| {
                        self.points[*other].0.abs_diff(*frame) as f64
                    })
                };
                let (before, after) = (
                    near.checked_sub(1).and_then(|n| chosen.get(n)),
                    chosen.get(near),
                );
                if distance(before) < apart || distance(after) < apart {
                    continue;
                }
                let cdl = curve.at(*frame);
                let off = (0..3)
                    .map(|c| (cdl.offset[c] - wanted[index][c]).abs())
                    .fold(0.0, f64::max);
                if worst.is_none_or(|(most, _)| off > most) {
                    worst = Some((off, index));
                }
            }
            match worst {
                Some((off, index)) if off > tolerance => {
                    let at = chosen.partition_point(|c| *c < index);
                    chosen.insert(at, index);
                }
                _ => break,
            }
        }
        chosen
            .into_iter()
            .map(|index| self.points[index].0)
            .collect()
    }
}

/// The median; 0 of nothing.
pub(super) fn median(values: &mut [f64]) -> f64 {
    values.sort_by(f64::total_cmp);
    match values.len() {
        0 => 0.0,
        n if n % 2 == 1 => values[n / 2],
        n => (values[n / 2 - 1] + values[n / 2]) / 2.0,
    }
}

/// First and last frame of a shot's own picture: fades from and to black or white at its ends are left out.
///
/// A fade ends in a blank picture; it is what leads there without a turn.
pub(super) fn without_fades(background: &[BackgroundReading], rate: f64) -> (u64, u64) {
    let whole = (0, u64::MAX);
    let levels: Vec<f64> = background.iter().map(|reading| reading.level).collect();
    let (Some(first), Some(last)) = (levels.first(), levels.last()) else {
        return whole;
    };
    let blank = |level: f64| level < BLANK.0 || level > BLANK.1;
    let longest = LONGEST_FADE_S * rate;
    let inwards = |order: &mut dyn Iterator<Item = usize>| -> Option<usize> {
        let indices: Vec<usize> = order.collect();
        let start = levels[indices[0]];
        let down = start > 0.5;
        let begins = background[indices[0]].frame;
        let mut end = 0;
        for pair in indices.windows(2) {
            let (a, b) = (levels[pair[0]], levels[pair[1]]);
            let on = if down { a - b } else { b - a };
            let length = background[pair[1]].frame.abs_diff(begins) as f64;
            // Black may last; then the picture has to come up with every frame.
            if length > longest || (on < 1e-3 && !blank(b)) {
                break;
            }
            end += 1;
        }
        Some(indices[end])
    };
    let count = levels.len();
    let from = if blank(*first) {
        inwards(&mut (0..count)).map_or(0, |index| background[index].frame)
    } else {
        whole.0
    };
    let to = if blank(*last) {
        inwards(&mut (0..count).rev()).map_or(u64::MAX, |index| background[index].frame)
    } else {
        whole.1
    };
    if from < to { (from, to) } else { whole }
}

/// Two frames between which luma moves as far as it does at all: lowest and highest, in the order of time.
pub(super) fn change(series: &[(u64, Vector3<f64>)], k: Vector3<f64>) -> (usize, usize) {
    let (mut low, mut high) = (0, 0);
    for (index, (_, light)) in series.iter().enumerate() {
        let value = k.dot(light);
        if value < k.dot(&series[low].1) {
            low = index;
        }
        if value > k.dot(&series[high].1) {
            high = index;
        }
    }
    // Where it only just begins and has all but ended: a tenth of the way from either end.
    let (from, to) = (low.min(high), low.max(high));
    let (a, b) = (k.dot(&series[from].1), k.dot(&series[to].1));
    if (b - a).abs() < f64::EPSILON {
        return (from, to);
    }
    let way = |index: usize| (k.dot(&series[index].1) - a) / (b - a);
    let begins = (from..=to)
        .rev()
        .find(|index| way(*index) <= 0.02)
        .unwrap_or(from);
    let ends = (begins..=to)
        .find(|index| way(*index) >= 0.98)
        .unwrap_or(to);
    (begins, ends)
}

/// Medians over as much as no flash outlasts and means over a third of a second, for telling what moves from what is noise.
pub(super) fn smoothed(series: &[(u64, Vector3<f64>)], rate: f64) -> Vec<(u64, Vector3<f64>)> {
    let half = (rate / 6.0).round().max(2.0) as usize;
    let over = |series: &[(u64, Vector3<f64>)], half: usize, sum: fn(&mut [f64]) -> f64| {
        (0..series.len())
            .map(|index| {
                let part =
                    &series[index.saturating_sub(half)..(index + half + 1).min(series.len())];
                let value = Vector3::from_fn(|c, _| {
                    let mut channel: Vec<f64> = part.iter().map(|(_, v)| v[c]).collect();
                    sum(&mut channel)
                });
                (series[index].0, value)
            })
            .collect::<Vec<_>>()
    };
    let medians = over(series, half.max(FLASH as usize), median);
    over(&medians, half, |values| {
        values.iter().sum::<f64>() / values.len().max(1) as f64
    })
}

/// Running medians as wide as twice the longest flash, which also keep a step where it is.
fn without_flashes(raw: &[(u64, Vector3<f64>)]) -> Vec<(u64, Vector3<f64>)> {
    (0..raw.len())
        .map(|index| {
            let frame = raw[index].0;
            // As many on either side, so that a slope is left as it is at the ends too.
            let mut reach = 0;
            while index > reach
                && index + reach + 1 < raw.len()
                && frame - raw[index - reach - 1].0 <= FLASH
                && raw[index + reach + 1].0 - frame <= FLASH
            {
                reach += 1;
            }
            let part = &raw[index - reach..=index + reach];
            let value = Vector3::from_fn(|c, _| {
                let mut channel: Vec<f64> = part.iter().map(|(_, v)| v[c]).collect();
                median(&mut channel)
            });
            (frame, value)
        })
        .collect()
}

/// Index of the first point after each sudden change of light that lasts.
fn steps(line: &[(u64, f64)]) -> Vec<usize> {
    let reach = FLASH as usize;
    let mut found: Vec<usize> = Vec::new();
    for index in 3..line.len().saturating_sub(3) {
        let side = |part: &[(u64, f64)]| {
            let mut values: Vec<f64> = part.iter().map(|(_, v)| *v).collect();
            median(&mut values)
        };
        let before = side(&line[index.saturating_sub(reach)..index]);
        let after = side(&line[index..(index + reach).min(line.len())]);
        let (whole, sudden) = (after - before, line[index].1 - line[index - 1].1);
        if whole.abs() >= LEAST_STEP
            && sudden * whole.signum() >= SUDDEN * whole.abs()
            && found.last().is_none_or(|last| index - last > 3)
        {
            found.push(index);
        }
    }
    found
}

/// Half-open spans of points over which the picture stands still, not even its noise moving.
fn frozen(raw: &[(u64, Vector3<f64>)], background: &[BackgroundReading]) -> Vec<(usize, usize)> {
    let level = |frame: u64| {
        background
            .binary_search_by_key(&frame, |reading| reading.frame)
            .map_or(f64::NAN, |at| background[at].level)
    };
    let mut spans = Vec::new();
    let mut from = 0;
    for index in 1..=raw.len() {
        let same = index < raw.len()
            && (raw[index].1 - raw[index - 1].1).amax() < SAME
            && (level(raw[index].0) - level(raw[index - 1].0)).abs() < SAME;
        if !same {
            if index - from >= FROZEN {
                spans.push((from, index));
            }
            from = index;
        }
    }
    spans
}

/// Lines fitted about every point, near ones having more of a say: a slope stays what it is up to the ends.
fn smooth(line: &[(u64, f64)], out: &mut [(u64, f64)], rate: f64) {
    let reach = (SMOOTH_S * rate).max(1.0);
    for (index, out) in out.iter_mut().enumerate() {
        let at = line[index].0 as f64;
        let mut sums = [0.0; 5];
        let mut take = |(frame, value): &(u64, f64)| {
            let x = (*frame as f64 - at) / reach;
            let weight = (1.0 - x.abs()).max(0.0);
            for (sum, term) in sums.iter_mut().zip([1.0, x, x * x, *value, x * *value]) {
                *sum += weight * term;
            }
        };
        for point in line[..index].iter().rev() {
            if at - point.0 as f64 >= reach {
                break;
            }
            take(point);
        }
        for point in &line[index..] {
            if point.0 as f64 - at >= reach {
                break;
            }
            take(point);
        }
        let [w, x, xx, v, xv] = sums;
        let determinant = w * xx - x * x;
        out.1 = if determinant > 1e-9 * w * w {
            (xx * v - x * xv) / determinant
        } else {
            v / w
        };
    }
}
