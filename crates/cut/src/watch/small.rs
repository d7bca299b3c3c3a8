//! Frames made small, and how two of them differ.

use super::SmallPicture;

pub(super) const WIDTH: usize = 64;
pub(super) const HEIGHT: usize = 36;
const CELLS: usize = WIDTH * HEIGHT;
/// How much a colour difference weighs against luma: two faces of like level differ in chroma alone.
const CHROMA_WEIGHT: f32 = 1.5;
/// Furthest that a picture is looked for sideways and up or down, in cells.
const ACROSS: isize = 24;
const DOWN: isize = 3;

/// A frame as `WIDTH` × `HEIGHT` cells of Y', Cb, Cr, each the mean of its part of the picture.
#[derive(Clone, Debug)]
pub(super) struct Thumb {
    pub(super) planes: [Vec<f32>; 3],
}

impl Thumb {
    pub(super) fn of(picture: &SmallPicture) -> Self {
        let chroma = (picture.chroma_width, picture.chroma_height);
        Self {
            planes: [
                cells(&picture.luma, (picture.width, picture.height)),
                cells(&picture.cb, chroma),
                cells(&picture.cr, chroma),
            ],
        }
    }

    /// Each cell the mean of `width` neighbours in its row; the edges are repeated.
    fn smeared(&self, width: isize) -> Self {
        let smear = |plane: &Vec<f32>| {
            let near = |row: &[f32], x: isize| row[x.clamp(0, WIDTH as isize - 1) as usize];
            plane
                .chunks_exact(WIDTH)
                .flat_map(|row| {
                    (0..WIDTH as isize).map(move |x| {
                        let from = x - width / 2;
                        (from..from + width).map(|at| near(row, at)).sum::<f32>() / width as f32
                    })
                })
                .collect()
        };
        Self {
            planes: self.planes.each_ref().map(smear),
        }
    }

    /// Luma, each cell the mean of those up to `reach` away.
    fn broad(&self, reach: usize) -> Vec<f32> {
        let luma = &self.planes[0];
        let mut out = Vec::with_capacity(CELLS);
        for y in 0..HEIGHT {
            let rows = y.saturating_sub(reach)..(y + reach + 1).min(HEIGHT);
            for x in 0..WIDTH {
                let columns = x.saturating_sub(reach)..(x + reach + 1).min(WIDTH);
                let sum: f32 = rows
                    .clone()
                    .flat_map(|row| &luma[row * WIDTH..][columns.clone()])
                    .sum();
                out.push(sum / (rows.len() * columns.len()) as f32);
            }
        }
        out
    }

    pub(super) fn mean_luma(&self) -> f32 {
        mean(&self.planes[0])
    }

    /// Whether it is black or white all over.
    pub(super) fn is_blank(&self) -> bool {
        self.spread() < 0.015 && !(0.03..0.9).contains(&self.mean_luma())
    }

    fn spread(&self) -> f32 {
        let centre = self.mean_luma();
        let squares: f32 = self.planes[0].iter().map(|y| (y - centre).powi(2)).sum();
        (squares / CELLS as f32).sqrt()
    }

    pub(super) fn brightest(&self) -> f32 {
        self.planes[0].iter().copied().fold(f32::MIN, f32::max)
    }

    pub(super) fn mean_chroma(&self) -> f32 {
        let sum: f32 = self.planes[1]
            .iter()
            .zip(&self.planes[2])
            .map(|(b, r)| b.hypot(*r))
            .sum();
        sum / CELLS as f32
    }

    /// Share of cells within 0.03 of the commonest luma.
    pub(super) fn flat_share(&self) -> f32 {
        let mut counts = [0usize; 48];
        for y in &self.planes[0] {
            counts[((y.clamp(0.0, 1.0) * 47.0) as usize).min(47)] += 1;
        }
        let most = counts.windows(3).map(|w| w.iter().sum::<usize>()).max();
        most.unwrap_or(0) as f32 / CELLS as f32
    }

