//! What is asked for next, and when.

use std::time::Duration;

use track::wiring::{ModbusBit, ModbusTable};

/// Bits, and registers, that nobody needs are asked for along with others if there are no more of them between.
const GAP: u16 = 16;
/// The most that is asked for at once: well within 2000 bits and 125 registers (sections 6.1 to 6.4).
const MOST_BITS: u16 = 256;
const MOST_REGISTERS: u16 = 32;

/// One request.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Ask {
    /// Which server.
    pub unit: u8,
    /// Which table.
    pub table: ModbusTable,
    /// The first that is asked for.
    pub first: u16,
    /// How many.
    pub count: u16,
}

impl Ask {
    /// `input 3 of unit 1`, or `inputs 3 to 9 of unit 1`.
    pub(super) fn in_words(self) -> String {
        let Self { unit, table, first, count } = self;
        let word = word_of(table);
        match count {
            1 => format!("{word} {first} of unit {unit}"),
            _ => format!("{word}s {first} to {} of unit {unit}", first + (count - 1)),
        }
    }
}

/// What one of a table is called.
pub(super) fn word_of(table: ModbusTable) -> &'static str {
    match table {
        ModbusTable::Coil => "coil",
        ModbusTable::Input => "input",
        ModbusTable::Holding => "register",
        ModbusTable::InputRegister => "input register",
    }
}

/// What to do now.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Next {
    /// Ask this.
    Ask(Ask),
    /// Wait so long.
    Wait(Duration),
}

/// The plan by which servers are asked.
#[derive(Debug)]
pub struct Plan {
    asks: Vec<Ask>,
    turn: usize,
    /// How much of the time the line may be in use, in thousandths.
    load_permille: u32,
    every: Duration,
    round_began: Option<Duration>,
    free_at: Duration,
}

impl Plan {
    /// For these bits: each is asked for every so often, if the load allows.
    pub fn new(bits: impl Iterator<Item = ModbusBit>, every: Duration, load_permille: u32) -> Self {
        let mut places: Vec<(u8, ModbusTable, u16)> = bits.map(|bit| (bit.unit, bit.table, bit.number)).collect();
        places.sort_unstable();
        places.dedup();
        let mut asks: Vec<Ask> = Vec::new();
        for (unit, table, number) in places {
            let most = match table {
                ModbusTable::Coil | ModbusTable::Input => MOST_BITS,
                ModbusTable::Holding | ModbusTable::InputRegister => MOST_REGISTERS,
            };
            match asks.last_mut() {
                Some(last)
                    if (last.unit, last.table) == (unit, table)
                        && number - (last.first + last.count - 1) <= GAP
                        && number - last.first < most =>
                {
                    last.count = number - last.first + 1;
                }
                _ => asks.push(Ask { unit, table, first: number, count: 1 }),
            }
        }
        Self { asks, turn: 0, load_permille, every, round_began: None, free_at: Duration::ZERO }
    }

    /// All requests of one round.
    pub fn asks(&self) -> &[Ask] {
        &self.asks
    }

    /// What to do now. `now` is since some beginning, and never goes back.
    pub fn next(&mut self, now: Duration) -> Next {
        if self.asks.is_empty() {
            return Next::Wait(self.every.max(Duration::from_millis(50)));
        }
        if now < self.free_at {
            return Next::Wait(self.free_at - now);
        }
        if self.turn == 0 {
            match self.round_began {
                Some(began) if now < began + self.every => return Next::Wait(began + self.every - now),
                _ => self.round_began = Some(now),
            }
        }
        Next::Ask(self.asks[self.turn])
    }

    /// A request, or an order, is over that kept the line in use for so long; tells whether it was the last of a round.
    pub fn done(&mut self, now: Duration, took: Duration, ask: Option<Ask>) -> bool {
        let pause = took * (1000 - self.load_permille.min(1000)) / self.load_permille.max(1);
        self.free_at = self.free_at.max(now + pause);
        if ask.is_none() {
            return false;
        }
        self.turn += 1;
        if self.turn < self.asks.len() {
            return false;
        }
        self.turn = 0;
        true
    }

    /// The line was lost: everything is asked for from the beginning.
    pub fn begin(&mut self) {
        (self.turn, self.round_began) = (0, None);
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn bit(unit: u8, table: ModbusTable, number: u16) -> ModbusBit {
        ModbusBit { unit, table, number, bit: 0, is_inverted: false }
    }

    #[test]
    fn what_lies_close_together_is_asked_for_at_once() {
        let table = ModbusTable::Input;
        let bits = [bit(1, table, 3), bit(1, table, 0), bit(1, table, 19), bit(1, table, 40), bit(2, table, 41)];
        let plan = Plan::new(bits.into_iter(), Duration::ZERO, 1000);
        let ask = |unit, first, count| Ask { unit, table, first, count };
        assert_eq!(plan.asks(), [ask(1, 0, 20), ask(1, 40, 1), ask(2, 41, 1)]);
        let registers = (0..40).map(|number| bit(1, ModbusTable::Holding, number));
        let counts: Vec<u16> = Plan::new(registers, Duration::ZERO, 1000).asks().iter().map(|ask| ask.count).collect();
        assert_eq!(counts, [32, 8]);
        let last = Plan::new([bit(1, table, u16::MAX)].into_iter(), Duration::ZERO, 1000);
        assert_eq!(last.asks(), [ask(1, u16::MAX, 1)]);
    }

    #[test]
    fn the_line_is_in_use_for_no_more_than_its_share() {
        for load in [100, 300, 700, 1000] {
            let bits = (0..10).map(|number| bit(1, ModbusTable::Input, number * 100));
            let mut plan = Plan::new(bits, Duration::from_millis(50), load);
            let (mut now, mut used) = (Duration::ZERO, Duration::ZERO);
            while now < Duration::from_secs(100) {
                match plan.next(now) {
                    Next::Wait(wait) => now += wait,
                    Next::Ask(ask) => {
                        let took = Duration::from_millis(5 + u64::from(ask.first) / 50);
                        (now, used) = (now + took, used + took);
                        plan.done(now, took, Some(ask));
                    }
                }
            }
            let share = used.as_secs_f64() / now.as_secs_f64();
            assert!(share <= f64::from(load) / 1000.0 + 0.001, "{share} of {load}");
            assert!(share > 0.9 * f64::from(load) / 1000.0, "the line is busy: it should be used: {share} of {load}");
        }
    }

    #[test]
    fn a_line_with_little_to_say_rests() {
        let mut plan = Plan::new([bit(1, ModbusTable::Input, 0)].into_iter(), Duration::from_millis(50), 700);
        let ask = plan.asks()[0];
        assert_eq!(plan.next(Duration::ZERO), Next::Ask(ask));
        assert!(plan.done(Duration::from_millis(5), Duration::from_millis(5), Some(ask)));
        assert_eq!(plan.next(Duration::from_millis(10)), Next::Wait(Duration::from_millis(40)));
        assert_eq!(plan.next(Duration::from_millis(50)), Next::Ask(ask));
    }
}
