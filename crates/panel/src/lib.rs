//! The control door: HTTP and WebSocket, what they say and what can be asked through them.
//!
//! It holds no knowledge and takes no decision. What there is to see is laid out by whoever owns the signaller, at the
//! [`Counter`]; what is asked is handed in there, and answered once the signaller has decided. Neither side waits for the
//! other, and nothing that people do here, however many they are, costs the signaller more than laying out one picture.
//!
//! Everything is described by an OpenAPI document that is made from the same types and handlers, at `/v1/openapi.json`.
//!
//! | method and path | what |
//! | --- | --- |
//! | `GET /v1/picture` | everything that is known now |
//! | `GET /` | the page, for people |
//! | `GET /v1/layout` | the layout as it is described, and the files it was read from |
//! | `GET /v1/diagram` | where everything on it is drawn |
//! | `GET /v1/sections/{name}/why` | why a section has its tag |
//! | `GET /v1/trains/{name}/profile` | how fast a train is at each of its speed steps |
//! | `POST /v1/reload` | read the layout anew, and go on with it |
//! | `POST /v1/requests` | ask for something: accepted, refused with a reason, or failed |
//! | `POST /v1/stop-all` | stop every train; needs no body |
//! | `GET /v1/stream` | a WebSocket: a picture, then news, at least twice a second |
//! | `GET /v1/past/{topic}` | what was: trips, stops, doubts, faults ... |
//! | `GET /v1/cab` | a WebSocket: a throttle that must be heard of |
//! | `GET /health`, `GET /ready` | whether the loop goes round; whether all is heard of |
//! | `GET /metrics` | figures in the OpenMetrics text format |
//! | `GET /v1/openapi.json` | all of this, described |
//!
//! The door opens on loopback addresses only, unless it is told to let others in; they give a code first. With
//! certificates it speaks through an encrypted line with them. It turns away whatever was sent by a page of somebody else.
//!
//! Read [`Wish`] (what can be asked), [`rows`] (what is said), then [`Door`].

pub mod access;
mod cab;
mod counter;
pub mod diagram;
mod door;
mod encrypted;
mod guard;
mod metrics;
mod names;
mod page;
pub mod past;
mod plan;
pub mod profile;
pub mod read;
pub mod rows;
mod show;
mod stream;
mod wish;

pub use access::{Access, Role};
pub use counter::{Asked, Beside, Call, Counter, Fate, KeyTaken};
pub use door::{Door, Opening};
pub use encrypted::Certificates;
pub use metrics::Metrics;
pub use names::Names;
pub use plan::Plan;
pub use show::{Glance, why_row};
pub use wish::{Lying, Matter, Wish};
