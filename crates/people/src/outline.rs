//! The part of a mesh that reading needs, small enough to keep for every frame.

use crate::mesh::Mesh;
use inkarnat_color::Region;
use inkarnat_reading::PatchPixels;
use serde::{Deserialize, Serialize};

/// A side of the face, the person's own.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Side {
    /// The person's right: left in the picture of an upright face.
    Right,
    /// The person's left.
    Left,
}

impl Side {
    /// Both, right first.
    pub const BOTH: [Self; 2] = [Self::Right, Self::Left];

    /// The other one.
    #[must_use]
    pub const fn other(self) -> Self {
        match self {
            Self::Right => Self::Left,
            Self::Left => Self::Right,
        }
    }
}

/// A fixed region of the face.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Part {
    /// Its lower half: from a little above the brows about half way to the usual hairline.
    Forehead,
    /// From below the eye bag to the level of the nostrils, in front of the fold beside the nose.
    Cheek(Side),
    /// Between the ridge of the nose and its foot.
    Flank(Side),
}

impl Part {
    /// Every part.
    pub const ALL: [Self; 5] = [
        Self::Forehead,
        Self::Cheek(Side::Right),
        Self::Cheek(Side::Left),
        Self::Flank(Side::Right),
        Self::Flank(Side::Left),
    ];

    /// The parts that are read on a side.
    #[must_use]
    pub const fn read(side: Side) -> [Self; 3] {
        [Self::Forehead, Self::Cheek(side), Self::Flank(side)]
    }

    /// Area over the square of the face's width on a face seen from the front; measured on
    /// faces turned by less than 3° (forehead 0.100–0.104, cheek 0.038–0.041, flank 0.010–0.011).
    pub(crate) const fn usual_area(self) -> f64 {
        match self {
            Self::Forehead => 0.102,
            Self::Cheek(_) => 0.0392,
            Self::Flank(_) => 0.0104,
        }
    }

    /// By how much its corners are moved away from their middle.
    const fn growth(self) -> f64 {
        match self {
            Self::Forehead => 1.0,
            Self::Cheek(_) => 1.35,
            Self::Flank(_) => 1.4,
        }
    }

    /// Corners as (point, point, share of the way from the first to the second).
    const fn corners(self) -> &'static [(u16, u16, f64)] {
        match self {
            Self::Forehead => &FOREHEAD,
            Self::Cheek(Side::Right) => &RIGHT_CHEEK,
            Self::Cheek(Side::Left) => &LEFT_CHEEK,
            Self::Flank(Side::Right) => &RIGHT_FLANK,
            Self::Flank(Side::Left) => &LEFT_FLANK,
        }
    }
}

// All corners run clockwise as seen in the picture of an upright face.
const FOREHEAD: [(u16, u16, f64); 14] = [
    (104, 103, 0.55),
    (69, 67, 0.95),
    (108, 109, 0.95),
    (151, 10, 0.95),
    (337, 338, 0.95),
    (299, 297, 0.95),
    (333, 332, 0.55),
    (334, 333, 0.5),
    (296, 299, 0.35),
    (336, 337, 0.3),
    (9, 151, 0.3),
    (107, 108, 0.3),
    (66, 69, 0.35),
    (105, 104, 0.5),
];
const RIGHT_CHEEK: [(u16, u16, f64); 9] = [
    (117, 50, 0.4),
    (118, 50, 0.3),
    (119, 101, 0.55),
    (100, 36, 0.3),
    (142, 36, 0.6),
    (203, 205, 0.5),
    (205, 206, 0.1),
    (205, 187, 0.4),
    (50, 123, 0.3),
];
const LEFT_CHEEK: [(u16, u16, f64); 9] = [
    (280, 352, 0.3),
    (425, 411, 0.4),
    (425, 426, 0.1),
    (423, 425, 0.5),
    (371, 266, 0.6),
    (329, 266, 0.3),
    (348, 330, 0.55),
    (347, 280, 0.3),
    (346, 280, 0.4),
];
const RIGHT_FLANK: [(u16, u16, f64); 7] = [
    (174, 114, 0.4),
    (196, 196, 0.0),
    (3, 3, 0.0),
    (51, 51, 0.0),
    (134, 134, 0.0),
    (198, 198, 0.0),
    (217, 217, 0.0),
];
const LEFT_FLANK: [(u16, u16, f64); 7] = [
    (437, 437, 0.0),
    (420, 420, 0.0),
    (363, 363, 0.0),
    (281, 281, 0.0),
    (248, 248, 0.0),
    (419, 419, 0.0),
    (399, 343, 0.4),
];

