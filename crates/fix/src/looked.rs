//! What a move makes of every pixel that is looked at, taken in one go; and what small steps beside it make of them.
//!
//! A search asks at every step what a move does and what a small step along each parameter does. The steps are so small that each
//! pixel after one is found from what it is after the move by a short series, to rounding: no exponential, no logarithm, no order
//! to be found anew. What is measured on the pixels is the same either way.

use std::ops::Range;

use inkarnat_color::{Primaries, WorkingSpace, Ycbcr};

use crate::light::log_ratios_of;
use crate::model::{Logged, Move};

/// Pixels in one list, channel by channel too, so that loops over them are plain arithmetic on rows of numbers.
#[derive(Clone, Debug, Default)]
pub(crate) struct Pixels {
    pub(crate) list: Vec<Logged>,
    ln: [Vec<f64>; 3],
}

impl Pixels {
    pub(crate) fn new(list: Vec<Logged>) -> Self {
        Self {
            ln: std::array::from_fn(|c| list.iter().map(|p| p.ln(c)).collect()),
            list,
        }
    }
}

/// Every pixel that is looked at, with where each kind lies in the list.
#[derive(Clone, Debug, Default)]
pub(crate) struct Looked {
    pub(crate) pixels: Pixels,
    /// Each person's skin.
    pub(crate) skin: Vec<Range<usize>>,
    /// Each person's tone curve, over the skin's range and above.
    pub(crate) ramp: Vec<Range<usize>>,
    pub(crate) upper: Vec<Range<usize>>,
    pub(crate) picture: Range<usize>,
    /// Pairs a step below and above.
    pub(crate) dark: Range<usize>,
    /// Pairs of a level and a code above.
    pub(crate) levels: Range<usize>,
    pub(crate) blown: Range<usize>,
    pub(crate) soft: Range<usize>,
    pub(crate) neutrals: Range<usize>,
    pub(crate) white: usize,
}

/// Pixels after a move.
pub(crate) struct Applied {
    /// After its gains and powers alone, channel by channel.
    balanced: [Vec<f64>; 3],
    /// After its roll-off too.
    rolled_off: [Vec<f64>; 3],
    /// After all of it.
    pub(crate) out: Vec<[f64; 3]>,
}

/// Whether a change of the exponent is small enough for the series of [`grown`].
const SMALL: f64 = 1e-3;

/// exp(by) to rounding, for changes below [`SMALL`].
fn grown(by: f64) -> f64 {
    1.0 + by * (1.0 + by * (0.5 + by * (1.0 / 6.0 + by * (1.0 / 24.0))))
}

/// ln(1 + by) to rounding, for changes below [`SMALL`].
fn log_grown(by: f64) -> f64 {
    by * (1.0 - by * (1.0 / 2.0 - by * (1.0 / 3.0 - by * (1.0 / 4.0 - by * (1.0 / 5.0)))))
}

impl Applied {
    /// `dark`: those that go through gains, powers and roll-off alone, so that their channels stay apart.
    pub(crate) fn new(pixels: &Pixels, dark: &Range<usize>, by: &Move) -> Self {
        let mut balanced: [Vec<f64>; 3] =
            std::array::from_fn(|_| Vec::with_capacity(pixels.list.len()));
        for p in &pixels.list {
            let v = by.balanced(p);
            (0..3).for_each(|c| balanced[c].push(v[c]));
        }
        let mut rolled_off = balanced.clone();
        by.roll_off(&mut rolled_off);
        Self {
            out: finished(&rolled_off, dark, by),
            balanced,
            rolled_off,
        }
    }

