//! Cut lists: what is written is read back. Foreign readers of the same: `script/check/otio.py`.

use inkarnat_cut::{
    CutList, Event, Pictures, Rate, SourceSpan, Timecode, Transition, TransitionKind,
};
use inkarnat_interchange::{edl, otio};
use inkarnat_ops::Cdl;
use proptest::prelude::*;

/// How an event is made: source start, record frames, speed, gap before it, transition into it.
type Made = (i64, i64, f64, i64, Option<i64>);

fn list(made: &[Made], rate: Rate, drop: bool) -> CutList {
    let mut at = 0;
    let mut events: Vec<Event> = Vec::new();
    for (number, (start, frames, speed, gap, dissolve)) in made.iter().enumerate() {
        at += gap;
        let used = if *speed == 0.0 {
            1
        } else {
            ((*frames as f64 * speed.abs()) - 1e-6).ceil() as i64
        };
        let head = dissolve.filter(|_| number > 0).map(|length| Transition {
            kind: TransitionKind::Dissolve,
            before: 0,
            after: length.min(*frames),
        });
        if let Some(before) = events.last_mut().filter(|before| before.record_out == at) {
            before.tail = head;
        }
        events.push(Event {
            place: String::new(),
            number: String::new(),
            track: String::new(),
            name: format!("clip {number}.mov"),
            reel: Some(format!("R{number:03}")),
            target: None,
            pictures: None,
            source: SourceSpan {
                rate,
                start: 100_000 + start,
                end: 100_000 + start + used,
                available: None,
            },
            record_in: at,
            record_out: at + frames,
            speed: *speed,
            head,
            tail: None,
            cdl: number.is_multiple_of(2).then_some(Cdl {
                slope: [1.25, 1.0, 0.75],
                offset: [0.001, -0.002, 0.0],
                power: [1.1, 1.0, 0.9],
                saturation: 0.95,
            }),
            scene: Some("7".to_owned()),
            comments: vec!["SHOT: a".to_owned()],
        });
        at += frames;
    }
    CutList {
        title: "LIST".to_owned(),
        rate,
        start: Timecode {
            frame: 3600 * i64::from(rate.nominal()),
            drop,
        },
        events,
        refused: Vec::new(),
        notes: Vec::new(),
    }
}

/// Without what only says where an event stood.
fn bare(list: &CutList) -> Vec<Event> {
    let bare = |event: &Event| Event {
        place: String::new(),
        number: String::new(),
        track: String::new(),
        ..event.clone()
    };
    list.events.iter().map(bare).collect()
}

const RATES: [(Rate, bool); 7] = [
    (Rate::FILM_NTSC, false),
    (Rate::FILM, false),
    (Rate::PAL, false),
    (Rate::NTSC, false),
    (Rate::NTSC, true),
    (Rate::NTSC_DOUBLE, true),
    (Rate::new(60, 1), false),
];

fn made() -> impl Strategy<Value = Vec<Made>> {
    let speed = prop_oneof![
        4 => Just(1.0),
        1 => prop::sample::select(vec![2.0, 0.5, -1.0, -2.0, 0.0, 1.25, 0.9, 1.04, 3.33]),
    ];
    let one = (
        0i64..50_000,
        1i64..90,
        speed,
        prop_oneof![3 => Just(0i64), 1 => 1i64..40],
        prop::option::weighted(0.3, 1i64..24),
    );
    prop::collection::vec(one, 1..12)
}

proptest! {
    #[test]
    fn what_is_written_is_read_back(made in made(), which in 0usize..RATES.len()) {
        let (rate, drop) = RATES[which];
        let list = list(&made, rate, drop);
        let by_otio = otio::read(otio::write(&list).as_bytes()).unwrap();
        prop_assert_eq!((by_otio.rate, by_otio.start), (list.rate, list.start));
        // A time that no list has: OTIO begins at the first frame of the list, an EDL at that of its first event.
        prop_assert_eq!(bare(&by_otio), bare(&list));
        let by_edl = edl::read(edl::write(&list).as_bytes(), rate).unwrap();
        let first = list.events[0].record_in;
        let mut expected = bare(&list);
        for event in &mut expected {
            event.record_in -= first;
            event.record_out -= first;
        }
        prop_assert_eq!(by_edl.start.frame, list.start.frame + first);
        prop_assert_eq!(bare(&by_edl), expected);
    }
}

#[test]
fn a_fade_out_is_written_by_both() {
    for last in [true, false] {
        let mut list = list(
            &[(0, 40, 1.0, 0, None), (500, 30, 1.0, 20, None)],
            Rate::PAL,
            false,
        );
        let fade = Some(Transition {
            kind: TransitionKind::Dissolve,
            before: 0,
            after: 12,
        });
        list.events[usize::from(last)].tail = fade;
        for (kind, read) in [
            ("otio", otio::read(otio::write(&list).as_bytes()).unwrap()),
            (
                "edl",
                edl::read(edl::write(&list).as_bytes(), Rate::PAL).unwrap(),
            ),
        ] {
            assert_eq!(bare(&read), bare(&list), "{kind}, last: {last}");
        }
    }
}

/// 1.25 times 29.97 is written 037.463, which is more than 1.25 times: 40 frames take 50 of the source all the same.
#[test]
fn a_rounded_speed_takes_no_frame_more() {
    let text = "TITLE: A\nFCM: NON-DROP FRAME\n\n\
        001  A        V     C        10:00:00:00 10:00:01:20 01:00:00:00 01:00:01:10\n\
        M2   A        037.463                10:00:00:00\n";
    let list = edl::read(text.as_bytes(), Rate::NTSC).unwrap();
    assert_eq!(list.events[0].source.end - list.events[0].source.start, 50);
    assert_eq!(list.events[0].speed, 1.25);
    assert!(list.notes.is_empty(), "{:?}", list.notes);
}

/// A row of pictures is named as OpenTimelineIO's `ImageSequenceReference` names it.
#[test]
fn rows_of_pictures_are_named() {
    let mut list = list(&[(0, 40, 1.0, 0, None)], Rate::of_f64(25.0).unwrap(), false);
    list.events[0].target = Some("../row%200".to_owned());
    list.events[0].pictures = Some(Pictures {
        prefix: "row 0.".to_owned(),
        suffix: ".dpx".to_owned(),
        first: 100_000,
        digits: 7,
    });
    let text = otio::write(&list);
    let back = otio::read(text.as_bytes()).unwrap();
    assert_eq!(back.events[0].target, list.events[0].target);
    assert_eq!(back.events[0].pictures, list.events[0].pictures);
    // Every second picture of a row is no clip at its own speed.
    let back = otio::read(
        text.replace("\"frame_step\": 1", "\"frame_step\": 2")
            .as_bytes(),
    )
    .unwrap();
    assert!(
        back.refused[0].reason.contains("a step of 2"),
        "{:?}",
        back.refused
    );
}
