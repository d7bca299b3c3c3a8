//! Whole frames of the cast. Needs the head geometry: run `script/fetch-heads` first.

use std::path::{Path, PathBuf};
use std::sync::{Arc, OnceLock};

use glam::{Vec3, vec3};
use inkarnat_heads::demo::{Mood, lighting, portrait};
use inkarnat_heads::{
    Ambient, Backdrop, Baked, Band, Buffers, Camera, Covering, Cut, Expression, FacePoint,
    Foreground, HeadData, Light, Pigment, Placement, ReadPart, Reflector, Region, Scene, Shade,
    ShadeTables, Size, cast, render, shade,
};

fn folder() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("../../.cache/heads")
}

fn data() -> &'static HeadData {
    static D: OnceLock<HeadData> = OnceLock::new();
    D.get_or_init(|| {
        HeadData::load(&folder()).expect("script/fetch-heads brings the head geometry")
    })
}

/// Jun, Samira (scarf) and Naledi (vitiligo), baked once.
fn three() -> &'static [Baked] {
    static B: OnceLock<Vec<Baked>> = OnceLock::new();
    B.get_or_init(|| {
        [2, 4, 7]
            .map(|k| Baked::new(data(), &cast()[k]).expect("a cast member bakes"))
            .into()
    })
}

const SMALL: Size = Size {
    width: 320,
    height: 180,
    samples: 2,
};

fn scene(person: usize) -> Scene {
    let mut s = portrait(0, Mood::SoftWindow, 16.0 / 9.0, SMALL.height);
    s.people[0].person = person;
    s
}

/// Every light has its own colour; skin is told by its first score.
fn response(light: usize, path: &[Reflector], band: Band) -> [f32; 3] {
    let mut c = [[1.0, 0.9, 0.7], [0.6, 0.8, 1.0], [0.9, 1.0, 0.8]][light];
    for r in path {
        let k = match r {
            Reflector::Skin(s) => [0.45, 0.27, 0.19].map(|x: f32| x * 10f32.powf(-0.17 * s[0])),
            Reflector::Pigment(Pigment::Neutral(r)) => [*r; 3],
            Reflector::Pigment(Pigment::Colour(c)) => *c,
            Reflector::Tint(_) => [1.0; 3],
        };
        for i in 0..3 {
            c[i] *= k[i];
        }
    }
    match band {
        Band::All => c,
        Band::Short => c.map(|x| x * 0.4),
        Band::Long => c.map(|x| x * 0.6),
    }
}

fn picture(s: &Scene, size: Size) -> (Buffers, Vec<[f32; 3]>) {
    let b = render(data(), s, three(), size).expect("the scene renders");
    let p = shade(&b, &ShadeTables::new(&b, &response));
    (b, p)
}

#[test]
fn same_scene_same_numbers() {
    let (a, p) = picture(&scene(0), SMALL);
    let (b, q) = picture(&scene(0), SMALL);
    assert_eq!(a.faces, b.faces);
    assert!(p == q, "two renderings of one scene differ");
    // And whatever the number of threads.
    let one = rayon::ThreadPoolBuilder::new()
        .num_threads(1)
        .build()
        .expect("a pool of one thread");
    let r = one.install(|| picture(&scene(0), SMALL).1);
    assert!(p == r, "one thread gives another picture");
}

#[test]
fn regions_and_set_fill_every_pixel_once() {
    for person in 0..3 {
        let (b, _) = picture(&scene(person), SMALL);
        let mut sum = b.backdrop_coverage();
        for r in Region::ALL {
            for (s, c) in sum.iter_mut().zip(b.coverage(0, r)) {
                assert!((0.0..=1.0).contains(&c));
                *s += c;
            }
        }
        // Shares are quarters: exact in binary.
        assert!(
            sum.iter().all(|s| *s == 1.0),
            "coverage of person {person} does not sum to 1"
        );
    }
}

