//! What scripts cost: `cargo bench --package hooks`.
//!
//! How many hooks can be called a second; how much 200 hooks add to hearing of one step, as a ratio; and how long the signaller's
//! steps, and telling the scripts of them, take while hostile scripts are at work on their own thread, as a ratio to a run without.

use std::hint::black_box;
use std::io::Write;
use std::path::Path;
use std::process::ExitCode;
use std::sync::Arc;
use std::time::{Duration, Instant};

use hooks::{Apart, Budget, Scripts};
use signaller::{Board, Conduct, Destination, Fact, Input, Output, Request, Signaller, Step, Tag, Time};
use testtrack::{Desk, Moment, Session, Settings, Works};
use track::Layout;

type Failed = Box<dyn std::error::Error>;

fn main() -> ExitCode {
    match measure() {
        Ok(()) => ExitCode::SUCCESS,
        Err(why) => {
            let _ = writeln!(std::io::stderr(), "error: {why}");
            ExitCode::FAILURE
        }
    }
}

fn measure() -> Result<(), Failed> {
    let mut output = std::io::stdout();
    let layout = low_staithe()?;
    let one = heard(&layout, "local n = 0\non('tagged', function(e) n += 1 end)")?;
    writeln!(output, "hooks called: {:.0} a second", 1.0 / one.as_secs_f64())?;
    let none = heard(&layout, "")?;
    let matching = "for n = 1, 200 do on('tagged', function(e) end) end";
    let others = "for n = 1, 200 do on('tagged', { section = 'yard-*' }, function(e) end) end";
    for (what, text) in [("200 hooks on something else", others), ("200 hooks that are all called", matching)] {
        let took = heard(&layout, text)?;
        writeln!(output, "{what}: {:.2} us a step, {:.1} times that without hooks", micros(took), ratio(took, none))?;
    }
    let (quiet, hostile) = (hour(&layout, &[])?, hour(&layout, HOSTILE)?);
    for (thing, quiet, hostile) in [
        ("signaller step", &quiet.steps, &hostile.steps),
        ("telling the scripts of it", &quiet.telling, &hostile.telling),
    ] {
        for (what, share) in [("median", 0.5), ("99th percentile", 0.99)] {
            let [quiet, hostile] = [quiet, hostile].map(|took| took[((took.len() - 1) as f64 * share) as usize]);
            writeln!(
                output,
                "{thing}, {what}: {:.2} us without scripts, {:.2} us with hostile ones, {:.2} times",
                micros(quiet),
                micros(hostile),
                ratio(hostile, quiet)
            )?;
        }
    }
    Ok(())
}

fn micros(span: Duration) -> f64 {
    span.as_secs_f64() * 1e6
}

fn ratio(one: Duration, other: Duration) -> f64 {
    one.as_secs_f64() / other.as_secs_f64().max(1e-12)
}

fn low_staithe() -> Result<Arc<Layout>, Failed> {
    let folder = Path::new(env!("CARGO_MANIFEST_DIR")).join("../../demo-layout");
    let loaded = layout::load(|name| Ok(std::fs::read(folder.join(name)).ok())).map_err(|why| why.to_string())?;
    Ok(Arc::new(loaded.layout))
}

fn load(layout: &Arc<Layout>, files: &[(&str, &str)]) -> Result<Scripts, Failed> {
    let files = files.iter().map(|(name, text)| ((*name).to_owned(), (*text).to_owned())).collect();
    let (scripts, errors) = Scripts::load(Arc::clone(layout), files, &Budget::default(), 1);
    errors.first().map_or(Ok(scripts), |error| Err(error.to_string().into()))
}

