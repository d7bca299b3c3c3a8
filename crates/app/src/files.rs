//! Files that appear whole or not at all, and never in place of what is not ours.

use crate::{AppError, Result};
use inkarnat_film::{Deliverable, Film, Fingerprint, InputKey, ShotId};
use serde_json::{Value, json};
use std::io::Write;
use std::path::{Path, PathBuf};

/// The output directory of a film, and what the film may replace in it.
#[derive(Debug)]
pub(crate) struct Output {
    /// As it was given.
    pub(crate) directory: PathBuf,
    absolute: PathBuf,
    sources: Vec<(PathBuf, PathBuf)>,
}

impl Output {
    /// Makes the directory and checks that it can be written.
    ///
    /// # Errors
    /// [`AppError::File`] where it cannot be made or written.
    pub(crate) fn prepare(directory: &Path, film: &Film) -> Result<Self> {
        let failed = |doing| {
            move |reason| AppError::File {
                path: directory.to_owned(),
                doing,
                reason,
                advice: "choose an output directory that can be written",
            }
        };
        std::fs::create_dir_all(directory).map_err(failed("making the output directory"))?;
        // Permissions do not tell the whole story (read-only file systems); a file does.
        let probe = directory.join(".inkarnat-part-probe");
        std::fs::write(&probe, b"").map_err(failed("writing to the output directory"))?;
        // Another film may be handed over to the same place, and have taken it away.
        let _ = std::fs::remove_file(&probe);
        let absolute =
            std::fs::canonicalize(directory).map_err(failed("looking at the output directory"))?;
        let sources = film
            .sources()?
            .into_iter()
            .map(|source| (source.path, source.absolute))
            .collect();
        Ok(Self {
            directory: directory.to_owned(),
            absolute,
            sources,
        })
    }

    /// Where something below the directory lies, from the root of the file system.
    pub(crate) fn at(&self, below: &str) -> PathBuf {
        self.absolute.join(below)
    }

    /// Whether a file lies below the directory.
    pub(crate) fn holds(&self, path: &Path) -> bool {
        path.starts_with(&self.absolute)
    }

    /// A place below the directory, whose parent is made.
    ///
    /// # Errors
    /// If the place is a source, or holds a file that this film has not written.
    pub(crate) fn place(&self, below: &str, film: &Film) -> Result<Place> {
        let shown = self.directory.join(below);
        let path = self.absolute.join(below);
        for (given, absolute) in &self.sources {
            if same_file(&path, absolute) {
                return Err(AppError::Request(format!(
                    "{}: would overwrite the source {}; choose another output directory",
                    shown.display(),
                    given.display()
                )));
            }
        }
        let mut earlier = None;
        if std::fs::symlink_metadata(&path).is_ok() {
            let found = Fingerprint::of_file(&path).map_err(|reason| AppError::File {
                path: shown.clone(),
                doing: "looking at what is there",
                reason,
                advice: "move it away, or choose another output directory",
            })?;
            let ours = film
                .deliverables()?
                .into_iter()
                .any(|known| known.path == path && is_ours(&known, &found));
            if !ours {
                return Err(AppError::Request(format!(
                    "{}: is there already and was not written from this film; move it away, or choose another output directory",
                    shown.display()
                )));
            }
            earlier = Some(found);
        }
        if let Some(parent) = path.parent() {
            std::fs::create_dir_all(parent).map_err(AppError::writing(&shown))?;
        }
        Ok(Place {
            shown,
            path,
            earlier,
        })
    }

    /// Writes a small file whole and notes it in the film.
    ///
    /// # Errors
    /// As [`Self::place`], and if it cannot be written.
    pub(crate) fn write(
        &self,
        below: &str,
        kind: &str,
        bytes: &[u8],
        film: &mut Film,
    ) -> Result<()> {
        let place = self.place(below, film)?;
        let failed = AppError::writing(&place.shown);
        // Of one name on every run, so that what a killed run has left is replaced and nothing gathers.
        let temporary = place.temporary();
        let written = (|| {
            let mut file = std::fs::File::create(&temporary).map_err(&failed)?;
            file.write_all(bytes).map_err(&failed)?;
            file.sync_all().map_err(&failed)?;
            let fingerprint = Fingerprint::of_file(&temporary).map_err(&failed)?;
            let key = InputKey::of(&fingerprint);
            film.keep_files(&[place.deliverable(kind, None, fingerprint, key, json!({}))])?;
            std::fs::rename(&temporary, &place.path).map_err(&failed)
        })();
        if written.is_err() {
            let _ = std::fs::remove_file(&temporary);
        }
        written
    }
}

impl Output {
    /// Takes back CDL files, tables and cut lists that this film wrote here earlier and that no fix stands
    /// behind any more. What somebody has changed since stays where it is.
    ///
    /// # Errors
    /// If the film cannot be written, or such a file cannot be removed.
    pub(crate) fn withdraw(&self, current: &[String], film: &mut Film) -> Result<()> {
        let current: Vec<PathBuf> = current.iter().map(|c| self.absolute.join(c)).collect();
        for known in film.deliverables()? {
            if !matches!(known.kind.as_str(), "cdl" | "lut" | "list" | "keyframes")
                || !known.path.starts_with(&self.absolute)
                || current.contains(&known.path)
            {
                continue;
            }
            if Fingerprint::of_file(&known.path).is_ok_and(|found| is_ours(&known, &found)) {
                std::fs::remove_file(&known.path).map_err(AppError::writing(&known.path))?;
            }
            film.forget_file(&known.path)?;
        }
        Ok(())
    }
}

