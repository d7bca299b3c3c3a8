//! Looking through a finished picture, frame by frame: where it is cut, what is no shot, what lies
//! over a picture. Memory does not grow by more than some tens of bytes a frame.
//!
//! A hard cut is a step between two neighbouring frames far above the steps around it, in luma and
//! chroma, left after the one frame has been moved onto the other and smeared as it (so that a whip
//! pan is none), no lamp that is switched, and not undone a few frames later by a return (so that a
//! flash is none). Frames that are mixtures of
//! the frames before and after them, in equal steps, are a dissolve, or a fade where one side is
//! black or white. The thresholds are this project's own, set on generated pictures and held against
//! real ones (`script/check/shots.py`, `shots_filmed.py`).

mod over;
mod small;

use crate::{AreaKind, Seen, SeenArea, SeenSpan, SpanKind};
use small::Thumb;
use std::collections::VecDeque;

/// Least step of a hard cut, signal units.
const LEAST_STEP: f32 = 0.012;
/// A cut's step over the steps on either side of it.
const OVER_AROUND: f32 = 2.5;
/// Correlation above which a step is a light switched on or off in one shot.
const SAME_LIGHT_SWITCHED: f32 = 0.97;
/// Least share of the picture that a cut changes.
const LEAST_CHANGED: f32 = 0.25;
/// Longest flash, frames.
const FLASH: usize = 6;
/// How much lighter a flash makes the picture on average, Y'.
const FLASH_LIGHT: f32 = 0.04;
/// Half the spans, in frames, over which mixtures are looked for.
const HALVES: [usize; 7] = [3, 4, 6, 9, 14, 20, 30];
/// Frames kept on either side of the one in question.
const KEPT: usize = 48;
/// Furthest that a mixture may be off, of the difference of its ends.
const OFF_MIXTURE: f32 = 0.2;
/// The same where what is mixed moves by itself, and its ends are unlike: below this correlation, and no
/// step between two frames beyond this share of their difference (a cut would be all of it); half the span
/// is so many frames at least.
const OFF_MOVING: f32 = 0.45;
const LEAST_MOVING: usize = 9;
const TAIL: usize = 8;
const UNLIKE: f32 = 0.6;
const LARGEST_STEP: f32 = 0.3;
/// Cells by which a frame of a whip pan moves at least, and what may be left of the difference of two of
/// its frames.
const WHIP: usize = 4;
const LEFT_BY_WHIP: f32 = 0.4;
/// Least difference of the ends of a mixture, signal units.
const LEAST_BLEND: f32 = 0.03;
/// Correlation above which the ends of a mixture are one picture: in another light, or slowly moved.
const SAME_DRAWING: f32 = 0.88;
/// What is left of a difference, after moving, below which two pictures are one that moves: on the
/// generated pictures slow movement leaves 0.55–0.6, and a dissolve 0.8 or more.
const SAME_MOVED: f32 = 0.7;

/// How far shares of a mixture may lie from a straight line (root mean square) for that line to say where it ends.
const OFF_LINE: f64 = 0.03;

/// Strength, as a share of the strongest, from which what is found over other middles is the same dissolve.
const AS_STRONG: f32 = 0.8;

/// What is left out around writing on every side, of the picture's width and height.
const BESIDE: f64 = 0.02;

/// A frame made small: luma by averaging, chroma as coarse as is to hand. Y' 0–1, Cb and Cr ±0.5.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct SmallPicture {
    /// Columns of luma; 200 to 400 are enough.
    pub width: usize,
    /// Rows of luma.
    pub height: usize,
    /// Y', row by row.
    pub luma: Vec<f32>,
    /// Columns of chroma.
    pub chroma_width: usize,
    /// Rows of chroma.
    pub chroma_height: usize,
    /// Cb, row by row.
    pub cb: Vec<f32>,
    /// Cr, row by row.
    pub cr: Vec<f32>,
}

