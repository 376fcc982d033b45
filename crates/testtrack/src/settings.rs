//! What a pretend table is like.

use std::time::Duration;

use crate::faults::Faults;
use crate::random::Stream;

/// How long the physics takes in one go.
///
/// At 300 mm/s a train moves 3 mm in it; reports fall between the ticks, for their delays are drawn to the nanosecond.
pub(crate) const TICK: Duration = Duration::from_millis(10);

/// What a pretend table is like. The seed decides everything that is drawn.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Settings {
    /// Where all chance comes from.
    pub seed: u64,
    /// How long a report takes from the detector to the signaller. Drawn for each report; reports of one thing keep their order.
    pub message_delay: Spread,
    /// What a detector takes on top of its own on-delay or off-delay, at most. Drawn each time.
    pub detector_jitter: Duration,
    /// How long after it said something an area detector says it again, as many makers' nodes do, drawn each time; nothing where it
    /// speaks only when something changes. A report that was lost, or overtaken by an older one, is set right by that. Common
    /// practice, no source.
    pub says_again: Option<Spread>,
    /// How long an order takes to reach a train. Drawn for each order; orders to one train keep their order.
    pub order_delay: Spread,
    /// How turnouts lie at first, where no train stands on them.
    pub turnouts_at_first: FirstLie,
    /// How trains run otherwise than their speed curves say.
    pub running: Running,
    /// What goes wrong, and how often.
    pub faults: Faults,
}

/// How trains run otherwise than their speed curves say.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Running {
    /// So far at most the speed wanders about its curve within seconds, in thousandths.
    pub wander_permille: i64,
    /// So much faster a train runs when it is warm, in thousandths.
    pub warming_permille: i64,
    /// So often, on average, its wheels slip or slide while it changes its speed; nothing where they never do.
    pub slips_every: Option<Duration>,
    /// How its decoder is set up to gather and lose speed.
    pub momentum: Momentum,
}

/// How decoders are set up.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Momentum {
    /// About as described.
    AsDescribed,
    /// As the seed has it, whatever was described: never worse than what is taken for granted where nothing is.
    Drawn,
}

impl Running {
    /// Exactly as its curve says.
    pub const AS_DESCRIBED: Self =
        Self { wander_permille: 0, warming_permille: 0, slips_every: None, momentum: Momentum::AsDescribed };

    /// As on a real table: speeds that wander by up to 3 %, motors that run 4 % faster when warm, wheels that slip in every
    /// twentieth second of changing speed, decoders that nobody measured. Common practice, no source.
    pub const LIFELIKE: Self = Self {
        wander_permille: 30,
        warming_permille: 40,
        slips_every: Some(Duration::from_secs(20)),
        momentum: Momentum::Drawn,
    };
}

/// A span that is drawn anew each time.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Spread {
    /// At least so long.
    pub least: Duration,
    /// At most so long.
    pub most: Duration,
}

/// How turnouts lie at first.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum FirstLie {
    /// Straight, all of them.
    Straight,
    /// As the seed has it.
    Drawn,
}

impl Settings {
    /// The usual table under a seed: reports take 20 to 80 ms, detectors up to 10 ms more than they should, orders 10 to 60 ms.
    pub const fn seeded(seed: u64) -> Self {
        Self {
            seed,
            message_delay: Spread { least: Duration::from_millis(20), most: Duration::from_millis(80) },
            detector_jitter: Duration::from_millis(10),
            says_again: None,
            order_delay: Spread { least: Duration::from_millis(10), most: Duration::from_millis(60) },
            turnouts_at_first: FirstLie::Drawn,
            running: Running::AS_DESCRIBED,
            faults: Faults::NONE,
        }
    }

    /// A table like a real one under a seed: trains run lifelike, reports and orders take up to 100 ms.
    pub const fn lifelike(seed: u64) -> Self {
        let delay = Spread { least: Duration::ZERO, most: Duration::from_millis(100) };
        Self { message_delay: delay, order_delay: delay, running: Running::LIFELIKE, ..Self::seeded(seed) }
    }

    /// Detectors say every 10 to 30 s what they said last.
    #[must_use]
    pub const fn repeating(self) -> Self {
        let says_again = Some(Spread { least: Duration::from_secs(10), most: Duration::from_secs(30) });
        Self { says_again, ..self }
    }

    /// How late a report can be beyond the detector's own delay.
    pub const fn lateness(&self) -> Duration {
        self.message_delay.most.saturating_add(self.detector_jitter)
    }
}

impl Spread {
    /// Draws a span.
    pub(crate) fn draw(self, stream: &mut Stream) -> Duration {
        let (least, most) = (self.least.as_nanos() as i64, self.most.as_nanos() as i64);
        Duration::from_nanos(stream.between(least, most.max(least)) as u64)
    }
}
