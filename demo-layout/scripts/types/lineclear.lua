---@meta
-- What scripts can use, for editors that know LuaCATS annotations.

---@alias Train string | "Heron" | "Plover" | "Dunlin" | "Curlew"
---@alias Section string | "quay-1" | "quay-2" | "quay-throat" | "harbour-1" | "harbour-2" | "junction" | "shore-1" | "shore-2" | "loop-west" | "loop-1" | "loop-2" | "loop-east" | "hill-1" | "hill-2" | "hill-3" | "yard-east" | "yard-1" | "yard-2" | "yard-3" | "yard-4" | "yard-5" | "yard-west" | "tunnel-1" | "tunnel-2" | "tunnel-3"
---@alias Place string | "quay-1.b" | "quay-2.b" | "harbour-2.b" | "shore-2.b" | "loop-1.b" | "loop-2.b" | "hill-3.b" | "yard-1.a" | "yard-2.a" | "yard-3.a" | "yard-4.a" | "yard-5.a" | "tunnel-1.a" | "harbour-1.a" | "shore-1.a" | "loop-1.a" | "loop-2.a" | "hill-1.a" | "yard-1.b" | "yard-2.b" | "yard-3.b" | "yard-4.b" | "yard-5.b" | "tunnel-3.b" | "quay-1.a" | "quay-2.a" | "quay-1" | "quay-2" | "quay-throat" | "harbour-1" | "harbour-2" | "junction" | "shore-1" | "shore-2" | "loop-west" | "loop-1" | "loop-2" | "loop-east" | "hill-1" | "hill-2" | "hill-3" | "yard-east" | "yard-1" | "yard-2" | "yard-3" | "yard-4" | "yard-5" | "yard-west" | "tunnel-1" | "tunnel-2" | "tunnel-3"
---@alias Signal string | "S1" | "S3" | "S5" | "S7" | "S9" | "S11" | "S13" | "S15" | "S17" | "S19" | "S21" | "S23" | "S25" | "S2" | "S4" | "S6" | "S8" | "S10" | "S12" | "S14" | "S16" | "S18" | "S20" | "S22"
---@alias Turnout string | "W1" | "W2" | "W3" | "W4" | "W5" | "W6" | "W7" | "W8" | "W9" | "W10" | "W11" | "W12"
---@alias Route string
---@alias Detector string | "quay-1" | "quay-2" | "quay-throat" | "harbour-1" | "harbour-2" | "junction" | "shore-1" | "shore-2" | "loop-west" | "loop-1" | "loop-2" | "loop-east" | "hill-1" | "hill-2" | "hill-3" | "yard-east" | "yard-1" | "yard-2" | "yard-3" | "yard-4" | "yard-5" | "yard-west" | "tunnel-1" | "tunnel-2" | "tunnel-3" | "quay-1.b brake" | "quay-1.b creep" | "quay-2.b brake" | "quay-2.b creep" | "harbour-2.b brake" | "harbour-2.b creep" | "shore-2.b brake" | "shore-2.b creep" | "loop-1.b brake" | "loop-1.b creep" | "loop-2.b brake" | "loop-2.b creep" | "hill-3.b brake" | "hill-3.b creep" | "yard-1.a brake" | "yard-1.a creep" | "yard-2.a brake" | "yard-2.a creep" | "yard-3.a brake" | "yard-3.a creep" | "yard-4.a brake" | "yard-4.a creep" | "yard-5.a brake" | "yard-5.a creep" | "tunnel-1.a brake" | "tunnel-1.a creep" | "harbour-1.a brake" | "harbour-1.a creep" | "shore-1.a brake" | "shore-1.a creep" | "loop-1.a brake" | "loop-1.a creep" | "loop-2.a brake" | "loop-2.a creep" | "hill-1.a brake" | "hill-1.a creep" | "yard-1.b brake" | "yard-1.b creep" | "yard-2.b brake" | "yard-2.b creep" | "yard-3.b brake" | "yard-3.b creep" | "yard-4.b brake" | "yard-4.b creep" | "yard-5.b brake" | "yard-5.b creep" | "tunnel-3.b brake" | "tunnel-3.b creep" | "quay-1.a brake" | "quay-1.a creep" | "quay-2.a brake" | "quay-2.a creep"
---@alias District string | "harbour" | "hill" | "yard"
---@alias Accessory string | "quay lamps" | "fog horn"
---@alias Input string | "horn button"
---@alias Link string | "harbour box" | "hill box" | "yard box"
---@alias EventName string | "start" | "stop" | "section_filled" | "section_emptied" | "tagged" | "route_set" | "section_released" | "departed" | "arrived" | "stopped" | "waiting" | "held" | "kept_back" | "hold_lifted" | "doubt_raised" | "doubt_cleared" | "signal_changed" | "route_stage" | "route_waiting" | "turnout_lies" | "spot_passed" | "reading" | "power_lost" | "power_back" | "link_lost" | "link_back" | "out_of_service" | "in_service" | "suspected" | "input_changed" | "clock" | "button" | "missed"

