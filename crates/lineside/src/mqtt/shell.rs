//! The connection to a broker.
//!
//! Every connection begins with nothing from the one before: orders that waited for their answer when a broker went away are not
//! sent to the next one, for they may not be right any more.

use std::fmt;
use std::ops::ControlFlow;
use std::path::Path;
use std::sync::Arc;
use std::time::{Duration, Instant};

use rumqttc::{TlsConfiguration, Transport, v5};
use rustls::pki_types::CertificateDer;
use rustls::pki_types::pem::PemObject as _;
use rustls::{ClientConfig, RootCertStore};
use tokio::sync::mpsc;
use track::wiring::{Mqtt, Secret, Tls};

use super::codec::{Codec, Message, Publish};
use crate::backoff::Backoff;
use crate::lineside::{Role, Start};
use crate::news::Told;
use crate::reporter::{NobodyListens, Reporter};
use crate::words::in_words;

/// After so long without a word either side makes sure of the other (MQTT 3.1.1, section 3.1.2.10): a broker that does not answer
/// within as long again is gone.
const KEEP_ALIVE: Duration = Duration::from_secs(3);
/// With MQTT 5 the client takes no less than this.
const KEEP_ALIVE_V5: Duration = Duration::from_secs(5);
/// How long a connection may take to come about.
const PATIENCE: Duration = Duration::from_secs(5);
/// So many messages may be on their way in and out of the client.
const WAITING: usize = 2048;
/// A larger message is none of ours.
const LARGEST: usize = 16 * 1024 * 1024;
/// So much is taken in before it is told on.
const AT_ONCE: usize = 512;
/// How often time passes.
const BEAT: Duration = Duration::from_millis(50);

/// Why a broker could not be spoken to.
#[derive(Debug)]
pub struct Failure(String);

impl fmt::Display for Failure {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(&self.0)
    }
}

impl std::error::Error for Failure {}

/// What comes from a broker.
#[derive(Debug)]
pub enum Event {
    /// It is there.
    Connected,
    /// A message.
    Message {
        /// Its topic.
        topic: String,
        /// What it holds.
        payload: Vec<u8>,
        /// The broker kept it.
        is_retained: bool,
        /// It was sent before.
        is_duplicate: bool,
    },
    /// It is gone, and why.
    Lost(String),
}

/// One connection to a broker.
#[derive(Debug)]
pub struct Client {
    sender: Sender,
    events: mpsc::Receiver<Event>,
}

#[derive(Debug)]
enum Sender {
    V4(rumqttc::AsyncClient),
    V5(v5::AsyncClient),
}

impl Client {
    /// Begins to connect. `suffix` is added to what we are called; `last_words` are what the broker says when we are gone.
    /// Must be called within a runtime.
    ///
    /// # Errors
    /// A file that is needed cannot be read.
    pub fn open(setup: &Mqtt, folder: &Path, suffix: &str, last_words: Option<Publish>) -> Result<Self, Failure> {
        let password = setup.user.as_ref().map(|(user, secret)| Ok::<_, Failure>((user, reveal(secret, folder)?)));
        let password = password.transpose()?;
        let transport = setup.tls.as_ref().map(|tls| encrypted(tls, folder)).transpose()?;
        let name = format!("{}{suffix}", setup.client);
        let (events, coming) = mpsc::channel(WAITING);
        let sender = if setup.is_version_5 {
            let mut options = v5::MqttOptions::new(name, setup.host.clone(), setup.port);
            options.set_keep_alive(KEEP_ALIVE_V5).set_clean_start(true);
            options.set_max_packet_size(Some(LARGEST as u32));
            options.set_connection_timeout(PATIENCE.as_secs());
            if let Some((user, password)) = password {
                options.set_credentials(user.clone(), password);
            }
            if let Some(transport) = transport {
                options.set_transport(transport);
            }
            if let Some(Publish { topic, payload, is_retained, .. }) = last_words {
                let quality = v5::mqttbytes::QoS::AtLeastOnce;
                options.set_last_will(v5::mqttbytes::v5::LastWill::new(topic, payload, quality, is_retained, None));
            }
            let (client, eventloop) = v5::AsyncClient::new(options, WAITING);
            tokio::spawn(pass_on_v5(eventloop, events));
            Sender::V5(client)
        } else {
            let mut options = rumqttc::MqttOptions::new(name, setup.host.clone(), setup.port);
            options.set_keep_alive(KEEP_ALIVE).set_clean_session(true).set_max_packet_size(LARGEST, LARGEST);
            if let Some((user, password)) = password {
                options.set_credentials(user.clone(), password);
            }
            if let Some(transport) = transport {
                options.set_transport(transport);
            }
            if let Some(Publish { topic, payload, is_retained, .. }) = last_words {
                let quality = rumqttc::QoS::AtLeastOnce;
                options.set_last_will(rumqttc::LastWill::new(topic, payload, quality, is_retained));
            }
            let (client, eventloop) = rumqttc::AsyncClient::new(options, WAITING);
            tokio::spawn(pass_on_v4(eventloop, events));
            Sender::V4(client)
        };
        Ok(Self { sender, events: coming })
    }

