//! Events for the open pages, as they happen.

use crate::api::table::{About, Nothing, Table};
use crate::jobs::{JobView, News};
use crate::state::Server;
use axum::extract::State;
use axum::response::sse::{Event, KeepAlive, Sse};
use axum::routing::get;
use futures_util::Stream;
use serde_json::json;
use std::convert::Infallible;
use std::sync::Arc;
use tokio::sync::broadcast::Receiver;
use tokio::sync::broadcast::error::RecvError;

pub(crate) fn add(table: &mut Table) {
    let about = About {
        path: "events",
        summary: "Server-sent events: `job` with how the long work stands, `film` when the film has changed.",
    };
    let answer = json!({
        "description": "The events.",
        "content": {"text/event-stream": {"schema": {"type": "string"}}},
    });
    table.other::<Nothing>(about, answer, get(events));
}

async fn events(
    State(server): State<Arc<Server>>,
) -> Sse<impl Stream<Item = Result<Event, Infallible>>> {
    let news = server.jobs.listen();
    let first = Some(News::Job(Arc::new(server.jobs.view())));
    let stream = futures_util::stream::unfold((news, first), async |(mut news, first)| {
        let item = match first {
            Some(first) => first,
            None => next(&mut news).await?,
        };
        Some((Ok(event(&item)), (news, None)))
    });
    Sse::new(stream).keep_alive(KeepAlive::default())
}

/// The next news. A page that was too slow looks at the film anew.
async fn next(news: &mut Receiver<News>) -> Option<News> {
    match news.recv().await {
        Ok(item) => Some(item),
        Err(RecvError::Lagged(_)) => Some(News::Film),
        Err(RecvError::Closed) => None,
    }
}

fn event(news: &News) -> Event {
    match news {
        News::Job(view) => {
            let text = serde_json::to_string::<JobView>(view).unwrap_or_default();
            Event::default().event("job").data(text)
        }
        News::Film => Event::default().event("film").data("{}"),
    }
}
