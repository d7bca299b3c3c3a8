//! Tetrahedral interpolation on rows.

use crate::data::lut::Lut3d;

/// A table laid out for speed.
#[derive(Clone, Debug)]
pub struct FastLut {
    size: usize,
    min: [f32; 3],
    scale: [f32; 3],
    /// Four lanes a colour, the last unused: one load each.
    table: Vec<[f32; 4]>,
}

impl FastLut {
    /// # Panics
    /// If the table does not hold `size³` values ([`Lut3d::validate`] finds that).
    #[must_use]
    pub fn new(lut: &Lut3d) -> Self {
        assert!(lut.size >= 2 && lut.table.len() == lut.size.pow(3));
        let last = (lut.size - 1) as f64;
        Self {
            size: lut.size,
            min: lut.domain_min.map(|v| v as f32),
            scale: std::array::from_fn(|c| (last / (lut.domain_max[c] - lut.domain_min[c])) as f32),
            table: lut.table.iter().map(|v| [v[0], v[1], v[2], 0.0]).collect(),
        }
    }

    /// Interpolates R', G' and B' in place: the shortest of the three says how many pixels.
    pub fn apply(&self, [r, g, b]: [&mut [f32]; 3]) {
        let last = (self.size - 1) as f32;
        let strides = [1, self.size, self.size * self.size];
        for ((r, g), b) in r.iter_mut().zip(g).zip(b) {
            let mut corner = 0;
            let rgb = [*r, *g, *b];
            let mut axes: [(f32, usize); 3] = std::array::from_fn(|c| {
                let place = ((rgb[c] - self.min[c]) * self.scale[c]).max(0.0).min(last);
                let low = (place as usize).min(self.size - 2);
                corner += low * strides[c];
                (place - low as f32, strides[c])
            });
            axes.sort_by(|a, b| b.0.total_cmp(&a.0));
            let mut out = self.table[corner].map(|v| v * (1.0 - axes[0].0));
            for step in 0..3 {
                corner += axes[step].1;
                let weight = axes[step].0 - axes.get(step + 1).map_or(0.0, |next| next.0);
                let at = self.table[corner];
                for c in 0..4 {
                    out[c] = at[c].mul_add(weight, out[c]);
                }
            }
            (*r, *g, *b) = (out[0], out[1], out[2]);
        }
    }
}
