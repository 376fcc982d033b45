//! What was typed: the files' content with its places, before any name is looked up.

use std::time::Duration;

use track::braking::Gradient;
use track::{
    Acceleration, Address, Current, Draw, Facing, Function, Length, Lie, SensingKind, SpeedClass, SpeedSteps, Voltage,
};

use crate::numbers::WrittenSpeed;
use crate::source::{Said, Span};

type Text<'t> = Said<&'t str>;

/// `layout.toml`.
#[derive(Default)]
pub(crate) struct WrittenTrack<'t> {
    pub(crate) name: Option<Text<'t>>,
    pub(crate) scale: Option<Text<'t>>,
    pub(crate) parts: Option<Said<usize>>,
    /// The aspect book of all signals that do not name another.
    pub(crate) aspects: Option<Text<'t>>,
    /// What the classes of speed come to.
    pub(crate) speeds: WrittenSpeeds,
    /// How it is to be drawn.
    pub(crate) drawing: WrittenDrawing<'t>,
    /// What holds for all area detectors that do not say otherwise.
    pub(crate) sensing: WrittenSensing,
    pub(crate) links: Vec<WrittenLink<'t>>,
    pub(crate) districts: Vec<WrittenDistrict<'t>>,
    pub(crate) accessories: Vec<WrittenFitting<'t>>,
    pub(crate) inputs: Vec<WrittenFitting<'t>>,
    pub(crate) turnouts: Vec<WrittenTurnout<'t>>,
    /// Whether any section was written, readable or not.
    pub(crate) has_sections: bool,
    pub(crate) sections: Vec<WrittenSection<'t>>,
    pub(crate) joints: Vec<WrittenJoint<'t>>,
    pub(crate) buffer_stops: Vec<Text<'t>>,
    pub(crate) off_layout: Vec<Text<'t>>,
    pub(crate) signals: Vec<WrittenSignal<'t>>,
    pub(crate) stops: Vec<WrittenStop<'t>>,
    pub(crate) detectors: Vec<WrittenDetector<'t>>,
}

/// `[diagram]`.
#[derive(Default)]
pub(crate) struct WrittenDrawing<'t> {
    /// Ends.
    pub(crate) left: Vec<Text<'t>>,
    /// Sections, from top to bottom in each list.
    pub(crate) from_top: Vec<Vec<Text<'t>>>,
    /// Sections.
    pub(crate) backwards: Vec<Text<'t>>,
}

/// `[speeds]`: classes of speed, each with what it comes to.
pub(crate) type WrittenSpeeds = Vec<(SpeedWord, Said<WrittenSpeed>)>;

/// A speed that signals speak of.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub(crate) enum SpeedWord {
    Restricted,
    Slow,
    Medium,
    Limited,
}

pub(crate) enum WrittenJoint<'t> {
    Whole([Text<'t>; 2]),
    /// Reported; the texts that can still be read in it.
    Faulty(Vec<Text<'t>>),
}

/// `sensing`, `threshold` and `bridge`.
#[derive(Default)]
pub(crate) struct WrittenSensing {
    pub(crate) kind: Option<Said<SensingKind>>,
    pub(crate) threshold: Option<Said<Current>>,
    pub(crate) bridge: Option<Said<Duration>>,
    /// How it senses was said, but wrongly; that has been reported.
    pub(crate) is_faulty: bool,
}

pub(crate) struct WrittenLink<'t> {
    pub(crate) name: Text<'t>,
    pub(crate) orders: Option<u16>,
}

pub(crate) struct WrittenDistrict<'t> {
    pub(crate) name: Text<'t>,
    pub(crate) voltage: Option<Voltage>,
    /// A voltage was given, but a wrong one; that has been reported.
    pub(crate) is_faulty: bool,
    pub(crate) is_switched: bool,
}

/// An accessory, or an input.
pub(crate) struct WrittenFitting<'t> {
    pub(crate) name: Text<'t>,
    pub(crate) link: Option<Text<'t>>,
}

pub(crate) struct WrittenTurnout<'t> {
    pub(crate) name: Text<'t>,
    pub(crate) reported: Option<bool>,
    pub(crate) worked: Option<bool>,
    pub(crate) throw_time: Option<Duration>,
    pub(crate) normal: Option<Lie>,
    /// Over its diverging leg.
    pub(crate) limit: Option<Said<WrittenSpeed>>,
    pub(crate) link: Option<Text<'t>>,
}

