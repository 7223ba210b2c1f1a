//! Who may come in: names and origins, sessions, the pairing code, and how often.
//!
//! Decides only; no sockets, and time is an argument. See `routes` for the order in which a request meets it.

use std::collections::HashMap;
use std::net::IpAddr;
use std::time::{Duration, Instant};
use subtle::ConstantTimeEq;

/// Requests in the long run, per second, from one address.
pub const PER_SECOND: f64 = 10.0;
/// Requests at once from one address: a few pages being opened.
pub const BURST: f64 = 40.0;
/// Wrong codes in the long run, per minute, from all addresses together.
pub const CODES_PER_MINUTE: f64 = 5.0;
/// After this many wrong codes a new one is drawn.
pub const WRONG_CODES: u32 = 10;
/// A session lasts this long.
pub const SESSION: Duration = Duration::from_secs(12 * 3600);
/// Sessions at once; one more ends the oldest.
pub const MOST_SESSIONS: usize = 128;
/// Addresses whose requests are counted at once.
const MOST_ADDRESSES: usize = 1024;
/// Letters of the pairing code: none that look alike. 32, so that a byte's five bits pick one evenly.
const LETTERS: &[u8; 32] = b"ABCDEFGHJKLMNPQRSTUVWXYZ23456789";
/// Letters in the code: 40 bits.
const CODE_LENGTH: usize = 8;

/// A secret of 128 bits.
#[derive(Clone, PartialEq, Eq)]
pub struct Secret([u8; 16]);

impl std::fmt::Debug for Secret {
    fn fmt(&self, f: &mut std::fmt::Formatter<'_>) -> std::fmt::Result {
        f.write_str("Secret")
    }
}

impl Secret {
    fn draw() -> Result<Secret, getrandom::Error> {
        let mut bytes = [0; 16];
        getrandom::fill(&mut bytes)?;
        Ok(Secret(bytes))
    }

    /// In hexadecimal.
    pub fn text(&self) -> String {
        self.0.iter().map(|byte| format!("{byte:02x}")).collect()
    }

    /// Whether this text is it. Takes the same time whatever the text of the right length holds.
    pub fn is(&self, text: &str) -> bool {
        bool::from(self.text().as_bytes().ct_eq(text.as_bytes()))
    }
}

/// A bucket of tokens.
#[derive(Debug, Clone, Copy)]
struct Bucket {
    tokens: f64,
    at: Instant,
}

impl Bucket {
    fn take(&mut self, now: Instant, per_second: f64, most: f64) -> bool {
        let gone_s = now.saturating_duration_since(self.at).as_secs_f64();
        self.tokens = (self.tokens + gone_s * per_second).min(most);
        self.at = now;
        let may = self.tokens >= 1.0;
        if may {
            self.tokens -= 1.0;
        }
        may
    }
}

/// One browser that was let in.
#[derive(Debug, Clone)]
pub struct Session {
    id: Secret,
    token: Secret,
    since: Instant,
    paired: bool,
}

impl Session {
    /// What the cookie holds.
    pub fn id(&self) -> &Secret {
        &self.id
    }

    /// What every request that asks for something must carry in a header. It is never in a cookie or an address.
    pub fn token(&self) -> &Secret {
        &self.token
    }
}

/// The pairing code was not taken.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NotPaired {
    /// It is another one.
    Wrong,
    /// Too many were tried; it was not even looked at.
    TooMany,
}

/// What all doors share.
#[derive(Debug)]
pub struct Gate {
    sessions: Vec<Session>,
    buckets: HashMap<IpAddr, Bucket>,
    code: [u8; CODE_LENGTH],
    codes: Bucket,
    wrong: u32,
}

impl Gate {
    /// Nobody is in.
    ///
    /// # Errors
    /// The system gives no random numbers.
    pub fn new(now: Instant) -> Result<Gate, getrandom::Error> {
        Ok(Gate {
            sessions: Vec::new(),
            buckets: HashMap::new(),
            code: draw_code()?,
            codes: Bucket { tokens: CODES_PER_MINUTE, at: now },
            wrong: 0,
        })
    }

