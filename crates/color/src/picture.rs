//! Pictures: native planes as decoded, the planar working signal, and the way between them.
//!
//! Chroma is brought to luma resolution by linear interpolation at the stated siting, and back by
//! the short symmetric filters of [`Planes16::fill_from_rgb`], which undo that interpolation
//! exactly: a picture that was subsampled before comes back unblurred.

use crate::quantise::Levels;
use crate::ycbcr::Coefficients;
use serde::{Deserialize, Serialize};
use std::ops::Range;

/// A rectangle in whole luma pixels, top-left origin, half-open.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Region {
    /// First column.
    pub x: usize,
    /// First row.
    pub y: usize,
    /// Columns.
    pub width: usize,
    /// Rows.
    pub height: usize,
}

impl Region {
    /// The whole of a picture.
    #[must_use]
    pub const fn whole(width: usize, height: usize) -> Self {
        Self {
            x: 0,
            y: 0,
            width,
            height,
        }
    }

    /// The number of pixels.
    #[must_use]
    pub const fn area(self) -> usize {
        self.width * self.height
    }

    /// The part that lies inside a picture of the given size; may be empty.
    #[must_use]
    pub fn clipped(self, width: usize, height: usize) -> Self {
        let (x, y) = (self.x.min(width), self.y.min(height));
        let (right, bottom) = (
            (self.x + self.width).min(width),
            (self.y + self.height).min(height),
        );
        Self {
            x,
            y,
            width: right.saturating_sub(x),
            height: bottom.saturating_sub(y),
        }
    }
}

/// A planar R'G'B' picture of the working signal: 0 = black, 1 = white, excursions kept.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Rgb {
    /// Columns.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// R', G' and B', each `width * height` samples, row by row.
    pub planes: [Vec<f32>; 3],
}

impl Rgb {
    /// A black picture.
    #[must_use]
    pub fn new(width: usize, height: usize) -> Self {
        Self {
            width,
            height,
            planes: std::array::from_fn(|_| vec![0.0; width * height]),
        }
    }

    /// The pixel at a row-major index.
    #[must_use]
    pub fn pixel(&self, index: usize) -> [f32; 3] {
        [
            self.planes[0][index],
            self.planes[1][index],
            self.planes[2][index],
        ]
    }

    /// Sets the pixel at a row-major index.
    pub fn set_pixel(&mut self, index: usize, [r, g, b]: [f32; 3]) {
        self.planes[0][index] = r;
        self.planes[1][index] = g;
        self.planes[2][index] = b;
    }

    /// The luma of every pixel, row by row.
    #[must_use]
    pub fn luma(&self, coefficients: Coefficients) -> Vec<f32> {
        let (kr, kg, kb) = coefficients.weights();
        let (kr, kg, kb) = (kr as f32, kg as f32, kb as f32);
        let [r, g, b] = &self.planes;
        r.iter()
            .zip(g)
            .zip(b)
            .map(|((r, g), b)| kr * r + kg * g + kb * b)
            .collect()
    }
}

/// Integer samples of one plane.
#[derive(Clone, Copy, Debug)]
pub enum Samples<'a> {
    /// 8 bits a sample.
    U8(&'a [u8]),
    /// 9–16 bits a sample, in the low bits.
    U16(&'a [u16]),
}

/// One plane of a native picture.
#[derive(Clone, Copy, Debug)]
pub struct Plane<'a> {
    /// At least `stride * (height - 1) + width` samples.
    pub samples: Samples<'a>,
    /// Samples from one row to the next; at least `width`.
    pub stride: usize,
    /// Samples a row.
    pub width: usize,
    /// Rows.
    pub height: usize,
}