---something that happened
---@class Event
---@field what EventName its name
---@field time number when, in seconds of layout time
---@field train? Train the train it is about
---@field trains? Train[] where it is not known which: those it may be
---@field section? Section the section it is about
---@field sections? Section[] the sections, in order
---@field place? Place the train's place
---@field how? string `free`, `sure`, `doubt` or `unexplained`
---@field reason? string why, in plain words
---@field signal? Signal the signal
---@field aspect? string what it shows, as its aspect book calls it
---@field danger? boolean whether that is its most restrictive aspect
---@field exit? string where the route ends
---@field stage? string `called`, `cleared`, `approach-locked`, `used`, `cancelled` or `released`
---@field turnout? Turnout the turnout
---@field lies? string `straight` or `diverging`
---@field detector? Detector the detector
---@field district? District the power district
---@field link? Link the link
---@field input? Input the input
---@field on? boolean whether it is on
---@field doubt? number the number of the doubt
---@field may_be? string[] what may be so, the likeliest first
---@field settled_by? string what would settle it
---@field clock? string what the layout clock shows, such as `18:30`
---@field button? string the name of the button
---@field count? number how many

---picks events: each field a name, a pattern such as `"yard-?"`, or a list of these
---@class Which
---@field train? Train | Train[] only of these trains
---@field section? Section | Section[] only in these sections
---@field place? Place | Place[] only at these places
---@field signal? Signal | Signal[] only of these signals
---@field turnout? Turnout | Turnout[] only of these turnouts
---@field detector? Detector | Detector[] only of these detectors
---@field district? District | District[] only of these power districts
---@field link? Link | Link[] only of these links
---@field input? Input | Input[] only of these inputs
---@field clock? string | string[] only when the clock shows this: `"18:30"`, `"*:00"`
---@field button? string | string[] only of these buttons

---how a train is to get there
---@class Trip
---@field within? number the trip fails if it takes more seconds
---@field via? Place[] sections or stopping points to pass on the way, in order

---the layout clock
---@class Clock
---@field shows string hours and minutes, such as `18:30`
---@field day number how often it passed midnight
---@field hour number 0 to 23
---@field minute number 0 to 59
---@field second number 0 to 59
---@field pace number how many times faster than layout time it runs
---@field running boolean whether it runs
---@field goes_on boolean whether it goes on from where it stood before this run

---everything that is known at one moment; a copy
---@class Picture
---@field time number seconds of layout time
---@field clock Clock the layout clock
---@field trains table<string, TrainState> all trains
---@field sections table<string, SectionState> all sections
---@field signals table<string, SignalState> all signals
---@field turnouts table<string, string> how turnouts lie: `straight` or `diverging`; none that moves or is not known
---@field routes table<string, RouteState> routes that are set for whoever comes, by their signals
---@field doubts DoubtState[] all doubts
---@field dark table<string, string> power districts without power, and how that is known; `""`: everything
---@field inputs table<string, boolean> whether each input is on; none of which that is not known
---@field links_down Link[] links that are down

---what is known of a train
---@class TrainState
---@field sections Section[] sections that are surely its
---@field at? Place where it last arrived, until it departs
---@field bound? Place the place it is on the way to
---@field waiting? string why it waits
---@field held? string why it is held
---@field step number the speed step it is driven at; 0 stands
---@field trips number how often it arrived

