//! A chain as one 3D LUT, with what that costs in exactness.

use crate::data::cdl::Cdl;
use crate::data::chain::Chain;
use crate::data::lut::{Lut3d, node};
use crate::data::op::Op;
use crate::data::shoulder::RollOff;
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
    /// midway to their neighbours, so that it lies to both sides, half as far. A node at black, at white or at an end of an axis
    /// is not moved for that axis: signal that is clipped piles up there.
    ///
    /// `size` is 2–256; other sizes give a table that [`Lut3d::validate`] refuses.
    #[must_use]
    pub fn bake(&self, size: usize, domain: Domain) -> Baked {
        let lut = self.table(size, domain);
        let error = self.difference(&lut);
        Baked { lut, error }
    }

    /// The table of [`Chain::bake`] alone: measuring its error takes many times as long as making it.
    #[must_use]
    pub fn table(&self, size: usize, domain: Domain) -> Lut3d {
        let mut lut = Lut3d {
            size,
            domain_min: [domain.min; 3],
            domain_max: [domain.max; 3],
            table: Vec::new(),
        };
        let grid = Gridded::new(self, &lut, (2 * size).saturating_sub(1));
        lut.table = cells(size)
            .map(|place| grid.apply(place.map(|at| 2 * at)).map(|v| v as f32))
            .collect();
        if size >= Lut3d::MIN_SIZE {
            even_out(&mut lut, &grid);
        }
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
        self.difference_up_to(lut, f64::INFINITY)
            .unwrap_or_default()
    }

    /// Whether the largest difference that [`Chain::difference`] finds is at most so much: known as soon as one is found that is
    /// larger.
    #[must_use]
    pub fn is_within(&self, lut: &Lut3d, most: f64) -> bool {
        self.difference_up_to(lut, most).is_some()
    }

    /// The difference; `None` where it is larger than `most`.
    fn difference_up_to(&self, lut: &Lut3d, most: f64) -> Option<BakeError> {
        if lut.size < Lut3d::MIN_SIZE {
            return Some(BakeError::default());
        }
        let places = 2 * lut.size - 1;
        let mut worst = Probe::default();
        let mut suspects: Vec<(f64, [usize; 3])> = Vec::new();
        let mut sum = 0.0;
        let grid = Gridded::new(self, lut, places);
        for cell in cells(places) {
            let at = on_grid(lut, cell, places);
            let probe = Probe::new(grid.apply(cell), lut.sample(at), at);
            sum += probe.off;
            worst = worst.or(probe);
            if worst.off > most {
                return None;
            }
            if probe.off > 0.0 {
                let within = cell.map(|place| (place / 2).min(lut.size - 2));
                keep_worst(&mut suspects, (probe.off, within));
            }
        }
        let dense = 8 * (lut.size - 1) + 1;
        for (_, [r, g, b]) in suspects {
            let mut local = Probe::default();
            for within in cells(9) {
                let place = [8 * r + within[0], 8 * g + within[1], 8 * b + within[2]];
                local = local.or(self.probe(lut, on_grid(lut, place, dense)));
            }
            worst = worst.or(self.climb(lut, local, dense));
            if worst.off > most {
                return None;
            }
        }
        Some(BakeError {
            max: worst.off,
            mean: sum / (places as f64).powi(3),
            at: worst.at,
        })
    }

    /// The difference at one colour.
    fn probe(&self, lut: &Lut3d, at: [f64; 3]) -> Probe {
        Probe::new(self.apply_pixel(at), lut.sample(at), at)
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
    fn new(exact: [f64; 3], table: [f64; 3], at: [f64; 3]) -> Self {
        let off = (0..3)
            .map(|c| (exact[c] - table[c]).abs())
            .fold(0.0, f64::max);
        Self { off, at }
    }

    /// The worse of two.
    fn or(self, other: Self) -> Self {
        if other.off > self.off { other } else { self }
    }
}

/// The colour at one place of a grid over a table's domain.
fn on_grid(lut: &Lut3d, place: [usize; 3], places: usize) -> [f64; 3] {
    std::array::from_fn(|c| node(place[c], places, lut.domain_min[c], lut.domain_max[c]))
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

/// Of what a table is off midway between two nodes: what each is moved by, half of it from either side; and what one is moved by
/// where the other stays, which is where the largest difference within such a cell is least together with the next cell's.
const BOTH: f64 = 0.25;
const ALONE: f64 = 0.436;

/// Moves nodes by what the table is off midway to their neighbours along each axis, as [`Chain::bake`] says: by the smaller of the
/// two where they differ, and not where the table lies above on one side and below on the other, so that no bend makes the next
/// cell worse. `grid` has twice the table's density.
fn even_out(lut: &mut Lut3d, grid: &Gridded<'_>) {
    let size = lut.size;
    let strides = [1, size, size * size];
    let mut moves = vec![[0.0f64; 3]; lut.table.len()];
    for axis in 0..3 {
        let stays: Vec<bool> = (0..size)
            .map(|at| {
                let signal = node(at, size, lut.domain_min[axis], lut.domain_max[axis]);
                let near = |mark: f64| (signal - mark).abs() < 1e-9;
                at == 0 || at + 1 == size || near(0.0) || near(1.0)
            })
            .collect();
        for start in cells(size).filter(|place| place[axis] == 0) {
            let first: usize = (0..3).map(|c| start[c] * strides[c]).sum();
            let mut before = [0.0; 3];
            for at in 0..size - 1 {
                let number = first + at * strides[axis];
                let mut between = start.map(|at| 2 * at);
                between[axis] = 2 * at + 1;
                let due = grid.apply(between);
                let (one, two) = (lut.table[number], lut.table[number + strides[axis]]);
                let off: [f64; 3] = std::array::from_fn(|c| {
                    due[c] - f64::midpoint(f64::from(one[c]), f64::from(two[c]))
                });
                if !stays[at] {
                    let share = |other: usize| if stays[other] { ALONE } else { BOTH };
                    let share = share(at - 1) + share(at + 1);
                    for c in 0..3 {
                        moves[number][c] += share * smaller(before[c], off[c]);
                    }
                }
                before = off;
            }
        }
    }
    for (value, by) in lut.table.iter_mut().zip(&moves) {
        for (v, by) in value.iter_mut().zip(by) {
            // What rounding to f32 leaves is nothing to even out.
            if by.abs() > 1e-6 {
                *v = (f64::from(*v) + by) as f32;
            }
        }
    }
}

/// The smaller of two by magnitude; 0 where their signs differ.
fn smaller(a: f64, b: f64) -> f64 {
    if a * b <= 0.0 {
        0.0
    } else if a.abs() < b.abs() {
        a
    } else {
        b
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
