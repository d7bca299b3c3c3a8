//! Which pixels are read: inside the patch, and not clipped. Chosen once, on the source.

use crate::patch::{Patch, Shape};
use crate::pose::Similarity;
use inkarnat_color::{Levels, Region, Rgb};
use serde::{Deserialize, Serialize};

/// The pixels of a picture whose centres lie inside a patch.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct PatchPixels {
    /// The smallest rectangle that holds them, inside the picture; empty where there are none.
    pub region: Region,
    /// Row-major indices in the region, rising.
    pub inside: Vec<u32>,
}

impl PatchPixels {
    /// Those that lie outside parts of the picture, such as a title over it.
    #[must_use]
    pub fn outside(&self, parts: &[Region]) -> Self {
        let r = self.region;
        let parts: Vec<&Region> = parts
            .iter()
            .filter(|p| {
                (p.x < r.x + r.width && r.x < p.x + p.width)
                    && (p.y < r.y + r.height && r.y < p.y + p.height)
            })
            .collect();
        if parts.is_empty() {
            return self.clone();
        }
        let free = |index: &u32| {
            let (x, y) = (
                r.x + *index as usize % r.width,
                r.y + *index as usize / r.width,
            );
            !parts
                .iter()
                .any(|p| (p.x..p.x + p.width).contains(&x) && (p.y..p.y + p.height).contains(&y))
        };
        Self {
            region: r,
            inside: self.inside.iter().copied().filter(free).collect(),
        }
    }
}

/// Pixels inside a patch, in a picture of a given size, at a given pose.
///
/// The part of the patch outside the picture is left out. A pose without an inverse or a picture
/// without pixels gives none.
#[must_use]
pub fn patch_pixels(patch: &Patch, pose: &Similarity, width: usize, height: usize) -> PatchPixels {
    let none = PatchPixels {
        region: Region::whole(0, 0),
        inside: Vec::new(),
    };
    let (Some(back), true) = (pose.inverse(), width > 0 && height > 0) else {
        return none;
    };
    let (w, h) = (width as f64, height as f64);
    let Some(region) = bounding_region(&patch.shape, pose, width, height) else {
        return none;
    };
    let mut inside = Vec::new();
    let mut index = 0u32;
    for y in region.y..region.y + region.height {
        for x in region.x..region.x + region.width {
            let [u, v] = back.apply([(x as f64 + 0.5) / w, (y as f64 + 0.5) / w]);
            if patch.shape.contains([u, v * w / h]) {
                inside.push(index);
            }
            index += 1;
        }
    }
    PatchPixels { region, inside }
}

/// The whole pixels that the outline touches, clipped to the picture.
fn bounding_region(
    shape: &Shape,
    pose: &Similarity,
    width: usize,
    height: usize,
) -> Option<Region> {
    let (w, h) = (width as f64, height as f64);
    let aspect = h / w;
    let (mut low, mut high) = ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]);
    let mut take = |[x, y]: [f64; 2]| {
        low = [low[0].min(x), low[1].min(y)];
        high = [high[0].max(x), high[1].max(y)];
    };
    match shape {
        Shape::Ellipse { centre, radii } => {
            let [x, y] = pose.apply([centre[0], centre[1] * aspect]);
            let (rx, ry) = (radii[0], radii[1] * aspect);
            let half = [
                (pose.a * rx).hypot(pose.b * ry),
                (pose.b * rx).hypot(pose.a * ry),
            ];
            take([x - half[0], y - half[1]]);
            take([x + half[0], y + half[1]]);
        }
        Shape::Polygon(corners) => {
            for corner in corners {
                take(pose.apply([corner[0], corner[1] * aspect]));
            }
        }
    }
    let first = |v: f64, limit: f64| (v * w).floor().clamp(0.0, limit) as usize;
    let last = |v: f64, limit: f64| (v * w).ceil().clamp(0.0, limit) as usize;
    let (x, y) = (first(low[0], w), first(low[1], h));
    let (right, bottom) = (last(high[0], w), last(high[1], h));
    (right > x && bottom > y).then(|| Region {
        x,
        y,
        width: right - x,
        height: bottom - y,
    })
}

