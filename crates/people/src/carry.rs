//! A mesh carried along by optical flow between two frames on which the model lays one: a head hardly turns within a fifth
//! of a second, and one similarity says where it went at a fifth of the cost of a mesh.

use crate::mesh::Mesh;
use crate::picture::{Cut, Frame, shrunk_by};
use crate::warp::Placement;
use inkarnat_color::Coefficients;
use inkarnat_reading::{Flow, Similarity};

/// Points with detail around them and inside the face: corners of eyes, brows, nose, mouth, and skin between them.
const POINTS: [usize; 48] = [
    // eyes and brows
    33, 133, 362, 263, 159, 386, 70, 105, 107, 336, 334, 300, // nose
    168, 6, 197, 195, 5, 4, 2, 98, 327, 64, 294, 129, 358, // mouth and chin
    61, 291, 0, 17, 199, 200, // skin
    9, 151, 10, 69, 299, 104, 333, 50, 280, 205, 425, 117, 346, 101, 330, 187, 411,
];
/// Columns that the picture for the flow has at most, for a face of half its width: finer ones say the same.
const FINEST: usize = 200;
/// Distance from the shared motion within which a point agrees, in widths of the face: the nose of a head that turns by 3° a
/// frame moves by 0.026 beside its cheeks.
const TOLERANCE: f64 = 0.015;
/// Points that have to agree, and their share of those that could be followed.
const LEAST_AGREEING: usize = 14;
const LEAST_SHARE: f64 = 0.6;
/// How far a face may be carried from where its mesh was laid: in its widths, in size, in degrees.
const FURTHEST: f64 = 0.2;
const SIZES: std::ops::RangeInclusive<f64> = 0.9..=1.11;
const TURNED_DEG: f64 = 10.0;

/// A mesh, and where it went since it was laid.
pub(crate) struct Carried {
    mesh: Mesh,
    cut: Cut,
    /// Pixels of the cut in one of the flow's picture.
    coarser: usize,
    flow: Flow,
    /// Points of the mesh that are followed, in the flow's picture.
    points: Vec<[f64; 2]>,
    /// From there to the last frame.
    motion: Similarity,
    /// Whether the last frame could not be followed to.
    broken: bool,
}

impl Carried {
    /// Starts where a mesh was laid; `cut` is the picture that it was seen in. `None` where the face is too small.
    pub(crate) fn new(mesh: Mesh, cut: Cut) -> Option<Self> {
        let coarser = cut.picture.width.div_ceil(FINEST).max(1);
        let (luma, [width, height]) = luma(&cut, coarser);
        let flow = Flow::new(&luma, width, height)?;
        let mut new = Self {
            mesh,
            cut,
            coarser,
            flow,
            points: Vec::new(),
            motion: Similarity::IDENTITY,
            broken: false,
        };
        new.points = POINTS.iter().map(|&i| new.inside(new.mesh.at(i))).collect();
        Some(new)
    }

    /// The mesh in the next frame, and the picture that it was seen in; `None` where it cannot be said.
    pub(crate) fn step(&mut self, frame: &dyn Frame) -> Option<(Mesh, Cut)> {
        let cut = self.advance(frame);
        self.broken = cut.is_none();
        let cut = cut?;
        let moved = self.carried(&self.motion);
        Some((moved, cut))
    }

    /// Follows to the next frame.
    fn advance(&mut self, frame: &dyn Frame) -> Option<Cut> {
        let cut = self.cut.again(frame);
        let (luma, _) = luma(&cut, self.coarser);
        if !self.flow.advance(&luma) {
            return None;
        }
        let from: Vec<[f64; 2]> = self.points.iter().map(|p| self.motion.apply(*p)).collect();
        let width = self.mesh.width() / self.pixel();
        let shared = self.flow.motion(&from, (TOLERANCE * width).max(0.6))?;
        let share = shared.agreeing as f64 / shared.usable.max(1) as f64;
        if shared.agreeing < LEAST_AGREEING || share < LEAST_SHARE {
            return None;
        }
        self.motion = shared.motion.after(&self.motion);
        let middle = self.points[POINTS.iter().position(|&i| i == 4)?];
        let [x, y] = self.motion.apply(middle);
        let near = (x - middle[0]).hypot(y - middle[1]) <= FURTHEST * width;
        let same =
            SIZES.contains(&self.motion.scale()) && self.motion.turn_deg().abs() <= TURNED_DEG;
        (near && same).then_some(cut)
    }

