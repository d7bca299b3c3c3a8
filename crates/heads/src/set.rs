//! What is behind the people: painted once a shot, as shares of materials, so that spectra apply afterwards.
//!
//! Coordinates: x right and y down in picture heights from the middle of the picture.

use glam::{Vec2, vec2, vec3};
use rayon::prelude::*;

use crate::math::{fractal, hash3, mix, noise, smooth};
use crate::person::Pigment;

/// A kind of place.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Place {
    /// Painted wall, window, shelf, plant.
    LivingRoom,
    /// Board, cupboard, desk things.
    Office,
    /// Dark wall, a lamp, wood.
    Evening,
    /// Leaves, trunks, patches of sky.
    Park,
    /// Brick and plaster, a painted door.
    Street,
    /// Tiles, wooden cupboards, things on a shelf.
    Kitchen,
}

impl Place {
    /// All places.
    pub const ALL: [Self; 6] = [
        Self::LivingRoom,
        Self::Office,
        Self::Evening,
        Self::Park,
        Self::Street,
        Self::Kitchen,
    ];
}

/// Whether something in the set reflects every wavelength alike.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Neutral {
    /// A grey and a white thing, spectrally flat.
    True,
    /// The same things, slightly warm, as paper and plaster are.
    Nearly,
    /// Those things are coloured.
    None,
}

/// Light on the set from one illumination: a floor and a round pool.
#[derive(Clone, Copy, Debug)]
pub struct Pool {
    /// Middle of the pool.
    pub centre: Vec2,
    /// Radius at which it has fallen to 37 %, picture heights.
    pub radius: f32,
    /// Irradiance in the middle.
    pub level: f32,
    /// Irradiance far away.
    pub floor: f32,
}

impl Pool {
    /// The same everywhere.
    #[must_use]
    pub fn even(level: f32) -> Self {
        Self {
            centre: Vec2::ZERO,
            radius: 1.0,
            level,
            floor: level,
        }
    }

    fn at(&self, p: Vec2) -> f32 {
        let d = (p - self.centre).length_squared() / (self.radius * self.radius);
        mix(self.floor, self.level, (-d).exp())
    }
}

/// A set as ordered.
#[derive(Clone, Debug)]
pub struct Set {
    /// Which place.
    pub place: Place,
    /// Whether it holds something neutral.
    pub neutral: Neutral,
    /// Variation of arrangement and texture.
    pub seed: u32,
    /// Colour of the wall, linear BT.709 under D65.
    pub wall: [f32; 3],
    /// Blur by depth of field, as a fraction of picture height (0.004 wide … 0.02 close).
    pub blur: f32,
    /// Strength of shading and still texture painted on surfaces; 1 = as painted, 0 = flat colours.
    pub texture: f32,
    /// Enlargement of everything (1 = medium shot; about 2 for a close one, 0.6 for a wide one).
    pub zoom: f32,
    /// Light that shines in through windows and sky, and how bright they look (1 = a white card in full light).
    pub window: (usize, f32),
    /// Light that the lamp gives, and how bright it looks.
    pub lamp: (usize, f32),
    /// Light on the set, one pool per illumination: lights, then ambients.
    pub pools: Vec<Pool>,
}

/// A material of the set.
#[derive(Clone, Debug, PartialEq)]
pub struct SetMaterial {
    /// What it is.
    pub name: &'static str,
    /// What it reflects; for a glowing thing, what its light passes.
    pub pigment: Pigment,
    /// A light that shines through it, with its brightness; it reflects nothing then.
    pub glow: Option<(usize, f32)>,
}

/// A painted set.
#[derive(Clone, Debug)]
pub struct Backdrop {
    pub(crate) width: usize,
    pub(crate) height: usize,
    /// Size of a stored pixel, picture heights.
    pub(crate) step: f32,
    pub(crate) materials: Vec<SetMaterial>,
    start: Vec<u32>,
    shares: Vec<(u8, f32)>,
    /// Irradiance by stored pixel, one number per illumination.
    levels: Vec<f32>,
    illuminations: usize,
    /// Still texture of surfaces, a factor, at twice the stored resolution.
    grain: Vec<f32>,
}

/// How far the painting reaches beyond the picture on every side, as a factor.
const OVERSIZE: f32 = 1.25;

