//! Irradiance of every light at every vertex of a person in one frame.
//!
//! Per fine vertex and light four numbers: irradiance spread a little below the skin (short wavelengths), spread
//! further (long wavelengths), light reflected once by the person's own skin, and the visible share of the
//! source. Per ambient two: irradiance and open share. The last number is the hidden share of the hemisphere.

use glam::{Mat3, Vec3};
use rayon::prelude::*;

use crate::baked::{Baked, Geometry};
use crate::data::HeadData;
use crate::math::sphere;
use crate::scene::{Light, Placement, Scene};
use crate::shadow::ShadowMap;
use crate::topology::Surface;
use crate::visibility::{DIRECTIONS, HAIR_DIRECTIONS};

/// Below this half angle shadows come from a shadow map.
pub(crate) const HARD: f32 = 0.14;

/// Order of the numbers of a vertex.
#[derive(Clone, Copy)]
pub(crate) struct Layout {
    pub(crate) lights: usize,
    pub(crate) ambients: usize,
}

impl Layout {
    pub(crate) fn stride(self) -> usize {
        4 * self.lights + 2 * self.ambients + 1
    }

    pub(crate) fn ambient(self, a: usize) -> usize {
        4 * self.lights + 2 * a
    }
}

/// A light as one person sees it.
#[derive(Clone, Copy)]
pub(crate) struct Seen {
    /// From the head toward the light.
    pub(crate) direction: Vec3,
    pub(crate) half: f32,
}

/// Light on one person in one frame.
pub(crate) struct Lit {
    pub(crate) layout: Layout,
    /// Rows of [`Layout::stride`] numbers by fine vertex.
    pub(crate) rows: Vec<f32>,
    /// Rows of lights + ambients by voxel of hair.
    pub(crate) hair: Vec<f32>,
    pub(crate) seen: Vec<Seen>,
}

/// Share of a light's nominal irradiance at a point: distance and things in the way.
pub(crate) fn strength(l: &Light, focus: Vec3, p: Vec3) -> f32 {
    let mut k = l.irradiance;
    if l.falloff {
        k *= l.position.distance_squared(focus) / l.position.distance_squared(p).max(0.25);
    }
    for s in &l.shades {
        k *= s.at(p);
    }
    k
}

fn lobe(cosine: f32, half: f32) -> f32 {
    let x = (cosine - 1.0) * 1.4 / (half * half);
    if x < -9.0 { 0.0 } else { x.exp() }
}

/// Weights of the baked directions for every light: for irradiance and for the visible share.
fn lobes(seen: &[Seen], rotation: Mat3, directions: &[Vec3]) -> Vec<Vec<(u16, Vec3, f32, f32)>> {
    seen.iter()
        .map(|s| {
            let half = s.half.max(0.2);
            let mut list: Vec<(u16, Vec3, f32, f32)> = directions
                .iter()
                .enumerate()
                .map(|(k, d)| (k as u16, rotation * *d))
                .map(|(k, d)| (k, d, lobe(d.dot(s.direction), half), 0.0))
                .filter(|x| x.2 > 0.0)
                .collect();
            let facing: f32 = list
                .iter()
                .map(|x| x.2 * x.1.dot(s.direction).max(0.0))
                .sum::<f32>()
                .max(1e-9);
            let total: f32 = list.iter().map(|x| x.2).sum::<f32>().max(1e-9);
            for x in &mut list {
                x.3 = x.2 / total;
                x.2 /= facing;
            }
            list
        })
        .collect()
}

