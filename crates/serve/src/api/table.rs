//! Routes with their types: what is routed is what is described.

use crate::api::Failure;
use crate::state::Server;
use axum::body::Bytes;
use axum::extract::rejection::{JsonRejection, PathRejection, QueryRejection};
use axum::extract::{Path, Query, State};
use axum::response::{IntoResponse, Response};
use axum::routing::{MethodRouter, get, post};
use axum::{Json, Router};
use inkarnat_app::Cancel;
use inkarnat_film::ShotId;
use schemars::generate::SchemaSettings;
use schemars::{JsonSchema, Schema, SchemaGenerator};
use serde::Serialize;
use serde::de::DeserializeOwned;
use serde_json::{Map, Value, json};
use std::sync::Arc;

type Srv = Arc<Server>;
type Answer<T> = Result<T, Failure>;

/// Nothing is asked beside the address.
#[derive(Clone, Debug, serde::Deserialize, JsonSchema)]
pub(crate) struct Nothing {}

/// Bytes with their kind.
pub(crate) struct Raw {
    pub(crate) kind: &'static str,
    pub(crate) bytes: Arc<Vec<u8>>,
    /// Seconds that a browser may keep them; the address then names their version.
    pub(crate) keep_s: u32,
}

impl IntoResponse for Raw {
    fn into_response(self) -> Response {
        let keep = match self.keep_s {
            0 => "no-store".to_owned(),
            seconds => format!("private, max-age={seconds}"),
        };
        let bytes = Bytes::from_owner(Shared(self.bytes));
        (
            [
                ("content-type", self.kind.to_owned()),
                ("cache-control", keep),
            ],
            bytes,
        )
            .into_response()
    }
}

struct Shared(Arc<Vec<u8>>);

impl AsRef<[u8]> for Shared {
    fn as_ref(&self) -> &[u8] {
        &self.0
    }
}

/// Runs work that waits for files in a thread where it may.
pub(crate) async fn apart<T: Send + 'static>(
    work: impl FnOnce() -> Answer<T> + Send + 'static,
) -> Answer<T> {
    tokio::task::spawn_blocking(work)
        .await
        .unwrap_or_else(|error| Err(Failure::broken(error)))
}

/// Somebody waits for an answer: the request is dropped when the connection is closed, and this with it.
struct Waiting(Cancel);

impl Drop for Waiting {
    fn drop(&mut self) {
        self.0.cancel();
    }
}

pub(crate) struct Table {
    router: Router<Srv>,
    paths: Map<String, Value>,
    generator: SchemaGenerator,
}

/// What is said of a route beside its types.
pub(crate) struct About {
    /// Below `api/`.
    pub(crate) path: &'static str,
    /// One line.
    pub(crate) summary: &'static str,
}

impl Table {
    pub(crate) fn new() -> Self {
        let mut settings = SchemaSettings::draft2020_12();
        settings.definitions_path = "/components/schemas".into();
        settings.meta_schema = None;
        Self {
            router: Router::new(),
            paths: Map::new(),
            generator: settings.into_generator(),
        }
    }

    pub(crate) fn router(self) -> Router<Srv> {
        self.router
    }

    /// Asks about the film.
    pub(crate) fn get<Q, T>(&mut self, about: About, work: fn(&Srv, Q) -> Answer<T>)
    where
        Q: DeserializeOwned + JsonSchema + Send + 'static,
        T: Serialize + JsonSchema + Send + 'static,
    {
        let handler = get(
            async move |State(server): State<Srv>, query: Result<Query<Q>, QueryRejection>| {
                let query = of_query(query)?;
                apart(move || work(&server, query)).await.map(Json)
            },
        );
        let answer = self.json_answer::<T>();
        self.add::<Q, Nothing>("get", &about, answer, handler);
    }

    /// Asks about a shot.
    pub(crate) fn get_of_shot<Q, T>(&mut self, about: About, work: fn(&Srv, ShotId, Q) -> Answer<T>)
    where
        Q: DeserializeOwned + JsonSchema + Send + 'static,
        T: Serialize + JsonSchema + Send + 'static,
    {
        let handler = get(
            async move |State(server): State<Srv>,
                        path: Result<Path<(String, i64)>, PathRejection>,
                        query: Result<Query<Q>, QueryRejection>| {
                let (shot, query) = (of_path(path)?, of_query(query)?);
                apart(move || work(&server, shot, query)).await.map(Json)
            },
        );
        let answer = self.json_answer::<T>();
        self.add::<Q, Nothing>("get", &about, answer, handler);
    }

