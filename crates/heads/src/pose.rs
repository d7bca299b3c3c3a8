//! Composition of a person's shape and posing of head, neck and arms.

use glam::{Mat3, Vec3, vec3};
use rayon::prelude::*;

use crate::data::{HeadData, HeadsError};
use crate::expression::Expression;
use crate::person::Person;
use crate::topology::Part;

/// Middle of the eyes of every person at rest, dm.
pub(crate) const EYE_MIDDLE: Vec3 = Vec3::new(0.0, 7.28, 1.22);

/// The person's neutral shape: base mesh plus weighted targets, eyes moved to [`EYE_MIDDLE`].
pub(crate) fn compose(data: &HeadData, p: &Person) -> Result<Vec<Vec3>, HeadsError> {
    let mut v = data.base.clone();
    let old = ((p.age - 0.5) * 2.0).clamp(0.0, 1.0);
    let three = |x: f32| {
        [
            ("min", (1.0 - 2.0 * x).max(0.0)),
            ("average", 1.0 - (2.0 * x - 1.0).abs()),
            ("max", (2.0 * x - 1.0).max(0.0)),
        ]
    };
    for (sex, ws) in [("female", 1.0 - p.male), ("male", p.male)] {
        for (age, wa) in [("young", 1.0 - old), ("old", old)] {
            for (k, origin) in ["african", "asian", "caucasian"].iter().enumerate() {
                data.add(
                    &mut v,
                    &format!("macrodetails/{origin}-{sex}-{age}"),
                    ws * wa * p.origin[k],
                )?;
            }
            for (muscle, wm) in three(p.muscle) {
                for (weight, ww) in three(p.weight) {
                    let name =
                        format!("macrodetails/universal-{sex}-{age}-{muscle}muscle-{weight}weight");
                    data.add(&mut v, &name, ws * wa * wm * ww)?;
                }
            }
        }
    }
    for (name, w) in &p.shape {
        data.add(&mut v, name, *w)?;
    }
    // Without it the eyes of the base mesh look sleepy.
    data.add(&mut v, "fu/eyeWide*", 0.25)?;
    let middle = (data.centre(&v, "helper-l-eye") + data.centre(&v, "helper-r-eye")) * 0.5;
    let shift = EYE_MIDDLE - middle;
    v.iter_mut().for_each(|p| *p += shift);
    Ok(v)
}

/// The shape with an expression.
pub(crate) fn express(
    data: &HeadData,
    neutral: &[Vec3],
    e: &Expression,
) -> Result<Vec<Vec3>, HeadsError> {
    let mut v = neutral.to_vec();
    for (name, w) in e.units() {
        data.add(&mut v, name, w)?;
    }
    // As supplied, teeth and tongue sit too high and too far back to be seen in an open mouth.
    let k = (e.jaw() / 0.15).min(1.0);
    let mut shift = |range: std::ops::RangeInclusive<usize>, d: Vec3| {
        v[range].iter_mut().for_each(|p| *p += d * k);
    };
    shift(13_380..=13_605, vec3(0.0, -0.13, -0.06));
    shift(14_992..=15_059, vec3(0.0, -0.02, 0.02));
    shift(15_060..=15_127, vec3(0.0, -0.050, 0.030));
    Ok(v)
}

/// Joints of a person at rest.
#[derive(Clone, Copy)]
pub(crate) struct Joints {
    pub(crate) neck: Vec3,
    pub(crate) head: Vec3,
    pub(crate) shoulder: [Vec3; 2],
}

impl Joints {
    pub(crate) fn new(data: &HeadData, v: &[Vec3]) -> Self {
        Self {
            neck: data.centre(v, "joint-neck"),
            head: data.centre(v, "joint-head") - vec3(0.0, 0.45, 0.1),
            shoulder: [
                data.centre(v, "joint-l-shoulder"),
                data.centre(v, "joint-r-shoulder"),
            ],
        }
    }
}

/// Rotation of head and neck and the placing of the body in the world.
#[derive(Clone, Copy)]
pub(crate) struct Turn {
    neck: Mat3,
    head: Mat3,
    pub(crate) body: Mat3,
    pub(crate) shift: Vec3,
    joints: Joints,
    breath: f32,
}

