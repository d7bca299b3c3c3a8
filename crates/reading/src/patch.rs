//! A patch as the editor draws or types it.

use serde::{Deserialize, Serialize};

/// An outline in fractions of picture width (x) and height (y); (0, 0) is the top-left corner of the
/// picture, (1, 1) the bottom-right one.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
pub enum Shape {
    /// An upright ellipse.
    Ellipse {
        /// Centre (x, y).
        centre: [f64; 2],
        /// Half width and half height, both above zero.
        radii: [f64; 2],
    },
    /// At least three corners in order around; the last joins the first, no two edges cross.
    Polygon(Vec<[f64; 2]>),
}

/// An area of one person's skin, drawn on one frame.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize)]
pub struct Patch {
    /// The outline on the frame that it was drawn on.
    pub shape: Shape,
    /// The source frame that it was drawn on, from 0.
    pub frame: u64,
    /// Whose skin it is, where that was said.
    pub person: Option<String>,
}

/// What is wrong with a patch. Every message says what was given, what is expected and what to do.
#[derive(Clone, Debug, PartialEq, thiserror::Error)]
pub enum PatchError {
    /// Neither `ellipse=` nor `polygon=`.
    #[error(
        "patch '{given}': expected 'ellipse=CX,CY,RX,RY' or 'polygon=X,Y;X,Y;X,Y', in fractions of picture width and height"
    )]
    Form {
        /// The text.
        given: String,
    },
    /// The text before the shape is not `CLIP@FRAME`.
    #[error(
        "patch '{given}': expected 'CLIP@FRAME:ellipse=CX,CY,RX,RY' or 'CLIP@FRAME:polygon=X,Y;X,Y;X,Y', with a frame number from 0"
    )]
    Place {
        /// The text.
        given: String,
    },
    /// A name that is empty.
    #[error("patch '{given}': ':person=' is followed by nothing; write a name or leave it out")]
    EmptyName {
        /// The text.
        given: String,
    },
    /// Something that is not a finite number.
    #[error("patch '{given}': '{part}' is not a number; write decimals such as 0.42")]
    Number {
        /// The text.
        given: String,
        /// The part of it.
        part: String,
    },
    /// Too few or too many numbers.
    #[error("patch '{given}': {found} numbers in '{part}', expected {expected}")]
    Count {
        /// The text.
        given: String,
        /// The part of it.
        part: String,
        /// How many were found.
        found: usize,
        /// How many are expected, and what they are.
        expected: &'static str,
    },
    /// An ellipse of no size.
    #[error(
        "patch '{given}': radii {rx} and {ry}, expected both above 0 (half width and half height of the ellipse)"
    )]
    Radii {
        /// The text.
        given: String,
        /// Half width.
        rx: f64,
        /// Half height.
        ry: f64,
    },
    /// Fewer than three corners, or all of them on one line.
    #[error(
        "patch '{given}': {corners} corners that enclose nothing, expected at least 3 that are not on one line"
    )]
    Degenerate {
        /// The text.
        given: String,
        /// How many corners were given.
        corners: usize,
    },
    /// Two edges cross.
    #[error(
        "patch '{given}': edges {first} and {second} cross; list the corners in order around the patch"
    )]
    Crossing {
        /// The text.
        given: String,
        /// Number of an edge, from 1.
        first: usize,
        /// Number of another one.
        second: usize,
    },
    /// The middle of the patch is not in the picture.
    #[error(
        "patch '{given}' is outside the picture: its middle is at {x:.3},{y:.3}, expected 0 to 1 in both; {hint}"
    )]
    Outside {
        /// The text.
        given: String,
        /// Middle, fraction of width.
        x: f64,
        /// Middle, fraction of height.
        y: f64,
        /// What to do.
        hint: &'static str,
    },
    /// So small that nothing can be read from it.
    #[error(
        "patch covers {found} pixels of a picture of {width}x{height}, expected at least {needed}; draw it larger"
    )]
    Small {
        /// Pixels whose centres lie inside patch and picture.
        found: usize,
        /// The fewest that are read.
        needed: usize,
        /// Picture width.
        width: usize,
        /// Picture height.
        height: usize,
    },
}

