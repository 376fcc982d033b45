//! What happens on a model railway to trains, turnouts and by people's hands, one story a fault, with the signaller in charge.

#[cfg(test)]
mod railway;
#[cfg(test)]
mod trains;
#[cfg(test)]
mod turnouts;
