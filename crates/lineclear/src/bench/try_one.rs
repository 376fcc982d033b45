//! `lineclear try`: one turnout, signal, train, power district or accessory, worked by hand.

use std::io::{self, Write};
use std::net::{SocketAddr, TcpStream};
use std::path::PathBuf;
use std::time::{Duration, Instant};

use lineside::{Lineside, Role, What};
use panel::{Fate, Lying, Wish};
use signaller::{Direction, Input, Output};
use track::wiring::Thing;
use track::{Layout, Lie, nearest};

use super::{complain, open};
use crate::Exit;
use crate::caller;
use crate::run::USUAL_DOOR;

/// What was asked for on the command line.
#[derive(Debug, clap::Args)]
#[command(after_long_help = HELP)]
pub(crate) struct Args {
    /// The folder of the layout
    #[arg(value_name = "DIR")]
    layout: PathBuf,
    /// A turnout, a signal, a train, a power district or an accessory
    #[arg(value_name = "NAME")]
    name: String,
    /// `straight` or `diverging` (`off` or `on`); an aspect, or `off` for a dark signal; for a train a speed step, less than 0 backward,
    /// or a function such as `f0`; `live` or `dark`; `on` or `off`
    #[arg(value_name = "WHAT", allow_hyphen_values = true)]
    what: String,
    /// Where the control door of a daemon would be
    #[arg(long, value_name = "ADDRESS", default_value_t = USUAL_DOOR)]
    door: SocketAddr,
}

const HELP: &str = "\
While a daemon runs, a turnout is thrown by it, and only where no train, lock or doubt forbids that, and an accessory is switched by
it; signals and trains are the daemon's own: ask it by `lineclear tell`. Where none runs, NOTHING LOOKS AFTER SAFETY: look at the track before you throw a turnout or move a
train, and keep the switch that cuts track power within reach. A train runs for two seconds and is then told to stand; a function
is on for so long. What a train was last told it may do at once where power comes back.";

/// How long a link may take to come up.
const COMING_UP: Duration = Duration::from_secs(10);
/// How long a train runs, and what comes of an order is waited for.
const LASTS: Duration = Duration::from_secs(2);

/// Works one thing.
pub(crate) fn run(args: &Args) -> Exit {
    let (layout, wiring) = match open(&args.layout) {
        Ok(opened) => opened,
        Err(exit) => return exit,
    };
    let (thing, outputs) = match wanted(&layout, &args.name, &args.what) {
        Ok(wanted) => wanted,
        Err(why) => return complain(&format_args!("error: {why}")),
    };
    if TcpStream::connect_timeout(&args.door, Duration::from_millis(300)).is_ok() {
        return by_the_daemon(args, &outputs);
    }
    let carrier = wiring.links.iter().find(|wired| wired.carries.iter().any(|carried| carried.thing == thing));
    let Some(wired) = carrier else {
        return complain(&format_args!("error: no link carries `{}`", args.name));
    };
    let opened = Lineside::open(&layout, &wiring, &args.layout, Role::Tries, Some(wired.link));
    let mut lineside = match opened {
        Ok(lineside) => lineside,
        Err(error) => return complain(&format_args!("error: {error}")),
    };
    let ran = work(&mut lineside, &wired.name, &outputs, &layout);
    lineside.close();
    match ran {
        Ok(()) => Exit::Fine,
        Err(why) => complain(&format_args!("error: {why}")),
    }
}

