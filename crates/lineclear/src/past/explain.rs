//! `lineclear replay --explain SECTION@TIME`: why a section had its tag, in plain words.

use std::io::Write;

use jiff::Zoned;
use register::{After, Names, Reader, Shift, Span};
use signaller::{Explanation, Fact, Finding, Output, Possibility, Signaller, Tag, Time, Why};
use track::{Layout, SectionId};

use super::replay::{layout_of, run_again};
use super::{Failed, shift, when};
use crate::Exit;
use crate::run::words;

/// So many steps are read at once.
const AT_ONCE: usize = 500;
/// So many accounts are shown.
const SHOWN: usize = 6;

/// Tells why a section had its tag at a moment, both written as `SECTION@TIME`.
pub(super) fn explain(
    reader: &Reader,
    number: Option<i64>,
    asked: &str,
    output: &mut dyn Write,
) -> Result<Exit, Failed> {
    let Some((name, time)) = asked.rsplit_once('@') else {
        return Err(Failed::Told(format!("`{asked}` names no moment; write it as `quay-1@20:14` or `quay-1@162.5s`")));
    };
    let (shift, until) = moment(reader, number, time)?;
    let layout = layout_of(reader, &shift)?;
    let section = section(&layout, name)?;
    let since = last_free(reader, &shift, section, until)?;
    let span = Span { from: since.unwrap_or(Time::ZERO), to: until, after_difference: After::GoOn };
    let mut is_called = false;
    let mut before = |signaller: &mut Signaller, at: Time| {
        if !is_called && since.is_none_or(|since| at > since) {
            is_called = true;
            signaller.call_witness(section);
        }
    };
    let (signaller, replayed) =
        run_again(output, &mut |restore| reader.replay_before(&shift, &layout, span, restore, &mut before))?;
    if replayed.differing > 0 {
        writeln!(
            output,
            "{} of {} steps give something else now than when they were recorded; told is how it is now",
            replayed.differing, replayed.compared
        )?;
    }
    let names = reader.names(&shift, &layout, u64::MAX)?;
    tell(output, &names, section, (since, until), &signaller.why(section))?;
    Ok(Exit::Fine)
}

/// The shift, and the layout time in it, that is meant.
fn moment(reader: &Reader, number: Option<i64>, written: &str) -> Result<(Shift, Time), Failed> {
    if written.ends_with('s') {
        return Ok((shift(reader, number)?, when::layout_time(written).map_err(Failed::Told)?));
    }
    let wall = when::wall(written, &Zoned::now()).map_err(Failed::Told)?;
    let number = match number {
        Some(number) => Some(number),
        None => reader.shifts()?.iter().rev().find(|shift| shift.began_wall <= wall).map(|shift| shift.id),
    };
    let nothing =
        || Failed::Told(format!("nothing was recorded up to {}", when::in_words(wall, Zoned::now().time_zone())));
    let shift = shift(reader, Some(number.ok_or_else(nothing)?))?;
    let at = reader.time_at(&shift, wall)?.ok_or_else(nothing)?;
    Ok((shift, at))
}

fn section(layout: &Layout, name: &str) -> Result<SectionId, Failed> {
    if let Some((id, _)) = layout.sections.iter().find(|(_, section)| section.name == name) {
        return Ok(id);
    }
    let known = layout.sections.values().map(|section| section.name.as_str());
    let hint = track::nearest(name, known).map(|near| format!("; hint: `{near}`?")).unwrap_or_default();
    Err(Failed::Told(format!("there is no section `{name}`{hint}")))
}

/// When the section was last free before a moment.
fn last_free(reader: &Reader, shift: &Shift, section: SectionId, until: Time) -> Result<Option<Time>, Failed> {
    let mut free = None;
    let mut next = shift.steps.map_or(shift.first_step, |(first, _)| first);
    loop {
        let steps = reader.steps(shift, next, AT_ONCE)?;
        let Some(last) = steps.last() else { return Ok(free) };
        next = last.number + 1;
        for step in steps {
            if step.at > until {
                return Ok(free);
            }
            for output in &step.outputs {
                if let Output::Fact(Fact::Tagged { section: tagged, tag: Tag::Free }) = output
                    && *tagged == section
                    && step.at < until
                {
                    free = Some(step.at);
                }
            }
        }
    }
}

