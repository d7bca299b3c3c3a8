//! Which shots belong together: setups and scenes suggested from lists, names, order and pictures.
//!
//! A suggestion errs on the side of too many: two setups too many cost the editor one word, two
//! lights in one setup cost a wrong fix.

use serde::{Deserialize, Serialize};

/// A small picture of a shot, R'G'B' of the working signal, row by row.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Thumbnail {
    /// Columns.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// `width` · `height` pixels.
    pub rgb: Vec<[f32; 3]>,
}

impl Thumbnail {
    /// Pixel by pixel the median of several pictures of one size: what stands still in them. `None`
    /// where there is none, or their sizes differ.
    #[must_use]
    pub fn median(pictures: &[Self]) -> Option<Self> {
        let first = pictures.first()?;
        let pixels = first.width * first.height;
        let fits = |p: &Self| p.width == first.width && p.rgb.len() == pixels;
        if !pictures.iter().all(fits) {
            return None;
        }
        let middle = |pixel: usize, channel: usize| {
            let mut values: Vec<f32> = pictures.iter().map(|p| p.rgb[pixel][channel]).collect();
            values.sort_by(f32::total_cmp);
            values[values.len() / 2]
        };
        Some(Self {
            width: first.width,
            height: first.height,
            rgb: (0..pixels)
                .map(|pixel| std::array::from_fn(|channel| middle(pixel, channel)))
                .collect(),
        })
    }

    fn at(&self, x: usize, y: usize) -> [f32; 3] {
        self.rgb[y * self.width + x]
    }

    fn luma(&self, x: usize, y: usize) -> f32 {
        let [r, g, b] = self.at(x, y);
        0.2126 * r + 0.7152 * g + 0.0722 * b
    }

    /// The picture moved by half pixels, its edges repeated.
    fn moved(&self, dx: isize, dy: isize) -> Self {
        let near = |at: usize, halves: isize, length: usize| {
            let first = at as isize + halves.div_euclid(2);
            let clamped = |v: isize| v.clamp(0, length as isize - 1) as usize;
            [clamped(first), clamped(first + halves.rem_euclid(2))]
        };
        let pixel = |x: usize, y: usize| {
            let mut sum = [0.0_f32; 3];
            for oy in near(y, dy, self.height) {
                for ox in near(x, dx, self.width) {
                    let value = self.at(ox, oy);
                    (0..3).for_each(|c| sum[c] += value[c] / 4.0);
                }
            }
            sum
        };
        Self {
            width: self.width,
            height: self.height,
            rgb: (0..self.rgb.len())
                .map(|at| pixel(at % self.width, at / self.width))
                .collect(),
        }
    }

    /// Whether something is drawn at a pixel: its luma differs from that of a neighbour.
    fn drawn(&self, x: usize, y: usize) -> bool {
        let here = self.luma(x, y);
        let differs = |x: usize, y: usize| (self.luma(x, y) - here).abs() > DRAWN;
        (x + 1 < self.width && differs(x + 1, y)) || (y + 1 < self.height && differs(x, y + 1))
    }
}

/// A luma difference that is a line and no noise, of reference white.
const DRAWN: f32 = 0.03;
/// Furthest that a channel of a pixel differs between two takes of one setup.
const SAME: f32 = 0.03;
/// Furthest that the mean of a channel over all that stands still differs in one light.
const LIGHT: f64 = 0.01;
/// Furthest that the median ratio of a channel differs in one light, over all that is not dark: a
/// change of light is in proportion, and hardly to be seen in the dark parts that agree.
const LIGHT_RATIO: f32 = 0.02;
/// What is dark: luma of reference white.
const DARK: f32 = 0.12;
/// Least share of the picture that stands still between two takes: people move in the rest.
const STILL: f64 = 0.35;
/// Least share of what is drawn that stands still: flat walls agree with each other anywhere.
const STILL_DRAWN: f64 = 0.2;
/// Half thumbnail pixels that a camera may have been moved by between two takes.
const MOVED: isize = 2;

/// Whether two pictures of one camera show the same place, framed alike, in the same light.
#[must_use]
pub fn same_setup(a: &Thumbnail, b: &Thumbnail) -> bool {
    if a.rgb.is_empty() || (a.width, a.height) != (b.width, b.height) {
        return false;
    }
    (-MOVED..=MOVED).any(|dy| (-MOVED..=MOVED).any(|dx| agrees(a, &b.moved(dx, dy), dx, dy)))
}

