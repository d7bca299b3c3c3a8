//! The committed schema is that of this program.
#![allow(clippy::disallowed_methods, reason = "tests read and write files")]

/// Regenerate with `INKARNAT_REGENERATE=1 cargo test -p inkarnat --test schema`.
#[test]
fn the_committed_schema_is_fresh() {
    let path = concat!(env!("CARGO_MANIFEST_DIR"), "/../../docs/show.schema.json");
    let fresh = inkarnat_app::show::schema_text();
    if std::env::var_os("INKARNAT_REGENERATE").is_some() {
        std::fs::write(path, &fresh).unwrap();
    }
    assert!(
        std::fs::read_to_string(path).is_ok_and(|committed| committed == fresh),
        "docs/show.schema.json is stale; regenerate it with INKARNAT_REGENERATE=1 cargo test -p inkarnat --test schema"
    );
}
