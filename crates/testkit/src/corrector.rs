//! What is put to the test: something that takes the shots of a scene and gives them back corrected.

use inkarnat_color::Rgb;
use inkarnat_color::transfer::{bt709_oetf, bt709_oetf_inverse};
use inkarnat_spectra::balance_gains;

use crate::scene::Codec;
use crate::stage::Region;

/// Where a person should read.
#[derive(Debug, Clone, Copy, PartialEq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum PersonAim {
    /// The person's own.
    Own,
    /// A typed band: level in percent, hue in degrees.
    Typed {
        /// Low and high.
        level_pct: [f64; 2],
        /// Low and high, counter-clockwise.
        hue_deg: [f64; 2],
    },
}

/// One shot as a corrector sees it.
#[derive(Debug, Clone)]
pub struct ShotInput<'a> {
    /// The working signal.
    pub picture: &'a Rgb,
    /// How the shot is stored.
    pub codec: Codec,
    /// One patch a person: centre and radii as fractions of width and height.
    pub patches: &'a [[f64; 4]],
    /// What each pixel shows. Only the row *neutral balance only* may look at it.
    pub regions: &'a [Region],
}

/// A scene as a corrector sees it.
#[derive(Debug, Clone)]
pub struct SceneInput<'a> {
    /// Name, for messages.
    pub name: &'a str,
    /// Names of the people, in the order of the patches; the same in every shot.
    pub people: Vec<String>,
    /// The shots.
    pub shots: Vec<ShotInput<'a>>,
    /// Aims, shot by shot and person by person.
    pub aims: Vec<Vec<PersonAim>>,
    /// Rows that a table of lights must not use for this scene.
    pub excluded_rows: Vec<&'static str>,
}

/// What a corrector says of a shot.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Verdict {
    /// Everybody reads as wanted.
    OnAim,
    /// The aim is out of reach within the limits.
    Short,
    /// The shot could not be read.
    Unread,
    /// It does not say.
    Silent,
}

/// One shot, corrected.
#[derive(Debug, Clone)]
pub struct Corrected {
    /// The corrected working signal, as large as the input.
    pub picture: Rgb,
    /// What the corrector says of it.
    pub verdict: Verdict,
    /// Questions put to the editor.
    pub questions: Vec<String>,
    /// In a few words what was done (the reach, the limit that stopped it).
    pub note: String,
}

/// Something that corrects scenes.
pub trait Corrector: Sync {
    /// Name of its row in the table.
    fn name(&self) -> &str;

    /// Corrects every shot of a scene, in order.
    ///
    /// # Errors
    /// What went wrong, in words; the scene then counts as not corrected.
    fn correct(&self, scene: &SceneInput<'_>) -> Result<Vec<Corrected>, String>;
}

/// The pictures as they are.
#[derive(Debug, Clone, Copy, Default)]
pub struct DoNothing;

impl Corrector for DoNothing {
    fn name(&self) -> &str {
        "do nothing"
    }

    fn correct(&self, scene: &SceneInput<'_>) -> Result<Vec<Corrected>, String> {
        Ok(scene.shots.iter().map(|s| untouched(s.picture)).collect())
    }
}

fn untouched(picture: &Rgb) -> Corrected {
    Corrected {
        picture: picture.clone(),
        verdict: Verdict::Silent,
        questions: Vec::new(),
        note: String::new(),
    }
}

/// Per-channel gains in linear light that make the scene's neutral surfaces neutral, at the skin's own level.
///
/// It is told where the truly or nearly neutral surfaces are, which no tool is; where there are none it does nothing.
#[derive(Debug, Clone, Copy, Default)]
pub struct NeutralBalance;

impl Corrector for NeutralBalance {
    fn name(&self) -> &str {
        "neutral balance only"
    }

    fn correct(&self, scene: &SceneInput<'_>) -> Result<Vec<Corrected>, String> {
        Ok(scene.shots.iter().map(balanced).collect())
    }
}

fn balanced(shot: &ShotInput<'_>) -> Corrected {
    let linear = |index: usize| {
        shot.picture
            .pixel(index)
            .map(|v| bt709_oetf_inverse(f64::from(v)))
    };
    let mean = |wanted: &dyn Fn(usize) -> bool| -> Option<[f64; 3]> {
        let (mut sum, mut count) = ([0.0; 3], 0usize);
        for index in (0..shot.regions.len()).filter(|i| wanted(*i)) {
            for (s, v) in sum.iter_mut().zip(linear(index)) {
                *s += v;
            }
            count += 1;
        }
        (count > 0).then(|| sum.map(|s| s / count as f64))
    };
    let unclipped = |index: usize| shot.picture.pixel(index).iter().all(|v| *v < 0.99);
    let white = mean(&|i| matches!(shot.regions[i], Region::Neutral(_)) && unclipped(i));
    let skin = mean(&|i| matches!(shot.regions[i], Region::Skin(_)));
    let (Some(white), Some(skin)) = (white, skin) else {
        return untouched(shot.picture);
    };
    let gains = balance_gains(white);
    let luma = |v: [f64; 3]| {
        let s = v.map(bt709_oetf);
        0.2126 * s[0] + 0.7152 * s[1] + 0.0722 * s[2]
    };
    let wanted = luma(skin);
    let at = |level: f64| luma(std::array::from_fn(|c| skin[c] * gains[c] * level));
    let (mut low, mut high) = (0.05, 20.0f64);
    for _ in 0..50 {
        let middle = (low * high).sqrt();
        if at(middle) < wanted {
            low = middle
        } else {
            high = middle
        }
    }
    let mut picture = shot.picture.clone();
    for (channel, plane) in picture.planes.iter_mut().enumerate() {
        let gain = gains[channel] * low;
        for value in plane {
            *value = bt709_oetf(bt709_oetf_inverse(f64::from(*value)) * gain) as f32;
        }
    }
    Corrected {
        picture,
        verdict: Verdict::Silent,
        questions: Vec::new(),
        note: String::new(),
    }
}
