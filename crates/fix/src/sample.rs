//! A problem made ready: usable pixels, ramps, and measurements of a move on them.

use inkarnat_color::lab::LabConverter;
use inkarnat_color::transfer::bt709_oetf;
use inkarnat_color::{Lab, Percent, WorkingSpace, Ycbcr, delta_e_2000};
use nalgebra::Vector2;

use crate::aim::Want;
use crate::clipping::{Clipping, Edge, HALF_CODE, clipping, past_edge};
use crate::evidence::{Evidence, finite};
use crate::joint::Belief;
use crate::light::surfaces::RADIUS;
use crate::light::{LightEstimate, linear709, log_ratios_of, working_from_linear709};
use crate::limits::Limits;
use crate::look::Look;
use crate::looked::{Applied, Chromaticities, Looked, Pixels, Trimmed};
use crate::model::{Logged, Move};
use crate::problem::Problem;
use crate::solution::SkinValue;

/// A source pixel with all channels from here up is part of a blown area.
const BLOWN: f64 = 0.985;
/// A source pixel whose largest channel is here or above, and whose least is not below [`EDGE_LEAST`], is the soft edge of
/// one, or nearly one: what it has lost of its colour makes it look more neutral than the light that it stands in.
const EDGE: f64 = 0.97;
const EDGE_LEAST: f64 = 0.85;
/// Of the soft edges this share may gain more chroma than the limit: grain and hard-edged trim.
const EDGE_STRAY: f64 = 0.05;
/// Most pixels of either that are looked at.
const BLOWN_LOOKED_AT: usize = 48;
/// Pixels that the optimiser looks at; limits are checked on all of them.
const FEW: usize = 160;
/// Skin pixels of a person that the optimiser looks at. With fewer of each of several people it ended beside the optimum.
const FEW_SKIN: usize = 100;
/// Skin pixels of a person that limits and results are taken from; of more, every n-th in the order of their level. Their trimmed
/// means are brought to those of all by what they are apart in the source; what that leaves is CIEDE2000 0.02 at
/// most on setups of 7500 pixels (the example `speed`).
const SKIN: usize = 1000;
/// Pixels of the picture that limits are taken from; of more, every n-th in the order of their level.
const PICTURE: usize = 4000;
/// Half the range over which new clipping begins to count in the objective: eight 10-bit codes.
const EASED: f64 = 16.0 * HALF_CODE;
/// Step to either side over which the noise gain is taken, signal units.
const DARK_STEP: f64 = 0.002;
/// Dark pixels that the noise gain is taken from.
const DARK: usize = 32;

/// One person's skin.
pub(crate) struct SkinSet {
    pub(crate) pixels: Vec<Logged>,
    /// Skin-coloured, 5th to 95th percentile of luma, evenly spaced.
    pub(crate) ramp: Vec<Logged>,
    /// Coloured as the light, from the 95th percentile of skin up to white.
    pub(crate) upper: Vec<Logged>,
    pub(crate) before: SkinValue,
    /// The same seen through the look.
    pub(crate) seen: SkinValue,
    pub(crate) few: Vec<Logged>,
    /// What the trimmed means of all pixels have over those of the few, in the source.
    pub(crate) few_off: Ycbcr,
    /// The same seen through the look.
    few_seen_off: Ycbcr,
    /// The same of `pixels`, as they are and seen through the look: nothing where they are all.
    off: Ycbcr,
    seen_off: Ycbcr,
    spread: f64,
    few_spread: f64,
}

/// One surface that is neutral or nearly so.
pub(crate) struct NeutralGroup {
    pub(crate) mean: [f64; 3],
    /// Share among all neutral pixels, times the probability of being one.
    pub(crate) share: f64,
    /// Chromaticity that it is expected to have in the end: 0 for a true neutral, cream for cream, and the tint of the scene
    /// on top where that is kept.
    pub(crate) expected: Vector2<f64>,
    /// a*, b* of the colour expected, at the lightness `l`.
    pub(crate) wanted: Vector2<f64>,
    pub(crate) l: f64,
    /// CIEDE2000 in the source from the colour that is expected.
    pub(crate) de00_before: f64,
    /// Length of a*, b* in the source off the colour that is expected.
    pub(crate) off_before: f64,
}