/// How long it takes to tell a script of one step in which a tag changed; the median of many.
fn heard(layout: &Arc<Layout>, text: &str) -> Result<Duration, Failed> {
    let mut scripts = load(layout, &[("t.lua", text)])?;
    let section = layout.section_named("quay-1").ok_or("no quay")?;
    let train = layout.train_named("Heron").ok_or("no train")?;
    let mut took = Vec::new();
    for round in 0..4000_i64 {
        let tag = if round % 2 == 0 { Tag::Free } else { Tag::Sure(train) };
        let outputs = [Output::Fact(Fact::Tagged { section, tag })];
        let now = Time::from_millis(round * 1000);
        let began = Instant::now();
        scripts.hear(now, &[], black_box(&outputs));
        took.push(began.elapsed());
        let _ = (scripts.take_notices(), scripts.take_requests());
    }
    took.sort_unstable();
    Ok(took[took.len() / 2])
}

/// Scripts that use all they may, all the time.
const HOSTILE: &[(&str, &str)] = &[
    ("again.lua", "local function again() task('again', again) end\ntask('again', again)"),
    (
        "busy.lua",
        "on('tagged', function() while true do end end)\ntask('busy', function() while true do wait(0) for n = 1, 50000 do end end end)",
    ),
    ("fail.lua", "task('fail', function() while true do wait(0.1) pcall(error, 'no') end end)"),
    (
        "fill.lua",
        "task('fill', function() while true do local t = {} for n = 1, 1000 do t[n] = string.rep('x', 1000) .. n end wait(0.1) end end)",
    ),
    ("storm.lua", "task('storm', function() while true do try_send('Curlew', 'yard-3') end end)"),
];

/// A signaller whose steps are timed.
struct Timed {
    signaller: Signaller,
    took: Vec<Duration>,
}

impl Works for Timed {
    fn work(&mut self, now: Time, inputs: &[Input]) -> Step<'_> {
        let began = Instant::now();
        let step = self.signaller.step(now, inputs);
        self.took.push(began.elapsed());
        step
    }
}

/// How long things took in an hour, in order of length.
struct Hour {
    steps: Vec<Duration>,
    telling: Vec<Duration>,
}

/// An hour in which the railcar shuttles.
fn hour(layout: &Arc<Layout>, files: &[(&str, &str)]) -> Result<Hour, Failed> {
    let hostile = Apart::new(load(layout, files)?, || {})?;
    let timed = Timed { signaller: Signaller::new(Arc::clone(layout), Conduct::Control), took: Vec::new() };
    let mut session = Session::with(Arc::clone(layout), &Settings::seeded(1), timed).map_err(|why| why.to_string())?;
    let mut board = Board::new(Arc::clone(layout));
    let heron = layout.train_named("Heron").ok_or("no train")?;
    let stop = |name: &str| layout.stop_named(name).map(Destination::Stop).ok_or("no such stopping point");
    let ends = [stop("loop-1.b")?, stop("quay-1.a")?];
    let go = |to| Request::Go { train: heron, to };
    session.desk().request_at(Time::from_millis(1000), go(ends[0]));
    let (mut telling, mut called) = (Vec::new(), Time::ZERO);
    session.run_until(Time::from_millis(3_600_000), &mut |moment: &Moment<'_, Timed>, desk: &mut Desk| {
        board.hear(moment.now, moment.outputs);
        let began = Instant::now();
        hostile.tell(moment.now, moment.inputs, moment.outputs, &board);
        telling.push(began.elapsed());
        for (ticket, request) in hostile.take().requests {
            desk.hand_in(moment.now, ticket, request);
        }
        for output in moment.outputs {
            if let Output::Fact(Fact::Arrived { train, at }) = output
                && *train == heron
            {
                let to = if *at == ends[0] { ends[1] } else { ends[0] };
                desk.request_at(moment.now + Duration::from_secs(15), go(to));
            }
        }
        // The hostile scripts are told how late it is ten times a second.
        if moment.now >= called {
            called = moment.now + Duration::from_millis(100);
            desk.call_at(called);
        }
    });
    let mut steps = std::mem::take(&mut session.signaller_mut().took);
    steps.sort_unstable();
    telling.sort_unstable();
    Ok(Hour { steps, telling })
}
