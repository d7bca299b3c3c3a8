//! Answers, and what is said when there is none.

use axum::Json;
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use inkarnat_app::{AppError, FilmError};
use schemars::JsonSchema;
use serde::Serialize;

/// Why there is no answer.
#[derive(Clone, Debug, Serialize, JsonSchema)]
pub struct Failure {
    /// What was given, what was expected, what to do.
    pub error: String,
    /// HTTP's number for it.
    #[serde(skip)]
    #[schemars(skip)]
    pub status: u16,
}

impl Failure {
    /// The request does not fit the film.
    pub(crate) fn bad(error: impl Into<String>) -> Self {
        Self {
            error: error.into(),
            status: 400,
        }
    }

    /// Something else is going on.
    pub(crate) fn busy(error: impl Into<String>) -> Self {
        Self {
            error: error.into(),
            status: 409,
        }
    }

    pub(crate) fn broken(error: impl std::fmt::Display) -> Self {
        Self {
            error: error.to_string(),
            status: 500,
        }
    }
}

impl From<FilmError> for Failure {
    fn from(error: FilmError) -> Self {
        let status = match &error {
            FilmError::Missing { .. } => 404,
            FilmError::Busy { .. } => 409,
            FilmError::Unknown { .. } => 400,
            _ => 500,
        };
        Self {
            error: error.to_string(),
            status,
        }
    }
}

impl From<AppError> for Failure {
    fn from(error: AppError) -> Self {
        match error {
            AppError::Film(error) => error.into(),
            AppError::Request(error) => Self::bad(error),
            AppError::Clip(error) => Self { error, status: 422 },
            error => Self::broken(error),
        }
    }
}

impl IntoResponse for Failure {
    fn into_response(self) -> Response {
        let status = StatusCode::from_u16(self.status).unwrap_or(StatusCode::INTERNAL_SERVER_ERROR);
        (status, Json(self)).into_response()
    }
}
