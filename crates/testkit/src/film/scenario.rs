//! What is shot, by which camera, in which light, and how it is cut.
//!
//! A flat has been let twice: Ines and Bram in the office that did it, Jun and Rafael in the flat, Samira who holds the
//! spare key, Marta and Naledi in the park, Ama and Henk in the evening. All of it is invented.

use inkarnat_spectra::{Illuminant, illuminant};

use crate::scene::Codec;

/// People by their place in the renderer's cast.
pub mod who {
    /// Very light, freckles.
    pub const INES: usize = 0;
    /// Very light, older, spectacles.
    pub const HENK: usize = 1;
    /// Light.
    pub const JUN: usize = 2;
    /// Light to medium, older, spectacles.
    pub const MARTA: usize = 3;
    /// Medium, scarf.
    pub const SAMIRA: usize = 4;
    /// Tan, beard.
    pub const RAFAEL: usize = 5;
    /// Brown.
    pub const AMA: usize = 6;
    /// Dark, vitiligo, spectacles.
    pub const NALEDI: usize = 7;
    /// Deep, older.
    pub const BRAM: usize = 8;
}

/// A simulated camera as its operator set it up.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct CameraSetup {
    /// Letter, first letter of its reels.
    pub letter: char,
    /// Index of the sensor: 0 ideal, 1 and 2 measured.
    pub sensor: usize,
    /// Light that it is balanced for, and a second one with its share.
    pub balance: (&'static str, Option<(&'static str, f64)>),
    /// Exposure against nominal, stops.
    pub exposure_stops: f64,
    /// How it records.
    pub codec: Codec,
    /// Standard deviation of its noise at mid grey, share of white.
    pub noise: f32,
}

/// Where and in what light.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Setting {
    /// Fluorescent ceiling, some window.
    Office,
    /// Big window, daylight.
    LivingRoom,
    /// Window on one side of the face, a tungsten lamp on the other.
    Kitchen,
    /// Sun and sky.
    Park,
    /// One sodium lamp.
    SodiumStreet,
    /// A tungsten lamp, meant warm.
    Evening,
}

/// What happens in a take beside talking and breathing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, serde::Serialize)]
#[serde(rename_all = "snake_case")]
pub enum Action {
    /// Somebody talks.
    Talk,
    /// Somebody listens.
    Listen,
    /// Somebody turns the head.
    Turn,
    /// A performer walks through the edge of a shadow; the light itself is steady.
    CrossShadow,
    /// A cloud goes over the sun.
    Cloud,
    /// Nobody.
    Empty,
}

/// One take: one camera file.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Take {
    /// Name of the file without its ending.
    pub name: &'static str,
    /// First timecode, in frames.
    pub start: u64,
    /// Frames.
    pub frames: u64,
    /// Camera.
    pub camera: CameraSetup,
    /// Place.
    pub setting: Setting,
    /// People from picture left to right.
    pub people: &'static [usize],
    /// What happens.
    pub action: Action,
    /// Height of the picture at the people, dm.
    pub height: f32,
    /// Seed of arrangement and motion.
    pub seed: u32,
}

/// One use of a take in the film.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Use {
    /// Take.
    pub take: &'static str,
    /// First frame in the take.
    pub from: u64,
    /// Frames.
    pub frames: u64,
    /// Frames of dissolve from the use before at its head; 0 = a cut.
    pub dissolve: u64,
    /// Scene number, from 1.
    pub scene: u32,
    /// What this shot is in the film for.
    pub purpose: &'static str,
    /// Title over the picture.
    pub title: Option<&'static str>,
}

const A: CameraSetup = CameraSetup {
    letter: 'A',
    sensor: 1,
    balance: ("FL11", Some(("D65", 0.25))),
    exposure_stops: 0.1,
    codec: Codec::H264,
    noise: 0.004,
};
const B: CameraSetup = CameraSetup {
    letter: 'B',
    sensor: 0,
    balance: ("D55", None),
    exposure_stops: -0.4,
    codec: Codec::ProRes,
    noise: 0.003,
};
const C: CameraSetup = CameraSetup {
    letter: 'C',
    sensor: 0,
    balance: ("D65", None),
    exposure_stops: 0.0,
    codec: Codec::ProRes,
    noise: 0.003,
};
const D: CameraSetup = CameraSetup {
    letter: 'D',
    sensor: 1,
    balance: ("A", Some(("D65", 0.70))),
    exposure_stops: 0.3,
    codec: Codec::H264Ten,
    noise: 0.005,
};

