//! Which clip an event of a list means.

use crate::{Event, Rate};

/// What is known of a clip that may be meant.
#[derive(Clone, Debug, PartialEq)]
pub struct SourceFacts {
    /// Its path as text, with `/` between directories.
    pub path: String,
    /// Reel or tape name that the file carries.
    pub reel: Option<String>,
    /// Frame rate.
    pub rate: Rate,
    /// Timecode of its first frame as a count; `None` where it carries none.
    pub start: Option<i64>,
    /// Frames.
    pub frames: i64,
}

/// An event that was linked.
#[derive(Clone, Debug, PartialEq)]
pub struct Linked {
    /// Which of the clips.
    pub source: usize,
    /// First frame of the clip that is used.
    pub in_frame: u64,
    /// The frame after the last.
    pub out_frame: u64,
    /// What was assumed, one line each.
    pub notes: Vec<String>,
}

/// Why an event could not be linked, and what to do.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NotLinked {
    /// One line.
    pub reason: String,
}

/// Frames by which a list may reach beyond a clip before it means something else: rounding at
/// another rate or speed.
const SLACK: i64 = 1;
/// Characters that a reel name has room for in the oldest lists (CMX 3600; common practice).
const REEL_CHARACTERS: usize = 8;

/// Links an event: by file, clip name and reel, then by source timecode. Where several clips are
/// left it is not linked: nothing is guessed.
///
/// # Errors
/// Says why no clip, or no single one, fits.
pub fn link(event: &Event, sources: &[SourceFacts]) -> Result<Linked, NotLinked> {
    let fail = |reason: String| Err(NotLinked { reason });
    let (named, how) = candidates(event, sources);
    if named.is_empty() {
        let wanted = [
            event.target.as_deref().map(|t| format!("file {t}")),
            (!event.name.is_empty()).then(|| format!("clip {}", event.name)),
            event.reel.as_deref().map(|r| format!("reel {r}")),
        ];
        let wanted: Vec<String> = wanted.into_iter().flatten().collect();
        return fail(if wanted.is_empty() {
            "the list names no clip, file or reel here; export it again with clip names".to_owned()
        } else {
            format!(
                "no clip for {}; give that clip beside the list",
                wanted.join(", ")
            )
        });
    }
    let counted: Vec<usize> = named
        .iter()
        .copied()
        .filter(|at| sources[*at].rate.counts_like(event.source.rate))
        .collect();
    if counted.is_empty() {
        let other = &sources[named[0]];
        return fail(format!(
            "{} runs at {} frames a second and the list counts {}; export the list at the clip's rate",
            other.path, other.rate, event.source.rate
        ));
    }
    let fits: Vec<(usize, (i64, i64))> = counted
        .iter()
        .filter_map(|at| Some((*at, span_in(event, &sources[*at])?)))
        .collect();
    match fits.as_slice() {
        [] => {
            let first = &sources[counted[0]];
            let start = first.start.unwrap_or(0);
            fail(format!(
                "{} has source frames {} to {}, the list asks for {} to {} of it; check that it is the clip that was edited",
                first.path,
                start,
                start + first.frames,
                event.source.start,
                event.source.end
            ))
        }
        [(source, (start, end))] => {
            let facts = &sources[*source];
            let mut notes = Vec::new();
            if let Some(how) = how {
                notes.push(how);
            }
            if facts.rate != event.source.rate {
                notes.push(format!(
                    "{} runs at {}, the list at {}: frame is taken for frame",
                    facts.path, facts.rate, event.source.rate
                ));
            }
            let (from, to) = ((*start).max(0), (*end).min(facts.frames));
            if (from, to) != (*start, *end) {
                notes.push(format!(
                    "the list asks for a frame beyond {}: its last one is used",
                    facts.path
                ));
            }
            Ok(Linked {
                source: *source,
                in_frame: from as u64,
                out_frame: to as u64,
                notes,
            })
        }
        several => {
            let names: Vec<&str> = several
                .iter()
                .map(|(at, _)| sources[*at].path.as_str())
                .collect();
            fail(format!(
                "{} clips fit ({}); give only the one that is meant, or a list that names files by their path",
                several.len(),
                names.join(", ")
            ))
        }
    }
}