impl Plane<'_> {
    /// Writes `scale * (code - zero)` of the columns of row `y` (clamped to the plane) to `out`.
    fn read_row(
        &self,
        y: usize,
        columns: Range<usize>,
        (zero, scale): (f32, f32),
        out: &mut [f32],
    ) {
        let start = y.min(self.height - 1) * self.stride;
        match self.samples {
            Samples::U8(samples) => {
                let row = &samples[start + columns.start..start + columns.end];
                for (out, &code) in out.iter_mut().zip(row) {
                    *out = (f32::from(code) - zero) * scale;
                }
            }
            Samples::U16(samples) => {
                let row = &samples[start + columns.start..start + columns.end];
                for (out, &code) in out.iter_mut().zip(row) {
                    *out = (f32::from(code) - zero) * scale;
                }
            }
        }
    }

    /// Writes `scale * (mean code - zero)` of each of the rectangles, row by row, to `out`.
    fn average(
        &self,
        across: &[Range<usize>],
        down: &[Range<usize>],
        (zero, scale): (f32, f32),
        out: &mut [f32],
    ) {
        let (Some(first), Some(last)) = (across.first(), across.last()) else {
            return;
        };
        let (first, end) = (first.start, last.end);
        // Rows are added first, along which the processor adds many at once.
        let (mut narrow, mut sums) = (vec![0u16; end - first], vec![0u32; end - first]);
        for (rows, out) in down.iter().zip(out.chunks_exact_mut(across.len())) {
            sums.fill(0);
            let row = |y: usize| y * self.stride + first..y * self.stride + end;
            match self.samples {
                // 257 rows of 8 bits fit 16.
                Samples::U8(samples) if rows.len() <= 257 => {
                    narrow.fill(0);
                    for y in rows.clone() {
                        for (sum, code) in narrow.iter_mut().zip(&samples[row(y)]) {
                            *sum += u16::from(*code);
                        }
                    }
                    add(&mut sums, &narrow);
                }
                Samples::U8(samples) => rows.clone().for_each(|y| add(&mut sums, &samples[row(y)])),
                Samples::U16(samples) => {
                    rows.clone().for_each(|y| add(&mut sums, &samples[row(y)]))
                }
            }
            for (columns, out) in across.iter().zip(out) {
                let sum: f64 = sums[columns.start - first..columns.end - first]
                    .iter()
                    .map(|v| f64::from(*v))
                    .sum();
                let count = (columns.len() * rows.len()) as f64;
                *out = ((sum / count) as f32 - zero) * scale;
            }
        }
    }

    /// Writes every code, raised to a depth that is `shift` bits higher, to a tightly packed plane.
    fn shift_into(&self, shift: u8, target: &mut [u16]) {
        for (y, row) in target.chunks_exact_mut(self.width).enumerate() {
            self.blend_rows(y, y, 0.0, shift, row);
        }
    }

    /// Writes `upper` + `share`·(`lower` − `upper`) of two rows, raised by `shift` bits, halves up.
    fn blend_rows(&self, upper: usize, lower: usize, share: f32, shift: u8, out: &mut [u16]) {
        // Shares of subsampled rows are whole 32nds at most (three halvings, half-sample siting).
        let weight = (share * 32.0).round() as u32;
        let rows = [upper * self.stride, lower * self.stride];
        let blend = |upper: u32, lower: u32| {
            (((((32 - weight) * upper + weight * lower) << shift) + 16) >> 5) as u16
        };
        match self.samples {
            Samples::U8(samples) => {
                let [upper, lower] = rows.map(|start| &samples[start..start + self.width]);
                for ((out, &upper), &lower) in out.iter_mut().zip(upper).zip(lower) {
                    *out = blend(upper.into(), lower.into());
                }
            }
            Samples::U16(samples) => {
                let [upper, lower] = rows.map(|start| &samples[start..start + self.width]);
                for ((out, &upper), &lower) in out.iter_mut().zip(upper).zip(lower) {
                    *out = blend(upper.into(), lower.into());
                }
            }
        }
    }
}

fn add<T: Copy + Into<u32>>(sums: &mut [u32], row: &[T]) {
    for (sum, code) in sums.iter_mut().zip(row) {
        *sum += (*code).into();
    }
}

/// What the planes carry.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Model {
    /// Y', Cb, Cr.
    Ycbcr(Coefficients),
    /// R', G', B' in that order.
    Rgb,
    /// Y' alone; all three planes are the same one.
    Grey,
}

/// Halvings of chroma resolution: 4:2:0 is (1, 1), 4:2:2 is (1, 0), 4:4:4 is (0, 0), 4:1:1 is (2, 0).
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct Subsampling {
    /// Halvings across.
    pub across: u8,
    /// Halvings down.
    pub down: u8,
}

impl Subsampling {
    /// 4:4:4.
    pub const S444: Self = Self { across: 0, down: 0 };
    /// 4:2:2.
    pub const S422: Self = Self { across: 1, down: 0 };
    /// 4:2:0.
    pub const S420: Self = Self { across: 1, down: 1 };
}

/// Where a subsampled chroma sample lies among the luma samples that it serves.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Siting {
    /// On the left column, midway between rows (the usual one of MPEG-2 and H.264 4:2:0, and of 4:2:2).
    Left,
    /// Midway in both directions (JPEG, MPEG-1).
    Centre,
    /// On the top-left luma sample (BT.2020 4:2:0, most UHD material).
    TopLeft,
}

impl Siting {
    /// Offset of a chroma sample from the first luma sample that it serves, in luma samples.
    fn offset(self, subsampling: Subsampling) -> (f32, f32) {
        let middle = |halvings: u8| ((1u32 << halvings) - 1) as f32 / 2.0;
        match self {
            Self::Left => (0.0, middle(subsampling.down)),
            Self::Centre => (middle(subsampling.across), middle(subsampling.down)),
            Self::TopLeft => (0.0, 0.0),
        }
    }
}

/// How the codes of a native picture are to be taken.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
pub struct PixelFormat {
    /// What the planes carry.
    pub model: Model,
    /// Chroma resolution.
    pub subsampling: Subsampling,
    /// Chroma position.
    pub siting: Siting,
    /// Bits a sample, 8–16.
    pub depth: u8,
    /// Codes of black and white.
    pub levels: Levels,
    /// Rows belong to two fields in turn, the first to the upper one, each sampled by itself: of chroma that is halved
    /// down, the rows too.
    #[serde(default)]
    pub fields: bool,
}

impl PixelFormat {
    /// Two chroma rows and the share of the second that make the chroma of one luma row, of `height` rows of chroma.
    ///
    /// Of a picture in fields they are rows of the luma row's own field. There a sample lies a quarter of the way from the
    /// first to the second of the field's luma rows that it serves in the upper field, three quarters in the lower one: at
    /// the places in the picture where those of a progressive one lie (ISO/IEC 13818-2 6.1.1.8, Rec. ITU-T H.264 6.2; from
    /// memory), except where all lie on a luma row.
    fn chroma_rows(self, y: usize, height: usize) -> (usize, usize, f32) {
        let (_, offset) = self.siting.offset(self.subsampling);
        if !self.fields || self.subsampling.down == 0 {
            return taps(y, self.subsampling.down, offset, height);
        }
        let field = y % 2;
        let rows = (height + 1 - field) / 2;
        if rows == 0 {
            return (0, 0, 0.0);
        }
        let offset = match (offset == 0.0, field) {
            (true, _) => 0.0,
            (false, 0) => offset / 2.0,
            (false, _) => offset * 1.5,
        };
        let (upper, lower, share) = taps(y / 2, self.subsampling.down, offset, rows);
        (2 * upper + field, 2 * lower + field, share)
    }
}

