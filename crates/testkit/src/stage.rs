//! The geometry of a flat scene: a backdrop of surfaces, people in front of it, two lights.
//!
//! Everything is in units of the picture's height, origin at the top left, so that one stage can be drawn at any size.

use inkarnat_spectra::spectrum::Spectrum;
use inkarnat_spectra::{Neutrality, Random, Skin, SkinModel, lips, materials};

/// A filled shape.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Shape {
    /// Left, top, right, bottom.
    Rectangle([f64; 4]),
    /// Centre and radii.
    Ellipse([f64; 4]),
}

impl Shape {
    /// Coverage (0…1) of the pixel at (`x`, `y`), whose size is `pixel`.
    fn coverage(&self, x: f64, y: f64, pixel: f64) -> f64 {
        let inside = match self {
            Self::Rectangle([left, top, right, bottom]) => {
                (x - left).min(right - x).min(y - top).min(bottom - y)
            }
            Self::Ellipse([cx, cy, rx, ry]) => {
                let (u, v) = ((x - cx) / rx, (y - cy) / ry);
                let q = u.hypot(v);
                if q < 1e-9 {
                    rx.min(*ry)
                } else {
                    // First-order distance: value over length of gradient.
                    (1.0 - q) * q / ((u / rx).hypot(v / ry))
                }
            }
        };
        (inside / pixel + 0.5).clamp(0.0, 1.0)
    }
}

/// What a pixel shows, where one thing covers it whole.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Region {
    /// An edge between things, or anything that no statistic is made of.
    #[default]
    Other,
    /// Skin of a person, lit, without a highlight: what is scored.
    Skin(u8),
    /// Skin of a person in shade, turned away or with a highlight.
    SkinRest(u8),
    /// Lips of a person.
    Lips(u8),
    /// A truly or nearly neutral surface, with its number.
    Neutral(u8),
    /// A coloured surface of the set or clothes.
    Coloured,
    /// A window or lamp brighter than white.
    Bright,
}

/// How a surface takes the light.
#[derive(Debug, Clone, Copy, PartialEq)]
enum Surface {
    /// Facing the camera, with a slow gradient across and a cloth-like texture of the given strength.
    Plain { light: f64, texture: f64 },
    /// A head: an ellipsoid.
    Head,
    /// A neck: a cylinder under the chin.
    Neck,
    /// Gives light itself, that many times a perfect white.
    Emitter(f64),
}

#[derive(Debug, Clone, PartialEq)]
struct Element {
    shape: Shape,
    surface: Surface,
    /// Indices into the stage's list of reflectances: base, flushed, darker (skin), or the same thrice.
    materials: [usize; 3],
    region: Region,
}

/// Where a person's head is.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Head {
    /// Centre and radii, in picture heights.
    pub ellipse: [f64; 4],
    /// The patch: an ellipse on the lit cheek and beside the nose, in picture heights.
    pub patch: [f64; 4],
}

/// A scene's geometry.
#[derive(Debug, Clone, PartialEq)]
pub struct Stage {
    /// Width over height.
    pub aspect: f64,
    /// Heads, in the order of the people.
    pub heads: Vec<Head>,
    reflectances: Vec<Spectrum>,
    elements: Vec<Element>,
    key_direction: [f64; 3],
    key: f64,
    fill: f64,
    seed: u32,
}

/// What a stage is built from.
#[derive(Debug, Clone, PartialEq)]
pub struct StageSpec {
    /// Skins of the people, from left to right.
    pub skins: Vec<Skin>,
    /// Which kind of neutral surface the scene holds.
    pub neutrality: Neutrality,
    /// Whether a blown window is in the picture.
    pub window: bool,
    /// Seed of the layout.
    pub seed: u64,
}

impl Stage {
    /// Builds the set and puts the people in it.
    #[must_use]
    pub fn build(spec: &StageSpec) -> Self {
        let mut random = Random::new(spec.seed, 11);
        let aspect = 16.0 / 9.0;
        let from_left = random.uniform() < 0.5;
        let azimuth =
            random.between(25.0, 50.0f64).to_radians() * if from_left { -1.0 } else { 1.0 };
        let elevation = random.between(20.0, 40.0f64).to_radians();
        let mut stage = Self {
            aspect,
            heads: Vec::new(),
            reflectances: Vec::new(),
            elements: Vec::new(),
            key_direction: [
                azimuth.sin() * elevation.cos(),
                -elevation.sin(),
                azimuth.cos() * elevation.cos(),
            ],
            key: 0.80,
            fill: random.between(0.20, 0.28),
            seed: spec.seed as u32 ^ 0x9e37_79b9,
        };
        stage.add_backdrop(spec, &mut random);
        let count = spec.skins.len().max(1);
        let height = [0.0, 0.60, 0.52, 0.44][count.min(3)] * random.between(0.9, 1.1);
        for (person, skin) in spec.skins.iter().enumerate() {
            let slot = aspect / count as f64;
            let x = slot * (person as f64 + 0.5) + random.between(-0.06, 0.06) * slot;
            stage.add_person(
                person as u8,
                skin,
                spec,
                [x, random.between(0.40, 0.48), height],
                &mut random,
            );
        }
        stage
    }

