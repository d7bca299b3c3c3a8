//! Garments and head coverings: offset layers grown from the body, collars and small parts as extra meshes.

use glam::{Vec2, Vec3, vec2, vec3};

use crate::math::{bump, fractal, mix, noise, smooth, table};
use crate::person::{Covering, Cut, Garment, Local, Pattern, Person, Region};
use crate::pose::{Joints, lower_arms, normals};
use crate::topology::{Part, Topology};

/// Which shared part a layer grows from.
#[derive(Clone, Copy, PartialEq, Eq)]
pub(crate) enum Shell {
    Torso,
    Hood,
}

/// One layer of cloth.
pub(crate) struct Layer {
    pub(crate) shell: Shell,
    pub(crate) local: Local,
    pub(crate) region: Region,
    /// Rest positions of `mesh1`, before the head turns.
    pub(crate) rest1: Vec<Vec3>,
    /// Shares of head and neck bones by `mesh1` vertex.
    pub(crate) bones1: Vec<Vec2>,
    /// Signed distance inside the cloth's edge by `mesh2` vertex, reference dm; cloth where it is >= 0.
    pub(crate) inside2: Vec<f32>,
    /// Displacement along the normal by `mesh2` vertex: folds, hems.
    pub(crate) relief2: Vec<f32>,
    pub(crate) rib: bool,
}

impl Layer {
    pub(crate) fn part<'a>(&self, t: &'a Topology) -> &'a Part {
        match self.shell {
            Shell::Torso => &t.torso,
            Shell::Hood => &t.hood,
        }
    }
}

/// A small mesh that is not part of the base: collars, buttons, spectacles.
pub(crate) struct Extra {
    pub(crate) local: Local,
    pub(crate) region: Region,
    pub(crate) rest: Vec<Vec3>,
    pub(crate) bones: Vec<Vec2>,
    pub(crate) quads: Vec<[u32; 4]>,
    /// Whether it throws baked shadows.
    pub(crate) solid: bool,
    /// Which eye it is a lens for, if it is one.
    pub(crate) lens: Option<u8>,
}

/// Signed distance inside the edge of the main garment (positive = cloth), in reference coordinates.
pub(crate) fn neckline(g: &Garment, p: Vec3) -> f32 {
    if p.y > 6.05 {
        return -1.0;
    }
    // Ring about the neck (half width, front, back), height of its front in the middle, its rise to the side.
    let (rx, front, back, low, rise) = match g.cut {
        Cut::Crew => (0.74, 0.84, 0.62, 5.40, 0.42),
        Cut::Vee => (0.76, 0.84, 0.62, 5.12, 0.74),
        Cut::Roll => (0.60, 0.72, 0.52, 5.50, 0.30),
        Cut::Shirt => (0.66, 0.80, 0.58, 5.08, 0.72),
        Cut::Jacket => (0.72, 0.80, 0.60, 5.44, 0.38),
        Cut::Boat => (1.02, 0.95, 0.66, 5.42, 0.34),
    };
    let x = p.x / rx;
    let z = (p.z - 0.02) / if p.z > 0.02 { front } else { back };
    let ring = ((x * x + z * z).sqrt() - 1.0) * 0.72;
    // In front the edge is a line drawn on the chest: round, or pointed for a vee.
    let u = (p.x.abs() / (rx * 0.86)).min(1.4);
    let curve = if matches!(g.cut, Cut::Vee | Cut::Shirt) {
        (u * u + 0.004).sqrt()
    } else {
        u * u
    };
    let chest = (low + rise * curve - p.y)
        * if matches!(g.cut, Cut::Vee | Cut::Shirt) {
            0.70
        } else {
            0.92
        };
    // Behind it is a level line below the nape.
    let nape = (if g.cut == Cut::Boat { 5.72 } else { 5.84 } - p.y) * 0.92;
    let back = mix(ring, nape, smooth(0.05, -0.30, p.z));
    mix(back, chest, smooth(0.10, 0.50, p.z))
        .max(4.75 - p.y)
        .min(0.9)
}