#[test]
fn a_portrait_shows_its_regions_where_they_belong() {
    let (b, _) = picture(&scene(0), SMALL);
    let centre = |r: Region| {
        let c = b.coverage(0, r);
        let total: f32 = c.iter().sum();
        let at = |f: &dyn Fn(usize) -> f32| {
            c.iter().enumerate().map(|(i, c)| c * f(i)).sum::<f32>() / total
        };
        (
            total,
            at(&|i| (i % SMALL.width) as f32),
            at(&|i| (i / SMALL.width) as f32),
        )
    };
    for r in [
        Region::Forehead,
        Region::LeftCheek,
        Region::RightCheek,
        Region::Nose,
        Region::Chin,
        Region::Lips,
    ] {
        assert!(centre(r).0 > 20.0, "{r:?} covers {} pixels", centre(r).0);
    }
    assert!(centre(Region::LeftCheek).1 > centre(Region::Nose).1);
    assert!(centre(Region::RightCheek).1 < centre(Region::Nose).1);
    let heights = [
        Region::Hair,
        Region::Forehead,
        Region::Eyes,
        Region::Nose,
        Region::Lips,
        Region::Chin,
        Region::Garment,
    ];
    for w in heights.windows(2) {
        assert!(
            centre(w[0]).2 < centre(w[1]).2,
            "{:?} lies below {:?}",
            w[0],
            w[1]
        );
    }
    let f = &b.faces[0];
    let frame = f.face_box.expect("a face in the picture");
    for p in [
        FacePoint::NoseTip,
        FacePoint::MouthLeft,
        FacePoint::MouthRight,
        FacePoint::LeftEyeOuter,
    ] {
        let q = f.points[p as usize];
        assert!(
            q.x > frame[0] && q.x < frame[2] && q.y > frame[1] && q.y < frame[3],
            "{p:?} at {q} is outside of {frame:?}"
        );
    }
    let nose = f.points[FacePoint::NoseTip as usize];
    let c = b.coverage(0, Region::Nose);
    assert!(
        c[nose.y as usize * SMALL.width + nose.x as usize] > 0.0,
        "the tip of the nose is no nose"
    );
}

/// The parts that are read are bare skin, lie where their names say, and move with the head.
#[test]
fn parts_that_are_read_are_bare_skin_in_their_places() {
    for person in 0..3 {
        let (b, _) = picture(&scene(person), SMALL);
        let skin: Vec<Region> = Region::ALL.into_iter().filter(|r| r.is_skin()).collect();
        let skin = b.coverage_of(0, &skin);
        let parts = ReadPart::ALL.map(|part| b.read_coverage(0, part));
        for (i, skin) in skin.iter().enumerate() {
            let sum: f32 = parts.iter().map(|part| part[i]).sum();
            assert!(
                sum <= *skin,
                "person {person}: read is {sum} of {skin} of skin"
            );
        }
        let middle = |k: usize| {
            let total: f32 = parts[k].iter().sum();
            assert!(
                total > 4.0,
                "person {person}: {:?} {total}",
                ReadPart::ALL[k]
            );
            let at = |f: &dyn Fn(usize) -> f32| {
                let sum: f32 = parts[k].iter().enumerate().map(|(i, c)| c * f(i)).sum();
                sum / total
            };
            (
                at(&|i| (i % SMALL.width) as f32 + 0.5),
                at(&|i| (i / SMALL.width) as f32 + 0.5),
            )
        };
        let eyes = b.faces[0].points[FacePoint::LeftEyeInner as usize];
        assert!(
            middle(0).1 < eyes.y,
            "person {person}: forehead below the eyes"
        );
        // As seen from the front: right cheek, right flank, left flank, left cheek.
        let across = [1, 3, 4, 2].map(|k| middle(k).0);
        assert!(across.is_sorted(), "person {person}: {across:?}");
        let face = b.faces[0].face_box.expect("a face in the picture");
        let width = face[2] - face[0];
        for (side, cheek) in [1, 2].into_iter().enumerate() {
            let (x, y) = middle(cheek);
            assert!(y > eyes.y, "person {person}: cheek above the eyes");
            // The three points surround about the middle of the cheek.
            let of = b.faces[0].cheeks[side];
            let (px, py) = (
                of.iter().map(|p| p.x).sum::<f32>() / 3.0,
                of.iter().map(|p| p.y).sum::<f32>() / 3.0,
            );
            let off = (px - x).hypot(py - y);
            assert!(off < 0.1 * width, "person {person}: {off} of {width}");
        }
    }
}

