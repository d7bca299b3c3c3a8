//! Writes tables, CDL and CLF files with our own results beside them, for a foreign reader to check.
//!
//! `export_check DIRECTORY` fills an existing directory: `manifest.json` says what is there. Colours
//! and results are raw little-endian numbers, three a colour. `export_check DIRECTORY --read` reads
//! every `.clf` file below `DIRECTORY/foreign` and puts our result beside it.
#![allow(
    clippy::disallowed_methods,
    reason = "an example program, not part of the pure crate"
)]

use inkarnat_color::{Coefficients, WorkingSpace};
use inkarnat_interchange::clf::nodes_of;
use inkarnat_interchange::{CdlFile, ClfFile, Correction, CubeFile, Form, Place};
use inkarnat_ops::{
    Cdl, CdlStyle, Chain, CurveDomain, Curves, Domain, Exponent, ExponentStyle, Grid,
    Interpolation, Key, KeyedCdl, Log, LogParams, LogStyle, Matrix, Node, Op, Process, Range,
    Shoulder, StyledCdl, Window,
};
use serde_json::{Value, json};
use std::error::Error;
use std::fs;
use std::path::Path;

/// A reproducible stream of numbers in 0–1.
struct Stream(u64);

impl Stream {
    fn next(&mut self) -> f64 {
        self.0 = self
            .0
            .wrapping_mul(6_364_136_223_846_793_005)
            .wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 11) as f64 / (1_u64 << 53) as f64
    }

    fn between(&mut self, low: f64, high: f64) -> f64 {
        low + (high - low) * self.next()
    }

    fn three(&mut self, low: f64, high: f64) -> [f64; 3] {
        std::array::from_fn(|_| self.between(low, high))
    }
}

/// A grid over the wide domain, and random colours in and beyond it.
fn colours(stream: &mut Stream) -> Vec<[f32; 3]> {
    let steps = 24;
    let at = |i: usize| {
        let part = i as f64 / f64::from(steps - 1);
        (Domain::WIDE.min + (Domain::WIDE.max - Domain::WIDE.min) * part) as f32
    };
    let count = steps as usize;
    let grid = (0..count.pow(3)).map(|i| {
        [
            at(i % count),
            at(i / count % count),
            at(i / (count * count)),
        ]
    });
    let mut colours: Vec<_> = grid.collect();
    colours.extend((0..20_000).map(|_| stream.three(-0.1, 1.15).map(|v| v as f32)));
    colours
}

/// CDLs from neutral to far; `(name, cdl)`.
fn cdls(stream: &mut Stream) -> Vec<(String, Cdl)> {
    let mut cdls = vec![
        ("neutral".to_owned(), Cdl::NEUTRAL),
        (
            "monochrome".to_owned(),
            Cdl {
                saturation: 0.0,
                ..Cdl::NEUTRAL
            },
        ),
    ];
    for i in 0..24 {
        let cdl = Cdl {
            slope: stream.three(0.5, 1.8),
            offset: stream.three(-0.1, 0.1),
            power: stream.three(0.6, 1.6),
            saturation: stream.between(0.2, 1.6),
        };
        cdls.push((format!("random {i}"), cdl));
    }
    cdls
}

/// Chains of every kind of operation; `(name, chain)`.
fn chains(stream: &mut Stream) -> Vec<(String, Chain)> {
    let mild = Cdl {
        slope: [1.13, 0.97, 1.21],
        offset: [-0.012, 0.004, 0.02],
        power: [0.94, 1.06, 0.9],
        saturation: 1.08,
    };
    let gain = Cdl {
        slope: [1.35, 1.2, 0.9],
        ..Cdl::NEUTRAL
    };
    let roll = Shoulder::neutral_beyond_white([0.55, 0.5, 0.45], gain.slope, [1.0; 3], gain.slope);
    let keyed = KeyedCdl {
        key: Key {
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
        },
        cdl: mild,
    };
    let mut chains = vec![
        ("identity".to_owned(), Chain::default()),
        ("balance".to_owned(), Chain::of_fix(vec![Op::Cdl(mild)])),
        (
            "gain_and_shoulder".to_owned(),
            Chain::of_fix(vec![Op::Cdl(gain), Op::Shoulder(roll)]),
        ),
        (
            "exposure_in_proportion".to_owned(),
            Chain::of_fix(vec![
                Op::Cdl(Cdl {
                    slope: [1.4; 3],
                    ..Cdl::NEUTRAL
                }),
                Op::Shoulder(Shoulder::in_proportion(0.6, 1.4, 1.0)),
            ]),
        ),
        ("keyed".to_owned(), Chain::of_fix(vec![Op::KeyedCdl(keyed)])),
    ];
    let strong = Cdl {
        slope: stream.three(0.6, 1.6),
        offset: stream.three(-0.08, 0.08),
        power: stream.three(0.7, 1.4),
        saturation: 1.3,
    };
    chains.push(("strong".to_owned(), Chain::of_fix(vec![Op::Cdl(strong)])));
    chains
}

