//! Strands: head hair, beard, brows, lashes.

use std::collections::BTreeMap;

use glam::{Vec3, vec3};
use rayon::prelude::*;

use crate::garment::covering;
use crate::math::{Rng, hash, mix, noise, smooth, table};
use crate::person::{Covering, HairStyle, Person};
use crate::pose::Posed;
use crate::topology::{Surface, Topology, beard, brow, brow_coordinates, scalp};

/// What a strand belongs to.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(crate) enum Kind {
    /// Head hair, moved by the head's rotation.
    Head,
    /// Beard, moved by the skin at its root.
    Beard,
    /// Brow, moved by the skin at its root.
    Brow,
}

/// A place on the fine skin mesh: triangle number (2 per quad) and barycentric weights.
#[derive(Clone, Copy)]
pub(crate) struct Root {
    pub(crate) triangle: u32,
    pub(crate) weights: [f32; 3],
}

impl Root {
    pub(crate) fn vertices(&self, t: &Topology) -> [usize; 3] {
        let q = t.skin.mesh2.quads[self.triangle as usize / 2];
        if self.triangle.is_multiple_of(2) {
            [q[0], q[1], q[2]]
        } else {
            [q[0], q[2], q[3]]
        }
        .map(|i| i as usize)
    }

    pub(crate) fn at(&self, t: &Topology, values: &[Vec3]) -> Vec3 {
        let [a, b, c] = self.vertices(t);
        values[a] * self.weights[0] + values[b] * self.weights[1] + values[c] * self.weights[2]
    }
}

/// A strand; its points lie in [`Hair::points`].
#[derive(Clone, Copy)]
pub(crate) struct Strand {
    pub(crate) first: u32,
    pub(crate) count: u32,
    pub(crate) kind: Kind,
    /// Lighter or darker than its neighbours, -1..1.
    pub(crate) tone: f32,
    /// Thickness at the root, dm.
    pub(crate) width: f32,
    pub(crate) grey: bool,
    pub(crate) root: Root,
}

/// All strands of a person. Points of head hair are rest positions; those of beard and brows are offsets from
/// the root in the head's rest frame.
#[derive(Default)]
pub(crate) struct Hair {
    pub(crate) points: Vec<Vec3>,
    pub(crate) strands: Vec<Strand>,
}

/// Nearest-vertex look-up in a grid.
struct Near {
    cell: f32,
    map: BTreeMap<(i32, i32, i32), Vec<u32>>,
}

impl Near {
    fn new(p: &[Vec3], cell: f32) -> Self {
        let mut map: BTreeMap<_, Vec<u32>> = BTreeMap::new();
        for (i, q) in p.iter().enumerate() {
            let k = (*q / cell).floor();
            map.entry((k.x as i32, k.y as i32, k.z as i32))
                .or_default()
                .push(i as u32);
        }
        Self { cell, map }
    }

    fn get(&self, p: &[Vec3], q: Vec3) -> Option<usize> {
        let k = (q / self.cell).floor();
        let k = (k.x as i32, k.y as i32, k.z as i32);
        let mut best = (f32::INFINITY, None);
        for x in -1..=1 {
            for y in -1..=1 {
                for z in -1..=1 {
                    for &i in self
                        .map
                        .get(&(k.0 + x, k.1 + y, k.2 + z))
                        .into_iter()
                        .flatten()
                    {
                        let d = p[i as usize].distance_squared(q);
                        if d < best.0 {
                            best = (d, Some(i as usize));
                        }
                    }
                }
            }
        }
        best.1
    }
}

fn scatter(
    t: &Topology,
    p: &[Vec3],
    density: f32,
    rng: &mut Rng,
    share: &dyn Fn(Vec3, usize) -> f32,
) -> Vec<Root> {
    let mut out = Vec::new();
    for k in 0..t.skin.mesh2.quads.len() * 2 {
        if t.skin.mesh2.surface[k / 2] != Surface::Skin {
            continue;
        }
        let root = Root {
            triangle: k as u32,
            weights: [1.0 / 3.0; 3],
        };
        let v = root.vertices(t);
        let c = root.at(t, &t.skin.ref2);
        if c.y < 5.9 {
            continue;
        }
        let m = share(c, v[0]);
        if m <= 0.0 {
            continue;
        }
        let n = (p[v[1]] - p[v[0]]).cross(p[v[2]] - p[v[0]]).length() * 0.5 * density * m;
        let n = n as usize + usize::from(rng.unit() < n.fract());
        for _ in 0..n {
            let (mut u, mut w) = (rng.unit(), rng.unit());
            if u + w > 1.0 {
                u = 1.0 - u;
                w = 1.0 - w;
            }
            out.push(Root {
                triangle: k as u32,
                weights: [1.0 - u - w, u, w],
            });
        }
    }
    out
}

