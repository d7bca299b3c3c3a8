//! What one patch of a surface sends toward the camera, light by light.

use glam::{Mat3, Vec3, vec2, vec3};

use crate::baked::{Baked, Face, Geometry, Triangle};
use crate::data::HeadData;
use crate::garment::weave;
use crate::light::{Lit, strength};
use crate::math::{fractal, hash, mix, noise, noise_gradient, smooth};
use crate::paint::Paint;
use crate::person::{Cut, Local};
use crate::raster::View;
use crate::scene::{Placement, Scene};
use crate::strands::{Fibre, Strands};

/// One person of a frame, with everything the shader looks at.
pub(crate) struct Actor<'a> {
    pub(crate) data: &'a HeadData,
    pub(crate) baked: &'a Baked,
    pub(crate) geometry: &'a Geometry,
    pub(crate) strands: &'a Strands,
    pub(crate) lit: &'a Lit,
    pub(crate) place: &'a Placement,
    pub(crate) scene: &'a Scene,
    pub(crate) view: &'a View,
    /// Decimetres per pixel at the person.
    pub(crate) footprint: f32,
}

/// Shares of materials that have the same light.
pub(crate) struct Shares {
    list: [(Local, f32); 6],
    n: usize,
    pub(crate) melanin: f32,
    pub(crate) blood: f32,
}

impl Shares {
    fn one(local: Local) -> Self {
        Self {
            list: [(local, 1.0); 6],
            n: 1,
            melanin: 0.0,
            blood: 0.0,
        }
    }

    /// Gives `share` of everything so far to another material.
    fn cover(&mut self, local: Local, share: f32) {
        let share = share.min(1.0);
        if share <= 0.004 {
            return;
        }
        for x in &mut self.list[..self.n] {
            x.1 *= 1.0 - share;
        }
        if self.n < self.list.len() {
            self.list[self.n] = (local, share);
            self.n += 1;
        }
    }

    pub(crate) fn iter(&self) -> impl Iterator<Item = (Local, f32)> + '_ {
        self.list[..self.n].iter().copied()
    }
}

/// GGX distribution with Schlick-Smith visibility, over 4 (Walter et al. 2007; Karis 2013 remapping).
fn ggx(nh: f32, nv: f32, nl: f32, roughness: f32) -> f32 {
    let a2 = roughness.powi(4);
    let d = nh * nh * (a2 - 1.0) + 1.0;
    let k = (roughness + 1.0).powi(2) / 8.0;
    a2 / (std::f32::consts::PI * d * d) * 0.25 / ((nv * (1.0 - k) + k) * (nl * (1.0 - k) + k))
}

fn schlick(f0: f32, cosine: f32) -> f32 {
    f0 + (1.0 - f0) * (1.0 - cosine.clamp(0.0, 1.0)).powi(5)
}

