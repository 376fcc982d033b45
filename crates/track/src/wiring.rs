//! What of a layout is reached over which link, and at which address there.
//!
//! A [`Wiring`] is to hardware what [`Layout`](crate::Layout) is to track: checked, at rest, and known to nobody but those who
//! speak to hardware. Times are those of the wall clock; nothing here is open, up or down.

use std::time::Duration;

use crate::ids::{AccessoryId, DetectorId, DistrictId, InputId, LinkId, SectionId, SignalId, TrainId, TurnoutId};
use crate::train::{Address, Facing, Function};

/// All links of a layout that are described.
#[derive(Clone, Debug, Default, PartialEq)]
pub struct Wiring {
    /// The links.
    pub links: Vec<WiredLink>,
}

/// One link.
#[derive(Clone, Debug, PartialEq)]
pub struct WiredLink {
    /// Which it is.
    pub link: LinkId,
    /// Its name.
    pub name: String,
    /// How it is spoken to.
    pub by: By,
    /// What it carries, and where that is.
    pub carries: Vec<Carried>,
    /// One that is not heard of for so long is down. Nothing where it may be silent.
    pub silent_after: Option<Duration>,
}

/// Something that a link carries.
#[derive(Clone, Debug, PartialEq)]
pub struct Carried {
    /// What.
    pub thing: Thing,
    /// Its name, as people write it.
    pub name: String,
    /// Where on the link it is.
    pub at: At,
}

/// Something that reports, takes orders, or both.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Thing {
    /// The area detector of a section.
    Section(SectionId),
    /// A spot detector.
    Spot(DetectorId),
    /// A reader.
    Reader(DetectorId),
    /// A turnout.
    Turnout(TurnoutId),
    /// A signal.
    Signal(SignalId),
    /// A train.
    Train(TrainId),
    /// A power district.
    District(DistrictId),
    /// An accessory.
    Accessory(AccessoryId),
    /// An input.
    Input(InputId),
}

/// How a link is spoken to.
#[derive(Clone, Debug, PartialEq)]
pub enum By {
    /// Messages through a broker.
    Mqtt(Box<Mqtt>),
    /// A program of the maker's own.
    Adapter(Adapter),
    /// Events on a bus of nodes (NMRA S-9.7).
    Lcc(Lcc),
    /// Coils and registers.
    Modbus(Modbus),
    /// Pins of this computer.
    Gpio(Gpio),
}

/// Where on its link a thing is.
#[derive(Clone, Debug, PartialEq)]
pub enum At {
    /// Topics.
    Mqtt(Box<MqttAt>),
    /// Whatever the adapter makes of this text.
    Adapter(String),
    /// Events, or a node.
    Lcc(LccAt),
    /// Coils and registers.
    Modbus(BitsAt<ModbusBit>),
    /// Pins.
    Gpio(BitsAt<GpioLine>),
}

/// What one word, event or bit says of a thing, or asks of it.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Mark {
    /// Something is in the section.
    Occupied,
    /// Nothing is.
    Free,
    /// Something passes.
    Passed,
    /// The turnout lies, or shall lie, for the straight track.
    Straight,
    /// For the diverging track.
    Diverging,
    /// It moves.
    Moving,
    /// The district has power.
    Live,
    /// It has none.
    Dark,
    /// The accessory shall be on, or the input is.
    On,
    /// It shall be off, or is.
    Off,
}

impl Mark {
    /// The word for it, in files and in messages.
    pub fn word(self) -> &'static str {
        match self {
            Self::Occupied => "occupied",
            Self::Free => "free",
            Self::Passed => "passed",
            Self::Straight => "straight",
            Self::Diverging => "diverging",
            Self::Moving => "moving",
            Self::Live => "live",
            Self::Dark => "dark",
            Self::On => "on",
            Self::Off => "off",
        }
    }

    /// The other of two, where there are two.
    pub fn opposite(self) -> Option<Self> {
        Some(match self {
            Self::Occupied => Self::Free,
            Self::Free => Self::Occupied,
            Self::Straight => Self::Diverging,
            Self::Diverging => Self::Straight,
            Self::Live => Self::Dark,
            Self::Dark => Self::Live,
            Self::On => Self::Off,
            Self::Off => Self::On,
            Self::Passed | Self::Moving => return None,
        })
    }
}

/// A broker, and how it is spoken to.
#[derive(Clone, Debug, PartialEq)]
pub struct Mqtt {
    /// Name or address of its machine.
    pub host: String,
    /// Its port.
    pub port: u16,
    /// Whether, and how, the line is encrypted.
    pub tls: Option<Tls>,
    /// The user, and the password or the file that holds it.
    pub user: Option<(String, Secret)>,
    /// What we are called there.
    pub client: String,
    /// MQTT 5 rather than 3.1.1.
    pub is_version_5: bool,
    /// Whether we are there: `here`, kept by the broker; it says `gone` when we are gone.
    pub status_topic: String,
    /// Where we ask for everything to be reported anew.
    pub ask_topic: String,
    /// Where the node that this link is says whether it is there; nothing where the link is up with the broker.
    pub node: Option<NodeStatus>,
    /// The quality of service that reports are asked for with, 0 to 2.
    pub quality: u8,
}

