//! The page: files that are part of the program, and what browsers are told about them.
//!
//! Nothing is loaded from elsewhere, and nothing that is said of a layout can become a script: there is no script in the markup,
//! and browsers are told to run none.

use axum::extract::{Path, Request, State};
use axum::http::{HeaderName, HeaderValue, StatusCode, header};
use axum::middleware::Next;
use axum::response::{Html, IntoResponse, Response};

use crate::counter::Fate;
use crate::door::{Inside, failed, told_to_stop};

const SCRIPT: &str = "text/javascript; charset=utf-8";

macro_rules! script {
    ($name:literal) => {
        ($name, SCRIPT, include_str!(concat!("../page/", $name)))
    };
}

/// Name, kind, content.
const FILES: &[(&str, &str, &str)] = &[
    ("page.css", "text/css; charset=utf-8", include_str!("../page/page.css")),
    ("mark.svg", "image/svg+xml", include_str!("../page/mark.svg")),
    script!("main.js"),
    script!("feed.js"),
    script!("geometry.js"),
    script!("track.js"),
    script!("draw.js"),
    script!("words.js"),
    script!("lamps.js"),
    script!("sheet.js"),
    script!("tiles.js"),
    script!("marks.js"),
    script!("room.js"),
    script!("ribbons.js"),
    script!("legend.js"),
    script!("asks.js"),
    script!("places.js"),
    script!("lines.js"),
    script!("stop.js"),
    script!("trains.js"),
    script!("queue.js"),
    script!("detail.js"),
    script!("plots.js"),
    script!("record.js"),
    script!("times.js"),
    script!("history.js"),
    script!("pair.js"),
    script!("cab.js"),
    script!("train.js"),
    script!("speeds.js"),
    script!("switches.js"),
];

const RULES: &str = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; \
                     form-action 'self'; base-uri 'none'; frame-ancestors 'none'";

/// The page itself.
pub(crate) async fn page() -> Html<&'static str> {
    Html(include_str!("../page/index.html"))
}

/// One of its files.
pub(crate) async fn file(Path(name): Path<String>) -> Response {
    match FILES.iter().find(|(known, ..)| *known == name) {
        Some(&(_, kind, content)) => ([(header::CONTENT_TYPE, kind)], content).into_response(),
        None => failed(StatusCode::NOT_FOUND, "the page has no such file").into_response(),
    }
}

/// Stop everything, for a page that can do no more than send a form: answered in words, with a way back.
pub(crate) async fn stop(State(inside): State<Inside>) -> (StatusCode, Html<String>) {
    let (status, fate) = told_to_stop(&inside).await;
    let (title, text) = match &fate {
        Fate::Accepted { .. } => {
            ("Every train was told to stop.", "They stay where they are until somebody lets them run again.")
        }
        Fate::Refused { .. } | Fate::Failed { .. } => {
            ("It was not done.", "Cut the track power with the emergency stop at the layout.")
        }
    };
    let why = match &fate {
        Fate::Accepted { .. } => String::new(),
        Fate::Refused { reason, .. } | Fate::Failed { reason } => format!("<p>{}</p>", harmless(reason)),
    };
    let text = format!(
        "<!doctype html><html lang=\"en\"><meta charset=\"utf-8\"><meta name=\"viewport\" content=\"width=device-width\">\
         <title>{title}</title><link rel=\"icon\" href=\"/page/mark.svg\"><link rel=\"stylesheet\" href=\"/page/page.css\"><main><h1>{title}</h1><p>{text}</p>{why}\
         <form id=\"stop\" method=\"post\" action=\"/stop\"><button type=\"submit\">Stop everything again</button></form>\
         <p><a href=\"/\">Back to the line</a></p></main>"
    );
    (status, Html(text))
}

/// Text as it may stand in markup.
fn harmless(text: &str) -> String {
    text.replace('&', "&amp;").replace('<', "&lt;").replace('>', "&gt;").replace('"', "&quot;")
}

/// Tells browsers what they may do with whatever comes from here.
pub(crate) async fn rules(request: Request, next: Next) -> Response {
    let mut answer = next.run(request).await;
    let headers = answer.headers_mut();
    for (name, value) in [
        (header::CONTENT_SECURITY_POLICY, RULES),
        (header::X_CONTENT_TYPE_OPTIONS, "nosniff"),
        (header::REFERRER_POLICY, "same-origin"),
        (header::CACHE_CONTROL, "no-store"),
        (HeaderName::from_static("cross-origin-resource-policy"), "same-origin"),
        (HeaderName::from_static("cross-origin-opener-policy"), "same-origin"),
    ] {
        headers.insert(name, HeaderValue::from_static(value));
    }
    answer
}

#[cfg(test)]
mod tests {
    use std::path::Path;

    use super::*;

    #[test]
    fn every_file_of_the_page_is_in_the_program() {
        let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("page");
        let mut missing = Vec::new();
        for entry in std::fs::read_dir(folder).unwrap() {
            let name = entry.unwrap().file_name().into_string().unwrap();
            let is_served = FILES.iter().any(|(known, ..)| *known == name) || name == "index.html";
            if !is_served && !name.ends_with(".json") && !name.ends_with(".d.ts") {
                missing.push(name);
            }
        }
        assert_eq!(missing, Vec::<String>::new());
    }

    #[test]
    fn no_script_stands_in_the_markup_and_nothing_comes_from_elsewhere() {
        let page = include_str!("../page/index.html");
        assert_eq!(page.matches("<script").count(), 1);
        assert!(page.contains("<script type=\"module\" src=\"/page/main.js\"></script>"));
        for text in FILES.iter().map(|(_, _, content)| *content).chain([page]) {
            for banned in ["https://", "onclick=\"", "innerHTML", "eval(", "style=\""] {
                assert!(!text.contains(banned), "`{banned}`");
            }
        }
    }

    #[test]
    fn what_is_said_of_a_refusal_cannot_become_markup() {
        assert_eq!(harmless("<b a=\"1\">&"), "&lt;b a=&quot;1&quot;&gt;&amp;");
    }
}
