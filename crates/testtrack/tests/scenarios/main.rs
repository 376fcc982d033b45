//! What can go wrong on a model railway, one story after the other, with the signaller in charge: nothing of what must never
//! happen does, what a person has to see to is said, and in the end all trains run on.
//!
//! Every fault that the table knows has a story at least ([`faults`]).

#[cfg(test)]
mod emergency;
#[cfg(test)]
mod faults;
#[cfg(test)]
mod people;
#[cfg(test)]
mod power;
#[cfg(test)]
mod rails;
#[cfg(test)]
mod railway;
#[cfg(test)]
mod reports;
#[cfg(test)]
mod restarts;
#[cfg(test)]
mod shunting;
#[cfg(test)]
mod trains;
#[cfg(test)]
mod turnouts;