    fn material(&mut self, reflectance: Spectrum) -> usize {
        self.reflectances.push(reflectance);
        self.reflectances.len() - 1
    }

    fn plain(
        &mut self,
        shape: Shape,
        reflectance: Spectrum,
        light: f64,
        texture: f64,
        region: Region,
    ) {
        let m = self.material(reflectance);
        self.elements.push(Element {
            shape,
            surface: Surface::Plain { light, texture },
            materials: [m; 3],
            region,
        });
    }

    fn add_backdrop(&mut self, spec: &StageSpec, random: &mut Random) {
        let all = materials();
        let coloured: Vec<_> = all
            .iter()
            .filter(|m| m.neutrality == Neutrality::None)
            .collect();
        let neutral: Vec<_> = all
            .iter()
            .filter(|m| m.neutrality == spec.neutrality && spec.neutrality != Neutrality::None)
            .collect();
        let aspect = self.aspect;
        let wall = coloured[random.index(coloured.len())].reflectance;
        let whole = Shape::Rectangle([-1.0, -1.0, aspect + 1.0, 2.0]);
        self.plain(
            whole,
            wall,
            random.between(0.45, 0.75),
            0.03,
            Region::Coloured,
        );
        // Panels stand side by side so that none hides another.
        let panels = 6;
        let neutral_at: Vec<usize> = if neutral.is_empty() {
            Vec::new()
        } else {
            vec![0, 3 + random.index(2)]
        };
        let window_at = if spec.window { Some(5) } else { None };
        for panel in 0..panels {
            let slot = aspect / panels as f64;
            let left = slot * panel as f64 + random.between(0.01, 0.05);
            let right = slot * (panel + 1) as f64 - random.between(0.0, 0.04);
            let shape = Shape::Rectangle([
                left,
                random.between(0.02, 0.12),
                right,
                random.between(0.5, 0.95),
            ]);
            let light = random.between(0.5, 0.9);
            if window_at == Some(panel) {
                let m = self.material(Spectrum::flat(1.0));
                self.elements.push(Element {
                    shape,
                    surface: Surface::Emitter(3.2),
                    materials: [m; 3],
                    region: Region::Bright,
                });
            } else if let Some(number) = neutral_at.iter().position(|at| *at == panel) {
                // Bright enough to be measured: a dark neutral tells little.
                let bright: Vec<_> = neutral
                    .iter()
                    .filter(|m| m.reflectance.0[34] > 0.15)
                    .collect();
                let m = bright[random.index(bright.len())].reflectance;
                self.plain(shape, m, light, 0.02, Region::Neutral(number as u8));
            } else {
                let m = coloured[random.index(coloured.len())].reflectance;
                self.plain(shape, m, light, 0.06, Region::Coloured);
            }
        }
    }

