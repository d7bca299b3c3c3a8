//! Reads the open base mesh, morph targets, masks and skin weights from a folder.

use std::collections::BTreeMap;
use std::io::Read;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};

use glam::{Vec2, Vec3, vec2, vec3};

use crate::topology::Topology;

/// Why head data could not be loaded.
#[derive(Debug, thiserror::Error)]
#[non_exhaustive]
pub enum HeadsError {
    /// A file is missing or cannot be read.
    #[error("cannot read {path}: {source}; run script/fetch-heads to bring the head geometry")]
    Read {
        /// The file.
        path: PathBuf,
        /// What the system said.
        source: std::io::Error,
    },
    /// A file does not hold what was expected.
    #[error("{path} is damaged: {what}; remove its folder and run script/fetch-heads again")]
    Damaged {
        /// The file.
        path: PathBuf,
        /// What was found against what was expected.
        what: String,
    },
    /// A morph target named by a person does not exist.
    #[error(
        "no morph target named {name:?} in {folder}; see the names below targets/ and faceunits/"
    )]
    NoTarget {
        /// The name as given.
        name: String,
        /// The data folder.
        folder: PathBuf,
    },
}

/// A morph target: vertex index and displacement in decimetres.
pub(crate) type Target = Vec<(u32, Vec3)>;

/// A quad of the base mesh: vertex indices and texture coordinates.
pub(crate) type Quad = ([u32; 4], [Vec2; 4]);

/// The open head geometry, loaded once and shared by all people.
pub struct HeadData {
    folder: PathBuf,
    pub(crate) base: Vec<Vec3>,
    pub(crate) groups: BTreeMap<String, Vec<Quad>>,
    targets: Mutex<BTreeMap<String, Arc<Target>>>,
    pub(crate) topology: Topology,
}

impl std::fmt::Debug for HeadData {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.debug_struct("HeadData")
            .field("folder", &self.folder)
            .finish_non_exhaustive()
    }
}

impl HeadData {
    /// Loads the folder that `script/fetch-heads` fills (`.cache/heads` in the repository).
    ///
    /// # Errors
    /// When a file is missing or damaged.
    pub fn load(folder: &Path) -> Result<Self, HeadsError> {
        let (base, groups) = read_mesh(&folder.join("base.obj"))?;
        let weights = read_weights(&folder.join("weights.json"), base.len())?;
        let masks = Masks {
            lips: Mask::read(&folder.join("masks/lips.jpg"))?,
            ears: Mask::read(&folder.join("masks/ears.jpg"))?,
            mouth: Mask::read(&folder.join("masks/inside-mouth.jpg"))?,
        };
        let topology = Topology::new(&base, &groups, &weights, &masks);
        let data = Self {
            folder: folder.to_path_buf(),
            base,
            groups,
            targets: Mutex::default(),
            topology,
        };
        for unit in crate::expression::FACE_UNITS {
            data.target(unit)?;
        }
        Ok(data)
    }

    /// The target of a name such as `nose/nose-hump-incr` or `fu/jawOpen`.
    pub(crate) fn target(&self, name: &str) -> Result<Arc<Target>, HeadsError> {
        let lock = || {
            self.targets
                .lock()
                .unwrap_or_else(std::sync::PoisonError::into_inner)
        };
        if let Some(t) = lock().get(name) {
            return Ok(t.clone());
        }
        let path = match name.strip_prefix("fu/") {
            Some(unit) => self.folder.join(format!("faceunits/{unit}.target")),
            None => self.folder.join(format!("targets/{name}.target.gz")),
        };
        let bytes = std::fs::read(&path).map_err(|_| HeadsError::NoTarget {
            name: name.into(),
            folder: self.folder.clone(),
        })?;
        let mut text = String::new();
        let read = if name.starts_with("fu/") {
            bytes.as_slice().read_to_string(&mut text)
        } else {
            flate2::read::GzDecoder::new(bytes.as_slice()).read_to_string(&mut text)
        };
        read.map_err(|source| HeadsError::Read {
            path: path.clone(),
            source,
        })?;
        let mut target = Target::new();
        for line in text.lines().filter(|l| !l.starts_with('#')) {
            let numbers: Option<Vec<f32>> =
                line.split_whitespace().map(|n| n.parse().ok()).collect();
            match numbers.as_deref() {
                Some(&[i, x, y, z]) if (i as usize) < self.base.len() => {
                    target.push((i as u32, vec3(x, y, z)));
                }
                Some([]) => {}
                _ => {
                    return Err(HeadsError::Damaged {
                        path,
                        what: format!(
                            "line {line:?}, expected an index below {} and three numbers",
                            self.base.len()
                        ),
                    });
                }
            }
        }
        let target = Arc::new(target);
        lock().insert(name.into(), target.clone());
        Ok(target)
    }

    /// Adds `weight` times a target; `*` in the name stands for both sides.
    pub(crate) fn add(&self, v: &mut [Vec3], name: &str, weight: f32) -> Result<(), HeadsError> {
        if weight == 0.0 {
            return Ok(());
        }
        if let Some((head, tail)) = name.split_once('*') {
            let sides = if name.starts_with("fu/") {
                ["Left", "Right"]
            } else {
                ["l", "r"]
            };
            for side in sides {
                self.add(v, &format!("{head}{side}{tail}"), weight)?;
            }
            return Ok(());
        }
        for &(i, d) in self.target(name)?.iter() {
            v[i as usize] += d * weight;
        }
        Ok(())
    }