/// Signed distance inside a jacket worn over the main garment.
fn jacket(p: Vec3) -> f32 {
    let x = p.x / 0.80;
    let z = (p.z - 0.02) / if p.z > 0.02 { 0.80 } else { 0.60 };
    let ring = ((x * x + z * z).sqrt() - 1.0) * 0.75;
    if p.y > 6.05 {
        return -1.0;
    }
    let opening = table(
        &[
            (3.3, 0.05),
            (3.9, 0.10),
            (4.6, 0.40),
            (5.2, 0.62),
            (5.6, 0.72),
        ],
        p.y,
    );
    let front = if p.z > 0.3 { p.x.abs() - opening } else { 1.0 };
    let back = mix(ring, (5.80 - p.y) * 0.92, smooth(0.05, -0.30, p.z));
    back.max(4.9 - p.y).min(front).min(0.9)
}

/// Signed distance inside a head covering.
pub(crate) fn covering(c: &Covering, p: Vec3) -> f32 {
    match c {
        Covering::Cap(_) => p.y - (7.10 + 0.36 * (p.z + 0.3).max(0.0)) - 0.02 * noise(p * 3.0),
        Covering::Scarf(_) => {
            let (x, y) = (
                p.x / 0.615,
                (p.y - 7.10) / if p.y > 7.10 { 0.86 } else { 0.87 },
            );
            let oval = if p.z > 0.62 {
                ((x * x + y * y).sqrt() - 1.0) * 0.7
            } else {
                0.7
            };
            // Below the chin it falls to a rounded hem over chest and shoulders.
            let r = vec2(p.x / 1.40, (p.y - 5.95) / 1.22).length()
                + 0.05 * noise(vec3(p.x * 1.3, p.y * 1.3, p.z * 1.3));
            let hem = if p.y < 6.3 { (1.0 - r) * 0.95 } else { 0.8 };
            oval.min(hem)
        }
    }
}

struct Shape<'a> {
    shell: Shell,
    local: Local,
    region: Region,
    thickness: &'a dyn Fn(Vec3) -> f32,
    flat_ears: bool,
    smoothing: usize,
    rib: bool,
    inside: &'a dyn Fn(Vec3) -> f32,
    relief: &'a dyn Fn(Vec3, f32) -> f32,
}

fn grow(t: &Topology, v: &[Vec3], joints: &Joints, s: &Shape<'_>) -> Layer {
    let part = match s.shell {
        Shell::Torso => &t.torso,
        Shell::Hood => &t.hood,
    };
    let mut body = lower_arms(part, v, joints);
    if s.flat_ears {
        // Ears vanish below a scarf: a membrane is spanned across them.
        let ear: Vec<usize> = (0..body.len())
            .filter(|&i| {
                let r = t.base[part.base[i] as usize];
                r.x.abs() > 0.672 && r.y > 6.72 && r.y < 7.62 && r.z < 0.80 && r.z > -0.1
            })
            .collect();
        for _ in 0..240 {
            for &i in &ear {
                let near = &part.control_neighbours[i];
                body[i] =
                    near.iter().map(|&j| body[j as usize]).sum::<Vec3>() / near.len().max(1) as f32;
            }
        }
    }
    let mut c = body.clone();
    if s.flat_ears {
        // What is left of the ears' many small quads: carried out to the widest place around them.
        for _ in 0..12 {
            let before = c.clone();
            for (i, near) in part.control_neighbours.iter().enumerate() {
                let r = t.base[part.base[i] as usize];
                if r.x.abs() > 0.60 && r.y > 6.6 && r.y < 7.7 && r.z < 0.95 && r.z > -0.3 {
                    let mean = near.iter().map(|&j| before[j as usize]).sum::<Vec3>()
                        / near.len().max(1) as f32;
                    c[i] = before[i].lerp(mean, 0.7);
                    c[i].x += 0.004 * r.x.signum();
                }
            }
        }
        body.clone_from(&c);
    }
    for _ in 0..s.smoothing {
        let before = c.clone();
        for (i, near) in part.control_neighbours.iter().enumerate() {
            if near.len() >= 4 {
                let mean =
                    near.iter().map(|&j| before[j as usize]).sum::<Vec3>() / near.len() as f32;
                c[i] = before[i].lerp(mean, 0.6);
            }
        }
    }
    let body1 = part.from0.apply(&body);
    let n1 = normals(&body1, &part.mesh1.quads);
    let mut rest1 = part.from0.apply(&c);
    for i in 0..rest1.len() {
        let d = (rest1[i] - body1[i]).dot(n1[i]);
        let thickness = (s.thickness)(part.ref1[i]);
        if d < thickness {
            rest1[i] += n1[i] * (thickness - d);
        }
    }
    let bones0: Vec<Vec2> = part
        .head
        .iter()
        .zip(&part.neck)
        .map(|(h, n)| vec2(*h, *n))
        .collect();
    let bones1 = part.from0.apply(&bones0);
    let inside2: Vec<f32> = part.ref2.iter().map(|p| (s.inside)(*p)).collect();
    let relief2 = part
        .ref2
        .iter()
        .zip(&inside2)
        .map(|(p, d)| (s.relief)(*p, *d))
        .collect();
    Layer {
        shell: s.shell,
        local: s.local,
        region: s.region,
        rest1,
        bones1,
        inside2,
        relief2,
        rib: s.rib,
    }
}