    fn add_person(
        &mut self,
        person: u8,
        skin: &Skin,
        spec: &StageSpec,
        [x, y, height]: [f64; 3],
        random: &mut Random,
    ) {
        let model = SkinModel::published();
        let base = self.material(skin.reflectance);
        let flushed = self.material(model.flushed(skin, 1.2).reflectance);
        let mut darker = skin.scores;
        darker[0] += 0.30;
        let darker = self.material(model.skin(darker).reflectance);
        let variants = [base, flushed, darker];
        let (rx, ry) = (0.36 * height, 0.5 * height);

        let all = materials();
        let cloth: Vec<_> = all
            .iter()
            .filter(|m| m.neutrality == Neutrality::None || m.neutrality == spec.neutrality)
            .collect();
        let cloth = cloth[random.index(cloth.len())];
        let region = if cloth.neutrality == Neutrality::None {
            Region::Coloured
        } else {
            Region::Neutral(2 + person)
        };
        let hair = Spectrum::from_fn(|nm| {
            let fair = f64::from(person % 2) * 0.05 * ((nm - 380.0) / 400.0);
            0.018 + 0.03 * ((nm - 380.0) / 400.0) + fair
        });
        let hair_at = Shape::Ellipse([x, y - 0.12 * ry, 1.12 * rx, 1.04 * ry]);
        self.plain(hair_at, hair, 0.7, 0.25, Region::Other);
        let torso = Shape::Ellipse([x, y + 2.35 * ry, 2.3 * rx, 1.15 * ry]);
        self.plain(torso, cloth.reflectance, 0.75, 0.08, region);
        self.elements.push(Element {
            shape: Shape::Ellipse([x, y + 1.0 * ry, 0.55 * rx, 0.55 * ry]),
            surface: Surface::Neck,
            materials: variants,
            region: Region::SkinRest(person),
        });
        self.elements.push(Element {
            shape: Shape::Ellipse([x, y, rx, ry]),
            surface: Surface::Head,
            materials: variants,
            region: Region::Skin(person),
        });
        let fringe = Shape::Ellipse([x, y - 0.92 * ry, 0.85 * rx, 0.26 * ry]);
        self.plain(fringe, hair, 0.7, 0.25, Region::Other);
        for side in [-1.0, 1.0] {
            let eye = [x + side * 0.40 * rx, y - 0.12 * ry];
            let white = Shape::Ellipse([eye[0], eye[1], 0.17 * rx, 0.055 * ry]);
            let sclera = Spectrum::from_fn(|nm| 0.38 + 0.12 * ((nm - 380.0) / 400.0));
            self.plain(white, sclera, 0.8, 0.0, Region::Other);
            let iris = Shape::Ellipse([eye[0], eye[1], 0.07 * rx, 0.052 * ry]);
            self.plain(iris, hair, 0.8, 0.0, Region::Other);
            let brow = Shape::Ellipse([eye[0], eye[1] - 0.15 * ry, 0.24 * rx, 0.032 * ry]);
            self.plain(brow, hair, 0.8, 0.3, Region::Other);
        }
        let mouth = Shape::Ellipse([x, y + 0.48 * ry, 0.34 * rx, 0.085 * ry]);
        let reflectance = lips(skin);
        self.plain(mouth, reflectance, 0.85, 0.04, Region::Lips(person));

        let side = self.key_direction[0].signum();
        self.heads.push(Head {
            ellipse: [x, y, rx, ry],
            patch: [x + side * 0.40 * rx, y + 0.16 * ry, 0.24 * rx, 0.15 * ry],
        });
    }

    /// Reflectances of everything on the stage, in the order that [`crate::render::Palette`] takes them.
    #[must_use]
    pub fn reflectances(&self) -> &[Spectrum] {
        &self.reflectances
    }

    /// Draws: for each pixel of a picture of `width` columns and `height` rows, calls `put` with its index, its
    /// region and its layers from back to front.
    pub(crate) fn trace(
        &self,
        width: usize,
        height: usize,
        mut put: impl FnMut(usize, Region, &[Layer]),
    ) {
        let pixel = 1.0 / height as f64;
        let mut layers = Vec::with_capacity(8);
        for row in 0..height {
            let y = (row as f64 + 0.5) * pixel;
            for column in 0..width {
                let x = (column as f64 + 0.5) * pixel;
                layers.clear();
                let mut region = Region::Other;
                for (number, element) in self.elements.iter().enumerate() {
                    let coverage = element.shape.coverage(x, y, pixel);
                    if coverage <= 0.0 {
                        continue;
                    }
                    let (layer, here) = self.shade(element, number, x, y, coverage);
                    if coverage >= 1.0 {
                        layers.clear();
                        region = here;
                    } else {
                        region = Region::Other;
                    }
                    layers.push(layer);
                }
                put(row * width + column, region, &layers);
            }
        }
    }

