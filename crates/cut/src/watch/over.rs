//! What lies over a picture: black bars beside it, writing on it.

use super::SmallPicture;

/// Y' of the lightest pixel that still belongs to a black bar: coding leaves some codes of noise.
const BLACK: f32 = 0.035;
/// Least share of a row of a bar that is as dark.
const IN_BAR: f32 = 0.9;
/// Y' of the darkest pixel of writing.
const BRIGHT: f32 = 0.7;
/// How much darker it is on both sides of a stroke, Y'.
const FALL: f32 = 0.2;
/// Widest stroke and its surroundings, in pixels of the small picture, to one side.
const REACH: usize = 4;
/// Frames that a stroke stands still before it counts.
pub(super) const STILL: u8 = 12;
/// Y' of the darkest pixel of writing on black.
const LIT: f32 = 0.3;
/// Fewest strokes that writing has side by side in one row.
const SIDE_BY_SIDE: usize = 4;
/// Fewest strokes that a line of letters has side by side.
const LETTERS: usize = 8;
/// Furthest that a pixel of writing is from the writing's upper quartile, Y'.
const ONE_LEVEL: f32 = 0.12;
/// Side of a square in which pixels of writing are near each other, and how many squares apart words
/// of one line lie at most.
const SQUARE: usize = 8;
const NEAR: usize = 2;
/// Fewest pixels of writing, and their least share in the box around them.
const LEAST: usize = 24;
const DENSITY: f32 = 0.04;

/// Rows and columns of black at the edges of one frame: top, bottom, left, right.
pub(super) fn bars(picture: &SmallPicture) -> [u16; 4] {
    let (w, h) = (picture.width, picture.height);
    // Coding rings from the picture into the bar: some pixels may be lighter.
    let black = |values: &mut dyn Iterator<Item = f32>| {
        let (mut dark, mut sum, mut count) = (0u32, 0.0f32, 0u32);
        for value in values {
            dark += u32::from(value < BLACK);
            sum += value;
            count += 1;
        }
        sum < BLACK * count as f32 && dark as f32 >= IN_BAR * count as f32
    };
    let row = |y: usize| black(&mut picture.luma[y * w..(y + 1) * w].iter().copied());
    let column = |x: usize| black(&mut (0..h).map(|y| picture.luma[y * w + x]));
    let count = |n: usize| n as u16;
    [
        count((0..h).take_while(|y| row(*y)).count()),
        count((0..h).rev().take_while(|y| row(*y)).count()),
        count((0..w).take_while(|x| column(*x)).count()),
        count((0..w).rev().take_while(|x| column(*x)).count()),
    ]
}

/// Share of pixels that stand beside a sharp edge.
pub(super) fn sharp_share(picture: &SmallPicture) -> f32 {
    let w = picture.width.max(1);
    let edges = picture
        .luma
        .chunks_exact(w)
        .flat_map(|row| row.windows(2))
        .filter(|pair| (pair[1] - pair[0]).abs() > 0.2)
        .count();
    edges as f32 / picture.luma.len().max(1) as f32
}

/// Whether it is writing on black and nothing else: next to all of it is black, and what is not are
/// strokes with sharp edges, several side by side.
pub(super) fn is_card(picture: &SmallPicture) -> bool {
    let w = picture.width;
    let (mut black, mut lit, mut between, mut strokes, mut most) = (0usize, 0, 0, 0, 0);
    for row in picture.luma.chunks_exact(w.max(1)) {
        let mut runs = 0;
        let mut in_run = false;
        for (x, v) in row.iter().enumerate() {
            black += usize::from(*v < BLACK);
            between += usize::from((BLACK..LIT).contains(v));
            if *v >= LIT {
                lit += 1;
                let reach = w / 24;
                let dark = |v: &f32| *v < LIT / 3.0;
                let left = row[x.saturating_sub(reach)..x].iter().any(dark);
                let right = row[x + 1..(x + 1 + reach).min(w)].iter().any(dark);
                strokes += usize::from(left && right);
                runs += usize::from(!in_run);
            }
            in_run = *v >= LIT;
        }
        most = most.max(runs);
    }
    black * 5 >= picture.luma.len() * 4
        && lit >= LEAST
        && between <= 2 * lit
        && strokes * 20 >= lit * 19
        && most >= SIDE_BY_SIDE
}

/// A box in pixels of the small picture: left, top, right, bottom.
pub(super) type Box4 = [u16; 4];