    /// Where the mesh went by now.
    pub(crate) fn motion(&self) -> Similarity {
        self.motion
    }

    /// The motion that ends at a mesh laid anew on a frame: what the flow says there, or where it says nothing what the two
    /// meshes do. `stepped` says that [`Self::step`] was asked about that frame already.
    pub(crate) fn motion_to(
        &mut self,
        frame: &dyn Frame,
        mesh: &Mesh,
        stepped: bool,
    ) -> Option<Similarity> {
        let known = if stepped {
            !self.broken
        } else {
            self.advance(frame).is_some()
        };
        if known {
            return Some(self.motion);
        }
        let all = |mesh: &Mesh| -> Vec<[f64; 2]> {
            (0..mesh.points.len())
                .map(|i| self.inside(mesh.at(i)))
                .collect()
        };
        let fit = Placement::fit(&all(&self.mesh), &all(mesh))?;
        Some(Similarity {
            a: fit.a,
            b: fit.b,
            tx: fit.x,
            ty: fit.y,
        })
    }

    /// The mesh at a moment between the one that was laid and `mesh`, a `share` of the way: it went by `now` and will have
    /// gone by `then`. What the motion leaves of the difference between the two meshes comes in evenly.
    pub(crate) fn between(
        &self,
        now: &Similarity,
        then: &Similarity,
        mesh: &Mesh,
        share: f64,
    ) -> Option<Mesh> {
        let back = then.inverse()?;
        let deep = 1.0 / then.scale();
        let points = self
            .mesh
            .points
            .iter()
            .zip(&mesh.points)
            .map(|(first, last)| {
                let start = self.inside([first[0], first[1]]);
                let end = back.apply(self.inside([last[0], last[1]]));
                let at = [0, 1].map(|k| start[k] + (end[k] - start[k]) * share);
                let [x, y] = self.outside(now.apply(at));
                let z = first[2] + (last[2] * deep - first[2]) * share;
                [x, y, z * now.scale()]
            })
            .collect();
        Some(Mesh {
            points,
            score: self.mesh.score.min(mesh.score),
        })
    }

    fn carried(&self, motion: &Similarity) -> Mesh {
        Mesh {
            points: self
                .mesh
                .points
                .iter()
                .map(|p| {
                    let [x, y] = self.outside(motion.apply(self.inside([p[0], p[1]])));
                    [x, y, p[2] * motion.scale()]
                })
                .collect(),
            score: self.mesh.score,
        }
    }

    /// Pixels of the frame in one of the flow's picture.
    fn pixel(&self) -> f64 {
        self.cut.factor() * self.coarser as f64
    }

    /// A position of the frame in the flow's picture, whose corner is at 0.
    fn inside(&self, at: [f64; 2]) -> [f64; 2] {
        self.cut.inside(at).map(|v| (v + 0.5) / self.coarser as f64)
    }

    fn outside(&self, at: [f64; 2]) -> [f64; 2] {
        self.cut.outside(at.map(|v| v * self.coarser as f64 - 0.5))
    }
}

fn luma(cut: &Cut, coarser: usize) -> (Vec<f32>, [usize; 2]) {
    if coarser == 1 {
        let size = [cut.picture.width, cut.picture.height];
        return (cut.picture.luma(Coefficients::Bt709), size);
    }
    let small = shrunk_by(&cut.picture, coarser);
    (small.luma(Coefficients::Bt709), [small.width, small.height])
}
