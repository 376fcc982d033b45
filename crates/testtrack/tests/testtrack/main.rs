//! Trains on a pretend table, and what the checkers say of them.

#[cfg(test)]
mod changeover;
#[cfg(test)]
mod checkers;
#[cfg(test)]
mod closed_loop;
#[cfg(test)]
mod detectors;
#[cfg(test)]
mod electrics;
#[cfg(test)]
mod excuses;
#[cfg(test)]
mod fixture;
#[cfg(test)]
mod hands;
#[cfg(test)]
mod physics;
#[cfg(test)]
mod session;
#[cfg(test)]
mod snapshots;
#[cfg(test)]
mod swarm;
#[cfg(test)]
mod troubles;
#[cfg(test)]
mod wishes;
