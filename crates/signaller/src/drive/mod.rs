//! From authority to speed steps: how far a train may go, and how fast.
