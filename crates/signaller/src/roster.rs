//! What each train is made of now: as the layout describes it, until trains are coupled and uncoupled.
//!
//! Whoever reckons with the length of a train or with what of it a detector sees asks the roster, never the layout. A roster is
//! shared and never changes; whoever changes a train hands out a new one.

use std::sync::Arc;

use track::{Axle, Id, Layout, Length, Table, Train, TrainId, Vehicle};

/// All trains as they are now.
#[derive(Clone, Debug, Default, serde::Serialize, serde::Deserialize)]
pub struct Roster {
    rows: Table<TrainId, Row>,
}

#[derive(Clone, Debug, serde::Serialize, serde::Deserialize)]
struct Row {
    train: Train,
    measure: Option<Measure>,
}

/// The lengths of a train, worked out once.
#[derive(Clone, Copy, Debug, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
pub struct Measure {
    /// From its first to its last axle that a detector can see.
    pub seen: Length,
    /// Ahead of the first such axle.
    pub blind_front: Length,
    /// Behind the last such axle.
    pub blind_rear: Length,
    /// How much of the front a section has to be kept for that no detector sees it leave: the blind end less its overhang.
    pub hidden_front: Length,
    /// The same at the rear.
    pub hidden_rear: Length,
    /// The longest stretch between them that no detector can see.
    pub blind_gap: Length,
}

impl Row {
    fn new(train: Train) -> Self {
        let measure = train.length().map(|length| {
            let (blind_front, blind_rear) = (train.blind_front(), train.blind_rear());
            let seen = (length - blind_front - blind_rear).max(Length::ZERO);
            Measure {
                seen,
                blind_front,
                blind_rear,
                hidden_front: (blind_front - train.overhang_front()).max(Length::ZERO),
                hidden_rear: (blind_rear - train.overhang_rear()).max(Length::ZERO),
                blind_gap: train.blind_gap(),
            }
        });
        Self { train, measure }
    }
}

impl Roster {
    /// The trains as the layout describes them.
    pub fn new(layout: &Layout) -> Arc<Self> {
        Arc::new(Self { rows: layout.trains.values().cloned().map(Row::new).collect() })
    }

    /// The train; nothing where its id was never given out.
    pub fn train(&self, train: TrainId) -> Option<&Train> {
        self.rows.get(train).map(|row| &row.train)
    }

    /// How many trains there are.
    pub fn len(&self) -> usize {
        self.rows.len()
    }

    /// All trains, in order.
    pub fn ids(&self) -> impl Iterator<Item = TrainId> + use<> {
        self.rows.ids()
    }

    /// Whether there is no train.
    pub fn is_empty(&self) -> bool {
        self.rows.is_empty()
    }

    /// The lengths of the train, where its vehicles are known.
    pub fn measure(&self, train: TrainId) -> Option<Measure> {
        self.rows.get(train).and_then(|row| row.measure)
    }

    /// What people call the train.
    pub fn name(&self, train: TrainId) -> String {
        match self.rows.get(train) {
            Some(row) if !row.train.name.is_empty() => row.train.name.clone(),
            _ => format!("train {}", train.index() + 1),
        }
    }

    /// A train that the layout does not describe has a name now.
    pub(crate) fn give_name(&mut self, train: TrainId, name: &str) {
        while self.rows.len() <= train.index() {
            self.rows.push(Row::new(Train::stranger("")));
        }
        name.clone_into(&mut self.rows[train].train.name);
    }

    /// From now on the train is made of these vehicles, front first.
    pub(crate) fn make_up(&mut self, train: TrainId, vehicles: Vec<Vehicle>) {
        if let Some(row) = self.rows.get(train) {
            let described = Train { vehicles, ..row.train.clone() };
            self.rows[train] = Row::new(described);
        }
    }
}

/// The same vehicles with the last one in front.
pub(crate) fn mirrored(vehicles: &[Vehicle]) -> Vec<Vehicle> {
    let turned = |vehicle: &Vehicle| {
        let from_front = |at: Length| vehicle.length - at;
        Vehicle {
            detectable: vehicle.detectable.map(|(first, last)| (from_front(last), from_front(first))),
            axles: vehicle.axles.iter().rev().map(|axle| Axle { at: from_front(axle.at), ..*axle }).collect(),
            ..vehicle.clone()
        }
    };
    vehicles.iter().rev().map(turned).collect()
}
