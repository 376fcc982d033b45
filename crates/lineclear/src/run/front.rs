//! Those who look and ask through the control door: what is laid out for them, and what is owed to them.

use std::collections::{BTreeMap, VecDeque};
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::{Duration, Instant};

use hooks::{ClockTime, ScriptWish};
use panel::past::Past;
use panel::profile::{ProfileRow, profile_row};
use panel::rows::{ClockRow, EvidenceRow, LineRow, Phase as Shown, QuestionRow, Weight as Attention, WhyRow};
use panel::{
    Access, Asked, Beside, Call, Certificates, Counter, Door, Fate, Glance, KeyTaken, Matter, Opening, Wish, why_row,
};
use signaller::{Answer, Board, Fact, Output, Ticket};
use tokio::sync::oneshot;
use track::{Layout, SectionId};

use super::booked::{Asker, Book, Durable, KnownKey};
use super::house::{Answered, Audience, Heard, House, Recorded};
use super::pace::Pace;
use super::recorded::OpenRegister;
use super::shell::Phase;
use super::watched::Chosen;
use super::words::{Teller, Weight};

/// How often it is noted what the links brought.
const NOTED: Duration = Duration::from_secs(1);

/// What there is to see is laid out no more often.
const APART: Duration = Duration::from_millis(50);

/// So many keys of requests are remembered, the latest.
const KEYS: usize = 10_000;

/// Somebody who waits to hear what became of a request.
type Waiting = oneshot::Sender<Result<Fate, KeyTaken>>;

/// The counter, and who waits at it.
pub(super) struct Front {
    counter: Counter,
    teller: Teller,
    owed: BTreeMap<Ticket, Owed>,
    keys: Keys,
    /// Answers that are not durable yet.
    decided: VecDeque<Answered>,
    laid_out: Option<Instant>,
    /// When it was noted last what the links brought.
    noted: Option<Instant>,
    /// The folder of the scripts, and those that were chosen instead.
    scripts: Chosen,
    names: register::Names,
    /// What was heard last that changed what is said of a section.
    evidence: BTreeMap<SectionId, Arc<EvidenceRow>>,
}

/// What is owed to those who asked.
enum Owed {
    /// An answer, to this one.
    To(Waiting),
    /// An answer, to everybody who used this key.
    Keyed(String),
}

/// What was asked under which key, and what became of it.
#[derive(Default)]
struct Keys {
    known: BTreeMap<String, Keyed>,
    order: VecDeque<String>,
}

struct Keyed {
    wish: Wish,
    fate: Result<Fate, Vec<Waiting>>,
}

impl Front {
    /// Opens the door, and lets people in from now on.
    ///
    /// # Errors
    /// As [`Door::open`].
    pub(super) async fn open(
        address: SocketAddr,
        house: &House,
        pace: Pace,
        beside: Beside,
        scripts: Chosen,
        (access, certificates): (Option<Access>, Option<Certificates>),
    ) -> std::io::Result<(Self, SocketAddr)> {
        let past = house.book().map(|book| Arc::new(OpenRegister { path: book.path().to_owned() }) as Arc<dyn Past>);
        let opening = Opening { beside, past, access, certificates };
        let (counter, door) = Door::open(address, glance(house, Phase::Running, pace), opening).await?;
        let address = door.address()?;
        tokio::spawn(async move {
            if let Err(error) = door.serve().await {
                tracing::error!(%error, "nobody can come in by the control door any more");
            }
        });
        let teller = Teller::new(house.board().layout());
        let front = Self {
            counter,
            teller,
            owed: BTreeMap::new(),
            keys: Keys::default(),
            decided: VecDeque::new(),
            laid_out: None,
            noted: None,
            scripts,
            names: register::Names::new(Arc::clone(house.board().layout())),
            evidence: BTreeMap::new(),
        };
        Ok((front, address))
    }

    /// What it is called for next.
    pub(super) async fn next(&mut self) -> Option<Call> {
        self.counter.next().await
    }

    /// Says why a section has its tag.
    pub(super) fn explain(&self, section: &str, answer: oneshot::Sender<WhyRow>, house: &House) {
        // One that is gone since it was asked is told nothing.
        let Some(section) = self.counter.section_named(section) else { return };
        let evidence = self.evidence.get(&section).map(|row| EvidenceRow::clone(row));
        let row = why_row(house.board(), section, house.why(section), evidence);
        let _ = answer.send(row);
    }

    /// Says how fast a train is at each of its speed steps.
    pub(super) fn tell_profile(&self, train: &str, answer: oneshot::Sender<ProfileRow>, house: &House) {
        // One that is gone since it was asked is told nothing.
        let Some(train) = self.counter.train_named(train) else { return };
        let Some(profile) = house.profile(train) else { return };
        let row = profile_row(house.board().layout(), train, house.now().secs_f64(), &profile);
        let _ = answer.send(row);
    }

