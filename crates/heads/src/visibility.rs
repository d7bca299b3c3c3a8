//! Baked directional visibility of a person at rest: which part of the sphere of directions each vertex sees.

use glam::{Vec3, Vec3A, vec3};
use obvhs::BvhBuildParams;
use obvhs::cwbvh::{CwBvh, builder::build_cwbvh_from_tris};
use obvhs::ray::Ray;
use obvhs::rt_triangle::RtTriangle;
use obvhs::triangle::Triangle;
use rayon::prelude::*;

use crate::math::sphere;

/// Directions baked at vertices.
pub(crate) const DIRECTIONS: usize = 256;
/// Directions baked in the voxels of hair.
pub(crate) const HAIR_DIRECTIONS: usize = 96;

/// Triangles ready for shadow rays.
pub(crate) struct Occluder {
    bvh: CwBvh,
    triangles: Vec<RtTriangle>,
}

impl Occluder {
    pub(crate) fn new(triangles: &[[Vec3; 3]]) -> Self {
        let tris: Vec<Triangle> = triangles
            .iter()
            .map(|t| Triangle {
                v0: Vec3A::from(t[0]),
                v1: Vec3A::from(t[1]),
                v2: Vec3A::from(t[2]),
            })
            .collect();
        let mut spent = std::time::Duration::default();
        let bvh = build_cwbvh_from_tris(&tris, BvhBuildParams::fast_build(), &mut spent);
        let triangles = bvh
            .primitive_indices
            .iter()
            .map(|&i| {
                let t = &tris[i as usize];
                RtTriangle::new(t.v0, t.v1, t.v2)
            })
            .collect();
        Self { bvh, triangles }
    }

    fn ray(o: Vec3, d: Vec3) -> Ray {
        Ray::new(o.into(), d.into(), 0.0, 1e3)
    }

    pub(crate) fn blocked(&self, o: Vec3, d: Vec3) -> bool {
        !self
            .bvh
            .ray_traverse_miss(Self::ray(o, d), |ray, id| self.triangles[id].intersect(ray))
    }

    /// Distance to the nearest triangle, if any.
    pub(crate) fn distance(&self, o: Vec3, d: Vec3) -> Option<f32> {
        let mut hit = obvhs::ray::RayHit::none();
        self.bvh
            .ray_traverse(Self::ray(o, d), &mut hit, |ray, id| {
                self.triangles[id].intersect(ray)
            })
            .then_some(hit.t)
    }
}

/// Optical density of hair in voxels, with baked transmittance.
pub(crate) struct HairGrid {
    low: Vec3,
    cell: f32,
    n: [usize; 3],
    density: Vec<f32>,
    slot: Vec<u32>,
    pub(crate) seen: Vec<[u8; HAIR_DIRECTIONS]>,
}

impl HairGrid {
    /// Grid of segments `(a, b, width)`.
    pub(crate) fn new(segments: &[(Vec3, Vec3, f32)]) -> Self {
        let (mut low, mut high) = (Vec3::splat(f32::MAX), Vec3::splat(f32::MIN));
        for (a, b, _) in segments {
            low = low.min(a.min(*b));
            high = high.max(a.max(*b));
        }
        if segments.is_empty() {
            (low, high) = (Vec3::ZERO, Vec3::splat(0.1));
        }
        let cell = ((high - low).max_element() / 52.0).max(0.045);
        low -= Vec3::splat(cell);
        let n = ((high - low) / cell).ceil().as_uvec3() + glam::UVec3::splat(2);
        let n = [n.x as usize, n.y as usize, n.z as usize];
        let mut density = vec![0f32; n[0] * n[1] * n[2]];
        for (a, b, w) in segments {
            let k = (((*a + *b) * 0.5 - low) / cell).as_uvec3();
            density[(k.z as usize * n[1] + k.y as usize) * n[0] + k.x as usize] +=
                (*b - *a).length() * w * 0.60 / (cell * cell * cell);
        }
        let slot = vec![u32::MAX; density.len()];
        Self {
            low,
            cell,
            n,
            density,
            slot,
            seen: Vec::new(),
        }
    }