/// What brings a clip's own R'G'B' (camera log, another coding) to the working signal.
pub trait ToWorking: std::fmt::Debug + Send + Sync {
    /// Changes R', G' and B' of any number of pixels in place; each pixel by itself.
    fn apply_rows(&self, rows: [&mut [f32]; 3]);
}

/// A native picture as it was decoded.
#[derive(Clone, Copy, Debug)]
pub struct Native<'a> {
    /// Luma columns.
    pub width: usize,
    /// Luma rows.
    pub height: usize,
    /// Meaning of the codes.
    pub format: PixelFormat,
    /// Y' Cb Cr, R' G' B', or three times Y'.
    pub planes: [Plane<'a>; 3],
    /// What its signal goes through before anything looks at it; `None` where it is the working signal already.
    pub input: Option<&'a dyn ToWorking>,
}

/// The two taps that bring a subsampled plane to one luma position.
fn taps(position: usize, halvings: u8, offset: f32, length: usize) -> (usize, usize, f32) {
    let at = (position as f32 - offset) / (1u32 << halvings) as f32;
    let low = at.floor();
    let last = length as isize - 1;
    let first = (low as isize).clamp(0, last) as usize;
    let second = (low as isize + 1).clamp(0, last) as usize;
    (first, second, at - low)
}

impl Native<'_> {
    /// Writes the working signal of one row of a region to `out` (each as long as the region is wide).
    ///
    /// Excursions are kept. `scratch` is reused from row to row.
    pub fn rgb_row(
        &self,
        region: Region,
        row: usize,
        scratch: &mut RowScratch,
        [r, g, b]: [&mut [f32]; 3],
    ) {
        self.coded_row(region, row, scratch, [&mut *r, &mut *g, &mut *b]);
        if let Some(input) = self.input {
            input.apply_rows([r, g, b]);
        }
    }

    /// R'G'B' of one row as it is coded.
    fn coded_row(
        &self,
        region: Region,
        row: usize,
        scratch: &mut RowScratch,
        out: [&mut [f32]; 3],
    ) {
        let y = region.y + row;
        let columns = region.x..region.x + region.width;
        let (zero, unit) = self.format.levels.luma_scale(self.format.depth);
        let luma = (zero as f32, (1.0 / unit) as f32);
        let [r, g, b] = out;
        match self.format.model {
            Model::Rgb => {
                for (plane, out) in self.planes.iter().zip([r, g, b]) {
                    plane.read_row(y, columns.clone(), luma, out);
                }
            }
            Model::Grey => {
                self.planes[0].read_row(y, columns, luma, r);
                g.copy_from_slice(r);
                b.copy_from_slice(r);
            }
            Model::Ycbcr(coefficients) => {
                // g holds luma until the last step.
                self.planes[0].read_row(y, columns.clone(), luma, g);
                self.chroma_row(1, columns.clone(), y, scratch, b);
                self.chroma_row(2, columns, y, scratch, r);
                to_rgb(coefficients, [r, g, b]);
            }
        }
    }

    /// Cb (`index` 1) or Cr (2) of some columns of a luma row, at luma resolution.
    fn chroma_row(
        &self,
        index: usize,
        columns: Range<usize>,
        y: usize,
        scratch: &mut RowScratch,
        out: &mut [f32],
    ) {
        let plane = &self.planes[index];
        let PixelFormat {
            subsampling,
            siting,
            depth,
            levels,
            ..
        } = self.format;
        let (zero, unit) = levels.chroma_scale(depth);
        let scale = (zero as f32, (1.0 / unit) as f32);
        let (offset_x, _) = siting.offset(subsampling);
        if subsampling.across == 0 && subsampling.down == 0 {
            plane.read_row(y, columns, scale, out);
            return;
        }
        let first = taps(columns.start, subsampling.across, offset_x, plane.width).0;
        let last = taps(
            columns.end.max(1) - 1,
            subsampling.across,
            offset_x,
            plane.width,
        )
        .1 + 1;
        let length = last - first;
        scratch.near.resize(length, 0.0);
        let (upper, lower, share) = self.format.chroma_rows(y, plane.height);
        plane.read_row(upper, first..last, scale, &mut scratch.near);
        if share > 0.0 && upper != lower {
            scratch.far.resize(length, 0.0);
            plane.read_row(lower, first..last, scale, &mut scratch.far);
            for (near, far) in scratch.near.iter_mut().zip(&scratch.far) {
                *near += share * (far - *near);
            }
        }
        match subsampling.across {
            0 => out.copy_from_slice(&scratch.near),
            1 if offset_x == 0.0 => between_pairs(&scratch.near, columns.start, out),
            _ => {
                for (x, out) in columns.zip(out.iter_mut()) {
                    let (left, right, share) = taps(x, subsampling.across, offset_x, plane.width);
                    let (left, right) = (scratch.near[left - first], scratch.near[right - first]);
                    *out = left + share * (right - left);
                }
            }
        }
    }

    /// The working signal of a region; the region is clipped to the picture.
    #[must_use]
    pub fn rgb_region(&self, region: Region) -> Rgb {
        let region = region.clipped(self.width, self.height);
        let mut picture = Rgb::new(region.width, region.height);
        let mut scratch = RowScratch::default();
        for row in 0..region.height {
            let span = row * region.width..(row + 1) * region.width;
            let [r, g, b] = &mut picture.planes;
            self.rgb_row(
                region,
                row,
                &mut scratch,
                [&mut r[span.clone()], &mut g[span.clone()], &mut b[span]],
            );
        }
        picture
    }

    /// A region made smaller to `columns` × `rows` by averaging in the picture's own planes, before chroma is brought to
    /// luma's resolution and before an input transform: for looking at (finding, following), not for reading. A region that
    /// is not to become smaller is given as it is.
    ///
    /// Chroma is that of the samples that serve the averaged columns and rows; where these end within a sample, its place is
    /// off by less than one of them.
    #[must_use]
    pub fn made_small(&self, region: Region, columns: usize, rows: usize) -> Rgb {
        let region = region.clipped(self.width, self.height);
        let (columns, rows) = (columns.min(region.width), rows.min(region.height));
        if columns == region.width && rows == region.height {
            return self.rgb_region(region);
        }
        let mut picture = Rgb::new(columns, rows);
        if picture.planes[0].is_empty() {
            return picture;
        }
        let ycbcr = matches!(self.format.model, Model::Ycbcr(_));
        let planes = if self.format.model == Model::Grey {
            1
        } else {
            3
        };
        for (index, (plane, target)) in self
            .planes
            .iter()
            .zip(&mut picture.planes)
            .take(planes)
            .enumerate()
        {
            let (mut across, mut down, mut scale) =
                (0, 0, self.format.levels.luma_scale(self.format.depth));
            if ycbcr && index > 0 {
                across = self.format.subsampling.across;
                down = self.format.subsampling.down;
                scale = self.format.levels.chroma_scale(self.format.depth);
            }
            let across = spans(region.x, region.width, columns, across, plane.width);
            let down = spans(region.y, region.height, rows, down, plane.height);
            plane.average(
                &across,
                &down,
                (scale.0 as f32, (1.0 / scale.1) as f32),
                target,
            );
        }
        let [r, g, b] = &mut picture.planes;
        match self.format.model {
            Model::Rgb => {}
            Model::Grey => {
                g.copy_from_slice(r);
                b.copy_from_slice(r);
            }
            Model::Ycbcr(coefficients) => {
                std::mem::swap(r, g);
                std::mem::swap(r, b);
                to_rgb(coefficients, [&mut *r, &mut *g, &mut *b]);
            }
        }
        if let Some(input) = self.input {
            input.apply_rows([r, g, b]);
        }
        picture
    }

    /// The luma signal of a region, row by row, straight from the native plane; of R'G'B' pictures, and where there is an
    /// input transform, by the given coefficients.
    #[must_use]
    pub fn luma_region(&self, region: Region, coefficients: Coefficients) -> Vec<f32> {
        let region = region.clipped(self.width, self.height);
        if self.format.model == Model::Rgb || self.input.is_some() {
            return self.rgb_region(region).luma(coefficients);
        }
        let (zero, unit) = self.format.levels.luma_scale(self.format.depth);
        let mut luma = vec![0.0; region.area()];
        if region.width > 0 {
            for (row, out) in luma.chunks_exact_mut(region.width).enumerate() {
                let columns = region.x..region.x + region.width;
                self.planes[0].read_row(
                    region.y + row,
                    columns,
                    (zero as f32, (1.0 / unit) as f32),
                    out,
                );
            }
        }
        luma
    }
}

