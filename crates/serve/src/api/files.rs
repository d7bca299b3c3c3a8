//! Pictures, densities and tables: bytes about a shot. And clips that are dropped on the page.

use crate::api::Failure;
use crate::api::table::{About, Raw, Table, apart};
use crate::state::Server;
use axum::Router;
use axum::body::Body;
use axum::extract::{DefaultBodyLimit, Query, State};
use axum::routing::post;
use futures_util::StreamExt;
use inkarnat_app::Cancel;
use inkarnat_app::job::{PictureForm, Pictured};
use inkarnat_app::view::pictures::{self, PictureOrder, Side, WhichTable};
use inkarnat_film::ShotId;
use inkarnat_ops::{Lut3d, MovingChain};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::path::{Path, PathBuf};
use std::sync::Arc;
use tokio::io::AsyncWriteExt;

/// Which version of a picture.
#[derive(Clone, Copy, Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub(crate) enum WhichSide {
    /// The source.
    Before,
    /// With the fix.
    After,
    /// With the fix as the table that is exported.
    Table,
    /// With the fix of an aim that was tried (`aim/try`), which `tried` names.
    Tried,
}

/// The form of a picture.
#[derive(Clone, Copy, Debug, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub(crate) enum WhichForm {
    /// JPEG in sRGB: the light of a BT.1886 display, for a computer's screen.
    Screen,
    /// The same, lossless.
    ScreenExact,
    /// The working signal, four bytes a pixel, low byte first: R, G and B in ten bits each from the lowest bit, spread over
    /// −2/27…10/9. Two numbers of four bytes stand before: columns and rows.
    Signal,
    /// The working signal as 16-bit PNG, 0–1 over all codes.
    Still16,
}

/// A picture of a frame.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
pub(crate) struct PictureQuery {
    /// Source frame.
    frame: u64,
    /// Widest that it may be, pixels; never made larger than the source.
    #[schemars(range(min = 16, max = 8192))]
    width: Option<u32>,
    /// Which version.
    side: WhichSide,
    /// In what form.
    form: WhichForm,
    /// The part wanted: left, top, width, height in fractions of the picture, with commas between.
    part: Option<String>,
    /// For side `tried`: the fix, as `picture` of `aim/try` names it.
    tried: Option<String>,
    /// Whatever names this version of it to the browser; not read.
    #[serde(rename = "v")]
    _version: Option<String>,
}

/// Frames for playing.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
pub(crate) struct ProxyQuery {
    /// First source frame.
    from: u64,
    /// How many.
    #[schemars(range(min = 1, max = 240))]
    count: u64,
    /// Widest that they may be, pixels.
    #[schemars(range(min = 16, max = 1920))]
    width: u32,
}

/// Densities of a frame.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
pub(crate) struct TraceQuery {
    /// Source frame.
    frame: u64,
    /// The patch of this person alone; else the whole picture.
    person: Option<String>,
    /// Whatever names this version of it to the browser; not read.
    #[serde(rename = "v")]
    _version: Option<String>,
}

/// Which table of a fix.
#[derive(Clone, Debug, Deserialize, JsonSchema)]
pub(crate) struct TableQuery {
    /// A part of the fix alone, over twice the domain: from this operation on, counted from 0. Without it the whole fix, as
    /// it is exported.
    from: Option<usize>,
    /// The operation before which that part ends; without it, it goes to the last.
    to: Option<usize>,
    /// Source frame whose fix is wanted, where the fix follows the light; without it the shot's middle one.
    frame: Option<u64>,
    /// The look over the fix instead.
    #[serde(default)]
    look: bool,
}

pub(crate) fn add(table: &mut Table) {
    let about = |path, summary| About { path, summary };
    table.bytes_of_shot(
        about("shots/{shot}/picture", "A picture of one frame."),
        &["image/jpeg", "image/png", "application/octet-stream"],
        picture,
    );
    table.bytes_of_shot(
        about(
            "shots/{shot}/proxy",
            "Frames for playing, as JPEG of the working signal: the number of frames, then the length of each, four bytes low \
             byte first, then the frames.",
        ),
        &["application/octet-stream"],
        proxy,
    );
    table.bytes_of_shot(
        about(
            "shots/{shot}/traces",
            "Densities of one frame, before and then after, numbers of four bytes low byte first: waveform 360×240, parade R' \
             G' B' 120×240 each, chroma plane 256×256 (Cb right, Cr up, ±0.55), histograms of R' G' B' Y' 240 each. Levels run \
             from 110 % in the top row to −10 %; histograms from −10 %.",
        ),
        &["application/octet-stream"],
        traces,
    );
    table.bytes_of_shot(
        about(
            "shots/{shot}/table",
            "The 3D LUT that the fix is exported as over −2/27…10/9: nodes a side (0: nothing is changed), then R' G' B' of each \
             node, red fastest; numbers of four bytes, low byte first.",
        ),
        &["application/octet-stream"],
        lut,
    );
}