/// A patch with the clip that it is meant for, as the command line takes it.
#[derive(Clone, Debug, PartialEq)]
pub struct PatchArgument {
    /// The clip as typed.
    pub clip: String,
    /// The patch.
    pub patch: Patch,
}

impl PatchArgument {
    /// Reads `CLIP@FRAME:ellipse=CX,CY,RX,RY[:person=NAME]` (or `polygon=X,Y;X,Y;…`).
    ///
    /// The clip may itself contain `@` and `:`: the last `:ellipse=` or `:polygon=` and the last
    /// `@` before it are the ones that count.
    ///
    /// # Errors
    /// [`PatchError`]; the message repeats the text.
    pub fn parse(text: &str) -> Result<Self, PatchError> {
        let place = || PatchError::Place {
            given: text.to_owned(),
        };
        let start = text
            .rfind(":ellipse=")
            .into_iter()
            .chain(text.rfind(":polygon="))
            .max()
            .ok_or_else(place)?;
        let (head, rest) = (&text[..start], &text[start + 1..]);
        let (clip, frame) = head.rsplit_once('@').ok_or_else(place)?;
        let frame: u64 = frame.trim().parse().map_err(|_| place())?;
        if clip.trim().is_empty() {
            return Err(place());
        }
        let (shape, person) = match rest.split_once(":person=") {
            Some((_, name)) if name.trim().is_empty() => {
                return Err(PatchError::EmptyName {
                    given: text.to_owned(),
                });
            }
            Some((shape, name)) => (shape, Some(name.trim().to_owned())),
            None => (rest, None),
        };
        Ok(Self {
            clip: clip.to_owned(),
            patch: Patch {
                shape: Shape::parse(shape)?,
                frame,
                person,
            },
        })
    }
}

impl Patch {
    /// The fewest unclipped pixels that are read.
    pub const MIN_PIXELS: usize = 25;

    /// Reads `ellipse=CX,CY,RX,RY` or `polygon=X,Y;X,Y;…` as a patch of a frame.
    ///
    /// # Errors
    /// [`PatchError`], also when the middle of the patch lies outside the picture.
    pub fn parse(text: &str, frame: u64, person: Option<String>) -> Result<Self, PatchError> {
        Ok(Self {
            shape: Shape::parse(text)?,
            frame,
            person,
        })
    }

    /// Checks the patch against the size of its picture in pixels.
    ///
    /// # Errors
    /// [`PatchError::Small`] where fewer than [`Self::MIN_PIXELS`] pixels lie inside.
    pub fn check(&self, width: usize, height: usize) -> Result<(), PatchError> {
        let found = crate::patch_pixels(self, &crate::Similarity::IDENTITY, width, height)
            .inside
            .len();
        if found < Self::MIN_PIXELS {
            return Err(PatchError::Small {
                found,
                needed: Self::MIN_PIXELS,
                width,
                height,
            });
        }
        Ok(())
    }
}

/// The words that [`Shape::parse`] reads.
impl std::fmt::Display for Shape {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Ellipse {
                centre: [x, y],
                radii: [rx, ry],
            } => write!(f, "ellipse={x},{y},{rx},{ry}"),
            Self::Polygon(corners) => {
                f.write_str("polygon=")?;
                for (k, [x, y]) in corners.iter().enumerate() {
                    let separator = if k == 0 { "" } else { ";" };
                    write!(f, "{separator}{x},{y}")?;
                }
                Ok(())
            }
        }
    }
}