    /// What comes next; nothing once the connection has ended.
    pub async fn next(&mut self) -> Option<Event> {
        self.events.recv().await
    }

    /// What has come already.
    pub fn try_next(&mut self) -> Option<Event> {
        self.events.try_recv().ok()
    }

    /// Asks for what comes on topics.
    ///
    /// # Errors
    /// The connection takes nothing.
    pub async fn subscribe(&self, topics: Vec<(String, u8)>) -> Result<(), Failure> {
        for (topic, level) in topics {
            let done = match &self.sender {
                Sender::V4(client) => client.subscribe(topic, quality_v4(level)).await.is_ok(),
                Sender::V5(client) => client.subscribe(topic, quality_v5(level)).await.is_ok(),
            };
            done.then_some(()).ok_or_else(|| Failure("the connection takes nothing".to_owned()))?;
        }
        Ok(())
    }

    /// Sends a message, without waiting.
    ///
    /// # Errors
    /// The connection takes nothing.
    pub fn publish(&self, message: Publish) -> Result<(), Failure> {
        let Publish { topic, payload, quality, is_retained } = message;
        let done = match &self.sender {
            Sender::V4(client) => client.try_publish(topic, quality_v4(quality), is_retained, payload).is_ok(),
            Sender::V5(client) => client.try_publish(topic, quality_v5(quality), is_retained, payload).is_ok(),
        };
        done.then_some(()).ok_or_else(|| Failure("the broker takes nothing any more".to_owned()))
    }

    /// Ends the connection properly, so that the broker does not say our last words.
    pub async fn disconnect(&mut self) {
        let asked = match &self.sender {
            Sender::V4(client) => client.disconnect().await.is_ok(),
            Sender::V5(client) => client.disconnect().await.is_ok(),
        };
        if asked {
            // Until the connection has ended: what was sent before must have gone.
            let ended =
                async { while self.events.recv().await.is_some_and(|event| !matches!(event, Event::Lost(_))) {} };
            let _ = tokio::time::timeout(Duration::from_secs(1), ended).await;
        }
    }
}

fn quality_v4(level: u8) -> rumqttc::QoS {
    [rumqttc::QoS::AtMostOnce, rumqttc::QoS::AtLeastOnce, rumqttc::QoS::ExactlyOnce][usize::from(level.min(2))]
}

fn quality_v5(level: u8) -> v5::mqttbytes::QoS {
    use v5::mqttbytes::QoS;
    [QoS::AtMostOnce, QoS::AtLeastOnce, QoS::ExactlyOnce][usize::from(level.min(2))]
}

async fn pass_on_v4(mut eventloop: rumqttc::EventLoop, events: mpsc::Sender<Event>) {
    use rumqttc::{Event as Came, Packet};
    loop {
        let polled = tokio::select! {
            polled = eventloop.poll() => polled,
            () = events.closed() => return,
        };
        let event = match polled {
            Ok(Came::Incoming(Packet::ConnAck(_))) => Event::Connected,
            Ok(Came::Incoming(Packet::Publish(publish))) => Event::Message {
                topic: publish.topic,
                payload: publish.payload.to_vec(),
                is_retained: publish.retain,
                is_duplicate: publish.dup,
            },
            Ok(_) => continue,
            Err(error) => Event::Lost(loss_in_words(&error)),
        };
        if hand_on(&events, event).await.is_break() {
            return;
        }
    }
}