---what is known of a section
---@class SectionState
---@field how string `free`, `sure`, `doubt`, `unexplained` or `unknown`
---@field trains Train[] the train that is there, or those that may be, the likeliest first
---@field granted? Train the train it is granted to
---@field out_of_service? string why no trains are worked over it

---what a signal shows
---@class SignalState
---@field aspect string as its aspect book calls it
---@field danger boolean whether that is its most restrictive aspect

---a route that is set for whoever comes
---@class RouteState
---@field exit string where it ends
---@field stage string how far it has come, as in events
---@field waiting? string what it waits for

---what is not known
---@class DoubtState
---@field doubt number its number
---@field trains Train[] trains of which it is not known where they are
---@field sections Section[] sections of which it is not known who is there
---@field may_be string[] what may be so, the likeliest first
---@field settled_by string what would settle it

---what `shuttle` takes
---@class Shuttle
---@field trains Train | Train[] the trains
---@field calls (Place | Place[])[] places in order; a list within the list: whichever is free
---@field back? (Place | Place[])[] where the way back calls, if that is not the same in reverse
---@field dwell? number seconds at each place
---@field apart? number seconds between the first trips of two trains

---what `staging` takes
---@class Staging
---@field tracks Section | Section[] its tracks
---@field keep_free? number so many of them stay free; one, if nothing is said
---@field class? table<string, string> the class of trains, by their names
---@field only? table<string, Place | Place[]> tracks for trains of a class alone, by the name of the class

---a staging yard
---@class Yard
---@field next fun(train?: string): Train waits for the train, or one of that class, that has stood there longest
---@field enter fun(train?: string): Section sends a train to the shortest free track that it fits on; waits for one
---@field choose fun(train?: string): Section? that track, or `nil`, without sending anything

---what `round_trip` takes
---@class RoundTrip
---@field trains Train | Train[] the trains
---@field calls (Place | Place[])[] places in order; a list within the list: whichever is free
---@field dwell? number seconds at each place
---@field apart? number seconds between the first trips of two trains

---what `timetable` takes
---@class Timetable
---@field trips TimetableTrip[] the trips, in any order
---@field begins? string what the clock shows at first, such as `18:00`
---@field pace? number how many times faster than layout time the clock runs; 12, if nothing is said
---@field pauses? table<string, number> for how many seconds the clock stands, by the time at which it does

---a line of a timetable
---@class TimetableTrip
---@field at string when it leaves, such as `18:05`
---@field train Train the train
---@field to Place where to

---what `random_runs` takes
---@class RandomRuns
---@field trains Train | Train[] the trains
---@field places Place | Place[] where they may go
---@field dwell? number[] how many seconds they stand: at least, and at most

---what `follow` takes; the first train leads
---@class Follow
---@field trains Train | Train[] the trains
---@field calls (Place | Place[])[] places in order; a list within the list: whichever is free
---@field dwell? number seconds at each place

---starts the function `body`, which may take its time
---
---What can go wrong: more than 256 tasks at a time
---@param name string
---@param body fun()
function task(name, body) end

---calls `body(event)` each time it happens; the call may take its time
---
---What can go wrong: more than 256 hooks; one that falls 32 calls behind has failed
---@overload fun(event: EventName, body: fun(event: Event))
---@param event EventName
---@param which Which
---@param body fun(event: Event)
function on(event, which, body) end

---waits, at least a tenth of a second
---@param seconds number
function wait(seconds) end

---waits until the function `condition` gives something and returns that, or `false` when time is up; looks when anything happens, and every second
---
---What can go wrong: an error in `condition`
---@param condition fun(): any
---@param seconds? number
---@return any value
function wait_until(condition, seconds) end

---waits until it happens and returns the event, or `nil` when time is up
---@param event EventName
---@param which? Which
---@param seconds? number
---@return Event? event
function wait_for(event, which, seconds) end

---waits until the layout clock shows that time, such as `"18:45"`, next
---
---What can go wrong: no such time
---@param time string
function wait_clock(time) end

