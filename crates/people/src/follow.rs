//! The faces of a shot, found on some frames and followed through all of them.

use crate::appearance::{Appearance, Cover};
use crate::carry::Carried;
use crate::embedding::Embedding;
use crate::find::{Face, FindSettings, best_of, overlap};
use crate::mesh::{Mesh, Square};
use crate::models::{Models, PeopleError};
use crate::outline::Outline;
use crate::picture::{Cut, Frame};
use crate::still::{LONG, Liveliness, STRETCH};
use inkarnat_color::Region;
use inkarnat_reading::Similarity;
use serde::{Deserialize, Serialize};
use std::collections::VecDeque;

/// Why a face is not read in a frame.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case", tag = "why")]
pub enum FaceLost {
    /// The mesh model sees no face there: turned away, or gone.
    NoFace {
        /// Its belief, 0–1.
        score: f64,
    },
    /// The detector no longer finds a face where the mesh is.
    NotFound,
    /// Part of the face is covered, or its light changed at a stroke.
    Covered {
        /// Share of the points on skin that changed, 0–1.
        share: f64,
    },
    /// It no longer looks like the first view.
    Unlike {
        /// Correlation of the pattern of luma, −1…1.
        correlation: f64,
    },
    /// It moved further between two frames than a head does.
    Jumped {
        /// Distance as a share of the face's width.
        widths: f64,
    },
    /// Somebody else's face is in its place.
    SomebodyElse {
        /// Distance between the embeddings.
        distance: f64,
    },
    /// Its middle left the picture.
    LeftPicture,
    /// Lost before and not found again yet.
    NotFoundAgain,
}

impl std::fmt::Display for FaceLost {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::NoFace { score } => write!(f, "no face is seen (belief {score:.2})"),
            Self::NotFound => f.write_str("the face is not found where it was followed to"),
            Self::Covered { share } => {
                write!(
                    f,
                    "{:.0} % of the face is covered or changed",
                    share * 100.0
                )
            }
            Self::Unlike { correlation } => write!(
                f,
                "it no longer looks like the first view (correlation {correlation:.2})"
            ),
            Self::Jumped { widths } => {
                write!(f, "it jumped by {widths:.2} of its width in one frame")
            }
            Self::SomebodyElse { distance } => write!(
                f,
                "somebody else's face is in its place (distance {distance:.2})"
            ),
            Self::LeftPicture => f.write_str("it left the picture"),
            Self::NotFoundAgain => f.write_str("not found again"),
        }
    }
}

/// A face in one frame.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum FaceState {
    /// It is there.
    Held(Outline),
    /// It is not read.
    Lost(FaceLost),
}

impl FaceState {
    /// The outline, where the face is there.
    #[must_use]
    pub fn held(&self) -> Option<&Outline> {
        match self {
            Self::Held(outline) => Some(outline),
            Self::Lost(_) => None,
        }
    }
}

/// One face through a shot.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct FaceTrack {
    /// The numbers of the frames, rising, as they were given.
    pub numbers: Vec<u64>,
    /// A state for each of them, from the face's first to the last one given.
    pub frames: Vec<FaceState>,
    /// Mean embedding over the views that were sure.
    pub embedding: Embedding,
    /// Views in that mean.
    pub views: u32,
    /// Largest distance of a view from the mean.
    pub spread: f64,
    /// The best score of the detector, 0–1.
    pub score: f64,
    /// How much the face changes in itself: a picture on a wall does not.
    // Under a name of its own: films kept a plain number as `liveliness` before.
    #[serde(default, rename = "changes")]
    pub liveliness: Liveliness,
}

impl FaceTrack {
    /// The outline in a frame.
    #[must_use]
    pub fn at(&self, frame: u64) -> Option<&Outline> {
        let place = self.numbers.binary_search(&frame).ok()?;
        self.frames.get(place)?.held()
    }

    /// The outline in the frame that is nearest to this one, among its neighbours on both sides.
    #[must_use]
    pub fn near(&self, frame: u64) -> Option<&Outline> {
        let place = self.numbers.partition_point(|n| *n < frame);
        [Some(place), place.checked_sub(1)]
            .into_iter()
            .flatten()
            .filter_map(|k| {
                Some((
                    self.numbers.get(k)?.abs_diff(frame),
                    self.frames.get(k)?.held()?,
                ))
            })
            .min_by_key(|(distance, _)| *distance)
            .map(|(_, outline)| outline)
    }

