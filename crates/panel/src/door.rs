//! The control door: what can be fetched, asked and followed over HTTP.

use std::io;
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::{Duration, Instant};

use axum::body::Bytes;
use axum::extract::rejection::{BytesRejection, PathRejection, QueryRejection};
use axum::extract::{DefaultBodyLimit, Extension, Path, Query, State, WebSocketUpgrade};
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use axum::{Json, Router};
use tokio::net::TcpListener;
use utoipa::openapi::RefOr;
use utoipa::openapi::schema::{AdditionalProperties, Schema};
use utoipa::openapi::{ContentBuilder, Ref, ResponseBuilder};
use utoipa::{Modify, OpenApi};

use crate::access::{Access, NotIn, Role};
use crate::counter::{Beside, Counter, Fate, KeyTaken, Window, open};
use crate::diagram::Diagram;
use crate::encrypted::{Certificates, Encrypted, Peer};
use crate::guard::{COOKIE, guard};
use crate::page;
use crate::past::{Part, Past, PastTable, Topic};
use crate::plan::Plan;
use crate::profile::ProfileRow;
use crate::rows::{Message, Picture, WhyRow};
use crate::show::Glance;
use crate::stream::Stream;
use crate::wish::{Matter, Wish};

/// A longer request is not read.
const LARGEST: usize = 64 << 10;
/// A longer key is none.
const LONGEST_KEY: usize = 200;
/// The loop is said to hang when it has not gone round for so long.
const HANGS: Duration = Duration::from_secs(2);

/// A door that is open, and waits for nobody yet.
#[derive(Debug)]
pub struct Door {
    listener: TcpListener,
    certificates: Option<Certificates>,
    inside: Inside,
}

#[derive(Clone, Debug)]
pub(crate) struct Inside {
    window: Window,
    stream: Stream,
    past: Option<Arc<dyn Past>>,
    /// Who is let in from other machines.
    access: Option<Access>,
    /// Whether whoever comes from other machines speaks through an encrypted line.
    is_encrypted: bool,
}

/// What a door is opened with.
#[derive(Clone, Debug, Default)]
pub struct Opening {
    /// What is shown of the layout beside itself.
    pub beside: Beside,
    /// Who tells of the past, where that is recorded.
    pub past: Option<Arc<dyn Past>>,
    /// Who is let in from other machines; nobody without it.
    pub access: Option<Access>,
    /// By what it proves who it is to other machines, through an encrypted line; without it everything is said plainly.
    pub certificates: Option<Certificates>,
}

#[derive(OpenApi)]
#[openapi(
    info(
        title = "Lineclear",
        description = "The control door of Lineclear: what the signaller knows, and what can be asked of it. Times are seconds \
                       of layout time, lengths millimetres; names are those of the layout. Nothing asked for here is done unless \
                       the signaller finds it safe. What OpenAPI has no words for: `GET /v1/stream` is a WebSocket over which \
                       a `Message` comes as JSON text at least twice a second, first a picture, then news; \
                       `GET /v1/cab` is one over which a throttle says how it is set, as `{train, way, step}`, and its \
                       train is told to stand when that is not heard for a second."
    ),
    paths(picture, plan, diagram, why, profile, past, ask, health, ready, figures, describe, stop_all, reload),
    components(schemas(Message, Topic)),
    modifiers(&NothingElse, &ForOthers)
)]
struct Description;

/// Says of requests that they have no other fields than those described.
struct NothingElse;

/// Says of everything what becomes of those who come from other machines and were not let in.
struct ForOthers;

impl Modify for ForOthers {
    fn modify(&self, description: &mut utoipa::openapi::OpenApi) {
        let fate = || {
            let content = ContentBuilder::new().schema(Some(Ref::from_schema_name("Fate"))).build();
            ResponseBuilder::new().content("application/json", content)
        };
        for item in description.paths.paths.values_mut() {
            for operation in [&mut item.get, &mut item.post].into_iter().flatten() {
                let unpaired = fate().description("From another machine, and not paired").build();
                operation.responses.responses.insert("401".to_owned(), unpaired.into());
                let often = fate().description("From another machine, and too often").build();
                operation.responses.responses.insert("429".to_owned(), often.into());
            }
        }
    }
}

