//! What long work says while it runs, and how it is told to stop.

use serde::{Deserialize, Serialize};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

/// A stage of the work, in the words of the command line.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Stage {
    /// Looking at a clip and taking it in.
    Start,
    /// Following patches and reading them.
    Read,
    /// Solving.
    Fix,
    /// Rendering.
    Handover,
    /// Reading delivered files again.
    Prove,
}

impl Stage {
    /// What is being done, to stand before a clip's name.
    #[must_use]
    pub const fn words(self) -> &'static str {
        match self {
            Self::Start => "taking in",
            Self::Read => "reading",
            Self::Fix => "fixing",
            Self::Handover => "rendering",
            Self::Prove => "proving",
        }
    }
}

/// One message of running work.
#[derive(Clone, Debug, PartialEq)]
pub enum Event {
    /// Work on a shot begins.
    Begun {
        /// What is being done.
        stage: Stage,
        /// The shot or clip.
        shot: String,
        /// Which of how many, from 1.
        number: (usize, usize),
    },
    /// Work on a shot moves on.
    Progress {
        /// What is being done.
        stage: Stage,
        /// The shot or clip.
        shot: String,
        /// Frames done.
        done: u64,
        /// Frames in all.
        total: u64,
    },
    /// Work on a shot is done, or was done before.
    Ended {
        /// What was done.
        stage: Stage,
        /// The shot or clip.
        shot: String,
        /// One line about the result.
        summary: String,
        /// Whether nothing had to be done.
        unchanged: bool,
    },
    /// Something that the editor should know.
    Note {
        /// The shot or clip.
        shot: String,
        /// One line.
        text: String,
    },
    /// Work on a shot failed; the others go on.
    Failed {
        /// What was being done.
        stage: Stage,
        /// The shot or clip.
        shot: String,
        /// One line: what was found and what to do.
        text: String,
    },
}

/// Somebody who wants to know how the work goes.
pub trait Watch: Sync {
    /// Takes one event.
    fn event(&self, event: &Event);
}

/// A watcher that looks away.
#[derive(Clone, Copy, Debug, Default)]
pub struct Unwatched;

impl Watch for Unwatched {
    fn event(&self, _event: &Event) {}
}

/// A request to stop, shared between whoever asks and whoever works.
#[derive(Clone, Debug, Default)]
pub struct Cancel(Arc<AtomicBool>);

impl Cancel {
    /// Asks the work to stop at the next frame.
    pub fn cancel(&self) {
        self.0.store(true, Ordering::Relaxed);
    }

    /// The flag behind it, for whoever can only set a flag (a signal).
    #[must_use]
    pub fn flag(&self) -> Arc<AtomicBool> {
        Arc::clone(&self.0)
    }

    /// Whether the work was asked to stop.
    #[must_use]
    pub fn is_cancelled(&self) -> bool {
        self.0.load(Ordering::Relaxed)
    }
}
