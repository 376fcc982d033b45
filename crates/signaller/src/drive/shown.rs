//! What people are shown of how fast trains are.

use track::TrainId;

use super::Drive;
use crate::identity::Pace;

impl Drive {
    /// Bounds of a train's speed, as of when it was looked at last.
    pub fn pace(&self, train: TrainId) -> Pace {
        self.rows.get(train).map_or(super::motion::STANDING, |row| row.motion.pace())
    }
}