fn part_of(text: Option<&str>) -> Result<Option<[f64; 4]>, Failure> {
    let Some(text) = text else { return Ok(None) };
    let bad = || {
        Failure::bad(format!(
            "part '{text}': expected left,top,width,height, each 0 to 1"
        ))
    };
    let numbers: Vec<f64> = text
        .split(',')
        .map(|number| number.parse().map_err(|_| bad()))
        .collect::<Result<_, _>>()?;
    let part: [f64; 4] = numbers.try_into().map_err(|_| bad())?;
    let inside = part.iter().all(|v| (0.0..=1.0).contains(v)) && part[2] > 0.0 && part[3] > 0.0;
    if inside { Ok(Some(part)) } else { Err(bad()) }
}

/// Pictures from the store, or made now.
fn made(
    server: &Arc<Server>,
    order: &PictureOrder,
    tried: Option<&MovingChain>,
    framed: fn(&Pictured) -> Vec<u8>,
) -> Result<Arc<Vec<u8>>, Failure> {
    let film = server.to_read()?;
    let ready = match tried {
        None => pictures::ready(&film, order)?,
        Some(tried) => pictures::ready_tried(&film, order, tried)?,
    };
    if let Some(known) = server.picture(&ready.key) {
        return Ok(known);
    }
    let _turn = server.decoder();
    // Somebody else may have made it meanwhile.
    if let Some(known) = server.picture(&ready.key) {
        return Ok(known);
    }
    let scratch = server.scratch();
    let (done, bytes) = pictures::pictures(&ready, &server.workers, &Cancel::default(), &scratch)?;
    let mut all = framed(&done);
    all.extend(bytes);
    let all = Arc::new(all);
    server.keep_picture(ready.key, Arc::clone(&all));
    Ok(all)
}

/// The fix of an aim that was tried.
fn tried_fix(server: &Arc<Server>, name: Option<&str>) -> Result<MovingChain, Failure> {
    let name = name.ok_or_else(|| {
        Failure::bad("side tried needs the fix that was tried: give tried=, as `picture` of aim/try names it")
    })?;
    server.tried(name).ok_or_else(|| {
        Failure::bad(format!(
            "tried '{name}': no such fix is kept any more, as others were tried since; try the aim again"
        ))
    })
}

/// A day: addresses name versions.
const KEEP_S: u32 = 86_400;

fn picture(server: &Arc<Server>, shot: ShotId, query: PictureQuery) -> Result<Raw, Failure> {
    let form = match query.form {
        WhichForm::Screen => PictureForm::Screen,
        WhichForm::ScreenExact => PictureForm::ScreenExact,
        WhichForm::Signal => PictureForm::Signal,
        WhichForm::Still16 => PictureForm::Still16,
    };
    let order = PictureOrder {
        shot,
        frame: query.frame,
        count: 1,
        width: query.width.map(|width| width.clamp(16, 8192) as usize),
        part: part_of(query.part.as_deref())?,
        side: match query.side {
            WhichSide::Before => Side::Before,
            WhichSide::After => Side::After,
            WhichSide::Table => Side::Table,
            WhichSide::Tried => Side::After,
        },
        form,
    };
    let tried = match query.side {
        WhichSide::Tried => Some(tried_fix(server, query.tried.as_deref())?),
        _ => None,
    };
    let framed: fn(&Pictured) -> Vec<u8> = match form {
        PictureForm::Signal => |done| little([done.width as u32, done.height as u32]),
        _ => |_| Vec::new(),
    };
    Ok(Raw {
        kind: match form {
            PictureForm::Screen | PictureForm::SignalJpeg => "image/jpeg",
            PictureForm::ScreenExact | PictureForm::Still16 => "image/png",
            PictureForm::Signal => "application/octet-stream",
        },
        bytes: made(server, &order, tried.as_ref(), framed)?,
        keep_s: KEEP_S,
    })
}

fn proxy(server: &Arc<Server>, shot: ShotId, query: ProxyQuery) -> Result<Raw, Failure> {
    let order = PictureOrder {
        shot,
        frame: query.from,
        count: query.count.clamp(1, 240),
        width: Some(query.width.clamp(16, 1920) as usize),
        part: None,
        side: Side::Before,
        form: PictureForm::SignalJpeg,
    };
    let bytes = made(server, &order, None, |done| {
        let lengths = done.lengths.iter().map(|length| *length as u32);
        little(std::iter::once(done.lengths.len() as u32).chain(lengths))
    })?;
    Ok(Raw {
        kind: "application/octet-stream",
        bytes,
        keep_s: KEEP_S,
    })
}

fn traces(server: &Arc<Server>, shot: ShotId, query: TraceQuery) -> Result<Raw, Failure> {
    let film = server.to_read()?;
    let _turn = server.decoder();
    let found = pictures::trace(
        &film,
        (shot, query.frame),
        query.person.as_deref(),
        &server.workers,
    )?;
    let counts = found.before.into_iter().chain(found.after);
    Ok(Raw {
        kind: "application/octet-stream",
        bytes: Arc::new(little(counts)),
        keep_s: 0,
    })
}