/// The clips that are meant by name, and what had to be assumed for that.
fn candidates(event: &Event, sources: &[SourceFacts]) -> (Vec<usize>, Option<String>) {
    let by = |matches: &dyn Fn(&SourceFacts) -> bool| -> Vec<usize> {
        (0..sources.len())
            .filter(|at| matches(&sources[*at]))
            .collect()
    };
    if let Some(target) = &event.target {
        let target = plain(target);
        // The longest common end of the two paths decides between files of one name.
        let shared = |s: &SourceFacts| {
            let (a, b) = (s.path.rsplit('/'), target.rsplit('/'));
            a.zip(b).take_while(|(a, b)| a == b).count()
        };
        let most = sources.iter().map(shared).max().unwrap_or(0);
        if most > 0 {
            return (by(&|s| shared(s) == most), None);
        }
    }
    let names: Vec<&str> = event
        .target
        .as_deref()
        .map(file_name)
        .into_iter()
        .chain((!event.name.is_empty()).then_some(event.name.as_str()))
        .collect();
    for name in &names {
        let exact = by(&|s| file_name(&s.path) == *name);
        if !exact.is_empty() {
            return (exact, None);
        }
    }
    for name in &names {
        let wanted = stem(name).to_lowercase();
        let loose = by(&|s| stem(file_name(&s.path)).to_lowercase() == wanted);
        if !loose.is_empty() {
            return (loose, None);
        }
    }
    let Some(reel) = event.reel.as_deref().filter(|r| !r.is_empty()) else {
        return (Vec::new(), None);
    };
    let wanted = reel.to_lowercase();
    let reels = |s: &SourceFacts| -> Vec<String> {
        s.reel
            .iter()
            .map(|r| r.to_lowercase())
            .chain([stem(file_name(&s.path)).to_lowercase()])
            .collect()
    };
    let exact = by(&|s| reels(s).contains(&wanted));
    if !exact.is_empty() {
        return (exact, None);
    }
    if reel.chars().count() == REEL_CHARACTERS {
        let cut = by(&|s| reels(s).iter().any(|r| r.starts_with(&wanted)));
        if !cut.is_empty() {
            return (
                cut,
                Some(format!(
                    "reel {reel} is taken as a longer name cut to {REEL_CHARACTERS} characters"
                )),
            );
        }
    }
    (Vec::new(), None)
}

/// The frames of a clip that an event uses, counted from the clip's first; `None` where it has not
/// got them.
fn span_in(event: &Event, source: &SourceFacts) -> Option<(i64, i64)> {
    let span = event.source;
    let fits = |origin: i64| {
        let (start, end) = (span.start - origin, span.end - origin);
        (start >= -SLACK
            && end <= source.frames + SLACK
            && end > start.max(0)
            && start < source.frames)
            .then_some((start, end))
    };
    // By timecode; else as the list says where its media begin; else from the first frame.
    source
        .start
        .and_then(fits)
        .or_else(|| span.available.and_then(|(first, _)| fits(first)))
        .or_else(|| source.start.is_none().then(|| fits(0)).flatten())
}

/// A URL or path as a path: `file:` taken off, `%20` and the like decoded.
#[must_use]
pub fn plain(target: &str) -> String {
    let path = target
        .strip_prefix("file://localhost")
        .or_else(|| target.strip_prefix("file://"))
        .unwrap_or(target)
        .as_bytes();
    let mut bytes = Vec::new();
    let mut at = 0;
    while at < path.len() {
        let code = path
            .get(at + 1..at + 3)
            .filter(|_| path[at] == b'%')
            .and_then(|pair| std::str::from_utf8(pair).ok())
            .and_then(|pair| u8::from_str_radix(pair, 16).ok());
        bytes.push(code.unwrap_or(path[at]));
        at += if code.is_some() { 3 } else { 1 };
    }
    String::from_utf8_lossy(&bytes).replace('\\', "/")
}

fn file_name(path: &str) -> &str {
    path.rsplit(['/', '\\']).next().unwrap_or(path)
}

