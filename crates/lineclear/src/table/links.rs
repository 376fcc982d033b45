//! The table as the hardware behind a layout's links: it is reached as a maker's own nodes would be.

use std::sync::Arc;
use std::time::{Duration, Instant};

use lineside::{Behind, Ordered};
use signaller::Time;
use testtrack::Served;
use track::Layout;
use track::wiring::Wiring;

use super::{Args, Told, say};
use crate::Exit;

/// How often time passes on the table.
const TICK: Duration = Duration::from_millis(5);
/// A table that falls further behind does not try to catch up.
const TOO_FAR_BEHIND: Duration = Duration::from_millis(250);

/// Runs the table behind the links until its time is over.
///
/// # Errors
/// In words, where it cannot stand there.
pub(super) fn run(args: &Args, layout: &Arc<Layout>, wiring: &Wiring, served: Served) -> Result<Exit, String> {
    let behind = Behind::open(layout, wiring, &args.layout).map_err(|error| error.to_string().to_lowercase())?;
    let mut served = served.judged_by_accidents();
    let until = args.span.map(|span| Instant::now() + span);
    let mut behind = behind;
    let mut told = Told::new(args);
    behind.report(&served.take_over());
    say("the table stands behind the links");
    let (mut anchor, mut ticks_at) = ((Instant::now(), Time::ZERO), Instant::now());
    let mut runs_out = false;
    while until.is_none_or(|until| Instant::now() < until) {
        match behind.next_within(ticks_at.saturating_duration_since(Instant::now())) {
            Some(Ordered::Output(output)) => served.stepped(0, &[], &[output]),
            Some(Ordered::Taken(why)) => {
                runs_out = false;
                say(&why);
            }
            Some(Ordered::Abandoned(why)) => {
                say(&format!("{why}; every train is made to stand"));
                served.abandon();
                runs_out = true;
            }
            None => {
                ticks_at = Instant::now() + TICK;
                let now = served.table().now();
                let due = anchor.1 + anchor.0.elapsed();
                if due > now + TOO_FAR_BEHIND {
                    anchor = (Instant::now(), now + TOO_FAR_BEHIND);
                }
                let reports = served.pass(due.min(now + TOO_FAR_BEHIND));
                if !reports.is_empty() {
                    behind.report(&reports);
                }
                if runs_out && served.all_stand() {
                    runs_out = false;
                    say("every train stands");
                }
            }
        }
        told.tell(&served);
    }
    Ok(told.verdict(&served))
}
