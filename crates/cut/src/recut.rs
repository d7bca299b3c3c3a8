//! What a new cut changes: which shot of it is which shot of the film.

use serde::{Deserialize, Serialize};

/// A shot that the film knows.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Known {
    /// Its source clip, by any number.
    pub source: i64,
    /// First source frame.
    pub in_frame: u64,
    /// The source frame after the last.
    pub out_frame: u64,
    /// Source frames a record frame.
    pub speed: f64,
    /// Its place in the cut; `None` for one that an earlier cut lost.
    pub position: Option<usize>,
}

/// A shot of the new cut.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Wanted {
    /// Its source clip.
    pub source: i64,
    /// First source frame.
    pub in_frame: u64,
    /// The source frame after the last.
    pub out_frame: u64,
    /// Source frames a record frame.
    pub speed: f64,
}

/// What became of a shot.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Status {
    /// The same source frames, in the same order among the others.
    Same,
    /// The same source frames in another place.
    Moved,
    /// Other source frames of a piece that was there.
    Trimmed,
    /// The same source frames at another speed.
    Retimed,
    /// Nothing of it was there.
    New,
    /// It is not in the new cut.
    Lost,
}

/// A shot of the new cut and what it is.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct Change {
    /// The shot that it goes on as.
    pub known: Option<usize>,
    /// For a new one, the shot of which it has a piece, whose decisions it takes over.
    pub like: Option<usize>,
    /// What became of it.
    pub status: Status,
    /// Whether a shot that an earlier cut had lost is back.
    pub back: bool,
    /// Whether it also stands in another place.
    pub moved: bool,
}

/// What a new cut changes.
#[derive(Clone, Debug, PartialEq)]
pub struct Matched {
    /// One for each shot of the new cut.
    pub shots: Vec<Change>,
    /// Shots of the old cut that are not in the new one.
    pub lost: Vec<usize>,
}

/// Finds the shots of the film in a new cut: first by equal source frames, then by the most source
/// frames in common, the shots of the cut before those that were lost, earlier before later.
#[must_use]
pub fn match_recut(known: &[Known], wanted: &[Wanted]) -> Matched {
    let mut taken = vec![false; known.len()];
    let mut chosen: Vec<Option<usize>> = vec![None; wanted.len()];
    let mut order: Vec<usize> = (0..known.len()).collect();
    order.sort_by_key(|at| (known[*at].position.unwrap_or(usize::MAX), *at));
    // The same speed first, so that a retimed copy does not take the place of the plain one.
    for same_speed in [true, false] {
        for (at, w) in wanted.iter().enumerate() {
            if chosen[at].is_some() {
                continue;
            }
            let found = order.iter().copied().find(|k| {
                !taken[*k] && equal(&known[*k], w) && (!same_speed || known[*k].speed == w.speed)
            });
            if let Some(k) = found {
                taken[k] = true;
                chosen[at] = Some(k);
            }
        }
    }
    let mut pairs: Vec<(u64, usize, usize)> = Vec::new();
    for (at, w) in wanted
        .iter()
        .enumerate()
        .filter(|(at, _)| chosen[*at].is_none())
    {
        for (rank, k) in order.iter().enumerate() {
            let shared = overlap(&known[*k], w);
            if shared > 0 && !taken[*k] {
                pairs.push((shared, rank, at));
            }
        }
    }
    // In the cut before lost, most in common first.
    pairs.sort_by_key(|(shared, rank, at)| {
        let lost = known[order[*rank]].position.is_none();
        (lost, std::cmp::Reverse(*shared), *rank, *at)
    });
    for (_, rank, at) in pairs {
        let k = order[rank];
        if !taken[k] && chosen[at].is_none() {
            taken[k] = true;
            chosen[at] = Some(k);
        }
    }
    let staying = in_order(&chosen, known);
    let shots = wanted
        .iter()
        .enumerate()
        .map(|(at, w)| change(at, w, chosen[at], known, &staying))
        .collect();
    let lost = (0..known.len())
        .filter(|k| !taken[*k] && known[*k].position.is_some())
        .collect();
    Matched { shots, lost }
}

fn change(
    at: usize,
    wanted: &Wanted,
    chosen: Option<usize>,
    known: &[Known],
    staying: &[bool],
) -> Change {
    let Some(k) = chosen else {
        let like = (0..known.len())
            .filter(|k| overlap(&known[*k], wanted) > 0)
            .max_by_key(|k| (overlap(&known[*k], wanted), std::cmp::Reverse(*k)));
        return Change {
            known: None,
            like,
            status: if like.is_some() {
                Status::Trimmed
            } else {
                Status::New
            },
            back: false,
            moved: false,
        };
    };
    let back = known[k].position.is_none();
    let moved = !back && !staying[at];
    let status = if !equal(&known[k], wanted) {
        Status::Trimmed
    } else if known[k].speed != wanted.speed {
        Status::Retimed
    } else if back {
        Status::New
    } else if moved {
        Status::Moved
    } else {
        Status::Same
    };
    Change {
        known: Some(k),
        like: None,
        status,
        back,
        moved,
    }
}

fn equal(known: &Known, wanted: &Wanted) -> bool {
    known.source == wanted.source
        && (known.in_frame, known.out_frame) == (wanted.in_frame, wanted.out_frame)
}