impl Shape {
    /// Reads `ellipse=CX,CY,RX,RY` or `polygon=X,Y;X,Y;…`, in fractions of width and height.
    ///
    /// # Errors
    /// [`PatchError`], also when the middle of the shape lies outside the picture. A shape that
    /// only reaches over the edge is taken; the part inside is read.
    pub fn parse(text: &str) -> Result<Self, PatchError> {
        let given = text.trim();
        let owned = || given.to_owned();
        let shape = if let Some(body) = given.strip_prefix("ellipse=") {
            let numbers = numbers(given, body)?;
            let &[x, y, rx, ry] = numbers.as_slice() else {
                return Err(PatchError::Count {
                    given: owned(),
                    part: body.to_owned(),
                    found: numbers.len(),
                    expected: "4: centre x, centre y, half width, half height",
                });
            };
            if rx <= 0.0 || ry <= 0.0 {
                return Err(PatchError::Radii {
                    given: owned(),
                    rx,
                    ry,
                });
            }
            Self::Ellipse {
                centre: [x, y],
                radii: [rx, ry],
            }
        } else if let Some(body) = given.strip_prefix("polygon=") {
            let mut corners = Vec::new();
            for part in body.split(';').map(str::trim).filter(|p| !p.is_empty()) {
                let numbers = numbers(given, part)?;
                let &[x, y] = numbers.as_slice() else {
                    return Err(PatchError::Count {
                        given: owned(),
                        part: part.to_owned(),
                        found: numbers.len(),
                        expected: "2: x and y, corners parted by ';'",
                    });
                };
                corners.push([x, y]);
            }
            if let Some((first, second)) = crossing(&corners) {
                return Err(PatchError::Crossing {
                    given: owned(),
                    first,
                    second,
                });
            }
            let count = corners.len();
            let shape = Self::Polygon(corners);
            if count < 3 || shape.area() < 1e-12 {
                return Err(PatchError::Degenerate {
                    given: owned(),
                    corners: count,
                });
            }
            shape
        } else {
            return Err(PatchError::Form { given: owned() });
        };
        let [x, y] = shape.middle();
        if !(0.0..=1.0).contains(&x) || !(0.0..=1.0).contains(&y) {
            let hint = if x.abs().max(y.abs()) >= 8.0 {
                "these look like pixels: divide by the picture's width and height"
            } else {
                "give fractions of picture width and height"
            };
            return Err(PatchError::Outside {
                given: owned(),
                x,
                y,
                hint,
            });
        }
        Ok(shape)
    }

    /// Whether a point (fractions of width and height) lies inside; the outline itself is arbitrary.
    #[must_use]
    pub fn contains(&self, [x, y]: [f64; 2]) -> bool {
        match self {
            Self::Ellipse { centre, radii } => {
                let (u, v) = ((x - centre[0]) / radii[0], (y - centre[1]) / radii[1]);
                u * u + v * v <= 1.0
            }
            Self::Polygon(corners) => edges(corners).fold(false, |inside, ([x0, y0], [x1, y1])| {
                let crosses = (y0 > y) != (y1 > y) && x < x0 + (y - y0) / (y1 - y0) * (x1 - x0);
                inside != crosses
            }),
        }
    }

    /// The exact area as a share of the picture's area, the part outside the picture included.
    #[must_use]
    pub fn area(&self) -> f64 {
        match self {
            Self::Ellipse { radii, .. } => std::f64::consts::PI * radii[0] * radii[1],
            Self::Polygon(corners) => signed_area(corners).abs(),
        }
    }

    /// The centre of an ellipse, the centroid of a polygon.
    #[must_use]
    pub fn middle(&self) -> [f64; 2] {
        match self {
            Self::Ellipse { centre, .. } => *centre,
            Self::Polygon(corners) => {
                let area = signed_area(corners);
                // About the first corner, so that small patches far from the origin stay exact.
                let [ox, oy] = corners.first().copied().unwrap_or([0.0; 2]);
                let (mut x, mut y) = (0.0, 0.0);
                for ([x0, y0], [x1, y1]) in edges(corners) {
                    let (x0, y0, x1, y1) = (x0 - ox, y0 - oy, x1 - ox, y1 - oy);
                    let cross = x0 * y1 - x1 * y0;
                    x += (x0 + x1) * cross;
                    y += (y0 + y1) * cross;
                }
                [ox + x / (6.0 * area), oy + y / (6.0 * area)]
            }
        }
    }

