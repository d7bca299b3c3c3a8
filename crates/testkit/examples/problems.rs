//! Writes what the solver gets of every scene of the grid, with the truth beside it, as lines of JSON: for studies of
//! where an estimate loses. `problems [HELD-OUT-TOO]`; the tuned part alone unless an argument is given.
#![expect(clippy::print_stdout, reason = "an example talks on standard output")]

use inkarnat_spectra::cameras;
use inkarnat_testkit::grid;
use inkarnat_testkit::score::{Aims, Prepared};
use inkarnat_testkit::stage::Region;
use inkarnat_testkit::tool::problem_of;
use inkarnat_testkit::truth::mean_signal;
use rayon::prelude::*;

fn ratios([r, g, b]: [f64; 3]) -> [f64; 2] {
    [(r / g).ln(), (b / g).ln()]
}

fn main() {
    let all = std::env::args().nth(1).is_some();
    let lines: Vec<String> = grid()
        .par_iter()
        .filter(|spec| all || !spec.held_out())
        .filter_map(|spec| {
            let prepared = Prepared::new(spec, 320, 180)?;
            let input = prepared.input(Aims::Own);
            let camera = &cameras()[spec.camera];
            let shots: Vec<serde_json::Value> = (0..input.shots.len())
                .map(|s| {
                    let shot = &prepared.shots()[s];
                    let problem = problem_of(&input.shots[s], &input.people, &input.aims[s]);
                    let mean = |indices: &[usize]| -> [f64; 3] {
                        let mut sum = [0.0; 3];
                        for i in indices {
                            for (s, v) in sum.iter_mut().zip(shot.truth.pixels[*i]) {
                                *s += f64::from(v) / indices.len().max(1) as f64;
                            }
                        }
                        sum
                    };
                    let people: Vec<serde_json::Value> = (0..spec.people.len())
                        .map(|p| {
                            let pixels = shot.pixels(Region::Skin(p as u8));
                            serde_json::json!({
                                "skin": problem.people[p].skin.iter().step_by(7).collect::<Vec<_>>(),
                                "true_skin": mean(&pixels),
                                "shot_skin": mean_signal(&shot.picture, &pixels),
                            })
                        })
                        .collect();
                    let neutrals: Vec<serde_json::Value> = shot
                        .neutrals()
                        .into_iter()
                        .map(|n| {
                            let pixels = shot.pixels(Region::Neutral(n));
                            serde_json::json!({
                                "share": pixels.len() as f64 / shot.regions.len() as f64,
                                "true": ratios(mean(&pixels)),
                                "shot": mean_signal(&shot.picture, &pixels),
                            })
                        })
                        .collect();
                    let key = spec.shots[s].key.illuminant();
                    let white = camera.in_light(&key).white();
                    serde_json::json!({
                        "light": key.name,
                        "white": ratios(white),
                        "people": people,
                        "neutrals": neutrals,
                        "picture": problem.picture.iter().step_by(2)
                            .map(|p| (p.rgb, p.skin)).collect::<Vec<_>>(),
                    })
                })
                .collect();
            Some(
                serde_json::json!({
                    "name": spec.name,
                    "group": spec.group.name(),
                    "held_out": spec.held_out(),
                    "camera": spec.camera,
                    "neutrality": input_neutrality(spec),
                    "excluded": input.excluded_rows,
                    "shots": shots,
                })
                .to_string(),
            )
        })
        .collect();
    for line in lines {
        println!("{line}");
    }
}

fn input_neutrality(spec: &inkarnat_testkit::SceneSpec) -> &'static str {
    inkarnat_testkit::grid::neutrality_name(spec.neutrality)
}
