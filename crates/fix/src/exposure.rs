//! Whether a scene is dark or bright as a whole: what the things in its pictures say about exposure.
//!
//! A level has no witness under the aim `own`: an underexposed film would stay so. What is in the picture says something: a
//! neutral surface is no brighter than a perfect white, faces reflect what published faces do, and a picture has light parts.
//! Each is weak, so they are put together as probabilities over exposure, and what comes out is a *proposal* with its
//! uncertainty, never applied unasked.

use std::f64::consts::TAU;

use inkarnat_color::Percent;
use inkarnat_color::transfer::{bt709_oetf, bt709_oetf_inverse};
use serde::{Deserialize, Serialize};

use crate::evidence::Evidence;
use crate::joint::Belief;
use crate::light::linear709;
use crate::light::surfaces::RADIUS;
use crate::problem::Problem;
use crate::sample::{quantile, signal_of};

/// Luminance of facial skin under D65, a perfect white 1: from the 5th percentile of the darkest ITA° class to the median of the
/// lightest in the table of published facial spectra (International Skin Spectra Archive, Lu, Xiao et al., Scientific Data
/// 2025). Between them a face says nothing: no complexion is more likely than another, and a deep one never asks for light.
const FACES: (f64, f64) = (0.0614, 0.3795);
/// Standard deviation beyond, in stops: of faces within a class, and of the light on a lit cheek.
const FACE_SPREAD: f64 = 0.4;
/// Mean and deviation of the brightest neutral surface in stops from a perfect white, where it is a white thing…
const WHITE: (f64, f64) = (-0.7, 0.35);
/// …as it is with this probability; else it is any neutral thing of this range.
const WHITE_THING: f64 = 0.35;
const NEUTRAL_THING: (f64, f64) = (-6.0, 0.2);
/// Where the brightest fiftieth of a picture begins, in stops from a perfect white.
const BRIGHT: (f64, f64) = (-1.3, 0.8);
/// Standard deviation of exposures before anything is seen, in stops.
const BEFORE: f64 = 1.0;
/// Whatever is seen may mean nothing: night, a black room.
const ODD: f64 = 1e-4;
const ODD_BRIGHT: f64 = 0.02;
/// From this signal up in one channel a pixel is a lamp, a window or a highlight as likely as a thing: it tells nothing. A neutral
/// surface that bright counts as one of [`LIGHT`] stops.
const LAMP: f64 = 0.9;
const LIGHT: f64 = -0.34;
/// A surface of a smaller share of the picture is no surface.
const LEAST_SHARE: f64 = 0.01;
/// A neutral surface with at least this probability is taken for one.
const NEUTRAL: f64 = 0.5;

/// Nothing is proposed below this, in stops: nobody asks for a fifth of a stop.
pub const LEAST_STOPS: f64 = 0.5;
/// Nor what is less than so many standard uncertainties from nothing.
pub const LEAST_SURE: f64 = 1.5;

// The numbers without a source were set on the generated scenes that are set apart for tuning: `cargo run -p inkarnat-testkit
// --example exposure` says how well they do there and on the held-out ones.

/// What is seen of exposure in one problem, in stops from a perfect white (linear light).
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Seen {
    /// Each person's skin, in the order of the problem.
    pub skin: Vec<f64>,
    /// Each person's level as shot, percent.
    pub levels_pct: Vec<f64>,
    /// The brightest neutral surface: its 90th percentile; `None`: no surface is neutral.
    pub white: Option<f64>,
    /// Where the brightest fiftieth of everything but skin, lamps and windows begins.
    pub bright: Option<f64>,
}

/// How a scene is exposed.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Exposure {
    /// What would bring it to nominal, in stops; + = brighter.
    pub stops: f64,
    /// Standard uncertainty of that (k = 1).
    pub stops_u: f64,
    /// Level of the brightest neutral surface, percent.
    pub white_pct: Option<f64>,
    /// Level at which the brightest fiftieth begins, percent.
    pub bright_pct: Option<f64>,
    /// Level of each person's skin, percent, by name.
    pub skin_pct: Vec<(String, f64)>,
}

impl Exposure {
    /// Whether it is worth a proposal: large enough, and far enough from nothing.
    #[must_use]
    pub fn is_worth_proposing(&self) -> bool {
        self.stops.abs() >= LEAST_STOPS && self.stops.abs() >= LEAST_SURE * self.stops_u
    }
}

fn stops_of(light: f64) -> f64 {
    light.max(1e-5).log2()
}

fn level_pct(stops: f64) -> f64 {
    100.0 * bt709_oetf(stops.exp2())
}

