//! Text to checked layout: TOML in, every mistake reported, in one run.
//!
//! [`load`] is handed a way to open files and gives back a [`track::Layout`] that other crates can rely on, or
//! [`Diagnostics`] with every mistake of all files: the place, the text underlined, what is wrong and what would be
//! right. Nothing here opens a file or writes one. Read [`load`] first, then `resolve`.
//!
//! How it goes: each text becomes a tree with a place on every key and value (`keys`, `syntax`); the trees become what
//! was typed (`written`, by `read_track`, `read_signals` and `read_trains`); names are looked up and pieces joined
//! (`resolve`, `signals`, `fittings`, `resolve_trains`); what only shows in the whole is checked last (`check`). A
//! piece that is wrong is reported once, left out, and what hangs on it is not reported again. Where a text is no TOML
//! throughout, what it lacks and what it refers to is not judged until it is.
//!
//! # The files of a layout
//!
//! A layout is a folder with `layout.toml` (the track), as a rule `trains.toml`, and where there is hardware
//! `links.toml` (how it is reached). Keys are lower case, words joined by hyphens.
//! Lengths are millimetres on the table, times seconds, voltages volts, currents milliamperes, resistances ohms. A
//! **speed** is a number of millimetres a second on the table, or a text such as `"40 km/h"` or `"25 mph"`, which is
//! what the real train would run. An **end** is written `section.end`; section names may hold any letters, dots and
//! spaces too, for the last dot is the one that counts. Names are told apart letter for letter.
//!
//! ## `layout.toml`
//!
//! ```toml
//! [layout]
//! name  = "Low Staithe"
//! scale = "H0"               # a name of NEM 010 or NMRA S-1.2; "1:1" for recordings from the real railway
//! parts = 1                  # how many parts the track is in that do not touch each other; 1 where left out
//! aspects = "uk-four-aspect" # the aspect book of signals that name no other; "three-aspect" where left out
//! sensing   = "diode-drop"   # how area detectors sense current: by "diode-drop", "current-transformer" or "hall"
//! threshold = 0.5            # from how many milliamperes on they say that something is there
//! bridge    = 0.3            # for so long they are not believed that nothing is there any more; 0 where left out
//!
//! [speeds]                   # what signals mean by classes of speed; what is left out is as the aspect book says, or as below
//! restricted = "15 mph"      # on sight
//! slow       = "20 mph"
//! medium     = "40 mph"
//! limited    = "45 mph"
//!
//! [diagram]                  # how the page draws the track, where that should be otherwise than it is by itself; may be left out
//! left      = "quay-1.a"     # an end, or a list: on the left of its section; what hangs together is turned with it
//! from-top  = ["quay-2", "quay-1"]    # sections of two ends, each in a row above the next; or a list of such lists
//! backwards = []             # a section of two ends, or a list: the track of a ring that is drawn from right to left
//!
//! [[link]]                   # what carries reports and orders to and from one part of the hardware
//! name   = "west"
//! orders = 20                # for trains it carries a second, stops first; of no matter where left out
//!
//! [[section]]                # what one detector watches
//! name     = "quay-1"        # with no `ways`: two ends, `a` and `b`, and one way between them
//! length   = 1450            # may be left out
//! district = "harbour"       # its power district; may be left out
//! link     = "west"          # carries the reports of the detectors in it; may be left out
//! dark     = false           # true where no detector watches it; false where left out
//! limit    = "30 km/h"       # the highest speed on all its ways; may be left out
//! gradient = -12.5           # rise from `a` to `b` in mm a metre, less than 0 where it falls; 0 where left out
//! crosses  = "west-throat"   # a section, or a list, whose rails cross its own; said of one of the two, or of both
//! speed-class = "normal"     # by which signals speak of all its ways; may be left out, and said of single ways instead
//!
//! [[section]]
//! name = "west-throat"       # more than two ends: the ways say which there are
//! ways = [
//!   { from = "toe", to = "one", length = 240, needs = { W1 = "straight" }, gradient = 5 },   # rise `from` one end `to` the other
//!   { from = "toe", to = "two", length = 245, needs = { W1 = "diverging" }, limit = 80 },
//! ]
//!
//! [[turnout]]
//! name       = "W1"
//! reported   = true          # its position is reported; false where left out
//! worked     = true          # the signaller throws it, not a person; true where left out
//! throw-time = 1.5           # 1 s where left out
//! normal     = "straight"    # how it lies in a control table's first column; straight where left out
//! limit      = "40 km/h"     # the highest speed on ways that need it to diverge; may be left out
//! link       = "west"        # carries its reports; may be left out
//!
//! [[joint]]                  # two ends that meet. An end in several joints is a junction whose turnout nobody reports
//! ends = ["quay-1.b", "west-throat.one"]
//!
//! [[buffer-stop]]            # one end, or a list
//! at = ["quay-1.a", "quay-2.a"]
//!
//! [[off-layout]]             # ends where trains come from, and go to, track that is not described
//! at = "west-throat.toe"
//!
//! [[signal]]                 # governs leaving `quay-1` by `b`
//! name    = "S2"
//! at      = "quay-1.b"
//! aspects = "us-block"       # its aspect book; may be left out
//! permissive   = true        # trains may pass it on sight, where its book has an aspect for that; false where left out
//! approach-lit = true        # dark while the section before it is known to be free; false where left out
//! controlled   = true        # at stop until a route is set from it, where people drive; where left out it works by itself
//! overlap = ["west-throat"]  # beyond it, clear before a signal that leads up to it shows proceed; or in mm: 600; none where left out
//!
//! [[stopping-point]]         # where a nose should come to stand
//! name         = "the crane" # the end's name where left out
//! at           = "quay-1.b"
//! short-of-end = 80          # 0 where left out
//! platform     = [100, 1100] # trains stand with their middle at its middle, from that end back; may be left out
//!
//! [[detector]]               # the detector of a section; needed only where something is to be said of it
//! name      = "quay one"     # the section's name where left out
//! area      = "quay-1"
//! on-delay  = 0.1            # 0 where left out
//! off-delay = 0.8            # 0 where left out
//! link      = "west"         # the section's where left out
//! sensing   = "diode-drop"   # these three as under `[layout]`, and as is said there where left out
//! threshold = 0.8
//! bridge    = 0.5
//!
//! [[detector]]               # sees that something passes
//! name     = "magnet"
//! spot     = "west-throat.toe"
//! to       = "one"           # on the way to this end; needed where several ways begin
//! distance = 60              # from the end named by `spot`; may be left out
//!
//! [[detector]]               # sees which train it is
//! name   = "gate"
//! reader = "quay-2"
//!
//! [[district]]               # what goes dark together
//! name    = "harbour"
//! voltage = 15               # on its track, under load; may be left out
//! switched = true            # its power can be cut from here, and is, in the last resort; false where left out
//!
//! [[accessory]]              # a lamp, a relay, a sound: what people and scripts switch, and no train depends on
//! name = "quay lamps"
//! link = "west"              # what carries orders for it; may be left out
//!
//! [[input]]                  # a push button, a key switch, a lever, a float switch, a photocell: what scripts hear of
//! name = "coal stage lever"
//! link = "west"              # what carries its reports; may be left out
//! ```
//!
//! Hints in `[diagram]` change nothing but the drawing, and only the page's: the picture in the terminal goes by rules of its
//! own. `lineclear check` tells of a hint that cannot be kept to, or that contradicts another; then the track is drawn as
//! without it.
//!
//! The **overlap** of a signal is track *beyond* it, kept clear for a train that should have stopped there: signals
//! that lead up to this one stay at danger until it is clear. A list of sections means all of them, and begins right
//! behind the signal; a length means every section it reaches into the way the turnouts lie, and ends at a buffer stop
//! or the layout's edge.
//!
//! [`junctions`] shows how to write every kind of junction: turnouts, slips, crossings, ladders, loops, triangles.
//!
//! Signals that stand at one line may be of different books: what one shows is to the one before it the least
//! restrictive aspect of its own book that promises no more. A signal of a book of `kind = "distant"` only foretells
//! what the next main signal shows; it ends no stretch. A signal at an end with a buffer stop is **fixed**, like the red
//! lamps at the end of a platform track: it shows its most restrictive aspect, always, and routes lead up to it.
//!
//! A train that passes a signal at slow, medium or limited speed, or on sight, keeps to that speed up to the next one. On
//! the real railway slow and restricted speed are 20 mph, medium speed is 40 mph (49 CFR 236.812, 236.813, 236.811) and
//! limited speed 45 mph (NORAC operating rules, 8th edition, 2003) where neither `[speeds]` nor the aspect book says
//! otherwise. Gradients of more than 100 mm a metre are doubted.
//!
//! Every end is in a joint, has a buffer stop, or leads off the layout. Ways that begin at one end need different
//! positions of some turnout, unless none of them needs any and they lead to different ends. Track without lengths and
//! without turnouts is accepted: the signaller then knows less. A way needs a length where something is measured along
//! it: a stopping point at one of its ends, a spot with a `distance`. A circle of one section is a joint of its end `a`
//! with its end `b`; an end that meets itself is a mistake.
//!
//! A train whose tail would reach back into turnouts if its nose stood at the stopping point stands nearer to the end than
//! that, down to 40 mm before it; one that is centred at a platform stands no nearer to the end than the stopping point for
//! that. How near is common practice, no source.
//!
//! A `sensing` goes with a `threshold`; a detector that gives only another threshold senses as is said under
//! `[layout]`. Where neither says anything, how a detector senses is not known. What the kinds of sensing can do
//! (common practice, no source): `"diode-drop"` takes 0.5 to 0.7 V from the track and sees very small currents, so that
//! moisture can fill its section; `"current-transformer"` takes nothing, and may miss less than 3 mA whatever its
//! threshold; `"hall"` takes nothing, and may be 3 mA off. A threshold is 0.01 to 10000 mA; a `bridge` of more than 10
//! s is doubted; a voltage is at most 60 V, and doubted outside the 7 to 27 V that decoders work at (NMRA S-9.1, table
//! 3). While a link is down nothing is known of what it carries; a detector or turnout without a link is always
//! believed to be heard.
//!
//! ## `aspects/*.toml`
//!
//! An **aspect book** says which aspects signals have and when each is shown. `aspects = "harbour"` means the file
//! `aspects/harbour.toml` of the layout's folder, or else a book that comes with the program:
//!
//! | book | signals |
//! | --- | --- |
//! | `two-aspect`, `three-aspect` | whether the track is clear; and whether the next signal is at danger |
//! | `us-block` | four-aspect block signals after 49 CFR 236, absolute and permissive |
//! | `us-speed` | speed signals for slow, medium and normal speed after 49 CFR 236 |
//! | `uk-three-aspect`, `uk-four-aspect` | British colour lights with junction indicators |
//! | `de-hp`, `de-vr`, `de-hp-vr` | German main signals, distant signals, and both on one post |
//! | `de-sv` | German combined signals of urban railways |
//! | `de-ks` | German Ks signals, from memory |
//!
//! Their texts, in this crate's folder `aspects`, are examples of all that follows.
//!
//! ```toml
//! [book]
//! source    = "common practice"   # the published rule it follows; may be left out
//! kind      = "main"              # or "distant"; "main" where left out
//! reads     = "harbour"           # the book in whose words `next` speaks; its own where left out
//! diverging = "slow"              # speed class of a diverging path of which nothing is said; "slow" where left out
//! speeds    = { slow = "40 km/h" }   # what classes of speed are on the real railway, as under `[speeds]`; may be left out
//!
//! [[aspect]]                      # the most restrictive first
//! name = "red"
//! pass = "stop"                   # how trains may pass: "stop", "stop-then-on-sight", "on-sight", or a speed class:
//!                                 # "slow", "medium", "limited", "normal"; "normal" where left out
//! lamps = ["red"]                 # which are lit; may be left out of the whole book
//!
//! [[aspect]]
//! name = "yellow"
//! also-called = ["caution"]       # understood when it is reported; may be left out
//! expect = "stop"                 # what it foretells of the next signal: "stop", "stop-at-second", or a speed class; may be left out
//! flashing = ["yellow"]           # which flash; may be left out
//! says = "the next signal may be at danger"   # for people; may be left out
//!
//! [[aspect]]
//! name = "green"
//! expect = "normal"
//! lamps = ["green"]
//!
//! [[aspect]]
//! name = "green, diverging"
//! expect = "normal"
//! lamps = ["green", "arrow"]
//!
//! [[rule]]                        # an aspect, and when it is shown; what is left out may be anyhow
//! show = "yellow"
//! next = ["red", "buffer-stop", "edge"]   # what ends the stretch: a signal that shows one of these, a buffer stop, the layout's edge
//!
//! [[rule]]
//! show  = "green"
//! clear = [2, 3]                  # how many signals in a row can be passed, this one first: 1, 2, or 3, which means 3 or more
//! path  = "straight"              # or "diverging": some turnout on the stretch lies so
//!
//! [[rule]]
//! show  = "green, diverging"
//! clear = [2, 3]
//! path  = "diverging"
//! ```
//!
//! A rule may also go by `speed` (one or several classes: the lowest `speed-class` on the path) and by `approached`
//! (whether a detector says that a train is in the section right before the signal). A rule with `occupied = true` is
//! about track in which a detector reports something, and may go by `permissive` and `called-on` (a person asked for a
//! train to be called on); what no rule says of occupied track is the first aspect. So is everything that is not known
//! good: no book is asked there.
//!
//! A book is tried in every state there is when it is read. It is refused where a state has no aspect or two; where an
//! aspect is never shown, cannot be told from another by its lamps, lets trains into occupied track otherwise than on
//! sight, or promises what the next signal or the path does not keep; and where less is shown to a train that has come
//! than to none. So a book cannot show more than is so, whatever it is named.
//!
//! ## `trains.toml`
//!
//! ```toml
//! [[train]]
//! name            = "Heron"
//! vehicles        = [                          # in order, front first; may be left out
//!   { name = "engine", length = 128, detectable = [22, 106] },
//!   { name = "coach",  length = 240, detectable = true },
//!   { name = "railbus", length = 150, pickups = [30, 120], draws = 18 },
//!   { name = "van",     length = 105, resistor-axles = [22, 84], resistance = 8200 },
//!   { length = 110 },
//! ]
//! address         = 12                         # 1 to 127 short, 128 to 10239 long (NMRA S-9.2, S-9.2.1)
//! # address       = { long = 12 }              # the same number, long; or { short = 12 }
//! link            = "west"                     # what carries its orders; may be left out
//! speed-steps     = 28                         # 14, 28 or 126; 126 where left out
//! top-speed       = "65 km/h"                  # at the highest step; may be left out
//! acceleration    = 70                         # mm/s2; may be left out
//! braking         = 110                        # mm/s2, in ordinary service; may be left out
//! gradient-share  = 0.1                        # how much of gravity gets through its gears; 0.1 where left out, 1 rolls freely
//! speed-tolerance = 0.1                        # how far off the real speed may be; 0.2 where left out
//! dwell           = 8                          # s that it stands at least at a stopping point; 0 where left out
//! start-delay     = 1.5                        # s from when it may set out until it does; 0 where left out
//! stands          = { on = ["quay-1"], nose = "quay-1.b" }   # at first; sections tail first, the end the front points at
//!
//! [[train.function]]                           # what its decoder switches on, by number, 0 to 28 (NMRA S-9.2.1)
//! number = 0
//! while  = "forward"                           # its first vehicle leads; or "backward", "moving", "standing"
//!
//! [[train.function]]
//! number = 2
//! at     = "start"                             # from when it is about to set out; or "stop": from when it is told to stand
//! for    = 1.2                                 # s
//! ```
//!
//! Where several rules name one function it is on whenever one of them says so. An engine of a train that has several,
//! each with a decoder of its own, has an `address` among the vehicles, and `reversed = true` where it stands the other
//! way round: `{ name = "engine", length = 128, detectable = true, address = 14, reversed = true }`. The train itself
//! has no address then. All of them get every order, so let them run alike before they are coupled.
//!
//! `detectable` says what of a vehicle a detector can see: from the first to the last axle that draws current, measured
//! from the vehicle's front; `true` for axles 25 mm from either end, or a quarter of the length where that is less
//! (common practice, no source); `false` for nothing, which it is where neither it nor any axle is given. Wrongly
//! believed undetectable a vehicle costs time; wrongly believed detectable it may be run into. The defaults of
//! `throw-time`, `speed-tolerance` and `gradient-share` are common practice, no source.
//!
//! Better than saying what is seen is to say what draws current, and have the rest reckoned:
//!
//! - `pickups` are the axles that collect current, in millimetres from the vehicle's front, and `draws` what motor, decoder and
//!   lights draw through all of them together **while the vehicle stands**: the least it ever draws with the power on,
//!   for a detector must see it standing too. Each pickup is taken to carry an equal share. 0.01 to 10000 mA.
//! - `resistor-axles` are axles with a resistor between the wheels, and `resistance` that of each of them in ohms: 10000 where
//!   left out (common practice, no source), 500 to ten million. By Ohm's law it draws the voltage over the
//!   resistance.
//!
//! A vehicle may have both. Where it has no `detectable`, it is detectable from the first to the last axle that *every*
//! area detector of the layout is sure to see alone: at the voltage of the section's power district, less 0.7 V where
//! the detector senses by diode drop, the axle draws at least its `threshold`, with a current transformer at least 3 mA
//! too, and with a Hall sensor 3 mA more. Where no voltage was given, 8.5 V are reckoned with, the least that a command
//! station puts on the track (NMRA S-9.1, table 3); where some area detector has no threshold, `detectable` is needed.
//! Axles that are too weak are warned of. Where both are given, `detectable` holds: it may say less than is reckoned,
//! for wheels get dirty. To say more is doubted, and to reach beyond all axles that were listed is a mistake.
//!
//! ## `links.toml`
//!
//! ```toml
//! [[link]]                     # one part of the hardware; a name that `layout.toml` gives to a `[[link]]`, or another
//! name   = "west"
//! by     = "mqtt"              # or "adapter", "lcc", "modbus", "gpio"
//! broker = "192.168.7.2"       # a port behind a colon where it is not 1883; encrypted "mqtts://broker.example", then 8883
//! user   = "lineclear"         # with a `password`, or better a `password-file`; these may be left out
//! password-file  = "broker-password"
//! # authority-file = "broker-ca.pem"      # whose word is taken for an encrypted broker; the system's where left out
//! version   = "5"              # of MQTT, or "3.1.1", which it is where left out
//! client-id = "lineclear-west" # made of the link's name where left out
//! quality   = 1                # of service, 0 to 2; 1 where left out. A thing may have its own for what it is told
//! base      = "lineclear"      # what usual topics begin with; this where left out
//! node-topic = true            # the link is up only while a node says `here` at `lineclear/node/west`; or another topic
//! here = "here"                # in these words
//! gone = "gone"
//! status-topic = "lineclear/status"       # where we say `here`, and the broker `gone` for us; this where left out
//! ask-topic    = "lineclear/ask"          # where everything is asked for; this where left out
//! silent-after = 30            # seconds after which a link that says nothing is down; never where left out
//! signals = ["S2"]             # things it carries, each at its usual address; "all": those that no other link carries
//! trains  = "all"
//!
//! [link.sections]              # or each with its address. What `layout.toml` gives to the link it carries anyhow
//! "quay-1" = { topic = "box/7/state", at = "/inputs/0", occupied = 1, free = 0 }   # part of a JSON payload, by RFC 6901
//! "quay-2" = { topic = "box/7/current", above = 2.5 }     # a number: more than this is occupied
//!
//! [link.turnouts]
//! "*" = { topic = "points/{name}", straight = "normal", diverging = "reverse" }    # all others that no other link carries
//!
//! [[link]]
//! name    = "bench"
//! by      = "adapter"
//! command = ["python3", "bench.py"]       # in the layout's folder; or `tcp = "127.0.0.1:4470"`, or `socket = "/run/bench"`
//! packets = false              # whether trains and turnouts are ordered by ready packets (NMRA S-9.2); false where left out
//! readers = { "gate" = "coil 3" }         # a text or a whole number; the name where nothing is written
//!
//! [[link]]
//! name    = "bus"
//! by      = "lcc"
//! tcp     = "192.168.7.3"      # 12021 where no port is written; or `hub = "0.0.0.0:12021"`, or `can = "can0"`
//! node-id = "05.01.01.01.8C.00"           # ours: take one that belongs to you
//! detection-draft = false      # whether readers follow the draft of a working note; false where left out
//!
//! [link.spots]
//! "magnet" = "05.01.01.01.8C.01.00.01"
//!
//! [[link]]
//! name   = "row"
//! by     = "modbus"
//! serial = "/dev/ttyUSB0"      # with `baud = 19200` and `parity = "even"`, which they are where left out; or `tcp = "192.168.7.4"`
//! every    = 0.05              # so often everything is asked for, if the line allows; 0.05 s where left out
//! load     = 0.7               # the line is in use for so much of the time at most; 0.7 where left out
//! patience = 0.3               # how long an answer may take; 0.3 s where left out
//!
//! [link.sections]
//! "west-throat" = { unit = 1, input = 3, inverted = true }
//!
//! [[link]]
//! name = "pins"
//! by   = "gpio"
//! chip = "/dev/gpiochip0"
//!
//! [link.districts]
//! "harbour" = { live = { line = 17, bias = "pull-up", active-low = true, debounce = 0.005 }, set = 18 }
//! ```
//!
//! **Usual topics.** Who builds new nodes needs no addresses. Names are as in the layout, but white space, `/`, `+` and `#`
//! become hyphens:
//!
//! | topic | payload | kept by the broker |
//! | --- | --- | --- |
//! | `lineclear/section/NAME` | `occupied`, `free` | yes |
//! | `lineclear/spot/NAME` | `passed` | no; what is kept is passed over |
//! | `lineclear/reader/NAME` | a train's name, its address (`12`, `S12`, `L1203`), or the bytes of RailCom channel 1 | no |
//! | `lineclear/turnout/NAME` | `straight`, `diverging`, `moving` | yes |
//! | `lineclear/district/NAME` | `live`, `dark` | yes |
//! | `lineclear/input/NAME` | `on`, `off` | yes |
//! | `lineclear/turnout/NAME/set` | `straight`, `diverging`: for the node | no |
//! | `lineclear/signal/NAME/set` | the aspect's name: for the node | no |
//! | `lineclear/district/NAME/set` | `live`, `dark`: for the node, where the district is `switched` | no |
//! | `lineclear/accessory/NAME/set` | `on`, `off`: for the node | no |
//! | `lineclear/train/NAME/set` | `{"train": "Heron", "address": 12, "long": false, "steps": 28, "direction": "forward", "step": 5}`; with `"emergency": true`, and then `"step": 0`, it is to **stand at once**, not along its braking, and does so until a step comes that is not 0 | no |
//! | `lineclear/train/NAME/function` | `{"train": "Heron", "address": 12, "long": false, "function": 0, "on": true}` | no |
//! | `lineclear/status` | `here`, `gone`: whether anybody is in charge. **When it says `gone` a node must let its trains stand and put its signals to danger** | yes |
//! | `lineclear/ask` | `all`: report everything | no |
//! | `lineclear/node/LINK` | `here`, `gone` as its last will: the node's own, with `node-topic` | yes |
//!
//! A node for three sections and a turnout, in MicroPython:
//!
//! ```python
//! import network, time
//! from machine import Pin, PWM
//! from umqtt.robust import MQTTClient
//!
//! NODE, lies, said = "west", "straight", {}          # the link's name in links.toml
//! SECTIONS = {"quay-1": Pin(12, Pin.IN, Pin.PULL_UP), "quay-2": Pin(13, Pin.IN, Pin.PULL_UP)}   # low: occupied
//! servo, wlan = PWM(Pin(15), freq=50), network.WLAN(network.STA_IF)
//! wlan.active(True)
//! wlan.connect("NETWORK", "PASSWORD")
//! while not wlan.isconnected():
//!     time.sleep_ms(100)
//! mqtt = MQTTClient("node-" + NODE, "192.168.7.2", keepalive=10)
//!
//! def say(topic, word):
//!     mqtt.publish("lineclear/" + topic, word, retain=True, qos=1)
//!
//! def obey(topic, word):
//!     global lies
//!     if topic == b"lineclear/ask":                  # everything is to be reported anew
//!         said.clear()
//!     elif word in (b"straight", b"diverging"):
//!         say("turnout/W1", "moving")
//!         servo.duty_u16(4000 if word == b"straight" else 6000)
//!         time.sleep_ms(800)
//!         lies = word.decode()
//!     say("turnout/W1", lies)
//!
//! mqtt.set_last_will("lineclear/node/" + NODE, "gone", retain=True, qos=1)
//! mqtt.set_callback(obey)
//! mqtt.connect()
//! for topic in "ask", "turnout/W1/set":
//!     mqtt.subscribe("lineclear/" + topic, qos=1)
//! say("node/" + NODE, "here")
//! while True:
//!     mqtt.check_msg()
//!     for name, pin in SECTIONS.items():
//!         word = "free" if pin.value() else "occupied"
//!         if said.get(name) != word:
//!             said[name] = word
//!             say("section/" + name, word)
//!     mqtt.ping() if time.ticks_ms() % 3000 < 10 else time.sleep_ms(5)
//! ```
//!
//! **Addresses on a broker** are a topic, or a table. Reports: `topic`, `at` (which part of a JSON payload), and for each meaning
//! its word or number: `occupied`, `free`; `passed`; `straight`, `diverging`, `moving`; `live`, `dark`; of an input `on`, `off`. Words
//! compare letter for letter, numbers as numbers. Orders: for a turnout `set-topic`, `set-straight`, `set-diverging`; for a signal `topic` with
//! `says = "aspect {aspect}"` or `aspects = { red = 0, green = 1 }`, or `lamps = ["red", "green"]` (each at `TOPIC/LAMP/set`) or
//! `lamps = { red = "some/topic" }` with `on`, `off` and `flash`, and `unlit` while no train is near; for a district that is
//! `switched` `set-topic`, `set-live` and `set-dark`. `retain` and `quality` are those of an order. `{name}` stands for the name in
//! every topic.
//!
//! For a train there are `topic` and `says`, a text in which `{name}`, `{address}`, `{long}`, `{steps}`, `{direction}` and `{step}`
//! stand for these. `stop-says` is said instead where the train is to stand at once, and `function-says`, with `{function}`
//! and `{on}`, at `function-topic` (`TOPIC/function` where left out), for what is on. **A train with `says` and without `stop-says` is
//! told no more than step 0, and one without `function-says` nothing of its functions:** whoever has words of their own understands
//! no others. Functions are retained only where `function-topic` holds `{function}`.
//!
//! A train with several engines is told each order once for each decoder, with its `{address}`, and with the direction as that engine
//! sees it; `{address}` may stand in `topic` and `function-topic`, too. Where no text and no topic holds `{address}`, one order is said
//! for the whole train.
//!
//! **An adapter** is a program that speaks lines of JSON; the documentation of the crate `lineside` says which, with an example.
//! A train with several engines is ordered by a line for each decoder.
//! With `packets = true` the address of a turnout or an accessory is the number of its accessory decoder, 1 to 2048; 2041 to 2044
//! would reach every decoder, and are refused. An accessory is on by output 1 of its decoder's pair, and off by output 0.
//!
//! **Addresses on an LCC bus** are events of eight bytes: a section `{ occupied = "...", free = "..." }`, a district `live` and
//! `dark`, a spot its event alone, a turnout `straight` and `diverging` for its reports and `set-straight` and `set-diverging`
//! for orders, or `accessory = 12` for the events that stand for DCC accessories; a signal one event for each aspect
//! it is to be told. A district that is `switched` has `set-live` and `set-dark`, and may leave out the other two. An accessory has `on`
//! and `off` for orders, an input for its reports. A train is the id of
//! its node, six bytes, or `"search"`: then its node is found by the address of its decoder, and made by a command station that can
//! (Train Search, 22 July 2024), so that `trains = { "*" = "search" }` is all that has to be said; one with several engines a list of as many nodes, in the order of its vehicles, or one node, which then stands
//! for the whole train and has to know itself which of its engines is the other way round. Whoever produces the well-known event
//! for an emergency stop, or for emergency off, makes every train stand as `lineclear tell emergency-stop` does, and when it is cleared
//! they stay until a person lets them go on; a `switched` district may have these events as its own.
//!
//! **Bits of a Modbus server**: `unit` (1 where left out) and one of `coil`, `input`, `register`, `input-register`, counted from
//! 0, with `bit` for registers, and `inverted`. **Lines of a chip**: a number, or `line` with `active-low`, `bias` (`"pull-up"`,
//! `"pull-down"`, `"disabled"`) and `debounce` in seconds. A turnout is thrown by `set`, on for diverging, or by `set-straight`
//! and `set-diverging`, each on for `pulse` seconds (0.2 where left out), and reported by `straight`, `diverging` or both; a
//! signal is `{ red = ..., green = ... }`, a bit for each lamp. A district is the bit that is on while it is live, or a table with that
//! bit as `live`, which may be left out, and `set`, which is on for a live district. An accessory or an input is the bit that is on while it is.
//! **A line that is set is off at first, so that a
//! district which it switches is dark until `restore-power`**; the coil of a server stays as it was found.
//!
//! What one link carries is at one address, and no two things have the same one. What no link carries is warned of.

#[doc = include_str!("junctions.md")]
pub mod junctions {}

mod axles;
mod behaviour;
mod books;
mod check;
mod diagnostic;
mod drawing;
mod fittings;
mod keys;
mod links;
mod load;
mod names;
mod numbers;
mod read_book;
mod read_signals;
mod read_track;
mod read_trains;
mod resolve;
mod resolve_trains;
mod resolved;
mod sensing;
mod shipped;
mod show;
mod sight;
mod signals;
mod source;
mod speeds;
mod syntax;
mod wiring;
mod written;

pub use diagnostic::{Diagnostic, Diagnostics, Severity};
pub use load::{LARGEST_FILE, LINKS_FILE, Loaded, Refused, TRACK_FILE, TRAINS_FILE, Unreadable, Written, load};
pub use shipped::shipped_books;
pub use source::Place;
pub use track::nearest;
