//! A person made ready: shape, layers, hair, paint and baked visibility.

use glam::{Vec2, Vec3, vec3};

use crate::data::{HeadData, HeadsError};
use crate::expression::Expression;
use crate::garment::{Extra, Layer, Shell, covering, extras, layers, neckline};
use crate::hair::{Hair, Kind, grow};
use crate::paint::{Paint, paint};
use crate::person::{Covering, Cut, Local, Person, ReadPart, Region};
use crate::pose::{Joints, Posed, Turn, compose, express, normals, pose_skin};
use crate::spectacles;
use crate::topology::{Surface, brow};
use crate::visibility::{DIRECTIONS, HairGrid, Occluder, Probe, bake, bake_grid};

/// What a triangle is.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(crate) enum Face {
    Skin,
    Teeth,
    Tongue,
    Eye(u8),
    Layer(u8),
    Extra(u8),
    /// A lens of spectacles in front of an eye (left 0, right 1): seen through.
    Lens(u8),
}

/// A triangle of a person: indices into the person's fine vertices.
#[derive(Clone, Copy)]
pub(crate) struct Triangle {
    pub(crate) v: [u32; 3],
    pub(crate) face: Face,
    pub(crate) region: Region,
    /// Part of the face that is read, where the skin is bare.
    pub(crate) read: Option<ReadPart>,
}

/// Rows and columns of the front of an eye ball.
pub(crate) const EYE_ROWS: usize = 24;
pub(crate) const EYE_COLUMNS: usize = 48;

/// Unit directions of the vertices of an eye ball, front pole first.
pub(crate) fn eye_directions() -> Vec<Vec3> {
    let mut out = Vec::new();
    for j in 0..=EYE_ROWS {
        for i in 0..EYE_COLUMNS {
            let a = j as f32 / EYE_ROWS as f32 * std::f32::consts::PI * 0.62;
            let b = i as f32 / EYE_COLUMNS as f32 * std::f32::consts::TAU;
            out.push(vec3(a.sin() * b.cos(), a.sin() * b.sin(), a.cos()));
        }
    }
    out
}

/// Where the parts of a person lie in its vertex arrays.
#[derive(Clone, Default)]
pub(crate) struct Offsets {
    pub(crate) layers: Vec<usize>,
    pub(crate) eyes: usize,
    pub(crate) extras: Vec<usize>,
    pub(crate) total: usize,
}

/// A person ready for rendering.
pub struct Baked {
    pub(crate) person: Person,
    pub(crate) neutral: Vec<Vec3>,
    pub(crate) joints: Joints,
    pub(crate) layers: Vec<Layer>,
    pub(crate) extras: Vec<Extra>,
    pub(crate) hair: Hair,
    pub(crate) grid: HairGrid,
    pub(crate) paint: Vec<Paint>,
    pub(crate) triangles: Vec<Triangle>,
    /// Offsets into the fine arrays and into the coarse arrays (probes).
    pub(crate) fine: Offsets,
    pub(crate) coarse: Offsets,
    pub(crate) seen: Vec<[u8; DIRECTIONS]>,
    /// Probes near the mouth and the eyes, with their visibility when eyes shut and when the jaw drops.
    pub(crate) moving: Vec<u32>,
    pub(crate) seen_shut: Vec<[u8; DIRECTIONS]>,
    pub(crate) seen_open: Vec<[u8; DIRECTIONS]>,
    /// Share of its cosine-weighted hemisphere that each probe does not see.
    pub(crate) hidden: Vec<f32>,
    /// Eye centres at rest and their radius.
    pub(crate) eyes: [Vec3; 2],
    pub(crate) eye_radius: f32,
}

impl std::fmt::Debug for Baked {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Baked")
            .field("person", &self.person.name)
            .finish_non_exhaustive()
    }
}

impl Baked {
    /// The person this was made from.
    #[must_use]
    pub fn person(&self) -> &Person {
        &self.person
    }

