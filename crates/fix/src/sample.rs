//! A problem made ready: usable pixels, ramps, and measurements of a move on them.

use inkarnat_color::lab::LabConverter;
use inkarnat_color::transfer::bt709_oetf;
use inkarnat_color::{Lab, Percent, WorkingSpace, delta_e_2000};
use nalgebra::Vector2;

use crate::aim::Want;
use crate::clipping::{Clipping, Edge, HALF_CODE, clipping, past_edge};
use crate::evidence::{Evidence, finite};
use crate::joint::Belief;
use crate::light::surfaces::RADIUS;
use crate::light::{LightEstimate, linear709, log_ratios_of, working_from_linear709};
use crate::limits::Limits;
use crate::look::Look;
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
    pub(crate) few_off: inkarnat_color::Ycbcr,
    /// The same seen through the look.
    few_seen_off: inkarnat_color::Ycbcr,
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
    /// Each dark pixel a step below and above.
    dark_steps: Vec<[Logged; 2]>,
    pub(crate) levels: Vec<[f64; 3]>,
    /// Each level and a code above.
    level_steps: Vec<[Logged; 2]>,
    pub(crate) blown: Vec<[f64; 3]>,
    /// Soft edges of blown areas, and areas nearly blown.
    pub(crate) edges: Vec<Logged>,
    pub(crate) neutrals: Vec<NeutralGroup>,
    pub(crate) light: LightEstimate,
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

/// The pixels that decide about the limits on new clipping: of the picture and of each person's skin.
#[derive(Clone, Debug, Default)]
pub(crate) struct Edges {
    picture: Edge,
    skin: Vec<Edge>,
}

