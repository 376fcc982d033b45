//! A picture for a camera of the code by which another device is let in: a QR code (ISO/IEC 18004) of the page's address with the
//! code behind it.
//!
//! What stands behind the `#` of an address is never sent to anybody, so that the code stays between the terminal and the device.

use std::net::{IpAddr, Ipv4Addr, Ipv6Addr, SocketAddr, UdpSocket};

use fast_qr::{ECL, QRBuilder};
use panel::Role;

/// Light on all sides, in modules: without it cameras do not find the picture.
const QUIET: usize = 4;

/// What a device is to be let in for by the picture.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
pub(crate) enum Pictured {
    /// To look on.
    Look,
    /// To drive trains.
    Drive,
    /// To do everything.
    Dispatch,
    /// No picture.
    None,
}

impl Pictured {
    pub(super) fn role(self) -> Option<Role> {
        match self {
            Self::Look => Some(Role::Look),
            Self::Drive => Some(Role::Drive),
            Self::Dispatch => Some(Role::Dispatch),
            Self::None => None,
        }
    }
}

/// How the picture is drawn.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum Ink {
    /// Dark on light by codes that terminals know, whatever their own colours are.
    Coloured,
    /// Blocks are dark: for paper, and terminals that are dark on light.
    Plain,
}

impl Ink {
    /// As whoever sits before a terminal wants it.
    pub(super) fn of_terminal() -> Self {
        let wants_none = std::env::var_os("NO_COLOR").is_some_and(|value| !value.is_empty());
        if wants_none { Self::Plain } else { Self::Coloured }
    }
}

/// Which picture is wanted, and what it says.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(super) struct Invitation {
    /// What whoever comes by it may do.
    pub(super) role: Role,
    /// What other machines call this one; without it its address on the network.
    pub(super) host: Option<String>,
}

impl Invitation {
    /// What stands in the picture.
    ///
    /// # Errors
    /// In words, where nobody could come by it.
    pub(super) fn address(&self, scheme: &str, door: SocketAddr, code: &str) -> Result<String, &'static str> {
        let host = match &self.host {
            Some(host) => host.clone(),
            None => match from_outside(door.ip())? {
                IpAddr::V4(address) => address.to_string(),
                IpAddr::V6(address) => format!("[{address}]"),
            },
        };
        Ok(format!("{scheme}://{host}:{}/#pair/{code}", door.port()))
    }
}

/// By which address other machines reach a door that is open at this one.
fn from_outside(door: IpAddr) -> Result<IpAddr, &'static str> {
    if door.is_loopback() {
        return Err("the door is open to this machine only");
    }
    if !door.is_unspecified() {
        return Ok(door);
    }
    // Nothing is sent by this: it only has the system choose the address that it would send from. Both places are kept free for
    // documents (RFC 5737, RFC 3849), so that what is chosen is the way to everywhere else.
    let far = [IpAddr::V4(Ipv4Addr::new(192, 0, 2, 1)), IpAddr::V6(Ipv6Addr::new(0x2001, 0xdb8, 0, 0, 0, 0, 0, 1))];
    let own = far.into_iter().filter(|far| far.is_ipv4() || door.is_ipv6()).find_map(|far| {
        let from: IpAddr = if far.is_ipv4() { Ipv4Addr::UNSPECIFIED.into() } else { Ipv6Addr::UNSPECIFIED.into() };
        let socket = UdpSocket::bind((from, 0)).ok()?;
        socket.connect((far, 9)).ok()?;
        let own = socket.local_addr().ok()?.ip();
        (!own.is_loopback() && !own.is_unspecified()).then_some(own)
    });
    own.ok_or("this machine has no address on a network")
}

