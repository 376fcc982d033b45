//! A state in words, for whoever has to find out what went wrong.

use std::fmt::Write;

use track::{SectionId, TrainId};

use super::actions::Action;
use super::cases::Case;
use super::rails::{Passing, Truth};
use super::state::State;

impl State {
    /// How things are, a line a train, and what happens then.
    pub(super) fn in_words(&self, case: &Case, then: Option<Action>) -> String {
        let mut text = String::new();
        for start in &case.trains {
            let (train, run) = (start.train, &self.interlock.runs[start.train]);
            let _ = write!(text, "  {}", self.train_in_words(case, train, &self.rails.trains[train]));
            let granted = run.granted.iter().map(|passage| passage.section);
            let _ = write!(text, ", has {} (nose {}, proved {})", names(case, granted), run.nose, run.proved);
            let plan = run.plan.iter().map(|passage| passage.section);
            let _ = write!(text, ", plans {}", names(case, plan));
            let admitted = if run.is_admitted { "admitted" } else { "not admitted" };
            let _ = write!(text, ", {admitted}, to {:?}, waits for {:?}", run.to, run.waits_for);
            let _ = writeln!(text, ", held: {:?}", self.is_held(train));
        }
        for (turnout, blades) in self.rails.turnouts.iter() {
            let name = &case.layout.turnouts[turnout].name;
            let _ = write!(text, "  {name} lies {:?}, moves to {:?};", blades.lies, blades.moves_to);
        }
        let _ = match then {
            Some(action) => writeln!(text, "\n{action:?}"),
            None => writeln!(text, "\nbroken: {:?}", self.broken),
        };
        text
    }

    fn train_in_words(&self, case: &Case, train: TrainId, truth: &Truth) -> String {
        let on = names(case, truth.path.iter().map(|passage| passage.section));
        let ahead = names(case, truth.ahead.iter().map(|passage| passage.section));
        let untold = match truth.untold {
            Some(Passing::Entered(passage)) => format!(", unheard in {}", case.layout.sections[passage.section].name),
            Some(Passing::Left(section)) => format!(", unheard out of {}", case.layout.sections[section].name),
            None => String::new(),
        };
        let (name, reaches) = (&case.layout.trains[train].name, self.board.stands[train].reaches.is_some());
        let reaches = if reaches { ", may reach farther" } else { "" };
        let how = match (truth.moves, truth.brakes) {
            (false, _) => "stands",
            (true, false) => "runs",
            (true, true) => "brakes",
        };
        format!("{name} {how} in {on}{untold}{reaches}, may run over {ahead}, {} done", truth.done)
    }
}

fn names(case: &Case, sections: impl Iterator<Item = SectionId>) -> String {
    let names: Vec<&str> = sections.map(|section| case.layout.sections[section].name.as_str()).collect();
    format!("[{}]", names.join(" "))
}
