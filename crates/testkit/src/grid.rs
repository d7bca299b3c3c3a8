//! The grid of named scenes that the truth table is made of.
//!
//! A scene's parts are dealt out in turn, not drawn freely, so that lights, complexions, cameras and kinds of neutral
//! surface are spread evenly; what remains (layout, noise, small exposures) follows from the scene's name.

use inkarnat_color::ItaClass;
use inkarnat_spectra::{Neutrality, Random, illuminants};

use crate::cast::{camera_name, cast, light_held_out, light_index, third};
use crate::render::Noise;
use crate::scene::{Codec, Group, LightSpec, SceneSpec, ShotSpec};

const NEUTRALITIES: [Neutrality; 3] = [Neutrality::True, Neutrality::Nearly, Neutrality::None];
const DAYLIGHTS: [&str; 5] = ["D50", "D55", "D65", "D75", "ID65"];

/// Name of a kind of neutral surface.
#[must_use]
pub fn neutrality_name(neutrality: Neutrality) -> &'static str {
    match neutrality {
        Neutrality::True => "neutral",
        Neutrality::Nearly => "nearly",
        Neutrality::None => "none",
    }
}

/// FNV-1a, 64 bit: a name's own seed.
fn seed_of(name: &str) -> u64 {
    name.bytes().fold(0xcbf2_9ce4_8422_2325, |hash, byte| {
        (hash ^ u64::from(byte)).wrapping_mul(0x0000_0100_0000_01b3)
    })
}

/// Deals skins, cameras and the like in turn.
struct Dealer {
    tuned: Vec<usize>,
    held_out: Vec<usize>,
    dealt: usize,
    scenes: Vec<SceneSpec>,
}

impl Dealer {
    fn new() -> Self {
        // Classes in turn, so that neighbours in the grid differ in complexion.
        let mut order: Vec<usize> = (0..cast().len()).collect();
        order.sort_by_key(|i| (i % 6, i / 6));
        let (held_out, tuned) = order.into_iter().partition(|i| third(*i));
        Self {
            tuned,
            held_out,
            dealt: 0,
            scenes: Vec::new(),
        }
    }

    /// A skin in turn; a held-out one where asked.
    fn person(&mut self, held_out: bool) -> usize {
        self.dealt += 1;
        let list = if held_out {
            &self.held_out
        } else {
            &self.tuned
        };
        list[self.dealt % list.len()]
    }

    /// A skin of the given class in turn.
    fn person_of(&mut self, class: ItaClass, held_out: bool) -> usize {
        loop {
            let person = self.person(held_out);
            if cast()[person].class == class {
                return person;
            }
        }
    }

    fn push(
        &mut self,
        group: Group,
        people: Vec<usize>,
        camera: usize,
        neutrality: Neutrality,
        lights: &[(LightSpec, LightSpec)],
        exposures: &[f64],
    ) {
        let names: Vec<&str> = people.iter().map(|p| cast()[*p].name.as_str()).collect();
        let light_name = |(key, fill): &(LightSpec, LightSpec)| {
            if key == fill {
                key.illuminant().name
            } else {
                format!("{}|{}", key.illuminant().name, fill.illuminant().name)
            }
        };
        let light_names: Vec<String> = lights.iter().map(light_name).collect();
        let mut name = format!(
            "{} {} {} {} {}",
            group.name(),
            light_names.join(" & "),
            names.join("+"),
            camera_name(camera),
            neutrality_name(neutrality),
        );
        if self.scenes.iter().any(|s| s.name == name) {
            name = format!("{name} #{}", self.scenes.len());
        }
        let seed = seed_of(&name);
        let mut random = Random::new(seed, 5);
        let shots = lights
            .iter()
            .zip(exposures)
            .enumerate()
            .map(|(number, ((key, fill), exposure))| ShotSpec {
                key: *key,
                fill: *fill,
                exposure_stops: *exposure,
                noise: [Noise::NONE, Noise::LOW, Noise::LOW, Noise::HIGH][random.index(4)],
                codec: Codec::ALL[(self.scenes.len() + number) % 3],
                window: group != Group::Good && random.uniform() < 0.2,
                seed: seed.wrapping_add(number as u64),
            })
            .collect();
        self.scenes.push(SceneSpec {
            name,
            group,
            people,
            camera,
            neutrality,
            shots,
        });
    }

    /// An exposure within half a stop, by the turn of the dealer.
    fn exposure(&self) -> f64 {
        [0.0, -0.4, 0.25, -0.15, 0.1, -0.6, 0.4][self.scenes.len() % 7]
    }
}

/// All scenes, in a fixed order.
#[must_use]
pub fn grid() -> Vec<SceneSpec> {
    let mut dealer = Dealer::new();
    singles(&mut dealer);
    good(&mut dealer);
    two_shots(&mut dealer);
    several_people(&mut dealer);
    mixtures(&mut dealer);
    exposures(&mut dealer);
    dealer.scenes
}

