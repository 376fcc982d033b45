//! The line to the servers.

use std::io;
use std::sync::Arc;
use std::time::{Duration, Instant};

use signaller::Output;
use tokio::net::TcpStream;
use tokio_modbus::client::{Context, Reader as _, Writer as _, rtu, tcp};
use tokio_modbus::slave::{Slave, SlaveContext as _};
use track::wiring::{At, BitsAt, Modbus, ModbusBit, ModbusTable, ModbusWay, Parity, Thing, WiredLink};

use super::plan::{Ask, Next, Plan, word_of};
use super::trust::Trust;
use crate::backoff::Backoff;
use crate::bits::{Bits, Set};
use crate::lineside::{Orders, Role, Start};
use crate::news::Told;
use crate::reporter::{NobodyListens, Reporter};
use crate::words::{about, in_words};

/// How long a line may take to be opened.
const PATIENCE: Duration = Duration::from_secs(3);

/// What a link carries, with the bits of each.
fn things(wired: &WiredLink) -> impl Iterator<Item = (Thing, String, BitsAt<ModbusBit>)> + '_ {
    wired.carries.iter().filter_map(|carried| match &carried.at {
        At::Modbus(at) => Some((carried.thing, carried.name.clone(), at.clone())),
        _ => None,
    })
}

/// Why a connection is given up.
#[derive(Debug)]
enum Failure {
    /// Something was not answered, or the line could not be opened: one such is no lost link.
    Unanswered(String),
    /// What is believed of the line is not so any more, or an order may not have been done.
    Lost(String),
}

/// Why a bit could not be set.
enum Unset {
    /// The server answers that it will not: the line is well.
    Refused(String),
    /// It is not known whether it was.
    Unknown(String),
}

/// Keeps the link up until it is closed or nobody listens any more.
pub(crate) async fn serve(setup: Modbus, start: Start) {
    let Start { layout, wired, role, mut reporter, mut orders, .. } = start;
    let mut bits = Bits::new(layout, things(&wired));
    if role == Role::Listens {
        bits = bits.listening();
    }
    let plan = Plan::new(bits.heard(), setup.every, setup.load_permille);
    let mut line = Line::new(setup, role, bits, plan);
    let mut backoff = Backoff::new();
    loop {
        let tried = Instant::now();
        let failure = match line.open(reporter.is_connected()).await {
            Err(error) => Failure::Unanswered(in_words(&error)),
            Ok(context) => match line.attend(context, &mut reporter, &mut orders).await {
                Err(NobodyListens) | Ok(None) => return,
                Ok(Some(failure)) => failure,
            },
        };
        let now = line.began.elapsed();
        let (why, is_lost) = match failure {
            Failure::Unanswered(why) => (why, line.trust.failed(now)),
            Failure::Lost(why) => (why, true),
        };
        let wait = backoff.after(tried.elapsed());
        let waited = if is_lost || !reporter.is_connected() {
            line.forget(now);
            if reporter.lost(&why).await.is_err() {
                return;
            }
            orders.pass_over(wait.min(line.setup.patience * 4)).await
        } else {
            // While the link still counts as up nothing that is ordered may be lost: it is done as soon as somebody answers.
            orders.put_off(wait.min(line.setup.patience / 2), &mut line.put_off).await
        };
        if waited.is_err() {
            return;
        }
    }
}

struct Line {
    setup: Modbus,
    role: Role,
    bits: Bits<ModbusBit>,
    plan: Plan,
    began: Instant,
    /// Bits that are to be set later: the ends of pulses. They are owed whatever happens, for a coil must not stay under power.
    waiting: Vec<(Instant, ModbusBit, bool)>,
    /// What was ordered while the line was being opened again.
    put_off: Vec<Output>,
    trust: Trust,
}

impl Line {
    fn new(setup: Modbus, role: Role, bits: Bits<ModbusBit>, plan: Plan) -> Self {
        let (waiting, put_off) = (Vec::new(), Vec::new());
        Self { setup, role, bits, plan, began: Instant::now(), waiting, put_off, trust: Trust::default() }
    }

    /// The link is lost: nothing that was heard counts, and what was ordered will be ordered anew.
    fn forget(&mut self, now: Duration) {
        self.bits.forget();
        self.put_off.clear();
        self.trust = Trust::new(now);
    }

