//! What is minimised, and what must hold.

use inkarnat_color::{Lab, Percent};

use crate::aim::{Aim, AimCentre, SaturationAim, Want};
use crate::limits::{Limit, Limits};
use crate::model::{Family, Move, Parameters};
use crate::sample::{Edges, Here, Measures, Ready, SkinAfter};
use crate::solution::{Reach, SkinValue};

/// One person's aim with its centre, ready to be measured against.
pub(crate) struct Target {
    pub(crate) aim: Aim,
    pub(crate) centre: AimCentre,
    metric: Metric,
}

/// CIEDE2000 about one colour, as three independent directions.
struct Metric {
    lab: Lab,
    stretch: f64,
    weights: [f64; 3],
}

impl Metric {
    fn new(lab: Lab) -> Self {
        let pow7 = |x: f64| x.powi(7);
        let g = 0.5 * (1.0 - (pow7(lab.chroma()) / (pow7(lab.chroma()) + pow7(25.0))).sqrt());
        let stretch = 1.0 + g;
        let chroma = (stretch * lab.a).hypot(lab.b);
        let hue = lab.b.atan2(stretch * lab.a).to_degrees();
        let cosine = |degrees: f64| degrees.to_radians().cos();
        let t = 1.0 - 0.17 * cosine(hue - 30.0)
            + 0.24 * cosine(2.0 * hue)
            + 0.32 * cosine(3.0 * hue + 6.0)
            - 0.20 * cosine(4.0 * hue - 63.0);
        let l50 = (lab.l - 50.0).powi(2);
        Self {
            lab,
            stretch,
            weights: [
                1.0 / (1.0 + 0.015 * l50 / (20.0 + l50).sqrt()),
                1.0 / (1.0 + 0.045 * chroma),
                1.0 / (1.0 + 0.015 * chroma * t),
            ],
        }
    }

    /// ΔL', ΔC', ΔH' from the colour, weighted.
    fn components(&self, at: Lab) -> [f64; 3] {
        let prime = |lab: Lab| (self.stretch * lab.a, lab.b);
        let ((a0, b0), (a1, b1)) = (prime(self.lab), prime(at));
        let (c0, c1) = (a0.hypot(b0), a1.hypot(b1));
        let delta_c = c1 - c0;
        // Signed chord across the hue difference: |ΔE|² − ΔC², positive counter-clockwise.
        let chord = (a1 - a0).powi(2) + (b1 - b0).powi(2) - delta_c * delta_c;
        let delta_h = chord.max(0.0).sqrt() * (a0 * b1 - a1 * b0).signum();
        [
            (at.l - self.lab.l) * self.weights[0],
            delta_c * self.weights[1],
            delta_h * self.weights[2],
        ]
    }
}

/// How far a reading is from an aim.
pub(crate) struct Distance {
    /// Weighted ΔL', ΔC', ΔH'.
    pub(crate) components: [f64; 3],
    /// Distance in typed bands, 1 = at the edge; in CIEDE2000 over the width for what is not typed.
    pub(crate) relative: [f64; 4],
}

impl Distance {
    pub(crate) fn on_aim(&self) -> bool {
        self.relative.iter().all(|r| *r <= 1.0)
    }
}

impl Target {
    pub(crate) fn new(aim: Aim, centre: AimCentre) -> Self {
        Self {
            metric: Metric::new(centre.lab),
            aim,
            centre,
        }
    }

    /// Whether level or hue were asked for in numbers.
    pub(crate) fn is_typed(&self) -> bool {
        self.aim.level != Want::Own || self.aim.hue != Want::Own
    }

    /// How far off in level and in hue as each is read by itself, in the size that CIEDE2000 has about the centre; in typed
    /// bands by widths, 1 = at the edge.
    fn apart(&self, at: &SkinValue) -> (f64, f64) {
        let centre = &self.centre;
        let typed = self.distance(at).relative;
        let level = match self.aim.level {
            Want::Band(_) => typed[0] * self.aim.width,
            _ => {
                let grey = |level: Percent| 116.0 * level.signal().max(0.0).powf(2.4 / 3.0);
                self.metric.weights[0] * (grey(at.level) - grey(centre.level)).abs()
            }
        };
        let hue = match (&self.aim.hue, at.hue(), centre.hue) {
            (Want::Band(_), _, _) => typed[1] * self.aim.width,
            (_, Some(hue), Some(wanted)) => {
                let turn = hue.from_origin(wanted).degrees().to_radians();
                self.metric.weights[2] * centre.lab.chroma() * turn.abs()
            }
            _ => 0.0,
        };
        (level, hue)
    }