/// Our result of a chain on all colours, by the code for rows.
fn rows(chain: &Chain, colours: &[[f32; 3]]) -> Vec<u8> {
    let mut planes: [Vec<f32>; 3] =
        std::array::from_fn(|c| colours.iter().map(|colour| colour[c]).collect());
    let [r, g, b] = &mut planes;
    chain.prepare().apply_rows([r, g, b]);
    (0..colours.len())
        .flat_map(|i| [planes[0][i], planes[1][i], planes[2][i]])
        .flat_map(f32::to_le_bytes)
        .collect()
}

/// Our result of a function on all colours, in `f64`.
fn plain(colours: &[[f32; 3]], function: impl Fn([f64; 3]) -> [f64; 3]) -> Vec<u8> {
    colours
        .iter()
        .flat_map(|colour| function(colour.map(f64::from)))
        .flat_map(f64::to_le_bytes)
        .collect()
}

fn write_cdl(to: &Path, index: usize, name: &str, cdl: Cdl) -> Result<Value, Box<dyn Error>> {
    let mut files = serde_json::Map::new();
    for form in Form::ALL {
        let correction = |id: &str, cdl| Correction {
            id: id.to_owned(),
            descriptions: vec![format!("{name}, <no clamp> & exact")],
            input_description: "R'G'B' of BT.709".to_owned(),
            cdl,
            ..Correction::default()
        };
        let mut corrections = vec![correction(&format!("shot {index}"), cdl)];
        if form != Form::Cc {
            corrections.insert(0, correction("another", Cdl::NEUTRAL));
        }
        let file = format!("cdl_{index}.{}", form.extension());
        fs::write(to.join(&file), CdlFile { form, corrections }.write()?)?;
        files.insert(form.extension().to_owned(), json!(file));
    }
    Ok(Value::Object(files))
}