fn tell(
    output: &mut dyn Write,
    names: &Names,
    section: SectionId,
    (since, until): (Option<Time>, Time),
    why: &Why,
) -> Result<(), Failed> {
    let name = names.section(section);
    let tag = match &why.tag {
        Tag::Free => "free".to_owned(),
        Tag::Sure(train) => format!("`{}`, sure", names.train(*train)),
        Tag::Doubt(trains) => {
            let trains: Vec<String> = trains.iter().map(|&train| format!("`{}`", names.train(train))).collect();
            format!("in doubt: {}", trains.join(" or "))
        }
        Tag::Unexplained => "something is there that no known train explains".to_owned(),
    };
    writeln!(output, "`{name}` at {}: {tag}; {}", words::clock(until), why.detector)?;
    if let (Tag::Free, Some(since), true) = (&why.tag, since, why.findings.is_empty()) {
        writeln!(output, "said to be free since {}", words::clock(since))?;
        return Ok(());
    }
    writeln!(output, "\naccounts")?;
    accounts(output, "  ", &why.accounts)?;
    if why.is_open_ended {
        writeln!(output, "  there was too much that might be so to follow all of it")?;
    }
    if why.is_strange {
        writeln!(
            output,
            "  what was heard near by can hardly be explained at all: a train is not sure then until it is named, or has done a \
             few times what it was told"
        )?;
    }
    match since {
        Some(since) => writeln!(output, "\nwhat led there, since it was free at {}", words::clock(since))?,
        None => writeln!(output, "\nwhat led there")?,
    }
    if why.findings.is_empty() {
        writeln!(output, "  nothing was heard that concerns it")?;
    }
    why.findings.iter().try_for_each(|finding| tell_finding(output, finding))
}

fn tell_finding(output: &mut dyn Write, finding: &Finding) -> Result<(), Failed> {
    writeln!(output, "\n  {}  {}", words::clock(finding.at), finding.evidence)?;
    if !finding.before.is_empty() {
        writeln!(output, "    before")?;
        accounts(output, "      ", &finding.before)?;
    }
    if !finding.explanations.is_empty() {
        writeln!(output, "    that can be explained so")?;
        for explanation in &finding.explanations {
            tell_explanation(output, explanation)?;
        }
        if finding.others > 0 {
            writeln!(output, "      and in {} other ways that are less likely", finding.others)?;
        }
    }
    writeln!(output, "    after")?;
    accounts(output, "      ", &finding.after)
}

fn tell_explanation(output: &mut dyn Write, explanation: &Explanation) -> Result<(), Failed> {
    writeln!(output, "      {}", explanation.then.words)?;
    let how = match explanation.because.as_slice() {
        [] if explanation.likelihood >= 0.99 => "the ordinary course of things".to_owned(),
        [] => format!("about {} as likely as the ordinary course of things", one_in(explanation.likelihood)),
        because => format!("{}, where {}", one_in(explanation.likelihood), because.join(" and ")),
    };
    let then = if explanation.is_given_up { "given up, for it weighs too little" } else { "kept" };
    writeln!(output, "        {how}: {then}")?;
    Ok(())
}

fn accounts(output: &mut dyn Write, indent: &str, accounts: &[Possibility]) -> Result<(), Failed> {
    if accounts.is_empty() {
        writeln!(output, "{indent}nothing is there")?;
    }
    for account in accounts.iter().take(SHOWN) {
        writeln!(output, "{indent}{:>9}  {}", percent(account.share), account.words)?;
    }
    if accounts.len() > SHOWN {
        writeln!(output, "{indent}and {} others", accounts.len() - SHOWN)?;
    }
    Ok(())
}

/// A share as people read it; never all of it where it is not.
fn percent(share: f64) -> String {
    let percent = share * 100.0;
    match percent {
        _ if share >= 1.0 - 1e-12 => "100 %".to_owned(),
        _ if percent >= 99.9 => "> 99.9 %".to_owned(),
        _ if percent >= 0.1 => format!("{percent:.1} %"),
        _ => "< 0.1 %".to_owned(),
    }
}

/// How often something happens: `1 in 2,000`.
fn one_in(likelihood: f64) -> String {
    let count = (1.0 / likelihood.max(1e-15)).round() as u64;
    let mut digits = count.to_string();
    let mut at = digits.len();
    while at > 3 {
        at -= 3;
        digits.insert(at, ',');
    }
    format!("1 in {digits}")
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_share_that_is_not_all_is_never_told_to_be_all() {
        assert_eq!(percent(1.0), "100 %");
        assert_eq!(percent(0.999_999), "> 99.9 %");
        assert_eq!(percent(0.5), "50.0 %");
        assert_eq!(percent(1e-6), "< 0.1 %");
    }

    #[test]
    fn a_likelihood_is_told_as_people_say_it() {
        assert_eq!(one_in(5e-5), "1 in 20,000");
        assert_eq!(one_in(0.5), "1 in 2");
        assert_eq!(one_in(1e-9), "1 in 1,000,000,000");
    }
}
