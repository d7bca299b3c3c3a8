//! What all people share: subdivided meshes as sparse stencils, reference coordinates, regions.
//!
//! Subdividing the unmorphed base mesh the same way as a person's gives every fine vertex *reference
//! coordinates*. Hairlines, brows, freckles and regions are functions of these, so they fit everybody.

use std::collections::BTreeMap;
use std::ops::{AddAssign, Mul};

use glam::{Vec2, Vec3, vec3};
use rayon::prelude::*;

use crate::data::{Masks, Quad};
use crate::math::{fractal, noise, smooth, table};

/// Kind of surface of a mesh quad.
#[derive(Clone, Copy, PartialEq, Eq, Debug)]
pub(crate) enum Surface {
    Skin,
    Teeth,
    Tongue,
}

/// Quads with texture coordinates and surface kinds.
#[derive(Clone, Default)]
pub(crate) struct QuadMesh {
    pub(crate) vertices: usize,
    pub(crate) quads: Vec<[u32; 4]>,
    pub(crate) uv: Vec<[Vec2; 4]>,
    pub(crate) surface: Vec<Surface>,
}

/// Rows of (index, weight): fine vertices from coarse ones.
#[derive(Default)]
pub(crate) struct Stencil {
    offset: Vec<u32>,
    index: Vec<u32>,
    weight: Vec<f32>,
}

impl Stencil {
    fn new(rows: Vec<Vec<(u32, f32)>>) -> Self {
        let mut s = Self {
            offset: vec![0],
            ..Self::default()
        };
        for row in rows {
            for (i, w) in row {
                s.index.push(i);
                s.weight.push(w);
            }
            s.offset.push(s.index.len() as u32);
        }
        s
    }

    /// Fine values from coarse values.
    pub(crate) fn apply<T>(&self, coarse: &[T]) -> Vec<T>
    where
        T: Copy + Send + Sync + Mul<f32, Output = T> + AddAssign + Default,
    {
        (0..self.offset.len() - 1)
            .into_par_iter()
            .with_min_len(4096)
            .map(|row| {
                let mut sum = T::default();
                for k in self.offset[row] as usize..self.offset[row + 1] as usize {
                    sum += coarse[self.index[k] as usize] * self.weight[k];
                }
                sum
            })
            .collect()
    }
}

impl Stencil {
    /// Fine rows of `stride` numbers from coarse rows, appended to `out`.
    pub(crate) fn apply_rows(&self, coarse: &[f32], stride: usize, out: &mut Vec<f32>) {
        let rows = self.offset.len() - 1;
        let start = out.len();
        out.resize(start + rows * stride, 0.0);
        out[start..]
            .par_chunks_mut(stride * 1024)
            .enumerate()
            .for_each(|(chunk, block)| {
                for (k, fine) in block.chunks_mut(stride).enumerate() {
                    let row = chunk * 1024 + k;
                    for j in self.offset[row] as usize..self.offset[row + 1] as usize {
                        let (i, w) = (self.index[j] as usize * stride, self.weight[j]);
                        for (f, c) in fine.iter_mut().zip(&coarse[i..i + stride]) {
                            *f += c * w;
                        }
                    }
                }
            });
    }
}

/// Neighbour lists in one array.
#[derive(Default)]
pub(crate) struct Neighbours {
    offset: Vec<u32>,
    index: Vec<u32>,
}

impl Neighbours {
    fn new(mesh: &QuadMesh) -> Self {
        let mut pairs: Vec<(u32, u32)> = Vec::with_capacity(mesh.quads.len() * 8);
        for q in &mesh.quads {
            for i in 0..4 {
                let (a, b) = (q[i], q[(i + 1) % 4]);
                pairs.push((a, b));
                pairs.push((b, a));
            }
        }
        pairs.sort_unstable();
        pairs.dedup();
        let mut offset = vec![0u32; mesh.vertices + 1];
        for &(a, _) in &pairs {
            offset[a as usize + 1] += 1;
        }
        for i in 0..mesh.vertices {
            offset[i + 1] += offset[i];
        }
        Self {
            offset,
            index: pairs.into_iter().map(|p| p.1).collect(),
        }
    }

