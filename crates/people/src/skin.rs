//! The skin of a face that is read, chosen once, on the source.
//!
//! Regions are fixed in the face (forehead, and of the key side the cheek and the flank of the
//! nose; what of a cheek lies above the rim of spectacles is left out). In them a pixel counts when
//! it is not clipped, when its colour fits a robust model of this face's own chroma, when it is
//! neither a specular nor in deep shadow beside this face's own median, and when its luma lies between the 50th and the 90th percentile of what is left of its
//! region. Everything but clipping is judged on a smoothed picture: judged on noise, the brighter
//! half of the noise would be chosen with the brighter half of the skin.

use crate::outline::{Outline, Part, Side, bounds, fill};
use crate::picture::shrunk_by;
use crate::rim::above_rim;
use crate::smooth::smooth;
use inkarnat_color::{Coefficients, Region, Rgb, Ycbcr};
use inkarnat_reading::{Chosen, ClipRule, Patch};
use serde::{Deserialize, Serialize};

/// Standard deviation of the smoothing, as a share of the face's width.
const SMOOTHING: f64 = 1.0 / 40.0;
/// The least smoothing in pixels.
const LEAST_SMOOTHING: f64 = 1.5;
/// Luma percentiles of a region between which its pixels are read.
const BAND: [f64; 2] = [0.5, 0.9];
/// Mahalanobis distance within which a colour is this face's.
const FITS: f64 = 3.0;
/// How far the colour of a forehead may lie from that of cheek and nose: cheeks are redder, by up to
/// about 0.1 in ln R'/G' on the packaged faces; hair differs in the second.
const AGREES: [f64; 2] = [0.12, 0.1];
/// ln B'/G' of most faces in white light. Where a warm light leaves less, the same difference between the signals is more of its
/// logarithm, up to this factor.
const USUAL_BLUE: f64 = -0.3;
const MOST_WIDER: f64 = 3.0;
/// The smallest share of a region that has to fit; hair or a hat covers more of it otherwise.
const LEAST_PART: f64 = 0.3;
/// How much a region has to face the camera, of its usual area.
const LEAST_FACING: f64 = 0.4;

/// What choosing needs to know of the source.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct SkinRule {
    /// When a pixel counts as clipped.
    pub clip: ClipRule,
    /// Luma weights of the working space.
    pub coefficients: Coefficients,
}

impl Default for SkinRule {
    fn default() -> Self {
        Self {
            clip: ClipRule::default(),
            coefficients: Coefficients::Bt709,
        }
    }
}

/// Why no skin could be chosen in a face.
#[derive(Clone, Copy, Debug, PartialEq, thiserror::Error, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "why")]
pub enum NoSkin {
    /// The outline is of another version or not of numbers.
    #[error("the outline of the face cannot be read; find the faces of this shot again")]
    Outline,
    /// The regions lie outside the picture, or the face is turned away.
    #[error("the face shows none of its forehead, cheek and nose here")]
    OutOfSight,
    /// The picture is not of the region that was asked for.
    #[error("the picture of the face has another size than was asked for; decode it again")]
    PictureSize,
    /// Too little of the regions has one colour.
    #[error(
        "only {:.0} % of the forehead, cheek and nose show skin of one colour that is not clipped; draw a patch",
        coverage * 100.0
    )]
    Covered {
        /// Share of the regions that fits, 0–1.
        coverage: f64,
    },
    /// Fewer pixels than a reading needs.
    #[error("only {found} pixels of skin, expected at least {needed}; the face is too small to be read", needed = Patch::MIN_PIXELS)]
    TooSmall {
        /// Pixels found.
        found: usize,
    },
}

/// The colour of one face's skin: (ln R'/G', ln B'/G') as a normal distribution. The ratio of two
/// signals does not change with exposure where the signal is a power of light.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct ChromaModel {
    /// Mean of the two.
    pub mean: [f64; 2],
    /// Variance of the first, covariance, variance of the second.
    pub covariance: [f64; 3],
}