/// Chroma sited on even columns brought to every column from `start` on: on them as it is, between them the mean of both;
/// `near` begins with the sample of column `start`, or of the one before where that is odd. The last sample is repeated.
fn between_pairs(near: &[f32], start: usize, out: &mut [f32]) {
    let Some(&last) = near.last() else {
        return;
    };
    let mean = |k: usize| 0.5 * (near[k] + near.get(k + 1).copied().unwrap_or(last));
    let (mut out, mut first) = (out, 0);
    if start % 2 == 1
        && let Some((lone, rest)) = std::mem::take(&mut out).split_first_mut()
    {
        *lone = mean(0);
        (out, first) = (rest, 1);
    }
    // Pairs without a branch: the compiler takes several at once.
    let inner = (out.len() / 2).min((near.len() - first.min(near.len())).saturating_sub(1));
    let (pairs, rest) = out.split_at_mut(2 * inner);
    for (pair, ends) in pairs.chunks_exact_mut(2).zip(near[first..].windows(2)) {
        pair[0] = ends[0];
        pair[1] = 0.5 * (ends[0] + ends[1]);
    }
    for (x, out) in rest.iter_mut().enumerate() {
        let k = (first + inner + x / 2).min(near.len() - 1);
        *out = if x % 2 == 0 { near[k] } else { mean(k) };
    }
}

/// Y' in `g`, Cb in `b` and Cr in `r` become R'G'B' in place.
fn to_rgb(coefficients: Coefficients, [r, g, b]: [&mut [f32]; 3]) {
    let (kr, kg, kb) = coefficients.weights();
    let (db, dr) = coefficients.divisors();
    let (db, dr) = (db as f32, dr as f32);
    let (gb, gr) = ((kb / kg) as f32 * db, (kr / kg) as f32 * dr);
    for ((r, g), b) in r.iter_mut().zip(g.iter_mut()).zip(b.iter_mut()) {
        let (y, cb, cr) = (*g, *b, *r);
        *r = y + dr * cr;
        *b = y + db * cb;
        *g = y - gb * cb - gr * cr;
    }
}

