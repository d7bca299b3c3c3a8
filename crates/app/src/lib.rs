//! Use cases and jobs.