impl ChromaModel {
    /// A floor for the standard deviations: an even patch still varies by blood and coding.
    const FLOOR: f64 = 0.012;

    /// Median and MAD pick the seed, then mean and covariance of what lies near, three times.
    fn fit(colours: &[[f64; 2]]) -> Option<Self> {
        if colours.len() < 16 {
            return None;
        }
        let centre: [f64; 2] = [0, 1].map(|axis| median(colours.iter().map(|c| c[axis])));
        let spread: [f64; 2] = [0, 1]
            .map(|axis| 1.4826 * median(colours.iter().map(|c| (c[axis] - centre[axis]).abs())));
        // Half the sample lies within the MAD: a spread wider than any even skin shows means that
        // other things are in the regions, and the seed is held to what skin can be.
        let reach = spread.map(|s| 2.5 * s.clamp(Self::FLOOR, 0.06));
        let near: Vec<[f64; 2]> = colours
            .iter()
            .copied()
            .filter(|c| (0..2).all(|axis| (c[axis] - centre[axis]).abs() < reach[axis]))
            .collect();
        let mut model = Self::of(&near)?;
        for _ in 0..3 {
            let near: Vec<[f64; 2]> = colours
                .iter()
                .copied()
                .filter(|c| model.distance(*c) < 2.5)
                .collect();
            model = Self::of(&near).unwrap_or(model);
        }
        Some(model)
    }

    fn of(colours: &[[f64; 2]]) -> Option<Self> {
        if colours.len() < 8 {
            return None;
        }
        let count = colours.len() as f64;
        let mean = [0, 1].map(|axis| colours.iter().map(|c| c[axis]).sum::<f64>() / count);
        let product = |a: usize, b: usize| {
            colours
                .iter()
                .map(|c| (c[a] - mean[a]) * (c[b] - mean[b]))
                .sum::<f64>()
                / count
        };
        let floor = Self::FLOOR * Self::FLOOR;
        Some(Self {
            mean,
            covariance: [product(0, 0) + floor, product(0, 1), product(1, 1) + floor],
        })
    }

    /// Mahalanobis distance of a colour.
    #[must_use]
    pub fn distance(&self, colour: [f64; 2]) -> f64 {
        let [xx, xy, yy] = self.covariance;
        let [x, y] = [colour[0] - self.mean[0], colour[1] - self.mean[1]];
        let determinant = xx * yy - xy * xy;
        ((yy * x * x - 2.0 * xy * x * y + xx * y * y) / determinant)
            .max(0.0)
            .sqrt()
    }
}

/// Skin that was chosen in a face.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct FaceSkin {
    /// The pixels: they serve `before`, `after` and `proof`.
    pub chosen: Chosen,
    /// The parts they come from.
    pub parts: Vec<Part>,
    /// Share of the regions in sight that is unclipped skin of one colour, 0–1.
    pub coverage: f64,
    /// 0–1: coverage times the share of the regions in sight. A rule of weight, not a probability.
    pub confidence: f64,
    /// The colour that was found.
    pub model: ChromaModel,
}

/// One side of the face in one frame: its cheek by the same rule, alone.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct SideLight {
    /// Mean of the smoothed signal over the chosen pixels.
    pub mean: Ycbcr,
    /// Pixels.
    pub pixels: u32,
    /// How much the cheek faces the camera, of its usual area.
    pub facing: f64,
}

/// Both sides of the face in one frame; `None` for one that is hidden, covered or clipped.
#[derive(Clone, Copy, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct SideLights {
    /// The person's right.
    pub right: Option<SideLight>,
    /// The person's left.
    pub left: Option<SideLight>,
}

impl SideLights {
    /// One of them.
    #[must_use]
    pub fn of(&self, side: Side) -> Option<&SideLight> {
        match side {
            Side::Right => self.right.as_ref(),
            Side::Left => self.left.as_ref(),
        }
    }
}

