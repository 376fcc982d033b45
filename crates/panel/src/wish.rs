//! What can be asked: the signaller's requests, with names for ids.

use serde::de::Error;
use serde::{Deserialize, Deserializer, Serialize};
use signaller::{Extent, Protection, Request};
use track::{Function, Lie};
use utoipa::ToSchema;

use crate::names::Names;
use crate::rows::Heading;

/// How a turnout lies.
#[derive(Clone, Copy, Debug, PartialEq, Eq, Serialize, Deserialize, ToSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Lying {
    /// For the straight track.
    Straight,
    /// For the diverging track.
    Diverging,
}

impl Lying {
    fn lie(self) -> Lie {
        match self {
            Self::Straight => Lie::Straight,
            Self::Diverging => Lie::Diverging,
        }
    }
}

impl From<Lie> for Lying {
    fn from(lie: Lie) -> Self {
        match lie {
            Lie::Straight => Self::Straight,
            Lie::Diverging => Self::Diverging,
        }
    }
}

/// Something that a person, or a program of theirs, asks for.
#[derive(Clone, Debug, PartialEq, Serialize, Deserialize, ToSchema)]
#[serde(tag = "ask", rename_all = "kebab-case", rename_all_fields = "kebab-case", deny_unknown_fields)]
pub enum Wish {
    /// A train was put down, or is said to stand, on these sections, tail first.
    Place {
        /// The train.
        train: String,
        /// The sections, tail first.
        #[schema(min_items = 1, max_items = 100)]
        on: Vec<String>,
        /// The end that its front points at, as `section.end`.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        nose: Option<String>,
    },
    /// A train was taken off the track.
    Lift {
        /// The train.
        train: String,
    },
    /// This train is in that section.
    Identify {
        /// The section.
        section: String,
        /// The train.
        train: String,
    },
    /// Somebody looked: nothing stands in that section.
    FoundEmpty {
        /// The section.
        section: String,
    },
    /// Two trains that stand next to each other were coupled.
    Couple {
        /// The train whose name is kept.
        train: String,
        /// The other one.
        with: String,
    },
    /// A train that stands was uncoupled.
    Uncouple {
        /// The train. It keeps its foremost vehicles.
        train: String,
        /// How many.
        #[serde(deserialize_with = "whole")]
        #[schema(minimum = 0, maximum = 1000)]
        keep: u16,
        /// The train that the others are from now on.
        rest: String,
    },
    /// Find out who is where by moving one train a little.
    RollCall {
        /// The train to move; without it the signaller chooses.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        train: Option<String>,
    },
    /// A person drives this train from now on.
    TakeOver {
        /// The train.
        train: String,
    },
    /// A person gives this train back.
    HandBack {
        /// The train. It must stand, unless it is driven at a throttle through the signaller.
        train: String,
    },
    /// A person drives this train through the signaller from now on: it says how, and they set the throttle.
    TakeThrottle {
        /// The train.
        train: String,
        /// Whether it is braked if it would pass the end of its authority, or is too fast.
        #[serde(default)]
        protected: bool,
    },
    /// The throttle of a train that a person drives through the signaller is set.
    SetThrottle {
        /// The train.
        train: String,
        /// Which way.
        way: Heading,
        /// The speed step; 0 stands.
        #[serde(deserialize_with = "whole")]
        #[schema(maximum = 126)]
        step: u8,
    },
    /// Send a train somewhere, by any free path.
    Go {
        /// The train.
        train: String,
        /// A stopping point or a section.
        to: String,
    },
    /// A train stops where it safely can, and gives up its destination.
    Stop {
        /// The train.
        train: String,
    },
    /// A train stops as quickly as it can, and is held; all do where none is named.
    EmergencyStop {
        /// The train.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        train: Option<String>,
    },
    /// Every train that is, may be or is about to be in these sections stops as quickly as it can, and is held.
    EmergencyStopIn {
        /// The sections.
        #[schema(min_items = 1, max_items = 1000)]
        sections: Vec<String>,
    },
    /// The power of a district is cut.
    CutPower {
        /// The district.
        district: String,
    },
    /// Power that was cut is switched on again.
    RestorePower {
        /// The district.
        district: String,
    },
    /// A function of a train's decoders is on or off, until a rule of the train says otherwise.
    Function {
        /// The train.
        train: String,
        /// Its number; 0 is the headlight.
        #[serde(deserialize_with = "whole")]
        #[schema(maximum = 28)]
        number: u8,
        /// Whether it is on.
        on: bool,
    },
    /// An accessory is on or off.
    Switch {
        /// The accessory.
        accessory: String,
        /// Whether it is on.
        on: bool,
    },
    /// An input that no hardware reports is worked by hand: it is on, or off, from now on.
    Input {
        /// The input.
        input: String,
        /// Whether it is on.
        on: bool,
    },
    /// Every train stops at once and is held.
    StopAll {},
    /// The hold that `stop-all` set is lifted.
    ResumeAll {},
    /// A train is held until it is released.
    Hold {
        /// The train.
        train: String,
        /// Why, in plain words.
        #[serde(default)]
        #[schema(max_length = 500)]
        reason: String,
    },
    /// A hold is lifted.
    Release {
        /// The train.
        train: String,
    },
    /// A train runs no faster than at this speed step; without one, the limit ends.
    LimitStep {
        /// The train.
        train: String,
        /// The step.
        #[serde(default, deserialize_with = "whole_if_any", skip_serializing_if = "Option::is_none")]
        #[schema(minimum = 1, maximum = 126)]
        step: Option<u8>,
    },
    /// What was learned of how a train runs is forgotten.
    ForgetProfile {
        /// The train. It must stand.
        train: String,
    },
    /// A turnout is thrown.
    Throw {
        /// The turnout.
        turnout: String,
        /// How it shall lie.
        to: Lying,
    },
    /// A route is set for whoever comes, and its signal cleared.
    Set {
        /// The route, as `lineclear check DIR --control-table` calls it.
        route: String,
    },
    /// The route that is set from a signal is cancelled.
    Cancel {
        /// The signal.
        signal: String,
    },
    /// No trains are worked over a section.
    OutOfService {
        /// The section.
        section: String,
        /// Why, in plain words.
        #[serde(default)]
        #[schema(max_length = 500)]
        reason: String,
    },
    /// Trains are worked again over a section.
    InService {
        /// The section.
        section: String,
    },
    /// A person takes over sections, with their turnouts and the trains there.
    HandOver {
        /// The sections.
        #[schema(min_items = 1, max_items = 1000)]
        sections: Vec<String>,
        /// Who takes them over.
        #[schema(max_length = 500)]
        to: String,
    },
    /// Sections that a person took over are the signaller's again.
    TakeBack {
        /// The sections.
        #[schema(min_items = 1, max_items = 1000)]
        sections: Vec<String>,
    },
    /// A signal is kept at danger, or no longer.
    KeepAtDanger {
        /// The signal.
        signal: String,
        /// Whether it is kept.
        held: bool,
    },
    /// One train is called on past a signal at danger, on sight; or no longer.
    CallOn {
        /// The signal.
        signal: String,
        /// Whether it is called on.
        wanted: bool,
    },
    /// A question of a script is answered.
    Answer {
        /// Its number.
        #[serde(deserialize_with = "whole")]
        #[schema(maximum = 4_294_967_295_i64)]
        question: u64,
        /// One of its answers.
        #[schema(max_length = 500)]
        answer: String,
    },
    /// A button is pressed that scripts listen to.
    Press {
        /// Its name.
        #[schema(max_length = 500)]
        button: String,
    },
    /// The scripts are loaded anew.
    ReloadScripts {},
    /// The layout clock is set.
    SetClock {
        /// To this time of its day, such as `18:30`.
        #[schema(pattern = "^([01]?[0-9]|2[0-3]):[0-5][0-9]$")]
        to: String,
    },
    /// The layout clock runs.
    StartClock {
        /// So many times faster than layout time; without it as fast as before.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        #[schema(minimum = 0.1, maximum = 240.0)]
        pace: Option<f64>,
    },
    /// The layout clock stands.
    PauseClock {},
}