    pub(crate) fn of(&self, i: usize) -> &[u32] {
        &self.index[self.offset[i] as usize..self.offset[i + 1] as usize]
    }
}

/// One Catmull-Clark step (Catmull and Clark 1978; borders kept as cubic curves).
fn subdivide(m: &QuadMesh) -> (QuadMesh, Stencil) {
    let mut edge_of: BTreeMap<(u32, u32), u32> = BTreeMap::new();
    let mut edge_faces: Vec<Vec<u32>> = Vec::new();
    let mut edges: Vec<(u32, u32)> = Vec::new();
    let mut vertex_faces: Vec<Vec<u32>> = vec![Vec::new(); m.vertices];
    let key = |a: u32, b: u32| (a.min(b), a.max(b));
    for (f, q) in m.quads.iter().enumerate() {
        for i in 0..4 {
            let k = key(q[i], q[(i + 1) % 4]);
            let e = *edge_of.entry(k).or_insert_with(|| {
                edges.push(k);
                edge_faces.push(Vec::new());
                edges.len() as u32 - 1
            });
            edge_faces[e as usize].push(f as u32);
            vertex_faces[q[i] as usize].push(f as u32);
        }
    }
    let mut vertex_edges: Vec<Vec<u32>> = vec![Vec::new(); m.vertices];
    for (e, &(a, b)) in edges.iter().enumerate() {
        vertex_edges[a as usize].push(e as u32);
        vertex_edges[b as usize].push(e as u32);
    }
    let add = |row: &mut Vec<(u32, f32)>, i: u32, w: f32| match row.iter_mut().find(|r| r.0 == i) {
        Some(r) => r.1 += w,
        None => row.push((i, w)),
    };
    let add_face = |row: &mut Vec<(u32, f32)>, f: u32, w: f32| {
        for &i in &m.quads[f as usize] {
            add(row, i, w * 0.25);
        }
    };
    let mut rows: Vec<Vec<(u32, f32)>> = Vec::new();
    for v in 0..m.vertices {
        let mut row = Vec::new();
        let open: Vec<u32> = vertex_edges[v]
            .iter()
            .copied()
            .filter(|&e| edge_faces[e as usize].len() != 2)
            .collect();
        if vertex_faces[v].is_empty() || (!open.is_empty() && open.len() != 2) {
            add(&mut row, v as u32, 1.0);
        } else if open.len() == 2 {
            add(&mut row, v as u32, 0.75);
            for &e in &open {
                let (a, b) = edges[e as usize];
                add(&mut row, if a == v as u32 { b } else { a }, 0.125);
            }
        } else {
            let n = vertex_edges[v].len() as f32;
            for &f in &vertex_faces[v] {
                add_face(&mut row, f, 1.0 / (n * n));
            }
            for &e in &vertex_edges[v] {
                let (a, b) = edges[e as usize];
                add(&mut row, a, 1.0 / (n * n));
                add(&mut row, b, 1.0 / (n * n));
            }
            add(&mut row, v as u32, (n - 3.0) / n);
        }
        rows.push(row);
    }
    for (e, &(a, b)) in edges.iter().enumerate() {
        let mut row = Vec::new();
        let inner = edge_faces[e].len() == 2;
        let w = if inner { 0.25 } else { 0.5 };
        add(&mut row, a, w);
        add(&mut row, b, w);
        if inner {
            add_face(&mut row, edge_faces[e][0], 0.25);
            add_face(&mut row, edge_faces[e][1], 0.25);
        }
        rows.push(row);
    }
    for f in 0..m.quads.len() {
        let mut row = Vec::new();
        add_face(&mut row, f as u32, 1.0);
        rows.push(row);
    }
    let (nv, ne) = (m.vertices as u32, edges.len() as u32);
    let mut fine = QuadMesh {
        vertices: rows.len(),
        ..QuadMesh::default()
    };
    for (f, q) in m.quads.iter().enumerate() {
        let e = |i: usize| nv + edge_of[&key(q[i % 4], q[(i + 1) % 4])];
        let u = m.uv[f];
        let middle = (u[0] + u[1] + u[2] + u[3]) * 0.25;
        for i in 0..4 {
            fine.quads.push([q[i], e(i), nv + ne + f as u32, e(i + 3)]);
            fine.uv.push([
                u[i],
                (u[i] + u[(i + 1) % 4]) * 0.5,
                middle,
                (u[i] + u[(i + 3) % 4]) * 0.5,
            ]);
            fine.surface.push(m.surface[f]);
        }
    }
    (fine, Stencil::new(rows))
}

