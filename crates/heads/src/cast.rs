//! The invented cast.

use crate::person::{
    Beard, Complexion, Covering, Cut, Garment, Hair, HairStyle, Pattern, Person, Pigment,
    Spectacles,
};

fn plain(name: &str, seed: u32) -> Person {
    Person {
        name: name.into(),
        seed,
        male: 0.0,
        age: 0.55,
        weight: 0.5,
        muscle: 0.5,
        origin: [0.0, 0.0, 1.0],
        shape: Vec::new(),
        skin: Complexion {
            scores: [-0.5, 0.0, 0.0, 0.0],
            blush: 0.6,
            freckles: 0.0,
            under_eye: 0.5,
            mottle: 0.5,
            lips: [0.02, 0.16],
            vitiligo: 0.0,
            sheen: 0.5,
        },
        iris: [0.06, 0.035, 0.015],
        hair: Hair {
            style: HairStyle::Short,
            colour: [0.03, 0.02, 0.014],
            grey: 0.0,
            brows: [0.02, 0.014, 0.010],
            brow_density: 1.0,
            recede: 0.0,
        },
        beard: Beard {
            cover: 0.0,
            length: 0.0,
        },
        spectacles: None,
        covering: None,
        garment: Garment {
            cut: Cut::Crew,
            pattern: Pattern::Plain,
            colour: Pigment::Colour([0.2, 0.25, 0.35]),
            second: Pigment::Neutral(0.75),
        },
    }
}

fn shape(list: &[(&str, f32)]) -> Vec<(String, f32)> {
    list.iter()
        .map(|(n, w)| ((*n).to_string(), w * 1.5))
        .collect()
}

/// Nine people, from very light to deep, women and men, younger and older.
///
/// In order: Ines (very light, freckles, long red waves), Henk (very light, older, spectacles), Jun (light),
/// Marta (light to medium, older, grey bob, spectacles), Samira (medium, scarf), Rafael (tan, full beard),
/// Ama (brown, afro), Naledi (dark, vitiligo, short coils, spectacles), Bram (deep, older, grey).
#[must_use]
pub fn cast() -> Vec<Person> {
    vec![
        ines(),
        henk(),
        jun(),
        marta(),
        samira(),
        rafael(),
        ama(),
        naledi(),
        bram(),
    ]
}

fn ines() -> Person {
    let mut p = plain("Ines", 11);
    p.age = 0.52;
    p.shape = shape(&[
        ("head/head-oval", 0.4),
        ("nose/nose-point-up", 0.35),
        ("nose/nose-scale-horiz-decr", 0.25),
        ("mouth/mouth-upperlip-volume-incr", 0.35),
        ("eyes/*-eye-scale-incr", 0.2),
        ("cheek/*-cheek-bones-incr", 0.4),
        ("chin/chin-width-decr", 0.3),
        ("eyes/*-eye-height2-incr", 0.30),
        ("head/head-invertedtriangular", 0.45),
        ("eyes/*-eye-trans-out", 0.25),
        ("mouth/mouth-scale-horiz-incr", 0.3),
        ("forehead/forehead-scale-vert-incr", 0.3),
        ("chin/chin-height-decr", 0.3),
    ]);
    p.skin.scores = [-1.20, -0.24, -0.03, -0.01];
    p.skin.blush = 0.75;
    p.skin.freckles = 0.8;
    p.skin.lips = [0.0, 0.15];
    p.iris = [0.13, 0.20, 0.15];
    p.hair = Hair {
        style: HairStyle::Wavy,
        colour: [0.235, 0.078, 0.026],
        grey: 0.0,
        brows: [0.15, 0.068, 0.032],
        brow_density: 0.8,
        recede: 0.0,
    };
    p.garment = Garment {
        cut: Cut::Crew,
        pattern: Pattern::Rib,
        colour: Pigment::Colour([0.055, 0.15, 0.125]),
        second: Pigment::Neutral(0.7),
    };
    p
}

