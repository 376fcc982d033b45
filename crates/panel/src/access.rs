//! Who may do what: anybody on this machine everything; whoever comes from elsewhere what the code allowed that they paired with.
//!
//! A code is shown once, where the daemon runs. Whoever gives it is let in under a token that no script can read, and is known by it
//! from then on; the code itself never stands in an address that is sent. Codes and tokens last as long as the run.

use std::collections::{BTreeMap, VecDeque};
use std::net::IpAddr;
use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use crate::wish::Wish;

/// What somebody may do. Everybody who is let in may stop everything.
#[derive(Clone, Copy, Debug, PartialEq, Eq, PartialOrd, Ord)]
pub enum Role {
    /// Look on.
    Look,
    /// Drive trains, send, stop, hold and release them.
    Drive,
    /// Everything.
    Dispatch,
}

impl Role {
    /// All of them.
    pub const ALL: [Self; 3] = [Self::Look, Self::Drive, Self::Dispatch];

    /// What it is called.
    pub fn name(self) -> &'static str {
        match self {
            Self::Look => "look",
            Self::Drive => "drive",
            Self::Dispatch => "dispatch",
        }
    }

    /// Whether it is enough to ask for something.
    pub(crate) fn may_ask(self, wish: &Wish) -> bool {
        let asked = serde_json::to_value(wish).unwrap_or_default();
        let needed = match asked.get("ask").and_then(serde_json::Value::as_str) {
            Some("stop-all") => Self::Look,
            Some(ask) if TO_DRIVE.contains(&ask) => Self::Drive,
            _ => Self::Dispatch,
        };
        self >= needed
    }
}

/// What somebody who drives may ask for, beside stopping everything.
const TO_DRIVE: &[&str] = &[
    "go",
    "stop",
    "hold",
    "release",
    "resume-all",
    "take-over",
    "hand-back",
    "take-throttle",
    "set-throttle",
    "limit-step",
    "emergency-stop",
    "function",
    "switch",
    "input",
];

/// So many wrong codes in a minute, from whomever, and none is looked at for the rest of it.
const TRIES: usize = 8;
const TRIES_IN: Duration = Duration::from_secs(60);
/// So many requests a second from one address elsewhere, and so many at once.
const A_SECOND: f64 = 30.0;
const AT_ONCE: f64 = 120.0;
/// So many addresses and tokens are remembered.
const REMEMBERED: usize = 1000;

/// Why somebody is not let in.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(crate) enum NotIn {
    /// No code is that one.
    WrongCode,
    /// Too many were tried.
    TooManyTries,
}

/// Codes, and who was let in.
#[derive(Clone, Debug)]
pub struct Access {
    codes: [(Role, String); 3],
    state: Arc<Mutex<State>>,
}

#[derive(Debug, Default)]
struct State {
    tokens: BTreeMap<String, Role>,
    order: VecDeque<String>,
    wrong: VecDeque<Instant>,
    lately: BTreeMap<IpAddr, (f64, Option<Instant>)>,
}

impl Access {
    /// New codes, drawn by the system.
    ///
    /// # Errors
    /// When the system gives no random numbers.
    pub fn new() -> std::io::Result<Self> {
        let [look, drive, dispatch] = [code()?, code()?, code()?];
        let codes = [(Role::Look, look), (Role::Drive, drive), (Role::Dispatch, dispatch)];
        Ok(Self { codes, state: Arc::default() })
    }

    /// The code for each role.
    pub fn codes(&self) -> impl Iterator<Item = (Role, &str)> {
        self.codes.iter().map(|(role, code)| (*role, code.as_str()))
    }

    /// Lets somebody in who gives a code: gives the token to know them by, and what they may do.
    pub(crate) fn pair(&self, given: &str, now: Instant) -> Result<(String, Role), NotIn> {
        let mut state = self.state.lock().unwrap_or_else(PoisonError::into_inner);
        while state.wrong.front().is_some_and(|&at| now.duration_since(at) >= TRIES_IN) {
            state.wrong.pop_front();
        }
        if state.wrong.len() >= TRIES {
            return Err(NotIn::TooManyTries);
        }
        let given: String = given.chars().filter(char::is_ascii_digit).collect();
        let plain = |code: &str| code.replace('-', "");
        // Every code is looked at, so that how long it takes tells nothing.
        let mut found = None;
        for (role, code) in &self.codes {
            if same(&plain(code), &given) {
                found = Some(*role);
            }
        }
        let (Some(role), Ok(token)) = (found, token()) else {
            state.wrong.push_back(now);
            return Err(NotIn::WrongCode);
        };
        if state.order.len() >= REMEMBERED
            && let Some(oldest) = state.order.pop_front()
        {
            state.tokens.remove(&oldest);
        }
        state.order.push_back(token.clone());
        state.tokens.insert(token.clone(), role);
        Ok((token, role))
    }

