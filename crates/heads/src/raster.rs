//! Visible triangle or strand segment at every sample.

use glam::Vec3;
use rayon::prelude::*;

use crate::baked::{Baked, Face, Geometry};
use crate::math::hash3;
use crate::scene::Camera;
use crate::strands::Strands;

/// A projected point: sample coordinates and inverse depth.
#[derive(Clone, Copy, Default)]
pub(crate) struct Projected {
    pub(crate) x: f32,
    pub(crate) y: f32,
    pub(crate) inverse: f32,
}

/// The camera as numbers.
#[derive(Clone, Copy)]
pub(crate) struct View {
    pub(crate) eye: Vec3,
    forward: Vec3,
    right: Vec3,
    up: Vec3,
    scale: f32,
    centre: (f32, f32),
}

impl View {
    /// View with `width` × `height` samples.
    pub(crate) fn new(c: &Camera, width: usize, height: usize) -> Self {
        let d = c.target - c.position;
        let forward = d.normalize_or(-Vec3::Z);
        let flat = forward.cross(Vec3::Y).normalize_or(Vec3::X);
        let level = flat.cross(forward);
        let (s, k) = c.roll.sin_cos();
        let (right, up) = (flat * k + level * s, level * k - flat * s);
        let scale = height as f32 * d.length() / c.height.max(1e-3);
        Self {
            eye: c.position,
            forward,
            right,
            up,
            scale,
            centre: (width as f32 * 0.5, height as f32 * 0.5),
        }
    }

    pub(crate) fn project(&self, p: Vec3) -> Projected {
        let d = p - self.eye;
        let inverse = 1.0 / d.dot(self.forward).max(0.5);
        Projected {
            x: self.centre.0 + d.dot(self.right) * inverse * self.scale,
            y: self.centre.1 - d.dot(self.up) * inverse * self.scale,
            inverse,
        }
    }

    /// Size of one decimetre in samples at an inverse depth.
    pub(crate) fn size(&self, inverse: f32) -> f32 {
        self.scale * inverse
    }
}

/// Nothing at a sample.
pub(crate) const EMPTY: u32 = u32::MAX;
const STRAND: u32 = 1 << 31;
const PERSON_SHIFT: u32 = 27;
const INDEX: u32 = (1 << PERSON_SHIFT) - 1;

/// What is at a sample: person, and index of a triangle or of a segment.
#[derive(Clone, Copy)]
pub(crate) enum Hit {
    Triangle(usize, usize),
    Segment(usize, usize),
}

pub(crate) fn hit(id: u32) -> Option<Hit> {
    if id == EMPTY {
        return None;
    }
    let person = ((id & !STRAND) >> PERSON_SHIFT) as usize;
    let index = (id & INDEX) as usize;
    Some(if id & STRAND != 0 {
        Hit::Segment(person, index)
    } else {
        Hit::Triangle(person, index)
    })
}

/// Samples of a frame.
pub(crate) struct Samples {
    pub(crate) width: usize,
    pub(crate) id: Vec<u32>,
    pub(crate) inverse: Vec<f32>,
    /// Triangle of a lens in front of what `id` names, or [`EMPTY`]; no entries where nobody wears spectacles.
    pub(crate) lens: Vec<u32>,
    pub(crate) vertices: Vec<Vec<Projected>>,
}

const BANDS: usize = 36;