fn henk() -> Person {
    let mut p = plain("Henk", 88);
    p.male = 1.0;
    p.age = 0.86;
    p.weight = 0.62;
    p.shape = shape(&[
        ("head/head-square", 0.35),
        ("nose/nose-hump-incr", 0.45),
        ("nose/nose-volume-incr", 0.35),
        ("ears/*-ear-scale-incr", 0.3),
        ("chin/chin-jaw-drop-incr", 0.3),
        ("mouth/mouth-scale-horiz-incr", 0.3),
        ("mouth/mouth-upperlip-volume-decr", 0.4),
        ("cheek/*-cheek-volume-decr", 0.3),
        ("eyes/*-eye-bag-incr", 0.45),
        ("forehead/forehead-scale-vert-incr", 0.4),
        ("mouth/mouth-angles-up", 0.3),
    ]);
    p.skin.scores = [-0.98, -0.15, -0.07, 0.0];
    p.skin.blush = 1.0;
    p.skin.mottle = 0.8;
    p.skin.lips = [0.02, 0.10];
    p.iris = [0.13, 0.19, 0.25];
    p.hair = Hair {
        style: HairStyle::Swept,
        colour: [0.16, 0.13, 0.10],
        grey: 0.75,
        brows: [0.20, 0.17, 0.14],
        brow_density: 0.8,
        recede: 1.0,
    };
    p.beard = Beard {
        cover: 0.12,
        length: 0.0,
    };
    p.spectacles = Some(Spectacles {
        colour: [0.035, 0.022, 0.016],
        square: 1.0,
        wire: 0.020,
    });
    p.garment = Garment {
        cut: Cut::Shirt,
        pattern: Pattern::Heather,
        colour: Pigment::Colour([0.42, 0.50, 0.62]),
        second: Pigment::Colour([0.26, 0.33, 0.46]),
    };
    p
}

fn jun() -> Person {
    let mut p = plain("Jun", 44);
    p.male = 1.0;
    p.age = 0.52;
    p.origin = [0.0, 1.0, 0.0];
    p.shape = shape(&[
        ("head/head-rectangular", 0.3),
        ("nose/nose-scale-depth-incr", 0.2),
        ("chin/chin-height-incr", 0.25),
        ("eyes/*-eye-trans-out", 0.15),
        ("mouth/mouth-scale-horiz-incr", 0.25),
        ("ears/*-ear-wing-incr", 0.2),
        ("neck/neck-scale-horiz-incr", 0.3),
        ("eyes/*-eye-height2-incr", 0.35),
        ("chin/chin-width-incr", 0.35),
        ("nose/nose-width2-incr", 0.3),
        ("head/head-scale-vert-incr", 0.25),
        ("eyebrows/eyebrows-trans-up", 0.2),
    ]);
    p.skin.scores = [-0.66, 0.02, 0.01, -0.02];
    p.skin.blush = 0.45;
    p.skin.lips = [0.03, 0.14];
    p.iris = [0.04, 0.022, 0.011];
    p.hair.style = HairStyle::Short;
    p.hair.colour = [0.013, 0.011, 0.010];
    p.hair.brows = [0.013, 0.011, 0.010];
    p.beard = Beard {
        cover: 0.14,
        length: 0.0,
    };
    p.garment = Garment {
        cut: Cut::Jacket,
        pattern: Pattern::Plain,
        colour: Pigment::Colour([0.030, 0.036, 0.055]),
        second: Pigment::Colour([0.72, 0.71, 0.68]),
    };
    p
}

fn marta() -> Person {
    let mut p = plain("Marta", 55);
    p.age = 0.84;
    p.weight = 0.6;
    p.origin = [0.1, 0.25, 0.65];
    p.shape = shape(&[
        ("head/head-fat-incr", 0.3),
        ("nose/nose-curve-convex", 0.35),
        ("nose/nose-point-down", 0.2),
        ("eyes/*-eye-bag-incr", 0.45),
        ("mouth/mouth-laugh-lines-in", 0.4),
        ("mouth/mouth-scale-horiz-decr", 0.3),
        ("cheek/*-cheek-trans-down", 0.3),
        ("neck/neck-double-incr", 0.3),
        ("eyes/*-eye-eyefold-down", 0.25),
    ]);
    p.skin.scores = [-0.62, -0.05, -0.02, 0.0];
    p.skin.blush = 0.8;
    p.skin.mottle = 0.8;
    p.skin.lips = [0.02, 0.17];
    p.iris = [0.075, 0.05, 0.025];
    p.hair = Hair {
        style: HairStyle::Bob,
        colour: [0.11, 0.092, 0.078],
        grey: 0.8,
        brows: [0.075, 0.058, 0.046],
        brow_density: 0.8,
        recede: 0.0,
    };
    p.spectacles = Some(Spectacles {
        colour: [0.16, 0.035, 0.03],
        square: 0.2,
        wire: 0.017,
    });
    p.garment = Garment {
        cut: Cut::Roll,
        pattern: Pattern::Rib,
        colour: Pigment::Colour([0.24, 0.055, 0.115]),
        second: Pigment::Neutral(0.6),
    };
    p
}