/// The samples of a plane of `length`, halved so many times, that serve each of `count` even parts of `extent` luma
/// positions from `start` on; at least one each.
fn spans(
    start: usize,
    extent: usize,
    count: usize,
    halvings: u8,
    length: usize,
) -> Vec<Range<usize>> {
    (0..count)
        .map(|i| {
            let (from, to) = (start + i * extent / count, start + (i + 1) * extent / count);
            let first = (from >> halvings).min(length - 1);
            let end = (to.max(from + 1))
                .div_ceil(1 << halvings)
                .clamp(first + 1, length);
            first..end
        })
        .collect()
}

/// Row buffers kept between calls of [`Native::rgb_row`].
#[derive(Clone, Debug, Default)]
pub struct RowScratch {
    near: Vec<f32>,
    far: Vec<f32>,
}

/// An integer picture of our own making, 8–16 bits a sample in `u16`, tightly packed.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Planes16 {
    /// Luma columns.
    pub width: usize,
    /// Luma rows.
    pub height: usize,
    /// Meaning of the codes.
    pub format: PixelFormat,
    /// The planes, row by row.
    pub planes: [Vec<u16>; 3],
}

impl Planes16 {
    /// A picture of code zero.
    #[must_use]
    pub fn new(width: usize, height: usize, format: PixelFormat) -> Self {
        let (chroma_width, chroma_height) = chroma_size(width, height, format);
        let planes = [
            width * height,
            chroma_width * chroma_height,
            chroma_width * chroma_height,
        ];
        Self {
            width,
            height,
            format,
            planes: planes.map(|length| vec![0; length]),
        }
    }

    /// The picture as native planes, to be read back.
    #[must_use]
    pub fn as_native(&self) -> Native<'_> {
        let (chroma_width, chroma_height) = chroma_size(self.width, self.height, self.format);
        let plane = |index: usize| {
            let (width, height) = if index == 0 {
                (self.width, self.height)
            } else {
                (chroma_width, chroma_height)
            };
            Plane {
                samples: Samples::U16(&self.planes[index]),
                stride: width,
                width,
                height,
            }
        };
        Native {
            width: self.width,
            height: self.height,
            format: self.format,
            planes: [plane(0), plane(1), plane(2)],
            input: None,
        }
    }

    /// Fills the picture from the working signal: matrix, chroma filter, rounding halves up,
    /// clamped to the codes that may carry video.
    ///
    /// The chroma filters are (−1 2 6 2 −1)/8 where a sample lies on a luma sample and
    /// (−1 3 3 −1)/4 where it lies midway; both have gain 1 at zero and 0 at the highest frequency,
    /// and both undo the linear interpolation of [`Native::rgb_row`].
    ///
    /// # Panics
    /// If the sizes differ, or for chroma halved more than once in a direction.
    pub fn fill_from_rgb(&mut self, rgb: &Rgb) {
        assert_eq!(
            (self.width, self.height),
            (rgb.width, rgb.height),
            "picture sizes differ"
        );
        let PixelFormat {
            model,
            subsampling,
            siting,
            depth,
            levels,
            fields,
        } = self.format;
        assert!(
            subsampling.across <= 1 && subsampling.down <= 1,
            "chroma halved more than once"
        );
        let luma_coder = Coder::new(levels.luma_scale(depth), depth, levels);
        let Model::Ycbcr(coefficients) = model else {
            for (plane, source) in self.planes.iter_mut().zip(&rgb.planes) {
                luma_coder.encode(source, plane);
            }
            return;
        };
        let luma = rgb.luma(coefficients);
        luma_coder.encode(&luma, &mut self.planes[0]);
        let chroma_coder = Coder::new(levels.chroma_scale(depth), depth, levels);
        let (db, dr) = coefficients.divisors();
        let (offset_x, offset_y) = siting.offset(subsampling);
        for (plane, (source, divisor)) in self.planes[1..]
            .iter_mut()
            .zip([(&rgb.planes[2], db), (&rgb.planes[0], dr)])
        {
            let gain = (1.0 / divisor) as f32;
            let full: Vec<f32> = source
                .iter()
                .zip(&luma)
                .map(|(v, y)| (v - y) * gain)
                .collect();
            let (mut width, mut height) = (self.width, self.height);
            let mut chroma = full;
            if subsampling.across == 1 {
                chroma = halve_rows(&chroma, width, offset_x == 0.0);
                width = width.div_ceil(2);
            }
            if subsampling.down == 1 && fields {
                chroma = halve_fields(&chroma, width, height, offset_y == 0.0);
                height = height.div_ceil(2);
            } else if subsampling.down == 1 {
                chroma = halve_columns(&chroma, width, height, offset_y == 0.0);
                height = height.div_ceil(2);
            }
            debug_assert_eq!(chroma.len(), width * height);
            chroma_coder.encode(&chroma, plane);
        }
    }

    /// Fills the picture from native planes with nothing done to them: the way of a shot without a
    /// fix.
    ///
    /// Where model, levels and sampling are the same, codes are only shifted to the new depth, which
    /// is exact upward. Where only the chroma sampling differs, luma is exact and chroma is what the
    /// interpolation and the filters of this module give. Anything else goes through the signal.
    ///
    /// # Panics
    /// If the sizes differ.
    pub fn fill_from_native(&mut self, source: &Native<'_>) {
        assert_eq!(
            (self.width, self.height),
            (source.width, source.height),
            "picture sizes differ"
        );
        let (from, to) = (source.format, self.format);
        let same_codes = source.input.is_none()
            && from.model == to.model
            && from.levels == to.levels
            && from.depth <= to.depth
            && (from.levels == Levels::Narrow || from.depth == to.depth);
        if !same_codes {
            self.fill_from_rgb(&source.rgb_region(Region::whole(source.width, source.height)));
            return;
        }
        let shift = to.depth - from.depth;
        source.planes[0].shift_into(shift, &mut self.planes[0]);
        let same_siting = (from.siting == to.siting || from.subsampling == Subsampling::S444)
            && (from.fields == to.fields || from.subsampling.down == 0);
        if from.subsampling == to.subsampling && same_siting {
            for (plane, target) in source.planes[1..].iter().zip(&mut self.planes[1..]) {
                plane.shift_into(shift, target);
            }
        } else if from.subsampling.across == to.subsampling.across
            && from.siting.offset(from.subsampling).0 == to.siting.offset(to.subsampling).0
            && to.subsampling.down == 0
        {
            // Across, the interpolation and the filter undo each other: only rows are missing.
            for (plane, target) in source.planes[1..].iter().zip(&mut self.planes[1..]) {
                for (y, row) in target.chunks_exact_mut(plane.width).enumerate() {
                    let (upper, lower, share) = from.chroma_rows(y, plane.height);
                    plane.blend_rows(upper, lower, share, shift, row);
                }
            }
        } else {
            let luma = std::mem::take(&mut self.planes[0]);
            self.planes[0] = vec![0; luma.len()];
            self.fill_from_rgb(&source.rgb_region(Region::whole(source.width, source.height)));
            self.planes[0] = luma;
        }
    }
}