impl Modify for NothingElse {
    fn modify(&self, description: &mut utoipa::openapi::OpenApi) {
        let wish = description.components.as_mut().and_then(|components| components.schemas.get_mut("Wish"));
        let Some(RefOr::T(Schema::OneOf(wish))) = wish else { return };
        for kind in &mut wish.items {
            if let RefOr::T(Schema::Object(kind)) = kind {
                kind.additional_properties = Some(Box::new(AdditionalProperties::FreeForm(false)));
            }
        }
    }
}

impl Door {
    /// Opens the door at an address of this machine: gives the side of whoever owns the signaller, and the door itself.
    ///
    /// # Errors
    /// When the address can be reached from other machines and nobody is to be let in from there, or is taken.
    pub async fn open(address: SocketAddr, glance: Glance, opening: Opening) -> io::Result<(Counter, Self)> {
        let Opening { beside, past, access, certificates } = opening;
        if !address.ip().is_loopback() && access.is_none() {
            let why =
                format!("`{}` can be reached from other machines, and nobody is to be let in from there", address.ip());
            return Err(io::Error::new(io::ErrorKind::PermissionDenied, why));
        }
        let listener = TcpListener::bind(address).await?;
        if let Some(certificates) = &certificates {
            certificates.check()?;
        }
        let (counter, window) = open(glance, beside)?;
        let stream = Stream::new(&window);
        let is_encrypted = certificates.is_some();
        Ok((counter, Self { listener, certificates, inside: Inside { window, stream, past, access, is_encrypted } }))
    }

    /// Where it is.
    ///
    /// # Errors
    /// When the system does not say.
    pub fn address(&self) -> io::Result<SocketAddr> {
        self.listener.local_addr()
    }

    /// Lets people in until the counter is gone.
    ///
    /// # Errors
    /// When nobody can come in any more.
    pub async fn serve(self) -> io::Result<()> {
        let publishing = tokio::spawn(self.inside.stream.clone().publish(self.inside.window.clone()));
        // It ends when nothing is shown any more, and that is what is waited for.
        let over = async {
            let _ = publishing.await;
        };
        let service = router(self.inside).into_make_service_with_connect_info::<Peer>();
        let served = match &self.certificates {
            None => axum::serve(self.listener, service).with_graceful_shutdown(over).await,
            Some(certificates) => {
                let listener = Encrypted::new(self.listener, certificates)?;
                axum::serve(listener, service).with_graceful_shutdown(over).await
            }
        };
        tracing::debug!("the control door is closed");
        served
    }
}

fn router(inside: Inside) -> Router {
    Router::new()
        .route("/", get(page::page))
        .route("/page/{name}", get(page::file))
        .route("/stop", post(page::stop))
        .route("/pair", post(pair))
        .route("/v1/past/{topic}", get(past))
        .route("/v1/cab", get(cab))
        .route("/v1/picture", get(picture))
        .route("/v1/layout", get(plan))
        .route("/v1/diagram", get(diagram))
        .route("/v1/sections/{name}/why", get(why))
        .route("/v1/trains/{name}/profile", get(profile))
        .route("/v1/requests", post(ask))
        .route("/v1/reload", post(reload))
        .route("/v1/stop-all", post(stop_all))
        .route("/v1/stream", get(stream))
        .route("/v1/openapi.json", get(describe))
        .route("/health", get(health))
        .route("/ready", get(ready))
        .route("/metrics", get(figures))
        .fallback(|| async {
            failed(StatusCode::NOT_FOUND, "there is nothing here; `/v1/openapi.json` says what there is")
        })
        .method_not_allowed_fallback(|| async {
            failed(StatusCode::METHOD_NOT_ALLOWED, "that cannot be done here; `/v1/openapi.json` says what can")
        })
        .layer(DefaultBodyLimit::max(LARGEST))
        .layer(axum::middleware::from_fn_with_state(inside.access.clone(), guard))
        .layer(axum::middleware::from_fn(page::rules))
        .with_state(inside)
}

