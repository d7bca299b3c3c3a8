//! Keyframes against `PchipInterpolator` of SciPy 1.17.1, whose figures stand below: the same monotone cubics, made by
//! others.

use inkarnat_ops::{Cdl, Keyframe, Keyframes};

#[test]
fn run_as_scipy_says() {
    let keys = [
        (4, 1.0),
        (10, 1.2),
        (11, 1.9),
        (30, 1.7),
        (52, 1.7),
        (60, 0.8),
    ];
    let expected = [
        (5, 1.00353488848),
        (7, 1.03908839779),
        (9, 1.12878555351),
        (15, 1.87713952471),
        (22, 1.77651261117),
        (29, 1.70160373232),
        (40, 1.7),
        (53, 1.6769140625),
        (56, 1.3925),
        (59, 0.9477734375),
    ];
    let keyframes = Keyframes {
        keys: keys
            .iter()
            .map(|(frame, value)| Keyframe {
                frame: *frame,
                cdl: Cdl {
                    slope: [1.0, *value, 1.0],
                    saturation: *value,
                    ..Cdl::NEUTRAL
                },
            })
            .collect(),
    };
    for (frame, value) in expected {
        let cdl = keyframes.at(frame);
        assert!(
            (cdl.slope[1] - value).abs() < 1e-11,
            "{frame}: {}",
            cdl.slope[1]
        );
        assert!((cdl.saturation - value).abs() < 1e-11);
        assert_eq!(cdl.slope[0], 1.0);
    }
}