    /// Smallest and largest x and y: ([x, y], [x, y]).
    #[must_use]
    pub fn bounds(&self) -> ([f64; 2], [f64; 2]) {
        match self {
            Self::Ellipse { centre, radii } => (
                [centre[0] - radii[0], centre[1] - radii[1]],
                [centre[0] + radii[0], centre[1] + radii[1]],
            ),
            Self::Polygon(corners) => corners.iter().fold(
                ([f64::INFINITY; 2], [f64::NEG_INFINITY; 2]),
                |(low, high), corner| {
                    (
                        [low[0].min(corner[0]), low[1].min(corner[1])],
                        [high[0].max(corner[0]), high[1].max(corner[1])],
                    )
                },
            ),
        }
    }
}

fn numbers(given: &str, part: &str) -> Result<Vec<f64>, PatchError> {
    part.split(',')
        .map(|word| {
            let word = word.trim();
            word.parse::<f64>()
                .ok()
                .filter(|number| number.is_finite())
                .ok_or_else(|| PatchError::Number {
                    given: given.to_owned(),
                    part: word.to_owned(),
                })
        })
        .collect()
}

fn edges(corners: &[[f64; 2]]) -> impl Iterator<Item = ([f64; 2], [f64; 2])> + '_ {
    corners
        .iter()
        .zip(corners.iter().cycle().skip(1))
        .map(|(a, b)| (*a, *b))
}

fn signed_area(corners: &[[f64; 2]]) -> f64 {
    let [ox, oy] = corners.first().copied().unwrap_or([0.0; 2]);
    edges(corners)
        .map(|([x0, y0], [x1, y1])| (x0 - ox) * (y1 - oy) - (x1 - ox) * (y0 - oy))
        .sum::<f64>()
        / 2.0
}

/// The numbers, from 1, of the first two edges that cross each other.
fn crossing(corners: &[[f64; 2]]) -> Option<(usize, usize)> {
    let side = |a: [f64; 2], b: [f64; 2], p: [f64; 2]| {
        ((b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0])).total_cmp(&0.0)
    };
    let edges: Vec<_> = edges(corners).collect();
    for first in 0..edges.len() {
        for second in first + 1..edges.len() {
            let ((a, b), (c, d)) = (edges[first], edges[second]);
            let apart = a != c && a != d && b != c && b != d;
            if apart && side(a, b, c) != side(a, b, d) && side(c, d, a) != side(c, d, b) {
                return Some((first + 1, second + 1));
            }
        }
    }
    None
}

#[cfg(test)]
mod tests {
    use super::*;

    fn ellipse() -> Shape {
        Shape::parse("ellipse=0.42,0.38,0.05,0.06").unwrap()
    }

    #[test]
    fn reads_both_forms() {
        assert_eq!(
            ellipse(),
            Shape::Ellipse {
                centre: [0.42, 0.38],
                radii: [0.05, 0.06]
            }
        );
        let triangle = Shape::parse("polygon= 0.1,0.1; 0.3,0.1 ;0.1,0.5;").unwrap();
        assert!((triangle.area() - 0.04).abs() < 1e-15);
        let [x, y] = triangle.middle();
        assert!((x - 0.5 / 3.0).abs() < 1e-12 && (y - 0.7 / 3.0).abs() < 1e-12);
        assert!(triangle.contains([0.15, 0.15]) && !triangle.contains([0.29, 0.4]));
    }

    #[test]
    fn reads_the_command_line_form() {
        let argument =
            PatchArgument::parse("/a:b/c@1.mov@12:ellipse=0.5,0.5,0.1,0.1:person=Ana: B").unwrap();
        assert_eq!(argument.clip, "/a:b/c@1.mov");
        assert_eq!(argument.patch.frame, 12);
        assert_eq!(argument.patch.person.as_deref(), Some("Ana: B"));
        for bad in [
            "clip.mov:ellipse=0.5,0.5,0.1,0.1",
            "clip.mov@x:ellipse=0.5,0.5,0.1,0.1",
            "clip.mov@-1:ellipse=0.5,0.5,0.1,0.1",
            "@1:ellipse=0.5,0.5,0.1,0.1",
            "clip.mov@1",
        ] {
            let error = PatchArgument::parse(bad).unwrap_err();
            assert!(matches!(error, PatchError::Place { .. }), "{bad}: {error}");
            assert!(error.to_string().contains(bad));
        }
        assert!(matches!(
            PatchArgument::parse("c@1:ellipse=0.5,0.5,0.1,0.1:person= "),
            Err(PatchError::EmptyName { .. })
        ));
    }