/// An encrypted line.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Tls {
    /// The file with the certificate of who answers for the broker; the system's where there is none.
    pub authority_file: Option<String>,
}

/// Something that is not for everybody to read.
#[derive(Clone, PartialEq, Eq)]
pub enum Secret {
    /// It stands in the layout's own file.
    Written(String),
    /// It stands in a file of its own.
    InFile(String),
}

impl std::fmt::Debug for Secret {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        match self {
            Self::Written(_) => f.write_str("(not shown)"),
            Self::InFile(file) => write!(f, "in `{file}`"),
        }
    }
}

/// Where a node says whether it is there, and in which words.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct NodeStatus {
    /// The topic.
    pub topic: String,
    /// It is.
    pub here: String,
    /// It is not.
    pub gone: String,
}

/// The topics of one thing.
#[derive(Clone, Debug, PartialEq)]
pub struct MqttAt {
    /// What is heard of it.
    pub hears: Option<MqttHears>,
    /// What it is told.
    pub tells: Option<MqttTells>,
}

/// What is heard of a thing.
#[derive(Clone, Debug, PartialEq)]
pub struct MqttHears {
    /// The topic.
    pub topic: String,
    /// Which part of a JSON payload (RFC 6901); the whole payload where there is none.
    pub pointer: Option<String>,
    /// What it means.
    pub reads: Reads,
}

/// What a payload means.
#[derive(Clone, Debug, PartialEq)]
pub enum Reads {
    /// One of these words or numbers.
    Marks(Vec<(Mark, String)>),
    /// A number: more than this is occupied.
    Above(f64),
    /// A train: its name, its address, or the bytes of its answer (NMRA S-9.3.2, channel 1).
    Train,
}

/// What a thing is told.
#[derive(Clone, Debug, PartialEq)]
pub struct MqttTells {
    /// The topic; with lamps, what stands before each lamp's own.
    pub topic: String,
    /// The words.
    pub says: Says,
    /// Quality of service, 0 to 2.
    pub quality: u8,
    /// Whether the broker keeps it for who comes later.
    pub is_retained: bool,
}

/// How an order is put.
#[derive(Clone, Debug, PartialEq)]
pub enum Says {
    /// One of these words.
    Marks(Vec<(Mark, String)>),
    /// A signal's aspect: a word for each, or a text in which `{aspect}` stands for it.
    Aspects {
        /// Aspects with a word of their own.
        words: Vec<(String, String)>,
        /// For all others.
        template: String,
        /// While its lamps are dark because no train is near.
        unlit: String,
    },
    /// Each lamp of a signal by itself.
    Lamps {
        /// Each lamp with its topic.
        topics: Vec<(String, String)>,
        /// It is lit.
        on: String,
        /// It is not.
        off: String,
        /// It flashes.
        flash: String,
    },
    /// A train, in texts of its own.
    Train(TrainSays),
}

/// How orders for a train are put: texts in which `{name}`, `{address}`, `{long}`, `{steps}`, `{direction}` and `{step}` stand for
/// these.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct TrainSays {
    /// Who is told: each of its decoders, or one for all of them.
    pub each: Vec<Whom>,
    /// How it is to run.
    pub drive: String,
    /// That it is to stand at once; where there is none, step 0 is all that is said.
    pub stop: Option<String>,
    /// That a function is to be on or off, with `{function}` and `{on}`; where there is none, functions are not told.
    pub function: Option<String>,
}

impl TrainSays {
    /// Every topic that something is said to.
    pub fn topics(&self) -> impl Iterator<Item = String> + '_ {
        let functions = self.function.iter().flat_map(|_| {
            let numbered = |whom: &Whom| {
                let topic = whom.function_topic.clone();
                let count = if topic.contains("{function}") { Function::HIGHEST } else { 0 };
                (0..=count).map(move |number| topic.replace("{function}", &number.to_string()))
            };
            self.each.iter().flat_map(numbered)
        });
        self.each.iter().map(|whom| whom.topic.clone()).chain(functions)
    }
}

/// One who is told the orders for a train.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Whom {
    /// The topic of how it is to run.
    pub topic: String,
    /// That of its functions, in which `{function}` may stand for the number.
    pub function_topic: String,
    /// The address of the decoder.
    pub address: Option<Address>,
    /// How what it drives stands in the train.
    pub facing: Facing,
}

/// A program that speaks lines of JSON.
#[derive(Clone, Debug, PartialEq)]
pub struct Adapter {
    /// Where it is.
    pub way: AdapterWay,
    /// Whether trains are driven, and turnouts thrown, by ready packets (NMRA S-9.2).
    pub sends_packets: bool,
}