type Inside = Box<dyn Fn(Vec2) -> Option<f32> + Sync>;

struct Shape {
    material: u8,
    detail: f32,
    inside: Inside,
}

struct Painter {
    materials: Vec<SetMaterial>,
    shapes: Vec<Shape>,
}

fn rect(c: Vec2, half: Vec2, round: f32) -> impl Fn(Vec2) -> f32 + Sync {
    move |p| {
        let d = (p - c).abs() - half + Vec2::splat(round);
        d.max(Vec2::ZERO).length() + d.x.max(d.y).min(0.0) - round
    }
}

impl Painter {
    fn material(&mut self, name: &'static str, pigment: Pigment, glow: Option<(usize, f32)>) -> u8 {
        let m = SetMaterial {
            name,
            pigment,
            glow,
        };
        if let Some(k) = self.materials.iter().position(|x| *x == m) {
            return k as u8;
        }
        self.materials.push(m);
        (self.materials.len() - 1) as u8
    }

    fn colour(&mut self, name: &'static str, c: [f32; 3]) -> u8 {
        self.material(name, Pigment::Colour(c), None)
    }

    fn shape(
        &mut self,
        material: u8,
        detail: f32,
        inside: impl Fn(Vec2) -> Option<f32> + Sync + 'static,
    ) {
        self.shapes.push(Shape {
            material,
            detail,
            inside: Box::new(inside),
        });
    }

    fn rect(&mut self, material: u8, c: Vec2, half: Vec2, round: f32) {
        let d = rect(c, half, round);
        // A little rounder at the edges: darker below and to the right.
        self.shape(material, 0.03, move |p| {
            (d(p) < 0.0).then(|| {
                let q = (p - c) / half;
                1.0 - 0.10 * q.y.clamp(-1.0, 1.0) - 0.05 * q.x.clamp(-1.0, 1.0)
            })
        });
    }

    fn window(&mut self, c: Vec2, half: Vec2, frame: u8, pane: u8, seed: f32) {
        self.rect(frame, c, half + Vec2::splat(0.035), 0.004);
        let outer = rect(c, half, 0.0);
        self.shape(pane, 0.0, move |p| {
            let q = (p - c) / half;
            let bar = q.x.abs() * half.x < 0.010 || (q.y + 0.15).abs() * half.y < 0.008;
            (outer(p) < 0.0 && !bar).then(|| {
                let tree = smooth(
                    0.15,
                    -0.1,
                    fractal(vec3(p.x * 4.0 + seed, p.y * 4.0, seed), 3) + 0.5 * (0.35 - q.y),
                );
                (1.12 - 0.18 * (q.y + 1.0)) * (1.0 - 0.45 * tree)
            })
        });
    }

    fn plant(&mut self, foot: Vec2, size: f32, leaf: u8, pot: u8, seed: i32) {
        self.rect(
            pot,
            foot + vec2(0.0, 0.09 * size),
            vec2(0.085, 0.09) * size,
            0.02,
        );
        for k in 0..15 {
            let a = -1.57 + (k as f32 - 7.0) * 0.20 + 0.2 * (hash3(k, seed, 1) - 0.5);
            let length = size * (0.30 + 0.20 * hash3(k, seed, 2));
            let dir = vec2(a.cos(), a.sin());
            let tone = 0.55 + 0.75 * hash3(k, seed, 3);
            let width = size * 0.030;
            self.shape(leaf, 0.05, move |p| {
                let q = p - foot;
                let t = q.dot(dir).clamp(0.0, length);
                let sag = vec2(0.0, 0.55 * t * t / size * a.cos().abs());
                let d = (q - dir * t - sag).length();
                let w = width * (t / length * std::f32::consts::PI).sin().max(0.08);
                (d < w).then(|| tone * (0.8 + 0.4 * (d / w)))
            });
        }
    }
}

