//! Clothed heads and shoulders rendered from open geometry.