/// A problem made ready.
pub(crate) struct Ready {
    pub(crate) space: WorkingSpace,
    pub(crate) lab: LabConverter,
    pub(crate) look: Look,
    pub(crate) people: Vec<SkinSet>,
    /// Everything but skin.
    pub(crate) outside: Vec<[f64; 3]>,
    /// The picture, skin included.
    pub(crate) picture: Vec<Logged>,
    pub(crate) few: Vec<Logged>,
    pub(crate) dark: Vec<[f64; 3]>,
    pub(crate) levels: Vec<[f64; 3]>,
    pub(crate) blown: Vec<[f64; 3]>,
    /// CIEDE2000 of each from neutral, as it is shown.
    blown_tint: Vec<f64>,
    /// Soft edges of blown areas, and areas nearly blown.
    pub(crate) edges: Vec<[f64; 3]>,
    /// The same of those.
    edges_tint: Vec<f64>,
    pub(crate) neutrals: Vec<NeutralGroup>,
    pub(crate) light: LightEstimate,
    /// What the optimiser looks at.
    some: Looked,
    /// What limits and results are taken from.
    all: Looked,
    /// What is the same in both: neither skin nor picture.
    bare: Looked,
}

/// One person's skin after a move.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(crate) struct SkinAfter {
    pub(crate) value: SkinValue,
    /// The same seen through the look: what an aim is for.
    pub(crate) seen: SkinValue,
    /// Spread of chromaticity, after over before.
    spread_ratio: f64,
}

/// The pixels that decide about the limits on new clipping: of the picture, then of each person's skin.
#[derive(Clone, Debug, Default)]
pub(crate) struct Edges {
    pixels: Pixels,
    of: Vec<(Edge, std::ops::Range<usize>)>,
}

impl Edges {
    /// Each edge with the sample that its pixels are of.
    fn new<'a>(found: impl IntoIterator<Item = (Edge, &'a [Logged])>) -> Self {
        let (mut list, mut of) = (Vec::new(), Vec::new());
        for (edge, sample) in found {
            let from = list.len();
            list.extend(edge.pixels.iter().map(|i| sample[*i]));
            of.push((edge, from..list.len()));
        }
        Self {
            pixels: Pixels::new(list),
            of,
        }
    }
}

/// What a move does to the pixels that the optimiser looks at, kept so that small steps beside it are found from it.
pub(crate) struct Here {
    by: Move,
    applied: Applied,
    edges: Applied,
    skin: Vec<(Trimmed, Chromaticities)>,
}

/// New clipping: growth in percent of the picture and of the skin worst off, and how far the first pixel that may not is past
/// the edge in both.
struct NewClipping {
    growth_pct: f64,
    skin_pct: f64,
    over: f64,
    skin_over: f64,
}

/// What a move does, in the quantities that have limits.
#[derive(Clone, Debug, Default, PartialEq)]
pub(crate) struct Measures {
    pub(crate) exposure_stops: f64,
    pub(crate) skin_slope: (f64, f64),
    pub(crate) upper_slope: f64,
    pub(crate) clip_growth_pct: f64,
    pub(crate) skin_clip_pct: f64,
    /// How far the first pixel after those that may clip is beyond the range, signal units.
    pub(crate) clip_over: f64,
    /// The same for skin, the worst person.
    pub(crate) skin_clip_over: f64,
    /// Smallest and largest ratio over the people.
    pub(crate) skin_spread: (f64, f64),
    pub(crate) noise_gain: f64,
    pub(crate) code_gap: f64,
    /// CIEDE2000 from neutral gained, and least level in percent; `None` without blown areas.
    pub(crate) blown: Option<(f64, f64)>,
    pub(crate) white_level_pct: f64,
    /// CIEDE2000 from neutral that the neutrals gain in the mean; `None` without neutrals.
    pub(crate) neutral_growth: Option<f64>,
    /// What the mean of each neutral surface comes to.
    pub(crate) neutrals: Vec<[f64; 3]>,
}

/// Every n-th of a list, at most `most`, evenly spread.
fn thinned(list: &[[f64; 3]], most: usize) -> Vec<[f64; 3]> {
    if list.len() <= most {
        return list.to_vec();
    }
    (0..most).map(|i| list[i * list.len() / most]).collect()
}

pub(crate) fn quantile(sorted: &[f64], share: f64) -> f64 {
    if sorted.is_empty() {
        return 0.0;
    }
    let at = share * (sorted.len() - 1) as f64;
    let low = at as usize;
    let high = (low + 1).min(sorted.len() - 1);
    sorted[low] + (at - low as f64) * (sorted[high] - sorted[low])
}

