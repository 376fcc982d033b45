//! What one train was asked to do and what it was granted for it.

use std::collections::VecDeque;

use smallvec::SmallVec;
use track::{EndId, Layout, Lie, SectionId, SignalId, TrainId, Traverse, TurnoutId};

use super::aside::Aside;
use super::by_hand::Driver;
use super::flank::Guard;
use super::holds::Holds;
use super::no_answer::NoAnswer;
use super::plan::Course;
use crate::door::Destination;
use crate::time::Time;

/// One train's errand.
#[derive(Clone, Debug, Default, serde::Serialize, serde::Deserialize)]
pub(crate) struct Run {
    pub(crate) to: Option<Destination>,
    /// Where it turns back on its way there: it goes there first.
    pub(crate) turns_first: Option<Destination>,
    /// Where it has turned back under this order. It does not turn there once more.
    pub(crate) turned_in: SmallVec<[SectionId; 2]>,
    /// Older orders are served first.
    pub(crate) age: u64,
    /// The passages granted, from the tail on. Empty for a train that never had an order.
    pub(crate) granted: VecDeque<Traverse>,
    /// Which of `granted` the nose is in.
    pub(crate) nose: usize,
    /// So many of `granted` have their turnouts proved: here the authority ends.
    pub(crate) proved: usize,
    /// What it was granted beside its path, for a roll call or because it stands there astray.
    pub(crate) lent: SmallVec<[Traverse; 4]>,
    /// The turnouts beside its path that are kept for it.
    pub(super) guards: SmallVec<[Guard; 2]>,
    /// The passages still to be granted, up to the destination.
    pub(crate) plan: VecDeque<Traverse>,
    /// Whether `plan` leads to the destination; else it is still to be found.
    pub(crate) is_planned: bool,
    /// Whether a rehearsal got it home without keeping others from it.
    pub(crate) is_admitted: bool,
    /// It draws aside first: its plan leads there, and not to its destination.
    pub(crate) aside: Option<Aside>,
    /// The end up to which it has drawn as close as it can tell, standing in the section that it would draw aside to.
    pub(crate) drawn_up_to: Option<EndId>,
    /// How it is to go on, having drawn aside.
    pub(crate) then: Option<Course>,
    /// How often trains had arrived when it drew aside last, under this order.
    pub(crate) drew_aside_at: Option<u64>,
    /// It may lack track ahead: its nose went on, or its plan is new.
    pub(crate) lacks_track: bool,
    /// Looking for a way round is work: not before this time,
    pub(crate) look_round_at: Time,
    /// and only when something was freed since the last time.
    pub(crate) looked_round_at_freed: u64,
    /// It stands, as far as is known.
    pub(crate) stands: bool,
    /// It stands at a stopping point, and sets out no sooner than this.
    pub(crate) dwells_until: Time,
    /// The train has to come to stand before anything else is decided.
    pub(crate) must_stand: bool,
    pub(crate) has_departed: bool,
    pub(crate) driver: Driver,
    pub(crate) holds: Holds,
    /// Where it was found astray last, and when it is believed to stay there.
    pub(crate) found_on: SmallVec<[SectionId; 4]>,
    pub(crate) settled_at: Time,
    /// When it was told to stop as quickly as it could, for it was found astray.
    pub(crate) stopped_dead_at: Option<Time>,
    pub(crate) no_answer: NoAnswer,
    /// It did not answer a roll call, and nobody has seen to it since.
    pub(crate) was_called_in_vain: bool,
    /// By some account nothing shows where it stands.
    pub(crate) is_out_of_sight: bool,
    /// Somebody says that this train stands on track that it has ahead of it.
    pub(super) disputed_by: Option<TrainId>,
    /// It is in doubt where it stands, wants to go, and can get no further until that is settled.
    pub(crate) is_stuck_in_doubt: bool,
    pub(crate) waits_for: Option<Wait>,
    /// Since when it has not been granted anything, while it waits.
    pub(crate) waits_since: Time,
    /// It was sent elsewhere while it waited: it has waited since then.
    pub(crate) waited_before: bool,
}

impl Run {
    /// It is sent there, or nowhere.
    pub(crate) fn send(&mut self, to: Option<Destination>) {
        (self.to, self.turns_first) = (to, None);
        self.turned_in.clear();
    }

    /// Where it goes next: to where it was sent, or to where it turns back first.
    pub(crate) fn leg(&self) -> Option<Destination> {
        self.turns_first.or(self.to)
    }
}

