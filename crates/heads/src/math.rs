//! Seeded noise, smooth steps and direction sets. Nothing here depends on anything but its arguments.

use std::sync::OnceLock;

use glam::{Vec3, vec3};

/// Integer hash with full avalanche ("lowbias32" constants by C. Wellons, public domain; from memory).
pub(crate) fn hash(mut x: u32) -> u32 {
    x ^= x >> 16;
    x = x.wrapping_mul(0x7feb_352d);
    x ^= x >> 15;
    x = x.wrapping_mul(0x846c_a68b);
    x ^ (x >> 16)
}

/// A hash of three integers as a fraction in 0..1.
pub(crate) fn hash3(x: i32, y: i32, z: i32) -> f32 {
    let h = (x as u32).wrapping_mul(73_856_093)
        ^ (y as u32).wrapping_mul(19_349_663)
        ^ (z as u32).wrapping_mul(83_492_791);
    hash(h) as f32 / 4_294_967_296.0
}

/// A small counter-based generator: the same seed gives the same row of numbers.
pub(crate) struct Rng(pub(crate) u32);

impl Rng {
    /// Next number, uniform in 0..1.
    pub(crate) fn unit(&mut self) -> f32 {
        self.0 = self.0.wrapping_add(0x9e37_79b9);
        hash(self.0) as f32 / 4_294_967_296.0
    }

    /// Next number, uniform in -1..1.
    pub(crate) fn signed(&mut self) -> f32 {
        self.unit() * 2.0 - 1.0
    }

    /// Three signed numbers.
    pub(crate) fn vec(&mut self) -> Vec3 {
        vec3(self.signed(), self.signed(), self.signed())
    }
}

/// Hermite step from 0 at `a` to 1 at `b`; `a` may be larger than `b`.
pub(crate) fn smooth(a: f32, b: f32, x: f32) -> f32 {
    let t = ((x - a) / (b - a)).clamp(0.0, 1.0);
    t * t * (3.0 - 2.0 * t)
}

/// Linear interpolation between two numbers.
pub(crate) fn mix(a: f32, b: f32, t: f32) -> f32 {
    a + (b - a) * t
}

/// Piecewise linear table, constant outside.
pub(crate) fn table(points: &[(f32, f32)], x: f32) -> f32 {
    for w in points.windows(2) {
        if x <= w[1].0 {
            let t = ((x - w[0].0) / (w[1].0 - w[0].0)).clamp(0.0, 1.0);
            return mix(w[0].1, w[1].1, t);
        }
    }
    points[points.len() - 1].1
}

/// Gaussian bump of radius `r` about `c`.
pub(crate) fn bump(p: Vec3, c: Vec3, r: f32) -> f32 {
    (-((p - c).length_squared() / (r * r))).exp()
}

const N: usize = 64;

fn lattice() -> &'static [f32] {
    static L: OnceLock<Vec<f32>> = OnceLock::new();
    L.get_or_init(|| {
        (0..N * N * N)
            .map(|i| hash(i as u32 ^ 0x51ab_3c07) as f32 / 2_147_483_648.0 - 1.0)
            .collect()
    })
}

/// Value noise in -1..1, periodic in 64 units, with its gradient.
pub(crate) fn noise_gradient(p: Vec3) -> (f32, Vec3) {
    let l = lattice();
    let f = p.floor();
    let t = p - f;
    let s = t * t * (Vec3::splat(3.0) - 2.0 * t);
    let d = 6.0 * t * (Vec3::ONE - t);
    let m = N as i32 - 1;
    let (x0, y0, z0) = (f.x as i32 & m, f.y as i32 & m, f.z as i32 & m);
    let (x1, y1, z1) = ((x0 + 1) & m, (y0 + 1) & m, (z0 + 1) & m);
    let at = |x: i32, y: i32, z: i32| l[((z as usize * N) + y as usize) * N + x as usize];
    let (a, b, c, e) = (
        at(x0, y0, z0),
        at(x1, y0, z0),
        at(x0, y1, z0),
        at(x1, y1, z0),
    );
    let (g, h, i, j) = (
        at(x0, y0, z1),
        at(x1, y0, z1),
        at(x0, y1, z1),
        at(x1, y1, z1),
    );
    let k0 = a;
    let k1 = b - a;
    let k2 = c - a;
    let k3 = g - a;
    let k4 = a - b - c + e;
    let k5 = a - c - g + i;
    let k6 = a - b - g + h;
    let k7 = -a + b + c - e + g - h - i + j;
    let v = k0
        + k1 * s.x
        + k2 * s.y
        + k3 * s.z
        + k4 * s.x * s.y
        + k5 * s.y * s.z
        + k6 * s.z * s.x
        + k7 * s.x * s.y * s.z;
    let grad = d * vec3(
        k1 + k4 * s.y + k6 * s.z + k7 * s.y * s.z,
        k2 + k5 * s.z + k4 * s.x + k7 * s.z * s.x,
        k3 + k6 * s.x + k5 * s.y + k7 * s.x * s.y,
    );
    (v, grad)
}

/// Value noise in -1..1, periodic in 64 units.
pub(crate) fn noise(p: Vec3) -> f32 {
    noise_gradient(p).0
}

/// Fractal sum of `octaves` noises, about -1..1.
pub(crate) fn fractal(p: Vec3, octaves: u32) -> f32 {
    let (mut sum, mut amplitude, mut q) = (0.0, 0.5, p);
    for _ in 0..octaves {
        sum += amplitude * noise(q);
        q = q * 2.03 + Vec3::splat(7.13);
        amplitude *= 0.5;
    }
    sum
}

/// `n` nearly even directions on the sphere (Fibonacci spiral).
pub(crate) fn sphere(n: usize) -> Vec<Vec3> {
    (0..n)
        .map(|i| {
            let y = 1.0 - (2 * i + 1) as f32 / n as f32;
            let r = (1.0 - y * y).sqrt();
            let a = i as f32 * 2.399_963_2;
            vec3(r * a.cos(), y, r * a.sin())
        })
        .collect()
}