/// Every kind of node in every style; `(name, nodes)`.
fn nodes(stream: &mut Stream) -> Vec<(String, Vec<Node>)> {
    let cdl = Cdl {
        slope: stream.three(0.8, 1.3),
        offset: stream.three(-0.05, 0.05),
        power: stream.three(0.8, 1.25),
        saturation: 0.8,
    };
    let mut found = Vec::new();
    let mut add = |name: String, node: Node| found.push((name, vec![node]));
    add(
        "matrix".to_owned(),
        Node::Matrix(Matrix {
            rows: std::array::from_fn(|_| std::array::from_fn(|_| stream.between(-0.5, 1.0))),
        }),
    );
    for (name, low, high, clamp) in [
        ("clamp", Some([0.06, 0.0]), Some([0.92, 1.0]), true),
        ("scale", Some([0.06, 0.0]), Some([0.92, 1.0]), false),
        ("low", Some([0.1, 0.1]), None, true),
        ("high", None, Some([0.9, 0.9]), true),
    ] {
        add(
            format!("range {name}"),
            Node::Range(Range { low, high, clamp }),
        );
    }
    for style in CdlStyle::ALL {
        add(
            format!("cdl {style:?}"),
            Node::Cdl(StyledCdl { cdl, style }),
        );
    }
    let mut unit = |size: usize| Curves {
        domain: CurveDomain::Unit,
        table: (0..size)
            .map(|_| stream.three(-0.2, 1.2).map(|v| v as f32))
            .collect(),
    };
    add("curves of 2".to_owned(), Node::Curves(unit(2)));
    add("curves of 1024, rough".to_owned(), Node::Curves(unit(1024)));
    // A reader in `f32` places a value among 1024 entries to half a 2^-14 of an entry: with steps of up
    // to 1.4 that alone is 4e-5. Here they are below 0.1, so that what is compared is the reading.
    let grain = unit(1024).table.into_iter().enumerate();
    let bent = grain.map(|(i, noise)| {
        let x = i as f32 / 1023.0;
        noise.map(|noise| 1.1 * x.powf(0.7) + 0.05 * noise)
    });
    add(
        "curves of 1024".to_owned(),
        Node::Curves(Curves {
            domain: CurveDomain::Unit,
            table: bent.collect(),
        }),
    );
    let halves = (0..=u16::MAX).map(|bits| {
        let v = half::f16::from_bits(bits).to_f32();
        if v.is_finite() {
            [v * 0.9 + 0.01, v.abs().sqrt(), -v]
        } else {
            [0.0; 3]
        }
    });
    add(
        "curves of halves".to_owned(),
        Node::Curves(Curves {
            domain: CurveDomain::Half,
            table: halves.collect(),
        }),
    );
    let chain = Chain::of_fix(vec![Op::Cdl(cdl)]);
    for interpolation in [Interpolation::Trilinear, Interpolation::Tetrahedral] {
        let lut = chain.bake(9, Domain::UNIT).lut;
        add(
            format!("grid {interpolation:?}"),
            Node::Grid(Grid { interpolation, lut }),
        );
    }
    for style in LogStyle::ALL {
        let params = |slope, linear| LogParams {
            log_slope: slope,
            log_offset: 0.58,
            lin_slope: 0.9892,
            lin_offset: 0.0108,
            lin_break: style.has_break().then_some(0.0078),
            linear_slope: if style.has_break() { linear } else { None },
        };
        let params = [
            params(0.2567, None),
            params(0.3, Some(6.025)),
            params(0.2567, None),
        ];
        let params = if style.has_parameters() {
            params
        } else {
            Default::default()
        };
        let base = if style.has_parameters() { 10.0 } else { 2.0 };
        add(
            format!("log {style:?}"),
            Node::Log(Log {
                style,
                base,
                params,
            }),
        );
    }
    for style in ExponentStyle::ALL {
        let offset = if style.has_offset() {
            [0.055, 0.099, 0.16]
        } else {
            [0.0; 3]
        };
        let exponent = [2.4, 2.2, 3.0];
        add(
            format!("exponent {style:?}"),
            Node::Exponent(Exponent {
                style,
                exponent,
                offset,
            }),
        );
    }
    found
}

/// Every chain and every node as CLF, with our results.
fn write_clf(
    to: &Path,
    stream: &mut Stream,
    colours: &[[f32; 3]],
) -> Result<Vec<Value>, Box<dyn Error>> {
    let mut cases: Vec<(String, Process, f64)> = nodes(stream)
        .into_iter()
        .map(|(name, nodes)| (name, Process { nodes }, 0.0))
        .collect();
    let several = [
        "matrix",
        "range scale",
        "curves of 1024",
        "grid Tetrahedral",
    ];
    let nodes = several.iter().filter_map(|name| {
        let (_, process, _) = cases.iter().find(|(case, _, _)| case == name)?;
        process.nodes.first().cloned()
    });
    let nodes = nodes.collect();
    cases.push(("several nodes".to_owned(), Process { nodes }, 0.0));
    for (name, chain) in chains(stream) {
        let nodes = nodes_of(&chain, 33, Domain::WIDE);
        cases.push((format!("chain {name}"), nodes.process, nodes.error));
    }
    let mut entries = Vec::new();
    for (index, (name, process, error)) in cases.into_iter().enumerate() {
        let file = ClfFile {
            id: format!("urn:uuid:00000000-0000-4000-8000-{index:012}"),
            name: name.clone(),
            descriptions: vec![format!("{name}, <exact> & more")],
            input: "R'G'B' of BT.709".to_owned(),
            output: String::new(),
            process,
        };
        let put = |suffix: &str, bytes: Vec<u8>| -> Result<String, std::io::Error> {
            let file = format!("clf_{index}.{suffix}");
            fs::write(to.join(&file), bytes)?;
            Ok(file)
        };
        let chain = Chain::of_fix(vec![Op::Process(file.process.clone())]);
        entries.push(json!({
            "name": name,
            "error": error,
            "file": put("clf", file.write()?.into_bytes())?,
            "plain": put("plain.f64", plain(colours, |rgb| chain.apply_pixel(rgb)))?,
            "rows": put("rows.f32", rows(&chain, colours))?,
        }));
    }
    Ok(entries)
}