struct Style {
    density: f32,
    points: usize,
    length: f32,
    width: f32,
    /// Radius (dm) and turns of curls.
    curl: (f32, f32),
    /// Layer of hair above the skin: base and spread, dm.
    layer: (f32, f32),
}

fn style(s: HairStyle) -> Option<Style> {
    let make = |density, points, length, width, curl, layer| {
        Some(Style {
            density,
            points,
            length,
            width,
            curl,
            layer,
        })
    };
    match s {
        HairStyle::Bald => None,
        HairStyle::Cropped => make(5200.0, 3, 0.045, 0.0032, (0.0, 0.0), (0.0, 0.0)),
        HairStyle::Short => make(5200.0, 9, 0.40, 0.0040, (0.0, 0.0), (0.025, 0.11)),
        HairStyle::Swept => make(4200.0, 12, 0.62, 0.0040, (0.0, 0.0), (0.025, 0.12)),
        HairStyle::Afro => make(2100.0, 48, 0.60, 0.0036, (0.034, 4.5), (0.0, 0.0)),
        HairStyle::Coils => make(3400.0, 22, 0.17, 0.0036, (0.026, 2.0), (0.0, 0.0)),
        HairStyle::Bob => make(3000.0, 28, 1.75, 0.0042, (0.010, 1.2), (0.03, 0.17)),
        HairStyle::Wavy => make(2900.0, 56, 2.25, 0.0042, (0.042, 3.6), (0.035, 0.16)),
    }
}

/// Grows all strands on a person at rest.
pub(crate) fn grow(t: &Topology, rest: &Posed, p: &Person, joint: Vec3) -> Hair {
    let mut hair = Hair::default();
    let mut rng = Rng(p.seed.wrapping_mul(977));
    if !matches!(p.covering, Some(Covering::Scarf(_)))
        && let Some(s) = style(p.hair.style)
    {
        head(t, rest, p, joint, &s, &mut rng, &mut hair);
    }
    if p.beard.length > 0.0 {
        beard_strands(t, rest, p, &mut rng, &mut hair);
    }
    brows(t, rest, p, &mut rng, &mut hair);
    hair
}

/// Share of hair in front of the ears: none where long hair or a round cut leaves the cheek free.
pub(crate) fn sideburn(p: &Person, c: Vec3) -> f32 {
    let free = matches!(
        p.hair.style,
        HairStyle::Bob | HairStyle::Wavy | HairStyle::Afro
    ) || p.male < 0.5;
    if free && c.z > 0.40 {
        smooth(7.36, 7.46, c.y)
    } else {
        1.0
    }
}

