//! What the skin of a face looks like at fixed points of its mesh, to notice that something else is
//! in front of it.

use crate::mesh::Mesh;
use crate::outline::{Part, Side};
use crate::picture::Cut;
use crate::skin::median;
use crate::warp::sample;

/// Points on bare skin away from eyes, brows, lips and the edge of the face; the parts that are
/// read lie between them.
const POINTS: [usize; 44] = [
    // forehead
    104, 69, 108, 151, 337, 299, 333, 9, // right cheek
    117, 118, 119, 100, 50, 101, 36, 142, 205, 203, 123, 187, // left cheek
    346, 347, 348, 329, 280, 330, 266, 371, 425, 423, 352, 411, // nose
    6, 197, 195, 5, 4, 196, 3, 134, 419, 248, 363, 198,
];

/// Where the groups above begin and end.
const GROUPS: [std::ops::Range<usize>; 4] = [0..8, 8..20, 20..32, 32..44];

/// Which of the groups something lies over.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub(crate) struct Cover([bool; GROUPS.len()]);

impl Cover {
    pub(crate) fn is_none(self) -> bool {
        self == Self::default()
    }

    /// The parts of the face that are not to be read. What lies over a cheek lies over the nose too as often as not, and the nose
    /// has too few points to tell skin from the like: fingers.
    pub(crate) fn parts(self) -> Vec<Part> {
        let [forehead, right, left, nose] = self.0;
        let covered = |part: &Part| match part {
            Part::Forehead => forehead,
            Part::Cheek(Side::Right) => right,
            Part::Cheek(Side::Left) => left,
            Part::Flank(_) => right || left || nose,
        };
        Part::ALL.into_iter().filter(covered).collect()
    }
}

/// About how far each point's surface is turned to the side on a face seen from the front, in degrees: negative on the person's
/// right. Of a face like an egg, by eye; only which points a turned head hides hangs on it.
const TURNED: [f64; 44] = [
    // forehead
    -30.0, -22.0, -12.0, 0.0, 12.0, 22.0, 30.0, 0.0, // right cheek
    -35.0, -30.0, -25.0, -25.0, -35.0, -30.0, -25.0, -25.0, -30.0, -25.0, -45.0, -40.0,
    // left cheek
    35.0, 30.0, 25.0, 25.0, 35.0, 30.0, 25.0, 25.0, 30.0, 25.0, 45.0, 40.0, // nose
    0.0, 0.0, 0.0, 0.0, 0.0, -40.0, -40.0, -40.0, 40.0, 40.0, 40.0, -40.0,
];
/// A point turned further from the camera than this shows its edge, or what is behind it.
const HIDDEN_DEG: f64 = 55.0;
/// The ridge of the nose stands before the face: turned this far, the picture behind it begins there.
const RIDGE: std::ops::Range<usize> = 32..37;
const RIDGE_HIDDEN_DEG: f64 = 36.0;
/// Patterns of a head that has turned further than this between them are not compared: every pattern of light has moved over it.
const ANOTHER_VIEW_DEG: f64 = 20.0;
/// Share of what is seen that a look learns at once where the head is turned otherwise than in it, for every degree.
const LEARNT_A_DEG: f64 = 0.01;
/// A point this far below the middle of the face, in ln of the signal, is no skin but the frame of spectacles or hair, which slides
/// over the points as the head turns: that it goes is no covering.
const NO_SKIN: f64 = 0.5;
/// Fewer points in sight of a group, or of the face, are no ground for a judgement.
const LEAST_OF_GROUP: usize = 5;
const LEAST: usize = 12;

/// How far a point's luma may move from what it was, in the natural logarithm of the signal, the
/// whole face's change taken away.
const LUMA: f64 = 0.22;
/// How far its chroma may: in ln R'/G' or ln B'/G'.
const CHROMA: f64 = 0.13;
/// Signals below this say nothing about colour (about 5 8-bit codes).
const FLOOR: f64 = 0.025;

/// ln Y', ln R'/G', ln B'/G' at every point, and whether the point was in sight.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Appearance {
    points: Vec<([f64; 3], bool)>,
    /// How far the head is turned, degrees.
    yaw: f64,
}

