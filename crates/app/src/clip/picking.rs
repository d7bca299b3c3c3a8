//! Which pixels of a frame are read for a person: the same rule for `before`, `after` and `proof`.

use crate::job::KnownFace;
use inkarnat_color::picture::Native;
use inkarnat_color::{Coefficients, Region, Rgb};
use inkarnat_people::{FaceSkin, Frame, NoSkin, Outline, Side, SkinRule, choose_skin, skin_region};
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

/// The source picture of a patch and the pixels chosen in it, outside the parts of the picture that
/// are none.
pub(crate) fn chosen_of(
    source: &Native<'_>,
    pixels: &PatchPixels,
    rule: ClipRule,
    no_picture: &[Region],
) -> (Rgb, Chosen) {
    let picture = source.rgb_region(pixels.region);
    let chosen = choose(&picture, &pixels.outside(no_picture), rule);
    (picture, chosen)
}

/// How skin is chosen in a face.
pub(crate) fn skin_rule(clip: ClipRule, coefficients: Coefficients) -> SkinRule {
    SkinRule { clip, coefficients }
}

/// The source picture of a face's skin on its key side, and the pixels chosen in it.
pub(crate) fn skin_of_face(
    source: &Native<'_>,
    outline: &Outline,
    side: Side,
    rule: &SkinRule,
    no_picture: &[Region],
) -> Result<(Rgb, FaceSkin), NoSkin> {
    let (picture, region) = face_picture(source, outline)?;
    let skin = choose_skin(&picture, region, outline, side, rule, no_picture)?;
    Ok((part_of(&picture, region, skin.chosen.region), skin))
}

/// The picture of a face's skin, and the part of the source that it is of.
pub(crate) fn face_picture(
    source: &Native<'_>,
    outline: &Outline,
) -> Result<(Rgb, Region), NoSkin> {
    let region = skin_region(outline, source.width, source.height).ok_or(NoSkin::OutOfSight)?;
    Ok((source.rgb_region(region), region))
}

/// A smaller part of the source out of a picture of `region` of it.
pub(crate) fn part_of(picture: &Rgb, region: Region, part: Region) -> Rgb {
    picture.region(Region {
        x: part.x - region.x,
        y: part.y - region.y,
        ..part
    })
}

/// The face of a person that is read in a frame: the first of those that are held there.
pub(crate) fn held_face(frame: u64, faces: &[KnownFace]) -> Option<(&Outline, Side)> {
    faces.iter().find_map(|face| {
        let key = face.light.as_ref()?.key;
        Some((face.track.at(frame)?, key))
    })
}