/// An answer to something that could not be asked.
pub(crate) fn failed(status: StatusCode, reason: impl Into<String>) -> (StatusCode, Json<Fate>) {
    (status, Json(Fate::Failed { reason: reason.into() }))
}

/// Everything that is known now.
#[utoipa::path(get, path = "/v1/picture", responses(
    (status = 200, description = "Everything that is known now", body = Picture),
    (status = 403, description = "Not from this machine, or from a page of somebody else", body = Fate),
))]
async fn picture(State(inside): State<Inside>) -> Json<Picture> {
    // What is laid out may be newer than the last news; whoever then hears those hears some of it twice, which is harmless.
    let (number, _) = inside.stream.latest();
    Json(inside.window.now().picture(number))
}

/// The layout as it is described.
#[utoipa::path(get, path = "/v1/layout", responses(
    (status = 200, description = "The layout as it is described", body = Plan),
    (status = 403, description = "Not from this machine, or from a page of somebody else", body = Fate),
))]
async fn plan(State(inside): State<Inside>) -> Response {
    ([(header::CONTENT_TYPE, "application/json")], inside.window.described().plan.clone()).into_response()
}

/// The name in an address.
fn readable(name: Result<Path<String>, PathRejection>) -> Result<String, (StatusCode, Json<Fate>)> {
    name.map(|Path(name)| name).map_err(|error| failed(StatusCode::BAD_REQUEST, error.body_text().to_lowercase()))
}

/// Why a section has its tag: the accounts there are of it, and what was heard last that changed it.
#[utoipa::path(get, path = "/v1/sections/{name}/why",
    params(("name" = String, Path, description = "The section")),
    responses(
        (status = 200, description = "Why it has its tag", body = WhyRow),
        (status = 400, description = "The name cannot be read", body = Fate),
        (status = 403, description = "Not from this machine, or from a page of somebody else", body = Fate),
        (status = 404, description = "There is no such section", body = Fate),
        (status = 503, description = "The signaller is busy or ending", body = Fate),
))]
async fn why(
    State(inside): State<Inside>,
    name: Result<Path<String>, PathRejection>,
) -> Result<Json<WhyRow>, (StatusCode, Json<Fate>)> {
    let name = readable(name)?;
    inside.window.described().names.section(&name).map_err(|why| failed(StatusCode::NOT_FOUND, why))?;
    inside.window.why(name).await.map(Json).map_err(|why| failed(StatusCode::SERVICE_UNAVAILABLE, why))
}

/// How fast a train is at each of its speed steps, both ways, as far as that is known now.
#[utoipa::path(get, path = "/v1/trains/{name}/profile",
    params(("name" = String, Path, description = "The train")),
    responses(
        (status = 200, description = "How fast it is", body = ProfileRow),
        (status = 400, description = "The name cannot be read", body = Fate),
        (status = 403, description = "Not from this machine, or from a page of somebody else", body = Fate),
        (status = 404, description = "There is no such train", body = Fate),
        (status = 503, description = "The signaller is busy or ending", body = Fate),
))]
async fn profile(
    State(inside): State<Inside>,
    name: Result<Path<String>, PathRejection>,
) -> Result<Json<ProfileRow>, (StatusCode, Json<Fate>)> {
    let name = readable(name)?;
    inside.window.described().names.train(&name).map_err(|why| failed(StatusCode::NOT_FOUND, why))?;
    inside.window.profile(name).await.map(Json).map_err(|why| failed(StatusCode::SERVICE_UNAVAILABLE, why))
}

/// Read the layout anew, and go on with it.
///
/// Trains run on, but for those whose track is not as it was: then it is refused, and all stays as it is, as where the layout has
/// mistakes. What is sent is not looked at.
#[utoipa::path(post, path = "/v1/reload", responses(
    (status = 200, description = "It is the layout from now on", body = Fate),
    (status = 403, description = "Not from this machine, or from a page of somebody else", body = Fate),
    (status = 409, description = "Refused, and every reason", body = Fate),
    (status = 503, description = "The signaller is busy or ending", body = Fate),
))]
async fn reload(State(inside): State<Inside>, Extension(role): Extension<Role>) -> (StatusCode, Json<Fate>) {
    if role < Role::Dispatch {
        return failed(StatusCode::FORBIDDEN, format!("this device was let in to {} only", role.name()));
    }
    answer(inside.window.reload().await)
}