/// Writes a file that the film does not keep, whole or not at all, in a place that no source lies in. What is there
/// already is replaced only where `ours` knows its bytes.
///
/// # Errors
/// If the place is a source or holds something else, or it cannot be written.
pub(crate) fn write_alone(
    film: &Film,
    to: &Path,
    bytes: &[u8],
    ours: impl Fn(&[u8]) -> bool,
) -> Result<()> {
    if let Some(source) = film.sources()?.iter().find(|s| same_file(to, &s.absolute)) {
        return Err(AppError::Request(format!(
            "{}: would overwrite the source {}; choose another file",
            to.display(),
            source.path.display()
        )));
    }
    if std::fs::symlink_metadata(to).is_ok() && !std::fs::read(to).is_ok_and(|there| ours(&there)) {
        return Err(AppError::Request(format!(
            "{}: something else is there already; move it away, or choose another file",
            to.display()
        )));
    }
    let failed = AppError::writing(to);
    let parent = to.parent().filter(|p| !p.as_os_str().is_empty());
    let mut file = tempfile::Builder::new()
        .prefix(".inkarnat-")
        .permissions_like_new()
        .tempfile_in(parent.unwrap_or(Path::new(".")))
        .map_err(&failed)?;
    file.write_all(bytes).map_err(&failed)?;
    file.as_file().sync_all().map_err(&failed)?;
    file.persist(to).map_err(|error| failed(error.error))?;
    Ok(())
}

trait LikeNew {
    fn permissions_like_new(&mut self) -> &mut Self;
}

impl LikeNew for tempfile::Builder<'_, '_> {
    /// Temporary files are private; handed-over ones are as any new file.
    #[cfg(unix)]
    fn permissions_like_new(&mut self) -> &mut Self {
        use std::os::unix::fs::PermissionsExt;
        self.permissions(std::fs::Permissions::from_mode(0o666))
    }

    #[cfg(not(unix))]
    fn permissions_like_new(&mut self) -> &mut Self {
        self
    }
}

fn is_ours(known: &Deliverable, found: &Fingerprint) -> bool {
    let earlier: Option<Fingerprint> = known
        .detail
        .get("earlier")
        .and_then(|value| serde_json::from_value(value.clone()).ok());
    known.fingerprint == *found || earlier.as_ref() == Some(found)
}

/// Whether two paths mean the same file, through links too.
fn same_file(a: &Path, b: &Path) -> bool {
    #[cfg(unix)]
    {
        use std::os::unix::fs::MetadataExt;
        if let (Ok(a), Ok(b)) = (std::fs::metadata(a), std::fs::metadata(b)) {
            return (a.dev(), a.ino()) == (b.dev(), b.ino());
        }
    }
    a == b
}

/// Where a file may be put.
#[derive(Debug)]
pub(crate) struct Place {
    /// As the editor knows it.
    pub(crate) shown: PathBuf,
    /// From the root of the file system.
    pub(crate) path: PathBuf,
    /// What lies there now and is ours.
    earlier: Option<Fingerprint>,
}

impl Place {
    /// Puts what was written under [`Self::temporary`] in its place, whole. A folder cannot take the place of a full one
    /// at once: the earlier one goes aside first, so that a kill between the two leaves none rather than a mixture.
    ///
    /// # Errors
    /// Whatever the file system says.
    pub(crate) fn put(&self, temporary: &Path) -> std::io::Result<()> {
        if !self.path.is_dir() {
            return std::fs::rename(temporary, &self.path);
        }
        let aside = self.named(".inkarnat-old-");
        remove(&aside)?;
        std::fs::rename(&self.path, &aside)?;
        std::fs::rename(temporary, &self.path)?;
        remove(&aside)
    }

    /// What the film remembers about a file put here. It is noted before the file is renamed to its
    /// place, with what it replaces, so that a kill between the two leaves nothing unknown.
    pub(crate) fn deliverable(
        &self,
        kind: &str,
        shot: Option<ShotId>,
        fingerprint: Fingerprint,
        key: InputKey,
        mut detail: Value,
    ) -> Deliverable {
        if let (Value::Object(detail), Some(earlier)) = (&mut detail, &self.earlier) {
            detail.insert("earlier".to_owned(), json!(earlier));
        }
        Deliverable {
            path: self.path.clone(),
            kind: kind.to_owned(),
            shot,
            fingerprint,
            key,
            detail,
        }
    }

    /// A temporary name in the same directory, the same on every run: what a killed run left there
    /// is replaced.
    pub(crate) fn temporary(&self) -> PathBuf {
        self.named(".inkarnat-part-")
    }

    fn named(&self, before: &str) -> PathBuf {
        let name = self
            .path
            .file_name()
            .map(|name| name.to_string_lossy().into_owned())
            .unwrap_or_default();
        self.path.with_file_name(format!("{before}{name}"))
    }
}

/// Removes a file or a folder, if it is there.
///
/// # Errors
/// Whatever the file system says.
pub(crate) fn remove(path: &Path) -> std::io::Result<()> {
    let removed = if path.is_dir() {
        std::fs::remove_dir_all(path)
    } else {
        std::fs::remove_file(path)
    };
    match removed {
        Err(error) if error.kind() != std::io::ErrorKind::NotFound => Err(error),
        _ => Ok(()),
    }
}
