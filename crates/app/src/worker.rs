//! A clip's work in a process of its own.
//!
//! The parent starts its own binary with the hidden verb `worker`, writes one job as one line of
//! JSON to its standard input and reads lines of JSON from its standard output. The child writes no
//! film file; a render goes to a temporary name. Whatever happens to the child (a crashing decoder,
//! a kill, a full disk) is an error of that one clip.
//!
//! The parent keeps the child's standard input open as a line of life: when it closes, because the
//! parent cancels or is gone, the child stops.

use crate::event::Cancel;
use crate::job::{Job, Message};
use crate::{AppError, Result};
use serde::de::DeserializeOwned;
use std::io::{BufRead, BufReader, Read, Write};
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use std::sync::mpsc;
use std::time::Duration;

/// The hidden verb.
pub const VERB: &str = "worker";

/// How child processes are started.
#[derive(Clone, Debug)]
pub struct Workers {
    /// The binary, usually this program itself.
    pub program: PathBuf,
    /// How many clips are worked on at once.
    pub at_once: usize,
}

impl Workers {
    /// Children of the running program, one at a time: decoding and encoding use every core as it is.
    ///
    /// # Errors
    /// If the system does not say which program is running.
    pub fn of_this_program() -> Result<Self> {
        Ok(Self {
            program: std::env::current_exe().map_err(AppError::NoProgram)?,
            at_once: 1,
        })
    }

    /// Runs one job; `progress` gets frames done and frames in all.
    ///
    /// # Errors
    /// [`AppError::Clip`] with what the child found, [`AppError::WorkerEnded`] if it died,
    /// [`AppError::Cancelled`].
    pub fn run<T: DeserializeOwned>(
        &self,
        job: &Job,
        cancel: &Cancel,
        mut progress: impl FnMut(u64, u64),
    ) -> Result<T> {
        let mut child = self.start(job)?;
        let stdin = child.0.stdin.take();
        let stdout = child.0.stdout.take();
        let stderr = child.0.stderr.take();
        let complaint = std::thread::spawn(move || stderr.map(last_words).unwrap_or_default());
        let (sender, lines) = mpsc::sync_channel::<std::io::Result<String>>(64);
        if let Some(stdout) = stdout {
            std::thread::spawn(move || {
                for line in BufReader::new(stdout).lines() {
                    if sender.send(line).is_err() {
                        break;
                    }
                }
            });
        }
        let mut life = stdin;
        if let Some(stdin) = &mut life {
            let mut text = serde_json::to_vec(job).map_err(AppError::protocol)?;
            text.push(b'\n');
            // A child that died at once is reported below, by its exit.
            let _ = stdin.write_all(&text).and_then(|()| stdin.flush());
        }
        let mut result = None;
        loop {
            if cancel.is_cancelled() {
                drop(life.take());
                // The child removes its own temporary file; give it a moment, then insist.
                child.wait_or_kill(Duration::from_secs(5));
                return Err(AppError::Cancelled);
            }
            match lines.recv_timeout(Duration::from_millis(100)) {
                Ok(Ok(line)) => match serde_json::from_str::<Message>(&line) {
                    Ok(Message::Progress { done, total }) => progress(done, total),
                    Ok(Message::Failed { text }) => result = Some(Err(AppError::Clip(text))),
                    Ok(Message::Done { result: value }) => {
                        result =
                            Some(serde_json::from_str(value.get()).map_err(AppError::protocol));
                    }
                    Err(error) => return Err(AppError::protocol(error)),
                },
                Ok(Err(_)) | Err(mpsc::RecvTimeoutError::Disconnected) => break,
                Err(mpsc::RecvTimeoutError::Timeout) => {}
            }
        }
        let status = child.0.wait().map_err(AppError::WorkerStart)?;
        // A signal from the terminal reaches parent and child at once.
        if cancel.is_cancelled() {
            return Err(AppError::Cancelled);
        }
        let complaint = complaint.join().unwrap_or_default();
        match result {
            Some(Err(error)) => Err(error),
            Some(Ok(value)) if status.success() => Ok(value),
            _ => Err(AppError::WorkerEnded {
                how: how_it_ended(status),
                complaint,
            }),
        }
    }

    fn start(&self, _job: &Job) -> Result<Reaped> {
        Command::new(&self.program)
            .arg(VERB)
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .map(Reaped)
            .map_err(AppError::WorkerStart)
    }
}

/// A child that never outlives its parent's interest.
struct Reaped(Child);

impl Reaped {
    fn wait_or_kill(&mut self, patience: Duration) {
        let step = Duration::from_millis(50);
        let mut waited = Duration::ZERO;
        while waited < patience {
            if matches!(self.0.try_wait(), Ok(Some(_)) | Err(_)) {
                return;
            }
            std::thread::sleep(step);
            waited += step;
        }
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

impl Drop for Reaped {
    fn drop(&mut self) {
        if !matches!(self.0.try_wait(), Ok(Some(_))) {
            let _ = self.0.kill();
            let _ = self.0.wait();
        }
    }
}

/// The last line that a child wrote to its standard error.
fn last_words(mut stderr: impl Read) -> String {
    let mut text = Vec::new();
    let _ = stderr.read_to_end(&mut text);
    String::from_utf8_lossy(&text)
        .lines()
        .rev()
        .find(|line| !line.trim().is_empty())
        .unwrap_or_default()
        .trim()
        .to_owned()
}

#[cfg(unix)]
fn how_it_ended(status: std::process::ExitStatus) -> String {
    use std::os::unix::process::ExitStatusExt;
    match status.signal() {
        Some(9) => "was killed (signal 9)".to_owned(),
        Some(25) => "was stopped by the limit on file size (signal 25)".to_owned(),
        Some(signal) => format!("crashed (signal {signal})"),
        None => format!("ended with {status}"),
    }
}

#[cfg(not(unix))]
fn how_it_ended(status: std::process::ExitStatus) -> String {
    format!("ended with {status}")
}

/// The child's side: takes one job from standard input, does it, and says on standard output how it
/// goes, until it is done or `cancel` is set. Returns the exit code.
#[must_use]
pub fn serve(cancel: &Cancel) -> u8 {
    let mut line = String::new();
    let mut stdin = BufReader::new(std::io::stdin());
    if stdin.read_line(&mut line).is_err() {
        return 1;
    }
    let life = cancel.clone();
    std::thread::spawn(move || {
        let mut rest = Vec::new();
        let _ = stdin.read_to_end(&mut rest);
        life.cancel();
    });
    let say = |message: &Message| -> bool {
        let mut out = std::io::stdout().lock();
        serde_json::to_writer(&mut out, message).is_ok()
            && out.write_all(b"\n").is_ok()
            && out.flush().is_ok()
    };
    let outcome = match serde_json::from_str::<Job>(&line) {
        Ok(job) => {
            let gone = cancel.clone();
            job.perform(cancel, &|done, total| {
                if !say(&Message::Progress { done, total }) {
                    gone.cancel();
                }
            })
        }
        Err(error) => Err(AppError::protocol(error)),
    };
    let message = match outcome {
        Ok(result) => Message::Done { result },
        Err(error) => Message::Failed {
            text: error.to_string(),
        },
    };
    u8::from(!say(&message))
}