    /// Frames that hold the face.
    #[must_use]
    pub fn held(&self) -> usize {
        self.frames.iter().filter(|f| f.held().is_some()).count()
    }

    /// Spans of frames in which it is lost, from the first to the one after the last, with the first
    /// reason of each.
    #[must_use]
    pub fn lost_spans(&self) -> Vec<(std::ops::Range<u64>, FaceLost)> {
        let mut spans: Vec<(std::ops::Range<u64>, FaceLost)> = Vec::new();
        let mut open = false;
        for (&frame, state) in self.numbers.iter().zip(&self.frames) {
            match (state, spans.last_mut()) {
                (FaceState::Held(_), _) => open = false,
                (FaceState::Lost(_), Some((span, _))) if open => span.end = frame + 1,
                (FaceState::Lost(reason), _) => {
                    spans.push((frame..frame + 1, *reason));
                    open = true;
                }
            }
        }
        spans
    }

    /// Spans of frames in which it is held; frames between two that were given belong to them.
    #[must_use]
    pub fn held_spans(&self) -> Vec<std::ops::Range<u64>> {
        let mut spans: Vec<std::ops::Range<u64>> = Vec::new();
        let mut open = false;
        for (&frame, state) in self.numbers.iter().zip(&self.frames) {
            match (state.held(), spans.last_mut()) {
                (Some(_), Some(span)) if open => span.end = frame + 1,
                (Some(_), _) => spans.push(frame..frame + 1),
                (None, _) => {}
            }
            open = state.held().is_some();
        }
        spans
    }
}

/// How faces are followed.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct FollowSettings {
    /// How faces are found.
    pub find: FindSettings,
    /// Faces are looked for on every n-th frame given.
    pub find_every: u64,
    /// Of these every n-th looks over the whole picture, the others only around the faces that are known, unless one of them
    /// is missed there.
    pub whole_every: u64,
    /// They are looked for too on a frame on which one was lost.
    pub find_when_lost: bool,
    /// The mesh is laid on every n-th frame at least, and carried by optical flow between; on every frame until a face is
    /// seen to live, and where the flow is not sure.
    pub mesh_every: u64,
    /// Mesh belief below which there is no face, 0–1.
    pub least_score: f64,
    /// Share of changed points of the forehead, a cheek or the nose above which the face counts as
    /// covered, 0–1; it is held again below half of that, and frames just before that lay above half
    /// of it are taken back.
    pub most_changed: f64,
    /// Correlation with the first views below which it is another thing.
    pub least_correlation: f64,
    /// Distance of embeddings above which it is somebody else's face.
    pub somebody_else: f64,
    /// Distance of embeddings below which a lost face is found again.
    pub found_again: f64,
    /// Faces narrower than this in the frame, in pixels, are not followed.
    pub least_width: f64,
}

impl Default for FollowSettings {
    fn default() -> Self {
        Self {
            find: FindSettings::default(),
            find_every: 5,
            whole_every: 2,
            find_when_lost: false,
            mesh_every: 5,
            least_score: 0.5,
            most_changed: 0.3,
            least_correlation: 0.3,
            somebody_else: 0.75,
            found_again: 0.5,
            least_width: 20.0,
        }
    }
}

impl FollowSettings {
    /// For a first pass that is given every n-th frame of a shot: heads move further between two of them, so that the mesh is
    /// laid on each, and a face that the mesh loses is looked for at once. Otherwise faces are looked for about every 25th frame of
    /// the shot, over the whole picture every 50th: a pass that is to be quick may find later who comes in meanwhile.
    #[must_use]
    pub fn for_every(every: u64) -> Self {
        let default = Self::default();
        if every <= 1 {
            return default;
        }
        let find_every = (25 / every).max(1);
        Self {
            find_every,
            whole_every: (50 / (find_every * every)).max(1),
            find_when_lost: true,
            mesh_every: 1,
            ..default
        }
    }
}

/// Overlap of the detector's box with that of a mesh from which they are one face (intersection over union).
const MEETS: f64 = 0.25;
/// Frames with an unfound face that are still believed.
const MISSES: u32 = 2;
/// Frames that are looked back on when something changes at a stroke.
const MEMORY: usize = 6;
/// A covered face that is sure to be the same person again after so many finds is learnt anew.
const ANEW: u32 = 2;
/// Views of a face from which on another one every twenty finds is enough.
const SEVERAL: usize = 8;
/// Mean distance of the detector's points from the mesh's, over the face's size, from which the two
/// saw different things.
const DISAGREE: f64 = 0.16;

