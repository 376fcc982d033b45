//! Which packet comes next.
//!
//! Before everything an emergency stop; then what is new, several times over, for a packet may be lost; then what holds already,
//! again and again in turn, for a locomotive may have lost contact; and where nothing may be sent, the idle packet: the track is
//! never silent. Two packets for one decoder are at least 5 ms apart (S-9.2, section C), and one that speaks to all counts for
//! each of them.

use std::collections::{BTreeMap, VecDeque};

use track::dcc::{
    Accessory, BroadcastStop, Current, Direction, FunctionGroup, Functions, Output, SpeedOrder, State, broadcast_stop,
    idle, packet,
};
use track::{Address, SpeedSteps};

use super::bits::{duration_us, preamble_us};

/// From the end of one packet for a decoder to the beginning of the next (S-9.2, section C), in microseconds.
const APART_US: u64 = 5000;
/// How often what is new is sent (common practice, no source): a stop oftener than the rest.
const SPEED_TIMES: u8 = 3;
const FUNCTION_TIMES: u8 = 2;
const ACCESSORY_TIMES: u8 = 3;
const STOP_TIMES: u8 = 10;

/// What one decoder was told, and what of it is still to be said.
#[derive(Debug)]
struct Decoder {
    steps: SpeedSteps,
    speed: Option<(SpeedOrder, Direction)>,
    speed_left: u8,
    functions: Functions,
    /// Groups of which something was ever said: only these are repeated.
    groups: BTreeMap<FunctionGroup, u8>,
    ended_us: Option<u64>,
    /// Where the next turn goes on.
    turn: usize,
}

/// What one accessory decoder is still to be told.
#[derive(Debug)]
struct Job {
    accessory: Accessory,
    packet: Vec<u8>,
    left: u8,
}

/// Says which packet comes next. It reckons the time by what it gave out: packets are taken to follow each other without a gap.
#[derive(Debug, Default)]
pub struct Scheduler {
    now_us: u64,
    decoders: BTreeMap<Address, Decoder>,
    jobs: VecDeque<Job>,
    accessories_us: BTreeMap<Accessory, u64>,
    stop_left: u8,
    everybody_us: Option<u64>,
    turn: usize,
}

impl Scheduler {
    /// One that has nothing to say.
    pub fn new() -> Self {
        Self::default()
    }

    fn decoder(&mut self, address: Address) -> &mut Decoder {
        self.decoders.entry(address).or_insert(Decoder {
            steps: SpeedSteps::Steps126,
            speed: None,
            speed_left: 0,
            functions: Functions::OFF,
            groups: BTreeMap::new(),
            ended_us: None,
            turn: 0,
        })
    }

    /// A locomotive is to run so.
    pub fn drive(&mut self, address: Address, steps: SpeedSteps, order: SpeedOrder, direction: Direction) {
        let decoder = self.decoder(address);
        decoder.steps = steps;
        if decoder.speed != Some((order, direction)) {
            decoder.speed = Some((order, direction));
            decoder.speed_left = if order == SpeedOrder::EmergencyStop { STOP_TIMES } else { SPEED_TIMES };
        }
    }

    /// A function of a locomotive is to be on, or off; all others of its group are said along with it.
    pub fn set_function(&mut self, address: Address, number: u8, state: State) {
        let Some(group) = FunctionGroup::of(number) else { return };
        let decoder = self.decoder(address);
        let before = decoder.functions;
        decoder.functions = if state == State::On { before.with(number) } else { before.without(number) };
        // What nobody has said yet the decoder may have otherwise.
        if decoder.functions != before || !decoder.groups.contains_key(&group) {
            decoder.groups.insert(group, FUNCTION_TIMES);
        }
    }

    /// An output of an accessory decoder is to be worked. A later order for the same accessory takes the place of one that waits.
    pub fn work(&mut self, accessory: Accessory, output: Output, current: Current) {
        self.jobs.retain(|job| job.accessory != accessory);
        self.jobs.push_back(Job { accessory, packet: accessory.basic(output, current), left: ACCESSORY_TIMES });
    }

    /// Everything is to stop at once: every motor loses its energy, and no locomotive that is known is driven on afterwards.
    pub fn stop_all(&mut self) {
        self.stop_left = STOP_TIMES;
        for decoder in self.decoders.values_mut() {
            if let Some((order, _)) = &mut decoder.speed {
                *order = SpeedOrder::Stop;
                decoder.speed_left = 0;
            }
        }
    }

    /// The packet that is to be sent now.
    pub fn next_packet(&mut self) -> Vec<u8> {
        let chosen = self.choose();
        self.now_us += duration_us(&chosen);
        chosen
    }

    /// The reckoned time, in microseconds since the first packet.
    pub fn now_us(&self) -> u64 {
        self.now_us
    }