/// Folds of cloth hanging from the shoulders: drag lines toward the armpits and soft vertical drape.
fn folds(p: Vec3, seed: f32, amount: f32) -> f32 {
    let x = p.x.abs();
    let warp = 0.35 * fractal(p * 1.1 + Vec3::splat(seed), 2);
    // Drag lines run from the shoulder's end down toward the chest.
    let along = (p.y - 5.0) * 0.9 + x * 0.75 + warp;
    let pit = bump(vec3(x, p.y, p.z), vec3(1.45, 4.55, 0.75), 0.75);
    let drag = (along * 9.0 + seed).sin() * pit;
    let drape = noise(vec3(p.x * 2.6 + seed, p.y * 0.55 + warp, p.z * 2.6)) * smooth(5.4, 4.4, p.y);
    let broad = fractal(
        vec3(p.x * 1.5, p.y * 0.9, p.z * 1.5) + Vec3::splat(seed * 1.7),
        3,
    );
    amount * (0.075 * drag + 0.090 * drape + 0.080 * broad)
}

fn hem(d: f32, at: f32, height: f32) -> f32 {
    height * (-((d - at) / 0.045).powi(2)).exp()
}

/// All layers of a person, the outermost last.
pub(crate) fn layers(t: &Topology, p: &Person, v: &[Vec3], joints: &Joints) -> Vec<Layer> {
    let g = p.garment;
    let seed = p.seed as f32 * 0.37;
    let mut out = Vec::new();
    let loose = match g.cut {
        Cut::Crew | Cut::Vee | Cut::Boat => 1.0,
        Cut::Roll => 0.7,
        Cut::Shirt => 1.35,
        Cut::Jacket => 0.5,
    };
    let edge = if matches!(g.cut, Cut::Shirt | Cut::Roll) {
        0.0
    } else {
        0.028
    };
    let main = |q: Vec3, d: f32| {
        // A shirt's placket: a raised strip down the middle.
        let placket = if g.cut == Cut::Shirt && q.z > 0.3 {
            0.012 * smooth(0.12, 0.10, q.x.abs())
        } else {
            0.0
        };
        hem(d, 0.05, edge) + placket + folds(q, seed, loose) * smooth(0.08, 0.5, d)
    };
    out.push(grow(
        t,
        v,
        joints,
        &Shape {
            shell: Shell::Torso,
            local: if g.cut == Cut::Jacket {
                Local::Second
            } else {
                Local::Cloth
            },
            region: Region::Garment,
            thickness: &|_| if g.cut == Cut::Shirt { 0.065 } else { 0.05 },
            flat_ears: false,
            smoothing: if g.cut == Cut::Shirt { 40 } else { 24 },
            rib: !matches!(g.cut, Cut::Shirt | Cut::Roll | Cut::Boat),
            inside: &|q| neckline(&g, q),
            relief: &main,
        },
    ));
    if g.cut == Cut::Jacket {
        out.push(grow(
            t,
            v,
            joints,
            &Shape {
                shell: Shell::Torso,
                local: Local::Cloth,
                region: Region::Garment,
                thickness: &|_| 0.13,
                flat_ears: false,
                smoothing: 40,
                rib: false,
                inside: &jacket,
                relief: &|q, d| {
                    // Lapels: a raised band along the front opening, notched below the collar bone.
                    let notch = smooth(
                        0.0,
                        0.03,
                        (q.y - 5.05 + (q.x.abs() - 0.75) * 0.4).abs() - 0.03,
                    );
                    let width = table(&[(3.6, 0.08), (4.3, 0.25), (5.0, 0.34), (5.6, 0.24)], q.y);
                    let lapel = if q.z > -0.2 {
                        smooth(width + 0.02, width, d) * notch
                    } else {
                        smooth(0.24, 0.22, d)
                    };
                    0.055 * lapel * smooth(-0.01, 0.03, d)
                        + folds(q, seed + 5.0, 0.8) * smooth(0.15, 0.5, d)
                },
            },
        ));
    }
    if let Some(c) = &p.covering {
        let scarf = matches!(c, Covering::Scarf(_));
        out.push(grow(
            t,
            v,
            joints,
            &Shape {
                shell: Shell::Hood,
                local: Local::Covering,
                region: Region::Covering,
                thickness: &|q| {
                    if scarf {
                        // Close to the face at its edge, loose over the hair, fullest over a knot behind.
                        let d = covering(c, q);
                        mix(
                            mix(0.015, 0.12, smooth(0.0, 0.35, d)),
                            0.15,
                            smooth(6.1, 5.7, q.y),
                        ) + 0.06 * smooth(7.5, 8.0, q.y) * smooth(0.05, 0.4, d)
                            + 0.28 * bump(q, vec3(0.0, 7.25, -0.75), 0.6)
                            + 0.20
                                * smooth(6.55, 6.3, q.y)
                                * smooth(5.3, 5.8, q.y)
                                * smooth(-0.3, 0.5, q.z)
                    } else {
                        0.12
                    }
                },
                flat_ears: scarf,
                smoothing: if scarf { 70 } else { 8 },
                rib: !scarf,
                inside: &|q| covering(c, q),
                relief: &|q, d| {
                    if scarf {
                        // Folds run around the face and fall from the chin across the chest.
                        let a = (q.y - 6.3).atan2(q.x + 0.25);
                        let r = vec2(q.x, q.y - 7.1).length();
                        let f = (r * 15.0 + 2.4 * fractal(q * 1.3, 3) + 1.6 * a).sin();
                        let low = (q.y * 11.0 + q.x * 6.0 + 3.0 * fractal(q * 1.1, 2)).sin();
                        let k = smooth(6.4, 6.0, q.y);
                        hem(d, 0.04, 0.012)
                            + mix(0.034 * f, 0.045 * low, k) * smooth(0.03, 0.25, d)
                            + 0.05 * fractal(q * 1.7, 2) * smooth(0.05, 0.3, d)
                    } else {
                        let cuff = 0.05 * smooth(0.36, 0.33, d);
                        hem(d, 0.03, 0.02) + cuff + 0.02 * fractal(q * 2.0, 2)
                    }
                },
            },
        ));
    }
    out
}