    /// The same pixels after a move that is a small step beside the one that they were applied to.
    pub(crate) fn beside(
        &self,
        pixels: &Pixels,
        dark: &Range<usize>,
        (by, step): (&Move, &Move),
    ) -> Vec<[f64; 3]> {
        if by.rolls_off_as(step) {
            return finished(&self.rolled_off, dark, step);
        }
        let mut rolled_off: [Vec<f64>; 3] = std::array::from_fn(|c| {
            let [factor, offset] = by.exponent_step(step, c);
            let (ln, here) = (&pixels.ln[c], &self.balanced[c]);
            // Black and below, and what would change by more than the series is good for.
            let mut odd = 0;
            let mut there: Vec<f64> = ln
                .iter()
                .zip(here)
                .map(|(ln, here)| {
                    let change = factor * ln + offset;
                    odd += u64::from(!(*here > 0.0 && change.abs() < SMALL));
                    here * grown(change)
                })
                .collect();
            if odd > 0 {
                for (i, there) in there.iter_mut().enumerate() {
                    if !(here[i] > 0.0 && (factor * ln[i] + offset).abs() < SMALL) {
                        *there = step.balanced_channel(&pixels.list[i], c);
                    }
                }
            }
            there
        });
        step.roll_off(&mut rolled_off);
        finished(&rolled_off, dark, step)
    }
}

fn finished(rolled_off: &[Vec<f64>; 3], dark: &Range<usize>, by: &Move) -> Vec<[f64; 3]> {
    let [r, g, b] = rolled_off;
    let mut out: Vec<[f64; 3]> = r
        .iter()
        .zip(g)
        .zip(b)
        .map(|((r, g), b)| [*r, *g, *b])
        .collect();
    let (before, rest) = out.split_at_mut(dark.start);
    let (_, after) = rest.split_at_mut(dark.len());
    for v in before.iter_mut().chain(after) {
        *v = by.finished(*v);
    }
    out
}

/// Trimmed means of Y', Cb, Cr: the weight of every pixel in them, and what they come to.
pub(crate) struct Trimmed {
    weights: [Vec<f64>; 3],
    kept: f64,
}

fn columns(pixels: &[[f64; 3]], space: WorkingSpace) -> [Vec<f64>; 3] {
    let mut columns: [Vec<f64>; 3] = std::array::from_fn(|_| Vec::with_capacity(pixels.len()));
    for p in pixels {
        let v = space.coefficients.ycbcr_from_rgb(*p);
        for (column, v) in columns.iter_mut().zip([v.y, v.cb, v.cr]) {
            column.push(v);
        }
    }
    columns
}

/// The least and the largest value of what is left after the lowest and highest tenth are cut.
fn ends(values: &[f64], scratch: &mut Vec<f64>) -> (f64, f64) {
    let (n, cut) = (values.len(), values.len() / 10);
    scratch.clear();
    scratch.extend_from_slice(values);
    let (_, low, above) = scratch.select_nth_unstable_by(cut, f64::total_cmp);
    let low = *low;
    // The last of those kept; the first one itself where only one is.
    match n - 2 * cut - 1 {
        0 => (low, low),
        last => (
            low,
            *above.select_nth_unstable_by(last - 1, f64::total_cmp).1,
        ),
    }
}

impl Trimmed {
    /// Which pixels count, and the means. Summed in the order of the pixels, so that nothing depends on how an order was found.
    pub(crate) fn new(pixels: &[[f64; 3]], space: WorkingSpace) -> (Self, Ycbcr) {
        let (n, cut) = (pixels.len(), pixels.len() / 10);
        let kept = (n - 2 * cut) as f64;
        let mut scratch = Vec::with_capacity(n);
        let mut means = [0.0; 3];
        let mut c = 0;
        let weights = columns(pixels, space).map(|mut values| {
            let (low, high) = ends(&values, &mut scratch);
            let (mut below, mut at_low, mut at_high) = (0usize, 0usize, 0usize);
            for v in &values {
                below += usize::from(*v < low);
                at_low += usize::from(*v == low);
                at_high += usize::from(*v <= high);
            }
            // Of values that stand at an end several times, as many count as lie inside.
            let (share_low, share_high) = if low == high {
                (kept / at_low as f64, 0.0)
            } else {
                let above = n - at_high;
                at_high -= values.iter().filter(|v| **v < high).count();
                (
                    (below + at_low - cut) as f64 / at_low as f64,
                    (at_high - (cut - above)) as f64 / at_high as f64,
                )
            };
            let mut sum = 0.0;
            for v in &mut values {
                let weight = if *v == low {
                    share_low
                } else if *v == high {
                    share_high
                } else {
                    f64::from(*v > low && *v < high)
                };
                sum += weight * *v;
                *v = weight;
            }
            means[c] = sum / kept;
            c += 1;
            values
        });
        let [y, cb, cr] = means;
        (Self { weights, kept }, Ycbcr { y, cb, cr })
    }

