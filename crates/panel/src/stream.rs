//! What is new, sent to everybody who follows.
//!
//! One task compares what is shown with what was shown before and makes one message of it for everybody. Whoever does not keep
//! up is told what is new since they were told something last, in one message of their own: never what was meanwhile, and never the
//! whole picture.

use std::collections::VecDeque;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use axum::extract::ws::{Message as Frame, Utf8Bytes, WebSocket};
use tokio::sync::broadcast;
use tokio::time::{MissedTickBehavior, interval, timeout};

use crate::counter::Window;
use crate::rows::{LineRow, Message, Picture};
use crate::show::Glance;

/// News are sent no more often.
const APART: Duration = Duration::from_millis(50);
/// News are sent at least so often, though nothing is new: whoever hears nothing for longer has lost the connection.
const AT_LEAST: Duration = Duration::from_millis(500);
/// So many messages may wait for one who follows, who is then told all of it in one.
const BEHIND: usize = 8;
/// So many lines are kept for those who are behind.
const LINES: usize = 300;
/// One who takes nothing for so long is let go.
const PATIENCE: Duration = Duration::from_secs(10);

/// What was shown at some time, with its number.
#[derive(Clone, Debug)]
struct Shown {
    number: u64,
    glance: Arc<Glance>,
}

/// What was shown last, and what was said.
#[derive(Debug)]
struct Latest {
    shown: Shown,
    /// With the number of the news that they came with.
    lines: VecDeque<(u64, LineRow)>,
}

/// What was shown last, and who is told what is new.
#[derive(Clone, Debug)]
pub(crate) struct Stream {
    latest: Arc<Mutex<Latest>>,
    news: broadcast::Sender<(Shown, Utf8Bytes)>,
}

impl Stream {
    pub(crate) fn new(window: &Window) -> Self {
        let shown = Shown { number: 0, glance: Arc::clone(&window.glance.borrow()) };
        let latest = Latest { shown, lines: VecDeque::new() };
        Self { latest: Arc::new(Mutex::new(latest)), news: broadcast::channel(BEHIND).0 }
    }

    /// What is shown now, with its number.
    pub(crate) fn latest(&self) -> (u64, Arc<Glance>) {
        let Shown { number, glance } = self.latest.lock().unwrap_or_else(PoisonError::into_inner).shown.clone();
        (number, glance)
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
            let shown = Shown { number: latest.shown.number + 1, glance };
            latest.lines.extend(lines.iter().map(|line| (shown.number, line.clone())));
            let too_many = latest.lines.len().saturating_sub(LINES);
            latest.lines.drain(..too_many);
            if self.news.receiver_count() > 0
                && let Some(text) = text_of(&message(&latest.shown, &shown, lines))
            {
                // Whoever left meanwhile misses nothing.
                let _ = self.news.send((shown.clone(), text));
            }
            latest.shown = shown;
        }
    }

    /// Follows until whoever is at the other end leaves, or takes nothing for long.
    pub(crate) async fn follow(self, mut socket: WebSocket) {
        let mut news = self.news.subscribe();
        let (mut told, lines) = self.all();
        let picture = Picture { lines, ..told.glance.picture(told.number) };
        let Some(text) = text_of(&Message::Picture(Box::new(picture))) else { return };
        if !send(&mut socket, text).await {
            return;
        }
        loop {
            let next = tokio::select! {
                heard = socket.recv() => match heard {
                    Some(Ok(Frame::Close(_)) | Err(_)) | None => return,
                    // Nothing is asked through the stream.
                    Some(Ok(_)) => continue,
                },
                next = news.recv() => next,
            };
            let (shown, text) = match next {
                Ok((shown, _)) if shown.number <= told.number => continue,
                Ok((shown, text)) if shown.number == told.number + 1 && news.is_empty() => (shown, text),
                Ok(_) | Err(broadcast::error::RecvError::Lagged(_)) => {
                    news = news.resubscribe();
                    let Some(all) = self.since(&told) else { continue };
                    all
                }
                Err(broadcast::error::RecvError::Closed) => return,
            };
            told = shown;
            if !send(&mut socket, text).await {
                return;
            }
        }
    }

    /// What is shown now, and what was said of late.
    fn all(&self) -> (Shown, Vec<LineRow>) {
        let latest = self.latest.lock().unwrap_or_else(PoisonError::into_inner);
        (latest.shown.clone(), latest.lines.iter().map(|(_, line)| line.clone()).collect())
    }

    /// What is new since something was told, in one; nothing where nothing is.
    fn since(&self, told: &Shown) -> Option<(Shown, Utf8Bytes)> {
        let (shown, lines) = {
            let latest = self.latest.lock().unwrap_or_else(PoisonError::into_inner);
            let lines = latest.lines.iter().filter(|(number, _)| *number > told.number).map(|(_, line)| line.clone());
            (latest.shown.clone(), lines.collect())
        };
        if shown.number <= told.number {
            return None;
        }
        text_of(&message(told, &shown, lines)).map(|text| (shown, text))
    }
}