/// Distance from the neck's axis to the body in a horizontal direction.
pub(crate) type NeckRadius<'a> = &'a dyn Fn(f32, f32) -> f32;

/// Collars and buttons. `radius(y, angle)`: body radius about the neck's axis at a height; angle 0 = front.
pub(crate) fn extras(p: &Person, axis: &dyn Fn(f32) -> Vec3, radius: NeckRadius<'_>) -> Vec<Extra> {
    let seed = p.seed as f32;
    let mut out = Vec::new();
    match p.garment.cut {
        Cut::Roll => {
            // Height above the base of the neck and distance from the skin: up, over the fold, down outside.
            let rows: Vec<(f32, f32)> = vec![
                (-0.06, 0.10),
                (0.06, 0.07),
                (0.20, 0.055),
                (0.34, 0.05),
                (0.44, 0.055),
                (0.49, 0.075),
                (0.49, 0.105),
                (0.43, 0.130),
                (0.32, 0.140),
                (0.20, 0.145),
                (0.09, 0.150),
                (0.02, 0.145),
                (0.0, 0.10),
            ];
            out.push(ring(
                &rows,
                72,
                Local::Cloth,
                axis,
                radius,
                &|a, r| 0.014 * noise(vec3(a.cos() * 3.0, r as f32 * 0.3, a.sin() * 3.0 + seed)),
                None,
            ));
        }
        Cut::Shirt => {
            let rows: Vec<(f32, f32)> = vec![
                (-0.10, 0.075),
                (0.02, 0.060),
                (0.14, 0.055),
                (0.21, 0.062),
                (0.225, 0.085),
                (0.16, 0.115),
                (0.06, 0.165),
                (-0.03, 0.205),
                (-0.08, 0.225),
                (-0.09, 0.210),
            ];
            out.push(ring(
                &rows,
                72,
                Local::Cloth,
                axis,
                radius,
                &|_, _| 0.0,
                Some(0.20),
            ));
        }
        _ => {}
    }
    out
}

