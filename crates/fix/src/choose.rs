//! Which reach, and why.

use crate::light::LightEstimate;
use crate::solution::{Fix, Reach, State};

/// Neutrals that stand this far from neutral show a cast (CIEDE2000).
const CAST: f64 = 3.0;

/// Chooses by rule:
/// 1. nothing to do: `picture`, untouched;
/// 2. the reach that brings everybody on aim, if only one does;
/// 3. where neutral surfaces show a cast and `picture` leaves less of it than `mids`: `picture`;
/// 4. else the reach with the lower price ([`price`]).
pub(crate) fn choose(picture: &Fix, mids: &Fix, light: &LightEstimate) -> (Reach, String) {
    if picture.is_identity() && mids.is_identity() {
        let why = if picture.state == State::OnAim {
            "the skin is on aim: nothing is moved".to_owned()
        } else {
            "no move within the limits gets nearer to the aim: nothing is moved".to_owned()
        };
        return (Reach::Picture, why);
    }
    let names = |r: Reach| match r {
        Reach::Mids => "the mid-tones",
        _ => "the balance of the picture",
    };
    match (&picture.state, &mids.state) {
        (State::OnAim, State::Short { limit, .. }) => {
            return (
                Reach::Picture,
                format!(
                    "{} brings the skin to its aim, the mid-tones alone are stopped by {limit}: balance the picture",
                    names(Reach::Picture)
                ),
            );
        }
        (State::Short { limit, .. }, State::OnAim) => {
            return (
                Reach::Mids,
                format!(
                    "moving the mid-tones brings the skin to its aim, {} is stopped by {limit}: move the mid-tones",
                    names(Reach::Picture)
                ),
            );
        }
        (State::Short { way: p, .. }, State::Short { way: m, .. }) if (p - m).abs() > 0.15 => {
            let (reach, more, less) = if p > m {
                (Reach::Picture, p, m)
            } else {
                (Reach::Mids, m, p)
            };
            return (
                reach,
                format!(
                    "neither reach gets to the aim; {} goes {:.0} % of the way, the other {:.0} %",
                    names(reach),
                    100.0 * more,
                    100.0 * less
                ),
            );
        }
        _ => {}
    }
    if let (Some(before), Some(after), Some(other), Some(_)) = (
        picture.cost.neutral_de00_before,
        picture.cost.neutral_de00,
        mids.cost.neutral_de00,
        light.neutral,
    ) && before >= CAST
        && after <= other.min(before)
    {
        return (
            Reach::Picture,
            format!(
                "neutral surfaces and skin lean the same way (neutrals {before:.1} CIEDE2000 off, {after:.1} after): balance the picture"
            ),
        );
    }
    let (p, m) = (price(picture), price(mids));
    // Equal within a tenth of a CIEDE2000: the simpler tool.
    if m < p - 0.1 {
        (
            Reach::Mids,
            format!(
                "{}; moving the mid-tones changes the rest less (median {:.1} against {:.1} CIEDE2000)",
                leaning(picture),
                mids.cost.outside_de00_median,
                picture.cost.outside_de00_median
            ),
        )
    } else {
        (
            Reach::Picture,
            format!(
                "{}; balancing the picture changes the rest no more than moving the mid-tones would (median {:.1} against {:.1} CIEDE2000)",
                leaning(picture),
                picture.cost.outside_de00_median,
                mids.cost.outside_de00_median
            ),
        )
    }
}

fn leaning(picture: &Fix) -> &'static str {
    match picture.cost.neutral_de00_before {
        None => "nothing neutral was found to judge the light by",
        Some(before) if before < CAST => "neutral surfaces show no cast",
        Some(_) => "neutral surfaces and skin do not lean the same way",
    }
}

/// What a fix costs in one number, CIEDE2000-like: neutrals after, the move of the rest, clipping, contrast, noise, and
/// what the skin itself is still off.
fn price(fix: &Fix) -> f64 {
    let c = &fix.cost;
    let skin = fix.people.iter().map(|p| p.de00).fold(0.0, f64::max);
    let neutral = c.neutral_de00.unwrap_or(0.0);
    skin + 0.5 * neutral
        + 0.5 * c.outside_de00_median
        + 0.2 * c.outside_de00_p95
        + c.clip_growth_pct
        + 4.0 * (c.contrast - 1.0).abs()
        + 3.0 * (c.noise_gain - 1.0).max(0.0)
}
