//! One motion from many points: a similarity that most of them agree on.

use crate::pose::Similarity;

/// A similarity and the points that agree with it.
#[derive(Clone, Debug)]
pub(super) struct Agreed {
    pub(super) motion: Similarity,
    /// Index of each agreeing point.
    pub(super) points: Vec<usize>,
}

/// The similarity that takes most of `from` to `to` within `tolerance`, by random samples of two
/// points (RANSAC; Fischler and Bolles 1981) from a fixed seed, then by least squares over the
/// points that agree. `None` with fewer than two different points.
pub(super) fn agree(from: &[[f64; 2]], to: &[[f64; 2]], tolerance: f64) -> Option<Agreed> {
    /// Chance of missing a half of all points that agree: (3/4)^80 = 1e-10.
    const DRAWS: usize = 80;
    let n = from.len().min(to.len());
    if n < 2 {
        return None;
    }
    let mut state = 0x1234_5678_9abc_def0u64;
    let mut draw = |limit: usize| {
        // The splitmix64 generator (Steele, Lea, Flood 2014).
        state = state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = state;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        ((z ^ (z >> 31)) % limit as u64) as usize
    };
    let agreeing = |motion: &Similarity, tolerance: f64| -> Vec<usize> {
        (0..n)
            .filter(|&i| {
                let [x, y] = motion.apply(from[i]);
                (x - to[i][0]).hypot(y - to[i][1]) <= tolerance
            })
            .collect()
    };
    let mut best: Vec<usize> = Vec::new();
    for _ in 0..DRAWS {
        let first = draw(n);
        let second = (first + 1 + draw(n - 1)) % n;
        let Some(motion) = least_squares(from, to, &[first, second]) else {
            continue;
        };
        let points = agreeing(&motion, tolerance);
        if points.len() > best.len() {
            best = points;
        }
    }
    let mut motion = least_squares(from, to, &best)?;
    for _ in 0..2 {
        let points = agreeing(&motion, tolerance);
        let Some(next) = least_squares(from, to, &points) else {
            break;
        };
        (motion, best) = (next, points);
    }
    Some(Agreed {
        motion,
        points: best,
    })
}

/// The similarity of least squares over some points; `None` where they coincide.
fn least_squares(from: &[[f64; 2]], to: &[[f64; 2]], points: &[usize]) -> Option<Similarity> {
    let n = points.len() as f64;
    let mean = |list: &[[f64; 2]]| {
        let sum = points
            .iter()
            .fold([0.0; 2], |[x, y], &i| [x + list[i][0], y + list[i][1]]);
        sum.map(|v| v / n)
    };
    if points.len() < 2 {
        return None;
    }
    let (f, t) = (mean(from), mean(to));
    let (mut square, mut dot, mut cross) = (0.0, 0.0, 0.0);
    for &i in points {
        let (x, y) = (from[i][0] - f[0], from[i][1] - f[1]);
        let (u, v) = (to[i][0] - t[0], to[i][1] - t[1]);
        square += x * x + y * y;
        dot += x * u + y * v;
        cross += x * v - y * u;
    }
    if square < 1e-9 {
        return None;
    }
    let (a, b) = (dot / square, cross / square);
    Some(Similarity {
        a,
        b,
        tx: t[0] - (a * f[0] - b * f[1]),
        ty: t[1] - (b * f[0] + a * f[1]),
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::Random;

    /// With 45 of 100 points elsewhere, the motion of the others comes out to a tenth of a pixel.
    #[test]
    fn finds_the_motion_of_the_many() {
        let mut random = Random::new(3);
        let truth = Similarity {
            a: 1.05,
            b: 0.04,
            tx: 6.0,
            ty: -3.0,
        };
        let from: Vec<[f64; 2]> = (0..100)
            .map(|_| [random.unit() * 100.0, random.unit() * 100.0])
            .collect();
        let to: Vec<[f64; 2]> = from
            .iter()
            .enumerate()
            .map(|(i, p)| {
                let [x, y] = truth.apply(*p);
                if i < 45 {
                    [x + 20.0 * random.normal(), y - 15.0]
                } else {
                    [x + 0.2 * random.normal(), y + 0.2 * random.normal()]
                }
            })
            .collect();
        let found = agree(&from, &to, 1.0).unwrap();
        assert!(found.points.len() >= 50 && found.points.len() < 60);
        let [x, y] = found.motion.apply([50.0, 50.0]);
        let [u, v] = truth.apply([50.0, 50.0]);
        assert!((x - u).hypot(y - v) < 0.1);
        assert!(agree(&from[..1], &to[..1], 1.0).is_none());
        assert!(agree(&[[1.0; 2]; 5], &[[2.0; 2]; 5], 1.0).is_none());
    }
}
