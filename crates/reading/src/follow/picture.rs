//! The working picture of the follower: luma in 8-bit codes, made smaller where it is large.

use optical_flow_lk::FloatPyramidLevel;

/// Luma of a frame as the follower works on it.
#[derive(Clone, Debug)]
pub(super) struct Reduced {
    pub(super) luma: Vec<f32>,
    pub(super) width: usize,
    pub(super) height: usize,
}

/// Averages squares of `factor` pixels and scales signal 0–1 to 0–255; what is not a finite number
/// becomes 0 and excursions are cut at −64 and 320, far outside video.
pub(super) fn reduce(luma: &[f32], width: usize, height: usize, factor: usize) -> Reduced {
    let code = |v: f32| {
        if v.is_finite() {
            (v * 255.0).clamp(-64.0, 320.0)
        } else {
            0.0
        }
    };
    if factor <= 1 {
        return Reduced {
            luma: luma.iter().copied().map(code).collect(),
            width,
            height,
        };
    }
    let (w, h) = (width / factor, height / factor);
    let mut reduced = vec![0.0f32; w * h];
    let scale = 1.0 / (factor * factor) as f32;
    for (row, out) in reduced.chunks_exact_mut(w.max(1)).enumerate() {
        for line in 0..factor {
            let start = (row * factor + line) * width;
            let line = &luma[start..start + w * factor];
            for (out, pixels) in out.iter_mut().zip(line.chunks_exact(factor)) {
                *out += pixels.iter().copied().map(code).sum::<f32>() * scale;
            }
        }
    }
    Reduced {
        luma: reduced,
        width: w,
        height: h,
    }
}

/// A picture and its halvings, as the tracker has built them.
#[derive(Clone, Copy)]
pub(super) struct Pyramid<'a> {
    levels: &'a [FloatPyramidLevel],
}

impl<'a> Pyramid<'a> {
    pub(super) fn new(levels: &'a [FloatPyramidLevel]) -> Self {
        Self { levels }
    }

    /// The level whose pixels are no larger than samples `spacing` pixels apart want.
    pub(super) fn level(&self, spacing: f64) -> usize {
        let wanted = spacing.max(1.0).log2().floor() as usize;
        wanted.min(self.levels.len().saturating_sub(1))
    }

    /// Width and height in pixels.
    pub(super) fn size(&self) -> [f64; 2] {
        self.levels.first().map_or([0.0; 2], |level| {
            [f64::from(level.width()), f64::from(level.height())]
        })
    }

    /// The value at a point (pixels of the full picture, corner at 0), linear between pixel centres,
    /// the edge carried on outside.
    pub(super) fn sample(&self, level: usize, x: f64, y: f64) -> f64 {
        let picture = &self.levels[level];
        let (width, height) = (picture.width() as usize, picture.height() as usize);
        let shrink = 1.0 / (1u32 << level) as f32;
        let at = |v: f64, length: usize| {
            let v = (v as f32 * shrink - 0.5).clamp(0.0, (length - 1) as f32);
            let low = (v as usize).min(length.saturating_sub(2));
            (low, (low + 1).min(length - 1), v - low as f32)
        };
        let (x0, x1, u) = at(x, width);
        let (y0, y1, v) = at(y, height);
        let raw = picture.as_raw();
        let (upper, lower) = (&raw[y0 * width..], &raw[y1 * width..]);
        let top = upper[x0] + u * (upper[x1] - upper[x0]);
        let bottom = lower[x0] + u * (lower[x1] - lower[x0]);
        f64::from(top + v * (bottom - top))
    }
}