/// Writing in a frame.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(super) struct Writing {
    /// The box around it.
    pub(super) around: Box4,
    /// The frame since which it has stood still.
    pub(super) since: usize,
    /// Whether it is a line of many letters of one level, and not some bright detail.
    pub(super) line: bool,
}

impl Writing {
    /// Whether two are one: in one place since one time.
    pub(super) fn is(&self, other: &Self) -> bool {
        let (a, b) = (&self.around, &other.around);
        a[0] < b[2]
            && b[0] < a[2]
            && a[1] < b[3]
            && b[1] < a[3]
            && self.since.abs_diff(other.since) <= usize::from(STILL)
    }

    /// Both as one.
    pub(super) fn with(&self, other: &Self) -> Self {
        let (a, b) = (&self.around, &other.around);
        Self {
            around: [
                a[0].min(b[0]),
                a[1].min(b[1]),
                a[2].max(b[2]),
                a[3].max(b[3]),
            ],
            since: self.since.min(other.since),
            line: self.line || other.line,
        }
    }
}

/// Strokes that stand still, counted frame by frame: as the picture is, and at half its size for
/// large letters.
#[derive(Clone, Debug, Default)]
pub(super) struct Strokes {
    fine: Vec<u16>,
    coarse: Vec<u16>,
    frames: usize,
}

impl Strokes {
    /// The writing that has stood still for [`STILL`] frames.
    pub(super) fn next(&mut self, picture: &SmallPicture) -> Vec<Writing> {
        let size = (picture.width, picture.height);
        let mut found = still_strokes(&mut self.fine, &picture.luma, size);
        let (half, small) = halved(&picture.luma, size);
        for (around, count, line) in still_strokes(&mut self.coarse, &half, small) {
            found.push((around.map(|v| 2 * v), count, line));
        }
        self.frames += 1;
        let since = |count: u16| self.frames.saturating_sub(usize::from(count));
        let found = found.into_iter().map(|(around, count, line)| Writing {
            around,
            since: since(count),
            line,
        });
        joined(found)
    }
}

fn halved(luma: &[f32], (w, h): (usize, usize)) -> (Vec<f32>, (usize, usize)) {
    let (columns, rows) = (w / 2, h / 2);
    let mut out = Vec::with_capacity(columns * rows);
    for y in 0..rows {
        for x in 0..columns {
            let at = |dx: usize, dy: usize| luma[(2 * y + dy) * w + 2 * x + dx];
            out.push((at(0, 0) + at(1, 0) + at(0, 1) + at(1, 1)) / 4.0);
        }
    }
    (out, (columns, rows))
}

/// Boxes around writing, for how many frames it has stood still, and whether it is a line of letters.
fn still_strokes(
    counts: &mut Vec<u16>,
    luma: &[f32],
    (w, h): (usize, usize),
) -> Vec<(Box4, u16, bool)> {
    counts.resize(w * h, 0);
    let mut found: Vec<(usize, usize)> = Vec::new();
    for y in 0..h {
        let row = &luma[y * w..(y + 1) * w];
        for x in 0..w {
            let still = &mut counts[y * w + x];
            let dark = row[x] - FALL;
            let stroke = row[x] >= BRIGHT
                && row[x.saturating_sub(REACH)..x].iter().any(|v| *v < dark)
                && row[x + 1..(x + 1 + REACH).min(w)].iter().any(|v| *v < dark);
            *still = if stroke { still.saturating_add(1) } else { 0 };
            if *still >= u16::from(STILL) {
                found.push((x, y));
            }
        }
    }
    if found.len() < LEAST {
        return Vec::new();
    }
    let mut boxes = Vec::new();
    for own in of_one_time(&found, counts, w) {
        for group in groups(&own, (w, h)) {
            let (group, even) = of_one_level(group, luma, w);
            let Some((around, strokes)) = around(&group, (w, h)) else {
                continue;
            };
            let mut times: Vec<u16> = group.iter().map(|(x, y)| counts[y * w + x]).collect();
            times.sort_unstable();
            let [left, top, right, bottom] = around;
            let line = even && strokes >= LETTERS && right - left >= 3 * (bottom - top);
            boxes.push((around, times[times.len() / 2], line));
        }
    }
    boxes
}