/// Who is asked for something.
#[derive(Clone, Debug, PartialEq)]
pub enum Matter {
    /// The signaller.
    Signaller(Request),
    /// The scripts; what, the wish says.
    Scripts,
}

/// So many letters the words of a person may have.
const LONGEST_WORDS: usize = 500;

impl Wish {
    /// Whether it keeps to the bounds that are described.
    ///
    /// # Errors
    /// Which one it does not keep to, in words.
    pub fn check(&self) -> Result<(), String> {
        let listed = |name: &str, list: &[String], most: usize| match list.len() {
            0 => Err(format!("`{name}` is empty; name one section at least")),
            count if count > most => Err(format!("`{name}` names {count} sections, and may name {most} at most")),
            _ => Ok(()),
        };
        let said = |name: &str, words: &str| match words.chars().count() {
            count if count > LONGEST_WORDS => {
                Err(format!("`{name}` is {count} letters long, and may be of {LONGEST_WORDS} at most"))
            }
            _ => Ok(()),
        };
        match self {
            Self::Place { on, .. } => listed("on", on, 100),
            Self::HandOver { sections, to } => listed("sections", sections, 1000).and(said("to", to)),
            Self::TakeBack { sections } => listed("sections", sections, 1000),
            Self::EmergencyStopIn { sections } => listed("sections", sections, 1000),
            Self::Hold { reason, .. } | Self::OutOfService { reason, .. } => said("reason", reason),
            Self::Answer { answer, .. } => said("answer", answer),
            Self::Press { button } => said("button", button),
            Self::SetClock { to } => said("to", to),
            Self::StartClock { pace: Some(pace) } if !(0.1..=240.0).contains(pace) => {
                Err(format!("`pace` is {pace}; a layout clock runs 0.1 to 240 times as fast"))
            }
            Self::Uncouple { keep, .. } if *keep > 1000 => Err("`keep` may be 1000 at most".to_owned()),
            Self::LimitStep { step: Some(step), .. } if !(1..=126).contains(step) => {
                Err(format!("`step` is {step}; steps are 1 to 126"))
            }
            Self::Function { number, .. } if *number > Function::HIGHEST => {
                Err(format!("`number` is {number}; functions are 0 to {}", Function::HIGHEST))
            }
            Self::SetThrottle { step, .. } if *step > 126 => Err(format!("`step` is {step}; steps are 0 to 126")),
            _ => Ok(()),
        }
    }

