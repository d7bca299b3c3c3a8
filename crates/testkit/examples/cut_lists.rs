//! Writes the demo film's cut lists alone: `cut_lists DIRECTORY`.

use inkarnat_testkit::film::lists::{edl, otio};
use inkarnat_testkit::film::scenario::cut;

fn main() -> std::io::Result<()> {
    let directory = std::env::args().nth(1).unwrap_or_else(|| ".".into());
    let cut = cut();
    std::fs::write(format!("{directory}/film.edl"), edl("THE SPARE KEY", &cut))?;
    std::fs::write(
        format!("{directory}/film.otio"),
        otio("THE SPARE KEY", &cut).to_string(),
    )
}
