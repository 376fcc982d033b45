//! Conditioned occupancy in, accounts of who stands where out.
//!
//! A cluster of trains whose places depend on each other keeps a list of accounts, each a complete explanation of
//! everything heard, with its share of belief. What is heard in one instant is explained together, from every account
//! and in every order; what explains it badly fades, what is equal is merged, what no longer depends on each other is
//! taken apart.
//!
//! Invariants: a train is in exactly one cluster; weights of a cluster add up to 1; two trains of one cluster are never
//! seen in the same section by the same account; a bound that bites is kept as doubt, never cut silently.
//!
//! Read `account.rs` first, then `moves.rs` (what one report may mean) and `search.rs` (what an instant may mean).

mod account;
mod batch;
mod beside;
mod clusters;
mod couple;
mod doubts;
mod exchange;
mod gather;
mod matter;
mod memory;
mod moves;
mod odometer;
mod picture;
mod place;
mod plain;
mod position;
mod prices;
mod reconcile;
#[cfg(test)]
mod scene;
mod search;
mod shares;
mod strange;
mod stretch;
mod tags;
mod topology;
mod trail;
mod trust;
mod witness;
mod word;

use std::sync::Arc;
use std::time::Duration;

use smallvec::SmallVec;
use track::{EndId, Layout, Length, Lie, SectionId, Speed, Table, TrainId, TurnoutId};

pub(crate) use account::renumbered_who;
pub use batch::{Batch, Placement};
pub use couple::{Joining, Parting};
pub(crate) use doubts::{End, News};
pub(crate) use matter::{Alternative, Doubted, Matter, Place};
pub(crate) use odometer::{LATE, LATEST, MEASURED_WITHIN};
pub use picture::{Hold, NoseInterval, Pace, Whereabouts};
pub(crate) use position::NEXT_AXLE;
pub use position::SpotPassage;
pub use prices::Prices;
pub use trust::Trust;
pub(crate) use witness::{Evidence, Explanation, Note, Possible};

use account::{Account, Stand, Who};
use clusters::Clusters;
use doubts::Doubts;
use gather::Gather;
use memory::Memories;
use odometer::{Odometers, detectable_length};
use search::{Question, Search};
use shares::Share;
use stretch::Stretched;
use tags::Tags;
use topology::{Topology, way_length};
use trail::Trails;

use crate::roster::Roster;
use crate::snapshot::kept;
use crate::time::Time;

/// A train that had to be stopped in an emergency is not believed to do as it is told for so long. Common practice, no source.
const MISTRUST: Duration = Duration::from_secs(120);
/// The same of one that did otherwise than it was told: somebody may drive it who does not say so. Common practice, no source.
const HAS_DISOBEYED: Duration = Duration::from_secs(1800);
/// A train whose front is still on power runs on for up to so long when the power goes behind it. Common practice, no source.
const RUNS_ON: Duration = Duration::from_secs(1);

/// How far what a section's detector said last can be relied on.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub(crate) enum Standing {
    /// It is so now.
    Current,
    /// It is old news: the section counts as occupied, what was said of it stays, and is not sure any more, for trains
    /// may move there unheard.
    Old,
    /// There is no power: the section counts as occupied, and what was said of it stays, for nothing moves there.
    Dark,
    /// The same, but what was said of it need not have been so when the power went: the section filled in that moment, or that
    /// there is no power is only inferred from what a single train may have done, which may have been taken off.
    DarkPerhaps,
}

/// A train that was told to go and does not answer.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub struct Missing {
    /// The train.
    pub train: TrainId,
    /// Where its nose was seen last.
    pub nose: SectionId,
    /// A turnout may have led it another way than was thought.
    pub may_be_astray: bool,
}

