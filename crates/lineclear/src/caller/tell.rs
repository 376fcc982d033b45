//! `lineclear tell`: asks something of a running daemon.

use std::io::{self, Write};
use std::net::SocketAddr;

use clap::Subcommand;
use panel::rows::Heading;
use panel::{Fate, Lying, Wish};

use crate::Exit;
use crate::run::USUAL_DOOR;

/// What was asked for on the command line.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// Where the control door of the daemon is
    #[arg(long, value_name = "ADDRESS", default_value_t = USUAL_DOOR, global = true)]
    door: SocketAddr,
    #[command(subcommand)]
    what: What,
}

/// How a turnout is to lie.
#[derive(Clone, Copy, Debug, clap::ValueEnum)]
enum Lie {
    Straight,
    Diverging,
}

/// Which way a train is to go, as it sees it.
#[derive(Clone, Copy, Debug, clap::ValueEnum)]
enum Way {
    Forward,
    Backward,
}

/// How something is to be that is on or off.
#[derive(Clone, Copy, Debug, PartialEq, Eq, clap::ValueEnum)]
enum OnOff {
    On,
    Off,
}

#[derive(Clone, Debug, Subcommand)]
enum What {
    /// A train was put down, or stands, on these sections, tail first
    Place {
        train: String,
        #[arg(required = true)]
        on: Vec<String>,
        /// The end that its front points at, as `section.end`
        #[arg(long, value_name = "END")]
        nose: Option<String>,
    },
    /// A train was taken off the track
    Lift { train: String },
    /// That train is in this section
    Identify { section: String, train: String },
    /// Nothing stands in this section: I looked
    FoundEmpty { section: String },
    /// Two trains that stand next to each other were coupled; the first keeps its name
    Couple { train: String, with: String },
    /// A train was uncoupled: it keeps its foremost vehicles, and the rest is another train
    Uncouple { train: String, keep: u16, rest: String },
    /// Find out who is where by moving one train a little
    RollCall { train: Option<String> },
    /// I drive this train from now on
    TakeOver { train: String },
    /// I give this train back
    HandBack { train: String },
    /// I drive this train from now on through the signaller, which says how and grants it track
    TakeThrottle {
        train: String,
        /// Brake it if it would pass the end of its authority, or is too fast
        #[arg(long)]
        protected: bool,
    },
    /// Set the throttle of a train that I drive through the signaller; step 0 stands
    Throttle { train: String, step: u8, way: Way },
    /// Send a train to a stopping point or section
    Go { train: String, to: String },
    /// Let a train stop where it safely can, and give up its destination
    Stop { train: String },
    /// Stop a train, those of a region, or all as quickly as they can, and hold them
    EmergencyStop {
        train: Option<String>,
        /// The sections whose trains are to stop
        #[arg(long, value_name = "SECTION", num_args = 1.., conflicts_with = "train")]
        region: Vec<String>,
    },
    /// Cut the power of a district
    CutPower { district: String },
    /// Switch power on again that was cut
    RestorePower { district: String },
    /// Switch a function of a train's decoders on or off
    Function { train: String, number: u8, to: OnOff },
    /// Switch an accessory on or off
    Switch { accessory: String, to: OnOff },
    /// Work an input by hand that no hardware reports
    Input { input: String, to: OnOff },
    /// Stop every train at once
    StopAll,
    /// Let trains run again after `stop-all`
    ResumeAll,
    /// Hold a train until it is released
    Hold { train: String, reason: Vec<String> },
    /// Lift a hold
    Release { train: String },
    /// Let a train run no faster than at this speed step; without one the limit ends
    LimitStep { train: String, step: Option<u8> },
    /// Forget what was learned of how a train runs
    ForgetProfile { train: String },
    /// Throw a turnout
    Throw { turnout: String, to: Lie },
    /// Set a route, and clear its signal; routes are listed by `lineclear check DIR --control-table`
    Set { route: String },
    /// Cancel the route that is set from a signal
    Cancel { signal: String },
    /// Work no trains over a section
    OutOfService { section: String, reason: Vec<String> },
    /// Work trains over a section again
    InService { section: String },
    /// Hand sections over to a person
    HandOver {
        #[arg(required = true)]
        sections: Vec<String>,
        /// Who takes them over
        #[arg(long, value_name = "WHO", default_value = "")]
        to: String,
    },
    /// Take sections back from a person
    TakeBack {
        #[arg(required = true)]
        sections: Vec<String>,
    },
    /// Keep a signal at danger
    KeepAtDanger {
        signal: String,
        /// No longer
        #[arg(long)]
        end: bool,
    },
    /// Answer a question of a script, by its number
    Answer { question: u64, answer: Vec<String> },
    /// Press a button that scripts listen to
    Press { button: Vec<String> },
    /// Load the scripts anew; if one has an error, those before stay
    ReloadScripts,
    /// Set the layout clock to a time of its day, such as 18:30
    SetClock { to: String },
    /// Let the layout clock run, so many times faster than layout time
    StartClock { pace: Option<f64> },
    /// Let the layout clock stand
    PauseClock,
    /// Call one train on past a signal at danger, on sight
    CallOn {
        signal: String,
        /// No longer
        #[arg(long)]
        end: bool,
    },
    /// Read the layout anew, and go on with it: trains run on, and track under one must be as it was
    Reload,
}

