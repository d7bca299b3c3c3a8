//! A chain as one 3D LUT, with what that costs in exactness.

use crate::data::cdl::Cdl;
use crate::data::chain::Chain;
use crate::data::lut::{Lut3d, node};
use crate::data::op::Op;
use crate::data::shoulder::RollOff;
use crate::fast::{FastLut, Prepared};
use serde::{Deserialize, Serialize};
use std::borrow::Cow;

/// The range of signal that a table covers, the same for all three channels.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Domain {
    /// Signal at the first node.
    pub min: f64,
    /// Signal at the last node.
    pub max: f64,
}

impl Domain {
    /// 0–1: what every receiver of a table reads. Excursions are lost.
    pub const UNIT: Self = Self { min: 0.0, max: 1.0 };

    /// −2/27…10/9: covers the excursions of narrow-range video (−7.3 %…109.5 % in 8 and 10 bit), and
    /// 0 falls on a node of tables of 17, 33 and 65.
    pub const WIDE: Self = Self {
        min: -2.0 / 27.0,
        max: 10.0 / 9.0,
    };
}

/// How far a table is from the chain that it was baked from, in signal units (1 = reference white),
/// as the largest difference of the three channels.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct BakeError {
    /// The largest difference.
    pub max: f64,
    /// The mean over all probed colours.
    pub mean: f64,
    /// The colour with the largest difference.
    pub at: [f64; 3],
}

/// A baked table and its error.
#[derive(Clone, Debug, PartialEq)]
pub struct Baked {
    /// The table.
    pub lut: Lut3d,
    /// Measured as [`Chain::difference`] says.
    pub error: BakeError,
}

impl Chain {
    /// The whole chain as one table of `size³` nodes over a domain.
    ///
    /// Between nodes a bent curve lies to one side of the table. Nodes are therefore moved by half of what the table is off
    /// midway to their neighbours, so that it lies to both sides, half as far (a node at an end of an axis is not moved for
    /// that axis: black and white stay exact). Where that makes the largest difference or the mean square no smaller, nodes
    /// are exact.
    ///
    /// `size` is 2–256; other sizes give a table that [`Lut3d::validate`] refuses.
    #[must_use]
    pub fn bake(&self, size: usize, domain: Domain) -> Baked {
        let lut = self.table(size, domain);
        let Some(exact) = Exact::new(self, &lut) else {
            let error = BakeError::default();
            return Baked { lut, error };
        };
        let (error, squares, moves) = self.compared(&lut, &exact);
        // What rounding to f32 leaves is nothing to even out.
        if error.max < 1e-5 {
            return Baked { lut, error };
        }
        let mut evened = lut.clone();
        for (value, by) in evened.table.iter_mut().zip(&moves) {
            for (v, by) in value.iter_mut().zip(by) {
                *v += by;
            }
        }
        let (less, fewer, _) = self.compared(&evened, &exact);
        if less.max < error.max && fewer < squares {
            return Baked {
                lut: evened,
                error: less,
            };
        }
        Baked { lut, error }
    }

    /// The chain at the nodes of a table, as it is: neither evened out nor measured, which takes many times as long.
    #[must_use]
    pub fn table(&self, size: usize, domain: Domain) -> Lut3d {
        let mut lut = Lut3d {
            size,
            domain_min: [domain.min; 3],
            domain_max: [domain.max; 3],
            table: Vec::new(),
        };
        let grid = Gridded::new(self, &lut, size);
        lut.table = cells(size)
            .map(|place| grid.apply(place).map(|v| v as f32))
            .collect();
        lut
    }

    /// The fix alone as one table: what exports hand on.
    #[must_use]
    pub fn bake_fix(&self, size: usize, domain: Domain) -> Baked {
        self.fix_alone().bake(size, domain)
    }

    /// How far a table is from this chain.
    ///
    /// Measured on a grid of twice the table's density, then in the [`SUSPECTS`] worst cells on a
    /// grid of eight times its density and from the worst place of that on with ever finer steps: a
    /// curve that begins or bends inside a cell is furthest off at the bend, beside any grid.
    #[must_use]
    pub fn difference(&self, lut: &Lut3d) -> BakeError {
        Exact::new(self, lut).map_or_else(BakeError::default, |exact| self.compared(lut, &exact).0)
    }