    /// The means after a step so small that the same pixels count.
    pub(crate) fn beside(&self, pixels: &[[f64; 3]], space: WorkingSpace) -> Ycbcr {
        let (mut y, mut cb, mut cr) = (0.0, 0.0, 0.0);
        let [on_y, on_cb, on_cr] = &self.weights;
        for (((p, on_y), on_cb), on_cr) in pixels.iter().zip(on_y).zip(on_cb).zip(on_cr) {
            let v = space.coefficients.ycbcr_from_rgb(*p);
            y += on_y * v.y;
            cb += on_cb * v.cb;
            cr += on_cr * v.cr;
        }
        Ycbcr {
            y: y / self.kept,
            cb: cb / self.kept,
            cr: cr / self.kept,
        }
    }
}

/// Chromaticities of some pixels: ln of each channel's light, and what its change is divided by.
pub(crate) struct Chromaticities(Vec<([f64; 3], [f64; 3])>);

/// Where the inverse of BT.709-6 item 1.2 begins to curve.
const CURVED: f64 = 4.5 * 0.018;

/// Root mean square distance from the mean.
fn spread(points: impl Iterator<Item = (f64, f64)>, count: usize) -> f64 {
    let (mut x, mut y, mut squares) = (0.0, 0.0, 0.0);
    for (a, b) in points {
        x += a;
        y += b;
        squares += a * a + b * b;
    }
    let n = count as f64;
    (squares / n - (x / n).powi(2) - (y / n).powi(2))
        .max(0.0)
        .sqrt()
}

impl Chromaticities {
    /// Root mean square distance of (ln R/G, ln B/G) from its mean: a gain in light leaves it as it is, so that undoing a
    /// cast or an exposure counts as no change, and draining or boosting colour counts in full.
    pub(crate) fn new(pixels: &[[f64; 3]], space: WorkingSpace) -> (Self, f64) {
        if space.primaries != Primaries::Bt709 {
            return (Self(Vec::new()), chromaticity_spread(pixels, space));
        }
        let logs: Vec<_> = pixels
            .iter()
            .map(|p| (p.map(log_light), p.map(|v| 1.0 / (v + 0.099))))
            .collect();
        let spread = spread(
            logs.iter().map(|([r, g, b], _)| (r - g, b - g)),
            pixels.len(),
        );
        (Self(logs), spread)
    }

    /// The same of pixels `to` that a small step away.
    pub(crate) fn beside(&self, pixels: &[[f64; 3]], to: &[[f64; 3]], space: WorkingSpace) -> f64 {
        if self.0.is_empty() {
            return chromaticity_spread(to, space);
        }
        let points = self
            .0
            .iter()
            .zip(pixels)
            .zip(to)
            .map(|(((logs, per), here), to)| {
                let [r, g, b]: [f64; 3] = std::array::from_fn(|c| {
                    let change = (to[c] - here[c]) * per[c];
                    if here[c] >= CURVED && to[c] >= CURVED && change.abs() < SMALL {
                        logs[c] + log_grown(change) * (1.0 / 0.45)
                    } else {
                        log_light(to[c])
                    }
                });
                (r - g, b - g)
            });
        spread(points, to.len())
    }
}