    /// Prepares a person: shape, cloth, hair, paint, visibility (2–4 s on two cores).
    ///
    /// # Errors
    /// When a shape target named by the person does not exist.
    pub fn new(data: &HeadData, person: &Person) -> Result<Self, HeadsError> {
        let t = &data.topology;
        let neutral = compose(data, person)?;
        let joints = Joints::new(data, &neutral);
        let turn = Turn::rest(joints);
        let rest = pose_skin(&t.skin, &neutral, &joints, &turn);
        let layers = layers(t, person, &neutral, &joints);
        let eyes = ["helper-l-eye", "helper-r-eye"].map(|g| data.centre(&neutral, g));
        let eye_radius = {
            let q = data
                .groups
                .get("helper-l-eye")
                .map_or(&[][..], Vec::as_slice);
            let sum: f32 = q
                .iter()
                .flat_map(|(q, _)| q)
                .map(|&i| neutral[i as usize].distance(eyes[0]))
                .sum();
            sum / (q.len().max(1) * 4) as f32
        };
        let skin_triangles = occluder_triangles(data, &rest, &layers, &[], person);
        let body = Occluder::new(&skin_triangles);
        let (jn, jh) = (joints.neck, joints.head);
        let axis = move |y: f32| {
            let k = (y - jn.y) / (jh.y - jn.y).max(0.1);
            let c = jn.lerp(jh, k.clamp(-0.8, 1.0));
            vec3(0.0, y, c.z + 0.12)
        };
        let radius = |y: f32, a: f32| {
            let d = vec3(a.sin(), 0.0, a.cos());
            body.distance(axis(y), d).unwrap_or(0.6).clamp(0.35, 1.1)
        };
        let mut extras = extras(person, &axis, &radius);
        if let Some(s) = &person.spectacles {
            let ear = |side: f32| {
                let best = (0..rest.p1.len())
                    .filter(|&i| t.ear[i] > 0.5 && t.skin.ref1[i].x * side > 0.0)
                    .max_by(|&a, &b| rest.p1[a].y.total_cmp(&rest.p1[b].y));
                best.map_or(vec3(0.72 * side, 7.3, 0.4), |i| rest.p1[i])
            };
            extras.push(spectacles::frame(s, eyes, [ear(1.0), ear(-1.0)]));
            extras.extend(spectacles::lenses(s, eyes));
        }
        let hair = grow(t, &rest, person, joints.head);
        let paint = paint(t, person);

        let ne = (EYE_ROWS + 1) * EYE_COLUMNS;
        let offsets = |skin: usize, layer: &dyn Fn(&Layer) -> usize| {
            let mut o = Offsets::default();
            let mut at = skin;
            for l in &layers {
                o.layers.push(at);
                at += layer(l);
            }
            o.eyes = at;
            at += 2 * ne;
            for e in &extras {
                o.extras.push(at);
                at += e.rest.len();
            }
            o.total = at;
            o
        };
        let fine = offsets(t.skin.ref2.len(), &|l| l.part(t).ref2.len());
        let coarse = offsets(t.skin.ref1.len(), &|l| l.part(t).ref1.len());
        let triangles = triangles(data, person, &layers, &extras, &fine);

        let mut segments = Vec::new();
        for s in &hair.strands {
            if s.kind == Kind::Brow {
                continue;
            }
            let root = if s.kind == Kind::Beard {
                s.root.at(t, &rest.p2)
            } else {
                Vec3::ZERO
            };
            let p = &hair.points[s.first as usize..(s.first + s.count) as usize];
            segments.extend(p.windows(2).map(|w| (root + w[0], root + w[1], s.width)));
        }
        let mut grid = HairGrid::new(&segments);
        let solid = Occluder::new(&occluder_triangles(data, &rest, &layers, &extras, person));
        bake_grid(&mut grid, &solid);
        let probes = probes(&rest, &layers, data, &extras, eyes, eye_radius);
        let hairy = !segments.is_empty();
        let seen = bake(&probes, &solid, &grid, hairy);

        // Only the front of the face changes when lids close or the jaw drops.
        let moving: Vec<u32> = (0..coarse.total as u32)
            .filter(|&i| {
                let i = i as usize;
                if i < t.skin.ref1.len() {
                    let p = t.skin.ref1[i];
                    (p.y > 6.0 && p.y < 7.6 && p.z > 0.7) || t.skin.mesh1.surface.is_empty()
                } else {
                    (coarse.eyes..coarse.eyes + 2 * ne).contains(&i)
                }
            })
            .collect();
        let state = |e: Expression| -> Result<Vec<[u8; DIRECTIONS]>, HeadsError> {
            let v = express(data, &neutral, &e)?;
            let posed = pose_skin(&t.skin, &v, &joints, &turn);
            let occluder =
                Occluder::new(&occluder_triangles(data, &posed, &layers, &extras, person));
            let all = self::probes(&posed, &layers, data, &extras, eyes, eye_radius);
            let picked: Vec<Probe> = moving.iter().map(|&i| all[i as usize]).collect();
            Ok(bake(&picked, &occluder, &grid, hairy))
        };
        let seen_shut = state(Expression {
            blink: 1.0,
            ..Expression::default()
        })?;
        let seen_open = state(Expression {
            open: 1.0,
            ..Expression::default()
        })?;
        let directions = crate::math::sphere(DIRECTIONS);
        let hidden = probes
            .iter()
            .zip(&seen)
            .map(|(p, s)| {
                let (mut open, mut all) = (0.0, 1e-6);
                for (d, &x) in directions.iter().zip(s) {
                    let c = d.dot(p.normal).max(0.0);
                    all += c;
                    open += c * f32::from(x) / 255.0;
                }
                1.0 - open / all
            })
            .collect();
        Ok(Self {
            person: person.clone(),
            neutral,
            joints,
            layers,
            extras,
            hair,
            grid,
            paint,
            triangles,
            fine,
            coarse,
            seen,
            moving,
            seen_shut,
            seen_open,
            hidden,
            eyes,
            eye_radius,
        })
    }
}