    /// Who is asked, and what, with ids for names.
    ///
    /// # Errors
    /// A name that nobody bears, and the nearest one.
    pub fn matter(&self, names: &Names) -> Result<Matter, String> {
        match self {
            Self::Answer { .. }
            | Self::Press { .. }
            | Self::ReloadScripts {}
            | Self::SetClock { .. }
            | Self::StartClock { .. }
            | Self::PauseClock {} => Ok(Matter::Scripts),
            wish => wish.request(names).map(Matter::Signaller),
        }
    }

    /// The request it is, with ids for names.
    fn request(&self, names: &Names) -> Result<Request, String> {
        let of = |train: &String| names.train(train);
        Ok(match self {
            Self::Place { train, on, nose } => {
                let nose = nose.as_deref().map(|nose| names.end(nose)).transpose()?;
                Request::Place { train: of(train)?, on: names.all_sections(on)?, nose }
            }
            Self::Lift { train } => Request::Lift { train: of(train)? },
            Self::Identify { section, train } => {
                Request::Identify { section: names.section(section)?, train: of(train)? }
            }
            Self::FoundEmpty { section } => Request::FoundEmpty { section: names.section(section)? },
            Self::Couple { train, with } => Request::Couple { train: of(train)?, with: of(with)? },
            Self::Uncouple { train, keep, rest } => {
                Request::Uncouple { train: of(train)?, keep: usize::from(*keep), rest: of(rest)? }
            }
            Self::RollCall { train } => Request::RollCall { train: train.as_ref().map(of).transpose()? },
            Self::TakeOver { train } => Request::TakeOver { train: of(train)? },
            Self::HandBack { train } => Request::HandBack { train: of(train)? },
            Self::TakeThrottle { train, protected } => {
                let protection = if *protected { Protection::On } else { Protection::Off };
                Request::TakeThrottle { train: of(train)?, protection }
            }
            Self::SetThrottle { train, way, step } => {
                Request::SetThrottle { train: of(train)?, direction: (*way).into(), step: *step }
            }
            Self::Go { train, to } => Request::Go { train: of(train)?, to: names.place(to)? },
            Self::Stop { train } => Request::Stop { train: of(train)? },
            Self::EmergencyStop { train: Some(train) } => Request::EmergencyStop { of: Extent::Train(of(train)?) },
            Self::EmergencyStop { train: None } => Request::EmergencyStop { of: Extent::Everything },
            Self::EmergencyStopIn { sections } => {
                Request::EmergencyStop { of: Extent::Region(names.all_sections(sections)?) }
            }
            Self::StopAll {} => Request::StopAll,
            Self::ResumeAll {} => Request::ResumeAll,
            Self::Hold { train, reason } => Request::Hold { train: of(train)?, reason: words(reason) },
            Self::Release { train } => Request::Release { train: of(train)? },
            Self::LimitStep { train, step } => Request::LimitStep { train: of(train)?, step: *step },
            Self::ForgetProfile { train } => Request::ForgetProfile { train: of(train)? },
            Self::Set { route } => {
                let (id, routes) = names.route(route)?;
                let route = routes.route(id);
                Request::SetRoute { entry: route.entry, exit: route.exit, via: route.sections().collect() }
            }
            Self::Cancel { signal } => Request::CancelRoute { entry: names.signal(signal)? },
            Self::OutOfService { section, reason } => {
                Request::TakeOutOfService { section: names.section(section)?, reason: words(reason) }
            }
            Self::InService { section } => Request::PutInService { section: names.section(section)? },
            Self::HandOver { sections, to } => {
                Request::HandRegionOver { sections: names.all_sections(sections)?, to: words(to) }
            }
            Self::TakeBack { sections } => Request::TakeRegionBack { sections: names.all_sections(sections)? },
            worked => worked.of_equipment(names)?,
        })
    }