fn head(
    t: &Topology,
    rest: &Posed,
    p: &Person,
    joint: Vec3,
    s: &Style,
    rng: &mut Rng,
    hair: &mut Hair,
) {
    let long = matches!(p.hair.style, HairStyle::Bob | HairStyle::Wavy);
    let upright = matches!(
        p.hair.style,
        HairStyle::Afro | HairStyle::Coils | HairStyle::Cropped
    );
    let skull = joint + vec3(0.0, 1.0, 0.25);
    let near = Near::new(&rest.p1, 0.25);
    let ear1 = {
        // Ear mask at the coarser level: the first fine vertices are the coarse ones.
        t.ear[..rest.p1.len()].to_vec()
    };
    let roots = scatter(t, &rest.p2, s.density, rng, &|c, i| {
        if t.ear[i] > 0.15 || p.covering.is_some_and(|k| covering(&k, c) > -0.02) {
            return 0.0;
        }
        let sideburn = sideburn(p, c);
        smooth(-0.05, 0.09, scalp(c, p.hair.recede))
            * sideburn
            * if upright {
                1.0
            } else {
                1.0 + 0.5 * smooth(0.25, 0.0, scalp(c, p.hair.recede))
            }
    });
    let strands: Vec<(Vec<Vec3>, Root, f32, u32)> = roots
        .par_iter()
        .enumerate()
        .map(|(k, root)| {
            let seed = hash(k as u32 ^ (p.seed << 8));
            let mut rng = Rng(seed);
            let start = root.at(t, &rest.p2);
            let n = root.at(t, &rest.n2).normalize();
            let r = root.at(t, &t.skin.ref2);
            // Strands of one lock share their noise.
            let lock = |f: f32, o: f32| {
                vec3(
                    noise(r * f + Vec3::splat(o)),
                    noise(r * f + Vec3::splat(o + 31.0)),
                    noise(r * f + Vec3::splat(o + 59.0)),
                )
            };
            let edge = smooth(-0.02, 0.22, scalp(r, p.hair.recede));
            let length = s.length
                * (0.78 + 0.35 * rng.unit())
                * if long { 1.0 } else { mix(0.45, 1.0, edge) };
            let points = s.points;
            let step = length / points as f32;
            let parting =
                -0.26 + 0.07 * noise(vec3(0.0, r.y * 5.0, r.z * 5.0)) + 0.06 * rng.signed();
            let side = if start.x - skull.x > parting {
                1.0
            } else {
                -1.0
            };
            let top = smooth(7.6, 8.2, r.y);
            let front = smooth(0.2, 1.2, r.z);
            let mut d = match p.hair.style {
                HairStyle::Short => (n * (0.14 + 0.34 * front * top)
                    + vec3(0.42, 0.06 * front, 0.42 * top - 0.15)
                    + vec3(0.0, -0.9, -0.15) * (1.0 - top)
                    + lock(4.0, 1.0) * 0.28
                    + rng.vec() * 0.08)
                    .normalize(),
                HairStyle::Swept => (n * (0.30 + 0.35 * front * top)
                    + vec3(0.15, 0.25 * top, -0.75)
                    + vec3(0.0, -0.5, -0.2) * (1.0 - smooth(7.4, 8.0, r.y))
                    + lock(4.0, 1.0) * 0.30
                    + rng.vec() * 0.08)
                    .normalize(),
                HairStyle::Bob | HairStyle::Wavy => {
                    let back = smooth(0.9, 0.0, r.z);
                    let temple = 1.0 - top;
                    // Flat at the parting, fuller away from it.
                    let full = mix(
                        0.3,
                        1.0,
                        smooth(0.0, 0.45, (start.x - skull.x - parting).abs()),
                    );
                    (n * mix(0.45 * full, 0.18, temple)
                        + vec3(
                            side * mix(0.75, 0.25, back),
                            0.05 - 0.5 * temple,
                            -0.40 - 0.35 * front,
                        )
                        + lock(4.0, 1.0) * 0.22
                        + rng.vec() * 0.06)
                        .normalize()
                }
                _ => (n + lock(6.0, 1.0) * 0.28 + rng.vec() * 0.12 + vec3(0.0, 0.08, 0.0))
                    .normalize(),
            };
            let layer_draw = hash(seed ^ 0x55aa) as f32 / 4_294_967_296.0;
            let loose = if rng.unit() < 0.10 { 1.0 } else { 0.22 };
            let phase = noise(r * 3.2) * 5.0 + rng.signed() * if long { loose } else { 3.1 };
            let curl = s.curl.0 * (1.0 + 0.3 * loose * rng.signed());
            let rng_pace = rng.signed();
            let (mut ax, mut ay) = (
                d.any_orthonormal_vector(),
                d.cross(d.any_orthonormal_vector()),
            );
            let mut q = start;
            let mut out = Vec::with_capacity(points + 1);
            out.push(start);
            let mut resting = 0;
            for i in 1..=points {
                let f = i as f32 / points as f32;
                if long {
                    let hang = vec3(side * 0.06, -1.0, if r.z > 0.9 { -0.22 } else { -0.05 });
                    let g = (if f < 0.15 { 0.13 } else { 0.30 }) * 36.0 / points as f32;
                    d = (d * (1.0 - g)
                        + hang * g
                        + lock(3.0, 9.0 + f * 2.5) * (0.09 * 36.0 / points as f32))
                        .normalize();
                } else if p.hair.style == HairStyle::Short {
                    d = (d + vec3(0.0, -0.09, 0.0) + lock(7.0, 5.0) * 0.10).normalize();
                } else if p.hair.style == HairStyle::Swept {
                    d = (d + vec3(0.0, -0.11, -0.10) + lock(5.0, 5.0) * 0.08).normalize();
                } else {
                    d = (d + lock(11.0, 3.0 + f * 3.0) * 0.06 + rng.vec() * 0.05).normalize();
                }
                q += d * step;
                if s.layer.1 > 0.0
                    && let Some(v) = near.get(&rest.p1, q)
                {
                    let ear = ear1[v];
                    if !long && ear > 0.15 {
                        break;
                    }
                    let height = (s.layer.0 + s.layer.1 * layer_draw) * (f * 3.2).min(1.0)
                        + if long { 0.06 * ear } else { 0.0 };
                    let out_by = (q - rest.p1[v]).dot(rest.n1[v]);
                    if out_by < height {
                        // Ends lie on the shoulder; they do not slide off along it.
                        resting += usize::from(long && q.y < 6.0);
                        if resting > points / 9 {
                            break;
                        }
                        q += rest.n1[v] * (height - out_by);
                        let k = d.dot(rest.n1[v]);
                        if k < 0.0 {
                            d = (d - rest.n1[v] * k * 0.9).normalize();
                        }
                    }
                }
                if long {
                    // Keep clear of the face.
                    let c = q - skull;
                    if c.z > 0.55 && c.y < 0.50 && c.x.abs() < 0.85 {
                        q.x += side * 1.8 / points as f32;
                        q.z -= 1.4 / points as f32;
                    }
                }
                ay = d.cross(ax).normalize_or(ay);
                ax = ay.cross(d).normalize_or(ax);
                let pace = if long {
                    1.0 + 0.10 * noise(r * 4.0) + 0.04 * rng_pace
                } else {
                    0.8 + 0.4 * layer_draw
                };
                let a = s.curl.1 * std::f32::consts::TAU * f * pace + phase;
                out.push(q + (ax * a.cos() + ay * a.sin()) * curl * (f * 4.0).min(1.0));
            }
            (out, *root, rng.signed(), seed)
        })
        .collect();
    for (points, root, tone, seed) in strands {
        if points.len() < 2 {
            continue;
        }
        hair.strands.push(Strand {
            first: hair.points.len() as u32,
            count: points.len() as u32,
            kind: Kind::Head,
            tone,
            width: s.width,
            grey: hash(seed ^ 0x1234) as f32 / 4_294_967_296.0 < p.hair.grey,
            root,
        });
        hair.points.extend(points);
    }
}

