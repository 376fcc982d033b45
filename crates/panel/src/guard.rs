//! Who may come in: nobody who was sent by a page of somebody else, and from other machines only those who were paired.
//!
//! A browser on this machine would knock for any page that it shows; so a request must name this machine as its host, which keeps
//! out names that were turned to point here, and if it says which page it comes from, that must be one of ours. Whoever names
//! another host, or comes from another machine, must bear a token.

use std::net::IpAddr;
use std::time::Instant;

use axum::extract::{ConnectInfo, Request, State};
use axum::http::{HeaderMap, Method, StatusCode, header};
use axum::middleware::Next;
use axum::response::{IntoResponse, Response};

use crate::access::{Access, Role};
use crate::door::failed;
use crate::encrypted::Peer;

/// The name of the cookie that holds a token.
pub(crate) const COOKIE: &str = "lineclear";

type Refused = (StatusCode, &'static str);

/// Lets through whoever may come in, and notes what they may do.
pub(crate) async fn guard(State(access): State<Option<Access>>, mut request: Request, next: Next) -> Response {
    let peer = request.extensions().get::<ConnectInfo<Peer>>().map(|info| info.0.0.ip().to_canonical());
    match role(access.as_ref(), &request, peer) {
        Ok(role) => {
            request.extensions_mut().insert(role);
            next.run(request).await
        }
        Err((status, why)) => failed(status, why).into_response(),
    }
}

fn role(access: Option<&Access>, request: &Request, peer: Option<IpAddr>) -> Result<Role, Refused> {
    let headers = request.headers();
    let (host, is_here) = check(headers, request.uri().host())?;
    let is_from_here = peer.is_some_and(|peer| peer.is_loopback());
    if is_here && is_from_here {
        return Ok(Role::Dispatch);
    }
    let (Some(access), Some(peer)) = (access, peer) else {
        return Err((StatusCode::FORBIDDEN, "the request is for another host than this machine"));
    };
    debug_assert!(!host.is_empty());
    if !is_from_here && !access.is_in_time(peer, Instant::now()) {
        return Err((StatusCode::TOO_MANY_REQUESTS, "too many requests; wait a moment"));
    }
    let path = request.uri().path();
    let is_open = match *request.method() {
        Method::GET => path == "/" || path.starts_with("/page/"),
        Method::POST => path == "/pair",
        _ => false,
    };
    match token(headers).and_then(|token| access.role_of(token)) {
        Some(role) => Ok(role),
        None if is_open => Ok(Role::Look),
        None => Err((
            StatusCode::UNAUTHORIZED,
            "this device is not paired; open the page and give a code that the daemon shows",
        )),
    }
}

/// The host that a request is for, and whether that is this machine as it calls itself.
fn check<'h>(headers: &'h HeaderMap, in_address: Option<&'h str>) -> Result<(&'h str, bool), Refused> {
    let text = |name| headers.get(name).and_then(|value: &axum::http::HeaderValue| value.to_str().ok());
    let host = text(header::HOST).or(in_address).filter(|host| !host.is_empty());
    let host = host.ok_or((StatusCode::FORBIDDEN, "the request does not say which host it is for"))?;
    let is_ours = headers.get(header::ORIGIN).is_none_or(|origin| {
        let origin = origin.to_str().unwrap_or_default();
        ["http://", "https://"].into_iter().any(|scheme| origin.strip_prefix(scheme) == Some(host))
    });
    if !is_ours {
        return Err((StatusCode::FORBIDDEN, "the request comes from a page of somebody else"));
    }
    Ok((host, is_this_machine(host)))
}

/// The token in the cookies of a request.
fn token(headers: &HeaderMap) -> Option<&str> {
    let cookies = headers.get_all(header::COOKIE).iter().filter_map(|value| value.to_str().ok());
    let pairs = cookies.flat_map(|cookies| cookies.split(';')).filter_map(|pair| pair.trim().split_once('='));
    pairs.filter(|(name, _)| *name == COOKIE).map(|(_, token)| token).next()
}