/// What is kept of a frame.
#[derive(Clone, Debug)]
struct Facts {
    mean: f32,
    blank: bool,
    chroma: f32,
    flat_share: f32,
    sharp: f32,
    black: bool,
    bars: bool,
    /// Difference from the frame before, as it lies.
    raw: f32,
    /// The same, moved.
    step: f32,
    /// Correlation with the frame before.
    alike: f32,
    /// Share of the picture that differs from the frame before.
    changed: f32,
    /// Fewest frames, 2 or more, back to one that is like this one, with frames between that are
    /// not.
    returns: Option<u8>,
    edges: [u16; 4],
    writing: Vec<over::Writing>,
    card: bool,
    /// A movement of a whip pan leads to this frame.
    whips: bool,
    /// What is left of the difference from the frame before, moved and smeared.
    smeared: f32,
    /// A lamp was switched before this frame.
    lamp: bool,
}

/// A gradual change.
#[derive(Clone, Copy, Debug)]
struct Blend {
    start: usize,
    end: usize,
    /// Its ends by the straight line of its shares, where they lie on one.
    exact: Option<(usize, usize)>,
    strength: f32,
    /// What is mixed moves by itself: the ends are less certain.
    moving: bool,
}

impl Blend {
    /// What is certain comes first, and of that what is strongest.
    fn before(&self, other: &Self) -> std::cmp::Ordering {
        (self.moving.cmp(&other.moving)).then(other.strength.total_cmp(&self.strength))
    }
}

/// Looks through a finished picture.
#[derive(Clone, Debug, Default)]
pub struct Watcher {
    size: (usize, usize),
    thumbs: VecDeque<Thumb>,
    facts: Vec<Facts>,
    blends: Vec<Blend>,
    strokes: over::Strokes,
}

impl Watcher {
    /// Begins.
    #[must_use]
    pub fn new() -> Self {
        Self::default()
    }

    /// The next frame. All have one size.
    pub fn push(&mut self, picture: &SmallPicture) {
        self.size = (picture.width, picture.height);
        let thumb = Thumb::of(picture);
        let mean = thumb.mean_luma();
        let (mut raw, mut step, mut alike, mut changed) = (0.0, 0.0, 1.0, 0.0);
        let (mut whips, mut smeared, mut lamp) = (false, 1.0, false);
        if let Some(before) = self.thumbs.back() {
            raw = small::plain(before, &thumb);
            step = raw;
            if raw > LEAST_STEP / 2.0 {
                step = small::moved(before, &thumb);
                alike = small::alike(before, &thumb);
                changed = small::changed(before, &thumb);
                if raw > LEAST_STEP {
                    let (far, left) = small::movement(before, &thumb);
                    whips = far >= WHIP && left < LEFT_BY_WHIP;
                }
                if step > LEAST_STEP {
                    smeared = small::smeared(before, &thumb);
                    lamp = small::lamp_switched(before, &thumb);
                }
            }
        }
        let returns = self.returning(&thumb, raw);
        self.facts.push(Facts {
            mean,
            blank: thumb.is_blank(),
            chroma: thumb.mean_chroma(),
            flat_share: thumb.flat_share(),
            sharp: over::sharp_share(picture),
            black: mean < 0.02 && thumb.brightest() < 0.08,
            bars: thumb.is_bars(),
            raw,
            step,
            alike,
            changed,
            returns,
            edges: over::bars(picture),
            writing: self.strokes.next(picture),
            card: over::is_card(picture),
            whips,
            smeared,
            lamp,
        });
        self.thumbs.push_back(thumb);
        if self.thumbs.len() > 2 * KEPT + 1 {
            self.thumbs.pop_front();
        }
        if self.thumbs.len() == 2 * KEPT + 1 {
            self.blend_at(KEPT);
        } else if self.thumbs.len() > KEPT {
            self.blend_at(self.thumbs.len() - 1 - KEPT);
        }
    }

    fn returning(&self, thumb: &Thumb, raw: f32) -> Option<u8> {
        if raw <= LEAST_STEP {
            return None;
        }
        let count = self.thumbs.len();
        (2..=FLASH + 1).find_map(|back| {
            let before = self.thumbs.get(count.checked_sub(back)?)?;
            let between = &self.thumbs[count + 1 - back];
            let away = small::plain(before, between);
            (away > LEAST_STEP && small::moved(before, thumb) < 0.3 * away).then_some(back as u8)
        })
    }

