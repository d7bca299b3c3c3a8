//! Cutting a turned and scaled square out of a picture.

use inkarnat_color::Rgb;
use rten_tensor::NdTensor;

/// A map of the plane without mirroring: `source = scale · rotation · crop + shift`, in pixels.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Placement {
    /// scale · cos(angle).
    pub(crate) a: f64,
    /// scale · sin(angle).
    pub(crate) b: f64,
    /// Shift across.
    pub(crate) x: f64,
    /// Shift down.
    pub(crate) y: f64,
}

impl Placement {
    /// The source position of a crop position.
    pub(crate) fn source(&self, [x, y]: [f64; 2]) -> [f64; 2] {
        [
            self.a * x - self.b * y + self.x,
            self.b * x + self.a * y + self.y,
        ]
    }

    /// The placement that carries `from` onto `to` with the least squares of distance.
    pub(crate) fn fit(from: &[[f64; 2]], to: &[[f64; 2]]) -> Option<Self> {
        let count = from.len() as f64;
        let mean = |points: &[[f64; 2]]| {
            let (x, y) = points
                .iter()
                .fold((0.0, 0.0), |(x, y), p| (x + p[0], y + p[1]));
            [x / count, y / count]
        };
        let (from_mean, to_mean) = (mean(from), mean(to));
        let (mut dot, mut cross, mut square) = (0.0, 0.0, 0.0);
        for (p, q) in from.iter().zip(to) {
            let (px, py) = (p[0] - from_mean[0], p[1] - from_mean[1]);
            let (qx, qy) = (q[0] - to_mean[0], q[1] - to_mean[1]);
            dot += px * qx + py * qy;
            cross += px * qy - py * qx;
            square += px * px + py * py;
        }
        (square > 0.0).then(|| {
            let (a, b) = (dot / square, cross / square);
            Self {
                a,
                b,
                x: to_mean[0] - (a * from_mean[0] - b * from_mean[1]),
                y: to_mean[1] - (b * from_mean[0] + a * from_mean[1]),
            }
        })
    }

    /// Crop pixels become this many source pixels.
    pub(crate) fn scale(&self) -> f64 {
        self.a.hypot(self.b)
    }
}

/// The signal at a position in pixel centres, bilinear, the edge repeated outside.
pub(crate) fn sample(picture: &Rgb, [x, y]: [f64; 2]) -> [f32; 3] {
    let (last_x, last_y) = (picture.width - 1, picture.height - 1);
    let (x, y) = (x.clamp(0.0, last_x as f64), y.clamp(0.0, last_y as f64));
    let (x0, y0) = (x as usize, y as usize);
    let (x1, y1) = ((x0 + 1).min(last_x), (y0 + 1).min(last_y));
    let (fx, fy) = ((x - x0 as f64) as f32, (y - y0 as f64) as f32);
    let width = picture.width;
    std::array::from_fn(|channel| {
        let plane = &picture.planes[channel];
        let top = plane[y0 * width + x0] * (1.0 - fx) + plane[y0 * width + x1] * fx;
        let bottom = plane[y1 * width + x0] * (1.0 - fx) + plane[y1 * width + x1] * fx;
        top * (1.0 - fy) + bottom * fy
    })
}

