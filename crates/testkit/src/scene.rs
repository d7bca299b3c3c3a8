//! A named scene: who, in which light, through which camera, and the pictures that come of it.

use inkarnat_color::Rgb;
use inkarnat_color::picture::{Planes16, Region as Area, Subsampling};
use inkarnat_spectra::{Illuminant, Neutrality, cameras, d65, illuminants};

use crate::cast::{camera_held_out, cast, light_held_out, third};
use crate::render::{Linear, Noise, Palette, draw, expose, quantise};
use crate::stage::{Region, Stage, StageSpec};

/// What a scene is there to show.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Group {
    /// One person, one shot, one light.
    Single,
    /// Right as shot: skin within CIEDE2000 1 and neutrals within 1.5 of the truth.
    Good,
    /// One person in two shots: one in daylight.
    AlsoDaylight,
    /// One person in two shots, neither in daylight.
    TwoLights,
    /// Two people of very different complexion in one shot.
    TwoPeople,
    /// Three people in one shot.
    ThreePeople,
    /// Two lights mixed evenly over the whole set.
    Mixture,
    /// Key and fill of different lights on one face.
    SplitFace,
    /// Far under or over, in daylight or not.
    Exposure,
}

impl Group {
    /// All groups, in the order of the table.
    pub const ALL: [Self; 9] = [
        Self::Single,
        Self::Good,
        Self::AlsoDaylight,
        Self::TwoLights,
        Self::TwoPeople,
        Self::ThreePeople,
        Self::Mixture,
        Self::SplitFace,
        Self::Exposure,
    ];

    /// Name used in scene names and tables.
    #[must_use]
    pub const fn name(self) -> &'static str {
        match self {
            Self::Single => "single",
            Self::Good => "good",
            Self::AlsoDaylight => "also-daylight",
            Self::TwoLights => "two-lights",
            Self::TwoPeople => "two-people",
            Self::ThreePeople => "three-people",
            Self::Mixture => "mixture",
            Self::SplitFace => "split-face",
            Self::Exposure => "exposure",
        }
    }
}

/// A light of a shot: one of the file, or a mixture of two.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct LightSpec {
    /// Index in file order.
    pub first: usize,
    /// Index of a second light and its share of luminance.
    pub second: Option<(usize, f64)>,
}

impl LightSpec {
    /// One light alone.
    #[must_use]
    pub const fn one(first: usize) -> Self {
        Self {
            first,
            second: None,
        }
    }

    /// The light itself.
    #[must_use]
    pub fn illuminant(&self) -> Illuminant {
        let first = &illuminants()[self.first];
        match self.second {
            Some((second, share)) => first.mixed(&illuminants()[second], share),
            None => first.clone(),
        }
    }

    /// Indices of its parts.
    #[must_use]
    pub fn parts(&self) -> Vec<usize> {
        let mut parts = vec![self.first];
        parts.extend(self.second.map(|(index, _)| index));
        parts
    }
}

/// How a shot is stored.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Codec {
    /// H.264, 8 bit, 4:2:0, constant quality 16.
    H264,
    /// H.264, 10 bit, 4:2:2, constant quality 14.
    H264Ten,
    /// ProRes 422 HQ, 10 bit.
    ProRes,
}

impl Codec {
    /// All codecs.
    pub const ALL: [Self; 3] = [Self::H264, Self::H264Ten, Self::ProRes];

    /// Chroma sampling and bit depth.
    #[must_use]
    pub const fn sampling(self) -> (Subsampling, u8) {
        match self {
            Self::H264 => (Subsampling::S420, 8),
            Self::H264Ten | Self::ProRes => (Subsampling::S422, 10),
        }
    }
}

/// One shot of a scene.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ShotSpec {
    /// The light that has a direction.
    pub key: LightSpec,
    /// The light from everywhere.
    pub fill: LightSpec,
    /// Exposure against nominal, in stops.
    pub exposure_stops: f64,
    /// Sensor noise.
    pub noise: Noise,
    /// Stored as.
    pub codec: Codec,
    /// A blown window in the picture.
    pub window: bool,
    /// Seed of this shot's set.
    pub seed: u64,
}

