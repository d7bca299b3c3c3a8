//! Rendering a frame into buffers of light by material, before any spectrum, camera or exposure is chosen.

use std::sync::Arc;

use glam::{Vec2, Vec3, vec2};
use rayon::prelude::*;

use crate::baked::{Baked, Face};
use crate::data::{HeadData, HeadsError};
use crate::light::{HARD, Lit};
use crate::person::{LOCALS, Local, Person, Pigment, ReadPart, Region, SkinScores};
use crate::raster::{Hit, View, hit, raster};
use crate::scene::{Ambient, Foreground, Scene};
use crate::set::Backdrop;
use crate::shadow::ShadowMap;
use crate::strands::{Fibre, Strands};
use crate::surface::Actor;

/// Size and quality of a picture.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Size {
    /// Pixels across.
    pub width: usize,
    /// Pixels down.
    pub height: usize,
    /// Samples per pixel along each axis, 1–4 (2 is the usual).
    pub samples: usize,
}

impl Size {
    /// 1280 × 720 with 2 × 2 samples.
    pub const HD720: Self = Self {
        width: 1280,
        height: 720,
        samples: 2,
    };
}

/// A covered part of a pixel: one material and its light.
#[derive(Clone, Copy, Debug)]
pub(crate) struct Fragment {
    /// `person-in-scene * LOCALS + local`.
    pub(crate) material: u16,
    /// Share of the pixel, 0–1.
    pub(crate) coverage: f32,
    pub(crate) melanin: f32,
    pub(crate) blood: f32,
    /// Row of values in [`Row::values`].
    pub(crate) values: u32,
}

#[derive(Default)]
pub(crate) struct Row {
    pub(crate) start: Vec<u32>,
    pub(crate) fragments: Vec<Fragment>,
    pub(crate) values: Vec<f32>,
}

/// Where a person's face is in a frame.
#[derive(Clone, Debug, PartialEq)]
pub struct FaceInFrame {
    /// Index into `Scene::people`.
    pub placement: usize,
    /// Facial points in pixels (x right, y down), in the order of [`crate::FacePoint`].
    pub points: [Vec2; 9],
    /// Three points of the skin about the middle of the right and of the left cheek (inner, outer, lower), pixels, in
    /// sight or not: between them a place on the cheek can be followed.
    pub cheeks: [[Vec2; 3]; 2],
    /// Left, top, right, bottom of the face (skin regions of the head, lips, eyes, brows), pixels;
    /// `None` when nothing of it is in the picture.
    pub face_box: Option<[f32; 4]>,
}

/// A rendered frame before spectra: light by material, light by light.
pub struct Buffers {
    /// Picture size.
    pub size: Size,
    /// Faces, one per placed person.
    pub faces: Vec<FaceInFrame>,
    pub(crate) rows: Vec<Row>,
    pub(crate) codes: Vec<u8>,
    /// What is read at each sample: 0 nothing, else person and part.
    pub(crate) read: Vec<u8>,
    pub(crate) lights: usize,
    pub(crate) ambients: Vec<Ambient>,
    /// Person (as baked) of each placement.
    pub(crate) people: Vec<Arc<Person>>,
    pub(crate) backdrop: Arc<Backdrop>,
    pub(crate) backdrop_gain: Vec<f32>,
    pub(crate) backdrop_shift: Vec2,
    pub(crate) foreground: Option<Foreground>,
}

impl std::fmt::Debug for Buffers {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("Buffers")
            .field("size", &self.size)
            .field("faces", &self.faces)
            .finish_non_exhaustive()
    }
}

