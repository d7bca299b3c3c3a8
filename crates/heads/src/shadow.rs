//! Shadow maps of hard lights.

use glam::{Vec3, vec3};
use rayon::prelude::*;

use crate::baked::{Baked, Face, Geometry};
use crate::strands::Strands;

const SIZE: usize = 1280;
const BANDS: usize = 16;

/// Depth of the nearest surface along a light's direction.
pub(crate) struct ShadowMap {
    right: Vec3,
    up: Vec3,
    to_light: Vec3,
    centre: Vec3,
    scale: f32,
    half: f32,
    /// Height toward the light, dm.
    depth: Vec<f32>,
}

impl ShadowMap {
    /// Map of everybody in the scene for a light at `position` whose half angle is `half`.
    pub(crate) fn new(people: &[(&Baked, &Geometry, &Strands)], position: Vec3, half: f32) -> Self {
        let heads: Vec<Vec3> = people.iter().map(|p| p.1.eyes[0]).collect();
        let centre = heads.iter().sum::<Vec3>() / heads.len().max(1) as f32 - vec3(0.0, 0.7, 0.0);
        let radius = heads.iter().map(|h| h.distance(centre)).fold(0.0, f32::max) + 2.4;
        let to_light = (position - centre).normalize();
        let right = Vec3::Y.cross(to_light).normalize_or(Vec3::X);
        let up = to_light.cross(right);
        let scale = SIZE as f32 / (2.0 * radius);
        let mut map = Self {
            right,
            up,
            to_light,
            centre,
            scale,
            half,
            depth: vec![-1e9; SIZE * SIZE],
        };
        let projected: Vec<Vec<Vec3>> = people
            .iter()
            .map(|p| p.1.position.par_iter().map(|v| map.project(*v)).collect())
            .collect();
        let strands: Vec<Vec<Vec3>> = people
            .iter()
            .map(|p| p.2.points.par_iter().map(|v| map.project(*v)).collect())
            .collect();
        let mut depth = std::mem::take(&mut map.depth);
        let rows = SIZE / BANDS;
        depth
            .par_chunks_mut(rows * SIZE)
            .enumerate()
            .for_each(|(b, band)| {
                let (low, high) = ((b * rows) as f32, ((b + 1) * rows) as f32);
                for ((baked, _, _), v) in people.iter().zip(&projected) {
                    for t in &baked.triangles {
                        if matches!(
                            t.face,
                            Face::Teeth | Face::Tongue | Face::Eye(_) | Face::Lens(_)
                        ) {
                            continue;
                        }
                        if let Face::Layer(k) = t.face {
                            let (l, o) = (&baked.layers[k as usize], baked.fine.layers[k as usize]);
                            if t.v.iter().any(|&i| l.inside2[i as usize - o] < 0.0) {
                                continue;
                            }
                        }
                        triangle(band, t.v.map(|i| v[i as usize]), low, high);
                    }
                }
                for ((_, _, s), v) in people.iter().zip(&strands) {
                    for seg in &s.segments {
                        // Half of the strands: hair lets part of the light through.
                        if seg.strand.is_multiple_of(2) {
                            line(
                                band,
                                v[seg.point as usize],
                                v[seg.point as usize + 1],
                                low,
                                high,
                            );
                        }
                    }
                }
            });
        map.depth = depth;
        map
    }

    fn project(&self, p: Vec3) -> Vec3 {
        let d = p - self.centre;
        vec3(
            d.dot(self.right) * self.scale + SIZE as f32 * 0.5,
            d.dot(self.up) * self.scale + SIZE as f32 * 0.5,
            d.dot(self.to_light),
        )
    }

    fn at(&self, x: f32, y: f32) -> f32 {
        if x < 0.0 || y < 0.0 || x >= SIZE as f32 || y >= SIZE as f32 {
            return -1e9;
        }
        self.depth[y as usize * SIZE + x as usize]
    }

    /// Share of the light that arrives, 0–1: blocker search, then a filter as wide as the penumbra there.
    pub(crate) fn visible(&self, p: Vec3, n: Vec3, seed: u32) -> f32 {
        let q = self.project(p + n * 0.020);
        let turn = crate::math::hash(seed) as f32 / 4_294_967_296.0 * std::f32::consts::TAU;
        let tap = |k: usize, n: usize, r: f32| {
            let a = turn + k as f32 * 2.399_963_2;
            let s = ((k as f32 + 0.5) / n as f32).sqrt() * r;
            (q.x + a.cos() * s, q.y + a.sin() * s)
        };
        let spread = (self.half.tan() * 1.2).max(0.015) * self.scale;
        let (mut sum, mut n) = (0.0, 0.0);
        for k in 0..10 {
            let (x, y) = tap(k, 10, spread);
            let d = self.at(x, y);
            if d > q.z + 0.012 {
                sum += d - q.z;
                n += 1.0;
            }
        }
        if n == 0.0 {
            return 1.0;
        }
        let radius = (self.half.tan() * sum / n).clamp(0.010, 0.5) * self.scale;
        let mut lit = 0.0;
        for k in 0..20 {
            let (x, y) = tap(k, 20, radius);
            if self.at(x, y) <= q.z + 0.012 {
                lit += 1.0;
            }
        }
        lit / 20.0
    }
}

fn triangle(band: &mut [f32], p: [Vec3; 3], low: f32, high: f32) {
    let (y0, y1) = (
        p[0].y.min(p[1].y).min(p[2].y),
        p[0].y.max(p[1].y).max(p[2].y),
    );
    if y1 < low || y0 >= high {
        return;
    }
    let area = (p[1].x - p[0].x) * (p[2].y - p[0].y) - (p[2].x - p[0].x) * (p[1].y - p[0].y);
    if area.abs() < 1e-9 {
        return;
    }
    let x0 = p[0].x.min(p[1].x).min(p[2].x).max(0.0) as usize;
    let x1 = p[0].x.max(p[1].x).max(p[2].x).min(SIZE as f32 - 1.0);
    if x1 < 0.0 {
        return;
    }
    let k = 1.0 / area;
    for y in y0.max(low) as usize..=(y1.min(high - 1.0)) as usize {
        for x in x0..=x1 as usize {
            let (fx, fy) = (x as f32 + 0.5, y as f32 + 0.5);
            let a = ((p[1].x - fx) * (p[2].y - fy) - (p[2].x - fx) * (p[1].y - fy)) * k;
            let b = ((p[2].x - fx) * (p[0].y - fy) - (p[0].x - fx) * (p[2].y - fy)) * k;
            if a < 0.0 || b < 0.0 || a + b > 1.0 {
                continue;
            }
            let z = p[0].z * a + p[1].z * b + p[2].z * (1.0 - a - b);
            let slot = &mut band[(y - low as usize) * SIZE + x];
            *slot = slot.max(z);
        }
    }
}

fn line(band: &mut [f32], p: Vec3, q: Vec3, low: f32, high: f32) {
    if p.y.max(q.y) < low || p.y.min(q.y) >= high {
        return;
    }
    let d = q - p;
    let n = d.x.abs().max(d.y.abs()).ceil().max(1.0);
    for i in 0..n as usize {
        let s = p + d * ((i as f32 + 0.5) / n);
        if s.x >= 0.0 && s.x < SIZE as f32 && s.y >= low && s.y < high {
            let slot = &mut band[(s.y as usize - low as usize) * SIZE + s.x as usize];
            *slot = slot.max(s.z);
        }
    }
}