/// Rasters people (at most 8) into `width` × `height` samples.
pub(crate) fn raster(
    people: &[(&Baked, &Geometry, &Strands)],
    view: &View,
    width: usize,
    height: usize,
) -> Samples {
    let project = |p: &[Vec3]| -> Vec<Projected> {
        p.par_iter()
            .with_min_len(4096)
            .map(|p| view.project(*p))
            .collect()
    };
    let vertices: Vec<Vec<Projected>> = people.iter().map(|p| project(&p.1.position)).collect();
    let points: Vec<Vec<Projected>> = people.iter().map(|p| project(&p.2.points)).collect();
    let rows = height.div_ceil(BANDS);
    let bands_of = |low: f32, high: f32| {
        if high < 0.0 || low >= height as f32 {
            return 1..1;
        }
        let a = low.max(0.0) as usize / rows;
        let b = (high as usize).min(height - 1) / rows;
        a..b + 1
    };
    let mut triangles: Vec<Vec<u32>> = vec![Vec::new(); BANDS];
    let mut segments: Vec<Vec<u32>> = vec![Vec::new(); BANDS];
    let mut lenses: Vec<Vec<u32>> = vec![Vec::new(); BANDS];
    for (k, (b, _, s)) in people.iter().enumerate() {
        let tag = (k as u32) << PERSON_SHIFT;
        for (i, t) in b.triangles.iter().enumerate() {
            let p = t.v.map(|i| vertices[k][i as usize]);
            let area =
                (p[1].x - p[0].x) * (p[2].y - p[0].y) - (p[2].x - p[0].x) * (p[1].y - p[0].y);
            if area >= 0.0 && matches!(t.face, Face::Skin | Face::Eye(_) | Face::Tongue) {
                continue;
            }
            let (x0, x1) = (
                p[0].x.min(p[1].x).min(p[2].x),
                p[0].x.max(p[1].x).max(p[2].x),
            );
            if x1 < 0.0 || x0 >= width as f32 {
                continue;
            }
            for band in bands_of(
                p[0].y.min(p[1].y).min(p[2].y),
                p[0].y.max(p[1].y).max(p[2].y),
            ) {
                if matches!(t.face, Face::Lens(_)) {
                    lenses[band].push(tag | i as u32);
                } else {
                    triangles[band].push(tag | i as u32);
                }
            }
        }
        for (i, s) in s.segments.iter().enumerate() {
            let (p, q) = (points[k][s.point as usize], points[k][s.point as usize + 1]);
            for band in bands_of(p.y.min(q.y) - 1.0, p.y.max(q.y) + 1.0) {
                segments[band].push(tag | i as u32);
            }
        }
    }
    let mut inverse = vec![0f32; width * height];
    let mut id = vec![EMPTY; width * height];
    inverse
        .par_chunks_mut(rows * width)
        .zip(id.par_chunks_mut(rows * width))
        .enumerate()
        .for_each(|(band, (z, id))| {
            let mut target = Band {
                z,
                id,
                width,
                top: band * rows,
                bottom: (band * rows + rows).min(height),
            };
            for &tagged in &triangles[band] {
                let (k, i) = ((tagged >> PERSON_SHIFT) as usize, (tagged & INDEX) as usize);
                let (b, t) = (people[k].0, &people[k].0.triangles[i]);
                let p = t.v.map(|i| vertices[k][i as usize]);
                let edge = match t.face {
                    Face::Layer(l) => {
                        let d = t.v.map(|i| {
                            b.layers[l as usize].inside2[i as usize - b.fine.layers[l as usize]]
                        });
                        d.iter().any(|d| *d < 0.0).then_some(d)
                    }
                    _ => None,
                };
                target.triangle(p, edge, tagged);
            }
            for &tagged in &segments[band] {
                let (k, i) = ((tagged >> PERSON_SHIFT) as usize, (tagged & INDEX) as usize);
                let s = &people[k].2.segments[i];
                let (p, q) = (points[k][s.point as usize], points[k][s.point as usize + 1]);
                target.segment(
                    p,
                    q,
                    s.width * view.size(p.inverse),
                    s.strand,
                    tagged | STRAND,
                );
            }
        });
    let worn = lenses.iter().any(|l| !l.is_empty());
    let mut lens = vec![EMPTY; if worn { width * height } else { 0 }];
    lens.par_chunks_mut(rows * width)
        .zip(inverse.par_chunks(rows * width))
        .enumerate()
        .for_each(|(band, (id, z))| {
            if lenses[band].is_empty() {
                return;
            }
            let mut z = z.to_vec();
            let mut target = Band {
                z: &mut z,
                id,
                width,
                top: band * rows,
                bottom: (band * rows + rows).min(height),
            };
            for &tagged in &lenses[band] {
                let (k, i) = ((tagged >> PERSON_SHIFT) as usize, (tagged & INDEX) as usize);
                let p = people[k].0.triangles[i].v.map(|i| vertices[k][i as usize]);
                target.triangle(p, None, tagged);
            }
        });
    Samples {
        width,
        id,
        inverse,
        lens,
        vertices,
    }
}

