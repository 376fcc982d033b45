//! Behind a line of servers of coils and registers, over TCP (Modbus messaging on TCP/IP 1.0b, section 3.1).

use std::io;

use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::{TcpListener, TcpStream};

use super::{End, Ordered};
use crate::modbus::Mirror;

/// A head of seven bytes, of which the last is the unit, stands before every request.
const HEAD: usize = 7;
/// No request is longer.
const LONGEST: usize = 260;

/// Stands behind a line. Servers do not know whether anybody is in charge.
pub(super) async fn servers(listener: TcpListener, mut mirror: Mirror, mut end: End) {
    while let Some(socket) = end.awaits(&listener).await {
        end.states.0.values().for_each(|input| mirror.report(input));
        // Whoever comes next begins anew.
        let _ = attend(socket, &mut mirror, &mut end).await;
    }
}

async fn attend(mut socket: TcpStream, mirror: &mut Mirror, end: &mut End) -> io::Result<()> {
    socket.set_nodelay(true)?;
    let mut came = Vec::with_capacity(LONGEST);
    loop {
        tokio::select! {
            read = socket.read_buf(&mut came) => {
                if read? == 0 {
                    return Ok(());
                }
            }
            inputs = end.reports.recv() => {
                let Some(inputs) = inputs else { return Ok(()) };
                end.states.note(&inputs);
                inputs.iter().for_each(|input| mirror.report(input));
            }
        }
        while let Some(&[_, _, 0, 0, high, low, unit]) = came.first_chunk::<HEAD>() {
            let length = usize::from(u16::from_be_bytes([high, low]));
            if !(2..=LONGEST - HEAD + 1).contains(&length) {
                return Err(io::Error::other("this is no request"));
            }
            if came.len() < HEAD - 1 + length {
                break;
            }
            let request: Vec<u8> = came.drain(..HEAD - 1 + length).collect();
            let (answer, orders) = mirror.answer(unit, &request[HEAD..]);
            for output in orders {
                // Where nobody asks any more the table is ending.
                let _ = end.orders.send(Ordered::Output(output));
            }
            let length = u16::try_from(answer.len() + 1).map_err(io::Error::other)?.to_be_bytes();
            let head = [request[0], request[1], 0, 0, length[0], length[1], unit];
            socket.write_all(&[&head[..], &answer].concat()).await?;
        }
    }
}
