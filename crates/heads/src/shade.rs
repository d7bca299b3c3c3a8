//! Responses of a camera to every material under every light, and their application to rendered buffers.

use rayon::prelude::*;

use crate::person::{BLOOD, LOCALS, Local, Pigment, SkinScores};
use crate::render::{Buffers, pigment};

/// Which part of the spectrum a response is asked for. Light of long wavelengths spreads further below the skin.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Band {
    /// The whole spectrum.
    All,
    /// Mostly below 600 nm.
    Short,
    /// Mostly above 600 nm.
    Long,
}

impl Band {
    /// Weight of a wavelength in this band; short and long add up to 1 everywhere.
    #[must_use]
    pub fn weight(self, nm: f64) -> f64 {
        let t = ((nm - 570.0) / 60.0).clamp(0.0, 1.0);
        let long = t * t * (3.0 - 2.0 * t);
        match self {
            Self::All => 1.0,
            Self::Short => 1.0 - long,
            Self::Long => long,
        }
    }
}

/// Something that light is reflected by (or passes) on its way.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Reflector {
    /// Skin of four scores.
    Skin(SkinScores),
    /// Anything else.
    Pigment(Pigment),
    /// Only the *colour* of a pigment: its spectrum divided by its own mean, so that a neutral changes nothing.
    Tint(Pigment),
}

/// Linear response of a camera (or an observer), three channels, to light number `light` after every reflector of
/// `path`, in a band. For an empty path it is the response to a perfect white in full light; exposure is included.
/// `rgb(light, path, Band::Short) + rgb(light, path, Band::Long)` must be `rgb(light, path, Band::All)`.
pub trait Response: Sync {
    /// The response.
    fn rgb(&self, light: usize, path: &[Reflector], band: Band) -> [f32; 3];
}

impl<F: Fn(usize, &[Reflector], Band) -> [f32; 3] + Sync> Response for F {
    fn rgb(&self, light: usize, path: &[Reflector], band: Band) -> [f32; 3] {
        self(light, path, band)
    }
}

const MELANIN_STEPS: usize = 33;
const BLOOD_STEPS: usize = 17;

/// Table of one person's skin over added melanin and blood.
struct SkinTable {
    melanin: (f32, f32),
    blood: (f32, f32),
    /// `[melanin][blood]`, each a row of terms × 3.
    nodes: Vec<f32>,
}

/// Responses of all materials of a shot under all its lights: valid for every frame with the same people, set,
/// lights (number and spectra) and ambients.
pub struct ShadeTables {
    lights: usize,
    ambients: usize,
    /// `[material][term]`, three numbers each; the rows of skin stay empty.
    flat: Vec<Vec<[f32; 3]>>,
    skin: Vec<SkinTable>,
    set: Vec<Vec<[f32; 3]>>,
    foreground: Vec<[f32; 3]>,
}

impl std::fmt::Debug for ShadeTables {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("ShadeTables")
            .field("lights", &self.lights)
            .finish_non_exhaustive()
    }
}

