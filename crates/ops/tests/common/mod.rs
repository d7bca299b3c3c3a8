//! Examples of every kind of operation, for tests that loop over all of them.

use inkarnat_color::Coefficients;
use inkarnat_ops::{
    Cdl, Chain, Domain, Exponent, ExponentStyle, Key, KeyedCdl, Limiter, Lut3d, Matrix, Node, Op,
    Process, Shoulder, Window,
};

/// A CDL like one that balances a warm shot.
pub(crate) const CDL: Cdl = Cdl {
    slope: [1.13, 0.97, 1.21],
    offset: [-0.012, 0.004, 0.02],
    power: [0.94, 1.06, 0.9],
    saturation: 1.08,
};

/// A key on skin.
pub(crate) fn skin_key() -> Key {
    Key {
        coefficients: Coefficients::Bt709,
        hue: Window {
            centre: 123.0,
            width: 24.0,
            softness: 16.0,
        },
        saturation: Window {
            centre: 0.11,
            width: 0.08,
            softness: 0.04,
        },
        level: Window {
            centre: 0.5,
            width: 0.5,
            softness: 0.2,
        },
    }
}

/// At least one valid, not neutral example of every kind.
pub(crate) fn examples() -> Vec<Op> {
    let examples = vec![
        Op::Cdl(CDL),
        Op::Cdl(Cdl {
            saturation: 0.0,
            ..CDL
        }),
        Op::Shoulder(Shoulder::per_channel(
            [0.6, 0.55, 0.5],
            [1.3, 1.1, 0.85],
            [1.0; 3],
        )),
        Op::Shoulder(Shoulder::neutral_beyond_white(
            [0.5, 0.5, 0.45],
            [1.12, 1.0, 0.85],
            [1.0; 3],
            [1.12, 1.0, 0.85],
        )),
        Op::Shoulder(Shoulder::in_proportion(0.5, 1.4, 1.0)),
        Op::KeyedCdl(KeyedCdl {
            key: skin_key(),
            cdl: CDL,
        }),
        Op::Lut(baked()),
        Op::Process(Process {
            nodes: vec![
                Node::Exponent(Exponent {
                    style: ExponentStyle::MonCurveFwd,
                    exponent: [2.2, 2.4, 2.6],
                    offset: [0.099, 0.055, 0.02],
                }),
                Node::Matrix(Matrix {
                    rows: [
                        [0.9, 0.1, 0.0, 0.01],
                        [0.0, 1.0, 0.0, 0.0],
                        [0.1, -0.1, 1.0, -0.02],
                    ],
                }),
            ],
        }),
        Op::Limiter(Limiter {
            coefficients: Coefficients::Bt709,
            low: 0.0,
            high: 1.0,
        }),
    ];
    // A new kind must get an example here.
    for op in &examples {
        match op {
            Op::Cdl(_)
            | Op::Shoulder(_)
            | Op::KeyedCdl(_)
            | Op::Lut(_)
            | Op::Process(_)
            | Op::Limiter(_) => {}
        }
    }
    examples
}

/// A table over the wide domain.
pub(crate) fn baked() -> Lut3d {
    Chain::of_fix(vec![Op::Cdl(CDL)]).bake(17, Domain::WIDE).lut
}
