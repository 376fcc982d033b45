//! Another layout takes the place of this one, while trains run.
//!
//! Where track is as it was nothing stops: trains, tags, grants, locks, holds and what was learned go on by their new numbers. Track
//! that is not as it was must be free of trains, and of everything that is kept for one; else all stays as it is, and the reasons
//! are told. After it, everything that holds is said again, for whoever hears only what is said by the new numbers.

use std::sync::Arc;

use track::{Layout, Renumbering, SectionId, TrainId};

use super::Signaller;
use crate::door::{Destination, Fact, Output, Tag};
use crate::interlock::Withdrawal;
use crate::snapshot::Gone;
use crate::time::Time;

/// A signaller on another layout.
#[derive(Debug)]
pub struct Changeover {
    /// It. Its next step says again all that holds.
    pub signaller: Signaller,
    /// What goes by which number now.
    pub numbers: Renumbering,
}

impl Signaller {
    /// A signaller that goes on where this one is, on another layout.
    ///
    /// # Errors
    /// Every reason, in plain words, why that cannot be now.
    pub fn change_over(&self, layout: &Arc<Layout>) -> Result<Changeover, Vec<String>> {
        let later = self.roster.ids().skip(self.layout.trains.len()).map(|train| self.roster.name(train));
        let numbers = Renumbering::between(&self.layout, layout, &later.collect::<Vec<_>>());
        let reasons = self.reasons_against(layout, &numbers);
        if !reasons.is_empty() {
            return Err(reasons);
        }
        let mut signaller = self.carried(layout, &numbers).map_err(|Gone(what)| {
            vec![format!("`{what}` is not as it was, and is still reckoned with; hint: stop all trains first")]
        })?;
        signaller.detect.count_anew();
        let touched = numbers.signals_touched.iter().filter_map(|&signal| numbers.signals[signal]);
        signaller.signals.tell_anew(&touched.collect::<Vec<_>>());
        signaller.says_again = true;
        Ok(Changeover { signaller, numbers })
    }

    fn reasons_against(&self, layout: &Layout, numbers: &Renumbering) -> Vec<String> {
        let mut reasons = Vec::new();
        if layout.scale != self.layout.scale {
            reasons.push("the scale is another one; hint: begin anew with it".to_owned());
        }
        if self.detect.is_anything_dark() {
            reasons.push("there is no power somewhere; hint: wait until it is back".to_owned());
        }
        if self.interlock.is_calling() {
            reasons.push("a roll call is going on; hint: wait until it is over".to_owned());
        }
        let track_changes = !numbers.keeps_numbers || !numbers.touched.is_empty();
        if let Some((route, _)) = self.interlock.set_routes().next().filter(|_| track_changes) {
            let signal = &self.layout.signals[route.entry].name;
            reasons.push(format!("a route is set from `{signal}`; hint: cancel it first"));
        }
        for &section in &numbers.touched {
            let what = if numbers.sections[section].is_some() { "is described otherwise" } else { "is gone" };
            if let Some(why) = self.why_in_use(section) {
                reasons.push(format!("{} {what}, and {why}", self.section(section)));
            }
        }
        for &train in &numbers.trains_touched {
            let what = if numbers.trains[train].is_some() { "is described otherwise" } else { "is described no more" };
            if let Some(why) = self.why_about(train) {
                reasons.push(format!("{} {what}, and {why}", self.train(train)));
            }
        }
        for train in self.roster.ids() {
            for goal in self.interlock.goals(train) {
                if let Destination::Stop(stop) = goal
                    && numbers.stops[stop].is_none()
                {
                    let (train, stop) = (self.train(train), &self.layout.stops[stop].name);
                    reasons.push(format!("`{stop}` is gone, and {train} is to go there; hint: stop it first"));
                }
            }
        }
        reasons
    }

    /// Why a section must stay as it is now; nothing where it need not.
    fn why_in_use(&self, section: SectionId) -> Option<String> {
        let turnouts = self.layout.sections[section].ways.iter().flat_map(|&way| &self.layout.ways[way].needs);
        let mut locked = turnouts.filter_map(|need| self.interlock.locked_for(need.turnout));
        let to = Destination::Section(section);
        if let Some(&train) = self.identity.holders(section).first() {
            Some(format!("{} is there, or may be; hint: let it leave first", self.train(train)))
        } else if self.identity.tag(section) == Tag::Unexplained && self.identity.is_reported(section) == Some(true) {
            Some("something is there that nobody knows; hint: say what it is first".to_owned())
        } else if let Some(train) = self.interlock.granted_to(section) {
            Some(format!("it is granted to {}; hint: stop it first", self.train(train)))
        } else if let Some(train) = locked.next() {
            Some(format!("its turnout is locked for {}; hint: stop it first", self.train(train)))
        } else if let Some(train) = self.interlock.planned_by(section) {
            Some(format!("{} is on its way over it; hint: stop it first", self.train(train)))
        } else {
            let bound = self.roster.ids().find(|&train| self.interlock.goals(train).any(|goal| goal == to));
            bound.map(|train| format!("{} is to go there; hint: stop it first", self.train(train)))
        }
    }

    /// Why a train must stay as it is described now; nothing where it need not.
    fn why_about(&self, train: TrainId) -> Option<String> {
        if self.identity.is_somewhere(train) {
            return Some("it stands on the layout; hint: take it off and lift it first".to_owned());
        }
        self.interlock.is_held(train).then(|| "it is held; hint: release it first".to_owned())
    }

    /// Says again all that holds, once, after a changeover.
    pub(super) fn say_again(&mut self, now: Time) {
        if !std::mem::take(&mut self.says_again) {
            return;
        }
        let mut facts: Vec<Fact> = Vec::new();
        facts.extend(self.detect.links_down().map(|link| Fact::LinkLost { link }));
        let known = self.inputs.known.iter().filter_map(|(input, on)| on.map(|on| (input, on)));
        facts.extend(known.map(|(input, on)| Fact::InputIs { input, on: Some(on) }));
        let sections = self.layout.sections.ids().filter(|&section| self.identity.was_tagged(section));
        facts.extend(sections.map(|section| Fact::Tagged { section, tag: self.identity.tag(section) }));
        for train in self.roster.ids() {
            let sections: Vec<SectionId> = self.interlock.granted_sections(train).collect();
            if !sections.is_empty() {
                facts.push(Fact::RouteSet { train, sections });
            }
            let has_departed = self.interlock.has_departed(train);
            facts.extend(
                self.interlock.destination(train).filter(|_| has_departed).map(|to| Fact::Departed { train, to }),
            );
            facts.extend(self.interlock.why_it_waits(train).map(|reason| Fact::Waiting { train, reason }));
            facts.extend(self.interlock.why_held(train).map(|reason| Fact::HoldSet { train, reason }));
        }
        // A train may have been granted them before.
        for (section, why) in self.interlock.withdrawals() {
            let because = match why {
                Withdrawal::OutOfService(reason) => reason.clone(),
                Withdrawal::InHandsOf(person) => format!("handed over to {person}"),
            };
            facts.push(Fact::Withdrawn { section, because });
        }
        for (route, stage) in self.interlock.set_routes() {
            facts.push(Fact::RouteStage { entry: route.entry, exit: self.interlock.exit_of(route), stage });
        }
        for (doubt, matter) in self.identity.open_doubts() {
            facts.push(Fact::DoubtRaised { doubt, about: self.in_words(now, matter) });
        }
        self.outputs.extend(facts.into_iter().map(Output::Fact));
        self.outputs.extend(self.drive.orders());
    }
}
