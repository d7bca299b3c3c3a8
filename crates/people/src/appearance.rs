//! What the skin of a face looks like at fixed points of its mesh, to notice that something else is
//! in front of it.

use crate::mesh::Mesh;
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

/// How far a point's luma may move from what it was, in the natural logarithm of the signal, the
/// whole face's change taken away.
const LUMA: f64 = 0.22;
/// How far its chroma may: in ln R'/G' or ln B'/G'.
const CHROMA: f64 = 0.13;
/// Signals below this say nothing about colour (about 5 8-bit codes).
const FLOOR: f64 = 0.025;

/// ln Y', ln R'/G', ln B'/G' at every point.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct Appearance(Vec<[f64; 3]>);

impl Appearance {
    /// Looks at the points, averaged over 1/20 of the face's width.
    pub(crate) fn of(cut: &Cut, mesh: &Mesh) -> Self {
        let step = mesh.width() / cut.factor() / 60.0;
        let mut all = Vec::with_capacity(POINTS.len());
        for index in POINTS {
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
            all.push([luma.ln(), (r / g).ln(), (b / g).ln()]);
        }
        Self(all)
    }

    /// Share of the points that have changed since `before`, of forehead, cheek or nose, whichever
    /// changed most, 0–1; and the correlation of the two patterns of luma, −1…1. What changes
    /// everywhere alike (exposure, a cast) does not count.
    pub(crate) fn change(&self, before: &Self) -> (f64, f64) {
        let count = self.0.len().min(before.0.len());
        if count == 0 {
            return (1.0, -1.0);
        }
        let shift = [0, 1, 2].map(|k| {
            median(
                self.0
                    .iter()
                    .zip(&before.0)
                    .map(|(now, then)| now[k] - then[k]),
            )
        });
        let changed: Vec<bool> = self
            .0
            .iter()
            .zip(&before.0)
            .map(|(now, then)| {
                let d = [0, 1, 2].map(|k| (now[k] - then[k] - shift[k]).abs());
                d[0] > LUMA || d[1] > CHROMA || d[2] > CHROMA
            })
            .collect();
        let share = |group: std::ops::Range<usize>| {
            let part = changed.get(group).unwrap_or(&[]);
            part.iter().filter(|c| **c).count() as f64 / part.len().max(1) as f64
        };
        let mean = |list: &[[f64; 3]]| list.iter().map(|v| v[0]).sum::<f64>() / count as f64;
        let (a, b) = (mean(&self.0), mean(&before.0));
        let (mut ab, mut aa, mut bb) = (0.0, 0.0, 0.0);
        for (now, then) in self.0.iter().zip(&before.0) {
            let (now, then) = (now[0] - a, then[0] - b);
            ab += now * then;
            aa += now * now;
            bb += then * then;
        }
        // A face without shading (fog, darkness) has no pattern to compare.
        let floor = count as f64 * 0.01_f64.powi(2);
        (
            GROUPS.into_iter().map(share).fold(0.0, f64::max),
            (ab + floor) / ((aa + floor) * (bb + floor)).sqrt(),
        )
    }

    /// Moves a share of the way towards what is seen now.
    pub(crate) fn learn(&mut self, now: &Self, share: f64) {
        for (own, now) in self.0.iter_mut().zip(&now.0) {
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
        Appearance(
            (0..POINTS.len())
                .map(|i| change(i, [-0.7 + 0.02 * (i % 9) as f64, 0.25, -0.15]))
                .collect(),
        )
    }

    #[test]
    fn exposure_and_cast_are_no_change_but_a_covered_cheek_is() {
        let first = pattern(|_, v| v);
        let darker = pattern(|_, [y, r, b]| [y - 0.5, r + 0.2, b - 0.2]);
        let (changed, correlation) = darker.change(&first);
        assert_eq!(changed, 0.0);
        assert!(correlation > 0.99);
        let covered = pattern(|i, [y, r, b]| {
            if (8..20).contains(&i) {
                [y - 0.3, r, b]
            } else {
                [y, r, b]
            }
        });
        let (changed, correlation) = covered.change(&first);
        assert_eq!(changed, 1.0);
        assert!(correlation < 0.8, "{correlation}");
    }
}
