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
//! `links.toml`, of which this crate so far only checks that it is TOML. Keys are lower case, words joined by hyphens.
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
//! [[link]]                   # what carries reports and orders to and from one part of the hardware
//! name = "west"
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
//! ```
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
//! speed-steps     = 28                         # 14, 28 or 126; 126 where left out
//! top-speed       = "65 km/h"                  # at the highest step; may be left out
//! acceleration    = 70                         # mm/s2; may be left out
//! braking         = 110                        # mm/s2, in ordinary service; may be left out
//! gradient-share  = 0.1                        # how much of gravity gets through its gears; 0.1 where left out, 1 rolls freely
//! speed-tolerance = 0.1                        # how far off the real speed may be; 0.2 where left out
//! stands          = { on = ["quay-1"], nose = "quay-1.b" }   # at first; sections tail first, the end the front points at
//! ```
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

#[doc = include_str!("junctions.md")]
pub mod junctions {}

mod axles;
mod books;
mod check;
mod diagnostic;
mod fittings;
mod keys;
mod links;
mod load;
mod names;
mod nearest;
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
mod written;

pub use diagnostic::{Diagnostic, Diagnostics, Severity};
pub use load::{LARGEST_FILE, LINKS_FILE, Loaded, Refused, TRACK_FILE, TRAINS_FILE, Unreadable, Written, load};
pub use nearest::nearest;
pub use shipped::shipped_books;
pub use source::Place;