    /// Looks for a mixture around a frame that is kept.
    fn blend_at(&mut self, centre: usize) {
        let first = self.facts.len() - self.thumbs.len();
        let mut best: Option<Blend> = None;
        for half in HALVES {
            if centre < half || centre + half >= self.thumbs.len() {
                break;
            }
            let at = |offset: isize| &self.thumbs[(centre as isize + offset) as usize];
            let (h, q) = (half as isize, (half / 2) as isize);
            let (a, b) = (at(-h), at(h));
            let apart = small::plain(a, b);
            if apart < LEAST_BLEND {
                continue;
            }
            let share = |offset: isize| (offset + h) as f32 / (2 * h) as f32;
            let off = [0, -q, q]
                .into_iter()
                .map(|o| small::off_mixture(at(o), a, b, share(o)) / apart)
                .fold(0.0, f32::max);
            let alike = small::alike_beside(a, b, &self.written(first + centre, half));
            let even = || {
                let steps = &self.facts[first + centre - half + 1..=first + centre + half];
                steps.iter().all(|f| f.raw < LARGEST_STEP * apart)
            };
            let moving = off > OFF_MIXTURE;
            // Writing that fades over a picture that moves is no mixture either.
            let written = |at: usize| !self.facts[first + at].writing.is_empty();
            if moving && written(centre - half) != written(centre + half) {
                continue;
            }
            if moving && !(half >= LEAST_MOVING && off < OFF_MOVING && alike < UNLIKE && even()) {
                continue;
            }
            // Writing that fades in or out changes a part of the picture.
            if small::changed(a, b) < LEAST_CHANGED {
                continue;
            }
            let blank = a.is_blank() || b.is_blank();
            // The same picture lighter, darker or moved is one shot.
            if !blank && (alike > SAME_DRAWING || small::moved_finely(a, b) < SAME_MOVED * apart) {
                continue;
            }
            let (start, end) = self.ends(centre, half, moving);
            let exact = (!moving).then(|| self.straight((start, end))).flatten();
            let found = Blend {
                start: first + start,
                end: first + end,
                exact: exact.map(|(start, end)| (first + start, first + end)),
                strength: apart * (1.0 - off),
                moving,
            };
            let least = if moving { LEAST_MOVING } else { 4 };
            if end - start >= least && best.is_none_or(|b| b.before(&found).is_gt()) {
                best = Some(found);
            }
        }
        self.blends.extend(best);
    }

    /// The cells that writing covers in the frames around one, or a little later: what fades in is known
    /// as writing once it has stood still.
    fn written(&self, centre: usize, half: usize) -> Vec<bool> {
        let last = (centre + half + usize::from(over::STILL)).min(self.facts.len() - 1);
        let mut cells = vec![false; small::WIDTH * small::HEIGHT];
        for writing in self.facts[centre - half..=last]
            .iter()
            .flat_map(|f| &f.writing)
        {
            let [left, top, right, bottom] = writing.around.map(usize::from);
            let (w, h) = (self.size.0.max(1), self.size.1.max(1));
            for y in top * small::HEIGHT / h..(bottom * small::HEIGHT).div_ceil(h) {
                let row = y * small::WIDTH;
                let (from, to) = (left * small::WIDTH / w, (right * small::WIDTH).div_ceil(w));
                cells[row + from..row + to.min(small::WIDTH)].fill(true);
            }
        }
        cells
    }

    /// Walks outward from the middle of a mixture for as long as the shares go on changing.
    fn ends(&self, centre: usize, half: usize, moving: bool) -> (usize, usize) {
        let (a, b) = (&self.thumbs[centre - half], &self.thumbs[centre + half]);
        let share = |at: usize| small::share_of(&self.thumbs[at], a, b);
        // Over two frames, or, as what moves by itself moves the shares too, over four.
        let least = if moving { 0.5 } else { 0.4 } / half as f32;
        let goes_on =
            |from: usize, to: usize| (to - from == 2 || moving) && share(to) - share(from) > least;
        let mut start = centre;
        while start >= 4 && (goes_on(start - 2, start) || goes_on(start - 4, start)) {
            start -= 1;
        }
        let mut end = centre;
        while end + 4 < self.thumbs.len() && (goes_on(end, end + 2) || goes_on(end, end + 4)) {
            end += 1;
        }
        (start, end + 1)
    }

