//! A throttle in somebody's hand: a train runs as it is set only for as long as whoever holds it is heard of.
//!
//! Over a WebSocket the throttle says several times a second how it is set. When it is silent for a second, or leaves, the train is
//! told to stand: a phone that sleeps, or that nobody carries within reach of the network, drives nothing.

use std::time::Duration;

use axum::extract::ws::{Message as Frame, WebSocket};
use serde::Deserialize;
use serde_json::json;
use tokio::time::timeout;

use crate::counter::{Fate, KeyTaken, Window};
use crate::wish::Wish;

/// A throttle that is not heard of for so long holds nothing any more.
const SILENT: Duration = Duration::from_millis(1000);
/// One that takes nothing for so long is let go.
const PATIENCE: Duration = Duration::from_secs(2);

/// How a throttle is set.
#[derive(Clone, Debug, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
struct Setting {
    train: String,
    /// `forward` or `backward`.
    way: String,
    step: u8,
}

/// Follows a throttle until it is let go, and makes its train stand then.
pub(crate) async fn hold(window: Window, mut socket: WebSocket) {
    let mut set: Option<Setting> = None;
    loop {
        let heard = match timeout(SILENT, socket.recv()).await {
            Ok(Some(Ok(Frame::Text(text)))) => serde_json::from_str::<Setting>(&text),
            Ok(Some(Ok(Frame::Ping(_) | Frame::Pong(_)))) => continue,
            _ => break,
        };
        let Ok(heard) = heard else { break };
        if set.as_ref() == Some(&heard) {
            continue;
        }
        if let Some(before) = set.take_if(|before| before.train != heard.train) {
            ask(&window, &Setting { step: 0, ..before }).await;
        }
        let fate = ask(&window, &heard).await;
        set = Some(heard);
        let Ok(text) = serde_json::to_string(&fate) else { break };
        if !matches!(timeout(PATIENCE, socket.send(Frame::Text(text.into()))).await, Ok(Ok(()))) {
            break;
        }
    }
    if let Some(last) = set.filter(|last| last.step > 0) {
        tracing::info!(train = last.train, "a throttle is not heard of any more");
        ask(&window, &Setting { step: 0, ..last }).await;
    }
}

async fn ask(window: &Window, setting: &Setting) -> Fate {
    let Setting { train, way, step } = setting;
    let wish = json!({ "ask": "set-throttle", "train": train, "way": way, "step": step });
    let failed = |reason: String| Fate::Failed { reason };
    let wish: Wish = match serde_json::from_value(wish) {
        Ok(wish) => wish,
        Err(error) => return failed(error.to_string().to_lowercase()),
    };
    if let Err(why) = wish.check() {
        return failed(why);
    }
    match wish.matter(&window.described().names) {
        Ok(matter) => {
            window.ask(wish, matter, None).await.unwrap_or_else(|KeyTaken| failed("it was not asked".to_owned()))
        }
        Err(why) => failed(why),
    }
}
