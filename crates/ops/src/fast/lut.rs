//! Tetrahedral interpolation on rows.

use crate::data::lut::Lut3d;
use multiversion::multiversion;

/// Pixels whose cells and weights are found together, before any colour is fetched: that half then
/// runs in vector registers, and the fetches run ahead of each other.
const LANES: usize = 32;

/// A table laid out for speed.
///
/// Against [`Lut3d::sample`] it differs by `f32` rounding alone: measured 2.7e-7 for values up to
/// 1.4. The same numbers come out on every machine: products and sums are fused everywhere, which is
/// slow on processors without that instruction (x86 before 2013).
#[derive(Clone, Debug)]
pub struct FastLut {
    grid: Grid,
    /// Four lanes a colour, the last unused: one load each.
    table: Vec<[f32; 4]>,
}

#[derive(Clone, Copy, Debug)]
struct Grid {
    min: [f32; 3],
    scale: [f32; 3],
    last: f32,
    top: i32,
    green: i32,
    blue: i32,
}

impl FastLut {
    /// # Panics
    /// If the table does not hold `size³` values, or is larger than [`Lut3d::MAX_SIZE`]
    /// ([`Lut3d::validate`] finds both).
    #[must_use]
    pub fn new(lut: &Lut3d) -> Self {
        let size = lut.size;
        assert!(
            (Lut3d::MIN_SIZE..=Lut3d::MAX_SIZE).contains(&size) && lut.table.len() == size.pow(3),
            "a table of {} values for size {size}",
            lut.table.len()
        );
        let last = (size - 1) as f64;
        Self {
            grid: Grid {
                min: lut.domain_min.map(|v| v as f32),
                scale: std::array::from_fn(|c| {
                    (last / (lut.domain_max[c] - lut.domain_min[c])) as f32
                }),
                last: last as f32,
                top: size as i32 - 2,
                green: size as i32,
                blue: (size * size) as i32,
            },
            table: lut.table.iter().map(|v| [v[0], v[1], v[2], 0.0]).collect(),
        }
    }

    /// Interpolates R', G' and B' in place: the shortest of the three says how many pixels.
    pub fn apply(&self, [r, g, b]: [&mut [f32]; 3]) {
        let count = r.len().min(g.len()).min(b.len());
        interpolate(
            &self.table,
            self.grid,
            &mut r[..count],
            &mut g[..count],
            &mut b[..count],
        );
    }
}

#[multiversion(targets("x86_64+avx2+fma"))]
fn interpolate(table: &[[f32; 4]], grid: Grid, r: &mut [f32], g: &mut [f32], b: &mut [f32]) {
    let mut scratch = Block::EMPTY;
    let (red, red_rest) = r.as_chunks_mut::<LANES>();
    let (green, green_rest) = g.as_chunks_mut::<LANES>();
    let (blue, blue_rest) = b.as_chunks_mut::<LANES>();
    for ((r, g), b) in red.iter_mut().zip(green).zip(blue) {
        block(table, grid, &mut scratch, r, g, b);
    }
    let rest = red_rest.len();
    if rest > 0 {
        let mut padded = [[0.0; LANES]; 3];
        padded[0][..rest].copy_from_slice(red_rest);
        padded[1][..rest].copy_from_slice(green_rest);
        padded[2][..rest].copy_from_slice(blue_rest);
        let [r, g, b] = &mut padded;
        block(table, grid, &mut scratch, r, g, b);
        red_rest.copy_from_slice(&padded[0][..rest]);
        green_rest.copy_from_slice(&padded[1][..rest]);
        blue_rest.copy_from_slice(&padded[2][..rest]);
    }
}

/// A value's place along an axis, in nodes, held inside the grid; NaN goes to the first node.
#[inline(always)]
fn place(value: f32, min: f32, scale: f32, last: f32) -> f32 {
    let place = (value - min) * scale;
    let place = if place > 0.0 { place } else { 0.0 };
    if place < last { place } else { last }
}

