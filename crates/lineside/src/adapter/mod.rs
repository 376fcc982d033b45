//! Links to a program of the maker's own, which speaks lines of JSON.
//!
//! # What is said
//!
//! One object a line, in UTF-8, at most 64 KiB long. The program reads its standard input and writes its standard output, or
//! both go over one socket at which it listens. What it writes to standard error goes into our log.
//!
//! We say first who we are and what the link carries; `at` is the address from `links.toml`, the name where nothing is written
//! there. The version is 1: a later one of the same number only adds keys, and what is not known is to be passed over.
//!
//! ```json
//! {"lineclear": 1, "link": "harbour box", "things": [{"section": "quay-1", "at": "3"}, {"turnout": "W1", "at": "W1"}]}
//! ```
//!
//! The program answers who it is, then reports, at once and whenever it is asked, how everything is, and says that this was all:
//!
//! ```json
//! {"adapter": 1, "name": "my box"}
//! {"section": "quay-1", "occupied": true}
//! {"turnout": "W1", "lies": "straight"}
//! {"district": "harbour", "live": true}
//! {"complete": true}
//! ```
//!
//! | the program says | |
//! | --- | --- |
//! | `{"section": NAME, "occupied": true}` | a detector sees something, or no longer |
//! | `{"spot": NAME}` | something passes |
//! | `{"reader": NAME, "train": NAME}` | a reader read a train; or `"address": 12` with `"long": true` where it is, or `"railcom": "a3ac99a5"`: the bytes of channel 1 |
//! | `{"turnout": NAME, "lies": "straight"}` | or `"diverging"`, or `"unknown"` while it moves |
//! | `{"district": NAME, "live": true}` | whether there is power |
//! | `{"input": NAME, "on": true}` | a push button, a lever or the like is on, or no longer |
//! | `{"complete": true}` | everything was reported |
//! | `{"alive": true}` | it is still there: at least every 5 s, else it is ended and started again |
//! | `{"say": TEXT}` | something for people |
//! | `{"gone": WHY}` | it has lost its hardware: the link is down until it is back |
//! | `{"room": 8}` | where `packets = true`: so many more packets may be sent to it |
//!
//! | we say | |
//! | --- | --- |
//! | `{"ask": "all"}` | everything is to be reported anew, then `complete` |
//! | `{"turnout": NAME, "at": AT, "throw": "diverging"}` | a turnout shall lie so |
//! | `{"signal": NAME, "at": AT, "show": "yellow", "lamps": [...], "flashing": [...], "lit": true}` | a signal shall show this |
//! | `{"train": NAME, "at": AT, "address": 12, "long": false, "steps": 28, "drive": "forward", "step": 5}` | a train shall run so; `"backward"`; step 0 stands |
//! | the same with `"step": 0` and `"emergency": true` | it shall **stand at once**, not along its braking, until a step comes that is not 0 |
//! | `{"train": NAME, "at": AT, "address": 12, "long": false, "function": 0, "on": true}` | a function shall be on, or off |
//! | `{"district": NAME, "at": AT, "power": false}` | a district shall be dark, or live: where it is `switched` |
//! | `{"accessory": NAME, "at": AT, "on": true}` | an accessory shall be on, or off |
//! | `{"packet": "033f82be"}` | where `packets = true`, instead of orders for trains, turnouts and accessories: a packet of NMRA S-9.2 for the track |
//! | `{"alive": 17}` | every second. **A program that hears nothing for three seconds must make its trains stand** |
//! | `{"end": true}` | it is to end within two seconds |
//!
//! A train with several engines is ordered by a line for each decoder: each has its own address, and `drive` says how that engine
//! is to run, which is the other way for one that stands the other way round. `address` is null where a train has none.
//!
//! A program that is started by us leads a group of its own, so that Ctrl-C at a terminal is for us alone: the trains are told to
//! stand first, and then it is told to `end`. Where it ends by itself it is started again, after 0.1 s and then less and less often, and the
//! last line that it wrote to standard error is told as the reason. One that does not say who it is within five seconds is ended.
//!
//! Names the link does not carry are told and passed over; a line that is no such object is told; a hundred of them in a row
//! end the connection.
//!
//! # A complete one
//!
//! ```python
#![doc = include_str!("../../tests/data/adapter_example.py")]
//! ```

mod codec;
mod mirror;
mod shell;

pub use codec::{Codec, Spoken};
pub use mirror::Mirror;
pub(crate) use shell::serve;