struct Live {
    /// Frame of the first state, counted in frames given.
    first: u64,
    track: FaceTrack,
    /// Where it was last seen; what is followed from.
    mesh: Mesh,
    /// Whether the mesh is followed from frame to frame.
    followed: bool,
    looks: VecDeque<Appearance>,
    /// Change of each held frame since the look it was judged by.
    shares: VecDeque<f64>,
    first_look: Appearance,
    /// The look of the last mesh that was laid: those of carried ones sit a little beside it while a head turns.
    laid_look: Appearance,
    misses: u32,
    /// Frame of the last find that confirmed it.
    confirmed: u64,
    finds: u32,
    sure_while_covered: u32,
    /// What lies over parts of the face while the rest is read, and the look from before.
    cover: Cover,
    uncovered_look: Option<Appearance>,
    views: Vec<Embedding>,
    /// The last mesh that the model laid, on its way through the frames since.
    carried: Option<Carried>,
    /// The frames since, places among the states, and how far it had gone by them.
    pending: Vec<(usize, Similarity)>,
    /// Place of the last mesh among the states, and of all of them on which the face was held.
    laid: usize,
    meshes: Vec<usize>,
    /// Whether it was seen to live, or looked at often enough to tell.
    told: bool,
}

/// Follows the faces of one shot through frames given in order.
pub struct FaceFollower {
    settings: FollowSettings,
    frame: u64,
    numbers: Vec<u64>,
    /// Frames given of which every outline is known.
    known: u64,
    /// Finds since the whole picture was looked at.
    finds: u64,
    all: Vec<Live>,
}

impl FaceFollower {
    /// Starts a shot.
    #[must_use]
    pub fn new(settings: FollowSettings) -> Self {
        Self {
            settings,
            frame: 0,
            numbers: Vec::new(),
            known: 0,
            finds: 0,
            all: Vec::new(),
        }
    }

    /// Takes the next frame, under a number above that of the one before. `last` says that none
    /// follows: the mesh is then laid whatever its turn.
    ///
    /// # Errors
    /// [`PeopleError::Run`] where a model fails; the frame then counts as not given.
    pub fn next(
        &mut self,
        models: &Models,
        number: u64,
        frame: &dyn Frame,
        last: bool,
    ) -> Result<(), PeopleError> {
        let s = self.settings;
        let mut finding = self.frame.is_multiple_of(s.find_every.max(1));
        let mut states: Vec<Option<FaceState>> = vec![None; self.all.len()];
        for (live, state) in self.all.iter_mut().zip(&mut states) {
            if !live.followed {
                continue;
            }
            let due = finding || last || live.is_due(self.frame, &s);
            let carried = if due { None } else { live.carry(frame, &s) };
            *state = Some(match carried {
                Some(state) => state,
                None => live.step(models, frame, &s, self.frame, !due)?,
            });
            finding |= s.find_when_lost && !live.followed;
        }
        let mut started = Vec::new();
        if finding {
            started = self.find(models, frame, &mut states)?;
        }
        for (live, state) in self.all.iter_mut().zip(states) {
            let state = state.unwrap_or(FaceState::Lost(FaceLost::NotFoundAgain));
            live.track.frames.push(state);
        }
        self.all.extend(started);
        self.numbers.push(number);
        self.frame += 1;
        self.known = self
            .all
            .iter()
            .filter_map(|live| Some(live.first + live.pending.first()?.0 as u64))
            .min()
            .unwrap_or(self.frame);
        Ok(())
    }

    /// How many of the frames given have outlines by now; those after them wait for the next mesh.
    /// What is known of the last few may still be taken back.
    #[must_use]
    pub fn known(&self) -> u64 {
        self.known
    }

    /// The faces held in a frame, counted in frames given, each with its place among those of
    /// [`Self::finish`].
    pub fn held(&self, frame: u64) -> impl Iterator<Item = (usize, &Outline)> {
        self.all.iter().enumerate().filter_map(move |(k, live)| {
            let at = usize::try_from(frame.checked_sub(live.first)?).ok()?;
            Some((k, live.track.frames.get(at)?.held()?))
        })
    }

