//! What a person is: shape, complexion, hair, things worn.

use glam::Vec3;

/// A reflecting colour that is not skin. Turn it into a spectrum outside.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Pigment {
    /// Reflects every wavelength alike. *Unit*: reflectance factor. *Nominal range*: 0–1.
    Neutral(f32),
    /// A colour by its linear BT.709 components under D65 (a smooth spectrum is meant).
    /// *Nominal range*: 0–1 each.
    Colour([f32; 3]),
}

/// Absorbance scores of four principal components: `log10 R = -(mean + Σ s_k pc_k)`.
pub type SkinScores = [f32; 4];

/// Score shift that adds melanin: per unit of absorbance at 570 nm.
/// Computed by least squares from `log10(1 + 1.5 (nm/550)^-3.33)` (melanosome exponent: Jacques, "Skin Optics",
/// 1998) on the four components; residual 0.026 rms.
pub const MELANIN: SkinScores = [6.606, 1.6734, 0.2236, 0.1102];

/// Score shift that adds blood: per unit of absorbance at 570 nm.
/// Computed by least squares from `log10(1 + mu_blood/60 per cm)`, 70 % oxygenated (extinctions compiled by
/// S. Prahl), held at 0.95 of its value at 570 nm in the blue, where light turns back before it reaches the blood
/// (our own assumption), on the four components; residual 0.059 rms.
pub const BLOOD: SkinScores = [3.6077, 1.504, -1.1672, 0.23];

/// Scores of a very light complexion (mean of the lightest ITA class): where skin without melanin arrives.
pub const VERY_LIGHT: SkinScores = [-1.207, -0.262, -0.018, -0.011];

/// A complexion and how it varies over the face. Shares are 0–1 unless said otherwise.
#[derive(Clone, Debug)]
pub struct Complexion {
    /// Scores of the plain skin.
    pub scores: SkinScores,
    /// Strength of the blood-rich places (cheeks, nose, ears, chin); 0 none, 1 plainly ruddy.
    pub blush: f32,
    /// Freckles.
    pub freckles: f32,
    /// Darker, thinner skin below the eyes.
    pub under_eye: f32,
    /// Uneven pigment; with age, spots.
    pub mottle: f32,
    /// Lips: added melanin and blood, in absorbance at 570 nm.
    pub lips: [f32; 2],
    /// Patches without melanin (vitiligo).
    pub vitiligo: f32,
    /// Sheen of forehead and nose; 0 powdered, 1 moist.
    pub sheen: f32,
}

/// A way of wearing hair.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum HairStyle {
    /// None at all.
    Bald,
    /// A few millimetres.
    Cropped,
    /// Short, combed to the side.
    Short,
    /// Short, combed back.
    Swept,
    /// Round and wide, tightly curled.
    Afro,
    /// Short tight curls.
    Coils,
    /// To the jaw, straight.
    Bob,
    /// Over the shoulders, waves.
    Wavy,
}

/// Hair of head, brows and lashes.
#[derive(Clone, Debug)]
pub struct Hair {
    /// How it is worn.
    pub style: HairStyle,
    /// Colour.
    pub colour: [f32; 3],
    /// Share of grey strands.
    pub grey: f32,
    /// Colour of brows.
    pub brows: [f32; 3],
    /// Density of brows (1 usual).
    pub brow_density: f32,
    /// Receding temples, 0–1.
    pub recede: f32,
}

/// A beard.
#[derive(Clone, Copy, Debug)]
pub struct Beard {
    /// Density: 0 shaven clean, 1 full.
    pub cover: f32,
    /// Length, dm; 0 = stubble seen only as a shadow in the skin.
    pub length: f32,
}

/// Spectacles.
#[derive(Clone, Copy, Debug)]
pub struct Spectacles {
    /// Frame colour.
    pub colour: [f32; 3],
    /// 0 round lenses, 1 rectangular ones.
    pub square: f32,
    /// Radius of the frame's wire, dm.
    pub wire: f32,
}

/// Something worn on the head.
#[derive(Clone, Copy, Debug, PartialEq)]
pub enum Covering {
    /// A knitted cap.
    Cap([f32; 3]),
    /// A scarf around head and neck.
    Scarf([f32; 3]),
}

