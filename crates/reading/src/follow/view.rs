//! What a patch looks like in one frame, on a grid that moves with it, and how alike another frame is.

use super::picture::Pyramid;
use crate::pose::Similarity;
use nalgebra::{Matrix4, Vector4};

/// Cells across and down the patch, for finding out that a part of it is covered.
const CELLS: usize = 5;

/// Where a view is sampled: a grid over the patch and a margin around it, in pixels of the drawn
/// frame (of the working picture; the top-left corner is 0, 0).
#[derive(Clone, Debug)]
pub(super) struct Layout {
    pub(super) points: Vec<[f64; 2]>,
    /// Columns of the grid.
    across: usize,
    /// 1 in the patch, less around it, 0 outside the drawn frame.
    weight: Vec<f64>,
    /// Cell of the patch that a point lies in.
    cell: Vec<Option<usize>>,
    /// Pixels from point to point.
    pub(super) spacing: f64,
    pub(super) middle: [f64; 2],
    /// Half of the longer side.
    pub(super) radius: f64,
}

impl Layout {
    /// Weight of the margin against the patch.
    const MARGIN_WEIGHT: f64 = 0.5;

    /// A grid with at most `most` points on its longer side.
    pub(super) fn new(
        low: [f64; 2],
        high: [f64; 2],
        patch_low: [f64; 2],
        patch_high: [f64; 2],
        most: usize,
        size: [f64; 2],
        inside: impl Fn([f64; 2]) -> bool,
    ) -> Self {
        let (w, h) = (high[0] - low[0], high[1] - low[1]);
        let spacing = (w.max(h) / most as f64).max(1.0);
        let count = |length: f64| ((length / spacing) as usize).max(2);
        let (across, down) = (count(w), count(h));
        let mut layout = Self {
            points: Vec::with_capacity(across * down),
            across,
            weight: Vec::new(),
            cell: Vec::new(),
            spacing,
            middle: [(low[0] + high[0]) / 2.0, (low[1] + high[1]) / 2.0],
            radius: w.max(h) / 2.0,
        };
        for row in 0..down {
            for column in 0..across {
                let point = [
                    low[0] + (column as f64 + 0.5) * w / across as f64,
                    low[1] + (row as f64 + 0.5) * h / down as f64,
                ];
                let seen = (0..2).all(|k| point[k] >= 0.0 && point[k] <= size[k]);
                let within = inside(point);
                layout.weight.push(match (seen, within) {
                    (false, _) => 0.0,
                    (true, true) => 1.0,
                    (true, false) => Self::MARGIN_WEIGHT,
                });
                let part = |k: usize| {
                    let at = (point[k] - patch_low[k]) / (patch_high[k] - patch_low[k]);
                    ((at * CELLS as f64) as usize).min(CELLS - 1)
                };
                layout
                    .cell
                    .push((seen && within).then(|| part(1) * CELLS + part(0)));
                layout.points.push(point);
            }
        }
        layout
    }

    /// Samples a frame at the points as a pose moves them.
    fn sample(&self, frame: &Pyramid<'_>, pose: &Similarity) -> Vec<f64> {
        let level = frame.level(self.spacing * pose.scale());
        // Four taps a quarter of the spacing off: a light blur that belongs to the grid.
        let quarter = self.spacing / 4.0;
        let (dx, dy) = (quarter * pose.a, quarter * pose.b);
        self.points
            .iter()
            .map(|point| {
                let [x, y] = pose.apply(*point);
                [
                    (dx - dy, dy + dx),
                    (-dx - dy, -dy + dx),
                    (dx + dy, dy - dx),
                    (-dx + dy, -dy - dx),
                ]
                .iter()
                .map(|(u, v)| frame.sample(level, x + u, y + v))
                .sum::<f64>()
                    / 4.0
            })
            .collect()
    }

    /// One tap a point: enough for telling places apart on a coarse grid.
    fn glance(&self, frame: &Pyramid<'_>, pose: &Similarity) -> Vec<f64> {
        let level = frame.level(self.spacing * pose.scale() * 1.5);
        self.points
            .iter()
            .map(|point| {
                let [x, y] = pose.apply(*point);
                frame.sample(level, x, y)
            })
            .collect()
    }

    /// The share of the patch that lies inside a picture of a given size at a pose.
    pub(super) fn share_inside(&self, pose: &Similarity, size: [f64; 2]) -> f64 {
        let (mut all, mut inside) = (0u32, 0u32);
        for (point, cell) in self.points.iter().zip(&self.cell) {
            if cell.is_some() {
                let [x, y] = pose.apply(*point);
                all += 1;
                inside += u32::from(x >= 0.0 && y >= 0.0 && x <= size[0] && y <= size[1]);
            }
        }
        f64::from(inside) / f64::from(all.max(1))
    }
}