/// A square crop as a tensor (1, 3, side, side) in R, G, B order, values `scale`·signal, signal
/// clamped to 0–1. Averages over a small grid where the crop shrinks the source.
pub(crate) fn crop(
    picture: &Rgb,
    placement: Placement,
    side: usize,
    scale: f32,
) -> NdTensor<f32, 4> {
    // One sample a pixel leaves nothing out up to a scale of one and a half.
    let grid = ((placement.scale() - 0.5).ceil() as usize).clamp(1, 6);
    let mut data = vec![0.0; 3 * side * side];
    let weight = scale / (grid * grid) as f32;
    // All three signals of a pixel beside each other: one place in memory for each, and one instruction.
    let [r, g, b] = &picture.planes;
    let pixels: Vec<[f32; 4]> = r
        .iter()
        .zip(g)
        .zip(b)
        .map(|((r, g), b)| [r.clamp(0.0, 1.0), g.clamp(0.0, 1.0), b.clamp(0.0, 1.0), 0.0])
        .collect();
    let (width, last) = (picture.width, [picture.width - 1, picture.height - 1]);
    let at = |[x, y]: [f64; 2]| -> [f32; 4] {
        let (x, y) = (x.clamp(0.0, last[0] as f64), y.clamp(0.0, last[1] as f64));
        let (left, top) = (x as usize, y as usize);
        let (right, bottom) = ((left + 1).min(last[0]), (top + 1).min(last[1]));
        let (fx, fy) = ((x - left as f64) as f32, (y - top as f64) as f32);
        let (upper, lower) = (
            &pixels[top * width..][..width],
            &pixels[bottom * width..][..width],
        );
        let mut out = [0.0; 4];
        for (k, out) in out.iter_mut().enumerate() {
            let top = upper[left][k] + fx * (upper[right][k] - upper[left][k]);
            let bottom = lower[left][k] + fx * (lower[right][k] - lower[left][k]);
            *out = top + fy * (bottom - top);
        }
        out
    };
    let step = |k: usize, n: usize| k as f64 + (n as f64 + 0.5) / grid as f64 - 0.5;
    for row in 0..side {
        for column in 0..side {
            let mut sum = [0.0; 4];
            for j in 0..grid {
                for i in 0..grid {
                    let value = at(placement.source([step(column, i), step(row, j)]));
                    for (sum, value) in sum.iter_mut().zip(value) {
                        *sum += value;
                    }
                }
            }
            for (channel, sum) in sum.iter().take(3).enumerate() {
                data[channel * side * side + row * side + column] = sum * weight;
            }
        }
    }
    NdTensor::from_data([1, 3, side, side], data)
}

/// A picture made smaller (never larger) by averaging, and the factor source/result.
pub(crate) fn shrunk(picture: &Rgb, longest: usize) -> (Rgb, f64) {
    let side = picture.width.max(picture.height);
    if side <= longest {
        return (picture.clone(), 1.0);
    }
    let factor = side as f64 / longest as f64;
    let width = ((picture.width as f64 / factor).round() as usize).max(1);
    let height = ((picture.height as f64 / factor).round() as usize).max(1);
    let mut result = Rgb::new(width, height);
    let edges = |count: usize, source: usize| -> Vec<(usize, usize)> {
        (0..count)
            .map(|i| {
                let first = i * source / count;
                (first, ((i + 1) * source / count).max(first + 1))
            })
            .collect()
    };
    let (columns, rows) = (edges(width, picture.width), edges(height, picture.height));
    for (plane, source) in result.planes.iter_mut().zip(&picture.planes) {
        for (y, &(top, bottom)) in rows.iter().enumerate() {
            for (x, &(left, right)) in columns.iter().enumerate() {
                let mut sum = 0.0;
                for row in top..bottom {
                    sum += source[row * picture.width + left..row * picture.width + right]
                        .iter()
                        .sum::<f32>();
                }
                plane[y * width + x] = sum / ((bottom - top) * (right - left)) as f32;
            }
        }
    }
    (result, factor)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fit_recovers_a_placement() {
        let truth = Placement {
            a: 1.7,
            b: -0.4,
            x: 12.0,
            y: -3.0,
        };
        let from = [[0.0, 0.0], [10.0, 3.0], [-4.0, 8.0], [2.0, 2.0]];
        let found = Placement::fit(&from, &from.map(|p| truth.source(p))).unwrap();
        assert!((found.a - truth.a).abs() < 1e-12 && (found.b - truth.b).abs() < 1e-12);
        assert!((found.x - truth.x).abs() < 1e-9 && (found.y - truth.y).abs() < 1e-9);
        assert!(Placement::fit(&[[1.0, 1.0]; 3], &from[..3]).is_none());
    }

    #[test]
    fn shrinking_keeps_the_mean() {
        let mut picture = Rgb::new(8, 4);
        for (i, value) in picture.planes[0].iter_mut().enumerate() {
            *value = i as f32;
        }
        let (small, factor) = shrunk(&picture, 4);
        assert_eq!((small.width, small.height, factor), (4, 2, 2.0));
        assert_eq!(small.planes[0].iter().sum::<f32>() / 8.0, 15.5);
    }
}
