//! The functions of a script.

use super::Kind::{District, Event, Section, Signal, Train, Turnout};
use super::{Kind, Run, Type, Value, Word, needed, optional};
use crate::functions::{acting, clock, reading, talking, waiting};

/// The word of that name.
pub(crate) fn word_named(name: &str) -> Option<&'static Word> {
    WORDS.iter().find(|word| word.name == name)
}

const fn word(name: &'static str, takes: &'static [Value], gives: &'static [Value], run: Run) -> Word {
    Word { name, takes, repeats: false, gives, does: "", wrong: "", since: "0.1", run }
}

impl Word {
    const fn does(self, does: &'static str) -> Self {
        Self { does, ..self }
    }

    const fn wrong(self, wrong: &'static str) -> Self {
        Self { wrong, ..self }
    }

    const fn repeats(self) -> Self {
        Self { repeats: true, ..self }
    }
}

const TRAIN: Value = needed("train", Type::Name(Train));
const PLACE: Value = needed("place", Type::Name(Kind::Place));
const SIGNAL: Value = needed("signal", Type::Name(Signal));
const SECTION: Value = needed("section", Type::Name(Section));
const TURNOUT: Value = needed("turnout", Type::Name(Turnout));
const SECONDS: Value = optional("seconds", Type::Number);
const HOW: Value = optional("how", Type::SecondsOr("Trip"));
const EVENT: Value = needed("event", Type::Name(Event));
const WHICH: Value = optional("which", Type::Record("Which"));
const REASON: Value = needed("reason", Type::Text);
const PLACES: Value = needed("places", Type::Names(Kind::Place));
const TIME: Value = needed("time", Type::Text);
const REASON_IF_ANY: &[Value] = &[optional("reason", Type::Text)];
const NOT_OWN: &str = "refused; not in this script's care";

/// All of them: patterns are at the end.
pub(crate) static WORDS: std::sync::LazyLock<Vec<Word>> =
    std::sync::LazyLock::new(|| PLAIN.iter().chain(&super::patterns::PATTERNS).copied().collect());