    /// Faces of the whole picture, or where that was looked over of late around those that are followed: the detector costs by
    /// the pixel.
    fn look_for(&mut self, models: &Models, frame: &dyn Frame) -> Result<Vec<Face>, PeopleError> {
        /// From so many faces on their surroundings cost as much as the picture.
        const MANY: usize = 6;
        /// A face that was lost so long ago is waited for no more than any other.
        const GONE: usize = 25;
        let s = self.settings;
        let followed: Vec<&Mesh> = self
            .all
            .iter()
            .filter(|live| live.followed)
            .map(|live| &live.mesh)
            .collect();
        // Covered faces are taken up again after two sure finds. Around a face the detector sees it past a hand that hides it in
        // the whole picture, and the hand would be read.
        let in_doubt = self.all.iter().any(|live| {
            let states = live.track.frames.iter().rev();
            let mut held = states.map(|state| state.held().is_some());
            if live.followed {
                held.next() == Some(false)
            } else {
                held.take(GONE).any(|held| held)
            }
        });
        self.finds += 1;
        let around =
            self.finds < s.whole_every && !in_doubt && (1..=MANY).contains(&followed.len());
        if around {
            let mut faces = Vec::new();
            for mesh in &followed {
                faces.extend(find_around(models, frame, mesh, &s.find)?);
            }
            let faces = best_of(faces, s.find.overlap);
            let all_met = followed.iter().all(|mesh| {
                let [l, t, r, b] = mesh.bounds();
                faces
                    .iter()
                    .any(|face| overlap(face.bounds, [l, t, r - l, b - t]) > MEETS)
            });
            if all_met {
                return Ok(faces);
            }
        }
        self.finds = 0;
        find_in(models, frame, &s.find)
    }

    /// Looks for faces, and pairs them with those that are followed or lost.
    fn find(
        &mut self,
        models: &Models,
        frame: &dyn Frame,
        states: &mut [Option<FaceState>],
    ) -> Result<Vec<Live>, PeopleError> {
        let s = self.settings;
        let faces = self.look_for(models, frame)?;
        let mut taken = vec![false; faces.len()];
        // Overlap of the detector's box with that of the mesh, largest first.
        let mut pairs = Vec::new();
        for (k, live) in self.all.iter().enumerate().filter(|(_, l)| l.followed) {
            let [l, t, r, b] = live.mesh.bounds();
            for (j, face) in faces.iter().enumerate() {
                let shared = overlap(face.bounds, [l, t, r - l, b - t]);
                if shared > MEETS {
                    pairs.push((shared, k, j));
                }
            }
        }
        pairs.sort_by(|a, b| b.0.total_cmp(&a.0).then(a.1.cmp(&b.1)).then(a.2.cmp(&b.2)));
        let mut met = vec![false; self.all.len()];
        for (_, k, j) in pairs {
            if met[k] || taken[j] {
                continue;
            }
            met[k] = true;
            let state = self.all[k].confirm(models, frame, &faces[j], &s, self.frame)?;
            taken[j] = !matches!(state, Some(FaceState::Lost(FaceLost::SomebodyElse { .. })));
            if let Some(state) = state {
                states[k] = Some(state);
            }
        }
        for (k, live) in self.all.iter_mut().enumerate() {
            if live.followed && !met[k] {
                live.misses += 1;
                if live.misses >= MISSES {
                    live.unfound(self.frame);
                    states[k] = Some(FaceState::Lost(FaceLost::NotFound));
                }
            }
        }
        let mut started = Vec::new();
        for (face, _) in faces.iter().zip(&taken).filter(|(_, taken)| !**taken) {
            let Some((mesh, cut)) = mesh_of_face(models, frame, face)? else {
                continue;
            };
            if mesh.score < s.least_score
                || mesh.width() < s.least_width
                || mesh.disagreement(face) > DISAGREE
            {
                continue;
            }
            let view = models.embedding(&cut.picture, &moved(&mesh, &cut))?;
            let look = Appearance::of(&cut, &mesh);
            let again = self
                .all
                .iter()
                .enumerate()
                .filter(|(k, live)| {
                    !live.followed && !matches!(states[*k], Some(FaceState::Held(_)))
                })
                .map(|(k, live)| (view.distance(&live.track.embedding), k))
                .min_by(|a, b| a.0.total_cmp(&b.0))
                .filter(|(distance, _)| *distance < s.found_again);
            if let Some((_, k)) = again {
                let live = &mut self.all[k];
                live.take_up(mesh, look, self.frame);
                live.view(view, face.score);
                states[k] = Some(live.held(&live.mesh));
            } else {
                started.push(Live::new(mesh, look, view, face.score, self.frame));
            }
        }
        Ok(started)
    }