    /// The difference, its sum of squares, and by how much each node is to be moved to even it out.
    fn compared(&self, lut: &Lut3d, exact: &Exact) -> (BakeError, f64, Vec<[f32; 3]>) {
        let mut moves = vec![[0.0; 3]; lut.table.len()];
        let places = exact.places;
        let table = FastLut::new(lut);
        let mut worst = (0.0, [0; 3]);
        let mut suspects: Vec<(f64, [usize; 3])> = Vec::new();
        let (mut sum, mut squares) = (0.0, 0.0);
        for blue in 0..places {
            let exact = exact.plane(lut, blue);
            let mut baked = plane(lut, blue);
            let [r, g, b] = &mut baked;
            table.apply([r, g, b]);
            for index in 0..places * places {
                let place = [index % places, index / places, blue];
                let off: [f32; 3] = std::array::from_fn(|c| exact[c][index] - baked[c][index]);
                let largest = f64::from(off.map(f32::abs).into_iter().fold(0.0, f32::max));
                sum += largest;
                squares += largest * largest;
                if largest > worst.0 {
                    worst = (largest, place);
                }
                if largest > 0.0 {
                    let within = place.map(|place| (place / 2).min(lut.size - 2));
                    keep_worst(&mut suspects, (largest, within));
                }
                even_out(&mut moves, lut.size, place, off);
            }
        }
        let mut found = self.probe(lut, on_grid(lut, worst.1, places));
        let dense = 8 * (lut.size - 1) + 1;
        for (_, [r, g, b]) in suspects {
            let mut local = Probe::default();
            for within in cells(9) {
                let place = [8 * r + within[0], 8 * g + within[1], 8 * b + within[2]];
                local = local.or(self.probe(lut, on_grid(lut, place, dense)));
            }
            found = found.or(self.climb(lut, local, dense));
        }
        let error = BakeError {
            max: found.off,
            mean: sum / (places as f64).powi(3),
            at: found.at,
        };
        (error, squares, moves)
    }

    /// The difference at one colour.
    fn probe(&self, lut: &Lut3d, at: [f64; 3]) -> Probe {
        let (exact, table) = (self.apply_pixel(at), lut.sample(at));
        let off = (0..3)
            .map(|c| (exact[c] - table[c]).abs())
            .fold(0.0, f64::max);
        Probe { off, at }
    }

    /// The worst place near a place of a dense grid, by steps that shrink to 1/4096 of the grid's.
    fn climb(&self, lut: &Lut3d, mut from: Probe, dense: usize) -> Probe {
        let (min, max) = (lut.domain_min, lut.domain_max);
        for level in 1..=12 {
            let part = 1.0 / f64::from(1 << level) / (dense - 1) as f64;
            let centre = from.at;
            for step in cells(3) {
                let at = std::array::from_fn(|c| {
                    let away = (step[c] as f64 - 1.0) * part * (max[c] - min[c]);
                    (centre[c] + away).clamp(min[c], max[c])
                });
                from = from.or(self.probe(lut, at));
            }
        }
        from
    }
}

/// A colour and how far a table is off there.
#[derive(Clone, Copy, Default)]
struct Probe {
    off: f64,
    at: [f64; 3],
}

impl Probe {
    /// The worse of two.
    fn or(self, other: Self) -> Self {
        if other.off > self.off { other } else { self }
    }
}

/// The colour at one place of a grid over a table's domain.
fn on_grid(lut: &Lut3d, place: [usize; 3], places: usize) -> [f64; 3] {
    std::array::from_fn(|c| node(place[c], places, lut.domain_min[c], lut.domain_max[c]))
}

/// Nodes up to which the exact grid is kept for the second comparison: 26 MB.
const KEPT: usize = 65;

/// What a chain makes of a grid of twice a table's density: planes of equal blue, in each of which red runs fastest.
struct Exact {
    places: usize,
    chain: Prepared,
    kept: Vec<[Vec<f32>; 3]>,
}

impl Exact {
    /// `None` for a table of a size that none may have.
    fn new(chain: &Chain, lut: &Lut3d) -> Option<Self> {
        if !(Lut3d::MIN_SIZE..=Lut3d::MAX_SIZE).contains(&lut.size) {
            return None;
        }
        let mut exact = Self {
            places: 2 * lut.size - 1,
            chain: chain.prepare(),
            kept: Vec::new(),
        };
        if lut.size <= KEPT {
            exact.kept = (0..exact.places)
                .map(|blue| exact.computed(lut, blue))
                .collect();
        }
        Some(exact)
    }

    fn computed(&self, lut: &Lut3d, blue: usize) -> [Vec<f32>; 3] {
        let mut rows = plane(lut, blue);
        let [r, g, b] = &mut rows;
        self.chain.apply_rows([r, g, b]);
        rows
    }

    fn plane(&self, lut: &Lut3d, blue: usize) -> Cow<'_, [Vec<f32>; 3]> {
        self.kept
            .get(blue)
            .map_or_else(|| Cow::Owned(self.computed(lut, blue)), Cow::Borrowed)
    }
}