impl ShadeTables {
    /// Asks `response` for everything that a shot needs. `frames` are buffers of that shot; one is enough unless
    /// the range of skin grows later (values outside the range are held at its ends).
    #[must_use]
    pub fn new(b: &Buffers, response: &dyn Response) -> Self {
        let (lights, ambients) = (b.lights, b.ambients.len());
        let via = |a: usize, last: &[Reflector]| {
            let mut path: Vec<Reflector> =
                b.ambients[a].via.map(Reflector::Tint).into_iter().collect();
            path.extend_from_slice(last);
            path
        };
        let base = |person: usize| Reflector::Skin(b.people[person].skin.scores);
        let flat = (0..b.people.len() * LOCALS)
            .into_par_iter()
            .map(|m| {
                let Some(p) = pigment(&b.people, m) else {
                    return Vec::new();
                };
                let this = Reflector::Pigment(p);
                let cloth = m % LOCALS >= Local::Covering as usize;
                let mut row = Vec::new();
                for l in 0..lights {
                    row.push(response.rgb(l, &[this], Band::All));
                    row.push([0.0; 3]);
                    let first = if cloth { this } else { base(m / LOCALS) };
                    row.push(response.rgb(l, &[first, this], Band::All));
                    row.push(response.rgb(l, &[], Band::All));
                }
                for a in 0..ambients {
                    row.push(response.rgb(b.ambients[a].light, &via(a, &[this]), Band::All));
                    row.push(response.rgb(b.ambients[a].light, &via(a, &[]), Band::All));
                }
                row
            })
            .collect();
        let skin = (0..b.people.len())
            .map(|p| {
                let (melanin, blood) = skin_range(b, p);
                let c = &b.people[p].skin;
                let axis = c.melanin_axis();
                let nodes: Vec<Vec<f32>> = (0..MELANIN_STEPS * BLOOD_STEPS)
                    .into_par_iter()
                    .map(|i| {
                        let m = melanin.0 + (i / BLOOD_STEPS) as f32 * melanin.1;
                        let h = blood.0 + (i % BLOOD_STEPS) as f32 * blood.1;
                        let scores: SkinScores =
                            std::array::from_fn(|k| c.scores[k] + m * axis[k] + h * BLOOD[k]);
                        let s = Reflector::Skin(scores);
                        let mut row = Vec::new();
                        for l in 0..lights {
                            row.extend(response.rgb(l, &[s], Band::Short));
                            row.extend(response.rgb(l, &[s], Band::Long));
                            row.extend(response.rgb(l, &[base(p), s], Band::All));
                            row.extend(response.rgb(l, &[], Band::All));
                        }
                        for a in 0..ambients {
                            row.extend(response.rgb(b.ambients[a].light, &via(a, &[s]), Band::All));
                            row.extend(response.rgb(b.ambients[a].light, &via(a, &[]), Band::All));
                        }
                        row
                    })
                    .collect();
                SkinTable {
                    melanin,
                    blood,
                    nodes: nodes.concat(),
                }
            })
            .collect();
        let every = |p: Pigment| -> Vec<[f32; 3]> {
            let this = [Reflector::Pigment(p)];
            (0..lights)
                .map(|l| response.rgb(l, &this, Band::All))
                .chain(
                    (0..ambients)
                        .map(|a| response.rgb(b.ambients[a].light, &via(a, &this), Band::All)),
                )
                .collect()
        };
        let set = b
            .backdrop
            .materials
            .iter()
            .map(|m| every(m.pigment))
            .collect();
        let foreground = b.foreground.map_or(Vec::new(), |f| every(f.pigment));
        Self {
            lights,
            ambients,
            flat,
            skin,
            set,
            foreground,
        }
    }
}

/// Start and step of the table's axes for one person, generous so that one frame serves a shot.
fn skin_range(b: &Buffers, person: usize) -> ((f32, f32), (f32, f32)) {
    let vitiligo = if b.people[person].skin.vitiligo > 0.0 {
        b.people[person].skin.vitiligo_depth()
    } else {
        0.0
    };
    let (m0, m1) = (-0.16 - vitiligo, 0.28f32);
    let (b0, b1) = (-0.12f32, 0.40);
    (
        (m0, (m1 - m0) / (MELANIN_STEPS - 1) as f32),
        (b0, (b1 - b0) / (BLOOD_STEPS - 1) as f32),
    )
}

