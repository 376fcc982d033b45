//! A line whose servers fail just so.

use std::collections::{BTreeSet, VecDeque};
use std::sync::{Arc, Mutex};

use signaller::{Input, Output};
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::mpsc;
use track::wiring::{By, WiredLink};
use track::{Layout, Lie};

use super::super::Mirror;
use super::*;
use crate::described::described;
use crate::lineside::doubles::{Orderer, start};
use crate::news::{News, What};

/// Function codes that read discrete inputs, and write a coil (Modbus application protocol 1.1b3, sections 6.2 and 6.5).
const READ: u8 = 2;
const WRITE: u8 = 5;

/// What has not come by then never will.
const NEVER: Duration = Duration::from_secs(60);

/// What the servers are to do, and what they did.
#[derive(Default)]
struct Script {
    /// Units that answer nothing.
    silent: BTreeSet<u8>,
    /// Of the next requests of such a kind one is not answered, and this is so from then on.
    swallow: VecDeque<(u8, Option<Input>)>,
    /// Coils that were set, and answered for.
    writes: Vec<(u16, bool)>,
    /// How many were not answered so.
    swallowed: u32,
    /// Questions that were answered since.
    answered: u32,
}

/// Servers at the other end of a line.
struct Servers {
    script: Arc<Mutex<Script>>,
    /// Tells of every request.
    asked: mpsc::UnboundedReceiver<()>,
}

impl Servers {
    async fn stand(wired: &mut WiredLink) -> Self {
        let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
        let By::Modbus(setup) = &mut wired.by else { panic!("a line of servers") };
        setup.way = ModbusWay::Tcp(listener.local_addr().unwrap().to_string());
        let script = Arc::new(Mutex::new(Script::default()));
        let (tell, asked) = mpsc::unbounded_channel();
        let mirror = Arc::new(Mutex::new(Mirror::new(wired)));
        tokio::spawn(serve_all(listener, mirror, Arc::clone(&script), tell));
        Self { script, asked }
    }

    fn change<T>(&self, change: impl FnOnce(&mut Script) -> T) -> T {
        change(&mut self.script.lock().unwrap())
    }
}

async fn serve_all(
    listener: TcpListener,
    mirror: Arc<Mutex<Mirror>>,
    script: Arc<Mutex<Script>>,
    tell: mpsc::UnboundedSender<()>,
) {
    while let Ok((socket, _)) = listener.accept().await {
        tokio::spawn(serve_one(socket, Arc::clone(&mirror), Arc::clone(&script), tell.clone()));
    }
}

async fn serve_one(
    mut socket: TcpStream,
    mirror: Arc<Mutex<Mirror>>,
    script: Arc<Mutex<Script>>,
    tell: mpsc::UnboundedSender<()>,
) -> io::Result<()> {
    let mut request = [0; 12];
    loop {
        // All that is asked here is as long (Modbus messaging on TCP/IP 1.0b, section 3.1).
        socket.read_exact(&mut request).await?;
        let (unit, function) = (request[6], request[7]);
        let answer = {
            let mut script = script.lock().unwrap();
            if script.swallow.front().is_some_and(|(kind, _)| *kind == function) {
                let (_, becomes) = script.swallow.pop_front().unwrap_or_default();
                becomes.iter().for_each(|input| mirror.lock().unwrap().report(input));
                (script.answered, script.swallowed) = (0, script.swallowed + 1);
                // Where nobody looks the test is over.
                let _ = tell.send(());
                continue;
            }
            if script.silent.contains(&unit) {
                continue;
            }
            if function == WRITE {
                script.writes.push((u16::from_be_bytes([request[8], request[9]]), request[10] == 0xFF));
            }
            script.answered += 1;
            mirror.lock().unwrap().answer(unit, &request[7..]).0
        };
        let head = [request[0], request[1], 0, 0, 0, answer.len() as u8 + 1, unit];
        socket.write_all(&[&head[..], &answer].concat()).await?;
        let _ = tell.send(());
    }
}

/// Two units: one section and the turnout at the first, the other section at the second.
fn siding() -> (Arc<Layout>, WiredLink) {
    let track = "[layout]\nname = \"t\"\nscale = \"H0\"\n[[section]]\nname = \"quay\"\n[[section]]\nname = \"throat\"\nways = [\n\
        { from = \"toe\", to = \"one\", length = 200, needs = { W1 = \"straight\" } },\n\
        { from = \"toe\", to = \"two\", length = 200, needs = { W1 = \"diverging\" } } ]\n[[turnout]]\nname = \"W1\"\n\
        [[joint]]\nends = [\"quay.b\", \"throat.toe\"]\n[[off-layout]]\nat = [\"quay.a\", \"throat.one\", \"throat.two\"]\n";
    let links = "[[link]]\nname = \"row\"\nby = \"modbus\"\ntcp = \"box\"\nevery = 0.01\nload = 1\npatience = 0.1\n\
        sections = { quay = { input = 3 }, throat = { unit = 2, input = 4 } }\n\
        turnouts = { W1 = { set-straight = { coil = 7 }, set-diverging = { coil = 8 }, pulse = 0.2 } }\n";
    described(track, links)
}

/// A link that is up, with nothing on the track.
struct Link {
    layout: Arc<Layout>,
    servers: Servers,
    news: mpsc::Receiver<News>,
    orderer: Orderer,
}

