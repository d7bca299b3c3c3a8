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

impl Models {
    /// The mesh of a face that was found.
    ///
    /// # Errors
    /// [`PeopleError::Run`] where the model fails.
    pub fn mesh(&self, picture: &Rgb, face: &Face) -> Result<Mesh, PeopleError> {
        // From eyes to mouth, not from eye to eye: of a head on its head the detector keeps the
        // eyes in left-to-right order.
        let [eye_a, eye_b, _, mouth_a, mouth_b] = face.points;
        let down = [0, 1].map(|axis| mouth_a[axis] + mouth_b[axis] - eye_a[axis] - eye_b[axis]);
        let angle = (-down[0]).atan2(down[1]);
        let [x, y, w, h] = face.bounds;
        self.mesh_in(
            picture,
            [x + w / 2.0, y + h / 2.0],
            1.5 * face.size(),
            angle,
        )
    }

    /// The mesh of a face from its mesh in a neighbouring frame; the cheap way of following.
    ///
    /// # Errors
    /// [`PeopleError::Run`] where the model fails.
    pub fn mesh_again(&self, picture: &Rgb, before: &Mesh) -> Result<Mesh, PeopleError> {
        let (mut low, mut high) = ([f64::MAX; 2], [f64::MIN; 2]);
        for point in &before.points {
            for axis in 0..2 {
                low[axis] = low[axis].min(point[axis]);
                high[axis] = high[axis].max(point[axis]);
            }
        }
        let (right_eye, left_eye) = (before.at(33), before.at(263));
        let angle = (left_eye[1] - right_eye[1]).atan2(left_eye[0] - right_eye[0]);
        let side = 1.5 * (high[0] - low[0]).max(high[1] - low[1]);
        self.mesh_in(
            picture,
            [(low[0] + high[0]) / 2.0, (low[1] + high[1]) / 2.0],
            side,
            angle,
        )
    }

    /// The mesh inside a square of the given middle, side (pixels) and turn (radians).
    fn mesh_in(
        &self,
        picture: &Rgb,
        middle: [f64; 2],
        side: f64,
        angle: f64,
    ) -> Result<Mesh, PeopleError> {
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
