//! What a checked layout is: sections, ends, ways, turnouts, signals, detectors, vehicles, and the paths through them.
//!
//! This crate knows no files, no time and no state: a [`Layout`] says what the track *is*, never what stands on it.
//! A `Layout` is only made by a [`Builder`], which keeps what was declared joined up, so every id in it points at
//! something and every joint is known from both sides.
//!
//! Read [`Layout`] first, then [`Graph`], then [`Routes`].

mod aspects;
pub mod braking;
mod builder;
pub mod dcc;
mod electrics;
mod graph;
mod hints;
mod ids;
mod layout;
mod nearest;
mod renumbering;
pub mod routes;
mod scale;
mod signals;
pub mod spacing;
mod table;
mod train;
mod units;
pub mod wiring;

pub use aspects::{
    Ahead, Aspect, AspectBook, AspectRow, BookParts, ClassSpeeds, Expect, Flaw, MOST_CLEAR, Next, Pass, Role, Rule,
    SpeedClass, State,
};
pub use builder::Builder;
pub use electrics::{Current, Resistance, Sensing, SensingKind, Voltage};
pub use graph::{Graph, Path, Traverse, distance_cost};
pub use hints::Hint;
pub use ids::{
    AccessoryId, BookId, DetectorId, DistrictId, EndId, InputId, LinkId, SectionId, SignalId, StopId, TrainId,
    TurnoutId, WayId,
};
pub use layout::{
    Accessory, Beyond, Detector, DetectorKind, District, End, Layout, Lie, Link, NamedInput, Need, Section,
    StoppingPoint, Turnout, Way,
};
pub use nearest::nearest;
pub use renumbering::Renumbering;
pub use routes::{Route, RouteId, Routes};
pub use scale::Scale;
pub use signals::{Overlap, Signal};
pub use table::{Id, Table};
pub use train::{Address, Axle, Draw, Engine, Facing, Function, On, SpeedSteps, Start, Train, Vehicle};
pub use units::{Acceleration, Length, Speed};