    /// Whether it is colour bars: upright stripes, most of them of strong colour.
    pub(super) fn is_bars(&self) -> bool {
        let rows = HEIGHT / 2;
        let mut upright = 0.0f32;
        let mut stripes: Vec<[f32; 3]> = Vec::with_capacity(WIDTH);
        for x in 0..WIDTH {
            let mut column = [0.0; 3];
            for (value, plane) in column.iter_mut().zip(&self.planes) {
                let values = || (0..rows).map(|y| plane[y * WIDTH + x]);
                let centre = values().sum::<f32>() / rows as f32;
                upright += values().map(|v| (v - centre).abs()).sum::<f32>() / rows as f32;
                *value = centre;
            }
            stripes.push(column);
        }
        let coloured = stripes.iter().filter(|s| s[1].hypot(s[2]) > 0.12).count();
        let steps = stripes
            .windows(3)
            .filter(|w| {
                let moved: f32 = (0..3).map(|i| (w[2][i] - w[0][i]).abs()).sum();
                moved > 0.1
            })
            .count();
        upright / (WIDTH as f32) < 0.015 && coloured * 5 >= WIDTH * 2 && (5..=32).contains(&steps)
    }
}

fn mean(values: &[f32]) -> f32 {
    values.iter().sum::<f32>() / values.len().max(1) as f32
}

fn cells(plane: &[f32], (width, height): (usize, usize)) -> Vec<f32> {
    let span = |at: usize, of: usize, size: usize| {
        let from = (at * size / of).min(size.saturating_sub(1));
        (from, ((at + 1) * size / of).max(from + 1).min(size))
    };
    let mut out = Vec::with_capacity(CELLS);
    for row in 0..HEIGHT {
        let (top, bottom) = span(row, HEIGHT, height);
        for column in 0..WIDTH {
            let (left, right) = span(column, WIDTH, width);
            let sum: f32 = (top..bottom)
                .flat_map(|y| &plane[y * width + left..y * width + right])
                .sum();
            out.push(sum / ((bottom - top) * (right - left)).max(1) as f32);
        }
    }
    out
}

/// Mean difference of two frames as they lie, signal units.
pub(super) fn plain(a: &Thumb, b: &Thumb) -> f32 {
    apart(a, b, (0, 0))
}

/// Share of cells that differ by more than 0.008.
pub(super) fn changed(a: &Thumb, b: &Thumb) -> f32 {
    let differs = |at: &usize| {
        let apart: f32 = (0..3)
            .map(|plane| (a.planes[plane][*at] - b.planes[plane][*at]).abs())
            .sum();
        apart > 0.008
    };
    (0..CELLS).filter(differs).count() as f32 / CELLS as f32
}

/// Mean difference after the one has been moved onto the other as well as can be.
pub(super) fn moved(a: &Thumb, b: &Thumb) -> f32 {
    let (_, by) = best_shift(a, b);
    apart(a, b, by).min(plain(a, b))
}

fn best_shift(a: &Thumb, b: &Thumb) -> (f32, (isize, isize)) {
    let mut best = (luma_apart(a, b, (0, 0)), (0, 0));
    for dy in -DOWN..=DOWN {
        for dx in -ACROSS..=ACROSS {
            let found = luma_apart(a, b, (dx, dy));
            if found < best.0 {
                best = (found, (dx, dy));
            }
        }
    }
    best
}

/// A large movement between two frames, in cells, and what it leaves of their difference.
pub(super) fn movement(a: &Thumb, b: &Thumb) -> (usize, f32) {
    let (_, (dx, dy)) = best_shift(a, b);
    let left = apart(a, b, (dx, dy)) / plain(a, b).max(1e-6);
    (dx.unsigned_abs() + dy.unsigned_abs(), left)
}

/// What is left of the difference of two frames when one of them, or both, are smeared sideways as a
/// whip pan smears its frames, and moved: 0–1.
pub(super) fn smeared(a: &Thumb, b: &Thumb) -> f32 {
    let raw = plain(a, b).max(1e-6);
    [5, 9]
        .into_iter()
        .flat_map(|width| {
            let (p, q) = (a.smeared(width), b.smeared(width));
            [
                moved(&p, b) / raw,
                moved(a, &q) / raw,
                moved(&p, &q) / plain(&p, &q).max(1e-6),
            ]
        })
        .fold(1.0, f32::min)
}

