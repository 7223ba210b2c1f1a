//! What is served, and the order in which a request meets the gate: name, origin, rate, session, token, form, body.

use super::gate::{Door, Gate, NotPaired};
use super::hub::Hub;
use super::order::Act;
use crate::report::palette;
use crate::telemetry::metrics;
use axum::Router;
use axum::body::{Body, Bytes};
use axum::extract::{Request, State};
use axum::http::{HeaderMap, HeaderValue, Method, StatusCode, header};
use axum::middleware::{self, Next};
use axum::response::{IntoResponse, Response};
use axum::routing::{get, post};
use futures_util::stream;
use serde::Deserialize;
use std::net::IpAddr;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::{Duration, Instant};

/// Longest body that is read, bytes.
pub const MOST_BODY: usize = 16 * 1024;
/// A request that asks for something is done within this time or dropped.
pub const REQUEST_TIME: Duration = Duration::from_secs(5);
/// The header that carries the session's token.
pub const TOKEN: &str = "x-copperhold-token";

const PAGE: &str = include_str!("page/watch.html");
const STYLE: &str = include_str!("page/watch.css");
const SCRIPT: &str = include_str!("page/watch.js");
const CHART: &str = include_str!("page/chart.js");
const POLICY: &str = "default-src 'none'; script-src 'self'; style-src 'self'; connect-src 'self'; img-src data:; base-uri 'none'; \
                      form-action 'none'; frame-ancestors 'none'";

/// What all doors serve.
#[derive(Debug)]
pub struct Site {
    /// The state.
    pub hub: Arc<Hub>,
    /// Nothing can be asked.
    pub read_only: bool,
    gate: Mutex<Gate>,
    style: String,
}

impl Site {
    /// A site on a hub.
    pub fn new(hub: Arc<Hub>, read_only: bool, gate: Gate) -> Site {
        let style = format!(
            ":root{{{}}}\n@media (prefers-color-scheme:dark){{:root{{{}}}}}\n{STYLE}",
            palette::LIGHT.properties(),
            palette::DARK.properties()
        );
        Site { hub, read_only, gate: Mutex::new(gate), style }
    }

    /// The gate.
    pub fn gate(&self) -> MutexGuard<'_, Gate> {
        // A gate is whole between any two of its calls.
        self.gate.lock().unwrap_or_else(PoisonError::into_inner)
    }

    /// Bytes of all that a page loads before it shows anything.
    pub fn first_paint_bytes(&self) -> usize {
        PAGE.len() + self.style.len() + SCRIPT.len() + CHART.len()
    }
}

/// A site behind one door.
#[derive(Debug, Clone)]
pub struct Desk {
    site: Arc<Site>,
    door: Arc<Door>,
}

/// Who is at the other end; set for each connection.
#[derive(Debug, Clone, Copy)]
pub struct Peer(pub IpAddr);

/// Everything behind a door.
pub fn router(site: Arc<Site>, door: Door) -> Router {
    let desk = Desk { site, door: Arc::new(door) };
    Router::new()
        .route("/", get(page))
        .route("/watch.css", get(|State(desk): State<Desk>| async move { file("text/css", desk.site.style.clone()) }))
        .route("/watch.js", get(|| async { file("text/javascript", SCRIPT) }))
        .route("/chart.js", get(|| async { file("text/javascript", CHART) }))
        .route("/api/session", get(session))
        .route("/api/history", get(history))
        .route("/api/events", get(events))
        .route("/metrics", get(figures))
        .route("/api/pair", post(pair))
        .route("/api/act", post(act))
        .route("/api/stop", post(stop))
        .fallback(|| async { refuse(StatusCode::NOT_FOUND, "there is nothing here") })
        .layer(middleware::from_fn_with_state(desk.clone(), guard))
        .with_state(desk)
}

fn file(kind: &'static str, content: impl Into<Body>) -> Response {
    ([(header::CONTENT_TYPE, HeaderValue::from_static(kind))], content.into()).into_response()
}

fn refuse(status: StatusCode, why: &str) -> Response {
    (status, [(header::CONTENT_TYPE, "application/json")], serde_json::json!({ "error": why }).to_string()).into_response()
}

fn json(text: String) -> Response {
    file("application/json", text)
}

async fn figures(State(desk): State<Desk>) -> Response {
    file(metrics::MEDIA_TYPE, metrics::text(&desk.site.hub.now().now))
}