impl Seen {
    pub(crate) fn new(problem: &Problem, evidence: &Evidence, near_neutral: &[f64]) -> Self {
        let space = problem.space;
        let light = |p: [f64; 3]| {
            let [r, g, b] = linear709(p, space);
            0.2126 * r + 0.7152 * g + 0.0722 * b
        };
        let high = |pixels: &[[f64; 3]], share: f64| {
            let mut lights: Vec<f64> = pixels.iter().map(|p| light(*p)).collect();
            lights.sort_unstable_by(f64::total_cmp);
            (!lights.is_empty()).then(|| stops_of(quantile(&lights, share)))
        };
        let neutral: Vec<usize> = (0..near_neutral.len())
            .filter(|i| near_neutral[*i] >= NEUTRAL)
            .collect();
        let least = LEAST_SHARE * evidence.outside.len() as f64;
        let white = evidence
            .members(&neutral, RADIUS, space)
            .iter()
            .filter(|members| members.len() as f64 >= least)
            .filter_map(|members| high(members, 0.9))
            .reduce(f64::max)
            .map(|white| white.min(LIGHT));
        let things: Vec<[f64; 3]> = evidence
            .outside
            .iter()
            .copied()
            .filter(|p| p.iter().all(|v| *v < LAMP))
            .collect();
        Self {
            skin: evidence
                .values
                .iter()
                .map(|value| stops_of(light(signal_of(value, space))))
                .collect(),
            levels_pct: evidence.values.iter().map(|value| value.level.0).collect(),
            white,
            bright: high(&things, 0.98),
        }
    }
}

fn bell(x: f64, spread: f64) -> f64 {
    (-0.5 * (x / spread).powi(2)).exp()
}

/// How the problems of one scene are exposed that are brought to one level together; `None` where nothing is to be said:
/// nobody is in it, or cameras agree on a tint there that is kept, and so on a light that is meant.
#[must_use]
pub fn exposure(together: &[(&Problem, &Belief)]) -> Option<Exposure> {
    if together
        .iter()
        .any(|(_, belief)| belief.tint.is_some_and(|tint| tint.agrees))
    {
        return None;
    }
    let mut skin: Vec<(&str, Vec<f64>)> = Vec::new();
    let mut whites = Vec::new();
    let mut brights = Vec::new();
    for (problem, belief) in together {
        let seen = &belief.seen;
        // To the level that the scene's shots share.
        let moves: Vec<f64> = belief
            .people
            .iter()
            .zip(&seen.levels_pct)
            .map(|(person, as_shot)| {
                let light = |pct: f64| stops_of(bt709_oetf_inverse(Percent(pct).signal()));
                light(person.level_pct) - light(*as_shot)
            })
            .collect();
        let by = moves.iter().sum::<f64>() / moves.len().max(1) as f64;
        for ((person, stops), by) in problem.people.iter().zip(&seen.skin).zip(&moves) {
            let at = stops + by;
            match skin.iter_mut().find(|(name, _)| *name == person.name) {
                Some((_, all)) => all.push(at),
                None => skin.push((&person.name, vec![at])),
            }
        }
        whites.extend(seen.white.map(|white| white + by));
        brights.extend(seen.bright.map(|bright| bright + by));
    }
    if skin.is_empty() {
        return None;
    }
    let skin: Vec<(&str, f64)> = skin
        .into_iter()
        .map(|(name, all)| (name, all.iter().sum::<f64>() / all.len() as f64))
        .collect();
    let white = whites.into_iter().reduce(f64::max);
    brights.sort_unstable_by(f64::total_cmp);
    let bright = (!brights.is_empty()).then(|| quantile(&brights, 0.5));

    let grid: Vec<f64> = (0..=160).map(|i| -5.0 + 0.05 * f64::from(i)).collect();
    let logs: Vec<f64> = grid
        .iter()
        .map(|exposed| {
            let mut log = -0.5 * (exposed / BEFORE).powi(2);
            // They stand in one light and share its error.
            for (_, stops) in &skin {
                let at = stops - exposed;
                let beyond = at - at.clamp(FACES.0.log2(), FACES.1.log2());
                log += (bell(beyond, FACE_SPREAD) + ODD).ln() / (skin.len() as f64).sqrt();
            }
            if let Some(white) = white {
                let at = white - exposed;
                // Both as densities a stop.
                let white = bell(at - WHITE.0, WHITE.1) / (WHITE.1 * TAU.sqrt());
                let (low, high) = NEUTRAL_THING;
                let other = if (low..high).contains(&at) {
                    (high - low).recip()
                } else {
                    0.0
                };
                log += (WHITE_THING * white + (1.0 - WHITE_THING) * other + ODD).ln();
            }
            if let Some(bright) = bright {
                log += (bell(bright - exposed - BRIGHT.0, BRIGHT.1) + ODD_BRIGHT).ln();
            }
            log
        })
        .collect();
    let most = logs.iter().copied().fold(f64::NEG_INFINITY, f64::max);
    let weights: Vec<f64> = logs.iter().map(|log| (log - most).exp()).collect();
    let sum: f64 = weights.iter().sum();
    let mean = grid.iter().zip(&weights).map(|(e, w)| e * w).sum::<f64>() / sum;
    let square = grid
        .iter()
        .zip(&weights)
        .map(|(e, w)| (e - mean).powi(2) * w)
        .sum::<f64>()
        / sum;
    Some(Exposure {
        stops: -mean,
        stops_u: square.sqrt(),
        white_pct: white.map(level_pct),
        bright_pct: bright.map(level_pct),
        skin_pct: skin
            .into_iter()
            .map(|(name, stops)| (name.to_owned(), level_pct(stops)))
            .collect(),
    })
}