    #[test]
    fn every_error_repeats_what_was_given() {
        for (bad, word) in [
            ("circle=1,2,3", "expected 'ellipse="),
            ("ellipse=0.1,0.2,0.3", "3 numbers"),
            ("ellipse=0.1,0.2,0.3,0.4,0.5", "5 numbers"),
            ("ellipse=0.1,x,0.3,0.4", "'x' is not a number"),
            ("ellipse=0.1,nan,0.3,0.4", "'nan' is not a number"),
            ("ellipse=0.1,inf,0.3,0.4", "'inf' is not a number"),
            ("ellipse=0.1,,0.3,0.4", "'' is not a number"),
            ("ellipse=0.1,0.2,0,0.4", "above 0"),
            ("ellipse=0.1,0.2,-1,0.4", "above 0"),
            ("ellipse=1.2,0.2,0.1,0.1", "outside the picture"),
            ("ellipse=640,360,50,50", "look like pixels"),
            ("polygon=0.1,0.1;0.2,0.2", "at least 3"),
            ("polygon=0.1,0.1;0.2,0.2;0.3,0.3", "not on one line"),
            ("polygon=0.1,0.1;0.2;0.3,0.3", "1 numbers in '0.2'"),
            ("polygon=0.1,0.1;0.3,0.3;0.3,0.1;0.1,0.3", "cross"),
            ("polygon=1.1,0.1;1.2,0.1;1.2,0.3", "outside the picture"),
        ] {
            let text = Shape::parse(bad).unwrap_err().to_string();
            assert!(text.contains(word) && text.contains(bad), "{bad}: {text}");
        }
    }

    #[test]
    fn over_the_edge_is_taken_and_too_small_is_not() {
        let patch = Patch::parse("ellipse=0.99,0.5,0.05,0.05", 0, None).unwrap();
        assert!(patch.check(640, 360).is_ok());
        let small = Patch::parse("ellipse=0.5,0.5,0.001,0.001", 0, None).unwrap();
        let text = small.check(640, 360).unwrap_err().to_string();
        assert!(text.contains("640x360") && text.contains("25"), "{text}");
    }

    proptest::proptest! {
        /// A count of grid points inside agrees with the exact area, for stars of any form.
        #[test]
        fn area_agrees_with_containment(radii in proptest::collection::vec(0.05f64..0.45, 3..12)) {
            let corners: Vec<[f64; 2]> = radii
                .iter()
                .enumerate()
                .map(|(i, r)| {
                    let angle = i as f64 / radii.len() as f64 * std::f64::consts::TAU;
                    [0.5 + r * angle.cos(), 0.5 + r * angle.sin()]
                })
                .collect();
            let shape = Shape::Polygon(corners.clone());
            proptest::prop_assert!(crossing(&corners).is_none());
            let n = 400;
            let inside = (0..n * n)
                .filter(|i| {
                    let at = |k: usize| (k as f64 + 0.5) / n as f64;
                    shape.contains([at(i % n), at(i / n)])
                })
                .count();
            // The outline is shorter than 12 picture sides; a grid errs by far less than that.
            proptest::prop_assert!((inside as f64 / (n * n) as f64 - shape.area()).abs() < 4e-3);
        }

        #[test]
        fn never_panics_on_any_text(text in ".{0,40}") {
            let _ = Shape::parse(&text);
            let _ = Shape::parse(&format!("polygon={text}"));
            let _ = PatchArgument::parse(&text);
            let _ = PatchArgument::parse(&format!("c@1:ellipse={text}"));
        }
    }
}