    fn shade(
        &self,
        element: &Element,
        number: usize,
        x: f64,
        y: f64,
        coverage: f64,
    ) -> (Layer, Region) {
        let seed = self.seed.wrapping_add(number as u32 * 7919);
        let mut layer = Layer {
            coverage,
            materials: element.materials,
            weights: [1.0, 0.0, 0.0],
            key: 0.0,
            fill: 0.0,
            gloss: 0.0,
        };
        let mut region = element.region;
        match element.surface {
            Surface::Plain { light, texture } => {
                let across = (x / self.aspect - 0.5) * self.key_direction[0].signum();
                let weave = 1.0
                    + texture
                        * (value_noise(seed, x * 90.0, y * 90.0)
                            + value_noise(seed, x * 23.0, y * 23.0));
                layer.key = light * self.key * (1.0 + 0.25 * across) * weave;
                layer.fill = light * self.fill * (1.0 - 0.15 * across) * weave;
            }
            Surface::Emitter(times) => layer.key = times,
            Surface::Head | Surface::Neck => {
                let (Shape::Ellipse([cx, cy, rx, ry]) | Shape::Rectangle([cx, cy, rx, ry])) =
                    element.shape;
                let (u, v) = ((x - cx) / rx, (y - cy) / ry);
                let v_round = if element.surface == Surface::Neck {
                    0.0
                } else {
                    v
                };
                let z = (1.0 - 0.9 * (u * u + v_round * v_round)).max(0.02).sqrt();
                let length = (u * u + v_round * v_round + z * z).sqrt();
                let n = [u / length, v_round / length, z / length];
                let l = self.key_direction;
                let facing = n[0] * l[0] + n[1] * l[1] + n[2] * l[2];
                let shadow = if element.surface == Surface::Neck {
                    0.45
                } else {
                    1.0
                };
                layer.key = 1.03 * self.key * facing.max(0.0) * shadow;
                layer.fill = self.fill * (0.65 + 0.35 * n[2]) * (0.5 + 0.5 * shadow);
                // Halfway between the light and the camera (0, 0, 1).
                let h_length = (l[0] * l[0] + l[1] * l[1] + (l[2] + 1.0).powi(2)).sqrt();
                let half = (n[0] * l[0] + n[1] * l[1] + n[2] * (l[2] + 1.0)) / h_length;
                layer.gloss = 0.06 * self.key * half.max(0.0).powi(36) * shadow;
                // Redder cheeks and nose, a freckled, uneven ground.
                let cheek = |sx: f64| (-((u - sx).powi(2) + (v - 0.18).powi(2)) / 0.055).exp();
                let nose = (-(u.powi(2) / 0.02 + (v - 0.12).powi(2) / 0.03)).exp();
                let flush = (0.55 * (cheek(-0.5) + cheek(0.5))
                    + 0.5 * nose
                    + 0.10 * value_noise(seed, u * 9.0, v * 9.0))
                .clamp(0.0, 0.9);
                let dark = (0.18
                    + 0.16 * value_noise(seed ^ 77, u * 14.0, v * 14.0)
                    + 0.06 * value_noise(seed ^ 99, u * 45.0, v * 45.0))
                .clamp(0.0, 0.6);
                layer.weights = [
                    1.0 - flush.max(0.0) * 0.8 - dark * 0.2,
                    flush * 0.8,
                    dark * 0.2,
                ];
                let lit =
                    layer.key + layer.fill >= 0.70 * (self.key + self.fill) && layer.gloss < 0.012;
                if let Region::Skin(person) = region
                    && !lit
                {
                    region = Region::SkinRest(person);
                }
            }
        }
        (layer, region)
    }
}

/// One thing seen in a pixel.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Layer {
    pub(crate) coverage: f64,
    pub(crate) materials: [usize; 3],
    pub(crate) weights: [f64; 3],
    /// Irradiance from the key light; 1 = what a perfect white needs for signal 1.
    pub(crate) key: f64,
    /// Irradiance from the fill light.
    pub(crate) fill: f64,
    /// Mirrored key light, as a share of a perfect white.
    pub(crate) gloss: f64,
}

fn hash(seed: u32, x: i32, y: i32) -> f64 {
    let mut h = seed ^ (x as u32).wrapping_mul(0x85eb_ca6b) ^ (y as u32).wrapping_mul(0xc2b2_ae35);
    h ^= h >> 16;
    h = h.wrapping_mul(0x7feb_352d);
    h ^= h >> 15;
    h = h.wrapping_mul(0x846c_a68b);
    h ^= h >> 16;
    f64::from(h) / 2_147_483_648.0 - 1.0
}

/// Smooth noise in −1…1, one grid cell per unit.
fn value_noise(seed: u32, x: f64, y: f64) -> f64 {
    let (fx, fy) = (x.floor(), y.floor());
    let smooth = |t: f64| t * t * (3.0 - 2.0 * t);
    let (tx, ty) = (smooth(x - fx), smooth(y - fy));
    let (ix, iy) = (fx as i32, fy as i32);
    let top = hash(seed, ix, iy) * (1.0 - tx) + hash(seed, ix + 1, iy) * tx;
    let bottom = hash(seed, ix, iy + 1) * (1.0 - tx) + hash(seed, ix + 1, iy + 1) * tx;
    top * (1.0 - ty) + bottom * ty
}
