//! How well the exposure of generated scenes is told: `cargo run -p inkarnat-testkit --example exposure [-- --held-out]`.
//!
//! Prints a line a shot (true exposure in stops, estimate, uncertainty, whether it would be proposed) and a summary. Numbers are
//! set on the scenes for tuning alone; the held-out ones are only reported.

#![allow(clippy::print_stdout, reason = "a program that prints")]

use inkarnat_fix::{believe, exposure};
use inkarnat_testkit::corrector::{PersonAim, ShotInput};
use inkarnat_testkit::{grid, tool};

fn main() {
    let held_out = std::env::args().any(|argument| argument == "--held-out");
    // True exposure, what it was found to be, uncertainty, proposed.
    let mut found: Vec<(f64, f64, f64, bool)> = Vec::new();
    for scene in grid() {
        if scene.held_out() != held_out {
            continue;
        }
        for (shot, spec) in scene.render(480, 270).iter().zip(&scene.shots) {
            let names: Vec<String> = (0..scene.people.len()).map(|n| n.to_string()).collect();
            let input = ShotInput {
                picture: &shot.picture,
                codec: spec.codec,
                patches: &shot.patches,
                regions: &shot.regions,
            };
            let problem = tool::problem_of(&input, &names, &vec![PersonAim::Own; names.len()]);
            let beliefs = believe(std::slice::from_ref(&problem));
            let Some(Ok(belief)) = beliefs.first() else {
                continue;
            };
            let Some(told) = exposure(&[(&problem, belief)]) else {
                continue;
            };
            let proposed = told.is_worth_proposing();
            println!(
                "{:5.2} {:5.2} {:4.2} {} {}",
                spec.exposure_stops,
                -told.stops,
                told.stops_u,
                if proposed { "proposed" } else { "-" },
                scene.name
            );
            found.push((spec.exposure_stops, -told.stops, told.stops_u, proposed));
        }
    }
    for (what, low, high) in [
        ("within 0.3 stops of nominal", 0.0, 0.3),
        ("0.3 to 0.8 stops off", 0.3, 0.8),
        ("more than 0.8 stops off", 0.8, 9.0),
    ] {
        let part: Vec<_> = found
            .iter()
            .filter(|(e, ..)| e.abs() > low - 1e-9 && e.abs() <= high)
            .collect();
        let proposed: Vec<_> = part.iter().filter(|p| p.3).collect();
        let off = proposed.iter().map(|p| (p.0 - p.1).abs()).sum::<f64>();
        println!(
            "{what}: {} shots, {} proposed, those {:.2} stops off in the mean, {} to the wrong side",
            part.len(),
            proposed.len(),
            off / proposed.len().max(1) as f64,
            proposed.iter().filter(|p| p.0 * p.1 < 0.0).count()
        );
    }
    let z: f64 = found.iter().map(|p| ((p.0 - p.1) / p.2).powi(2)).sum();
    println!(
        "deviation over stated uncertainty, root mean square: {:.2}",
        (z / found.len().max(1) as f64).sqrt()
    );
}
