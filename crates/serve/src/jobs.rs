//! Long work: one job at a time, watched by every open page.
//!
//! Work that only brings the film in line with what was decided makes way for the next decision, and is begun again after it;
//! work that somebody started runs to its end, or until it is stopped.

use inkarnat_app::event::{Event, Watch};
use inkarnat_app::{AppError, Cancel, Context, Problem, Workers};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
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

/// What decisions leave to be done; each does all that those before it do.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum Settling {
    /// Fixing.
    Fix,
    /// Reading what is known, and fixing.
    Read,
    /// Looking for faces where nobody did, reading, and fixing.
    Find,
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
    /// Woken when a job has ended.
    ended: Condvar,
}

#[derive(Default)]
struct Now {
    view: JobView,
    cancel: Cancel,
    /// What is being done for decisions; `None` for what somebody started.
    settling: Option<Settling>,
    /// Whether it was stopped for another decision, after which it is begun again: no page hears of that end.
    made_way: bool,
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
            ended: Condvar::new(),
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

    /// Has the way cleared for a decision: stops work that is done for earlier ones, waits for its end, and says what is left
    /// to be done of it.
    ///
    /// # Errors
    /// If work is running that somebody started.
    pub(crate) fn make_way(&self) -> Result<Option<Settling>, String> {
        let mut now = self.now();
        if !now.view.running {
            return Ok(None);
        }
        let Some(settling) = now.settling else {
            return Err(running(&now.view.what));
        };
        now.made_way = true;
        now.cancel.cancel();
        while now.view.running {
            now = self.ended.wait(now).unwrap_or_else(PoisonError::into_inner);
        }
        // It may have come to its end before it saw that it was to stop.
        let done = now.view.outcome == Some(JobOutcome::Done);
        drop(now);
        if done {
            self.tell();
        }
        Ok((!done).then_some(settling))
    }

    /// Starts a job in a thread of its own, unless one is running. `settling`: what it does for decisions.
    pub(crate) fn start(
        self: &Arc<Self>,
        (what, settling): (String, Option<Settling>),
        workers: Workers,
        work: impl FnOnce(Context<'_>, &mut Vec<Problem>) -> Result<(), AppError> + Send + 'static,
    ) -> Result<JobView, String> {
        let cancel = Cancel::default();
        {
            let mut now = self.now();
            if now.view.running {
                return Err(running(&now.view.what));
            }
            *now = Now {
                view: JobView {
                    number: now.view.number + 1,
                    running: true,
                    what,
                    ..JobView::default()
                },
                cancel: cancel.clone(),
                settling,
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
            let made_way = {
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
                now.made_way
            };
            jobs.ended.notify_all();
            if !made_way {
                jobs.tell();
                jobs.film_changed();
            }
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

/// What is said where something has to wait.
fn running(what: &str) -> String {
    format!("{what} is running; wait for it, or stop it first")
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

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::mpsc;

    fn workers() -> Workers {
        Workers::of_this_program().expect("a program of its own")
    }

    /// A job that runs until it is told to stop.
    fn patient(jobs: &Arc<Jobs>, settling: Option<Settling>) {
        let (began, begun) = mpsc::channel();
        jobs.start(
            ("Patience".to_owned(), settling),
            workers(),
            move |context, _| {
                began.send(()).expect("somebody waits");
                while !context.cancel.is_cancelled() {
                    std::thread::sleep(Duration::from_millis(2));
                }
                Err(AppError::Cancelled)
            },
        )
        .expect("nothing else runs");
        begun.recv().expect("it begins");
    }

    #[test]
    fn work_for_decisions_makes_way_and_is_owed() {
        let jobs = Arc::new(Jobs::new());
        assert_eq!(jobs.make_way(), Ok(None));
        patient(&jobs, Some(Settling::Read));
        assert_eq!(jobs.make_way(), Ok(Some(Settling::Read)));
        assert!(!jobs.busy());
        // What has come to its end owes nothing.
        assert_eq!(jobs.make_way(), Ok(None));
        assert_eq!(
            Some(Settling::Read).max(Some(Settling::Fix)),
            Some(Settling::Read)
        );
        assert_eq!(None.max(Some(Settling::Fix)), Some(Settling::Fix));
    }

    #[test]
    fn what_somebody_started_is_not_stopped_for_a_decision() {
        let jobs = Arc::new(Jobs::new());
        patient(&jobs, None);
        let refused = jobs.make_way().expect_err("it runs on");
        assert!(refused.contains("Patience is running"), "{refused}");
        assert!(jobs.busy());
        jobs.stop();
        while jobs.busy() {
            std::thread::sleep(Duration::from_millis(2));
        }
        assert_eq!(jobs.view().outcome, Some(JobOutcome::Stopped));
    }

    /// Nobody is told that work ended which goes on after the decision that it made way for.
    #[test]
    fn making_way_is_no_end_to_a_page() {
        let jobs = Arc::new(Jobs::new());
        let mut news = jobs.listen();
        patient(&jobs, Some(Settling::Fix));
        jobs.make_way().expect("it makes way");
        let mut told = Vec::new();
        while let Ok(item) = news.try_recv() {
            if let News::Job(view) = item {
                told.push(view.running);
            }
        }
        assert_eq!(told, [true]);
    }
}