async fn guard(State(desk): State<Desk>, request: Request, next: Next) -> Response {
    let verdict = admit(&desk, &request);
    let mut response = match verdict {
        Err(refusal) => *refusal,
        Ok(()) if request.method() == Method::POST => match tokio::time::timeout(REQUEST_TIME, next.run(request)).await {
            Ok(response) => response,
            Err(_) => refuse(StatusCode::REQUEST_TIMEOUT, "the request took too long"),
        },
        Ok(()) => next.run(request).await,
    };
    let headers = response.headers_mut();
    for (name, value) in [
        ("content-security-policy", POLICY),
        ("x-content-type-options", "nosniff"),
        ("referrer-policy", "no-referrer"),
        ("cross-origin-resource-policy", "same-origin"),
        ("cross-origin-opener-policy", "same-origin"),
        ("cache-control", "no-store"),
    ] {
        headers.insert(name, HeaderValue::from_static(value));
    }
    response
}

fn only<'a>(headers: &'a HeaderMap, name: &str) -> Option<&'a str> {
    let mut all = headers.get_all(name).iter();
    let first = all.next()?.to_str().ok()?;
    // Two of them: nobody knows which one counts.
    all.next().is_none().then_some(first)
}

fn admit(desk: &Desk, request: &Request) -> Result<(), Box<Response>> {
    let no = |status, why| Err(Box::new(refuse(status, why)));
    let headers = request.headers();
    let (method, path) = (request.method(), request.uri().path());
    if !only(headers, "host").is_some_and(|host| desk.door.serves(host))
        || request.uri().authority().is_some_and(|authority| !desk.door.serves(authority.as_str()))
    {
        return no(StatusCode::FORBIDDEN, "this name is not served here: open the address that the terminal shows");
    }
    let unsafe_one = method != Method::GET && method != Method::HEAD;
    if headers.contains_key("origin") || unsafe_one {
        let ours = only(headers, "origin").is_some_and(|origin| desk.door.is_origin(origin));
        if !ours {
            return no(StatusCode::FORBIDDEN, "this request comes from another page");
        }
    }
    let site = headers.get("sec-fetch-site").and_then(|value| value.to_str().ok()).unwrap_or("none");
    if !matches!(site, "none" | "same-origin") && path != "/" {
        return no(StatusCode::FORBIDDEN, "this request comes from another page");
    }
    if headers.contains_key("upgrade") {
        return no(StatusCode::BAD_REQUEST, "no other protocol is spoken here");
    }
    let now = Instant::now();
    let entry = Entry::of(desk, headers, now);
    // Taking the heat away is never too much for anybody who may ask for it.
    let urgent = path == "/api/stop" && entry.token_is_right;
    let from = request.extensions().get::<Peer>().map_or(IpAddr::from([0; 16]), |peer| peer.0);
    if !urgent && !desk.site.gate().admit(now, from) {
        return no(StatusCode::TOO_MANY_REQUESTS, "too many requests: wait a second");
    }
    if unsafe_one {
        let kind = only(headers, "content-type").unwrap_or_default();
        if kind.split(';').next().map(str::trim) != Some("application/json") {
            return no(StatusCode::UNSUPPORTED_MEDIA_TYPE, "send application/json");
        }
        if only(headers, "content-length").and_then(|text| text.parse::<usize>().ok()).is_some_and(|n| n > MOST_BODY) {
            return no(StatusCode::PAYLOAD_TOO_LARGE, "a body of at most 16 KiB");
        }
    }
    let figures_abroad = path == "/metrics" && desk.door.pairing;
    if figures_abroad || (path.starts_with("/api/") && path != "/api/pair") {
        if !entry.known {
            return no(StatusCode::UNAUTHORIZED, "no session: open the page, and pair it if it asks for a code");
        }
        if unsafe_one && !entry.token_is_right {
            return no(StatusCode::UNAUTHORIZED, "the session's token is missing or wrong: open the page anew");
        }
        if unsafe_one && desk.site.read_only {
            return no(StatusCode::FORBIDDEN, "this watch is read-only");
        }
    }
    Ok(())
}

/// What the cookie and the token say.
struct Entry {
    known: bool,
    token_is_right: bool,
}

impl Entry {
    fn of(desk: &Desk, headers: &HeaderMap, now: Instant) -> Entry {
        let gate = desk.site.gate();
        let Some(session) = cookie(desk, headers).and_then(|cookie| gate.session(now, cookie, desk.door.pairing)) else {
            return Entry { known: false, token_is_right: false };
        };
        let token = only(headers, TOKEN).unwrap_or_default();
        Entry { known: true, token_is_right: session.token().is(token) }
    }
}

/// Cookies know no ports: the port is part of the name, so that two watches on one host do not end each other's sessions.
fn cookie_name(door: &Door) -> String {
    let port = door.hosts().first().and_then(|host| host.rsplit(':').next()).unwrap_or("0");
    format!("copperhold_{port}")
}

