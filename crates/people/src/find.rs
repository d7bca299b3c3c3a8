//! Faces in a picture: boxes and five points.

use crate::models::{Models, PeopleError};
use crate::warp::{Placement, sample, shrunk};
use inkarnat_color::Rgb;
use rten_tensor::NdTensor;
use serde::{Deserialize, Serialize};

pub(crate) const OUTPUTS: [&str; 12] = [
    "cls_8", "obj_8", "bbox_8", "kps_8", "cls_16", "obj_16", "bbox_16", "kps_16", "cls_32",
    "obj_32", "bbox_32", "kps_32",
];
const STRIDES: [usize; 3] = [8, 16, 32];

/// A face as the detector sees it, in pixels of the picture.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Face {
    /// Left, top, width, height of the box (of the turned box's own frame where `turned_deg` ≠ 0:
    /// then the upright box around it).
    pub bounds: [f64; 4],
    /// Right eye, left eye, nose tip, right and left mouth corner: of the person, x then y.
    pub points: [[f64; 2]; 5],
    /// 0–1; about 0.9 for a clear face.
    pub score: f64,
    /// The picture was turned by this much, clockwise, before the face was found.
    pub turned_deg: f64,
}

impl Face {
    /// Distance between the eyes in pixels; small on a turned head.
    #[must_use]
    pub fn eye_distance(&self) -> f64 {
        let [a, b, ..] = self.points;
        (a[0] - b[0]).hypot(a[1] - b[1])
    }

    /// Takes the face from a shrunk picture to one `factor` times as large.
    pub(crate) fn grow(&mut self, factor: f64) {
        for value in &mut self.bounds {
            *value *= factor;
        }
        for value in self.points.iter_mut().flatten() {
            *value = (*value + 0.5) * factor - 0.5;
        }
    }

    /// Moves the face from a part of a picture to the picture.
    pub(crate) fn shift(&mut self, [x, y]: [f64; 2]) {
        self.bounds[0] += x;
        self.bounds[1] += y;
        for point in &mut self.points {
            point[0] += x;
            point[1] += y;
        }
    }

    /// The larger side of the box in pixels.
    #[must_use]
    pub fn size(&self) -> f64 {
        self.bounds[2].max(self.bounds[3])
    }
}

/// How faces are looked for.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct FindSettings {
    /// The longest side that the picture is shrunk to, in pixels. At 640 faces of 1/12 of the height
    /// of a 16:9 picture are 30 pixels high, above the detector's 25.
    pub longest: usize,
    /// The lowest score that counts, 0–1.
    pub score: f64,
    /// Boxes that share more than this with a better one are dropped (intersection over union).
    pub overlap: f64,
    /// Faces that score less are looked at again upside down.
    pub doubtful: f64,
    /// Where nothing is found, the picture is turned by these angles in turn and searched again.
    pub turns_deg: [f64; 5],
}

impl Default for FindSettings {
    fn default() -> Self {
        Self {
            longest: 640,
            score: 0.7,
            overlap: 0.3,
            doubtful: 0.9,
            turns_deg: [180.0, 90.0, -90.0, 45.0, -45.0],
        }
    }
}

impl Models {
    /// The faces of a picture, best first.
    ///
    /// # Errors
    /// [`PeopleError::Run`] where the model cannot take the picture.
    pub fn find(&self, picture: &Rgb, settings: &FindSettings) -> Result<Vec<Face>, PeopleError> {
        if picture.width == 0 || picture.height == 0 {
            return Ok(Vec::new());
        }
        let (small, factor) = shrunk(picture, settings.longest);
        let mut faces = self.find_upright(&small, settings)?;
        let mut turn = 0.0;
        let mut back = None;
        for angle in settings.turns_deg {
            if !faces.is_empty() {
                break;
            }
            let (turned, placement) = turned(&small, angle);
            faces = self.find_upright(&turned, settings)?;
            turn = angle;
            back = Some(placement);
        }
        for face in &mut faces {
            if let Some(placement) = back {
                *face = placed(face, placement, turn);
            }
            if face.score < settings.doubtful {
                *face = self.upside_down(&small, *face, settings)?;
            }
            face.grow(factor);
        }
        Ok(faces)
    }