/// What was: who stood where, trips, stops, doubts, faults, holds, wishes.
#[utoipa::path(get, path = "/v1/past/{topic}", params(("topic" = Topic, Path, description = "What to tell of"), Part), responses(
    (status = 200, description = "What is known of it", body = PastTable),
    (status = 400, description = "It cannot be read", body = Fate),
    (status = 403, description = "Not from this machine, or from a page of somebody else", body = Fate),
    (status = 404, description = "It names no topic", body = Fate),
    (status = 503, description = "The record cannot be read now", body = Fate),
))]
async fn past(
    State(inside): State<Inside>,
    topic: Result<Path<Topic>, PathRejection>,
    part: Result<Query<Part>, QueryRejection>,
) -> Response {
    let Ok(Path(topic)) = topic else {
        return failed(StatusCode::BAD_REQUEST, "that is nothing that can be told of").into_response();
    };
    let part = match part {
        Ok(Query(part)) => part,
        Err(error) => return failed(StatusCode::BAD_REQUEST, error.body_text().to_lowercase()).into_response(),
    };
    let Some(past) = inside.past else { return Json(PastTable::default()).into_response() };
    match tokio::task::spawn_blocking(move || past.tell(topic, &part)).await {
        Ok(Ok(table)) => Json(table).into_response(),
        Ok(Err(why)) => failed(StatusCode::SERVICE_UNAVAILABLE, why).into_response(),
        Err(_) => failed(StatusCode::SERVICE_UNAVAILABLE, "the record could not be read").into_response(),
    }
}

/// A code that somebody gives.
#[derive(serde::Deserialize)]
#[serde(deny_unknown_fields)]
struct Given {
    code: String,
}

/// Lets a device in that gives a code.
async fn pair(State(inside): State<Inside>, body: Result<Bytes, BytesRejection>) -> Response {
    let Some(access) = inside.access else {
        return failed(StatusCode::NOT_FOUND, "nobody is let in from other machines").into_response();
    };
    let given = body.ok().and_then(|body| serde_json::from_slice::<Given>(&body).ok());
    let Some(Given { code }) = given else {
        return failed(StatusCode::BAD_REQUEST, "send a code, as JSON").into_response();
    };
    match access.pair(&code, Instant::now()) {
        Ok((token, role)) => {
            tracing::warn!(role = role.name(), "a device was let in");
            let secure = if inside.is_encrypted { "; Secure" } else { "" };
            let cookie = format!("{COOKIE}={token}; Path=/; HttpOnly; SameSite=Strict; Max-Age=31536000{secure}");
            ([(header::SET_COOKIE, cookie)], Json(serde_json::json!({ "role": role.name() }))).into_response()
        }
        Err(NotIn::WrongCode) => failed(StatusCode::FORBIDDEN, "that is none of the codes").into_response(),
        Err(NotIn::TooManyTries) => {
            failed(StatusCode::TOO_MANY_REQUESTS, "too many wrong codes were tried; wait a minute").into_response()
        }
    }
}

/// Hold a throttle, over a WebSocket.
async fn cab(
    State(inside): State<Inside>,
    Extension(role): Extension<Role>,
    upgrade: Result<WebSocketUpgrade, axum::extract::ws::rejection::WebSocketUpgradeRejection>,
) -> Response {
    match upgrade {
        Ok(_) if role < Role::Drive => {
            failed(StatusCode::FORBIDDEN, "this device was let in to look only").into_response()
        }
        Ok(upgrade) => upgrade.max_message_size(4096).on_upgrade(|socket| crate::cab::hold(inside.window, socket)),
        Err(_) => failed(StatusCode::BAD_REQUEST, "this is a WebSocket; ask for it as one").into_response(),
    }
}

/// Where everything on the layout is drawn.
#[utoipa::path(get, path = "/v1/diagram", responses(
    (status = 200, description = "The line diagram", body = Diagram),
    (status = 403, description = "Not from this machine, or from a page of somebody else", body = Fate),
))]
async fn diagram(State(inside): State<Inside>) -> Response {
    ([(header::CONTENT_TYPE, "application/json")], inside.window.described().diagram.clone()).into_response()
}

