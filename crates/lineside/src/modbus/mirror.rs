//! The other side of the line: servers that hold bits, for a pretend table that stands in for them.

use std::collections::{BTreeMap, BTreeSet};

use signaller::{Input, Output};
use track::Lie;
use track::wiring::{At, BitTells, BitsAt, Mark, ModbusBit, ModbusTable, Thing, WiredLink};

use crate::reading::mark_of;

/// Function codes (Modbus application protocol 1.1b3, sections 6.1 to 6.6).
const READ_COILS: u8 = 1;
const READ_INPUTS: u8 = 2;
const READ_HOLDING: u8 = 3;
const READ_INPUT_REGISTERS: u8 = 4;
const WRITE_COIL: u8 = 5;
const WRITE_REGISTER: u8 = 6;
/// Why something is refused (section 7), with the bit that is set in the function code of a refusal.
const NO_SUCH_FUNCTION: u8 = 1;
const NO_SUCH_VALUE: u8 = 3;
const REFUSED: u8 = 0x80;

/// Where a bit is.
type Place = (u8, ModbusTable, u16, u8);

/// The servers on the line of a link. That something passed a spot they keep until it has been asked for.
#[derive(Debug)]
pub struct Mirror {
    things: BTreeMap<Thing, BitsAt<ModbusBit>>,
    values: BTreeMap<Place, bool>,
    /// Bits of spots that were passed and not asked for yet.
    kept: BTreeSet<Place>,
}

fn place(bit: &ModbusBit) -> Place {
    (bit.unit, bit.table, bit.number, bit.bit)
}

impl Mirror {
    /// Those of a link.
    pub fn new(wired: &WiredLink) -> Self {
        let things = wired.carries.iter().filter_map(|carried| match &carried.at {
            At::Modbus(at) => Some((carried.thing, at.clone())),
            _ => None,
        });
        Self { things: things.collect(), values: BTreeMap::new(), kept: BTreeSet::new() }
    }

    /// Something is so: the bits that say so.
    pub fn report(&mut self, input: &Input) {
        let Some((thing, mark)) = mark_of(input) else { return };
        let Some(at) = self.things.get(&thing) else { return };
        for (own, bit) in &at.hears {
            self.values.insert(place(bit), (*own == mark) != bit.is_inverted);
            if mark == Mark::Passed {
                self.kept.insert(place(bit));
            }
        }
    }

    /// Answers a request to a unit; tells what it orders.
    pub fn answer(&mut self, unit: u8, request: &[u8]) -> (Vec<u8>, Vec<Output>) {
        let &[function, first_high, first_low, second_high, second_low] = request else {
            let function = request.first().copied().unwrap_or_default();
            return (vec![function | REFUSED, NO_SUCH_FUNCTION], Vec::new());
        };
        let first = u16::from_be_bytes([first_high, first_low]);
        let second = u16::from_be_bytes([second_high, second_low]);
        let numbers = (0..second).map(|place| first.wrapping_add(place));
        match function {
            READ_COILS | READ_INPUTS if (1..=2000).contains(&second) => {
                let table = if function == READ_COILS { ModbusTable::Coil } else { ModbusTable::Input };
                let mut bytes = vec![0; usize::from(second).div_ceil(8)];
                for (count, number) in numbers.enumerate() {
                    bytes[count / 8] |= u8::from(self.is_on((unit, table, number, 0))) << (count % 8);
                }
                ([&[function, bytes.len() as u8][..], &bytes].concat(), Vec::new())
            }
            READ_HOLDING | READ_INPUT_REGISTERS if (1..=125).contains(&second) => {
                let table = if function == READ_HOLDING { ModbusTable::Holding } else { ModbusTable::InputRegister };
                let bytes: Vec<u8> =
                    numbers.flat_map(|number| self.register(unit, table, number).to_be_bytes()).collect();
                ([&[function, bytes.len() as u8][..], &bytes].concat(), Vec::new())
            }
            WRITE_COIL if matches!(second, 0 | 0xFF00) => {
                let place = (unit, ModbusTable::Coil, first, 0);
                (request.to_vec(), self.set(place, second != 0).into_iter().collect())
            }
            WRITE_REGISTER => {
                let bits = (0..16).map(|bit| ((unit, ModbusTable::Holding, first, bit), second >> bit & 1 == 1));
                (request.to_vec(), bits.filter_map(|(place, on)| self.set(place, on)).collect())
            }
            READ_COILS..=WRITE_COIL => (vec![function | REFUSED, NO_SUCH_VALUE], Vec::new()),
            _ => (vec![function | REFUSED, NO_SUCH_FUNCTION], Vec::new()),
        }
    }

    /// Whether a bit is on; whoever asks has it told, and what only happened is over then.
    fn is_on(&mut self, place: Place) -> bool {
        let is_on = self.values.get(&place).copied().unwrap_or_default();
        if self.kept.remove(&place) {
            self.values.insert(place, !is_on);
        }
        is_on
    }

    fn register(&mut self, unit: u8, table: ModbusTable, number: u16) -> u16 {
        (0..16).fold(0, |value, bit| value | u16::from(self.is_on((unit, table, number, bit))) << bit)
    }

    /// Sets a bit; tells what it orders, where that is something else than before.
    fn set(&mut self, at: Place, on: bool) -> Option<Output> {
        if self.values.insert(at, on) == Some(on) {
            return None;
        }
        let is = |bit: &ModbusBit| (place(bit) == at).then_some(on != bit.is_inverted);
        self.things.iter().find_map(|(thing, bits)| match (thing, &bits.tells) {
            (&Thing::Turnout(turnout), BitTells::Level(bit)) => {
                let lie = if is(bit)? { Lie::Diverging } else { Lie::Straight };
                Some(Output::Throw { turnout, lie })
            }
            (&Thing::Turnout(turnout), BitTells::Pulse { straight, diverging, .. }) => {
                let ways = [(straight, Lie::Straight), (diverging, Lie::Diverging)];
                let (_, lie) = ways.into_iter().find(|(bit, _)| is(bit) == Some(true))?;
                Some(Output::Throw { turnout, lie })
            }
            (&Thing::District(district), BitTells::Switch(bit)) => Some(Output::Power { district, live: is(bit)? }),
            (&Thing::Accessory(accessory), BitTells::Switch(bit)) => {
                Some(Output::Accessory { accessory, on: is(bit)? })
            }
            _ => None,
        })
    }
}
