//! What reports of many shots share, read once: asked anew for each shot, it would make a long film slow to open.

use crate::Result;
use crate::steps::fixing::{FixRecord, aim_setting};
use crate::steps::taking::{AimSetting, probe_of};
use crate::steps::transforming::look_of;
use crate::steps::whole::clips_of;
use inkarnat_film::{
    Deliverable, Film, Person, PersonId, Scene, SceneId, Setup, SetupId, Shot, ShotId, Source,
    SourceId, Transform,
};
use inkarnat_media::Probe;
use inkarnat_ops::Op;
use std::cell::RefCell;
use std::collections::BTreeMap;
use std::rc::Rc;

/// Sources, setups, scenes, delivered clips and fixes of a film.
pub(crate) struct Known<'a> {
    film: &'a Film,
    sources: BTreeMap<SourceId, (Source, Probe)>,
    setups: BTreeMap<SetupId, Setup>,
    scenes: BTreeMap<SceneId, Scene>,
    clips: BTreeMap<ShotId, Vec<Deliverable>>,
    /// As they are asked for: they are large.
    fixes: RefCell<BTreeMap<SetupId, Option<Rc<FixRecord>>>>,
    /// Operations of looks, by the number of their transform, as they are asked for.
    looks: RefCell<BTreeMap<i64, Rc<[Op]>>>,
    /// An aim in place of the one in the film.
    aim: Option<(PersonId, AimSetting)>,
}

impl<'a> Known<'a> {
    /// Reads them.
    ///
    /// # Errors
    /// If the film cannot be read.
    pub(crate) fn of(film: &'a Film) -> Result<Self> {
        let mut clips: BTreeMap<ShotId, Vec<Deliverable>> = BTreeMap::new();
        for file in clips_of(film)? {
            if let Some(shot) = file.shot {
                clips.entry(shot).or_default().push(file);
            }
        }
        Ok(Self {
            film,
            sources: film
                .sources()?
                .into_iter()
                .map(|source| Ok((source.id, (source.clone(), probe_of(&source)?))))
                .collect::<Result<_>>()?,
            setups: film
                .setups()?
                .into_iter()
                .map(|setup| (setup.id, setup))
                .collect(),
            scenes: film
                .scenes()?
                .into_iter()
                .map(|scene| (scene.id, scene))
                .collect(),
            clips,
            fixes: RefCell::default(),
            looks: RefCell::default(),
            aim: None,
        })
    }

    /// The same film with another aim of a person, and the fixes that it would then have.
    pub(crate) fn with_aim(
        mut self,
        aim: (PersonId, AimSetting),
        fixes: impl IntoIterator<Item = (SetupId, Option<FixRecord>)>,
    ) -> Self {
        self.aim = Some(aim);
        self.fixes = RefCell::new(
            fixes
                .into_iter()
                .map(|(setup, record)| (setup, record.map(Rc::new)))
                .collect(),
        );
        self
    }

    /// The aim of a person.
    ///
    /// # Errors
    /// If it is of another version.
    pub(crate) fn aim(&self, person: &Person) -> Result<AimSetting> {
        match &self.aim {
            Some((id, aim)) if *id == person.id => Ok(aim.clone()),
            _ => aim_setting(person),
        }
    }

    pub(crate) fn film(&self) -> &'a Film {
        self.film
    }

    pub(crate) fn source(&self, shot: &Shot) -> Option<&Source> {
        self.sources.get(&shot.source).map(|(source, _)| source)
    }

    pub(crate) fn probe(&self, shot: &Shot) -> Option<&Probe> {
        self.sources.get(&shot.source).map(|(_, probe)| probe)
    }

    pub(crate) fn setup(&self, shot: &Shot) -> Option<&Setup> {
        self.setups.get(&shot.setup)
    }

    pub(crate) fn scene(&self, setup: &Setup) -> Option<&Scene> {
        self.scenes.get(&setup.scene)
    }

    /// The clips that were handed over of a shot.
    pub(crate) fn clips(&self, shot: &Shot) -> &[Deliverable] {
        self.clips.get(&shot.id).map_or(&[], Vec::as_slice)
    }

    /// The look of a shot.
    ///
    /// # Errors
    /// If the film cannot be read.
    pub(crate) fn look(&self, shot: &Shot) -> Result<Option<Transform>> {
        match self.setup(shot) {
            Some(setup) => look_of(self.film, setup),
            None => Ok(None),
        }
    }

    /// The operations of a shot's look; none without one.
    ///
    /// # Errors
    /// If the film cannot be read.
    pub(crate) fn look_ops(&self, shot: &Shot) -> Result<Rc<[Op]>> {
        let Some(look) = self.look(shot)? else {
            return Ok(Rc::from([]));
        };
        if let Some(known) = self.looks.borrow().get(&look.id) {
            return Ok(Rc::clone(known));
        }
        let ops: Rc<[Op]> = self.film.operations::<Vec<Op>>(&look)?.into();
        self.looks.borrow_mut().insert(look.id, Rc::clone(&ops));
        Ok(ops)
    }

    /// The fix of a shot's setup; none for a shot that is kept.
    ///
    /// # Errors
    /// If the film cannot be read.
    pub(crate) fn fix(&self, shot: &Shot) -> Result<Option<Rc<FixRecord>>> {
        if shot.kept {
            return Ok(None);
        }
        if let Some(known) = self.fixes.borrow().get(&shot.setup) {
            return Ok(known.clone());
        }
        let found = self
            .film
            .fix::<FixRecord>(shot.setup)?
            .map(|(_, record)| Rc::new(record));
        self.fixes.borrow_mut().insert(shot.setup, found.clone());
        Ok(found)
    }
}