/// A scene by name.
#[derive(Debug, Clone, PartialEq)]
pub struct SceneSpec {
    /// Unique, and stable from version to version.
    pub name: String,
    /// What it is there to show.
    pub group: Group,
    /// Indices into the cast, from left to right.
    pub people: Vec<usize>,
    /// Index of the camera; all shots of a scene share it.
    pub camera: usize,
    /// What kind of neutral surface is in every shot.
    pub neutrality: Neutrality,
    /// One or two shots.
    pub shots: Vec<ShotSpec>,
}

impl SceneSpec {
    /// Whether any part of it is held out.
    #[must_use]
    pub fn held_out(&self) -> bool {
        camera_held_out(self.camera)
            || self.people.iter().any(|p| third(*p))
            || self.lights().into_iter().any(light_held_out)
    }

    /// Indices of all lights in it, ascending, each once.
    #[must_use]
    pub fn lights(&self) -> Vec<usize> {
        let mut lights: Vec<usize> = self
            .shots
            .iter()
            .flat_map(|s| [s.key.parts(), s.fill.parts()].concat())
            .collect();
        lights.sort_unstable();
        lights.dedup();
        lights
    }

    /// Draws all shots at the given size.
    #[must_use]
    pub fn render(&self, width: usize, height: usize) -> Vec<Shot> {
        self.shots
            .iter()
            .map(|shot| self.render_shot(shot, width, height))
            .collect()
    }

    fn render_shot(&self, spec: &ShotSpec, width: usize, height: usize) -> Shot {
        let stage = Stage::build(&StageSpec {
            skins: self.people.iter().map(|p| cast()[*p].skin).collect(),
            neutrality: self.neutrality,
            window: spec.window,
            seed: spec.seed,
        });
        let camera = &cameras()[self.camera];
        let (key, fill) = (spec.key.illuminant(), spec.fill.illuminant());
        let palettes = [
            Palette::new(
                stage.reflectances(),
                camera,
                (&key, &fill),
                spec.exposure_stops.exp2(),
            ),
            Palette::new(stage.reflectances(), camera, (d65(), d65()), 1.0),
        ];
        let (mut pictures, regions) = draw(&stage, &palettes, width, height);
        let truth = pictures.pop().expect("two palettes give two pictures");
        let shot = pictures.pop().expect("two palettes give two pictures");
        let exposed = expose(&shot, spec.noise, spec.seed);
        let (subsampling, depth) = spec.codec.sampling();
        let codes = quantise(&exposed, subsampling, depth);
        let picture = codes.as_native().rgb_region(Area::whole(width, height));
        let patches = stage
            .heads
            .iter()
            .map(|head| {
                let [cx, cy, rx, ry] = head.patch;
                [cx / stage.aspect, cy, rx / stage.aspect, ry]
            })
            .collect();
        Shot {
            picture,
            codes,
            truth,
            regions,
            patches,
        }
    }
}

/// A shot as drawn, and the truth about it.
#[derive(Debug, Clone)]
pub struct Shot {
    /// The working signal as decoded from its codes (before any codec).
    pub picture: Rgb,
    /// The codes that a codec gets.
    pub codes: Planes16,
    /// Linear light of the same scene through the same camera under D65 at nominal exposure, 4:4:4, without noise.
    pub truth: Linear,
    /// What each pixel shows.
    pub regions: Vec<Region>,
    /// One patch a person: centre and radii as fractions of width and height.
    pub patches: Vec<[f64; 4]>,
}

impl Shot {
    /// Indices of the pixels that show exactly this.
    #[must_use]
    pub fn pixels(&self, region: Region) -> Vec<usize> {
        (0..self.regions.len())
            .filter(|i| self.regions[*i] == region)
            .collect()
    }

    /// Numbers of the neutral surfaces in the picture.
    #[must_use]
    pub fn neutrals(&self) -> Vec<u8> {
        let mut numbers: Vec<u8> = self
            .regions
            .iter()
            .filter_map(|r| match r {
                Region::Neutral(n) => Some(*n),
                _ => None,
            })
            .collect();
        numbers.sort_unstable();
        numbers.dedup();
        numbers
    }
}