impl Backdrop {
    /// Paints a set for pictures `height` pixels high and `aspect` times as wide.
    #[must_use]
    pub fn paint(set: &Set, aspect: f32, height: usize) -> Self {
        let mut painter = Painter {
            materials: Vec::new(),
            shapes: Vec::new(),
        };
        arrange(set, &mut painter);
        let step = 2.0 / height as f32;
        let (w, h) = (
            (aspect * OVERSIZE / step) as usize,
            (OVERSIZE / step) as usize,
        );
        let m = painter.materials.len();
        let mut top = vec![(0u8, 0f32, 0f32); w * h];
        top.par_chunks_mut(w).enumerate().for_each(|(y, row)| {
            for (x, out) in row.iter_mut().enumerate() {
                let p = vec2(
                    x as f32 + 0.5 - w as f32 * 0.5,
                    y as f32 + 0.5 - h as f32 * 0.5,
                ) * step
                    / set.zoom;
                for s in painter.shapes.iter().rev() {
                    if let Some(v) = (s.inside)(p) {
                        let v = 1.0 + (v - 1.0) * set.texture;
                        *out = (s.material, v, s.detail * set.texture);
                        break;
                    }
                }
            }
        });
        let radius = (set.blur / step / 1.6).round() as usize;
        let planes: Vec<Vec<f32>> = (0..=m)
            .into_par_iter()
            .map(|k| {
                let mut plane: Vec<f32> = top
                    .iter()
                    .map(|t| {
                        if k == m {
                            t.2
                        } else if t.0 as usize == k {
                            t.1
                        } else {
                            0.0
                        }
                    })
                    .collect();
                if radius > 0 {
                    for _ in 0..3 {
                        blur(&mut plane, w, h, radius);
                    }
                }
                plane
            })
            .collect();
        let (mut start, mut shares) = (vec![0u32], Vec::new());
        for i in 0..w * h {
            for (k, plane) in planes[..m].iter().enumerate() {
                if plane[i] > 1e-4 {
                    shares.push((k as u8, plane[i]));
                }
            }
            start.push(shares.len() as u32);
        }
        Self {
            width: w,
            height: h,
            step,
            materials: painter.materials,
            start,
            shares,
            levels: (0..w * h)
                .into_par_iter()
                .flat_map_iter(|i| {
                    let p = vec2(
                        (i % w) as f32 + 0.5 - w as f32 * 0.5,
                        (i / w) as f32 + 0.5 - h as f32 * 0.5,
                    ) * step;
                    set.pools.iter().map(move |pool| pool.at(p))
                })
                .collect(),
            illuminations: set.pools.len(),
            grain: grain(set, &planes[m], w, h, step),
        }
    }

    /// The materials of the set.
    #[must_use]
    pub fn materials(&self) -> &[SetMaterial] {
        &self.materials
    }

    /// Colours of the stored pixels. `table[material][illumination]` is the response of a material under full light.
    pub(crate) fn shade(&self, table: &[Vec<[f32; 3]>], gain: &[f32]) -> Vec<[f32; 3]> {
        let mut out = vec![[0f32; 3]; self.width * self.height];
        out.par_chunks_mut(self.width)
            .enumerate()
            .for_each(|(y, row)| {
                let mut level = vec![0f32; self.illuminations];
                for (x, o) in row.iter_mut().enumerate() {
                    let i = y * self.width + x;
                    for (k, l) in level.iter_mut().enumerate() {
                        *l = self.levels[i * self.illuminations + k]
                            * gain.get(k).copied().unwrap_or(1.0);
                    }
                    for &(m, share) in
                        &self.shares[self.start[i] as usize..self.start[i + 1] as usize]
                    {
                        let row = &table[m as usize];
                        if let Some((light, brightness)) = self.materials[m as usize].glow {
                            let g = gain.get(light).copied().unwrap_or(1.0) * brightness * share;
                            for c in 0..3 {
                                o[c] += row.get(light).map_or(0.0, |r| r[c]) * g;
                            }
                        } else {
                            for (r, l) in row.iter().zip(&level) {
                                for c in 0..3 {
                                    o[c] += r[c] * l * share;
                                }
                            }
                        }
                    }
                }
            });
        out
    }

    /// Place of picture coordinates in stored pixels: index of the upper left one and fractions.
    fn place(&self, p: Vec2) -> (usize, f32, f32) {
        let x =
            (p.x / self.step + self.width as f32 * 0.5 - 0.5).clamp(0.0, self.width as f32 - 1.001);
        let y = (p.y / self.step + self.height as f32 * 0.5 - 0.5)
            .clamp(0.0, self.height as f32 - 1.001);
        (y as usize * self.width + x as usize, x.fract(), y.fract())
    }