/// Never unclothed: below the collar bones everything is cloth (or hair), whatever the cut and the turn.
#[test]
fn everybody_is_clothed() {
    let size = Size {
        width: 160,
        height: 160,
        samples: 1,
    };
    for person in &cast() {
        let baked = [Baked::new(data(), person).expect("a cast member bakes")];
        for yaw in [-0.8f32, 0.0, 0.8, 2.2, 3.1] {
            let mut s = scene(0);
            s.people[0].body_yaw = yaw;
            s.people[0].head = vec3(-yaw * 0.3, 0.0, 0.0);
            s.camera = Camera::front(vec3(0.0, 4.75, 0.0), 20.0, 3.0);
            let b = render(data(), &s, &baked, size).expect("the scene renders");
            let skin = b.coverage_of(
                0,
                &Region::ALL
                    .into_iter()
                    .filter(|r| r.is_skin())
                    .collect::<Vec<_>>(),
            );
            // The picture spans y = 6.25 down to 3.25; 4.75 is the middle row, below every neckline.
            let low: f32 = skin[size.width * size.height / 2..].iter().sum();
            assert!(
                low == 0.0,
                "{} at yaw {yaw}: {low} pixels of skin below the chest",
                person.name
            );
            let cloth: f32 = b.coverage(0, Region::Garment)[size.width * size.height / 2..]
                .iter()
                .sum();
            assert!(
                cloth > 2000.0,
                "{} at yaw {yaw}: {cloth} pixels of cloth",
                person.name
            );
        }
    }
    assert!(
        cast()
            .iter()
            .any(|p| matches!(p.covering, Some(Covering::Scarf(_))))
    );
    assert!(cast().iter().any(|p| p.garment.cut == Cut::Shirt));
}

#[test]
fn light_adds_up() {
    let mut both = scene(2);
    both.lights.push(Light {
        radius: 0.3,
        ..both.lights[0].clone()
    });
    both.lights[2].position.x = -9.0;
    both.backdrop_gain = vec![0.0; 4];
    let only = |k: usize| {
        let mut s = both.clone();
        for (i, l) in s.lights.iter_mut().enumerate() {
            if i != k {
                l.irradiance = 0.0;
            }
        }
        s.ambients
            .iter_mut()
            .for_each(|a| (a.up, a.side, a.down) = (0.0, 0.0, 0.0));
        picture(&s, SMALL).1
    };
    let ambient = {
        let mut s = both.clone();
        s.lights.iter_mut().for_each(|l| l.irradiance = 0.0);
        picture(&s, SMALL).1
    };
    let parts = [only(0), only(1), only(2), ambient];
    let whole = picture(&both, SMALL).1;
    let mut lit = 0;
    for (i, p) in whole.iter().enumerate() {
        for c in 0..3 {
            let sum: f32 = parts.iter().map(|q| q[i][c]).sum();
            // f32 sums of some dozen terms; and the floor at zero of tilted normals, which acts light by light.
            assert!(
                (sum - p[c]).abs() <= 2e-5 + 1e-4 * p[c],
                "pixel {i}: parts {sum}, whole {}",
                p[c]
            );
            lit += usize::from(p[c] > 0.01);
        }
    }
    assert!(lit > 10_000, "only {lit} values are lit");
    // Twice the light, twice the response.
    let mut twice = both.clone();
    twice.lights[0].irradiance *= 2.0;
    twice.lights[1].irradiance = 0.0;
    twice.lights[2].irradiance = 0.0;
    twice
        .ambients
        .iter_mut()
        .for_each(|a| (a.up, a.side, a.down) = (0.0, 0.0, 0.0));
    for (a, b) in picture(&twice, SMALL).1.iter().zip(&parts[0]) {
        for c in 0..3 {
            assert!((a[c] - 2.0 * b[c]).abs() <= 1e-5 + 1e-4 * a[c]);
        }
    }
}