fn cookie<'a>(desk: &Desk, headers: &'a HeaderMap) -> Option<&'a str> {
    let name = cookie_name(&desk.door);
    let all = headers.get_all("cookie").iter().filter_map(|value| value.to_str().ok());
    all.flat_map(|line| line.split(';'))
        .filter_map(|pair| pair.trim().split_once('='))
        .find(|(key, _)| *key == name)
        .map(|(_, v)| v)
}

fn let_in(desk: &Desk, mut response: Response, paired: bool) -> Response {
    let Ok(session) = desk.site.gate().open(Instant::now(), paired) else {
        return refuse(StatusCode::INTERNAL_SERVER_ERROR, "the system gives no random numbers");
    };
    let text = format!("{}={}; HttpOnly; SameSite=Strict; Path=/; Max-Age=43200", cookie_name(&desk.door), session.id().text());
    if let Ok(value) = HeaderValue::from_str(&text) {
        response.headers_mut().insert(header::SET_COOKIE, value);
    }
    response
}

async fn page(State(desk): State<Desk>, headers: HeaderMap) -> Response {
    let response = file("text/html; charset=utf-8", PAGE);
    let known = Entry::of(&desk, &headers, Instant::now()).known;
    if known || desk.door.pairing { response } else { let_in(&desk, response, false) }
}

async fn session(State(desk): State<Desk>, headers: HeaderMap) -> Response {
    let gate = desk.site.gate();
    let token = cookie(&desk, &headers)
        .and_then(|cookie| gate.session(Instant::now(), cookie, desk.door.pairing))
        .map(|session| session.token().text())
        .unwrap_or_default();
    json(serde_json::json!({ "token": token, "read_only": desk.site.read_only }).to_string())
}

async fn history(State(desk): State<Desk>) -> Response {
    json(desk.site.hub.history())
}

#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Code {
    code: String,
}

async fn pair(State(desk): State<Desk>, request: Request) -> Response {
    let given: Code = match read(request).await {
        Ok(given) => given,
        Err(refusal) => return *refusal,
    };
    let before = desk.site.gate().code();
    let outcome = desk.site.gate().pair(Instant::now(), &given.code);
    let after = desk.site.gate().code();
    if after != before {
        eprintln!("Too many wrong codes. The new pairing code is {after}");
    }
    match outcome {
        Ok(()) => let_in(&desk, json("{}".to_owned()), true),
        Err(NotPaired::Wrong) => {
            refuse(StatusCode::UNAUTHORIZED, "another code: it is in the terminal where the watch was started")
        }
        Err(NotPaired::TooMany) => refuse(StatusCode::TOO_MANY_REQUESTS, "too many codes were tried: wait a minute"),
    }
}

async fn stop(State(desk): State<Desk>) -> Response {
    match desk.site.hub.ask(Act::Stop {}).await {
        Ok(()) => json("{}".to_owned()),
        Err(why) => refuse(StatusCode::CONFLICT, &why),
    }
}

async fn act(State(desk): State<Desk>, request: Request) -> Response {
    let act: Act = match read(request).await {
        Ok(act) => act,
        Err(refusal) => return *refusal,
    };
    match desk.site.hub.ask(act).await {
        Ok(()) => json("{}".to_owned()),
        Err(why) => refuse(StatusCode::CONFLICT, &why),
    }
}

async fn read<T: serde::de::DeserializeOwned>(request: Request) -> Result<T, Box<Response>> {
    let bytes = axum::body::to_bytes(request.into_body(), MOST_BODY)
        .await
        .map_err(|_| Box::new(refuse(StatusCode::PAYLOAD_TOO_LARGE, "a body of at most 16 KiB")))?;
    serde_json::from_slice(&bytes)
        .map_err(|error| Box::new(refuse(StatusCode::UNPROCESSABLE_ENTITY, &format!("not understood: {error}"))))
}

/// Moments as they come; what does not change comes first, and again when it does.
async fn events(State(desk): State<Desk>) -> Response {
    let hub = &desk.site.hub;
    let (mut moments, about) = (hub.moments(), hub.about());
    moments.mark_changed();
    let stream = stream::unfold((moments, about, true), |(mut moments, mut about, first)| async move {
        if first || about.has_changed().unwrap_or(false) {
            let held = about.borrow_and_update().clone();
            let text = serde_json::to_string(&*held).unwrap_or_default();
            let event = Bytes::from(format!("event: about\ndata: {text}\nretry: 1000\n\n"));
            return Some((Ok::<Bytes, std::convert::Infallible>(event), (moments, about, false)));
        }
        moments.changed().await.ok()?;
        let snapshot = moments.borrow_and_update().clone();
        Some((Ok(snapshot.event.clone()), (moments, about, false)))
    });
    file("text/event-stream", Body::from_stream(stream))
}