/// What is never read, as hulls of points grown about their middle.
const LEFT_OUT: [(&[u16], f64); 5] = [
    (
        &[
            61, 146, 91, 181, 84, 17, 314, 405, 321, 375, 291, 409, 270, 269, 267, 0, 37, 39, 40,
            185,
        ],
        1.25,
    ),
    (
        &[
            33, 7, 163, 144, 145, 153, 154, 155, 133, 173, 157, 158, 159, 160, 161, 246,
        ],
        1.55,
    ),
    (
        &[
            263, 249, 390, 373, 374, 380, 381, 382, 362, 398, 384, 385, 386, 387, 388, 466,
        ],
        1.55,
    ),
    (&[70, 63, 105, 66, 107, 55, 65, 52, 53, 46], 1.3),
    (&[300, 293, 334, 296, 336, 285, 295, 282, 283, 276], 1.3),
];

/// The edge of the face, clockwise from the top.
const OVAL: [u16; 36] = [
    10, 338, 297, 332, 284, 251, 389, 356, 454, 323, 361, 288, 397, 365, 379, 378, 400, 377, 152,
    148, 176, 149, 150, 136, 172, 58, 132, 93, 234, 127, 162, 21, 54, 103, 67, 109,
];

/// The points that are kept, rising.
fn kept() -> &'static [u16] {
    static KEPT: std::sync::OnceLock<Vec<u16>> = std::sync::OnceLock::new();
    KEPT.get_or_init(|| {
        let mut all: Vec<u16> = OVAL.to_vec();
        for part in Part::ALL {
            all.extend(part.corners().iter().flat_map(|(a, b, _)| [*a, *b]));
        }
        all.extend(LEFT_OUT.iter().flat_map(|(points, _)| points.iter()));
        all.sort_unstable();
        all.dedup();
        all
    })
}

/// A face in one frame, in pixels of the picture; positions are those of pixel centres: (0, 0) is
/// the middle of the first pixel.
///
/// Kept to 1/16 pixel: 0.02 % of the width of a face of 300 pixels.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Outline {
    /// Width of the face, cheek to cheek and in depth, pixels.
    pub width: f64,
    /// How far the head is turned, degrees, positive to the person's left; good to about 10°.
    pub yaw_deg: f64,
    /// How much the mesh model believes in a face here, 0–1.
    pub score: f64,
    /// Parts that something lies over: not read.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    covered: Vec<Part>,
    /// x and y of the kept points, in sixteenths of a pixel.
    points: Vec<[i32; 2]>,
}

impl From<&Mesh> for Outline {
    fn from(mesh: &Mesh) -> Self {
        Self {
            width: mesh.width(),
            yaw_deg: mesh.yaw_deg(),
            score: mesh.score,
            covered: Vec::new(),
            points: kept()
                .iter()
                .map(|&index| {
                    mesh.at(usize::from(index))
                        .map(|v| (v * 16.0).round() as i32)
                })
                .collect(),
        }
    }
}

impl Outline {
    /// Whether the points are those of this version; others cannot be read.
    #[must_use]
    pub fn is_whole(&self) -> bool {
        self.points.len() == kept().len() && self.width.is_finite() && self.width > 0.0
    }

    /// The kept points.
    pub(crate) fn points(&self) -> impl Iterator<Item = [f64; 2]> {
        self.points.iter().map(|p| p.map(|v| f64::from(v) / 16.0))
    }

    fn at(&self, index: u16) -> [f64; 2] {
        let place = kept().binary_search(&index).unwrap_or(0);
        self.points
            .get(place)
            .map_or([f64::NAN; 2], |p| p.map(|v| f64::from(v) / 16.0))
    }

    /// The edge of the face, clockwise.
    #[must_use]
    pub fn oval(&self) -> Vec<[f64; 2]> {
        OVAL.iter().map(|&index| self.at(index)).collect()
    }