/// The cut of a garment.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Cut {
    /// Round neck.
    Crew,
    /// Pointed neck.
    Vee,
    /// A tall folded collar around the neck.
    Roll,
    /// Shirt with collar and buttons.
    Shirt,
    /// Jacket over a round-necked shirt (the second colour).
    Jacket,
    /// Wide, shallow neck.
    Boat,
}

/// A pattern of two colours.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Pattern {
    /// The first colour alone.
    Plain,
    /// Knitted ribs.
    Rib,
    /// Mottled yarn.
    Heather,
    /// Horizontal stripes.
    Stripe,
    /// Checks.
    Check,
}

/// What is worn below the neck. There is always one.
#[derive(Clone, Copy, Debug)]
pub struct Garment {
    /// Cut.
    pub cut: Cut,
    /// Pattern of the outer layer.
    pub pattern: Pattern,
    /// Main colour.
    pub colour: Pigment,
    /// Second colour (stripes, or the shirt below a jacket).
    pub second: Pigment,
}

/// A person of the invented cast.
#[derive(Clone, Debug)]
pub struct Person {
    /// Name.
    pub name: String,
    /// Seed of everything random about the person.
    pub seed: u32,
    /// 0 female, 1 male.
    pub male: f32,
    /// 0.5 young, 1 old.
    pub age: f32,
    /// 0–1, 0.5 average.
    pub weight: f32,
    /// 0–1, 0.5 average.
    pub muscle: f32,
    /// Shares of the three base shapes of the open data set (african, asian, caucasian), sum 1.
    pub origin: [f32; 3],
    /// Local shape targets and weights; `*` stands for both sides.
    pub shape: Vec<(String, f32)>,
    /// Skin.
    pub skin: Complexion,
    /// Iris colour.
    pub iris: [f32; 3],
    /// Hair.
    pub hair: Hair,
    /// Beard.
    pub beard: Beard,
    /// Spectacles, if worn.
    pub spectacles: Option<Spectacles>,
    /// Head covering, if worn.
    pub covering: Option<Covering>,
    /// Garment.
    pub garment: Garment,
}

/// Regions of a person, for coverage masks.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[repr(u8)]
pub enum Region {
    /// Forehead.
    Forehead,
    /// The person's own left cheek (picture right in a frontal view).
    LeftCheek,
    /// The person's own right cheek.
    RightCheek,
    /// Nose with its flanks.
    Nose,
    /// Chin.
    Chin,
    /// Neck and what the neckline shows.
    Neck,
    /// Other skin: eyelids, ears, temples, upper lip.
    OtherSkin,
    /// Lips.
    Lips,
    /// Inside of the mouth.
    Mouth,
    /// Eye balls and lashes.
    Eyes,
    /// Brows.
    Brows,
    /// Hair of the head.
    Hair,
    /// Beard, stubble dense enough to hide skin included.
    Beard,
    /// Spectacles.
    Spectacles,
    /// Garment.
    Garment,
    /// Head covering.
    Covering,
}

impl Region {
    /// All regions, in order.
    pub const ALL: [Self; 16] = [
        Self::Forehead,
        Self::LeftCheek,
        Self::RightCheek,
        Self::Nose,
        Self::Chin,
        Self::Neck,
        Self::OtherSkin,
        Self::Lips,
        Self::Mouth,
        Self::Eyes,
        Self::Brows,
        Self::Hair,
        Self::Beard,
        Self::Spectacles,
        Self::Garment,
        Self::Covering,
    ];

    /// Whether the region is bare skin (lips and mouth are not).
    #[must_use]
    pub fn is_skin(self) -> bool {
        self <= Self::OtherSkin
    }
}

/// Skin of the face that a meter reads, painted on the head for the truth of a picture: bare skin alone, so that
/// brows, hair, beard, spectacles and coverings leave holes in it. Left and right are the person's own.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
#[repr(u8)]
pub enum ReadPart {
    /// From a little above the brows to a little below the usual hairline, between the temples.
    Forehead,
    /// From below the eye bag to the level of the nostrils, in front of the fold beside the nose.
    RightCheek,
    /// The same on the left.
    LeftCheek,
    /// Between the ridge of the nose and its foot, above the wing.
    RightFlank,
    /// The same on the left.
    LeftFlank,
}

