//! Scripts at work: what is told to them goes in, what they ask for comes out.

#[cfg(test)]
mod demo;
#[cfg(test)]
mod host;
#[cfg(test)]
mod hostile;
#[cfg(test)]
mod reacting;
#[cfg(test)]
mod trips;