/// All accounts of where the trains are.
#[derive(Debug)]
pub struct Identity {
    layout: Arc<Layout>,
    roster: Arc<Roster>,
    topology: Topology,
    prices: Prices,
    trust: Table<SectionId, Trust>,
    /// What each section's detector said last; nothing where it has never been heard.
    reported: Table<SectionId, Option<bool>>,
    /// How far what is said of each section can be relied on.
    standings: Table<SectionId, Standing>,
    /// Sections that went dark under the rear of a train that moved: it may have run on until it was out.
    run_out: Table<SectionId, bool>,
    /// Sections that went dark since the last instant.
    darkened: Vec<SectionId>,
    /// Sections that a person has found empty since their detectors said something last.
    found_empty: Table<SectionId, bool>,
    /// The trains for which power is cut in this step: they run away.
    runaways: SmallVec<[TrainId; 2]>,
    /// Those that are different since the last instant.
    changed_standing: Vec<SectionId>,
    /// How long what was last heard of each section had been kept back.
    kept_back: Table<SectionId, Duration>,
    filled_at: Table<SectionId, Time>,
    /// Sections that are said to be free, which is not believed yet.
    emptying: Vec<SectionId>,
    /// When each section emptied last.
    emptied_at: Table<SectionId, Time>,
    lies: Table<TurnoutId, Option<Lie>>,
    odometers: Odometers,
    /// To which train each section is granted.
    granted: Table<SectionId, Option<TrainId>>,
    /// Sections in which a train has turned back by itself.
    turned_in: Table<SectionId, bool>,
    clusters: Clusters,
    tags: Tags,
    trails: Trails,
    doubts: Doubts,
    memories: Memories,
    /// Sections that two trains share since they were uncoupled.
    shares: Vec<Share>,
    /// In how many sections the trains stood that share one, when they were uncoupled.
    parted: Vec<(TrainId, usize)>,
    stretched: Stretched,
    /// When something was heard last.
    heard_at: Time,
    strangers: u32,
    search: Search,
    gather: Gather,
    joint: Vec<Account>,
    /// Pairs of trains that may have been taken for each other, to be looked at in the next instant.
    suspected: Vec<(TrainId, Option<TrainId>)>,
    /// Trains that do not answer.
    missing: Vec<Missing>,
    /// Trains that were read a moment ago, and when: their section may just not have shown them yet.
    read_ahead: Vec<(Time, SectionId, TrainId)>,
    results: Vec<Account>,
    /// Trains near which something strange happened.
    strange: Vec<strange::Strange>,
    /// What happened to trains lately that was unusual.
    unusual: Vec<strange::Unusual>,
    /// Trains that somebody took off, and when.
    taken_off: Vec<(Time, TrainId)>,
    /// Trains that have answered a roll call since the last instant, and where.
    answered: Vec<(TrainId, SectionId)>,
    /// Takes note of how accounts come about, where somebody called it.
    witness: Option<Box<witness::Witness>>,
}

kept!(Identity {
    kept: [
        prices,
        trust,
        reported,
        standings,
        run_out,
        darkened,
        found_empty,
        runaways,
        changed_standing,
        kept_back,
        filled_at,
        emptied_at,
        emptying,
        lies,
        odometers,
        granted,
        turned_in,
        clusters,
        tags,
        trails,
        doubts,
        memories,
        shares,
        parted,
        stretched,
        heard_at,
        strangers,
        suspected,
        missing,
        read_ahead,
        strange,
        unusual,
        taken_off,
        answered,
    ],
    parts: [],
    made_anew: [layout, roster, topology, search, gather, joint, results, witness],
});

impl Identity {
    /// Nothing is known yet.
    pub fn new(layout: Arc<Layout>) -> Self {
        Self::with_prices(layout, Prices::DEFAULT)
    }

    /// The same, with other prices.
    pub fn with_prices(layout: Arc<Layout>, prices: Prices) -> Self {
        let sections = layout.sections.len();
        Self {
            roster: Roster::new(&layout),
            topology: Topology::new(&layout),
            prices,
            trust: trust::by_kind(&layout),
            reported: Table::filled(None, sections),
            standings: Table::filled(Standing::Current, sections),
            run_out: Table::filled(false, sections),
            darkened: Vec::new(),
            found_empty: Table::filled(false, sections),
            runaways: SmallVec::new(),
            changed_standing: Vec::new(),
            emptying: Vec::new(),
            kept_back: Table::filled(Duration::ZERO, sections),
            filled_at: Table::filled(Time::from_nanos(i64::MIN), sections),
            emptied_at: Table::filled(Time::from_nanos(i64::MIN), sections),
            lies: Table::filled(None, layout.turnouts.len()),
            odometers: Odometers::default(),
            granted: Table::filled(None, sections),
            turned_in: Table::filled(false, sections),
            clusters: Clusters::new(sections),
            tags: Tags::new(sections),
            trails: Trails::default(),
            doubts: Doubts::default(),
            memories: Memories::default(),
            shares: Vec::new(),
            parted: Vec::new(),
            stretched: Stretched::default(),
            heard_at: Time::ZERO,
            strangers: 0,
            strange: Vec::new(),
            unusual: Vec::new(),
            taken_off: Vec::new(),
            answered: Vec::new(),
            search: Search::default(),
            gather: Gather::default(),
            joint: Vec::new(),
            suspected: Vec::new(),
            missing: Vec::new(),
            read_ahead: Vec::new(),
            results: Vec::new(),
            witness: None,
            layout,
        }
    }

