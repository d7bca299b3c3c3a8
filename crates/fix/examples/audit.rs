//! Prints optimisation problems with our answers as JSON on standard output; `script/check/solver.py` solves them again.
#![expect(clippy::print_stdout, reason = "an example talks on standard output")]

#[path = "../tests/common/mod.rs"]
mod common;

use common::{Scene, typed_about};
use inkarnat_color::ItaClass;
use inkarnat_fix::audit::audit;
use inkarnat_fix::{Aim, Reach};
use inkarnat_spectra::illuminant;

fn main() {
    let light = |name| illuminant(name).expect("a light of the table");
    let plain = Scene::new(ItaClass::Tan);
    let scenes = [
        (
            "warm",
            Scene {
                gains: [1.25, 1.0, 0.7],
                stops: -0.5,
                ..plain.clone()
            },
        ),
        (
            "cool, over",
            Scene {
                gains: [0.8, 1.0, 1.3],
                stops: 0.5,
                ..plain.clone()
            },
        ),
        (
            "green, one stop under",
            Scene {
                gains: [0.88, 1.1, 0.9],
                stops: -1.0,
                ..plain.clone()
            },
        ),
        (
            "tungsten",
            Scene {
                light: light("A"),
                ..plain.clone()
            },
        ),
        (
            "window",
            Scene {
                gains: [1.2, 1.0, 0.75],
                stops: -0.4,
                window: 0.15,
                ..plain.clone()
            },
        ),
        (
            "three people, LED",
            Scene {
                light: light("LED-B3"),
                people: vec![ItaClass::Light, ItaClass::Brown, ItaClass::Dark],
                ..plain
            },
        ),
    ];
    let mut all = Vec::new();
    for (name, scene) in &scenes {
        let typed: Vec<Aim> = (0..scene.people.len())
            .map(|i| typed_about(&scene.truth(i)))
            .collect();
        let own = vec![Aim::own(); scene.people.len()];
        for (kind, aims) in [("typed", typed), ("own", own)] {
            for reach in [Reach::Picture, Reach::Mids] {
                let found = audit(&scene.problem(&aims), reach).expect("a good problem");
                all.push(serde_json::json!({
                    "name": format!("{name}, {kind}, {reach}"),
                    "audit": found,
                }));
            }
        }
    }
    println!("{}", serde_json::Value::Array(all));
}