fn is_this_machine(host: &str) -> bool {
    let name = match host.strip_prefix('[') {
        Some(rest) => rest.split_once(']').map_or("", |(name, _)| name),
        None => host.split_once(':').map_or(host, |(name, _)| name),
    };
    name.eq_ignore_ascii_case("localhost") || name.parse::<IpAddr>().is_ok_and(|address| address.is_loopback())
}

#[cfg(test)]
mod tests {
    use super::*;

    const HERE: IpAddr = IpAddr::V4(std::net::Ipv4Addr::LOCALHOST);

    fn request(method: Method, path: &str, headers: &[(&str, &str)]) -> Request {
        let mut request = Request::builder().method(method).uri(path);
        for (name, value) in headers {
            request = request.header(*name, *value);
        }
        request.body(axum::body::Body::empty()).unwrap()
    }

    fn ask(host: Option<&str>, origin: Option<&str>) -> Result<Role, StatusCode> {
        let headers: Vec<(&str, &str)> =
            host.map(|host| ("host", host)).into_iter().chain(origin.map(|origin| ("origin", origin))).collect();
        role(None, &request(Method::GET, "/v1/picture", &headers), Some(HERE)).map_err(|(status, _)| status)
    }

    #[test]
    fn only_this_machine_and_its_own_pages_may_ask() {
        for host in ["127.0.0.1:4460", "localhost:4460", "LOCALHOST", "[::1]:4460", "127.0.0.9"] {
            assert_eq!(ask(Some(host), None), Ok(Role::Dispatch), "{host}");
            assert_eq!(ask(Some(host), Some(&format!("http://{host}"))), Ok(Role::Dispatch), "{host}");
            assert!(ask(Some(host), Some("http://elsewhere.example")).is_err(), "{host}");
            assert!(ask(Some(host), Some("null")).is_err(), "{host}");
        }
        for host in ["railway.example", "192.0.2.1:4460", "[2001:db8::1]:4460", "", "127.0.0.1.example", "[::1"] {
            assert!(ask(Some(host), None).is_err(), "{host}");
        }
        assert!(ask(None, None).is_err());
    }

    #[test]
    fn whoever_comes_from_elsewhere_sees_the_page_and_no_train_until_they_are_paired() {
        let access = Access::new().unwrap();
        let code = access.codes().find(|(role, _)| *role == Role::Drive).unwrap().1.to_owned();
        let peer = Some(IpAddr::from([192, 0, 2, 7]));
        let host = ("host", "192.0.2.1:4460");
        let let_in = |method, path, headers: &[(&str, &str)]| {
            role(Some(&access), &request(method, path, headers), peer).map_err(|(status, _)| status)
        };
        assert_eq!(let_in(Method::GET, "/", &[host]), Ok(Role::Look));
        assert_eq!(let_in(Method::POST, "/pair", &[host]), Ok(Role::Look));
        for path in ["/v1/picture", "/v1/stream", "/metrics", "/v1/openapi.json"] {
            assert_eq!(let_in(Method::GET, path, &[host]), Err(StatusCode::UNAUTHORIZED), "{path}");
        }
        assert_eq!(let_in(Method::POST, "/v1/stop-all", &[host]), Err(StatusCode::UNAUTHORIZED));
        // That the request says it is for this machine does not make it come from here.
        assert_eq!(let_in(Method::GET, "/v1/picture", &[("host", "127.0.0.1:4460")]), Err(StatusCode::UNAUTHORIZED));
        let (token, _) = access.pair(&code, Instant::now()).unwrap();
        let cookie = format!("other=1; {COOKIE}={token}");
        assert_eq!(let_in(Method::GET, "/v1/picture", &[host, ("cookie", &cookie)]), Ok(Role::Drive));
        let foreign = [host, ("cookie", &*cookie), ("origin", "http://elsewhere.example")];
        assert_eq!(let_in(Method::POST, "/v1/stop-all", &foreign), Err(StatusCode::FORBIDDEN));
        assert_eq!(
            let_in(Method::GET, "/v1/picture", &[host, ("cookie", "lineclear=00")]),
            Err(StatusCode::UNAUTHORIZED)
        );
    }
}
