//! Every recipe of `docs/COOKBOOK.md` does what it says.
#![allow(
    clippy::disallowed_methods,
    reason = "tests run programs and write files"
)]

mod common;

use common::{Make, clip};
use std::path::Path;
use std::process::Command;

#[test]
fn every_recipe_runs() {
    let text = include_str!("../../../docs/COOKBOOK.md");
    let recipes: Vec<&str> = text
        .split("```sh\n")
        .skip(1)
        .filter_map(|rest| rest.split("```").next())
        .collect();
    assert!(recipes.len() > 6, "the recipes are found");
    let directory = tempfile::tempdir().unwrap();
    let at = directory.path();
    clip(
        &at.join("ana.mov"),
        &Make {
            scale: 2,
            ..Make::default()
        },
    );
    let bin = Path::new(env!("CARGO_BIN_EXE_inkarnat")).parent().unwrap();
    let path = format!(
        "{}:{}",
        bin.display(),
        std::env::var("PATH").unwrap_or_default()
    );
    for recipe in recipes {
        let output = Command::new("bash")
            .args(["-e", "-o", "pipefail", "-c", recipe])
            .current_dir(at)
            .env("PATH", &path)
            .output()
            .unwrap();
        assert!(
            output.status.success(),
            "{recipe}\n{}\n{}",
            String::from_utf8_lossy(&output.stdout),
            String::from_utf8_lossy(&output.stderr)
        );
    }
}
