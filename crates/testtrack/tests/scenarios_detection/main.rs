//! One thing of detection, links or power goes wrong at Low Staithe while trains run, and the signaller makes the best of it.

#[cfg(test)]
mod power;
#[cfg(test)]
mod railway;
#[cfg(test)]
mod reports;