    /// Colour at picture coordinates (x right, y down, picture heights from the middle).
    pub(crate) fn sample(&self, shaded: &[[f32; 3]], p: Vec2) -> [f32; 3] {
        let (i, fx, fy) = self.place(p);
        let w = self.width;
        let grain = {
            let w = self.width * 2;
            let x = ((p.x / self.step + self.width as f32 * 0.5) * 2.0 - 0.5)
                .clamp(0.0, w as f32 - 1.001);
            let y = ((p.y / self.step + self.height as f32 * 0.5) * 2.0 - 0.5)
                .clamp(0.0, self.height as f32 * 2.0 - 1.001);
            let (k, gx, gy) = (y as usize * w + x as usize, x.fract(), y.fract());
            mix(
                mix(self.grain[k], self.grain[k + 1], gx),
                mix(self.grain[k + w], self.grain[k + w + 1], gx),
                gy,
            )
        };
        std::array::from_fn(|c| {
            let a = mix(shaded[i][c], shaded[i + 1][c], fx);
            let b = mix(shaded[i + w][c], shaded[i + w + 1][c], fx);
            mix(a, b, fy) * grain
        })
    }

    /// Share of the materials chosen by `which` at picture coordinates, 0–1 (approximately: shares carry shading).
    pub(crate) fn share(&self, p: Vec2, which: &dyn Fn(&SetMaterial) -> bool) -> f32 {
        let (i, fx, fy) = self.place(p);
        let (mut some, mut all) = (0.0, 1e-9);
        let w = self.width;
        for (k, weight) in [
            (i, (1.0 - fx) * (1.0 - fy)),
            (i + 1, fx * (1.0 - fy)),
            (i + w, (1.0 - fx) * fy),
            (i + w + 1, fx * fy),
        ] {
            for &(m, s) in &self.shares[self.start[k] as usize..self.start[k + 1] as usize] {
                all += s * weight;
                if which(&self.materials[m as usize]) {
                    some += s * weight;
                }
            }
        }
        some / all
    }
}

fn grain(set: &Set, detail: &[f32], w: usize, h: usize, step: f32) -> Vec<f32> {
    (0..w * h * 4)
        .into_par_iter()
        .with_min_len(4096)
        .map(|i| {
            let (x, y) = (i % (2 * w), i / (2 * w));
            let p = vec2(x as f32 + 0.5 - w as f32, y as f32 + 0.5 - h as f32)
                * (0.5 * step / set.zoom);
            let d = detail[(y / 2) * w + x / 2];
            // Turned in space, so that no row of the lattice shows.
            let q = vec3(
                0.80 * p.x - 0.36 * p.y,
                0.48 * p.x + 0.80 * p.y,
                0.36 * p.x + 0.48 * p.y,
            );
            let s = vec3(0.0, set.seed as f32 * 1.7, 3.0);
            1.0 + 0.7 * d * (noise(q * 87.0 + s) + noise(q * 37.0 + s) + 1.2 * noise(q * 15.0 - s))
        })
        .collect()
}

fn blur(plane: &mut [f32], w: usize, h: usize, radius: usize) {
    let k = 1.0 / (2 * radius + 1) as f32;
    let mut line = vec![0f32; w.max(h)];
    let mut pass = |get: &dyn Fn(usize) -> usize, n: usize, plane: &mut [f32]| {
        for i in 0..n {
            line[i] = plane[get(i)];
        }
        let at = |i: isize| line[i.clamp(0, n as isize - 1) as usize];
        let mut sum: f64 = (-(radius as isize)..=radius as isize)
            .map(|i| f64::from(at(i)))
            .sum();
        for i in 0..n {
            plane[get(i)] = sum as f32 * k;
            sum += f64::from(at(i as isize + radius as isize + 1))
                - f64::from(at(i as isize - radius as isize));
        }
    };
    for y in 0..h {
        pass(&|i| y * w + i, w, plane);
    }
    for x in 0..w {
        pass(&|i| i * w + x, h, plane);
    }
}

