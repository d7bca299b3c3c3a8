//! From a stage to pictures: spectra through lights and a camera, exposure, noise, encoding, codes.

use inkarnat_color::picture::{Model, PixelFormat, Planes16, Siting, Subsampling};
use inkarnat_color::transfer::bt709_oetf;
use inkarnat_color::{Coefficients, Levels, Rgb};
use inkarnat_spectra::spectrum::Spectrum;
use inkarnat_spectra::{Camera, Illuminant, Random};

use crate::stage::{Region, Stage};

/// Linear BT.709 of every surface of a stage in each of its two lights, as one camera at one exposure sees it.
#[derive(Debug, Clone, PartialEq)]
pub struct Palette {
    key: Vec<[f64; 3]>,
    fill: Vec<[f64; 3]>,
    key_white: [f64; 3],
}

impl Palette {
    /// `exposure` is a factor on light: 1 puts an 18 % grey under D65 at 41 %.
    #[must_use]
    pub fn new(
        reflectances: &[Spectrum],
        camera: &Camera,
        (key, fill): (&Illuminant, &Illuminant),
        exposure: f64,
    ) -> Self {
        let colours = |light: &Illuminant| {
            let response = camera.in_light(light);
            let scaled = move |r: &Spectrum| response.linear_rgb(r).map(|v| v * exposure);
            let white = scaled(&Spectrum::flat(1.0));
            (reflectances.iter().map(scaled).collect::<Vec<_>>(), white)
        };
        let (key, key_white) = colours(key);
        let (fill, _) = colours(fill);
        Self {
            key,
            fill,
            key_white,
        }
    }
}

/// A picture in linear light, and what each of its pixels shows.
#[derive(Debug, Clone, PartialEq)]
pub struct Linear {
    /// Columns.
    pub width: usize,
    /// Rows.
    pub height: usize,
    /// R, G, B for each pixel, row by row; negative values and values above 1 kept.
    pub pixels: Vec<[f32; 3]>,
}

/// Draws a stage with several palettes at once, so that picture and truth are the same to the last pixel.
#[must_use]
pub fn draw(
    stage: &Stage,
    palettes: &[Palette],
    width: usize,
    height: usize,
) -> (Vec<Linear>, Vec<Region>) {
    let mut pictures = vec![
        Linear {
            width,
            height,
            pixels: vec![[0.0; 3]; width * height],
        };
        palettes.len()
    ];
    let mut regions = vec![Region::Other; width * height];
    stage.trace(width, height, |index, region, layers| {
        regions[index] = region;
        for (palette, picture) in palettes.iter().zip(&mut pictures) {
            let mut colour = [0.0; 3];
            for layer in layers {
                for (c, value) in colour.iter_mut().enumerate() {
                    let mut here = layer.gloss * palette.key_white[c];
                    for (m, weight) in layer.materials.iter().zip(layer.weights) {
                        if weight != 0.0 {
                            here += weight
                                * (layer.key * palette.key[*m][c]
                                    + layer.fill * palette.fill[*m][c]);
                        }
                    }
                    *value += layer.coverage * (here - *value);
                }
            }
            picture.pixels[index] = colour.map(|v| v as f32);
        }
    });
    (pictures, regions)
}

/// Sensor noise, as a fraction of the linear signal of a perfect white.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Noise {
    /// Standard deviation at black.
    pub read: f64,
    /// Variance per unit of signal.
    pub shot: f64,
}

impl Noise {
    /// None at all.
    pub const NONE: Self = Self {
        read: 0.0,
        shot: 0.0,
    };
    /// A clean sensor in good light.
    pub const LOW: Self = Self {
        read: 0.001,
        shot: 0.000_04,
    };
    /// A small sensor in poor light.
    pub const HIGH: Self = Self {
        read: 0.003,
        shot: 0.000_3,
    };
}

/// Adds noise, encodes by the BT.709 OETF and clips where a camera does: at black 0 − 7 % and at 109 %.
#[must_use]
pub fn expose(linear: &Linear, noise: Noise, seed: u64) -> Rgb {
    let mut random = Random::new(seed, 23);
    let mut picture = Rgb::new(linear.width, linear.height);
    for (index, pixel) in linear.pixels.iter().enumerate() {
        let signal = pixel.map(|v| {
            let v = f64::from(v);
            let sd = (noise.read * noise.read + noise.shot * v.max(0.0)).sqrt();
            let noisy = if sd > 0.0 {
                v + sd * random.normal()
            } else {
                v
            };
            // The sensor's own full well: a window is white, whatever its light.
            bt709_oetf(noisy.min(1.21)).clamp(-0.07, 1.09) as f32
        });
        picture.set_pixel(index, signal);
    }
    picture
}

/// Encodes without noise and clipping: the truth.
#[must_use]
pub fn encode(linear: &Linear) -> Rgb {
    let mut picture = Rgb::new(linear.width, linear.height);
    for (index, pixel) in linear.pixels.iter().enumerate() {
        picture.set_pixel(index, pixel.map(|v| bt709_oetf(f64::from(v)) as f32));
    }
    picture
}

/// BT.709 Y'CbCr, narrow range, chroma on the left column.
#[must_use]
pub fn video_format(subsampling: Subsampling, depth: u8) -> PixelFormat {
    PixelFormat {
        model: Model::Ycbcr(Coefficients::Bt709),
        subsampling,
        siting: Siting::Left,
        depth,
        levels: Levels::Narrow,
        fields: false,
    }
}

/// Integer codes of a picture.
#[must_use]
pub fn quantise(picture: &Rgb, subsampling: Subsampling, depth: u8) -> Planes16 {
    let mut planes = Planes16::new(
        picture.width,
        picture.height,
        video_format(subsampling, depth),
    );
    planes.fill_from_rgb(picture);
    planes
}
