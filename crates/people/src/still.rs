//! Whether a face changes in itself: a picture on a wall is flat and does not.
//!
//! Seen by any camera that moves, a flat picture changes by a homography; what a homography leaves of
//! the movement of its points is the noise of the mesh, which does not last: means over a stretch of
//! looks agree. A living face turns, speaks and blinks over seconds, so that they do not.

use crate::outline::Outline;
use serde::{Deserialize, Serialize};

/// Looks that are averaged.
pub(crate) const STRETCH: usize = 8;
/// Stretches that a judgement needs.
const LEAST_STRETCHES: usize = 3;
/// Lasting change below which a face may be a picture. Measured where every frame is looked at: living
/// faces from 0.0063 on, a rendered person who stands still 0.0023; stills in films with a moving camera,
/// grain and coding up to 0.0014. Where the camera passes a wall at a slant the mesh takes that for a
/// little turning (up to 0.0045): such a picture is not noticed.
const LASTING: f64 = 0.0017;
/// The same where a face was looked at fewer than [`LONG`] times: over two seconds a person who stands still changes hardly more
/// than a picture (rendered people from 0.0009 on), so that only what changes least of all is asked about.
const LASTING_SHORT: f64 = 0.0008;
/// Looks from which on standing still is telling: four seconds of film.
pub(crate) const LONG: u32 = 96;
/// Lasting change from which a face surely is none: the noise of few looks does not reach it.
const LIVING: f64 = 0.003;
/// All of the change below which it may be one: in a first pass looks lie so far apart that a face
/// speaking changes as fast as noise. Measured: living from 0.0075 on, stills up to 0.0057.
const ALL: f64 = 0.0065;

/// How much a face changes in itself, as shares of its width: root mean square over points and looks.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Liveliness {
    /// Change between stretches of looks, beyond what the noise within them explains.
    pub lasting: f64,
    /// All change, noise included.
    pub all: f64,
    /// Looks that were compared; 0 where they were too few.
    pub looks: u32,
}

impl Liveliness {
    /// Whether it may be a picture of a face: to be asked, not decided. `None` where there is too
    /// little to tell.
    #[must_use]
    pub fn may_be_a_picture(&self) -> Option<bool> {
        let least = if self.looks < LONG {
            LASTING_SHORT
        } else {
            LASTING
        };
        (self.looks > 0).then_some(self.lasting < least && self.all < ALL)
    }

    /// Whether it surely lives, so that it need not be looked at on every frame to tell.
    pub(crate) fn is_living(&self) -> bool {
        self.lasting > LIVING || self.all > ALL
    }

    /// Of the outlines of one face, in the order of time.
    pub(crate) fn of(outlines: &[&Outline]) -> Self {
        let stretches = outlines.len() / STRETCH;
        if stretches < LEAST_STRETCHES {
            return Self::default();
        }
        let shapes: Vec<Vec<[f64; 2]>> = outlines[..stretches * STRETCH]
            .iter()
            .map(|outline| shape(outline))
            .collect();
        // The middle of all, as the first one sees it; once more from there.
        let mut middle = shapes[0].clone();
        let mut fitted = Vec::new();
        for _ in 0..2 {
            fitted = shapes
                .iter()
                .filter_map(|shape| carried(shape, &middle))
                .collect::<Vec<_>>();
            if fitted.len() < shapes.len() {
                return Self::default();
            }
            middle = mean(&fitted);
        }
        let points = middle.len() as f64;
        let square = |a: &[[f64; 2]], b: &[[f64; 2]]| {
            a.iter()
                .zip(b)
                .map(|(a, b)| (a[0] - b[0]).powi(2) + (a[1] - b[1]).powi(2))
                .sum::<f64>()
                / points
        };
        let means: Vec<Vec<[f64; 2]>> = fitted.chunks_exact(STRETCH).map(mean).collect();
        // One-way analysis of variance: the mean of a stretch scatters by the noise over its count.
        let within = fitted
            .chunks_exact(STRETCH)
            .zip(&means)
            .flat_map(|(looks, mean)| looks.iter().map(|look| square(look, mean)))
            .sum::<f64>()
            / (stretches * (STRETCH - 1)) as f64;
        let between =
            means.iter().map(|mean| square(mean, &middle)).sum::<f64>() / (stretches - 1) as f64;
        let all =
            fitted.iter().map(|look| square(look, &middle)).sum::<f64>() / fitted.len() as f64;
        Self {
            lasting: (between - within / STRETCH as f64).max(0.0).sqrt(),
            all: all.sqrt(),
            looks: fitted.len() as u32,
        }
    }
}