impl Appearance {
    /// Looks at the points, averaged over 1/20 of the face's width.
    pub(crate) fn of(cut: &Cut, mesh: &Mesh) -> Self {
        let step = mesh.width() / cut.factor() / 60.0;
        let mut all = Vec::with_capacity(POINTS.len());
        let yaw = mesh.yaw_deg();
        for (place, (index, turned)) in POINTS.into_iter().zip(TURNED).enumerate() {
            let [x, y] = cut.inside(mesh.at(index));
            let mut sum = [0.0; 3];
            for j in -1..=1 {
                for i in -1..=1 {
                    let at = [x + f64::from(i) * step, y + f64::from(j) * step];
                    let value = sample(&cut.picture, at);
                    for (sum, value) in sum.iter_mut().zip(value) {
                        *sum += f64::from(value) / 9.0;
                    }
                }
            }
            let [r, g, b] = sum.map(|v| v.max(FLOOR));
            let luma = 0.2126 * r + 0.7152 * g + 0.0722 * b;
            let hidden = if RIDGE.contains(&place) {
                RIDGE_HIDDEN_DEG
            } else {
                HIDDEN_DEG
            };
            let in_sight = (turned + yaw).abs() < hidden;
            all.push(([luma.ln(), (r / g).ln(), (b / g).ln()], in_sight));
        }
        Self { points: all, yaw }
    }

    /// Share of the points that have changed since `before`, of forehead, cheek or nose, whichever
    /// changed most, 0–1; and the correlation of the two patterns of luma, −1…1. What changes
    /// everywhere alike (exposure, a cast) does not count, nor do points that a turned head hides:
    /// what lies over them is not skin that anybody reads. Groups that something lies over do not count either.
    pub(crate) fn change(&self, before: &Self, cover: Cover) -> (f64, f64) {
        let (shares, correlation) = self.changes(before);
        let open = shares.into_iter().zip(cover.0);
        let most = open
            .filter(|(_, covered)| !covered)
            .filter_map(|(share, _)| share)
            .fold(0.0, f64::max);
        (most, correlation)
    }

    /// What lies over parts of the face since `before`: groups of which more than `most` of the points changed while another
    /// group is as it was. Nothing, where all of them changed: that is another light, or another pose.
    pub(crate) fn cover(&self, before: &Self, most: f64) -> Cover {
        let (shares, _) = self.changes(before);
        let seen = || shares.iter().flatten();
        if !seen().any(|share| *share < 0.5 * most) || !seen().any(|share| *share > most) {
            return Cover::default();
        }
        Cover(shares.map(|share| share.is_some_and(|share| share >= 0.5 * most)))
    }

    /// What of a cover still lies there: the groups that are not seen to look as they did `before` again.
    pub(crate) fn still_covered(&self, before: &Self, cover: Cover, most: f64) -> Cover {
        let (shares, _) = self.changes(before);
        let mut cover = cover;
        for (covered, share) in cover.0.iter_mut().zip(shares) {
            *covered &= share.is_none_or(|share| share >= 0.5 * most);
        }
        cover
    }

    /// The share of changed points by group, `None` where too few of it are in sight, and the correlation.
    fn changes(&self, before: &Self) -> ([Option<f64>; GROUPS.len()], f64) {
        if self.points.is_empty() || before.points.is_empty() {
            return ([Some(1.0); GROUPS.len()], -1.0);
        }
        let middle = median(before.points.iter().map(|(then, _)| then[0]));
        let pairs: Vec<(usize, [f64; 3], [f64; 3])> = self
            .points
            .iter()
            .zip(&before.points)
            .enumerate()
            .filter(|(_, ((_, now), (then, known)))| *now && *known && then[0] > middle - NO_SKIN)
            .map(|(i, ((now, _), (then, _)))| (i, *now, *then))
            .collect();
        if pairs.len() < LEAST {
            return ([None; GROUPS.len()], 1.0);
        }
        let shift = [0, 1, 2].map(|k| median(pairs.iter().map(|(_, now, then)| now[k] - then[k])));
        let share = |group: std::ops::Range<usize>| {
            let part: Vec<bool> = pairs
                .iter()
                .filter(|(i, ..)| group.contains(i))
                .map(|(_, now, then)| {
                    let d = [0, 1, 2].map(|k| (now[k] - then[k] - shift[k]).abs());
                    d[0] > LUMA || d[1] > CHROMA || d[2] > CHROMA
                })
                .collect();
            if part.len() < LEAST_OF_GROUP {
                return None;
            }
            Some(part.iter().filter(|c| **c).count() as f64 / part.len() as f64)
        };
        let count = pairs.len() as f64;
        let a = pairs.iter().map(|(_, now, _)| now[0]).sum::<f64>() / count;
        let b = pairs.iter().map(|(_, _, then)| then[0]).sum::<f64>() / count;
        let (mut ab, mut aa, mut bb) = (0.0, 0.0, 0.0);
        for (_, now, then) in &pairs {
            let (now, then) = (now[0] - a, then[0] - b);
            ab += now * then;
            aa += now * now;
            bb += then * then;
        }
        if (self.yaw - before.yaw).abs() > ANOTHER_VIEW_DEG {
            (ab, aa, bb) = (1.0, 1.0, 1.0);
        }
        // A face without shading (fog, darkness) has no pattern to compare.
        let floor = count * 0.01_f64.powi(2);
        (
            GROUPS.map(share),
            (ab + floor) / ((aa + floor) * (bb + floor)).sqrt(),
        )
    }