impl Ready {
    pub(crate) fn new(problem: &Problem, evidence: Evidence, belief: &Belief) -> Self {
        let space = problem.space;
        let picture: Vec<[f64; 3]> = problem
            .picture
            .iter()
            .filter_map(|p| finite(&p.rgb))
            .collect();
        let lab = LabConverter::new(space);
        let look = Look::new(&problem.look);
        let light = LightEstimate {
            neutral: belief.white.neutrals(),
            white: belief.white.clone(),
            skin: belief.people.iter().map(|p| p.skin).collect(),
            // A hue that was typed wins over a tint.
            tint: belief
                .tint
                .filter(|_| problem.people.iter().all(|p| p.aim.hue == Want::Own)),
        };
        // Colour of the light, its largest channel 1.
        let [r, b] = light.neutral.map_or([0.0; 2], |n| n.cast);
        let colour = [r.exp(), 1.0, b.exp()];
        let largest = colour.iter().copied().fold(0.0, f64::max);
        let light_colour = working_from_linear709(colour.map(|v| v / largest), space);
        let neutrals = neutral_groups(&evidence, &light, space);
        let Evidence {
            skin,
            values,
            outside,
            ..
        } = evidence;
        let people = skin
            .into_iter()
            .zip(&values)
            .map(|(pixels, value)| SkinSet::new(pixels, *value, light_colour, (space, &lab, &look)))
            .collect();

        let (by_luma, lumas) = by_luma(&picture, space);
        let dark = thinned(&by_luma[..by_luma.len() / 4], DARK);
        let levels = if lumas.is_empty() {
            Vec::new()
        } else {
            [0.005, 0.02, 0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.97, 0.995]
                .iter()
                .map(|share| at_level(light_colour, quantile(&lumas, *share).max(0.002), space))
                .collect()
        };
        let blown: Vec<[f64; 3]> = picture
            .iter()
            .copied()
            .filter(|p| p.iter().all(|v| *v >= BLOWN))
            .collect();
        // A stray sparkle is no area.
        let area = |pixels: &[[f64; 3]]| {
            if pixels.len() * 1000 >= picture.len().max(1) {
                thinned(pixels, BLOWN_LOOKED_AT)
            } else {
                Vec::new()
            }
        };
        let edges: Vec<[f64; 3]> = outside
            .iter()
            .copied()
            .filter(|p| {
                let largest = p.iter().copied().fold(f64::NEG_INFINITY, f64::max);
                let least = p.iter().copied().fold(f64::INFINITY, f64::min);
                largest >= EDGE && (EDGE_LEAST..BLOWN).contains(&least)
            })
            .collect();
        let (blown, edges) = (area(&blown), area(&edges));
        let tint = |p: &[f64; 3]| from_neutral(&lab, shown(*p));
        let few = Logged::all(&thinned(&picture, FEW));
        let picture = if picture.len() > PICTURE {
            thinned(&by_luma, PICTURE)
        } else {
            picture
        };
        let mut ready = Self {
            few,
            space,
            look,
            people,
            outside,
            picture: Logged::all(&picture),
            dark,
            levels,
            blown_tint: blown.iter().map(tint).collect(),
            blown,
            edges_tint: edges.iter().map(tint).collect(),
            edges,
            lab,
            neutrals,
            light,
            some: Looked::default(),
            all: Looked::default(),
            bare: Looked::default(),
        };
        ready.some = ready.looked(&|set| &set.few, &ready.few);
        ready.all = ready.looked(&|set| &set.pixels, &ready.picture);
        ready.bare = ready.looked(&|_| &[], &[]);
        ready
    }

    fn looked(&self, of_skin: &dyn Fn(&SkinSet) -> &[Logged], of_picture: &[Logged]) -> Looked {
        let mut all: Vec<Logged> = Vec::new();
        let mut add = |pixels: &[Logged]| {
            let from = all.len();
            all.extend_from_slice(pixels);
            from..all.len()
        };
        let lists = |of: &dyn Fn(&SkinSet) -> &[Logged], add: &mut dyn FnMut(&[Logged]) -> _| {
            self.people.iter().map(|set| add(of(set))).collect()
        };
        let skin = lists(of_skin, &mut add);
        let ramp = lists(&|set| &set.ramp, &mut add);
        let upper = lists(&|set| &set.upper, &mut add);
        let picture = add(of_picture);
        let steps = |list: &[[f64; 3]], below: f64, above: f64| -> Vec<Logged> {
            list.iter()
                .flat_map(|p| [below, above].map(|by| Logged::new(p.map(|v| v + by))))
                .collect()
        };
        let dark = add(&steps(&self.dark, -DARK_STEP, DARK_STEP));
        let levels = add(&steps(&self.levels, 0.0, 2.0 * HALF_CODE));
        let blown = add(&Logged::all(&self.blown));
        let soft = add(&Logged::all(&self.edges));
        let means: Vec<[f64; 3]> = self.neutrals.iter().map(|g| g.mean).collect();
        let neutrals = add(&Logged::all(&means));
        let white = add(&[Logged::new([1.0; 3])]).start;
        Looked {
            pixels: Pixels::new(all),
            skin,
            ramp,
            upper,
            picture,
            dark,
            levels,
            blown,
            soft,
            neutrals,
            white,
        }
    }

