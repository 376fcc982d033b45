//! How each link is spoken to.

use std::time::Duration;

use toml::de::DeValue;
use track::wiring::{
    Adapter, AdapterWay, By, Gpio, Lcc, LccWay, Modbus, ModbusWay, Mqtt, NodeStatus, Parity, Secret, Tls,
};

use super::lcc::node_id;
use super::mqtt::{check_topic, payload_of, quality, topic_safe};
use crate::diagnostic::Findings;
use crate::keys::{Keys, texts_of, word_of};
use crate::numbers::Unit;

#[derive(Clone, Copy)]
enum Word {
    Mqtt,
    Adapter,
    Lcc,
    Modbus,
    Gpio,
}

const WORDS: &[(&str, Word)] = &[
    ("mqtt", Word::Mqtt),
    ("adapter", Word::Adapter),
    ("lcc", Word::Lcc),
    ("modbus", Word::Modbus),
    ("gpio", Word::Gpio),
];

/// Ports where nothing else is written: MQTT's are registered, 12021 is what the draft of NMRA S-9.7.2.2 takes by convention (technical note, section 4.1),
/// 502 is that of the Modbus application protocol.
const MQTT_PORT: u16 = 1883;
const MQTT_TLS_PORT: u16 = 8883;
const LCC_PORT: u16 = 12021;
const MODBUS_PORT: u16 = 502;

/// What stands before every topic where nothing else is written.
const BASE: &str = "lineclear";

/// Reads how a link is spoken to, and what its topics begin with.
pub(super) fn read_by(keys: &mut Keys<'_>, name: &str, out: &mut Findings) -> (Option<By>, String) {
    let mut base = BASE.to_owned();
    let said = keys.needed_text("by", "\"mqtt\"", out);
    let Some(word) = said.and_then(|said| word_of(said, "a way to speak to hardware", WORDS, out)) else {
        keys.pass_over();
        return (None, base);
    };
    let by = match word {
        Word::Mqtt => {
            if let Some(said) = keys.text("base", out) {
                check_topic(said, out);
                base = said.value.trim_end_matches('/').to_owned();
            }
            read_mqtt(keys, name, &base, out).map(|mqtt| By::Mqtt(Box::new(mqtt)))
        }
        Word::Adapter => read_adapter(keys, out).map(By::Adapter),
        Word::Lcc => read_lcc(keys, out).map(By::Lcc),
        Word::Modbus => read_modbus(keys, out).map(By::Modbus),
        Word::Gpio => keys
            .needed_text("chip", "\"/dev/gpiochip0\"", out)
            .map(|chip| By::Gpio(Gpio { chip: chip.value.to_owned() })),
    };
    (by, base)
}

/// What two links share when they reach the same hardware.
pub(super) fn place(by: &By, link: &str) -> String {
    match by {
        By::Mqtt(mqtt) => format!("mqtt {} {}", mqtt.host, mqtt.port),
        By::Lcc(lcc) => match &lcc.way {
            LccWay::Tcp(address) | LccWay::Hub(address) => format!("lcc {address}"),
            LccWay::Can(interface) => format!("lcc can {interface}"),
        },
        By::Modbus(Modbus { way: ModbusWay::Tcp(address), .. }) => format!("modbus {address}"),
        By::Modbus(Modbus { way: ModbusWay::Serial { device, .. }, .. }) => format!("modbus {device}"),
        By::Gpio(gpio) => format!("gpio {}", gpio.chip),
        By::Adapter(_) => format!("adapter {link}"),
    }
}

/// What only one link can have, in words, and what to do where two want it.
pub(super) fn only_one_has(by: &By) -> Option<(String, &'static str)> {
    const ONE_LINK: &str = "only one can have it: give all that is behind it to one link";
    Some(match by {
        By::Mqtt(mqtt) => (
            format!("the name `{}` at the broker `{}:{}`", mqtt.client, mqtt.host, mqtt.port),
            "a broker sends away who came before by the same name: give each its own `client-id`",
        ),
        By::Lcc(Lcc { way: LccWay::Hub(address), .. }) => (format!("a hub at `{address}`"), ONE_LINK),
        By::Modbus(Modbus { way: ModbusWay::Serial { device, .. }, .. }) => {
            (format!("the serial line `{device}`"), ONE_LINK)
        }
        By::Adapter(Adapter { way: AdapterWay::Tcp(address), .. }) => (format!("the adapter at `{address}`"), ONE_LINK),
        By::Adapter(Adapter { way: AdapterWay::Unix(path), .. }) => (format!("the adapter at `{path}`"), ONE_LINK),
        By::Lcc(_) | By::Modbus(_) | By::Adapter(_) | By::Gpio(_) => return None,
    })
}