/// ln of the light of one channel's signal.
fn log_light(v: f64) -> f64 {
    // The curved part of the inverse of BT.709-6 item 1.2 is a power: its logarithm is a factor.
    if v >= CURVED {
        ((v + 0.099) / 1.099).ln() / 0.45
    } else {
        (v / 4.5).max(1e-5).ln()
    }
}

fn chromaticity_spread(pixels: &[[f64; 3]], space: WorkingSpace) -> f64 {
    spread(
        pixels.iter().map(|p| {
            let at = log_ratios_of(*p, space);
            (at.x, at.y)
        }),
        pixels.len(),
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::Family;
    use crate::solution::Reach;

    fn pixels() -> Pixels {
        let list = (0..300)
            .map(|i| {
                let t = f64::from(i) / 300.0;
                Logged::new([1.05 * t - 0.01, (7.3 * t).fract(), 0.9 * (1.0 - t) * t])
            })
            .collect();
        Pixels::new(list)
    }

    /// A step by series against the same step applied: to rounding, also at, below and just above black.
    #[test]
    fn beside_is_what_the_move_itself_gives() {
        let pixels = pixels();
        let space = WorkingSpace::default();
        for (reach, blown) in [
            (Reach::Picture, false),
            (Reach::Picture, true),
            (Reach::Mids, false),
        ] {
            let family = Family { reach, blown };
            for at in [
                [0.0; 5],
                [0.7, 0.2, -0.3, 0.1, 0.2],
                [-0.9, -0.4, 0.3, -0.1, -0.3],
            ] {
                let by = family.build(&at);
                let here = Applied::new(&pixels, &(0..9), &by);
                let (trimmed, mean) = Trimmed::new(&here.out, space);
                let (chromaticities, spread) = Chromaticities::new(&here.out, space);
                assert!((trimmed.beside(&here.out, space).cr - mean.cr).abs() < 1e-14);
                for c in 0..at.len() {
                    let mut moved = at;
                    moved[c] += 1e-5;
                    let step = family.build(&moved);
                    let there = here.beside(&pixels, &(0..9), (&by, &step));
                    let exact = Applied::new(&pixels, &(0..9), &step).out;
                    for (a, b) in there.iter().zip(&exact) {
                        for (a, b) in a.iter().zip(b) {
                            assert!((a - b).abs() < 1e-14, "{reach} {at:?} {c}: {a} {b}");
                        }
                    }
                    let direct = chromaticity_spread(&exact, space);
                    let series = chromaticities.beside(&here.out, &there, space);
                    assert!((direct - series).abs() < 1e-12, "{direct} {series}");
                    assert!((series - spread).abs() < 1e-2);
                }
            }
        }
    }

    /// Against the definition: in order, a tenth cut at each end, the mean of the rest (`docs`: what a reading is).
    #[test]
    fn trimmed_means_are_those_of_the_sorted_list_also_where_values_repeat() {
        let space = WorkingSpace::default();
        for n in [1usize, 2, 9, 10, 11, 57, 100] {
            for steps in [2.0, 5.0, 1e6] {
                let pixels: Vec<[f64; 3]> = (0..n)
                    .map(|i| {
                        let t = ((i * 37 % 101) as f64 / 101.0 * steps).round() / steps;
                        [t, 0.5 * t + 0.1, 0.3]
                    })
                    .collect();
                let (_, found) = Trimmed::new(&pixels, space);
                let means = columns(&pixels, space).map(|mut values| {
                    values.sort_by(f64::total_cmp);
                    let kept = &values[n / 10..n - n / 10];
                    kept.iter().sum::<f64>() / kept.len() as f64
                });
                for (a, b) in [found.y, found.cb, found.cr].iter().zip(means) {
                    assert!((a - b).abs() < 1e-14, "{n} {steps}: {a} {b}");
                }
            }
        }
    }
}
