//! What the grid promises of its scenes, held to every one of them.

use inkarnat_color::delta_e_2000;
use inkarnat_spectra::Neutrality;
use inkarnat_testkit::corrector::DoNothing;
use inkarnat_testkit::score::{Aims, Prepared};
use inkarnat_testkit::truth::{SkinPixels, lab, mean_signal, true_signal};
use inkarnat_testkit::{Group, Region, grid};

const SIZE: (usize, usize) = (192, 108);

/// Good: as shot, skin within CIEDE2000 1 of the truth (its level included) and neutrals within 1.5.
#[test]
fn good_scenes_are_good() {
    let mut count = 0;
    for scene in grid().iter().filter(|s| s.group == Group::Good) {
        for shot in scene.render(SIZE.0, SIZE.1) {
            for person in 0..scene.people.len() {
                let skin = SkinPixels::of(&shot, person as u8)
                    .expect("skin in sight")
                    .pixels;
                let off = delta_e_2000(
                    lab(mean_signal(&shot.picture, &skin)),
                    lab(true_signal(&shot, &skin, 1.0)),
                );
                assert!(off.0 <= 1.0, "{}: skin {:.2}", scene.name, off.0);
            }
            for number in shot.neutrals() {
                let pixels = shot.pixels(Region::Neutral(number));
                if pixels.len() >= 40 {
                    let off = delta_e_2000(
                        lab(mean_signal(&shot.picture, &pixels)),
                        lab(true_signal(&shot, &pixels, 1.0)),
                    );
                    assert!(
                        off.0 <= 1.5,
                        "{}: neutral {number} {:.2}",
                        scene.name,
                        off.0
                    );
                }
            }
        }
        count += 1;
    }
    assert!(count >= 60, "{count} good scenes");
}

/// A scene that is said to hold a neutral surface shows one, and the others show none.
#[test]
fn neutral_surfaces_are_in_sight_where_promised() {
    for scene in grid() {
        for shot in scene.render(SIZE.0, SIZE.1) {
            let seen = shot
                .regions
                .iter()
                .filter(|r| matches!(r, Region::Neutral(_)))
                .count();
            if scene.neutrality == Neutrality::None {
                assert_eq!(seen, 0, "{}", scene.name);
            } else {
                assert!(seen >= 100, "{}: {seen} neutral pixels", scene.name);
            }
        }
    }
}

/// The same scene twice is the same to the last bit.
#[test]
fn scenes_are_deterministic() {
    for scene in grid().iter().step_by(37) {
        let (a, b) = (scene.render(160, 90), scene.render(160, 90));
        for (a, b) in a.iter().zip(&b) {
            assert_eq!(a.codes, b.codes, "{}", scene.name);
            assert_eq!(a.truth, b.truth, "{}", scene.name);
        }
    }
}

/// Under D65 at nominal exposure a shot without a corrector is its own truth, up to noise and coding.
#[test]
fn truth_is_the_shot_itself_under_the_light_of_reference() {
    for scene in grid() {
        let plain = scene.shots.len() == 1
            && scene.group == Group::Good
            && scene.shots[0].key.illuminant().name == "D65"
            && scene.shots[0].exposure_stops == 0.0;
        if !plain {
            continue;
        }
        let prepared = Prepared::new(&scene, SIZE.0, SIZE.1).expect("skin in sight");
        let reachable = prepared.reachable(Aims::Own);
        for row in prepared
            .score(&DoNothing, Aims::Own, &reachable)
            .expect("doing nothing works")
        {
            assert!(row.skin_de00 < 0.25, "{}: {}", row.scene, row.skin_de00);
            assert!(!row.touched);
        }
    }
}
