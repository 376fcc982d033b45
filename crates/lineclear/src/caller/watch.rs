//! `lineclear watch`: the live view of a daemon that runs elsewhere on this machine.

use std::collections::BTreeMap;
use std::io::{self, IsTerminal, Write};
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::{Duration, Instant};

use futures_util::StreamExt;
use panel::rows::{LineRow, Message, Phase as Shown, Weight as Attention};
use panel::{Fate, Names, Wish, read};
use serde::Deserialize;
use signaller::{Board, Time};
use tokio::sync::mpsc::{UnboundedReceiver, unbounded_channel};
use tokio::time::timeout;
use tokio_tungstenite::tungstenite::Message as Frame;

use super::PATIENCE;
use crate::Exit;
use crate::run::USUAL_DOOR;
use crate::run::pace::Pace;
use crate::run::shell::{Now, Phase, Stage as _};
use crate::run::view::{Key, Keys, View};
use crate::run::words::{Line, Weight};

/// Whoever hears nothing for so long has lost the connection: something comes at least twice a second.
const LOST: Duration = Duration::from_millis(1500);
/// So long a try to get it back waits.
const APART: Duration = Duration::from_millis(500);

/// What was asked for on the command line.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// Where the control door of the daemon is
    #[arg(long, value_name = "ADDRESS", default_value_t = USUAL_DOOR)]
    door: SocketAddr,
    /// Plain lines, on a terminal too
    #[arg(long)]
    plain: bool,
}

/// Looks on until somebody leaves; the trains go on.
pub(crate) fn run(args: &Args) -> Exit {
    let watched = tokio::runtime::Builder::new_current_thread().enable_all().build().map_err(|error| error.to_string());
    match watched.and_then(|runtime| runtime.block_on(watch(args))) {
        Ok(()) => Exit::Fine,
        Err(why) => {
            // Where nobody listens there is nobody left to tell.
            let _ = writeln!(io::stderr(), "error: {why}");
            Exit::BadInput
        }
    }
}

/// As much of the layout as is needed here.
#[derive(Deserialize)]
struct Files {
    files: BTreeMap<String, String>,
}

/// The layout of the daemon there, and the files that it is made of.
fn layout_at(door: SocketAddr) -> Result<(Names, BTreeMap<String, String>), String> {
    let agent: ureq::Agent = ureq::Agent::config_builder().timeout_global(Some(PATIENCE)).build().into();
    let fetched = agent.get(format!("http://{door}/v1/layout")).call();
    let fetched = fetched.and_then(|mut response| response.body_mut().read_to_string());
    let text = fetched.map_err(|error| {
        let why = error.to_string().to_lowercase();
        format!("the daemon at `{door}` does not answer: {why}\nhint: start `lineclear run DIR`, or say where its control door is")
    })?;
    let other = || format!("what is at `{door}` is no control door of this version of the program");
    let Files { files } = serde_json::from_str(&text).map_err(|_| other())?;
    let loaded = layout::load(|name| Ok(files.get(name).map(|text| text.clone().into_bytes()))).map_err(|_| other())?;
    Ok((Names::new(Arc::new(loaded.layout)), files))
}

/// Looks on until somebody leaves.
async fn watch(args: &Args) -> Result<(), String> {
    let door = args.door;
    // There is nothing else to do meanwhile, so it may wait for the answer.
    let (names, files) = layout_at(door)?;
    let (sender, keys) = unbounded_channel();
    let is_live = !args.plain && io::stdout().is_terminal();
    let view = is_live.then(|| View::open(names.layout(), sender, Keys::OfOnlookers)).transpose();
    let view = view.map_err(|error| format!("the terminal cannot be used: {error}"))?;
    let board = Board::new(Arc::clone(names.layout()));
    let known = Known { board, phase: Phase::Running, pace: Pace::Times(1.0), broken_rules: 0, clock: None };
    let mut onlooker = Onlooker { door, names, files, known, view, keys };
    let ended = onlooker.look_on().await;
    if let Some(view) = &mut onlooker.view {
        view.end("").map_err(|error| error.to_string())?;
    }
    ended
}

/// What is known.
struct Known {
    board: Board,
    phase: Phase,
    pace: Pace,
    broken_rules: u64,
    clock: Option<String>,
}

struct Onlooker {
    door: SocketAddr,
    names: Names,
    files: BTreeMap<String, String>,
    known: Known,
    view: Option<View>,
    keys: UnboundedReceiver<Key>,
}

/// Why following ended.
enum Ended {
    Left,
    Lost,
}