/// The rectangle of the picture that [`choose_skin`] and [`side_lights`] look at; `None` where none
/// of the regions lies in the picture.
#[must_use]
pub fn skin_region(outline: &Outline, width: usize, height: usize) -> Option<Region> {
    if !outline.is_whole() {
        return None;
    }
    let all: Vec<[f64; 2]> = Part::ALL
        .iter()
        .flat_map(|part| outline.part(*part))
        .collect();
    let margin = 3.0 * sigma(outline.width);
    let [left, top, right, bottom] = bounds(&all);
    let start = |v: f64, limit: usize| (v - margin).floor().clamp(0.0, limit as f64) as usize;
    let end = |v: f64, limit: usize| (v + margin).ceil().clamp(0.0, limit as f64) as usize;
    let (x, y) = (start(left, width), start(top, height));
    let (right, bottom) = (end(right, width), end(bottom, height));
    (right > x && bottom > y).then(|| Region {
        x,
        y,
        width: right - x,
        height: bottom - y,
    })
}

fn sigma(width: f64) -> f64 {
    (SMOOTHING * width).max(LEAST_SMOOTHING)
}

/// A face's picture in blocks, smoothed, with what every block is. Blocks are squares of pixels of at
/// most half the smoothing: finer ones would say the same at many times the cost.
struct Looked<'a> {
    picture: &'a Rgb,
    region: Region,
    /// Pixels along a side of a block, and blocks across and down.
    side: usize,
    size: [usize; 2],
    smoothed: [Vec<f32>; 3],
    rule: &'a SkinRule,
    left_out: Vec<bool>,
}

/// What is read of several regions.
struct Read {
    chosen: Chosen,
    parts: Vec<Part>,
    coverage: f64,
    model: ChromaModel,
}

impl<'a> Looked<'a> {
    fn of_face(
        picture: &'a Rgb,
        region: Region,
        outline: &Outline,
        rule: &'a SkinRule,
        no_picture: &[Region],
    ) -> Result<Self, NoSkin> {
        if !outline.is_whole() {
            return Err(NoSkin::Outline);
        }
        let sigma = sigma(outline.width);
        let mut looked = Self::new(picture, region, sigma, rule)?;
        let mut left_out = std::mem::take(&mut looked.left_out);
        for hull in outline.left_out() {
            looked.fill(&hull, |i| left_out[i] = true);
        }
        for side in Side::BOTH {
            let above = above_rim(
                (picture, region),
                rule.coefficients,
                &outline.part(Part::Cheek(side)),
                outline.eye(side),
                outline.width,
                sigma,
            );
            if let Some(above) = above {
                looked.fill(&above, |i| left_out[i] = true);
            }
        }
        for part in no_picture {
            // Smoothing carries what stands there beyond its edge.
            let (left, top) = (part.x as f64 - sigma, part.y as f64 - sigma);
            let right = (part.x + part.width) as f64 - 1.0 + sigma;
            let bottom = (part.y + part.height) as f64 - 1.0 + sigma;
            let hull = [[left, top], [right, top], [right, bottom], [left, bottom]];
            looked.fill(&hull, |i| left_out[i] = true);
        }
        looked.left_out = left_out;
        Ok(looked)
    }

    fn new(
        picture: &'a Rgb,
        region: Region,
        sigma: f64,
        rule: &'a SkinRule,
    ) -> Result<Self, NoSkin> {
        if picture.width != region.width
            || picture.height != region.height
            || picture.planes.iter().any(|p| p.len() != region.area())
        {
            return Err(NoSkin::PictureSize);
        }
        let side = ((sigma / 2.0) as usize)
            .min(region.width.min(region.height))
            .max(1);
        let small = shrunk_by(picture, side);
        let size = [small.width, small.height];
        let sigma = sigma / side as f64;
        let smoothed = std::array::from_fn(|c| smooth(&small.planes[c], size[0], size[1], sigma));
        Ok(Self {
            picture,
            region,
            side,
            size,
            smoothed,
            rule,
            left_out: vec![false; size[0] * size[1]],
        })
    }