impl Link {
    async fn up() -> Self {
        let (layout, mut wired) = siding();
        let servers = Servers::stand(&mut wired).await;
        let By::Modbus(setup) = wired.by.clone() else { panic!("a line of servers") };
        let (start, news, orderer) = start(&layout, &wired);
        tokio::spawn(serve(setup, start));
        let mut link = Self { layout, servers, news, orderer };
        let What::Up(first) = link.next().await else { panic!("it comes up") };
        assert_eq!(first, [link.said("quay", false), link.said("throat", false)]);
        link
    }

    async fn next(&mut self) -> What {
        tokio::time::timeout(NEVER, self.news.recv()).await.expect("nothing more is told").unwrap().what
    }

    fn said(&self, section: &str, occupied: bool) -> Input {
        Input::SectionReported { section: self.layout.section_named(section).unwrap(), occupied }
    }

    fn throw(&self) -> Output {
        Output::Throw { turnout: self.layout.turnout_named("W1").unwrap(), lie: Lie::Diverging }
    }

    /// Waits until something holds of the servers, within some thousand requests.
    async fn until(&mut self, what: &str, holds: impl Fn(&Script) -> bool) {
        for _ in 0..5000 {
            if self.servers.change(|script| holds(script)) {
                return;
            }
            tokio::time::timeout(NEVER, self.servers.asked.recv()).await.expect(what).unwrap();
        }
        panic!("never: {what}");
    }
}

#[tokio::test]
async fn a_unit_that_is_dead_is_missed_though_another_on_its_line_answers() {
    let mut link = Link::up().await;
    link.servers.change(|script| script.silent.insert(2));
    assert_eq!(link.next().await, What::Down("unit 2 does not answer; input 4 of unit 2 was asked for".to_owned()));
    link.servers.change(|script| script.silent.clear());
    assert_eq!(link.next().await, What::Up(vec![link.said("quay", false), link.said("throat", false)]));
}

#[tokio::test]
async fn one_answer_that_is_lost_is_no_lost_line_where_nothing_moved_meanwhile() {
    let mut link = Link::up().await;
    link.servers.change(|script| script.swallow.push_back((READ, None)));
    link.until("it is asked in vain", |script| script.swallowed == 1).await;
    link.until("two whole rounds were answered", |script| script.answered >= 5).await;
    let becomes = Some(link.said("quay", true));
    link.servers.change(|script| script.swallow.extend([(READ, None), (READ, becomes)]));
    let What::Down(why) = link.next().await else { panic!("the second gap, in which something moved, is told first") };
    assert!(why.contains("something changed meanwhile"), "{why}");
}

#[tokio::test]
async fn a_train_that_passes_a_joint_while_a_line_is_silent_is_a_lost_line_and_everything_is_asked_anew() {
    let mut link = Link::up().await;
    let becomes = Some(link.said("throat", true));
    link.servers.change(|script| script.swallow.push_back((READ, becomes)));
    let What::Down(why) = link.next().await else { panic!("what was not heard when it happened is no plain report") };
    assert!(why.contains("something changed meanwhile"), "{why}");
    assert_eq!(link.next().await, What::Up(vec![link.said("quay", false), link.said("throat", true)]));
}

#[tokio::test]
async fn what_is_ordered_while_a_line_is_opened_again_is_done_then() {
    let mut link = Link::up().await;
    link.servers.change(|script| script.swallow.push_back((READ, None)));
    link.until("it is asked in vain", |script| script.swallowed == 1).await;
    link.orderer.order(link.throw()).await;
    link.until("the turnout is thrown, and its coil is off again", |script| {
        script.writes == [(7, false), (8, true), (8, false)]
    })
    .await;
    assert!(link.news.try_recv().is_err(), "and nobody need know");
}

#[tokio::test]
async fn an_order_of_which_nobody_knows_whether_it_was_done_is_a_lost_line_and_is_not_done_again() {
    let mut link = Link::up().await;
    link.servers.change(|script| script.swallow.push_back((WRITE, None)));
    link.orderer.order(link.throw()).await;
    assert_eq!(link.next().await, What::Down("unit 1 does not answer".to_owned()));
    assert!(matches!(link.next().await, What::Up(_)));
    link.until("the pulse is over", |script| !script.writes.is_empty()).await;
    assert_eq!(link.servers.change(|script| script.writes.clone()), [(8, false)], "the coil is off in any case");
}

#[tokio::test]
async fn a_coil_does_not_stay_under_power_because_its_line_was_lost() {
    let mut link = Link::up().await;
    link.orderer.order(link.throw()).await;
    link.until("the coil is under power", |script| script.writes.contains(&(8, true))).await;
    link.servers.change(|script| script.silent.extend([1, 2]));
    assert!(matches!(link.next().await, What::Down(_)));
    assert!(
        !link.servers.change(|script| script.writes.contains(&(8, false))),
        "it was lost before its pulse was over"
    );
    link.servers.change(|script| script.silent.clear());
    assert!(matches!(link.next().await, What::Up(_)));
    link.until("the coil is off", |script| script.writes.last() == Some(&(8, false))).await;
    let mut again = Link::up().await;
    again.orderer.order(again.throw()).await;
    again.until("the coil is under power", |script| script.writes.contains(&(8, true))).await;
    let Link { servers, orderer, mut news, .. } = again;
    drop(orderer);
    while news.recv().await.is_some() {}
    assert_eq!(servers.change(|script| script.writes.last().copied()), Some((8, false)), "nor because it was closed");
}
