//! Raw reports to conditioned occupancy.
