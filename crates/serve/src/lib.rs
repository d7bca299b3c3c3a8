//! The page of a film, served on loopback, and the report that is made of the same code.
//!
//! - [`serve()`] answers on 127.0.0.1 alone, below a random token, to requests whose Host and Origin are its own
//!   (`guard`). Files are reached through the numbers of the film alone; no path comes from a request, except the
//!   paths of clips to take in and of a directory to hand over to.
//! - [`api::description`] is the OpenAPI description of it, made from the same table of routes; the page's types are
//!   made from that.
//! - [`report::report_html`] is the film as one HTML file.
#![forbid(unsafe_code)]
#![allow(
    clippy::disallowed_methods,
    reason = "this crate has files, a clock and threads"
)]

pub mod api;
mod assets;
mod cache;
mod guard;
mod jobs;
pub mod report;
mod state;

use inkarnat_app::{Cancel, Workers};
use std::io;
use std::net::Ipv4Addr;
use std::path::PathBuf;
use std::time::Duration;

/// What to serve, and how.
#[derive(Clone, Debug)]
pub struct Options {
    /// The film file; it need not exist yet.
    pub film: PathBuf,
    /// The port; 0 takes a free one.
    pub port: u16,
    /// Serves the page from this directory in place of the built-in one, while working on it.
    pub web_dir: Option<PathBuf>,
    /// How child processes are started.
    pub workers: Workers,
}

/// Serves until `cancel` is set. `ready` is told the address, token included, once it answers.
///
/// # Errors
/// If the port cannot be had, or there is no place for temporary files.
pub fn serve(options: Options, cancel: &Cancel, ready: impl FnOnce(&str)) -> io::Result<()> {
    let runtime = tokio::runtime::Builder::new_multi_thread()
        .worker_threads(2)
        .enable_all()
        .build()?;
    runtime.block_on(async {
        let listener = tokio::net::TcpListener::bind((Ipv4Addr::LOCALHOST, options.port)).await?;
        let port = listener.local_addr()?.port();
        let token = guard::new_token()?;
        let state = state::Server::new(&options, token.clone(), port)?;
        let router = api::router(state.clone());
        ready(&format!("http://127.0.0.1:{port}/{token}/"));
        let stopped = async {
            while !cancel.is_cancelled() {
                tokio::time::sleep(Duration::from_millis(100)).await;
            }
        };
        // Open streams of events would keep a graceful end waiting for ever.
        let ended = tokio::select! {
            ended = axum::serve(listener, router) => ended,
            () = stopped => Ok(()),
        };
        state.jobs.stop();
        ended
    })?;
    runtime.shutdown_timeout(Duration::from_secs(6));
    Ok(())
}
