//! Casts, complexions and exposures with typed aims, against the same scene under reference light.
#![expect(
    clippy::print_stdout,
    reason = "the figures of every scene, shown with --nocapture"
)]

mod common;

use common::{Scene, typed_about};
use inkarnat_color::ItaClass;
use inkarnat_fix::{Limit, Problem, Reach, State, solve};
use inkarnat_spectra::illuminant;

const COMPLEXIONS: [ItaClass; 3] = [ItaClass::Light, ItaClass::Tan, ItaClass::Dark];

/// Gains in linear light: warm, cool, green.
const GAINS: [[f64; 3]; 3] = [[1.25, 1.0, 0.7], [0.8, 1.0, 1.3], [0.88, 1.1, 0.9]];
const EXPOSURES: [f64; 4] = [-1.0, -0.5, 0.0, 0.5];

#[test]
fn gains_on_the_whole_picture_end_on_aim() {
    let mut failures = Vec::new();
    for class in COMPLEXIONS {
        for gains in GAINS {
            for stops in EXPOSURES {
                let scene = Scene {
                    gains,
                    stops,
                    ..Scene::new(class)
                };
                let name = format!("{class:?} {gains:?} {stops}");
                check(&name, &scene, 0.5, false, &mut failures);
            }
        }
    }
    assert!(
        failures.is_empty(),
        "{} fail:\n{}",
        failures.len(),
        failures.join("\n")
    );
}

/// Real lights differ from daylight in spectrum, so a perfect balance leaves skin off (A by 6.5°, FL2 by 14° of hue:
/// computed from published spectra), and the whole frame cannot serve both.
#[test]
fn lights_end_on_aim_or_short_by_the_limit_named() {
    let mut failures = Vec::new();
    for class in COMPLEXIONS {
        // Under FL2 skin and neutrals pull 14° apart: what is left of the cast is that tint.
        for (light, cast_left) in [("A", 0.5), ("LED-B3", 0.5), ("FL11", 0.5), ("FL2", 0.65)] {
            for stops in EXPOSURES {
                let scene = Scene {
                    light: illuminant(light).unwrap(),
                    stops,
                    ..Scene::new(class)
                };
                let name = format!("{class:?} {light} {stops}");
                check(&name, &scene, cast_left, true, &mut failures);
            }
        }
    }
    assert!(
        failures.is_empty(),
        "{} fail:\n{}",
        failures.len(),
        failures.join("\n")
    );
}

/// The same problem with one limit lifted.
fn lifted(problem: &Problem, limit: Limit) -> Problem {
    let mut problem = problem.clone();
    let l = &mut problem.limits;
    match limit {
        Limit::Exposure => l.exposure_stops = 10.0,
        Limit::SkinContrast => (l.skin_slope_min, l.skin_slope_max) = (0.0, 10.0),
        Limit::UpperContrast => l.upper_slope_min = 0.0,
        Limit::Clipping => l.new_clipping_pct = 100.0,
        Limit::SkinClipping => l.skin_new_clipping_pct = 100.0,
        Limit::SkinSpread => (l.skin_spread_min, l.skin_spread_max) = (0.0, 10.0),
        Limit::Noise => l.noise_gain = 10.0,
        Limit::CodeGap => l.code_gap = 100.0,
        Limit::ClippedAreas => (l.clipped_area_chroma, l.clipped_area_level_pct) = (100.0, 0.0),
        Limit::WhiteEnd => l.white_level_pct = 0.0,
        Limit::Neutrals => l.neutral_growth = 100.0,
        Limit::Saturation => l.saturation = 4.0,
        Limit::Level => l.level_loss = 100.0,
        Limit::Hue => l.hue_loss = 100.0,
        Limit::People | Limit::Reach => {}
    }
    problem
}

fn check(
    name: &str,
    scene: &Scene,
    cast_left: f64,
    may_be_short: bool,
    failures: &mut Vec<String>,
) {
    let truth = scene.truth(0);
    let problem = scene.problem(&[typed_about(&truth)]);
    let solution = solve(&problem).unwrap();
    let fix = solution.fix();
    let person = &fix.people[0];
    let saturation = person.after.sat_ratio() / truth.sat_ratio() - 1.0;
    let before = fix.cost.neutral_de00_before.unwrap_or(0.0);
    let after = fix.cost.neutral_de00.unwrap_or(0.0);
    println!(
        "{name}: {} {:?} | sat {:+.1}% | neutrals {before:.1}->{after:.1} | clip {:.2} skin {:.2} | noise {:.2} slope {:.2}-{:.2} upper {:.2} gap {:.2} spread {:.2} | {}",
        fix.reach,
        fix.state,
        100.0 * saturation,
        fix.cost.clip_growth_pct,
        fix.cost.skin_clip_growth_pct,
        fix.cost.noise_gain,
        fix.cost.skin_slope.0,
        fix.cost.skin_slope.1,
        fix.cost.upper_slope,
        fix.cost.code_gap,
        fix.cost.skin_spread,
        solution.why,
    );
    println!(
        "    picture: {}\n    mids: {}",
        solution.picture.explain, solution.mids.explain
    );
    let mut fail = |what: String| failures.push(format!("{name}: {what}"));
    if fix.cost.clip_growth_pct > 2.0 || fix.cost.skin_clip_growth_pct > 0.1 {
        fail(format!("clipping {:?}", fix.cost));
    }
    if let State::Short { limit, .. } = &fix.state {
        // By trying every limit: no other one gets nearer when it alone is lifted, and with all lifted skin gets there.
        // Reaches differ in what stops them: the same one is looked at.
        let left = |problem: &Problem| {
            let solution = solve(problem).unwrap();
            match fix.reach {
                Reach::Picture => solution.picture.people[0].de00,
                Reach::Mids => solution.mids.people[0].de00,
                Reach::Skin => solution.fix().people[0].de00,
            }
        };
        let named = left(&lifted(&problem, *limit));
        let best = Limit::ALL
            .iter()
            .map(|other| left(&lifted(&problem, *other)))
            .fold(f64::INFINITY, f64::min);
        let free = Limit::ALL
            .iter()
            .fold(problem.clone(), |problem, other| lifted(&problem, *other));
        let free = solve(&free).unwrap();
        println!(
            "    named {limit:?}: {:.2} -> {named:.2}, best {best:.2}",
            person.de00
        );
        if !may_be_short
            || named > best + 0.1
            || named > person.de00 - 0.1
            || free.fix().state != State::OnAim
        {
            fail(format!(
                "{:?}; with it lifted {named:.2} left of {:.2}, best {best:.2}; all lifted: {}",
                fix.state,
                person.de00,
                free.fix().explain
            ));
        }
        return;
    }
    if saturation.abs() > 0.12 {
        fail(format!("saturation {:+.1} %", 100.0 * saturation));
    }
    if after > before.max(1.0) * cast_left {
        fail(format!("neutrals {before:.2} -> {after:.2}"));
    }
}