/// A part of the grid that keeps every group, light and kind of neutral surface in it: two of six singles a light, and
/// a third of the rest, picked by name so that no pattern of the dealing shows through.
#[must_use]
pub fn quick_grid() -> Vec<SceneSpec> {
    let mut singles = 0usize;
    grid()
        .into_iter()
        .filter(|scene| {
            if scene.group == Group::Single {
                let (light, turn) = (singles / 6, singles % 6);
                singles += 1;
                turn == light % 3 || turn == 3 + (light + 1) % 3
            } else {
                one_in_three(&scene.name)
            }
        })
        .collect()
}

/// A third of all names, always the same ones.
#[must_use]
pub fn one_in_three(name: &str) -> bool {
    // The low bits of the hash of similar names are similar: take the high ones.
    (seed_of(name) >> 40).is_multiple_of(3)
}

fn singles(dealer: &mut Dealer) {
    for light in 0..illuminants().len() {
        for turn in 0..6 {
            // Where the light is not held out, two scenes in six are, by skin or by camera.
            let (skin_out, camera) = match (light_held_out(light), turn) {
                (false, 4) => (true, light % 2),
                (false, 5) => (false, 2),
                (false, _) => (false, turn % 2),
                (true, _) => (turn % 3 == 2, turn % 3),
            };
            let person = dealer.person(skin_out);
            let both = LightSpec::one(light);
            let exposure = dealer.exposure();
            dealer.push(
                Group::Single,
                vec![person],
                camera,
                NEUTRALITIES[(turn + light) % 3],
                &[(both, both)],
                &[exposure],
            );
        }
    }
}

fn good(dealer: &mut Dealer) {
    let d65 = light_index("D65");
    // Small admixtures keep the shot within what counts as good; the test holds every one to it.
    let lights = [
        LightSpec::one(d65),
        LightSpec {
            first: d65,
            second: Some((light_index("D75"), 0.12)),
        },
        LightSpec {
            first: d65,
            second: Some((light_index("D55"), 0.06)),
        },
        LightSpec {
            first: d65,
            second: Some((light_index("D60"), 0.12)),
        },
        LightSpec::one(light_index("FL3.15")),
        LightSpec {
            first: d65,
            second: Some((light_index("ID65"), 0.15)),
        },
    ];
    for turn in 0..66 {
        let camera = [0, 1, 0, 1, 2][turn % 5];
        // Through the second camera even a fluorescent copy of D65 is out by more than a good shot may be.
        let light = lights[if camera == 2 { 0 } else { turn % lights.len() }];
        let person = dealer.person(turn % 5 == 4);
        let exposure = [0.0, 0.04, -0.04][turn % 3];
        dealer.push(
            Group::Good,
            vec![person],
            camera,
            NEUTRALITIES[(turn / 6 + turn) % 3],
            &[(light, light)],
            &[exposure],
        );
    }
}

fn two_shots(dealer: &mut Dealer) {
    let other: Vec<usize> = (0..illuminants().len())
        .filter(|l| {
            let name = illuminants()[*l].name.as_str();
            !name.starts_with('D')
                && !name.starts_with("ID")
                && !["B", "C", "E", "HP1"].contains(&name)
        })
        .collect();
    for (turn, light) in other.iter().enumerate() {
        let daylight = LightSpec::one(light_index(DAYLIGHTS[turn % DAYLIGHTS.len()]));
        let one = LightSpec::one(*light);
        let person = dealer.person(turn % 4 == 3);
        let camera = if turn % 6 == 5 { 2 } else { turn % 2 };
        dealer.push(
            Group::AlsoDaylight,
            vec![person],
            camera,
            NEUTRALITIES[turn % 3],
            &[(one, one), (daylight, daylight)],
            &[[-0.2, 0.3, -0.35][turn % 3], [0.2, 0.0, -0.1][turn % 3]],
        );
    }
    for turn in 0..18 {
        let first = LightSpec::one(other[turn * 2 % other.len()]);
        let second = LightSpec::one(other[(turn * 2 + 7) % other.len()]);
        let person = dealer.person(turn % 4 == 3);
        dealer.push(
            Group::TwoLights,
            vec![person],
            turn % 2,
            NEUTRALITIES[(turn / 2) % 3],
            &[(first, first), (second, second)],
            &[0.2, -0.2],
        );
    }
}