fn read_mqtt(keys: &mut Keys<'_>, name: &str, base: &str, out: &mut Findings) -> Option<Mqtt> {
    let broker = keys.needed_text("broker", "\"192.168.7.2\"", out);
    let user = keys.text("user", out);
    let password = keys.text("password", out).map(|said| Secret::Written(said.value.to_owned()));
    let file = keys.text("password-file", out).map(|said| Secret::InFile(said.value.to_owned()));
    let authority_file = keys.text("authority-file", out);
    let client = keys.text("client-id", out).map(|said| said.value.to_owned());
    let version = keys.text("version", out);
    let is_version_5 =
        version.and_then(|said| word_of(said, "a version of MQTT", &[("3.1.1", false), ("5", true)], out));
    let status = topic(keys, "status-topic", format!("{base}/status"), out);
    let ask = topic(keys, "ask-topic", format!("{base}/ask"), out);
    let node = read_node(keys, name, base, out);
    let quality = quality(keys, 1, out);
    let broker = broker?;
    let (is_encrypted, rest) = match broker.value.split_once("://") {
        Some(("mqtts", rest)) => (true, rest),
        Some(("mqtt", rest)) => (false, rest),
        Some((other, _)) => {
            out.mistake(broker.span, format!("`{other}://` is no way to a broker"))
                .hint("write `mqtt://` or `mqtts://`, or only where it is: `\"192.168.7.2:1883\"`");
            return None;
        }
        None => (false, broker.value),
    };
    let port = if is_encrypted { MQTT_TLS_PORT } else { MQTT_PORT };
    let Some((host, port)) = host_and_port(rest, port) else {
        out.mistake(broker.span, format!("`{rest}` is no place on a network"))
            .hint("a name or an address, and a port behind a colon where it is not the usual one");
        return None;
    };
    if let (Some(file), false) = (authority_file, is_encrypted) {
        out.mistake(file.span, "`authority-file` goes with an encrypted line").hint("write `broker = \"mqtts://...\"`");
    }
    let tls = is_encrypted.then(|| Tls { authority_file: authority_file.map(|said| said.value.to_owned()) });
    let secret = password.or(file);
    let user = match (user, secret) {
        (Some(user), Some(secret)) => Some((user.value.to_owned(), secret)),
        (Some(user), None) => {
            out.mistake(user.span, "`user` goes with a password")
                .hint("add `password-file = \"broker-password\"`, the name of a file that only you may read");
            None
        }
        (None, Some(_)) => {
            keys.missing("user", "\"lineclear\"", out);
            None
        }
        (None, None) => None,
    };
    let client = client.unwrap_or_else(|| format!("lineclear-{}", topic_safe(name)));
    let is_version_5 = is_version_5.unwrap_or(false);
    Some(Mqtt {
        host: host.to_owned(),
        port,
        tls,
        user,
        client,
        is_version_5,
        status_topic: status,
        ask_topic: ask,
        node,
        quality,
    })
}

fn topic(keys: &mut Keys<'_>, key: &'static str, usual: String, out: &mut Findings) -> String {
    let Some(said) = keys.text(key, out) else { return usual };
    check_topic(said, out);
    said.value.to_owned()
}

/// `node-topic = true`, or the topic.
fn read_node(keys: &mut Keys<'_>, name: &str, base: &str, out: &mut Findings) -> Option<NodeStatus> {
    let words = |keys: &mut Keys<'_>, key: &'static str, usual: &str, out: &mut Findings| {
        keys.value(key).and_then(|value| payload_of(key, value, out)).unwrap_or_else(|| usual.to_owned())
    };
    let (here, gone) = (words(keys, "here", "here", out), words(keys, "gone", "gone", out));
    let usual = format!("{base}/node/{}", topic_safe(name));
    let topic = match keys.value("node-topic")?.value {
        DeValue::Boolean(false) => return None,
        DeValue::Boolean(true) => usual,
        _ => topic(keys, "node-topic", usual, out),
    };
    Some(NodeStatus { topic, here, gone })
}

/// A host with its port; nothing where one of them makes no sense.
fn host_and_port(text: &str, usual: u16) -> Option<(&str, u16)> {
    let is_bare_v6 = text.matches(':').count() > 1 && !text.starts_with('[');
    let (host, port) = match text.rsplit_once(':') {
        Some((host, port)) if !is_bare_v6 && !text.ends_with(']') => {
            (host, port.parse().ok().filter(|&port| port != 0)?)
        }
        _ => (text, usual),
    };
    let host = host.strip_prefix('[').and_then(|host| host.strip_suffix(']')).unwrap_or(host);
    let is_fine = !host.is_empty() && !host.contains(|letter: char| letter.is_whitespace() || letter == '/');
    is_fine.then_some((host, port))
}