    /// Takes in everything heard at `now`. What changed can be read until the next call from [`Identity::retagged`] and
    /// [`Identity::moved`].
    pub fn observe(&mut self, now: Time, batch: &Batch) {
        self.tags.begin();
        for section in self.changed_standing.drain(..) {
            self.tags.touch_section(section);
            // What is said of the rest of a train there depends on it, too.
            for &cluster in self.clusters.at(section) {
                self.tags.touch(&self.clusters.cluster(cluster).accounts);
            }
        }
        for &(section, filled) in &batch.edges {
            self.found_empty[section] &= self.reported[section] == Some(filled);
        }
        self.hear_answers();
        self.stretched.clear();
        self.stretched.forget(&batch.lifted);
        self.heard_at = now;
        self.note_taken_off(&batch.lifted);
        let before = self.before(|| Evidence::Suspicion);
        self.add_exchanges();
        self.note(now, before);
        self.begin_reconciling(now, batch);
        self.make_up(now, batch);
        let mut gather = std::mem::take(&mut self.gather);
        let before = self.before(|| witness::put_down(batch));
        self.place_standing(now, batch, &mut gather);
        self.note(now, before);
        gather.lines(self, now, batch);
        gather.components(self, now, batch);
        let mut at = 0;
        while let Some(component) = gather.component(at) {
            let before = self.before_reports(now, &component.lines, &component.clusters, &component.lifted);
            self.explain(now, &component.lines, &component.clusters, &component.lifted);
            self.note(now, before);
            at += 1;
        }
        for line in gather.all_lines() {
            self.take_note(now, line);
        }
        self.gather = gather;
        self.weigh_words(now, batch);
        let before = self.before(|| Evidence::Remembered);
        self.reconcile(now);
        self.note(now, before);
        if !self.shares.is_empty() {
            self.settle_shares();
        }
        self.follow_tails();
        while let Some(section) = self.darkened.pop() {
            self.run_out[section] = self.may_run_out_of(section);
        }
        self.runaways.clear();
        self.touch_dark();
        self.retag();
        self.review_doubts();
    }

    /// Trains that were coupled and uncoupled.
    fn make_up(&mut self, now: Time, batch: &Batch) {
        if batch.joined.is_empty() && batch.parted.is_empty() {
            return;
        }
        let before = self.before(|| Evidence::MadeUp);
        for joining in &batch.joined {
            self.join(now, joining);
        }
        for parting in &batch.parted {
            self.part(now, parting);
        }
        self.note(now, before);
    }

    /// What readers, spots and people say of who is where.
    fn weigh_words(&mut self, now: Time, batch: &Batch) {
        for &(section, train) in &batch.read {
            let before = self.before(|| Evidence::Read(section, train));
            self.take_reading(now, section, train);
            self.note(now, before);
        }
        self.take_readings_ahead(now);
        for spot in &batch.passed {
            let section = self.layout.ways[spot.way].section;
            let before = self.before(|| Evidence::Passed(section));
            self.weigh_presence(section, None);
            self.pass_spot(now, spot);
            self.note(now, before);
        }
        for &(section, train) in &batch.named {
            // Who says in the same moment where all of another train stands, and that it is there too, knows better: two trains
            // in one section are more than can be followed.
            if batch.placed.iter().any(|placed| placed.train != train && placed.stands_on(section)) {
                continue;
            }
            let before = self.before(|| Evidence::Said(section, train));
            self.is_named(train);
            self.take_word(now, section, train);
            self.note(now, before);
        }
        for &section in &batch.emptied {
            let before = self.before(|| Evidence::FoundEmpty(section));
            self.take_emptiness(section);
            self.note(now, before);
        }
    }