/// (columns, rows) of the second and third plane; odd sizes round up.
#[must_use]
pub fn chroma_size(width: usize, height: usize, format: PixelFormat) -> (usize, usize) {
    match format.model {
        Model::Ycbcr(_) => {
            let Subsampling { across, down } = format.subsampling;
            (width.div_ceil(1 << across), height.div_ceil(1 << down))
        }
        Model::Rgb | Model::Grey => (width, height),
    }
}

struct Coder {
    zero: f32,
    scale: f32,
    low: f32,
    high: f32,
}

impl Coder {
    fn new((zero, scale): (f64, f64), depth: u8, levels: Levels) -> Self {
        let (low, high) = levels.code_limits(depth);
        Self {
            zero: zero as f32 + 0.5,
            scale: scale as f32,
            low: f32::from(low),
            high: f32::from(high),
        }
    }

    fn encode(&self, signal: &[f32], codes: &mut [u16]) {
        for (code, value) in codes.iter_mut().zip(signal) {
            // max before min: NaN becomes the low limit.
            *code = (self.zero + self.scale * value)
                .max(self.low)
                .min(self.high + 0.5) as u16;
        }
    }
}

/// One output sample of the chroma filters at `position` along a line of `length` samples.
fn filtered(line: impl Fn(usize) -> f32, position: usize, length: usize, on_sample: bool) -> f32 {
    let at =
        |offset: isize| line((position as isize + offset).clamp(0, length as isize - 1) as usize);
    if on_sample {
        (6.0 * at(0) + 2.0 * (at(-1) + at(1)) - (at(-2) + at(2))) / 8.0
    } else {
        (3.0 * (at(0) + at(1)) - (at(-1) + at(2))) / 4.0
    }
}

fn halve_rows(samples: &[f32], width: usize, on_sample: bool) -> Vec<f32> {
    let half = width.div_ceil(2);
    let mut result = Vec::with_capacity(samples.len() / width.max(1) * half);
    for row in samples.chunks_exact(width) {
        result.extend((0..half).map(|x| {
            let p = 2 * x;
            if on_sample && p >= 2 && p + 2 < width {
                (6.0 * row[p] + 2.0 * (row[p - 1] + row[p + 1]) - (row[p - 2] + row[p + 2])) / 8.0
            } else {
                filtered(|i| row[i], p, width, on_sample)
            }
        }));
    }
    result
}

fn halve_columns(samples: &[f32], width: usize, height: usize, on_sample: bool) -> Vec<f32> {
    (0..height.div_ceil(2))
        .flat_map(|y| {
            (0..width).map(move |x| filtered(|i| samples[i * width + x], 2 * y, height, on_sample))
        })
        .collect()
}

