//! What the arguments themselves give: completions for shells, and manual pages.

use crate::arguments::Arguments;
use anyhow::Context as _;
use clap::CommandFactory;
use std::path::Path;

/// Prints the completions of a shell.
pub(crate) fn completions(shell: clap_complete::Shell) {
    let mut text = Vec::new();
    clap_complete::generate(shell, &mut Arguments::command(), "inkarnat", &mut text);
    // A reader that has seen enough is no error.
    let _ = std::io::Write::write_all(&mut std::io::stdout(), &text);
}

/// Writes the manual pages to a directory. Pages that are there are replaced.
pub(crate) fn pages(to: &Path) -> anyhow::Result<u8> {
    let failed = || {
        format!(
            "{}: the manual pages cannot be written; choose a directory that can be",
            to.display()
        )
    };
    std::fs::create_dir_all(to).with_context(failed)?;
    clap_mangen::generate_to(Arguments::command(), to).with_context(failed)?;
    println!("manual pages written to {}", to.display());
    Ok(0)
}