fn several_people(dealer: &mut Dealer) {
    let pairs = [
        (ItaClass::VeryLight, ItaClass::Dark),
        (ItaClass::Light, ItaClass::Brown),
        (ItaClass::Intermediate, ItaClass::Dark),
        (ItaClass::Brown, ItaClass::VeryLight),
    ];
    for turn in 0..20 {
        let light = LightSpec::one((turn * 5 + 3) % illuminants().len());
        let (a, b) = pairs[turn % 4];
        let people = vec![
            dealer.person_of(a, turn % 5 == 4),
            dealer.person_of(b, turn % 5 == 4),
        ];
        let exposure = dealer.exposure();
        dealer.push(
            Group::TwoPeople,
            people,
            if turn % 7 == 6 { 2 } else { turn % 2 },
            NEUTRALITIES[(turn / 2) % 3],
            &[(light, light)],
            &[exposure],
        );
    }
    for light in 0..illuminants().len() {
        if illuminants()[light].name == "HP1" {
            continue;
        }
        let one = LightSpec::one(light);
        let out = light % 4 == 3;
        let people = vec![dealer.person(out), dealer.person(out), dealer.person(out)];
        let exposure = dealer.exposure();
        dealer.push(
            Group::ThreePeople,
            people,
            if light % 7 == 6 { 2 } else { light % 2 },
            NEUTRALITIES[(light + light / 3) % 3],
            &[(one, one)],
            &[exposure],
        );
    }
}

fn mixtures(dealer: &mut Dealer) {
    let pairs = [
        ("A", "D65"),
        ("FL2", "D55"),
        ("LED-B2", "D75"),
        ("FL11", "A"),
        ("FL4", "LED-B3"),
        ("HP3", "FL8"),
        ("LED-V2", "FL1"),
        ("A", "FL7"),
        ("LED-BH1", "D50"),
        ("FL10", "LED-B5"),
        ("FL9", "A"),
        ("LED-B1", "D65"),
    ];
    for (turn, (first, second)) in pairs.into_iter().enumerate() {
        let (first, second) = (light_index(first), light_index(second));
        let camera = if turn % 5 == 4 { 2 } else { turn % 2 };
        let mixed = LightSpec {
            first,
            second: Some((second, 0.35 + 0.03 * turn as f64)),
        };
        let person = dealer.person(turn % 4 == 3);
        let exposure = dealer.exposure();
        dealer.push(
            Group::Mixture,
            vec![person],
            camera,
            NEUTRALITIES[turn % 3],
            &[(mixed, mixed)],
            &[exposure],
        );
        let person = dealer.person(turn % 4 == 1);
        dealer.push(
            Group::SplitFace,
            vec![person],
            camera,
            NEUTRALITIES[(turn + 1) % 3],
            &[(LightSpec::one(first), LightSpec::one(second))],
            &[exposure],
        );
    }
}

fn exposures(dealer: &mut Dealer) {
    let lights = ["D65", "D50", "A", "FL11", "LED-B3", "D75", "FL2", "LED-B4"];
    for (turn, light) in lights.iter().enumerate() {
        for stops in [-2.2, -1.3, 0.9] {
            let one = LightSpec::one(light_index(light));
            let person = dealer.person(turn % 4 == 3);
            dealer.push(
                Group::Exposure,
                vec![person],
                turn % 2,
                NEUTRALITIES[(turn + dealer.scenes.len()) % 3],
                &[(one, one)],
                &[stops],
            );
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_grid_is_large_named_and_evenly_dealt() {
        let scenes = grid();
        assert!(scenes.len() >= 300, "{} scenes", scenes.len());
        let mut names: Vec<&str> = scenes.iter().map(|s| s.name.as_str()).collect();
        names.sort_unstable();
        names.dedup();
        assert_eq!(names.len(), scenes.len(), "names are unique");
        assert!(scenes.iter().filter(|s| s.group == Group::Good).count() >= 60);
        for neutrality in NEUTRALITIES {
            let share = scenes.iter().filter(|s| s.neutrality == neutrality).count() as f64
                / scenes.len() as f64;
            assert!(
                (share - 1.0 / 3.0).abs() < 0.03,
                "{neutrality:?}: {share:.3}"
            );
        }
        let held_out = scenes.iter().filter(|s| s.held_out()).count() as f64 / scenes.len() as f64;
        assert!((0.35..0.65).contains(&held_out), "{held_out:.2} held out");
        assert_eq!(grid(), scenes, "the same grid every time");
    }

    #[test]
    fn the_quick_grid_keeps_every_light_and_group() {
        let scenes = quick_grid();
        for light in 0..illuminants().len() {
            assert!(
                scenes.iter().any(|s| s.lights().contains(&light)),
                "{}",
                illuminants()[light].name
            );
        }
        for group in Group::ALL {
            assert!(scenes.iter().any(|s| s.group == group), "{group:?}");
        }
        for neutrality in NEUTRALITIES {
            let share = scenes.iter().filter(|s| s.neutrality == neutrality).count() as f64
                / scenes.len() as f64;
            assert!(
                (share - 1.0 / 3.0).abs() < 0.08,
                "{neutrality:?}: {share:.3}"
            );
        }
    }
}
