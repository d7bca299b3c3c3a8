//! The film as one HTML file that needs nothing else: to be read, printed and kept.

use crate::assets;
use crate::state::Server;
use axum::extract::State;
use axum::http::header;
use axum::response::{IntoResponse, Response};
use inkarnat_app::job::PictureForm;
use inkarnat_app::view::pictures::{PictureOrder, Side, pictures, ready};
use inkarnat_app::view::{Overview, ShotView, overview, shot_view};
use inkarnat_app::{AppError, Cancel, Film, Workers, report, write_report};
use inkarnat_film::ShotId;
use schemars::JsonSchema;
use serde::Serialize;
use std::path::Path;
use std::sync::Arc;

/// What the report is drawn from.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct ReportData {
    /// The film in short.
    pub film: Overview,
    /// Every shot in full, without pixels of skin and poses.
    pub shots: Vec<ReportShot>,
    /// The version of the program.
    pub version: String,
}

/// A shot of the report.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct ReportShot {
    /// Everything about it.
    pub view: ShotView,
    /// The source frame of the stills.
    pub frame: u64,
    /// Before, as a data address; null where it could not be decoded.
    pub before: Option<String>,
    /// After.
    pub after: Option<String>,
}

/// Widest that a still of the report is.
const STILL: usize = 480;

/// Everything that the report shows.
///
/// # Errors
/// If the film cannot be read, or on cancelling. A still that cannot be made is left out.
pub fn report_data(
    film: &Film,
    workers: &Workers,
    cancel: &Cancel,
) -> Result<ReportData, AppError> {
    let mut short = overview(film, report(film)?)?;
    // The report goes to others: no path of this machine.
    short.file = film
        .path()
        .file_name()
        .map(|name| name.to_string_lossy().into_owned())
        .unwrap_or_default();
    // Versions carry the time of day; the report depends on the film's decisions and pictures alone.
    short.versions.clear();
    let name_of = |path: &str| {
        Path::new(path).file_name().map_or_else(
            || path.to_owned(),
            |name| name.to_string_lossy().into_owned(),
        )
    };
    for programme in &mut short.programmes {
        let proof = &mut programme.proof;
        proof.programme = name_of(&proof.programme);
        proof.list = name_of(&proof.list);
    }
    let scratch = tempfile::tempdir().map_err(|reason| AppError::File {
        path: std::env::temp_dir(),
        doing: "making a directory for pictures",
        reason,
        advice: "make room there",
    })?;
    let mut shots = Vec::new();
    for shot in &short.shots {
        let mut view = shot_view(film, ShotId(shot.id))?;
        view.skin.clear();
        for patch in &mut view.patches {
            patch.poses.clear();
        }
        let frame = shot.in_frame + (shot.out_frame - shot.in_frame) / 2;
        let still = |side| -> Result<Option<String>, AppError> {
            let order = PictureOrder {
                shot: ShotId(shot.id),
                frame,
                count: 1,
                width: Some(STILL),
                part: None,
                side,
                form: PictureForm::Screen,
            };
            let made = ready(film, &order)
                .and_then(|ready| pictures(&ready, workers, cancel, &scratch.path().join("still")));
            match made {
                Ok((_, bytes)) => Ok(Some(format!("data:image/jpeg;base64,{}", base64(&bytes)))),
                Err(AppError::Cancelled) => Err(AppError::Cancelled),
                Err(_) => Ok(None),
            }
        };
        let (before, after) = (still(Side::Before)?, still(Side::After)?);
        shots.push(ReportShot {
            view,
            frame,
            before,
            after,
        });
    }
    Ok(ReportData {
        film: short,
        shots,
        version: env!("CARGO_PKG_VERSION").to_owned(),
    })
}

/// Base64 with padding (RFC 4648 section 4).
fn base64(bytes: &[u8]) -> String {
    const DIGITS: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let mut text = String::with_capacity(bytes.len().div_ceil(3) * 4);
    for three in bytes.chunks(3) {
        let at = |i: usize| u32::from(three.get(i).copied().unwrap_or(0));
        let bits = at(0) << 16 | at(1) << 8 | at(2);
        for place in 0..4 {
            if place <= three.len() {
                text.push(DIGITS[(bits >> (18 - 6 * place) & 63) as usize] as char);
            } else {
                text.push('=');
            }
        }
    }
    text
}

