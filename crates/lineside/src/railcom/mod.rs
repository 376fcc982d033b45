//! What decoders answer in the gaps of the signal (RCN-217, 1 December 2019; NMRA S-9.3.2, July 2012).
//!
//! Eight bits carry six, so that always four of eight are set: a byte with any other count was garbled on the way. Two such
//! bytes are a datagram of channel 1, by which a decoder tells its address, half by half. [`Reassembly`] puts them together.

mod four_of_eight;
mod reassembly;

pub use four_of_eight::{Symbol, decode, encode};
pub use reassembly::{Channel1, Half, Reassembly, bytes_of, halves_of};