/// What is meant: the thing, and the orders one after the other.
fn wanted(layout: &Layout, name: &str, what: &str) -> Result<(Thing, Vec<Output>), String> {
    if let Some(turnout) = layout.turnout_named(name) {
        let lie = match what {
            "straight" | "off" => Lie::Straight,
            "diverging" | "on" => Lie::Diverging,
            _ => return Err(format!("a turnout is `straight` or `diverging`, not `{what}`")),
        };
        return Ok((Thing::Turnout(turnout), vec![Output::Throw { turnout, lie }]));
    }
    if let Some(signal) = layout.signal_named(name) {
        let book = layout.book_of(signal);
        if what == "off" {
            return Ok((Thing::Signal(signal), vec![Output::Light { signal, lit: false }]));
        }
        let aspect = book.named(what).ok_or_else(|| {
            let all: Vec<&str> = book.aspects().map(|(_, row)| row.name.as_str()).collect();
            format!("`{name}` shows {}, or is `off`; not `{what}`", all.join(", "))
        })?;
        return Ok((Thing::Signal(signal), vec![Output::Show { signal, aspect }]));
    }
    if let Some(train) = layout.train_named(name) {
        if let Some(number) = what.strip_prefix('f').and_then(|number| number.parse().ok()) {
            if number > track::Function::HIGHEST {
                return Err(format!("functions are numbered 0 to {}", track::Function::HIGHEST));
            }
            let switches = [true, false].map(|on| Output::Function { train, number, on });
            return Ok((Thing::Train(train), switches.to_vec()));
        }
        let highest = layout.trains[train].speed_steps.highest();
        let step: i16 = what
            .parse()
            .map_err(|_| format!("a train takes a speed step, or a function such as `f0`, not `{what}`"))?;
        let direction = if step < 0 { Direction::Backward } else { Direction::Forward };
        let step = u8::try_from(step.unsigned_abs()).ok().filter(|step| *step <= highest);
        let step = step.ok_or_else(|| format!("`{name}` has {highest} speed steps"))?;
        let runs = [step, 0].map(|step| Output::Drive { train, direction, step });
        return Ok((Thing::Train(train), runs.to_vec()));
    }
    if let Some(district) = layout.district_named(name) {
        let live = match what {
            "live" | "on" => true,
            "dark" | "off" => false,
            _ => return Err(format!("a power district is `live` or `dark`, not `{what}`")),
        };
        if !layout.districts[district].is_switched {
            return Err(format!("`layout.toml` does not say that the power of `{name}` is `switched`"));
        }
        return Ok((Thing::District(district), vec![Output::Power { district, live }]));
    }
    if let Some(accessory) = layout.accessory_named(name) {
        let on = match what {
            "on" => true,
            "off" => false,
            _ => return Err(format!("an accessory is `on` or `off`, not `{what}`")),
        };
        return Ok((Thing::Accessory(accessory), vec![Output::Accessory { accessory, on }]));
    }
    let turnouts = layout.turnouts.values().map(|turnout| turnout.name.as_str());
    let all = turnouts
        .chain(layout.signals.values().map(|signal| signal.name.as_str()))
        .chain(layout.trains.values().map(|train| train.name.as_str()))
        .chain(layout.districts.values().map(|district| district.name.as_str()))
        .chain(layout.accessories.values().map(|accessory| accessory.name.as_str()));
    let hint = nearest(name, all).map(|near| format!("\nhint: the nearest name is `{near}`")).unwrap_or_default();
    Err(format!("no turnout, signal, train, power district or accessory is named `{name}`{hint}"))
}

/// A daemon runs: it decides.
fn by_the_daemon(args: &Args, outputs: &[Output]) -> Exit {
    let wish = match outputs.first() {
        Some(Output::Throw { lie, .. }) => {
            let to = if *lie == Lie::Straight { Lying::Straight } else { Lying::Diverging };
            Wish::Throw { turnout: args.name.clone(), to }
        }
        Some(Output::Accessory { on, .. }) => Wish::Switch { accessory: args.name.clone(), on: *on },
        _ => {
            return complain(&format_args!(
                "error: a daemon runs at `{}`, and shows signals, drives trains and switches power itself\n\
                 hint: ask it by `lineclear tell`, or end it first",
                args.door
            ));
        }
    };
    match caller::ask(args.door, &wish) {
        Ok(Fate::Accepted { .. }) => {
            say("accepted by the daemon");
            Exit::Fine
        }
        Ok(Fate::Refused { reason, .. }) => {
            complain(&format_args!("refused by the daemon: {reason}"));
            Exit::Wrong
        }
        Ok(Fate::Failed { reason }) => complain(&format_args!("error: {reason}")),
        Err(why) => complain(&format_args!("error: {why}")),
    }
}

fn work(lineside: &mut Lineside, name: &str, outputs: &[Output], layout: &Layout) -> Result<(), String> {
    let began = Instant::now();
    let mut why = "it does not come up".to_owned();
    loop {
        if began.elapsed() > COMING_UP {
            return Err(format!("link `{name}`: {why}"));
        }
        match lineside.next_within(Duration::from_millis(200)).map(|news| news.what) {
            Some(What::Up(_)) => break,
            Some(What::Down(told) | What::Said(told)) => why = told,
            _ => {}
        }
    }
    for output in outputs {
        lineside.order(std::slice::from_ref(output));
        say(&format!("ordered over link {name}"));
        let until = Instant::now() + LASTS;
        while Instant::now() < until {
            let Some(news) = lineside.next_within(Duration::from_millis(100)) else { continue };
            match news.what {
                What::Reported(inputs) => {
                    inputs.iter().filter_map(|input| heard(input, layout)).for_each(|said| say(&said));
                }
                What::Down(why) => return Err(format!("link `{name}` is down: {why}")),
                What::Said(text) | What::Stop(text) => say(&text),
                What::Up(_) | What::Heard(_) | What::Rewired => {}
            }
        }
    }
    Ok(())
}

/// What is reported meanwhile, in words.
fn heard(input: &Input, layout: &Layout) -> Option<String> {
    Some(match *input {
        Input::TurnoutReported { turnout, lie } => {
            let lies = match lie {
                Some(Lie::Straight) => "lies straight",
                Some(Lie::Diverging) => "lies diverging",
                None => "moves",
            };
            format!("turnout {} {lies}", layout.turnouts[turnout].name)
        }
        Input::SectionReported { section, occupied } => {
            format!("section {} is {}", layout.sections[section].name, if occupied { "occupied" } else { "free" })
        }
        _ => return None,
    })
}

fn say(line: &str) {
    // Where nobody listens there is nobody left to tell.
    let _ = writeln!(io::stdout(), "{line}");
}