/// Our results of files that somebody else wrote.
fn read_foreign(from: &Path) -> Result<(), Box<dyn Error>> {
    let colours: Vec<[f32; 3]> = fs::read(from.join("colours.f32"))?
        .chunks_exact(12)
        .map(|bytes| {
            std::array::from_fn(|c| {
                f32::from_le_bytes(std::array::from_fn(|byte| bytes[4 * c + byte]))
            })
        })
        .collect();
    for entry in fs::read_dir(from.join("foreign"))? {
        let path = entry?.path();
        if path.extension().is_some_and(|extension| extension == "clf") {
            let file = ClfFile::read(&fs::read(&path)?)
                .map_err(|error| format!("{}: {error}", path.display()))?;
            let result = plain(&colours, |rgb| file.process.apply(rgb));
            fs::write(path.with_extension("f64"), result)?;
        }
    }
    Ok(())
}

fn main() -> Result<(), Box<dyn Error>> {
    let argument = std::env::args_os().nth(1);
    let to = Path::new(
        argument
            .as_ref()
            .ok_or("expected a directory to write to")?,
    );
    if std::env::args_os()
        .nth(2)
        .is_some_and(|argument| argument == "--read")
    {
        return read_foreign(to);
    }
    let mut stream = Stream(20);
    let colours = colours(&mut stream);
    let bytes: Vec<u8> = colours
        .iter()
        .flatten()
        .flat_map(|v| v.to_le_bytes())
        .collect();
    fs::write(to.join("colours.f32"), bytes)?;

    let mut cdl_entries = Vec::new();
    for (index, (name, cdl)) in cdls(&mut stream).into_iter().enumerate() {
        let put = |suffix: &str, bytes: Vec<u8>| -> Result<String, std::io::Error> {
            let file = format!("cdl_{index}.{suffix}");
            fs::write(to.join(&file), bytes)?;
            Ok(file)
        };
        let undone = cdl
            .inverse()
            .map(|back| plain(&colours, |rgb| back.apply(rgb)));
        cdl_entries.push(json!({
            "name": name,
            "id": format!("shot {index}"),
            "cdl": cdl,
            "files": write_cdl(to, index, &name, cdl)?,
            "open": put("open.f64", plain(&colours, |rgb| cdl.apply(rgb)))?,
            "clamped": put("clamped.f64", plain(&colours, |rgb| cdl.apply_clamped(rgb)))?,
            "inverse": undone.map(|bytes| put("inverse.f64", bytes)).transpose()?,
            "rows": put("rows.f32", rows(&Chain::of_fix(vec![Op::Cdl(cdl)]), &colours))?,
        }));
    }

    let mut lut_entries = Vec::new();
    for (name, chain) in chains(&mut stream) {
        chain.validate()?;
        let exact = format!("{name}.exact.f64");
        fs::write(
            to.join(&exact),
            plain(&colours, |rgb| chain.apply_pixel(rgb)),
        )?;
        for (suffix, domain) in [("", Domain::UNIT), ("_wide", Domain::WIDE)] {
            for size in [17, 33] {
                let baked = chain.bake(size, domain);
                let file = format!("{name}_{size}{suffix}.cube");
                let cube = CubeFile::of_chain(
                    &name,
                    Place::Fix,
                    WorkingSpace::default(),
                    baked.lut.clone(),
                    baked.error,
                );
                fs::write(to.join(&file), cube.write())?;
                let result = format!("{name}_{size}{suffix}.rows.f32");
                let table = Chain::of_fix(vec![Op::Lut(baked.lut)]);
                fs::write(to.join(&result), rows(&table, &colours))?;
                lut_entries.push(json!({
                    "name": name, "file": file, "size": size, "domain": domain,
                    "error": baked.error, "rows": result, "exact": exact,
                }));
            }
        }
    }
    let clf_entries = write_clf(to, &mut stream, &colours)?;
    let manifest = json!({
        "colours": "colours.f32", "cdls": cdl_entries, "luts": lut_entries, "clfs": clf_entries,
    });
    fs::write(
        to.join("manifest.json"),
        serde_json::to_string_pretty(&manifest)?,
    )?;
    Ok(())
}