    /// Looks at a doubtful face again, turned by 180°, and keeps the better of the two: the detector
    /// finds a head on its head too, with a fair score and its points in the wrong places.
    fn upside_down(
        &self,
        picture: &Rgb,
        face: Face,
        settings: &FindSettings,
    ) -> Result<Face, PeopleError> {
        const SIDE: usize = 160;
        let turn = face.turned_deg + 180.0;
        let (sin, cos) = turn.to_radians().sin_cos();
        let [x, y, w, h] = face.bounds;
        let scale = (2.0 * face.size() / SIDE as f64).max(1e-6);
        let (a, b) = (scale * cos, -scale * sin);
        let half = (SIDE - 1) as f64 / 2.0;
        let placement = Placement {
            a,
            b,
            x: x + w / 2.0 - (a * half - b * half),
            y: y + h / 2.0 - (b * half + a * half),
        };
        let mut square = Rgb::new(SIDE, SIDE);
        for row in 0..SIDE {
            for column in 0..SIDE {
                let value = sample(picture, placement.source([column as f64, row as f64]));
                square.set_pixel(row * SIDE + column, value);
            }
        }
        let better = self
            .find_upright(&square, settings)?
            .into_iter()
            .map(|other| placed(&other, placement, turn.rem_euclid(360.0)))
            .find(|other| overlap(other.bounds, face.bounds) > settings.overlap);
        Ok(better
            .filter(|other| other.score > face.score)
            .unwrap_or(face))
    }

    fn find_upright(
        &self,
        picture: &Rgb,
        settings: &FindSettings,
    ) -> Result<Vec<Face>, PeopleError> {
        let (width, height) = (
            picture.width.next_multiple_of(32),
            picture.height.next_multiple_of(32),
        );
        let mut data = vec![0.0; 3 * width * height];
        // The detector wants B, G, R, 0–255, and black below and to the right.
        for (channel, plane) in picture.planes.iter().rev().enumerate() {
            for (y, row) in plane.chunks_exact(picture.width).enumerate() {
                let start = channel * width * height + y * width;
                for (out, value) in data[start..].iter_mut().zip(row) {
                    *out = value.clamp(0.0, 1.0) * 255.0;
                }
            }
        }
        let outputs = self
            .boxes
            .run(NdTensor::from_data([1, 3, height, width], data))?;
        let mut faces = Vec::new();
        for (level, stride) in STRIDES.into_iter().enumerate() {
            let [class, object, bounds, points] =
                [0, 1, 2, 3].map(|kind| &outputs[4 * level + kind]);
            let columns = width / stride;
            let scale = stride as f64;
            for (index, (class, object)) in class.iter().zip(object).enumerate() {
                let score = f64::from(class.clamp(0.0, 1.0) * object.clamp(0.0, 1.0)).sqrt();
                if score < settings.score {
                    continue;
                }
                let (column, row) = ((index % columns) as f64, (index / columns) as f64);
                let at = |k: usize| f64::from(bounds[4 * index + k]);
                let (w, h) = (at(2).exp() * scale, at(3).exp() * scale);
                let point = |k: usize| {
                    [
                        (f64::from(points[10 * index + 2 * k]) + column) * scale,
                        (f64::from(points[10 * index + 2 * k + 1]) + row) * scale,
                    ]
                };
                faces.push(Face {
                    bounds: [
                        (column + at(0)) * scale - w / 2.0,
                        (row + at(1)) * scale - h / 2.0,
                        w,
                        h,
                    ],
                    points: [0, 1, 2, 3, 4].map(point),
                    score,
                    turned_deg: 0.0,
                });
            }
        }
        Ok(best_of(faces, settings.overlap))
    }
}