/// Camera settings of the evening scene: both cameras keep the lamp warm, and agree.
const EVENING_C: CameraSetup = CameraSetup {
    balance: ("A", Some(("D65", 0.55))),
    exposure_stops: -0.3,
    ..C
};
const EVENING_D: CameraSetup = CameraSetup {
    balance: ("A", Some(("D65", 0.55))),
    exposure_stops: -0.3,
    sensor: 0,
    ..D
};

const HOUR: u64 = 24 * 3600;

/// The takes, in the order of shooting.
#[must_use]
pub fn takes() -> Vec<Take> {
    use Action::{Cloud, CrossShadow, Empty, Listen, Talk, Turn};
    let take = |name, start, frames, camera, setting, people, action, height, seed| Take {
        name,
        start: HOUR * 10 + start,
        frames,
        camera,
        setting,
        people,
        action,
        height,
        seed,
    };
    let (close, medium) = (3.9, 4.8);
    vec![
        take(
            "A001_office_ines",
            240,
            270,
            A,
            Setting::Office,
            &[who::INES],
            Talk,
            close,
            1,
        ),
        take(
            "B001_office_bram",
            3000,
            132,
            B,
            Setting::Office,
            &[who::BRAM],
            Listen,
            close,
            2,
        ),
        take(
            "B002_office_both",
            6000,
            84,
            B,
            Setting::Office,
            &[who::INES, who::BRAM],
            Talk,
            6.0,
            3,
        ),
        take(
            "B003_office_empty",
            9000,
            64,
            B,
            Setting::Office,
            &[],
            Empty,
            medium,
            4,
        ),
        take(
            "A002_kitchen_samira",
            12_000,
            76,
            A,
            Setting::Kitchen,
            &[who::SAMIRA],
            Talk,
            medium,
            5,
        ),
        take(
            "C001_flat_jun",
            15_000,
            76,
            C,
            Setting::LivingRoom,
            &[who::JUN],
            Talk,
            close,
            6,
        ),
        take(
            "D001_flat_rafael",
            18_000,
            76,
            D,
            Setting::LivingRoom,
            &[who::RAFAEL],
            Listen,
            close,
            7,
        ),
        take(
            "D002_flat_jun",
            21_000,
            88,
            D,
            Setting::LivingRoom,
            &[who::JUN],
            Turn,
            medium,
            8,
        ),
        take(
            "C002_park_marta",
            24_000,
            90,
            C,
            Setting::Park,
            &[who::MARTA],
            CrossShadow,
            medium,
            9,
        ),
        take(
            "D003_park_naledi",
            27_000,
            100,
            D,
            Setting::Park,
            &[who::NALEDI],
            Cloud,
            close,
            10,
        ),
        take(
            "B004_street_rafael",
            30_000,
            68,
            B,
            Setting::SodiumStreet,
            &[who::RAFAEL],
            Turn,
            medium,
            11,
        ),
        take(
            "C003_evening_ama",
            33_000,
            142,
            EVENING_C,
            Setting::Evening,
            &[who::AMA],
            Talk,
            close,
            12,
        ),
        take(
            "D004_evening_henk",
            36_000,
            76,
            EVENING_D,
            Setting::Evening,
            &[who::HENK],
            Listen,
            close,
            13,
        ),
        take(
            "C004_flat_ama",
            39_000,
            88,
            C,
            Setting::LivingRoom,
            &[who::AMA],
            Turn,
            close,
            14,
        ),
    ]
}