/// Pixels by the time since which they have stood still: letters of one title come together, and
/// bright detail of a picture that does not move was there before.
fn of_one_time(found: &[(usize, usize)], counts: &[u16], w: usize) -> Vec<Vec<(usize, usize)>> {
    let time = |(x, y): &(usize, usize)| usize::from(counts[y * w + x]);
    let most = found.iter().map(time).max().unwrap_or(0);
    let mut often = vec![0usize; most + 2];
    found.iter().for_each(|pixel| often[time(pixel)] += 1);
    // Times with hardly a pixel around them part those that come together.
    let busy = |at: usize| {
        often[at.saturating_sub(1)..(at + 2).min(often.len())]
            .iter()
            .sum::<usize>()
            >= LEAST / 3
    };
    let mut class = vec![0usize; most + 2];
    for at in 1..class.len() {
        class[at] = class[at - 1] + usize::from(busy(at) && !busy(at - 1));
    }
    let mut parts: Vec<Vec<(usize, usize)>> = vec![Vec::new(); class[most] + 1];
    for pixel in found {
        parts[class[time(pixel)]].push(*pixel);
    }
    parts.retain(|part| part.len() >= LEAST);
    parts
}

/// Pixels that lie near each other, as letters of one title do, by squares of [`SQUARE`].
fn groups(found: &[(usize, usize)], (w, h): (usize, usize)) -> Vec<Vec<(usize, usize)>> {
    let (across, down) = (w.div_ceil(SQUARE), h.div_ceil(SQUARE));
    let mut squares: Vec<Vec<(usize, usize)>> = vec![Vec::new(); across * down];
    for (x, y) in found {
        squares[y / SQUARE * across + x / SQUARE].push((*x, *y));
    }
    let mut groups = Vec::new();
    for first in 0..squares.len() {
        if squares[first].is_empty() {
            continue;
        }
        let mut group = Vec::new();
        let mut waiting = vec![first];
        while let Some(at) = waiting.pop() {
            let pixels = std::mem::take(&mut squares[at]);
            if pixels.is_empty() {
                continue;
            }
            group.extend(pixels);
            let (x, y) = (at % across, at / across);
            for ny in y.saturating_sub(1)..(y + 2).min(down) {
                for nx in x.saturating_sub(NEAR)..(x + NEAR + 1).min(across) {
                    if !squares[ny * across + nx].is_empty() {
                        waiting.push(ny * across + nx);
                    }
                }
            }
        }
        group.sort_unstable_by_key(|(x, y)| (*y, *x));
        groups.push(group);
    }
    groups
}

/// Writing has one level; what is near it in the picture and bright has another. Says too whether what
/// is left is of quite one level.
fn of_one_level(group: Vec<(usize, usize)>, luma: &[f32], w: usize) -> (Vec<(usize, usize)>, bool) {
    let mut levels: Vec<f32> = group.iter().map(|(x, y)| luma[y * w + x]).collect();
    levels.sort_by(f32::total_cmp);
    let (level, low) = (levels[levels.len() * 3 / 4], levels[levels.len() / 4]);
    let near = |(x, y): &(usize, usize)| (luma[y * w + x] - level).abs() < ONE_LEVEL;
    let kept = group.into_iter().filter(near).collect();
    (kept, level - low < ONE_LEVEL / 2.0)
}

/// The box around pixels, row by row, if they are writing: several upright strokes side by side; with
/// how many.
fn around(found: &[(usize, usize)], (w, h): (usize, usize)) -> Option<(Box4, usize)> {
    if found.len() < LEAST {
        return None;
    }
    let mut xs: Vec<usize> = found.iter().map(|(x, _)| *x).collect();
    xs.sort_unstable();
    // Single pixels far from the others are no letters.
    let (few, last) = (found.len() / 200, found.len() - 1);
    let (left, right) = (xs[few], xs[last - few] + 1);
    let (top, bottom) = (found[few].1, found[last - few].1 + 1);
    let area = (right - left) * (bottom - top);
    let dense = found.len() as f32 >= DENSITY * area as f32;
    // Where a row has the beginning of a stroke: no found pixel stands to its left.
    let begins = |at: usize| at == 0 || found[at - 1] != (found[at].0.wrapping_sub(1), found[at].1);
    let mut most = 0;
    let mut at = 0;
    while at < found.len() {
        let row = found[at].1;
        let mut strokes = 0;
        while at < found.len() && found[at].1 == row {
            strokes += usize::from(begins(at));
            at += 1;
        }
        most = most.max(strokes);
    }
    let writing = dense && area * 2 < w * h && most >= SIDE_BY_SIDE && right - left > bottom - top;
    writing.then_some(([left, top, right, bottom].map(|v| v as u16), most))
}

/// Writing that is in one place since one time, as one.
fn joined(found: impl Iterator<Item = Writing>) -> Vec<Writing> {
    let mut out: Vec<Writing> = Vec::new();
    for own in found {
        join(&mut out, own);
    }
    out.sort_unstable();
    out
}