/// A piece of the base mesh, subdivided twice.
pub(crate) struct Part {
    /// Base vertex of each control vertex.
    pub(crate) base: Vec<u32>,
    pub(crate) control_neighbours: Vec<Vec<u32>>,
    pub(crate) mesh1: QuadMesh,
    pub(crate) from0: Stencil,
    pub(crate) mesh2: QuadMesh,
    pub(crate) from1: Stencil,
    /// Reference coordinates of the vertices of `mesh1` and `mesh2`, dm.
    pub(crate) ref1: Vec<Vec3>,
    pub(crate) ref2: Vec<Vec3>,
    /// Share of the head bone and of the neck bone, and of either upper arm, by control vertex.
    pub(crate) head: Vec<f32>,
    pub(crate) neck: Vec<f32>,
    pub(crate) arm: [Vec<f32>; 2],
    /// How far `mesh1` vertices follow the head's rotation, 0..1 (for light in the head's frame).
    pub(crate) follow1: Vec<f32>,
}

impl Part {
    fn new(base: &[Vec3], weights: &BTreeMap<String, Vec<f32>>, quads: &[(Quad, Surface)]) -> Self {
        let mut index: BTreeMap<u32, u32> = BTreeMap::new();
        let mut map: Vec<u32> = Vec::new();
        let mut m = QuadMesh::default();
        for ((q, uv), s) in quads {
            m.quads.push(q.map(|i| {
                *index.entry(i).or_insert_with(|| {
                    map.push(i);
                    map.len() as u32 - 1
                })
            }));
            m.uv.push(*uv);
            m.surface.push(*s);
        }
        m.vertices = map.len();
        let flat = Neighbours::new(&m);
        let control_neighbours = (0..m.vertices).map(|i| flat.of(i).to_vec()).collect();
        let (mesh1, from0) = subdivide(&m);
        let (mesh2, from1) = subdivide(&mesh1);
        let ref0: Vec<Vec3> = map.iter().map(|&i| base[i as usize]).collect();
        let ref1 = from0.apply(&ref0);
        let ref2 = from1.apply(&ref1);
        let weight = |bone: &str| -> Vec<f32> {
            map.iter()
                .map(|&i| weights.get(bone).map_or(0.0, |w| w[i as usize]))
                .collect()
        };
        let mut head = weight("head");
        for (h, &i) in head.iter_mut().zip(&map) {
            if (13_380..15_128).contains(&i) {
                *h = 1.0;
            }
        }
        let neck = weight("neck_01");
        let arm = ["l", "r"].map(|s| {
            let (u, l) = (
                weight(&format!("upperarm_{s}")),
                weight(&format!("lowerarm_{s}")),
            );
            u.iter().zip(&l).map(|(a, b)| a + b).collect()
        });
        let follow: Vec<f32> = head
            .iter()
            .zip(&neck)
            .map(|(h, n)| (h + n * 0.45).min(1.0))
            .collect();
        let follow1 = from0.apply(&follow);
        Self {
            base: map,
            control_neighbours,
            mesh1,
            from0,
            mesh2,
            from1,
            ref1,
            ref2,
            head,
            neck,
            arm,
            follow1,
        }
    }
}

