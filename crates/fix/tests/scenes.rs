//! Casts, complexions and exposures with typed aims, against the same scene under reference light.

mod common;

use common::{Scene, typed_about};
use inkarnat_color::ItaClass;
use inkarnat_fix::{State, solve};
use inkarnat_spectra::illuminant;

const COMPLEXIONS: [ItaClass; 3] = [ItaClass::Light, ItaClass::Tan, ItaClass::Dark];

#[test]
fn casts_complexions_and_exposures_end_on_aim() {
    // Gains in linear light: warm, cool, green.
    let gains = [[1.25, 1.0, 0.7], [0.8, 1.0, 1.3], [0.88, 1.1, 0.9]];
    let mut failures = Vec::new();
    for class in COMPLEXIONS {
        for gains in gains {
            for stops in [-1.0, -0.5, 0.0, 0.5] {
                let scene = Scene {
                    gains,
                    stops,
                    ..Scene::new(class)
                };
                check(
                    &format!("{class:?} {gains:?} {stops}"),
                    &scene,
                    &mut failures,
                );
            }
        }
        for light in ["A", "FL2", "LED-B3"] {
            for stops in [-1.0, -0.5, 0.0, 0.5] {
                let scene = Scene {
                    light: illuminant(light).unwrap(),
                    stops,
                    ..Scene::new(class)
                };
                check(&format!("{class:?} {light} {stops}"), &scene, &mut failures);
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

fn check(name: &str, scene: &Scene, failures: &mut Vec<String>) {
    let truth = scene.truth(0);
    let solution = solve(&scene.problem(&[typed_about(&truth)])).unwrap();
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
    if fix.state != State::OnAim {
        fail(format!("{:?}", fix.state));
    }
    if saturation.abs() > 0.12 {
        fail(format!("saturation {:+.1} %", 100.0 * saturation));
    }
    if after > before.max(1.0) / 2.0 {
        fail(format!("neutrals {before:.2} -> {after:.2}"));
    }
    if fix.cost.clip_growth_pct > 2.0 || fix.cost.skin_clip_growth_pct > 0.1 {
        fail(format!("clipping {:?}", fix.cost));
    }
}