fn samira() -> Person {
    let mut p = plain("Samira", 77);
    p.age = 0.56;
    p.origin = [0.0, 0.0, 1.0];
    p.shape = shape(&[
        ("head/head-diamond", 0.3),
        ("nose/nose-greek-incr", 0.35),
        ("nose/nose-scale-vert-incr", 0.25),
        ("eyes/*-eye-scale-incr", 0.3),
        ("mouth/mouth-lowerlip-volume-incr", 0.35),
        ("mouth/mouth-upperlip-volume-incr", 0.3),
        ("cheek/*-cheek-bones-incr", 0.3),
        ("chin/chin-cleft-incr", 0.2),
        ("eyebrows/eyebrows-angle-up", 0.3),
        ("nose/nose-scale-vert-incr", 0.3),
        ("eyes/*-eye-trans-in", 0.25),
        ("mouth/mouth-scale-horiz-incr", 0.3),
        ("head/head-triangular", 0.3),
    ]);
    p.skin.scores = [-0.18, 0.03, -0.01, 0.01];
    p.skin.blush = 0.5;
    p.skin.under_eye = 0.8;
    p.skin.lips = [0.03, 0.19];
    p.iris = [0.055, 0.03, 0.013];
    p.hair.style = HairStyle::Bald;
    p.hair.brow_density = 1.25;
    p.covering = Some(Covering::Scarf([0.14, 0.22, 0.36]));
    p.garment = Garment {
        cut: Cut::Crew,
        pattern: Pattern::Plain,
        colour: Pigment::Colour([0.075, 0.055, 0.10]),
        second: Pigment::Neutral(0.5),
    };
    p
}

fn rafael() -> Person {
    let mut p = plain("Rafael", 66);
    p.male = 1.0;
    p.age = 0.68;
    p.weight = 0.45;
    p.muscle = 0.65;
    p.origin = [0.20, 0.40, 0.40];
    p.shape = shape(&[
        ("head/head-diamond", 0.25),
        ("nose/nose-greek-incr", 0.3),
        ("nose/nose-width2-incr", 0.3),
        ("chin/chin-prominent-incr", 0.3),
        ("cheek/*-cheek-bones-incr", 0.4),
        ("eyebrows/eyebrows-trans-down", 0.25),
        ("eyes/*-eye-corner2-down", 0.2),
        ("head/head-diamond", 0.33),
        ("cheek/*-cheek-trans-down", 0.41),
        ("nose/nose-greek-decr", 0.42),
        ("chin/chin-jaw-drop-incr", 0.26),
        ("eyes/*-eye-height2-decr", 0.37),
        ("nose/nose-scale-vert-incr", 0.34),
        ("nose/nose-hump-decr", 0.56),
        ("eyebrows/eyebrows-angle-up", 0.59),
        ("mouth/mouth-upperlip-height-decr", 0.54),
        ("mouth/mouth-trans-up", 0.33),
        ("eyebrows/eyebrows-trans-down", 0.30),
        ("eyes/*-eye-scale-incr", 0.41),
    ]);
    p.skin.scores = [0.08, 0.07, 0.0, 0.0];
    p.skin.lips = [0.03, 0.15];
    p.iris = [0.08, 0.045, 0.018];
    p.hair.style = HairStyle::Swept;
    p.hair.colour = [0.022, 0.015, 0.011];
    p.hair.brows = [0.016, 0.011, 0.008];
    p.hair.recede = 0.3;
    p.beard = Beard {
        cover: 1.0,
        length: 0.13,
    };
    p.garment = Garment {
        cut: Cut::Vee,
        pattern: Pattern::Heather,
        colour: Pigment::Colour([0.28, 0.30, 0.33]),
        second: Pigment::Colour([0.14, 0.15, 0.17]),
    };
    p
}

