//! What each signal could ever depend on, worked out once: whatever changes there makes the signal look again.

use smallvec::SmallVec;
use track::{EndId, Id, Layout, Role, SectionId, SignalId, Table};

/// For each section the signals that look into it, and for each signal those that look at it.
#[derive(Clone, Debug)]
pub(super) struct Sight {
    pub(super) into: Table<SectionId, SmallVec<[SignalId; 2]>>,
    pub(super) onto: Table<SignalId, SmallVec<[SignalId; 2]>>,
    /// For each section the signals that ask whether a train is there, right before them.
    pub(super) before: Table<SectionId, SmallVec<[SignalId; 2]>>,
}

impl Sight {
    pub(super) fn new(layout: &Layout) -> Self {
        let mut sight = Self {
            into: Table::filled(SmallVec::new(), layout.sections.len()),
            onto: Table::filled(SmallVec::new(), layout.signals.len()),
            before: Table::filled(SmallVec::new(), layout.sections.len()),
        };
        let mut seen: Table<EndId, u32> = Table::filled(u32::MAX, layout.ends.len());
        let mut open: Vec<EndId> = Vec::new();
        for (signal, row) in layout.signals.iter() {
            let book = layout.book_of(signal);
            if row.is_approach_lit || book.asks_for_approach() || book.can_call_on() {
                push_new(&mut sight.before[layout.ends[row.at].section], signal);
            }
            let mark = signal.index() as u32;
            open.clear();
            open.extend(&layout.ends[row.at].meets);
            while let Some(enter) = open.pop() {
                if std::mem::replace(&mut seen[enter], mark) == mark {
                    continue;
                }
                sight.look_over(layout, [layout.ends[enter].section], signal);
                for (_, leave) in layout.ways_from(enter) {
                    match layout.main_signal(leave) {
                        Some(next) => {
                            push_new(&mut sight.onto[next], signal);
                            if book.role() == Role::Main {
                                sight.look_over(layout, layout.overlap_sections(leave), signal);
                            }
                        }
                        None => open.extend(&layout.ends[leave].meets),
                    }
                }
            }
        }
        sight
    }

    /// A signal that depends on a section depends on whatever crosses it.
    fn look_over(&mut self, layout: &Layout, sections: impl IntoIterator<Item = SectionId>, signal: SignalId) {
        for section in sections {
            push_new(&mut self.into[section], signal);
            for &crossed in &layout.sections[section].crosses {
                push_new(&mut self.into[crossed], signal);
            }
        }
    }
}

fn push_new(list: &mut SmallVec<[SignalId; 2]>, signal: SignalId) {
    if !list.contains(&signal) {
        list.push(signal);
    }
}