/// Columns of each field by themselves: where samples lie a quarter or three quarters of the way between two rows of their
/// field, the mean of what the filter gives on both, weighted by how near they are.
fn halve_fields(samples: &[f32], width: usize, height: usize, on_sample: bool) -> Vec<f32> {
    (0..height.div_ceil(2))
        .flat_map(|row| {
            let field = row % 2;
            // Rows of this field; a picture of one row has no second one.
            let rows = ((height + 1 - field) / 2).max(1);
            let first = row - field;
            (0..width).map(move |x| {
                let line = |i: usize| samples[((2 * i + field).min(height - 1)) * width + x];
                let on = |position| filtered(line, position, rows, true);
                match (on_sample, field) {
                    (true, _) => on(first),
                    (false, 0) => 0.75 * on(first) + 0.25 * on(first + 1),
                    (false, _) => 0.25 * on(first) + 0.75 * on(first + 1),
                }
            })
        })
        .collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn format(subsampling: Subsampling, siting: Siting, depth: u8) -> PixelFormat {
        PixelFormat {
            model: Model::Ycbcr(Coefficients::Bt709),
            subsampling,
            siting,
            depth,
            levels: Levels::Narrow,
            fields: false,
        }
    }

    fn busy(width: usize, height: usize, format: PixelFormat) -> Planes16 {
        let mut picture = Planes16::new(width, height, format);
        let unit = 1u32 << (format.depth - 8);
        let mut state = 1u32;
        for (index, plane) in picture.planes.iter_mut().enumerate() {
            for code in plane.iter_mut() {
                state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
                let span = if index == 0 { 180 } else { 60 };
                let base = if index == 0 { 30 } else { 98 };
                *code = ((base + (state >> 16) % span) * unit) as u16;
            }
        }
        picture
    }

    #[test]
    fn decoding_and_coding_again_changes_no_code() {
        for subsampling in [Subsampling::S444, Subsampling::S422, Subsampling::S420] {
            for siting in [Siting::Left, Siting::TopLeft, Siting::Centre] {
                for (width, height) in [(32, 18), (17, 9), (2, 2), (1, 1)] {
                    let source = busy(width, height, format(subsampling, siting, 10));
                    let rgb = source.as_native().rgb_region(Region::whole(width, height));
                    let mut back = Planes16::new(width, height, source.format);
                    back.fill_from_rgb(&rgb);
                    assert_eq!(
                        back.planes[0], source.planes[0],
                        "{subsampling:?} {siting:?} luma"
                    );
                    // Inside; the outermost samples see a clamped neighbour.
                    let (cw, ch) = chroma_size(width, height, source.format);
                    for plane in 1..3 {
                        for y in 1..ch.saturating_sub(1) {
                            for x in 1..cw.saturating_sub(1) {
                                assert_eq!(
                                    back.planes[plane][y * cw + x],
                                    source.planes[plane][y * cw + x],
                                    "{subsampling:?} {siting:?} {width}x{height} plane {plane} at {x},{y}"
                                );
                            }
                        }
                    }
                }
            }
        }
    }

    #[test]
    fn an_untouched_picture_keeps_its_codes() {
        let source = busy(32, 18, format(Subsampling::S420, Siting::Left, 8));
        let mut same = Planes16::new(32, 18, format(Subsampling::S420, Siting::Left, 10));
        same.fill_from_native(&source.as_native());
        for plane in 0..3 {
            assert!(
                same.planes[plane]
                    .iter()
                    .zip(&source.planes[plane])
                    .all(|(a, b)| *a == b << 2)
            );
        }
        let mut other = Planes16::new(32, 18, format(Subsampling::S422, Siting::Left, 10));
        other.fill_from_native(&source.as_native());
        assert!(
            other.planes[0]
                .iter()
                .zip(&source.planes[0])
                .all(|(a, b)| *a == b << 2)
        );
        // Row 0 lies a quarter sample above the first chroma row: clamped to it. Row 1 is 3:1.
        let (upper, lower) = (
            u32::from(source.planes[1][0]),
            u32::from(source.planes[1][16]),
        );
        assert_eq!(u32::from(other.planes[1][16]), (3 * upper + lower) * 4 / 4);
    }

    #[test]
    fn the_short_way_between_samplings_equals_the_way_through_the_signal() {
        for siting in [Siting::Left, Siting::TopLeft] {
            let source = busy(32, 18, format(Subsampling::S420, siting, 8));
            let mut short = Planes16::new(32, 18, format(Subsampling::S422, Siting::Left, 10));
            let mut long = short.clone();
            short.fill_from_native(&source.as_native());
            long.fill_from_rgb(&source.as_native().rgb_region(Region::whole(32, 18)));
            for (plane, (short, long)) in short.planes.iter().zip(&long.planes).enumerate() {
                let width = if plane == 0 { 32 } else { 16 };
                for (index, (a, b)) in short.iter().zip(long).enumerate() {
                    // Inside; at the sides the filter sees a clamped neighbour. Halves may fall
                    // either way in f32.
                    if (1..width - 1).contains(&(index % width)) {
                        assert!(
                            a.abs_diff(*b) <= 1,
                            "{siting:?} plane {plane} at {index}: {a} {b}"
                        );
                    }
                }
            }
        }
    }

    #[test]
    fn a_region_equals_the_same_part_of_the_whole() {
        for siting in [Siting::Left, Siting::Centre, Siting::TopLeft] {
            let source = busy(31, 19, format(Subsampling::S420, siting, 10));
            let native = source.as_native();
            let whole = native.rgb_region(Region::whole(31, 19));
            let region = Region {
                x: 5,
                y: 4,
                width: 13,
                height: 9,
            };
            let part = native.rgb_region(region);
            for y in 0..region.height {
                for x in 0..region.width {
                    let there = (y + region.y) * 31 + x + region.x;
                    assert_eq!(part.pixel(y * region.width + x), whole.pixel(there));
                }
            }
        }
    }

    #[test]
    fn a_region_beyond_the_picture_is_clipped() {
        let source = busy(16, 16, format(Subsampling::S420, Siting::Left, 8));
        let part = source.as_native().rgb_region(Region {
            x: 12,
            y: 14,
            width: 50,
            height: 50,
        });
        assert_eq!((part.width, part.height), (4, 2));
        let none = source.as_native().rgb_region(Region {
            x: 40,
            y: 0,
            width: 3,
            height: 3,
        });
        assert_eq!(none.width, 0);
    }

    /// Averaged in its planes or after chroma was brought to luma's resolution: the same but for chroma at the edges of what
    /// is averaged, and all the same where the picture is of one colour.
    #[test]
    fn a_picture_made_small_is_the_mean_of_what_it_shows() {
        for (subsampling, siting, depth) in [
            (Subsampling::S444, Siting::Left, 8),
            (Subsampling::S422, Siting::Left, 10),
            (Subsampling::S420, Siting::Left, 8),
            (Subsampling::S420, Siting::TopLeft, 10),
        ] {
            let source = busy(96, 54, format(subsampling, siting, depth));
            let native = source.as_native();
            let region = Region {
                x: 6,
                y: 4,
                width: 80,
                height: 48,
            };
            let whole = native.rgb_region(region);
            let small = native.made_small(region, 20, 12);
            assert_eq!((small.width, small.height), (20, 12));
            let mean = |c: usize, x: usize, y: usize| {
                (0..16)
                    .map(|i| whole.planes[c][(4 * y + i / 4) * 80 + 4 * x + i % 4])
                    .sum::<f32>()
                    / 16.0
            };
            let (mut square, mut luma) = (0.0f64, 0.0f32);
            for (x, y) in (0..240).map(|i| (i % 20, i / 20)) {
                let (a, b) = ([0, 1, 2].map(|c| mean(c, x, y)), small.pixel(y * 20 + x));
                let light = |v: [f32; 3]| 0.2126 * v[0] + 0.7152 * v[1] + 0.0722 * v[2];
                luma = luma.max((light(a) - light(b)).abs());
                square += f64::from(a[0] - b[0]).powi(2) / 240.0;
            }
            // Random chroma of ±30 codes: neighbours share half of a sample's weight.
            let exact = subsampling == Subsampling::S444;
            assert!(luma < 2e-4, "{subsampling:?}: luma is off by {luma}");
            assert!(
                square.sqrt() < if exact { 1e-5 } else { 0.04 },
                "{subsampling:?}: {}",
                square.sqrt()
            );
        }
        let mut even = Planes16::new(64, 36, format(Subsampling::S420, Siting::Left, 8));
        for (plane, code) in even.planes.iter_mut().zip([120, 110, 150]) {
            plane.fill(code);
        }
        let native = even.as_native();
        let all = Region::whole(64, 36);
        let (one, small) = (native.rgb_region(all), native.made_small(all, 19, 11));
        for c in 0..3 {
            assert!(
                small.planes[c]
                    .iter()
                    .all(|v| (v - one.planes[c][0]).abs() < 1e-6)
            );
        }
        assert_eq!(native.made_small(all, 64, 36), one);
    }

    #[test]
    fn grey_and_full_range() {
        let mut picture = Planes16::new(
            4,
            2,
            PixelFormat {
                model: Model::Rgb,
                subsampling: Subsampling::S444,
                siting: Siting::Centre,
                depth: 8,
                levels: Levels::Full,
                fields: false,
            },
        );
        let mut rgb = Rgb::new(4, 2);
        rgb.set_pixel(3, [1.0, 0.5, -0.1]);
        picture.fill_from_rgb(&rgb);
        assert_eq!(
            [
                picture.planes[0][3],
                picture.planes[1][3],
                picture.planes[2][3]
            ],
            [255, 128, 0]
        );
    }

    /// A slope down the picture is one also where chroma is sampled field by field, and comes back from its own samples.
    #[test]
    fn a_slope_through_fields_stays_one() {
        for siting in [Siting::Left, Siting::Centre] {
            let format = PixelFormat {
                fields: true,
                ..format(Subsampling::S420, siting, 16)
            };
            let (width, height) = (12, 44);
            let mut picture = Planes16::new(width, height, format);
            picture.planes[0].fill(30_000);
            for (row, codes) in picture.planes[1].chunks_exact_mut(width / 2).enumerate() {
                // Rows of chroma lie where those of a progressive picture do: midway between rows 2n and 2n + 1.
                codes.fill((20_000.0 + 400.0 * (2.0 * row as f64 + 0.5)) as u16);
            }
            picture.planes[2].fill(32_768);
            let native = picture.as_native();
            let rgb = native.rgb_region(Region::whole(width, height));
            let step = |y: usize| rgb.planes[2][(y + 1) * width + 6] - rgb.planes[2][y * width + 6];
            // The two outermost rows of each field have no neighbour to be interpolated with.
            for y in 3..height - 5 {
                assert!((step(y) - step(10)).abs() < 2e-5, "{siting:?} {y}");
            }
            let mut again = Planes16::new(width, height, format);
            again.fill_from_rgb(&rgb);
            for row in 6..height / 2 - 6 {
                let at = row * width / 2 + 3;
                let far = again.planes[1][at].abs_diff(picture.planes[1][at]);
                assert!(far <= 2, "{siting:?} {row}: {far}");
            }
        }
    }

    /// Nothing of one field gets into the other, either way.
    #[test]
    fn fields_do_not_mix() {
        for siting in [Siting::Left, Siting::Centre, Siting::TopLeft] {
            let format = PixelFormat {
                fields: true,
                ..format(Subsampling::S420, siting, 10)
            };
            for height in [1, 2, 3, 5, 18] {
                let mut picture = Planes16::new(8, height, format);
                picture.planes[0].fill(500);
                for plane in 1..3 {
                    for (row, codes) in picture.planes[plane].chunks_exact_mut(4).enumerate() {
                        codes.fill(if row % 2 == 0 { 400 } else { 600 });
                    }
                }
                let mut finer = Planes16::new(
                    8,
                    height,
                    PixelFormat {
                        subsampling: Subsampling::S422,
                        ..format
                    },
                );
                finer.fill_from_native(&picture.as_native());
                for (row, codes) in finer.planes[1].chunks_exact(4).enumerate() {
                    // A picture of one row of chroma has none for its second field.
                    let due = if row % 2 == 0 || height < 3 { 400 } else { 600 };
                    assert!(codes.iter().all(|code| *code == due), "{height} {row}");
                }
                let mut back = Planes16::new(8, height, format);
                let rgb = finer.as_native().rgb_region(Region::whole(8, height));
                back.fill_from_rgb(&rgb);
                assert_eq!(back.planes, picture.planes, "{siting:?} {height}");
            }
        }
    }
}
