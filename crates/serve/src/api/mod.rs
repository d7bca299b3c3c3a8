//! What can be asked, as one table: the router and the description are both made of it.

mod answers;
mod changes;
mod events;
mod files;
mod questions;
mod table;

use crate::guard::guard;
use crate::state::Server;
use crate::{assets, report};
pub use answers::Failure;
use axum::Router;
use axum::extract::DefaultBodyLimit;
use axum::middleware::from_fn_with_state;
use axum::routing::get;
use std::sync::Arc;
use table::Table;

/// Most bytes of the body of a change; clips that are dropped on the page have no limit.
const BODY: usize = 1 << 20;

fn table() -> Table {
    let mut table = Table::new();
    questions::add(&mut table);
    changes::add(&mut table);
    files::add(&mut table);
    events::add(&mut table);
    table.also::<report::ReportData>();
    table
}

/// Everything that is answered.
pub(crate) fn router(server: Arc<Server>) -> Router {
    let below = table()
        .router()
        .layer(DefaultBodyLimit::max(BODY))
        .merge(files::unlimited())
        .route("/{token}/", get(assets::index))
        .route("/{token}/assets/{*name}", get(assets::asset))
        .route("/{token}/report", get(report::page))
        .route(
            "/{token}/api/openapi.json",
            get(|| async { ([("content-type", "application/json")], description()) }),
        )
        .fallback(|| async { (axum::http::StatusCode::NOT_FOUND, "there is nothing here\n") });
    below
        .layer(from_fn_with_state(Arc::clone(&server), guard))
        .with_state(server)
}

/// The OpenAPI description of everything below `api/`, as text.
#[must_use]
pub fn description() -> String {
    let mut text = serde_json::to_string_pretty(&table().description()).unwrap_or_default();
    text.push('\n');
    text
}