fn lut(server: &Arc<Server>, shot: ShotId, query: TableQuery) -> Result<Raw, Failure> {
    let film = server.to_read()?;
    let which = match query.from {
        _ if query.look => WhichTable::Look,
        None => WhichTable::Fix(query.frame),
        Some(from) => WhichTable::Part(from..query.to.unwrap_or(usize::MAX)),
    };
    let ready = pictures::ready_table(&film, shot, which)?;
    let known = ready.key.as_ref().and_then(|key| server.picture(key));
    let bytes = known.unwrap_or_else(|| {
        let made = Arc::new(lut_bytes(pictures::table(&ready).as_ref()));
        if let Some(key) = ready.key {
            server.keep_picture(key, Arc::clone(&made));
        }
        made
    });
    Ok(Raw {
        kind: "application/octet-stream",
        bytes,
        keep_s: 0,
    })
}

/// The nodes of a table after their number a side; 0 alone for no table.
pub(crate) fn lut_bytes(lut: Option<&Lut3d>) -> Vec<u8> {
    let Some(lut) = lut else { return little([0]) };
    let mut bytes = Vec::with_capacity(4 + 12 * lut.table.len());
    bytes.extend((lut.size as u32).to_le_bytes());
    for value in lut.table.as_flattened() {
        bytes.extend(value.to_le_bytes());
    }
    bytes
}

fn little(numbers: impl IntoIterator<Item = u32>) -> Vec<u8> {
    numbers.into_iter().flat_map(u32::to_le_bytes).collect()
}

/// A clip that is dropped on the page.
#[derive(Deserialize)]
struct DropQuery {
    name: String,
}

/// Where a dropped clip was put.
#[derive(Serialize, JsonSchema)]
pub(crate) struct Dropped {
    /// The path, to be taken in.
    pub path: String,
}

/// Routes whose bodies may be of any length.
pub(crate) fn unlimited() -> Router<Arc<Server>> {
    Router::new()
        .route("/{token}/api/drop", post(drop_clip))
        .layer(DefaultBodyLimit::disable())
}

async fn drop_clip(
    State(server): State<Arc<Server>>,
    Query(DropQuery { name }): Query<DropQuery>,
    body: Body,
) -> Result<axum::Json<Dropped>, Failure> {
    let name = Path::new(&name)
        .file_name()
        .filter(|plain| plain.to_string_lossy() == name.as_str() && !name.starts_with('.'))
        .ok_or_else(|| Failure::bad(format!("'{name}' is not a plain file name")))?
        .to_owned();
    let directory = clips_beside(&server.film);
    let path = apart(move || free_place(&directory, &name)).await?;
    let part = path.with_extension("part");
    let written = write_all(&part, body).await;
    let done = match written {
        Ok(()) => tokio::fs::rename(&part, &path).await,
        Err(error) => Err(error),
    };
    if let Err(error) = done {
        let _ = tokio::fs::remove_file(&part).await;
        return Err(Failure::broken(format!(
            "{}: {error}; make room and drop it again",
            path.display()
        )));
    }
    Ok(axum::Json(Dropped {
        path: path.to_string_lossy().into_owned(),
    }))
}

async fn write_all(path: &Path, body: Body) -> std::io::Result<()> {
    let mut file = tokio::fs::OpenOptions::new()
        .write(true)
        .create_new(true)
        .open(path)
        .await?;
    let mut parts = body.into_data_stream();
    while let Some(part) = parts.next().await {
        file.write_all(&part.map_err(std::io::Error::other)?)
            .await?;
    }
    file.sync_all().await
}

/// Dropped clips are copied into a directory beside the film: a browser does not say where they lie.
fn clips_beside(film: &Path) -> PathBuf {
    let name = film
        .file_stem()
        .unwrap_or_default()
        .to_string_lossy()
        .into_owned();
    film.with_file_name(format!("{name}-clips"))
}

/// A name that nothing has yet.
fn free_place(directory: &Path, name: &std::ffi::OsStr) -> Result<PathBuf, Failure> {
    let failed = |error| Failure::broken(format!("{}: {error}", directory.display()));
    std::fs::create_dir_all(directory).map_err(failed)?;
    let plain = directory.join(name);
    let (stem, kind) = (
        plain
            .file_stem()
            .unwrap_or_default()
            .to_string_lossy()
            .into_owned(),
        plain
            .extension()
            .map(|kind| kind.to_string_lossy().into_owned()),
    );
    let numbered = |number: u32| {
        let kind = kind
            .as_ref()
            .map(|kind| format!(".{kind}"))
            .unwrap_or_default();
        directory.join(format!("{stem}-{number}{kind}"))
    };
    let mut path = plain;
    let mut number = 1;
    while path.exists() || path.with_extension("part").exists() {
        number += 1;
        path = numbered(number);
    }
    Ok(path)
}