    /// The blocks whose middles lie inside a polygon of the picture.
    fn fill(&self, polygon: &[[f64; 2]], mark: impl FnMut(usize)) {
        let (side, corner) = (self.side as f64, [self.region.x, self.region.y]);
        let inside: Vec<[f64; 2]> = polygon
            .iter()
            .map(|at| [0, 1].map(|k| (at[k] - corner[k] as f64 + 0.5) / side - 0.5))
            .collect();
        fill(&inside, [0, 0], self.size, mark);
    }

    /// The pixels of a block, row-major in the region.
    fn pixels_of(&self, block: u32) -> impl Iterator<Item = usize> {
        let (across, side, width) = (self.size[0], self.side, self.region.width);
        let (x, y) = (
            block as usize % across * side,
            block as usize / across * side,
        );
        (y..y + side).flat_map(move |y| (x..x + side).map(move |x| y * width + x))
    }

    /// The blocks of a region: how many are in sight, and those of them that hold no clipped pixel.
    fn pixels(&self, part: Part, polygon: &[[f64; 2]]) -> Option<PartPixels> {
        let mut blocks = Vec::new();
        self.fill(polygon, |index| {
            if !self.left_out[index] {
                blocks.push(index as u32);
            }
        });
        self.part(part, blocks)
    }

    fn part(&self, part: Part, blocks: Vec<u32>) -> Option<PartPixels> {
        let all = blocks.len();
        let mut clipped = 0;
        let open: Vec<u32> = blocks
            .into_iter()
            .filter(|&block| {
                let own = self
                    .pixels_of(block)
                    .filter(|&i| self.rule.clip.is_clipped(self.picture.pixel(i)))
                    .count();
                clipped += own;
                own == 0
            })
            .collect();
        (all > 0).then_some(PartPixels {
            part,
            all,
            clipped,
            open,
        })
    }

    fn signal(&self, index: u32) -> [f64; 3] {
        [0, 1, 2].map(|c| f64::from(self.smoothed[c][index as usize]))
    }

    fn colour(&self, index: u32) -> [f64; 2] {
        // One 8-bit code: below it a ratio of signals says nothing.
        let [r, g, b] = self.signal(index).map(|v| v.max(1.0 / 219.0).ln());
        [r - g, b - g]
    }

    fn luma(&self, index: u32) -> f64 {
        self.rule.coefficients.luma(self.signal(index))
    }

    /// The chroma model of several parts, each with the same weight.
    fn model(&self, parts: &[&PartPixels]) -> Option<ChromaModel> {
        const EACH: usize = 400;
        let colours: Vec<[f64; 2]> = parts
            .iter()
            .flat_map(|part| {
                let count = part.open.len().min(EACH);
                (0..count).map(move |k| self.colour(part.open[k * part.open.len() / count]))
            })
            .collect();
        ChromaModel::fit(&colours)
    }

    /// Chooses in several regions.
    fn read(&self, parts: &[PartPixels]) -> Result<Read, NoSkin> {
        let all: usize = parts.iter().map(|part| part.all).sum();
        if all == 0 {
            return Err(NoSkin::OutOfSight);
        }
        let (model, fitting) = self
            .fitting(parts)
            .ok_or(NoSkin::Covered { coverage: 0.0 })?;
        let coverage = fitting.iter().map(Vec::len).sum::<usize>() as f64 / all as f64;
        let (mut pixels, mut named, mut clipped) = (Vec::new(), Vec::new(), 0);
        for (part, fitting) in parts.iter().zip(fitting) {
            if (fitting.len() as f64) < LEAST_PART * part.all as f64 {
                continue;
            }
            named.push(part.part);
            clipped += part.clipped;
            pixels.extend(band(fitting));
        }
        if named.is_empty() {
            return Err(NoSkin::Covered { coverage });
        }
        pixels.sort_unstable();
        pixels.dedup();
        let mut pixels: Vec<u32> = pixels
            .into_iter()
            .flat_map(|block| self.pixels_of(block).map(|i| i as u32))
            .collect();
        pixels.sort_unstable();
        if pixels.len() < Patch::MIN_PIXELS {
            return Err(NoSkin::TooSmall {
                found: pixels.len(),
            });
        }
        Ok(Read {
            chosen: tight(self.region, &pixels, clipped),
            parts: named,
            coverage,
            model,
        })
    }

