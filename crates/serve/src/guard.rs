//! Who may ask: the page itself and nobody else.
//!
//! Any page that a browser has open can send requests to 127.0.0.1. The token in the address is what it cannot know; the
//! Host header shows a name that was turned to point here, Origin and Sec-Fetch-Site a request of another page.

use crate::state::Server;
use axum::extract::{Request, State};
use axum::http::header::{self, HeaderMap, HeaderValue};
use axum::http::{Method, StatusCode};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};
use std::io;
use std::sync::Arc;

/// Bytes of a token.
const TOKEN_BYTES: usize = 24;

/// A new random token, in hexadecimal digits.
pub(crate) fn new_token() -> io::Result<String> {
    let mut bytes = [0u8; TOKEN_BYTES];
    getrandom::fill(&mut bytes).map_err(|error| io::Error::other(error.to_string()))?;
    Ok(bytes.iter().map(|byte| format!("{byte:02x}")).collect())
}

/// Compares without stopping at the first difference.
pub(crate) fn same(a: &str, b: &str) -> bool {
    a.len() == b.len()
        && a.bytes()
            .zip(b.bytes())
            .fold(0, |sum, (x, y)| sum | (x ^ y))
            == 0
}

/// Why a request is refused; `None`: it is not.
fn refusal(
    method: &Method,
    path: &str,
    headers: &HeaderMap,
    server: &Server,
) -> Option<&'static str> {
    let text =
        |name: header::HeaderName| headers.get(name).map(|value| value.to_str().unwrap_or("?"));
    let port = server.port;
    let own = [format!("127.0.0.1:{port}"), format!("localhost:{port}")];
    let is_own = |host: &str| own.iter().any(|own| own.eq_ignore_ascii_case(host));
    if !text(header::HOST).is_some_and(is_own) {
        return Some("the Host of the request is not this server's own");
    }
    if let Some(origin) = text(header::ORIGIN)
        && !origin.strip_prefix("http://").is_some_and(is_own)
    {
        return Some("the request comes from another page");
    }
    if let Some(site) = headers.get("sec-fetch-site")
        && !matches!(site.to_str(), Ok("same-origin" | "none"))
    {
        return Some("the request comes from another page");
    }
    if !matches!(*method, Method::GET | Method::HEAD)
        && text(header::ORIGIN).is_none()
        && headers.get("sec-fetch-site").is_none()
        && headers.get(OWN_HEADER).is_none()
    {
        return Some("a change needs the header x-inkarnat, which other pages cannot send");
    }
    let token = path
        .strip_prefix('/')
        .and_then(|rest| rest.split('/').next());
    if !token.is_some_and(|token| same(token, &server.token)) {
        return Some(
            "the token is missing or another one; open the address that `inkarnat open` printed",
        );
    }
    None
}

/// Programs that are no browser send this with every change.
const OWN_HEADER: &str = "x-inkarnat";

/// What the page may do: load its own scripts, styles and pictures, and talk to its own server.
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' blob: data:; \
connect-src 'self'; font-src 'self'; base-uri 'none'; form-action 'none'; frame-ancestors 'none'";

/// Refuses what does not come from the page itself, and says in every answer what the page may do.
pub(crate) async fn guard(
    State(server): State<Arc<Server>>,
    request: Request,
    next: Next,
) -> Response {
    let refused = refusal(
        request.method(),
        request.uri().path(),
        request.headers(),
        &server,
    );
    let mut response = match refused {
        Some(reason) => (StatusCode::FORBIDDEN, format!("refused: {reason}\n")).into_response(),
        None => next.run(request).await,
    };
    let headers = response.headers_mut();
    let mut say = |name: &'static str, value: &'static str| {
        headers
            .entry(name)
            .or_insert(HeaderValue::from_static(value));
    };
    say("content-security-policy", POLICY);
    say("x-content-type-options", "nosniff");
    say("referrer-policy", "no-referrer");
    say("x-frame-options", "DENY");
    say("cross-origin-opener-policy", "same-origin");
    say("cross-origin-resource-policy", "same-origin");
    say("cache-control", "no-store");
    response
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn tokens_are_long_and_differ() {
        let (a, b) = (new_token().unwrap(), new_token().unwrap());
        assert_eq!(a.len(), 2 * TOKEN_BYTES);
        assert!(!same(&a, &b) && same(&a, &a.clone()));
        assert!(!same(&a, &a[1..]));
    }
}
