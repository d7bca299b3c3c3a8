//! Pictures that faces are looked for in, whole or as decoded planes.

use crate::warp::shrunk;
use inkarnat_color::picture::{Native, RowScratch};
use inkarnat_color::{Region, Rgb};

/// A frame that gives its parts as working signal: only what is looked at is converted.
pub trait Frame {
    /// Columns and rows.
    fn size(&self) -> [usize; 2];
    /// A rectangle inside the picture.
    fn region(&self, region: Region) -> Rgb;
    /// The whole picture shrunk so that its longer side is at most `longest`, and source over result.
    fn small(&self, longest: usize) -> (Rgb, f64);
}

impl Frame for Rgb {
    fn size(&self) -> [usize; 2] {
        [self.width, self.height]
    }

    fn region(&self, region: Region) -> Rgb {
        let region = region.clipped(self.width, self.height);
        let mut result = Rgb::new(region.width, region.height);
        if region.area() == 0 {
            return result;
        }
        for (target, source) in result.planes.iter_mut().zip(&self.planes) {
            for (y, row) in target.chunks_exact_mut(region.width).enumerate() {
                row.copy_from_slice(
                    &source[(region.y + y) * self.width + region.x..][..region.width],
                );
            }
        }
        result
    }

    fn small(&self, longest: usize) -> (Rgb, f64) {
        shrunk(self, longest)
    }
}

impl Frame for Native<'_> {
    fn size(&self) -> [usize; 2] {
        [self.width, self.height]
    }

    fn region(&self, region: Region) -> Rgb {
        self.rgb_region(region.clipped(self.width, self.height))
    }

    /// Columns are averaged; of the rows that fall into one, the middle one is taken: faces are as
    /// well found, at a third of the cost.
    fn small(&self, longest: usize) -> (Rgb, f64) {
        let (width, height) = (self.width, self.height);
        let side = width.max(height);
        if side <= longest {
            return (self.rgb_region(Region::whole(width, height)), 1.0);
        }
        let factor = side as f64 / longest as f64;
        let columns = ((width as f64 / factor).round() as usize).max(1);
        let rows = ((height as f64 / factor).round() as usize).max(1);
        let mut result = Rgb::new(columns, rows);
        let mut scratch = RowScratch::default();
        let mut row = Rgb::new(width, 1);
        for y in 0..rows {
            let middle = ((2 * y + 1) * height / (2 * rows)).min(height - 1);
            let [r, g, b] = &mut row.planes;
            self.rgb_row(
                Region::whole(width, height),
                middle,
                &mut scratch,
                [r, g, b],
            );
            for (target, source) in result.planes.iter_mut().zip(&row.planes) {
                for (x, value) in target[y * columns..][..columns].iter_mut().enumerate() {
                    let first = x * width / columns;
                    let end = ((x + 1) * width / columns).max(first + 1);
                    *value = source[first..end].iter().sum::<f32>() / (end - first) as f32;
                }
            }
        }
        (result, factor)
    }
}

/// The part of a frame inside left, top, right, bottom (pixels), shrunk by a whole number where it
/// is looked at smaller than it is: the picture, its corner and the number.
pub(crate) struct Cut {
    pub(crate) picture: Rgb,
    corner: [usize; 2],
    factor: usize,
}

impl Cut {
    pub(crate) fn new(frame: &dyn Frame, bounds: [f64; 4], factor: f64) -> Option<Self> {
        let [width, height] = frame.size();
        let hold = |v: f64, limit: usize| v.clamp(0.0, limit as f64) as usize;
        let [left, top, right, bottom] = bounds;
        if bounds.iter().any(|v| !v.is_finite()) {
            return None;
        }
        let (x, y) = (hold(left.floor(), width), hold(top.floor(), height));
        let (right, bottom) = (
            hold(right.ceil() + 1.0, width),
            hold(bottom.ceil() + 1.0, height),
        );
        if right < x + 2 || bottom < y + 2 {
            return None;
        }
        let picture = frame.region(Region {
            x,
            y,
            width: right - x,
            height: bottom - y,
        });
        let factor = (factor.floor().max(1.0) as usize).min(picture.width.min(picture.height));
        Some(Self {
            picture: if factor == 1 {
                picture
            } else {
                shrunk_by(&picture, factor)
            },
            corner: [x, y],
            factor,
        })
    }

    /// A position of the frame in the cut.
    pub(crate) fn inside(&self, at: [f64; 2]) -> [f64; 2] {
        [0, 1].map(|axis| (at[axis] - self.corner[axis] as f64 + 0.5) / self.factor as f64 - 0.5)
    }

    /// A position of the cut in the frame.
    pub(crate) fn outside(&self, at: [f64; 2]) -> [f64; 2] {
        [0, 1].map(|axis| (at[axis] + 0.5) * self.factor as f64 - 0.5 + self.corner[axis] as f64)
    }

    /// Pixels of the frame in one of the cut.
    pub(crate) fn factor(&self) -> f64 {
        self.factor as f64
    }
}

/// Averages squares of `factor` pixels; what is left over at the right and below is dropped.
pub(crate) fn shrunk_by(picture: &Rgb, factor: usize) -> Rgb {
    let (width, height) = (picture.width / factor, picture.height / factor);
    let mut result = Rgb::new(width, height);
    let norm = 1.0 / (factor * factor) as f32;
    for (target, source) in result.planes.iter_mut().zip(&picture.planes) {
        for (y, row) in target.chunks_exact_mut(width).enumerate() {
            for line in 0..factor {
                let source = &source[(y * factor + line) * picture.width..][..width * factor];
                for (value, group) in row.iter_mut().zip(source.chunks_exact(factor)) {
                    *value += group.iter().sum::<f32>();
                }
            }
            for value in row {
                *value *= norm;
            }
        }
    }
    result
}