    pub(crate) fn distance(&self, at: &SkinValue) -> Distance {
        let components = self.metric.components(at.lab);
        let mut rest = components;
        let mut relative = [0.0; 4];
        if let Want::Band(band) = self.aim.level {
            relative[0] = (at.level.0 - band.middle()).abs() / band.half().max(0.05);
            rest[0] = 0.0;
        }
        if let (Want::Band(band), Some(middle)) = (self.aim.hue, self.aim.hue.centre_hue()) {
            // Skin without a hue is off a typed hue.
            relative[1] = at.hue().map_or(f64::INFINITY, |hue| {
                hue.from_origin(middle).degrees().abs() / band.half_hue_deg().max(0.05)
            });
            if relative[1].is_infinite() {
                relative[1] = 10.0;
            }
            rest[2] = 0.0;
        }
        if let SaturationAim::Ratio(Want::Band(band)) = self.aim.saturation {
            relative[2] = (at.sat_ratio() - band.middle()).abs() / band.half().max(0.002);
            rest[1] = 0.0;
        }
        relative[3] = rest.iter().map(|d| d * d).sum::<f64>().sqrt() / self.aim.width;
        Distance {
            components,
            relative,
        }
    }
}

/// Weights of the objective, one place for all.
pub(crate) struct Weights {
    /// Skin, by CIEDE2000 from the centre.
    skin: f64,
    /// Skin beyond four fifths of its width or band, by widths.
    beyond: f64,
    /// Neutrals, by C*ab.
    neutral: f64,
    /// Parameters: each move's own price.
    moves: [f64; 5],
}

impl Weights {
    fn of(reach: Reach) -> Self {
        match reach {
            Reach::Mids => Self {
                skin: 0.8,
                beyond: 6.0,
                neutral: 0.12,
                moves: [0.1, 0.2, 0.1, 0.0, 3.0],
            },
            _ => Self {
                skin: 0.8,
                beyond: 6.0,
                neutral: 0.35,
                moves: [0.05, 0.05, 0.05, 1.5, 3.0],
            },
        }
    }
}

/// Weights of level, saturation and hue of skin: saturation is what a solver gives up first.
const COMPONENTS: [f64; 3] = [1.0, 2.0, 1.3];
/// Share of the neutrals' chroma that `picture` leaves at most.
const HALVED: f64 = 0.42;
/// Neutrals with a chroma C*ab up to here may keep it.
const LEAST_CAST: f64 = 1.5;
/// Weight of what clipped areas change inside their limits: of chroma gained by CIEDE2000, of level lost by percent.
const BLOWN: f64 = 2.0;
/// Weight of new clipping inside its limit, by points of percent.
const CLIPPING: f64 = 0.3;

/// What a fix that ends off aim may still lose in level alone, in widths of the aim: for one person, for several.
const HELD_LEVEL: [f64; 2] = [0.25, 0.5];
/// The same in hue alone.
const HELD_HUE: [f64; 2] = [0.5, 1.0];
/// Off aim by so many widths, that is all it may lose.
const HELD_FROM: f64 = 1.5;

/// Everything a residual needs.
#[derive(Clone)]
pub(crate) struct Objective<'a> {
    pub(crate) ready: &'a Ready,
    pub(crate) targets: &'a [Target],
    pub(crate) limits: Limits,
    pub(crate) family: Family,
    /// People that count, by index.
    pub(crate) who: Vec<usize>,
    /// Added to what each limit is overstepped by: what the few pixels of the optimiser do not show.
    pub(crate) tightened: [f64; LIMITS],
    /// The pixels that decide about new clipping, for a look at some pixels.
    pub(crate) edges: Edges,
    /// Skin counts by its level alone: its colour is left to a key.
    pub(crate) level_only: bool,
}

/// Limits of a move with how far each is overstepped; 1 = by about as much as one can see.
pub(crate) type Excess = [(Limit, f64); LIMITS];

/// Limits that are checked.
pub(crate) const LIMITS: usize = 14;

/// How much further off than in the source skin ends, beyond what it may, CIEDE2000: in level and in hue.
#[derive(Clone, Copy, Debug, Default)]
pub(crate) struct Losses {
    level: f64,
    hue: f64,
}