impl What {
    /// What is asked; nothing where the layout is to be read anew.
    fn wish(self) -> Option<Wish> {
        Some(match self {
            Self::Reload => return None,
            Self::Place { train, on, nose } => Wish::Place { train, on, nose },
            Self::Lift { train } => Wish::Lift { train },
            Self::Identify { section, train } => Wish::Identify { section, train },
            Self::FoundEmpty { section } => Wish::FoundEmpty { section },
            Self::Couple { train, with } => Wish::Couple { train, with },
            Self::Uncouple { train, keep, rest } => Wish::Uncouple { train, keep, rest },
            Self::RollCall { train } => Wish::RollCall { train },
            Self::TakeOver { train } => Wish::TakeOver { train },
            Self::HandBack { train } => Wish::HandBack { train },
            Self::TakeThrottle { train, protected } => Wish::TakeThrottle { train, protected },
            Self::Throttle { train, step, way } => {
                let way = match way {
                    Way::Forward => Heading::Forward,
                    Way::Backward => Heading::Backward,
                };
                Wish::SetThrottle { train, way, step }
            }
            Self::Go { train, to } => Wish::Go { train, to },
            Self::Stop { train } => Wish::Stop { train },
            Self::EmergencyStop { train, region } if region.is_empty() => Wish::EmergencyStop { train },
            Self::EmergencyStop { region, .. } => Wish::EmergencyStopIn { sections: region },
            Self::CutPower { district } => Wish::CutPower { district },
            Self::RestorePower { district } => Wish::RestorePower { district },
            Self::Function { train, number, to } => Wish::Function { train, number, on: to == OnOff::On },
            Self::Switch { accessory, to } => Wish::Switch { accessory, on: to == OnOff::On },
            Self::Input { input, to } => Wish::Input { input, on: to == OnOff::On },
            Self::StopAll => Wish::StopAll {},
            Self::ResumeAll => Wish::ResumeAll {},
            Self::Hold { train, reason } => Wish::Hold { train, reason: reason.join(" ") },
            Self::Release { train } => Wish::Release { train },
            Self::LimitStep { train, step } => Wish::LimitStep { train, step },
            Self::ForgetProfile { train } => Wish::ForgetProfile { train },
            Self::Throw { turnout, to } => Wish::Throw {
                turnout,
                to: match to {
                    Lie::Straight => Lying::Straight,
                    Lie::Diverging => Lying::Diverging,
                },
            },
            Self::Set { route } => Wish::Set { route },
            Self::Cancel { signal } => Wish::Cancel { signal },
            Self::OutOfService { section, reason } => Wish::OutOfService { section, reason: reason.join(" ") },
            Self::InService { section } => Wish::InService { section },
            Self::HandOver { sections, to } => Wish::HandOver { sections, to },
            Self::TakeBack { sections } => Wish::TakeBack { sections },
            Self::Answer { question, answer } => Wish::Answer { question, answer: answer.join(" ") },
            Self::Press { button } => Wish::Press { button: button.join(" ") },
            Self::ReloadScripts => Wish::ReloadScripts {},
            Self::SetClock { to } => Wish::SetClock { to },
            Self::StartClock { pace } => Wish::StartClock { pace },
            Self::PauseClock => Wish::PauseClock {},
            Self::KeepAtDanger { signal, end } => Wish::KeepAtDanger { signal, held: !end },
            Self::CallOn { signal, end } => Wish::CallOn { signal, wanted: !end },
        })
    }
}

/// Asks, and says what became of it.
pub(crate) fn run(args: Args) -> Exit {
    let asked = match args.what.wish() {
        Some(wish) => super::ask(args.door, &wish),
        None => super::reload(args.door),
    };
    let (words, exit) = match asked {
        Ok(Fate::Accepted { .. }) => {
            // Where nobody listens there is nobody left to tell.
            let _ = writeln!(io::stdout(), "accepted");
            return Exit::Fine;
        }
        Ok(Fate::Refused { reason, .. }) => (format!("refused: {reason}"), Exit::Wrong),
        Ok(Fate::Failed { reason }) => (format!("error: {reason}"), Exit::BadInput),
        Err(why) => (format!("error: {why}"), Exit::BadInput),
    };
    let _ = writeln!(io::stderr(), "{words}");
    exit
}
