//! How a complexion varies over the skin: melanin and blood by fine vertex, plus what the shader needs.

use glam::{Vec3, vec3};
use rayon::prelude::*;

use crate::math::{bump, fractal, noise, smooth};
use crate::person::{HairStyle, Person};
use crate::topology::{Topology, beard, brow, scalp};

/// Values of one fine vertex of the skin.
#[derive(Clone, Copy, Default)]
pub(crate) struct Paint {
    /// Added melanin and blood, absorbance at 570 nm.
    pub(crate) melanin: f32,
    pub(crate) blood: f32,
    pub(crate) roughness: f32,
    pub(crate) lip: f32,
    /// Share hidden by stubble, hair roots, brow.
    pub(crate) stubble: f32,
    pub(crate) scalp: f32,
    pub(crate) brow: f32,
    /// Wet rim of the lids.
    pub(crate) wet: f32,
    pub(crate) wrinkle: f32,
    /// Inside of the mouth.
    pub(crate) cavity: f32,
    /// Freckles possible here.
    pub(crate) freckle: f32,
    /// 0 on the neck, 1 on the face: fine relief.
    pub(crate) relief: f32,
}

impl Paint {
    pub(crate) const N: usize = 12;

    pub(crate) fn array(&self) -> [f32; Self::N] {
        [
            self.melanin,
            self.blood,
            self.roughness,
            self.lip,
            self.stubble,
            self.scalp,
            self.brow,
            self.wet,
            self.wrinkle,
            self.cavity,
            self.freckle,
            self.relief,
        ]
    }

    /// Shares held to 0–1: at grazing triangles they are carried a little beyond the corners.
    pub(crate) fn limited(self) -> Self {
        let share = |x: f32| x.clamp(0.0, 1.0);
        Self {
            roughness: self.roughness.clamp(0.12, 0.9),
            lip: share(self.lip),
            stubble: share(self.stubble),
            scalp: share(self.scalp),
            brow: share(self.brow),
            wet: share(self.wet),
            wrinkle: self.wrinkle.max(0.0),
            cavity: share(self.cavity),
            freckle: share(self.freckle),
            relief: share(self.relief),
            ..self
        }
    }

    pub(crate) fn from_array(a: [f32; Self::N]) -> Self {
        Self {
            melanin: a[0],
            blood: a[1],
            roughness: a[2],
            lip: a[3],
            stubble: a[4],
            scalp: a[5],
            brow: a[6],
            wet: a[7],
            wrinkle: a[8],
            cavity: a[9],
            freckle: a[10],
            relief: a[11],
        }
    }
}

/// Patches of vitiligo: about the eyes and the mouth, with sharp edges, not quite symmetric.
fn vitiligo(q: Vec3, seed: f32) -> f32 {
    let x = q.x.abs();
    let a = vec3(x, q.y, q.z);
    let side = if q.x > 0.0 { 0.10 } else { -0.06 };
    let eyes =
        0.95 * bump(a, vec3(0.33, 7.26, 1.30), 0.24) + 0.25 * bump(a, vec3(0.5, 7.36, 1.15), 0.2);
    let mouth = 0.95 * bump(vec3(x * 0.8, q.y, q.z), vec3(0.0, 6.60, 1.50), 0.30);
    let brow = 0.75 * bump(q, vec3(0.17, 7.82, 1.45), 0.30);
    let jaw = 0.70 * bump(q, vec3(-0.55, 6.55, 0.95), 0.25);
    let neck = 0.8 * bump(q, vec3(0.35, 5.75, 0.75), 0.28);
    let n = 0.32 * fractal(q * 3.3 + Vec3::splat(seed), 4);
    smooth(
        0.50,
        0.58,
        eyes.max(mouth).max(brow).max(jaw).max(neck) + n + side,
    )
}

