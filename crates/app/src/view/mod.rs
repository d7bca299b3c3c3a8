//! What the page shows, as plain data with a schema: the whole film in short, and one shot in full.
//!
//! The numbers are those of [`crate::show`]; here they are put together for drawing.

mod overview;
pub mod pictures;
pub(crate) mod shot;
mod tried;

pub use crate::show::cost_of as cost_report;
pub use overview::{FilmPerson, Overview, OverviewShot, PersonPoint, Point, overview};
pub use shot::{
    FaceView, OutlineShape, PatchView, PersonSeries, Series, ShotView, SkinPixels, shot_view,
};
pub use tried::{AimTried, AimTriedShot, OtherMoved, TRIED_SHOTS, TriedFix, try_aim};