    /// The ends of a mixture whose shares lie on a straight line, by that line: walking outward takes a frame more or less,
    /// as the first share is hardly more than none. `None` where they lie on no line, or it ends elsewhere.
    fn straight(&self, (start, end): (usize, usize)) -> Option<(usize, usize)> {
        let (a, b) = (
            self.thumbs.get(start.checked_sub(2)?)?,
            self.thumbs.get(end + 1)?,
        );
        let points: Vec<(f64, f64)> = (start..end)
            .map(|at| {
                (
                    at as f64,
                    f64::from(small::share_of(&self.thumbs[at], a, b)),
                )
            })
            .filter(|(_, share)| (0.15..=0.85).contains(share))
            .collect();
        if points.len() < 3 {
            return None;
        }
        let count = points.len() as f64;
        let mean = |of: &dyn Fn(&(f64, f64)) -> f64| points.iter().map(of).sum::<f64>() / count;
        let (at, share) = (mean(&|p| p.0), mean(&|p| p.1));
        let square = mean(&|p| (p.0 - at).powi(2));
        let slope = mean(&|p| (p.0 - at) * (p.1 - share)) / square;
        let off = mean(&|p| (p.1 - share - slope * (p.0 - at)).powi(2)).sqrt();
        if off > OFF_LINE || slope <= 0.0 {
            return None;
        }
        // The last frame of the one picture alone, and the first of the other.
        let (none, whole) = (at - share / slope, at + (1.0 - share) / slope);
        let (first, after) = ((none.round() + 1.0) as usize, whole.round() as usize);
        let near = first.abs_diff(start) <= 2 && after.abs_diff(end) <= 2;
        (near && first < after).then_some((first, after))
    }

    /// What was seen.
    #[must_use]
    pub fn finish(mut self) -> Seen {
        let count = self.facts.len();
        if count == 0 {
            return Seen::default();
        }
        // The last frames have fewer after them than are kept.
        let held = self.thumbs.len();
        for centre in held.saturating_sub(KEPT)..held {
            self.blend_at(centre);
        }
        let blends = self.chosen_blends();
        let (flashes, undone) = self.flashes();
        let mut cuts: Vec<usize> = (1..count)
            .filter(|at| self.is_cut(*at) && !undone[*at])
            .filter(|at| !blends.iter().any(|b| (b.start + 1..b.end).contains(at)))
            .collect();
        let mut spans: Vec<SeenSpan> = flashes
            .into_iter()
            .filter(|(from, to)| !blends.iter().any(|b| b.start < *to && *from < b.end))
            .map(|span| seen_span(span, SpanKind::Flash))
            .collect();
        for blend in &blends {
            let kind = self.kind_of(blend);
            let (start, end) = blend
                .exact
                .filter(|_| kind == SpanKind::Dissolve)
                .unwrap_or((blend.start, blend.end));
            cuts.push(match kind {
                SpanKind::FadeOut => end,
                _ => start,
            });
            spans.push(seen_span((start, end), kind));
        }
        let mut no_shot: Vec<Option<SpanKind>> = self
            .facts
            .iter()
            .map(|f| match (f.bars, f.black, f.card) {
                (true, ..) => Some(SpanKind::Bars),
                (_, true, _) => Some(SpanKind::Black),
                (.., true) => Some(SpanKind::Card),
                _ => None,
            })
            .collect();
        self.settle_cards(&mut no_shot);
        for (from, to) in runs(&no_shot) {
            let within = spans
                .iter()
                .any(|s| s.in_frame as usize <= from && to <= s.out_frame as usize);
            if to - from < 2 || within {
                no_shot[from..to].fill(None);
            }
        }
        cuts.extend([0, count]);
        for (from, to) in runs(&no_shot) {
            cuts.extend([from, to]);
        }
        cuts.sort_unstable();
        cuts.dedup();
        self.mark_head(&cuts, &mut no_shot);
        for (from, to) in runs(&no_shot) {
            if let Some(kind) = no_shot[from] {
                spans.push(seen_span((from, to), kind));
            }
        }
        spans.sort_by_key(|s| (s.in_frame, s.out_frame, s.what));
        let shots: Vec<(usize, usize)> = cuts
            .windows(2)
            .map(|w| (w[0], w[1]))
            .filter(|(from, _)| *from < count && no_shot[*from].is_none())
            .collect();
        let mut areas: Vec<SeenArea> = shots.iter().flat_map(|s| self.mattes(*s)).collect();
        areas.extend(self.titles(&shots));
        Seen {
            shots: shots
                .into_iter()
                .map(|(a, b)| (a as u64, b as u64))
                .collect(),
            spans,
            areas,
        }
    }