/// What a train waits for.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub(crate) enum Wait {
    /// Another train holds it, or may be there.
    Taken {
        section: SectionId,
        by: TrainId,
    },
    /// Something is there, and nobody knows what.
    Occupied {
        section: SectionId,
    },
    Locked {
        turnout: TurnoutId,
        by: TrainId,
    },
    /// Something stands, or may stand, on a turnout that would have to move.
    Covered {
        turnout: TurnoutId,
        section: SectionId,
    },
    /// A turnout led a train another way than it was thought to lie.
    Doubtful {
        turnout: TurnoutId,
    },
    Stuck {
        turnout: TurnoutId,
    },
    /// The signaller cannot throw it.
    ByHand {
        turnout: TurnoutId,
        lie: Lie,
    },
    Kept {
        signal: SignalId,
    },
    /// A route that is set has locked it.
    Routed {
        section: SectionId,
        signal: SignalId,
    },
    /// The same of a turnout.
    TurnoutRouted {
        turnout: TurnoutId,
        signal: SignalId,
    },
    /// The signal must stay at danger for the flank of a route.
    FlankSignal {
        signal: SignalId,
        by: SignalId,
    },
    /// It is kept clear for a train that runs up to a signal.
    Overlap {
        section: SectionId,
        by: TrainId,
    },
    /// It lies in such track, and somebody may run over it.
    OverlapTurnout {
        turnout: TurnoutId,
        by: TrainId,
    },
    /// It is out of service.
    OutOfService {
        section: SectionId,
    },
    /// It was handed over to a person.
    InHands {
        section: SectionId,
    },
    /// Going on now could end in trains facing each other for ever.
    OthersFirst,
    /// It lets others pass before it goes where it was sent.
    DrawsAside {
        section: SectionId,
    },
    /// It has to turn back on its way to where it was sent.
    TurnsFirst {
        at: Destination,
    },
    NotSure,
    /// It stands at a stopping point, and not long enough yet.
    Dwells,
    /// What it has just left is said to be free, and may be so only for a moment.
    Settling,
    NoPath,
}

impl Run {
    /// Whether it may go, or be about to go, farther than it stands.
    pub(super) fn has_track_ahead(&self) -> bool {
        !self.stands || self.is_planned && self.nose + 1 < self.granted.len()
    }
}

impl Wait {
    pub(crate) fn in_words(self, layout: &Layout, name: impl Fn(TrainId) -> String) -> String {
        let section = |id: SectionId| layout.sections[id].name.as_str();
        let turnout = |id: TurnoutId| layout.turnouts[id].name.as_str();
        let signal = |id: SignalId| layout.signals[id].name.as_str();
        match self {
            Self::Taken { section: id, by } => format!("`{}` is taken by `{}`", section(id), name(by)),
            Self::Occupied { section: id } => format!("`{}` is occupied, and nobody knows by what", section(id)),
            Self::Locked { turnout: id, by } => format!("turnout `{}` is locked for `{}`", turnout(id), name(by)),
            Self::Covered { turnout: id, section: at } => {
                format!("turnout `{}` cannot move while something may stand in `{}`", turnout(id), section(at))
            }
            Self::Doubtful { turnout: id } => format!(
                "turnout `{}` led a train another way than it was thought to lie; see to it, then have it thrown",
                turnout(id)
            ),
            Self::Stuck { turnout: id } => {
                format!("turnout `{}` was thrown and does not report that it moved", turnout(id))
            }
            Self::ByHand { turnout: id, lie } => {
                let lie = if lie == Lie::Straight { "straight" } else { "diverging" };
                format!("turnout `{}` must be thrown to `{lie}` by hand", turnout(id))
            }
            Self::Kept { signal: id } => format!("signal `{}` is kept at danger", signal(id)),
            Self::Routed { section: id, signal: from } => {
                format!("`{}` is locked for the route that is set from `{}`", section(id), signal(from))
            }
            Self::TurnoutRouted { turnout: id, signal: from } => {
                format!("turnout `{}` is locked for the route that is set from `{}`", turnout(id), signal(from))
            }
            Self::FlankSignal { signal: id, by } => format!(
                "signal `{}` must stay at danger: it leads into the side of the route that is set from `{}`",
                signal(id),
                signal(by)
            ),
            Self::Overlap { section: id, by } => {
                format!("`{}` is kept clear while `{}` runs up to the signal before it", section(id), name(by))
            }
            Self::OverlapTurnout { turnout: id, by } => {
                format!(
                    "turnout `{}` is kept as it lies while `{}` runs up to the signal before it",
                    turnout(id),
                    name(by)
                )
            }
            Self::OutOfService { section: id } => format!("`{}` is out of service", section(id)),
            Self::InHands { section: id } => format!("`{}` is in a person's hands", section(id)),
            Self::OthersFirst => "other trains have to pass first, or they would block each other".to_owned(),
            Self::DrawsAside { section: id } => {
                format!("trains stand in each other's way: it draws aside to `{}` first", section(id))
            }
            Self::TurnsFirst { at } => {
                let at = match at {
                    Destination::Stop(stop) => &layout.stops[stop].name,
                    Destination::Section(section) => &layout.sections[section].name,
                };
                format!("it has to turn back on its way: it goes to `{at}` first")
            }
            Self::Dwells => "it stands at its stopping point a little longer".to_owned(),
            Self::NotSure => "nobody is sure where it stands".to_owned(),
            Self::Settling => "it is not certain yet what it has just left".to_owned(),
            Self::NoPath => "no path leads there from where it stands".to_owned(),
        }
    }
}
