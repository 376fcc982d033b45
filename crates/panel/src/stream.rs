//! What is new, sent to everybody who follows.
//!
//! One task compares what is shown with what was shown before and makes one message of it for everybody. Whoever does not keep
//! up misses messages, and gets the whole picture again.

use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use axum::extract::ws::{Message as Frame, Utf8Bytes, WebSocket};
use tokio::sync::broadcast;
use tokio::time::{MissedTickBehavior, interval, timeout};

use crate::counter::Window;
use crate::rows::Message;
use crate::show::Glance;

/// News are sent no more often.
const APART: Duration = Duration::from_millis(50);
/// News are sent at least so often, though nothing is new: whoever hears nothing for longer has lost the connection.
const AT_LEAST: Duration = Duration::from_millis(500);
/// So many messages may wait for one who follows.
const BEHIND: usize = 64;
/// One who takes nothing for so long is let go.
const PATIENCE: Duration = Duration::from_secs(10);

/// What was shown last, with its number, and who is told what is new.
#[derive(Clone, Debug)]
pub(crate) struct Stream {
    latest: Arc<Mutex<(u64, Arc<Glance>)>>,
    news: broadcast::Sender<(u64, Utf8Bytes)>,
}

impl Stream {
    pub(crate) fn new(window: &Window) -> Self {
        let glance = Arc::clone(&window.glance.borrow());
        Self { latest: Arc::new(Mutex::new((0, glance))), news: broadcast::channel(BEHIND).0 }
    }

    /// What is shown now, with its number.
    pub(crate) fn latest(&self) -> (u64, Arc<Glance>) {
        self.latest.lock().unwrap_or_else(PoisonError::into_inner).clone()
    }

    /// Sends what is new until nobody shows anything any more.
    pub(crate) async fn publish(self, mut window: Window) {
        let mut beats = interval(APART);
        beats.set_missed_tick_behavior(MissedTickBehavior::Delay);
        loop {
            beats.tick().await;
            if let Ok(Err(_)) = timeout(AT_LEAST, window.glance.changed()).await {
                return;
            }
            let glance = Arc::clone(&window.glance.borrow_and_update());
            let lines = window.take_lines();
            let mut latest = self.latest.lock().unwrap_or_else(PoisonError::into_inner);
            let number = latest.0 + 1;
            if self.news.receiver_count() > 0 {
                let is_same_layout = Arc::ptr_eq(glance.board.layout(), latest.1.board.layout());
                let message = match is_same_layout {
                    true => Message::News(Box::new(glance.news_since(&latest.1, number, lines))),
                    // Nothing of it can be compared with what was before.
                    false => Message::Picture(Box::new(glance.picture(number))),
                };
                if let Some(text) = text_of(&message) {
                    // Whoever left meanwhile misses nothing.
                    let _ = self.news.send((number, text));
                }
            }
            *latest = (number, glance);
        }
    }

    /// Follows until whoever is at the other end leaves, or does not keep up for long.
    pub(crate) async fn follow(self, mut socket: WebSocket) {
        let mut news = self.news.subscribe();
        let Some(mut seen) = self.send_picture(&mut socket).await else { return };
        loop {
            tokio::select! {
                heard = socket.recv() => match heard {
                    Some(Ok(Frame::Close(_)) | Err(_)) | None => return,
                    // Nothing is asked through the stream.
                    Some(Ok(_)) => {}
                },
                told = news.recv() => match told {
                    Ok((number, _)) if number <= seen => {}
                    Ok((number, text)) => {
                        seen = number;
                        if !send(&mut socket, text).await {
                            return;
                        }
                    }
                    Err(broadcast::error::RecvError::Lagged(_)) => match self.send_picture(&mut socket).await {
                        Some(number) => seen = number,
                        None => return,
                    },
                    Err(broadcast::error::RecvError::Closed) => return,
                },
            }
        }
    }

    async fn send_picture(&self, socket: &mut WebSocket) -> Option<u64> {
        let (number, glance) = self.latest();
        let text = text_of(&Message::Picture(Box::new(glance.picture(number))))?;
        send(socket, text).await.then_some(number)
    }
}

fn text_of(message: &Message) -> Option<Utf8Bytes> {
    serde_json::to_string(message).ok().map(Into::into)
}

/// Tells whether it went.
async fn send(socket: &mut WebSocket, text: Utf8Bytes) -> bool {
    matches!(timeout(PATIENCE, socket.send(Frame::Text(text))).await, Ok(Ok(())))
}