    /// Chooses on the side that is read.
    fn side(&self, outline: &Outline, side: Side) -> Result<FaceSkin, NoSkin> {
        // A forehead is paler than the cheek below it: one without the other reads another colour and level.
        let covered = outline.covered();
        if [Part::Forehead, Part::Cheek(side)]
            .iter()
            .any(|part| covered.contains(part))
        {
            let area = |open: bool| -> f64 {
                let parts = Part::read(side).into_iter();
                parts
                    .filter(|part| !open || !covered.contains(part))
                    .map(Part::usual_area)
                    .sum()
            };
            return Err(NoSkin::Covered {
                coverage: area(true) / area(false),
            });
        }
        let parts: Vec<PartPixels> = Part::read(side)
            .into_iter()
            .filter(|part| outline.facing(*part) >= LEAST_FACING)
            .filter_map(|part| self.pixels(part, &outline.part(part)))
            .collect();
        let read = self.read(&parts)?;
        let in_sight = Part::read(side)
            .iter()
            .map(|part| outline.facing(*part).clamp(0.0, 1.0) * part.usual_area())
            .sum::<f64>()
            / Part::read(side)
                .iter()
                .map(|part| part.usual_area())
                .sum::<f64>();
        Ok(FaceSkin {
            chosen: read.chosen,
            parts: read.parts,
            coverage: read.coverage,
            confidence: read.coverage * in_sight,
            model: read.model,
        })
    }

    /// The light on both cheeks.
    fn lights(&self, outline: &Outline) -> SideLights {
        let one = |side: Side| {
            let cheek = Part::Cheek(side);
            if outline.facing(cheek) < LEAST_FACING {
                return None;
            }
            let part = self.pixels(cheek, &outline.part(cheek))?;
            let all = part.all;
            let parts = [part];
            let fitting = self.fitting(&parts)?.1.remove(0);
            // A cheek of a face that is read at all has 8 pixels in the band.
            if fitting.len() < 20 || (fitting.len() as f64) < LEAST_PART * all as f64 {
                return None;
            }
            let pixels = band(fitting);
            let sum = pixels.iter().fold([0.0; 3], |sum, &index| {
                let v = self.signal(index);
                [0, 1, 2].map(|c| sum[c] + v[c])
            });
            Some(SideLight {
                mean: self
                    .rule
                    .coefficients
                    .ycbcr_from_rgb(sum.map(|v| v / pixels.len() as f64)),
                pixels: (pixels.len() * self.side * self.side) as u32,
                facing: outline.facing(cheek),
            })
        };
        SideLights {
            right: one(Side::Right),
            left: one(Side::Left),
        }
    }