    pub(crate) fn has_blown_areas(&self) -> bool {
        !self.blown.is_empty()
    }

    /// Skin of one person from the pixels after a move, of those that the optimiser looks at.
    pub(crate) fn seen_after(&self, person: usize, few: &[[f64; 3]]) -> SkinValue {
        let set = &self.people[person];
        match self.look.through(few) {
            Some(seen) => self.value(trimmed_means(&seen, self.space), set.few_seen_off),
            None => self.value(trimmed_means(few, self.space), set.few_off),
        }
    }

    /// What trimmed means read as, brought to those of all pixels.
    fn value(&self, mut mean: Ycbcr, off: Ycbcr) -> SkinValue {
        mean.y += off.y;
        mean.cb += off.cb;
        mean.cr += off.cr;
        value_of(mean, self.space, &self.lab)
    }

    /// Skin of one person from the pixels after a move, their trimmed means and their spread.
    fn skin_after(
        &self,
        person: usize,
        thorough: bool,
        pixels: &[[f64; 3]],
        (mean, spread): (Ycbcr, f64),
    ) -> SkinAfter {
        let set = &self.people[person];
        let (off, seen_off, spread_before) = if thorough {
            (set.off, set.seen_off, set.spread)
        } else {
            (set.few_off, set.few_seen_off, set.few_spread)
        };
        let value = self.value(mean, off);
        let seen = match self.look.through(pixels) {
            Some(seen) => self.value(trimmed_means(&seen, self.space), seen_off),
            None => value,
        };
        SkinAfter {
            value,
            seen,
            // Below a thousandth of ln there is no spread to speak of (a flat patch).
            spread_ratio: (spread + 1e-3) / (spread_before + 1e-3),
        }
    }

    /// a*, b* that a neutral surface is off its expected colour where a move brings its mean.
    pub(crate) fn neutral_off(&self, group: usize, after: [f64; 3]) -> Vector2<f64> {
        self.neutrals[group].off(self.lab.lab(after))
    }

    /// The pixels that decide about the limits on new clipping near a move.
    pub(crate) fn edges(&self, by: &Move, limits: &Limits) -> Edges {
        let after = |pixels: &[Logged]| -> Vec<[f64; 3]> {
            pixels.iter().map(|p| by.apply_logged(p)).collect()
        };
        let edge = |pixels: &[Logged], pct: f64| clipping(pixels, &after(pixels), pct).edge;
        let picture = &self.picture;
        let skin = self.people.iter().map(|set| {
            let edge = edge(&set.pixels, limits.skin_new_clipping_pct);
            (edge, set.pixels.as_slice())
        });
        let first = (edge(picture, limits.new_clipping_pct), picture.as_slice());
        Edges::new(std::iter::once(first).chain(skin))
    }

    /// What a move does on the pixels that limits and results are taken from; clipping is counted.
    pub(crate) fn thorough(&self, by: &Move, limits: &Limits) -> (Vec<SkinAfter>, Measures, Edges) {
        let looked = &self.all;
        let out = Applied::new(&looked.pixels, &looked.dark, by).out;
        let skin: Vec<SkinAfter> = looked
            .skin
            .iter()
            .enumerate()
            .map(|(i, range)| {
                let pixels = &out[range.clone()];
                let mean = trimmed_means(pixels, self.space);
                let spread = chromaticity_spread(pixels, self.space);
                self.skin_after(i, true, pixels, (mean, spread))
            })
            .collect();
        let Clipping {
            growth_pct,
            over,
            edge,
        } = clipping(
            &self.picture,
            &out[looked.picture.clone()],
            limits.new_clipping_pct,
        );
        let mut edges = vec![(edge, self.picture.as_slice())];
        let (mut skin_pct, mut skin_over) = (0.0f64, f64::NEG_INFINITY);
        for (set, range) in self.people.iter().zip(&looked.skin) {
            let found = clipping(
                &set.pixels,
                &out[range.clone()],
                limits.skin_new_clipping_pct,
            );
            skin_pct = skin_pct.max(found.growth_pct);
            skin_over = skin_over.max(found.over);
            edges.push((found.edge, set.pixels.as_slice()));
        }
        let clip = NewClipping {
            growth_pct,
            skin_pct,
            over,
            skin_over,
        };
        let measures = self.measures(looked, &out, &skin, &clip);
        (skin, measures, Edges::new(edges))
    }

