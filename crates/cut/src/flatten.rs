//! Several video tracks as one: the upper one is seen.

use crate::Event;

/// The events that are seen, by record time, from tracks given from the lowest to the highest.
///
/// A lower event that is covered in part is cut into the parts that are seen.
#[must_use]
pub fn flatten(tracks: &[Vec<Event>]) -> Vec<Event> {
    let mut seen: Vec<Event> = Vec::new();
    for track in tracks {
        for above in track {
            seen = seen
                .into_iter()
                .flat_map(|event| uncovered(event, above.record_in, above.record_out))
                .collect();
            seen.push(above.clone());
        }
    }
    seen.sort_by_key(|event| event.record_in);
    seen
}

fn uncovered(event: Event, from: i64, to: i64) -> Vec<Event> {
    if to <= event.record_in || from >= event.record_out {
        return vec![event];
    }
    let mut parts = Vec::new();
    if from > event.record_in {
        parts.push(event.part(event.record_in, from));
    }
    if to < event.record_out {
        parts.push(event.part(to, event.record_out));
    }
    parts
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::list::testing::event;

    #[test]
    fn the_upper_track_is_seen() {
        let low = event("low", (100, 200), (0, 100), 1.0);
        let high = event("high", (0, 20), (30, 50), 1.0);
        let seen = flatten(&[vec![low], vec![high]]);
        let spans: Vec<_> = seen
            .iter()
            .map(|e| (e.name.as_str(), e.source.start, e.source.end, e.record_in))
            .collect();
        assert_eq!(
            spans,
            [
                ("low", 100, 130, 0),
                ("high", 0, 20, 30),
                ("low", 150, 200, 50)
            ]
        );
    }

    #[test]
    fn parts_of_retimed_events_take_their_own_frames() {
        let fast = event("fast", (0, 200), (0, 100), 2.0);
        let part = fast.part(10, 60);
        assert_eq!((part.source.start, part.source.end), (20, 120));
        let back = event("back", (0, 100), (0, 100), -1.0);
        let part = back.part(10, 60);
        assert_eq!((part.source.start, part.source.end), (40, 90));
        let frozen = event("frozen", (7, 8), (0, 100), 0.0);
        let part = frozen.part(50, 60);
        assert_eq!((part.source.start, part.source.end), (7, 8));
    }
}
