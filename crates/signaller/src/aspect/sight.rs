//! What each signal could ever vouch for, worked out once: whatever changes there makes the signal look again.

use smallvec::SmallVec;
use track::{EndId, Id, Layout, SectionId, SignalId, Table};

/// For each section the signals that look into it, and for each signal those whose stretch may end at it.
#[derive(Debug)]
pub(super) struct Sight {
    pub(super) into: Table<SectionId, SmallVec<[SignalId; 2]>>,
    pub(super) onto: Table<SignalId, SmallVec<[SignalId; 2]>>,
}

impl Sight {
    pub(super) fn new(layout: &Layout) -> Self {
        let mut sight = Self {
            into: Table::filled(SmallVec::new(), layout.sections.len()),
            onto: Table::filled(SmallVec::new(), layout.signals.len()),
        };
        let mut seen: Table<EndId, u32> = Table::filled(u32::MAX, layout.ends.len());
        let mut open: Vec<EndId> = Vec::new();
        for (signal, row) in layout.signals.iter() {
            let mark = signal.index() as u32;
            open.clear();
            open.extend(&layout.ends[row.at].meets);
            while let Some(enter) = open.pop() {
                if std::mem::replace(&mut seen[enter], mark) == mark {
                    continue;
                }
                push_new(&mut sight.into[layout.ends[enter].section], signal);
                for (_, leave) in layout.ways_from(enter) {
                    match layout.ends[leave].signal {
                        Some(next) => push_new(&mut sight.onto[next], signal),
                        None => open.extend(&layout.ends[leave].meets),
                    }
                }
            }
        }
        sight
    }
}

fn push_new(list: &mut SmallVec<[SignalId; 2]>, signal: SignalId) {
    if !list.contains(&signal) {
        list.push(signal);
    }
}