    /// What a move does on what is looked at in any case: nothing is said of exposure, spread and clipping. A limit that does not
    /// hold here does not hold.
    pub(crate) fn bare(&self, by: &Move) -> Measures {
        let looked = &self.bare;
        let out = Applied::new(&looked.pixels, &looked.dark, by).out;
        let clip = NewClipping {
            growth_pct: 0.0,
            skin_pct: 0.0,
            over: f64::NEG_INFINITY,
            skin_over: f64::NEG_INFINITY,
        };
        self.measures(looked, &out, &[], &clip)
    }

    /// What a move does on the pixels that the optimiser looks at; clipping is smooth, by the pixels that decide.
    pub(crate) fn here(&self, by: Move, edges: &Edges) -> (Here, Vec<SkinAfter>, Measures) {
        let looked = &self.some;
        let applied = Applied::new(&looked.pixels, &looked.dark, &by);
        let at_edges = Applied::new(&edges.pixels, &(0..0), &by);
        let (kept, skin): (Vec<_>, Vec<_>) = looked
            .skin
            .iter()
            .enumerate()
            .map(|(i, range)| {
                let pixels = &applied.out[range.clone()];
                let (trimmed, mean) = Trimmed::new(pixels, self.space);
                let (chromaticities, spread) = Chromaticities::new(pixels, self.space);
                let skin = self.skin_after(i, false, pixels, (mean, spread));
                ((trimmed, chromaticities), skin)
            })
            .unzip();
        let clip = self.clip_some(&applied.out, edges, &at_edges.out);
        let measures = self.measures(looked, &applied.out, &skin, &clip);
        let here = Here {
            by,
            applied,
            edges: at_edges,
            skin: kept,
        };
        (here, skin, measures)
    }

    /// The same after a small step beside a move.
    pub(crate) fn beside(
        &self,
        here: &Here,
        step: &Move,
        edges: &Edges,
    ) -> (Vec<SkinAfter>, Measures) {
        let looked = &self.some;
        let out = here
            .applied
            .beside(&looked.pixels, &looked.dark, (&here.by, step));
        let at_edges = here.edges.beside(&edges.pixels, &(0..0), (&here.by, step));
        let skin: Vec<SkinAfter> = looked
            .skin
            .iter()
            .zip(&here.skin)
            .enumerate()
            .map(|(i, (range, (trimmed, chromaticities)))| {
                let pixels = &out[range.clone()];
                let mean = trimmed.beside(pixels, self.space);
                let before = &here.applied.out[range.clone()];
                let spread = chromaticities.beside(before, pixels, self.space);
                self.skin_after(i, false, pixels, (mean, spread))
            })
            .collect();
        let clip = self.clip_some(&out, edges, &at_edges);
        let measures = self.measures(looked, &out, &skin, &clip);
        (skin, measures)
    }

    fn clip_some(&self, out: &[[f64; 3]], edges: &Edges, at_edges: &[[f64; 3]]) -> NewClipping {
        let mut over = edges
            .of
            .iter()
            .map(|(edge, range)| edge.over(&at_edges[range.clone()]));
        NewClipping {
            growth_pct: soft_clip_growth(&self.few, &out[self.some.picture.clone()]),
            skin_pct: 0.0,
            over: over.next().unwrap_or(f64::NEG_INFINITY),
            skin_over: over.fold(f64::NEG_INFINITY, f64::max),
        }
    }

