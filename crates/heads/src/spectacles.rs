//! Spectacles: swept wires around the eyes, and lenses.

use glam::{Vec2, Vec3, vec2, vec3};

use crate::garment::Extra;
use crate::math::{mix, smooth};
use crate::person::{Local, Region, Spectacles};

fn tube(e: &mut Extra, path: &[Vec3], radius: f32, closed: bool, up: Vec3) {
    const SIDES: u32 = 7;
    let base = e.rest.len() as u32;
    let n = path.len();
    for i in 0..n {
        let (a, b) = if closed {
            (path[(i + n - 1) % n], path[(i + 1) % n])
        } else {
            (path[i.saturating_sub(1)], path[(i + 1).min(n - 1)])
        };
        let t = (b - a).normalize_or(Vec3::X);
        let x = t.cross(up).normalize_or(t.any_orthonormal_vector());
        let y = x.cross(t);
        for k in 0..SIDES {
            let a = k as f32 / SIDES as f32 * std::f32::consts::TAU;
            e.rest.push(path[i] + (x * a.cos() + y * a.sin()) * radius);
            e.bones.push(Vec2::X);
        }
    }
    let rings = if closed { n } else { n - 1 } as u32;
    for i in 0..rings {
        let j = (i + 1) % n as u32;
        for k in 0..SIDES {
            let l = (k + 1) % SIDES;
            e.quads.push([
                base + i * SIDES + k,
                base + i * SIDES + l,
                base + j * SIDES + l,
                base + j * SIDES + k,
            ]);
        }
    }
}

/// Points around a rim.
const STEPS: u32 = 56;

/// The outline of both lenses.
struct Rims {
    centres: [Vec2; 2],
    rx: f32,
    ry: f32,
    power: f32,
    front: f32,
}

impl Rims {
    fn new(s: &Spectacles, eyes: [Vec3; 2]) -> Self {
        let centre = |eye: Vec3, side: f32| vec2(eye.x + side * 0.012, eye.y - 0.025);
        Self {
            centres: [centre(eyes[0], 1.0), centre(eyes[1], -1.0)],
            rx: mix(0.238, 0.262, s.square),
            ry: mix(0.225, 0.182, s.square),
            power: mix(2.0, 4.2, s.square),
            front: eyes[0].z + 0.325,
        }
    }

    fn depth(&self, x: f32) -> f32 {
        self.front - 0.16 * x * x
    }

    /// A point of rim `k` at a step around it, at a share of the way from the lens's middle.
    fn at(&self, k: usize, step: u32, share: f32) -> Vec3 {
        let c = self.centres[k];
        let (sn, cs) = (step as f32 / STEPS as f32 * std::f32::consts::TAU).sin_cos();
        let r = (cs.abs().powf(self.power) + sn.abs().powf(self.power)).powf(-1.0 / self.power);
        // Narrower toward the nose below.
        let taper = 1.0 - 0.08 * smooth(0.2, -1.0, sn);
        let x = c.x + cs * r * self.rx * taper * share;
        let y = c.y + sn * r * self.ry * share;
        vec3(x, y, self.depth(x) - 0.05 * (c.y - y).max(0.0))
    }
}

/// Lenses that fill the rims of [`frame`].
pub(crate) fn lenses(s: &Spectacles, eyes: [Vec3; 2]) -> [Extra; 2] {
    const RINGS: [f32; 4] = [0.02, 0.4, 0.75, 1.0];
    let rims = Rims::new(s, eyes);
    [0usize, 1].map(|k| Extra {
        local: Local::Frame,
        region: Region::Spectacles,
        rest: RINGS
            .iter()
            .flat_map(|share| (0..STEPS).map(|i| rims.at(k, i, *share)))
            .collect(),
        bones: vec![Vec2::X; RINGS.len() * STEPS as usize],
        quads: (0..(RINGS.len() as u32 - 1) * STEPS)
            .map(|i| {
                let (ring, j) = (i / STEPS * STEPS, i % STEPS);
                let next = (j + 1) % STEPS;
                [ring + j, ring + STEPS + j, ring + STEPS + next, ring + next]
            })
            .collect(),
        solid: false,
        lens: Some(k as u8),
    })
}

/// Frame for eyes at `eyes` (left, right), resting on ears whose tops lie at `ears` (left, right).
pub(crate) fn frame(s: &Spectacles, eyes: [Vec3; 2], ears: [Vec3; 2]) -> Extra {
    let mut e = Extra {
        local: Local::Frame,
        region: Region::Spectacles,
        rest: Vec::new(),
        bones: Vec::new(),
        quads: Vec::new(),
        solid: false,
        lens: None,
    };
    let rims = Rims::new(s, eyes);
    let (rx, ry) = (rims.rx, rims.ry);
    let mut inner = [Vec3::ZERO; 2];
    let mut outer = [Vec3::ZERO; 2];
    for k in 0..2 {
        let side = if k == 0 { 1.0 } else { -1.0 };
        let c = rims.centres[k];
        let rim: Vec<Vec3> = (0..STEPS).map(|i| rims.at(k, i, 1.0)).collect();
        tube(&mut e, &rim, s.wire, true, Vec3::Z);
        let at = |sx: f32, y: f32| {
            let x = c.x + sx * rx;
            vec3(x, c.y + y, rims.depth(x))
        };
        inner[k] = at(-side * 0.97, 0.05);
        outer[k] = at(side * 1.0, ry * 0.42);
    }
    let bridge: Vec<Vec3> = (0..9)
        .map(|i| {
            let t = i as f32 / 8.0;
            inner[0].lerp(inner[1], t) + vec3(0.0, 0.05, 0.045) * (1.0 - (2.0 * t - 1.0).powi(2))
        })
        .collect();
    tube(&mut e, &bridge, s.wire * 1.05, false, Vec3::Y);
    for k in 0..2 {
        let side = if k == 0 { 1.0 } else { -1.0 };
        let hinge = outer[k] + vec3(side * 0.05, 0.0, -0.06);
        let ear = ears[k] + vec3(side * 0.015, 0.02, 0.0);
        let mut path = vec![
            outer[k],
            outer[k].lerp(hinge, 0.6) + vec3(0.0, 0.0, 0.015),
            hinge,
        ];
        for i in 1..=8 {
            let t = i as f32 / 8.0;
            path.push(
                hinge.lerp(ear, t) + vec3(side * 0.035 * (1.0 - (2.0 * t - 1.0).powi(2)), 0.0, 0.0),
            );
        }
        path.push(ear + vec3(-side * 0.02, -0.06, -0.12));
        path.push(ear + vec3(-side * 0.04, -0.20, -0.19));
        tube(&mut e, &path, s.wire * 0.85, false, Vec3::Y);
    }
    e
}
