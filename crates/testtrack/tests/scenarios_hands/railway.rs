//! The demo railway with the signaller in charge, and somebody to ask it for things.

use std::sync::Arc;
use std::time::Duration;

use signaller::{Answer, Destination, Direction, Fact, Output, Request, Tag, Ticket, Time};
use testtrack::{Fault, Faults, FirstLie, Rate, Session, Settings, Table, Traffic, Violation};
use track::{Layout, SectionId, TrainId};

pub(crate) struct Railway {
    pub(crate) session: Session,
    layout: Arc<Layout>,
    tags: Vec<(SectionId, Tag)>,
    arrived: Vec<TrainId>,
    refused: Vec<Ticket>,
    traffic: Option<Traffic>,
}

fn low_staithe() -> Arc<Layout> {
    let loaded = layout::load(|name| {
        let text = match name {
            layout::TRACK_FILE => include_str!("../../../../demo-layout/layout.toml"),
            layout::TRAINS_FILE => include_str!("../../../../demo-layout/trains.toml"),
            _ => return Ok(None),
        };
        Ok(Some(text.as_bytes().to_vec()))
    });
    Arc::new(loaded.unwrap_or_else(|refused| panic!("{refused}")).layout)
}

/// This goes wrong every time that it can.
pub(crate) fn always(fault: Fault) -> Faults {
    Faults::NONE.with(fault, Rate::PerMillion(1_000_000))
}

impl Railway {
    /// Every train where the layout says it stands, every turnout straight, and nothing goes wrong by itself.
    pub(crate) fn new(seed: u64) -> Self {
        Self::under(seed, Faults::NONE)
    }

    pub(crate) fn under(seed: u64, faults: Faults) -> Self {
        let layout = low_staithe();
        let settings = Settings { faults, turnouts_at_first: FirstLie::Straight, ..Settings::seeded(seed) };
        let session = Session::new(Arc::clone(&layout), &settings).unwrap();
        let nothing = (Vec::new(), Vec::new(), Vec::new());
        let mut railway =
            Self { session, layout, tags: nothing.0, arrived: nothing.1, refused: nothing.2, traffic: None };
        railway.run(1.0);
        railway
    }

    /// From now on every train is sent about by lot.
    pub(crate) fn let_traffic_begin(&mut self, seed: u64) {
        self.traffic = Some(Traffic::new(&self.layout, seed));
        self.session.desk().call_at(Time::ZERO);
    }

    pub(crate) fn run(&mut self, seconds: f64) {
        let until = self.session.now() + Duration::from_secs_f64(seconds);
        let (tags, arrived, refused) = (&mut self.tags, &mut self.arrived, &mut self.refused);
        let traffic = &mut self.traffic;
        self.session.run_until(until, &mut |moment, desk| {
            if let Some(traffic) = traffic {
                traffic.hear(moment, desk);
            }
            for output in moment.outputs {
                match output {
                    Output::Fact(Fact::Tagged { section, tag }) => {
                        tags.retain(|(of, _)| of != section);
                        tags.push((*section, tag.clone()));
                    }
                    Output::Fact(Fact::Arrived { train, .. }) => arrived.push(*train),
                    Output::Fact(Fact::Answered { ticket, answer: Answer::Refused(_) }) => refused.push(*ticket),
                    _ => {}
                }
            }
        });
    }

    /// Runs until it is so, for so many minutes at most. Tells whether it came to be so.
    pub(crate) fn run_until(&mut self, minutes: i64, is_so: impl Fn(&Self) -> bool) -> bool {
        let until = self.session.now() + Duration::from_secs(60 * minutes as u64);
        while self.session.now() < until {
            if is_so(self) {
                return true;
            }
            self.run(0.1);
        }
        is_so(self)
    }

    pub(crate) fn table(&mut self) -> &mut Table {
        self.session.table_mut()
    }

    pub(crate) fn train(&self, name: &str) -> TrainId {
        self.layout.train_named(name).unwrap()
    }

    pub(crate) fn section(&self, name: &str) -> SectionId {
        self.layout.section_named(name).unwrap()
    }

    pub(crate) fn layout(&self) -> &Layout {
        &self.layout
    }

    pub(crate) fn send(&mut self, train: &str, section: &str) -> Ticket {
        let (train, to) = (self.train(train), Destination::Section(self.section(section)));
        self.arrived.retain(|arrived| *arrived != train);
        self.session.desk().request(Request::Go { train, to })
    }

    pub(crate) fn ask(&mut self, request: Request) -> Ticket {
        self.session.desk().request(request)
    }

    pub(crate) fn is_refused(&self, ticket: Ticket) -> bool {
        self.refused.contains(&ticket)
    }

    pub(crate) fn has_arrived(&self, train: &str) -> bool {
        self.arrived.contains(&self.train(train))
    }

    pub(crate) fn lies_in(&self, train: &str, section: &str) -> bool {
        self.session.table().covers(self.train(train), self.section(section))
    }

    pub(crate) fn is_moving(&self, train: &str) -> bool {
        self.session.table().speed(self.train(train)) != track::Speed::ZERO
    }

    pub(crate) fn tag(&self, section: &str) -> Option<&Tag> {
        let section = self.section(section);
        self.tags.iter().find(|(of, _)| *of == section).map(|(_, tag)| tag)
    }

    /// The way that a train moves, or moved last.
    pub(crate) fn leading(&self, train: &str) -> Direction {
        self.session.table().leading(self.train(train))
    }

    /// Nothing that must never happen did, and no accident of any kind.
    pub(crate) fn is_in_order(&self) {
        let all = |list: &[Violation]| list.iter().map(ToString::to_string).collect::<Vec<_>>();
        assert_eq!(all(self.session.violations()), [] as [String; 0]);
        assert_eq!(all(self.session.excused()), [] as [String; 0], "accidents that nobody could know of");
    }
}
