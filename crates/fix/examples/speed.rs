//! Prints how much processor time one solve takes on a scene of the tests: `cargo run --release -p inkarnat-fix --example speed`.
#![expect(clippy::print_stdout, reason = "an example talks on standard output")]
#![allow(
    clippy::disallowed_methods,
    reason = "measures time; the library itself has no clock"
)]

#[path = "../tests/common/mod.rs"]
mod common;

use std::time::Instant;

use common::{Scene, typed_about};
use inkarnat_color::ItaClass;
use inkarnat_fix::{Aim, solve};
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
    let cases = [
        ("one person, warm cast, typed", warm.problem(&[typed])),
        ("one person, tungsten, own", tungsten.problem(&[Aim::own()])),
        (
            "six people, warm cast, own",
            six.problem(&vec![Aim::own(); 6]),
        ),
    ];
    for (name, problem) in cases {
        let mut times: Vec<f64> = (0..7)
            .map(|_| {
                let (start, used) = (Instant::now(), processor_ms());
                std::hint::black_box(solve(&problem).expect("a good problem"));
                match (used, processor_ms()) {
                    (Some(before), Some(after)) => after - before,
                    _ => 1e3 * start.elapsed().as_secs_f64(),
                }
            })
            .collect();
        times.sort_by(f64::total_cmp);
        println!("{name}: {:.1} ms (median of 7)", times[3]);
    }
}
