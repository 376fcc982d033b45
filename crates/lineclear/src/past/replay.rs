//! `lineclear replay`: what was recorded, run again, step by step.

use std::collections::BTreeMap;
use std::io::Write;
use std::path::PathBuf;
use std::sync::Arc;

use register::{After, Difference, Reader, ReplayError, Replayed, Restore, Shift, Span};
use signaller::{Output, Signaller, Time};
use track::Layout;

use super::{Failed, answered, explain, open, shift, when};
use crate::Exit;
use crate::run::words;

/// What was asked for on the command line.
#[derive(Debug, clap::Args)]
pub(crate) struct Args {
    /// The register: its file, its folder, or a layout's folder with a folder `state` in it
    #[arg(value_name = "DIR|FILE")]
    register: PathBuf,
    /// The run to replay; without it the last one
    #[arg(long, value_name = "N")]
    shift: Option<i64>,
    /// Compare from this layout time on, such as `90` or `0:01:30`
    #[arg(long, value_name = "TIME", value_parser = when::layout_time)]
    from: Option<Time>,
    /// Up to this layout time
    #[arg(long, value_name = "TIME", value_parser = when::layout_time)]
    to: Option<Time>,
    /// End at the first step that differs, instead of counting all of them
    #[arg(long)]
    until_difference: bool,
    /// Tell why a section had its tag at a moment, instead: the accounts there were, and what each piece of evidence did to them.
    /// The time is one on the wall clock, such as `20:14` or `2026-11-29 20:14:30`, or a layout time that ends in `s`: `162.5s`
    #[arg(long, value_name = "SECTION@TIME", conflicts_with_all = ["from", "to", "until_difference"])]
    explain: Option<String>,
}

/// Runs a shift again, and tells whether it gives the same.
pub(crate) fn run(args: &Args) -> Exit {
    answered(|output| {
        let reader = open(&args.register)?;
        if let Some(asked) = &args.explain {
            return explain::explain(&reader, args.shift, asked, output);
        }
        let shift = shift(&reader, args.shift)?;
        let layout = layout_of(&reader, &shift)?;
        writeln!(
            output,
            "shift {} of {}, recorded by version {}, at pace {}",
            shift.id, shift.layout_name, shift.version, shift.pace
        )?;
        let span = Span {
            from: args.from.unwrap_or(Time::ZERO),
            to: args.to.unwrap_or(Time::from_nanos(i64::MAX)),
            after_difference: if args.until_difference { After::End } else { After::GoOn },
        };
        let replayed = replay(&reader, &shift, &layout, span, output)?;
        tell(&reader, &shift, &layout, &replayed, output)
    })
}

/// The layout as it was then.
pub(super) fn layout_of(reader: &Reader, shift: &Shift) -> Result<Arc<Layout>, Failed> {
    let files: BTreeMap<String, String> = reader.layout_files(shift)?.into_iter().collect();
    let loaded = layout::load(|name| Ok(files.get(name).map(|text| text.clone().into_bytes())));
    let loaded = loaded.map_err(|refused| {
        Failed::Told(format!("the layout as it was recorded cannot be used by this version of the program:\n{refused}"))
    })?;
    Ok(Arc::new(loaded.layout))
}

fn replay(
    reader: &Reader,
    shift: &Shift,
    layout: &Arc<Layout>,
    span: Span,
    output: &mut dyn Write,
) -> Result<Replayed, Failed> {
    run_again(output, &mut |restore| reader.replay(shift, layout, span, restore))
}

/// Runs it from a snapshot, or from the beginning where the snapshot is of no use.
pub(super) fn run_again<T>(
    output: &mut dyn Write,
    run: &mut dyn FnMut(Option<Restore<'_>>) -> Result<T, ReplayError>,
) -> Result<T, Failed> {
    let restore = |bytes: &[u8], layout: &Arc<Layout>| {
        Signaller::restore(Arc::clone(layout), bytes).map_err(|error| error.to_string())
    };
    let replayed = match run(Some(&restore)) {
        // What another version took down is of no use here; the beginning may still be there.
        Err(ReplayError::Snapshot(why)) => {
            writeln!(output, "a snapshot is not used: {why}")?;
            run(None)
        }
        other => other,
    };
    replayed.map_err(|error| match error {
        ReplayError::Trouble(trouble) => trouble.into(),
        ReplayError::NoBeginning { first_kept: None, .. } => Failed::Told("no step of it is kept any more".to_owned()),
        ReplayError::NoBeginning { first_kept: Some(kept), first } => Failed::Told(format!(
            "its steps {first} to {} are not kept any more, and there is no snapshot to begin with",
            kept - 1
        )),
        ReplayError::Missing { number, so_far } => Failed::Told(format!(
            "step {number} is missing: it was not kept when it was recorded. Up to there {} steps were run and {} differed",
            so_far.run, so_far.differing
        )),
        ReplayError::Spoiled { number } => Failed::Told(format!(
            "step {number} tells of something that the layout has not: the register is damaged from there on"
        )),
        ReplayError::Snapshot(why) => Failed::Told(why),
    })
}

fn tell(
    reader: &Reader,
    shift: &Shift,
    layout: &Arc<Layout>,
    replayed: &Replayed,
    output: &mut dyn Write,
) -> Result<Exit, Failed> {
    if let Some(step) = replayed.began_after {
        writeln!(output, "begun with the snapshot that was taken after step {step}")?;
    }
    let Replayed { run, compared, differing, .. } = replayed;
    let Some(first) = &replayed.first else {
        writeln!(output, "{run} steps run, {compared} compared: all of them give what was recorded")?;
        return Ok(Exit::Fine);
    };
    writeln!(output, "{run} steps run, {compared} compared, {differing} of these differ; the first:")?;
    let Difference { step, got } = &**first;
    let names = reader.names(shift, layout, step.number)?;
    writeln!(output, "\nstep {} at {}", step.number, words::clock(step.at))?;
    for (input, cause) in &step.heard {
        writeln!(output, "  heard     {} ({})", names.input(input), names.cause(cause))?;
    }
    let mut say = |mark: &str, all: &[Output], other: &[Output]| -> Result<(), Failed> {
        for one in all.iter().filter(|one| !other.contains(one)) {
            writeln!(output, "  {mark}  {}", names.output(one))?;
        }
        Ok(())
    };
    say("recorded", &step.outputs, got)?;
    say("now     ", got, &step.outputs)?;
    Ok(Exit::Wrong)
}
