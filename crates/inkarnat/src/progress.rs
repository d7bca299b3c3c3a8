//! Progress: a line with the time left on a terminal, plain lines elsewhere.

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};
use inkarnat_app::{Event, Watch};
use std::io::IsTerminal;
use std::sync::Mutex;

/// Shows events on standard error.
pub(crate) struct Progress {
    terminal: bool,
    bar: Mutex<Option<ProgressBar>>,
}

impl Progress {
    pub(crate) fn new() -> Self {
        Self {
            terminal: std::io::stderr().is_terminal(),
            bar: Mutex::new(None),
        }
    }

    /// Takes the line away.
    pub(crate) fn finish(&self) {
        if let Some(bar) = self.bar().take() {
            bar.finish_and_clear();
        }
    }

    fn bar(&self) -> std::sync::MutexGuard<'_, Option<ProgressBar>> {
        self.bar
            .lock()
            .unwrap_or_else(|poisoned| poisoned.into_inner())
    }

    fn say(&self, line: &str) {
        match &*self.bar() {
            Some(bar) => bar.suspend(|| eprintln!("{line}")),
            None => eprintln!("{line}"),
        }
    }
}

impl Watch for Progress {
    fn event(&self, event: &Event) {
        match event {
            Event::Begun {
                stage,
                shot,
                number: (number, of),
            } => {
                if self.terminal {
                    self.finish();
                    let style = ProgressStyle::with_template(
                        "{prefix} {wide_bar} {pos}/{len} frames, {eta} left",
                    )
                    .unwrap_or_else(|_| ProgressStyle::default_bar());
                    let bar = ProgressBar::with_draw_target(Some(0), ProgressDrawTarget::stderr())
                        .with_style(style)
                        .with_prefix(format!("[{number}/{of}] {} {shot}", stage.words()));
                    *self.bar() = Some(bar);
                } else if *of > 1 {
                    eprintln!("[{number}/{of}] {} {shot}", stage.words());
                } else {
                    eprintln!("{} {shot}", stage.words());
                }
            }
            Event::Progress { done, total, .. } => {
                if let Some(bar) = &*self.bar() {
                    bar.set_length(*total);
                    bar.set_position(*done);
                }
            }
            Event::Ended {
                stage,
                shot,
                summary,
                unchanged,
            } => {
                self.finish();
                let mark = if *unchanged { " (nothing to do)" } else { "" };
                eprintln!("  {} {shot}: {summary}{mark}", stage.words());
            }
            Event::Note { shot, text } => self.say(&format!("  note, {shot}: {text}")),
            Event::Failed { stage, text, .. } => {
                self.finish();
                eprintln!("  failed, {}: {text}", stage.words());
            }
        }
    }
}