    /// Everything that has a limit, from what a move makes of the pixels; `after`: everybody's skin, or nobody's.
    fn measures(
        &self,
        looked: &Looked,
        out: &[[f64; 3]],
        after: &[SkinAfter],
        clip: &NewClipping,
    ) -> Measures {
        let luma = |p: [f64; 3]| self.space.coefficients.luma(p);
        let mut m = Measures {
            skin_slope: (f64::INFINITY, f64::NEG_INFINITY),
            upper_slope: f64::INFINITY,
            skin_spread: (f64::INFINITY, f64::NEG_INFINITY),
            clip_growth_pct: clip.growth_pct,
            skin_clip_pct: clip.skin_pct,
            clip_over: clip.over,
            skin_clip_over: clip.skin_over,
            ..Measures::default()
        };
        // (flattest, steepest)
        let slopes = |ramp: &std::ops::Range<usize>| -> (f64, f64) {
            let mut range = (f64::INFINITY, f64::NEG_INFINITY);
            let mut last: Option<(f64, f64)> = None;
            for i in ramp.clone() {
                let (x, y) = (luma(looked.pixels.list[i].rgb), luma(out[i]));
                if let Some((x0, y0)) = last {
                    let slope = (y - y0) / (x - x0);
                    range = (range.0.min(slope), range.1.max(slope));
                }
                last = Some((x, y));
            }
            range
        };
        for (i, set) in self.people.iter().enumerate() {
            let (flattest, steepest) = slopes(&looked.ramp[i]);
            m.skin_slope = (m.skin_slope.0.min(flattest), m.skin_slope.1.max(steepest));
            m.upper_slope = m.upper_slope.min(slopes(&looked.upper[i]).0);
            let Some(after) = after.get(i) else { continue };
            let stops = (self.luminance(&after.value) / self.luminance(&set.before)).log2();
            if stops.abs() > m.exposure_stops.abs() {
                m.exposure_stops = stops;
            }
            let spread = after.spread_ratio;
            m.skin_spread = (m.skin_spread.0.min(spread), m.skin_spread.1.max(spread));
        }
        m.noise_gain = self.noise_gain(&out[looked.dark.clone()]);
        m.code_gap = out[looked.levels.clone()]
            .chunks_exact(2)
            .map(|pair| (luma(pair[1]) - luma(pair[0])) / (2.0 * HALF_CODE))
            .fold(1.0, f64::max);
        m.blown = self.blown_after(&out[looked.blown.clone()], &out[looked.soft.clone()]);
        m.white_level_pct = 100.0 * luma(out[looked.white]);
        m.neutrals = out[looked.neutrals.clone()].to_vec();
        m.neutral_growth = (!self.neutrals.is_empty()).then(|| {
            self.neutrals
                .iter()
                .zip(&m.neutrals)
                .map(|(g, after)| g.share * (self.neutral_error(g, *after) - g.de00_before))
                .sum::<f64>()
                / self.neutrals.iter().map(|g| g.share).sum::<f64>()
        });
        m
    }

    /// Chroma that blown areas and their soft edges gain, CIEDE2000 from neutral, and the least level of what was blown, percent;
    /// `None` where there are none.
    fn blown_after(&self, blown: &[[f64; 3]], soft: &[[f64; 3]]) -> Option<(f64, f64)> {
        if self.blown.is_empty() && self.edges.is_empty() {
            return None;
        }
        let gained =
            |before: &f64, after: &[f64; 3]| from_neutral(&self.lab, shown(*after)) - before;
        let luma = |p: [f64; 3]| self.space.coefficients.luma(shown(p));
        let (mut most, mut level) = (0.0f64, 100.0f64);
        for ((p, tint), after) in self.blown.iter().zip(&self.blown_tint).zip(blown) {
            most = most.max(gained(tint, after));
            level = level.min(100.0 - 100.0 * (luma(*p) - luma(*after)));
        }
        if !self.edges.is_empty() {
            let mut gains: Vec<f64> = self
                .edges_tint
                .iter()
                .zip(soft)
                .map(|(tint, after)| gained(tint, after))
                .collect();
            gains.sort_unstable_by(f64::total_cmp);
            most = most.max(quantile(&gains, 1.0 - EDGE_STRAY));
        }
        Some((most, level))
    }

    /// CIEDE2000 of a neutral surface from the colour expected of it, at the luma that it has.
    pub(crate) fn neutral_error(&self, group: &NeutralGroup, signal: [f64; 3]) -> f64 {
        group.error(signal, &self.lab, self.space)
    }

    fn luminance(&self, value: &SkinValue) -> f64 {
        let [r, g, b] = linear709(signal_of(value, self.space), self.space);
        (0.2126 * r + 0.7152 * g + 0.0722 * b).max(1e-5)
    }

    /// Root mean square of luma's derivative, for equal and independent errors of R', G', B'.
    fn noise_gain(&self, steps: &[[f64; 3]]) -> f64 {
        if self.dark.is_empty() {
            return 1.0;
        }
        let (kr, kg, kb) = self.space.coefficients.weights();
        let k = [kr, kg, kb];
        let whole: f64 = k.iter().map(|k| k * k).sum();
        // Saturation turns about luma, so it has no part in this and the channels stay apart.
        let sum: f64 = steps
            .chunks_exact(2)
            .map(|pair| {
                let (down, up) = (pair[0], pair[1]);
                (0..3)
                    .map(|c| (k[c] * (up[c] - down[c]) / (2.0 * DARK_STEP)).powi(2))
                    .sum::<f64>()
                    / whole
            })
            .sum();
        (sum / self.dark.len() as f64).sqrt()
    }
}