/// A place on a network, written out with its port; where there is no usual one it has to be said.
fn network(keys: &mut Keys<'_>, key: &'static str, usual: Option<u16>, out: &mut Findings) -> Option<String> {
    let said = keys.text(key, out)?;
    let found = host_and_port(said.value, usual.unwrap_or_default()).filter(|(_, port)| *port != 0);
    if found.is_none() {
        let hint = usual.map_or_else(
            || "a name or an address, and its port behind a colon: `\"127.0.0.1:4470\"`".to_owned(),
            |usual| format!("a name or an address, and a port behind a colon where it is not {usual}"),
        );
        out.mistake(said.span, format!("`{}` is no place on a network", said.value)).hint(hint);
    }
    found.map(|(host, port)| if host.contains(':') { format!("[{host}]:{port}") } else { format!("{host}:{port}") })
}

fn read_adapter(keys: &mut Keys<'_>, out: &mut Findings) -> Option<Adapter> {
    let sends_packets = keys.flag("packets", out).is_some_and(|said| said.value);
    let command = keys.value("command").map(|value| texts_of("command", value, out));
    let command: Option<Vec<String>> =
        command.map(|words| words.into_iter().map(|word| word.value.to_owned()).collect());
    let said_tcp = keys.has("tcp");
    let tcp = network(keys, "tcp", None, out);
    let unix = keys.text("socket", out).map(|said| said.value.to_owned());
    let ways = [command.is_some(), said_tcp, unix.is_some()].iter().filter(|is| **is).count();
    if ways != 1 {
        out.mistake(keys.header(), "an adapter is in one place").hint(
            "say one of `command = [\"python3\", \"box.py\"]`, `tcp = \"127.0.0.1:4470\"` and `socket = \"/run/box\"`",
        );
        return None;
    }
    let way = match (command, tcp, unix) {
        (Some(command), ..) if command.is_empty() => {
            keys.missing("command", "[\"python3\", \"box.py\"]", out);
            return None;
        }
        (Some(command), ..) => AdapterWay::Process(command),
        (_, Some(tcp), _) => AdapterWay::Tcp(tcp),
        (_, None, unix) => AdapterWay::Unix(unix?),
    };
    Some(Adapter { way, sends_packets })
}

fn read_lcc(keys: &mut Keys<'_>, out: &mut Findings) -> Option<Lcc> {
    let node = keys.needed_text("node-id", "\"05.01.01.01.8C.00\"", out);
    let knows_detection_draft = keys.flag("detection-draft", out).is_some_and(|said| said.value);
    let tcp = network(keys, "tcp", Some(LCC_PORT), out);
    let hub = network(keys, "hub", Some(LCC_PORT), out);
    let can = keys.text("can", out).map(|said| said.value.to_owned());
    let node = node.and_then(|said| node_id(said, out));
    let mut ways: Vec<LccWay> = Vec::new();
    ways.extend(tcp.map(LccWay::Tcp));
    ways.extend(hub.map(LccWay::Hub));
    ways.extend(can.map(LccWay::Can));
    match (&ways[..], node) {
        ([way], Some(node)) => Some(Lcc { node, way: way.clone(), knows_detection_draft }),
        ([_], None) => None,
        _ => {
            let any = ["tcp", "hub", "can"].iter().any(|key| keys.has(key));
            if !any || ways.len() > 1 {
                out.mistake(keys.header(), "a bus is reached in one way")
                    .hint("say one of `tcp = \"192.168.7.3\"`, `hub = \"0.0.0.0:12021\"` and `can = \"can0\"`");
            }
            None
        }
    }
}

fn read_modbus(keys: &mut Keys<'_>, out: &mut Findings) -> Option<Modbus> {
    let tcp = network(keys, "tcp", Some(MODBUS_PORT), out);
    let device = keys.text("serial", out).map(|said| said.value.to_owned());
    let baud = keys.number("baud", Unit::Count, out).map_or(19_200, |said| said.value as u32);
    let parity = keys.text("parity", out).and_then(|said| {
        let words = [("none", Parity::None), ("even", Parity::Even), ("odd", Parity::Odd)];
        word_of(said, "a parity", &words, out)
    });
    let every = keys.duration("every", out).map_or(Duration::from_millis(50), |said| said.value);
    let load = keys.number("load", Unit::Share, out).map_or(0.7, |said| said.value);
    let patience = keys.duration("patience", out).map_or(Duration::from_millis(300), |said| said.value);
    let way = match (tcp, device) {
        (Some(address), None) => ModbusWay::Tcp(address),
        (None, Some(device)) => {
            ModbusWay::Serial { device, baud: baud.max(300), parity: parity.unwrap_or(Parity::Even) }
        }
        (None, None) if keys.has("tcp") || keys.has("serial") => return None,
        _ => {
            out.mistake(keys.header(), "the servers are reached in one way")
                .hint("say one of `tcp = \"192.168.7.4\"` and `serial = \"/dev/ttyUSB0\"`");
            return None;
        }
    };
    let load_permille = ((load * 1000.0) as u32).clamp(10, 1000);
    Some(Modbus { way, every: every.max(Duration::from_millis(5)), load_permille, patience })
}