pub(crate) fn excess(
    m: &Measures,
    l: &Limits,
    saturation: f64,
    reach: Reach,
    losses: Losses,
) -> Excess {
    let outside = |value: f64, low: f64, high: f64, unit: f64| {
        ((value - high) / unit).max((low - value) / unit)
    };
    let none = -10.0;
    [
        (
            Limit::Exposure,
            (m.exposure_stops.abs() - l.exposure_stops) / 0.1,
        ),
        (
            Limit::SkinContrast,
            outside(m.skin_slope.0, l.skin_slope_min, f64::INFINITY, 0.05).max(outside(
                m.skin_slope.1,
                f64::NEG_INFINITY,
                l.skin_slope_max,
                0.05,
            )),
        ),
        (
            Limit::UpperContrast,
            if m.upper_slope.is_finite() {
                (l.upper_slope_min - m.upper_slope) / 0.05
            } else {
                none
            },
        ),
        (
            Limit::Clipping,
            // Four 10-bit codes.
            (m.clip_over / 0.005).max(none),
        ),
        (Limit::SkinClipping, (m.skin_clip_over / 0.005).max(none)),
        (
            Limit::SkinSpread,
            outside(m.skin_spread.1, f64::NEG_INFINITY, l.skin_spread_max, 0.03).max(outside(
                m.skin_spread.0,
                l.skin_spread_min,
                f64::INFINITY,
                0.03,
            )),
        ),
        (Limit::Noise, (m.noise_gain - l.noise_gain) / 0.05),
        (Limit::CodeGap, (m.code_gap - l.code_gap) / 0.05),
        (
            Limit::ClippedAreas,
            m.blown.map_or(none, |(de, level)| {
                ((de - l.clipped_area_chroma) / 0.2).max(l.clipped_area_level_pct - level)
            }),
        ),
        (Limit::WhiteEnd, l.white_level_pct - m.white_level_pct),
        (
            Limit::Neutrals,
            match (m.neutral_growth, reach) {
                (Some(growth), _) => (growth - l.neutral_growth) / 0.2,
                (None, _) => none,
            },
        ),
        (
            Limit::Saturation,
            (saturation.ln().abs() - l.saturation.ln()) / 0.03,
        ),
        (Limit::Level, (losses.level - l.level_loss) / 0.2),
        (Limit::Hue, (losses.hue - l.hue_loss) / 0.2),
    ]
}

/// A move with what it does.
#[derive(Clone)]
pub(crate) struct State {
    pub(crate) made: Move,
    /// Everybody as seen through the look.
    pub(crate) after: Vec<SkinValue>,
    /// Everybody's signal before it.
    pub(crate) signal: Vec<SkinValue>,
    pub(crate) excess: Excess,
    clip_growth_pct: f64,
    /// Chroma that clipped areas gain, CIEDE2000, and level that they lose, percent.
    blown: (f64, f64),
}

