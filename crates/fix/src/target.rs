//! From an aim to the point that is solved to.

use inkarnat_color::hue::PUBLISHED_BAND_DEG;
use inkarnat_color::{Chroma, Hue, Percent, WorkingSpace};
use nalgebra::{Matrix2, Vector2};

use crate::aim::{Aim, AimCentre, SaturationAim, Want};
use crate::joint::PersonBelief;
use crate::light::{LightEstimate, SkinEstimate, linear709, log_ratios, working_from_linear709};
use crate::look::Look;
use crate::sample::{at_level, signal_of};
use crate::solution::SkinValue;

/// The centre of an aim for one person, as it is seen through a look: what is not typed is this person's own.
pub(crate) fn seen_centre(
    aim: &Aim,
    before: &SkinValue,
    belief: &PersonBelief,
    light: &LightEstimate,
    (space, look): (WorkingSpace, &Look),
) -> AimCentre {
    if !look.is_some() {
        return centre(aim, before, belief, light, space);
    }
    let own_at = |level: Percent| {
        let own = own_chroma(before, &belief.skin, light, level, space);
        look.centre(
            &AimCentre::new(level, own.hue(), own.magnitude(), space),
            space,
        )
    };
    let own = match aim.level.centre() {
        None => own_at(Percent(belief.level_pct)),
        Some(level) => own_at(look.level_for(Percent(level), |at| own_at(at).level)),
    };
    let level = aim.level.centre().map_or(own.level, Percent);
    let hue = aim.hue.centre_hue().or(own.hue);
    let chroma = match aim.saturation {
        SaturationAim::Ratio(Want::Value(ratio)) => ratio * level.signal(),
        SaturationAim::Ratio(Want::Band(band)) => band.middle() * level.signal(),
        SaturationAim::ChromaAb(wanted) => chroma_of_lab(level, hue, wanted, space),
        // What the look makes of this skin's colour is the look's business, on whatever hue.
        SaturationAim::Own | SaturationAim::Ratio(Want::Own) => own.chroma,
    };
    AimCentre::new(level, hue, chroma, space)
}

/// The centre of an aim for one person: what is not typed is this person's own.
fn centre(
    aim: &Aim,
    before: &SkinValue,
    belief: &PersonBelief,
    light: &LightEstimate,
    space: WorkingSpace,
) -> AimCentre {
    let level = aim
        .level
        .centre()
        .map_or(Percent(belief.level_pct), Percent);
    let own = own_chroma(before, &belief.skin, light, level, space);
    let hue = aim.hue.centre_hue().or_else(|| own.hue());
    let chroma = match aim.saturation {
        SaturationAim::Ratio(Want::Value(ratio)) => ratio * level.signal(),
        SaturationAim::Ratio(Want::Band(band)) => band.middle() * level.signal(),
        SaturationAim::ChromaAb(wanted) => chroma_of_lab(level, hue, wanted, space),
        SaturationAim::Own | SaturationAim::Ratio(Want::Own) => match aim.hue.centre_hue() {
            Some(hue) => chroma_at_hue(level, hue, &belief.skin, space),
            None => own.magnitude(),
        },
    };
    AimCentre::new(level, hue, chroma, space)
}

/// The person's own skin under D65 at a level, as Cb/Cr.
///
/// A shot that is right as it is shows it, and so does one in a tint that is kept. Where nothing neutral is to be had, the published band of hue bounds it.
fn own_chroma(
    before: &SkinValue,
    estimate: &SkinEstimate,
    light: &LightEstimate,
    level: Percent,
    space: WorkingSpace,
) -> Chroma {
    let kept = light.tint.is_some_and(|tint| tint.agrees);
    let [rg, bg] = if light.white.is_right() || kept {
        let raw = log_ratios(linear709(signal_of(before, space), space));
        [raw.x, raw.y]
    } else {
        estimate.chromaticity
    };
    let [rg, bg] = if kept {
        [rg, bg]
    } else {
        let wanted = light.wanted();
        [rg + wanted.x, bg + wanted.y]
    };
    let linear = working_from_linear709([rg.exp(), 1.0, bg.exp()], space);
    let own = space
        .coefficients
        .ycbcr_from_rgb(at_level(linear, level.signal(), space))
        .chroma();
    if light.neutral.is_some() || light.white.is_right() || light.tint.is_some() {
        return own;
    }
    let (low, high) = PUBLISHED_BAND_DEG;
    match own.hue() {
        Some(hue) if !(low..=high).contains(&hue.degrees()) => {
            let to_low = hue.from_origin(Hue::from_degrees(low)).degrees().abs();
            let to_high = hue.from_origin(Hue::from_degrees(high)).degrees().abs();
            let edge = if to_low < to_high { low } else { high }.to_radians();
            Chroma {
                cb: own.magnitude() * edge.cos(),
                cr: own.magnitude() * edge.sin(),
            }
        }
        _ => own,
    }
}

fn inverse_covariance(estimate: &SkinEstimate) -> Matrix2<f64> {
    let [rr, rb, bb] = estimate.covariance;
    // 2 % for the reading itself.
    let covariance = Matrix2::new(rr, rb, rb, bb) + Matrix2::identity() * 0.02f64.powi(2);
    covariance.try_inverse().unwrap_or_else(Matrix2::identity)
}

/// The most likely chroma of this person's skin on a typed hue.
///
/// Typing level and hue leaves saturation open, and a solver that is free in it drains the colour. What this skin has
/// under D65 is known within its covariance (from its own reading after balance, where something neutral is in the
/// picture, and from the published population of faces): along the typed hue the nearest point in that measure is taken.
fn chroma_at_hue(level: Percent, hue: Hue, estimate: &SkinEstimate, space: WorkingSpace) -> f64 {
    let mean = Vector2::new(estimate.chromaticity[0], estimate.chromaticity[1]);
    let inverse = inverse_covariance(estimate);
    let miss = |chroma: f64| {
        let at = AimCentre::new(level, Some(hue), chroma, space);
        let off = log_ratios(linear709(at.signal(space), space)) - mean;
        (off.transpose() * inverse * off)[0]
    };
    least(0.004, 0.9 * level.signal().clamp(0.05, 0.6), miss)
}

fn chroma_of_lab(level: Percent, hue: Option<Hue>, wanted: f64, space: WorkingSpace) -> f64 {
    least(0.0, 0.9 * level.signal().clamp(0.05, 0.6), |chroma| {
        (AimCentre::new(level, hue, chroma, space).lab.chroma() - wanted).powi(2)
    })
}

/// Argument of the least value on a range: the best of 64 steps, then golden section about it.
fn least(low: f64, high: f64, f: impl Fn(f64) -> f64) -> f64 {
    const STEPS: u32 = 64;
    let at = |i: f64| low + (high - low) * i / f64::from(STEPS);
    let best = (0..=STEPS)
        .map(|i| (f(at(f64::from(i))), i))
        .fold((f64::INFINITY, 0), |a, b| if b.0 < a.0 { b } else { a })
        .1;
    let (mut a, mut b) = (
        at(f64::from(best.saturating_sub(1))),
        at(f64::from((best + 1).min(STEPS))),
    );
    let golden = (5f64.sqrt() - 1.0) / 2.0;
    for _ in 0..40 {
        let (c, d) = (b - golden * (b - a), a + golden * (b - a));
        if f(c) < f(d) {
            b = d;
        } else {
            a = c;
        }
    }
    (a + b) / 2.0
}