impl SkinSet {
    fn new(
        pixels: Vec<[f64; 3]>,
        before: SkinValue,
        light_colour: [f64; 3],
        (space, lab, look): (WorkingSpace, &LabConverter, &Look),
    ) -> Self {
        let (by_luma, lumas) = by_luma(&pixels, space);
        let (mut low, mut high) = (quantile(&lumas, 0.05), quantile(&lumas, 0.95));
        // An even patch has a tone curve too: look at 4 % of signal at least.
        let middle = (low + high) / 2.0;
        low = low.min(middle - 0.02).max(0.01);
        high = high.max(middle + 0.02).min(0.99);
        let own = linear709(signal_of(&before, space), space);
        let own = working_from_linear709(own, space);
        let steps = |from: f64, to: f64, count: usize| -> Vec<f64> {
            (0..=count)
                .map(|i| from + (to - from) * i as f64 / count as f64)
                .collect()
        };
        let ramp = steps(low, high, 4)
            .into_iter()
            .map(|level| Logged::new(at_level(own, level, space)))
            .collect();
        let top = space.coefficients.luma(light_colour.map(bt709_oetf));
        let upper = if top > high + 0.04 {
            steps(high, top, 6)
                .into_iter()
                .map(|level| Logged::new(at_level(light_colour, level, space)))
                .collect()
        } else {
            Vec::new()
        };
        let few = thinned(&by_luma, FEW_SKIN);
        let thin = (pixels.len() > SKIN).then(|| thinned(&by_luma, SKIN));
        let apart = |all: Ycbcr, some: &[[f64; 3]]| {
            let some = trimmed_means(some, space);
            Ycbcr {
                y: all.y - some.y,
                cb: all.cb - some.cb,
                cr: all.cr - some.cr,
            }
        };
        let mean = trimmed_means(&pixels, space);
        let few_off = apart(mean, &few);
        let off = |mean: Ycbcr, thin: Option<&Vec<[f64; 3]>>| {
            thin.map_or_else(Ycbcr::default, |thin| apart(mean, thin))
        };
        let own_off = off(mean, thin.as_ref());
        let through = |pixels: &[[f64; 3]]| look.through(pixels);
        let (seen, seen_off, few_seen_off) = match (through(&pixels), through(&few)) {
            (Some(all), Some(some)) => {
                let mean = trimmed_means(&all, space);
                let thin = thin.as_deref().and_then(through);
                (
                    value_of(mean, space, lab),
                    off(mean, thin.as_ref()),
                    apart(mean, &some),
                )
            }
            _ => (before, own_off, few_off),
        };
        let pixels = thin.unwrap_or(pixels);
        Self {
            few_off,
            seen,
            few_seen_off,
            off: own_off,
            seen_off,
            spread: chromaticity_spread(&pixels, space),
            few_spread: chromaticity_spread(&few, space),
            few: Logged::all(&few),
            pixels: Logged::all(&pixels),
            ramp,
            upper,
            before,
        }
    }
}

/// Pixels in the order of their luma, and that.
fn by_luma(pixels: &[[f64; 3]], space: WorkingSpace) -> (Vec<[f64; 3]>, Vec<f64>) {
    let mut keyed: Vec<(f64, [f64; 3])> = pixels
        .iter()
        .map(|p| (space.coefficients.luma(*p), *p))
        .collect();
    keyed.sort_by(|a, b| a.0.total_cmp(&b.0));
    keyed.into_iter().map(|(luma, p)| (p, luma)).unzip()
}

/// A signal as it is shown: within the range.
fn shown(p: [f64; 3]) -> [f64; 3] {
    p.map(|v| v.clamp(0.0, 1.0))
}

/// Signal of a linear colour scaled so that its luma is `level` (signal units).
pub(crate) fn at_level(linear: [f64; 3], level: f64, space: WorkingSpace) -> [f64; 3] {
    let signal = |scale: f64| linear.map(|v| bt709_oetf(v * scale));
    // Where every channel comes to lie on the curved part of BT.709-6 item 1.2, luma is a power of the scale and an offset.
    let power = space.coefficients.luma(linear.map(|v| v.powf(0.45)));
    let scale = ((level + 0.099) / (1.099 * power)).powf(1.0 / 0.45);
    if (1e-6..=256.0).contains(&scale) && linear.iter().all(|v| v * scale >= 0.018) {
        return signal(scale);
    }
    let (mut low, mut high) = (-20.0f64, 8.0f64);
    // Luma rises with the scale; 50 halvings of 28 octaves leave 2e-14.
    for _ in 0..50 {
        let middle = (low + high) / 2.0;
        if space.coefficients.luma(signal(middle.exp2())) < level {
            low = middle;
        } else {
            high = middle;
        }
    }
    signal(high.exp2())
}

pub(crate) fn signal_of(value: &SkinValue, space: WorkingSpace) -> [f64; 3] {
    space.coefficients.rgb_from_ycbcr(Ycbcr {
        y: value.level.signal(),
        cb: value.chroma.cb,
        cr: value.chroma.cr,
    })
}

