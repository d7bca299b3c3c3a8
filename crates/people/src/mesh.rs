//! 468 points on a face.

use crate::find::Face;
use crate::models::{Models, PeopleError};
use crate::warp::{Placement, crop};
use inkarnat_color::Rgb;
use serde::{Deserialize, Serialize};

pub(crate) const OUTPUTS: [&str; 2] = ["conv2d_20", "conv2d_30"];

/// Points of a mesh.
pub const POINTS: usize = 468;
const SIDE: usize = 192;

/// A face as a mesh, in pixels of the picture.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Mesh {
    /// [`POINTS`] positions: x, y, and depth in the same unit (smaller is nearer).
    pub points: Vec<[f64; 3]>,
    /// 0–1; below 0.5 there is no face to be measured here (a true profile, the back of a head).
    pub score: f64,
}

impl Mesh {
    /// The position of a point in the picture.
    #[must_use]
    pub fn at(&self, index: usize) -> [f64; 2] {
        [self.points[index][0], self.points[index][1]]
    }

    /// Width of the face oval in pixels, cheek to cheek (points 234 and 454).
    #[must_use]
    pub fn width(&self) -> f64 {
        let (a, b) = (self.points[234], self.points[454]);
        ((a[0] - b[0]).powi(2) + (a[1] - b[1]).powi(2) + (a[2] - b[2]).powi(2)).sqrt()
    }

    /// Left, top, right, bottom of all points.
    #[must_use]
    pub fn bounds(&self) -> [f64; 4] {
        self.points.iter().fold(
            [f64::MAX, f64::MAX, f64::MIN, f64::MIN],
            |[l, t, r, b], p| [l.min(p[0]), t.min(p[1]), r.max(p[0]), b.max(p[1])],
        )
    }

    /// Mean distance between the detector's five points and where the mesh has them, as a share of
    /// the face's size. Two models that saw the same face agree.
    #[must_use]
    pub fn disagreement(&self, face: &Face) -> f64 {
        let between = |a: usize, b: usize| {
            let (a, b) = (self.at(a), self.at(b));
            [(a[0] + b[0]) / 2.0, (a[1] + b[1]) / 2.0]
        };
        let own = [
            between(33, 133),
            between(362, 263),
            self.at(4),
            self.at(61),
            self.at(291),
        ];
        let distance = |a: [f64; 2], b: [f64; 2]| (a[0] - b[0]).hypot(a[1] - b[1]);
        own.iter()
            .zip(face.points)
            .map(|(a, b)| distance(*a, b))
            .sum::<f64>()
            / 5.0
            / face.size().max(1e-6)
    }

    /// How far the head is turned, in degrees, positive to the person's left; from the depth of the
    /// two cheeks. Good to about 10°.
    #[must_use]
    pub fn yaw_deg(&self) -> f64 {
        let (a, b) = (self.points[234], self.points[454]);
        (b[2] - a[2])
            .atan2((b[0] - a[0]).hypot(b[1] - a[1]))
            .to_degrees()
    }
}

/// Where a mesh is looked for: a turned square.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct Square {
    /// Middle in pixels.
    pub(crate) middle: [f64; 2],
    /// Side in pixels.
    pub(crate) side: f64,
    /// Turn in radians, clockwise.
    pub(crate) angle: f64,
}

impl Square {
    /// Around a face that was found.
    pub(crate) fn of_face(face: &Face) -> Self {
        // From eyes to mouth, not from eye to eye: of a head on its head the detector keeps the
        // eyes in left-to-right order.
        let [eye_a, eye_b, _, mouth_a, mouth_b] = face.points;
        let down = [0, 1].map(|axis| mouth_a[axis] + mouth_b[axis] - eye_a[axis] - eye_b[axis]);
        let [x, y, w, h] = face.bounds;
        Self {
            middle: [x + w / 2.0, y + h / 2.0],
            side: 1.5 * face.size(),
            angle: (-down[0]).atan2(down[1]),
        }
    }

    /// Around the mesh of a neighbouring frame.
    pub(crate) fn of_mesh(mesh: &Mesh) -> Self {
        let [left, top, right, bottom] = mesh.bounds();
        let (right_eye, left_eye) = (mesh.at(33), mesh.at(263));
        Self {
            middle: [(left + right) / 2.0, (top + bottom) / 2.0],
            side: 1.5 * (right - left).max(bottom - top),
            angle: (left_eye[1] - right_eye[1]).atan2(left_eye[0] - right_eye[0]),
        }
    }

    /// The upright rectangle around it: left, top, right, bottom.
    pub(crate) fn bounds(&self) -> [f64; 4] {
        let half = self.side / 2.0 * (self.angle.cos().abs() + self.angle.sin().abs());
        let [x, y] = self.middle;
        [x - half, y - half, x + half, y + half]
    }
}

impl Models {
    /// The mesh of a face that was found.
    ///
    /// # Errors
    /// [`PeopleError::Run`] where the model fails.
    pub fn mesh(&self, picture: &Rgb, face: &Face) -> Result<Mesh, PeopleError> {
        self.mesh_in(picture, Square::of_face(face))
    }

    /// The mesh of a face from its mesh in a neighbouring frame; the cheap way of following.
    ///
    /// # Errors
    /// [`PeopleError::Run`] where the model fails.
    pub fn mesh_again(&self, picture: &Rgb, before: &Mesh) -> Result<Mesh, PeopleError> {
        self.mesh_in(picture, Square::of_mesh(before))
    }

    /// The mesh inside a square.
    pub(crate) fn mesh_in(&self, picture: &Rgb, square: Square) -> Result<Mesh, PeopleError> {
        let Square {
            middle,
            side,
            angle,
        } = square;
        let scale = side / SIDE as f64;
        let (a, b) = (scale * angle.cos(), scale * angle.sin());
        let half = (SIDE - 1) as f64 / 2.0;
        let placement = Placement {
            a,
            b,
            x: middle[0] - (a * half - b * half),
            y: middle[1] - (b * half + a * half),
        };
        let outputs = self.mesh.run(crop(picture, placement, SIDE, 1.0))?;
        let points = outputs[0]
            .chunks_exact(3)
            .map(|point| {
                let [x, y] = placement.source([f64::from(point[0]), f64::from(point[1])]);
                [x, y, f64::from(point[2]) * scale]
            })
            .collect();
        let score = 1.0 / (1.0 + (-f64::from(outputs[1][0])).exp());
        Ok(Mesh { points, score })
    }
}
