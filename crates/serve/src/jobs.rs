//! Long work: one job at a time, watched by every open page.

use inkarnat_app::event::{Event, Watch};
use inkarnat_app::{AppError, Cancel, Context, Problem, Workers};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};
use tokio::sync::broadcast;

/// How long work stands.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
pub(crate) struct JobView {
    /// Counts the jobs since the server began; 0: there was none.
    pub number: u64,
    /// Whether it is running.
    pub running: bool,
    /// What it is, in words.
    pub what: String,
    /// What is being done now: `taking in`, `reading`, `fixing`, `rendering`, `proving`.
    pub stage: String,
    /// The shot or clip that it is being done to.
    pub shot: String,
    /// Which of how many shots, from 1.
    pub shot_number: u64,
    /// How many shots.
    pub shots: u64,
    /// Frames of this shot that are done.
    pub frames_done: u64,
    /// Frames of this shot.
    pub frames: u64,
    /// Seconds since it began.
    pub seconds: f64,
    /// Seconds that this stage will still take, as it goes now; null before that can be said.
    pub seconds_left: Option<f64>,
    /// What happened, newest last; the latest [`LINES`] of it.
    pub lines: Vec<JobLine>,
    /// How it ended.
    pub outcome: Option<JobOutcome>,
    /// Why it could not go on.
    pub error: Option<String>,
    /// What could not be done for single shots, one line each.
    pub problems: Vec<String>,
}

/// One thing that happened.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, JsonSchema)]
pub(crate) struct JobLine {
    /// The shot or clip.
    pub shot: String,
    /// One line.
    pub text: String,
    /// Whether it is something that failed.
    pub failed: bool,
}

/// How a job ended.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "snake_case")]
pub(crate) enum JobOutcome {
    /// It was done; single shots may have problems.
    Done,
    /// It was stopped; the same job goes on from there.
    Stopped,
    /// It could not go on.
    Failed,
}

/// Lines that are kept of a job.
const LINES: usize = 200;

/// What the open pages are told.
#[derive(Clone, Debug)]
pub(crate) enum News {
    /// The job moved on.
    Job(Arc<JobView>),
    /// The film changed.
    Film,
}

/// The one job, and who listens.
pub(crate) struct Jobs {
    news: broadcast::Sender<News>,
    now: Mutex<Now>,
}

#[derive(Default)]
struct Now {
    view: JobView,
    cancel: Cancel,
    begun: Option<Instant>,
    /// When the stage began, and how many shots had been done then.
    stage_begun: Option<(Instant, u64)>,
    told: Option<Instant>,
}

impl Jobs {
    pub(crate) fn new() -> Self {
        Self {
            news: broadcast::channel(256).0,
            now: Mutex::default(),
        }
    }

    fn now(&self) -> MutexGuard<'_, Now> {
        self.now.lock().unwrap_or_else(PoisonError::into_inner)
    }

    pub(crate) fn listen(&self) -> broadcast::Receiver<News> {
        self.news.subscribe()
    }

    pub(crate) fn view(&self) -> JobView {
        self.now().seen()
    }

    /// Tells every page that the film is another one.
    pub(crate) fn film_changed(&self) {
        let _ = self.news.send(News::Film);
    }

    /// Asks the job to stop.
    pub(crate) fn stop(&self) {
        self.now().cancel.cancel();
    }

    /// Whether a job is running.
    pub(crate) fn busy(&self) -> bool {
        self.now().view.running
    }

    /// Starts a job in a thread of its own, unless one is running.
    pub(crate) fn start(
        self: &Arc<Self>,
        what: String,
        workers: Workers,
        work: impl FnOnce(Context<'_>, &mut Vec<Problem>) -> Result<(), AppError> + Send + 'static,
    ) -> Result<JobView, String> {
        let cancel = Cancel::default();
        {
            let mut now = self.now();
            if now.view.running {
                return Err(format!(
                    "{} is running; wait for it, or stop it first",
                    now.view.what
                ));
            }
            *now = Now {
                view: JobView {
                    number: now.view.number + 1,
                    running: true,
                    what,
                    ..JobView::default()
                },
                cancel: cancel.clone(),
                begun: Some(Instant::now()),
                ..Now::default()
            };
        }
        let jobs = Arc::clone(self);
        jobs.tell();
        std::thread::spawn(move || {
            let mut problems = Vec::new();
            let watcher = Watcher { jobs: &jobs };
            let context = Context {
                workers: &workers,
                watch: &watcher,
                cancel: &cancel,
            };
            let result = work(context, &mut problems);
            {
                let mut now = jobs.now();
                now.view.seconds = now.begun.map_or(0.0, |begun| begun.elapsed().as_secs_f64());
                now.view.running = false;
                now.view.seconds_left = None;
                now.view.problems = problems.iter().map(ToString::to_string).collect();
                now.view.outcome = Some(match &result {
                    Ok(()) => JobOutcome::Done,
                    Err(AppError::Cancelled) => JobOutcome::Stopped,
                    Err(_) => JobOutcome::Failed,
                });
                now.view.error = result.err().map(|error| error.to_string());
            }
            jobs.tell();
            jobs.film_changed();
        });
        Ok(self.view())
    }

    fn tell(&self) {
        let mut now = self.now();
        now.told = Some(Instant::now());
        let view = Arc::new(now.seen());
        drop(now);
        // Nobody listening is no error.
        let _ = self.news.send(News::Job(view));
    }
}