/// Ask for something.
///
/// The answer comes once the signaller has decided. A request that is sent again under the same key is not asked again: it gets
/// the answer that it got before.
#[utoipa::path(post, path = "/v1/requests", request_body = Wish,
    params(("idempotency-key" = Option<String>, Header, min_length = 1, max_length = 200, pattern = "^[!-~]{1,200}$",
        description = "By this the same request, sent again, is told from another one")),
    responses(
        (status = 200, description = "It is done, or will be", body = Fate),
        (status = 400, description = "It cannot be read", body = Fate),
        (status = 403, description = "Not from this machine, or from a page of somebody else", body = Fate),
        (status = 404, description = "It names what is not there", body = Fate),
        (status = 409, description = "Refused, and why; or its key belongs to another request", body = Fate),
        (status = 413, description = "It is too long", body = Fate),
        (status = 415, description = "It is not said to be JSON", body = Fate),
        (status = 503, description = "The signaller is busy or ending", body = Fate),
))]
async fn ask(
    State(inside): State<Inside>,
    Extension(role): Extension<Role>,
    headers: HeaderMap,
    body: Result<Bytes, BytesRejection>,
) -> Response {
    let body = match body {
        Ok(body) => body,
        Err(error) => return failed(error.status(), error.body_text().to_lowercase()).into_response(),
    };
    match read(&inside, &headers, &body) {
        Ok((wish, ..)) if !role.may_ask(&wish) => {
            let why = format!("this device was let in to {} only", role.name());
            failed(StatusCode::FORBIDDEN, why).into_response()
        }
        Ok((wish, matter, key)) => match inside.window.ask(wish, matter, key).await {
            Ok(fate) => answer(fate).into_response(),
            Err(KeyTaken) => {
                let why = "the key of this request belongs to another one that was asked before";
                failed(StatusCode::CONFLICT, why).into_response()
            }
        },
        Err((status, reason)) => failed(status, reason).into_response(),
    }
}

type Read = (Wish, Matter, Option<String>);

fn read(inside: &Inside, headers: &HeaderMap, body: &[u8]) -> Result<Read, (StatusCode, String)> {
    let kind = headers.get(header::CONTENT_TYPE).and_then(|value| value.to_str().ok()).unwrap_or_default();
    if !kind.split(';').next().unwrap_or_default().trim().eq_ignore_ascii_case("application/json") {
        return Err((StatusCode::UNSUPPORTED_MEDIA_TYPE, "send it as `application/json`".to_owned()));
    }
    let key = headers.get("idempotency-key").map(|key| match key.to_str() {
        Ok(key) if (1..=LONGEST_KEY).contains(&key.len()) && key.bytes().all(|byte| byte.is_ascii_graphic()) => {
            Ok(key.to_owned())
        }
        _ => {
            let why = format!("`idempotency-key` must be of 1 to {LONGEST_KEY} plain letters, without spaces");
            Err((StatusCode::BAD_REQUEST, why))
        }
    });
    let key = key.transpose()?;
    let wish: Wish =
        serde_json::from_slice(body).map_err(|error| (StatusCode::BAD_REQUEST, error.to_string().to_lowercase()))?;
    wish.check().map_err(|why| (StatusCode::BAD_REQUEST, why))?;
    let matter = wish.matter(&inside.window.described().names).map_err(|why| (StatusCode::NOT_FOUND, why))?;
    Ok((wish, matter, key))
}

fn answer(fate: Fate) -> (StatusCode, Json<Fate>) {
    let status = match &fate {
        Fate::Accepted { .. } => StatusCode::OK,
        Fate::Refused { .. } => StatusCode::CONFLICT,
        Fate::Failed { .. } => StatusCode::SERVICE_UNAVAILABLE,
    };
    (status, Json(fate))
}