    /// Writing on black that is there for a moment is none of a card; black between two screens of
    /// credits is.
    fn settle_cards(&self, kinds: &mut [Option<SpanKind>]) {
        let spans = runs(kinds);
        for (at, (from, to)) in spans.iter().copied().enumerate() {
            let card = |span: Option<&(usize, usize)>, edge: usize| {
                span.is_some_and(|(a, b)| {
                    kinds[*a] == Some(SpanKind::Card) && (*a == edge || *b == edge)
                })
            };
            let between = kinds[from] == Some(SpanKind::Black)
                && to - from <= 2 * usize::from(over::STILL)
                && at > 0
                && card(spans.get(at - 1), from)
                && card(spans.get(at + 1), to);
            if between {
                kinds[from..to].fill(Some(SpanKind::Card));
            }
        }
        for (from, to) in runs(kinds) {
            if kinds[from] == Some(SpanKind::Card) && to - from < usize::from(over::STILL) {
                kinds[from..to].fill(None);
            }
        }
    }

    fn is_cut(&self, at: usize) -> bool {
        let step = self.facts[at].step;
        if step < LEAST_STEP {
            return false;
        }
        let around = |from: usize, to: usize| {
            let mut steps: Vec<f32> = self.facts[from.max(1).min(to)..to.min(self.facts.len())]
                .iter()
                .map(|f| f.step)
                .collect();
            steps.sort_by(f32::total_cmp);
            steps.get(steps.len() / 2).copied().unwrap_or(0.0)
        };
        let before = around(at.saturating_sub(4), at);
        let after = around(at + 1, at + 5);
        // A whip pan begins and ends by a step that smearing explains.
        let whips = |at: usize| self.facts.get(at).is_some_and(|f| f.whips);
        if (whips(at - 1) || whips(at) || whips(at + 1)) && self.facts[at].smeared < LEFT_BY_WHIP {
            return false;
        }
        // A light that is switched in the shot keeps the drawing of the picture.
        // Writing that comes and goes changes a part of it.
        !self.facts[at].lamp
            && step > OVER_AROUND * before.max(after)
            && self.facts[at].alike < SAME_LIGHT_SWITCHED
            && self.facts[at].changed > LEAST_CHANGED
    }

    /// Spans of flashes, and for each frame whether the step to it belongs to one.
    fn flashes(&self) -> (Vec<(usize, usize)>, Vec<bool>) {
        let mut undone = vec![false; self.facts.len()];
        let mut found: Vec<(usize, usize)> = Vec::new();
        for (end, facts) in self.facts.iter().enumerate() {
            let Some(back) = facts.returns.map(usize::from) else {
                continue;
            };
            let start = end + 1 - back;
            let level = self.facts[start - 1].mean;
            let lighter = |f: &Facts| f.mean > level + FLASH_LIGHT;
            if !self.facts[start..end].iter().all(lighter)
                || found.last().is_some_and(|(_, last)| *last > start)
            {
                continue;
            }
            found.push((start, end));
            undone[start..=end].fill(true);
        }
        (found, undone)
    }