    /// Whether a request from this address may be looked at now.
    pub fn admit(&mut self, now: Instant, from: IpAddr) -> bool {
        if self.buckets.len() >= MOST_ADDRESSES {
            let full_after = Duration::from_secs_f64(BURST / PER_SECOND);
            self.buckets.retain(|_, bucket| now.saturating_duration_since(bucket.at) < full_after);
        }
        if self.buckets.len() >= MOST_ADDRESSES && !self.buckets.contains_key(&from) {
            return false;
        }
        self.buckets.entry(from).or_insert(Bucket { tokens: BURST, at: now }).take(now, PER_SECOND, BURST)
    }

    /// The session whose cookie this is. One that was made without a code is good only where none is needed.
    pub fn session(&self, now: Instant, cookie: &str, paired: bool) -> Option<&Session> {
        self.sessions
            .iter()
            .filter(|session| session.paired || !paired)
            .filter(|session| now.saturating_duration_since(session.since) < SESSION)
            .find(|session| session.id.is(cookie))
    }

    /// Lets a browser in.
    ///
    /// # Errors
    /// The system gives no random numbers.
    pub fn open(&mut self, now: Instant, paired: bool) -> Result<Session, getrandom::Error> {
        self.sessions.retain(|session| now.saturating_duration_since(session.since) < SESSION);
        if self.sessions.len() >= MOST_SESSIONS {
            // Those without a code give way first: they are drawn anew by opening the page.
            let at = self.sessions.iter().position(|session| !session.paired || paired).unwrap_or(0);
            self.sessions.remove(at);
        }
        let session = Session { id: Secret::draw()?, token: Secret::draw()?, since: now, paired };
        self.sessions.push(session.clone());
        Ok(session)
    }

    /// The pairing code, in two halves.
    pub fn code(&self) -> String {
        let text: String = self.code.iter().map(|&byte| char::from(byte)).collect();
        let (one, two) = text.split_at(CODE_LENGTH / 2);
        format!("{one}-{two}")
    }

    /// Whether this is the pairing code. Spaces, hyphens and small letters do not matter. A new one is drawn after [`WRONG_CODES`].
    ///
    /// # Errors
    /// It is not, or too many were tried.
    pub fn pair(&mut self, now: Instant, text: &str) -> Result<(), NotPaired> {
        if !self.codes.take(now, CODES_PER_MINUTE / 60.0, CODES_PER_MINUTE) {
            return Err(NotPaired::TooMany);
        }
        let given: Vec<u8> = text.bytes().filter(u8::is_ascii_alphanumeric).map(|byte| byte.to_ascii_uppercase()).collect();
        if bool::from(self.code.ct_eq(given.as_slice())) {
            self.codes.tokens = CODES_PER_MINUTE;
            return Ok(());
        }
        self.wrong += 1;
        if self.wrong >= WRONG_CODES
            && let Ok(code) = draw_code()
        {
            self.wrong = 0;
            self.code = code;
        }
        Err(NotPaired::Wrong)
    }
}

fn draw_code() -> Result<[u8; CODE_LENGTH], getrandom::Error> {
    let mut bytes = [0; CODE_LENGTH];
    getrandom::fill(&mut bytes)?;
    Ok(bytes.map(|byte| LETTERS[usize::from(byte & 31)]))
}

/// One listening socket's names: what a browser that came on purpose would say.
#[derive(Debug, Clone, Default)]
pub struct Door {
    hosts: Vec<String>,
    /// A pairing code is needed here.
    pub pairing: bool,
}

impl Door {
    /// A door on a port. `names` are addresses (v6 in brackets) and host names without the port.
    pub fn new(names: &[String], port: u16, pairing: bool) -> Door {
        let mut hosts: Vec<String> = names.iter().map(|name| format!("{}:{port}", name.to_ascii_lowercase())).collect();
        if port == 80 {
            hosts.extend(names.iter().map(|name| name.to_ascii_lowercase()));
        }
        Door { hosts, pairing }
    }

    /// Whether a request may name this host: the whole of it, and nothing else.
    pub fn serves(&self, host: &str) -> bool {
        self.hosts.iter().any(|known| known.eq_ignore_ascii_case(host))
    }

    /// Whether a page of this origin is ours.
    pub fn is_origin(&self, origin: &str) -> bool {
        origin.strip_prefix("http://").is_some_and(|host| self.serves(host))
    }

    /// Names it answers to.
    pub fn hosts(&self) -> &[String] {
        &self.hosts
    }
}