fn ring(
    rows: &[(f32, f32)],
    columns: usize,
    local: Local,
    axis: &dyn Fn(f32) -> Vec3,
    radius: NeckRadius<'_>,
    wobble: &dyn Fn(f32, usize) -> f32,
    open: Option<f32>,
) -> Extra {
    let mut e = Extra {
        local,
        region: Region::Garment,
        rest: Vec::new(),
        bones: Vec::new(),
        quads: Vec::new(),
        solid: true,
        lens: None,
    };
    for (r, &(height, offset)) in rows.iter().enumerate() {
        for k in 0..columns {
            let u = k as f32 / (columns - usize::from(open.is_some())) as f32;
            let outer = (r as f32 - 4.0).max(0.0) / (rows.len() - 5) as f32;
            // Both ends of an open collar lie at the front; its outer rows swing apart and fall lower: the points.
            let (angle, point) = match open {
                None => (u * std::f32::consts::TAU, 0.0),
                Some(gap) => {
                    let side = smooth(0.62, 1.0, (u * 2.0 - 1.0).abs());
                    let stand = if r < 4 { 0.14 } else { 0.0 };
                    let g = gap + stand + 0.30 * outer.min(0.9) * side;
                    (g + (std::f32::consts::TAU - 2.0 * g) * u, outer * side)
                }
            };
            let front = (1.0 + angle.cos()) * 0.5;
            // The base of the neck: low in front, high on the shoulders and behind.
            let foot = 5.86 - 0.42 * front * front;
            let y = foot + height - 0.34 * point;
            let neck = radius(foot + 0.16, angle).min(0.78);
            // Where the points lie on the chest they follow it.
            let chest = radius(y, angle).min(0.95) * front + neck * (1.0 - front);
            let reach = mix(neck, chest.max(neck), point.min(1.0)) + offset + wobble(angle, r);
            let c = axis(foot + 0.16);
            let q = c + vec3(angle.sin(), 0.0, angle.cos()) * reach;
            e.rest.push(vec3(q.x, y, q.z));
            e.bones.push(vec2(0.0, 0.25 * smooth(5.4, 6.0, y)));
        }
    }
    let n = columns as u32;
    for r in 0..rows.len() as u32 - 1 {
        for k in 0..if open.is_some() { n - 1 } else { n } {
            let k1 = (k + 1) % n;
            e.quads
                .push([r * n + k, (r + 1) * n + k, (r + 1) * n + k1, r * n + k1]);
        }
    }
    e
}

/// Share of the second colour and brightness factor of cloth at a point (reference coordinates).
pub(crate) fn weave(g: &Garment, p: Vec3, rib: f32) -> (f32, f32) {
    let fine = 1.0 + 0.05 * noise(p * 41.0) + 0.05 * fractal(p * 6.0, 2);
    let (u, v) = (p.x + p.z * 0.35, p.y);
    let ribs = |f: f32| 0.86 + 0.14 * (p.x.atan2(p.z.abs() + 0.4) * f).sin();
    let base = match g.pattern {
        Pattern::Plain => (0.0, fine),
        Pattern::Rib => (0.0, fine * ribs(95.0)),
        Pattern::Heather => {
            let n = noise(vec3(p.x * 60.0, p.y * 26.0, p.z * 60.0));
            (0.28 + 0.40 * n, fine)
        }
        Pattern::Stripe => {
            let s = (v * 3.1).rem_euclid(1.0);
            (smooth(0.0, 0.03, s) * smooth(0.36, 0.33, s), fine)
        }
        Pattern::Check => {
            let a = smooth(0.0, 0.05, (u * 3.4).rem_euclid(1.0))
                * smooth(0.30, 0.25, (u * 3.4).rem_euclid(1.0));
            let b = smooth(0.0, 0.05, (v * 3.4).rem_euclid(1.0))
                * smooth(0.30, 0.25, (v * 3.4).rem_euclid(1.0));
            (0.5 * a + 0.5 * b, fine)
        }
    };
    (base.0.clamp(0.0, 1.0), base.1 * mix(1.0, ribs(120.0), rib))
}
