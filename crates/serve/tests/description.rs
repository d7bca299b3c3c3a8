//! The description of the page's interface is the committed one. After a change:
//! `INKARNAT_REGENERATE=1 cargo nextest run -p inkarnat-serve description && (cd web && npm run types)`
#![allow(clippy::disallowed_methods, reason = "a test reads files")]

use std::path::Path;

#[test]
fn description_is_committed() {
    let path = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../docs/openapi.json");
    let made = inkarnat_serve::api::description();
    if std::env::var_os("INKARNAT_REGENERATE").is_some() {
        std::fs::write(&path, &made).expect("writes the description");
    }
    let there = std::fs::read_to_string(&path).unwrap_or_default();
    assert!(
        there == made,
        "docs/openapi.json is not what the routes give; see the head of this test"
    );
}