/// When a pixel counts as clipped: its largest channel at or above `ceiling`, or at or below
/// `floor` (no light in any channel).
///
/// A single channel at black does not count: blue of warm skin in low light lies there honestly.
/// *Unit*: working signal.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct ClipRule {
    /// Largest channel from here on is clipped.
    pub ceiling: f32,
    /// Largest channel down to here is crushed.
    pub floor: f32,
}

impl Default for ClipRule {
    /// White and black of the signal: what stops at white, as most recordings do.
    fn default() -> Self {
        Self {
            // One 8-bit code below white: coding noise moves a clipped channel by about that.
            ceiling: 1.0 - 1.0 / 219.0,
            floor: 1.0 / 219.0,
        }
    }
}

impl ClipRule {
    /// The share of a shot's pixels that has to lie above [`Self::BEYOND`] for its source to count
    /// as one that records above white.
    pub const BEYOND_SHARE: f64 = 1e-4;
    /// The signal above which a pixel cannot be a clipped white moved by resampling and coding.
    pub const BEYOND: f32 = 1.03;

    /// The rule for a source by its code range and depth and by the share of pixels over the shot
    /// whose largest channel exceeds [`Self::BEYOND`].
    ///
    /// A source that uses the room above white is clipped only at its highest video code; one that
    /// does not is taken to stop at white.
    #[must_use]
    pub fn of_source(levels: Levels, depth: u8, beyond_share: f64) -> Self {
        Self::with_top(Self::top_of(levels, depth), beyond_share)
    }

    /// The signal of the highest video code of a code range and depth.
    #[must_use]
    pub fn top_of(levels: Levels, depth: u8) -> f64 {
        let depth = depth.clamp(8, 16);
        let (zero, unit) = levels.luma_scale(depth);
        (f64::from(levels.code_limits(depth).1) - zero) / unit
    }

    /// The rule for a source whose signal ends at `top`, as [`Self::of_source`].
    #[must_use]
    pub fn with_top(top: f64, beyond_share: f64) -> Self {
        let default = Self::default();
        if beyond_share >= Self::BEYOND_SHARE && top > f64::from(Self::BEYOND) {
            Self {
                ceiling: (top - 1.0 / 219.0) as f32,
                ..default
            }
        } else {
            default
        }
    }

    /// Whether a pixel is clipped; one that is not a finite number is.
    #[must_use]
    pub fn is_clipped(&self, [r, g, b]: [f32; 3]) -> bool {
        let top = r.max(g).max(b);
        !(r + g + b).is_finite() || top >= self.ceiling || top <= self.floor
    }
}

/// The pixels that are read. The same ones serve `before`, `after` and `proof`.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Chosen {
    /// The rectangle of the picture that has to be given to [`crate::read_frame`].
    pub region: Region,
    /// Row-major indices in the region, rising.
    pub pixels: Vec<u32>,
    /// Pixels inside the patch that were left out because they are clipped.
    pub clipped: u32,
}

impl Chosen {
    /// The share of the patch that is clipped, 0–1; 0 where the patch has no pixels.
    #[must_use]
    pub fn clipped_share(&self) -> f64 {
        let all = self.pixels.len() + self.clipped as usize;
        f64::from(self.clipped) / all.max(1) as f64
    }
}