    /// What is told from now on is of another layout.
    pub(super) fn relay(&mut self, layout: &Arc<Layout>) {
        self.teller = Teller::new(layout);
        self.names = register::Names::new(Arc::clone(layout));
        self.evidence.clear();
    }

    /// What is shown from now on is of another layout.
    pub(super) fn describe(&mut self, house: &House, phase: Phase, pace: Pace, beside: Beside) {
        self.counter.describe(glance(house, phase, pace), beside);
    }

    /// Hands a request in, unless it was asked before.
    pub(super) fn take(&mut self, asked: Asked, house: &mut House) {
        let wish = asked.wish.clone();
        let owed = match asked.key.clone() {
            None => Owed::To(asked.answer),
            Some(key) => match self.keys.known.get_mut(&key) {
                Some(before) if before.wish != asked.wish => {
                    let _ = asked.answer.send(Err(KeyTaken));
                    return;
                }
                Some(Keyed { fate: Ok(fate), .. }) => {
                    let _ = asked.answer.send(Ok(fate.clone()));
                    return;
                }
                Some(Keyed { fate: Err(waiting), .. }) => {
                    waiting.push(asked.answer);
                    return;
                }
                None => match known_before(house, &key, &asked.matter) {
                    Some(KnownKey::Other) => {
                        let _ = asked.answer.send(Err(KeyTaken));
                        return;
                    }
                    Some(KnownKey::Same(Some(answer))) => {
                        let _ = asked.answer.send(Ok(fate(answer, house.now().secs_f64())));
                        return;
                    }
                    // What was lost before it was answered is asked anew.
                    Some(KnownKey::Same(None)) | None => {
                        self.keys.add(key.clone(), asked.wish, asked.answer);
                        Owed::Keyed(key)
                    }
                },
            },
        };
        let ticket = match asked.matter {
            Matter::Signaller(request) => match house.why_not(&request) {
                Some(reason) => house.refuse(reason),
                None => {
                    let by = "somebody at the control door".to_owned();
                    house.ask(request, Asker { by, key: asked.key })
                }
            },
            Matter::Scripts => match script_wish(&wish, &self.scripts, house.board().layout()) {
                Ok(wish) => house.ask_scripts(wish),
                Err(reason) => house.refuse(reason),
            },
        };
        self.owed.insert(ticket, owed);
    }

    /// Whether answers are held back until they are durable.
    pub(super) fn owes(&self) -> bool {
        !self.decided.is_empty()
    }

    /// Tells those who wait what became of their requests, once that would still be there after a crash. Who left meanwhile is
    /// told nothing. What came of it is laid out before: whoever hears that it is done can see it.
    pub(super) fn settle(&mut self, house: &mut House, phase: Phase, pace: Pace) {
        let answers = house.take_answers();
        if !answers.is_empty() {
            self.laid_out = None;
            self.show(house, phase, pace);
        }
        self.decided.extend(answers);
        while let Some(Answered { step, at, .. }) = self.decided.front() {
            let at = at.secs_f64();
            let durable = match (*step, house.book()) {
                (Recorded::Under(step), Some(book)) => book.durable(step),
                (Recorded::Refused, Some(_)) => Durable::Never("the register takes nothing more".to_owned()),
                _ => Durable::Yes,
            };
            if durable == Durable::NotYet {
                return;
            }
            let Some(Answered { ticket, answer, .. }) = self.decided.pop_front() else { return };
            let fate = match (answer, durable) {
                (Answer::Accepted, Durable::Never(why)) => {
                    Fate::Failed { reason: format!("it is done, but it would be forgotten after a crash: {why}") }
                }
                (answer, _) => fate(answer, at),
            };
            self.counter.metrics().answered(&fate);
            match self.owed.remove(&ticket) {
                Some(Owed::To(waiting)) => drop(waiting.send(Ok(fate))),
                Some(Owed::Keyed(key)) => self.keys.settle(&key, &fate),
                None => {}
            }
        }
    }

    /// Lays out what there is to see, if it is time.
    pub(super) fn show(&mut self, house: &mut House, phase: Phase, pace: Pace) {
        self.counter.metrics().beat();
        for step in house.take_steps() {
            self.counter.metrics().stepped(step.inputs, step.took);
        }
        self.counter.metrics().register_waits(house.book().map_or(0, Book::waiting));
        if self.noted.is_none_or(|at| at.elapsed() >= NOTED)
            && let Some(outside) = house.outside()
        {
            self.noted = Some(Instant::now());
            let health = outside.health();
            self.counter.metrics().heard(health.iter().map(|link| {
                let heard = link.heard.iter().map(|(&thing, at)| (outside.thing(thing), at.elapsed()));
                (link.name.as_str(), link.reports, heard.collect())
            }));
        }
        if self.laid_out.is_none_or(|at| at.elapsed() >= APART) {
            self.laid_out = Some(Instant::now());
            house.look();
            self.counter.show(glance(house, phase, pace));
        }
    }
}

