//! Addresses that are single bits: coils and registers of Modbus servers, pins of this computer.

use std::time::Duration;

use toml::de::DeValue;
use track::wiring::{Bias, BitTells, BitsAt, GpioLine, Mark, ModbusBit, ModbusTable, Thing};

use super::mqtt::check_lamp;
use super::who::{is_switched, not_said_how};
use super::{Asked, Kind};
use crate::diagnostic::Findings;
use crate::keys::{Keys, table_of, word_of};
use crate::numbers::Unit;
use crate::source::Said;

/// How long a motor or a coil gets current where nothing else is written.
const PULSE: Duration = Duration::from_millis(200);

type Read<B> = fn(Said<&DeValue<'_>>, &mut Findings) -> Option<B>;

/// Reads a bit that is to be set.
pub(super) fn modbus_coil(value: Said<&DeValue<'_>>, out: &mut Findings) -> Option<ModbusBit> {
    let bit = modbus_bit(value, out)?;
    if matches!(bit.table, ModbusTable::Coil | ModbusTable::Holding) {
        return Some(bit);
    }
    out.mistake(value.span, "this can only be read").hint("what is set is a `coil`, or a bit of a `register`");
    None
}

/// Reads the bits of one thing.
pub(super) fn address<B: Copy>(
    asked: &Asked<'_, '_>,
    read: Read<B>,
    read_set: Read<B>,
    out: &mut Findings,
) -> Option<BitsAt<B>> {
    let word = asked.kind.word();
    let Some(value) = asked.value else {
        out.mistake(asked.span, format!("{word} `{}` has no address on this link", asked.name))
            .hint(format!("add it under `[link.{}]`", asked.kind.key()));
        return None;
    };
    let hears = |mark: Mark, out: &mut Findings| {
        read(value, out).map(|bit| BitsAt { hears: vec![(mark, bit)], tells: BitTells::Nothing })
    };
    match asked.kind {
        Kind::Section => hears(Mark::Occupied, out),
        Kind::Spot => hears(Mark::Passed, out),
        Kind::Input => hears(Mark::On, out),
        Kind::District => district(asked, value, read, read_set, out),
        Kind::Turnout => turnout(asked, value, read, read_set, out),
        Kind::Signal => signal(asked, value, read_set, out),
        Kind::Accessory => read_set(value, out).map(|bit| BitsAt { hears: Vec::new(), tells: BitTells::Switch(bit) }),
        Kind::Reader | Kind::Train => {
            out.mistake(asked.span, format!("a {word} is not a matter of bits"))
                .hint("let a link of another kind carry it");
            None
        }
    }
}

/// A bit that says whether a district is live; or a table with that bit, and the one that makes it so.
fn district<B: Copy>(
    asked: &Asked<'_, '_>,
    value: Said<&DeValue<'_>>,
    read: Read<B>,
    read_set: Read<B>,
    out: &mut Findings,
) -> Option<BitsAt<B>> {
    let has = |key: &str| value.value.as_table().is_some_and(|table| table.contains_key(key));
    let not_said = |out: &mut Findings| {
        not_said_how(asked, value.span, "a bit that is", "`set`, the bit that is on for a live district", out);
    };
    if !has("set") && !has("live") {
        if is_switched(asked, None, out) {
            not_said(out);
            return None;
        }
        return read(value, out).map(|bit| BitsAt { hears: vec![(Mark::Live, bit)], tells: BitTells::Nothing });
    }
    let mut keys = table_of("the bits of a district", value, out)?;
    let is_switched = is_switched(asked, Some(&keys), out);
    let live = keys.value("live").and_then(|value| read(value, out));
    let set = keys.value("set").and_then(|value| read_set(value, out));
    let is_fine = live.is_some() == keys.has("live") && set.is_some() == keys.has("set");
    keys.finish(out);
    is_fine.then_some(())?;
    let tells = match set.filter(|_| is_switched) {
        Some(set) => BitTells::Switch(set),
        None if is_switched => {
            not_said(out);
            return None;
        }
        None => BitTells::Nothing,
    };
    Some(BitsAt { hears: live.map(|bit| (Mark::Live, bit)).into_iter().collect(), tells })
}

fn turnout<B: Copy>(
    asked: &Asked<'_, '_>,
    value: Said<&DeValue<'_>>,
    read: Read<B>,
    read_set: Read<B>,
    out: &mut Findings,
) -> Option<BitsAt<B>> {
    let Thing::Turnout(turnout) = asked.thing else { return None };
    let turnout = &asked.layout.turnouts[turnout];
    let mut keys = table_of("the bits of a turnout", value, out)?;
    let mut bit =
        |key: &'static str, read: Read<B>, out: &mut Findings| keys.value(key).and_then(|value| read(value, out));
    let (straight, diverging) = (bit("straight", read, out), bit("diverging", read, out));
    let set = bit("set", read_set, out);
    let (set_straight, set_diverging) = (bit("set-straight", read_set, out), bit("set-diverging", read_set, out));
    let lasts = keys.duration("pulse", out).map_or(PULSE, |said| said.value);
    let header = keys.header();
    keys.finish(out);
    let tells = match (set, set_straight, set_diverging) {
        (Some(set), None, None) => BitTells::Level(set),
        (None, Some(straight), Some(diverging)) => BitTells::Pulse { straight, diverging, lasts },
        (None, None, None) => BitTells::Nothing,
        _ => {
            out.mistake(header, "a turnout is thrown by one bit, or by one for each position")
                .hint("say `set`, or both `set-straight` and `set-diverging`");
            return None;
        }
    };
    let mut hears = Vec::new();
    hears.extend(straight.map(|bit| (Mark::Straight, bit)));
    hears.extend(diverging.map(|bit| (Mark::Diverging, bit)));
    if turnout.worked && matches!(tells, BitTells::Nothing) {
        out.mistake(header, format!("turnout `{}` is thrown by a bit that is not said", asked.name))
            .hint("say `set`, or `set-straight` and `set-diverging`; or in `layout.toml` that it is not `worked`");
        return None;
    }
    if turnout.reported && hears.is_empty() {
        out.mistake(header, format!("turnout `{}` is reported by a bit that is not said", asked.name))
            .hint("say `straight`, `diverging` or both; or in `layout.toml` that it is not `reported`");
        return None;
    }
    Some(BitsAt { hears, tells })
}

fn signal<B: Copy>(
    asked: &Asked<'_, '_>,
    value: Said<&DeValue<'_>>,
    read: Read<B>,
    out: &mut Findings,
) -> Option<BitsAt<B>> {
    let Thing::Signal(signal) = asked.thing else { return None };
    let book = asked.layout.book_of(signal);
    let keys = table_of("the lamps of a signal", value, out)?;
    let mut lamps = Vec::new();
    for (lamp, value) in keys.entries() {
        check_lamp(lamp, book, out)?;
        lamps.push((lamp.value.to_owned(), read(value, out)?));
    }
    Some(BitsAt { hears: Vec::new(), tells: BitTells::Lamps(lamps) })
}

fn whole(keys: &mut Keys<'_>, key: &'static str, usual: Option<u32>, most: u32, out: &mut Findings) -> Option<u32> {
    if !keys.has(key) && usual.is_none() {
        keys.missing(key, "1", out);
    }
    let Some(said) = keys.number(key, Unit::Count, out) else { return usual.filter(|_| !keys.has(key)) };
    if said.value > f64::from(most) {
        out.mistake(said.span, format!("`{key}` is more than {most}"));
        return None;
    }
    Some(said.value as u32)
}

/// `{ unit = 1, input = 3 }`.
pub(super) fn modbus_bit(value: Said<&DeValue<'_>>, out: &mut Findings) -> Option<ModbusBit> {
    let mut keys = table_of("a bit of a server", value, out)?;
    let unit = whole(&mut keys, "unit", Some(1), 247, out);
    let is_inverted = keys.flag("inverted", out).is_some_and(|said| said.value);
    let tables = [
        ("coil", ModbusTable::Coil),
        ("input", ModbusTable::Input),
        ("register", ModbusTable::Holding),
        ("input-register", ModbusTable::InputRegister),
    ];
    let mut found = Vec::new();
    for (key, table) in tables {
        if keys.has(key) {
            found.push((table, whole(&mut keys, key, None, 65_535, out)));
        } else {
            // So that it is among the keys that are known.
            let _ = keys.value(key);
        }
    }
    let bit = whole(&mut keys, "bit", Some(0), 15, out);
    let header = keys.header();
    keys.finish(out);
    match found[..] {
        [(table, number)] => {
            let (unit, bit) = (u8::try_from(unit?).ok()?, u8::try_from(bit?).ok()?);
            Some(ModbusBit { unit, table, number: u16::try_from(number?).ok()?, bit, is_inverted })
        }
        _ => {
            out.mistake(header, "a bit is in one table of a server")
                .hint("say one of `coil`, `input`, `register` and `input-register`, counted from 0");
            None
        }
    }
}

pub(super) fn modbus_words(bit: &ModbusBit) -> String {
    let ModbusBit { unit, table, number, bit, .. } = *bit;
    match table {
        ModbusTable::Coil => format!("coil {number} of unit {unit}"),
        ModbusTable::Input => format!("input {number} of unit {unit}"),
        ModbusTable::Holding => format!("bit {bit} of register {number} of unit {unit}"),
        ModbusTable::InputRegister => format!("bit {bit} of input register {number} of unit {unit}"),
    }
}

/// `17`, or `{ line = 17, bias = "pull-up" }`.
pub(super) fn gpio_line(value: Said<&DeValue<'_>>, out: &mut Findings) -> Option<GpioLine> {
    let plain = |line: u32| GpioLine { line, is_active_low: false, bias: Bias::AsIs, debounce_us: 0 };
    if let DeValue::Integer(number) = value.value {
        let line = number.to_string().parse().ok();
        if line.is_none() {
            out.mistake(value.span, "this is no number of a line").hint("lines of a chip are counted from 0");
        }
        return line.map(plain);
    }
    let mut keys = table_of("a line of a chip", value, out)?;
    let line = whole(&mut keys, "line", None, 4095, out);
    let is_active_low = keys.flag("active-low", out).is_some_and(|said| said.value);
    let bias = keys.text("bias", out).and_then(|said| {
        let words = [
            ("as-is", Bias::AsIs),
            ("disabled", Bias::Disabled),
            ("pull-up", Bias::PullUp),
            ("pull-down", Bias::PullDown),
        ];
        word_of(said, "a bias", &words, out)
    });
    let debounce = keys.duration("debounce", out).map_or(Duration::ZERO, |said| said.value);
    keys.finish(out);
    let debounce_us = u32::try_from(debounce.as_micros()).unwrap_or(u32::MAX);
    Some(GpioLine { line: line?, is_active_low, bias: bias.unwrap_or_default(), debounce_us })
}

pub(super) fn gpio_words(line: &GpioLine) -> String {
    format!("line {}", line.line)
}

/// What an address takes up, and in words.
pub(super) fn taken<B>(at: &BitsAt<B>, words: fn(&B) -> String) -> Vec<(String, String)> {
    let told: Vec<&B> = match &at.tells {
        BitTells::Nothing => Vec::new(),
        BitTells::Level(bit) | BitTells::Switch(bit) => vec![bit],
        BitTells::Pulse { straight, diverging, .. } => vec![straight, diverging],
        BitTells::Lamps(lamps) => lamps.iter().map(|(_, bit)| bit).collect(),
    };
    at.hears.iter().map(|(_, bit)| bit).chain(told).map(|bit| (words(bit), words(bit))).collect()
}
