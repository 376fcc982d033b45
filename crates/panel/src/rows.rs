//! What is said of the railway, in rows with names: the words of the control door.

use std::collections::BTreeSet;

use serde::{Deserialize, Serialize};
use signaller::Direction;
use utoipa::ToSchema;

use crate::wish::Lying;

/// What is said of a section.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Is {
    /// Nothing was said yet.
    Unknown,
    /// Nothing is there.
    Free,
    /// This train is there.
    Sure,
    /// One of these trains is there.
    Doubt,
    /// Something is there that no known train explains.
    Unexplained,
}

/// A section.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub struct SectionRow {
    /// Its name.
    pub name: String,
    /// What is said of it.
    pub is: Is,
    /// The train that is there, or those that may be, the likeliest first.
    pub trains: Vec<String>,
    /// The train it is granted to.
    pub granted: Option<String>,
    /// Why no trains are worked over it.
    pub withdrawn: Option<String>,
}

/// A section that a train covers.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub struct Cover {
    /// The section.
    pub section: String,
    /// The end it was entered by, where that is known.
    pub entered: Option<String>,
}

/// Which way a train is driven, as it sees it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Heading {
    /// Its first vehicle leads.
    Forward,
    /// Its last vehicle leads.
    Backward,
}

impl From<Direction> for Heading {
    fn from(direction: Direction) -> Self {
        match direction {
            Direction::Forward => Self::Forward,
            Direction::Backward => Self::Backward,
        }
    }
}

impl From<Heading> for Direction {
    fn from(heading: Heading) -> Self {
        match heading {
            Heading::Forward => Self::Forward,
            Heading::Backward => Self::Backward,
        }
    }
}

/// A train.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub struct TrainRow {
    /// Its name.
    pub name: String,
    /// The speed step it is driven at; 0 stands.
    pub step: u8,
    /// The highest step there is.
    pub highest: u8,
    /// Which way it is driven, once it was.
    pub direction: Option<Heading>,
    /// Where it is going.
    pub to: Option<String>,
    /// Where it last arrived.
    pub at: Option<String>,
    /// What it waits for.
    pub waits: Option<String>,
    /// Why it is held.
    pub held: Option<String>,
    /// How often it arrived.
    pub trips: u64,
    /// The sections it covers by the likeliest account, tail first.
    pub covers: Vec<Cover>,
    /// Whether all accounts agree on that.
    pub sure: bool,
    /// How far its nose is beyond where it entered the last of them, in millimetres, where lengths say so.
    pub nose: Option<Bounds>,
    /// How fast it is, in millimetres a second, where it is on the layout.
    pub speed: Option<Bounds>,
    /// How far it may go: the passages that its nose may be in, from the one it is in on.
    pub ahead: Vec<Passage>,
    /// The stopping point in the last of these where it is to stop; without one it stops at the far end.
    pub stop: Option<String>,
    /// Whether a person drives it.
    pub by_hand: bool,
    /// The functions of its decoders that are on.
    #[serde(default, skip_serializing_if = "BTreeSet::is_empty")]
    pub functions: BTreeSet<u8>,
    /// How to drive it, where a person does through the signaller.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub advice: Option<AdviceRow>,
}

/// A train that came on, and of which nothing else is new.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub struct MoveRow {
    /// Its name.
    pub name: String,
    /// As in its row.
    pub step: u8,
    /// As in its row.
    pub nose: Option<Bounds>,
    /// As in its row.
    pub speed: Option<Bounds>,
}

/// A number that is known within bounds.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub struct Bounds {
    /// At least so much.
    pub least: i64,
    /// At most so much.
    pub most: i64,
}

/// A passage through a section.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub struct Passage {
    /// The end it is entered by, as `section.end`.
    pub enter: String,
    /// The end it is left by, as `section.end`.
    pub leave: String,
}

/// How a person should drive a train now.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub struct AdviceRow {
    /// Whether it is braked if they do not do so.
    pub protected: bool,
    /// Which way the throttle is set,
    pub set_way: Heading,
    /// and at which step.
    pub set_step: u8,
    /// Which way the train may go; nothing where nobody is sure where it stands.
    pub may_go: Option<Heading>,
    /// The next signal.
    pub signal: Option<String>,
    /// What it shows.
    pub aspect: Option<String>,
    /// How far it is to where its nose must stand, in millimetres; nothing where that is not known.
    pub to_stand_mm: Option<i64>,
    /// How fast to be now at most, in millimetres a second on the table,
    pub speed_mm_s: i64,
    /// and the step for that.
    pub step: u8,
}

