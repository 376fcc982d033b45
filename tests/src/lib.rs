//! What no single crate can test: the house rules, the built program from end to end, and what others recorded.
//!
//! One test binary. Read [`program`] first: how a test finds and runs `lineclear`.

#[cfg(test)]
mod browser;
#[cfg(test)]
mod end_to_end;
#[cfg(test)]
mod hardware;
#[cfg(test)]
mod house_rules;
#[cfg(test)]
mod interlocking;
#[cfg(test)]
mod learning;
#[cfg(test)]
mod outside;
#[cfg(test)]
mod program;
#[cfg(test)]
mod statutory;