/// One lash: base vertices from the lid outwards.
pub(crate) struct Lash {
    pub(crate) chain: Vec<u32>,
    pub(crate) upper: bool,
    pub(crate) eye: usize,
}

/// Everything about the mesh that does not depend on the person.
pub(crate) struct Topology {
    /// The unmorphed base mesh.
    pub(crate) base: Vec<Vec3>,
    pub(crate) skin: Part,
    /// The body below the jaw, as a start for garments.
    pub(crate) torso: Part,
    /// Head, neck and shoulders without the inside of the mouth, as a start for head coverings.
    pub(crate) hood: Part,
    pub(crate) neighbours2: Neighbours,
    pub(crate) lips: Vec<f32>,
    pub(crate) mouth: Vec<f32>,
    pub(crate) ear: Vec<f32>,
    /// Region of each fine quad of the skin.
    pub(crate) region: Vec<crate::Region>,
    /// Part of the face that is read, of each fine quad of the skin.
    pub(crate) read: Vec<Option<crate::ReadPart>>,
    /// Fine vertices of the skin about the middle of the right and of the left cheek.
    pub(crate) cheeks: [[u32; 3]; 2],
    pub(crate) lashes: Vec<Lash>,
    /// Base vertices of the facial points, in the order of [`crate::FacePoint`].
    pub(crate) points: [u32; 9],
}