/// Whether a lamp was switched between two frames: everything gains light or everything loses it, by
/// shares that change smoothly over the picture, and the drawing of the picture stays.
pub(super) fn lamp_switched(a: &Thumb, b: &Thumb) -> bool {
    let [broad_a, broad_b] = [a, b].map(|thumb| thumb.broad(6));
    let (mut up, mut down) = (0u32, 0u32);
    let (mut left, mut raw, mut change) = (0.0f32, 0.0f32, 0.0f32);
    let (mut ab, mut aa, mut bb) = (0.0f32, 0.0f32, 0.0f32);
    for at in 0..CELLS {
        let (p, q) = (a.planes[0][at], b.planes[0][at]);
        let (broad_p, broad_q) = (broad_a[at], broad_b[at]);
        up += u32::from(broad_q > broad_p - 0.004);
        down += u32::from(broad_q < broad_p + 0.004);
        change += broad_q - broad_p;
        left += (q - p * broad_q / broad_p.max(0.02)).abs();
        raw += (q - p).abs();
        let (fine_p, fine_q) = (p - broad_p, q - broad_q);
        ab += fine_p * fine_q;
        aa += fine_p * fine_p;
        bb += fine_q * fine_q;
    }
    let cells = CELLS as f32;
    up.max(down) as f32 > 0.95 * cells
        && (change / cells).abs() > 0.02
        && left < 0.15 * raw
        && ab > 0.8 * (aa * bb).sqrt()
}

/// The same, to a quarter of a cell: for slow movement, which looks like a mixture.
pub(super) fn moved_finely(a: &Thumb, b: &Thumb) -> f32 {
    let mut best = moved(a, b);
    for whole in -6..=6 {
        for quarter in 0..4 {
            for down in -2..=2 {
                let (dx, dy) = (whole as f32 + quarter as f32 / 4.0, down as f32 / 2.0);
                best = best.min(between_cells(a, b, (dx, dy)));
            }
        }
    }
    best
}

/// Mean difference from `b` moved by parts of cells.
fn between_cells(a: &Thumb, b: &Thumb, (dx, dy): (f32, f32)) -> f32 {
    let (wx, wy) = (dx.floor(), dy.floor());
    let (fx, fy) = (dx - wx, dy - wy);
    let (wx, wy) = (wx as isize, wy as isize);
    let (mut sum, mut count) = (0.0f32, 0u32);
    for y in 0..HEIGHT as isize {
        for x in 0..WIDTH as isize {
            let (left, top) = (x - wx - 1, y - wy - 1);
            if left < 0 || top < 0 || left + 1 >= WIDTH as isize || top + 1 >= HEIGHT as isize {
                continue;
            }
            let at = |x: isize, y: isize| y as usize * WIDTH + x as usize;
            let mut apart = 0.0;
            for (plane, weight) in [1.0, CHROMA_WEIGHT, CHROMA_WEIGHT].into_iter().enumerate() {
                let (p, q) = (&a.planes[plane], &b.planes[plane]);
                let upper = fx * q[at(left, top)] + (1.0 - fx) * q[at(left + 1, top)];
                let lower = fx * q[at(left, top + 1)] + (1.0 - fx) * q[at(left + 1, top + 1)];
                apart += weight * (p[at(x, y)] - fy * upper - (1.0 - fy) * lower).abs();
            }
            sum += apart;
            count += 1;
        }
    }
    sum / count.max(1) as f32
}

/// The cells of `a`, by row and column, that lie on cells of `b` when `b` is moved.
fn overlap((dx, dy): (isize, isize)) -> (std::ops::Range<usize>, std::ops::Range<usize>) {
    let span = |by: isize, size: usize| {
        let size = size as isize;
        (by.max(0) as usize)..((size + by).min(size) as usize)
    };
    (span(dy, HEIGHT), span(dx, WIDTH))
}

fn luma_apart(a: &Thumb, b: &Thumb, by: (isize, isize)) -> f32 {
    let (rows, columns) = overlap(by);
    let (mut sum, mut count) = (0.0f32, 0u32);
    for y in rows.step_by(2) {
        for x in columns.clone().step_by(2) {
            let other = (y as isize - by.1) as usize * WIDTH + (x as isize - by.0) as usize;
            sum += (a.planes[0][y * WIDTH + x] - b.planes[0][other]).abs();
            count += 1;
        }
    }
    sum / count.max(1) as f32
}

fn apart(a: &Thumb, b: &Thumb, by: (isize, isize)) -> f32 {
    let (rows, columns) = overlap(by);
    let mut sums = [0.0f32; 3];
    for y in rows.clone() {
        for x in columns.clone() {
            let other = (y as isize - by.1) as usize * WIDTH + (x as isize - by.0) as usize;
            for (sum, (p, q)) in sums.iter_mut().zip(a.planes.iter().zip(&b.planes)) {
                *sum += (p[y * WIDTH + x] - q[other]).abs();
            }
        }
    }
    let count = (rows.len() * columns.len()).max(1) as f32;
    (sums[0] + CHROMA_WEIGHT * (sums[1] + sums[2])) / count
}