/// A signal.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub struct SignalRow {
    /// Its name.
    pub name: String,
    /// What it shows, as its aspect book calls it.
    pub aspect: String,
    /// Whether that is its most restrictive aspect.
    pub danger: bool,
    /// Whether its lamps are lit.
    pub lit: bool,
}

/// A turnout.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub struct TurnoutRow {
    /// Its name.
    pub name: String,
    /// How it lies; nothing while it moves and where nobody knows.
    pub lies: Option<Lying>,
    /// Whether it is locked, for a train or for a route.
    pub locked: bool,
}

/// An accessory.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub struct AccessoryRow {
    /// Its name.
    pub name: String,
    /// Whether it is on; nothing where it was never switched.
    pub on: Option<bool>,
}

/// An input.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub struct InputRow {
    /// Its name.
    pub name: String,
    /// Whether it is on; nothing where that is not known.
    pub on: Option<bool>,
}

/// What is not known, and what would settle it.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub struct DoubtRow {
    /// Its number.
    pub number: u64,
    /// The trains of which it is not known where they are.
    pub trains: Vec<String>,
    /// The sections of which it is not known who is there.
    pub sections: Vec<String>,
    /// What may be so, the likeliest first.
    pub alternatives: Vec<String>,
    /// What would settle it.
    pub settled_by: String,
    /// The train whose roll call would settle it.
    pub roll_call: Option<String>,
}

/// How far a route has come that was set for whoever comes.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Stage {
    /// All of it is locked, and its turnouts are on their way.
    Called,
    /// Its signal may clear.
    Cleared,
    /// The same, and somebody may have seen that.
    ApproachLocked,
    /// A train came in.
    Used,
    /// It was cancelled, and is released in some time.
    Cancelled,
}

/// A route that is set for whoever comes.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub struct RouteRow {
    /// The signal it begins at.
    pub signal: String,
    /// Where it ends.
    pub exit: String,
    /// How far it has come.
    pub stage: Stage,
    /// What it waits for.
    pub waits: Option<String>,
}

/// A power district without power.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub struct DarkRow {
    /// The district; nothing where the layout describes none.
    pub district: Option<String>,
    /// How that is known.
    pub because: String,
}

/// What kind of thing may be at fault.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Kind {
    /// The detector of a section, its feed or its track.
    Section,
    /// A train's wheels or couplings.
    Train,
    /// A turnout or its report.
    Turnout,
}

/// Something that should be looked at.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub struct SuspectRow {
    /// What it is.
    pub kind: Kind,
    /// Its name.
    pub name: String,
    /// Why.
    pub because: String,
}

/// The layout clock.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub struct ClockRow {
    /// What it shows, such as `18:30`.
    pub shows: String,
    /// How often it passed midnight.
    pub day: i64,
    /// How many times faster than layout time it runs.
    pub pace: f64,
    /// Whether it runs.
    pub runs: bool,
}

/// A question that a script asks of whoever looks on.
#[derive(Clone, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub struct QuestionRow {
    /// Its number, by which it is answered.
    pub number: u64,
    /// The file of the script.
    pub script: String,
    /// What is asked.
    pub text: String,
    /// The answers to choose from.
    pub answers: Vec<String>,
}

/// How much attention a line wants.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Weight {
    /// The ordinary course of things.
    Ordinary,
    /// Something is not as it should be, and is taken care of.
    Notable,
    /// Something went wrong.
    Grave,
}

/// One thing that happened, in words.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub struct LineRow {
    /// When, in seconds of layout time.
    pub at: f64,
    /// How much attention it wants.
    pub weight: Weight,
    /// What.
    pub text: String,
}

/// What the railway is about as a whole.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Phase {
    /// Trains run.
    Running,
    /// Every train was told to stop, and may be told to go on.
    Halted,
    /// Every train was told to stop; when all of them stand the run ends.
    Ending,
}