    /// What the bearer of a token may do; nothing where nobody was given it.
    pub(crate) fn role_of(&self, token: &str) -> Option<Role> {
        let state = self.state.lock().unwrap_or_else(PoisonError::into_inner);
        state.tokens.get(token).copied()
    }

    /// Whether an address elsewhere may ask again already.
    pub(crate) fn is_in_time(&self, address: IpAddr, now: Instant) -> bool {
        let mut state = self.state.lock().unwrap_or_else(PoisonError::into_inner);
        if state.lately.len() >= REMEMBERED && !state.lately.contains_key(&address) {
            state.lately.clear();
        }
        let (left, before) = state.lately.entry(address).or_insert((AT_ONCE, None));
        let since = before.map_or(0.0, |before| now.duration_since(before).as_secs_f64());
        *left = (*left + since * A_SECOND).min(AT_ONCE);
        *before = Some(now);
        if *left < 1.0 {
            return false;
        }
        *left -= 1.0;
        true
    }
}

/// Whether two texts are the same, in a time that does not tell where they differ.
fn same(one: &str, other: &str) -> bool {
    one.len() == other.len() && one.bytes().zip(other.bytes()).fold(0, |sum, (a, b)| sum | (a ^ b)) == 0
}

fn random<const N: usize>() -> std::io::Result<[u8; N]> {
    let mut bytes = [0; N];
    getrandom::fill(&mut bytes).map_err(|error| std::io::Error::other(error.to_string()))?;
    Ok(bytes)
}

/// Eight digits.
fn code() -> std::io::Result<String> {
    let number = u64::from_le_bytes(random()?) % 100_000_000;
    Ok(format!("{:04}-{:04}", number / 10_000, number % 10_000))
}

fn token() -> std::io::Result<String> {
    Ok(random::<32>()?.iter().map(|byte| format!("{byte:02x}")).collect())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn whoever_gives_the_code_to_drive_may_send_trains_but_not_take_track_out_of_service() {
        let access = Access::new().unwrap();
        let code = access.codes().find(|(role, _)| *role == Role::Drive).unwrap().1.to_owned();
        let (token, role) = access.pair(&code, Instant::now()).unwrap();
        assert_eq!((role, access.role_of(&token)), (Role::Drive, Some(Role::Drive)));
        let train = || "Heron".to_owned();
        assert!(role.may_ask(&Wish::Go { train: train(), to: "quay-1".to_owned() }));
        assert!(role.may_ask(&Wish::StopAll {}) && Role::Look.may_ask(&Wish::StopAll {}));
        assert!(!role.may_ask(&Wish::OutOfService { section: "quay-1".to_owned(), reason: String::new() }));
        assert!(!Role::Look.may_ask(&Wish::Stop { train: train() }));
        assert_eq!(access.role_of("0000"), None);
    }

    #[test]
    fn after_some_wrong_codes_even_the_right_one_has_to_wait() {
        let access = Access::new().unwrap();
        let code = access.codes().next().unwrap().1.to_owned();
        let now = Instant::now();
        for _ in 0..TRIES {
            assert_eq!(access.pair("12", now), Err(NotIn::WrongCode));
        }
        assert_eq!(access.pair(&code, now), Err(NotIn::TooManyTries));
        assert!(access.pair(&code, now + TRIES_IN).is_ok());
    }

    #[test]
    fn an_address_that_asks_too_often_is_slowed_down_and_no_other_one() {
        let access = Access::new().unwrap();
        let (now, one, other) = (Instant::now(), IpAddr::from([192, 0, 2, 1]), IpAddr::from([192, 0, 2, 2]));
        let asked = (0..1000).filter(|_| access.is_in_time(one, now)).count();
        assert_eq!(asked, AT_ONCE as usize);
        assert!(access.is_in_time(other, now) && access.is_in_time(one, now + Duration::from_secs(1)));
    }

    #[test]
    fn codes_and_tokens_are_never_the_same_twice() {
        let (one, other) = (Access::new().unwrap(), Access::new().unwrap());
        let all: std::collections::BTreeSet<&str> = one.codes().chain(other.codes()).map(|(_, code)| code).collect();
        assert_eq!(all.len(), 6);
        assert_ne!(token().unwrap(), token().unwrap());
    }
}
