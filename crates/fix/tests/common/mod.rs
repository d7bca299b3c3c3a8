//! Scenes with known truth: published spectra under a light, seen by a camera, with a cast and an exposure on top.
#![allow(dead_code, reason = "each test file uses a part")]

use inkarnat_color::transfer::bt709_oetf;
use inkarnat_color::{ItaClass, WorkingSpace};
use inkarnat_fix::{Aim, Band, Limits, PersonProblem, PicturePixel, Problem, SkinValue, Want};
use inkarnat_spectra::{
    Camera, Illuminant, LightResponse, Random, SkinModel, Spectrum, class_mean, d65, material,
};

/// What a scene is made of.
#[derive(Clone)]
pub(crate) struct Scene {
    pub(crate) light: &'static Illuminant,
    /// Gains of R, G, B in linear light on top of the light.
    pub(crate) gains: [f64; 3],
    pub(crate) stops: f64,
    pub(crate) people: Vec<ItaClass>,
    pub(crate) materials: Vec<&'static str>,
    /// Share of the frame that is a blown window, linear light far above white.
    pub(crate) window: f64,
    pub(crate) noise: f64,
    pub(crate) seed: u64,
}

pub(crate) const ROOM: [&str; 8] = [
    "grey wall",
    "white board",
    "light oak",
    "denim",
    "foliage",
    "brick",
    "charcoal felt",
    "mustard cloth",
];
pub(crate) const COLOURED: [&str; 6] = [
    "light oak",
    "denim",
    "foliage",
    "brick",
    "teal door",
    "mustard cloth",
];

impl Scene {
    pub(crate) fn new(class: ItaClass) -> Self {
        Self {
            light: d65(),
            gains: [1.0; 3],
            stops: 0.0,
            people: vec![class],
            materials: ROOM.to_vec(),
            window: 0.0,
            noise: 0.004,
            seed: 11,
        }
    }

    pub(crate) fn reference(&self) -> Self {
        Self {
            light: d65(),
            gains: [1.0; 3],
            stops: 0.0,
            ..self.clone()
        }
    }

    fn signal(
        &self,
        response: &LightResponse,
        reflectance: &Spectrum,
        shade: f64,
        random: &mut Random,
    ) -> [f32; 3] {
        let linear = response.linear_rgb(reflectance);
        let scale = shade * self.stops.exp2();
        std::array::from_fn(|c| {
            let clean = bt709_oetf((linear[c] * self.gains[c] * scale).max(0.0));
            // A camera clips at white.
            (clean + self.noise * random.normal()).clamp(-0.02, 1.0) as f32
        })
    }

    pub(crate) fn skin(&self, index: usize) -> Vec<[f32; 3]> {
        let response = Camera::ideal().in_light(self.light);
        let model = SkinModel::published();
        let mut random = Random::new(self.seed, 100 + index as u64);
        let base = model.skin(model.scores_of(class_mean(self.people[index])));
        (0..500)
            .map(|_| {
                let skin = model.flushed(&base, 0.35 * random.normal());
                let shade = (1.0 + 0.07 * random.normal()).clamp(0.8, 1.2);
                self.signal(&response, &skin.reflectance, shade, &mut random)
            })
            .collect()
    }

    pub(crate) fn picture(&self) -> Vec<PicturePixel> {
        const PIXELS: usize = 4000;
        let response = Camera::ideal().in_light(self.light);
        let mut random = Random::new(self.seed, 1);
        let surfaces: Vec<Spectrum> = self
            .materials
            .iter()
            .map(|name| material(name).reflectance)
            .collect();
        let mut pixels = Vec::with_capacity(PIXELS);
        for index in 0..self.people.len() {
            for rgb in self.skin(index).into_iter().step_by(2) {
                pixels.push(PicturePixel { rgb, skin: true });
            }
        }
        let window = (self.window * PIXELS as f64) as usize;
        pixels.extend((0..window).map(|_| PicturePixel {
            rgb: [1.0; 3],
            skin: false,
        }));
        while pixels.len() < PIXELS {
            let surface = &surfaces[pixels.len() % surfaces.len()];
            let shade = 0.15 + 0.85 * (random.normal().abs() / 2.0).min(1.0);
            let rgb = self.signal(&response, surface, shade, &mut random);
            pixels.push(PicturePixel { rgb, skin: false });
        }
        pixels
    }

    pub(crate) fn problem(&self, aims: &[Aim]) -> Problem {
        Problem {
            people: aims
                .iter()
                .enumerate()
                .map(|(i, aim)| PersonProblem {
                    name: format!("person {}", i + 1),
                    skin: self.skin(i),
                    aim: aim.clone(),
                    ..PersonProblem::default()
                })
                .collect(),
            picture: self.picture(),
            limits: Limits::default(),
            space: WorkingSpace::default(),
            dark_noise: None,
            ..Problem::default()
        }
    }

    /// What the skin reads under the light of reference.
    pub(crate) fn truth(&self, index: usize) -> SkinValue {
        read(&self.reference().skin(index))
    }
}

/// Trimmed means as readings take them, written down a second time.
pub(crate) fn read(skin: &[[f32; 3]]) -> SkinValue {
    let space = WorkingSpace::default();
    let mut columns: [Vec<f64>; 3] = Default::default();
    for p in skin {
        let v = space.coefficients.ycbcr_from_rgb(p.map(f64::from));
        columns[0].push(v.y);
        columns[1].push(v.cb);
        columns[2].push(v.cr);
    }
    let mean = columns.map(|mut c| {
        c.sort_by(f64::total_cmp);
        let cut = c.len() / 10;
        let kept = &c[cut..c.len() - cut];
        kept.iter().sum::<f64>() / kept.len() as f64
    });
    let ycbcr = inkarnat_color::Ycbcr {
        y: mean[0],
        cb: mean[1],
        cr: mean[2],
    };
    SkinValue {
        level: inkarnat_color::Percent::from_signal(mean[0]),
        chroma: ycbcr.chroma(),
        lab: inkarnat_color::lab_from_signal(space.coefficients.rgb_from_ycbcr(ycbcr), space),
    }
}

/// Level ±3 % and hue ±3° about a reading: what an editor types for this person.
pub(crate) fn typed_about(truth: &SkinValue) -> Aim {
    let level = truth.level.0;
    let hue = truth.hue().expect("skin has a hue").degrees();
    Aim::typed(
        Want::Band(Band {
            low: level - 3.0,
            high: level + 3.0,
        }),
        Want::Band(Band {
            low: hue - 3.0,
            high: hue + 3.0,
        }),
    )
}