/// Chooses the unclipped pixels of a patch from the source picture of its region.
///
/// Where `picture` is not of the region's size nothing is chosen: the whole patch counts as clipped.
#[must_use]
pub fn choose(picture: &Rgb, patch: &PatchPixels, rule: ClipRule) -> Chosen {
    let fits = picture.width == patch.region.width && picture.height == patch.region.height;
    let pixels: Vec<u32> = patch
        .inside
        .iter()
        .copied()
        .filter(|&index| fits && !rule.is_clipped(picture.pixel(index as usize)))
        .collect();
    Chosen {
        region: patch.region,
        clipped: (patch.inside.len() - pixels.len()) as u32,
        pixels,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn patch(text: &str) -> Patch {
        Patch::parse(text, 0, None).unwrap()
    }

    /// Five pixel centres lie within 1.2 pixels of the middle of the centre pixel, by hand.
    #[test]
    fn counts_pixel_centres() {
        // 9 x 9 picture: the centre of pixel (4, 4) is the middle of the picture.
        let pixels = patch_pixels(
            &patch(&format!("ellipse=0.5,0.5,{},{}", 1.2 / 9.0, 1.2 / 9.0)),
            &Similarity::IDENTITY,
            9,
            9,
        );
        assert_eq!(
            pixels.region,
            Region {
                x: 3,
                y: 3,
                width: 3,
                height: 3
            }
        );
        assert_eq!(pixels.inside, [1, 3, 4, 5, 7]);
    }

    #[test]
    fn follows_the_pose_and_stays_in_the_picture() {
        let patch = patch("polygon=0.1,0.1;0.2,0.1;0.2,0.2;0.1,0.2");
        let moved = Similarity {
            tx: 0.25,
            ..Similarity::IDENTITY
        };
        let pixels = patch_pixels(&patch, &moved, 100, 50);
        assert_eq!(
            pixels.region,
            Region {
                x: 35,
                y: 5,
                width: 10,
                height: 5
            }
        );
        assert_eq!(pixels.inside.len(), 50);
        let gone = Similarity {
            tx: 5.0,
            ..Similarity::IDENTITY
        };
        assert!(patch_pixels(&patch, &gone, 100, 50).inside.is_empty());
        assert!(patch_pixels(&patch, &moved, 0, 50).inside.is_empty());
        let broken = Similarity {
            a: f64::NAN,
            ..moved
        };
        assert!(patch_pixels(&patch, &broken, 100, 50).inside.is_empty());
    }

    #[test]
    fn clipped_pixels_are_left_out_and_counted() {
        let patch = patch_pixels(
            &patch("polygon=0,0;1,0;1,1;0,1"),
            &Similarity::IDENTITY,
            4,
            1,
        );
        let mut picture = Rgb::new(4, 1);
        picture.set_pixel(0, [0.9, 0.6, 0.5]);
        picture.set_pixel(1, [1.0, 0.8, 0.7]);
        picture.set_pixel(2, [0.002, -0.03, 0.0]);
        picture.set_pixel(3, [0.5, f32::NAN, 0.5]);
        let chosen = choose(&picture, &patch, ClipRule::default());
        assert_eq!(chosen.pixels, [0]);
        assert_eq!(chosen.clipped_share(), 0.75);
        let above = ClipRule::of_source(Levels::Narrow, 8, 0.01);
        assert_eq!(choose(&picture, &patch, above).pixels, [0, 1]);
        assert_eq!(
            ClipRule::of_source(Levels::Full, 8, 0.01),
            ClipRule::default()
        );
        assert_eq!(
            ClipRule::of_source(Levels::Narrow, 10, 0.0),
            ClipRule::default()
        );
        let other = Rgb::new(3, 1);
        assert_eq!(choose(&other, &patch, above).clipped_share(), 1.0);
    }

    proptest! {
        /// The number of pixels agrees with the exact area at any pose that keeps the patch inside.
        #[test]
        fn pixel_count_agrees_with_area(scale in 0.5f64..2.0, turn in -3.0f64..3.0) {
            let patch = patch("ellipse=0.5,0.5,0.08,0.12");
            let (w, h) = (640, 360);
            let (a, b) = (scale * turn.cos(), scale * turn.sin());
            let middle = [0.5, 0.5 * 360.0 / 640.0];
            let pose = Similarity {
                a, b,
                tx: middle[0] - (a * middle[0] - b * middle[1]),
                ty: middle[1] - (b * middle[0] + a * middle[1]),
            };
            let found = patch_pixels(&patch, &pose, w, h).inside.len() as f64;
            let area = patch.shape.area() * scale * scale * (w * h) as f64;
            // The outline is about 2π·47·scale pixels long; its half-counted pixels cancel.
            prop_assert!((found / area - 1.0).abs() < 0.01);
        }
    }
}