fn rotation(ypr: Vec3) -> Mat3 {
    Mat3::from_rotation_y(ypr.x) * Mat3::from_rotation_x(ypr.y) * Mat3::from_rotation_z(ypr.z)
}

impl Turn {
    pub(crate) fn new(joints: Joints, head: Vec3, body_yaw: f32, shift: Vec3, breath: f32) -> Self {
        Self {
            neck: rotation(head * 0.4),
            head: rotation(head * 0.6),
            body: Mat3::from_rotation_y(body_yaw),
            shift,
            joints,
            breath,
        }
    }

    pub(crate) fn rest(joints: Joints) -> Self {
        Self::new(joints, Vec3::ZERO, 0.0, Vec3::ZERO, 0.0)
    }

    /// Rotation of the head in the world.
    pub(crate) fn head_rotation(&self) -> Mat3 {
        self.body * self.neck * self.head
    }

    /// A point moved by the bones (`head`, `neck`: its shares of them), then placed in the world.
    pub(crate) fn point(&self, p: Vec3, head: f32, neck: f32) -> Vec3 {
        let mut q = p;
        if head > 0.0 {
            q = q.lerp(self.joints.head + self.head * (q - self.joints.head), head);
        }
        let n = (head + neck).min(1.0);
        if n > 0.0 {
            q = q.lerp(self.joints.neck + self.neck * (q - self.joints.neck), n);
        }
        let lift = self.breath * crate::math::smooth(6.2, 5.0, p.y) * 0.03;
        q += vec3(0.0, lift, lift * 0.8);
        self.body * q + self.shift
    }
}

/// Arms lowered from the pose of the base mesh.
pub(crate) fn lower_arms(part: &Part, v: &[Vec3], joints: &Joints) -> Vec<Vec3> {
    let mut c: Vec<Vec3> = part.base.iter().map(|&i| v[i as usize]).collect();
    for (i, p) in c.iter_mut().enumerate() {
        for s in 0..2 {
            let w = part.arm[s][i];
            if w > 0.0 {
                let r = Mat3::from_rotation_z(if s == 0 { -0.52 } else { 0.52 } * w);
                *p = joints.shoulder[s] + r * (*p - joints.shoulder[s]);
            }
        }
    }
    c
}

/// Area-weighted vertex normals.
pub(crate) fn normals(p: &[Vec3], quads: &[[u32; 4]]) -> Vec<Vec3> {
    let mut n = vec![Vec3::ZERO; p.len()];
    for q in quads {
        let [a, b, c, d] = q.map(|i| p[i as usize]);
        let k = (c - a).cross(d - b);
        for &i in q {
            n[i as usize] += k;
        }
    }
    n.par_iter_mut()
        .with_min_len(4096)
        .for_each(|x| *x = x.normalize_or(Vec3::Z));
    n
}

/// A part posed at both subdivision levels.
pub(crate) struct Posed {
    pub(crate) p1: Vec<Vec3>,
    pub(crate) n1: Vec<Vec3>,
    pub(crate) p2: Vec<Vec3>,
    pub(crate) n2: Vec<Vec3>,
}

/// Poses the skin.
pub(crate) fn pose_skin(part: &Part, v: &[Vec3], joints: &Joints, turn: &Turn) -> Posed {
    let mut c = lower_arms(part, v, joints);
    for (i, p) in c.iter_mut().enumerate() {
        *p = turn.point(*p, part.head[i], part.neck[i]);
    }
    let p1 = part.from0.apply(&c);
    let n1 = normals(&p1, &part.mesh1.quads);
    let p2 = part.from1.apply(&p1);
    let n2 = normals(&p2, &part.mesh2.quads);
    Posed { p1, n1, p2, n2 }
}

impl Turn {
    /// The rest position of a point that moves with the head.
    pub(crate) fn undo_head(&self, p: Vec3) -> Vec3 {
        let q = self.body.transpose() * (p - self.shift);
        let q = self.joints.neck + self.neck.transpose() * (q - self.joints.neck);
        self.joints.head + self.head.transpose() * (q - self.joints.head)
    }
}