/// How the cells of a patch stand against a view.
#[derive(Clone, Debug, PartialEq)]
pub(super) struct Cells {
    /// Logarithm of the brightness ratio, median of the cells.
    pub(super) overall: f64,
    /// Logarithm of the brightness ratio, the median taken off.
    gain: Vec<f64>,
    /// Root mean square of what one brightness ratio for all cells does not explain, in 8-bit codes.
    rest: Vec<f64>,
    count: Vec<u32>,
}

impl Cells {
    pub(super) fn none() -> Self {
        Self {
            overall: 0.0,
            gain: vec![0.0; CELLS * CELLS],
            rest: vec![0.0; CELLS * CELLS],
            count: vec![0; CELLS * CELLS],
        }
    }

    /// The share of the patch whose cells differ from what was usual.
    ///
    /// Light that moves over a face changes the cells slowly, and `usual` goes along; something that
    /// comes in front of it changes some of them at once.
    /// `strict` lets less pass.
    pub(super) fn changed_share(&self, usual: &Self, strict: bool) -> f64 {
        /// 22 % brighter or darker than the rest of the patch.
        const GAIN: f64 = 0.2;
        /// Codes that noise and coding make in any case.
        const CODES: f64 = 2.5;
        // Times the usual rest.
        let times = if strict { 1.5 } else { 3.0 };
        let (mut all, mut changed) = (0u32, 0u32);
        for cell in 0..self.count.len() {
            let count = self.count[cell];
            all += count;
            if (self.gain[cell] - usual.gain[cell]).abs() > GAIN
                || self.rest[cell] > times * (usual.rest[cell] + CODES)
            {
                changed += count;
            }
        }
        f64::from(changed) / f64::from(all.max(1))
    }

    /// Moves toward another state by a share.
    pub(super) fn toward(&mut self, other: &Self, share: f64) {
        self.overall += share * (other.overall - self.overall);
        for (own, other) in [(&mut self.gain, &other.gain), (&mut self.rest, &other.rest)] {
            for (own, other) in own.iter_mut().zip(other) {
                *own += share * (other - *own);
            }
        }
    }
}

/// The patch and its surroundings as one frame shows them.
#[derive(Clone, Debug)]
pub(super) struct View {
    value: Vec<f64>,
    /// Slope along x and y, a pixel of the drawn frame.
    slope: Vec<[f64; 2]>,
}

/// How alike a frame is to a view.
#[derive(Clone, Copy, Debug)]
pub(super) struct Alike {
    pub(super) pose: Similarity,
    /// Normalised correlation, −1…1; 0 where one of the two has no detail.
    pub(super) correlation: f64,
}

impl View {
    pub(super) fn take(layout: &Layout, frame: &Pyramid<'_>, pose: &Similarity) -> Self {
        let value = layout.sample(frame, pose);
        let across = layout.across;
        let slope = (0..value.len())
            .map(|i| {
                let (column, row) = (i % across, i / across);
                let along = |before: bool, after: bool, step: usize| {
                    if before && after {
                        let apart = layout.points[i + step][usize::from(step > 1)]
                            - layout.points[i - step][usize::from(step > 1)];
                        (value[i + step] - value[i - step]) / apart
                    } else {
                        0.0
                    }
                };
                [
                    along(column > 0, column + 1 < across, 1),
                    along(row > 0, i + across < value.len(), across),
                ]
            })
            .collect();
        Self { value, slope }
    }

    /// Normalised correlation of a frame at a pose.
    pub(super) fn correlation(
        &self,
        layout: &Layout,
        frame: &Pyramid<'_>,
        pose: &Similarity,
    ) -> f64 {
        Fit::new(self, layout, layout.sample(frame, pose)).correlation
    }

    /// The same from fewer samples.
    pub(super) fn glance(&self, layout: &Layout, frame: &Pyramid<'_>, pose: &Similarity) -> f64 {
        Fit::new(self, layout, layout.glance(frame, pose)).correlation
    }

    /// Moves a pose so that the frame agrees with this view, whatever gain and offset lie between:
    /// inverse compositional Gauss–Newton (Baker and Matthews 2004) with Huber weights, so that a
    /// covered part does not pull.
    pub(super) fn align(
        &self,
        layout: &Layout,
        frame: &Pyramid<'_>,
        pose: &Similarity,
        rounds: usize,
    ) -> Alike {
        let mut best = Alike {
            pose: *pose,
            correlation: self.correlation(layout, frame, pose),
        };
        let mut pose = *pose;
        for _ in 0..rounds {
            let fit = Fit::new(self, layout, layout.sample(frame, &pose));
            if fit.correlation > best.correlation {
                best = Alike {
                    pose,
                    correlation: fit.correlation,
                };
            }
            let Some(step) = self.step(layout, &fit) else {
                return best;
            };
            let Some(back) = step.inverse() else {
                return best;
            };
            pose = pose.after(&back);
            let [x, y] = back.apply(layout.middle);
            let moved = (x - layout.middle[0]).hypot(y - layout.middle[1])
                + layout.radius * (back.a - 1.0).hypot(back.b);
            if moved < 0.01 {
                break;
            }
        }
        let correlation = self.correlation(layout, frame, &pose);
        if correlation > best.correlation {
            best = Alike { pose, correlation };
        }
        best
    }

