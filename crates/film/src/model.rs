//! What a film consists of.

use inkarnat_color::WorkingSpace;
use serde::{Deserialize, Serialize};
use serde_json::Value;
use std::path::PathBuf;

macro_rules! id {
    ($(#[$doc:meta])* $name:ident) => {
        $(#[$doc])*
        #[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
        #[serde(transparent)]
        pub struct $name(pub i64);

        impl rusqlite::ToSql for $name {
            fn to_sql(&self) -> rusqlite::Result<rusqlite::types::ToSqlOutput<'_>> {
                self.0.to_sql()
            }
        }

        impl rusqlite::types::FromSql for $name {
            fn column_result(
                value: rusqlite::types::ValueRef<'_>,
            ) -> rusqlite::types::FromSqlResult<Self> {
                i64::column_result(value).map(Self)
            }
        }
    };
}

id! {
    /// A source clip.
    SourceId
}
id! {
    /// A shot.
    ShotId
}
id! {
    /// A setup.
    SetupId
}
id! {
    /// A scene.
    SceneId
}
id! {
    /// A person.
    PersonId
}
id! {
    /// A patch.
    PatchId
}

id! {
    /// A face that was found and followed through a shot.
    FaceId
}

id! {
    /// A decision of the editor's.
    DecisionId
}

/// A source clip as it was taken in.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Source {
    /// Its number.
    pub id: SourceId,
    /// The path as it was given.
    pub path: PathBuf,
    /// The same path from the root of the file system.
    pub absolute: PathBuf,
    /// What the file was when it was taken in.
    pub fingerprint: crate::Fingerprint,
    /// What was found out about the clip, as the media crate says it.
    pub probe: Value,
    /// Frames, counted.
    pub frames: u64,
    /// What was seen in it as a finished picture (cuts, bars, mattes, titles), in the form of the
    /// app crate; null where nobody looked.
    pub seen: Value,
}

/// A source clip about to be taken in.
#[derive(Clone, Debug)]
pub struct NewSource {
    /// The path as it was given.
    pub path: PathBuf,
    /// The same path from the root of the file system.
    pub absolute: PathBuf,
    /// What the file is.
    pub fingerprint: crate::Fingerprint,
    /// What was found out about the clip.
    pub probe: Value,
    /// Frames, counted.
    pub frames: u64,
}

/// A scene: what is meant to look alike.
#[derive(Clone, Debug, PartialEq)]
pub struct Scene {
    /// Its number.
    pub id: SceneId,
    /// Its name.
    pub name: String,
    /// What is said about a tint that its cameras share: `keep`, `correct`; `None`: nothing.
    pub tint: Option<String>,
    /// The change of exposure that was accepted, in stops; 0: declined; `None`: nothing was said.
    pub exposure: Option<f64>,
}

/// A setup: the unit that carries one fix.
#[derive(Clone, Debug, PartialEq)]
pub struct Setup {
    /// Its number.
    pub id: SetupId,
    /// Its name.
    pub name: String,
    /// The scene that it belongs to.
    pub scene: SceneId,
    /// The change of exposure that was accepted for it alone, as in [`Scene::exposure`].
    pub exposure: Option<f64>,
}

/// What a change of exposure is about.
#[derive(Clone, Debug, PartialEq)]
pub enum Exposed {
    /// A whole scene.
    Scene(Scene),
    /// A setup, where nobody has told scenes apart.
    Setup(Setup),
}

impl Exposed {
    /// Its name.
    #[must_use]
    pub fn name(&self) -> &str {
        match self {
            Self::Scene(scene) => &scene.name,
            Self::Setup(setup) => &setup.name,
        }
    }

    /// What was said about it.
    #[must_use]
    pub fn said(&self) -> Option<f64> {
        match self {
            Self::Scene(scene) => scene.exposure,
            Self::Setup(setup) => setup.exposure,
        }
    }
}

/// A shot: a span of frames of one source.
#[derive(Clone, Debug, PartialEq)]
pub struct Shot {
    /// Its number.
    pub id: ShotId,
    /// Its name, unlike any other in the film.
    pub name: String,
    /// The source clip.
    pub source: SourceId,
    /// First source frame.
    pub in_frame: u64,
    /// The source frame after the last.
    pub out_frame: u64,
    /// The setup that it belongs to.
    pub setup: SetupId,
    /// The editor says: leave it.
    pub kept: bool,
    /// The editor says: its fix is the same in all frames, whatever the light does.
    pub constant: bool,
    /// How the cut uses it, in the form of the app crate; null for a clip taken in whole.
    pub used: Value,
}

