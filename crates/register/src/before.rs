//! What is kept of the shift before, and what of it can be told to the next signaller.

use std::collections::BTreeMap;

use rusqlite::{Connection, OptionalExtension as _};
use signaller::{Direction, Input, Lessons, Memory, Protection, Request};
use track::{Layout, SectionId, TrainId};

use crate::codec::{self, Certainty, fields};
use crate::names::Names;
use crate::trouble::Trouble;

/// A memory by names, for layouts are edited between shifts.
#[derive(Clone, Debug, PartialEq, Eq)]
pub(crate) struct NamedMemory {
    on: Vec<String>,
    hidden: Vec<String>,
    nose: Option<String>,
    leading: Direction,
    certainty: Certainty,
}

fields! { NamedMemory { on, hidden, nose, leading, certainty } }

impl NamedMemory {
    pub(crate) fn of(names: &Names, memory: &Memory) -> Self {
        let sections = |sections: &[SectionId]| sections.iter().map(|&section| names.section(section)).collect();
        Self {
            on: sections(&memory.on),
            hidden: sections(&memory.hidden),
            nose: memory.nose.map(|end| names.layout().end_name(end)),
            leading: memory.leading,
            certainty: Certainty { sure: memory.sure, stood: memory.stood },
        }
    }

    /// The memory in a layout; nothing where that has no such sections.
    fn in_layout(&self, layout: &Layout) -> Option<Memory> {
        let sections = |names: &[String]| names.iter().map(|name| layout.section_named(name)).collect::<Option<_>>();
        let nose = match &self.nose {
            Some(name) => Some(layout.end_named(name)?),
            None => None,
        };
        Some(Memory {
            on: sections(&self.on)?,
            hidden: sections(&self.hidden)?,
            nose,
            leading: self.leading,
            sure: self.certainty.sure,
            stood: self.certainty.stood,
        })
    }
}

/// What is kept of something that was switched on, and off.
pub(crate) const ON: &str = "on";
pub(crate) const OFF: &str = "off";

/// What is kept of a train whose driver lets it be kept back.
pub(crate) const PROTECTED: &str = "protected";

/// Kinds of wishes that hold on until they are taken back.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum WishKind {
    Hold,
    StopAll,
    TakenOver,
    AtThrottle,
    Limit,
    OutOfService,
    HandedOver,
    KeptAtDanger,
    /// An accessory, or a function of a train, that was switched. Of a function its number stands before the name.
    Switched,
    Function,
}

impl WishKind {
    const ALL: [Self; 10] = [
        Self::Hold,
        Self::StopAll,
        Self::TakenOver,
        Self::AtThrottle,
        Self::Limit,
        Self::OutOfService,
        Self::HandedOver,
        Self::KeptAtDanger,
        Self::Switched,
        Self::Function,
    ];

    pub(crate) fn name(self) -> &'static str {
        match self {
            Self::Hold => "hold",
            Self::StopAll => "stop-all",
            Self::TakenOver => "taken-over",
            Self::AtThrottle => "at-throttle",
            Self::Limit => "limit",
            Self::OutOfService => "out-of-service",
            Self::HandedOver => "handed-over",
            Self::KeptAtDanger => "kept-at-danger",
            Self::Switched => "switched",
            Self::Function => "function",
        }
    }
}

/// What is kept of the shift before, as it is written.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Before {
    places: Vec<(String, Vec<u8>)>,
    lessons: Vec<(String, Vec<u8>)>,
    wishes: Vec<Kept>,
    clock: Option<KeptClock>,
}

/// A wish as it is written.
#[derive(Clone, Debug, PartialEq, Eq)]
struct Kept {
    kind: String,
    subject: String,
    words: String,
    by: String,
}

/// The layout clock as it was last.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct KeptClock {
    /// What it showed, in nanoseconds since the midnight before its first day.
    pub shows_ns: i64,
    /// How many times faster than layout time it runs, or will when it is started.
    pub pace: f64,
    /// Whether it ran.
    pub is_running: bool,
}

/// What of the shift before can be told to the next signaller.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Recovered {
    /// Where trains stood.
    pub trains: Vec<(TrainId, Memory)>,
    /// What was learned of them.
    pub lessons: Vec<(TrainId, Lessons)>,
    /// Wishes that hold on until they are taken back, and who wished them: holds, sections out of service or in a person's hands,
    /// trains in a person's hands, limits, signals kept at danger, and that everything was stopped.
    /// And how accessories and functions of trains were switched.
    pub wishes: Vec<(Request, String)>,
    /// The layout clock, once somebody had set or started it.
    pub clock: Option<KeptClock>,
    /// What cannot be told, and why, in words.
    pub told: Vec<String>,
}

impl Recovered {
    /// What the next signaller is to hear before anything else. The wishes come after that: they are requests.
    pub fn inputs(&self) -> Vec<Input> {
        let trains = self.trains.iter();
        let trains = trains.map(|(train, memory)| Input::TrainRemembered { train: *train, memory: memory.clone() });
        let lessons = self.lessons.iter();
        let lessons =
            lessons.map(|(train, it)| Input::ProfileRemembered { train: *train, lessons: Box::new(it.clone()) });
        trains.chain(lessons).collect()
    }
}