/// `b` has been moved by as many half pixels already; what came in at its edges does not count.
fn agrees(a: &Thumbnail, b: &Thumbnail, dx: isize, dy: isize) -> bool {
    let (mut seen, mut still, mut drawn, mut drawn_still) = (0_u32, 0_u32, 0_u32, 0_u32);
    let mut sums = [0.0_f64; 3];
    let mut ratios: [Vec<f32>; 3] = Default::default();
    for y in 0..a.height {
        for x in 0..a.width {
            if !inside(x, dx, a.width) || !inside(y, dy, a.height) {
                continue;
            }
            let (p, q) = (a.at(x, y), b.at(x, y));
            let same = (0..3).all(|c| (p[c] - q[c]).abs() <= SAME);
            let line = a.drawn(x, y) || b.drawn(x, y);
            if a.luma(x, y) > DARK && b.luma(x, y) > DARK {
                for c in 0..3 {
                    ratios[c].push((p[c] - q[c]) / (p[c] + q[c]).max(0.05) * 2.0);
                }
            }
            seen += 1;
            drawn += u32::from(line);
            still += u32::from(same);
            drawn_still += u32::from(same && line);
            if same {
                for c in 0..3 {
                    sums[c] += f64::from(p[c] - q[c]);
                }
            }
        }
    }
    let share = |part: u32, of: u32| f64::from(part) / f64::from(of.max(1));
    // A picture with nothing drawn in it says nothing.
    share(drawn, seen) >= 0.02
        && share(still, seen) >= STILL
        && share(drawn_still, drawn) >= STILL_DRAWN
        && sums
            .iter()
            .all(|sum| (sum / f64::from(still.max(1))).abs() <= LIGHT)
        && ratios.iter_mut().all(|of| middle(of).abs() <= LIGHT_RATIO)
}

fn middle(values: &mut [f32]) -> f32 {
    values.sort_by(f32::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or_default()
}

/// Whether a pixel and its neighbour on the side that it was moved from lie in the picture.
const fn inside(at: usize, halves: isize, length: usize) -> bool {
    let first = at as isize + halves.div_euclid(2);
    first >= 0 && first + halves.rem_euclid(2) < length as isize
}

/// What a file name says by the trade's habit: `A001_office_ines` is camera A, at the office.
/// Common practice, no source: a camera's letter with the number of its reel, then words from the
/// general to the particular.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct NameFacts {
    /// The camera's letter or letters.
    pub camera: Option<String>,
    /// The first word after the reel.
    pub place: Option<String>,
}

/// Words that name no place.
const NO_PLACE: &[&str] = &[
    "cam", "camera", "clip", "copy", "edit", "final", "graded", "insert", "master", "movie", "new",
    "proxy", "reel", "roll", "scene", "shot", "take", "test", "video",
];

/// Reads a file name without its ending.
#[must_use]
pub fn name_facts(stem: &str) -> NameFacts {
    let mut words = stem
        .split(|c: char| !c.is_alphanumeric())
        .filter(|w| !w.is_empty());
    let Some(camera) = words.next().and_then(camera_of_reel) else {
        return NameFacts::default();
    };
    let place = words
        .map(str::to_lowercase)
        .find(|word| word.chars().count() >= 3 && word.chars().all(char::is_alphabetic))
        .filter(|word| !NO_PLACE.contains(&word.as_str()));
    NameFacts {
        camera: Some(camera),
        place,
    }
}

/// The camera of a reel name such as `A001` or `A001C003`.
#[must_use]
pub fn camera_of_reel(reel: &str) -> Option<String> {
    let letters: String = reel.chars().take_while(char::is_ascii_alphabetic).collect();
    let digits = reel[letters.len()..]
        .chars()
        .take_while(char::is_ascii_digit)
        .count();
    ((1..=2).contains(&letters.len()) && (2..=4).contains(&digits))
        .then(|| letters.to_ascii_uppercase())
}

/// What is known of a shot, in film order.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct ToGroup {
    /// The clip.
    pub source: i64,
    /// Whatever tells its camera from others; two clips of one camera have the same. `None` where the
    /// camera is not known: such a clip is a setup of its own.
    pub camera: Option<String>,
    /// The place, as far as the name says it.
    pub place: Option<String>,
    /// The scene, as far as the cut list says it.
    pub scene: Option<String>,
    /// What stands still in it.
    pub picture: Option<Thumbnail>,
}

/// The setup and scene of a shot, each numbered in film order from 0.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Suggested {
    /// The setup.
    pub setup: usize,
    /// The scene.
    pub scene: usize,
}