/// What is new between two glances.
fn message(before: &Shown, now: &Shown, lines: Vec<LineRow>) -> Message {
    match Arc::ptr_eq(now.glance.board.layout(), before.glance.board.layout()) {
        true => Message::News(Box::new(now.glance.news_since(&before.glance, now.number, lines))),
        // Nothing of it can be compared with what was before.
        false => Message::Picture(Box::new(now.glance.picture(now.number))),
    }
}

fn text_of(message: &Message) -> Option<Utf8Bytes> {
    serde_json::to_string(message).ok().map(Into::into)
}

/// Tells whether it went.
async fn send(socket: &mut WebSocket, text: Utf8Bytes) -> bool {
    matches!(timeout(PATIENCE, socket.send(Frame::Text(text))).await, Ok(Ok(())))
}

#[cfg(test)]
mod tests {
    use signaller::{Board, Fact, Output, Tag, Time};
    use track::{Builder, Id, Scale, SectionId};

    use super::*;
    use crate::counter::{self, Beside};
    use crate::rows::{Is, Phase, Weight};

    fn glance(board: &Board) -> Glance {
        let (board, questions) = (board.clone(), Vec::new());
        Glance { board, phase: Phase::Running, pace: None, broken_rules: 0, clock: None, questions }
    }

    #[test]
    fn who_was_behind_is_told_what_is_new_in_one_and_no_picture() {
        let mut line = Builder::new("Siding", Scale::UNKNOWN);
        for name in ["quay-1", "quay-2", "quay-3"] {
            line.plain_section(name, None);
        }
        let mut board = Board::new(Arc::new(line.build()));
        let (_counter, window) = counter::open(glance(&board), Beside::default()).unwrap();
        let stream = Stream::new(&window);
        let (number, first) = stream.latest();
        let told = Shown { number, glance: first };
        assert!(stream.since(&told).is_none(), "nothing is new");

        for number in 1_u32..=3 {
            let section = SectionId::from_index(number as usize - 1);
            board.hear(
                Time::from_millis(i64::from(number) * 1000),
                &[Output::Fact(Fact::Tagged { section, tag: Tag::Free })],
            );
            let said = LineRow { at: f64::from(number), weight: Weight::Ordinary, text: format!("line {number}") };
            let mut latest = stream.latest.lock().unwrap();
            latest.shown = Shown { number: number.into(), glance: Arc::new(glance(&board)) };
            latest.lines.push_back((number.into(), said));
        }
        let (shown, text) = stream.since(&told).unwrap();
        let Message::News(news) = serde_json::from_str(&text).unwrap() else { panic!("a picture was sent") };
        assert_eq!((shown.number, news.number), (3, 3));
        assert_eq!(
            news.sections.iter().map(|row| (row.name.as_str(), row.is)).collect::<Vec<_>>(),
            [("quay-1", Is::Free), ("quay-2", Is::Free), ("quay-3", Is::Free)]
        );
        assert_eq!(
            news.lines.iter().map(|line| line.text.as_str()).collect::<Vec<_>>(),
            ["line 1", "line 2", "line 3"]
        );
        assert!(stream.since(&shown).is_none(), "nothing is told twice");
    }
}
