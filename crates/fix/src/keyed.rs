//! The reach `skin`: the picture by its neutrals and its level, then a soft key on skin for what is left.
//!
//! A key is laid around the skin of a person as the balance leaves it. People whose keys take in each other's skin share
//! one key and one correction; the others get one each.

use inkarnat_ops::{Cdl, Key, KeyedCdl, Window};
use nalgebra::{Matrix3, Vector3};

use crate::model::{Move, Parameters};
use crate::objective::{Objective, State, Target};
use crate::sample::{Measures, Ready, quantile};

/// Degrees of hue by which a key's flat top goes beyond the skin that was read, for the rest of the face.
const HUE_MARGIN: f64 = 8.0;
/// Width of a key's flanks of hue, degrees. Narrower ones bake badly and draw edges through 4:2:0.
const HUE_FLANK: f64 = 18.0;
/// The same as a way on the plane of Cb and Cr: near neutral a degree is short, and a table of 65 nodes has one every 0.019.
const LEAST_FLANK: f64 = 0.025;
/// The widest that it makes them, degrees.
const MOST_FLANK: f64 = 40.0;
/// The flat top of saturation, as shares of the skin's 5th and 95th percentile.
const SATURATION_TOP: (f64, f64) = (0.75, 1.35);
/// Where its lower flank ends, as a share of the skin's 5th percentile: above neutrals and cream.
const SATURATION_FOOT: f64 = 0.35;
/// The flat top of level begins at this share of the skin's median: the shaded side of the face belongs to it.
const LEVEL_TOP: f64 = 0.5;
/// A key takes in somebody whose mean weight under it is above this.
const TAKES_IN: f64 = 0.15;
/// Most of what is not skin that a key may take in by more than half, share of those pixels.
pub(crate) const MOST_TAKEN: f64 = 0.4;
/// Step of the search, ln of a slope.
const STEP: f64 = 1e-4;
/// Price of a unit of ln slope.
const PRICE: f64 = 0.05;

/// People under one key.
#[derive(Clone, Debug)]
struct Keyed {
    key: Key,
    who: Vec<usize>,
}

/// A fix in this reach, before it is scaled.
#[derive(Clone, Debug)]
pub(crate) struct SkinMove {
    base: Parameters,
    keys: Vec<(Key, Vector3<f64>)>,
}

impl SkinMove {
    /// This share of it.
    pub(crate) fn build(&self, objective: &Objective<'_>, share: f64) -> Move {
        let mut made = objective.family.build(&self.base.map(|v| v * share));
        made.keyed = self
            .keys
            .iter()
            .filter(|(_, slopes)| slopes.norm() * share > 0.0)
            .map(|(key, slopes)| KeyedCdl {
                key: *key,
                cdl: cdl(slopes * share),
            })
            .collect();
        made
    }

    pub(crate) fn is_identity(&self) -> bool {
        self.base == [0.0; 5] && self.keys.iter().all(|(_, s)| s.norm() == 0.0)
    }
}

fn cdl(ln_slopes: Vector3<f64>) -> Cdl {
    Cdl {
        slope: std::array::from_fn(|c| ln_slopes[c].exp()),
        ..Cdl::NEUTRAL
    }
}

/// A key around the skin of some people after a move.
fn key_around(ready: &Ready, who: &[usize], base: &Move) -> Key {
    let coefficients = ready.space.coefficients;
    let mut points: Vec<(f64, f64, f64)> = Vec::new();
    let (mut cos, mut sin) = (0.0, 0.0);
    for i in who {
        for p in &ready.people[*i].pixels {
            let v = coefficients.ycbcr_from_rgb(base.apply_logged(p));
            let chroma = v.cb.hypot(v.cr);
            cos += v.cb;
            sin += v.cr;
            points.push((v.cr.atan2(v.cb).to_degrees(), chroma, v.y));
        }
    }
    let centre = f64::atan2(sin, cos).to_degrees().rem_euclid(360.0);
    let sorted = |f: &dyn Fn(&(f64, f64, f64)) -> f64| {
        let mut values: Vec<f64> = points.iter().map(f).collect();
        values.sort_unstable_by(f64::total_cmp);
        values
    };
    let turns = sorted(&|p| (p.0 - centre + 180.0).rem_euclid(360.0) - 180.0);
    let (from, to) = (quantile(&turns, 0.05), quantile(&turns, 0.95));
    let chromas = sorted(&|p| p.1);
    let (low, high) = (
        quantile(&chromas, 0.05) * SATURATION_TOP.0,
        quantile(&chromas, 0.95) * SATURATION_TOP.1,
    );
    let foot = quantile(&chromas, 0.05) * SATURATION_FOOT;
    let levels = sorted(&|p| p.2);
    let bottom = quantile(&levels, 0.5) * LEVEL_TOP;
    let top = quantile(&levels, 0.99) + 0.25;
    let window = |low: f64, high: f64, flank: f64| Window {
        centre: (low + high) / 2.0,
        width: high - low,
        softness: flank,
    };
    let reach = ((to - from) / 2.0 + HUE_MARGIN).min(60.0);
    Key {
        coefficients,
        hue: Window {
            centre: (centre + (from + to) / 2.0).rem_euclid(360.0),
            width: 2.0 * reach,
            softness: (LEAST_FLANK / low)
                .to_degrees()
                .clamp(HUE_FLANK, MOST_FLANK),
        },
        saturation: window(low, high.max(low + 0.01), (low - foot).max(1e-3)),
        level: window(bottom, top, (bottom * 0.8).max(0.02)),
    }
}