/// The film, from its first cut to its last.
#[must_use]
pub fn cut() -> Vec<Use> {
    let u = |take, from, frames, scene, purpose| Use {
        take,
        from,
        frames,
        dissolve: 0,
        scene,
        purpose,
        title: None,
    };
    vec![
        u(
            "A001_office_ines",
            8,
            60,
            1,
            "two cameras disagree; first of four pieces of one take",
        ),
        u("B001_office_bram", 8, 54, 1, "two cameras disagree"),
        u("A001_office_ines", 78, 54, 1, "second piece"),
        u(
            "B002_office_both",
            8,
            66,
            1,
            "two people of very different complexion",
        ),
        u("A001_office_ines", 142, 54, 1, "third piece"),
        u("B001_office_bram", 72, 52, 1, "two cameras disagree"),
        u("A001_office_ines", 206, 56, 1, "fourth piece"),
        u(
            "B003_office_empty",
            8,
            48,
            1,
            "nobody, from a camera that needs correction",
        ),
        u("A002_kitchen_samira", 8, 60, 2, "two lights on a face"),
        u("C001_flat_jun", 8, 60, 3, "already right"),
        u("D001_flat_rafael", 8, 60, 3, "two cameras disagree"),
        u(
            "D002_flat_jun",
            8,
            54,
            3,
            "the same person through another camera",
        ),
        Use {
            dissolve: 16,
            ..u(
                "C002_park_marta",
                6,
                78,
                4,
                "dissolve; a performer crosses a shadow in steady light",
            )
        },
        u("D003_park_naledi", 8, 84, 4, "drifting light: a cloud"),
        u(
            "B004_street_rafael",
            8,
            52,
            5,
            "cannot be reached: sodium light has no blue",
        ),
        u(
            "C003_evening_ama",
            8,
            60,
            6,
            "night with its own intent: both cameras share the tint",
        ),
        u("D004_evening_henk", 8, 60, 6, "night with its own intent"),
        u("C003_evening_ama", 80, 54, 6, "night with its own intent"),
        Use {
            title: Some("THE SPARE KEY"),
            ..u("C004_flat_ama", 8, 72, 7, "title over a face")
        },
    ]
}

/// The take of that name.
///
/// # Panics
/// If there is none: names are written in the program.
#[must_use]
pub fn take(name: &str) -> Take {
    takes()
        .into_iter()
        .find(|t| t.name == name)
        .unwrap_or_else(|| panic!("expected the name of a take, got {name:?}"))
}

/// A light by name, or a mixture.
///
/// # Panics
/// If a name is unknown: names are written in the program.
#[must_use]
pub fn light((name, second): (&str, Option<(&str, f64)>)) -> Illuminant {
    let first =
        illuminant(name).unwrap_or_else(|| panic!("expected the name of a light, got {name:?}"));
    match second {
        None => first.clone(),
        Some((other, share)) => first.mixed(&light((other, None)), share),
    }
}

/// Lights of a setting, in the order of the renderer's lights.
#[must_use]
pub fn lights_of(setting: Setting) -> Vec<Illuminant> {
    let l = |name| light((name, None));
    match setting {
        Setting::Office => vec![l("FL11"), l("D65")],
        Setting::LivingRoom => vec![l("D65"), l("D65")],
        Setting::Kitchen => vec![l("D65"), l("A")],
        Setting::Park => vec![l("D55"), l("D75")],
        Setting::SodiumStreet => vec![l("HP1"), l("HP1")],
        Setting::Evening => vec![l("A"), l("LED-B2")],
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_cut_fits_its_takes() {
        let cut = cut();
        assert!((14..=24).contains(&cut.len()), "{} shots", cut.len());
        for (n, u) in cut.iter().enumerate() {
            let take = take(u.take);
            // The dissolve after a shot runs on into its take.
            let tail = cut.get(n + 1).map_or(0, |next| next.dissolve);
            assert!(u.from + u.frames + tail <= take.frames, "{}", u.take);
            assert!((48..=96).contains(&u.frames), "{}: 2–4 s", u.take);
        }
        let pieces = cut.iter().filter(|u| u.take == "A001_office_ines").count();
        assert_eq!(pieces, 4);
    }

    #[test]
    fn every_take_is_used_and_lit() {
        for t in takes() {
            assert!(cut().iter().any(|u| u.take == t.name), "{}", t.name);
            assert_eq!(lights_of(t.setting).len(), 2);
            assert!(t.name.starts_with(t.camera.letter));
            let _ = light(t.camera.balance);
        }
    }
}