/// The picture of a text, line by line, two rows of modules in each; nothing of a text that is too long for one.
pub(super) fn picture(text: &str, ink: Ink) -> Option<Vec<String>> {
    let code = QRBuilder::new(text).ecl(ECL::M).build().ok()?;
    let wide = code.size + 2 * QUIET;
    let is_dark = |row: usize, column: usize| {
        let within = QUIET..QUIET + code.size;
        within.contains(&row) && within.contains(&column) && code[row - QUIET][column - QUIET].value()
    };
    let lines = (0..wide).step_by(2).map(|row| {
        let blocks = (0..wide).map(|column| match (is_dark(row, column), is_dark(row + 1, column)) {
            (true, true) => '█',
            (true, false) => '▀',
            (false, true) => '▄',
            (false, false) => ' ',
        });
        let blocks: String = blocks.collect();
        match ink {
            Ink::Coloured => format!("\x1b[38;5;16;48;5;231m{blocks}\x1b[0m"),
            Ink::Plain => blocks,
        }
    });
    Some(lines.collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The modules of a picture, dark ones true, without the quiet zone.
    fn modules(lines: &[String]) -> Vec<Vec<bool>> {
        let mut rows = Vec::new();
        for line in lines {
            rows.push(line.chars().map(|block| "█▀".contains(block)).collect::<Vec<bool>>());
            rows.push(line.chars().map(|block| "█▄".contains(block)).collect());
        }
        let wide = rows[0].len();
        let frame = |at: usize| at < QUIET || at >= wide - QUIET;
        for (at, row) in rows.iter().enumerate() {
            for (across, &dark) in row.iter().enumerate() {
                assert!(!(dark && (frame(at) || frame(across))), "nothing dark in the quiet zone");
            }
        }
        rows[QUIET..wide - QUIET].iter().map(|row| row[QUIET..wide - QUIET].to_vec()).collect()
    }

    #[test]
    fn a_picture_has_what_a_camera_looks_for() {
        let lines = picture("http://192.168.207.123:4460/#pair/1234-5678", Ink::Plain).unwrap();
        let modules = modules(&lines);
        let size = modules.len();
        assert!(size % 4 == 1 && size >= 21 && modules.iter().all(|row| row.len() == size), "a size of the standard");
        // Finder patterns in three corners: rings of 7, 5 and 3.
        for (top, left) in [(0, 0), (0, size - 7), (size - 7, 0)] {
            for row in 0..7_usize {
                for column in 0..7_usize {
                    let ring = row.abs_diff(3).max(column.abs_diff(3));
                    assert_eq!(
                        modules[top + row][left + column],
                        ring != 2,
                        "finder at {top}, {left}: {row}, {column}"
                    );
                }
            }
        }
        // Between them the timing patterns, dark and light in turn, and the module that is always dark.
        let between = 8..size - 8;
        let across: Vec<bool> = modules[6][between.clone()].to_vec();
        let down: Vec<bool> = modules[between.clone()].iter().map(|row| row[6]).collect();
        let in_turn: Vec<bool> = between.map(|at| at % 2 == 0).collect();
        assert_eq!((&across, &down), (&in_turn, &in_turn), "timing");
        assert!(modules[size - 8][8]);
    }

    #[test]
    fn coloured_pictures_say_so_on_each_line_and_end_it() {
        let [coloured, plain] = [Ink::Coloured, Ink::Plain].map(|ink| picture("a", ink).unwrap());
        for (coloured, plain) in coloured.iter().zip(&plain) {
            assert_eq!(*coloured, format!("\x1b[38;5;16;48;5;231m{plain}\x1b[0m"));
        }
        assert_eq!(picture(&"x".repeat(3000), Ink::Plain), None, "no picture holds so much");
    }

    #[test]
    fn the_address_is_one_that_others_can_reach() {
        let invitation = |host: Option<&str>| Invitation { role: Role::Drive, host: host.map(str::to_owned) };
        let at = |door: &str| invitation(None).address("http", door.parse().unwrap(), "1234-5678");
        assert_eq!(at("192.168.7.23:4460").unwrap(), "http://192.168.7.23:4460/#pair/1234-5678");
        assert_eq!(at("[fd00::7]:4460").unwrap(), "http://[fd00::7]:4460/#pair/1234-5678");
        assert_eq!(at("127.0.0.1:4460"), Err("the door is open to this machine only"));
        let named = invitation(Some("railway.home"));
        let address = named.address("https", "0.0.0.0:4460".parse().unwrap(), "1234-5678");
        assert_eq!(address.unwrap(), "https://railway.home:4460/#pair/1234-5678");
        // Whether this machine has a network is for it to say; its loopback is never told.
        for door in ["0.0.0.0:1", "[::]:1"] {
            assert!(
                at(door).map_or_else(|why| why.contains("no address"), |told| !told.contains("127.0.0.1")),
                "{door}"
            );
        }
    }
}