fn arrange(set: &Set, p: &mut Painter) {
    let tint = |r: f32| match set.neutral {
        Neutral::True => Pigment::Neutral(r),
        Neutral::Nearly => Pigment::Colour([r * 1.045, r, r * 0.90]),
        Neutral::None => Pigment::Colour([r * 0.62, r * 0.9, r * 0.52]),
    };
    let white = p.material("white thing", tint(0.80), None);
    let grey = p.material("grey thing", tint(0.30), None);
    let wall = p.colour("wall", set.wall);
    let wood = p.colour("wood", [0.24, 0.115, 0.050]);
    let dark_wood = p.colour("dark wood", [0.085, 0.042, 0.022]);
    let leaf = p.colour("leaf", [0.055, 0.13, 0.030]);
    let pot = p.colour("pot", [0.36, 0.13, 0.065]);
    let red = p.colour("red thing", [0.30, 0.055, 0.045]);
    let blue = p.colour("blue thing", [0.055, 0.095, 0.22]);
    let yellow = p.colour("yellow thing", [0.46, 0.32, 0.10]);
    let sky = p.material(
        "window",
        Pigment::Colour([0.86, 0.95, 1.0]),
        Some(set.window),
    );
    let lamp = p.material("lamp", Pigment::Colour([1.0, 0.93, 0.80]), Some(set.lamp));
    let s = set.seed as i32;
    let jitter = |k: i32| hash3(s, k, 77) - 0.5;
    // The wall reaches everywhere.
    p.shape(wall, 0.05, move |q| {
        Some(1.0 + 0.05 * fractal(vec3(q.x * 2.3, q.y * 2.3, s as f32), 3))
    });
    let books = |p: &mut Painter, x0: f32, x1: f32, y: f32, colours: &[u8]| {
        let (mut x, mut k) = (x0, 0);
        while x < x1 {
            let w = 0.012 + 0.020 * hash3(k, s, 5);
            let h = 0.070 + 0.045 * hash3(k, s, 6);
            let c = colours[(hash3(k, s, 7) * colours.len() as f32) as usize % colours.len()];
            p.rect(c, vec2(x + w, y - h), vec2(w, h), 0.003);
            x += 2.0 * w + 0.002;
            k += 1;
        }
    };
    match set.place {
        Place::LivingRoom => {
            p.window(
                vec2(0.56 + 0.1 * jitter(1), -0.16),
                vec2(0.20, 0.27),
                white,
                sky,
                s as f32,
            );
            let curtain = p.colour("curtain", [0.36, 0.26, 0.17]);
            for (c, w) in [(0.86, 0.085), (0.27, 0.05)] {
                let c = c + 0.1 * jitter(1);
                p.shape(curtain, 0.03, move |q: Vec2| {
                    ((q.x - c).abs() < w && q.y > -0.50 && q.y < 0.45)
                        .then(|| 0.85 + 0.30 * ((q.x + 0.01 * (q.y * 7.0).sin()) * 110.0).sin())
                });
            }
            p.rect(wood, vec2(-0.58, 0.06), vec2(0.26, 0.012), 0.0);
            p.rect(wood, vec2(-0.58, -0.22), vec2(0.26, 0.012), 0.0);
            books(
                p,
                -0.82,
                -0.52,
                0.046,
                &[red, blue, yellow, dark_wood, wall, pot],
            );
            books(
                p,
                -0.72,
                -0.40,
                -0.234,
                &[blue, dark_wood, red, pot, yellow],
            );
            p.rect(grey, vec2(-0.41, -0.015), vec2(0.040, 0.058), 0.03);
            p.rect(white, vec2(-0.78, -0.285), vec2(0.032, 0.048), 0.02);
            p.rect(dark_wood, vec2(0.0, 0.56), vec2(2.0, 0.10), 0.0);
            p.plant(vec2(-0.66 + 0.1 * jitter(2), 0.40), 0.95, leaf, pot, s);
            p.rect(grey, vec2(0.72, 0.42), vec2(0.13, 0.11), 0.03);
        }
        Place::Office => {
            p.rect(grey, vec2(-0.45, -0.16), vec2(0.285, 0.20), 0.004);
            p.rect(white, vec2(-0.45, -0.16), vec2(0.27, 0.185), 0.0);
            p.rect(blue, vec2(-0.53, -0.20), vec2(0.07, 0.008), 0.0);
            p.rect(red, vec2(-0.40, -0.13), vec2(0.09, 0.007), 0.0);
            p.rect(dark_wood, vec2(0.62, 0.16), vec2(0.26, 0.50), 0.004);
            p.rect(wood, vec2(0.62, -0.02), vec2(0.24, 0.14), 0.002);
            p.rect(wood, vec2(0.62, 0.30), vec2(0.24, 0.16), 0.002);
            books(p, 0.44, 0.80, 0.112, &[blue, yellow, red, wall, grey]);
            books(p, 0.42, 0.74, -0.34, &[red, wall, blue, pot]);
            p.plant(vec2(0.28 + 0.06 * jitter(3), 0.34), 0.7, leaf, grey, s);
            p.rect(lamp, vec2(-0.05, -0.60), vec2(0.30, 0.035), 0.01);
            p.rect(white, vec2(-0.72, 0.38), vec2(0.12, 0.10), 0.01);
        }
        Place::Evening => {
            p.rect(dark_wood, vec2(0.0, 0.50), vec2(2.0, 0.16), 0.0);
            p.rect(dark_wood, vec2(0.62, -0.10), vec2(0.17, 0.22), 0.004);
            p.rect(blue, vec2(0.62, -0.10), vec2(0.15, 0.20), 0.0);
            p.rect(yellow, vec2(0.60, -0.06), vec2(0.07, 0.05), 0.05);
            let x = -0.50 + 0.08 * jitter(4);
            p.rect(wood, vec2(x, 0.20), vec2(0.012, 0.20), 0.0);
            p.shape(lamp, 0.0, move |q: Vec2| {
                let d = q - vec2(x, -0.10);
                (d.y.abs() < 0.11 && d.x.abs() < 0.125 + 0.32 * d.y)
                    .then(|| 1.0 - 2.2 * d.x * d.x / 0.03 * 0.2 - 0.5 * d.y.abs())
            });
            p.rect(white, vec2(0.42, 0.36), vec2(0.14, 0.10), 0.06);
            p.rect(red, vec2(-0.80, 0.33), vec2(0.13, 0.10), 0.06);
            p.rect(grey, vec2(-0.36, 0.305), vec2(0.035, 0.045), 0.02);
            p.plant(vec2(0.83, 0.20), 0.7, leaf, pot, s + 3);
        }
        Place::Park => {
            let far = p.colour("far leaves", [0.085, 0.13, 0.055]);
            let light_leaf = p.colour("leaves in the sun", [0.16, 0.22, 0.055]);
            let clumps =
                move |q: Vec2, f: f32, o: f32| fractal(vec3(q.x * f, q.y * f, s as f32 + o), 5);
            p.shape(far, 0.05, move |q: Vec2| {
                Some((0.55 + 1.3 * clumps(q, 5.0, 0.0) - 0.3 * q.y).max(0.06))
            });
            p.shape(light_leaf, 0.05, move |q: Vec2| {
                let n = clumps(q, 11.0, 2.0) + 0.35 * clumps(q, 31.0, 5.0);
                (n > 0.10 && q.y < 0.30).then(|| (0.45 + 2.2 * n).min(1.6))
            });
            p.shape(sky, 0.0, move |q: Vec2| {
                let n = clumps(q, 8.0, 4.0) + 0.5 * clumps(q, 27.0, 6.0) - 0.42 * (q.y + 0.40);
                (n > 0.24).then_some(1.0)
            });
            for k in 0..3 {
                let x = -0.75 + 0.72 * k as f32 + 0.3 * (hash3(k, s, 1) - 0.5);
                let w = 0.03 + 0.03 * hash3(k, s, 2);
                p.shape(dark_wood, 0.05, move |q: Vec2| {
                    let c = x + 0.03 * (q.y * 3.0 + k as f32).sin();
                    ((q.x - c).abs() < w && q.y < 0.36).then(|| {
                        (0.8 + 0.6 * noise(vec3(q.x * 30.0, q.y * 9.0, 2.0)))
                            * (1.3 - 0.7 * (q.x - c + w) / (2.0 * w))
                    })
                });
            }
            p.shape(leaf, 0.05, move |q: Vec2| {
                let n = clumps(q, 9.0, 8.0) + 0.9 * (q.y - 0.17);
                (n > 0.0).then(|| (0.65 + 1.9 * clumps(q, 19.0, 1.0)).clamp(0.08, 1.8))
            });
            p.shape(grey, 0.06, move |q: Vec2| {
                let edge = 0.34 + 0.05 * (q.x * 2.0 + s as f32).sin();
                (q.y > edge && (q.x - 0.25).abs() < 0.22 + 1.6 * (q.y - edge)).then_some(1.0)
            });
            p.rect(white, vec2(-0.62, 0.25), vec2(0.15, 0.012), 0.0);
            p.rect(white, vec2(-0.62, 0.30), vec2(0.15, 0.012), 0.0);
            p.rect(dark_wood, vec2(-0.74, 0.34), vec2(0.010, 0.09), 0.0);
            p.rect(dark_wood, vec2(-0.50, 0.34), vec2(0.010, 0.09), 0.0);
        }
        Place::Street => {
            let brick = p.colour("brick", [0.30, 0.115, 0.070]);
            p.shape(grey, 0.05, move |q: Vec2| (q.x < 0.12).then_some(0.9));
            p.shape(brick, 0.08, move |q: Vec2| {
                let row = (q.y * 22.0).floor();
                let (fx, fy) = (
                    (q.x * 8.0 + 0.5 * row.rem_euclid(2.0)).rem_euclid(1.0),
                    (q.y * 22.0).rem_euclid(1.0),
                );
                let column = (q.x * 8.0 + 0.5 * row.rem_euclid(2.0)).floor();
                (q.x < 0.12 && fx > 0.04 && fy > 0.10)
                    .then(|| 0.70 + 0.6 * hash3(column as i32, row as i32, s))
            });
            p.rect(dark_wood, vec2(0.52, 0.10), vec2(0.215, 0.46), 0.0);
            p.rect(blue, vec2(0.52, 0.12), vec2(0.19, 0.44), 0.0);
            p.rect(dark_wood, vec2(0.52, -0.10), vec2(0.13, 0.13), 0.0);
            p.rect(sky, vec2(0.52, -0.10), vec2(0.12, 0.12), 0.0);
            p.rect(yellow, vec2(0.37, 0.14), vec2(0.012, 0.012), 0.01);
            p.window(
                vec2(-0.55 + 0.1 * jitter(5), -0.20),
                vec2(0.15, 0.20),
                white,
                sky,
                s as f32 + 2.0,
            );
            p.rect(grey, vec2(0.0, 0.56), vec2(2.0, 0.09), 0.0);
            p.plant(vec2(0.84, 0.34), 0.6, leaf, pot, s);
        }
        Place::Kitchen => {
            p.shape(white, 0.02, move |q: Vec2| {
                let (fx, fy) = ((q.x * 9.0).rem_euclid(1.0), (q.y * 9.0).rem_euclid(1.0));
                (q.y > -0.10 && q.y < 0.28 && fx > 0.03 && fy > 0.03).then(|| {
                    0.93 + 0.08 * hash3((q.x * 9.0).floor() as i32, (q.y * 9.0).floor() as i32, s)
                })
            });
            for k in 0..5 {
                let x = -0.88 + 0.44 * k as f32;
                p.rect(wood, vec2(x, -0.36), vec2(0.212, 0.235), 0.004);
                p.rect(grey, vec2(x + 0.15, -0.20), vec2(0.006, 0.03), 0.004);
            }
            p.rect(dark_wood, vec2(0.0, 0.30), vec2(2.0, 0.022), 0.0);
            p.rect(wood, vec2(0.0, 0.52), vec2(2.0, 0.20), 0.0);
            p.rect(
                red,
                vec2(-0.62 + 0.1 * jitter(6), 0.20),
                vec2(0.055, 0.075),
                0.03,
            );
            p.rect(blue, vec2(0.50, 0.235), vec2(0.045, 0.045), 0.02);
            p.rect(yellow, vec2(0.70, 0.215), vec2(0.040, 0.065), 0.03);
            p.rect(grey, vec2(0.32, 0.20), vec2(0.050, 0.08), 0.03);
            p.plant(vec2(-0.40, 0.21), 0.45, leaf, pot, s + 1);
        }
    }
}