fn ama() -> Person {
    let mut p = plain("Ama", 33);
    p.origin = [1.0, 0.0, 0.0];
    p.shape = shape(&[
        ("head/head-round", 0.3),
        ("nose/nose-hump-incr", 0.2),
        ("mouth/mouth-scale-horiz-incr", 0.25),
        ("eyes/*-eye-height2-incr", 0.3),
        ("cheek/*-cheek-volume-incr", 0.3),
        ("chin/chin-triangle", 0.3),
        ("forehead/forehead-scale-vert-incr", 0.2),
    ]);
    p.skin.scores = [0.80, 0.09, 0.01, 0.0];
    p.skin.lips = [-0.01, 0.17];
    p.skin.blush = 0.5;
    p.iris = [0.045, 0.02, 0.009];
    p.hair.style = HairStyle::Afro;
    p.hair.colour = [0.020, 0.013, 0.010];
    p.hair.brows = [0.014, 0.010, 0.008];
    p.garment = Garment {
        cut: Cut::Boat,
        pattern: Pattern::Stripe,
        colour: Pigment::Colour([0.62, 0.60, 0.55]),
        second: Pigment::Colour([0.42, 0.12, 0.05]),
    };
    p
}

fn naledi() -> Person {
    let mut p = plain("Naledi", 99);
    p.age = 0.66;
    p.weight = 0.75;
    p.origin = [0.45, 0.45, 0.10];
    p.shape = shape(&[
        ("head/head-fat-incr", 0.4),
        ("eyes/*-eye-scale-decr", 0.3),
        ("eyes/*-eye-corner2-up", 0.4),
        ("eyes/*-eye-trans-out", 0.35),
        ("nose/nose-width3-incr", 0.4),
        ("nose/nose-scale-vert-decr", 0.4),
        ("mouth/mouth-scale-horiz-decr", 0.35),
        ("mouth/mouth-cupidsbow-incr", 0.3),
        ("chin/chin-height-decr", 0.4),
        ("cheek/*-cheek-volume-incr", 0.4),
        ("forehead/forehead-scale-vert-decr", 0.3),
    ]);
    p.skin.scores = [1.45, -0.03, 0.0, 0.0];
    p.skin.lips = [-0.03, 0.15];
    p.skin.vitiligo = 0.75;
    p.skin.blush = 0.4;
    p.iris = [0.035, 0.018, 0.009];
    p.hair.style = HairStyle::Coils;
    p.hair.colour = [0.018, 0.012, 0.009];
    p.hair.brows = [0.013, 0.010, 0.008];
    p.spectacles = Some(Spectacles {
        colour: [0.45, 0.33, 0.12],
        square: 0.0,
        wire: 0.012,
    });
    p.garment = Garment {
        cut: Cut::Jacket,
        pattern: Pattern::Plain,
        colour: Pigment::Colour([0.33, 0.19, 0.045]),
        second: Pigment::Colour([0.10, 0.10, 0.105]),
    };
    p
}

fn bram() -> Person {
    let mut p = plain("Bram", 22);
    p.male = 1.0;
    p.age = 0.90;
    p.weight = 0.75;
    p.origin = [0.8, 0.0, 0.2];
    p.shape = shape(&[
        ("head/head-square", 0.5),
        ("head/head-scale-horiz-incr", 0.4),
        ("nose/nose-volume-incr", 0.4),
        ("nose/nose-hump-incr", 0.4),
        ("nose/nose-scale-depth-incr", 0.3),
        ("eyes/*-eye-scale-decr", 0.35),
        ("eyebrows/eyebrows-trans-down", 0.4),
        ("mouth/mouth-scale-horiz-incr", 0.35),
        ("chin/chin-width-incr", 0.4),
        ("chin/chin-jaw-drop-incr", 0.35),
        ("eyes/*-eye-bag-incr", 0.4),
        ("forehead/forehead-temple-incr", 0.3),
    ]);
    p.skin.scores = [2.05, -0.20, -0.04, -0.02];
    p.skin.lips = [-0.06, 0.15];
    p.skin.blush = 0.4;
    p.iris = [0.035, 0.018, 0.009];
    p.hair = Hair {
        style: HairStyle::Cropped,
        colour: [0.02, 0.017, 0.015],
        grey: 0.6,
        brows: [0.018, 0.015, 0.013],
        brow_density: 1.0,
        recede: 0.8,
    };
    p.beard = Beard {
        cover: 0.10,
        length: 0.0,
    };
    p.garment = Garment {
        cut: Cut::Shirt,
        pattern: Pattern::Plain,
        colour: Pigment::Colour([0.66, 0.64, 0.60]),
        second: Pigment::Neutral(0.6),
    };
    p
}