fn probes(
    rest: &Posed,
    layers: &[Layer],
    data: &HeadData,
    extras: &[Extra],
    eyes: [Vec3; 2],
    radius: f32,
) -> Vec<Probe> {
    let t = &data.topology;
    let mut out = Vec::new();
    let mut push = |p: &[Vec3], n: &[Vec3], offset: f32| {
        out.extend(p.iter().zip(n).map(|(p, n)| Probe {
            position: *p,
            normal: *n,
            offset,
        }));
    };
    push(&rest.p1, &rest.n1, 0.012);
    for l in layers {
        push(&l.rest1, &normals(&l.rest1, &l.part(t).mesh1.quads), 0.05);
    }
    let d = eye_directions();
    for eye in eyes {
        let p: Vec<Vec3> = d.iter().map(|d| eye + *d * radius).collect();
        push(&p, &d, 0.004);
    }
    for e in extras {
        push(&e.rest, &normals(&e.rest, &e.quads), 0.02);
    }
    out
}

/// Whether skin at a reference point is covered by cloth for good and need not be drawn.
fn covered(person: &Person, p: Vec3) -> bool {
    neckline(&person.garment, p) > 0.22
        || person.covering.is_some_and(|c| {
            covering(&c, p)
                > if matches!(c, Covering::Scarf(_)) {
                    0.07
                } else {
                    0.16
                }
        })
}

fn occluder_triangles(
    data: &HeadData,
    rest: &Posed,
    layers: &[Layer],
    extras: &[Extra],
    person: &Person,
) -> Vec<[Vec3; 3]> {
    let t = &data.topology;
    let mut out = Vec::new();
    let mut push = |q: [Vec3; 4]| {
        out.push([q[0], q[1], q[2]]);
        out.push([q[0], q[2], q[3]]);
    };
    for q in &t.skin.mesh1.quads {
        if !q.iter().all(|&i| covered(person, t.skin.ref1[i as usize])) {
            push(q.map(|i| rest.p1[i as usize]));
        }
    }
    for l in layers {
        for q in &l.part(t).mesh1.quads {
            if q.iter().map(|&i| l.inside2[i as usize]).sum::<f32>() > 0.0 {
                push(q.map(|i| l.rest1[i as usize]));
            }
        }
    }
    for e in extras.iter().filter(|e| e.solid) {
        for q in &e.quads {
            push(q.map(|i| e.rest[i as usize]));
        }
    }
    out
}

