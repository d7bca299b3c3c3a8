//! Which reach, and why.

use crate::light::LightEstimate;
use crate::solution::{Fix, Reach, State};

/// Neutrals that stand this far from neutral show a cast (CIEDE2000).
const CAST: f64 = 3.0;

/// Chooses by rule:
/// 1. nothing to do: `picture`, untouched;
/// 2. the reach that brings everybody on aim before one that does not;
/// 3. among those alike in that, the one with the lowest price ([`price`]). A key on skin is the least simple and has to
///    be better by more than half a CIEDE2000; `mids` by more than a tenth.
pub(crate) fn choose(
    picture: &Fix,
    mids: &Fix,
    skin: Option<&Fix>,
    light: &LightEstimate,
) -> (Reach, String) {
    let all: Vec<&Fix> = [Some(picture), Some(mids), skin]
        .into_iter()
        .flatten()
        .collect();
    if all.iter().all(|fix| fix.is_identity()) {
        let why = if picture.state == State::OnAim {
            match light.tint {
                Some(tint) if tint.agrees => {
                    "cameras of this scene share its tint, which is kept: nothing is moved"
                }
                _ => "the skin is on aim: nothing is moved",
            }
            .to_owned()
        } else {
            "no move within the limits gets nearer to the aim: nothing is moved".to_owned()
        };
        return (Reach::Picture, why);
    }
    let handicap = |fix: &Fix| match fix.reach {
        Reach::Picture => 0.0,
        Reach::Mids => 0.1,
        Reach::Skin => 0.5,
    };
    // Off aim costs what is beyond the width; how far a short fix goes is in its price.
    let total = |fix: &Fix| price(fix) + handicap(fix) + short(fix);
    let best = all
        .iter()
        .copied()
        .fold(picture, |a, b| if total(b) < total(a) { b } else { a });
    let mut why = reason(best, picture, mids, skin, light);
    if light.tint.is_some_and(|tint| !tint.agrees) {
        why = format!("brought to the tint that the cameras of this scene share: {why}");
    }
    (best.reach, why)
}

/// What it costs that somebody stays off aim.
fn short(fix: &Fix) -> f64 {
    match &fix.state {
        State::OnAim => 0.0,
        State::Short { way, .. } => 2.0 + 2.0 * (1.0 - way),
    }
}

fn reason(
    best: &Fix,
    picture: &Fix,
    mids: &Fix,
    skin: Option<&Fix>,
    light: &LightEstimate,
) -> String {
    let neutrals = |fix: &Fix| match (fix.cost.neutral_de00_before, fix.cost.neutral_de00) {
        (Some(before), Some(after)) => format!("neutrals {before:.1} → {after:.1} CIEDE2000"),
        _ => "nothing neutral was found".to_owned(),
    };
    let off = |fix: &Fix| fix.people.iter().map(|p| p.de00).fold(0.0, f64::max);
    let others: Vec<&Fix> = [Some(picture), Some(mids), skin]
        .into_iter()
        .flatten()
        .filter(|fix| fix.reach != best.reach)
        .collect();
    if best.state == State::OnAim
        && let Some(State::Short { limit, .. }) = others
            .iter()
            .find(|fix| fix.reach != Reach::Skin && fix.state != State::OnAim)
            .map(|fix| &fix.state)
    {
        let (does, other) = match best.reach {
            Reach::Picture => ("balancing the picture", "the mid-tones alone are"),
            Reach::Mids => ("moving the mid-tones", "the balance of the picture is"),
            Reach::Skin => ("a key on the skin", "the whole picture is"),
        };
        return format!("{does} brings the skin to its aim, {other} stopped by {limit}");
    }
    if let State::Short { limit, .. } = &best.state {
        let before = best.people.iter().map(|p| p.de00_before);
        let does = match best.reach {
            Reach::Picture => "balancing the picture",
            Reach::Mids => "moving the mid-tones",
            Reach::Skin => "a key on the skin",
        };
        return format!(
            "{}; nothing brings the skin all the way: {does} goes furthest for what it costs (skin {:.1} → {:.1} CIEDE2000 off), stopped by {limit}",
            leaning(picture),
            before.fold(0.0, f64::max),
            off(best)
        );
    }
    match best.reach {
        Reach::Skin => format!(
            "the light leaves skin and surroundings apart ({}; balancing all alike leaves skin {:.1} off, a key on skin {:.1}): balance the picture and correct the skin by a key",
            neutrals(best),
            off(picture),
            off(best)
        ),
        Reach::Mids if mids.cost.outside_de00_median < picture.cost.outside_de00_median => format!(
            "{}; moving the mid-tones changes the rest less (median {:.1} against {:.1} CIEDE2000)",
            leaning(picture),
            mids.cost.outside_de00_median,
            picture.cost.outside_de00_median
        ),
        Reach::Mids => format!(
            "{}; moving the mid-tones leaves less behind (skin {:.1} off, {}; balancing the picture: skin {:.1} off, {})",
            leaning(picture),
            off(mids),
            neutrals(mids),
            off(picture),
            neutrals(picture)
        ),
        Reach::Picture
            if light.neutral.is_some()
                && picture.cost.neutral_de00_before.is_some_and(|d| d >= CAST) =>
        {
            format!(
                "neutral surfaces and skin lean the same way ({}): balance the picture",
                neutrals(picture)
            )
        }
        Reach::Picture => format!(
            "{}; balancing the picture is the simplest move that brings the skin there",
            leaning(picture)
        ),
    }
}

fn leaning(picture: &Fix) -> &'static str {
    match picture.cost.neutral_de00_before {
        None => "nothing neutral was found to judge the light by",
        Some(before) if before < CAST => "neutral surfaces show no cast",
        Some(_) => "neutral surfaces and skin do not lean the same way",
    }
}

/// Whether a fix that does not get there is better than none by all that it costs.
pub(crate) fn worth_it(fix: &Fix) -> bool {
    let skin = fix.people.iter().map(|p| p.de00_before).fold(0.0, f64::max);
    price(fix) < skin + 0.7 * fix.cost.neutral_de00_before.unwrap_or(0.0)
}

/// What a fix costs in one number, CIEDE2000-like: what skin and neutrals are still off, the move of the rest, clipping,
/// contrast, noise, and what a key takes in that is not skin.
fn price(fix: &Fix) -> f64 {
    let c = &fix.cost;
    let skin = fix.people.iter().map(|p| p.de00).fold(0.0, f64::max);
    let neutral = c.neutral_de00.unwrap_or(0.0);
    skin + 0.7 * neutral
        + 0.1 * c.outside_de00_median
        + 0.05 * c.outside_de00_p95
        + c.clip_growth_pct
        + 4.0 * (c.contrast - 1.0).abs()
        + 3.0 * (c.noise_gain - 1.0).max(0.0)
        + 0.03 * c.keyed_pct
}