const PLAIN: &[Word] = &[
    word("task", &[needed("name", Type::Text), needed("body", Type::Job)], &[], Run::Now(waiting::task))
        .does("starts the function `body`, which may take its time")
        .wrong("more than 256 tasks at a time"),
    word("on", &[EVENT, WHICH, needed("body", Type::Reaction)], &[], Run::Now(waiting::on))
        .does("calls `body(event)` each time it happens; the call may take its time")
        .wrong("more than 256 hooks; one that falls 32 calls behind has failed"),
    word("wait", &[needed("seconds", Type::Number)], &[], Run::Waits(waiting::wait))
        .does("waits, at least a tenth of a second"),
    word("wait_until", &[needed("condition", Type::Condition), SECONDS], &[needed("value", Type::Anything)], Run::InPrelude)
        .does(
            "waits until the function `condition` gives something and returns that, or `false` when time is up; looks when \
             anything happens, and every second",
        )
        .wrong("an error in `condition`"),
    word("wait_for", &[EVENT, WHICH, SECONDS], &[optional("event", Type::Record("Event"))], Run::Waits(waiting::wait_for))
        .does("waits until it happens and returns the event, or `nil` when time is up"),
    word("wait_clock", &[TIME], &[], Run::Waits(clock::wait_clock))
        .does("waits until the layout clock shows that time, such as `\"18:45\"`, next")
        .wrong("no such time"),
    word("send", &[TRAIN, PLACE, HOW], &[needed("done", Type::Flag)], Run::Waits(acting::send))
        .does(
            "sends a train and waits until it stands there; returns `true`. `how` is a number of seconds it may take, or a table: \
             `{ within = 90, via = { \"loop-2\" } }`",
        )
        .wrong("refused, sent elsewhere, told to stop, not there in time, in the care of another script"),
    word("try_send", &[TRAIN, PLACE, HOW], &[needed("done", Type::Flag), optional("reason", Type::Text)], Run::InPrelude)
        .does("like `send`, but returns `false` and the reason instead of failing")
        .wrong("in the care of another script"),
    word(
        "there_and_back",
        &[TRAIN, PLACE, optional("dwell", Type::Number), HOW],
        &[needed("done", Type::Flag)],
        Run::InPrelude,
    )
    .does("sends a train somewhere, lets it stand for `dwell` seconds, and sends it back to where it stood")
    .wrong("as `send`; nobody knows where it stands"),
    word("try", &[needed("act", Type::Anything), optional("argument", Type::Anything)], &[
        needed("done", Type::Flag),
        optional("reason", Type::Anything),
    ], Run::InPrelude)
    .repeats()
    .does("calls a function with these arguments; returns `true` and its results, or `false` and the reason in plain words"),
    word("free", &[PLACES], &[optional("place", Type::Name(Kind::Place))], Run::Now(reading::free))
        .does(
            "the first place of a list, or the one named, that is free: empty, granted to nobody, nobody on the way to it; else \
             `nil`. `\"yard-?\"`: all of them in the order of the layout",
        ),
    word("next_free", &[PLACES, SECONDS], &[needed("place", Type::Anything)], Run::InPrelude)
        .does("waits until one is free and returns it, or `false` when time is up"),
    word("stop", &[TRAIN], &[], Run::Waits(acting::stop))
        .does("lets a train stop where it safely can and give up its destination; waits for the answer")
        .wrong(NOT_OWN),
    word("hold", &[TRAIN, REASON], &[], Run::Waits(acting::hold)).does("holds a train; waits for the answer").wrong(NOT_OWN),
    word("release", &[TRAIN], &[], Run::Waits(acting::release))
        .does("lifts a hold that this script set; waits for the answer")
        .wrong("refused; held by somebody else"),
    word("limit", &[TRAIN, optional("step", Type::Number)], &[], Run::Waits(acting::limit))
        .does("lets a train run no faster than at a speed step, or without one as fast as it may; waits for the answer")
        .wrong(NOT_OWN),
    word("care", &[TRAIN], &[], Run::Now(acting::care))
        .repeats()
        .does("takes trains into care; `send` does so by itself")
        .wrong("in the care of another script"),
    word("let_go", &[TRAIN], &[], Run::Now(acting::let_go))
        .repeats()
        .does("takes trains out of care")
        .wrong("not in this script's care"),
    word("set_route", &[needed("route", Type::Name(Kind::Route))], &[], Run::Waits(acting::set_route))
        .does("sets a route for whoever comes, by its name in the control table; waits for the answer")
        .wrong("refused"),
    word("cancel_route", &[SIGNAL], &[], Run::Waits(acting::cancel_route))
        .does("cancels the route that is set from a signal; waits for the answer")
        .wrong("refused"),
    word("throw", &[TURNOUT, needed("lie", Type::Text)], &[], Run::Waits(acting::throw))
        .does("throws a turnout: `\"straight\"` or `\"diverging\"`; waits for the answer")
        .wrong("refused: never under a train, a lock or a doubt"),
    word("set_function", &[TRAIN, needed("number", Type::Number), needed("on", Type::Flag)], &[], Run::Waits(acting::set_function))
        .does(
            "switches a function of a train's decoders on or off, until a rule of the train says otherwise: 0 is the headlight, others \
             are the maker's; waits for the answer",
        )
        .wrong(NOT_OWN),
    word("switch", &[needed("accessory", Type::Name(Kind::Accessory)), needed("on", Type::Flag)], &[], Run::Waits(acting::switch))
        .does("switches an accessory (a lamp, a relay, a sound) on or off; waits for the answer"),
    word("is_on", &[needed("accessory", Type::Name(Kind::Accessory))], &[needed("on", Type::Flag)], Run::Now(reading::is_on))
        .does("whether an accessory was switched on last"),
    word("reads", &[needed("input", Type::Name(Kind::Input))], &[optional("on", Type::Flag)], Run::Now(reading::reads))
        .does("whether an input is on; `nil` where that is not known, because nothing was reported yet or its link is down"),
    word("out_of_service", &[SECTION, REASON], &[], Run::Waits(acting::take_out_of_service))
        .does("lets no trains be worked over a section; waits for the answer")
        .wrong("refused"),
    word("in_service", &[SECTION], &[], Run::Waits(acting::put_in_service))
        .does("lets trains be worked again over a section that this script took out of service; waits for the answer")
        .wrong("refused; somebody else took it out"),
    word("keep_at_danger", &[SIGNAL], &[], Run::Waits(acting::keep_at_danger))
        .does("keeps a signal at danger; waits for the answer"),
    word("let_clear", &[SIGNAL], &[], Run::Waits(acting::let_clear))
        .does("ends that; waits for the answer")
        .wrong("this script does not keep it at danger"),
    word("where", &[TRAIN], &[needed("sections", Type::List(Section))], Run::Now(reading::where_is))
        .does("the list of sections that are surely this train's"),
    word("at", &[TRAIN], &[optional("place", Type::Name(Kind::Place))], Run::Now(reading::at))
        .does("the place where a train stands: where it last arrived, else the section that is surely its; `nil` on the way"),
    word("is_at", &[TRAIN, PLACE], &[needed("stands", Type::Flag)], Run::Now(reading::is_at))
        .does("whether a train surely stands there and is not on the way elsewhere"),
    word("tag", &[SECTION], &[optional("train", Type::Name(Train)), needed("how", Type::Text)], Run::Now(reading::tag))
        .does(
            "the likeliest train in a section, or `nil`, and how: `\"free\"`, `\"sure\"`, `\"doubt\"`, `\"unexplained\"` or \
             `\"unknown\"`",
        ),
    word("bound", &[TRAIN], &[optional("place", Type::Name(Kind::Place))], Run::Now(reading::bound))
        .does("the place a train is on the way to, or `nil`"),
    word("waiting", &[TRAIN], REASON_IF_ANY, Run::Now(reading::waiting)).does("why a train waits for track, or `nil`"),
    word("held", &[TRAIN], REASON_IF_ANY, Run::Now(reading::held)).does("why a train is held, or `nil`"),
    word("shows", &[SIGNAL], &[needed("aspect", Type::Text), needed("danger", Type::Flag)], Run::Now(reading::shows))
        .does("what a signal shows, as its aspect book calls it, and whether that is its most restrictive aspect"),
    word("lies", &[TURNOUT], &[optional("lie", Type::Text)], Run::Now(reading::lies))
        .does("how a turnout lies, `\"straight\"` or `\"diverging\"`; `nil` while it moves and where nobody knows"),
    word("dark", &[optional("district", Type::Name(District))], REASON_IF_ANY, Run::Now(reading::dark))
        .does("how it is known that a power district, or anything at all, is without power; else `nil`"),
    word("picture", &[], &[needed("picture", Type::Record("Picture"))], Run::Now(reading::picture))
        .does("everything that is known, as one consistent copy"),
    word(
        "names",
        &[needed("kind", Type::Text), optional("pattern", Type::OneOrMoreTexts)],
        &[needed("names", Type::Texts)],
        Run::Now(reading::names),
    )
    .does(
        "the names there are, in the order of the layout: of a `\"train\"`, `\"section\"`, `\"place\"`, `\"signal\"`, `\"turnout\"`, \
         `\"detector\"`, `\"district\"`, `\"input\"` or `\"link\"`; with a pattern or a list only those",
    )
    .wrong("a pattern that fits nothing"),
    word("length", &[needed("of", Type::Text)], &[optional("millimetres", Type::Number)], Run::Now(reading::length))
        .does("how long a train or a section is, on its longest way; `nil` where that is not known"),
    word("now", &[], &[needed("seconds", Type::Number)], Run::Now(reading::now)).does("the layout time in seconds"),
    word("clock", &[], &[needed("clock", Type::Record("Clock"))], Run::Now(clock::clock)).does("the layout clock"),
    word("set_clock", &[TIME], &[], Run::Now(clock::set_clock))
        .does("sets the layout clock to a time of its day, such as `\"6:00\"`")
        .wrong("no such time"),
    word("start_clock", &[optional("pace", Type::Number)], &[], Run::Now(clock::start_clock))
        .does("lets the layout clock run, so many times faster than layout time")
        .wrong("a pace below 0.1 or above 240"),
    word("pause_clock", &[], &[], Run::Now(clock::pause_clock)).does("lets the layout clock stand"),
    word("say", &[needed("what", Type::Anything)], &[], Run::InPrelude)
        .repeats()
        .does("says a line to whoever looks on; `print` does the same")
        .wrong("more than 50 lines at once are left out, then more than ten a second"),
    word("log", &[needed("what", Type::Anything)], &[], Run::InPrelude)
        .repeats()
        .does("writes a line into the log, where nobody need see it")
        .wrong("counts as a line that is said"),
    word(
        "ask",
        &[needed("question", Type::Text), needed("answers", Type::Texts), SECONDS],
        &[optional("answer", Type::Text)],
        Run::Waits(talking::ask),
    )
    .does(
        "puts a question to whoever looks on, and waits for one of the answers: `lineclear tell answer 1 \"yes\"`; `nil` when \
         time is up",
    )
    .wrong("no answer to choose from; more than 16 questions at a time"),
];
