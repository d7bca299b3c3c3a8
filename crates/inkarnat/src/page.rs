//! The verbs that show pages: `open` and `report`.

use crate::{ERROR, WELL};
use anyhow::Context as _;
use inkarnat_app::{AppError, Context, Film};
use inkarnat_serve::Options;
use std::io::Write;
use std::path::{Path, PathBuf};
use std::process::{Command, Stdio};

/// Serves the film's page until the program is stopped.
pub(crate) fn open(
    film: PathBuf,
    port: u16,
    browser: bool,
    web_dir: Option<PathBuf>,
    context: Context<'_>,
) -> anyhow::Result<u8> {
    if film.exists() {
        // What is wrong with the file is said here, not on a page.
        drop(Film::open_to_read(&film)?);
    } else if !film
        .parent()
        .is_none_or(|p| p.as_os_str().is_empty() || p.is_dir())
    {
        anyhow::bail!(
            "{}: its directory is not there; make it, or name another place",
            film.display()
        );
    }
    let options = Options {
        film,
        port,
        web_dir,
        workers: context.workers.clone(),
    };
    inkarnat_serve::serve(options, context.cancel, |address| {
        println!("{address}");
        let _ = std::io::stdout().flush();
        eprintln!("the page is open to this machine alone; stop with Ctrl-C");
        if browser && !open_browser(address) {
            eprintln!("no browser could be started; open the address above in one");
        }
    })
    .with_context(|| {
        format!("the page cannot be served on port {port} of 127.0.0.1; choose another --port")
    })?;
    Ok(WELL)
}

/// Asks the desktop to show an address.
fn open_browser(address: &str) -> bool {
    let program = if cfg!(target_os = "macos") {
        "open"
    } else {
        "xdg-open"
    };
    Command::new(program)
        .arg(address)
        .stdin(Stdio::null())
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .is_ok()
}

/// Writes the report beside what is handed over, or says why there is none.
pub(crate) fn write_report(
    film: &mut Film,
    directory: &Path,
    context: Context<'_>,
) -> Result<(), AppError> {
    if !inkarnat_serve::report::is_there() {
        eprintln!(
            "  note: no report: this program was built without the page (script/page builds it)"
        );
        return Ok(());
    }
    inkarnat_serve::report::write(film, directory, context.workers, context.cancel)
}

/// Writes the report to a file of its own.
pub(crate) fn report(film: &Path, to: &Path, context: Context<'_>) -> anyhow::Result<u8> {
    let film = Film::open_to_read(film)?;
    let html = inkarnat_serve::report::report_html(&film, context.workers, context.cancel)?;
    let Some(html) = html else {
        eprintln!(
            "error: this program was built without the page; run script/page, then build it again"
        );
        return Ok(ERROR);
    };
    inkarnat_app::write_new_report(&film, to, html.as_bytes())?;
    println!("{}", to.display());
    Ok(WELL)
}
