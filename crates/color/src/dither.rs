//! Fewer bits without steps: noise of one code before codes are cut.

use crate::picture::Planes16;

/// Brings a narrow-range picture to a lower depth. Each code is cut after an even noise of up to one
/// code of the result is added: on average nothing moves, a code that the lower depth has exactly
/// stays, and slow ramps do not break into steps. The same `frame` gives the same noise.
///
/// # Panics
/// If sizes, sampling or levels differ, or the result has more bits.
pub fn dither(from: &Planes16, to: &mut Planes16, frame: u64) {
    assert!(
        (from.width, from.height) == (to.width, to.height)
            && from.format.subsampling == to.format.subsampling
            && from.format.levels == to.format.levels
            && from.format.depth >= to.format.depth,
        "pictures of different kinds"
    );
    let shift = u32::from(from.format.depth - to.format.depth);
    let mask = (1_u64 << shift) - 1;
    let (low, high) = to.format.levels.code_limits(to.format.depth);
    for (index, (from, to)) in from.planes.iter().zip(&mut to.planes).enumerate() {
        // Sixteen bits of noise for each of four samples, from one mixed counter.
        let seed = mixed(frame.wrapping_mul(3).wrapping_add(index as u64));
        for (block, (from, to)) in from.chunks(4).zip(to.chunks_mut(4)).enumerate() {
            let mut noise = mixed(seed ^ block as u64);
            for (from, to) in from.iter().zip(to) {
                let code = (u32::from(*from) + (noise & mask) as u32) >> shift;
                noise >>= 16;
                *to = (code as u16).clamp(low, high);
            }
        }
    }
}

/// A well-mixed number of a counter (the finaliser of SplitMix64, Steele, Lea and Flood 2014; from
/// memory).
fn mixed(counter: u64) -> u64 {
    let mut z = counter.wrapping_add(0x9e37_79b9_7f4a_7c15);
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    z ^ (z >> 31)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::picture::{Model, PixelFormat, Siting, Subsampling};
    use crate::{Coefficients, Levels};

    fn picture(depth: u8) -> Planes16 {
        let format = PixelFormat {
            model: Model::Ycbcr(Coefficients::Bt709),
            subsampling: Subsampling::S420,
            siting: Siting::Left,
            depth,
            levels: Levels::Narrow,
            fields: false,
        };
        Planes16::new(256, 64, format)
    }

    #[test]
    fn exact_codes_stay_and_the_mean_of_others_too() {
        let (mut fine, mut coarse) = (picture(16), picture(8));
        for (x, code) in fine.planes[0].iter_mut().enumerate() {
            *code = 256 * (16 + (x % 220) as u16);
        }
        for plane in &mut fine.planes[1..] {
            plane.fill(128 * 256 + 77);
        }
        dither(&fine, &mut coarse, 5);
        for (fine, coarse) in fine.planes[0].iter().zip(&coarse.planes[0]) {
            assert_eq!(*fine, 256 * coarse);
        }
        for plane in &coarse.planes[1..] {
            let mean = plane.iter().map(|c| f64::from(*c)).sum::<f64>() / plane.len() as f64;
            // Standard error of a share of 0.3 in 4096 samples: 0.007.
            assert!((mean - (128.0 + 77.0 / 256.0)).abs() < 0.03, "{mean}");
            assert!(plane.iter().all(|c| (128..=129).contains(c)));
        }
        assert_ne!(coarse.planes[1], coarse.planes[2]);
        let mut again = picture(8);
        dither(&fine, &mut again, 5);
        assert_eq!(again, coarse);
        dither(&fine, &mut again, 6);
        assert_ne!(again, coarse);
    }

    #[test]
    fn limits_hold() {
        let (mut fine, mut coarse) = (picture(16), picture(8));
        for plane in &mut fine.planes {
            plane.fill(65_279);
        }
        dither(&fine, &mut coarse, 0);
        assert!(coarse.planes.iter().flatten().all(|c| *c == 254));
    }
}