    /// What of the parts is skin of one face, neither specular nor in deep shadow.
    ///
    /// Cheek and nose lead: a fringe, a hat or a scarf can fill the forehead, and hair has the hue of
    /// skin often enough. The forehead is let in where it agrees with them, by its own chroma.
    fn fitting(&self, parts: &[PartPixels]) -> Option<(ChromaModel, Vec<Fitting>)> {
        let leads = |part: &&PartPixels| part.part != Part::Forehead && part.open.len() >= 12;
        let mut leading: Vec<&PartPixels> = parts.iter().filter(leads).collect();
        if leading.is_empty() {
            leading = parts.iter().collect();
        }
        let model = self.model(&leading)?;
        let log = |luma: f64| luma.max(1.0 / 219.0).ln();
        let logs: Vec<f64> = leading
            .iter()
            .flat_map(|part| &part.open)
            .filter(|&&index| model.distance(self.colour(index)) < FITS)
            .map(|&index| log(self.luma(index)))
            .collect();
        if logs.is_empty() {
            return None;
        }
        let middle = median(logs.iter().copied());
        let spread = 1.4826 * median(logs.iter().map(|v| (v - middle).abs()));
        // In the logarithm of the signal: about 0.87 stops of light up and 1.7 down at the least.
        let (high, low) = ((2.5 * spread).max(0.25), (4.0 * spread).max(0.5));
        let fitting = parts
            .iter()
            .map(|part| {
                let led =
                    part.part == Part::Forehead && leading.iter().all(|l| l.part != part.part);
                let lit = |index: u32, high: f64, low: f64| {
                    let luma = self.luma(index);
                    let v = log(luma) - middle;
                    (v < high && v > -low).then_some((index, luma))
                };
                if !led {
                    return part
                        .open
                        .iter()
                        .filter(|&&index| model.distance(self.colour(index)) < FITS)
                        .filter_map(|&index| lit(index, high, low))
                        .collect();
                }
                let wider = (USUAL_BLUE - model.mean[1]).exp().clamp(1.0, MOST_WIDER);
                let agrees = [AGREES[0], AGREES[1] * wider];
                let near: Vec<(u32, f64)> = part
                    .open
                    .iter()
                    .filter(|&&index| {
                        let colour = self.colour(index);
                        (0..2).all(|axis| (colour[axis] - model.mean[axis]).abs() < agrees[axis])
                    })
                    .filter_map(|&index| lit(index, 0.35, 0.35))
                    .collect();
                let colours: Vec<[f64; 2]> =
                    near.iter().map(|(index, _)| self.colour(*index)).collect();
                let Some(own) = ChromaModel::fit(&colours) else {
                    return Vec::new();
                };
                near.into_iter()
                    .filter(|(index, _)| own.distance(self.colour(*index)) < FITS)
                    .collect()
            })
            .collect();
        Some((model, fitting))
    }
}

/// Blocks of a part that are skin, each with its smoothed luma.
type Fitting = Vec<(u32, f64)>;

struct PartPixels {
    part: Part,
    all: usize,
    clipped: usize,
    open: Vec<u32>,
}

/// What of a part lies in the luma band.
fn band(mut pixels: Vec<(u32, f64)>) -> Vec<u32> {
    pixels.sort_by(|a, b| a.1.total_cmp(&b.1).then(a.0.cmp(&b.0)));
    let at = |share: f64| (share * pixels.len() as f64).round() as usize;
    let (first, end) = (at(BAND[0]), at(BAND[1]));
    pixels[first..end].iter().map(|(index, _)| *index).collect()
}

/// Chooses the skin of a face that is read.
///
/// `picture` is the working signal of `region`, which [`skin_region`] gave for this outline;
/// `no_picture` are parts of the whole picture that show something else (titles, mattes).
///
/// # Errors
/// [`NoSkin`] where nothing there can be read.
pub fn choose_skin(
    picture: &Rgb,
    region: Region,
    outline: &Outline,
    side: Side,
    rule: &SkinRule,
    no_picture: &[Region],
) -> Result<FaceSkin, NoSkin> {
    Looked::of_face(picture, region, outline, rule, no_picture)?.side(outline, side)
}

/// Both sides of a face in one frame: what [`choose_skin`] and [`side_lights`] give, at the price of
/// one smoothing.
#[derive(Clone, Debug, PartialEq)]
pub struct BothSides {
    /// The skin that is read when the person's right is the key side.
    pub right: Result<FaceSkin, NoSkin>,
    /// The same for the left.
    pub left: Result<FaceSkin, NoSkin>,
    /// The light on the cheeks.
    pub lights: SideLights,
}