/// Paint of all fine vertices of the skin.
pub(crate) fn paint(t: &Topology, p: &Person) -> Vec<Paint> {
    let seed = p.seed as f32 * 3.7;
    let sd = Vec3::splat(seed);
    let c = &p.skin;
    let depth = c.vitiligo_depth();
    let eye = vec3(0.308, 7.284, 1.245);
    (0..t.skin.ref2.len())
        .into_par_iter()
        .with_min_len(1024)
        .map(|i| {
            let q = t.skin.ref2[i];
            let a = vec3(q.x.abs(), q.y, q.z);
            let g = |c: Vec3, r: f32| bump(a, c, r);
            let mut blood = 0.055 * g(vec3(0.42, 6.98, 1.28), 0.25)
                + 0.060 * g(vec3(0.0, 6.92, 1.66), 0.16)
                + 0.045 * g(vec3(0.14, 6.88, 1.52), 0.11)
                + 0.055 * t.ear[i]
                + 0.022 * g(vec3(0.0, 6.3, 1.5), 0.18)
                - 0.015 * g(vec3(0.0, 7.7, 1.5), 0.35)
                - 0.012 * g(vec3(0.35, 6.62, 1.35), 0.16);
            blood *= c.blush;
            blood += (0.016 * fractal(q * 3.0 + sd, 3) + 0.010 * fractal(q * 11.0 + sd, 2))
                * (0.5 + c.mottle);
            blood += 0.012 * c.blush * smooth(5.9, 5.3, q.y);
            // Broken vessels on older, ruddy cheeks.
            if p.age > 0.75 {
                let v = (noise(q * 26.0 + sd).abs() - 0.5 * noise(q * 9.0)).max(0.0);
                blood += 0.05
                    * c.blush
                    * smooth(0.12, 0.0, v)
                    * (g(vec3(0.42, 6.98, 1.28), 0.2) + g(vec3(0.1, 6.92, 1.6), 0.14));
            }
            let mut melanin = (0.014 * fractal(q * 2.2 + sd + Vec3::splat(9.0), 3)
                + 0.012 * fractal(q * 9.0 + sd, 2))
                * (0.5 + c.mottle)
                + 0.010 * g(vec3(0.0, 7.75, 1.5), 0.35)
                - 0.006 * g(vec3(0.4, 6.95, 1.3), 0.2)
                + 0.012 * smooth(6.25, 6.05, q.y) * smooth(5.6, 5.9, q.y);
            // Below the eye the skin is thin: darker and a little bluer.
            let bag = g(vec3(0.28, 7.17, 1.36), 0.085) + 0.5 * g(vec3(0.19, 7.23, 1.30), 0.07);
            melanin += 0.030 * c.under_eye * bag;
            blood += 0.022 * c.under_eye * bag;
            melanin += 0.014 * g(vec3(0.33, 7.37, 1.34), 0.09);
            if p.age > 0.72 {
                let spots = smooth(0.34, 0.55, fractal(q * 12.0 + sd + Vec3::splat(3.0), 2));
                melanin += 0.05 * c.mottle * spots;
            }
            let lip = smooth(0.22, 0.72, t.lips[i]) * (1.0 - smooth(0.3, 0.8, t.mouth[i]));
            let grain = 1.0 + 0.10 * fractal(vec3(q.x * 30.0, q.y * 5.0, 0.0), 2);
            melanin = melanin * (1.0 - lip) + c.lips[0] * lip;
            blood = blood * (1.0 - lip) + c.lips[1] * lip * grain;
            if c.vitiligo > 0.0 {
                let k = vitiligo(q, seed) * c.vitiligo.min(1.0);
                melanin = melanin * (1.0 - k) - 0.92 * depth * k * (1.0 - 0.35 * lip);
                blood += 0.015 * k;
            }
            let near = (vec3(a.x, q.y, q.z) - eye).length();
            let wet = if q.z > 1.18 {
                smooth(0.166, 0.157, near)
            } else {
                0.0
            };
            blood += 0.055 * wet + 0.03 * g(vec3(0.165, 7.275, 1.27), 0.028);
            let cavity = smooth(0.35, 0.75, t.mouth[i]) * (1.0 - lip);
            let fuzz = beard(q) * (1.0 - lip);
            let covered = p
                .covering
                .is_some_and(|c| crate::garment::covering(&c, q) > 0.05);
            let scalp = if p.hair.style == HairStyle::Bald || covered {
                0.0
            } else {
                crate::hair::sideburn(p, q)
                    * smooth(-0.06, 0.10, scalp(q, p.hair.recede))
                    * (1.0 - smooth(0.1, 0.25, t.ear[i]))
            };
            let roughness = 0.47
                - 0.07 * c.sheen * g(vec3(0.0, 7.75, 1.5), 0.3)
                - 0.09 * c.sheen * g(vec3(0.0, 6.95, 1.65), 0.16)
                - 0.13 * lip
                - 0.22 * wet
                + 0.04 * fractal(q * 6.0, 2);
            let aged = ((p.age - 0.66) / 0.3).clamp(0.0, 1.0);
            let wrinkle = aged
                * (0.8 * g(vec3(0.12, 7.76, 1.45), 0.26)
                    + g(vec3(0.60, 7.26, 1.15), 0.13)
                    + 0.8 * g(vec3(0.3, 7.13, 1.4), 0.10)
                    + 0.5 * smooth(6.2, 5.9, q.y));
            let area =
                ((1.0 - ((q.y - 7.05) / 0.38).powi(2)).max(0.0) * smooth(0.7, 1.2, q.z)).max(0.35);
            Paint {
                melanin,
                blood,
                roughness,
                lip,
                stubble: fuzz * p.beard.cover.min(1.0),
                scalp,
                brow: brow(q) * p.hair.brow_density.min(1.0),
                wet,
                wrinkle,
                cavity,
                freckle: c.freckles * area * smooth(5.0, 6.0, q.y) * (1.0 - lip),
                relief: smooth(5.4, 6.2, q.y),
            }
        })
        .collect()
}