    /// Moves a share of the way towards what is seen now; what was hidden so far is taken as it is.
    pub(crate) fn learn(&mut self, now: &Self, share: f64) {
        let turned = (now.yaw - self.yaw).abs();
        let share = (share + turned * LEARNT_A_DEG).min(0.5);
        self.yaw += (now.yaw - self.yaw) * share;
        for ((own, known), (now, in_sight)) in self.points.iter_mut().zip(&now.points) {
            if !in_sight {
                continue;
            }
            let share = if *known { share } else { 1.0 };
            *known = true;
            for (own, now) in own.iter_mut().zip(now) {
                *own += (now - *own) * share;
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn pattern(change: impl Fn(usize, [f64; 3]) -> [f64; 3]) -> Appearance {
        Appearance {
            yaw: 0.0,
            points: (0..POINTS.len())
                .map(|i| (change(i, [-0.7 + 0.02 * (i % 9) as f64, 0.25, -0.15]), true))
                .collect(),
        }
    }

    #[test]
    fn exposure_and_cast_are_no_change_but_a_covered_cheek_is() {
        let first = pattern(|_, v| v);
        let darker = pattern(|_, [y, r, b]| [y - 0.5, r + 0.2, b - 0.2]);
        let (changed, correlation) = darker.change(&first, Cover::default());
        assert_eq!(changed, 0.0);
        assert!(correlation > 0.99);
        let covered = pattern(|i, [y, r, b]| {
            if (8..20).contains(&i) {
                [y - 0.3, r, b]
            } else {
                [y, r, b]
            }
        });
        let (changed, correlation) = covered.change(&first, Cover::default());
        assert_eq!(changed, 1.0);
        assert!(correlation < 0.8, "{correlation}");
        // The rest of the face is as it was: one cheek is left out, until it looks as it did.
        let cover = covered.cover(&first, 0.3);
        assert_eq!(
            cover.parts(),
            [
                Part::Cheek(Side::Right),
                Part::Flank(Side::Right),
                Part::Flank(Side::Left)
            ]
        );
        assert_eq!(covered.change(&first, cover).0, 0.0);
        assert_eq!(covered.still_covered(&first, cover, 0.3), cover);
        assert!(darker.still_covered(&first, cover, 0.3).is_none());
        // Another light on all of it is no cover.
        let lit = pattern(|i, [y, r, b]| [y + if i % 2 == 0 { 0.4 } else { -0.4 }, r, b]);
        assert!(lit.cover(&first, 0.3).is_none());
    }

    #[test]
    fn what_a_turned_head_hides_is_no_covering() {
        // From the front; then turned 40° to the person's right, with anything at all where its right cheek was.
        let first = pattern(|_, v| v);
        let turned = |yaw: f64| {
            let mut look = pattern(|i, [y, r, b]| {
                if (8..20).contains(&i) {
                    [y - 0.6, r + 0.3, b]
                } else {
                    [y, r, b]
                }
            });
            look.yaw = yaw;
            for (i, (_, in_sight)) in look.points.iter_mut().enumerate() {
                *in_sight = (TURNED[i] + yaw).abs() < HIDDEN_DEG;
            }
            look
        };
        assert_eq!(turned(-40.0).change(&first, Cover::default()).0, 0.0);
        // What lay over a cheek lies there as long as the cheek is not seen.
        let cover = turned(40.0).cover(&first, 0.3);
        assert!(cover.parts().contains(&Part::Cheek(Side::Right)));
        assert_eq!(turned(-40.0).still_covered(&first, cover, 0.3), cover);
        // The other way the cheek is in plain sight.
        assert_eq!(turned(40.0).change(&first, Cover::default()).0, 1.0);
    }
}