impl Objective<'_> {
    /// What a move does on all pixels that limits and results are taken from.
    pub(crate) fn state(&self, p: &Parameters) -> (State, Measures) {
        self.state_of(self.family.build(p))
    }

    /// The same, whether the move was solved for or given.
    pub(crate) fn state_of(&self, made: Move) -> (State, Measures) {
        let (state, measures, _) = self.found(made);
        (state, measures)
    }

    /// The same, with the pixels that decide about new clipping there.
    pub(crate) fn found(&self, made: Move) -> (State, Measures, Edges) {
        let (skin, measures, edges) = self.ready.thorough(&made, &self.limits);
        let state = self.of(made, &skin, &measures);
        (state, measures, edges)
    }

    /// Whether a move is within every limit, counted on all pixels.
    pub(crate) fn is_within(&self, made: Move) -> bool {
        let bare = self.ready.bare(&made);
        let known = excess(
            &bare,
            &self.limits,
            made.saturation,
            self.family.reach,
            Losses::default(),
        );
        let holds = |excess: &Excess| excess.iter().all(|(_, e)| *e <= 0.0);
        // Most moves that are not within the limits show it on the few pixels that are looked at in any case.
        holds(&known) && holds(&self.state_of(made).0.excess)
    }

    /// What a move does on the pixels that the optimiser looks at.
    pub(crate) fn glance(&self, p: &Parameters) -> (State, Measures, Here) {
        let made = self.family.build(p);
        let (here, skin, measures) = self.ready.here(made.clone(), &self.edges);
        (self.of(made, &skin, &measures), measures, here)
    }

    fn of(&self, made: Move, skin: &[SkinAfter], measures: &Measures) -> State {
        let after: Vec<SkinValue> = skin.iter().map(|s| s.seen).collect();
        let excess = excess(
            measures,
            &self.limits,
            made.saturation,
            self.family.reach,
            self.losses(&after),
        );
        State {
            made,
            after,
            signal: skin.iter().map(|s| s.value).collect(),
            excess,
            clip_growth_pct: measures.clip_growth_pct,
            blown: measures
                .blown
                .map_or((0.0, 0.0), |(de, level)| (de.max(0.0), 100.0 - level)),
        }
    }

    /// A fix that stops short must not be worse than nothing: level is not given for colour, nor hue for chroma. What is on aim
    /// may use the whole width; the further off aim, the less of it. Of several people the mean counts: a gain for one may
    /// cost another a little.
    fn losses(&self, after: &[SkinValue]) -> Losses {
        let off = self
            .who
            .iter()
            .flat_map(|i| self.targets[*i].distance(&after[*i]).relative)
            .fold(0.0, f64::max);
        let free = ((HELD_FROM - off) / (HELD_FROM - 1.0)).clamp(0.0, 1.0);
        let mut losses = Losses::default();
        for &i in &self.who {
            let target = &self.targets[i];
            let (level, hue) = target.apart(&after[i]);
            let (level_before, hue_before) = target.apart(&self.ready.people[i].seen);
            let may = |held: [f64; 2]| {
                let held = held[usize::from(self.who.len() > 1)];
                target.aim.width * (held + (1.0 - held) * free)
            };
            let share = 1.0 / self.who.len() as f64;
            losses.level += share * (level - level_before.max(may(HELD_LEVEL)));
            losses.hue += share * (hue - hue_before.max(may(HELD_HUE)));
        }
        // A hue that turns takes the rest of the picture with it, but not under a key. One key for several people who pull
        // apart may turn one of them for the others' sake.
        if self.level_only || (self.family.reach == Reach::Skin && self.who.len() > 1) {
            losses.hue = -1.0;
        }
        losses
    }

    /// Looks for the pixels that decide about new clipping near `p`.
    pub(crate) fn look_about(&mut self, p: &Parameters) {
        self.edges = self.ready.edges(&self.family.build(p), &self.limits);
    }

    /// The terms whose squares are summed, and what is kept of them for [`Self::beside`]. `firmness`: weight of overstepped
    /// limits.
    pub(crate) fn residuals(&self, p: &Parameters, firmness: f64) -> (Vec<f64>, Here) {
        let (state, measures, here) = self.glance(p);
        (self.terms(p, firmness, &state, &measures), here)
    }

    /// The same terms after a small step to `p`.
    pub(crate) fn beside(&self, here: &Here, p: &Parameters, firmness: f64) -> Vec<f64> {
        let step = self.family.build(p);
        let (skin, measures) = self.ready.beside(here, &step, &self.edges);
        let state = self.of(step, &skin, &measures);
        self.terms(p, firmness, &state, &measures)
    }

    fn terms(&self, p: &Parameters, firmness: f64, state: &State, measures: &Measures) -> Vec<f64> {
        let weights = Weights::of(self.family.reach);
        let mut r = Vec::with_capacity(48);
        let share = 1.0 / (self.who.len() as f64).sqrt();
        for &i in &self.who {
            let d = self.targets[i].distance(&state.after[i]);
            if self.level_only {
                r.push(share * weights.skin * d.components[0]);
                continue;
            }
            r.extend(
                d.components
                    .iter()
                    .zip(COMPONENTS)
                    .map(|(c, w)| share * weights.skin * w * c),
            );
            r.extend(
                d.relative
                    .iter()
                    .map(|u| share * weights.beyond * (u - 0.8).max(0.0)),
            );
        }
        if let Some(neutral) = &self.ready.light.neutral {
            for (g, group) in self.ready.neutrals.iter().enumerate() {
                let off = self.ready.neutral_off(g, measures.neutrals[g]);
                let w = weights.neutral * neutral.confidence * group.share.sqrt();
                r.push(w * off.x);
                r.push(w * off.y);
                if self.family.reach == Reach::Picture {
                    // A cast of the whole picture is at least halved.
                    let most = HALVED * group.off_before;
                    r.push(3.0 * w * (off.norm() - most.max(LEAST_CAST)).max(0.0));
                }
            }
        }
        r.push(CLIPPING * state.clip_growth_pct.max(0.0));
        r.push(BLOWN * state.blown.0);
        r.push(BLOWN * state.blown.1);
        r.extend(p.iter().zip(weights.moves).map(|(p, w)| w * p));
        // A little before the limit, so that the optimum lies on the safe side of it.
        r.extend(
            state
                .excess
                .iter()
                .zip(self.tightened)
                .map(|((_, e), more)| firmness * (e + 0.05 + more).max(0.0)),
        );
        r
    }

    pub(crate) fn cost(&self, p: &Parameters, firmness: f64) -> f64 {
        let (all, _) = self.residuals(p, firmness);
        all.iter().map(|r| r * r).sum()
    }
}
