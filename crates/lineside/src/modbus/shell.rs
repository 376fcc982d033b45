//! The line to the servers.

use std::io;
use std::time::{Duration, Instant};

use tokio::net::TcpStream;
use tokio_modbus::client::{Context, Reader as _, Writer as _, rtu, tcp};
use tokio_modbus::slave::{Slave, SlaveContext as _};
use track::wiring::{At, Modbus, ModbusBit, ModbusTable, ModbusWay, Parity};

use super::plan::{Ask, Next, Plan};
use crate::backoff::Backoff;
use crate::bits::{Bits, Set};
use crate::lineside::{Orders, Role, Start};
use crate::news::Told;
use crate::reporter::{NobodyListens, Reporter};

/// So many times in a row nothing but failures, and the link is down.
const FAILURES: u32 = 3;
/// How long a line may take to be opened.
const PATIENCE: Duration = Duration::from_secs(3);

/// Keeps the link up until it is closed or nobody listens any more.
pub(crate) async fn serve(setup: Modbus, start: Start) {
    let Start { layout, wired, role, mut reporter, mut orders, .. } = start;
    let things = wired.carries.into_iter().filter_map(|carried| match carried.at {
        At::Modbus(at) => Some((carried.thing, carried.name, at)),
        _ => None,
    });
    let mut bits = Bits::new(layout, things);
    if role == Role::Listens {
        bits = bits.listening();
    }
    let plan = Plan::new(bits.heard(), setup.every, setup.load_permille);
    let mut line = Line { setup, role, bits, plan, began: Instant::now(), waiting: Vec::new(), failures: 0 };
    let mut backoff = Backoff::new();
    loop {
        let tried = Instant::now();
        let why = match line.open().await {
            Err(error) => error.to_string().to_lowercase(),
            Ok(context) => match line.attend(context, &mut reporter, &mut orders).await {
                Err(NobodyListens) | Ok(None) => return,
                Ok(Some(why)) => why,
            },
        };
        line.failures += 1;
        // One answer that is lost is no lost link.
        if line.failures >= FAILURES || !reporter.is_connected() {
            line.bits.forget();
            line.waiting.clear();
            if reporter.lost(&why).await.is_err() {
                return;
            }
        }
        // While the link still counts as up nothing that happens is heard: it is soon known whether that was one answer.
        let most = if reporter.is_connected() { line.setup.patience / 2 } else { line.setup.patience * 4 };
        if orders.pass_over(backoff.after(tried.elapsed()).min(most)).await.is_err() {
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
    /// Bits that are to be set later.
    waiting: Vec<(Instant, ModbusBit, bool)>,
    failures: u32,
}

impl Line {
    async fn open(&mut self) -> io::Result<Context> {
        self.plan.begin();
        match &self.setup.way {
            ModbusWay::Tcp(address) => {
                let slow = |_| io::Error::new(io::ErrorKind::TimedOut, "nobody answers");
                let socket = tokio::time::timeout(PATIENCE, TcpStream::connect(address)).await.map_err(slow)??;
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
                let port = tokio_serial::SerialStream::open(&port).map_err(io::Error::other)?;
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
    ) -> Result<Option<String>, NobodyListens> {
        reporter.connected();
        loop {
            if let Some(place) = self.waiting.iter().position(|(at, ..)| *at <= Instant::now()) {
                let (_, bit, on) = self.waiting.remove(place);
                if let Err(why) = self.set(&mut context, bit, on).await {
                    return Ok(Some(why));
                }
                continue;
            }
            let wait = match self.plan.next(self.began.elapsed()) {
                Next::Ask(ask) => {
                    match self.ask(&mut context, ask).await {
                        Err(why) => return Ok(Some(why)),
                        Ok(told) => {
                            self.failures = 0;
                            reporter.alive();
                            reporter.take(told).await?;
                            reporter.flush().await?;
                        }
                    }
                    Duration::ZERO
                }
                Next::Wait(wait) => wait,
            };
            let due = self.waiting.iter().map(|(at, ..)| at.saturating_duration_since(Instant::now())).min();
            let wait = due.map_or(wait, |due| due.min(wait));
            match tokio::time::timeout(wait, orders.next()).await {
                Ok(None) => return Ok(None),
                Ok(Some(outputs)) if self.role != Role::Listens => {
                    let sets: Vec<Set<ModbusBit>> = outputs.iter().flat_map(|output| self.bits.order(output)).collect();
                    for Set { bit, on, after } in sets {
                        if after > Duration::ZERO {
                            self.waiting.push((Instant::now() + after, bit, on));
                        } else if let Err(why) = self.set(&mut context, bit, on).await {
                            return Ok(Some(why));
                        }
                    }
                }
                Ok(Some(_)) | Err(_) => reporter.flush().await?,
            }
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
                told.extend(self.bits.hear(bit, is_on, &format!("unit {unit} {table:?} {}", bit.number)));
            }
        }
        if is_round_over {
            told.push(Told::Complete);
        }
        Ok(told)
    }

    async fn set(&mut self, context: &mut Context, bit: ModbusBit, on: bool) -> Result<(), String> {
        let began = Instant::now();
        let (value, patience) = (on != bit.is_inverted, self.setup.patience);
        context.set_slave(Slave(bit.unit));
        match bit.table {
            ModbusTable::Coil => answer(bit.unit, patience, context.write_single_coil(bit.number, value)).await?,
            ModbusTable::Holding => {
                let read = answer(bit.unit, patience, context.read_holding_registers(bit.number, 1)).await?;
                let before = read.first().copied().unwrap_or_default();
                let mask = 1u16 << bit.bit;
                let after = if value { before | mask } else { before & !mask };
                answer(bit.unit, patience, context.write_single_register(bit.number, after)).await?;
            }
            ModbusTable::Input | ModbusTable::InputRegister => {
                return Err(format!("{} of unit {} cannot be written", bit.number, bit.unit));
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

/// Waits for an answer, but not for ever.
async fn answer<T>(
    unit: u8,
    patience: Duration,
    asked: impl Future<Output = tokio_modbus::Result<T>>,
) -> Result<T, String> {
    match tokio::time::timeout(patience, asked).await {
        Err(_) => Err(format!("unit {unit} does not answer")),
        Ok(Err(error)) => Err(format!("unit {unit}: {}", error.to_string().to_lowercase())),
        Ok(Ok(Err(exception))) => Err(format!("unit {unit} refuses: {}", exception.to_string().to_lowercase())),
        Ok(Ok(Ok(value))) => Ok(value),
    }
}