pub(crate) struct WrittenSection<'t> {
    pub(crate) name: Text<'t>,
    pub(crate) length: Option<Said<Length>>,
    /// Nothing where the section has two ends and one way.
    pub(crate) ways: Option<Vec<WrittenWay<'t>>>,
    pub(crate) district: Option<Text<'t>>,
    pub(crate) link: Option<Text<'t>>,
    pub(crate) dark: Option<Said<bool>>,
    /// The sections whose rails cross its own.
    pub(crate) crosses: Vec<Text<'t>>,
    pub(crate) limit: Option<Said<WrittenSpeed>>,
    pub(crate) gradient: Option<Said<Gradient>>,
    pub(crate) class: Option<SpeedClass>,
}

pub(crate) struct WrittenWay<'t> {
    pub(crate) from: Text<'t>,
    pub(crate) to: Text<'t>,
    pub(crate) length: Option<Said<Length>>,
    /// The lie is missing where it was mistyped, and has been reported.
    pub(crate) needs: Vec<(Text<'t>, Option<Lie>)>,
    pub(crate) limit: Option<Said<WrittenSpeed>>,
    pub(crate) gradient: Option<Said<Gradient>>,
    pub(crate) class: Option<SpeedClass>,
    pub(crate) span: Span,
}

pub(crate) struct WrittenSignal<'t> {
    pub(crate) name: Text<'t>,
    pub(crate) at: Text<'t>,
    pub(crate) aspects: Option<Text<'t>>,
    pub(crate) permissive: bool,
    pub(crate) approach_lit: bool,
    pub(crate) controlled: bool,
    pub(crate) overlap: Option<Said<WrittenOverlap<'t>>>,
}

pub(crate) enum WrittenOverlap<'t> {
    Sections(Vec<Text<'t>>),
    Length(Length),
}

pub(crate) struct WrittenStop<'t> {
    pub(crate) name: Option<Text<'t>>,
    pub(crate) at: Text<'t>,
    pub(crate) short_of_end: Option<Said<Length>>,
    pub(crate) platform: Option<Said<Option<(Length, Length)>>>,
}

pub(crate) struct WrittenDetector<'t> {
    pub(crate) name: Option<Text<'t>>,
    pub(crate) place: WrittenDetectorPlace<'t>,
    pub(crate) on_delay: Option<Duration>,
    pub(crate) off_delay: Option<Duration>,
    pub(crate) link: Option<Text<'t>>,
    pub(crate) sensing: WrittenSensing,
    pub(crate) header: Span,
}

#[derive(Clone, Copy)]
pub(crate) enum WrittenDetectorPlace<'t> {
    /// `area = "section"`.
    Area(Text<'t>),
    /// `reader = "section"`.
    Reader(Text<'t>),
    /// `spot = "section.end"`, on the way `to` another end, so far from the first.
    Spot { at: Text<'t>, to: Option<Text<'t>>, distance: Option<Said<Length>> },
}

/// One train of `trains.toml`.
pub(crate) struct WrittenTrain<'t> {
    pub(crate) name: Text<'t>,
    pub(crate) vehicles: Vec<WrittenVehicle<'t>>,
    pub(crate) address: Option<Said<Address>>,
    pub(crate) link: Option<Text<'t>>,
    pub(crate) speed_steps: Option<SpeedSteps>,
    pub(crate) top_speed: Option<Said<WrittenSpeed>>,
    pub(crate) acceleration: Option<Said<Acceleration>>,
    pub(crate) braking: Option<Said<Acceleration>>,
    pub(crate) gradient_share: Option<Said<f64>>,
    pub(crate) speed_tolerance: Option<Said<f64>>,
    pub(crate) dwell: Option<Duration>,
    pub(crate) start_delay: Option<Duration>,
    pub(crate) functions: Vec<Function>,
    pub(crate) stands: Option<WrittenStart<'t>>,
}

pub(crate) struct WrittenVehicle<'t> {
    pub(crate) name: Option<Text<'t>>,
    pub(crate) length: Length,
    /// Nothing where nobody said; nothing within where nothing of it can be seen.
    pub(crate) detectable: Option<Said<Option<(Length, Length)>>>,
    pub(crate) axles: Vec<WrittenAxles>,
    /// Its own decoder, where it is one of several engines.
    pub(crate) engine: Option<Said<(Address, Facing)>>,
}

/// Axles of one list, which draw alike.
pub(crate) struct WrittenAxles {
    /// At least one, front first.
    pub(crate) at: Said<Vec<Length>>,
    /// What each of them draws.
    pub(crate) draw: Draw,
}

pub(crate) struct WrittenStart<'t> {
    pub(crate) on: Vec<Text<'t>>,
    pub(crate) on_span: Span,
    pub(crate) nose: Option<Text<'t>>,
}