impl Lit {
    pub(crate) fn new(
        data: &HeadData,
        b: &Baked,
        g: &Geometry,
        place: &Placement,
        scene: &Scene,
        shadows: &[Option<ShadowMap>],
    ) -> Self {
        let t = &data.topology;
        let layout = Layout {
            lights: scene.lights.len(),
            ambients: scene.ambients.len(),
        };
        let stride = layout.stride();
        let middle =
            (g.eyes[0] + g.eyes[1]) * 0.5 - g.turn.head_rotation() * Vec3::new(0.0, 0.3, 0.3);
        let seen: Vec<Seen> = scene
            .lights
            .iter()
            .map(|l| {
                let d = l.position - middle;
                Seen {
                    direction: d.normalize_or(Vec3::Z),
                    half: (l.radius / d.length().max(0.1)).atan().clamp(0.005, 1.2),
                }
            })
            .collect();

        let coarse = coarse_rows(b, g, place, scene, &seen, layout, &follow(data, b));
        let mut rows = Vec::with_capacity(b.fine.total * stride);
        let n1 = t.skin.ref1.len();
        t.skin
            .from1
            .apply_rows(&coarse[..n1 * stride], stride, &mut rows);
        for (k, l) in b.layers.iter().enumerate() {
            let part = l.part(t);
            let at = b.coarse.layers[k] * stride;
            part.from1.apply_rows(
                &coarse[at..at + part.ref1.len() * stride],
                stride,
                &mut rows,
            );
        }
        rows.extend_from_slice(&coarse[b.coarse.eyes * stride..]);

        // Distance, things in the way and hard shadows at the fine vertices.
        rows.par_chunks_mut(stride)
            .with_min_len(1024)
            .enumerate()
            .for_each(|(i, row)| {
                let (p, n) = (g.position[i], g.normal[i]);
                // Folds of cloth are finer than the probes: their sides turn to the light or away from it, and
                // their bottoms see less of the room.
                let turned = n - g.smooth_normal[i];
                let open = (1.0 + 3.0 * g.relief[i].min(0.0)).max(0.6);
                for (a, ambient) in scene.ambients.iter().enumerate() {
                    let o = layout.ambient(a);
                    let tilt = turned.y * (ambient.up - ambient.down) / 3.0;
                    row[o] = (row[o] + tilt * row[o + 1]).max(0.0) * open;
                }
                for (k, l) in scene.lights.iter().enumerate() {
                    let s = strength(l, scene.focus, p);
                    if let Some(map) = &shadows[k] {
                        let cosine = n.dot((l.position - p).normalize());
                        let half = seen[k].half.sin();
                        // A disc of this size is cut by the horizon over +-half.
                        let lit = if cosine > half {
                            cosine
                        } else if cosine > -half {
                            (cosine + half).powi(2) / (4.0 * half)
                        } else {
                            0.0
                        };
                        let visible = if lit > 0.0 {
                            map.visible(p, n, i as u32)
                        } else {
                            0.0
                        };
                        row[4 * k] = lit * visible;
                        row[4 * k + 3] = visible;
                    } else {
                        row[4 * k] += turned.dot(seen[k].direction) * row[4 * k + 3];
                        row[4 * k] *= open;
                    }
                    row[4 * k] = row[4 * k].max(0.0) * s;
                    row[4 * k + 3] = row[4 * k + 3].clamp(0.0, 1.0) * s;
                    row[4 * k + 1] = row[4 * k];
                }
            });

        below_the_skin(data, &mut rows, layout);
        own_light(b, &mut rows, layout);
        let hair = hair_rows(b, g, scene, &seen, layout);
        Self {
            layout,
            rows,
            hair,
            seen,
        }
    }
}

/// How far each probe follows the head's rotation.
fn follow(data: &HeadData, b: &Baked) -> Vec<f32> {
    let t = &data.topology;
    let mut out = t.skin.follow1.clone();
    for l in &b.layers {
        out.extend(l.bones1.iter().map(|b| (b.x + b.y * 0.45).min(1.0)));
    }
    out.resize(
        b.coarse.extras.first().copied().unwrap_or(b.coarse.total),
        1.0,
    );
    for e in &b.extras {
        out.extend(e.bones.iter().map(|b| (b.x + b.y * 0.45).min(1.0)));
    }
    out
}

fn coarse_rows(
    b: &Baked,
    g: &Geometry,
    place: &Placement,
    scene: &Scene,
    seen: &[Seen],
    layout: Layout,
    follow: &[f32],
) -> Vec<f32> {
    let stride = layout.stride();
    let directions = sphere(DIRECTIONS);
    let frames = [g.turn.head_rotation(), g.turn.body].map(|r| {
        let world: Vec<Vec3> = directions.iter().map(|d| r * *d).collect();
        let domes: Vec<Vec<f32>> = scene
            .ambients
            .iter()
            .map(|a| world.iter().map(|d| a.radiance(*d)).collect())
            .collect();
        (world, lobes(seen, r, &directions), domes)
    });
    let mut moving = vec![u32::MAX; b.coarse.total];
    for (k, &i) in b.moving.iter().enumerate() {
        moving[i as usize] = k as u32;
    }
    let (shut, open) = (
        place.expression.blink.clamp(0.0, 1.0),
        place.expression.open.clamp(0.0, 1.0),
    );
    let changed = shut > 0.02 || open > 0.02;
    let mut rows = vec![0f32; b.coarse.total * stride];
    rows.par_chunks_mut(stride)
        .with_min_len(256)
        .enumerate()
        .for_each(|(i, row)| {
            let n = g.coarse_normal[i];
            let mut mixed = [0u8; DIRECTIONS];
            let sight: &[u8; DIRECTIONS] = if changed && moving[i] != u32::MAX {
                let (s, o) = (
                    &b.seen_shut[moving[i] as usize],
                    &b.seen_open[moving[i] as usize],
                );
                for k in 0..DIRECTIONS {
                    let x = f32::from(b.seen[i][k]);
                    mixed[k] = (x + (f32::from(s[k]) - x) * shut + (f32::from(o[k]) - x) * open)
                        .clamp(0.0, 255.0) as u8;
                }
                &mixed
            } else {
                &b.seen[i]
            };
            let head = follow[i];
            for (frame, weight) in [(&frames[0], head), (&frames[1], 1.0 - head)] {
                if weight < 0.03 {
                    continue;
                }
                let weight = if weight > 0.97 { 1.0 } else { weight };
                for (k, list) in frame.1.iter().enumerate() {
                    if seen[k].half < HARD {
                        continue;
                    }
                    let (mut e, mut v) = (0.0, 0.0);
                    for (d, w, irradiance, share) in list {
                        let x = f32::from(sight[*d as usize]);
                        e += irradiance * x * w.dot(n).max(0.0);
                        v += share * x;
                    }
                    row[4 * k] += weight * e / 255.0;
                    row[4 * k + 3] += weight * v / 255.0;
                }
                let at = layout.ambient(0);
                for (k, (d, &x)) in frame.0.iter().zip(sight.iter()).enumerate() {
                    let c = d.dot(n) * f32::from(x) * weight;
                    if c > 0.0 {
                        for (a, dome) in frame.2.iter().enumerate() {
                            row[at + 2 * a] += dome[k] * c;
                            row[at + 2 * a + 1] += c;
                        }
                    }
                }
            }
            // 4 pi / directions of solid angle each, over pi; 2 / directions for the open share.
            for a in 0..layout.ambients {
                row[layout.ambient(a)] *= 4.0 / (255.0 * DIRECTIONS as f32);
                row[layout.ambient(a) + 1] *= 4.0 / (255.0 * DIRECTIONS as f32);
            }
            row[stride - 1] = b.hidden[i];
        });
    rows
}