    /// The small similarity of the view that explains the difference to a frame.
    fn step(&self, layout: &Layout, fit: &Fit) -> Option<Similarity> {
        let mut sizes: Vec<f64> = fit.difference.iter().map(|d| d.abs()).collect();
        let huber = 1.5 * 1.4826 * crate::statistics::median(&mut sizes)? + 1e-6;
        let (mut normal, mut right) = (Matrix4::<f64>::zeros(), Vector4::<f64>::zeros());
        for (i, point) in layout.points.iter().enumerate() {
            let weight = layout.weight[i] * (huber / fit.difference[i].abs().max(huber));
            let u = (point[0] - layout.middle[0]) / layout.radius;
            let v = (point[1] - layout.middle[1]) / layout.radius;
            let [gx, gy] = self.slope[i].map(|g| g * layout.radius);
            let row = Vector4::new(gx * u + gy * v, gy * u - gx * v, gx, gy);
            normal += weight * row * row.transpose();
            right += weight * fit.difference[i] * row;
        }
        // A flat view leaves the matrix singular; a trace's trifle keeps weak directions still.
        let trifle = 1e-6 * normal.trace();
        let solved = (normal + Matrix4::identity() * trifle)
            .cholesky()?
            .solve(&right);
        if !solved.iter().all(|v| v.is_finite()) || solved.amax() > 0.5 {
            return None;
        }
        let (a, b) = (1.0 + solved[0], solved[1]);
        let [x, y] = layout.middle;
        Some(Similarity {
            a,
            b,
            tx: x + layout.radius * solved[2] - (a * x - b * y),
            ty: y + layout.radius * solved[3] - (b * x + a * y),
        })
    }

    /// The cells of a frame at a pose against this view.
    pub(super) fn cells(&self, layout: &Layout, frame: &Pyramid<'_>, pose: &Similarity) -> Cells {
        /// Keeps the ratio of dark pixels finite, in 8-bit codes.
        const LIFT: f64 = 8.0;
        let sample = layout.sample(frame, pose);
        let mut cells = Cells::none();
        let n = cells.count.len();
        let (mut own, mut other) = (vec![0.0; n], vec![0.0; n]);
        for (i, cell) in layout.cell.iter().enumerate() {
            if let Some(cell) = *cell {
                cells.count[cell] += 1;
                own[cell] += self.value[i];
                other[cell] += sample[i];
            }
        }
        let mut gains = Vec::new();
        for cell in 0..n {
            let count = f64::from(cells.count[cell].max(1));
            own[cell] /= count;
            other[cell] /= count;
            let lifted = |v: f64| v.max(0.0) + LIFT;
            cells.gain[cell] = (lifted(other[cell]) / lifted(own[cell])).ln();
            gains.extend((cells.count[cell] > 0).then_some(cells.gain[cell]));
        }
        let middle = crate::statistics::median(&mut gains).unwrap_or(0.0);
        cells.overall = middle;
        let ratio = middle.exp().clamp(0.1, 10.0);
        for (i, cell) in layout.cell.iter().enumerate() {
            if let Some(cell) = *cell {
                let rest = sample[i] / ratio - self.value[i];
                cells.rest[cell] += rest * rest;
            }
        }
        for cell in 0..n {
            let count = f64::from(cells.count[cell].max(1));
            cells.rest[cell] = (cells.rest[cell] / count).sqrt();
            cells.gain[cell] -= middle;
        }
        cells
    }
}

/// A sampled frame brought to the mean and spread of a view.
struct Fit {
    correlation: f64,
    /// Frame minus view, weighted mean 0.
    difference: Vec<f64>,
}

impl Fit {
    fn new(view: &View, layout: &Layout, sample: Vec<f64>) -> Self {
        let weights: f64 = layout.weight.iter().sum();
        let mean = |values: &[f64]| {
            let sum: f64 = values.iter().zip(&layout.weight).map(|(v, w)| v * w).sum();
            sum / weights.max(1e-12)
        };
        let (own, other) = (mean(&view.value), mean(&sample));
        let (mut vv, mut ss, mut vs) = (0.0, 0.0, 0.0);
        for ((v, s), w) in view.value.iter().zip(&sample).zip(&layout.weight) {
            let (v, s) = (v - own, s - other);
            vv += w * v * v;
            ss += w * s * s;
            vs += w * v * s;
        }
        // Less detail than a thousandth of an 8-bit code is none.
        let none = 1e-6 * weights;
        let (correlation, gain) = if vv > none && ss > none {
            (vs / (vv * ss).sqrt(), (vv / ss).sqrt())
        } else {
            (0.0, 1.0)
        };
        let difference = view
            .value
            .iter()
            .zip(&sample)
            .map(|(v, s)| (s - other) * gain - (v - own))
            .collect();
        Self {
            correlation,
            difference,
        }
    }
}