/// The best of faces that lie over each other, best first.
pub(crate) fn best_of(mut faces: Vec<Face>, shared: f64) -> Vec<Face> {
    faces.sort_by(|a, b| b.score.total_cmp(&a.score));
    let mut kept: Vec<Face> = Vec::new();
    for face in faces {
        if kept
            .iter()
            .all(|other| overlap(other.bounds, face.bounds) <= shared)
        {
            kept.push(face);
        }
    }
    kept
}

/// Intersection over union of two boxes.
pub(crate) fn overlap([ax, ay, aw, ah]: [f64; 4], [bx, by, bw, bh]: [f64; 4]) -> f64 {
    let across = ((ax + aw).min(bx + bw) - ax.max(bx)).max(0.0);
    let down = ((ay + ah).min(by + bh) - ay.max(by)).max(0.0);
    let shared = across * down;
    shared / (aw * ah + bw * bh - shared)
}

/// The picture turned clockwise about its middle, on a canvas that holds all of it, and the way
/// from a position on that canvas back to the picture.
fn turned(picture: &Rgb, degrees: f64) -> (Rgb, Placement) {
    let (sin, cos) = degrees.to_radians().sin_cos();
    let (w, h) = (picture.width as f64, picture.height as f64);
    let width = ((w * cos).abs() + (h * sin).abs()).round().max(1.0);
    let height = ((w * sin).abs() + (h * cos).abs()).round().max(1.0);
    let (cx, cy) = ((width - 1.0) / 2.0, (height - 1.0) / 2.0);
    let (a, b) = (cos, -sin);
    let placement = Placement {
        a,
        b,
        x: (w - 1.0) / 2.0 - (a * cx - b * cy),
        y: (h - 1.0) / 2.0 - (b * cx + a * cy),
    };
    let mut result = Rgb::new(width as usize, height as usize);
    for y in 0..result.height {
        for x in 0..result.width {
            let [sx, sy] = placement.source([x as f64, y as f64]);
            if sx > -1.0 && sy > -1.0 && sx < w && sy < h {
                let value = sample(picture, [sx, sy]);
                result.set_pixel(y * result.width + x, value);
            }
        }
    }
    (result, placement)
}

fn placed(face: &Face, placement: Placement, turned_deg: f64) -> Face {
    let [x, y, w, h] = face.bounds;
    let corners =
        [[x, y], [x + w, y], [x, y + h], [x + w, y + h]].map(|corner| placement.source(corner));
    let extreme = |axis: usize, pick: fn(f64, f64) -> f64| {
        corners.iter().map(|c| c[axis]).reduce(pick).unwrap_or(0.0)
    };
    let (left, top) = (extreme(0, f64::min), extreme(1, f64::min));
    Face {
        bounds: [
            left,
            top,
            extreme(0, f64::max) - left,
            extreme(1, f64::max) - top,
        ],
        points: face.points.map(|point| placement.source(point)),
        score: face.score,
        turned_deg,
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn overlap_of_boxes() {
        assert_eq!(overlap([0.0, 0.0, 2.0, 2.0], [0.0, 0.0, 2.0, 2.0]), 1.0);
        assert_eq!(overlap([0.0, 0.0, 2.0, 2.0], [5.0, 0.0, 2.0, 2.0]), 0.0);
        assert!((overlap([0.0, 0.0, 2.0, 2.0], [1.0, 0.0, 2.0, 2.0]) - 1.0 / 3.0).abs() < 1e-12);
    }

    #[test]
    fn turning_right_moves_the_top_left_corner_to_the_top_right() {
        let mut picture = Rgb::new(6, 4);
        picture.set_pixel(0, [1.0; 3]);
        let (turned, back) = turned(&picture, 90.0);
        assert_eq!((turned.width, turned.height), (4, 6));
        assert!(turned.planes[0][3] > 0.99, "{:?}", turned.planes[0]);
        let [x, y] = back.source([3.0, 0.0]);
        assert!(x.abs() < 1e-9 && y.abs() < 1e-9);
    }
}