pub(crate) fn trimmed_means(pixels: &[[f64; 3]], space: WorkingSpace) -> Ycbcr {
    Trimmed::new(pixels, space).1
}

pub(crate) fn value_of(mean: Ycbcr, space: WorkingSpace, lab: &LabConverter) -> SkinValue {
    SkinValue {
        level: Percent::from_signal(mean.y),
        chroma: mean.chroma(),
        lab: lab.lab(space.coefficients.rgb_from_ycbcr(mean)),
    }
}

fn chromaticity_spread(pixels: &[[f64; 3]], space: WorkingSpace) -> f64 {
    Chromaticities::new(pixels, space).1
}

/// CIEDE2000 from the neutral of the same lightness: one of the two has no chroma, so that hue and the rotation play no part.
pub(crate) fn from_neutral(lab: &LabConverter, signal: [f64; 3]) -> f64 {
    let at = lab.lab(signal);
    let mean = at.chroma() / 2.0;
    let seventh = mean.powi(7);
    let g = 0.5 * (1.0 - (seventh / (seventh + 25.0f64.powi(7))).sqrt());
    let chroma = ((1.0 + g) * at.a).hypot(at.b);
    chroma / (1.0 + 0.045 * chroma / 2.0)
}

/// New pixels near or beyond the edge of the range, percent of the sample, smoothly: a pixel counts from
/// [`EASED`] inside the edge, from where the source is, and in full that far beyond it.
fn soft_clip_growth(sample: &[Logged], after: &[[f64; 3]]) -> f64 {
    if sample.is_empty() {
        return 0.0;
    }
    let edge = |p: [f64; 3]| ((past_edge(p) + EASED) / (2.0 * EASED)).clamp(0.0, 1.0);
    let sum: f64 = sample
        .iter()
        .zip(after)
        .filter(|(p, _)| past_edge(p.rgb) <= 0.0)
        .map(|(p, after)| (edge(*after) - edge(p.rgb)).max(0.0))
        .sum();
    100.0 * sum / sample.len() as f64
}

impl NeutralGroup {
    /// a*, b* off the expected colour, which goes with lightness as every colour does.
    fn off(&self, at: Lab) -> Vector2<f64> {
        Vector2::new(at.a, at.b) - self.wanted * ((at.l + 16.0) / (self.l + 16.0))
    }

    /// CIEDE2000 between a signal and the expected colour at the same luma.
    fn error(&self, signal: [f64; 3], lab: &LabConverter, space: WorkingSpace) -> f64 {
        let linear =
            working_from_linear709([self.expected.x.exp(), 1.0, self.expected.y.exp()], space);
        let level = space.coefficients.luma(signal).max(1e-4);
        delta_e_2000(lab.lab(signal), lab.lab(at_level(linear, level, space))).0
    }
}

/// The surfaces that are neutral or nearly so, each with the colour that is expected of it.
fn neutral_groups(
    evidence: &Evidence,
    light: &LightEstimate,
    space: WorkingSpace,
) -> Vec<NeutralGroup> {
    let Some(neutral) = light.neutral else {
        return Vec::new();
    };
    let lab = LabConverter::new(space);
    let cast = Vector2::new(neutral.cast[0], neutral.cast[1]);
    let which: Vec<usize> = (0..evidence.surfaces.len())
        .filter(|i| light.white.surfaces[*i].2 >= 0.5)
        .collect();
    let members = evidence.members(&which, 1.5 * RADIUS, space);
    let total: usize = members.iter().map(Vec::len).sum();
    which
        .iter()
        .zip(&members)
        .filter(|(_, members)| members.len() >= 4)
        .map(|(i, members)| {
            let mut mean = [0.0; 3];
            for p in members {
                for c in 0..3 {
                    mean[c] += p[c] / members.len() as f64;
                }
            }
            let level = space.coefficients.luma(mean);
            let expected = log_ratios_of(mean, space) - cast + light.wanted();
            let linear = working_from_linear709([expected.x.exp(), 1.0, expected.y.exp()], space);
            let wanted = lab.lab(at_level(linear, level, space));
            let mut group = NeutralGroup {
                mean,
                share: light.white.surfaces[*i].2 * members.len() as f64 / total as f64,
                expected,
                wanted: Vector2::new(wanted.a, wanted.b),
                l: wanted.l,
                de00_before: 0.0,
                off_before: 0.0,
            };
            group.de00_before = group.error(mean, &lab, space);
            group.off_before = group.off(lab.lab(mean)).norm();
            group
        })
        .collect()
}