/// Shades a frame: linear camera response, red green blue per pixel, row by row. Not clipped.
///
/// # Panics
/// When the tables were made for another number of lights or people.
#[must_use]
pub fn shade(b: &Buffers, t: &ShadeTables) -> Vec<[f32; 3]> {
    assert!(
        b.lights == t.lights && b.ambients.len() == t.ambients && b.people.len() == t.skin.len(),
        "tables for {} lights, {} ambients, {} people; buffers with {}, {}, {}",
        t.lights,
        t.ambients,
        t.skin.len(),
        b.lights,
        b.ambients.len(),
        b.people.len()
    );
    let terms = 4 * t.lights + 2 * t.ambients;
    let set = b.backdrop.shade(&t.set, &b.backdrop_gain);
    let front: [f32; 3] = b.foreground.map_or([0.0; 3], |f| {
        std::array::from_fn(|c| {
            t.foreground
                .iter()
                .zip(f.irradiance)
                .map(|(r, e)| r[c] * e)
                .sum()
        })
    });
    let width = b.size.width;
    let mut out = vec![[0f32; 3]; width * b.size.height];
    out.par_chunks_mut(width)
        .zip(&b.rows)
        .enumerate()
        .for_each(|(y, (line, row))| {
            let foreground = b.foreground_at(y);
            let mut skin_row = vec![0f32; terms * 3];
            for (x, o) in line.iter_mut().enumerate() {
                let mut covered = 0.0;
                let mut sum = [0f32; 3];
                for f in &row.fragments[row.start[x] as usize..row.start[x + 1] as usize] {
                    let v = &row.values[f.values as usize * terms..(f.values as usize + 1) * terms];
                    covered += f.coverage;
                    let m = f.material as usize;
                    let mut c = [0f32; 3];
                    if m.is_multiple_of(LOCALS) {
                        t.skin[m / LOCALS].at(f.melanin, f.blood, &mut skin_row);
                        for (r, v) in skin_row.chunks_exact(3).zip(v) {
                            for k in 0..3 {
                                c[k] += r[k] * v;
                            }
                        }
                    } else {
                        for (r, v) in t.flat[m].iter().zip(v) {
                            for k in 0..3 {
                                c[k] += r[k] * v;
                            }
                        }
                    }
                    for k in 0..3 {
                        sum[k] += c[k] * f.coverage;
                    }
                }
                let rest = 1.0 - covered;
                if rest > 1e-4 {
                    let s = b.backdrop.sample(&set, b.backdrop_place(x, y));
                    for k in 0..3 {
                        sum[k] += s[k] * rest;
                    }
                }
                let plank = if foreground > 0.0 {
                    b.foreground_relief(x, y)
                } else {
                    1.0
                };
                for k in 0..3 {
                    o[k] = sum[k] + (front[k] * plank - sum[k]) * foreground;
                }
            }
        });
    out
}

impl SkinTable {
    fn at(&self, melanin: f32, blood: f32, out: &mut [f32]) {
        let place = |v: f32, axis: (f32, f32), n: usize| {
            let f = ((v - axis.0) / axis.1).clamp(0.0, n as f32 - 1.001);
            (f as usize, f.fract())
        };
        let (m, fm) = place(melanin, self.melanin, MELANIN_STEPS);
        let (h, fh) = place(blood, self.blood, BLOOD_STEPS);
        let n = out.len();
        let node = |m: usize, h: usize| &self.nodes[(m * BLOOD_STEPS + h) * n..][..n];
        let (a, b, c, d) = (
            node(m, h),
            node(m, h + 1),
            node(m + 1, h),
            node(m + 1, h + 1),
        );
        let (wa, wb, wc, wd) = (
            (1.0 - fm) * (1.0 - fh),
            (1.0 - fm) * fh,
            fm * (1.0 - fh),
            fm * fh,
        );
        for i in 0..n {
            out[i] = a[i] * wa + b[i] * wb + c[i] * wc + d[i] * wd;
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn bands_add_up_to_the_whole() {
        for nm in (380..=780).step_by(5).map(f64::from) {
            let sum = Band::Short.weight(nm) + Band::Long.weight(nm);
            assert!((sum - Band::All.weight(nm)).abs() < 1e-12, "{nm} nm: {sum}");
        }
    }

    /// Interpolation in the skin table against direct evaluation of an exponential response.
    #[test]
    fn the_skin_table_interpolates_closely() {
        let f = |m: f32, h: f32| 10f32.powf(-(1.3 * m + 1.0 * h));
        let (melanin, blood) = ((-0.8f32, 0.034f32), (-0.12f32, 0.0325f32));
        let table = SkinTable {
            melanin,
            blood,
            nodes: (0..MELANIN_STEPS * BLOOD_STEPS)
                .map(|i| {
                    f(
                        melanin.0 + (i / BLOOD_STEPS) as f32 * melanin.1,
                        blood.0 + (i % BLOOD_STEPS) as f32 * blood.1,
                    )
                })
                .collect(),
        };
        let mut out = [0f32];
        for k in 0..500 {
            let (m, h) = (
                -0.8 + 1.0 * (k as f32 / 500.0),
                -0.1 + 0.45 * ((k * 37 % 500) as f32 / 500.0),
            );
            table.at(m, h, &mut out);
            // Half a cell off a node an exponential of slope 3 per unit lies 0.2 % below its chord.
            assert!((out[0] / f(m, h) - 1.0).abs() < 0.003, "at {m}, {h}");
        }
    }
}