impl Audience for Front {
    fn hear(&mut self, heard: &Heard<'_>) {
        // All that changed in one instant did so for what was heard in it: on a large layout that may be ten thousand reports,
        // which are put into words once.
        let mut evidence: Option<Arc<EvidenceRow>> = None;
        for output in heard.outputs {
            if let Output::Fact(Fact::Tagged { section, .. }) = output {
                let row = evidence.get_or_insert_with(|| {
                    let words = heard.inputs.iter().map(|input| self.names.input(input)).collect();
                    Arc::new(EvidenceRow { at: heard.now.secs_f64(), heard: words })
                });
                self.evidence.insert(*section, Arc::clone(row));
            }
        }
        for line in self.teller.lines(heard) {
            let weight = match line.weight {
                Weight::Ordinary => Attention::Ordinary,
                Weight::Notable => Attention::Notable,
                Weight::Grave => Attention::Grave,
            };
            self.counter.say(LineRow { at: line.at.secs_f64(), weight, text: line.text });
        }
    }
}

impl Keys {
    fn add(&mut self, key: String, wish: Wish, waiting: Waiting) {
        while self.order.len() >= KEYS {
            if let Some(oldest) = self.order.pop_front() {
                self.known.remove(&oldest);
            }
        }
        self.order.push_back(key.clone());
        self.known.insert(key, Keyed { wish, fate: Err(vec![waiting]) });
    }

    fn settle(&mut self, key: &str, fate: &Fate) {
        let Some(keyed) = self.known.get_mut(key) else { return };
        if let Err(waiting) = std::mem::replace(&mut keyed.fate, Ok(fate.clone())) {
            for one in waiting {
                let _ = one.send(Ok(fate.clone()));
            }
        }
    }
}

/// What is known from the shifts before of a key under which something was asked of the signaller. What was asked of scripts is
/// not kept.
fn known_before(house: &House, key: &str, matter: &Matter) -> Option<KnownKey> {
    match matter {
        Matter::Signaller(request) => house.book()?.known_key(key, request),
        Matter::Scripts => None,
    }
}

/// What is asked of the scripts, as they hear it.
fn script_wish(wish: &Wish, scripts: &Chosen, layout: &Layout) -> Result<ScriptWish, String> {
    Ok(match wish {
        Wish::Answer { question, answer } => ScriptWish::Answer { question: *question, answer: answer.clone() },
        // Scripts that listen to the input would never hear of it.
        Wish::Press { button } if layout.input_named(button).is_some() => {
            return Err(format!(
                "`{button}` is an input; hint: work it, with `lineclear tell input \"{button}\" on` and then with `off`"
            ));
        }
        Wish::Press { button } => ScriptWish::Press { button: button.clone() },
        Wish::ReloadScripts {} => {
            ScriptWish::Reload(super::chosen_scripts(&scripts.0, &scripts.1).map_err(|error| error.to_string())?)
        }
        Wish::SetClock { to } => ScriptWish::SetClock(ClockTime::read(to)?),
        Wish::StartClock { pace } => ScriptWish::StartClock(*pace),
        Wish::PauseClock {} => ScriptWish::PauseClock,
        _ => return Err("that is not for the scripts".to_owned()),
    })
}

fn fate(answer: Answer, at: f64) -> Fate {
    match answer {
        Answer::Accepted => Fate::Accepted { at },
        Answer::Refused(refusal) => Fate::Refused { at, reason: refusal.reason },
    }
}

fn glance(house: &House, phase: Phase, pace: Pace) -> Glance {
    let board: Board = house.board().clone();
    let phase = match phase {
        Phase::Running => Shown::Running,
        Phase::Halted => Shown::Halted,
        Phase::Ending => Shown::Ending,
    };
    let pace = match pace {
        Pace::Times(times) => Some(times),
        Pace::Fast => None,
    };
    let shown = house.shown_of_scripts();
    let clock = shown.clock.is_used().then(|| {
        let (clock, shows) = (&shown.clock, shown.clock.shows(house.now()));
        ClockRow { shows: shows.to_string(), day: shows.day(), pace: clock.pace(), runs: clock.is_running() }
    });
    let questions = shown.questions.into_iter().map(|question| {
        let hooks::Question { number, file, text, answers } = question;
        QuestionRow { number, script: file, text, answers }
    });
    let (broken_rules, questions) = (house.violations().len() as u64, questions.collect());
    Glance { board, phase, pace, broken_rules, clock, questions }
}