    /// The strongest of those that overlap.
    fn chosen_blends(&self) -> Vec<Blend> {
        let mut by_strength = self.blends.clone();
        by_strength.sort_by(|a, b| a.before(b).then(a.start.cmp(&b.start)));
        let mut chosen: Vec<Blend> = Vec::new();
        for blend in by_strength {
            if !chosen
                .iter()
                .any(|c| c.start < blend.end && blend.start < c.end)
            {
                chosen.push(blend);
            }
        }
        chosen.sort_by_key(|b| b.start);
        self.lengthen(&mut chosen);
        // A long one over moving pictures is found in pieces.
        let mut joined: Vec<Blend> = Vec::new();
        for blend in chosen {
            match joined.last_mut() {
                Some(last) if blend.start <= last.end + 3 && !self.blank_between(last, &blend) => {
                    // A few frames beyond a certain end are what moves after it.
                    if !(blend.moving && !last.moving && blend.end <= last.end + TAIL) {
                        last.end = blend.end;
                        last.exact = None;
                    }
                }
                _ => joined.push(blend),
            }
        }
        joined
    }

    /// Over moving pictures one that is longer than the span it was found over is seen from several middles, each with an end of
    /// its own: those that are nearly as strong, lie mostly over it and over no other say how far it goes.
    fn lengthen(&self, chosen: &mut [Blend]) {
        for at in 0..chosen.len() {
            let of = chosen[at];
            if !of.moving {
                continue;
            }
            let meets = |a: &Blend, b: &Blend| a.start < b.end && b.start < a.end;
            let parts = self.blends.iter().filter(|part| {
                let shared = part
                    .end
                    .min(of.end)
                    .saturating_sub(part.start.max(of.start));
                part.moving
                    && part.strength >= AS_STRONG * of.strength
                    && 2 * shared > (part.end - part.start).min(of.end - of.start)
                    && chosen
                        .iter()
                        .enumerate()
                        .all(|(k, other)| k == at || !meets(part, other))
            });
            let (start, end) = parts.fold((of.start, of.end), |(start, end), part| {
                (start.min(part.start), end.max(part.end))
            });
            (chosen[at].start, chosen[at].end) = (start, end);
        }
    }

    fn blank_between(&self, first: &Blend, second: &Blend) -> bool {
        let to = (second.start + 1).min(self.facts.len());
        self.facts[(first.end - 1).min(to)..to]
            .iter()
            .any(|f| f.blank)
    }

    fn kind_of(&self, blend: &Blend) -> SpanKind {
        let blank = |at: usize| self.facts[at.min(self.facts.len() - 1)].blank;
        if blank(blend.start.saturating_sub(1)) {
            SpanKind::FadeIn
        } else if blank(blend.end) {
            SpanKind::FadeOut
        } else {
            SpanKind::Dissolve
        }
    }

    /// Slates and leaders: what stands before the first shot that is a picture.
    fn mark_head(&self, cuts: &[usize], no_shot: &mut [Option<SpanKind>]) {
        let coloured = {
            let mut chroma: Vec<f32> = self.facts.iter().map(|f| f.chroma).collect();
            chroma.sort_by(f32::total_cmp);
            chroma[chroma.len() * 3 / 4] > 0.02
        };
        for piece in cuts.windows(2) {
            let (from, to) = (piece[0], piece[1]);
            if from >= no_shot.len() || no_shot[from].is_some() {
                continue;
            }
            let facts = &self.facts[from..to];
            let share = |holds: &dyn Fn(&Facts) -> bool| {
                facts.iter().filter(|f| holds(f)).count() as f32 / facts.len() as f32
            };
            let still = facts.iter().skip(1).filter(|f| f.raw < 0.002).count() + 1;
            let drawn = share(&|f| f.flat_share > 0.45 && f.sharp > 0.002) > 0.9;
            let kind = if drawn && still * 10 >= facts.len() * 9 && facts.len() >= 12 {
                SpanKind::Slate
            } else if drawn && coloured && share(&|f| f.chroma < 0.01) > 0.95 {
                SpanKind::Leader
            } else {
                break;
            };
            no_shot[from..to].fill(Some(kind));
        }
    }

