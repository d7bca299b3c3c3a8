//! A tint that several cameras of a scene share: candles, a sunset, a night that is meant to be warm.

use inkarnat_color::{Lab, WorkingSpace, delta_e_2000, lab_from_signal};
use serde::{Deserialize, Serialize};

use crate::light::{WhiteEstimate, working_from_linear709};
use crate::sample::at_level;

/// Lights that differ by less are one light, CIEDE2000 of a grey in them.
pub const AGREE: f64 = 3.0;
/// A light that stands further from neutral is a tint, CIEDE2000 of a grey in it.
pub const TINTED: f64 = 5.0;
/// Level at which greys are compared, signal units: about that of an 18 % grey.
const LEVEL: f64 = 0.41;

/// The tint of a scene as one of its problems is to keep it.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Tint {
    /// Chromaticity (ln R/G, ln B/G in linear BT.709) of a white in the light that is kept.
    pub cast: [f64; 2],
    /// Whether this problem was shot in it: then nothing is moved for its colour.
    pub agrees: bool,
}

/// A tint that cameras of one scene share.
#[derive(Clone, Debug, PartialEq)]
pub struct SharedTint {
    /// Chromaticity of a white in it: the mean over those that agree.
    pub cast: [f64; 2],
    /// Who agrees, in the order given.
    pub agree: Vec<bool>,
    /// The largest difference between two that agree, CIEDE2000.
    pub apart: f64,
    /// The least that one of them stands from neutral, CIEDE2000.
    pub from_neutral: f64,
}

/// A grey in a light.
fn grey(cast: [f64; 2], space: WorkingSpace) -> Lab {
    let linear = working_from_linear709([cast[0].exp(), 1.0, cast[1].exp()], space);
    lab_from_signal(at_level(linear, LEVEL, space), space)
}

/// The tint that the cameras of one scene share, if they do: at least half of the setups whose light is known, of two cameras
/// or more, within [`AGREE`] of each other, every one more than [`TINTED`] from neutral.
///
/// `setups`: the camera and the light of each.
#[must_use]
pub fn shared_tint(setups: &[(&str, &WhiteEstimate)], space: WorkingSpace) -> Option<SharedTint> {
    // Only what rests on something neutral: skin alone cannot tell a tint from a complexion.
    let known: Vec<(usize, &str, [f64; 2], Lab)> = setups
        .iter()
        .enumerate()
        .filter(|(_, (_, white))| !white.is_right())
        .filter_map(|(i, (camera, white))| {
            let cast = white.neutrals()?.cast;
            Some((i, *camera, cast, grey(cast, space)))
        })
        .collect();
    let told = setups
        .iter()
        .filter(|(_, white)| white.is_right() || white.neutrals().is_some())
        .count();
    let from_neutral = |lab: Lab| {
        let neutral = Lab {
            l: lab.l,
            a: 0.0,
            b: 0.0,
        };
        delta_e_2000(lab, neutral).0
    };
    let tinted: Vec<_> = known
        .iter()
        .filter(|(_, _, _, lab)| from_neutral(*lab) > TINTED)
        .collect();
    // About each in turn, those that agree with all taken so far; the largest company, the first of equals.
    let mut best: Vec<usize> = Vec::new();
    for seed in &tinted {
        let mut with: Vec<usize> = Vec::new();
        let mut order: Vec<usize> = (0..tinted.len()).collect();
        order.sort_by(|a, b| {
            let off = |i: &usize| delta_e_2000(seed.3, tinted[*i].3).0;
            off(a).total_cmp(&off(b)).then(a.cmp(b))
        });
        for i in order {
            if with
                .iter()
                .all(|j| delta_e_2000(tinted[i].3, tinted[*j].3).0 <= AGREE)
            {
                with.push(i);
            }
        }
        if with.len() > best.len() {
            best = with;
        }
    }
    best.sort_unstable();
    let mut cameras: Vec<&str> = best.iter().map(|i| tinted[*i].1).collect();
    cameras.sort_unstable();
    cameras.dedup();
    if cameras.len() < 2 || best.len() * 2 < told {
        return None;
    }
    let mut agree = vec![false; setups.len()];
    let mut cast = [0.0; 2];
    let mut apart = 0.0f64;
    for i in &best {
        agree[tinted[*i].0] = true;
        for (sum, c) in cast.iter_mut().zip(tinted[*i].2) {
            *sum += c / best.len() as f64;
        }
        for j in &best {
            apart = apart.max(delta_e_2000(tinted[*i].3, tinted[*j].3).0);
        }
    }
    Some(SharedTint {
        cast,
        agree,
        apart,
        from_neutral: best
            .iter()
            .map(|i| from_neutral(tinted[*i].3))
            .fold(f64::INFINITY, f64::min),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn light(cast: [f64; 2]) -> WhiteEstimate {
        WhiteEstimate {
            cast,
            covariance: [0.003, 0.0, 0.003],
            neutral: 1.0,
            right: 0.0,
            surfaces: vec![(cast, 0.4, 1.0)],
        }
    }

    fn of(setups: &[(&str, [f64; 2])]) -> Option<SharedTint> {
        let lights: Vec<WhiteEstimate> = setups.iter().map(|(_, cast)| light(*cast)).collect();
        let given: Vec<(&str, &WhiteEstimate)> = setups.iter().map(|s| s.0).zip(&lights).collect();
        shared_tint(&given, WorkingSpace::default())
    }

    const WARM: [f64; 2] = [0.55, -0.97];
    const ALSO_WARM: [f64; 2] = [0.51, -0.85];

    #[test]
    fn two_cameras_that_agree_share_a_tint() {
        let found = of(&[("C", WARM), ("D", ALSO_WARM)]).unwrap();
        assert_eq!(found.agree, [true, true]);
        assert!(found.apart > 0.5 && found.apart < AGREE, "{found:?}");
        assert!(found.from_neutral > 15.0, "{found:?}");
        // One that disagrees is seen, and does not change what the others share.
        let three = of(&[("C", WARM), ("B", [0.02, 0.05]), ("D", ALSO_WARM)]).unwrap();
        assert_eq!(three.agree, [true, false, true]);
        assert_eq!(three.cast, found.cast);
    }

    #[test]
    fn one_camera_a_small_cast_or_a_minority_is_no_shared_tint() {
        assert_eq!(of(&[("C", WARM), ("C", ALSO_WARM)]), None);
        assert_eq!(of(&[("C", [0.03, -0.05]), ("D", [0.04, -0.05])]), None);
        assert_eq!(of(&[("C", WARM), ("D", [-0.3, 0.4])]), None);
        let day = [0.05, -0.02];
        assert_eq!(
            of(&[
                ("C", WARM),
                ("D", ALSO_WARM),
                ("A", day),
                ("B", day),
                ("E", day)
            ]),
            None
        );
    }
}
