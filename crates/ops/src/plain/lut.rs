//! Tetrahedral interpolation of one colour.

use crate::data::lut::Lut3d;

impl Lut3d {
    /// The interpolated colour. Input outside the domain is clamped to it; NaN is taken as its minimum.
    ///
    /// The cell is cut into six tetrahedra along its neutral diagonal; the colour is the barycentric
    /// mean of the four corners of the one that it lies in.
    ///
    /// # Panics
    /// If the table is shorter than `size³` ([`Self::validate`] finds that).
    #[must_use]
    pub fn sample(&self, rgb: [f64; 3]) -> [f64; 3] {
        let last = self.size - 1;
        let strides = [1, self.size, self.size * self.size];
        let mut corner = 0;
        let mut axes: [(f64, usize); 3] = std::array::from_fn(|c| {
            let (min, max) = (self.domain_min[c], self.domain_max[c]);
            let place = ((rgb[c] - min) / (max - min) * last as f64)
                .max(0.0)
                .min(last as f64);
            let low = (place as usize).min(last.saturating_sub(1));
            corner += low * strides[c];
            (place - low as f64, strides[c])
        });
        // Along the edges in the order of the fractions, the largest first. Equal fractions may come
        // in any order: the corner between them has no weight.
        axes.sort_by(|a, b| b.0.total_cmp(&a.0));
        let value = |index: usize| self.table[index].map(f64::from);
        let mut out = value(corner).map(|v| v * (1.0 - axes[0].0));
        for step in 0..3 {
            corner += axes[step].1;
            let weight = axes[step].0 - axes.get(step + 1).map_or(0.0, |next| next.0);
            let at = value(corner);
            for c in 0..3 {
                out[c] += weight * at[c];
            }
        }
        out
    }
}