fn overlap(known: &Known, wanted: &Wanted) -> u64 {
    if known.source != wanted.source {
        return 0;
    }
    let from = known.in_frame.max(wanted.in_frame);
    let to = known.out_frame.min(wanted.out_frame);
    to.saturating_sub(from)
}

/// Which shots of the new cut stay in their order: as many as possible (the longest rising run of
/// old places); the others have moved.
fn in_order(chosen: &[Option<usize>], known: &[Known]) -> Vec<bool> {
    let places: Vec<(usize, usize)> = chosen
        .iter()
        .enumerate()
        .filter_map(|(at, k)| Some((at, known[(*k)?].position?)))
        .collect();
    // best[i]: length of the longest run that ends with i, and where it came from.
    let mut best: Vec<(usize, Option<usize>)> = Vec::new();
    for (i, (_, place)) in places.iter().enumerate() {
        let before = (0..i)
            .filter(|j| places[*j].1 < *place)
            .max_by_key(|j| (best[*j].0, std::cmp::Reverse(*j)));
        best.push((before.map_or(1, |j| best[j].0 + 1), before));
    }
    let mut staying = vec![false; chosen.len()];
    let mut at = (0..best.len()).max_by_key(|i| (best[*i].0, std::cmp::Reverse(*i)));
    while let Some(i) = at {
        staying[places[i].0] = true;
        at = best[i].1;
    }
    staying
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn known(source: i64, span: (u64, u64), position: Option<usize>) -> Known {
        Known {
            source,
            in_frame: span.0,
            out_frame: span.1,
            speed: 1.0,
            position,
        }
    }

    fn wanted(source: i64, span: (u64, u64)) -> Wanted {
        Wanted {
            source,
            in_frame: span.0,
            out_frame: span.1,
            speed: 1.0,
        }
    }

    fn statuses(matched: &Matched) -> Vec<Status> {
        matched.shots.iter().map(|c| c.status).collect()
    }

    #[test]
    fn same_moved_trimmed_new_lost_and_back() {
        let film = [
            known(1, (0, 50), Some(1)),
            known(2, (0, 50), Some(2)),
            known(1, (60, 90), Some(3)),
            known(3, (0, 50), Some(4)),
            known(4, (0, 50), None),
        ];
        let cut = [
            wanted(3, (0, 50)),
            wanted(1, (0, 50)),
            wanted(2, (10, 50)),
            wanted(5, (0, 50)),
            wanted(4, (0, 50)),
        ];
        let matched = match_recut(&film, &cut);
        use Status::{Moved, New, Same, Trimmed};
        assert_eq!(statuses(&matched), [Moved, Same, Trimmed, New, New]);
        assert_eq!(matched.lost, [2]);
        assert!(matched.shots[4].back && !matched.shots[3].back);
    }

    #[test]
    fn a_shot_in_two_pieces_gives_both_its_decisions() {
        let matched = match_recut(
            &[known(1, (0, 100), Some(1))],
            &[wanted(1, (0, 30)), wanted(1, (40, 100))],
        );
        assert_eq!(matched.shots[1].known, Some(0));
        assert_eq!(
            (matched.shots[0].known, matched.shots[0].like),
            (None, Some(0))
        );
        assert_eq!(statuses(&matched), [Status::Trimmed, Status::Trimmed]);
    }

    #[test]
    fn a_retimed_shot_is_named() {
        let mut fast = wanted(1, (0, 50));
        fast.speed = 2.0;
        let matched = match_recut(&[known(1, (0, 50), Some(1))], &[fast]);
        assert_eq!(statuses(&matched), [Status::Retimed]);
    }

    proptest! {
        /// The same cut again changes nothing; every shot goes to one place at most; whatever had a
        /// piece in the new cut is not lost to it.
        #[test]
        fn matches_are_sound(spans in prop::collection::vec((0i64..4, 0u64..100, 1u64..50), 1..20),
                             other in prop::collection::vec((0i64..4, 0u64..100, 1u64..50), 0..20)) {
            let film: Vec<Known> = spans.iter().enumerate()
                .map(|(at, (s, from, n))| known(*s, (*from, from + n), Some(at))).collect();
            let again: Vec<Wanted> = spans.iter().map(|(s, from, n)| wanted(*s, (*from, from + n))).collect();
            let matched = match_recut(&film, &again);
            prop_assert!(matched.shots.iter().all(|c| c.status == Status::Same));
            prop_assert!(matched.lost.is_empty());
            let cut: Vec<Wanted> = other.iter().map(|(s, from, n)| wanted(*s, (*from, from + n))).collect();
            let matched = match_recut(&film, &cut);
            let mut used: Vec<usize> = matched.shots.iter().filter_map(|c| c.known).collect();
            used.extend(&matched.lost);
            let count = used.len();
            used.sort_unstable();
            used.dedup();
            prop_assert_eq!(used.len(), count);
            prop_assert_eq!(count, film.len());
            for (w, c) in cut.iter().zip(&matched.shots) {
                let touches = film.iter().any(|k| overlap(k, w) > 0);
                prop_assert_eq!(c.status == Status::New, !touches);
            }
        }
    }
}