    /// Whether a position (pixels of the picture) lies inside the edge of the face.
    #[must_use]
    pub fn holds(&self, [x, y]: [f64; 2]) -> bool {
        let oval = self.oval();
        let crossings = oval
            .iter()
            .zip(oval.iter().cycle().skip(1))
            .filter(|(a, b)| {
                (a[1] <= y) != (b[1] <= y) && a[0] + (y - a[1]) / (b[1] - a[1]) * (b[0] - a[0]) > x
            });
        crossings.count() % 2 == 1
    }

    /// The pixels inside the edge of the face, in a picture of a given size.
    #[must_use]
    pub fn pixels(&self, width: usize, height: usize) -> PatchPixels {
        let [left, top, right, bottom] = self.bounds();
        let low = |v: f64, limit: usize| v.floor().clamp(0.0, limit as f64) as usize;
        let high = |v: f64, limit: usize| v.ceil().clamp(0.0, limit as f64) as usize;
        let (x, y) = (low(left, width), low(top, height));
        let region = Region {
            x,
            y,
            width: high(right + 1.0, width).saturating_sub(x),
            height: high(bottom + 1.0, height).saturating_sub(y),
        };
        let mut inside = Vec::new();
        fill(&self.oval(), [x, y], [region.width, region.height], |i| {
            inside.push(i as u32);
        });
        // Where the edge turns back on itself (a head turned away) a pixel may be met twice.
        inside.dedup();
        PatchPixels { region, inside }
    }

    /// A part's corners, clockwise on a face seen from the front.
    #[must_use]
    pub fn part(&self, part: Part) -> Vec<[f64; 2]> {
        let mut corners: Vec<[f64; 2]> = part
            .corners()
            .iter()
            .map(|&(a, b, share)| {
                let (a, b) = (self.at(a), self.at(b));
                [a[0] + (b[0] - a[0]) * share, a[1] + (b[1] - a[1]) * share]
            })
            .collect();
        let count = corners.len() as f64;
        let middle = [0, 1].map(|k| corners.iter().map(|p| p[k]).sum::<f64>() / count);
        for corner in &mut corners {
            for k in 0..2 {
                corner[k] = middle[k] + (corner[k] - middle[k]) * part.growth();
            }
        }
        corners
    }

    /// The same with parts that something lies over.
    pub(crate) fn with_covered(mut self, covered: Vec<Part>) -> Self {
        self.covered = covered;
        self
    }

    /// Parts that something lies over; they are not read.
    #[must_use]
    pub fn covered(&self) -> &[Part] {
        &self.covered
    }

    /// How much of a part faces the camera: its area over that on a face seen from the front; 0 or
    /// less where it is turned away, 0 where something lies over it.
    #[must_use]
    pub fn facing(&self, part: Part) -> f64 {
        if self.covered.contains(&part) {
            return 0.0;
        }
        area(&self.part(part)) / (part.usual_area() * self.width * self.width)
    }

    /// Eyes, brows and lips, grown to be safe: never read.
    #[must_use]
    pub fn left_out(&self) -> Vec<Vec<[f64; 2]>> {
        LEFT_OUT
            .iter()
            .map(|(points, growth)| {
                let mut hull = hull(points.iter().map(|&index| self.at(index)).collect());
                let count = hull.len().max(1) as f64;
                let middle = [0, 1].map(|axis| hull.iter().map(|p| p[axis]).sum::<f64>() / count);
                for point in &mut hull {
                    for axis in 0..2 {
                        point[axis] = middle[axis] + (point[axis] - middle[axis]) * growth;
                    }
                }
                hull
            })
            .collect()
    }

    /// The middle of an eye.
    pub(crate) fn eye(&self, side: Side) -> [f64; 2] {
        let corners = match side {
            Side::Right => [33, 133],
            Side::Left => [362, 263],
        };
        let [a, b] = corners.map(|index| self.at(index));
        [(a[0] + b[0]) / 2.0, (a[1] + b[1]) / 2.0]
    }

    /// Left, top, right and bottom of the edge of the face.
    #[must_use]
    pub fn bounds(&self) -> [f64; 4] {
        bounds(&self.oval())
    }
}