    fn transmittance(&self, p: Vec3, d: Vec3) -> f32 {
        let (mut depth, mut q) = (0.0, p + d * self.cell * 1.2);
        for _ in 0..60 {
            let k = (q - self.low) / self.cell;
            if k.min_element() < 0.0
                || k.x >= self.n[0] as f32
                || k.y >= self.n[1] as f32
                || k.z >= self.n[2] as f32
            {
                break;
            }
            depth +=
                self.density[(k.z as usize * self.n[1] + k.y as usize) * self.n[0] + k.x as usize];
            if depth * self.cell > 5.0 {
                break;
            }
            q += d * self.cell;
        }
        (-depth * self.cell).exp()
    }

    fn bake(&mut self, occluder: &Occluder) {
        let directions = sphere(HAIR_DIRECTIONS);
        let full: Vec<usize> = (0..self.density.len())
            .filter(|&i| self.density[i] > 0.0)
            .collect();
        let n = self.n;
        let seen: Vec<[u8; HAIR_DIRECTIONS]> = full
            .par_iter()
            .map(|&i| {
                let index = vec3(
                    (i % n[0]) as f32,
                    (i / n[0] % n[1]) as f32,
                    (i / n[0] / n[1]) as f32,
                );
                let c = self.low + (index + Vec3::splat(0.5)) * self.cell;
                let mut r = [0u8; HAIR_DIRECTIONS];
                for (k, d) in directions.iter().enumerate() {
                    let x = self.transmittance(c, *d);
                    if x > 0.02 && !occluder.blocked(c + *d * 0.02, *d) {
                        r[k] = (255.0 * x) as u8;
                    }
                }
                r
            })
            .collect();
        for (s, &i) in full.iter().enumerate() {
            self.slot[i] = s as u32;
        }
        self.seen = seen;
    }

    /// Up to eight (slot, weight) pairs around a point, weights summing to 1, or none.
    pub(crate) fn around(&self, p: Vec3) -> ([(u32, f32); 8], usize) {
        let q = ((p - self.low) / self.cell - Vec3::splat(0.5)).max(Vec3::ZERO);
        let f = q.floor();
        let r = q - f;
        let c = [f.x as usize, f.y as usize, f.z as usize];
        let mut out = [(0, 0.0); 8];
        let (mut used, mut sum) = (0, 1e-6);
        for k in 0..8 {
            let (dx, dy, dz) = (k & 1, (k >> 1) & 1, k >> 2);
            let i = ((c[2] + dz).min(self.n[2] - 1) * self.n[1] + (c[1] + dy).min(self.n[1] - 1))
                * self.n[0]
                + (c[0] + dx).min(self.n[0] - 1);
            if self.slot[i] == u32::MAX {
                continue;
            }
            let w = (if dx == 0 { 1.0 - r.x } else { r.x })
                * (if dy == 0 { 1.0 - r.y } else { r.y })
                * (if dz == 0 { 1.0 - r.z } else { r.z });
            out[used] = (self.slot[i], w);
            used += 1;
            sum += w;
        }
        out.iter_mut().take(used).for_each(|o| o.1 /= sum);
        (out, used)
    }
}

/// A point whose visibility is baked: position, normal, offset along it.
#[derive(Clone, Copy)]
pub(crate) struct Probe {
    pub(crate) position: Vec3,
    pub(crate) normal: Vec3,
    pub(crate) offset: f32,
}

/// Visibility (0–255) in [`DIRECTIONS`] directions of every probe.
pub(crate) fn bake(
    probes: &[Probe],
    occluder: &Occluder,
    grid: &HairGrid,
    hair: bool,
) -> Vec<[u8; DIRECTIONS]> {
    let directions = sphere(DIRECTIONS);
    probes
        .par_iter()
        .with_min_len(64)
        .map(|p| {
            let o = p.position + p.normal * p.offset;
            let mut r = [0u8; DIRECTIONS];
            for (k, d) in directions.iter().enumerate() {
                if d.dot(p.normal) > -0.05 && !occluder.blocked(o, *d) {
                    r[k] = if hair {
                        (255.0 * grid.transmittance(o, *d)) as u8
                    } else {
                        255
                    };
                }
            }
            r
        })
        .collect()
}

/// Bakes the voxels of hair.
pub(crate) fn bake_grid(grid: &mut HairGrid, occluder: &Occluder) {
    grid.bake(occluder);
}