    /// Opens the line; one that still counts as up is not waited for long.
    async fn open(&mut self, counts_as_up: bool) -> io::Result<Context> {
        self.plan.begin();
        let patience = if counts_as_up { self.trust.left(self.began.elapsed()) } else { PATIENCE };
        match &self.setup.way {
            ModbusWay::Tcp(address) => {
                let slow = |_| io::Error::new(io::ErrorKind::TimedOut, "nobody answers");
                let connecting = TcpStream::connect(address);
                let connected = tokio::time::timeout(patience, connecting).await.unwrap_or_else(|late| Err(slow(late)));
                let socket = connected.map_err(|error| about(address, &error))?;
                socket.set_nodelay(true)?;
                Ok(tcp::attach_slave(socket, Slave(1)))
            }
            ModbusWay::Serial { device, baud, parity } => {
                let (parity, stop) = match parity {
                    Parity::None => (tokio_serial::Parity::None, tokio_serial::StopBits::Two),
                    Parity::Even => (tokio_serial::Parity::Even, tokio_serial::StopBits::One),
                    Parity::Odd => (tokio_serial::Parity::Odd, tokio_serial::StopBits::One),
                };
                let port = tokio_serial::new(device, *baud).parity(parity).stop_bits(stop);
                let opened = tokio_serial::SerialStream::open(&port).map_err(io::Error::other);
                let port = opened.map_err(|error| about(device, &error))?;
                Ok(rtu::attach_slave(port, Slave(1)))
            }
        }
    }

    /// Until the link is closed: then nothing; or until something fails: then why.
    async fn attend(
        &mut self,
        mut context: Context,
        reporter: &mut Reporter,
        orders: &mut Orders,
    ) -> Result<Option<Failure>, NobodyListens> {
        if !reporter.is_connected() {
            self.trust = Trust::new(self.began.elapsed());
        }
        reporter.connected();
        let put_off = std::mem::take(&mut self.put_off);
        if let Err(failure) = self.obey(&mut context, &put_off, reporter).await? {
            return Ok(Some(failure));
        }
        loop {
            if let Some(place) = self.waiting.iter().position(|(at, ..)| *at <= Instant::now()) {
                if let Err(failure) = self.end_pulse(&mut context, place, reporter).await? {
                    return Ok(Some(failure));
                }
                continue;
            }
            let wait = match self.plan.next(self.began.elapsed()) {
                Next::Ask(ask) => {
                    if let Err(failure) = self.hear(&mut context, ask, reporter).await? {
                        return Ok(Some(failure));
                    }
                    Duration::ZERO
                }
                Next::Wait(wait) => wait,
            };
            let due = self.waiting.iter().map(|(at, ..)| at.saturating_duration_since(Instant::now())).min();
            let wait = due.map_or(wait, |due| due.min(wait));
            match tokio::time::timeout(wait, orders.next()).await {
                Ok(None) => {
                    self.end_all_pulses(&mut context).await;
                    return Ok(None);
                }
                Ok(Some(outputs)) => {
                    if let Some(rewire) = orders.take_rewire() {
                        self.bits.rewire(Arc::clone(&rewire.layout), things(&rewire.wired));
                        reporter.rewired(&rewire).await?;
                    }
                    if let Err(failure) = self.obey(&mut context, &outputs, reporter).await? {
                        return Ok(Some(failure));
                    }
                }
                Err(_) => reporter.flush().await?,
            }
        }
    }

    /// Asks, and tells what is answered. What changed while something was not answered may have been so for a while, and may
    /// have been otherwise in between: then the link was lost, and everything is asked anew.
    async fn hear(
        &mut self,
        context: &mut Context,
        ask: Ask,
        reporter: &mut Reporter,
    ) -> Result<Result<(), Failure>, NobodyListens> {
        self.trust.asks(self.began.elapsed());
        let told = match self.ask(context, ask).await {
            Err(why) => return Ok(Err(Failure::Unanswered(format!("{why}; {} was asked for", ask.in_words())))),
            Ok(told) => told,
        };
        let has_changed = told.iter().any(|told| matches!(told, Told::Input(_)));
        if has_changed && self.trust.is_doubtful() && reporter.is_up() {
            let why = "it did not answer for a moment, and something changed meanwhile: everything is asked anew";
            return Ok(Err(Failure::Lost(why.to_owned())));
        }
        if told.contains(&Told::Complete) {
            self.trust.round_is_over();
        }
        reporter.alive();
        reporter.take(told).await?;
        reporter.flush().await?;
        Ok(Ok(()))
    }

    /// Does what is ordered. Where it is not known whether that was done the link is lost: it is never done twice.
    async fn obey(
        &mut self,
        context: &mut Context,
        outputs: &[Output],
        reporter: &mut Reporter,
    ) -> Result<Result<(), Failure>, NobodyListens> {
        if self.role == Role::Listens {
            return Ok(Ok(()));
        }
        let sets: Vec<Set<ModbusBit>> = outputs.iter().flat_map(|output| self.bits.order(output)).collect();
        let later = sets.iter().filter(|set| set.after > Duration::ZERO);
        self.waiting.extend(later.map(|set| (Instant::now() + set.after, set.bit, set.on)));
        for Set { bit, on, .. } in sets.into_iter().filter(|set| set.after == Duration::ZERO) {
            match self.set(context, bit, on).await {
                Ok(()) => {}
                Err(Unset::Refused(why)) => reporter.take(vec![Told::Say(why)]).await?,
                Err(Unset::Unknown(why)) => return Ok(Err(Failure::Lost(why))),
            }
        }
        Ok(Ok(()))
    }