---sends a train and waits until it stands there; returns `true`. `how` is a number of seconds it may take, or a table: `{ within = 90, via = { "loop-2" } }`
---
---What can go wrong: refused, sent elsewhere, told to stop, not there in time, in the care of another script
---@param train Train
---@param place Place
---@param how? number | Trip
---@return boolean done
function send(train, place, how) end

---like `send`, but returns `false` and the reason instead of failing
---
---What can go wrong: in the care of another script
---@param train Train
---@param place Place
---@param how? number | Trip
---@return boolean done
---@return string? reason
function try_send(train, place, how) end

---sends a train somewhere, lets it stand for `dwell` seconds, and sends it back to where it stood
---
---What can go wrong: as `send`; nobody knows where it stands
---@param train Train
---@param place Place
---@param dwell? number
---@param how? number | Trip
---@return boolean done
function there_and_back(train, place, dwell, how) end

---calls a function with these arguments; returns `true` and its results, or `false` and the reason in plain words
---@param act any
---@param argument? any
---@param ... any
---@return boolean done
---@return any reason
function try(act, argument, ...) end

---the first place of a list, or the one named, that is free: empty, granted to nobody, nobody on the way to it; else `nil`. `"yard-?"`: all of them in the order of the layout
---@param places Place | Place[]
---@return Place? place
function free(places) end

---waits until one is free and returns it, or `false` when time is up
---@param places Place | Place[]
---@param seconds? number
---@return any place
function next_free(places, seconds) end

---lets a train stop where it safely can and give up its destination; waits for the answer
---
---What can go wrong: refused; not in this script's care
---@param train Train
function stop(train) end

---holds a train; waits for the answer
---
---What can go wrong: refused; not in this script's care
---@param train Train
---@param reason string
function hold(train, reason) end

---lifts a hold that this script set; waits for the answer
---
---What can go wrong: refused; held by somebody else
---@param train Train
function release(train) end

---lets a train run no faster than at a speed step, or without one as fast as it may; waits for the answer
---
---What can go wrong: refused; not in this script's care
---@param train Train
---@param step? number
function limit(train, step) end

---takes trains into care; `send` does so by itself
---
---What can go wrong: in the care of another script
---@param train Train
---@param ... Train
function care(train, ...) end

---takes trains out of care
---
---What can go wrong: not in this script's care
---@param train Train
---@param ... Train
function let_go(train, ...) end

---sets a route for whoever comes, by its name in the control table; waits for the answer
---
---What can go wrong: refused
---@param route Route
function set_route(route) end

---cancels the route that is set from a signal; waits for the answer
---
---What can go wrong: refused
---@param signal Signal
function cancel_route(signal) end

---throws a turnout: `"straight"` or `"diverging"`; waits for the answer
---
---What can go wrong: refused: never under a train, a lock or a doubt
---@param turnout Turnout
---@param lie string
function throw(turnout, lie) end

---switches a function of a train's decoders on or off, until a rule of the train says otherwise: 0 is the headlight, others are the maker's; waits for the answer
---
---What can go wrong: refused; not in this script's care
---@param train Train
---@param number number
---@param on boolean
function set_function(train, number, on) end

---switches an accessory (a lamp, a relay, a sound) on or off; waits for the answer
---@param accessory Accessory
---@param on boolean
function switch(accessory, on) end

---whether an accessory was switched on last
---@param accessory Accessory
---@return boolean on
function is_on(accessory) end

---whether an input is on; `nil` where that is not known, because nothing was reported yet or its link is down
---@param input Input
---@return boolean? on
function reads(input) end

---lets no trains be worked over a section; waits for the answer
---
---What can go wrong: refused
---@param section Section
---@param reason string
function out_of_service(section, reason) end

---lets trains be worked again over a section that this script took out of service; waits for the answer
---
---What can go wrong: refused; somebody else took it out
---@param section Section
function in_service(section) end

---keeps a signal at danger; waits for the answer
---@param signal Signal
function keep_at_danger(signal) end

---ends that; waits for the answer
---
---What can go wrong: this script does not keep it at danger
---@param signal Signal
function let_clear(signal) end

---the list of sections that are surely this train's
---@param train Train
---@return Section[] sections
function where(train) end