/// Renders one frame. Everything of the people and the scene is in decimetres; see [`Scene`].
///
/// # Errors
/// When the data folder lost a face unit since loading.
///
/// # Panics
/// When a placement names a person that is not in `baked`, or there are more than 8 people, 5 lights or 3 ambients.
pub fn render(
    data: &HeadData,
    scene: &Scene,
    baked: &[Baked],
    size: Size,
) -> Result<Buffers, HeadsError> {
    assert!(
        scene.people.len() <= 8,
        "{} people, at most 8",
        scene.people.len()
    );
    assert!(
        scene.lights.len() <= 5,
        "{} lights, at most 5",
        scene.lights.len()
    );
    assert!(
        scene.ambients.len() <= 3,
        "{} ambients, at most 3",
        scene.ambients.len()
    );
    let n = size.samples.clamp(1, 4);
    let (w, h) = (size.width * n, size.height * n);
    let view = View::new(&scene.camera, w, h);
    let people: Vec<&Baked> = scene.people.iter().map(|p| &baked[p.person]).collect();
    let geometry = people
        .iter()
        .zip(&scene.people)
        .map(|(b, p)| b.geometry(data, p))
        .collect::<Result<Vec<_>, _>>()?;
    let strands: Vec<Strands> = people
        .iter()
        .zip(&geometry)
        .map(|(b, g)| Strands::new(data, b, g))
        .collect();
    let all: Vec<_> = (0..people.len())
        .map(|i| (people[i], &geometry[i], &strands[i]))
        .collect();
    let shadows: Vec<Option<ShadowMap>> = scene
        .lights
        .iter()
        .map(|l| {
            let half = (l.radius / l.position.distance(scene.focus).max(0.1)).atan();
            (half < HARD && l.irradiance > 0.0 && !all.is_empty())
                .then(|| ShadowMap::new(&all, l.position, half))
        })
        .collect();
    let lit: Vec<Lit> = (0..people.len())
        .map(|i| {
            Lit::new(
                data,
                people[i],
                &geometry[i],
                &scene.people[i],
                scene,
                &shadows,
            )
        })
        .collect();
    let samples = raster(&all, &view, w, h);
    let actors: Vec<Actor<'_>> = (0..people.len())
        .map(|i| Actor {
            data,
            baked: people[i],
            geometry: &geometry[i],
            strands: &strands[i],
            lit: &lit[i],
            place: &scene.people[i],
            scene,
            view: &view,
            footprint: n as f32 / view.size(view.project(geometry[i].eyes[0]).inverse),
        })
        .collect();
    let terms = 4 * scene.lights.len() + 2 * scene.ambients.len();
    let mut codes = vec![0u8; w * h];
    let mut read = vec![0u8; w * h];
    let rows: Vec<Row> = codes
        .par_chunks_mut(w * n)
        .zip(read.par_chunks_mut(w * n))
        .enumerate()
        .map(|(y, (codes, read))| {
            let mut row = Row {
                start: vec![0],
                ..Row::default()
            };
            for x in 0..size.width {
                pixel(&actors, &samples, (x, y), n, terms, &mut row, (codes, read));
                row.start.push(row.fragments.len() as u32);
            }
            row
        })
        .collect();
    let scale = 1.0 / n as f32;
    let mut buffers = Buffers {
        size: Size { samples: n, ..size },
        faces: Vec::new(),
        rows,
        codes,
        read,
        lights: scene.lights.len(),
        ambients: scene.ambients.clone(),
        people: people.iter().map(|b| Arc::new(b.person.clone())).collect(),
        backdrop: scene.backdrop.clone(),
        backdrop_gain: scene.backdrop_gain.clone(),
        backdrop_shift: scene.backdrop_shift,
        foreground: scene.foreground,
    };
    buffers.faces = geometry
        .iter()
        .enumerate()
        .map(|(i, g)| {
            let project = |p: Vec3| {
                let q = view.project(p);
                vec2(q.x, q.y) * scale
            };
            let mut points = [Vec2::ZERO; 9];
            for (o, p) in points.iter_mut().zip(&g.points) {
                *o = project(*p);
            }
            FaceInFrame {
                placement: i,
                points,
                cheeks: g.cheeks.map(|c| c.map(project)),
                face_box: buffers.face_box(i),
            }
        })
        .collect();
    Ok(buffers)
}