    /// Asks for bytes about a shot. The work waits for its turn, since each starts a process.
    pub(crate) fn bytes_of_shot<Q>(
        &mut self,
        about: About,
        kinds: &[&'static str],
        work: fn(&Srv, ShotId, Q) -> Answer<Raw>,
    ) where
        Q: DeserializeOwned + JsonSchema + Send + 'static,
    {
        let handler = get(
            async move |State(server): State<Srv>,
                        path: Result<Path<(String, i64)>, PathRejection>,
                        query: Result<Query<Q>, QueryRejection>| {
                let (shot, query) = (of_path(path)?, of_query(query)?);
                apart(move || work(&server, shot, query)).await
            },
        );
        let content: Map<String, Value> = kinds
            .iter()
            .map(|kind| {
                (
                    (*kind).to_owned(),
                    json!({"schema": {"type": "string", "format": "binary"}}),
                )
            })
            .collect();
        let answer = json!({"description": "The bytes.", "content": content});
        self.add::<Q, Nothing>("get", &about, answer, handler);
    }

    /// Changes the film.
    pub(crate) fn post<B, T>(&mut self, about: About, work: fn(&Srv, B) -> Answer<T>)
    where
        B: DeserializeOwned + JsonSchema + Send + 'static,
        T: Serialize + JsonSchema + Send + 'static,
    {
        let handler = post(
            async move |State(server): State<Srv>, body: Result<Json<B>, JsonRejection>| {
                let body = of_body(body)?;
                apart(move || work(&server, body)).await.map(Json)
            },
        );
        let answer = self.json_answer::<T>();
        self.add::<Nothing, B>("post", &about, answer, handler);
    }

    /// Asks what takes its time, and changes nothing. Who goes away before the answer has it given up.
    pub(crate) fn post_to_look<B, T>(
        &mut self,
        about: About,
        work: fn(&Srv, B, &Cancel) -> Answer<T>,
    ) where
        B: DeserializeOwned + JsonSchema + Send + 'static,
        T: Serialize + JsonSchema + Send + 'static,
    {
        let handler = post(
            async move |State(server): State<Srv>, body: Result<Json<B>, JsonRejection>| {
                let body = of_body(body)?;
                let waiting = Waiting(Cancel::default());
                let cancel = waiting.0.clone();
                let answer = apart(move || work(&server, body, &cancel)).await.map(Json);
                drop(waiting);
                answer
            },
        );
        let answer = self.json_answer::<T>();
        self.add::<Nothing, B>("post", &about, answer, handler);
    }

    /// Changes a shot.
    pub(crate) fn post_of_shot<B, T>(
        &mut self,
        about: About,
        work: fn(&Srv, ShotId, B) -> Answer<T>,
    ) where
        B: DeserializeOwned + JsonSchema + Send + 'static,
        T: Serialize + JsonSchema + Send + 'static,
    {
        let handler = post(
            async move |State(server): State<Srv>,
                        path: Result<Path<(String, i64)>, PathRejection>,
                        body: Result<Json<B>, JsonRejection>| {
                let (shot, body) = (of_path(path)?, of_body(body)?);
                apart(move || work(&server, shot, body)).await.map(Json)
            },
        );
        let answer = self.json_answer::<T>();
        self.add::<Nothing, B>("post", &about, answer, handler);
    }

    /// A route whose handler is not of the forms above, with its answer as described.
    pub(crate) fn other<Q: JsonSchema>(
        &mut self,
        about: About,
        answer: Value,
        handler: MethodRouter<Srv>,
    ) {
        self.add::<Q, Nothing>("get", &about, answer, handler);
    }

    /// Describes a type that no route answers with: what the report is drawn from.
    pub(crate) fn also<T: JsonSchema>(&mut self) {
        let _ = self.generator.subschema_for::<T>();
    }

    fn json_answer<T: JsonSchema>(&mut self) -> Value {
        let schema = self.generator.subschema_for::<T>();
        json!({"description": "The answer.", "content": {"application/json": {"schema": schema}}})
    }

    fn add<Q: JsonSchema, B: JsonSchema>(
        &mut self,
        method: &str,
        about: &About,
        answer: Value,
        handler: MethodRouter<Srv>,
    ) {
        let failure = self.generator.subschema_for::<Failure>();
        let refused = |why: &str| json!({"description": why, "content": {"application/json": {"schema": failure}}});
        let mut parameters = Vec::new();
        if about.path.contains("{shot}") {
            parameters.push(json!({
                "name": "shot", "in": "path", "required": true,
                "description": "The film's number of the shot.",
                "schema": {"type": "integer", "format": "int64"},
            }));
        }
        parameters.extend(query_parameters(&self.generator.root_schema_for::<Q>()));
        let mut operation = json!({
            "summary": about.summary,
            "operationId": format!("{method}_{}", about.path.replace(['/', '{', '}', '-'], "_")),
            "parameters": parameters,
            "responses": {
                "200": answer,
                "400": refused("The request does not fit the film."),
                "404": refused("The film file is not there."),
                "409": refused("Something else is being done to the film."),
                "422": refused("The clip cannot be decoded there."),
                "500": refused("It could not be done."),
            },
        });
        if method == "post" {
            let schema = self.generator.subschema_for::<B>();
            operation["requestBody"] =
                json!({"required": true, "content": {"application/json": {"schema": schema}}});
        }
        let described = self
            .paths
            .entry(format!("/api/{}", about.path))
            .or_insert_with(|| json!({}));
        described[method] = operation;
        let router = std::mem::take(&mut self.router);
        self.router = router.route(&format!("/{{token}}/api/{}", about.path), handler);
    }

    pub(crate) fn description(mut self) -> Value {
        let mut schemas = self.generator.take_definitions(true);
        schemas.sort_keys();
        json!({
            "openapi": "3.1.0",
            "info": {
                "title": "Inkarnat: the page's own interface",
                "version": env!("CARGO_PKG_VERSION"),
                "description": "Served by `inkarnat open FILM` on 127.0.0.1, below a random token. Requests need the \
        server's own Host; changes need its own Origin, or the header x-inkarnat where no browser asks. Numbers carry their \
        units in their names; uncertainties are standard ones (k = 1).",
                "license": {"name": "MIT OR Apache-2.0", "identifier": "MIT OR Apache-2.0"},
            },
            "servers": [{
                "url": "http://127.0.0.1:{port}/{token}",
                "variables": {
                    "port": {"default": "0", "description": "As `inkarnat open` prints it."},
                    "token": {"default": "token", "description": "As `inkarnat open` prints it."},
                },
            }],
            "paths": self.paths,
            "components": {"schemas": schemas},
        })
    }
}

fn query_parameters(schema: &Schema) -> Vec<Value> {
    let required: Vec<&str> = schema
        .get("required")
        .and_then(Value::as_array)
        .map(|names| names.iter().filter_map(Value::as_str).collect())
        .unwrap_or_default();
    let Some(properties) = schema.get("properties").and_then(Value::as_object) else {
        return Vec::new();
    };
    properties
        .iter()
        .map(|(name, schema)| {
            let mut schema = schema.clone();
            // A parameter is left out, never null.
            if let Some(kinds) = schema.get_mut("type").and_then(Value::as_array_mut) {
                kinds.retain(|kind| kind != "null");
                if let [only] = kinds.as_slice() {
                    schema["type"] = only.clone();
                }
            }
            if let Some(forms) = schema.get_mut("anyOf").and_then(Value::as_array_mut) {
                forms.retain(|form| form["type"] != "null");
                if let [only] = forms.as_slice() {
                    let only = only.clone();
                    if let Some(map) = schema.as_object_mut() {
                        map.remove("anyOf");
                        map.extend(only.as_object().cloned().unwrap_or_default());
                    }
                }
            }
            let about = schema.as_object_mut().and_then(|s| s.remove("description"));
            json!({
                "name": name, "in": "query", "required": required.contains(&name.as_str()),
                "description": about.unwrap_or_default(), "schema": schema,
            })
        })
        .collect()
}

fn of_path(path: Result<Path<(String, i64)>, PathRejection>) -> Answer<ShotId> {
    path.map(|Path((_, shot))| ShotId(shot)).map_err(|_| {
        Failure::bad("a shot is named by its number in the film, as api/film gives it")
    })
}

fn of_query<Q>(query: Result<Query<Q>, QueryRejection>) -> Answer<Q> {
    query
        .map(|Query(query)| query)
        .map_err(|error| Failure::bad(error.body_text()))
}

fn of_body<B>(body: Result<Json<B>, JsonRejection>) -> Answer<B> {
    body.map(|Json(body)| body)
        .map_err(|error| Failure::bad(error.body_text()))
}