    fn choose(&mut self) -> Vec<u8> {
        if self.stop_left > 0 {
            if !self.may_speak_to_all() {
                // Whatever else was said now would keep the stop waiting longer.
                return idle();
            }
            self.stop_left -= 1;
            let stop = broadcast_stop(BroadcastStop::Cut, None);
            self.everybody_us = Some(self.now_us + duration_us(&stop));
            return stop;
        }
        let addresses: Vec<Address> = self.decoders.keys().copied().collect();
        let urgent = addresses.iter().copied().filter(|&address| self.may_speak_to(address));
        let urgent: Vec<Address> = urgent.collect();
        let by_speed = urgent.iter().copied().filter(|address| self.decoders[address].speed_left > 0);
        let by_speed = by_speed.min_by_key(|address| self.rank(*address));
        if let Some(packet) = by_speed.and_then(|address| self.say_speed(address)) {
            return packet;
        }
        if let Some(packet) = self.say_job() {
            return packet;
        }
        let by_function = urgent.iter().find(|address| self.decoders[*address].groups.values().any(|left| *left > 0));
        if let Some(packet) = by_function.copied().and_then(|address| self.say_new_group(address)) {
            return packet;
        }
        // What holds already, decoder by decoder.
        for place in 0..addresses.len() {
            let turn = (self.turn + place) % addresses.len();
            if !urgent.contains(&addresses[turn]) {
                continue;
            }
            if let Some(packet) = self.say_again(addresses[turn]) {
                self.turn = turn + 1;
                return packet;
            }
        }
        idle()
    }

    /// Whether the gap since what ended then is long enough: the start of a packet is the bit behind its preamble.
    fn is_apart(&self, ended_us: Option<u64>) -> bool {
        ended_us.is_none_or(|ended| self.now_us + preamble_us() >= ended + APART_US)
    }

    fn may_speak_to(&self, address: Address) -> bool {
        self.is_apart(self.everybody_us) && self.is_apart(self.decoders.get(&address).and_then(|one| one.ended_us))
    }

    fn may_speak_to_all(&self) -> bool {
        self.is_apart(self.everybody_us) && self.decoders.values().all(|decoder| self.is_apart(decoder.ended_us))
    }

    /// Who is to stand at once is told first, then who is to stand.
    fn rank(&self, address: Address) -> u8 {
        match self.decoders.get(&address).and_then(|decoder| decoder.speed) {
            Some((SpeedOrder::EmergencyStop, _)) => 0,
            Some((SpeedOrder::Stop, _)) => 1,
            _ => 2,
        }
    }

    fn said(&mut self, address: Address, packet: Vec<u8>) -> Vec<u8> {
        let ended = self.now_us + duration_us(&packet);
        if let Some(decoder) = self.decoders.get_mut(&address) {
            decoder.ended_us = Some(ended);
        }
        packet
    }

    fn speed_packet(&self, address: Address) -> Option<Vec<u8>> {
        let decoder = self.decoders.get(&address)?;
        let (order, direction) = decoder.speed?;
        Some(packet(address, decoder.steps.instruction(order, direction)?))
    }

    fn say_speed(&mut self, address: Address) -> Option<Vec<u8>> {
        let packet = self.speed_packet(address);
        let decoder = self.decoders.get_mut(&address)?;
        decoder.speed_left = decoder.speed_left.saturating_sub(1);
        Some(self.said(address, packet?))
    }

    fn say_job(&mut self) -> Option<Vec<u8>> {
        let free = |job: &Job| self.is_apart(self.accessories_us.get(&job.accessory).copied());
        let place = self.jobs.iter().position(free)?;
        let mut job = self.jobs.remove(place)?;
        let packet = job.packet.clone();
        self.accessories_us.insert(job.accessory, self.now_us + duration_us(&packet));
        job.left -= 1;
        if job.left > 0 {
            self.jobs.push_back(job);
        }
        Some(packet)
    }

    fn say_new_group(&mut self, address: Address) -> Option<Vec<u8>> {
        let decoder = self.decoders.get_mut(&address)?;
        let (&group, left) = decoder.groups.iter_mut().find(|(_, left)| **left > 0)?;
        *left -= 1;
        let packet = decoder.functions.packet(address, group);
        Some(self.said(address, packet))
    }

    /// Speed and functions in turn: speed every other time.
    fn say_again(&mut self, address: Address) -> Option<Vec<u8>> {
        let decoder = self.decoders.get_mut(&address)?;
        let turn = decoder.turn;
        decoder.turn = turn.wrapping_add(1);
        let groups: Vec<FunctionGroup> = decoder.groups.keys().copied().collect();
        let functions = decoder.functions;
        if turn.is_multiple_of(2) || groups.is_empty() {
            let packet = self.speed_packet(address)?;
            return Some(self.said(address, packet));
        }
        let packet = functions.packet(address, groups[turn / 2 % groups.len()]);
        Some(self.said(address, packet))
    }
}
