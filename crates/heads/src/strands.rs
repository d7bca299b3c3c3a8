//! Strands of one frame: world points and segments of hair, beard, brows and lashes.

use glam::{Vec3, vec3};
use rayon::prelude::*;

use crate::baked::{Baked, Geometry};
use crate::data::HeadData;
use crate::hair::Kind;
use crate::math::{hash3, smooth};

/// What a segment is made of.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(crate) enum Fibre {
    Head,
    Beard,
    Brow,
    Lash,
}

/// A straight piece of a strand, from `point` to `point + 1`.
#[derive(Clone, Copy)]
pub(crate) struct Segment {
    pub(crate) point: u32,
    /// Strand number; lashes come after the strands of the person.
    pub(crate) strand: u32,
    pub(crate) fibre: Fibre,
    /// Thickness, dm.
    pub(crate) width: f32,
    /// 0 at the root, 1 at the tip.
    pub(crate) along: f32,
}

/// All strands of one person in one frame.
pub(crate) struct Strands {
    pub(crate) points: Vec<Vec3>,
    pub(crate) segments: Vec<Segment>,
}

impl Strands {
    pub(crate) fn new(data: &HeadData, b: &Baked, g: &Geometry) -> Self {
        let t = &data.topology;
        let rotation = g.turn.head_rotation();
        let blocks: Vec<Vec<Vec3>> = b
            .hair
            .strands
            .par_chunks(512)
            .map(|chunk| {
                let mut out = Vec::new();
                for s in chunk {
                    let p = &b.hair.points[s.first as usize..(s.first + s.count) as usize];
                    if s.kind == Kind::Head {
                        // Long hair follows the head above and rests on the shoulders below.
                        out.extend(p.iter().map(|p| {
                            let k = smooth(5.3, 6.5, p.y);
                            g.turn.point(*p, k, (1.0 - k) * 0.25)
                        }));
                    } else {
                        let root = s.root.at(t, &g.position);
                        out.extend(p.iter().map(|o| root + rotation * *o));
                    }
                }
                out
            })
            .collect();
        let mut points = Vec::with_capacity(b.hair.points.len() + 4096);
        for block in blocks {
            points.extend(block);
        }
        let mut segments = Vec::with_capacity(points.len());
        let mut at = 0u32;
        for (k, s) in b.hair.strands.iter().enumerate() {
            let fibre = match s.kind {
                Kind::Head => Fibre::Head,
                Kind::Beard => Fibre::Beard,
                Kind::Brow => Fibre::Brow,
            };
            for j in 0..s.count - 1 {
                let along = j as f32 / (s.count - 1) as f32;
                segments.push(Segment {
                    point: at + j,
                    strand: k as u32,
                    fibre,
                    width: s.width * (1.0 - 0.6 * along * along),
                    along,
                });
            }
            at += s.count;
        }
        lashes(data, b, g, &mut points, &mut segments);
        Self { points, segments }
    }
}

fn lashes(
    data: &HeadData,
    b: &Baked,
    g: &Geometry,
    points: &mut Vec<Vec3>,
    segments: &mut Vec<Segment>,
) {
    let rotation = g.turn.head_rotation();
    let five = |c: &[Vec3]| -> Vec<Vec3> {
        (0..5)
            .map(|i| {
                let f = i as f32 / 4.0 * (c.len() - 1) as f32;
                let k = (f as usize).min(c.len() - 2);
                c[k].lerp(c[k + 1], f - k as f32)
            })
            .collect()
    };
    let scale = if b.person.male > 0.5 { 0.78 } else { 1.05 };
    let mut number = b.hair.strands.len() as u32;
    let mut before: Option<(usize, bool, Vec<Vec3>)> = None;
    for (k, (lash, chain)) in data.topology.lashes.iter().zip(&g.lashes).enumerate() {
        let here = five(chain);
        if let Some((eye, upper, last)) = &before
            && (*eye, *upper) == (lash.eye, lash.upper)
        {
            let n = if lash.upper { 6 } else { 4 };
            for j in 0..n {
                let f = (j as f32 + 0.8 * hash3(k as i32, j, 9)) / n as f32;
                let length = scale
                    * (if lash.upper { 1.0 } else { 0.62 })
                    * (0.7 + 0.5 * hash3(k as i32, j, 2));
                let root = last[0].lerp(here[0], f);
                points.push(root);
                for i in 1..5 {
                    let q = last[i].lerp(here[i], f);
                    let bend = if lash.upper {
                        0.014 * (i as f32 / 4.0).powi(2)
                    } else {
                        0.0
                    };
                    points.push(root + (q - root) * length + rotation * vec3(0.0, bend, 0.0));
                    segments.push(Segment {
                        point: points.len() as u32 - 2,
                        strand: number,
                        fibre: Fibre::Lash,
                        width: 0.0036 * (1.0 - 0.2 * i as f32) * if lash.upper { 1.0 } else { 0.6 },
                        along: i as f32 / 4.0,
                    });
                }
                number += 1;
            }
        }
        before = Some((lash.eye, lash.upper, here));
    }
}