/// One plane of the grid of twice a table's density.
fn plane(lut: &Lut3d, blue: usize) -> [Vec<f32>; 3] {
    let places = 2 * lut.size - 1;
    let at = |c: usize, place| node(place, places, lut.domain_min[c], lut.domain_max[c]) as f32;
    [
        (0..places * places).map(|i| at(0, i % places)).collect(),
        (0..places * places).map(|i| at(1, i / places)).collect(),
        vec![at(2, blue); places * places],
    ]
}

/// Lets what is off midway between two nodes of one axis move both, each by a quarter: half of it from either side.
fn even_out(moves: &mut [[f32; 3]], size: usize, place: [usize; 3], off: [f32; 3]) {
    let mut odd = (0..3).filter(|c| place[*c] % 2 == 1);
    let (Some(axis), None) = (odd.next(), odd.next()) else {
        return;
    };
    let strides = [1, size, size * size];
    let low: usize = (0..3).map(|c| place[c] / 2 * strides[c]).sum();
    for (node, at) in [
        (low, place[axis] / 2),
        (low + strides[axis], place[axis] / 2 + 1),
    ] {
        if at > 0 && at + 1 < size {
            for (by, off) in moves[node].iter_mut().zip(off) {
                *by += off / 4.0;
            }
        }
    }
}

/// A chain over a grid: what it does to each channel by itself is worked out once a place of an axis, the rest once a colour.
/// The colours are those of [`Chain::apply_pixel`] to the last bit.
struct Gridded<'a> {
    curves: [Vec<f64>; 3],
    rest: Vec<Cow<'a, Op>>,
}

impl<'a> Gridded<'a> {
    fn new(chain: &'a Chain, lut: &Lut3d, places: usize) -> Self {
        let ops: Vec<&Op> = chain.ops().collect();
        let by_channel = ops.iter().take_while(|op| is_by_channel(op)).count();
        let (first, last) = ops.split_at(by_channel);
        let mut first: Vec<Cow<'a, Op>> = first.iter().map(|op| Cow::Borrowed(*op)).collect();
        let mut rest: Vec<Cow<'a, Op>> = last.iter().map(|op| Cow::Borrowed(*op)).collect();
        // A CDL is a curve for each channel, and then its saturation.
        if let Some(Op::Cdl(cdl)) = last.first() {
            first.push(Cow::Owned(Op::Cdl(Cdl {
                saturation: 1.0,
                ..*cdl
            })));
            rest[0] = Cow::Owned(Op::Cdl(Cdl {
                saturation: cdl.saturation,
                ..Cdl::NEUTRAL
            }));
        }
        let curves = std::array::from_fn(|c| {
            let along = |place| {
                let at = node(place, places, lut.domain_min[c], lut.domain_max[c]);
                first.iter().fold([at; 3], |rgb, op| op.apply(rgb))[c]
            };
            (0..places).map(along).collect()
        });
        Self { curves, rest }
    }

    fn apply(&self, place: [usize; 3]) -> [f64; 3] {
        let curved = std::array::from_fn(|c| self.curves[c][place[c]]);
        self.rest.iter().fold(curved, |rgb, op| op.apply(rgb))
    }
}

/// Whether an operation takes each channel by itself.
fn is_by_channel(op: &Op) -> bool {
    match op {
        Op::Cdl(cdl) => cdl.saturation == 1.0,
        Op::Shoulder(shoulder) => shoulder.roll_off == RollOff::PerChannel,
        Op::KeyedCdl(_) | Op::Lut(_) | Op::Process(_) | Op::Limiter(_) => false,
    }
}

/// Cells that are probed densely.
pub const SUSPECTS: usize = 64;

/// Every place of a cube.
fn cells(places: usize) -> impl Iterator<Item = [usize; 3]> {
    (0..places)
        .flat_map(move |b| (0..places).flat_map(move |g| (0..places).map(move |r| [r, g, b])))
}

/// Keeps the worst of each cell, and the worst cells, worst first.
fn keep_worst(worst: &mut Vec<(f64, [usize; 3])>, new: (f64, [usize; 3])) {
    if worst.len() == SUSPECTS && new.0 <= worst[SUSPECTS - 1].0 {
        return;
    }
    if let Some(known) = worst.iter_mut().find(|known| known.1 == new.1) {
        known.0 = known.0.max(new.0);
    } else {
        worst.truncate(SUSPECTS - 1);
        worst.push(new);
    }
    worst.sort_by(|a, b| b.0.total_cmp(&a.0));
}