    /// The faces of the shot, in the order in which they appeared; `None` for one that a single find
    /// saw, weakly, in a shot with several finds (textures do that), and for one of which nothing is
    /// held.
    #[must_use]
    pub fn finish(self) -> Vec<Option<FaceTrack>> {
        let finds = self.frame.div_ceil(self.settings.find_every.max(1));
        let numbers = self.numbers;
        self.all
            .into_iter()
            .map(|live| {
                if live.finds < 2 && live.track.score <= 0.85 && finds > 1 {
                    return None;
                }
                let first = live.first as usize;
                let mut track = live.track;
                track.numbers = numbers
                    .get(first..first + track.frames.len())
                    .unwrap_or_default()
                    .to_vec();
                // Outlines between meshes are made of those beside them and would hide the noise.
                let looks: Vec<&Outline> = live
                    .meshes
                    .iter()
                    .filter_map(|&place| track.frames.get(place)?.held())
                    .collect();
                track.liveliness = Liveliness::of(&looks);
                (track.held() > 0).then_some(track)
            })
            .collect()
    }
}

impl Live {
    fn new(mesh: Mesh, look: Appearance, view: Embedding, score: f64, frame: u64) -> Self {
        Self {
            first: frame,
            track: FaceTrack {
                numbers: Vec::new(),
                frames: vec![FaceState::Held(Outline::from(&mesh))],
                embedding: view.clone(),
                views: 1,
                spread: 0.0,
                score,
                liveliness: Liveliness::default(),
            },
            mesh,
            followed: true,
            looks: VecDeque::from([look.clone()]),
            shares: VecDeque::new(),
            laid_look: look.clone(),
            first_look: look,
            misses: 0,
            confirmed: frame,
            finds: 1,
            sure_while_covered: 0,
            cover: Cover::default(),
            uncovered_look: None,
            views: vec![view],
            carried: None,
            pending: Vec::new(),
            laid: 0,
            meshes: vec![0],
            told: false,
        }
    }

    /// Whether a mesh has to be laid on the next frame.
    fn is_due(&self, number: u64, s: &FollowSettings) -> bool {
        let place = (number - self.first) as usize;
        let held = self.track.frames.last().is_some_and(|f| f.held().is_some());
        !held
            || !self.told
            || self.carried.is_none()
            || place - self.laid >= s.mesh_every.max(1) as usize
    }

    /// Carries the last mesh to the next frame, where that is sure and the face looks as before.
    fn carry(&mut self, frame: &dyn Frame, s: &FollowSettings) -> Option<FaceState> {
        let carried = self.carried.as_mut()?;
        let (mesh, cut) = carried.step(frame)?;
        let motion = carried.motion();
        let [width, height] = frame.size().map(|v| v as f64);
        let [l, t, r, b] = mesh.bounds();
        if l < 0.0 || t < 0.0 || r > width || b > height {
            return None;
        }
        let look = Appearance::of(&cut, &mesh);
        let share = self
            .looks
            .front()
            .map_or(0.0, |before| look.change(before, self.cover).0);
        // In doubt the model looks itself.
        if share > 0.5 * s.most_changed
            || look.change(&self.first_look, self.cover).1 < s.least_correlation + 0.1
        {
            return None;
        }
        self.shares.push_back(share);
        if self.shares.len() > MEMORY {
            self.shares.pop_front();
        }
        self.learn(look);
        self.pending.push((self.track.frames.len(), motion));
        self.mesh = mesh;
        Some(self.held(&self.mesh))
    }

    /// A mesh that was laid on the frame at `place`: brings the frames since the one before into line with both.
    fn lay(
        &mut self,
        frame: &dyn Frame,
        mesh: &Mesh,
        cut: Cut,
        place: usize,
        stepped: bool,
        s: &FollowSettings,
    ) {
        let pending = std::mem::take(&mut self.pending);
        if let Some(carried) = self.carried.as_mut().filter(|_| !pending.is_empty())
            && let Some(then) = carried.motion_to(frame, mesh, stepped)
        {
            for (at, now) in pending {
                let share = (at - self.laid) as f64 / (place - self.laid).max(1) as f64;
                if let (Some(FaceState::Held(outline)), Some(between)) = (
                    self.track.frames.get_mut(at),
                    carried.between(&now, &then, mesh, share),
                ) {
                    let covered = outline.covered().to_vec();
                    *outline = Outline::from(&between).with_covered(covered);
                }
            }
        }
        self.laid = place;
        self.carried = (s.mesh_every > 1)
            .then(|| Carried::new(mesh.clone(), cut))
            .flatten();
    }

    /// Gives up what was carried; what was said of the frames since stays.
    fn drop_carried(&mut self) {
        self.carried = None;
        self.pending.clear();
    }