impl Belief {
    /// Takes a change of exposure for given, in stops, + = brighter: everybody's own level moves by as much light.
    pub fn expose(&mut self, stops: f64) {
        for person in &mut self.people {
            let light = bt709_oetf_inverse(Percent(person.level_pct).signal());
            person.level_pct = 100.0 * bt709_oetf(light * stops.exp2());
        }
        self.exposure_stops = stops;
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::joint::PersonBelief;
    use crate::light::{SkinEstimate, WhiteEstimate};
    use crate::problem::PersonProblem;

    /// Skin and white in percent of signal.
    fn scene(people: &[(&str, f64)], white: Option<f64>, bright: f64) -> (Problem, Belief) {
        let stops = |pct: f64| stops_of(bt709_oetf_inverse(pct / 100.0));
        let problem = Problem {
            people: people
                .iter()
                .map(|(name, _)| PersonProblem {
                    name: (*name).to_owned(),
                    ..PersonProblem::default()
                })
                .collect(),
            ..Problem::default()
        };
        let skin = SkinEstimate {
            chromaticity: [0.5, -0.3],
            covariance: [0.01, 0.0, 0.01],
        };
        let belief = Belief {
            people: people
                .iter()
                .map(|(_, level_pct)| PersonBelief {
                    skin,
                    level_pct: *level_pct,
                    level_support: 0,
                    colour_support: 0,
                })
                .collect(),
            white: WhiteEstimate {
                cast: [0.0; 2],
                covariance: [0.01, 0.0, 0.01],
                neutral: 1.0,
                right: 0.0,
                surfaces: Vec::new(),
            },
            tint: None,
            seen: Seen {
                skin: people.iter().map(|(_, pct)| stops(*pct)).collect(),
                levels_pct: people.iter().map(|(_, pct)| *pct).collect(),
                white: white.map(stops),
                bright: Some(stops(bright)),
            },
            exposure_stops: 0.0,
        };
        (problem, belief)
    }

    fn of(parts: &[(Problem, Belief)]) -> Exposure {
        let parts: Vec<_> = parts.iter().map(|(p, b)| (p, b)).collect();
        exposure(&parts).unwrap()
    }

    #[test]
    fn published_faces_are_nominal_and_two_stops_less_are_not() {
        // Percent of signal of the published medians, with a white shirt at 80 % beside them.
        for level in [60.8, 52.8, 40.4] {
            let found = of(&[scene(&[("Ana", level)], Some(80.0), 75.0)]);
            assert!(!found.is_worth_proposing(), "{found:?}");
            let less =
                |pct: f64, by: f64| 100.0 * bt709_oetf(bt709_oetf_inverse(pct / 100.0) * by.exp2());
            let dark = of(&[scene(
                &[("Ana", less(level, -2.0))],
                Some(less(80.0, -2.0)),
                less(75.0, -2.0),
            )]);
            assert!(dark.is_worth_proposing(), "{dark:?}");
            assert!((dark.stops - 2.0).abs() < 0.8, "{dark:?}");
            let bright = of(&[scene(
                &[("Ana", less(level, 1.0))],
                Some(less(80.0, 1.0)),
                less(75.0, 1.0),
            )]);
            assert!(bright.stops < -0.4, "{bright:?}");
        }
    }

    #[test]
    fn a_deep_complexion_in_a_light_picture_is_no_underexposure() {
        let found = of(&[scene(&[("Kofi", 27.4)], Some(82.0), 80.0)]);
        assert!(!found.is_worth_proposing(), "{found:?}");
        assert!(found.stops.abs() < 0.3, "{found:?}");
    }

    #[test]
    fn a_face_within_what_faces_reflect_asks_for_nothing() {
        // The medians of all published classes, in pictures of one brightness: all get the same answer.
        let all: Vec<f64> = [60.8, 57.0, 52.8, 47.9, 40.5, 27.4]
            .iter()
            .map(|level| of(&[scene(&[("Ana", *level)], None, 60.0)]).stops)
            .collect();
        assert!(all.iter().all(|stops| stops.abs() < 0.2), "{all:?}");
    }

    #[test]
    fn a_kept_tint_is_meant() {
        let (problem, mut belief) = scene(&[("Ana", 12.0)], Some(30.0), 20.0);
        assert!(
            exposure(&[(&problem, &belief)])
                .unwrap()
                .is_worth_proposing()
        );
        belief.tint = Some(crate::Tint {
            cast: [0.5, -0.9],
            agrees: true,
        });
        assert_eq!(exposure(&[(&problem, &belief)]), None);
    }

    #[test]
    fn exposing_moves_light_not_signal() {
        let (_, mut belief) = scene(&[("Ana", 41.0)], None, 80.0);
        belief.expose(1.0);
        let after = bt709_oetf_inverse(belief.people[0].level_pct / 100.0);
        let before = bt709_oetf_inverse(0.41);
        assert!((after / before - 2.0).abs() < 1e-9);
    }
}
