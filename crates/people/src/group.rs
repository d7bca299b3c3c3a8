//! Faces told apart across shots: sure links made, doubtful ones asked.

use crate::embedding::Embedding;
use serde::{Deserialize, Serialize};

/// Distance of averaged embeddings below which two faces are one person.
///
/// Measured on real faces, 12 shots of 5 people, light to medium deep: one person ≤ 0.44, different people
/// ≥ 0.73. On rendered heads, whose one geometry brings them nearer: one person ≤ 0.28, different people
/// ≥ 0.49, the nearest of them all brown to deep. What is certain has to be certain for everybody.
pub const SAME: f64 = 0.45;
/// Distance up to which it is asked: halfway between the two on real faces, rounded up.
pub const DOUBT: f64 = 0.6;

/// A face's track, for grouping.
#[derive(Clone, Debug, PartialEq)]
pub struct Member {
    /// Mean embedding of the track.
    pub embedding: Embedding,
    /// How much it counts in its person's mean: views, or frames.
    pub weight: f64,
    /// The shot it is in: any number, equal for equal shots.
    pub shot: u64,
    /// Frames of that shot that hold the face, as spans; two faces in one frame are two people.
    pub held: Vec<std::ops::Range<u64>>,
}

/// Two groups that may be one person.
#[derive(Clone, Copy, Debug, PartialEq, Serialize, Deserialize)]
pub struct Question {
    /// The group that comes first.
    pub first: usize,
    /// The other one.
    pub second: usize,
    /// Distance of their means.
    pub distance: f64,
}

/// People, each a list of members (indices, rising), ordered by their first member; and what is
/// asked, the likeliest first. Nobody stands in two questions at once: an answer may settle the
/// others, and those that it leaves are asked then.
#[derive(Clone, Debug, Default, PartialEq, Serialize, Deserialize)]
pub struct Groups {
    /// The members of each person.
    pub people: Vec<Vec<usize>>,
    /// Pairs of people in doubt.
    pub questions: Vec<Question>,
}

/// What the editor has said about two members.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Said {
    /// One person.
    Same,
    /// Two people.
    Different,
}

/// Groups faces into people. `said` is what the editor decided about pairs of members; it wins over
/// every distance. Links are made from the nearest pair of groups on, while their means lie nearer
/// than [`SAME`] and no two of their faces stand in one frame; ties go to the lower index.
/// With n faces it takes n² distances, and n more for every link.
#[must_use]
pub fn group(members: &[Member], said: &[(usize, usize, Said)]) -> Groups {
    let mut people: Vec<Vec<usize>> = (0..members.len()).map(|k| vec![k]).collect();
    let has = |person: &[usize], k: usize| person.contains(&k);
    for &(a, b, what) in said {
        if what == Said::Same && a < members.len() && b < members.len() {
            let (Some(i), Some(j)) = (
                people.iter().position(|p| has(p, a)),
                people.iter().position(|p| has(p, b)),
            ) else {
                continue;
            };
            merge(&mut people, i.min(j), i.max(j));
        }
    }
    let apart = |a: &[usize], b: &[usize]| {
        a.iter().any(|&i| {
            b.iter().any(|&j| {
                at_once(&members[i], &members[j])
                    || said.iter().any(|&(x, y, what)| {
                        what == Said::Different && ((x, y) == (i, j) || (x, y) == (j, i))
                    })
            })
        })
    };
    let mut means: Vec<Option<Embedding>> = people.iter().map(|p| mean(members, p)).collect();
    let near = |a: usize, b: usize, people: &[Vec<usize>], means: &[Option<Embedding>]| {
        let distance = means[a].as_ref()?.distance(means[b].as_ref()?);
        (distance <= DOUBT && !apart(&people[a], &people[b])).then_some(distance)
    };
    // Every pair that is near, lower index first; after a merge only its pairs are measured anew.
    let mut open: Vec<(usize, usize, f64)> = Vec::new();
    for i in 0..people.len() {
        for j in i + 1..people.len() {
            open.extend(near(i, j, &people, &means).map(|d| (i, j, d)));
        }
    }
    let order = |a: &(usize, usize, f64), b: &(usize, usize, f64)| {
        a.2.total_cmp(&b.2).then(a.0.cmp(&b.0)).then(a.1.cmp(&b.1))
    };
    loop {
        let nearest = open.iter().copied().min_by(order).filter(|n| n.2 < SAME);
        let Some((i, j, _)) = nearest else { break };
        let other = std::mem::take(&mut people[j]);
        people[i].extend(other);
        people[i].sort_unstable();
        means[i] = mean(members, &people[i]);
        means[j] = None;
        open.retain(|(a, b, _)| ![i, j].contains(a) && ![i, j].contains(b));
        for k in 0..people.len() {
            let (a, b) = (i.min(k), i.max(k));
            if a != b {
                open.extend(near(a, b, &people, &means).map(|d| (a, b, d)));
            }
        }
    }
    // Groups that were merged away are empty; the others are numbered by their first member.
    let mut kept: Vec<usize> = (0..people.len())
        .filter(|&k| !people[k].is_empty())
        .collect();
    kept.sort_by_key(|&k| people[k][0]);
    let place = |k: usize| kept.iter().position(|&other| other == k).unwrap_or(0);
    let mut questions: Vec<Question> = open
        .iter()
        .map(|&(i, j, distance)| {
            let (i, j) = (place(i), place(j));
            Question {
                first: i.min(j),
                second: i.max(j),
                distance,
            }
        })
        .collect();
    questions.sort_by(|a, b| {
        a.distance
            .total_cmp(&b.distance)
            .then(a.first.cmp(&b.first))
            .then(a.second.cmp(&b.second))
    });
    let mut asked_about = vec![false; kept.len()];
    questions.retain(|question| {
        let open = !asked_about[question.first] && !asked_about[question.second];
        if open {
            asked_about[question.first] = true;
            asked_about[question.second] = true;
        }
        open
    });
    Groups {
        people: kept.iter().map(|&k| people[k].clone()).collect(),
        questions,
    }
}