    /// After a mesh on which the face was held: whether it was looked at often enough to tell a face from its picture.
    fn tell(&mut self, place: usize, outline: &Outline) {
        self.meshes.push(place);
        let looks = self.meshes.len();
        if self.told || looks < 3 * STRETCH || !looks.is_multiple_of(STRETCH) {
            return;
        }
        let outlines: Vec<&Outline> = self
            .meshes
            .iter()
            .filter_map(|&place| self.track.frames.get(place)?.held())
            .chain([outline])
            .collect();
        self.told = looks >= LONG as usize || Liveliness::of(&outlines).is_living();
    }

    /// Follows from the frame before by a mesh. `stepped` says that the flow was asked about this frame already.
    fn step(
        &mut self,
        models: &Models,
        frame: &dyn Frame,
        s: &FollowSettings,
        number: u64,
        stepped: bool,
    ) -> Result<FaceState, PeopleError> {
        let place = (number - self.first) as usize;
        let state = self.step_to(models, frame, s, place, stepped)?;
        match &state {
            FaceState::Held(outline) => self.tell(place, outline),
            FaceState::Lost(_) => self.drop_carried(),
        }
        Ok(state)
    }

    fn step_to(
        &mut self,
        models: &Models,
        frame: &dyn Frame,
        s: &FollowSettings,
        place: usize,
        stepped: bool,
    ) -> Result<FaceState, PeopleError> {
        let lost = |reason| Ok(FaceState::Lost(reason));
        let square = Square::of_mesh(&self.mesh);
        let Some((mesh, cut)) = mesh_in_square(models, frame, square)? else {
            self.followed = false;
            return lost(FaceLost::LeftPicture);
        };
        if mesh.score < s.least_score {
            self.followed = false;
            return lost(FaceLost::NoFace { score: mesh.score });
        }
        let [l, t, r, b] = mesh.bounds();
        let [width, height] = frame.size().map(|v| v as f64);
        let middle = [(l + r) / 2.0, (t + b) / 2.0];
        if middle[0] < 0.0 || middle[1] < 0.0 || middle[0] > width || middle[1] > height {
            self.followed = false;
            return lost(FaceLost::LeftPicture);
        }
        let widths =
            (middle[0] - square.middle[0]).hypot(middle[1] - square.middle[1]) / self.mesh.width();
        let ratio = mesh.width() / self.mesh.width();
        if widths > 0.45 || !(0.7..1.43).contains(&ratio) {
            self.followed = false;
            return lost(FaceLost::Jumped { widths });
        }
        let look = Appearance::of(&cut, &mesh);
        let since_carried = !self.pending.is_empty();
        let before = if since_carried {
            Some(&self.laid_look)
        } else {
            self.looks.front()
        };
        let share = before.map_or(0.0, |before| look.change(before, self.cover).0);
        if let Some(before) = &self.uncovered_look {
            let left = look.still_covered(before, self.cover, s.most_changed);
            if left != self.cover {
                // What lay there is in the looks since.
                self.cover = left;
                self.uncovered_look = (!left.is_none()).then(|| before.clone());
                self.first_look = look.clone();
                self.looks.clear();
            }
        }
        let state = self.judge(&mesh, &look, share, s);
        if let FaceState::Lost(FaceLost::Covered { share }) = state {
            self.take_back(share, s);
        }
        if matches!(state, FaceState::Held(_)) {
            self.shares.push_back(share);
            if self.shares.len() > MEMORY {
                self.shares.pop_front();
            }
            if since_carried {
                self.looks.clear();
            }
            self.laid_look = look.clone();
            self.learn(look);
            self.lay(frame, &mesh, cut, place, stepped, s);
        }
        self.mesh = mesh;
        Ok(state)
    }

    /// `share` of the points changed against a look some frames ago: an edge that crosses the face changes few points from one
    /// frame to the next.
    fn judge(&self, mesh: &Mesh, look: &Appearance, share: f64, s: &FollowSettings) -> FaceState {
        let covered = matches!(
            self.track.frames.last(),
            Some(FaceState::Lost(FaceLost::Covered { .. }))
        );
        let limit = if covered { 0.5 } else { 1.0 } * s.most_changed;
        if share > limit {
            return FaceState::Lost(FaceLost::Covered { share });
        }
        let (_, correlation) = look.change(&self.first_look, self.cover);
        if correlation < s.least_correlation {
            return FaceState::Lost(FaceLost::Unlike { correlation });
        }
        self.held(mesh)
    }

