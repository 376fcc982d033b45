//! A cable between the two ends of a link, which can be cut and mended.

use std::io::{Read as _, Write as _};
use std::net::{Shutdown, TcpListener, TcpStream};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::{Arc, Mutex};

/// Carries connections to this port on to another of this machine.
pub(super) struct Cable {
    pub(super) port: u16,
    is_cut: Arc<AtomicBool>,
    sockets: Arc<Mutex<Vec<TcpStream>>>,
}

impl Cable {
    pub(super) fn to(far: u16) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").unwrap();
        let port = listener.local_addr().unwrap().port();
        let (is_cut, sockets) = (Arc::new(AtomicBool::new(false)), Arc::new(Mutex::new(Vec::new())));
        let (cut, open) = (Arc::clone(&is_cut), Arc::clone(&sockets));
        std::thread::spawn(move || {
            for near in listener.incoming().map_while(Result::ok) {
                // Who comes to a cut cable is turned away at once.
                let Ok(far) = TcpStream::connect(("127.0.0.1", far)) else { continue };
                let mut open = open.lock().unwrap();
                if cut.load(Ordering::SeqCst) {
                    continue;
                }
                open.extend([near.try_clone().unwrap(), far.try_clone().unwrap()]);
                carry(near.try_clone().unwrap(), far.try_clone().unwrap());
                carry(far, near);
            }
        });
        Self { port, is_cut, sockets }
    }

    pub(super) fn cut(&self) {
        let mut sockets = self.sockets.lock().unwrap();
        self.is_cut.store(true, Ordering::SeqCst);
        // One that has ended by itself is gone already.
        sockets.drain(..).for_each(|socket| drop(socket.shutdown(Shutdown::Both)));
    }

    pub(super) fn mend(&self) {
        self.is_cut.store(false, Ordering::SeqCst);
    }
}

/// Carries bytes one way until one side ends.
fn carry(mut from: TcpStream, mut to: TcpStream) {
    std::thread::spawn(move || {
        let mut bytes = [0; 4096];
        while let Ok(count @ 1..) = from.read(&mut bytes) {
            if to.write_all(&bytes[..count]).is_err() {
                break;
            }
        }
        let _ = (from.shutdown(Shutdown::Both), to.shutdown(Shutdown::Both));
    });
}