/// Why a connection was lost, or never came about. What a maker can mend is said in full.
fn loss_in_words(error: &dyn fmt::Display) -> String {
    const KNOWN: [(&str, &str); 7] = [
        ("notauthorized", "it does not let us in; is the `user` right, and the password?"),
        ("badusernamepassword", "it does not let us in; is the `user` right, and the password?"),
        ("unknownissuer", "nobody who is trusted vouches for its certificate; is `authority-file` the right one?"),
        ("badsignature", "nobody who is trusted vouches for its certificate; is `authority-file` the right one?"),
        ("caused as end entity", "its certificate may not be used for a broker"),
        ("not valid for name", "its certificate is for another name than the one in `broker`"),
        ("expired", "its certificate is not valid any more"),
    ];
    let text = error.to_string();
    let said = text.to_lowercase();
    let known = KNOWN.iter().find(|(sign, _)| said.contains(sign));
    known.map_or_else(|| in_words(&text), |(_, words)| (*words).to_owned())
}

/// Nothing more comes after a loss, nor where nobody listens.
async fn hand_on(events: &mpsc::Sender<Event>, event: Event) -> ControlFlow<()> {
    let is_over = matches!(event, Event::Lost(_));
    if events.send(event).await.is_err() || is_over { ControlFlow::Break(()) } else { ControlFlow::Continue(()) }
}

async fn pass_on_v5(mut eventloop: v5::EventLoop, events: mpsc::Sender<Event>) {
    use v5::mqttbytes::v5::Packet;
    loop {
        let polled = tokio::select! {
            polled = eventloop.poll() => polled,
            () = events.closed() => return,
        };
        let event = match polled {
            Ok(v5::Event::Incoming(Packet::ConnAck(_))) => Event::Connected,
            Ok(v5::Event::Incoming(Packet::Publish(publish))) => Event::Message {
                topic: String::from_utf8_lossy(&publish.topic).into_owned(),
                payload: publish.payload.to_vec(),
                is_retained: publish.retain,
                is_duplicate: publish.dup,
            },
            Ok(_) => continue,
            Err(error) => Event::Lost(loss_in_words(&error)),
        };
        if hand_on(&events, event).await.is_break() {
            return;
        }
    }
}

fn reveal(secret: &Secret, folder: &Path) -> Result<String, Failure> {
    match secret {
        Secret::Written(password) => Ok(password.clone()),
        Secret::InFile(file) => std::fs::read_to_string(folder.join(file))
            .map(|text| text.trim_end_matches(['\n', '\r']).to_owned())
            .map_err(|error| Failure(format!("`{file}`: {}", in_words(&error)))),
    }
}

fn encrypted(tls: &Tls, folder: &Path) -> Result<Transport, Failure> {
    let mut roots = RootCertStore::empty();
    match &tls.authority_file {
        Some(file) => {
            let unusable = |why: String| Failure(format!("`{file}`: {}", in_words(&why)));
            let certificates =
                CertificateDer::pem_file_iter(folder.join(file)).map_err(|error| unusable(error.to_string()))?;
            for certificate in certificates {
                let certificate = certificate.map_err(|error| unusable(error.to_string()))?;
                roots.add(certificate).map_err(|error| unusable(error.to_string()))?;
            }
        }
        None => {
            let (_, _) = roots.add_parsable_certificates(rustls_native_certs::load_native_certs().certs);
        }
    }
    let config = ClientConfig::builder_with_provider(Arc::new(rustls::crypto::ring::default_provider()))
        .with_safe_default_protocol_versions()
        .map_err(|error| Failure(error.to_string().to_lowercase()))?
        .with_root_certificates(roots)
        .with_no_client_auth();
    Ok(Transport::Tls(TlsConfiguration::Rustls(Arc::new(config))))
}

/// Keeps the link up until it is closed or nobody listens any more.
pub(crate) async fn serve(setup: Mqtt, start: Start) {
    let Start { layout, wired, role, folder, elsewhere, mut reporter, mut orders } = start;
    let mut codec = Codec::new(layout, &wired, &setup);
    if role == Role::Listens {
        codec = codec.listening(elsewhere);
    }
    let suffix = match role {
        Role::Runs => "",
        Role::Listens => "-listens",
        Role::Tries => "-tries",
    };
    let began = Instant::now();
    let mut backoff = Backoff::new();
    loop {
        let tried = Instant::now();
        // Only who runs the layout says whether anybody does.
        let last_words = (role == Role::Runs).then(|| codec.farewell());
        let why = match Client::open(&setup, &folder, suffix, last_words) {
            Err(failure) => failure.to_string(),
            Ok(client) => {
                let silent_after = wired.silent_after;
                let mut session = Session { client, codec: &mut codec, role, began, silent_after, was_here: false };
                match session.run(&mut reporter, &mut orders).await {
                    Err(NobodyListens) | Ok(None) => return session.leave(orders.is_replaced()).await,
                    Ok(Some(why)) => why,
                }
            }
        };
        let why = format!("the broker at {}:{}: {why}", setup.host, setup.port);
        if reporter.lost(&why).await.is_err() || orders.pass_over(backoff.after(tried.elapsed())).await.is_err() {
            return;
        }
    }
}