    /// The face held where a mesh lies, without what is covered.
    fn held(&self, mesh: &Mesh) -> FaceState {
        FaceState::Held(Outline::from(mesh).with_covered(self.cover.parts()))
    }

    /// Takes back the frames just before a covering in which it had begun, looks included.
    fn take_back(&mut self, share: f64, s: &FollowSettings) {
        while self
            .shares
            .back()
            .is_some_and(|earlier| *earlier > 0.5 * s.most_changed)
        {
            self.shares.pop_back();
            if self.looks.len() > 1 {
                self.looks.pop_back();
            }
            if let Some(state) = self
                .track
                .frames
                .iter_mut()
                .rev()
                .find(|state| state.held().is_some())
            {
                *state = FaceState::Lost(FaceLost::Covered { share });
            }
        }
        self.shares.clear();
    }

    fn learn(&mut self, look: Appearance) {
        // The first view follows slowly: light and pose change over a shot.
        self.first_look.learn(&look, 0.03);
        self.looks.push_back(look);
        if self.looks.len() > MEMORY {
            self.looks.pop_front();
        }
        self.sure_while_covered = 0;
    }

    /// A find that lies on the followed face; a state where it changes what following said.
    fn confirm(
        &mut self,
        models: &Models,
        frame: &dyn Frame,
        face: &Face,
        s: &FollowSettings,
        number: u64,
    ) -> Result<Option<FaceState>, PeopleError> {
        self.misses = 0;
        self.finds += 1;
        let covered = self.track.frames.last().is_some_and(|f| f.held().is_none());
        let crooked = self.mesh.disagreement(face) > DISAGREE;
        // The embedding costs twice a mesh: taken where in doubt, and now and then.
        let now_and_then = if self.views.len() < SEVERAL { 5 } else { 20 };
        let due = covered || crooked || self.finds % now_and_then == 2;
        if !due {
            self.confirmed = number;
            self.track.score = self.track.score.max(face.score);
            return Ok(None);
        }
        // A mesh that agrees with the find was laid on this very frame.
        let laid = if covered || crooked {
            mesh_of_face(models, frame, face)?
        } else {
            let square = Square::of_mesh(&self.mesh);
            Cut::new(frame, square.bounds(), square.side / 192.0)
                .map(|cut| (self.mesh.clone(), cut))
        };
        let Some((mesh, cut)) = laid else {
            return Ok(None);
        };
        if mesh.score < s.least_score || mesh.disagreement(face) > DISAGREE {
            return Ok(None);
        }
        let view = models.embedding(&cut.picture, &moved(&mesh, &cut))?;
        let distance = view.distance(&self.track.embedding);
        if distance > s.somebody_else {
            self.unfound(number);
            return Ok(Some(FaceState::Lost(FaceLost::SomebodyElse { distance })));
        }
        self.confirmed = number;
        let look = Appearance::of(&cut, &mesh);
        if covered {
            self.sure_while_covered = if distance < s.found_again {
                self.sure_while_covered + 1
            } else {
                0
            };
            if self.sure_while_covered < ANEW {
                return Ok(None);
            }
            // The same person, found twice, and looking different: the light or the pose changed, or where part of the face is
            // as it was, something rests on the others, and they are left out.
            let before = self.uncovered_look.as_ref().unwrap_or(&self.first_look);
            let cover = look.cover(before, s.most_changed);
            let uncovered = (!cover.is_none()).then(|| before.clone());
            self.take_up(mesh, look, number);
            (self.cover, self.uncovered_look) = (cover, uncovered);
        } else {
            if crooked {
                self.mesh = mesh;
                self.drop_carried();
            }
            if distance < s.found_again {
                self.view(view, face.score);
            }
            return Ok(None);
        }
        Ok(Some(self.held(&self.mesh)))
    }

    fn view(&mut self, view: Embedding, score: f64) {
        const MOST: usize = 32;
        if self.views.len() < MOST {
            self.views.push(view);
            if let Some(mean) = Embedding::mean(&self.views) {
                self.track.embedding = mean;
            }
            let mean = &self.track.embedding;
            self.track.spread = self
                .views
                .iter()
                .map(|v| v.distance(mean))
                .fold(0.0, f64::max);
            self.track.views = self.views.len() as u32;
        }
        self.track.score = self.track.score.max(score);
    }