    fn mattes(&self, (from, to): (usize, usize)) -> Vec<SeenArea> {
        let (width, height) = (self.size.0 as f64, self.size.1 as f64);
        let lit = || {
            self.facts[from..to]
                .iter()
                .filter(|f| !f.black && f.mean > 0.04)
        };
        let least = |edge: usize| lit().map(|f| f.edges[edge]).min().unwrap_or(0);
        let [top, bottom, left, right] = [0, 1, 2, 3].map(least);
        let pair = |a: u16, b: u16, size: f64| {
            a.abs_diff(b) <= 1
                && (0.02..0.4).contains(&(f64::from(a) / size))
                && (0.02..0.4).contains(&(f64::from(b) / size))
        };
        let area = |left: f64, top: f64, right: f64, bottom: f64| SeenArea {
            in_frame: from as u64,
            out_frame: to as u64,
            what: AreaKind::Matte,
            left,
            top,
            right,
            bottom,
        };
        // One row more: the last one may hold some of the bar.
        let reach = |count: u16, size: f64| (f64::from(count) + 1.0) / size;
        let mut areas = Vec::new();
        if pair(top, bottom, height) {
            areas.push(area(0.0, 0.0, 1.0, reach(top, height)));
            areas.push(area(0.0, 1.0 - reach(bottom, height), 1.0, 1.0));
        }
        if pair(left, right, width) {
            areas.push(area(0.0, 0.0, reach(left, width), 1.0));
            areas.push(area(1.0 - reach(right, width), 0.0, 1.0, 1.0));
        }
        areas
    }

    fn titles(&self, shots: &[(usize, usize)]) -> Vec<SeenArea> {
        let mut areas = Vec::new();
        for (from, to) in shots.iter().copied() {
            let mut open: Vec<over::Writing> = Vec::new();
            for at in from..=to {
                let found = match at < to {
                    true => self.facts[at].writing.as_slice(),
                    false => &[],
                };
                let mut next: Vec<over::Writing> = Vec::new();
                for own in found {
                    let mut own = *own;
                    while let Some(k) = open.iter().position(|other| own.is(other)) {
                        own = own.with(&open.swap_remove(k));
                    }
                    over::join(&mut next, own);
                }
                let gone = std::mem::replace(&mut open, next);
                areas.extend(gone.iter().filter_map(|g| self.title(g, at, (from, to))));
            }
        }
        areas
    }

    /// Writing that stood still until a frame of a shot.
    fn title(&self, writing: &over::Writing, end: usize, shot: (usize, usize)) -> Option<SeenArea> {
        let (width, height) = (self.size.0 as f64, self.size.1 as f64);
        let still = usize::from(over::STILL);
        // Bright detail of a picture that does not move is there from cut to cut, and no line of letters.
        let from_cut_to_cut = writing.since.abs_diff(shot.0) <= 2 && end + 2 >= shot.1;
        if from_cut_to_cut && !writing.line {
            return None;
        }
        let [left, top, right, bottom] = writing.around.map(f64::from);
        // Writing fades in and out; its thin parts, its shadow and its plate lie beside the strokes found.
        let (wide, high) = (BESIDE * width, BESIDE * height);
        // Writing keeps away from the edges of a picture (EBU R 95 asks for more than that, from memory); sky between leaves does not.
        if left < wide || top < high || right > width - wide || bottom > height - high {
            return None;
        }
        Some(SeenArea {
            in_frame: writing.since.saturating_sub(still).max(shot.0) as u64,
            out_frame: (end + still).min(shot.1) as u64,
            what: AreaKind::Title,
            left: ((left - wide) / width).max(0.0),
            top: ((top - high) / height).max(0.0),
            right: ((right + wide) / width).min(1.0),
            bottom: ((bottom + high) / height).min(1.0),
        })
    }
}

fn seen_span((from, to): (usize, usize), what: SpanKind) -> SeenSpan {
    SeenSpan {
        in_frame: from as u64,
        out_frame: to as u64,
        what,
    }
}

/// Runs of one kind.
fn runs(kinds: &[Option<SpanKind>]) -> Vec<(usize, usize)> {
    let mut found: Vec<(usize, usize)> = Vec::new();
    for (at, kind) in kinds.iter().enumerate().filter(|(_, k)| k.is_some()) {
        match found.last_mut() {
            Some((from, to)) if *to == at && kinds[*from] == *kind => *to = at + 1,
            _ => found.push((at, at + 1)),
        }
    }
    found
}