/// Everything that is known at one moment. Names are those of the layout.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub struct Picture {
    /// News of this and lower numbers are in it.
    pub number: u64,
    /// The name of the layout.
    pub layout: String,
    /// Seconds of layout time.
    pub at: f64,
    /// What the railway is about.
    pub phase: Phase,
    /// How many times faster than life it runs; nothing where it runs as fast as the machine can.
    pub pace: Option<f64>,
    /// How many of its own rules were seen broken, where there is somebody to see that.
    pub broken_rules: u64,
    /// All sections.
    pub sections: Vec<SectionRow>,
    /// All trains.
    pub trains: Vec<TrainRow>,
    /// All signals.
    pub signals: Vec<SignalRow>,
    /// All turnouts.
    pub turnouts: Vec<TurnoutRow>,
    /// All accessories.
    pub accessories: Vec<AccessoryRow>,
    /// All inputs.
    pub inputs: Vec<InputRow>,
    /// All doubts.
    pub doubts: Vec<DoubtRow>,
    /// All routes that are set for whoever comes.
    pub routes: Vec<RouteRow>,
    /// Districts without power.
    pub dark: Vec<DarkRow>,
    /// Links that are down.
    pub links_down: Vec<String>,
    /// What should be looked at.
    pub suspects: Vec<SuspectRow>,
    /// The layout clock, once it was set or started.
    pub clock: Option<ClockRow>,
    /// Questions of scripts that stand open.
    pub questions: Vec<QuestionRow>,
    /// What happened of late, in words; over the stream only.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub lines: Vec<LineRow>,
}

/// What is new since the news before. Rows replace those of the same name; lists that are there replace the whole list.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub struct News {
    /// More than that of the news before.
    pub number: u64,
    /// Seconds of layout time.
    pub at: f64,
    /// What the railway is about.
    pub phase: Phase,
    /// How many times faster than life it runs; nothing where it runs as fast as the machine can.
    pub pace: Option<f64>,
    /// How many of its own rules were seen broken.
    pub broken_rules: u64,
    /// Sections of which something else is said.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub sections: Vec<SectionRow>,
    /// Trains of which something else is said.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub trains: Vec<TrainRow>,
    /// Trains that only came on: the rest of their rows is as it was.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub moves: Vec<MoveRow>,
    /// Signals that show something else.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub signals: Vec<SignalRow>,
    /// Turnouts that lie differently.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub turnouts: Vec<TurnoutRow>,
    /// Accessories that were switched.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub accessories: Vec<AccessoryRow>,
    /// Inputs that came on or went off, or of which that is not known any more.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub inputs: Vec<InputRow>,
    /// All doubts, if any of them changed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub doubts: Option<Vec<DoubtRow>>,
    /// All routes that are set for whoever comes, if any of them changed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub routes: Option<Vec<RouteRow>>,
    /// Districts without power, if that changed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub dark: Option<Vec<DarkRow>>,
    /// Links that are down, if that changed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub links_down: Option<Vec<String>>,
    /// What should be looked at, if that changed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub suspects: Option<Vec<SuspectRow>>,
    /// The layout clock, if that changed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub clock: Option<ClockRow>,
    /// All questions of scripts that stand open, if any of them changed.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub questions: Option<Vec<QuestionRow>>,
    /// What happened, in words.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub lines: Vec<LineRow>,
}

/// What comes over the stream: first a picture, then news. Whoever does not keep up gets what they missed as one; where the layout
/// is another, a picture comes again.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum Message {
    /// Everything that is known.
    Picture(Box<Picture>),
    /// What is new.
    News(Box<News>),
}

/// Why a section has its tag.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub struct WhyRow {
    /// What is said of it.
    pub section: SectionRow,
    /// What its detector says, and how far that is relied on.
    pub detector: String,
    /// The accounts there are of it, the likeliest first. None where nothing is there by any account.
    pub accounts: Vec<AccountRow>,
    /// There were too many accounts to follow all of them.
    pub open_ended: bool,
    /// What was heard last that changed what is said of it; nothing where nothing was since the daemon runs.
    pub evidence: Option<EvidenceRow>,
}

/// Something that may be so.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub struct AccountRow {
    /// Its share of belief, up to 1.
    pub share: f64,
    /// In plain words.
    pub words: String,
}

/// What was heard in one moment.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub struct EvidenceRow {
    /// When, in seconds of layout time.
    pub at: f64,
    /// In plain words.
    pub heard: Vec<String>,
}
