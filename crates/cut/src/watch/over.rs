//! What lies over a picture: black bars beside it, writing on it.

use super::SmallPicture;

/// Y' of the lightest pixel that still belongs to a black bar: coding leaves some codes of noise.
const BLACK: f32 = 0.035;
/// Y' of the darkest pixel of writing.
const BRIGHT: f32 = 0.7;
/// How much darker it is on both sides of a stroke, Y'.
const FALL: f32 = 0.2;
/// Widest stroke and its surroundings, in pixels of the small picture, to one side.
const REACH: usize = 4;
/// Frames that a stroke stands still before it counts.
pub(super) const STILL: u8 = 12;
/// Fewest pixels of writing, and their least share in the box around them.
const LEAST: usize = 24;
const DENSITY: f32 = 0.04;

/// Rows and columns of black at the edges of one frame: top, bottom, left, right.
pub(super) fn bars(picture: &SmallPicture) -> [u16; 4] {
    let (w, h) = (picture.width, picture.height);
    let row = |y: usize| picture.luma[y * w..(y + 1) * w].iter().all(|v| *v < BLACK);
    let column = |x: usize| (0..h).all(|y| picture.luma[y * w + x] < BLACK);
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

/// Strokes that stand still, counted frame by frame.
#[derive(Clone, Debug, Default)]
pub(super) struct Strokes {
    still: Vec<u8>,
}

impl Strokes {
    /// The box around the writing that has stood still for [`STILL`] frames, in pixels: left, top,
    /// right, bottom.
    pub(super) fn next(&mut self, picture: &SmallPicture) -> Option<[u16; 4]> {
        let (w, h) = (picture.width, picture.height);
        self.still.resize(w * h, 0);
        let mut found: Vec<(usize, usize)> = Vec::new();
        for y in 0..h {
            let row = &picture.luma[y * w..(y + 1) * w];
            for x in 0..w {
                let still = &mut self.still[y * w + x];
                let dark = row[x] - FALL;
                let stroke = row[x] >= BRIGHT
                    && row[x.saturating_sub(REACH)..x].iter().any(|v| *v < dark)
                    && row[x + 1..(x + 1 + REACH).min(w)].iter().any(|v| *v < dark);
                *still = if stroke { still.saturating_add(1) } else { 0 };
                if *still >= STILL {
                    found.push((x, y));
                }
            }
        }
        if found.len() < LEAST {
            return None;
        }
        let mut xs: Vec<usize> = found.iter().map(|(x, _)| *x).collect();
        let mut ys: Vec<usize> = found.iter().map(|(_, y)| *y).collect();
        xs.sort_unstable();
        ys.sort_unstable();
        // Single pixels far from the others are no letters.
        let (few, last) = (found.len() / 200, found.len() - 1);
        let (left, right) = (xs[few], xs[last - few] + 1);
        let (top, bottom) = (ys[few], ys[last - few] + 1);
        let area = (right - left) * (bottom - top);
        let dense = found.len() as f32 >= DENSITY * area as f32;
        (dense && area * 2 < w * h).then_some([left, top, right, bottom].map(|v| v as u16))
    }
}
