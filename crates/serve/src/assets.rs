//! The built page, from inside the binary or, while working on it, from a directory.

use crate::state::Server;
use axum::extract::{Path, State};
use axum::http::{StatusCode, header};
use axum::response::{Html, IntoResponse, Response};
use rust_embed::RustEmbed;
use std::borrow::Cow;
use std::sync::Arc;

#[derive(RustEmbed)]
#[folder = "../../web/dist"]
#[allow_missing = true]
struct Built;

/// What is shown where the page was not built.
const ABSENT: &str = "<!doctype html><html lang=\"en\"><meta charset=\"utf-8\"><title>Inkarnat</title>\
<h1>The page is not in this program</h1><p>It was built without it. In the project's directory run \
<code>script/page</code>, then build the program again: <code>cargo build --release</code>.</p></html>";

/// A file of the page by its name below the page's root; names with `..` or a backslash are none.
pub(crate) fn file(server: &Server, name: &str) -> Option<Cow<'static, [u8]>> {
    let whole = name
        .split('/')
        .all(|part| !part.is_empty() && part != "." && part != ".." && !part.contains(['\\', ':']));
    if !whole {
        return None;
    }
    match &server.web_dir {
        Some(directory) => std::fs::read(directory.join(name)).ok().map(Cow::Owned),
        None => built(name),
    }
}

/// A file of the page that is inside the binary.
pub(crate) fn built(name: &str) -> Option<Cow<'static, [u8]>> {
    Built::get(name).map(|file| file.data)
}

pub(crate) async fn index(State(server): State<Arc<Server>>) -> Response {
    match file(&server, "index.html") {
        Some(bytes) => answer("index.html", bytes),
        None => (StatusCode::OK, Html(ABSENT)).into_response(),
    }
}

pub(crate) async fn asset(
    State(server): State<Arc<Server>>,
    Path((_, name)): Path<(String, String)>,
) -> Response {
    let name = format!("assets/{name}");
    match file(&server, &name) {
        Some(bytes) => answer(&name, bytes),
        None => (StatusCode::NOT_FOUND, "no such file of the page\n").into_response(),
    }
}

fn answer(name: &str, bytes: Cow<'static, [u8]>) -> Response {
    let kind = match name.rsplit('.').next() {
        Some("html") => "text/html; charset=utf-8",
        Some("js") => "text/javascript; charset=utf-8",
        Some("css") => "text/css; charset=utf-8",
        Some("svg") => "image/svg+xml",
        Some("png") => "image/png",
        Some("woff2") => "font/woff2",
        _ => "application/octet-stream",
    };
    ([(header::CONTENT_TYPE, kind)], bytes.into_owned()).into_response()
}