/// Which pixels a measurement is made on.
pub(crate) enum On<'a> {
    /// All of them; clipping is counted.
    All(&'a Limits),
    /// Some; clipping is smooth, by the pixels that decide.
    Some(&'a Edges),
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
}

/// Every n-th of a list, at most `most`, evenly spread.
fn thinned(list: &[[f64; 3]], most: usize) -> Vec<[f64; 3]> {
    if list.len() <= most {
        return list.to_vec();
    }
    (0..most).map(|i| list[i * list.len() / most]).collect()
}

/// Mean of what is left after the lowest and highest tenth are cut, as readings take it.
fn trimmed_mean(values: &mut [f64]) -> f64 {
    let n = values.len();
    let cut = n / 10;
    if cut > 0 {
        values.select_nth_unstable_by(cut, f64::total_cmp);
        values[cut..].select_nth_unstable_by(n - 2 * cut - 1, f64::total_cmp);
    }
    let kept = &mut values[cut..n - cut];
    // Summed in the order of size, so that the sum does not depend on how the selection left them.
    kept.sort_unstable_by(f64::total_cmp);
    kept.iter().sum::<f64>() / kept.len() as f64
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
        let luma = |p: &[f64; 3]| space.coefficients.luma(*p);
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

        let mut by_luma: Vec<[f64; 3]> = picture.clone();
        by_luma.sort_by(|a, b| luma(a).total_cmp(&luma(b)));
        let dark = thinned(&by_luma[..by_luma.len() / 4], DARK);
        let lumas: Vec<f64> = by_luma.iter().map(luma).collect();
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
        let stepped = |p: &[f64; 3], by: f64| Logged::new(p.map(|v| v + by));
        Self {
            few: Logged::all(&thinned(&picture, FEW)),
            space,
            lab,
            look,
            people,
            outside,
            picture: Logged::all(&picture),
            dark_steps: dark
                .iter()
                .map(|p| [stepped(p, -DARK_STEP), stepped(p, DARK_STEP)])
                .collect(),
            dark,
            level_steps: levels
                .iter()
                .map(|p| [stepped(p, 0.0), stepped(p, 2.0 * HALF_CODE)])
                .collect(),
            levels,
            blown,
            edges: Logged::all(&edges),
            neutrals,
            light,
        }
    }

    pub(crate) fn has_blown_areas(&self) -> bool {
        !self.blown.is_empty()
    }

    /// Skin of one person after a move. `thorough`: from all pixels.
    pub(crate) fn skin_after(&self, person: usize, by: &Move, thorough: bool) -> SkinAfter {
        let set = &self.people[person];
        let source = if thorough { &set.pixels } else { &set.few };
        let pixels: Vec<[f64; 3]> = source.iter().map(|p| by.apply_logged(p)).collect();
        let of = |pixels: &[[f64; 3]], off: inkarnat_color::Ycbcr| {
            let mut mean = trimmed_means(pixels, self.space);
            if !thorough {
                mean.y += off.y;
                mean.cb += off.cb;
                mean.cr += off.cr;
            }
            value_of(mean, self.space, &self.lab)
        };
        let value = of(&pixels, set.few_off);
        let seen = match self.look.through(&pixels) {
            Some(seen) => of(&seen, set.few_seen_off),
            None => value,
        };
        let spread = chromaticity_spread(&pixels, self.space);
        let spread_before = if thorough { set.spread } else { set.few_spread };
        SkinAfter {
            value,
            seen,
            // Below a thousandth of ln there is no spread to speak of (a flat patch).
            spread_ratio: (spread + 1e-3) / (spread_before + 1e-3),
        }
    }

    /// a*, b* that a neutral surface is off its expected colour after a move.
    pub(crate) fn neutral_off(&self, group: usize, by: &Move) -> Vector2<f64> {
        let group = &self.neutrals[group];
        group.off(self.lab.lab(by.apply(group.mean)))
    }

    /// The pixels that decide about the limits on new clipping near a move.
    pub(crate) fn edges(&self, by: &Move, limits: &Limits) -> Edges {
        let of_skin = |set: &SkinSet| clipping(&set.pixels, limits.skin_new_clipping_pct, by).edge;
        Edges {
            picture: clipping(&self.picture, limits.new_clipping_pct, by).edge,
            skin: self.people.iter().map(of_skin).collect(),
        }
    }

    fn clip_all(&self, by: &Move, limits: &Limits, m: &mut Measures) {
        let Clipping {
            growth_pct, over, ..
        } = clipping(&self.picture, limits.new_clipping_pct, by);
        (m.clip_growth_pct, m.clip_over) = (growth_pct, over);
        for set in &self.people {
            let skin = clipping(&set.pixels, limits.skin_new_clipping_pct, by);
            m.skin_clip_pct = m.skin_clip_pct.max(skin.growth_pct);
            m.skin_clip_over = m.skin_clip_over.max(skin.over);
        }
    }

    fn clip_some(&self, by: &Move, edges: &Edges, m: &mut Measures) {
        m.clip_growth_pct = soft_clip_growth(&self.few, by);
        m.clip_over = edges.picture.over(by);
        m.skin_clip_over = edges
            .skin
            .iter()
            .map(|edge| edge.over(by))
            .fold(f64::NEG_INFINITY, f64::max);
    }

    /// Everything that has a limit.
    pub(crate) fn measures(&self, by: &Move, after: &[SkinAfter], on: &On<'_>) -> Measures {
        let luma = |p: [f64; 3]| self.space.coefficients.luma(p);
        let mut m = Measures {
            skin_slope: (f64::INFINITY, f64::NEG_INFINITY),
            upper_slope: f64::INFINITY,
            skin_spread: (f64::INFINITY, f64::NEG_INFINITY),
            skin_clip_over: f64::NEG_INFINITY,
            ..Measures::default()
        };
        // (flattest, steepest)
        let slopes = |ramp: &[Logged]| -> (f64, f64) {
            let mut range = (f64::INFINITY, f64::NEG_INFINITY);
            let mut last: Option<(f64, f64)> = None;
            for p in ramp {
                let (x, y) = (luma(p.rgb), luma(by.apply_logged(p)));
                if let Some((x0, y0)) = last {
                    let slope = (y - y0) / (x - x0);
                    range = (range.0.min(slope), range.1.max(slope));
                }
                last = Some((x, y));
            }
            range
        };
        for (set, after) in self.people.iter().zip(after) {
            let stops = (self.luminance(&after.value) / self.luminance(&set.before)).log2();
            if stops.abs() > m.exposure_stops.abs() {
                m.exposure_stops = stops;
            }
            let (flattest, steepest) = slopes(&set.ramp);
            m.skin_slope = (m.skin_slope.0.min(flattest), m.skin_slope.1.max(steepest));
            m.upper_slope = m.upper_slope.min(slopes(&set.upper).0);
            let spread = after.spread_ratio;
            m.skin_spread = (m.skin_spread.0.min(spread), m.skin_spread.1.max(spread));
        }
        match on {
            On::All(limits) => self.clip_all(by, limits, &mut m),
            On::Some(edges) => self.clip_some(by, edges, &mut m),
        }
        m.noise_gain = self.noise_gain(by);
        m.code_gap = self
            .level_steps
            .iter()
            .map(|[at, next]| {
                (luma(by.apply_logged(next)) - luma(by.apply_logged(at))) / (2.0 * HALF_CODE)
            })
            .fold(1.0, f64::max);
        m.blown = self.blown_after(by);
        let white = by.apply([1.0; 3]);
        m.white_level_pct = 100.0 * luma(white);
        m.neutral_growth = (!self.neutrals.is_empty()).then(|| {
            self.neutrals
                .iter()
                .map(|g| g.share * (self.neutral_error(g, by.apply(g.mean)) - g.de00_before))
                .sum::<f64>()
                / self.neutrals.iter().map(|g| g.share).sum::<f64>()
        });
        m
    }

    /// Chroma that blown areas and their soft edges gain, CIEDE2000 from neutral, and the least level of what was blown, percent;
    /// `None` where there are none.
    fn blown_after(&self, by: &Move) -> Option<(f64, f64)> {
        if self.blown.is_empty() && self.edges.is_empty() {
            return None;
        }
        let shown = |p: [f64; 3]| p.map(|v| v.clamp(0.0, 1.0));
        let gained = |before: [f64; 3], after: [f64; 3]| {
            from_neutral(&self.lab, shown(after)) - from_neutral(&self.lab, shown(before))
        };
        let luma = |p: [f64; 3]| self.space.coefficients.luma(shown(p));
        let (mut most, mut level) = (0.0f64, 100.0f64);
        for p in &self.blown {
            let after = by.apply(*p);
            most = most.max(gained(*p, after));
            level = level.min(100.0 - 100.0 * (luma(*p) - luma(after)));
        }
        if !self.edges.is_empty() {
            let mut gains: Vec<f64> = self
                .edges
                .iter()
                .map(|p| gained(p.rgb, by.apply_logged(p)))
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
    fn noise_gain(&self, by: &Move) -> f64 {
        if self.dark.is_empty() {
            return 1.0;
        }
        let (kr, kg, kb) = self.space.coefficients.weights();
        let k = [kr, kg, kb];
        let whole: f64 = k.iter().map(|k| k * k).sum();
        // Saturation turns about luma, so it has no part in this and the channels stay apart.
        let sum: f64 = self
            .dark_steps
            .iter()
            .map(|[below, above]| {
                let (up, down) = (by.curves(above), by.curves(below));
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
        let mut lumas: Vec<f64> = pixels.iter().map(|p| space.coefficients.luma(*p)).collect();
        lumas.sort_by(f64::total_cmp);
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
        let mut by_luma = pixels.clone();
        by_luma.sort_by(|a, b| {
            space
                .coefficients
                .luma(*a)
                .total_cmp(&space.coefficients.luma(*b))
        });
        let few = thinned(&by_luma, FEW_SKIN);
        let off = |all: &[[f64; 3]], some: &[[f64; 3]]| {
            let (all, some) = (trimmed_means(all, space), trimmed_means(some, space));
            inkarnat_color::Ycbcr {
                y: all.y - some.y,
                cb: all.cb - some.cb,
                cr: all.cr - some.cr,
            }
        };
        let few_off = off(&pixels, &few);
        let (seen, few_seen_off) = match (look.through(&pixels), look.through(&few)) {
            (Some(all), Some(some)) => (
                value_of(trimmed_means(&all, space), space, lab),
                off(&all, &some),
            ),
            _ => (before, few_off),
        };
        Self {
            few_off,
            seen,
            few_seen_off,
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

/// Signal of a linear colour scaled so that its luma is `level` (signal units).
pub(crate) fn at_level(linear: [f64; 3], level: f64, space: WorkingSpace) -> [f64; 3] {
    let signal = |scale: f64| linear.map(|v| bt709_oetf(v * scale));
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
    space.coefficients.rgb_from_ycbcr(inkarnat_color::Ycbcr {
        y: value.level.signal(),
        cb: value.chroma.cb,
        cr: value.chroma.cr,
    })
}

pub(crate) fn trimmed_means(pixels: &[[f64; 3]], space: WorkingSpace) -> inkarnat_color::Ycbcr {
    let mut columns: [Vec<f64>; 3] = std::array::from_fn(|_| Vec::with_capacity(pixels.len()));
    for p in pixels {
        let v = space.coefficients.ycbcr_from_rgb(*p);
        for (column, v) in columns.iter_mut().zip([v.y, v.cb, v.cr]) {
            column.push(v);
        }
    }
    let [y, cb, cr] = columns.map(|mut c| trimmed_mean(&mut c));
    inkarnat_color::Ycbcr { y, cb, cr }
}

pub(crate) fn value_of(
    mean: inkarnat_color::Ycbcr,
    space: WorkingSpace,
    lab: &LabConverter,
) -> SkinValue {
    SkinValue {
        level: Percent::from_signal(mean.y),
        chroma: mean.chroma(),
        lab: lab.lab(space.coefficients.rgb_from_ycbcr(mean)),
    }
}

/// Root mean square distance of (ln R/G, ln B/G) from its mean: a gain in light leaves it as it is, so that undoing a
/// cast or an exposure counts as no change, and draining or boosting colour counts in full.
fn chromaticity_spread(pixels: &[[f64; 3]], space: WorkingSpace) -> f64 {
    let (mut sum, mut squares) = (Vector2::zeros(), 0.0);
    for p in pixels {
        let at = log_ratios_of(*p, space);
        sum += at;
        squares += at.norm_squared();
    }
    let n = pixels.len() as f64;
    (squares / n - (sum / n).norm_squared()).max(0.0).sqrt()
}

/// CIEDE2000 from the neutral of the same lightness.
pub(crate) fn from_neutral(lab: &LabConverter, signal: [f64; 3]) -> f64 {
    let at = lab.lab(signal);
    inkarnat_color::delta_e_2000(
        at,
        Lab {
            l: at.l,
            a: 0.0,
            b: 0.0,
        },
    )
    .0
}

/// New pixels near or beyond the edge of the range, percent of the sample, smoothly: a pixel counts from
/// [`EASED`] inside the edge, from where the source is, and in full that far beyond it.
fn soft_clip_growth(sample: &[Logged], by: &Move) -> f64 {
    if sample.is_empty() {
        return 0.0;
    }
    let edge = |p: [f64; 3]| ((past_edge(p) + EASED) / (2.0 * EASED)).clamp(0.0, 1.0);
    let sum: f64 = sample
        .iter()
        .filter(|p| past_edge(p.rgb) <= 0.0)
        .map(|p| (edge(by.apply_logged(p)) - edge(p.rgb)).max(0.0))
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