    /// Explains the lines of one component from the accounts of its clusters.
    fn explain(&mut self, now: Time, lines: &[search::Line], clusters: &[clusters::ClusterId], lifted: &[Who]) {
        if lifted.is_empty() && self.explain_plainly(now, lines, clusters) {
            return;
        }
        let given_up = self.take_joint(clusters);
        let mut search = std::mem::take(&mut self.search);
        let mut results = std::mem::take(&mut self.results);
        let cut = search.explain(&self.question(now, lines, lifted), &self.joint, &mut results);
        (self.search, self.results) = (search, results);
        if self.results.is_empty() {
            self.keep_what_fits(lines, lifted);
        }
        self.note_strange(lines, self.search.likelihood);
        self.note_moved_unbidden(lines);
        self.note_beside_one_in_hand(lines);
        self.take_off_what_is_too_long(now);
        self.note_tails();
        self.note_turns();
        let given_up = given_up * 0.5 + cut;
        self.tags.touch(&self.joint);
        self.tags.touch(&self.results);
        self.clusters.add_split(&mut self.results, if given_up < self.prices.sure * 1e-2 { 0.0 } else { given_up });
    }

    /// Whether the section has filled since then.
    pub(crate) fn has_filled_since(&self, section: SectionId, since: Time) -> bool {
        self.reported[section] == Some(true) && self.filled_at[section] > since
    }