/// Moves group `j` into `i`, and keeps the order by first member.
fn merge(people: &mut Vec<Vec<usize>>, i: usize, j: usize) {
    if i == j {
        return;
    }
    let other = people.remove(j);
    people[i].extend(other);
    people[i].sort_unstable();
    people.sort_by_key(|person| person[0]);
}

fn at_once(a: &Member, b: &Member) -> bool {
    a.shot == b.shot
        && a.held
            .iter()
            .any(|x| b.held.iter().any(|y| x.start < y.end && y.start < x.end))
}

fn mean(members: &[Member], person: &[usize]) -> Option<Embedding> {
    let length = members[*person.first()?].embedding.0.len();
    let mut sum = vec![0.0_f64; length];
    let mut weight = 0.0;
    for &k in person {
        let own = members[k].weight.max(1e-6);
        weight += own;
        for (sum, value) in sum.iter_mut().zip(&members[k].embedding.0) {
            *sum += own * f64::from(*value);
        }
    }
    (length > 0).then(|| Embedding(sum.into_iter().map(|v| (v / weight) as f32).collect()))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[expect(clippy::single_range_in_vec_init, reason = "one span")]
    fn member(at: [f32; 2], shot: u64) -> Member {
        Member {
            embedding: Embedding(at.to_vec()),
            weight: 1.0,
            shot,
            held: vec![0..10],
        }
    }

    #[test]
    fn sure_links_are_made_and_doubts_are_asked() {
        let members = [
            member([0.0, 0.0], 0),
            member([1.0, 0.0], 1),
            member([0.1, 0.1], 2),
            member([0.0, 0.58], 3),
        ];
        let groups = group(&members, &[]);
        assert_eq!(groups.people, [vec![0, 2], vec![1], vec![3]]);
        assert_eq!(groups.questions.len(), 1);
        assert_eq!(
            (groups.questions[0].first, groups.questions[0].second),
            (0, 2)
        );
    }

    #[test]
    fn nobody_is_asked_about_twice_at_once() {
        let members = [
            member([0.0, 0.0], 0),
            member([0.55, 0.0], 1),
            member([0.0, 0.58], 2),
            member([0.55, 0.58], 3),
        ];
        let pairs = |said: &[(usize, usize, Said)]| -> Vec<(usize, usize)> {
            let asked = group(&members, said).questions;
            asked.iter().map(|q| (q.first, q.second)).collect()
        };
        assert_eq!(pairs(&[]), [(0, 1), (2, 3)]);
        let different = [(0, 1, Said::Different), (2, 3, Said::Different)];
        assert_eq!(pairs(&different), [(0, 2), (1, 3)], "the next ones follow");
    }

    #[test]
    fn two_faces_in_one_frame_are_two_people() {
        let mut members = [member([0.0, 0.0], 0), member([0.1, 0.0], 0)];
        let apart = group(&members, &[]);
        assert_eq!(apart.people.len(), 2);
        assert!(apart.questions.is_empty());
        members[1].held[0] = 20..30;
        assert_eq!(group(&members, &[]).people.len(), 1);
    }

    #[test]
    fn what_the_editor_said_wins() {
        let members = [
            member([0.0, 0.0], 0),
            member([0.1, 0.0], 1),
            member([2.0, 0.0], 2),
        ];
        let said = [(0, 1, Said::Different), (2, 0, Said::Same)];
        assert_eq!(group(&members, &said).people, [vec![0, 2], vec![1]]);
        assert_eq!(group(&[], &said), Groups::default());
    }

    #[test]
    fn the_order_of_shots_does_not_change_who_is_who() {
        let members: Vec<Member> = (0..12)
            .map(|k| member([(k % 3) as f32, 0.05 * (k / 3) as f32], k as u64))
            .collect();
        let mut reversed = members.clone();
        reversed.reverse();
        let a = group(&members, &[]);
        let mut b: Vec<Vec<usize>> = group(&reversed, &[])
            .people
            .into_iter()
            .map(|p| p.into_iter().map(|k| 11 - k).rev().collect())
            .collect();
        b.sort();
        assert_eq!(a.people.len(), 3);
        assert_eq!(a.people, b);
    }
}