/// Where an adapter is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum AdapterWay {
    /// It is started by us: the program and what it is started with.
    Process(Vec<String>),
    /// It listens at an address.
    Tcp(String),
    /// It listens at a socket of this machine.
    Unix(String),
}

/// A bus of nodes.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Lcc {
    /// Who we are there: an id that belongs to whoever runs this.
    pub node: u64,
    /// How the bus is reached.
    pub way: LccWay,
    /// Whether readers follow the draft of a working note on how decoders are detected.
    pub knows_detection_draft: bool,
}

/// How a bus is reached.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum LccWay {
    /// Somebody listens there, and passes frames on as text.
    Tcp(String),
    /// We listen here, and pass frames on between all who come.
    Hub(String),
    /// A CAN interface of this machine.
    Can(String),
}

/// Where on a bus a thing is.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum LccAt {
    /// Events.
    Marks {
        /// What is heard.
        hears: Vec<(Mark, u64)>,
        /// What is told.
        tells: Vec<(Mark, u64)>,
    },
    /// A signal: an event for each aspect.
    Aspects(Vec<(String, u64)>),
    /// Train nodes: one for the whole train, or one for each of its decoders.
    Train(Vec<u64>),
    /// A train whose nodes are found by asking for them: an event for each of its decoders.
    Searched(Vec<u64>),
    /// A reader: the first six bytes of its events (a draft).
    Reader(u64),
}

/// A line of servers that hold coils and registers.
#[derive(Clone, Debug, PartialEq)]
pub struct Modbus {
    /// How it is reached.
    pub way: ModbusWay,
    /// How often everything is asked for, if the line allows.
    pub every: Duration,
    /// How much of the time the line may be in use, in thousandths.
    pub load_permille: u32,
    /// How long an answer may take.
    pub patience: Duration,
}

/// How servers are reached.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum ModbusWay {
    /// Over TCP.
    Tcp(String),
    /// Over a serial line, 8 bits.
    Serial {
        /// The device.
        device: String,
        /// Bits a second.
        baud: u32,
        /// The parity bit.
        parity: Parity,
    },
}

/// The parity bit of a serial line.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Parity {
    /// There is none; there are two stop bits.
    None,
    /// Even.
    Even,
    /// Odd.
    Odd,
}

/// One bit of a server.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct ModbusBit {
    /// The server.
    pub unit: u8,
    /// Which of its tables.
    pub table: ModbusTable,
    /// Counted from 0, as it is sent.
    pub number: u16,
    /// Which bit of a register; 0 is the lowest.
    pub bit: u8,
    /// Whether 0 means what 1 means elsewhere.
    pub is_inverted: bool,
}

/// The four tables of a server (Modbus application protocol 1.1b3, section 4.3).
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum ModbusTable {
    /// Single bits that can be written.
    Coil,
    /// Single bits that cannot.
    Input,
    /// Registers that can be written.
    Holding,
    /// Registers that cannot.
    InputRegister,
}

/// Pins of a chip.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Gpio {
    /// The chip, such as `/dev/gpiochip0`.
    pub chip: String,
}

/// One pin.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub struct GpioLine {
    /// Its offset on the chip.
    pub line: u32,
    /// Whether a low level is what counts.
    pub is_active_low: bool,
    /// What it is pulled to.
    pub bias: Bias,
    /// How long a level must last, in microseconds.
    pub debounce_us: u32,
}

/// What a pin is pulled to while nothing drives it.
#[derive(Clone, Copy, Debug, Default, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Bias {
    /// As the chip was set up.
    #[default]
    AsIs,
    /// Nothing.
    Disabled,
    /// The supply.
    PullUp,
    /// Ground.
    PullDown,
}

/// The bits of one thing.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct BitsAt<B> {
    /// What says how it is, and what a 1 there means.
    pub hears: Vec<(Mark, B)>,
    /// What makes it do something.
    pub tells: BitTells<B>,
}

/// Bits that make something do what it shall.
#[derive(Clone, Debug, PartialEq, Eq)]
pub enum BitTells<B> {
    /// It takes no orders.
    Nothing,
    /// 1 is diverging, 0 is straight.
    Level(B),
    /// 1 is live or on, 0 is dark or off.
    Switch(B),
    /// One of two is 1 for a while.
    Pulse {
        /// For the straight track.
        straight: B,
        /// For the diverging track.
        diverging: B,
        /// For so long.
        lasts: Duration,
    },
    /// Each lamp of a signal; what flashes there is lit.
    Lamps(Vec<(String, B)>),
}

impl WiredLink {
    /// The trains that are driven over it.
    pub fn trains(&self) -> impl Iterator<Item = TrainId> + '_ {
        self.carries.iter().filter_map(|carried| match carried.thing {
            Thing::Train(train) => Some(train),
            _ => None,
        })
    }
}
