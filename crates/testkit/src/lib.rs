//! Synthetic scenes and a film with known truth.
