//! The film file: model, schema, history.