impl Onlooker {
    async fn look_on(&mut self) -> Result<(), String> {
        loop {
            match self.follow().await? {
                Ended::Left => return Ok(()),
                Ended::Lost => self.say(Weight::Grave, "the connection is lost; what is shown is old")?,
            }
            self.draw(Some("CONNECTION LOST, THIS IS OLD"))?;
            loop {
                match timeout(APART, self.keys.recv()).await {
                    Ok(Some(Key::Leave)) => return Ok(()),
                    Ok(None) => tokio::time::sleep(APART).await,
                    Ok(Some(_)) | Err(_) => {}
                }
                match layout_at(self.door) {
                    Ok((_, files)) if files != self.files => {
                        return Err("the layout is another one now; look on anew".to_owned());
                    }
                    Ok(_) => break,
                    Err(_) => {}
                }
            }
            self.say(Weight::Ordinary, "the connection is back")?;
        }
    }

    /// Follows the stream until it ends, or somebody leaves.
    async fn follow(&mut self) -> Result<Ended, String> {
        let connected = tokio_tungstenite::connect_async(format!("ws://{}/v1/stream", self.door)).await;
        let Ok((mut stream, _)) = connected else { return Ok(Ended::Lost) };
        let mut last = Instant::now();
        loop {
            let patience = LOST.saturating_sub(last.elapsed());
            tokio::select! {
                frame = timeout(patience, stream.next()) => match frame {
                    Ok(Some(Ok(Frame::Text(text)))) => {
                        last = Instant::now();
                        let message = serde_json::from_str(&text);
                        self.hear(message.map_err(|_| "the daemon is of another version".to_owned())?)?;
                    }
                    Ok(Some(Ok(_))) => {}
                    Ok(Some(Err(_)) | None) | Err(_) => return Ok(Ended::Lost),
                },
                Some(key) = self.keys.recv() => match key {
                    Key::Leave => return Ok(Ended::Left),
                    Key::Halt => self.halt()?,
                    Key::Faster | Key::Slower | Key::Redraw | Key::Picture => self.draw(None)?,
                },
            }
        }
    }

    fn hear(&mut self, message: Message) -> Result<(), String> {
        let (phase, pace, broken_rules) = match &message {
            Message::Picture(picture) => (picture.phase, picture.pace, picture.broken_rules),
            Message::News(news) => (news.phase, news.pace, news.broken_rules),
        };
        self.known.phase = match phase {
            Shown::Running => Phase::Running,
            Shown::Halted => Phase::Halted,
            Shown::Ending => Phase::Ending,
        };
        self.known.pace = pace.map_or(Pace::Fast, Pace::Times);
        self.known.broken_rules = broken_rules;
        let clock = match &message {
            Message::Picture(picture) => picture.clock.as_ref(),
            Message::News(news) => news.clock.as_ref(),
        };
        if let Some(clock) = clock {
            self.known.clock = Some(clock.shows.clone());
        }
        let taken = match &message {
            Message::Picture(picture) => read::board(&self.names, picture).map(|board| self.known.board = board),
            Message::News(news) => read::apply(&mut self.known.board, &self.names, news),
        };
        taken.map_err(|other| format!("the layout is another one: {}", other.0))?;
        if let Message::News(news) = message {
            for LineRow { at, weight, text } in news.lines {
                let weight = match weight {
                    Attention::Ordinary => Weight::Ordinary,
                    Attention::Notable => Weight::Notable,
                    Attention::Grave => Weight::Grave,
                };
                self.tell(Line { at: Time::from_secs_f64(at), weight, text })?;
            }
        }
        self.draw(None)
    }

    /// Stops every train, or lets them go on.
    fn halt(&mut self) -> Result<(), String> {
        let wish = if self.known.phase == Phase::Halted { Wish::ResumeAll {} } else { Wish::StopAll {} };
        match super::ask(self.door, &wish) {
            Ok(Fate::Accepted { .. }) => Ok(()),
            Ok(Fate::Refused { reason, .. } | Fate::Failed { reason }) => self.say(Weight::Notable, &reason),
            Err(why) => self.say(Weight::Grave, &why),
        }
    }

    fn say(&mut self, weight: Weight, text: &str) -> Result<(), String> {
        self.tell(Line { at: self.known.board.now, weight, text: text.to_owned() })
    }

    fn tell(&mut self, line: Line) -> Result<(), String> {
        match &mut self.view {
            Some(view) => view.say(line),
            None => {
                let mut output = io::stdout().lock();
                let written = writeln!(output, "{line}").and_then(|()| output.flush());
                written.map_err(|error| format!("the output cannot be written: {error}"))?;
            }
        }
        Ok(())
    }

    fn draw(&mut self, alarm: Option<&'static str>) -> Result<(), String> {
        let Some(view) = &mut self.view else { return Ok(()) };
        let Known { board, phase, pace, broken_rules, clock } = &self.known;
        let now = Now { board, phase: *phase, pace: *pace, broken_rules: *broken_rules, clock: clock.clone() };
        view.draw(&now, alarm).map_err(|error| format!("the terminal cannot be used: {error}"))
    }
}