struct Band<'a> {
    z: &'a mut [f32],
    id: &'a mut [u32],
    width: usize,
    top: usize,
    bottom: usize,
}

impl Band<'_> {
    fn triangle(&mut self, p: [Projected; 3], edge: Option<[f32; 3]>, id: u32) {
        let area = (p[1].x - p[0].x) * (p[2].y - p[0].y) - (p[2].x - p[0].x) * (p[1].y - p[0].y);
        if area.abs() < 1e-9 {
            return;
        }
        let k = 1.0 / area;
        // First and last sample centres that can be inside.
        let first = |v: f32, low: usize| (v - 0.5).ceil().max(low as f32) as usize;
        let last = |v: f32, high: usize| ((v - 0.5).floor() + 1.0).clamp(0.0, high as f32) as usize;
        let x0 = first(p[0].x.min(p[1].x).min(p[2].x), 0);
        let x1 = last(p[0].x.max(p[1].x).max(p[2].x), self.width);
        let y0 = first(p[0].y.min(p[1].y).min(p[2].y), self.top);
        let y1 = last(p[0].y.max(p[1].y).max(p[2].y), self.bottom);
        let (ax, bx) = ((p[1].y - p[2].y) * k, (p[2].y - p[0].y) * k);
        for y in y0..y1 {
            let fy = y as f32 + 0.5;
            let fx = x0 as f32 + 0.5;
            let mut a = ((p[1].x - fx) * (p[2].y - fy) - (p[2].x - fx) * (p[1].y - fy)) * k;
            let mut b = ((p[2].x - fx) * (p[0].y - fy) - (p[0].x - fx) * (p[2].y - fy)) * k;
            let row = (y - self.top) * self.width;
            for x in x0..x1 {
                let c = 1.0 - a - b;
                if a >= 0.0 && b >= 0.0 && c >= 0.0 {
                    let z = p[0].inverse * a + p[1].inverse * b + p[2].inverse * c;
                    if z > self.z[row + x]
                        && edge.is_none_or(|d| d[0] * a + d[1] * b + d[2] * c >= 0.0)
                    {
                        self.z[row + x] = z;
                        self.id[row + x] = id;
                    }
                }
                a += ax;
                b += bx;
            }
        }
    }

    fn put(&mut self, x: f32, y: f32, z: f32, id: u32) {
        if x < 0.0 || y < self.top as f32 || x >= self.width as f32 || y >= self.bottom as f32 {
            return;
        }
        let o = (y as usize - self.top) * self.width + x as usize;
        if z > self.z[o] {
            self.z[o] = z;
            self.id[o] = id;
        }
    }

    /// A segment `width` samples thick; thinner than a sample it is drawn by chance, the same in every frame.
    fn segment(&mut self, p: Projected, q: Projected, width: f32, strand: u32, id: u32) {
        let chance = hash3(strand as i32, 77, 1);
        if width < 1.0 && chance > width {
            return;
        }
        let extra = (width - 1.0).max(0.0);
        let more = extra as usize + usize::from(chance < extra.fract());
        let (dx, dy) = (q.x - p.x, q.y - p.y);
        let steps = dx.abs().max(dy.abs()).ceil().max(1.0);
        let steep = dy.abs() > dx.abs();
        for i in 0..steps as usize {
            let t = (i as f32 + 0.5) / steps;
            let (x, y) = (p.x + dx * t, p.y + dy * t);
            let z = (p.inverse + (q.inverse - p.inverse) * t) * 1.0002;
            self.put(x, y, z, id);
            for k in 1..=more {
                let o = k as f32;
                self.put(
                    if steep { x + o } else { x },
                    if steep { y } else { y + o },
                    z,
                    id,
                );
            }
        }
    }
}