    fn take_up(&mut self, mesh: Mesh, look: Appearance, number: u64) {
        self.mesh = mesh;
        self.drop_carried();
        self.followed = true;
        self.looks.clear();
        self.shares.clear();
        self.looks.push_back(look.clone());
        self.laid_look = look.clone();
        self.first_look = look;
        self.misses = 0;
        self.finds += 1;
        self.confirmed = number;
        self.sure_while_covered = 0;
        self.cover = Cover::default();
        self.uncovered_look = None;
    }

    /// Takes back what was held since the last find that confirmed it.
    fn unfound(&mut self, number: u64) {
        self.followed = false;
        self.drop_carried();
        let since = (self.confirmed + 1).max(self.first);
        for frame in since..number {
            if let Some(state) = self.track.frames.get_mut((frame - self.first) as usize)
                && state.held().is_some()
            {
                *state = FaceState::Lost(FaceLost::NotFound);
            }
        }
        self.misses = 0;
    }
}

/// Faces of a frame; only its shrunk picture is converted.
pub(crate) fn find_in(
    models: &Models,
    frame: &dyn Frame,
    settings: &FindSettings,
) -> Result<Vec<Face>, PeopleError> {
    let [width, height] = frame.size();
    find_within(models, frame, Region::whole(width, height), settings)
}

/// Faces around one that is known, at a size at which the detector sees it best.
fn find_around(
    models: &Models,
    frame: &dyn Frame,
    mesh: &Mesh,
    settings: &FindSettings,
) -> Result<Vec<Face>, PeopleError> {
    /// Sides of the picture around a face, in larger sides of its mesh, and in pixels.
    const AROUND: f64 = 2.2;
    const SIDE: usize = 160;
    let [left, top, right, bottom] = mesh.bounds();
    let half = AROUND / 2.0 * (right - left).max(bottom - top);
    let [width, height] = frame.size();
    let hold = |v: f64, limit: usize| v.clamp(0.0, limit as f64) as usize;
    let (x, y) = ((left + right) / 2.0, (top + bottom) / 2.0);
    let start = [hold(x - half, width), hold(y - half, height)];
    let end = [hold(x + half, width), hold(y + half, height)];
    let around = Region {
        x: start[0],
        y: start[1],
        width: end[0].saturating_sub(start[0]),
        height: end[1].saturating_sub(start[1]),
    };
    let settings = FindSettings {
        longest: SIDE.min(settings.longest),
        ..*settings
    };
    find_within(models, frame, around, &settings)
}

fn find_within(
    models: &Models,
    frame: &dyn Frame,
    region: Region,
    settings: &FindSettings,
) -> Result<Vec<Face>, PeopleError> {
    if region.area() == 0 {
        return Ok(Vec::new());
    }
    let (small, factor) = frame.small(region, settings.longest);
    let mut faces = models.find(&small, settings)?;
    for face in &mut faces {
        face.grow(factor);
        face.shift([region.x as f64, region.y as f64]);
    }
    Ok(faces)
}

/// The mesh inside a square of a frame, and the picture that it was seen in.
pub(crate) fn mesh_in_square(
    models: &Models,
    frame: &dyn Frame,
    square: Square,
) -> Result<Option<(Mesh, Cut)>, PeopleError> {
    let Some(cut) = Cut::new(frame, square.bounds(), square.side / 192.0) else {
        return Ok(None);
    };
    let inside = Square {
        middle: cut.inside(square.middle),
        side: square.side / cut.factor(),
        angle: square.angle,
    };
    let mut mesh = models.mesh_in(&cut.picture, inside)?;
    for point in &mut mesh.points {
        let [x, y] = cut.outside([point[0], point[1]]);
        *point = [x, y, point[2] * cut.factor()];
    }
    Ok(Some((mesh, cut)))
}

/// The mesh of a found face, laid twice: the second time in the square that the first one gives, as
/// following does, so that both agree.
pub(crate) fn mesh_of_face(
    models: &Models,
    frame: &dyn Frame,
    face: &Face,
) -> Result<Option<(Mesh, Cut)>, PeopleError> {
    let Some((first, cut)) = mesh_in_square(models, frame, Square::of_face(face))? else {
        return Ok(None);
    };
    if first.score < 0.5 {
        return Ok(Some((first, cut)));
    }
    mesh_in_square(models, frame, Square::of_mesh(&first))
}

/// A mesh of the frame in the pixels of a cut.
fn moved(mesh: &Mesh, cut: &Cut) -> Mesh {
    Mesh {
        points: mesh
            .points
            .iter()
            .map(|p| {
                let [x, y] = cut.inside([p[0], p[1]]);
                [x, y, p[2] / cut.factor()]
            })
            .collect(),
        score: mesh.score,
    }
}
