//! The lines of a list, before their times are understood.

use inkarnat_ops::Cdl;

/// An event line with the lines that belong to it.
#[derive(Clone, Debug)]
pub(super) struct RawEvent {
    pub(super) line: usize,
    pub(super) number: String,
    pub(super) reel: String,
    pub(super) channels: String,
    /// `C`, `D`, `W001`, `K`….
    pub(super) kind: String,
    /// Frames of the transition.
    pub(super) length: i64,
    /// Source in and out, record in and out.
    pub(super) times: [String; 4],
    /// What the list says about drop-frame at this place.
    pub(super) drop: bool,
    pub(super) from: Option<String>,
    pub(super) to: Option<String>,
    pub(super) file: Option<String>,
    /// Speed in frames a second.
    pub(super) speed: Option<f64>,
    pub(super) cdl: Option<Cdl>,
    /// The scene, by a comment: common practice, no source.
    pub(super) scene: Option<String>,
    pub(super) comments: Vec<String>,
}

/// A list taken apart.
#[derive(Debug, Default)]
pub(super) struct Lines {
    pub(super) title: String,
    pub(super) events: Vec<RawEvent>,
    /// Lines that begin as an event does and are none: line, number, text.
    pub(super) malformed: Vec<(usize, String, String)>,
    /// Lines that nothing is known about.
    pub(super) unknown: Vec<(usize, String)>,
}

/// Takes a list apart.
pub(super) fn take_apart(text: &str) -> Lines {
    let mut lines = Lines::default();
    let mut drop = false;
    // What follows a malformed event belongs to it, and not to the one before.
    let mut of_none = false;
    for (index, line) in text.lines().enumerate() {
        let (number, line) = (index + 1, line.trim().trim_start_matches('\u{feff}'));
        if line.is_empty() {
            continue;
        }
        if let Some(title) = after(line, "TITLE:") {
            lines.title = title.to_owned();
        } else if let Some(mode) = after(line, "FCM:") {
            drop = mode.to_uppercase().starts_with("DROP");
        } else if let Some(event) = event(number, line, drop) {
            of_none = false;
            lines.events.push(event);
        } else if let Some(event) = numbered(line) {
            of_none = true;
            lines
                .malformed
                .push((number, event.to_owned(), line.to_owned()));
        } else if of_none && (line.starts_with('*') || line.starts_with("M2")) {
        } else if let Some(comment) = line.strip_prefix('*') {
            if let Some(event) = lines.events.last_mut() {
                remark(event, comment.trim());
            }
        } else if let Some(speed) = line.strip_prefix("M2") {
            if !retime(&mut lines.events, speed) {
                lines.unknown.push((number, line.to_owned()));
            }
        } else if !line.starts_with("EFFECTS NAME IS") && !line.starts_with("SPLIT:") {
            lines.unknown.push((number, line.to_owned()));
        }
    }
    lines
}

/// The number that a line begins with as an event does: digits alone, with something after them.
fn numbered(line: &str) -> Option<&str> {
    let (number, _) = line.split_once(char::is_whitespace)?;
    number.bytes().all(|b| b.is_ascii_digit()).then_some(number)
}

fn after<'a>(line: &'a str, word: &str) -> Option<&'a str> {
    let (head, rest) = line.split_at_checked(word.len())?;
    head.eq_ignore_ascii_case(word).then(|| rest.trim())
}

/// An event line; `None` where it is something else.
fn event(line: usize, text: &str, drop: bool) -> Option<RawEvent> {
    let words: Vec<&str> = text.split_whitespace().collect();
    let looks_like_time =
        |word: &&str| word.contains([':', ';']) && word.starts_with(|c: char| c.is_ascii_digit());
    if words.len() < 8 || !words[0].starts_with(|c: char| c.is_ascii_digit()) {
        return None;
    }
    let (head, times) = words.split_at(words.len() - 4);
    if times.iter().filter(|word| looks_like_time(word)).count() < 3 {
        return None;
    }
    // From the right: the length of the transition, where there is one; its kind; the channels.
    // What is left is the reel, which may have spaces.
    let (length, head) = match head.split_last() {
        Some((last, rest)) if rest.len() > 3 && last.bytes().all(|b| b.is_ascii_digit()) => {
            (last.parse().ok()?, rest)
        }
        _ => (0, head),
    };
    let [number, reel @ .., channels, kind] = head else {
        return None;
    };
    if reel.is_empty() {
        return None;
    }
    Some(RawEvent {
        line,
        number: (*number).to_owned(),
        reel: reel.join(" "),
        channels: (*channels).to_owned(),
        kind: kind.to_uppercase(),
        length,
        times: [0, 1, 2, 3].map(|at| times[at].to_owned()),
        drop,
        from: None,
        to: None,
        file: None,
        speed: None,
        cdl: None,
        scene: None,
        comments: Vec::new(),
    })
}

fn remark(event: &mut RawEvent, comment: &str) {
    let some = |text: &str| (!text.is_empty()).then(|| text.to_owned());
    if let Some(name) = after(comment, "FROM CLIP NAME:") {
        event.from = some(name);
    } else if let Some(name) = after(comment, "TO CLIP NAME:") {
        event.to = some(name);
    } else if let Some(name) = after(comment, "SOURCE FILE:") {
        event.file = some(name);
    } else if let Some(scene) = after(comment, "SCENE:") {
        event.scene = some(scene);
    } else if let Some(numbers) = after(comment, "ASC_SOP").and_then(numbers_of::<9>) {
        let cdl = event.cdl.get_or_insert(Cdl::NEUTRAL);
        cdl.slope = [numbers[0], numbers[1], numbers[2]];
        cdl.offset = [numbers[3], numbers[4], numbers[5]];
        cdl.power = [numbers[6], numbers[7], numbers[8]];
    } else if let Some([saturation]) = after(comment, "ASC_SAT").and_then(numbers_of::<1>) {
        event.cdl.get_or_insert(Cdl::NEUTRAL).saturation = saturation;
    } else {
        event.comments.push(comment.to_owned());
    }
}

fn numbers_of<const N: usize>(text: &str) -> Option<[f64; N]> {
    let numbers: Vec<f64> = text
        .split(|c: char| c.is_whitespace() || "(),:".contains(c))
        .filter(|word| !word.is_empty())
        .map(|word| word.parse().ok().filter(|v: &f64| v.is_finite()))
        .collect::<Option<_>>()?;
    numbers.try_into().ok()
}

/// Gives a speed to the event that it belongs to: of the last number, the one of that reel.
fn retime(events: &mut [RawEvent], text: &str) -> bool {
    let words: Vec<&str> = text.split_whitespace().collect();
    let speed_at = words
        .iter()
        .rposition(|word| word.parse::<f64>().is_ok_and(f64::is_finite));
    let (Some(at), Some(number)) = (speed_at, events.last().map(|e| e.number.clone())) else {
        return false;
    };
    let Ok(speed) = words[at].parse::<f64>() else {
        return false;
    };
    let reel = words[..at].join(" ");
    let start = words.get(at + 1).copied().unwrap_or_default();
    let group = events.iter().rposition(|e| e.number != number);
    let group = &mut events[group.map_or(0, |at| at + 1)..];
    // Both sides of a dissolve may be of one reel: the time of its first frame decides then.
    let found = group
        .iter()
        .position(|e| e.reel == reel && e.times[0] == start)
        .or_else(|| group.iter().rposition(|e| e.reel == reel))
        .unwrap_or(group.len() - 1);
    group[found].speed = Some(speed);
    true
}