fn stem(name: &str) -> &str {
    // Only what looks like an ending: a name may have dots of its own.
    match name.rsplit_once('.') {
        Some((stem, end)) if !stem.is_empty() && (1..=4).contains(&end.len()) => stem,
        _ => name,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::list::testing::event;

    fn clip(path: &str, reel: Option<&str>, start: i64, frames: i64) -> SourceFacts {
        SourceFacts {
            path: path.to_owned(),
            reel: reel.map(str::to_owned),
            rate: Rate::FILM,
            start: Some(start),
            frames,
        }
    }

    fn linked(event: &Event, sources: &[SourceFacts]) -> (usize, u64, u64) {
        let found = link(event, sources).unwrap();
        (found.source, found.in_frame, found.out_frame)
    }

    #[test]
    fn by_name_reel_and_timecode() {
        let clips = [
            clip("/day/A001.mov", Some("A001R2"), 1000, 100),
            clip("/day/B001.mov", Some("LONGREELNAME"), 5000, 100),
        ];
        assert_eq!(
            linked(&event("A001.mov", (1010, 1050), (0, 40), 1.0), &clips),
            (0, 10, 50)
        );
        assert_eq!(
            linked(&event("a001", (1010, 1050), (0, 40), 1.0), &clips),
            (0, 10, 50)
        );
        let mut by_reel = event("", (1010, 1050), (0, 40), 1.0);
        by_reel.reel = Some("a001r2".to_owned());
        assert_eq!(linked(&by_reel, &clips), (0, 10, 50));
        let mut cut_short = event("", (5000, 5010), (0, 10), 1.0);
        cut_short.reel = Some("LONGREEL".to_owned());
        let found = link(&cut_short, &clips).unwrap();
        assert_eq!((found.source, found.in_frame), (1, 0));
        assert!(
            found.notes[0].contains("cut to 8 characters"),
            "{:?}",
            found.notes
        );
    }

    #[test]
    fn two_files_of_one_name_are_told_apart_or_not_linked() {
        let clips = [
            clip("/one/A001.mov", None, 1000, 100),
            clip("/two/A001.mov", None, 1000, 100),
            clip("/three/A001.mov", None, 9000, 100),
        ];
        // Timecode tells the third one apart.
        assert_eq!(
            linked(&event("A001.mov", (9010, 9020), (0, 10), 1.0), &clips).0,
            2
        );
        let wanted = event("A001.mov", (1010, 1020), (0, 10), 1.0);
        let reason = link(&wanted, &clips).unwrap_err().reason;
        assert!(
            reason.contains("2 clips fit (/one/A001.mov, /two/A001.mov)"),
            "{reason}"
        );
        let mut by_path = wanted;
        by_path.target = Some("file:///other/disk/two/A001.mov".to_owned());
        assert_eq!(linked(&by_path, &clips).0, 1);
    }

    #[test]
    fn says_why_not() {
        let clips = [clip("/day/A001.mov", None, 1000, 100)];
        let reason = |e: &Event| link(e, &clips).unwrap_err().reason;
        assert!(reason(&event("C.mov", (0, 10), (0, 10), 1.0)).contains("no clip for clip C.mov"));
        assert!(reason(&event("", (0, 10), (0, 10), 1.0)).contains("names no clip"));
        assert!(
            reason(&event("A001.mov", (2000, 2010), (0, 10), 1.0)).contains("frames 1000 to 1100")
        );
        let mut other = event("A001.mov", (1000, 1010), (0, 10), 1.0);
        other.source.rate = Rate::PAL;
        assert!(reason(&other).contains("runs at 24 frames a second and the list counts 25"));
    }

    #[test]
    fn counts_from_the_head_where_the_list_says_so() {
        let clips = [clip("/day/A001.mov", None, 1000, 100)];
        let mut e = event("A001.mov", (10, 20), (0, 10), 1.0);
        assert!(link(&e, &clips).is_err());
        e.source.available = Some((0, 100));
        assert_eq!(linked(&e, &clips), (0, 10, 20));
        assert_eq!(plain("file:///a%20b/c%C3%A9.mov"), "/a b/cé.mov");
    }
}