fn triangles(
    data: &HeadData,
    person: &Person,
    layers: &[Layer],
    extras: &[Extra],
    fine: &Offsets,
) -> Vec<Triangle> {
    let t = &data.topology;
    let mut out = Vec::new();
    let mut push = |q: [u32; 4], face: Face, region: Region, read: Option<ReadPart>| {
        for v in [[q[0], q[1], q[2]], [q[0], q[2], q[3]]] {
            out.push(Triangle {
                v,
                face,
                region,
                read,
            });
        }
    };
    for (k, q) in t.skin.mesh2.quads.iter().enumerate() {
        let p = q.map(|i| t.skin.ref2[i as usize]);
        let face = match t.skin.mesh2.surface[k] {
            Surface::Skin => Face::Skin,
            Surface::Teeth => Face::Teeth,
            Surface::Tongue => Face::Tongue,
        };
        if face == Face::Skin && p.iter().all(|&p| covered(person, p)) {
            continue;
        }
        let mut region = t.region[k];
        let middle = p.iter().sum::<Vec3>() * 0.25;
        if region.is_skin() {
            let mean =
                |f: &dyn Fn(usize) -> f32| q.iter().map(|&i| f(i as usize)).sum::<f32>() * 0.25;
            if brow(middle) * person.hair.brow_density > 0.35 {
                region = Region::Brows;
            } else if person.hair.style != crate::HairStyle::Bald
                && !matches!(person.covering, Some(Covering::Scarf(_)))
                && crate::topology::scalp(middle, person.hair.recede) > 0.0
                && crate::hair::sideburn(person, middle) > 0.5
                && mean(&|i| t.ear[i]) < 0.2
            {
                region = Region::Hair;
            } else if person.beard.length > 0.0
                && crate::topology::beard(middle) * person.beard.cover > 0.25
            {
                region = Region::Beard;
            }
        }
        push(*q, face, region, t.read[k].filter(|_| region.is_skin()));
    }
    for (k, l) in layers.iter().enumerate() {
        let base = fine.layers[k] as u32;
        let under = l.shell == Shell::Torso;
        for q in &l.part(t).mesh2.quads {
            let hidden = under
                && person.covering.is_some_and(|c| {
                    matches!(c, Covering::Scarf(_))
                        && q.iter()
                            .all(|&i| covering(&c, l.part(t).ref2[i as usize]) > 0.12)
                });
            if !hidden && q.iter().any(|&i| l.inside2[i as usize] >= 0.0) {
                push(q.map(|i| i + base), Face::Layer(k as u8), l.region, None);
            }
        }
    }
    let ne = ((EYE_ROWS + 1) * EYE_COLUMNS) as u32;
    for e in 0..2u32 {
        for j in 0..EYE_ROWS as u32 {
            for i in 0..EYE_COLUMNS as u32 {
                let g = |j: u32, i: u32| {
                    fine.eyes as u32 + e * ne + j * EYE_COLUMNS as u32 + i % EYE_COLUMNS as u32
                };
                push(
                    [g(j, i), g(j + 1, i), g(j + 1, i + 1), g(j, i + 1)],
                    Face::Eye(e as u8),
                    Region::Eyes,
                    None,
                );
            }
        }
    }
    for (k, e) in extras.iter().enumerate() {
        let base = fine.extras[k] as u32;
        let face = e.lens.map_or(Face::Extra(k as u8), Face::Lens);
        for q in &e.quads {
            push(q.map(|i| i + base), face, e.region, None);
        }
    }
    out
}

/// Positions and normals of a person's fine vertices in one frame, in the world.
pub(crate) struct Geometry {
    pub(crate) position: Vec<Vec3>,
    pub(crate) normal: Vec<Vec3>,
    /// Normals before the relief of cloth, for which the baked light was made.
    pub(crate) smooth_normal: Vec<Vec3>,
    /// How far a vertex of cloth lies below (negative) or above its layer, dm.
    pub(crate) relief: Vec<f32>,
    /// Normals of the coarse probes.
    pub(crate) coarse_normal: Vec<Vec3>,
    pub(crate) turn: Turn,
    pub(crate) eyes: [Vec3; 2],
    /// Lash roots and tips in the world: chains of points.
    pub(crate) lashes: Vec<Vec<Vec3>>,
    /// The facial points in the world.
    pub(crate) points: Vec<Vec3>,
    /// Points of the right and of the left cheek in the world.
    pub(crate) cheeks: [[Vec3; 3]; 2],
}