/// A shot that the editor has grouped: no suggestion changes that.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct GroupedByHand {
    /// The shot.
    pub shot: ShotId,
    /// Its setup was chosen or named.
    pub setup: bool,
    /// Its scene was chosen or named.
    pub scene: bool,
}

/// A place in a cut: a shot that is there already, or a new one.
#[derive(Clone, Debug, PartialEq)]
pub struct Place {
    /// The shot that is used here; `None` makes one.
    pub shot: Option<ShotId>,
    /// The shot that a new one takes patches, note, `kept` and results over from.
    pub like: Option<ShotId>,
    /// Name of a new shot; made different where it is taken.
    pub name: String,
    /// The source clip.
    pub source: SourceId,
    /// First source frame.
    pub in_frame: u64,
    /// The source frame after the last.
    pub out_frame: u64,
    /// Setup of a new shot; made where there is none of that name.
    pub setup: String,
    /// Scene of a new setup; made where there is none of that name.
    pub scene: String,
    /// How the cut uses it, in the form of the app crate.
    pub used: Value,
}

/// A cut that was taken in.
#[derive(Clone, Debug, PartialEq)]
pub struct CutRecord {
    /// Its number; later ones are larger.
    pub id: i64,
    /// Seconds since 1970-01-01 UTC.
    pub at_s: i64,
    /// The list or picture that it came from.
    pub origin: String,
}

/// What was handed over, when, and from which cut.
#[derive(Clone, Debug, PartialEq)]
pub struct VersionRecord {
    /// Its name.
    pub name: String,
    /// Seconds since 1970-01-01 UTC.
    pub at_s: i64,
    /// The cut that was in the film; `None` where clips were taken in whole.
    pub cut: Option<i64>,
}

/// Somebody whose skin is read.
#[derive(Clone, Debug, PartialEq)]
pub struct Person {
    /// Their number.
    pub id: PersonId,
    /// Their name.
    pub name: String,
    /// The aim as it was set, in the form of the app crate.
    pub aim: Value,
    /// The complexion that the editor set; never set otherwise.
    pub complexion: Option<String>,
    /// Whether the editor gave the name.
    pub named: bool,
}

/// An area of one person's skin in one shot.
#[derive(Clone, Debug, PartialEq)]
pub struct Patch {
    /// Its number.
    pub id: PatchId,
    /// The shot.
    pub shot: ShotId,
    /// Whose skin it is.
    pub person: PersonId,
    /// The source frame that it was drawn on.
    pub frame: u64,
    /// Its outline, in the form of the reading crate.
    pub shape: Value,
}

/// What a reading was taken of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Stage {
    /// The source.
    Before,
    /// The source with the fix applied to its decoded pixels.
    After,
    /// The delivered file.
    Proof,
}

impl Stage {
    pub(crate) const fn name(self) -> &'static str {
        match self {
            Self::Before => "before",
            Self::After => "after",
            Self::Proof => "proof",
        }
    }
}

/// A step of the work on a shot.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Step {
    /// Finding faces and following them.
    Find,
    /// Following patches and reading them.
    Read,
    /// Rendering.
    Handover,
    /// Reading the delivered file again.
    Prove,
}

impl Step {
    pub(crate) const fn name(self) -> &'static str {
        match self {
            Self::Find => "find",
            Self::Read => "read",
            Self::Handover => "handover",
            Self::Prove => "prove",
        }
    }
}

/// How a step ended.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum StepOutcome {
    /// It was done; its results are in the film.
    Done,
    /// It could not be done, and why.
    Failed(String),
}

/// The last outcome of a step on a shot.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct StepRecord {
    /// The shot.
    pub shot: ShotId,
    /// The step.
    pub step: Step,
    /// Key of what went in.
    pub key: crate::InputKey,
    /// How it ended.
    pub outcome: StepOutcome,
}

/// A file that was handed over.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Deliverable {
    /// Where it is, from the root of the file system.
    pub path: PathBuf,
    /// `clip`, `earlier` (a clip that another one of its shot has followed), `picture` (a whole one), `cdl`, `lut`, `list`,
    /// `keyframes`, `report` or `readings`.
    pub kind: String,
    /// The shot that it shows, for a clip.
    pub shot: Option<ShotId>,
    /// What the file was when it was closed.
    pub fingerprint: crate::Fingerprint,
    /// Key of what went into it.
    pub key: crate::InputKey,
    /// More about it (codec, notes), in the form of the app crate.
    pub detail: Value,
}

/// Facts about the film as a whole.
#[derive(Clone, Debug, PartialEq)]
pub(crate) struct FilmFacts {
    pub(crate) name: String,
    pub(crate) space: WorkingSpace,
}