    /// What is to be explained now.
    fn question<'a>(
        &'a self,
        now: Time,
        lines: &'a [search::Line],
        lifted: &'a [Who],
    ) -> Question<'a, impl Fn(SectionId) -> bool + 'a> {
        Question {
            scene: self.scene(now),
            lines,
            lifted,
            filled: |section: SectionId| self.reported[section] == Some(true),
        }
    }

    /// The same in place, where there is one train and it just runs on.
    fn explain_plainly(&mut self, now: Time, lines: &[search::Line], clusters: &[clusters::ClusterId]) -> bool {
        let [cluster] = *clusters else { return false };
        let Some(before) = self.clusters.only_stand(cluster) else { return false };
        let is_strange = before.who.known().is_some_and(|train| self.is_strange(train));
        let is_as_told = !self.odometers.is_in_hand(before.who) && !self.odometers.has_stood(before.who, now, LATEST);
        let is_plain = !is_strange && is_as_told && !self.drags_unseen(before.who);
        if self.clusters.cluster(cluster).given_up > 0.0 || !is_plain {
            return false;
        }
        let mut after = before.clone();
        let scene = self.scene(now);
        if !scene.runs_on(&mut after, lines) || scene.is_stretched(&after) {
            return false;
        }
        #[cfg(debug_assertions)]
        self.compare_with_search(now, lines, before.clone(), &after);
        for hold in &before.holds {
            self.tags.touch_section(hold.section);
        }
        for hold in &after.holds {
            self.tags.touch_section(hold.section);
        }
        self.clusters.replace_only_stand(cluster, after);
        true
    }

    #[cfg(debug_assertions)]
    fn compare_with_search(&self, now: Time, lines: &[search::Line], before: account::Stand, after: &account::Stand) {
        let joint = [Account { weight: 1.0, stands: smallvec::smallvec![before] }];
        let mut results = Vec::new();
        Search::default().explain(&self.question(now, lines, &[]), &joint, &mut results);
        debug_assert!(
            results.len() == 1 && results[0].stands.len() == 1 && results[0].stands[0] == *after,
            "the search says {results:?}, running on says {after:?}"
        );
    }

    /// Joins the accounts of some clusters in `self.joint`.
    fn take_joint(&mut self, clusters: &[clusters::ClusterId]) -> f64 {
        self.joint.clear();
        let Some((&first, others)) = clusters.split_first() else {
            self.joint.push(Account { weight: 1.0, stands: smallvec::SmallVec::new() });
            return 0.0;
        };
        let mut given_up = self.clusters.take(first, &mut self.joint);
        let mut accounts = Vec::new();
        for &other in others {
            given_up += self.clusters.take(other, &mut accounts);
            self.joint = clusters::product(&self.joint, &accounts);
        }
        given_up
    }

    /// Where a train has certainly turned back, others will.
    fn note_turns(&mut self) {
        let ([before, ..], [after, ..]) = (self.joint.as_slice(), self.results.as_slice()) else { return };
        if after.weight < 1.0 - self.prices.sure {
            return;
        }
        for stand in &after.stands {
            let old = before.stands.iter().find(|old| old.who == stand.who);
            if let Some(old) = old.filter(|old| old.backward != stand.backward) {
                self.turned_in[old.nose().section] = true;
            }
        }
    }

    fn take_note(&mut self, now: Time, line: &search::Line) {
        let Some(&filled) = line.values.last() else { return };
        if line.values.contains(&true) && (!line.was || line.values.len() > 1) {
            self.filled_at[line.section] = now;
        }
        if line.values.contains(&false) && (line.was || line.values.len() > 1) {
            self.emptied_at[line.section] = now;
        }
        self.reported[line.section] = Some(filled);
        self.tags.touch_section(line.section);
    }

    /// A turnout is known to lie so, or it is not known how.
    pub fn set_lie(&mut self, turnout: TurnoutId, lie: Option<Lie>) {
        self.lies[turnout] = lie;
    }

    /// From now on trains are made of what this roster says.
    pub(crate) fn set_roster(&mut self, roster: Arc<Roster>) {
        self.roster = roster;
    }

    /// From now on a section is granted to this train, or to nobody: trains that are driven are not told to go anywhere
    /// else.
    pub fn set_granted(&mut self, section: SectionId, train: Option<TrainId>) {
        self.granted[section] = train;
    }

    /// What the section's detector said last; nothing where it was never heard.
    pub fn is_reported(&self, section: SectionId) -> Option<bool> {
        self.reported[section]
    }

    /// Whether the section's detector says that something is there. Unknown counts as occupied; a dark section says
    /// nothing and counts as free unless some account puts a train there.
    pub fn is_occupied(&self, section: SectionId) -> bool {
        if self.standings[section] != Standing::Current {
            true
        } else if self.topology.is_dark(section) {
            self.may_hold_anything(section)
        } else {
            self.reported[section] != Some(false)
        }
    }

    /// Whether some account that counts puts anything into the section.
    fn may_hold_anything(&self, section: SectionId) -> bool {
        let accounts = self.clusters.at(section).iter().flat_map(|&cluster| &self.clusters.cluster(cluster).accounts);
        let mut counting = accounts.filter(|account| account.weight >= self.prices.sure);
        counting.any(|account| account.stands.iter().any(|stand| stand.position(section).is_some()))
    }

    /// Whether its detector was heard and can be relied on now.
    pub fn is_known(&self, section: SectionId) -> bool {
        self.standings[section] == Standing::Current && self.reported[section].is_some()
    }

    /// From now on what the section's detector said last is to be relied on so far.
    pub(crate) fn set_standing(&mut self, section: SectionId, standing: Standing) {
        let before = std::mem::replace(&mut self.standings[section], standing);
        if before != standing {
            self.changed_standing.push(section);
        }
        if !matches!(before, Standing::Dark | Standing::DarkPerhaps) {
            self.run_out[section] = false;
            if self.is_frozen(section) {
                self.darkened.push(section);
            }
        }
    }

    /// From now on these trains do not answer.
    pub(crate) fn set_missing(&mut self, missing: &[Missing]) {
        for astray in self.missing.iter().chain(missing).filter(|missing| missing.may_be_astray) {
            self.changed_standing.extend(self.topology.beside(astray.nose));
        }
        self.missing.clear();
        self.missing.extend_from_slice(missing);
    }

    /// Power is cut in this step because this train runs away.
    pub(crate) fn note_runaway(&mut self, train: TrainId) {
        self.runaways.push(train);
    }

    /// Whether a train that moved as the power went may have drawn out of the section, which nobody hears: its rear is there and its
    /// nose farther on, or it can have run so far, reports being late.
    fn may_run_out_of(&self, section: SectionId) -> bool {
        let clusters = self.clusters.at(section).iter().flat_map(|&cluster| &self.clusters.cluster(cluster).accounts);
        clusters.flat_map(|account| &account.stands).any(|stand| {
            let Some(at) = stand.position(section) else { return false };
            let is_seen_ahead = || stand.holds[at + 1..].iter().any(|hold| hold.seen);
            let is_past = || is_seen_ahead() || self.may_be_past_its_section(stand, section);
            let runs_away = stand.who.known().is_some_and(|train| self.runaways.contains(&train));
            runs_away || self.odometers.has_moved(stand.who, self.heard_at) && is_past()
        })
    }

    /// Whether a train whose nose is in a section may be out of it with all that detectors see by the time it stands, if its reports
    /// came as late as they may. Not asked where nobody said when the power went: it stood by then.
    fn may_be_past_its_section(&self, stand: &Stand, section: SectionId) -> bool {
        let far = || {
            let enter = stand.nose().enter?;
            let length = way_length(&self.layout, enter, None).unwrap_or(moves::SHORTEST);
            let (seen, ..) = detectable_length(&self.roster, stand.who)?;
            let is_live = |&entry: &EndId| !self.is_frozen(self.topology.section_of[entry]);
            let mut ahead = self.topology.passages(enter).iter().flat_map(|passage| self.topology.meets(passage.leave));
            let runs_on = if ahead.any(is_live) { RUNS_ON } else { Duration::ZERO };
            let most =
                self.odometers.far(stand, self.heard_at)? + self.odometers.lately(stand.who, self.heard_at, runs_on);
            Some(most - seen - length)
        };
        let is_told = self.standings[section] == Standing::Dark;
        is_told && stand.nose().section == section && far().is_some_and(|beyond| beyond > Length::ZERO)
    }

    /// From now on these sections, and no others, are said to be free, which is not believed yet.
    pub(crate) fn note_emptying(&mut self, sections: impl Iterator<Item = SectionId>) {
        self.emptying.clear();
        self.emptying.extend(sections);
    }

    pub(crate) fn is_emptying(&self, section: SectionId) -> bool {
        self.emptying.contains(&section)
    }

    /// What is heard of the section next happened so long before.
    pub(crate) fn set_kept_back(&mut self, section: SectionId, kept: Duration) {
        self.kept_back[section] = kept;
    }

    /// Whether the section has no power, or it is not yet known to be back.
    pub fn is_frozen(&self, section: SectionId) -> bool {
        matches!(self.standings[section], Standing::Dark | Standing::DarkPerhaps)
    }

    /// Whether some account, or a memory, has the train on the layout.
    pub(crate) fn is_somewhere(&self, train: TrainId) -> bool {
        self.clusters.home(train).is_some() || self.memories.pending.iter().any(|it| it.train == train)
    }

    /// The sections of which something else is said now than before the last [`Identity::observe`].
    pub fn retagged(&self) -> &[SectionId] {
        self.tags.changed()
    }

    /// What was found out in the last [`Identity::observe`] of what is not known.
    pub(crate) fn news_of_doubts(&self) -> &[News] {
        self.doubts.news()
    }

    /// The sections near which something changed in the last [`Identity::observe`], whether or not their tag did.
    pub fn touched(&self) -> &[SectionId] {
        self.tags.touched()
    }

    /// From now on somebody drives the train who does not say how.
    pub fn forget_pace(&mut self, train: TrainId) {
        self.odometers.forget(train);
        let Some(home) = self.clusters.home(train) else { return };
        for stand in self.clusters.accounts_mut(home).iter_mut().flat_map(|account| &mut account.stands) {
            if stand.who == Who::train(train) {
                stand.head = account::Head::UNKNOWN;
            }
        }
    }

    /// Whether the train does as it is told is in question from now on, for a while.
    pub fn mistrust(&mut self, train: TrainId, now: Time) {
        self.odometers.mistrust(train, now + MISTRUST);
    }

    /// The train was where, or moved when, it was told not to: it may do so again.
    pub(crate) fn has_disobeyed(&mut self, train: TrainId, now: Time) {
        self.odometers.mistrust(train, now + HAS_DISOBEYED);
    }

    /// The train stands, after somebody drove it who did not say how: its nose may be anywhere in its section, and its
    /// blind end beyond.
    pub fn take_back(&mut self, train: TrainId, now: Time) {
        self.odometers.set_pace(train, now, Pace { least: Speed::ZERO, most: Speed::ZERO });
        self.anchor_anywhere(train, now);
    }

    /// From now on the train moves between these speeds, in the direction of its nose. Trains of which this was never
    /// said may move as they like.
    pub fn set_pace(&mut self, train: TrainId, now: Time, pace: Pace) {
        let first = !self.odometers.is_driven(Who::train(train));
        self.odometers.set_pace(train, now, pace);
        if first {
            self.anchor(train, now);
        }
    }
}