impl Topology {
    pub(crate) fn new(
        base: &[Vec3],
        groups: &BTreeMap<String, Vec<Quad>>,
        weights: &BTreeMap<String, Vec<f32>>,
        masks: &Masks,
    ) -> Self {
        let group = |g: &str| groups.get(g).map_or(&[][..], Vec::as_slice);
        let all = |q: &[u32; 4], f: &dyn Fn(Vec3) -> bool| q.iter().all(|&i| f(base[i as usize]));
        let pick = |f: &dyn Fn(Vec3) -> bool| -> Vec<(Quad, Surface)> {
            group("body")
                .iter()
                .filter(|(q, _)| all(q, f))
                .map(|q| (*q, Surface::Skin))
                .collect()
        };
        // Skin below the collar bones is never built, let alone drawn.
        let mut quads = pick(&|p| p.y > 4.35 && p.x.abs() < 1.6);
        for g in ["helper-upper-teeth", "helper-lower-teeth"] {
            quads.extend(group(g).iter().map(|q| (*q, Surface::Teeth)));
        }
        quads.extend(group("helper-tongue").iter().map(|q| (*q, Surface::Tongue)));
        let skin = Part::new(base, weights, &quads);
        let torso = Part::new(
            base,
            weights,
            &pick(&|p| p.y > 3.3 && p.y < 6.0 && p.x.abs() < 3.1),
        );
        let hood = Part::new(
            base,
            weights,
            &pick(&|p| {
                let inside = p.z < 1.40 && p.z > 0.5 && p.y > 6.45 && p.y < 7.0 && p.x.abs() < 0.36;
                p.y > 4.0 && p.x.abs() < 2.2 && !inside
            }),
        );
        let fine = |mask: &crate::data::Mask| -> Vec<f32> {
            let m = &skin.mesh2;
            let (mut sum, mut n) = (vec![0f32; m.vertices], vec![0f32; m.vertices]);
            for (q, uv) in m.quads.iter().zip(&m.uv) {
                for i in 0..4 {
                    sum[q[i] as usize] += mask.at(uv[i]);
                    n[q[i] as usize] += 1.0;
                }
            }
            sum.iter().zip(&n).map(|(s, n)| s / n.max(1.0)).collect()
        };
        let (lips, mouth, ear) = (fine(&masks.lips), fine(&masks.mouth), fine(&masks.ears));
        let region = skin
            .mesh2
            .quads
            .iter()
            .zip(&skin.mesh2.surface)
            .map(|(q, s)| {
                if *s != Surface::Skin {
                    return crate::Region::Mouth;
                }
                let mean = |a: &[f32]| q.iter().map(|&i| a[i as usize]).sum::<f32>() * 0.25;
                let p = q.iter().map(|&i| skin.ref2[i as usize]).sum::<Vec3>() * 0.25;
                region_of(p, mean(&lips), mean(&mouth), mean(&ear))
            })
            .collect();
        let read = skin
            .mesh2
            .quads
            .iter()
            .zip(&skin.mesh2.surface)
            .map(|(q, s)| {
                (*s == Surface::Skin)
                    .then(|| {
                        read_part(q.iter().map(|&i| skin.ref2[i as usize]).sum::<Vec3>() * 0.25)
                    })
                    .flatten()
            })
            .collect();
        let on_cheek = |x: f32, y: f32| {
            let apart = |i: u32| {
                let p = skin.ref2[i as usize];
                (p.x - x).powi(2) + (p.y - y).powi(2)
            };
            (0..skin.ref2.len() as u32)
                .filter(|&i| skin.ref2[i as usize].z > 1.0)
                .min_by(|&a, &b| apart(a).total_cmp(&apart(b)))
                .unwrap_or(0)
        };
        let cheeks = [-1.0, 1.0].map(|side| {
            [(0.32, 7.02), (0.50, 7.02), (0.41, 6.88)].map(|(x, y)| on_cheek(side * x, y))
        });
        let nearest = |p: Vec3| {
            (0..13_380u32)
                .min_by(|&a, &b| {
                    base[a as usize]
                        .distance_squared(p)
                        .total_cmp(&base[b as usize].distance_squared(p))
                })
                .unwrap_or(0)
        };
        let points = [
            1167,
            1207,
            7899,
            7859,
            nearest(vec3(0.0, 6.92, 1.682)),
            nearest(vec3(-0.236, 6.63, 1.462)),
            nearest(vec3(0.236, 6.63, 1.462)),
            nearest(vec3(0.0, 6.30, 1.495)),
            nearest(vec3(0.0, 7.92, 1.445)),
        ];
        let neighbours2 = Neighbours::new(&skin.mesh2);
        let lashes = lashes(base, groups);
        Self {
            base: base.to_vec(),
            skin,
            torso,
            hood,
            neighbours2,
            lips,
            mouth,
            ear,
            region,
            read,
            cheeks,
            lashes,
            points,
        }
    }
}

fn lashes(base: &[Vec3], groups: &BTreeMap<String, Vec<Quad>>) -> Vec<Lash> {
    let mut out = Vec::new();
    for (side, eye, first) in [("l", 0usize, 14_598usize), ("r", 1, 14_670)] {
        let centre = base[first..first + 72].iter().sum::<Vec3>() / 72.0;
        for strip in [2, 1] {
            let mut near: BTreeMap<u32, Vec<u32>> = BTreeMap::new();
            for (q, _) in groups
                .get(&format!("helper-{side}-eyelashes-{strip}"))
                .into_iter()
                .flatten()
            {
                for i in 0..4 {
                    near.entry(q[i]).or_default().push(q[(i + 1) % 4]);
                    near.entry(q[(i + 1) % 4]).or_default().push(q[i]);
                }
            }
            let r = |i: u32| (base[i as usize] - centre).length();
            let mut chains: Vec<Vec<u32>> = Vec::new();
            for (&v, n) in &near {
                if r(v) > 0.185 || n.iter().any(|&n| r(n) < r(v) - 0.012) {
                    continue;
                }
                let mut chain = vec![v];
                let mut here = v;
                for _ in 0..5 {
                    let Some(&best) = near[&here].iter().max_by(|a, b| r(**a).total_cmp(&r(**b)))
                    else {
                        break;
                    };
                    if r(best) < r(here) + 0.006 {
                        break;
                    }
                    chain.push(best);
                    here = best;
                }
                if chain.len() >= 3 {
                    chains.push(chain);
                }
            }
            chains.sort_by(|a, b| base[a[0] as usize].x.total_cmp(&base[b[0] as usize].x));
            out.extend(chains.into_iter().map(|chain| Lash {
                chain,
                upper: strip == 2,
                eye,
            }));
        }
    }
    out
}