/// The points of an outline about their middle, in widths of the face.
fn shape(outline: &Outline) -> Vec<[f64; 2]> {
    let points: Vec<[f64; 2]> = outline.points().collect();
    let count = points.len().max(1) as f64;
    let middle = [0, 1].map(|k| points.iter().map(|p| p[k]).sum::<f64>() / count);
    points
        .iter()
        .map(|p| [0, 1].map(|k| (p[k] - middle[k]) / outline.width.max(1e-6)))
        .collect()
}

fn mean(shapes: &[Vec<[f64; 2]>]) -> Vec<[f64; 2]> {
    let count = shapes.len().max(1) as f64;
    let points = shapes.first().map_or(0, Vec::len);
    (0..points)
        .map(|i| [0, 1].map(|k| shapes.iter().map(|shape| shape[i][k]).sum::<f64>() / count))
        .collect()
}

/// Points carried onto others by the homography that fits them (least squares of the linear form).
fn carried(from: &[[f64; 2]], to: &[[f64; 2]]) -> Option<Vec<[f64; 2]>> {
    if from.len() != to.len() || from.len() < 8 {
        return None;
    }
    let (mut square, mut right) = ([[0.0; 8]; 8], [0.0; 8]);
    for (&[x, y], &[u, v]) in from.iter().zip(to) {
        let across = [x, y, 1.0, 0.0, 0.0, 0.0, -x * u, -y * u];
        let down = [0.0, 0.0, 0.0, x, y, 1.0, -x * v, -y * v];
        for (row, value) in [(across, u), (down, v)] {
            for (i, a) in row.iter().enumerate() {
                right[i] += a * value;
                for (sum, b) in square[i].iter_mut().zip(&row) {
                    *sum += a * b;
                }
            }
        }
    }
    let h = solved(square, right)?;
    Some(
        from.iter()
            .map(|[x, y]| {
                let w = 1.0 + h[6] * x + h[7] * y;
                [
                    (h[0] * x + h[1] * y + h[2]) / w,
                    (h[3] * x + h[4] * y + h[5]) / w,
                ]
            })
            .collect(),
    )
}

/// Gaussian elimination with pivots.
fn solved<const N: usize>(mut a: [[f64; N]; N], mut b: [f64; N]) -> Option<[f64; N]> {
    for k in 0..N {
        let pivot = (k..N).max_by(|i, j| a[*i][k].abs().total_cmp(&a[*j][k].abs()))?;
        if a[pivot][k].abs() < 1e-12 {
            return None;
        }
        a.swap(k, pivot);
        b.swap(k, pivot);
        let row = a[k];
        for i in k + 1..N {
            let share = a[i][k] / row[k];
            for (value, of) in a[i].iter_mut().zip(&row) {
                *value -= share * of;
            }
            b[i] -= share * b[k];
        }
    }
    for k in (0..N).rev() {
        let rest: f64 = (k + 1..N).map(|j| a[k][j] * b[j]).sum();
        b[k] = (b[k] - rest) / a[k][k];
    }
    Some(b)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_homography_is_found_again() {
        let from: Vec<[f64; 2]> = (0..30)
            .map(|i| [f64::from(i % 6) / 6.0 - 0.5, f64::from(i / 6) / 5.0 - 0.4])
            .collect();
        let to: Vec<[f64; 2]> = from
            .iter()
            .map(|[x, y]| {
                let w = 1.0 + 0.11 * x - 0.07 * y;
                [(1.2 * x - 0.3 * y + 0.4) / w, (0.2 * x + 0.9 * y - 0.1) / w]
            })
            .collect();
        for (a, b) in carried(&from, &to).expect("a fit").iter().zip(&to) {
            assert!((a[0] - b[0]).hypot(a[1] - b[1]) < 1e-9);
        }
        assert!(carried(&[[1.0, 1.0]; 9], &[[2.0, 1.0]; 9]).is_none());
    }
}
