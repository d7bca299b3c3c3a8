//! Facial expressions as mixtures of the open facial-action targets.

/// All face units used; checked on loading.
pub(crate) const FACE_UNITS: [&str; 22] = [
    "fu/mouthSmileLeft",
    "fu/mouthSmileRight",
    "fu/cheekSquintLeft",
    "fu/cheekSquintRight",
    "fu/jawOpen",
    "fu/mouthUpperUpLeft",
    "fu/mouthUpperUpRight",
    "fu/eyeBlinkLeft",
    "fu/eyeBlinkRight",
    "fu/eyeWideLeft",
    "fu/eyeWideRight",
    "fu/eyeSquintLeft",
    "fu/eyeSquintRight",
    "fu/browInnerUp",
    "fu/browDownLeft",
    "fu/browDownRight",
    "fu/mouthPucker",
    "fu/mouthFunnel",
    "fu/mouthFrownLeft",
    "fu/mouthFrownRight",
    "fu/mouthLowerDownLeft",
    "fu/mouthLowerDownRight",
];

/// What a face does in one frame. All 0 = at rest; 1 = strongly.
#[derive(Clone, Copy, Debug, Default, PartialEq)]
pub struct Expression {
    /// Smile with the cheeks.
    pub smile: f32,
    /// Mouth open (speech uses 0–0.6).
    pub open: f32,
    /// Lips rounded.
    pub round: f32,
    /// Eyes shut; 1 = closed.
    pub blink: f32,
    /// Eyes narrowed.
    pub squint: f32,
    /// Brows raised.
    pub brow_up: f32,
    /// Brows drawn together.
    pub frown: f32,
}

impl Expression {
    /// Targets and weights of this expression (`*` = both sides).
    pub(crate) fn units(&self) -> Vec<(&'static str, f32)> {
        let open = self.open.clamp(0.0, 1.0);
        vec![
            ("fu/mouthSmile*", 0.55 * self.smile),
            ("fu/cheekSquint*", 0.30 * self.smile),
            ("fu/jawOpen", self.jaw()),
            ("fu/mouthUpperUp*", 0.35 * open),
            ("fu/mouthLowerDown*", 0.15 * open),
            ("fu/mouthFunnel", 0.35 * self.round),
            ("fu/mouthPucker", 0.25 * self.round),
            ("fu/eyeBlink*", self.blink.clamp(0.0, 1.0)),
            ("fu/eyeSquint*", 0.5 * self.squint),
            ("fu/browInnerUp", 0.6 * self.brow_up),
            ("fu/browDown*", 0.6 * self.frown),
        ]
    }

    /// Weight of the jaw target.
    pub(crate) fn jaw(&self) -> f32 {
        0.34 * self.open.clamp(0.0, 1.0)
    }
}