impl Before {
    pub(crate) fn read(db: &Connection) -> Result<Self, Trouble> {
        let pairs = |sql: &str| -> Result<Vec<(String, Vec<u8>)>, Trouble> {
            let mut statement = db.prepare(sql)?;
            let rows = statement.query_map([], |row| Ok((row.get(0)?, row.get(1)?)))?;
            Ok(rows.collect::<Result<_, _>>()?)
        };
        let wishes = db
            .prepare("SELECT kind, subject, words, asked_by FROM now_wish ORDER BY kind, subject")?
            .query_map([], |row| {
                Ok(Kept { kind: row.get(0)?, subject: row.get(1)?, words: row.get(2)?, by: row.get(3)? })
            })?
            .collect::<Result<_, _>>()?;
        Ok(Self {
            places: pairs("SELECT train, memory FROM now_place ORDER BY train")?,
            lessons: pairs("SELECT train, lessons FROM now_lessons ORDER BY train")?,
            wishes,
            clock: db
                .query_row("SELECT shows, pace, is_running FROM now_clock", [], |row| {
                    Ok(KeptClock { shows_ns: row.get(0)?, pace: row.get(1)?, is_running: row.get(2)? })
                })
                .optional()?,
        })
    }

    /// Whether nothing is kept.
    pub fn is_empty(&self) -> bool {
        *self == Self::default()
    }

    /// What of it can be told to a signaller of this layout.
    pub fn recover(&self, layout: &Layout) -> Recovered {
        let mut recovered = Recovered { clock: self.clock, ..Recovered::default() };
        for (name, bytes) in &self.places {
            let memory = codec::whole::<NamedMemory>(bytes).ok();
            match (layout.train_named(name), memory.and_then(|memory| memory.in_layout(layout))) {
                (Some(train), Some(memory)) => recovered.trains.push((train, memory)),
                (None, _) => {
                    recovered.told.push(format!("`{name}` was on the track, and the layout describes no such train"));
                }
                (_, None) => {
                    recovered.told.push(format!("where `{name}` stood is not on this layout: say where it stands"));
                }
            }
        }
        for (name, bytes) in &self.lessons {
            let Some(train) = layout.train_named(name) else { continue };
            match codec::whole::<Lessons>(bytes) {
                Ok(lessons) => match lessons.fits(&layout.trains[train]) {
                    Ok(()) => recovered.lessons.push((train, lessons)),
                    Err(why) => recovered.told.push(format!("`{name}` {why}; it begins as it is described")),
                },
                Err(garbled) => recovered.told.push(format!("`{name}`: {garbled}; it begins as it is described")),
            }
        }
        self.recover_wishes(layout, &mut recovered);
        recovered
    }

    fn recover_wishes(&self, layout: &Layout, recovered: &mut Recovered) {
        // Sections that one person took over go to them together again.
        let mut handed: BTreeMap<(&str, &str), Vec<SectionId>> = BTreeMap::new();
        for kept in &self.wishes {
            let kind = WishKind::ALL.into_iter().find(|kind| kind.name() == kept.kind);
            let section = layout.section_named(&kept.subject);
            if let (Some(WishKind::HandedOver), Some(section)) = (kind, section) {
                handed.entry((&kept.words, &kept.by)).or_default().push(section);
                continue;
            }
            match kind.and_then(|kind| kept.request(kind, layout)) {
                Some(request) => recovered.wishes.push((request, kept.by.clone())),
                None => recovered.told.push(format!(
                    "a wish is not kept up, for there is no such thing on this layout: {} `{}`",
                    kept.kind, kept.subject
                )),
            }
        }
        for ((to, by), sections) in handed {
            recovered.wishes.push((Request::HandRegionOver { sections, to: to.to_owned() }, by.to_owned()));
        }
    }
}

impl Kept {
    fn request(&self, kind: WishKind, layout: &Layout) -> Option<Request> {
        let train = || layout.train_named(&self.subject);
        Some(match kind {
            WishKind::Hold => Request::Hold { train: train()?, reason: self.words.clone() },
            WishKind::StopAll => Request::StopAll,
            WishKind::TakenOver => Request::TakeOver { train: train()? },
            WishKind::AtThrottle => {
                let protection = if self.words == PROTECTED { Protection::On } else { Protection::Off };
                Request::TakeThrottle { train: train()?, protection }
            }
            WishKind::Limit => Request::LimitStep { train: train()?, step: Some(self.words.parse().ok()?) },
            WishKind::OutOfService => {
                Request::TakeOutOfService { section: layout.section_named(&self.subject)?, reason: self.words.clone() }
            }
            WishKind::KeptAtDanger => Request::KeepAtDanger { signal: layout.signal_named(&self.subject)?, held: true },
            WishKind::Switched => {
                Request::SwitchAccessory { accessory: layout.accessory_named(&self.subject)?, on: self.words == ON }
            }
            WishKind::Function => {
                let (number, train) = self.subject.split_once(' ')?;
                let train = layout.train_named(train)?;
                Request::SwitchFunction { train, number: number.parse().ok()?, on: self.words == ON }
            }
            WishKind::HandedOver => return None,
        })
    }
}