/// Everybody in groups that keys can tell apart.
fn grouped(ready: &Ready, who: &[usize], base: &Move) -> Vec<Keyed> {
    let mut groups: Vec<Keyed> = who
        .iter()
        .map(|i| Keyed {
            key: key_around(ready, &[*i], base),
            who: vec![*i],
        })
        .collect();
    let weight = |key: &Key, i: usize| {
        let pixels = &ready.people[i].few;
        pixels
            .iter()
            .map(|p| key.weight(base.apply_logged(p)))
            .sum::<f64>()
            / pixels.len() as f64
    };
    let takes = |a: &Keyed, b: &Keyed| b.who.iter().any(|i| weight(&a.key, *i) > TAKES_IN);
    'again: loop {
        for a in 0..groups.len() {
            for b in 0..a {
                if takes(&groups[a], &groups[b]) || takes(&groups[b], &groups[a]) {
                    let taken = groups.remove(a);
                    groups[b].who.extend(taken.who);
                    groups[b].key = key_around(ready, &groups[b].who, base);
                    continue 'again;
                }
            }
        }
        return groups;
    }
}

/// A pixel, and the weight of a key there.
type Weighed = ([f64; 3], f64);

/// The skin of the people under one key as a base leaves it, each pixel with the weight of the key there.
struct Under<'a> {
    ready: &'a Ready,
    targets: &'a [Target],
    skin: Vec<(usize, Vec<Weighed>)>,
}

impl<'a> Under<'a> {
    fn new(ready: &'a Ready, targets: &'a [Target], group: &Keyed, base: &Move) -> Self {
        let weighed = |i: &usize| {
            let pixels = ready.people[*i].few.iter().map(|p| {
                let v = base.apply_logged(p);
                (v, group.key.weight(v))
            });
            (*i, pixels.collect())
        };
        Self {
            ready,
            targets,
            skin: group.who.iter().map(weighed).collect(),
        }
    }

    fn residuals(&self, ln_slopes: &Vector3<f64>) -> Vec<f64> {
        let slopes = ln_slopes.map(f64::exp);
        let mut all: Vec<f64> = ln_slopes.iter().map(|s| PRICE * s).collect();
        for (i, pixels) in &self.skin {
            let after: Vec<[f64; 3]> = pixels
                .iter()
                .map(|(v, weight)| {
                    std::array::from_fn(|c| v[c] + weight * (v[c] * slopes[c] - v[c]))
                })
                .collect();
            let seen = self.ready.seen_after(*i, &after);
            all.extend(self.targets[*i].distance(&seen).components);
        }
        all
    }
}

/// Ln slopes that bring the people under one key to their centres: Levenberg–Marquardt, a fixed number of rounds.
fn solved(ready: &Ready, targets: &[Target], group: &Keyed, base: &Move) -> Vector3<f64> {
    let under = Under::new(ready, targets, group, base);
    let residuals = |s: &Vector3<f64>| under.residuals(s);
    let cost = |r: &[f64]| r.iter().map(|v| v * v).sum::<f64>();
    let mut at = Vector3::zeros();
    let mut here = residuals(&at);
    let mut damping = 1e-3;
    for _ in 0..12 {
        let columns: [Vec<f64>; 3] = std::array::from_fn(|c| {
            let mut moved = at;
            moved[c] += STEP;
            residuals(&moved)
                .iter()
                .zip(&here)
                .map(|(there, here)| (there - here) / STEP)
                .collect()
        });
        let dot = |a: &[f64], b: &[f64]| a.iter().zip(b).map(|(a, b)| a * b).sum::<f64>();
        let mut normal = Matrix3::from_fn(|i, j| dot(&columns[i], &columns[j]));
        let gradient = Vector3::from_fn(|i, _| dot(&columns[i], &here));
        for i in 0..3 {
            normal[(i, i)] *= 1.0 + damping;
        }
        let Some(step) = normal.lu().solve(&gradient) else {
            break;
        };
        let next = (at - step).map(|v| v.clamp(-1.2, 1.2));
        let there = residuals(&next);
        if cost(&there) < cost(&here) {
            let gain = cost(&here) - cost(&there);
            (at, here) = (next, there);
            damping = (damping / 5.0).max(1e-9);
            if gain < 1e-7 {
                break;
            }
        } else {
            damping *= 10.0;
        }
    }
    at
}

/// What is asked of the keys, on a base that is given.
pub(crate) fn skin_move(objective: &Objective<'_>, base: Parameters) -> SkinMove {
    let ready = objective.ready;
    let made = objective.family.build(&base);
    let keys = grouped(ready, &objective.who, &made)
        .iter()
        .map(|group| (group.key, solved(ready, objective.targets, group, &made)))
        .collect();
    SkinMove { base, keys }
}

/// A key around the skin of one person as a move leaves it, and gains under it for what is left to that person's aim.
pub(crate) fn key_on(ready: &Ready, targets: &[Target], person: usize, base: &Move) -> KeyedCdl {
    let group = Keyed {
        key: key_around(ready, &[person], base),
        who: vec![person],
    };
    let slopes = solved(ready, targets, &group, base);
    KeyedCdl {
        key: group.key,
        cdl: cdl(slopes),
    }
}

/// The state after a share of it, on all pixels.
pub(crate) fn state_of(
    objective: &Objective<'_>,
    moved: &SkinMove,
    share: f64,
) -> (State, Measures) {
    objective.state_of(moved.build(objective, share))
}