/// Shots that may lie between two of one setup and belong to its scene: shot and reverse shot.
const BETWEEN: usize = 4;
/// How far back a picture is looked for again.
const BACK: usize = 8;
/// How far back the name of a place is looked for again: it may come back later in the film.
const BACK_BY_NAME: usize = 3;

/// Suggests setups and scenes.
///
/// A scene that the list names is that scene. Else shots of one clip, shots that show the same
/// place framed alike in the same light, and neighbours of one place by their names are one scene,
/// with what is cut between them. A setup is a clip, and in one scene every clip of the same camera
/// that shows the same, framed alike, in the same light.
#[must_use]
pub fn suggest(shots: &[ToGroup]) -> Vec<Suggested> {
    let mut scenes = Scenes::new(shots);
    for (at, shot) in shots.iter().enumerate() {
        if shot.scene.is_some() {
            let first = shots.iter().position(|other| other.scene == shot.scene);
            scenes.join(first.unwrap_or(at), at);
        }
    }
    for at in 0..shots.len() {
        for back in 1..=at {
            let (earlier, later) = (&shots[at - back], &shots[at]);
            let clip = earlier.source == later.source;
            let named =
                back <= BACK_BY_NAME && later.place.is_some() && earlier.place == later.place;
            if clip || named || (back <= BACK && alike(earlier, later)) {
                scenes.join(at - back, at);
                if back <= BETWEEN {
                    (at - back + 1..at)
                        .filter(|k| !elsewhere(&shots[*k], later))
                        .for_each(|k| scenes.join(at, k));
                }
            }
        }
    }
    let scene_of: Vec<usize> = (0..shots.len()).map(|at| scenes.of(at)).collect();
    // Each setup is held against the first of its clips alone, so that no chain of small steps
    // leads from one light to another.
    let mut setups: Vec<(usize, Vec<i64>)> = Vec::new();
    let mut numbers: Vec<usize> = Vec::new();
    let setup_of: Vec<usize> = shots
        .iter()
        .enumerate()
        .map(|(at, shot)| {
            let known = setups
                .iter()
                .position(|(_, clips)| clips.contains(&shot.source));
            known
                .or_else(|| {
                    let found = setups.iter().position(|(first, _)| {
                        scene_of[*first] == scene_of[at] && alike(&shots[*first], shot)
                    });
                    if let Some(found) = found {
                        setups[found].1.push(shot.source);
                    }
                    found
                })
                .unwrap_or_else(|| {
                    setups.push((at, vec![shot.source]));
                    setups.len() - 1
                })
        })
        .collect();
    scene_of
        .iter()
        .zip(setup_of)
        .map(|(root, setup)| {
            let scene = numbers.iter().position(|known| known == root);
            let scene = scene.unwrap_or_else(|| {
                numbers.push(*root);
                numbers.len() - 1
            });
            Suggested { setup, scene }
        })
        .collect()
}

fn alike(a: &ToGroup, b: &ToGroup) -> bool {
    a.camera.is_some()
        && a.camera == b.camera
        && !elsewhere(a, b)
        && matches!((&a.picture, &b.picture), (Some(p), Some(q)) if same_setup(p, q))
}

fn elsewhere(a: &ToGroup, b: &ToGroup) -> bool {
    matches!((&a.place, &b.place), (Some(p), Some(q)) if p != q)
}

/// Shots that have been joined, with the name that the list gives the lot.
struct Scenes {
    root: Vec<usize>,
    listed: Vec<Option<String>>,
}

impl Scenes {
    fn new(shots: &[ToGroup]) -> Self {
        Self {
            root: (0..shots.len()).collect(),
            listed: shots.iter().map(|shot| shot.scene.clone()).collect(),
        }
    }

    fn of(&self, at: usize) -> usize {
        self.root[at]
    }

    /// Joins the scenes of two shots, unless the list says that they are two.
    fn join(&mut self, a: usize, b: usize) {
        let (a, b) = (
            self.root[a].min(self.root[b]),
            self.root[a].max(self.root[b]),
        );
        let two = matches!((&self.listed[a], &self.listed[b]), (Some(p), Some(q)) if p != q);
        if a == b || two {
            return;
        }
        let listed = self.listed[b].take();
        if self.listed[a].is_none() {
            self.listed[a] = listed;
        }
        for root in &mut self.root {
            if *root == b {
                *root = a;
            }
        }
    }
}

#[cfg(test)]
mod tests;