/// Region of a point of the skin in reference coordinates.
fn region_of(p: Vec3, lips: f32, mouth: f32, ear: f32) -> crate::Region {
    use crate::Region as R;
    let x = p.x.abs();
    if lips > 0.5 {
        return R::Lips;
    }
    if mouth > 0.5 {
        return R::Mouth;
    }
    if ear > 0.3 || p.z < 0.55 && p.y > 6.2 {
        return R::OtherSkin;
    }
    // Below the line of the jaw.
    if p.y < 6.12 + 0.55 * (1.25 - p.z).max(0.0) {
        return R::Neck;
    }
    let eye = vec3(0.308, 7.284, 1.245);
    let socket =
        (x - eye.x).powi(2) / 0.20f32.powi(2) + (p.y - eye.y).powi(2) / 0.115f32.powi(2) < 1.0;
    if socket && p.z > 1.0 {
        return R::OtherSkin;
    }
    if p.y > 7.36 + 0.12 * smooth(0.05, 0.30, x) && p.y < 8.05 && p.z > 0.95 {
        return R::Forehead;
    }
    let flank = table(
        &[
            (6.80, 0.20),
            (6.92, 0.20),
            (7.05, 0.14),
            (7.2, 0.11),
            (7.36, 0.09),
        ],
        p.y,
    );
    if p.y > 6.80 && p.y <= 7.40 && x < flank && p.z > 1.25 {
        return R::Nose;
    }
    if p.y < 6.52 && x < 0.32 && p.z > 1.1 {
        return R::Chin;
    }
    if p.y > 6.42 && p.y < 7.20 && p.z > 0.85 && x > 0.17 {
        return if p.x > 0.0 {
            R::LeftCheek
        } else {
            R::RightCheek
        };
    }
    R::OtherSkin
}

/// Part of the face that is read at a point of the skin in reference coordinates: by the anatomy of this head, for
/// no mesh of any detector.
fn read_part(p: Vec3) -> Option<crate::ReadPart> {
    use crate::ReadPart as R;
    let x = p.x.abs();
    let side = |right: R, left: R| if p.x > 0.0 { left } else { right };
    if p.z < 0.95 {
        return None;
    }
    // Above the brows (their upper edge, see `brow_coordinates`) by 4 mm, and as far below the usual hairline.
    let brows = table(
        &[
            (0.0, 7.50),
            (0.1, 7.51),
            (0.25, 7.56),
            (0.38, 7.575),
            (0.5, 7.53),
        ],
        x,
    );
    let hair = table(&[(0.0, 7.91), (0.25, 7.89), (0.38, 7.82), (0.5, 7.71)], x);
    if x < 0.50 && p.y > brows && p.y < hair {
        return Some(R::Forehead);
    }
    // Foot of the nose, as in `region_of`.
    let foot = table(
        &[
            (6.80, 0.20),
            (6.92, 0.20),
            (7.05, 0.14),
            (7.2, 0.11),
            (7.36, 0.09),
        ],
        p.y,
    );
    if p.y > 6.93 && p.y < 7.22 && x > 0.045 && x < foot - 0.015 && p.z > 1.25 {
        return Some(side(R::RightFlank, R::LeftFlank));
    }
    // The fold runs from the wing of the nose outward and down; the cheek turns to the side beyond its bone.
    let fold = table(
        &[(6.80, 0.29), (6.92, 0.25), (7.05, 0.20), (7.12, 0.20)],
        p.y,
    );
    let below_bag = 7.09 - 0.05 * smooth(0.36, 0.20, x);
    if p.y > 6.82 && p.y < below_bag && x > fold && x < 0.57 && p.z > 1.0 {
        return Some(side(R::RightCheek, R::LeftCheek));
    }
    None
}

