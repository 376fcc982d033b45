//! A corner of Low Staithe: two quay tracks that meet at W1, and a line of two sections that ends at a buffer stop.
//!
//! ```text
//! quay-1 a ===== b \
//!                   throat (W1) toe == a line-1 b == a line-2 b |
//! quay-2 a ===== b /
//! ```

use std::sync::Arc;
use std::time::Duration;

use signaller::{Direction, Fact, Input, Output, Time};
use testtrack::{FirstLie, Settings, Spread, Table};
use track::{
    Acceleration, Beyond, Builder, Detector, DetectorKind, EndId, Layout, Length, Lie, Scale, SectionId, SignalId,
    Speed, Train, TrainId, TurnoutId, Vehicle,
};

pub(crate) const ON_DELAY: Duration = Duration::from_millis(40);
pub(crate) const OFF_DELAY: Duration = Duration::from_millis(300);

pub(crate) fn vehicle(mm: i64, detectable: Option<(i64, i64)>) -> Vehicle {
    let detectable = detectable.map(|(first, last)| (Length::from_mm(first), Length::from_mm(last)));
    Vehicle { name: String::new(), length: Length::from_mm(mm), detectable, axles: Vec::new() }
}

/// 320 mm, the last 100 of them unseen.
pub(crate) fn heron() -> Train {
    Train {
        vehicles: vec![vehicle(120, Some((10, 110))), vehicle(100, Some((10, 90))), vehicle(100, None)],
        top_speed: Some(Speed::from_mm(280)),
        acceleration: Some(Acceleration::from_mm(120)),
        braking: Some(Acceleration::from_mm(200)),
        speed_tolerance_permille: 50,
        ..Train::stranger("Heron")
    }
}

/// A railcar of 150 mm.
pub(crate) fn plover() -> Train {
    Train { name: "Plover".into(), vehicles: vec![vehicle(150, Some((15, 135)))], ..heron() }
}

pub(crate) fn corner() -> Layout {
    corner_with(|_| {})
}

pub(crate) fn corner_with(more: impl FnOnce(&mut Builder)) -> Layout {
    let mut builder = Builder::new("Low Staithe", Scale::named("H0").unwrap());
    let watched = |builder: &mut Builder, name: &str, section| {
        let watching = Detector::new(name, DetectorKind::Area(section));
        builder.detector(Detector { on_delay: ON_DELAY, off_delay: OFF_DELAY, ..watching });
    };
    let plain = |builder: &mut Builder, name: &str, mm| {
        let section = builder.section(name);
        let (a, b) = (builder.end(section, "a"), builder.end(section, "b"));
        builder.way(a, b, Some(Length::from_mm(mm)));
        watched(builder, name, section);
        (a, b)
    };
    let (quay_1, quay_2) = (plain(&mut builder, "quay-1", 1450), plain(&mut builder, "quay-2", 1400));
    let (line_1, line_2) = (plain(&mut builder, "line-1", 1000), plain(&mut builder, "line-2", 1200));
    let throat = builder.section("throat");
    watched(&mut builder, "throat", throat);
    let (one, two, toe) = (builder.end(throat, "one"), builder.end(throat, "two"), builder.end(throat, "toe"));
    let w1 = builder.turnout("W1");
    builder.turnout_mut(w1).reported = true;
    for (end, mm, lie) in [(one, 240, Lie::Straight), (two, 245, Lie::Diverging)] {
        let way = builder.way(toe, end, Some(Length::from_mm(mm)));
        builder.need(way, w1, lie);
    }
    builder.join(quay_1.1, one);
    builder.join(quay_2.1, two);
    builder.join(toe, line_1.0);
    builder.join(line_1.1, line_2.0);
    for end in [quay_1.0, quay_2.0, line_2.1] {
        builder.close(end, Beyond::BufferStop);
    }
    for (name, end) in [("Q1", quay_1.1), ("Q2", quay_2.1), ("L1", line_1.0), ("L2", line_1.1), ("L3", line_2.0)] {
        builder.signal(name, end);
    }
    builder.stop("line-2 end", line_2.1, Length::from_mm(100));
    builder.train(heron());
    builder.train(plover());
    more(&mut builder);
    builder.build()
}

/// The corner with its turnout straight, and names to ids.
pub(crate) struct Corner {
    pub(crate) layout: Arc<Layout>,
    pub(crate) settings: Settings,
    pub(crate) table: Table,
}

impl Corner {
    pub(crate) fn new() -> Self {
        Self::of(corner())
    }

    pub(crate) fn of(layout: Layout) -> Self {
        let order_delay = Spread { least: Duration::ZERO, most: Duration::ZERO };
        Self::with(layout, &Settings { order_delay, ..Settings::seeded(11) })
    }

    pub(crate) fn with(layout: Layout, settings: &Settings) -> Self {
        let settings = Settings { turnouts_at_first: FirstLie::Straight, ..settings.clone() };
        let layout = Arc::new(layout);
        let table = Table::new(Arc::clone(&layout), &settings).unwrap();
        Self { layout, settings, table }
    }

    pub(crate) fn put(&mut self, train: &str, on: &[&str], nose: &str) {
        let on: Vec<_> = on.iter().map(|name| self.section(name)).collect();
        self.table.put_down(self.train(train), &on, Some(self.end(nose))).unwrap();
    }

    pub(crate) fn drive(&mut self, train: &str, direction: Direction, step: u8) {
        self.table.act(&Output::Drive { train: self.train(train), direction, step });
    }

    /// Lets time pass and gathers what arrives, with its time.
    pub(crate) fn run(&mut self, seconds: f64) -> Vec<(Time, Input)> {
        let until = self.table.now() + Duration::from_secs_f64(seconds);
        let mut heard = Vec::new();
        loop {
            let now = self.table.advance(until);
            let mut inputs = Vec::new();
            self.table.take_heard(&mut inputs);
            heard.extend(inputs.into_iter().map(|input| (now, input)));
            if now >= until {
                return heard;
            }
        }
    }

    /// How far the nose is from the end it heads for, in millimetres, and that end.
    pub(crate) fn nose(&self, train: &str) -> (String, f64) {
        let nose = self.table.nose(self.train(train)).unwrap();
        (self.layout.end_name(nose.towards), nose.short_of_end.mm())
    }

    pub(crate) fn section(&self, name: &str) -> SectionId {
        self.layout.section_named(name).unwrap()
    }

    pub(crate) fn end(&self, name: &str) -> EndId {
        self.layout.end_named(name).unwrap()
    }

    pub(crate) fn train(&self, name: &str) -> TrainId {
        self.layout.train_named(name).unwrap()
    }

    pub(crate) fn turnout(&self, name: &str) -> TurnoutId {
        self.layout.turnout_named(name).unwrap()
    }

    pub(crate) fn signal(&self, name: &str) -> SignalId {
        self.layout.signal_named(name).unwrap()
    }

    pub(crate) fn granted(&self, train: &str, sections: &[&str]) -> Output {
        let sections = sections.iter().map(|name| self.section(name)).collect();
        Output::Fact(Fact::RouteSet { train: self.train(train), sections })
    }
}
