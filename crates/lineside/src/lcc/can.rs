//! A CAN interface of this machine.

use std::io;

use tokio::io::DuplexStream;

/// Opens it: frames go in and out as text.
///
/// # Errors
/// There is no such interface.
#[cfg(target_os = "linux")]
pub(super) fn open(interface: &str) -> io::Result<DuplexStream> {
    use socketcan::tokio::CanSocket;
    let socket = CanSocket::open(interface)?;
    let (own, far) = tokio::io::duplex(64 * 1024);
    tokio::spawn(linux::pump(socket, far));
    Ok(own)
}

/// Elsewhere there are none.
///
/// # Errors
/// Always.
#[cfg(not(target_os = "linux"))]
pub(super) fn open(_interface: &str) -> io::Result<DuplexStream> {
    Err(io::Error::other("this system has no CAN interfaces"))
}

#[cfg(target_os = "linux")]
mod linux {
    use socketcan::tokio::CanSocket;
    use socketcan::{CanFrame, EmbeddedFrame as _, ExtendedId, Frame as _};
    use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _, DuplexStream};

    use crate::lcc::frame::{Frame, Frames};

    /// Carries frames to and fro until one side ends.
    pub(super) async fn pump(socket: CanSocket, far: DuplexStream) {
        let (mut input, mut output) = tokio::io::split(far);
        let (mut bytes, mut whole) = ([0; 4096], Frames::default());
        loop {
            tokio::select! {
                read = input.read(&mut bytes) => {
                    let Ok(count @ 1..) = read else { return };
                    for frame in whole.hear(&bytes[..count]) {
                        let framed = ExtendedId::new(frame.header()).and_then(|id| CanFrame::new(id, frame.data()));
                        let Some(framed) = framed else { continue };
                        if socket.write_frame(framed).await.is_err() {
                            return;
                        }
                    }
                }
                came = socket.read_frame() => {
                    let Ok(came) = came else { return };
                    if !came.is_extended() || came.is_remote_frame() || came.is_error_frame() {
                        continue;
                    }
                    let Some(frame) = Frame::new(came.raw_id() & 0x1FFF_FFFF, came.data()) else { continue };
                    if output.write_all(frame.text().as_bytes()).await.is_err() {
                        return;
                    }
                }
            }
        }
    }
}
