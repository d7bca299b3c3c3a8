//! Looking for a lost patch near where it was.

use super::picture::Pyramid;
use super::view::{Alike, Layout, View};
use crate::pose::Similarity;

/// A view on a coarse grid, on a fine one, and on a coarse one of what surrounds the patch.
#[derive(Clone, Debug)]
pub(super) struct Anchor {
    coarse: View,
    pub(super) wide: View,
    pub(super) fine: View,
}

/// The grids of a patch.
#[derive(Clone, Debug)]
pub(super) struct Layouts {
    pub(super) coarse: Layout,
    pub(super) fine: Layout,
    pub(super) wide: Layout,
}

impl Anchor {
    pub(super) fn take(layouts: &Layouts, frame: &Pyramid<'_>, pose: &Similarity) -> Self {
        Self {
            coarse: View::take(&layouts.coarse, frame, pose),
            fine: View::take(&layouts.fine, frame, pose),
            wide: View::take(&layouts.wide, frame, pose),
        }
    }

    /// The place within `reach` pixels of a pose that looks most like this view.
    ///
    /// A place that something else within reach resembles as much is no find: its correlation is
    /// given as 0.
    pub(super) fn find(
        &self,
        layouts: &Layouts,
        frame: &Pyramid<'_>,
        near: &Similarity,
        reach: f64,
    ) -> Alike {
        /// Places that are looked at closely.
        const CLOSE: usize = 3;
        /// How far a second place has to stay below the first.
        const CLEAR: f64 = 0.05;
        let layout = &layouts.coarse;
        let stride = (layout.spacing * near.scale() * 0.75).max(1.0);
        let steps = (reach / stride).ceil() as i64;
        let mut found: Vec<Alike> = Vec::new();
        let size = frame.size();
        for row in -steps..=steps {
            for column in -steps..=steps {
                let (dx, dy) = (column as f64 * stride, row as f64 * stride);
                if dx.hypot(dy) > reach + 1e-9 {
                    continue;
                }
                let pose = Similarity {
                    tx: near.tx + dx,
                    ty: near.ty + dy,
                    ..*near
                };
                let [x, y] = pose.apply(layout.middle);
                if x < 0.0 || y < 0.0 || x > size[0] || y > size[1] {
                    continue;
                }
                let correlation = self.coarse.glance(layout, frame, &pose);
                found.push(Alike { pose, correlation });
            }
        }
        found.sort_by(|a, b| b.correlation.total_cmp(&a.correlation));
        let apart = layout.radius * near.scale() * 0.5;
        let distance = |a: &Alike, b: &Alike| {
            let ([x, y], [u, v]) = (a.pose.apply(layout.middle), b.pose.apply(layout.middle));
            (x - u).hypot(y - v)
        };
        let mut places: Vec<Alike> = Vec::new();
        for candidate in found {
            if places.len() == CLOSE {
                break;
            }
            if places.iter().all(|p| distance(p, &candidate) > apart) {
                places.push(candidate);
            }
        }
        let mut close: Vec<Alike> = places
            .iter()
            .map(|place| {
                let coarse = self.coarse.align(layout, frame, &place.pose, 6);
                self.fine.align(&layouts.fine, frame, &coarse.pose, 10)
            })
            .collect();
        close.sort_by(|a, b| b.correlation.total_cmp(&a.correlation));
        let Some(&best) = close.first() else {
            return Alike {
                pose: *near,
                correlation: 0.0,
            };
        };
        let rival = close[1..]
            .iter()
            .filter(|other| distance(&best, other) > apart)
            .any(|other| other.correlation > best.correlation - CLEAR);
        Alike {
            correlation: if rival { 0.0 } else { best.correlation },
            ..best
        }
    }
}