/// Stop every train at once.
///
/// For whatever can send no more than a form: it needs no body, and what is sent is not looked at.
#[utoipa::path(post, path = "/v1/stop-all", responses(
    (status = 200, description = "Every train was told to stop", body = Fate),
    (status = 403, description = "Not from this machine, or from a page of somebody else", body = Fate),
    (status = 409, description = "Refused, and why", body = Fate),
    (status = 503, description = "The signaller is ending", body = Fate),
))]
async fn stop_all(State(inside): State<Inside>) -> (StatusCode, Json<Fate>) {
    let (status, fate) = told_to_stop(&inside).await;
    (status, Json(fate))
}

/// Asks that every train stops.
pub(crate) async fn told_to_stop(inside: &Inside) -> (StatusCode, Fate) {
    let asked = inside.window.ask(Wish::StopAll {}, Matter::Signaller(signaller::Request::StopAll), None).await;
    let fate = asked.unwrap_or_else(|KeyTaken| Fate::Failed { reason: "it was not asked".to_owned() });
    let (status, Json(fate)) = answer(fate);
    (status, fate)
}

/// Follow what happens, over a WebSocket: first a picture, then news.
async fn stream(
    State(inside): State<Inside>,
    upgrade: Result<WebSocketUpgrade, axum::extract::ws::rejection::WebSocketUpgradeRejection>,
) -> Response {
    match upgrade {
        Ok(upgrade) => upgrade.on_upgrade(move |socket| async move {
            inside.window.metrics.client_came();
            inside.stream.follow(socket).await;
            inside.window.metrics.client_left();
        }),
        Err(_) => failed(StatusCode::BAD_REQUEST, "this is a WebSocket; ask for it as one").into_response(),
    }
}

/// Whether the daemon lives: its loop goes round.
#[utoipa::path(get, path = "/health", responses(
    (status = 200, description = "It does", content_type = "text/plain", body = String),
    (status = 403, description = "Not from this machine, or from a page of somebody else", body = Fate),
    (status = 503, description = "It does not", content_type = "text/plain", body = String),
))]
async fn health(State(inside): State<Inside>) -> (StatusCode, String) {
    let silent = inside.window.metrics.silent_for();
    if silent < HANGS {
        (StatusCode::OK, "alive\n".to_owned())
    } else {
        (StatusCode::SERVICE_UNAVAILABLE, format!("the loop has not gone round for {:.1} s\n", silent.as_secs_f64()))
    }
}

/// Whether the railway can be worked: every section was heard of, and all links are up.
#[utoipa::path(get, path = "/ready", responses(
    (status = 200, description = "It can", content_type = "text/plain", body = String),
    (status = 403, description = "Not from this machine, or from a page of somebody else", body = Fate),
    (status = 503, description = "It cannot yet, and why", content_type = "text/plain", body = String),
))]
async fn ready(State(inside): State<Inside>) -> (StatusCode, String) {
    let glance = inside.window.now();
    let board = &glance.board;
    let unheard = board.tags.values().filter(|tag| tag.is_none()).count();
    let down: Vec<&str> = board.down.iter().map(|&link| board.layout().links[link].name.as_str()).collect();
    if unheard > 0 {
        return (StatusCode::SERVICE_UNAVAILABLE, format!("{unheard} sections were not heard of yet\n"));
    }
    match down.is_empty() {
        true => (StatusCode::OK, "ready\n".to_owned()),
        false => (StatusCode::SERVICE_UNAVAILABLE, format!("links are down: {}\n", down.join(", "))),
    }
}

/// Figures of the run, in the OpenMetrics text format.
#[utoipa::path(get, path = "/metrics", responses(
    (status = 200, description = "The figures", content_type = "application/openmetrics-text", body = String),
    (status = 403, description = "Not from this machine, or from a page of somebody else", body = Fate),
))]
async fn figures(State(inside): State<Inside>) -> Response {
    let glance = inside.window.now();
    let kind = [(header::CONTENT_TYPE, "application/openmetrics-text; version=1.0.0; charset=utf-8")];
    (kind, inside.window.metrics.text(&glance)).into_response()
}

/// This description.
#[utoipa::path(get, path = "/v1/openapi.json", responses(
    (status = 200, description = "This description", body = serde_json::Value),
    (status = 403, description = "Not from this machine, or from a page of somebody else", body = Fate),
))]
async fn describe() -> Json<utoipa::openapi::OpenApi> {
    Json(Description::openapi())
}
