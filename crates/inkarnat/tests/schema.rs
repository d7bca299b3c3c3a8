//! The committed schema is that of this program.
#![allow(clippy::disallowed_methods, reason = "tests read and write files")]

/// Regenerate with `INKARNAT_REGENERATE=1 cargo test -p inkarnat --test schema`.
#[test]
fn the_committed_schemas_are_fresh() {
    fresh("show.schema.json", &inkarnat_app::show::schema_text());
    fresh(
        "programme.schema.json",
        &inkarnat_app::programme_schema_text(),
    );
}

fn fresh(name: &str, fresh: &str) {
    let path = format!("{}/../../docs/{name}", env!("CARGO_MANIFEST_DIR"));
    if std::env::var_os("INKARNAT_REGENERATE").is_some() {
        std::fs::write(&path, fresh).unwrap();
    }
    assert!(
        std::fs::read_to_string(&path).is_ok_and(|committed| committed == fresh),
        "docs/{name} is stale; regenerate it with INKARNAT_REGENERATE=1 cargo test -p inkarnat --test schema"
    );
}