/// What the samples of a pixel are grouped by.
#[derive(Clone, Copy, PartialEq)]
enum Group {
    Face(usize, Face),
    Strand(usize, Fibre, u32),
}

fn pixel(
    actors: &[Actor<'_>],
    samples: &crate::raster::Samples,
    (x, y): (usize, usize),
    n: usize,
    terms: usize,
    row: &mut Row,
    (codes, read): (&mut [u8], &mut [u8]),
) {
    let mut groups = [(
        Group::Strand(0, Fibre::Head, 0),
        0usize,
        0.0f32,
        0.0f32,
        0.0f32,
        0usize,
    ); 16];
    let mut used = 0;
    // Lens in front of samples of this pixel: person, triangle, sums of places, samples.
    let mut lens: Option<(usize, usize, f32, f32, usize)> = None;
    for j in 0..n {
        for i in 0..n {
            let (sx, sy) = (x * n + i, y * n + j);
            let o = sy * samples.width + sx;
            let (fx, fy, z) = (sx as f32 + 0.5, sy as f32 + 0.5, samples.inverse[o]);
            let behind_lens = match samples.lens.get(o).copied().and_then(hit) {
                Some(Hit::Triangle(p, i)) => {
                    let l = lens.get_or_insert((p, i, 0.0, 0.0, 0));
                    l.2 += fx;
                    l.3 += fy;
                    l.4 += 1;
                    Some(p)
                }
                _ => None,
            };
            if let Some(p) = behind_lens {
                codes[j * samples.width + sx] = code(p, Region::Spectacles);
            }
            let Some(hit) = hit(samples.id[o]) else {
                continue;
            };
            let (group, index, person, region) = match hit {
                Hit::Triangle(p, i) => {
                    let t = &actors[p].baked.triangles[i];
                    if let (Some(part), None) = (t.read, behind_lens) {
                        read[j * samples.width + sx] = read_code(p, part);
                    }
                    (Group::Face(p, t.face), i, p, t.region)
                }
                Hit::Segment(p, i) => {
                    let s = &actors[p].strands.segments[i];
                    let region = match s.fibre {
                        Fibre::Head => Region::Hair,
                        Fibre::Beard => Region::Beard,
                        Fibre::Brow => Region::Brows,
                        Fibre::Lash => Region::Eyes,
                    };
                    (Group::Strand(p, s.fibre, s.strand), i, p, region)
                }
            };
            if behind_lens.is_none() {
                codes[j * samples.width + sx] = code(person, region);
            }
            let single = matches!(group, Group::Face(_, Face::Eye(_)));
            let found = (!single)
                .then(|| {
                    groups[..used]
                        .iter()
                        .position(|g| g.0 == group && (g.4 - z).abs() < 0.004 * z)
                })
                .flatten();
            if let Some(k) = found {
                let g = &mut groups[k];
                g.2 += fx;
                g.3 += fy;
                g.5 += 1;
            } else if used < groups.len() {
                groups[used] = (group, index, fx, fy, z, 1);
                used += 1;
            }
        }
    }
    let share = 1.0 / (n * n) as f32;
    for (group, index, sx, sy, _, count) in &groups[..used] {
        let start = row.values.len();
        row.values.resize(start + terms, 0.0);
        let values = &mut row.values[start..];
        let coverage = *count as f32 * share;
        let slot = (start / terms.max(1)) as u32;
        match group {
            Group::Face(p, _) => {
                let a = &actors[*p];
                let t = &a.baked.triangles[*index];
                let k = 1.0 / *count as f32;
                let shares = a.triangle(t, &samples.vertices[*p], sx * k, sy * k, values);
                for (local, s) in shares.iter() {
                    row.fragments.push(Fragment {
                        material: (p * LOCALS) as u16 + local as u16,
                        coverage: coverage * s,
                        melanin: shares.melanin,
                        blood: shares.blood,
                        values: slot,
                    });
                }
            }
            Group::Strand(p, _, _) => {
                let local = actors[*p].segment(*index, values);
                row.fragments.push(Fragment {
                    material: (p * LOCALS) as u16 + local as u16,
                    coverage,
                    melanin: 0.0,
                    blood: 0.0,
                    values: slot,
                });
            }
        }
    }
    if let Some((p, index, sx, sy, count)) = lens {
        let start = row.values.len();
        row.values.resize(start + terms, 0.0);
        let (a, k) = (&actors[p], 1.0 / count as f32);
        let reflected = a.lens(
            &a.baked.triangles[index],
            &samples.vertices[p],
            (sx * k, sy * k),
            &mut row.values[start..],
        );
        let coverage = reflected * count as f32 * share;
        let first = row.start.last().map_or(0, |s| *s as usize);
        for f in &mut row.fragments[first..] {
            f.coverage *= 1.0 - coverage;
        }
        row.fragments.push(Fragment {
            material: (p * LOCALS) as u16 + Local::Frame as u16,
            coverage,
            melanin: 0.0,
            blood: 0.0,
            values: (start / terms.max(1)) as u32,
        });
    }
}

fn code(person: usize, region: Region) -> u8 {
    1 + (person * 16 + region as usize) as u8
}

fn read_code(person: usize, part: ReadPart) -> u8 {
    1 + (person * ReadPart::ALL.len() + part as usize) as u8
}

impl Buffers {
    /// Share of each pixel covered by a region of a placed person, row by row, 0–1, counted from the samples.
    #[must_use]
    pub fn coverage(&self, placement: usize, region: Region) -> Vec<f32> {
        let wanted = code(placement, region);
        self.count(&self.codes, &|c| c == wanted)
    }

    /// Share of each pixel covered by bare skin of a part that is read, 0–1, counted from the samples. Skin behind a
    /// lens is none.
    #[must_use]
    pub fn read_coverage(&self, placement: usize, part: ReadPart) -> Vec<f32> {
        let wanted = read_code(placement, part);
        self.count(&self.read, &|c| c == wanted)
    }

    /// Share of each pixel covered by any of several regions.
    #[must_use]
    pub fn coverage_of(&self, placement: usize, regions: &[Region]) -> Vec<f32> {
        let wanted: Vec<u8> = regions.iter().map(|r| code(placement, *r)).collect();
        self.count(&self.codes, &|c| wanted.contains(&c))
    }

    /// Share of each pixel where the set is seen.
    #[must_use]
    pub fn backdrop_coverage(&self) -> Vec<f32> {
        self.count(&self.codes, &|c| c == 0)
    }

    /// Share of each pixel covered by those materials of the set that `which` chooses (by name), 0–1.
    #[must_use]
    pub fn set_coverage(&self, which: &dyn Fn(&crate::SetMaterial) -> bool) -> Vec<f32> {
        let mut all = self.backdrop_coverage();
        let w = self.size.width;
        for (i, c) in all.iter_mut().enumerate() {
            if *c > 0.0 {
                *c *= self
                    .backdrop
                    .share(self.backdrop_place(i % w, i / w), which);
            }
        }
        all
    }

    /// Skin scores and share of every pixel's skin of a placed person: the coverage-weighted mean of what the
    /// fragments carry, `None` where there is no skin.
    #[must_use]
    pub fn skin_scores(&self, placement: usize) -> Vec<Option<(SkinScores, f32)>> {
        let skin = (placement * LOCALS) as u16;
        let person = &self.people[placement];
        self.rows
            .par_iter()
            .flat_map_iter(|row| {
                (0..self.size.width).map(move |x| {
                    let (mut m, mut b, mut c) = (0.0, 0.0, 0.0);
                    for f in &row.fragments[row.start[x] as usize..row.start[x + 1] as usize] {
                        if f.material == skin {
                            m += f.melanin * f.coverage;
                            b += f.blood * f.coverage;
                            c += f.coverage;
                        }
                    }
                    (c > 0.0).then(|| (person.skin.at(m / c, b / c), c))
                })
            })
            .collect()
    }

    /// Persons of the placements.
    #[must_use]
    pub fn person(&self, placement: usize) -> &Person {
        &self.people[placement]
    }

    pub(crate) fn backdrop_place(&self, x: usize, y: usize) -> Vec2 {
        let (w, h) = (self.size.width as f32, self.size.height as f32);
        vec2((x as f32 + 0.5 - w * 0.5) / h, (y as f32 + 0.5) / h - 0.5) - self.backdrop_shift
    }

    /// Share of the foreground at a row of pixels.
    pub(crate) fn foreground_at(&self, y: usize) -> f32 {
        self.foreground.map_or(0.0, |f| {
            let v = (y as f32 + 0.5) / self.size.height as f32;
            let s = f.softness.max(0.5 / self.size.height as f32);
            crate::math::smooth(f.top - s, f.top + s, v)
        })
    }

    /// Boards and grain of the foreground: a factor about 1, a light edge on top.
    pub(crate) fn foreground_relief(&self, x: usize, y: usize) -> f32 {
        use crate::math::{noise, smooth};
        let Some(f) = self.foreground else { return 1.0 };
        let h = self.size.height as f32;
        let (u, v) = (x as f32 / h, y as f32 / h - f.top);
        let row = (v / 0.085).floor();
        let within = (v / 0.085).fract();
        let seam = smooth(0.0, 0.05, within) * smooth(1.0, 0.96, within);
        let grain = noise(glam::vec3(u * 3.0 + row * 7.3, v * 90.0, row))
            + 0.6 * noise(glam::vec3(u * 11.0, v * 210.0, row + 5.0));
        (0.80 + 0.35 * smooth(0.022, 0.0, v))
            * (1.0 + 0.10 * grain + 0.06 * noise(glam::vec3(0.0, row, 3.7)))
            * (0.55 + 0.45 * seam)
            * (1.0 - 0.3 * smooth(0.0, 0.6, v))
    }

    fn count(&self, codes: &[u8], which: &(dyn Fn(u8) -> bool + Sync)) -> Vec<f32> {
        let (n, w) = (self.size.samples, self.size.width);
        let k = 1.0 / (n * n) as f32;
        let mut out = vec![0f32; w * self.size.height];
        out.par_chunks_mut(w).enumerate().for_each(|(y, row)| {
            let front = 1.0 - self.foreground_at(y);
            for (x, o) in row.iter_mut().enumerate() {
                let mut c = 0;
                for j in 0..n {
                    let start = ((y * n + j) * w + x) * n;
                    c += codes[start..start + n]
                        .iter()
                        .filter(|c| which(**c))
                        .count();
                }
                *o = c as f32 * k * front;
            }
        });
        out
    }

    fn face_box(&self, placement: usize) -> Option<[f32; 4]> {
        use Region as R;
        let wanted: Vec<u8> = [
            R::Forehead,
            R::LeftCheek,
            R::RightCheek,
            R::Nose,
            R::Chin,
            R::Lips,
            R::Eyes,
            R::Brows,
            R::Beard,
        ]
        .iter()
        .map(|r| code(placement, *r))
        .collect();
        let (n, w) = (self.size.samples, self.size.width * self.size.samples);
        let mut b: Option<[usize; 4]> = None;
        for (i, c) in self.codes.iter().enumerate() {
            if wanted.contains(c) {
                let (x, y) = (i % w, i / w);
                b = Some(match b {
                    None => [x, y, x + 1, y + 1],
                    Some(a) => [a[0].min(x), a[1].min(y), a[2].max(x + 1), a[3].max(y + 1)],
                });
            }
        }
        b.map(|b| b.map(|v| v as f32 / n as f32))
    }
}

/// Pigment of a material number, `None` for skin.
pub(crate) fn pigment(people: &[Arc<Person>], material: usize) -> Option<Pigment> {
    people[material / LOCALS].pigment(material % LOCALS)
}

/// Middle between the eyes of a person at rest at the origin: a good target for cameras, dm.
#[must_use]
pub fn eye_middle() -> Vec3 {
    crate::pose::EYE_MIDDLE
}
