//! Smoothing of planes by running sums.

/// Smooths a plane with three box filters in a row, close to a Gaussian of the given standard
/// deviation in pixels (Wells 1986); the edge is repeated outside.
pub(crate) fn smooth(plane: &[f32], width: usize, height: usize, sigma: f64) -> Vec<f32> {
    let mut result = plane.to_vec();
    if width == 0 || height == 0 {
        return result;
    }
    let mut other = vec![0.0_f32; plane.len()];
    for radius in radii(sigma) {
        across(&result, &mut other, width, radius);
        down(&other, &mut result, width, height, radius);
    }
    result
}

/// Radii of three boxes (2r + 1 wide) whose variances add up to sigma² as nearly as odd boxes can:
/// a box of width w has the variance (w² − 1) / 12.
fn radii(sigma: f64) -> [usize; 3] {
    let variance = (sigma * sigma).max(0.0);
    let ideal = (4.0 * variance + 1.0).sqrt();
    let low = (((ideal - 1.0) / 2.0).floor()).max(0.0);
    let of = |r: f64| ((2.0 * r + 1.0).powi(2) - 1.0) / 12.0;
    // How many of the three boxes are the larger ones.
    let larger = ((variance - 3.0 * of(low)) / (of(low + 1.0) - of(low)))
        .round()
        .clamp(0.0, 3.0) as usize;
    std::array::from_fn(|i| low as usize + usize::from(i < larger))
}

fn across(source: &[f32], target: &mut [f32], width: usize, radius: usize) {
    let norm = 1.0 / (2 * radius + 1) as f64;
    let last = width - 1;
    for (row, out) in source
        .chunks_exact(width)
        .zip(target.chunks_exact_mut(width))
    {
        let mut sum = f64::from(row[0]) * radius as f64;
        for k in 0..=radius {
            sum += f64::from(row[k.min(last)]);
        }
        for (x, out) in out.iter_mut().enumerate() {
            *out = (sum * norm) as f32;
            sum += f64::from(row[(x + radius + 1).min(last)]);
            sum -= f64::from(row[x.saturating_sub(radius)]);
        }
    }
}

fn down(source: &[f32], target: &mut [f32], width: usize, height: usize, radius: usize) {
    let norm = 1.0 / (2 * radius + 1) as f64;
    let row = |y: usize| &source[y.min(height - 1) * width..][..width];
    let mut sums: Vec<f64> = row(0)
        .iter()
        .map(|v| f64::from(*v) * radius as f64)
        .collect();
    for k in 0..=radius {
        for (sum, value) in sums.iter_mut().zip(row(k)) {
            *sum += f64::from(*value);
        }
    }
    for y in 0..height {
        let (enters, leaves) = (row(y + radius + 1), row(y.saturating_sub(radius)));
        let out = &mut target[y * width..][..width];
        for (((sum, out), enters), leaves) in sums.iter_mut().zip(out).zip(enters).zip(leaves) {
            *out = (*sum * norm) as f32;
            *sum += f64::from(*enters) - f64::from(*leaves);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn keeps_a_flat_plane_and_spreads_a_point_as_asked() {
        assert!(
            smooth(&[0.5; 60], 10, 6, 2.0)
                .iter()
                .all(|v| (v - 0.5).abs() < 1e-6)
        );
        for sigma in [1.5, 2.3, 5.0, 9.7] {
            let (width, height) = (101, 101);
            let mut plane = vec![0.0; width * height];
            plane[50 * width + 50] = 1.0;
            let spread = smooth(&plane, width, height, sigma);
            let (mut sum, mut square) = (0.0, 0.0);
            for (index, value) in spread.iter().enumerate() {
                let x = (index % width) as f64 - 50.0;
                sum += f64::from(*value);
                square += f64::from(*value) * x * x;
            }
            assert!((sum - 1.0).abs() < 1e-5);
            // Whole box widths: the variance is met within half a step of one box in three.
            assert!(
                ((square / sum).sqrt() / sigma - 1.0).abs() < 0.09,
                "{sigma}: {}",
                (square / sum).sqrt()
            );
        }
    }
}