/// Whether the page was built into this program.
#[must_use]
pub fn is_there() -> bool {
    assets::built("report/report.js").is_some()
}

/// The report as one HTML file; `None` where the page was not built into this program.
///
/// # Errors
/// As [`report_data`].
pub fn report_html(
    film: &Film,
    workers: &Workers,
    cancel: &Cancel,
) -> Result<Option<String>, AppError> {
    let (Some(script), Some(style)) = (
        assets::built("report/report.js"),
        assets::built("report/report.css"),
    ) else {
        return Ok(None);
    };
    let data = report_data(film, workers, cancel)?;
    Ok(Some(html(&data, &script, &style)))
}

fn html(data: &ReportData, script: &[u8], style: &[u8]) -> String {
    let json = serde_json::to_string(data).unwrap_or_default();
    let title = escaped(&format!("{}: report", data.film.film));
    format!(
        "<!doctype html>\n<html lang=\"en\"><head><meta charset=\"utf-8\">\
<meta name=\"viewport\" content=\"width=device-width\">\
<meta http-equiv=\"Content-Security-Policy\" content=\"default-src 'none'; img-src data:; style-src 'unsafe-inline'; script-src 'unsafe-inline'\">\
<title>{title}</title>\n<style>{}</style></head>\n<body><div id=\"report\"></div>\n\
<script type=\"application/json\" id=\"data\">{}</script>\n<script>{}</script>\n</body></html>\n",
        String::from_utf8_lossy(style).replace("</style", "<\\/style"),
        // Inside a script, `<` may end it.
        json.replace('<', "\\u003c"),
        String::from_utf8_lossy(script).replace("</script", "<\\/script"),
    )
}

fn escaped(text: &str) -> String {
    text.replace('&', "&amp;")
        .replace('<', "&lt;")
        .replace('>', "&gt;")
}

/// Writes `report.html` into the directory of a hand-over; nothing where the page was not built into this program.
///
/// # Errors
/// If it cannot be written, or on cancelling.
pub fn write(
    film: &mut Film,
    directory: &Path,
    workers: &Workers,
    cancel: &Cancel,
) -> Result<(), AppError> {
    match report_html(film, workers, cancel)? {
        Some(html) => write_report(film, directory, html.as_bytes()),
        None => Ok(()),
    }
}

/// The report of the film as it stands now.
pub(crate) async fn page(State(server): State<Arc<Server>>) -> Response {
    let made = tokio::task::spawn_blocking(move || {
        let film = server.to_read().map_err(AppError::from)?;
        report_html(&film, &server.workers, &Cancel::default())
    });
    match made.await {
        Ok(Ok(Some(html))) => {
            // One file with everything inside: its own policy stands in it.
            const POLICY: &str = "default-src 'none'; img-src data:; style-src 'unsafe-inline'; script-src 'unsafe-inline'; \
sandbox allow-scripts allow-modals allow-downloads";
            let headers = [
                (header::CONTENT_TYPE, "text/html; charset=utf-8"),
                (header::CONTENT_SECURITY_POLICY, POLICY),
            ];
            (headers, html).into_response()
        }
        Ok(Ok(None)) => {
            "the page was not built into this program; see the first page\n".into_response()
        }
        Ok(Err(error)) => crate::api::Failure::from(error).into_response(),
        Err(error) => crate::api::Failure::broken(error).into_response(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 4648 section 10.
    #[test]
    fn base64_test_vectors() {
        let coded = [
            "", "Zg==", "Zm8=", "Zm9v", "Zm9vYg==", "Zm9vYmE=", "Zm9vYmFy",
        ];
        for (length, coded) in coded.into_iter().enumerate() {
            assert_eq!(base64(&b"foobar"[..length]), coded);
        }
    }
}
