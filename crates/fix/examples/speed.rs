//! Prints how much processor time one solve takes on scenes of the tests, and on setups of five shots with as many pixels as
//! `inkarnat read` keeps: `cargo run --release -p inkarnat-fix --example speed`. For each of those setups also how far the fixes baked
//! into a table of 33 nodes are from the operations on the pixels of the picture, and the skin that a fix promises from that of all
//! pixels: a solve looks at some of them. CIEDE2000.
#![expect(clippy::print_stdout, reason = "an example talks on standard output")]
#![allow(
    clippy::disallowed_methods,
    reason = "measures time; the library itself has no clock"
)]

#[path = "../tests/common/mod.rs"]
mod common;

use std::time::Instant;

use common::{Scene, read, typed_about};
use inkarnat_color::{ItaClass, delta_e_2000, lab_from_signal};
use inkarnat_fix::{Aim, Problem, solve};
use inkarnat_ops::{Chain, Domain};
use inkarnat_spectra::illuminant;

/// Time that this thread was on a processor so far, where the system says it (Linux: the first field of schedstat).
fn processor_ms() -> Option<f64> {
    let text = std::fs::read_to_string("/proc/thread-self/schedstat").ok()?;
    let nanoseconds: f64 = text.split(' ').next()?.parse().ok()?;
    Some(nanoseconds / 1e6)
}

fn main() {
    let warm = Scene {
        gains: [1.25, 1.0, 0.7],
        stops: -0.5,
        ..Scene::new(ItaClass::Tan)
    };
    let tungsten = Scene {
        light: illuminant("A").expect("a light of the table"),
        ..Scene::new(ItaClass::Light)
    };
    let six = Scene {
        people: ItaClass::ALL.to_vec(),
        ..warm.clone()
    };
    let typed = typed_about(&warm.truth(0));
    let mut cases = vec![
        (
            "one person, warm cast, typed".to_owned(),
            warm.problem(&[typed]),
        ),
        (
            "one person, tungsten, own".to_owned(),
            tungsten.problem(&[Aim::own()]),
        ),
        (
            "six people, warm cast, own".to_owned(),
            six.problem(&vec![Aim::own(); 6]),
        ),
    ];
    let small = cases.len();
    for count in [1, 2, 3, 6] {
        let people = &ItaClass::ALL[..count];
        cases.push((
            format!("five shots of {count}"),
            setup(&Scene {
                people: people.to_vec(),
                ..warm.clone()
            }),
        ));
    }
    for (i, (name, problem)) in cases.iter().enumerate() {
        let mut times: Vec<f64> = (0..5)
            .map(|_| {
                let (start, used) = (Instant::now(), processor_ms());
                std::hint::black_box(solve(problem).expect("a good problem"));
                match (used, processor_ms()) {
                    (Some(before), Some(after)) => after - before,
                    _ => 1e3 * start.elapsed().as_secs_f64(),
                }
            })
            .collect();
        times.sort_by(f64::total_cmp);
        let baked = if i < small {
            String::new()
        } else {
            baked(problem)
        };
        println!(
            "{name}: {:.1} ms (median of 5){baked}",
            times[times.len() / 2]
        );
    }
}

/// Five shots of a scene as one problem.
fn setup(scene: &Scene) -> Problem {
    let mut problem = scene.problem(&vec![Aim::own(); scene.people.len()]);
    for person in &mut problem.people {
        person.skin.clear();
    }
    problem.picture.clear();
    for shot in 0..5 {
        // Three samples of the tests are the 1500 pixels of a shot.
        for part in 0..3 {
            let again = Scene {
                seed: scene.seed + 10 * shot + 100 * part,
                ..scene.clone()
            };
            for (i, person) in problem.people.iter_mut().enumerate() {
                person.skin.extend(again.skin(i));
            }
            if part == 0 {
                problem.picture.extend(again.picture());
            }
        }
    }
    problem
}

/// CIEDE2000 between each reach's table of 33 nodes and its operations, 95th percentile over the pixels of the picture.
fn baked(problem: &Problem) -> String {
    let solution = solve(problem).expect("a good problem");
    let reaches = [
        Some(&solution.picture),
        Some(&solution.mids),
        solution.skin.as_ref(),
    ];
    let mut off = 0.0f64;
    let mut text = "; table of 33 nodes, CIEDE2000 95th:".to_owned();
    for fix in reaches.into_iter().flatten() {
        let chain = Chain::of_fix(fix.ops.clone());
        let table = chain.table(33, Domain::WIDE);
        let lab = |rgb| lab_from_signal(rgb, problem.space);
        let mut apart: Vec<f64> = problem
            .picture
            .iter()
            .map(|pixel| {
                let rgb = pixel.rgb.map(f64::from);
                delta_e_2000(lab(table.sample(rgb)), lab(chain.apply_pixel(rgb))).0
            })
            .collect();
        apart.sort_by(f64::total_cmp);
        text += &format!(" {} {:.3}", fix.reach, apart[apart.len() * 95 / 100]);
        for (person, result) in problem.people.iter().zip(&fix.people) {
            let after: Vec<[f32; 3]> = person
                .skin
                .iter()
                .map(|rgb| chain.apply_pixel(rgb.map(f64::from)).map(|v| v as f32))
                .collect();
            off = off.max(delta_e_2000(read(&after).lab, result.after.lab).0);
        }
    }
    text += &format!("; skin as the fix says it, against all pixels: {off:.4} at most");
    text
}