fn beard_strands(t: &Topology, rest: &Posed, p: &Person, rng: &mut Rng, hair: &mut Hair) {
    let roots = scatter(t, &rest.p2, 6500.0 * p.beard.cover, rng, &|c, i| {
        if t.lips[i] > 0.2 || t.mouth[i] > 0.2 || t.ear[i] > 0.2 {
            0.0
        } else {
            beard(c)
        }
    });
    for root in roots {
        let n = root.at(t, &rest.n2).normalize();
        let r = root.at(t, &t.skin.ref2);
        // Short at the edges, long at the chin.
        let chin = bump_chin(r);
        let length = p.beard.length
            * (0.45 + 0.75 * rng.unit())
            * (0.55 + 0.75 * chin)
            * (0.5 + 0.5 * beard(r));
        let lock = vec3(
            noise(r * 7.0),
            noise(r * 7.0 + Vec3::splat(20.0)),
            noise(r * 7.0 + Vec3::splat(40.0)),
        );
        let moustache = r.y > 6.62 && r.x.abs() < 0.36 && r.z > 1.2;
        let side = if r.x > 0.0 { 1.0 } else { -1.0 };
        let lay = if moustache {
            vec3(side * 0.75, -0.75, 0.1)
        } else {
            vec3(side * 0.05, -0.85, 0.0)
        };
        let mut d = (n * 0.55 + lay + lock * 0.35 + rng.vec() * 0.22).normalize();
        let mut q = Vec3::ZERO;
        let first = hair.points.len() as u32;
        hair.points.push(q);
        for _ in 0..5 {
            q += d * length / 5.0;
            hair.points.push(q);
            d = (d + lock * 0.14 + rng.vec() * 0.16 + vec3(0.0, -0.10, 0.0) - n * 0.08).normalize();
        }
        let grey = rng.unit() < p.hair.grey;
        hair.strands.push(Strand {
            first,
            count: 6,
            kind: Kind::Beard,
            tone: rng.signed(),
            width: 0.0038,
            grey,
            root,
        });
    }
}

fn bump_chin(r: Vec3) -> f32 {
    crate::math::bump(r, vec3(0.0, 6.35, 1.45), 0.35)
}

fn brows(t: &Topology, rest: &Posed, p: &Person, rng: &mut Rng, hair: &mut Hair) {
    let roots = scatter(t, &rest.p2, 9000.0 * p.hair.brow_density, rng, &|c, _| {
        brow(c)
    });
    for root in roots {
        let r = root.at(t, &t.skin.ref2);
        let n = root.at(t, &rest.n2).normalize();
        let side = if r.x > 0.0 { 1.0 } else { -1.0 };
        let (along, across) = brow_coordinates(r).unwrap_or((0.5, 0.0));
        let up = table(&[(0.0, 1.0), (0.3, 0.50), (0.6, 0.02), (1.0, -0.45)], along)
            - 0.30 * across.clamp(-1.0, 1.0);
        let out = table(&[(0.0, 0.25), (0.2, 0.75), (1.0, 1.0)], along);
        let d = vec3(side * out, up, 0.0) + rng.vec() * 0.20;
        let mut d = (d - n * d.dot(n)).normalize() + n * 0.30;
        let length = 0.070 * (0.5 + 0.7 * rng.unit());
        let mut q = n * 0.002;
        let first = hair.points.len() as u32;
        hair.points.push(q);
        for _ in 0..4 {
            q += d.normalize() * length / 4.0;
            hair.points.push(q);
            d -= n * 0.17;
        }
        let grey = rng.unit() < p.hair.grey * 0.4;
        hair.strands.push(Strand {
            first,
            count: 5,
            kind: Kind::Brow,
            tone: rng.signed(),
            width: 0.0034,
            grey,
            root,
        });
    }
}