impl ReadPart {
    /// All parts, in order.
    pub const ALL: [Self; 5] = [
        Self::Forehead,
        Self::RightCheek,
        Self::LeftCheek,
        Self::RightFlank,
        Self::LeftFlank,
    ];
}

/// Facial points followed through a shot. Left and right are the person's own.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(usize)]
pub enum FacePoint {
    /// Outer corner of the right eye.
    RightEyeOuter,
    /// Inner corner of the right eye.
    RightEyeInner,
    /// Inner corner of the left eye.
    LeftEyeInner,
    /// Outer corner of the left eye.
    LeftEyeOuter,
    /// Tip of the nose.
    NoseTip,
    /// Right corner of the mouth.
    MouthRight,
    /// Left corner of the mouth.
    MouthLeft,
    /// Tip of the chin.
    Chin,
    /// Top of the forehead, below the hairline.
    ForeheadTop,
}

impl FacePoint {
    /// All points, in order.
    pub const ALL: [Self; 9] = [
        Self::RightEyeOuter,
        Self::RightEyeInner,
        Self::LeftEyeInner,
        Self::LeftEyeOuter,
        Self::NoseTip,
        Self::MouthRight,
        Self::MouthLeft,
        Self::Chin,
        Self::ForeheadTop,
    ];
}

impl Complexion {
    /// Score shift along the melanin axis of this person, per unit of absorbance at 570 nm.
    /// Where vitiligo takes melanin away, the axis leads to [`VERY_LIGHT`].
    #[must_use]
    pub fn melanin_axis(&self) -> SkinScores {
        if self.vitiligo > 0.0 {
            let span = self.vitiligo_depth();
            std::array::from_fn(|k| (self.scores[k] - VERY_LIGHT[k]) / span)
        } else {
            MELANIN
        }
    }

    /// Absorbance at 570 nm between this complexion and [`VERY_LIGHT`] (first component: 0.1677 per score).
    #[must_use]
    pub fn vitiligo_depth(&self) -> f32 {
        ((self.scores[0] - VERY_LIGHT[0]) * 0.1677).max(0.05)
    }

    /// Scores at a point with `melanin` and `blood` added (absorbance at 570 nm).
    #[must_use]
    pub fn at(&self, melanin: f32, blood: f32) -> SkinScores {
        let axis = self.melanin_axis();
        std::array::from_fn(|k| self.scores[k] + melanin * axis[k] + blood * BLOOD[k])
    }
}

/// Local materials of a person, in the order of a person's block of materials.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
#[repr(u16)]
pub(crate) enum Local {
    Skin,
    Hair,
    Grey,
    Brow,
    Lash,
    IrisOuter,
    IrisInner,
    Pupil,
    Sclera,
    Teeth,
    Flesh,
    Frame,
    Covering,
    Cloth,
    Second,
    Button,
}

/// Materials of one person.
pub(crate) const LOCALS: usize = 16;

impl Person {
    /// Pigment of a local material; `None` for skin.
    pub(crate) fn pigment(&self, local: usize) -> Option<Pigment> {
        let c = |a: [f32; 3]| Pigment::Colour(a);
        let scale = |a: [f32; 3], f: f32| (Vec3::from(a) * f).to_array();
        Some(match local {
            0 => return None,
            1 => c(self.hair.colour),
            2 => c([0.42, 0.41, 0.39]),
            3 => c(self.hair.brows),
            4 => c(scale(self.hair.brows, 0.35)),
            5 => c(scale(self.iris, 0.8)),
            6 => c([
                (self.iris[0] * 1.35 + 0.015).min(1.0),
                (self.iris[1] * 1.2 + 0.008).min(1.0),
                self.iris[2] * 0.9,
            ]),
            7 => Pigment::Neutral(0.006),
            8 => c([0.60, 0.545, 0.505]),
            9 => c([0.62, 0.57, 0.48]),
            10 => c([0.34, 0.13, 0.115]),
            11 => c(self.spectacles.map_or([0.02; 3], |s| s.colour)),
            12 => match self.covering {
                Some(Covering::Cap(a) | Covering::Scarf(a)) => c(a),
                None => Pigment::Neutral(0.5),
            },
            13 => self.garment.colour,
            14 => self.garment.second,
            _ => c([0.55, 0.53, 0.48]),
        })
    }
}