struct Session<'c> {
    client: Client,
    codec: &'c mut Codec,
    role: Role,
    began: Instant,
    silent_after: Option<Duration>,
    /// The node at the other end was there since the broker is.
    was_here: bool,
}

impl Session<'_> {
    /// Until the link is closed: then nothing; or until it is lost: then why.
    async fn run(
        &mut self,
        reporter: &mut Reporter,
        orders: &mut crate::lineside::Orders,
    ) -> Result<Option<String>, NobodyListens> {
        let mut beats = tokio::time::interval(BEAT);
        let mut is_there = false;
        loop {
            tokio::select! {
                event = self.client.next() => {
                    let Some(event) = event else { return Ok(Some("it ended".to_owned())) };
                    let mut next = Some(event);
                    for _ in 0..AT_ONCE {
                        let Some(event) = next else { break };
                        match event {
                            Event::Lost(why) => return Ok(Some(why)),
                            Event::Connected => {
                                is_there = true;
                                if let Err(failure) = self.greet(reporter).await {
                                    return Ok(Some(failure.to_string()));
                                }
                            }
                            Event::Message { topic, payload, is_retained, is_duplicate } => {
                                reporter.alive();
                                let message = Message { topic: &topic, payload: &payload, is_retained, is_duplicate };
                                let told = self.codec.hear(self.began.elapsed(), &message);
                                let comes = told.contains(&Told::Here) && !reporter.is_connected();
                                reporter.take(told).await?;
                                if comes && let Err(failure) = self.welcome().await {
                                    return Ok(Some(failure.to_string()));
                                }
                            }
                        }
                        next = self.client.try_next();
                    }
                }
                ordered = orders.next() => {
                    let Some(outputs) = ordered else { return Ok(None) };
                    if let Some(rewire) = orders.take_rewire() {
                        self.codec.rewire(Arc::clone(&rewire.layout), &rewire.wired);
                        reporter.rewired(&rewire).await?;
                    }
                    // Before the broker is there nothing can be sent, and afterwards it would be stale.
                    if is_there && self.role != Role::Listens {
                        for publish in outputs.iter().flat_map(|output| self.codec.order(output)) {
                            if let Err(failure) = self.client.publish(publish) {
                                return Ok(Some(failure.to_string()));
                            }
                        }
                    }
                }
                _ = beats.tick() => {}
            }
            reporter.flush().await?;
            if is_there && self.silent_after.is_some_and(|longest| reporter.silent_for() > longest) {
                return Ok(Some(format!("nothing came for {} s", reporter.silent_for().as_secs())));
            }
        }
    }

    async fn greet(&mut self, reporter: &mut Reporter) -> Result<(), Failure> {
        reporter.alive();
        self.client.subscribe(self.codec.subscriptions()).await?;
        if self.codec.is_up_with_broker() {
            reporter.connected();
        }
        if self.role == Role::Runs {
            self.codec.greeting().into_iter().try_for_each(|publish| self.client.publish(publish))?;
        }
        Ok(())
    }

    /// The node at the other end came, or came back: it is asked how everything is. What the broker kept was dropped before the
    /// node was there, and is asked for, too; but what it kept of a node that was gone meanwhile is old news.
    async fn welcome(&mut self) -> Result<(), Failure> {
        if !std::mem::replace(&mut self.was_here, true) {
            self.client.subscribe(self.codec.subscriptions()).await?;
        }
        if self.role == Role::Runs {
            self.codec.greeting().into_iter().try_for_each(|publish| self.client.publish(publish))?;
        }
        Ok(())
    }

    async fn leave(&mut self, is_replaced: bool) {
        if self.role == Role::Runs && !is_replaced {
            // One that takes nothing any more says our last words by itself.
            let _ = self.client.publish(self.codec.farewell());
        }
        self.client.disconnect().await;
    }
}