---the place where a train stands: where it last arrived, else the section that is surely its; `nil` on the way
---@param train Train
---@return Place? place
function at(train) end

---whether a train surely stands there and is not on the way elsewhere
---@param train Train
---@param place Place
---@return boolean stands
function is_at(train, place) end

---the likeliest train in a section, or `nil`, and how: `"free"`, `"sure"`, `"doubt"`, `"unexplained"` or `"unknown"`
---@param section Section
---@return Train? train
---@return string how
function tag(section) end

---the place a train is on the way to, or `nil`
---@param train Train
---@return Place? place
function bound(train) end

---why a train waits for track, or `nil`
---@param train Train
---@return string? reason
function waiting(train) end

---why a train is held, or `nil`
---@param train Train
---@return string? reason
function held(train) end

---what a signal shows, as its aspect book calls it, and whether that is its most restrictive aspect
---@param signal Signal
---@return string aspect
---@return boolean danger
function shows(signal) end

---how a turnout lies, `"straight"` or `"diverging"`; `nil` while it moves and where nobody knows
---@param turnout Turnout
---@return string? lie
function lies(turnout) end

---how it is known that a power district, or anything at all, is without power; else `nil`
---@param district? District
---@return string? reason
function dark(district) end

---everything that is known, as one consistent copy
---@return Picture picture
function picture() end

---the names there are, in the order of the layout: of a `"train"`, `"section"`, `"place"`, `"signal"`, `"turnout"`, `"detector"`, `"district"`, `"input"` or `"link"`; with a pattern or a list only those
---
---What can go wrong: a pattern that fits nothing
---@param kind string
---@param pattern? string | string[]
---@return string[] names
function names(kind, pattern) end

---how long a train or a section is, on its longest way; `nil` where that is not known
---@param of string
---@return number? millimetres
function length(of) end

---the layout time in seconds
---@return number seconds
function now() end

---the layout clock
---@return Clock clock
function clock() end

---sets the layout clock to a time of its day, such as `"6:00"`
---
---What can go wrong: no such time
---@param time string
function set_clock(time) end

---lets the layout clock run, so many times faster than layout time
---
---What can go wrong: a pace below 0.1 or above 240
---@param pace? number
function start_clock(pace) end

---lets the layout clock stand
function pause_clock() end

---says a line to whoever looks on; `print` does the same
---
---What can go wrong: more than 50 lines at once are left out, then more than ten a second
---@param what any
---@param ... any
function say(what, ...) end

---writes a line into the log, where nobody need see it
---
---What can go wrong: counts as a line that is said
---@param what any
---@param ... any
function log(what, ...) end

---puts a question to whoever looks on, and waits for one of the answers: `lineclear tell answer 1 "yes"`; `nil` when time is up
---
---What can go wrong: no answer to choose from; more than 16 questions at a time
---@param question string
---@param answers string[]
---@param seconds? number
---@return string? answer
function ask(question, answers, seconds) end

---lets trains run to and fro over a line, calling at stations on the way
---
---What can go wrong: a name that nothing bears; what becomes of its trips, as in `send`
---@param plan Shuttle
function shuttle(plan) end

---a yard where trains stand until it is their turn: first in, first out, on the shortest free track they fit on
---
---What can go wrong: a name that nothing bears; what becomes of its trips, as in `send`
---@param plan Staging
---@return Yard yard
function staging(plan) end

---lets trains run round and round by way of stations and loops, where they pass each other
---
---What can go wrong: a name that nothing bears; what becomes of its trips, as in `send`
---@param plan RoundTrip
function round_trip(plan) end

---lets trains run by the layout clock, and says who is late
---
---What can go wrong: a name that nothing bears; what becomes of its trips, as in `send`
---@param plan Timetable
function timetable(plan) end

---lets trains run here and there, as chance has it
---
---What can go wrong: a name that nothing bears; what becomes of its trips, as in `send`
---@param plan RandomRuns
function random_runs(plan) end

---lets trains follow a leader from place to place
---
---What can go wrong: a name that nothing bears; what becomes of its trips, as in `send`
---@param plan Follow
function follow(plan) end

-- written by `lineclear types`, seal 202c66b5f4b05e0d
