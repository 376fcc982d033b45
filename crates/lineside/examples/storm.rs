//! A storm of reports over a broker that runs already: how many a second come through, and how late the slowest are.
//!
//! `cargo run --profile checked --package lineside --example storm -- PORT [A-SECOND] [SECONDS]`

use std::error::Error;
use std::io::Write as _;
use std::path::Path;
use std::sync::Arc;
use std::sync::mpsc::{Receiver, Sender, channel};
use std::time::{Duration, Instant};

use lineside::mqtt::{Client, Event, Publish};
use lineside::{Lineside, Role, What};
use track::wiring::{By, Mqtt, Wiring};

const TRACK: &str = "[layout]\nname = \"A storm\"\nscale = \"H0\"\n[[section]]\nname = \"quay\"\n[[section]]\nname = \"throat\"\n\
    [[joint]]\nends = [\"quay.b\", \"throat.a\"]\n[[off-layout]]\nat = [\"quay.a\", \"throat.b\"]\n";

type Failed = Box<dyn Error + Send + Sync>;

fn main() -> Result<(), Failed> {
    let mut given = std::env::args().skip(1);
    let port: u16 = given.next().ok_or("say at which port the broker listens")?.parse()?;
    let rate: u32 = given.next().map_or(Ok(10_000), |text| text.parse())?;
    let seconds: u32 = given.next().map_or(Ok(30), |text| text.parse())?;
    let (layout, wiring) = siding(port)?;
    let By::Mqtt(setup) = wiring.links.first().ok_or("no link")?.by.clone() else { return Err("no broker".into()) };
    let mut lineside = Lineside::open(&Arc::new(layout), &wiring, Path::new("."), Role::Runs, None)?;
    let (sender, sent) = channel();
    let count = u64::from(rate) * u64::from(seconds);
    let node = std::thread::spawn(move || storm(&setup, rate, count, &sender));
    let late = listen(&mut lineside, &sent, count)?;
    let took = node.join().map_err(|_| "the node gave up")??;
    lineside.close();
    let at = |permille: usize| late.get(late.len() * permille / 1000).copied().unwrap_or_default();
    let mut output = std::io::stdout();
    writeln!(
        output,
        "{} of {count} reports heard, sent at {:.0} a second",
        late.len(),
        count as f64 / took.as_secs_f64()
    )?;
    writeln!(
        output,
        "from sent to heard: median {:?}, 99 % within {:?}, all within {:?}",
        at(500),
        at(990),
        late.last().copied().unwrap_or_default()
    )?;
    Ok(())
}

fn siding(port: u16) -> Result<(track::Layout, Wiring), Failed> {
    let links = format!(
        "[[link]]\nname = \"box\"\nby = \"mqtt\"\nbroker = \"127.0.0.1:{port}\"\nbase = \"storm\"\nsections = \"all\"\n"
    );
    let loaded = layout::load(|name| {
        Ok(match name {
            "layout.toml" => Some(TRACK.as_bytes().to_vec()),
            "links.toml" => Some(links.clone().into_bytes()),
            _ => None,
        })
    });
    let loaded = loaded.map_err(|refused| refused.to_string())?;
    Ok((loaded.layout, loaded.wiring.ok_or("no links")?))
}

/// Sends the reports, in equal shares every millisecond; notes when each was sent. Gives how long that took.
fn storm(setup: &Mqtt, rate: u32, count: u64, sender: &Sender<Instant>) -> Result<Duration, Failed> {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
    runtime.block_on(async {
        let mut node = Client::open(setup, Path::new("."), "-node", None)?;
        while !matches!(node.next().await, Some(Event::Connected) | None) {}
        // The link at the other end comes up without reports after a moment.
        tokio::time::sleep(Duration::from_secs(2)).await;
        let began = Instant::now();
        let mut ticks = tokio::time::interval(Duration::from_millis(1));
        let mut done = 0u64;
        while done < count {
            let _ = ticks.tick().await;
            let due = (began.elapsed().as_secs_f64() * f64::from(rate)) as u64;
            while done < due.min(count) {
                let topic = format!("storm/section/{}", ["quay", "throat"][(done % 2) as usize]);
                let payload = ["occupied", "free"][(done / 2 % 2) as usize].to_owned();
                if node.publish(Publish { topic, payload, quality: 1, is_retained: false }).is_err() {
                    // The broker is behind: as many more are due later.
                    break;
                }
                sender.send(Instant::now())?;
                done += 1;
            }
        }
        let took = began.elapsed();
        // Until the last was answered.
        let _ = tokio::time::timeout(Duration::from_secs(5), node.next()).await;
        Ok(took)
    })
}

/// Hears the reports, which come in the order they were sent in; gives how late each was, the earliest first.
fn listen(lineside: &mut Lineside, sent: &Receiver<Instant>, count: u64) -> Result<Vec<Duration>, Failed> {
    let mut late = Vec::new();
    let mut heard_at = Instant::now();
    while (late.len() as u64) < count && heard_at.elapsed() < Duration::from_secs(20) {
        lineside.pulse().beat();
        let Some(news) = lineside.next_within(Duration::from_millis(100)) else { continue };
        match news.what {
            What::Up(inputs) | What::Reported(inputs) => {
                heard_at = Instant::now();
                for _ in inputs {
                    late.push(sent.recv_timeout(Duration::from_secs(1))?.elapsed());
                }
            }
            What::Down(why) => return Err(why.into()),
            What::Said(_) | What::Stop(_) | What::Heard(_) | What::Rewired => {}
        }
    }
    late.sort_unstable();
    Ok(late)
}
