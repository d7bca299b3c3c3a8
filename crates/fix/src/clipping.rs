//! New clipping, as a count and as a distance.
//!
//! A counted share is a staircase: it tells a search neither that an edge is near nor which way leads from it. The limit
//! "at most so many of these pixels may newly clip" says the same as "the first one beyond those many lies inside the
//! range", and that distance moves smoothly with the fix.

use crate::model::Logged;

/// Half a 10-bit narrow-range code, as signal: what counts as beyond 0 or 1.
pub(crate) const HALF_CODE: f64 = 0.5 / 876.0;
/// Pixels of an [`Edge`] that the optimiser looks at.
const LOOKED_AT: usize = 24;

/// How far a pixel is beyond the range or crushed to black, signal units; positive = it counts as clipped.
pub(crate) fn past_edge(p: [f64; 3]) -> f64 {
    let largest = p[0].max(p[1]).max(p[2]);
    let least = p[0].min(p[1]).min(p[2]);
    let crushed = 2.0 * HALF_CODE - largest.abs().max(least.abs());
    (largest - 1.0).max(-least).max(crushed) - HALF_CODE
}

/// New clipping of a whole sample.
pub(crate) struct Clipping {
    /// Newly clipped pixels, percent of the sample.
    pub(crate) growth_pct: f64,
    /// [`Edge::over`] of all pixels.
    pub(crate) over: f64,
    /// The pixels that decide about the limit near this move.
    pub(crate) edge: Edge,
}

/// The pixels next to the edge of the range that decide whether a limit on new clipping holds, by their place in the sample.
#[derive(Clone, Debug, Default)]
pub(crate) struct Edge {
    pub(crate) pixels: Vec<usize>,
    allowed: usize,
}

impl Edge {
    /// [`past_edge`] of the first pixel after those that may clip, from what a move makes of the pixels; the limit holds where
    /// it is not positive.
    pub(crate) fn over(&self, after: &[[f64; 3]]) -> f64 {
        let mut past = [f64::NEG_INFINITY; 2 * LOOKED_AT];
        let count = after.len().min(past.len());
        if count <= self.allowed {
            return f64::NEG_INFINITY;
        }
        for (past, p) in past.iter_mut().zip(after) {
            *past = past_edge(*p);
        }
        let (_, first, _) =
            past[..count].select_nth_unstable_by(self.allowed, |a, b| b.total_cmp(a));
        *first
    }
}

/// New clipping of `sample`, which a move makes `after` of, where `limit_pct` percent of it may newly clip.
pub(crate) fn clipping(sample: &[Logged], after: &[[f64; 3]], limit_pct: f64) -> Clipping {
    let mut past: Vec<(f64, usize)> = sample
        .iter()
        .zip(after)
        .enumerate()
        .filter(|(_, (p, _))| past_edge(p.rgb) <= 0.0)
        .map(|(i, (_, after))| (past_edge(*after), i))
        .collect();
    let new = past.iter().filter(|(e, _)| *e > 0.0).count();
    let growth_pct = 100.0 * new as f64 / sample.len().max(1) as f64;
    // A hundred-millionth against rounding: 2 % of 150 pixels are 3.
    let allowed = (limit_pct / 100.0 * sample.len() as f64 + 1e-8) as usize;
    if past.len() <= allowed {
        return Clipping {
            growth_pct,
            over: f64::NEG_INFINITY,
            edge: Edge::default(),
        };
    }
    let nearest = (2 * allowed + 8).min(past.len());
    let furthest_first =
        |a: &(f64, usize), b: &(f64, usize)| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1));
    if nearest < past.len() {
        past.select_nth_unstable_by(nearest - 1, furthest_first);
        past.truncate(nearest);
    }
    past.sort_unstable_by(furthest_first);
    let step = nearest.div_ceil(LOOKED_AT);
    Clipping {
        growth_pct,
        over: past[allowed].0,
        edge: Edge {
            pixels: past
                .iter()
                .skip(allowed % step)
                .step_by(step)
                .map(|(_, i)| *i)
                .collect(),
            allowed: allowed / step,
        },
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::model::Family;
    use crate::solution::Reach;

    #[test]
    fn the_limit_holds_exactly_where_the_count_is_within_it() {
        let sample: Vec<Logged> = (0..900)
            .map(|i| {
                let t = f64::from(i) / 900.0;
                Logged::new([0.2 + 0.79 * t, 0.6 * t, 0.9 * (1.0 - t) * t])
            })
            .collect();
        let family = Family {
            reach: Reach::Mids,
            blown: false,
        };
        let (mut inside, mut outside) = (0, 0);
        for saturation in 0..60 {
            let by = family.build(&[-0.2, 0.1, 0.0, 0.0, 0.01 * f64::from(saturation)]);
            for limit in [0.0, 0.1, 2.0, 10.0, 100.0] {
                let after: Vec<[f64; 3]> = sample.iter().map(|p| by.apply_logged(p)).collect();
                let found = clipping(&sample, &after, limit);
                assert_eq!(found.over > 0.0, found.growth_pct > limit, "{limit}");
                // Where the edge was taken, it gives the same.
                let edge: Vec<[f64; 3]> = found.edge.pixels.iter().map(|i| after[*i]).collect();
                assert_eq!(found.edge.over(&edge), found.over, "{limit}");
                if found.over > 0.0 {
                    outside += 1;
                } else {
                    inside += 1;
                }
            }
        }
        assert!(inside > 50 && outside > 50, "{inside} {outside}");
    }
}
