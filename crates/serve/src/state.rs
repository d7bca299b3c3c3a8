//! What the server knows while it runs. The film itself stays in its file, and is opened for each request.

use crate::Options;
use crate::cache::Cache;
use crate::jobs::Jobs;
use inkarnat_app::view::{TRIED_SHOTS, TriedFix};
use inkarnat_app::{Film, Workers};
use inkarnat_ops::MovingChain;
use std::collections::VecDeque;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::atomic::{AtomicU64, Ordering};
use std::sync::{Arc, Mutex, PoisonError};
use std::sync::{Condvar, MutexGuard};
use std::time::SystemTime;
use tempfile::TempDir;

/// Bytes of pictures that are kept.
const PICTURES: usize = 192 << 20;
/// Fixes of aims that were tried and are kept: several aims on all the shots that can be asked for.
const TRIED: usize = 8 * TRIED_SHOTS;
/// Child processes that decode for the page at once.
const DECODERS: usize = 2;

/// What the server knows while it runs.
pub(crate) struct Server {
    pub(crate) film: PathBuf,
    pub(crate) web_dir: Option<PathBuf>,
    pub(crate) workers: Workers,
    pub(crate) token: String,
    pub(crate) port: u16,
    pub(crate) jobs: Arc<Jobs>,
    /// One decision at a time, in the order in which they were asked for.
    deciding: tokio::sync::Mutex<()>,
    /// One aim at a time is tried.
    trying: Mutex<()>,
    /// Fixes of aims that were tried, the newest last.
    tried: Mutex<VecDeque<TriedFix>>,
    decoding: Mutex<usize>,
    decoded: Condvar,
    pictures: Mutex<Cache>,
    scratch: TempDir,
    counter: AtomicU64,
    overview: Mutex<Option<(Stamp, Arc<Vec<u8>>)>>,
}

/// A place among the child processes.
pub(crate) struct Turn<'a>(&'a Server);

impl Drop for Turn<'_> {
    fn drop(&mut self) {
        *self.0.running() -= 1;
        self.0.decoded.notify_one();
    }
}

/// When the film file and its log were last written, and how long they are.
type Stamp = [Option<(SystemTime, u64)>; 2];

impl Server {
    pub(crate) fn new(options: &Options, token: String, port: u16) -> io::Result<Arc<Self>> {
        Ok(Arc::new(Self {
            film: std::path::absolute(&options.film)?,
            web_dir: options.web_dir.clone(),
            workers: options.workers.clone(),
            token,
            port,
            jobs: Arc::new(Jobs::new()),
            deciding: tokio::sync::Mutex::new(()),
            trying: Mutex::new(()),
            tried: Mutex::default(),
            decoding: Mutex::new(0),
            decoded: Condvar::new(),
            pictures: Mutex::new(Cache::new(PICTURES)),
            scratch: tempfile::Builder::new().prefix("inkarnat-").tempdir()?,
            counter: AtomicU64::new(0),
            overview: Mutex::new(None),
        }))
    }

    /// The film, to be read.
    pub(crate) fn to_read(&self) -> Result<Film, inkarnat_app::FilmError> {
        Film::open_to_read(&self.film)
    }

    /// Waits until no other decision is being made.
    pub(crate) fn turn_to_decide(&self) -> tokio::sync::MutexGuard<'_, ()> {
        self.deciding.blocking_lock()
    }

    /// Waits until no other aim is being tried.
    pub(crate) fn turn_to_try(&self) -> MutexGuard<'_, ()> {
        self.trying.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Keeps the fixes of an aim that was tried, so that pictures can be asked for; those asked about longest ago go first.
    pub(crate) fn keep_tried(&self, fixes: Vec<TriedFix>) {
        let mut tried = self.tried.lock().unwrap_or_else(PoisonError::into_inner);
        for fix in fixes {
            tried.retain(|known| known.name != fix.name);
            tried.push_back(fix);
        }
        while tried.len() > TRIED {
            tried.pop_front();
        }
    }

    /// A fix that was tried.
    pub(crate) fn tried(&self, name: &str) -> Option<MovingChain> {
        let tried = self.tried.lock().unwrap_or_else(PoisonError::into_inner);
        let found = tried.iter().find(|fix| fix.name == name);
        found.map(|fix| fix.chain.clone())
    }

    /// Waits until a child process may be started; the turn ends when what is given is dropped.
    pub(crate) fn decoder(&self) -> Turn<'_> {
        let mut running = self.running();
        while *running >= DECODERS {
            running = self
                .decoded
                .wait(running)
                .unwrap_or_else(PoisonError::into_inner);
        }
        *running += 1;
        Turn(self)
    }

    fn running(&self) -> MutexGuard<'_, usize> {
        self.decoding.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// A new name for a temporary file.
    pub(crate) fn scratch(&self) -> PathBuf {
        let number = self.counter.fetch_add(1, Ordering::Relaxed);
        self.scratch.path().join(format!("picture-{number}"))
    }

    pub(crate) fn picture(&self, key: &str) -> Option<Arc<Vec<u8>>> {
        let mut pictures = self.pictures.lock().unwrap_or_else(PoisonError::into_inner);
        pictures.get(key)
    }

    pub(crate) fn keep_picture(&self, key: String, bytes: Arc<Vec<u8>>) {
        let mut pictures = self.pictures.lock().unwrap_or_else(PoisonError::into_inner);
        pictures.put(key, bytes);
    }

    /// The overview as it was made last, unless the film was written since; else made anew.
    pub(crate) fn overview<E>(
        &self,
        make: impl FnOnce() -> Result<Vec<u8>, E>,
    ) -> Result<Arc<Vec<u8>>, E> {
        let stamp = stamp(&self.film);
        let mut kept = self.overview.lock().unwrap_or_else(PoisonError::into_inner);
        if let Some((known, bytes)) = &*kept
            && *known == stamp
        {
            return Ok(Arc::clone(bytes));
        }
        let bytes = Arc::new(make()?);
        *kept = Some((stamp, Arc::clone(&bytes)));
        Ok(bytes)
    }
}

fn stamp(film: &Path) -> Stamp {
    let mut log = film.as_os_str().to_owned();
    log.push("-wal");
    [film.to_owned(), PathBuf::from(log)].map(|path| {
        let found = std::fs::metadata(path).ok()?;
        Some((found.modified().ok()?, found.len()))
    })
}