/// Skin under one frontal light: its mean over the forehead lies between what the cosine lets arrive and a perfect
/// exposure; no energy appears.
#[test]
fn no_more_light_leaves_than_arrives() {
    let mut s = scene(0);
    s.people[0].head = Vec3::ZERO;
    s.lights = vec![Light {
        position: vec3(0.0, 7.4, 30.0),
        radius: 6.0,
        irradiance: 1.0,
        falloff: false,
        shades: Vec::new(),
    }];
    s.ambients = vec![Ambient {
        light: 0,
        via: None,
        up: 0.0,
        side: 0.0,
        down: 0.0,
    }];
    s.backdrop_gain = vec![0.0; 2];
    // Skin that reflects 0.5 whatever its scores, and no specular: only the matte terms are counted.
    let grey = |_: usize, path: &[Reflector], band: Band| {
        let k = match band {
            Band::All => 1.0,
            Band::Short | Band::Long => 0.5,
        };
        [path.iter()
            .fold(if path.is_empty() { 0.0 } else { 1.0 }, |c, _| c * 0.5)
            * k; 3]
    };
    let b = render(data(), &s, three(), SMALL).expect("the scene renders");
    let p = shade(&b, &ShadeTables::new(&b, &grey));
    let forehead = b.coverage(0, Region::Forehead);
    let (mut sum, mut n) = (0.0, 0.0);
    for (c, p) in forehead.iter().zip(&p) {
        if *c == 1.0 {
            sum += p[0];
            n += 1.0;
            assert!(
                p[0] <= 0.5 * 1.15,
                "a matte surface of reflectance 0.5 shades to {}",
                p[0]
            );
        }
    }
    let mean = sum / n;
    assert!(
        mean > 0.36 && mean < 0.52,
        "forehead of reflectance 0.5 facing the light shades to {mean}"
    );
}

#[test]
fn a_set_of_known_reflectance_shades_to_it() {
    let (_, _, mut set) = lighting(Mood::Flat);
    set.pools = vec![
        inkarnat_heads::Pool::even(1.0),
        inkarnat_heads::Pool::even(0.0),
        inkarnat_heads::Pool::even(0.0),
    ];
    set.blur = 0.0;
    set.texture = 0.0;
    let mut s = scene(0);
    s.people.clear();
    s.backdrop = Arc::new(Backdrop::paint(&set, 16.0 / 9.0, SMALL.height));
    s.backdrop_gain = vec![1.0, 1.0, 1.0];
    let white = |_: usize, path: &[Reflector], _: Band| {
        [path.iter().fold(1.0, |c, r| match r {
            Reflector::Pigment(Pigment::Neutral(r)) => c * r,
            _ => c * 0.5,
        }); 3]
    };
    let b = render(data(), &s, three(), SMALL).expect("the scene renders");
    let p = shade(&b, &ShadeTables::new(&b, &white));
    let white_thing = b.set_coverage(&|m| m.name == "white thing");
    let mut n = 0;
    for (c, p) in white_thing.iter().zip(&p) {
        if *c > 0.999 {
            // Sums of f32 shares of one material.
            assert!(
                (p[0] - 0.80).abs() < 1e-5,
                "a board of reflectance 0.80 under unit light shades to {}",
                p[0]
            );
            n += 1;
        }
    }
    assert!(n > 500, "{n} pixels of the white board");
}