/// The node below a place of 0–256; at a node either it or the one before, where both give the same
/// colour. Adding 1.5·2²³ rounds to whole numbers and leaves them in the low bits, which, unlike a
/// conversion that must mind every `f32`, takes one instruction for many lanes.
#[inline(always)]
fn node_below(place: f32) -> i32 {
    ((place - 0.5 + 12_582_912.0).to_bits() & 0x003f_ffff) as i32
}

/// Where each pixel of a block lies, and its colour before it goes back to rows.
struct Block {
    /// Low corner of the cell.
    corner: [u32; LANES],
    /// The second and the third corner, from the first.
    steps: [[u32; LANES]; 2],
    weights: [[f32; LANES]; 4],
    colours: [[f32; 4]; LANES],
}

impl Block {
    const EMPTY: Self = Self {
        corner: [0; LANES],
        steps: [[0; LANES]; 2],
        weights: [[0.0; LANES]; 4],
        colours: [[0.0; 4]; LANES],
    };
}

#[inline(always)]
fn block(
    table: &[[f32; 4]],
    grid: Grid,
    block: &mut Block,
    r: &mut [f32; LANES],
    g: &mut [f32; LANES],
    b: &mut [f32; LANES],
) {
    let all = 1 + grid.green + grid.blue;
    for k in 0..LANES {
        let x = place(r[k], grid.min[0], grid.scale[0], grid.last);
        let y = place(g[k], grid.min[1], grid.scale[1], grid.last);
        let z = place(b[k], grid.min[2], grid.scale[2], grid.last);
        let low_x = node_below(x).min(grid.top);
        let low_y = node_below(y).min(grid.top);
        let low_z = node_below(z).min(grid.top);
        let (x, y, z) = (x - low_x as f32, y - low_y as f32, z - low_z as f32);
        block.corner[k] = (low_x + low_y * grid.green + low_z * grid.blue) as u32;

        // From the cell's low corner along the axis of the largest fraction, then to the corner that
        // all axes but that of the smallest reach, then to the high corner. Written as choices, not
        // as `min` and `max`, which would mind NaN, of which there is none left.
        let red_leads = x >= y;
        let (more, more_step) = if red_leads { (x, 1) } else { (y, grid.green) };
        let (less, less_step) = if red_leads { (y, grid.green) } else { (x, 1) };
        let (largest, first) = if more >= z {
            (more, more_step)
        } else {
            (z, grid.blue)
        };
        let (smallest, last) = if less <= z {
            (less, less_step)
        } else {
            (z, grid.blue)
        };
        let middle = if less > z { less } else { z };
        let middle = if more < middle { more } else { middle };

        block.steps[0][k] = first as u32;
        block.steps[1][k] = (all - last) as u32;
        block.weights[0][k] = 1.0 - largest;
        block.weights[1][k] = largest - middle;
        block.weights[2][k] = middle - smallest;
        block.weights[3][k] = smallest;
    }
    let span = all as usize + 1;
    for k in 0..LANES {
        // One check for both ends of the cell, one for each corner between.
        let cell = &table[block.corner[k] as usize..][..span];
        let (low, high) = (&cell[0], &cell[span - 1]);
        let second = &cell[block.steps[0][k] as usize];
        let third = &cell[block.steps[1][k] as usize];
        let weight = |i: usize| block.weights[i][k];
        let mut colour = [0.0_f32; 4];
        for (lane, out) in colour.iter_mut().enumerate() {
            let sum = low[lane] * weight(0);
            let sum = second[lane].mul_add(weight(1), sum);
            let sum = third[lane].mul_add(weight(2), sum);
            *out = high[lane].mul_add(weight(3), sum);
        }
        block.colours[k] = colour;
    }
    for k in 0..LANES {
        let colour = block.colours[k];
        (r[k], g[k], b[k]) = (colour[0], colour[1], colour[2]);
    }
}
