//! Behind a bus: the nodes that are on it, at the end of one connection after the other.

use std::io;

use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::{TcpListener, TcpStream};
use tokio::time::{Duration, Instant};

use super::{End, Ordered, SILENT};
use crate::lcc::{Frame, Frames, Mirror};

/// How often nodes look at the time.
const TICK: Duration = Duration::from_millis(50);

/// Stands behind a bus.
pub(super) async fn bus(listener: TcpListener, mut mirror: Mirror, mut end: End) {
    let began = Instant::now();
    while let Some(socket) = end.awaits(&listener).await {
        let ended = attend(socket, &mut mirror, &mut end, began).await;
        let why = ended.err().map_or_else(|| "the bus ended".to_owned(), |error| error.to_string());
        end.tell(false, &why);
    }
}

async fn attend(mut socket: TcpStream, mirror: &mut Mirror, end: &mut End, began: Instant) -> io::Result<()> {
    socket.set_nodelay(true)?;
    let (mut bytes, mut frames) = ([0; 4096], Frames::default());
    let mut ticks = tokio::time::interval(TICK);
    let mut heard_at = Instant::now();
    let mut said: Vec<Frame> = mirror.begin(began.elapsed());
    loop {
        for frame in said.drain(..) {
            socket.write_all(frame.text().as_bytes()).await?;
        }
        tokio::select! {
            read = socket.read(&mut bytes) => {
                let count = read?;
                if count == 0 {
                    return Ok(());
                }
                heard_at = Instant::now();
                for frame in frames.hear(&bytes[..count]) {
                    let heard = mirror.hear(&frame, &end.states.0);
                    if heard.has_come {
                        end.tell(true, "somebody is in charge");
                    }
                    said.extend(heard.send);
                    for output in heard.orders {
                        // Where nobody asks any more the table is ending.
                        let _ = end.orders.send(Ordered::Output(output));
                    }
                }
            }
            inputs = end.reports.recv() => {
                let Some(inputs) = inputs else { return Ok(()) };
                end.states.note(&inputs);
                said.extend(inputs.iter().filter_map(|input| mirror.report(input)));
            }
            _ = ticks.tick() => said.extend(mirror.tick(began.elapsed())),
        }
        if mirror.is_controlled() && heard_at.elapsed() > SILENT {
            return Err(io::Error::other("whoever gave orders is silent"));
        }
    }
}
