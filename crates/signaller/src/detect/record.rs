//! What is on record of a detector or of a train.

/// How often something went wrong, beside how often all went well. Of a section: with its detector, its feed and its track; of
/// a train: with its wheels.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq)]
pub struct Record {
    /// It emptied under a train and filled again at once.
    pub flickers: u32,
    /// It emptied under a train that could not have gone, and was found to be there later.
    pub losses: u32,
    /// It filled without a reason, and emptied again without one.
    pub false_fills: u32,
    /// A train passed.
    pub passages: u32,
}
