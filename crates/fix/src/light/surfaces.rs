//! Surface colours of a picture: the modes of its chromaticities.

use nalgebra::Vector2;

/// Radius in which pixels count as one surface colour, in ln.
pub(crate) const RADIUS: f64 = 0.07;
/// Least share of the picture that counts as a surface.
const LEAST_SHARE: f64 = 0.01;

/// Pixels of about one colour.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Surface {
    /// Chromaticity (ln R/G, ln B/G).
    pub(crate) at: Vector2<f64>,
    /// Share of the usable pixels.
    pub(crate) share: f64,
}

/// The surfaces among chromaticities of usable pixels that are not skin; none where there are too few.
pub(crate) fn surfaces(pixels: &[Vector2<f64>]) -> Vec<Surface> {
    if pixels.len() < 32 {
        return Vec::new();
    }
    modes(pixels)
        .into_iter()
        .filter(|(_, share)| *share >= LEAST_SHARE)
        .map(|(at, share)| Surface { at, share })
        .collect()
}

/// Modes of the density with the share of pixels about each, found on a grid and moved to the mean of what is near.
fn modes(pixels: &[Vector2<f64>]) -> Vec<(Vector2<f64>, f64)> {
    const SIZE: usize = 96;
    const STEP: f64 = 0.045;
    let cell = |v: f64, low: f64| {
        let i = (v - low) / STEP;
        (i >= 1.0 && i < (SIZE - 1) as f64).then_some(i as usize)
    };
    let mut counts = vec![0u32; SIZE * SIZE];
    for p in pixels {
        if let (Some(x), Some(y)) = (cell(p.x, -2.0), cell(p.y, -2.8)) {
            counts[y * SIZE + x] += 1;
        }
    }
    let smooth = |x: usize, y: usize| -> u32 {
        (y - 1..=y + 1)
            .flat_map(|y| (x - 1..=x + 1).map(move |x| (x, y)))
            .map(|(i, j)| counts[j * SIZE + i] * if i == x && j == y { 2 } else { 1 })
            .sum()
    };
    let mut peaks: Vec<(u32, usize, usize)> = (1..SIZE - 1)
        .flat_map(|y| (1..SIZE - 1).map(move |x| (x, y)))
        .filter(|(x, y)| counts[y * SIZE + x] > 0)
        .map(|(x, y)| (smooth(x, y), x, y))
        .collect();
    // Highest first; equal heights in the order of the grid.
    peaks.sort_by_key(|p| (std::cmp::Reverse(p.0), p.2, p.1));
    let mut found: Vec<(Vector2<f64>, f64)> = Vec::new();
    for (_, x, y) in peaks {
        let start = Vector2::new(
            -2.0 + (x as f64 + 0.5) * STEP,
            -2.8 + (y as f64 + 0.5) * STEP,
        );
        if found.len() == 8 || found.iter().any(|f| (f.0 - start).norm() < 2.0 * RADIUS) {
            if found.len() == 8 {
                break;
            }
            continue;
        }
        let mut at = start;
        let mut share = 0.0;
        for _ in 0..6 {
            let mut sum = Vector2::zeros();
            let mut count = 0usize;
            for p in pixels {
                if (p - at).norm_squared() < RADIUS * RADIUS {
                    sum += p;
                    count += 1;
                }
            }
            if count == 0 {
                break;
            }
            share = count as f64 / pixels.len() as f64;
            at = sum / count as f64;
        }
        if share > 0.0 && !found.iter().any(|f| (f.0 - at).norm() < RADIUS) {
            found.push((at, share));
        }
    }
    found
}
