//! Which pixels of a frame are read for a person: the same rule for `before`, `after` and `proof`.

use inkarnat_color::Rgb;
use inkarnat_color::picture::Native;
use inkarnat_reading::{Chosen, ClipRule, Patch, PatchPixels, Pose, choose, patch_pixels};

/// The patch that is read in a frame: among the held ones, that whose drawn frame is nearest (the
/// earlier one of two equally near).
pub(crate) fn held_patch<'a>(
    frame: u64,
    patches: &'a [Patch],
    poses: &[Pose],
    width: usize,
    height: usize,
) -> Option<(&'a Patch, PatchPixels)> {
    let (patch, pose) = patches
        .iter()
        .zip(poses)
        .filter_map(|(patch, pose)| Some((patch, pose.held()?)))
        .min_by_key(|(patch, _)| (patch.frame.abs_diff(frame), patch.frame))?;
    Some((patch, patch_pixels(patch, pose, width, height)))
}

/// The source picture of a patch and the pixels chosen in it.
pub(crate) fn chosen_of(
    source: &Native<'_>,
    pixels: &PatchPixels,
    rule: ClipRule,
) -> (Rgb, Chosen) {
    let picture = source.rgb_region(pixels.region);
    let chosen = choose(&picture, pixels, rule);
    (picture, chosen)
}