impl Actor<'_> {
    /// Perspective-correct weights of a triangle at sample coordinates.
    fn weights(&self, t: &Triangle, p: &[crate::raster::Projected], x: f32, y: f32) -> [f32; 3] {
        let p = t.v.map(|i| p[i as usize]);
        let k =
            1.0 / ((p[1].x - p[0].x) * (p[2].y - p[0].y) - (p[2].x - p[0].x) * (p[1].y - p[0].y));
        let a = ((p[1].x - x) * (p[2].y - y) - (p[2].x - x) * (p[1].y - y)) * k;
        let b = ((p[2].x - x) * (p[0].y - y) - (p[0].x - x) * (p[2].y - y)) * k;
        let w = [
            a.clamp(-0.3, 1.3),
            b.clamp(-0.3, 1.3),
            (1.0 - a - b).clamp(-0.3, 1.3),
        ];
        let w = [
            w[0] * p[0].inverse,
            w[1] * p[1].inverse,
            w[2] * p[2].inverse,
        ];
        let s = 1.0 / (w[0] + w[1] + w[2]);
        w.map(|x| x * s)
    }

    /// Light of a triangle at sample coordinates into `out`; returns what it is made of.
    pub(crate) fn triangle(
        &self,
        t: &Triangle,
        projected: &[crate::raster::Projected],
        x: f32,
        y: f32,
        out: &mut [f32],
    ) -> Shares {
        let w = self.weights(t, projected, x, y);
        let v = t.v.map(|i| i as usize);
        let g = self.geometry;
        let at = |a: &[Vec3]| a[v[0]] * w[0] + a[v[1]] * w[1] + a[v[2]] * w[2];
        let position = at(&g.position);
        let normal = at(&g.normal).normalize_or(Vec3::Z);
        let stride = self.lit.layout.stride();
        let mut row = [0f32; 32];
        for (k, w) in w.iter().enumerate() {
            for (r, x) in row
                .iter_mut()
                .zip(&self.lit.rows[v[k] * stride..(v[k] + 1) * stride])
            {
                *r += x * w;
            }
        }
        for r in &mut row {
            *r = r.max(0.0);
        }
        let s = Spot {
            position,
            normal,
            view: (self.view.eye - position).normalize(),
            row,
            weights: w,
            v,
        };
        match t.face {
            Face::Skin => self.skin(&s, out),
            Face::Teeth => self.teeth(&s, out),
            Face::Tongue => {
                self.plain(&s, s.normal, 1.0, out);
                self.gloss(&s, s.normal, 0.3, 0.04, 0.5, out);
                Shares::one(Local::Flesh)
            }
            Face::Eye(e) => self.eye(&s, e as usize, out),
            Face::Layer(k) => self.cloth(&s, k as usize, out),
            Face::Extra(k) => self.extra(&s, k, out),
            Face::Lens(_) => Shares::one(Local::Frame),
        }
    }

    /// What a lens mirrors at sample coordinates, into the shine terms of `out` as if it were a whole mirror; returns
    /// the share that it reflects. Both its faces reflect, each as glass of refractive index 1.5 does.
    pub(crate) fn lens(
        &self,
        t: &Triangle,
        projected: &[crate::raster::Projected],
        (x, y): (f32, f32),
        out: &mut [f32],
    ) -> f32 {
        /// Radius of the front face, dm.
        const RADIUS: f32 = 0.75;
        /// Lenses lean toward the cheeks, radians.
        const LEAN: f32 = 0.10;
        let w = self.weights(t, projected, x, y);
        let p: Vec3 = (0..3)
            .map(|i| self.geometry.position[t.v[i] as usize] * w[i])
            .sum();
        let Face::Lens(eye) = t.face else { return 0.0 };
        let rotation: Mat3 = self.geometry.turn.head_rotation();
        let local = rotation.transpose() * (p - self.geometry.eyes[eye as usize]);
        let n = (rotation * vec3(local.x / RADIUS, local.y / RADIUS - LEAN, 1.0)).normalize();
        let view = (self.view.eye - p).normalize();
        let cosine = n.dot(view);
        if cosine <= 0.0 {
            return 0.0;
        }
        let mirror = n * (2.0 * cosine) - view;
        for (k, seen) in self.lit.seen.iter().enumerate() {
            let away = mirror.dot(seen.direction).clamp(-1.0, 1.0).acos();
            let half = seen.half.max(0.06);
            let disc = smooth(half * 1.1 + 0.02, half * 0.9 - 0.02, away);
            // Radiance of the source against that of a white card: E / (pi sin²) over E / pi.
            let light = &self.scene.lights[k];
            out[4 * k + 3] +=
                disc * strength(light, self.scene.focus, p) / half.sin().powi(2).max(0.02);
        }
        for (a, ambient) in self.scene.ambients.iter().enumerate() {
            out[self.lit.layout.ambient(a) + 1] += ambient.radiance(mirror);
        }
        let once = schlick(0.04, cosine);
        2.0 * once / (1.0 + once)
    }

    fn lights(&self) -> usize {
        self.lit.layout.lights
    }

    /// Matte light of a spot, scaled.
    fn plain(&self, s: &Spot, bumped: Vec3, scale: f32, out: &mut [f32]) {
        for (k, seen) in self.lit.seen.iter().enumerate() {
            let tilt = bumped.dot(seen.direction) - s.normal.dot(seen.direction);
            let vis = s.row[4 * k + 3];
            out[4 * k] += (s.row[4 * k] + 0.9 * tilt * vis).max(0.0) * scale;
            out[4 * k + 1] += (s.row[4 * k + 1] + 0.5 * tilt * vis).max(0.0) * scale;
            out[4 * k + 2] += s.row[4 * k + 2] * scale;
        }
        for a in 0..self.lit.layout.ambients {
            let o = self.lit.layout.ambient(a);
            out[o] += s.row[o] * scale;
        }
    }

    /// Shine of a spot: every light by GGX, the dome by its mirror direction.
    fn gloss(&self, s: &Spot, n: Vec3, roughness: f32, f0: f32, scale: f32, out: &mut [f32]) {
        let nv = n.dot(s.view).max(0.05);
        for (k, seen) in self.lit.seen.iter().enumerate() {
            let nl = n.dot(seen.direction);
            if nl <= 0.0 || s.row[4 * k + 3] <= 0.0 {
                continue;
            }
            let h = (seen.direction + s.view).normalize();
            let r = (roughness * roughness + 0.25 * seen.half * seen.half)
                .sqrt()
                .min(0.95);
            let f = schlick(f0, h.dot(s.view));
            out[4 * k + 3] += scale
                * ggx(n.dot(h).max(0.0), nv, nl, r)
                * f
                * nl
                * s.row[4 * k + 3]
                * std::f32::consts::PI;
        }
        let mirror = n * (2.0 * n.dot(s.view)) - s.view;
        let f = f0 + 0.5 * (1.0 - n.dot(s.view).max(0.0)).powi(5) * (1.0 - roughness);
        for (a, ambient) in self.scene.ambients.iter().enumerate() {
            let o = self.lit.layout.ambient(a);
            out[o + 1] +=
                scale * 0.7 * f * ambient.radiance(mirror) * s.row[o + 1].min(1.0).powi(2);
        }
    }

    fn skin(&self, s: &Spot, out: &mut [f32]) -> Shares {
        let t = &self.data.topology;
        let p = &self.baked.person;
        let q = s.at(&t.skin.ref2);
        let mut values = [0f32; Paint::N];
        for (k, w) in s.weights.iter().enumerate() {
            for (a, x) in values.iter_mut().zip(self.baked.paint[s.v[k]].array()) {
                *a += x * w;
            }
        }
        let mut paint = Paint::from_array(values).limited();
        // Finest detail fades where a pixel no longer resolves it.
        let fine = smooth(0.016, 0.005, self.footprint);
        let mut slope = Vec3::ZERO;
        let mut pore = 0.0;
        if fine > 0.01 {
            let (a, ga) = noise_gradient(q * 58.0);
            let (b, gb) = noise_gradient(q * 121.0);
            pore = a * 0.5 + b * 0.5;
            slope += (ga * 0.040 + gb * 0.055)
                * (fine * paint.relief * (1.0 - paint.lip) * (1.0 - paint.wet));
        }
        if paint.lip > 0.05 {
            let (_, g) = noise_gradient(vec3(q.x * 52.0, q.y * 6.0, q.z * 6.0));
            slope.x += g.x * 0.20 * paint.lip * fine;
        }
        if paint.wrinkle > 0.02 {
            let a = q.y * 42.0 + 2.5 * fractal(q * 3.0, 2);
            slope.y += paint.wrinkle * 0.20 * a.cos() * smooth(0.03, 0.01, self.footprint);
        }
        let slope = self.geometry.turn.head_rotation() * slope;
        let slope = slope - s.normal * slope.dot(s.normal);
        // Shallow creases across the neck.
        let crease = |y: f32| {
            let d = (q.y - y - 0.03 * noise(q * 2.5)) / 0.022;
            -d * (-d * d).exp()
        };
        let neck =
            smooth(6.15, 6.0, q.y) * smooth(0.2, 0.5, q.z) * smooth(0.06, 0.02, self.footprint);
        let slope = slope + Vec3::Y * (0.22 * neck * (crease(5.93) + 0.8 * crease(5.74)));
        let bumped = (s.normal - slope * 0.55).normalize();

        if paint.freckle > 0.0 {
            let c = q * 78.0;
            let w =
                noise(c) * 0.6 + noise(c * 1.9 + Vec3::splat(4.0)) * 0.4 + 0.22 * noise(q * 7.0);
            let sharp = smooth(0.26, 0.62, w);
            let spread = 0.10 + 0.10 * noise(q * 7.0);
            paint.melanin +=
                0.115 * paint.freckle * mix(spread, sharp, smooth(0.022, 0.010, self.footprint));
        }
        if fine > 0.01 {
            paint.melanin += fine * 0.010 * noise(q * 47.0);
            paint.blood += fine * 0.008 * noise(q * 90.0);
        }
        self.plain(s, bumped, 1.0 - 0.05 * fine * (-pore).max(0.0), out);
        let cavity = (1.0 - 0.5 * (-pore).max(0.0)) * (1.0 - 0.6 * paint.scalp);
        let wet = paint.wet;
        self.gloss(
            s,
            bumped,
            paint.roughness + 0.10,
            0.028,
            0.60 * cavity * (1.0 - 0.35 * paint.lip),
            out,
        );
        let tight = (0.05 + 0.11 * p.skin.sheen) * paint.relief * cavity * (1.0 - 0.6 * paint.lip);
        self.gloss(
            s,
            bumped,
            paint.roughness * 0.70,
            0.028,
            tight + 0.25 * wet,
            out,
        );

        let mut shares = Shares::one(Local::Skin);
        shares.melanin = paint.melanin;
        shares.blood = paint.blood;
        shares.cover(Local::Flesh, paint.cavity * 0.9);
        let grey = p.hair.grey;
        if paint.stubble > 0.01 {
            let grain = 0.36 + 0.25 * fine * (noise(q * 80.0) + noise(q * 140.0));
            let under = if p.beard.length > 0.0 { 0.85 } else { 0.75 };
            let d = (paint.stubble * grain.clamp(0.0, 0.85) * under).min(0.9);
            shares.cover(Local::Brow, d * (1.0 - grey));
            shares.cover(Local::Grey, 0.35 * d * grey);
        }
        shares.cover(Local::Brow, paint.brow * 0.42);
        if paint.scalp > 0.0 {
            let close = p.hair.style == crate::HairStyle::Cropped;
            let d = paint.scalp * if close { 0.62 } else { 0.92 };
            shares.cover(Local::Hair, d * (1.0 - 0.8 * grey));
            shares.cover(Local::Grey, d * 0.25 * grey);
        }
        shares
    }

    fn teeth(&self, s: &Spot, out: &mut [f32]) -> Shares {
        let q = s.at(&self.data.topology.skin.ref2);
        let u = (q.x.abs() / 0.066).fract();
        let gap = 1.0 - 0.30 * (1.0 - smooth(0.0, 0.10, u) * smooth(1.0, 0.90, u));
        self.plain(
            s,
            s.normal,
            gap * (1.0 - 0.5 * smooth(0.10, 0.28, q.x.abs())),
            out,
        );
        self.gloss(s, s.normal, 0.25, 0.04, 0.35, out);
        let mut shares = Shares::one(Local::Teeth);
        shares.cover(
            Local::Flesh,
            if q.y > 6.72 || q.y < 6.45 { 1.0 } else { 0.0 },
        );
        shares
    }

    fn eye(&self, s: &Spot, e: usize, out: &mut [f32]) -> Shares {
        let rotation: Mat3 = self.geometry.turn.head_rotation();
        let centre = self.geometry.eyes[e];
        let d = (s.position - centre).normalize();
        let gaze = self.place.gaze;
        // Both eyes turn in a little: they look at something near.
        let toe = if e == 0 { -0.025 } else { 0.025 };
        let (yaw, pitch) = (gaze.x + toe, gaze.y);
        let axis = rotation
            * vec3(
                yaw.sin() * pitch.cos(),
                pitch.sin(),
                yaw.cos() * pitch.cos(),
            );
        let right = (rotation * Vec3::Y).cross(axis).normalize();
        let up = axis.cross(right);
        let cosine = d.dot(axis).clamp(-1.0, 1.0);
        let angle = cosine.acos();
        const IRIS: f32 = 0.475;
        // The iris lies behind the cornea: what is seen shifts against the line of sight.
        let mut l = vec2(d.dot(right), d.dot(up));
        if angle < IRIS * 1.1 {
            let sight = vec2(s.view.dot(right), s.view.dot(up));
            l -= sight * 0.10 * (1.0 - (angle / IRIS).powi(2)).max(0.0);
        }
        let r = l.length() / IRIS.sin();
        let turn = l.y.atan2(l.x);
        let pixel = (self.footprint / (self.baked.eye_radius * IRIS.sin())).clamp(0.02, 0.6);
        let edge = |at: f32, soft: f32| smooth(at - soft - 0.5 * pixel, at + soft + 0.5 * pixel, r);
        let fibres = noise(vec3(turn.cos() * 5.0, turn.sin() * 5.0, r * 1.5)) * 0.4
            + noise(vec3(turn.cos() * 14.0, turn.sin() * 14.0, r * 2.0 + 5.0)) * 0.6;
        let iris = smooth(0.02, -0.02, r - 1.0);
        let sclera = edge(1.0, 0.07);
        let pupil = 1.0 - edge(0.36, 0.03);
        let inner = (1.0 - edge(0.62, 0.14)) * 0.75;
        let limbus = 1.0 - 0.62 * smooth(0.80, 1.0, r) * (1.0 - sclera);
        let vein = 0.5 + 0.5 * fractal(d * 13.0, 3);
        let corner = smooth(0.50, 0.95, d.dot(right).abs());
        let scale = mix(
            (0.78 + 0.40 * fibres).max(0.2) * limbus,
            1.0 - 0.10 * vein - 0.15 * corner,
            sclera,
        );
        self.plain(s, s.normal, scale, out);
        if iris > 0.0 {
            // Light entering the cornea is gathered on the far side of the iris.
            for (k, seen) in self.lit.seen.iter().enumerate() {
                let side = vec2(seen.direction.dot(right), seen.direction.dot(up));
                let gain = 1.0 - 0.40 * l.normalize_or_zero().dot(side) * r.min(1.0) * iris;
                out[4 * k] *= gain;
                out[4 * k + 1] *= gain;
            }
        }
        // Cornea: a bulge over the iris; a mirror for the lights.
        let bulge = (1.0 - (angle / 0.55).min(1.0).powi(2)).max(0.0);
        let n = if angle < 0.55 {
            (d + (d - axis * cosine) * 0.95 * bulge).normalize()
        } else {
            (d + 0.025 * vec3(noise(d * 17.0), noise(d * 17.0 + Vec3::ONE), 0.0)).normalize()
        };
        let mirror = n * (2.0 * n.dot(s.view)) - s.view;
        let f = schlick(0.025, n.dot(s.view));
        let moist = if angle < 0.55 { 1.0 } else { 0.55 };
        for (k, seen) in self.lit.seen.iter().enumerate() {
            let half = seen.half.max(0.075);
            let away = mirror.dot(seen.direction).clamp(-1.0, 1.0).acos();
            let soft = 0.25 * half + 0.02;
            let disc = smooth(half + soft, half - soft, away);
            let open = smooth(
                0.05,
                0.5,
                s.row[4 * k + 3]
                    / strength(&self.scene.lights[k], self.scene.focus, centre).max(1e-6),
            );
            out[4 * k + 3] += 1.5 * moist * f * disc * open / half.sin().powi(2)
                * strength(&self.scene.lights[k], self.scene.focus, centre);
        }
        for (a, ambient) in self.scene.ambients.iter().enumerate() {
            let o = self.lit.layout.ambient(a);
            out[o + 1] += f * ambient.radiance(mirror) * s.row[o + 1].min(1.0).powi(2);
        }
        let mut shares = Shares::one(Local::IrisOuter);
        shares.cover(Local::IrisInner, inner);
        shares.cover(Local::Pupil, pupil);
        shares.cover(Local::Sclera, sclera);
        // Toward the corners the white turns to pink flesh.
        shares.cover(Local::Flesh, 0.55 * corner * sclera + 0.06 * vein * sclera);
        shares
    }

    fn cloth(&self, s: &Spot, k: usize, out: &mut [f32]) -> Shares {
        let layer = &self.baked.layers[k];
        let base = self.baked.fine.layers[k];
        let part = layer.part(&self.data.topology);
        let mean =
            |f: &dyn Fn(usize) -> f32| (0..3).map(|i| f(s.v[i] - base) * s.weights[i]).sum::<f32>();
        let q = (0..3)
            .map(|i| part.ref2[s.v[i] - base] * s.weights[i])
            .sum::<Vec3>();
        let d = mean(&|i| layer.inside2[i]);
        let back = s.normal.dot(s.view) < 0.0;
        let g = &self.baked.person.garment;
        let fine = smooth(0.03, 0.01, self.footprint);
        let (_, gradient) = noise_gradient(q * 33.0);
        let knit = matches!(g.pattern, crate::Pattern::Rib | crate::Pattern::Heather);
        let slope = gradient * if knit { 0.08 } else { 0.03 } * fine;
        let n = (s.normal - (slope - s.normal * slope.dot(s.normal))).normalize();
        let rib = if layer.rib {
            smooth(0.11, 0.09, d)
        } else {
            0.0
        };
        let (mut second, mut tone) = if layer.local == Local::Cloth {
            weave(g, q, rib)
        } else {
            (
                0.0,
                weave(
                    &crate::Garment {
                        pattern: crate::Pattern::Plain,
                        ..*g
                    },
                    q,
                    rib,
                )
                .1,
            )
        };
        if layer.rib {
            tone *= 1.0 - 0.30 * (-((d - 0.105) / 0.011).powi(2)).exp();
            if layer.local == Local::Cloth && g.pattern != crate::Pattern::Heather {
                second *= 1.0 - rib;
            }
        }
        if g.cut == Cut::Jacket && layer.local == Local::Cloth {
            // Shadow line at the lapel's edge.
            let width =
                crate::math::table(&[(3.6, 0.08), (4.3, 0.25), (5.0, 0.34), (5.6, 0.24)], q.y);
            let edge = if q.z > -0.2 { width } else { 0.23 };
            tone *= 1.0 - 0.35 * (-((d - edge) / 0.012).powi(2)).exp();
        }
        if g.cut == Cut::Shirt && q.z > 0.3 && layer.local == Local::Cloth {
            tone *= 1.0 - 0.22 * (-((q.x.abs() - 0.115) / 0.009).powi(2)).exp();
            tone *= 1.0 - 0.45 * (-((q.x - 0.118) / 0.006).powi(2)).exp();
        }
        let shade = if back { 0.22 } else { 1.0 };
        self.plain(s, n, tone.max(0.1) * shade, out);
        if !back {
            self.gloss(s, n, 0.75, 0.03, 0.35, out);
        }
        let mut shares = Shares::one(layer.local);
        if layer.local == Local::Cloth {
            shares.cover(Local::Second, second);
        }
        if self.baked.buttoned() && layer.local == Local::Cloth && q.z > 0.3 {
            for y in [4.92, 4.50, 4.08, 3.66] {
                let r = vec2(q.x, q.y - y).length();
                if r < 0.055 {
                    let hole = if r < 0.012 { 0.6 } else { 1.0 };
                    shares.cover(Local::Button, smooth(0.052, 0.045, r) * hole);
                }
            }
        }
        shares
    }

    fn extra(&self, s: &Spot, k: u8, out: &mut [f32]) -> Shares {
        let local = self.baked.extra_local(k);
        let base = self.baked.fine.extras[k as usize];
        let flip = s.normal.dot(s.view) < 0.0;
        if local == Local::Frame {
            let n = if flip { -s.normal } else { s.normal };
            self.plain(s, n, 1.0, out);
            self.gloss(s, n, 0.22, 0.045, 1.0, out);
            return Shares::one(local);
        }
        let e = &self.baked.extras[k as usize];
        let q = (0..3)
            .map(|i| e.rest[s.v[i] - base] * s.weights[i])
            .sum::<Vec3>();
        let (second, tone) = weave(&self.baked.person.garment, q, 0.0);
        let ribbed = if self.baked.person.garment.cut == Cut::Roll {
            0.84 + 0.16 * (q.x.atan2(q.z - 0.1) * 62.0).sin()
        } else {
            1.0
        };
        self.plain(
            s,
            s.normal,
            tone * ribbed * if flip { 0.45 } else { 1.0 },
            out,
        );
        let mut shares = Shares::one(local);
        shares.cover(Local::Second, second);
        shares
    }

    /// Light of a strand segment (Kajiya and Kay 1989, with the coloured second highlight of Marschner et al. 2003).
    pub(crate) fn segment(&self, index: usize, out: &mut [f32]) -> Local {
        let seg = &self.strands.segments[index];
        let p = self.strands.points[seg.point as usize];
        let q = self.strands.points[seg.point as usize + 1];
        let tangent = (q - p).normalize_or(Vec3::Y);
        let middle = (p + q) * 0.5;
        let view = (self.view.eye - middle).normalize();
        let lights = self.lights();
        let layout = self.lit.layout;
        let mut visible = [0f32; 8];
        let mut dome = [0f32; 8];
        let (mut tone, mut grey) = (0.0, false);
        let (mut shine, mut matte) = (1.0, 1.0);
        match seg.fibre {
            Fibre::Lash => {
                visible = [0.35; 8];
                for (a, x) in self.scene.ambients.iter().enumerate() {
                    dome[a] = 0.4 * x.side;
                }
                shine = 0.15;
            }
            Fibre::Brow => {
                let s = &self.baked.hair.strands[seg.strand as usize];
                (tone, grey) = (s.tone, s.grey);
                let stride = layout.stride();
                let v = s.root.vertices(&self.data.topology)[0];
                let row = &self.lit.rows[v * stride..(v + 1) * stride];
                for k in 0..lights {
                    let full = strength(&self.scene.lights[k], self.scene.focus, middle).max(1e-6);
                    visible[k] = (0.5 * row[4 * k + 3] / full + 0.5 * row[4 * k] / full).min(1.0);
                }
                for a in 0..layout.ambients {
                    dome[a] = row[layout.ambient(a)] * 0.8;
                }
                shine = 0.35;
                matte = 1.0;
            }
            Fibre::Head | Fibre::Beard => {
                let s = &self.baked.hair.strands[seg.strand as usize];
                (tone, grey) = (s.tone, s.grey);
                let rest = if seg.fibre == Fibre::Head {
                    self.baked.hair.points[seg.point as usize]
                } else {
                    self.geometry.turn.undo_head(middle)
                };
                let (near, n) = self.baked.grid.around(rest);
                let width = lights + layout.ambients;
                for (slot, w) in &near[..n] {
                    let row = &self.lit.hair[*slot as usize * width..(*slot as usize + 1) * width];
                    for k in 0..lights {
                        visible[k] += row[k] * w;
                    }
                    for a in 0..layout.ambients {
                        dome[a] += row[lights + a] * w;
                    }
                }
            }
        }
        let lift = 1.0 + 0.26 * tone + 0.10 * (seg.along - 0.3);
        let tv = tangent.dot(view);
        let sv = (1.0 - tv * tv).max(0.0).sqrt();
        // Cuticle scales shift the white highlight to the root, the coloured one to the tip.
        let wander = 0.05 * (hash(seg.strand) as f32 / 2_147_483_648.0 - 1.0);
        for k in 0..lights {
            let seen = &self.lit.seen[k];
            let s = strength(&self.scene.lights[k], self.scene.focus, middle) * visible[k];
            if s <= 0.0 {
                continue;
            }
            let tl = tangent.dot(seen.direction);
            let sl = (1.0 - tl * tl).max(0.0).sqrt();
            let white = (sl * sv - (tl + (0.10 + wander) * sv) * tv).max(0.0);
            let second = (sl * sv - (tl - (0.20 + wander) * sv) * tv).max(0.0);
            out[4 * k] += s * lift * matte * (0.58 * sl + 0.42 * shine * second.powi(12));
            out[4 * k + 3] += s * 0.032 * shine * white.powi(36);
        }
        for a in 0..layout.ambients {
            out[layout.ambient(a)] += 1.25 * lift * matte * dome[a];
        }
        match (seg.fibre, grey) {
            (Fibre::Lash, _) => Local::Lash,
            (_, true) => Local::Grey,
            (Fibre::Head, false) => Local::Hair,
            (Fibre::Beard | Fibre::Brow, false) => Local::Brow,
        }
    }
}

/// A point of a surface with its interpolated light.
struct Spot {
    position: Vec3,
    normal: Vec3,
    view: Vec3,
    row: [f32; 32],
    weights: [f32; 3],
    v: [usize; 3],
}

impl Spot {
    fn at(&self, a: &[Vec3]) -> Vec3 {
        a[self.v[0]] * self.weights[0]
            + a[self.v[1]] * self.weights[1]
            + a[self.v[2]] * self.weights[2]
    }
}
