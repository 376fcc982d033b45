//! How the bus is reached: somebody's hub, one of our own, a CAN interface.

use std::io;
use std::pin::Pin;
use std::sync::Arc;
use std::time::Duration;

use signaller::Output;
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _, DuplexStream};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::broadcast;
use track::wiring::{Lcc, LccWay};

use super::frame::Frames;
use super::node::{self, Events, Node};
use crate::lineside::{Role, Start};
use crate::rewire::Rewire;
use crate::stream::{self, Connect, Connection, Talk, Turn};
use crate::words::about;

/// How long a hub may take to be reached.
const PATIENCE: Duration = Duration::from_secs(3);
/// So many bytes, and frames, may be on their way within a hub.
const PIPE: usize = 256 * 1024;
const FRAMES: usize = 4096;

/// Our node, and whether it may give orders.
struct NodeTalk {
    node: Node,
    frames: Frames,
    role: Role,
}

fn as_text(turn: node::Turn) -> Turn {
    let mut send = Vec::new();
    for frame in &turn.send {
        send.extend(frame.text().into_bytes());
        send.push(b'\n');
    }
    Turn { send, told: turn.told }
}

impl Talk for NodeTalk {
    fn begin(&mut self, now: Duration) -> Turn {
        self.frames = Frames::default();
        as_text(self.node.begin(now))
    }

    fn hear(&mut self, now: Duration, bytes: &[u8]) -> Turn {
        let mut all = node::Turn::default();
        for frame in self.frames.hear(bytes) {
            let turn = self.node.hear(now, &frame);
            all.send.extend(turn.send);
            all.told.extend(turn.told);
        }
        as_text(all)
    }

    fn order(&mut self, _now: Duration, output: &Output) -> Turn {
        if self.role == Role::Listens { Turn::default() } else { as_text(self.node.order(output)) }
    }

    fn rewire(&mut self, rewire: &Rewire) {
        self.node.rewire(Events::new(Arc::clone(&rewire.layout), &rewire.wired));
    }

    fn tick(&mut self, now: Duration) -> Turn {
        as_text(self.node.tick(now))
    }

    fn end(&mut self) -> Turn {
        as_text(self.node.end())
    }
}

/// Keeps the link up until it is closed or nobody listens any more.
pub(crate) async fn serve(setup: Lcc, start: Start) {
    let Start { layout, wired, role, reporter, orders, .. } = start;
    let mut node = Node::new(setup.node, Events::new(layout, &wired));
    if role == Role::Listens {
        node = node.listening();
    }
    let talk = NodeTalk { node, frames: Frames::default(), role };
    stream::serve(Way { way: setup.way, role }, talk, reporter, orders, wired.silent_after).await;
}

struct Way {
    way: LccWay,
    role: Role,
}

impl Connect for Way {
    fn connect(&mut self) -> Pin<Box<dyn Future<Output = io::Result<Connection>> + Send + '_>> {
        Box::pin(async {
            match &self.way {
                LccWay::Tcp(address) => dial(address).await,
                LccWay::Hub(address) => {
                    // Where a daemon has the hub, who only listens comes to it as anybody else does.
                    if self.role == Role::Listens
                        && let Ok(connection) = dial(address).await
                    {
                        return Ok(connection);
                    }
                    let listener = TcpListener::bind(address).await.map_err(|error| about(address, &error))?;
                    let (own, far) = tokio::io::duplex(PIPE);
                    tokio::spawn(hub(listener, far));
                    Ok(connected(own))
                }
                LccWay::Can(interface) => {
                    super::can::open(interface).map(connected).map_err(|error| about(interface, &error))
                }
            }
        })
    }
}

async fn dial(address: &str) -> io::Result<Connection> {
    let slow = |_| io::Error::new(io::ErrorKind::TimedOut, "nobody answers");
    let connecting = TcpStream::connect(address);
    let connected = tokio::time::timeout(PATIENCE, connecting).await.unwrap_or_else(|late| Err(slow(late)));
    let socket = connected.map_err(|error| about(address, &error))?;
    socket.set_nodelay(true)?;
    let (input, output) = socket.into_split();
    Ok(Connection { input: Box::new(input), output: Box::new(output), kept: Box::new(()) })
}

fn connected(own: DuplexStream) -> Connection {
    let (input, output) = tokio::io::split(own);
    Connection { input: Box::new(input), output: Box::new(output), kept: Box::new(()) }
}

/// Passes frames on between all who come, and ourselves, until we leave.
async fn hub(listener: TcpListener, own: DuplexStream) {
    let (frames, _) = broadcast::channel::<(u64, String)>(FRAMES);
    let mut ours = tokio::spawn(member(0, own, frames.clone()));
    let mut next = 1;
    loop {
        tokio::select! {
            // Who was half served is cut off with the hub.
            _ = &mut ours => return,
            came = listener.accept() => {
                let Ok((socket, _)) = came else { continue };
                if socket.set_nodelay(true).is_ok() {
                    tokio::spawn(member(next, socket, frames.clone()));
                    next += 1;
                }
            }
        }
    }
}

/// One who is at the hub: hears all others, and is heard by them.
async fn member(
    number: u64,
    socket: impl tokio::io::AsyncRead + tokio::io::AsyncWrite + Unpin,
    frames: broadcast::Sender<(u64, String)>,
) {
    let mut heard = frames.subscribe();
    let (mut input, mut output) = tokio::io::split(socket);
    let (mut bytes, mut whole) = ([0; 4096], Frames::default());
    loop {
        tokio::select! {
            read = input.read(&mut bytes) => {
                let Ok(count @ 1..) = read else { return };
                for frame in whole.hear(&bytes[..count]) {
                    // With nobody else there is nobody to tell.
                    let _ = frames.send((number, frame.text()));
                }
            }
            frame = heard.recv() => match frame {
                Ok((from, _)) if from == number => {}
                Ok((_, text)) => {
                    let write = output.write_all(text.as_bytes());
                    if !matches!(tokio::time::timeout(PATIENCE, write).await, Ok(Ok(()))) {
                        return;
                    }
                }
                // One that takes too little has to begin anew: what it missed cannot be made up.
                Err(_) => return,
            },
        }
    }
}