/// Left, top, right, bottom.
pub(crate) fn bounds(points: &[[f64; 2]]) -> [f64; 4] {
    points.iter().fold(
        [f64::MAX, f64::MAX, f64::MIN, f64::MIN],
        |[l, t, r, b], [x, y]| [l.min(*x), t.min(*y), r.max(*x), b.max(*y)],
    )
}

/// Signed area of a polygon, positive where its corners run clockwise as seen.
pub(crate) fn area(points: &[[f64; 2]]) -> f64 {
    let next = points.iter().cycle().skip(1);
    points
        .iter()
        .zip(next)
        .map(|(a, b)| a[0] * b[1] - b[0] * a[1])
        .sum::<f64>()
        / 2.0
}

/// The convex hull (Andrew 1979).
fn hull(mut points: Vec<[f64; 2]>) -> Vec<[f64; 2]> {
    points.sort_by(|a, b| a[0].total_cmp(&b[0]).then(a[1].total_cmp(&b[1])));
    let turn = |a: [f64; 2], b: [f64; 2], c: [f64; 2]| {
        (b[0] - a[0]) * (c[1] - a[1]) - (b[1] - a[1]) * (c[0] - a[0])
    };
    let chain = |points: &mut dyn Iterator<Item = &[f64; 2]>| {
        let mut chain: Vec<[f64; 2]> = Vec::new();
        for &point in points {
            while let [.., a, b] = chain[..] {
                if turn(a, b, point) > 0.0 {
                    break;
                }
                chain.pop();
            }
            chain.push(point);
        }
        chain.pop();
        chain
    };
    let mut all = chain(&mut points.iter());
    all.extend(chain(&mut points.iter().rev()));
    all
}

/// Marks the pixels of a `width` × `height` rectangle at (`left`, `top`) whose centres lie inside a
/// polygon (even–odd).
pub(crate) fn fill(
    points: &[[f64; 2]],
    [left, top]: [usize; 2],
    [width, height]: [usize; 2],
    mut mark: impl FnMut(usize),
) {
    if points.iter().flatten().any(|v| !v.is_finite()) {
        return;
    }
    let mut crossings = Vec::new();
    for row in 0..height {
        let y = (top + row) as f64;
        crossings.clear();
        for (a, b) in points.iter().zip(points.iter().cycle().skip(1)) {
            if (a[1] <= y) != (b[1] <= y) {
                crossings.push(a[0] + (y - a[1]) / (b[1] - a[1]) * (b[0] - a[0]));
            }
        }
        crossings.sort_by(f64::total_cmp);
        for pair in crossings.chunks_exact(2) {
            let first = (pair[0] - left as f64).ceil().clamp(0.0, width as f64) as usize;
            let end = (pair[1] - left as f64).ceil().clamp(0.0, width as f64) as usize;
            for column in first..end {
                mark(row * width + column);
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn fills_pixel_centres_of_a_triangle() {
        let mut marked = Vec::new();
        fill(
            &[[10.0, 10.0], [13.0, 10.0], [10.0, 13.0]],
            [10, 10],
            [4, 4],
            |i| marked.push(i),
        );
        // Row y holds x from 10 up to, not with, 13 − (y − 10).
        assert_eq!(marked, [0, 1, 2, 4, 5, 8]);
    }

    #[test]
    fn hull_of_a_square_with_a_point_inside() {
        let found = hull(vec![
            [0.0, 0.0],
            [2.0, 0.0],
            [1.0, 1.0],
            [2.0, 2.0],
            [0.0, 2.0],
        ]);
        assert_eq!(found.len(), 4);
        assert!((area(&found).abs() - 4.0).abs() < 1e-12);
    }

    #[test]
    fn left_parts_mirror_right_parts() {
        // Both sides name as many corners, and no point of one side on the other.
        for (right, left) in [
            (Part::Cheek(Side::Right), Part::Cheek(Side::Left)),
            (Part::Flank(Side::Right), Part::Flank(Side::Left)),
        ] {
            assert_eq!(right.corners().len(), left.corners().len());
            for (r, l) in right.corners().iter().zip(left.corners().iter().rev()) {
                assert!((r.2 - l.2).abs() < 1e-12, "{r:?} {l:?}");
            }
        }
    }
}