    /// Ends a pulse; one of which it is not known whether it ended is ended again.
    async fn end_pulse(
        &mut self,
        context: &mut Context,
        place: usize,
        reporter: &mut Reporter,
    ) -> Result<Result<(), Failure>, NobodyListens> {
        let (_, bit, on) = self.waiting[place];
        match self.set(context, bit, on).await {
            Err(Unset::Unknown(why)) => return Ok(Err(Failure::Lost(why))),
            Err(Unset::Refused(why)) => reporter.take(vec![Told::Say(why)]).await?,
            Ok(()) => {}
        }
        self.waiting.remove(place);
        Ok(Ok(()))
    }

    /// The link is closed: no pulse lasts on.
    async fn end_all_pulses(&mut self, context: &mut Context) {
        for (_, bit, on) in std::mem::take(&mut self.waiting) {
            // One that does not answer now cannot be told.
            let _ = self.set(context, bit, on).await;
        }
    }

    async fn ask(&mut self, context: &mut Context, ask: Ask) -> Result<Vec<Told>, String> {
        let Ask { unit, table, first, count } = ask;
        let began = Instant::now();
        context.set_slave(Slave(unit));
        let patience = self.setup.patience;
        let values: Vec<u16> = match table {
            ModbusTable::Coil => one_each(answer(unit, patience, context.read_coils(first, count)).await?),
            ModbusTable::Input => one_each(answer(unit, patience, context.read_discrete_inputs(first, count)).await?),
            ModbusTable::Holding => answer(unit, patience, context.read_holding_registers(first, count)).await?,
            ModbusTable::InputRegister => answer(unit, patience, context.read_input_registers(first, count)).await?,
        };
        let is_round_over = self.plan.done(self.began.elapsed(), began.elapsed(), Some(ask));
        if values.len() != usize::from(count) {
            return Err(format!("unit {unit} answers with {} values of {count}", values.len()));
        }
        let own: Vec<ModbusBit> = self.bits.heard().filter(|bit| (bit.unit, bit.table) == (unit, table)).collect();
        let mut told = Vec::new();
        for bit in own {
            let value = bit.number.checked_sub(first).and_then(|place| values.get(usize::from(place)));
            if let Some(value) = value {
                let is_on = (value >> bit.bit & 1 == 1) != bit.is_inverted;
                told.extend(self.bits.hear(bit, is_on, &format!("unit {unit} {} {}:", word_of(table), bit.number)));
            }
        }
        if is_round_over {
            told.push(Told::Complete);
        }
        Ok(told)
    }

    async fn set(&mut self, context: &mut Context, bit: ModbusBit, on: bool) -> Result<(), Unset> {
        let began = Instant::now();
        let (value, patience) = (on != bit.is_inverted, self.setup.patience);
        context.set_slave(Slave(bit.unit));
        match bit.table {
            ModbusTable::Coil => done(bit.unit, patience, context.write_single_coil(bit.number, value)).await?,
            ModbusTable::Holding => {
                let read = done(bit.unit, patience, context.read_holding_registers(bit.number, 1)).await?;
                let before = read.first().copied().unwrap_or_default();
                let mask = 1u16 << bit.bit;
                let after = if value { before | mask } else { before & !mask };
                done(bit.unit, patience, context.write_single_register(bit.number, after)).await?;
            }
            ModbusTable::Input | ModbusTable::InputRegister => {
                return Err(Unset::Refused(format!("{} of unit {} cannot be written", bit.number, bit.unit)));
            }
        }
        self.plan.done(self.began.elapsed(), began.elapsed(), None);
        Ok(())
    }
}

/// Bits as numbers: the lowest bit of each.
fn one_each(bits: Vec<bool>) -> Vec<u16> {
    bits.into_iter().map(u16::from).collect()
}

/// Waits for an answer to a question, but not for ever. A refusal is none.
async fn answer<T>(
    unit: u8,
    patience: Duration,
    asked: impl Future<Output = tokio_modbus::Result<T>>,
) -> Result<T, String> {
    done(unit, patience, asked).await.map_err(|(Unset::Refused(why) | Unset::Unknown(why))| why)
}

/// Waits for an answer to an order, but not for ever.
async fn done<T>(
    unit: u8,
    patience: Duration,
    asked: impl Future<Output = tokio_modbus::Result<T>>,
) -> Result<T, Unset> {
    match tokio::time::timeout(patience, asked).await {
        Err(_) => Err(Unset::Unknown(format!("unit {unit} does not answer"))),
        Ok(Err(error)) => Err(Unset::Unknown(format!("unit {unit}: {}", in_words(&error)))),
        Ok(Ok(Err(exception))) => Err(Unset::Refused(format!("unit {unit} refuses: {}", in_words(&exception)))),
        Ok(Ok(Ok(value))) => Ok(value),
    }
}

#[cfg(test)]
mod tests;