impl Baked {
    /// Moves the person into the pose of a frame.
    pub(crate) fn geometry(
        &self,
        data: &HeadData,
        place: &crate::Placement,
    ) -> Result<Geometry, HeadsError> {
        let t = &data.topology;
        let v = express(data, &self.neutral, &place.expression)?;
        let turn = Turn::new(
            self.joints,
            place.head,
            place.body_yaw,
            place.position,
            place.breath,
        );
        let skin = pose_skin(&t.skin, &v, &self.joints, &turn);
        let (mut position, mut normal, mut coarse_normal) = (skin.p2, skin.n2, skin.n1);
        let mut smooth_normal = normal.clone();
        let mut relief = vec![0.0; normal.len()];
        for l in &self.layers {
            let part = l.part(t);
            let p1: Vec<Vec3> = l
                .rest1
                .iter()
                .zip(&l.bones1)
                .map(|(p, b)| turn.point(*p, b.x, b.y))
                .collect();
            coarse_normal.extend(normals(&p1, &part.mesh1.quads));
            let mut p2 = part.from1.apply(&p1);
            let n2 = normals(&p2, &part.mesh2.quads);
            for (p, (n, r)) in p2.iter_mut().zip(n2.iter().zip(&l.relief2)) {
                *p += *n * *r;
            }
            normal.extend(normals(&p2, &part.mesh2.quads));
            smooth_normal.extend(n2);
            relief.extend(&l.relief2);
            position.extend(p2);
        }
        let rotation = turn.head_rotation();
        let eyes = self.eyes.map(|e| turn.point(e, 1.0, 0.0));
        for eye in eyes {
            for d in eye_directions() {
                let w = rotation * d;
                position.push(eye + w * self.eye_radius);
                normal.push(w);
                coarse_normal.push(w);
            }
        }
        for e in &self.extras {
            let p: Vec<Vec3> = e
                .rest
                .iter()
                .zip(&e.bones)
                .map(|(p, b): (_, &Vec2)| turn.point(*p, b.x, b.y))
                .collect();
            let n = normals(&p, &e.quads);
            coarse_normal.extend(&n);
            normal.extend(n);
            position.extend(p);
        }
        smooth_normal.extend(&normal[smooth_normal.len()..]);
        relief.resize(normal.len(), 0.0);
        let head = |i: u32| turn.point(v[i as usize], 1.0, 0.0);
        let lashes = t
            .lashes
            .iter()
            .map(|l| l.chain.iter().map(|&i| head(i)).collect())
            .collect();
        let points = t.points.iter().map(|&i| head(i)).collect();
        let cheeks = t.cheeks.map(|c| c.map(|i| position[i as usize]));
        Ok(Geometry {
            position,
            normal,
            smooth_normal,
            relief,
            coarse_normal,
            turn,
            eyes,
            lashes,
            points,
            cheeks,
        })
    }

    /// Local material of an extra.
    pub(crate) fn extra_local(&self, k: u8) -> Local {
        self.extras[k as usize].local
    }

    /// Whether the garment is a shirt (has buttons).
    pub(crate) fn buttoned(&self) -> bool {
        self.person.garment.cut == Cut::Shirt
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Below the lowest neckline of any cut no skin is ever handed to the renderer.
    #[test]
    fn skin_below_the_necklines_is_never_drawn() {
        for person in crate::cast() {
            for i in 0..40 * 8 * 40 {
                let (x, y, z) = (i % 40, i / 40 % 8, i / 320);
                let p = vec3(
                    x as f32 * 0.08 - 1.6,
                    4.30 + y as f32 * 0.03,
                    z as f32 * 0.07 - 1.2,
                );
                assert!(covered(&person, p), "{}: skin at {p}", person.name);
            }
        }
    }
}