/// Correlation of luma, −1…1; 0 where one of the two is flat.
pub(super) fn alike(a: &Thumb, b: &Thumb) -> f32 {
    alike_beside(a, b, &[false; CELLS])
}

/// The same beside the cells of `but`.
pub(super) fn alike_beside(a: &Thumb, b: &Thumb, but: &[bool]) -> f32 {
    let cells = || {
        let pairs = a.planes[0].iter().zip(&b.planes[0]).zip(but);
        pairs.filter(|(_, but)| !**but).map(|(pair, _)| pair)
    };
    let count = cells().count().max(1) as f32;
    let (ma, mb) = cells().fold((0.0, 0.0), |(p, q), (x, y)| (p + x / count, q + y / count));
    let (mut ab, mut aa, mut bb) = (0.0f32, 0.0f32, 0.0f32);
    for (x, y) in cells() {
        ab += (x - ma) * (y - mb);
        aa += (x - ma).powi(2);
        bb += (y - mb).powi(2);
    }
    let flat = CELLS as f32 * 0.01 * 0.01;
    if aa < flat || bb < flat {
        return 0.0;
    }
    ab / (aa * bb).sqrt()
}

/// Mean difference of `x` from the mixture (1 − share)·a + share·b.
pub(super) fn off_mixture(x: &Thumb, a: &Thumb, b: &Thumb, share: f32) -> f32 {
    let weights = [1.0, CHROMA_WEIGHT, CHROMA_WEIGHT];
    let mut sum = 0.0f32;
    for (plane, weight) in weights.into_iter().enumerate() {
        let (x, a, b) = (&x.planes[plane], &a.planes[plane], &b.planes[plane]);
        for ((x, a), b) in x.iter().zip(a).zip(b) {
            sum += weight * (x - a - share * (b - a)).abs();
        }
    }
    sum / CELLS as f32
}

/// The share of `b` in `x` as a mixture of `a` and `b`, by least squares.
pub(super) fn share_of(x: &Thumb, a: &Thumb, b: &Thumb) -> f32 {
    let (mut along, mut square) = (0.0f32, 0.0f32);
    for plane in 0..3 {
        let (x, a, b) = (&x.planes[plane], &a.planes[plane], &b.planes[plane]);
        for ((x, a), b) in x.iter().zip(a).zip(b) {
            along += (x - a) * (b - a);
            square += (b - a).powi(2);
        }
    }
    along / square.max(1e-9)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A picture of waves, others for each `phase`, seen from `x`, in a light that falls off by `lamp` from right to left.
    fn picture(x: usize, lamp: f32, phase: f32) -> Thumb {
        let cell = |at: usize| {
            let (column, row) = ((at % WIDTH + x) as f32, (at / WIDTH) as f32);
            let drawn = 0.4
                + 0.2 * (column * (0.9 - 0.2 * phase)).sin() * (row * 0.7 + phase).cos()
                + 0.1 * (column * (0.23 + 0.1 * phase)).sin();
            drawn * (1.0 - lamp * (1.0 - (at % WIDTH) as f32 / WIDTH as f32))
        };
        Thumb {
            planes: [
                (0..CELLS).map(cell).collect(),
                vec![0.0; CELLS],
                vec![0.0; CELLS],
            ],
        }
    }

    #[test]
    fn a_lamp_is_switched_and_another_picture_is_none() {
        let lit = picture(0, 0.0, 0.0);
        assert!(lamp_switched(&lit, &picture(0, 0.5, 0.0)));
        assert!(lamp_switched(&picture(0, 0.5, 0.0), &lit));
        assert!(
            !lamp_switched(&lit, &picture(0, 0.5, 2.0)),
            "another picture"
        );
        assert!(
            !lamp_switched(&lit, &picture(5, 0.5, 0.0)),
            "the camera moved"
        );
    }

    #[test]
    fn a_whip_pan_is_explained_by_smearing_and_moving() {
        let (from, to) = (picture(0, 0.0, 0.0), picture(12, 0.0, 0.0));
        let (far, left) = movement(&from, &to);
        assert!(far >= 12 && left < 0.05, "{far} {left}");
        assert!(smeared(&from, &to.smeared(5)) < 0.1);
        assert!(smeared(&from, &picture(0, 0.0, 2.0)) > 0.5);
    }
}