/// Diffusion of light below the skin over the mesh, a little for short wavelengths, further for long ones.
fn below_the_skin(data: &HeadData, rows: &mut [f32], layout: Layout) {
    let t = &data.topology;
    let stride = layout.stride();
    let n = t.skin.ref2.len();
    let mut skin = vec![false; n];
    for (q, s) in t.skin.mesh2.quads.iter().zip(&t.skin.mesh2.surface) {
        if *s == Surface::Skin {
            q.iter().for_each(|&i| skin[i as usize] = true);
        }
    }
    let channels: Vec<(usize, &[f32])> = (0..layout.lights)
        .flat_map(|l| {
            [
                (4 * l, &[0.5, 0.4][..]),
                (4 * l + 1, &[0.6, 0.6, 0.6, 0.6, 0.6, 0.6, 0.6][..]),
            ]
        })
        .collect();
    let spread: Vec<Vec<f32>> = channels
        .par_iter()
        .map(|(c, steps)| {
            let mut e: Vec<f32> = (0..n).map(|i| rows[i * stride + c]).collect();
            let mut o = e.clone();
            for step in *steps {
                for i in 0..n {
                    let near = t.neighbours2.of(i);
                    if skin[i] && !near.is_empty() {
                        let mean =
                            near.iter().map(|&j| e[j as usize]).sum::<f32>() / near.len() as f32;
                        o[i] = e[i] + (mean - e[i]) * step;
                    }
                }
                std::mem::swap(&mut e, &mut o);
            }
            e
        })
        .collect();
    for ((c, _), e) in channels.iter().zip(&spread) {
        for (i, x) in e.iter().enumerate() {
            rows[i * stride + c] = *x;
        }
    }
}

/// Light reflected once by the person: the hidden part of the hemisphere is filled with skin (or cloth) lit as
/// the front of the person is on average. 0.7 stands for what is hidden being shaded itself.
fn own_light(b: &Baked, rows: &mut [f32], layout: Layout) {
    let stride = layout.stride();
    for l in 0..layout.lights {
        let (mut sum, mut n) = (0.0f64, 0.0f64);
        for (i, p) in b.paint.iter().enumerate() {
            if p.relief > 0.5 && p.cavity < 0.5 {
                sum += f64::from(rows[i * stride + 4 * l]);
                n += 1.0;
            }
        }
        let mean = (sum / n.max(1.0)) as f32;
        rows.par_chunks_mut(stride)
            .with_min_len(4096)
            .for_each(|row| {
                row[4 * l + 2] = 0.7 * row[stride - 1].clamp(0.0, 1.0) * mean;
            });
    }
}

fn hair_rows(b: &Baked, g: &Geometry, scene: &Scene, seen: &[Seen], layout: Layout) -> Vec<f32> {
    let width = layout.lights + layout.ambients;
    let directions = sphere(HAIR_DIRECTIONS);
    let rotation = g.turn.head_rotation();
    let wide: Vec<Seen> = seen
        .iter()
        .map(|s| Seen {
            half: s.half.max(0.3),
            ..*s
        })
        .collect();
    let lists = lobes(&wide, rotation, &directions);
    let domes: Vec<Vec<f32>> = scene
        .ambients
        .iter()
        .map(|a| {
            directions
                .iter()
                .map(|d| a.radiance(rotation * *d))
                .collect()
        })
        .collect();
    let mut rows = vec![0f32; b.grid.seen.len() * width];
    rows.par_chunks_mut(width.max(1))
        .zip(&b.grid.seen)
        .with_min_len(512)
        .for_each(|(row, sight)| {
            for (k, list) in lists.iter().enumerate() {
                row[k] = list
                    .iter()
                    .map(|x| x.3 * f32::from(sight[x.0 as usize]))
                    .sum::<f32>()
                    / 255.0;
            }
            for (a, dome) in domes.iter().enumerate() {
                row[layout.lights + a] = dome
                    .iter()
                    .zip(sight)
                    .map(|(r, x)| r * f32::from(*x))
                    .sum::<f32>()
                    / (255.0 * HAIR_DIRECTIONS as f32);
            }
        });
    rows
}