    /// Mean of the vertices of a group (joint cubes, eye balls).
    pub(crate) fn centre(&self, v: &[Vec3], group: &str) -> Vec3 {
        let quads = self.groups.get(group).map_or(&[][..], Vec::as_slice);
        let sum: Vec3 = quads
            .iter()
            .flat_map(|(q, _)| q)
            .map(|&i| v[i as usize])
            .sum();
        sum / (quads.len().max(1) * 4) as f32
    }
}

fn read(path: &Path) -> Result<Vec<u8>, HeadsError> {
    std::fs::read(path).map_err(|source| HeadsError::Read {
        path: path.into(),
        source,
    })
}

type Mesh = (Vec<Vec3>, BTreeMap<String, Vec<Quad>>);

fn read_mesh(path: &Path) -> Result<Mesh, HeadsError> {
    let bytes = read(path)?;
    let text = String::from_utf8_lossy(&bytes);
    let damaged = |line: &str| HeadsError::Damaged {
        path: path.into(),
        what: format!("line {line:?}, expected a vertex, a texture coordinate, a group or a quad"),
    };
    let (mut v, mut vt) = (Vec::new(), Vec::new());
    let mut groups: BTreeMap<String, Vec<Quad>> = BTreeMap::new();
    let mut group = String::new();
    for line in text.lines() {
        let mut words = line.split_whitespace();
        let Some(first) = words.next() else { continue };
        let rest: Vec<&str> = words.collect();
        let number = |i: usize| {
            rest.get(i)
                .and_then(|w| w.parse::<f32>().ok())
                .filter(|x| x.is_finite())
                .ok_or_else(|| damaged(line))
        };
        match first {
            "v" => v.push(vec3(number(0)?, number(1)?, number(2)?)),
            "vt" => vt.push(vec2(number(0)?, number(1)?)),
            "g" => group = rest.first().unwrap_or(&"").to_string(),
            "f" if rest.len() == 4 => {
                let (mut a, mut b) = ([0u32; 4], [Vec2::ZERO; 4]);
                for i in 0..4 {
                    let mut parts = rest[i].split('/').map(|n| n.parse::<usize>().unwrap_or(0));
                    let (pi, ti) = (parts.next().unwrap_or(0), parts.next().unwrap_or(0));
                    if pi == 0 || pi > v.len() || ti == 0 || ti > vt.len() {
                        return Err(damaged(line));
                    }
                    a[i] = pi as u32 - 1;
                    b[i] = vt[ti - 1];
                }
                groups.entry(group.clone()).or_default().push((a, b));
            }
            _ => {}
        }
    }
    if v.len() != 19_158 {
        return Err(HeadsError::Damaged {
            path: path.into(),
            what: format!("{} vertices, expected 19158", v.len()),
        });
    }
    Ok((v, groups))
}

fn read_weights(path: &Path, n: usize) -> Result<BTreeMap<String, Vec<f32>>, HeadsError> {
    let json: serde_json::Value =
        serde_json::from_slice(&read(path)?).map_err(|e| HeadsError::Damaged {
            path: path.into(),
            what: e.to_string(),
        })?;
    let bones = json["weights"]
        .as_object()
        .ok_or_else(|| HeadsError::Damaged {
            path: path.into(),
            what: "no object \"weights\"".into(),
        })?;
    let mut out = BTreeMap::new();
    for bone in [
        "head",
        "neck_01",
        "upperarm_l",
        "upperarm_r",
        "lowerarm_l",
        "lowerarm_r",
    ] {
        let mut w = vec![0f32; n];
        let pairs =
            bones
                .get(bone)
                .and_then(|b| b.as_array())
                .ok_or_else(|| HeadsError::Damaged {
                    path: path.into(),
                    what: format!("no weights of bone {bone}"),
                })?;
        for pair in pairs {
            if let (Some(i), Some(x)) = (pair[0].as_u64(), pair[1].as_f64())
                && let Some(slot) = w.get_mut(i as usize)
            {
                *slot = x as f32;
            }
        }
        out.insert(bone.to_string(), w);
    }
    Ok(out)
}

pub(crate) struct Masks {
    pub(crate) lips: Mask,
    pub(crate) ears: Mask,
    pub(crate) mouth: Mask,
}

/// A grey picture over the texture plane, white = inside.
pub(crate) struct Mask {
    w: usize,
    h: usize,
    px: Vec<u8>,
}

impl Mask {
    fn read(path: &Path) -> Result<Self, HeadsError> {
        let picture = image::load_from_memory(&read(path)?)
            .map_err(|e| HeadsError::Damaged {
                path: path.into(),
                what: e.to_string(),
            })?
            .to_luma8();
        Ok(Self {
            w: picture.width() as usize,
            h: picture.height() as usize,
            px: picture.into_raw(),
        })
    }

    /// Bilinear value at a texture coordinate (v up), 0..1.
    pub(crate) fn at(&self, uv: Vec2) -> f32 {
        let x = (uv.x * self.w as f32 - 0.5).clamp(0.0, self.w as f32 - 1.001);
        let y = ((1.0 - uv.y) * self.h as f32 - 0.5).clamp(0.0, self.h as f32 - 1.001);
        let (xi, yi) = (x as usize, y as usize);
        let (fx, fy) = (x - xi as f32, y - yi as f32);
        let g = |a: usize, b: usize| f32::from(self.px[b * self.w + a]) / 255.0;
        (g(xi, yi) * (1.0 - fx) + g(xi + 1, yi) * fx) * (1.0 - fy)
            + (g(xi, yi + 1) * (1.0 - fx) + g(xi + 1, yi + 1) * fx) * fy
    }
}