    /// The same, of what is worked rather than of trains and track.
    fn of_equipment(&self, names: &Names) -> Result<Request, String> {
        Ok(match self {
            Self::CutPower { district } => Request::CutPower { district: names.district(district)? },
            Self::RestorePower { district } => Request::RestorePower { district: names.district(district)? },
            Self::Function { train, number, on } => {
                Request::SwitchFunction { train: names.train(train)?, number: *number, on: *on }
            }
            Self::Switch { accessory, on } => {
                Request::SwitchAccessory { accessory: names.accessory(accessory)?, on: *on }
            }
            Self::Input { input, on } => Request::WorkInput { input: names.input(input)?, on: *on },
            Self::Throw { turnout, to } => Request::Throw { turnout: names.turnout(turnout)?, lie: to.lie() },
            Self::KeepAtDanger { signal, held } => Request::KeepAtDanger { signal: names.signal(signal)?, held: *held },
            Self::CallOn { signal, wanted } => Request::CallOn { signal: names.signal(signal)?, wanted: *wanted },
            _ => return Err("that is for the scripts".to_owned()),
        })
    }
}

/// A whole number, also one that is written as `12.0`: JSON knows no difference, and JSON Schema takes both for an integer.
fn whole<'de, D: Deserializer<'de>, T: TryFrom<i64>>(from: D) -> Result<T, D::Error> {
    from_number(&serde_json::Number::deserialize(from)?)
}

/// The same, where there may be none.
fn whole_if_any<'de, D: Deserializer<'de>, T: TryFrom<i64>>(from: D) -> Result<Option<T>, D::Error> {
    Option::<serde_json::Number>::deserialize(from)?.as_ref().map(from_number).transpose()
}

fn from_number<T: TryFrom<i64>, E: Error>(number: &serde_json::Number) -> Result<T, E> {
    // Larger ones are not read exactly if zeros follow their point.
    let exact = |float: &f64| float.fract() == 0.0 && float.abs() <= f64::from(u32::MAX);
    let whole = number.as_i64().or_else(|| number.as_f64().filter(exact).map(|float| float as i64));
    let whole = whole.ok_or_else(|| E::custom(format!("`{number}` is no whole number")))?;
    T::try_from(whole).map_err(|_| E::custom(format!("`{number}` is out of range")))
}

/// What a person said, if anything.
fn words(said: &str) -> String {
    match said.trim() {
        "" => "somebody asked for it".to_owned(),
        said => said.to_owned(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn read(text: &str) -> Result<Wish, String> {
        serde_json::from_str(text).map_err(|error| error.to_string())
    }

    #[test]
    fn a_whole_number_may_be_written_with_a_point() {
        let plain = read(r#"{"ask": "uncouple", "train": "Heron", "keep": 4, "rest": "Plover"}"#);
        assert!(matches!(plain, Ok(Wish::Uncouple { keep: 4, .. })), "{plain:?}");
        assert_eq!(read(r#"{"ask": "uncouple", "train": "Heron", "keep": 4.0, "rest": "Plover"}"#), plain);
        let large = read(r#"{"ask": "answer", "question": 4294967295.000, "answer": "on"}"#);
        assert_eq!(large, Ok(Wish::Answer { question: 4_294_967_295, answer: "on".to_owned() }));
        let step = read(r#"{"ask": "limit-step", "train": "Heron", "step": 5.0}"#);
        assert_eq!(step, Ok(Wish::LimitStep { train: "Heron".to_owned(), step: Some(5) }));
    }

    #[test]
    fn a_field_that_a_kind_does_not_know_is_told_whatever_it_says() {
        for said in ["1", "null", "\"now\""] {
            for kind in ["stop-all", "resume-all", "reload-scripts", "pause-clock", "emergency-stop", "roll-call"] {
                let error = read(&format!(r#"{{"ask": "{kind}", "when": {said}}}"#)).unwrap_err();
                assert!(error.contains("unknown field `when`"), "{kind}: {error}");
            }
        }
        assert_eq!(read(r#"{"ask": "stop-all"}"#), Ok(Wish::StopAll {}));
        assert_eq!(read(r#"{"ask": "emergency-stop", "train": null}"#), Ok(Wish::EmergencyStop { train: None }));
    }

    #[test]
    fn a_number_that_is_not_whole_or_out_of_range_is_told() {
        for (step, why) in
            [("5.5", "`5.5` is no whole number"), ("-1", "`-1` is out of range"), ("1e300", "no whole number")]
        {
            let error = read(&format!(r#"{{"ask": "limit-step", "train": "Heron", "step": {step}}}"#)).unwrap_err();
            assert!(error.contains(why), "{error}");
        }
    }
}