impl BothSides {
    /// The skin of a side.
    pub fn of(&self, side: Side) -> &Result<FaceSkin, NoSkin> {
        match side {
            Side::Right => &self.right,
            Side::Left => &self.left,
        }
    }
}

/// Chooses the skin of both sides and reads their light, for a shot whose key side is not known yet.
/// `no_picture` as for [`choose_skin`].
///
/// # Errors
/// [`NoSkin::Outline`] and [`NoSkin::PictureSize`].
pub fn both_sides(
    picture: &Rgb,
    region: Region,
    outline: &Outline,
    rule: &SkinRule,
    no_picture: &[Region],
) -> Result<BothSides, NoSkin> {
    let looked = Looked::of_face(picture, region, outline, rule, no_picture)?;
    Ok(BothSides {
        right: looked.side(outline, Side::Right),
        left: looked.side(outline, Side::Left),
        lights: looked.lights(outline),
    })
}

/// The same rule in regions that are given, as by hand: what a finding is compared with. `inside`
/// says of the middle of a pixel (in pixels of the picture) whether it is skin of that part; `width`
/// is the face's width in pixels.
///
/// # Errors
/// As [`choose_skin`].
pub fn choose_skin_in(
    picture: &Rgb,
    region: Region,
    parts: &[Part],
    inside: impl Fn(Part, [f64; 2]) -> bool,
    width: f64,
    rule: &SkinRule,
) -> Result<Chosen, NoSkin> {
    let looked = Looked::new(picture, region, sigma(width), rule)?;
    let [across, down] = looked.size;
    let middle = (looked.side as f64 - 1.0) / 2.0;
    let parts: Vec<PartPixels> = parts
        .iter()
        .filter_map(|&part| {
            let blocks = (0..across * down)
                .filter(|i| {
                    let x = region.x + i % across * looked.side;
                    let y = region.y + i / across * looked.side;
                    inside(part, [x as f64 + middle, y as f64 + middle])
                })
                .map(|i| i as u32)
                .collect();
            looked.part(part, blocks)
        })
        .collect();
    Ok(looked.read(&parts)?.chosen)
}

/// The same pixels in the smallest rectangle that holds them.
fn tight(region: Region, pixels: &[u32], clipped: usize) -> Chosen {
    let place = |index: u32| (index as usize % region.width, index as usize / region.width);
    let (mut left, mut right) = (usize::MAX, 0);
    for &index in pixels {
        left = left.min(place(index).0);
        right = right.max(place(index).0 + 1);
    }
    let top = pixels.first().map_or(0, |i| place(*i).1);
    let bottom = pixels.last().map_or(0, |i| place(*i).1 + 1);
    let (left, width) = (left.min(right), right.saturating_sub(left));
    Chosen {
        region: Region {
            x: region.x + left,
            y: region.y + top,
            width,
            height: bottom - top,
        },
        pixels: pixels
            .iter()
            .map(|&index| {
                let (x, y) = place(index);
                ((y - top) * width + x - left) as u32
            })
            .collect(),
        clipped: clipped as u32,
    }
}

/// What the two cheeks read, each alone, each by its own chroma: for the choice of the key side, the
/// key-to-fill ratio and two lights on one face.
///
/// # Errors
/// [`NoSkin::Outline`] and [`NoSkin::PictureSize`]; a side that cannot be read is `None`.
pub fn side_lights(
    picture: &Rgb,
    region: Region,
    outline: &Outline,
    rule: &SkinRule,
) -> Result<SideLights, NoSkin> {
    Ok(Looked::of_face(picture, region, outline, rule, &[])?.lights(outline))
}

/// The median of a sample that is not empty; of an even count the upper of the two middle ones.
pub(crate) fn median(values: impl Iterator<Item = f64>) -> f64 {
    let mut values: Vec<f64> = values.collect();
    if values.is_empty() {
        return 0.0;
    }
    let middle = values.len() / 2;
    *values.select_nth_unstable_by(middle, f64::total_cmp).1
}