#[test]
fn a_shade_takes_its_light_and_nothing_else() {
    let mut s = scene(0);
    s.ambients
        .iter_mut()
        .for_each(|a| (a.up, a.side, a.down) = (0.0, 0.0, 0.0));
    s.lights.truncate(1);
    s.ambients.truncate(1);
    s.lights[0].position = vec3(0.0, 8.0, 20.0);
    let open = picture(&s, SMALL).1;
    s.lights[0].shades = vec![Shade {
        normal: Vec3::X,
        offset: 0.0,
        width: f32::INFINITY,
        softness: 0.02,
        transmission: 0.0,
    }];
    let (b, half) = picture(&s, SMALL);
    let (left, right) = (
        b.coverage(0, Region::LeftCheek),
        b.coverage(0, Region::RightCheek),
    );
    let mean = |m: &[f32], p: &[[f32; 3]]| {
        m.iter().zip(p).map(|(m, p)| m * p[1]).sum::<f32>() / m.iter().sum::<f32>()
    };
    // What remains on the shaded side has come once by way of the lit half and through the skin.
    assert!(
        mean(&left, &half) < 0.2 * mean(&left, &open),
        "{} of {}",
        mean(&left, &half),
        mean(&left, &open)
    );
    assert!(
        mean(&right, &half) > 0.8 * mean(&right, &open),
        "{} of {}",
        mean(&right, &half),
        mean(&right, &open)
    );
}

#[test]
fn lids_close_and_mouths_open() {
    let at = |e: Expression| {
        let mut s = scene(0);
        s.people[0].expression = e;
        let (b, _) = picture(
            &s,
            Size {
                width: 640,
                height: 360,
                samples: 2,
            },
        );
        let sum = |r| b.coverage(0, r).iter().sum::<f32>();
        (sum(Region::Eyes), sum(Region::Mouth))
    };
    let rest = at(Expression::default());
    let shut = at(Expression {
        blink: 1.0,
        ..Expression::default()
    });
    let open = at(Expression {
        open: 1.0,
        ..Expression::default()
    });
    assert!(
        shut.0 < 0.55 * rest.0,
        "eyes cover {} open and {} shut (lashes remain)",
        rest.0,
        shut.0
    );
    assert!(
        open.1 > 4.0 * rest.1.max(4.0),
        "mouth covers {} at rest and {} open",
        rest.1,
        open.1
    );
}

#[test]
fn two_people_and_a_rail_share_a_picture() {
    let mut s = scene(0);
    s.people[0].position = vec3(-1.6, 0.0, 0.0);
    s.people.push(Placement {
        person: 2,
        position: vec3(1.6, 0.1, -0.5),
        body_yaw: -0.3,
        ..Placement::default()
    });
    s.camera = Camera::front(vec3(0.0, 7.0, 0.5), 24.0, 9.0);
    s.foreground = Some(Foreground {
        top: 0.8,
        softness: 0.01,
        pigment: Pigment::Colour([0.2, 0.1, 0.05]),
        irradiance: [0.5; 8],
    });
    let (b, p) = picture(&s, SMALL);
    let bad = p
        .iter()
        .position(|p| !p.iter().all(|x| x.is_finite() && *x >= 0.0));
    assert!(
        bad.is_none(),
        "pixel {bad:?} shades to {:?}",
        bad.map(|i| p[i])
    );
    let boxes: Vec<[f32; 4]> = b
        .faces
        .iter()
        .map(|f| f.face_box.expect("both faces are seen"))
        .collect();
    assert!(boxes[0][2] < boxes[1][0], "faces overlap: {boxes:?}");
    let last = SMALL.width * (SMALL.height - 1);
    assert!(
        b.coverage(0, Region::Garment)[last..]
            .iter()
            .all(|c| *c == 0.0),
        "the rail hides what is below"
    );
}
