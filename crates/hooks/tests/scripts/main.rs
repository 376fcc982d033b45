//! Scripts at work: what is told to them goes in, what they ask for comes out.

#[cfg(test)]
mod apart;
#[cfg(test)]
mod demo;
#[cfg(test)]
mod hearing;
#[cfg(test)]
mod host;
#[cfg(test)]
mod hostile;
#[cfg(test)]
mod hostile_on_the_table;
#[cfg(test)]
mod patterns;
#[cfg(test)]
mod people;
#[cfg(test)]
mod reacting;
#[cfg(test)]
mod trips;
