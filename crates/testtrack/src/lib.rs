//! A pretend table, and the checkers that hold the signaller against the truth of it.
//!
//! One seed decides everything: how fast trains really are, how late detectors report, how turnouts lie at first. There is no
//! clock, no thread and no file; time passes when [`Session::run_until`] says so, as fast as the machine can reckon.
//!
//! The signaller never sees the truth, and the checkers see of the signaller only what it says. So what they find is found by
//! somebody else than the one who made the mistake.
//!
//! Read [`Session`] first (the loop), then [`Table`] (the physics) and [`checkers`] (what must never happen).
//!
//! **What the table does not know.** Where within a section two tracks are clear of each other: trains on two ways that share
//! an end, or need one turnout to lie both ways, count as touching wherever they are; two ways that share neither may cross,
//! and nobody is told. Where a turnout is within its way: a train derails as soon as any of it lies on a way whose turnouts
//! are not all right. Slopes and slip. What an axle draws while its motor works harder: its share is the same at any speed, and
//! in proportion to the voltage. A vehicle of which only `detectable` was said has axles there that no detector misses. Reports
//! of power and of links come to no harm on their way.
//! Tails that parted and wagons that nobody knows of stand where they are put: nobody pushes them, but for a train that backs
//! up to its own tail and couples up to it. People who put things down lay no turnouts.
//!
//! The [`swarm`] tries out many seeds, on networks that are drawn by the seed as well ([`network`]).

mod astray;
mod axles;
pub mod checkers;
mod curve;
mod detectors;
mod dispatch;
mod drivers;
mod electrics;
mod faults;
mod ground;
mod hands;
pub mod learning;
mod meddling;
mod mishaps;
pub mod network;
mod orders;
mod place;
mod random;
mod rebuild;
mod recording;
mod restart;
mod rolling;
mod served;
mod session;
mod settings;
mod statistics;
pub mod stopping;
pub mod swarm;
mod table;
mod temper;
mod told;
mod tracking;
mod traffic;
mod troubles;
mod truth;

pub use checkers::{Checkers, Claims, Rule, Violation, WrongClaim};
pub use curve::SpeedCurve;
pub use detectors::{DarkSays, Harm};
pub use dispatch::Dispatcher;
pub use drivers::Drivers;
pub use faults::{Fault, Faults, Rate};
pub use hands::{Misthrow, Return, Talk};
pub use meddling::Meddling;
pub use mishaps::Mishap;
pub use place::PlaceError;
pub use random::Stream;
pub use rebuild::renumber_report;
pub use recording::Recording;
pub use served::Served;
pub use session::{Called, Desk, Moment, Session, Works};
pub use settings::{FirstLie, Momentum, Running, Settings, Spread};
pub use signaller::Digest;
pub use statistics::{Statistics, Stops};
pub use table::Table;
pub use tracking::{Look, Tracking};
pub use traffic::Traffic;
pub use troubles::PowerReports;
pub use truth::{Happening, Nose, Presence};
