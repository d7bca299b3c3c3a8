//! Pictures that faces are looked for in, whole or as decoded planes.

use crate::warp::shrunk;
use inkarnat_color::picture::Native;
use inkarnat_color::{Region, Rgb};

/// A frame that gives its parts as working signal: only what is looked at is converted.
pub trait Frame {
    /// Columns and rows.
    fn size(&self) -> [usize; 2];
    /// A rectangle inside the picture.
    fn region(&self, region: Region) -> Rgb;
    /// A rectangle inside the picture shrunk so that its longer side is at most `longest`, and source over result.
    fn small(&self, region: Region, longest: usize) -> (Rgb, f64);
    /// A rectangle inside the picture with squares of `factor` pixels averaged; what is left over at the right and below is
    /// dropped.
    fn shrunk(&self, region: Region, factor: usize) -> Rgb;
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

    fn small(&self, region: Region, longest: usize) -> (Rgb, f64) {
        if region == Region::whole(self.width, self.height) {
            return shrunk(self, longest);
        }
        shrunk(&self.region(region), longest)
    }

    fn shrunk(&self, region: Region, factor: usize) -> Rgb {
        shrunk_by(&self.region(region), factor)
    }
}

impl Frame for Native<'_> {
    fn size(&self) -> [usize; 2] {
        [self.width, self.height]
    }

    fn region(&self, region: Region) -> Rgb {
        self.rgb_region(region.clipped(self.width, self.height))
    }

    fn small(&self, region: Region, longest: usize) -> (Rgb, f64) {
        let region = region.clipped(self.width, self.height);
        let side = region.width.max(region.height);
        if side <= longest {
            return (self.rgb_region(region), 1.0);
        }
        let factor = side as f64 / longest as f64;
        let [columns, rows] =
            [region.width, region.height].map(|v| ((v as f64 / factor).round() as usize).max(1));
        (self.made_small(region, columns, rows), factor)
    }

    fn shrunk(&self, region: Region, factor: usize) -> Rgb {
        let region = region.clipped(self.width, self.height);
        let (columns, rows) = (region.width / factor, region.height / factor);
        let even = Region {
            width: columns * factor,
            height: rows * factor,
            ..region
        };
        self.made_small(even, columns, rows)
    }
}

/// The part of a frame inside left, top, right, bottom (pixels), shrunk by a whole number where it
/// is looked at smaller than it is: the picture, its corner and the number.
pub(crate) struct Cut {
    pub(crate) picture: Rgb,
    region: Region,
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
        let region = Region {
            x,
            y,
            width: right - x,
            height: bottom - y,
        };
        let factor = (factor.floor().max(1.0) as usize).min(region.width.min(region.height));
        Some(Self::of(frame, region, factor))
    }

    /// The same part of another frame as it was cut from one.
    pub(crate) fn again(&self, frame: &dyn Frame) -> Self {
        Self::of(frame, self.region, self.factor)
    }

    fn of(frame: &dyn Frame, region: Region, factor: usize) -> Self {
        Self {
            picture: if factor == 1 {
                frame.region(region)
            } else {
                frame.shrunk(region, factor)
            },
            region,
            factor,
        }
    }

    /// A position of the frame in the cut.
    pub(crate) fn inside(&self, at: [f64; 2]) -> [f64; 2] {
        [0, 1].map(|axis| (at[axis] - self.corner(axis) + 0.5) / self.factor as f64 - 0.5)
    }

    /// A position of the cut in the frame.
    pub(crate) fn outside(&self, at: [f64; 2]) -> [f64; 2] {
        [0, 1].map(|axis| (at[axis] + 0.5) * self.factor as f64 - 0.5 + self.corner(axis))
    }

    fn corner(&self, axis: usize) -> f64 {
        [self.region.x, self.region.y][axis] as f64
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
