//! One frame described: camera, lights, people, set.

use std::sync::Arc;

use glam::{Vec2, Vec3};

use crate::expression::Expression;
use crate::person::Pigment;
use crate::set::Backdrop;

/// A camera. World unit: decimetre, y up. A person at the origin has the middle of the eyes near (0, 7.28, 1.2)
/// and looks along +z, so a camera usually stands at z = 10…30.
#[derive(Clone, Copy, Debug)]
pub struct Camera {
    /// Where it stands, dm.
    pub position: Vec3,
    /// What is in the middle of the picture, dm.
    pub target: Vec3,
    /// Height of the picture at the target's distance, dm. A face (chin to hairline) is about 1.7 dm.
    pub height: f32,
    /// Rotation about the line of sight, radians.
    pub roll: f32,
}

impl Camera {
    /// A camera `distance` dm in front of a point, seeing `height` dm there.
    #[must_use]
    pub fn front(target: Vec3, distance: f32, height: f32) -> Self {
        Self {
            position: target + Vec3::new(0.0, 0.0, distance),
            target,
            height,
            roll: 0.0,
        }
    }
}

impl Camera {
    /// Where a point of the world lies in a picture of a given aspect: fractions of width and height from the upper
    /// left corner.
    #[must_use]
    pub fn place(&self, p: Vec3, aspect: f32) -> Vec2 {
        const H: usize = 1000;
        let q = crate::raster::View::new(self, (H as f32 * aspect) as usize, H).project(p);
        Vec2::new(q.x / (H as f32 * aspect), q.y / H as f32)
    }
}

/// Something that takes part of a light away: a half plane or a bar, in world coordinates.
#[derive(Clone, Copy, Debug)]
pub struct Shade {
    /// Unit normal of the edge; the shaded side is where `normal · p > offset`.
    pub normal: Vec3,
    /// Position of the edge along the normal, dm.
    pub offset: f32,
    /// Width of the bar, dm; infinite for a half plane.
    pub width: f32,
    /// Half-width of the blurred edge, dm.
    pub softness: f32,
    /// Share of the light left in the shade, 0–1.
    pub transmission: f32,
}

impl Shade {
    /// Share of light arriving at a point.
    #[must_use]
    pub fn at(&self, p: Vec3) -> f32 {
        let d = self.normal.dot(p) - self.offset;
        let s = self.softness.max(1e-4);
        let far = if self.width.is_finite() {
            crate::math::smooth(self.width + s, self.width - s, d)
        } else {
            1.0
        };
        let inside = crate::math::smooth(-s, s, d) * far;
        1.0 - inside * (1.0 - self.transmission)
    }
}

/// A light: a disc seen from the scene.
#[derive(Clone, Debug)]
pub struct Light {
    /// Middle of the source, dm.
    pub position: Vec3,
    /// Radius of the source, dm. Half angle = atan(radius / distance); below 0.12 rad shadows are hard
    /// (shadow map), above they come from baked visibility.
    pub radius: f32,
    /// Irradiance on a card facing the light at the scene's focus, 1 = a perfect white shades to the white response.
    pub irradiance: f32,
    /// Whether irradiance falls with the square of the distance (else the same everywhere).
    pub falloff: bool,
    /// Things in its way.
    pub shades: Vec<Shade>,
}

/// Light that has been reflected by the surroundings: a dome whose radiance varies with height.
#[derive(Clone, Copy, Debug)]
pub struct Ambient {
    /// Which light it comes from.
    pub light: usize,
    /// What reflected it on the way, if that was coloured. Its *level* is in `up`/`side`/`down`; only the
    /// colour is taken from here, scaled so that a neutral pigment changes nothing.
    pub via: Option<Pigment>,
    /// Radiance from above; 1 all round gives a white card the white response.
    pub up: f32,
    /// Radiance from the sides.
    pub side: f32,
    /// Radiance from below.
    pub down: f32,
}

impl Ambient {
    /// Radiance from a direction.
    #[must_use]
    pub fn radiance(&self, d: Vec3) -> f32 {
        if d.y > 0.0 {
            crate::math::mix(self.side, self.up, d.y)
        } else {
            crate::math::mix(self.side, self.down, -d.y)
        }
    }
}

/// A person in the scene.
#[derive(Clone, Copy, Debug, Default)]
pub struct Placement {
    /// Index into the baked people.
    pub person: usize,
    /// Shift of the whole person, dm.
    pub position: Vec3,
    /// Rotation of the body about its own vertical axis, radians, positive = to the person's left (picture right).
    pub body_yaw: f32,
    /// Head turn relative to the body (yaw, pitch, roll), radians; yaw like `body_yaw`, pitch positive = down.
    pub head: Vec3,
    /// Gaze relative to the head (yaw, pitch up), radians.
    pub gaze: Vec2,
    /// Expression.
    pub expression: Expression,
    /// Breath, 0–1: lifts chest and shoulders slightly.
    pub breath: f32,
}

/// A low thing in front (rail, desk, hedge) that hides everything below a height.
#[derive(Clone, Copy, Debug)]
pub struct Foreground {
    /// Upper edge as a fraction of picture height from the top.
    pub top: f32,
    /// Blur of the edge, as a fraction of picture height.
    pub softness: f32,
    /// Colour.
    pub pigment: Pigment,
    /// Irradiance on it by illumination (lights, then ambients).
    pub irradiance: [f32; 8],
}

impl Foreground {
    /// A thing that hides people's lower ends: its edge lies at world height `y` where a person stands at `position`.
    /// Between 3.8 and 4.6 dm is chest height.
    #[must_use]
    pub fn hiding(
        camera: &Camera,
        position: Vec3,
        y: f32,
        pigment: Pigment,
        irradiance: [f32; 8],
    ) -> Self {
        let top = camera
            .place(Vec3::new(position.x, y, position.z + 0.9), 16.0 / 9.0)
            .y;
        Self {
            top,
            softness: 0.004,
            pigment,
            irradiance,
        }
    }
}

/// Everything about one frame.
#[derive(Clone, Debug)]
pub struct Scene {
    /// Camera.
    pub camera: Camera,
    /// Lights (at most 5).
    pub lights: Vec<Light>,
    /// Reflected light (at most 3).
    pub ambients: Vec<Ambient>,
    /// Point where `Light::irradiance` is meant, dm.
    pub focus: Vec3,
    /// People.
    pub people: Vec<Placement>,
    /// What is behind them, painted once a shot.
    pub backdrop: Arc<Backdrop>,
    /// Factor on each illumination of the backdrop in this frame (lights, then ambients).
    pub backdrop_gain: Vec<f32>,
    /// Shift of the backdrop in fractions of picture height (x right, y down).
    pub backdrop_shift: Vec2,
    /// A thing in front.
    pub foreground: Option<Foreground>,
}
