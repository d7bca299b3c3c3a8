//! The look that follows the fix.
//!
//! A look changes what is seen and nothing of what the fix is made for: light, neutrals, clipping and every cost are judged
//! on the signal that goes into it. Aims are for what comes out of it.

use inkarnat_color::lab::LabConverter;
use inkarnat_color::{Percent, WorkingSpace};
use inkarnat_ops::{Chain, Op};

use crate::aim::AimCentre;
use crate::sample::{signal_of, trimmed_means, value_of};
use crate::solution::SkinValue;

/// A look made ready.
#[derive(Clone, Debug)]
pub struct Look(Option<Chain>);

impl Look {
    /// Of operations in order; none: what is seen is the signal itself.
    #[must_use]
    pub fn new(ops: &[Op]) -> Self {
        let changes = ops.iter().any(|op| !op.is_identity());
        Self(changes.then(|| Chain {
            look: ops.to_vec(),
            ..Chain::default()
        }))
    }

    /// Whether it changes something.
    #[must_use]
    pub const fn is_some(&self) -> bool {
        self.0.is_some()
    }

    /// Pixels seen through it; `None` where it changes nothing.
    #[must_use]
    pub fn through(&self, pixels: &[[f64; 3]]) -> Option<Vec<[f64; 3]>> {
        let chain = self.0.as_ref()?;
        Some(pixels.iter().map(|p| chain.apply_pixel(*p)).collect())
    }

    /// What skin that reads `value` reads through it, judged by pixels of that skin: the mean of what is seen is not what is
    /// seen of the mean. Without pixels, the mean itself is taken.
    #[must_use]
    pub fn reading(
        &self,
        value: &SkinValue,
        pixels: &[[f64; 3]],
        space: WorkingSpace,
    ) -> SkinValue {
        let Some(chain) = &self.0 else {
            return *value;
        };
        let lab = LabConverter::new(space);
        let at = |signal: [f64; 3]| space.coefficients.ycbcr_from_rgb(chain.apply_pixel(signal));
        let mut mean = at(signal_of(value, space));
        if let Some(seen) = self.through(pixels).filter(|seen| !seen.is_empty()) {
            let all = trimmed_means(&seen, space);
            let middle = trimmed_means(pixels, space);
            let of_middle = at(space.coefficients.rgb_from_ycbcr(middle));
            mean.y += all.y - of_middle.y;
            mean.cb += all.cb - of_middle.cb;
            mean.cr += all.cr - of_middle.cr;
        }
        value_of(mean, space, &lab)
    }

    /// The centre of an aim seen through it.
    pub(crate) fn centre(&self, centre: &AimCentre, space: WorkingSpace) -> AimCentre {
        let Some(chain) = &self.0 else {
            return *centre;
        };
        let seen = space
            .coefficients
            .ycbcr_from_rgb(chain.apply_pixel(centre.signal(space)));
        AimCentre::new(
            Percent::from_signal(seen.y),
            seen.chroma().hue(),
            seen.chroma().magnitude(),
            space,
        )
    }

    /// The level before it at which a colour is seen at `wanted`: the nearest there is, where it never comes out so.
    pub(crate) fn level_for(
        &self,
        wanted: Percent,
        seen_at: impl Fn(Percent) -> Percent,
    ) -> Percent {
        const STEPS: u32 = 200;
        if self.0.is_none() {
            return wanted;
        }
        let level = |step: f64| Percent(0.5 + 110.0 * step / f64::from(STEPS));
        let off = |step: f64| seen_at(level(step)).0 - wanted.0;
        // The first crossing from below; a look need not rise throughout.
        let crossing =
            (0..STEPS).find(|i| off(f64::from(*i)) <= 0.0 && off(f64::from(*i + 1)) >= 0.0);
        let Some(crossing) = crossing else {
            let nearest = (0..=STEPS)
                .min_by(|a, b| {
                    off(f64::from(*a))
                        .abs()
                        .total_cmp(&off(f64::from(*b)).abs())
                })
                .unwrap_or(0);
            return level(f64::from(nearest));
        };
        let (mut low, mut high) = (f64::from(crossing), f64::from(crossing + 1));
        for _ in 0..40 {
            let middle = (low + high) / 2.0;
            if off(middle) <= 0.0 {
                low = middle;
            } else {
                high = middle;
            }
        }
        level((low + high) / 2.0)
    }
}