impl Now {
    fn seen(&self) -> JobView {
        let mut view = self.view.clone();
        if view.running {
            view.seconds = self
                .begun
                .map_or(0.0, |begun| begun.elapsed().as_secs_f64());
            view.seconds_left = self.seconds_left();
        }
        view
    }

    /// From how long the shots of this stage took until now; a shot that had nothing to do counts too, so the first few
    /// seconds say nothing.
    fn seconds_left(&self) -> Option<f64> {
        let (begun, before) = self.stage_begun?;
        let taken = begun.elapsed().as_secs_f64();
        let share = if self.view.frames > 0 {
            self.view.frames_done as f64 / self.view.frames as f64
        } else {
            0.0
        };
        let done = (self.view.shot_number.saturating_sub(1 + before)) as f64 + share.min(1.0);
        let all = (self.view.shots.saturating_sub(before)) as f64;
        (done > 0.02 && taken > 1.0).then(|| taken / done * (all - done).max(0.0))
    }
}

struct Watcher<'a> {
    jobs: &'a Jobs,
}

/// Progress is told at most this often.
const PAUSE: Duration = Duration::from_millis(100);

impl Watch for Watcher<'_> {
    fn event(&self, event: &Event) {
        let mut now = self.jobs.now();
        let mut film = false;
        let mut line = |shot: &str, text: String, failed: bool| {
            let lines = &mut now.view.lines;
            lines.push(JobLine {
                shot: shot.to_owned(),
                text,
                failed,
            });
            if lines.len() > LINES {
                lines.remove(0);
            }
        };
        let urgent = match event {
            Event::Begun {
                stage,
                shot,
                number: (number, of),
            } => {
                let words = stage.words();
                if now.view.stage != words {
                    now.stage_begun = Some((Instant::now(), *number as u64 - 1));
                }
                now.view.stage = words.to_owned();
                now.view.shot.clone_from(shot);
                now.view.shot_number = *number as u64;
                now.view.shots = *of as u64;
                now.view.frames_done = 0;
                now.view.frames = 0;
                false
            }
            Event::Progress { done, total, .. } => {
                now.view.frames_done = *done;
                now.view.frames = *total;
                false
            }
            Event::Ended {
                stage,
                shot,
                summary,
                unchanged,
            } => {
                if !unchanged {
                    line(shot, format!("{}: {summary}", stage.words()), false);
                    film = true;
                }
                !unchanged
            }
            Event::Note { shot, text } => {
                line(shot, text.clone(), false);
                false
            }
            Event::Failed { stage, shot, text } => {
                line(shot, format!("{}: {text}", stage.words()), true);
                true
            }
        };
        let due = now.told.is_none_or(|told| told.elapsed() >= PAUSE);
        drop(now);
        if urgent || due {
            self.jobs.tell();
        }
        if film {
            self.jobs.film_changed();
        }
    }
}