/// Signed height above the hairline (positive inside the hair), reference coordinates, dm.
pub(crate) fn scalp(p: Vec3, recede: f32) -> f32 {
    let a = p.x.abs().atan2(p.z - 0.45).to_degrees();
    let line = table(
        &[
            (0.0, 7.95),
            (20.0, 7.94),
            (36.0, 7.88),
            (48.0, 7.75),
            (58.0, 7.56),
            (66.0, 7.36),
            (72.0, 7.14),
            (79.0, 7.10),
            (84.0, 7.36),
            (100.0, 7.36),
            (112.0, 7.18),
            (125.0, 6.92),
            (145.0, 6.72),
            (180.0, 6.66),
        ],
        a,
    );
    let back = recede
        * table(
            &[
                (0.0, 0.10),
                (20.0, 0.2),
                (36.0, 0.30),
                (55.0, 0.15),
                (66.0, 0.0),
                (180.0, 0.0),
            ],
            a,
        );
    if p.y < 6.4 {
        return -1.0;
    }
    p.y - line - back - 0.025 * noise(p * 9.0) - 0.02 * fractal(p * 23.0, 2)
}

/// Share of beard at a point of the skin, 0..1.
pub(crate) fn beard(p: Vec3) -> f32 {
    let x = p.x.abs();
    if p.z < 0.55 || p.y < 5.95 {
        return 0.0;
    }
    let line =
        6.60 + 0.80 * (x - 0.24).max(0.0) - if x < 0.2 { 0.09 * (1.0 - x / 0.2) } else { 0.0 };
    let low = smooth(0.09, -0.10, p.y - line + 0.05 * noise(p * 6.0))
        * smooth(0.50, 0.72, p.z + 0.12 * noise(p * 5.0))
        * smooth(6.0, 6.2, p.y + 0.25 * (0.9 - p.z).max(0.0));
    let lip = smooth(0.36, 0.28, x)
        * smooth(6.64, 6.70, p.y)
        * smooth(6.86 - 0.25 * x, 6.80 - 0.25 * x, p.y)
        * smooth(1.2, 1.3, p.z);
    let side = smooth(0.56, 0.66, x)
        * smooth(7.30, 6.95, p.y)
        * smooth(0.66, 0.80, p.z)
        * smooth(1.15, 0.95, p.z)
        * smooth(6.3, 6.5, p.y);
    low.max(lip).max(side)
}

/// Position along the brow (0 at the nose, 1 at the temple) and distance from its middle line in half-widths.
pub(crate) fn brow_coordinates(p: Vec3) -> Option<(f32, f32)> {
    let x = p.x.abs();
    if p.z < 1.0 || p.y < 7.2 || p.y > 7.75 {
        return None;
    }
    let t = (x - 0.100) / 0.45;
    if !(0.0..=1.0).contains(&t) {
        return None;
    }
    let middle = 7.425 + 0.080 * (t * 1.45).min(1.0).powf(0.8)
        - 0.085 * ((t - 0.62).max(0.0) / 0.38).powf(1.6);
    let half = table(&[(0.0, 0.026), (0.2, 0.040), (0.6, 0.031), (1.0, 0.008)], t);
    Some((t, (p.y - middle) / half))
}

/// Share of brow at a point of the skin, 0..1.
pub(crate) fn brow(p: Vec3) -> f32 {
    brow_coordinates(p).map_or(0.0, |(t, d)| {
        smooth(1.25, 0.6, d.abs()) * smooth(-0.02, 0.12, t)
    })
}