/// Adds writing to a list, as one with what it is one with.
pub(super) fn join(list: &mut Vec<Writing>, mut own: Writing) {
    while let Some(at) = list.iter().position(|other| own.is(other)) {
        own = own.with(&list.swap_remove(at));
    }
    list.push(own);
}

#[cfg(test)]
mod tests {
    use super::*;

    const SIZE: (usize, usize) = (480, 270);

    fn even(level: f32) -> SmallPicture {
        SmallPicture {
            width: SIZE.0,
            height: SIZE.1,
            luma: vec![level; SIZE.0 * SIZE.1],
            ..SmallPicture::default()
        }
    }

    fn fill(
        picture: &mut SmallPicture,
        (x, y): (usize, usize),
        (w, h): (usize, usize),
        level: f32,
    ) {
        for row in y..y + h {
            picture.luma[row * SIZE.0 + x..row * SIZE.0 + x + w].fill(level);
        }
    }

    /// Letters of upright strokes.
    fn write(picture: &mut SmallPicture, (x, y): (usize, usize), wide: usize, level: f32) {
        for stroke in 0..8 {
            fill(picture, (x + 3 * wide * stroke, y), (wide, 6 * wide), level);
        }
    }

    fn found(picture: &SmallPicture) -> Vec<Writing> {
        let mut strokes = Strokes::default();
        for _ in 1..STILL {
            assert!(
                strokes.next(picture).is_empty(),
                "not before it stood still"
            );
        }
        strokes.next(picture)
    }

    #[test]
    fn writing_is_found_where_it_is_small_large_and_in_two_places() {
        let mut picture = even(0.4);
        write(&mut picture, (20, 30), 2, 0.95);
        write(&mut picture, (330, 220), 2, 0.95);
        write(&mut picture, (60, 120), 8, 0.95);
        // Bright detail beside it that is no stroke of it.
        fill(&mut picture, (50, 44), (4, 4), 0.75);
        let near = |found: Writing, true_box: Box4| {
            let close = found
                .around
                .iter()
                .zip(true_box)
                .all(|(a, b)| a.abs_diff(b) <= 2);
            assert!(close && found.since == 0, "{found:?} {true_box:?}");
        };
        let boxes = found(&picture);
        assert_eq!(boxes.len(), 3, "{boxes:?}");
        near(boxes[0], [20, 30, 64, 42]);
        near(boxes[1], [60, 120, 236, 168]);
        near(boxes[2], [330, 220, 374, 232]);
    }

    #[test]
    fn writing_over_bright_detail_that_was_there_before_is_told_from_it() {
        let mut picture = even(0.4);
        // As light as the writing, and right beside it.
        write(&mut picture, (100, 88), 2, 0.95);
        let mut strokes = Strokes::default();
        for _ in 0..10 {
            strokes.next(&picture);
        }
        write(&mut picture, (100, 104), 3, 0.95);
        let seen = (0..STILL).map(|_| strokes.next(&picture)).last().unwrap();
        let since: Vec<usize> = seen.iter().map(|writing| writing.since).collect();
        assert_eq!(since, [0, 10], "{seen:?}");
        assert_eq!(seen[1].around, [100, 104, 166, 122]);
    }

    #[test]
    fn a_bright_edge_is_no_writing() {
        let mut picture = even(0.4);
        fill(&mut picture, (100, 60), (4, 80), 0.9);
        fill(&mut picture, (300, 60), (60, 6), 0.9);
        assert!(found(&picture).is_empty());
    }

    #[test]
    fn a_card_is_writing_on_black_and_nothing_else() {
        let mut card = even(0.0);
        assert!(!is_card(&card), "black is no card");
        write(&mut card, (100, 120), 3, 0.9);
        assert!(is_card(&card));
        let mut window = even(0.0);
        fill(&mut window, (100, 100), (120, 60), 0.6);
        assert!(!is_card(&window), "a window at night");
        let mut titled = even(0.2);
        write(&mut titled, (100, 120), 3, 0.9);
        assert!(!is_card(&titled), "writing over a picture");
    }

    #[test]
    fn a_bar_is_black_where_coding_rings_into_it() {
        let mut picture = even(0.5);
        fill(&mut picture, (0, 0), (480, 30), 0.0);
        fill(&mut picture, (0, 240), (480, 30), 0.0);
        fill(&mut picture, (200, 28), (30, 2), 0.08);
        assert_eq!(bars(&picture), [30, 30, 0, 0]);
    }
}
