//! Who may ask: whoever opened the address that was printed, from a page of this very server.

use std::sync::Mutex;

use axum::http::{HeaderMap, Method, header};

/// The key in the address opens once; the cookie that it is changed for, as long as the server runs.
pub(super) struct Door {
    key: Mutex<Option<String>>,
    cookie: String,
    port: u16,
}

/// Why a question is not answered.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Shut {
    /// It names another host, or comes from the page of another.
    Foreign,
    /// It has no cookie of this server.
    NoKey,
}

const NAME: &str = "spanwright";

impl Door {
    pub(super) fn new(port: u16) -> std::io::Result<Self> {
        Ok(Self { key: Mutex::new(Some(secret()?)), cookie: secret()?, port })
    }

    /// The address that opens the page, once.
    pub(super) fn address(&self) -> String {
        let key = self.key.lock().expect("no holder of it panics");
        format!("http://127.0.0.1:{}/?key={}", self.port, key.as_deref().unwrap_or_default())
    }

    /// The cookie to be set for whoever brings the key; the key opens no second time.
    pub(super) fn enter(&self, brought: &str) -> Option<String> {
        let mut key = self.key.lock().expect("no holder of it panics");
        if !key.as_deref().is_some_and(|key| same(key, brought)) {
            return None;
        }
        *key = None;
        Some(format!("{}={}; HttpOnly; SameSite=Strict; Path=/", self.name(), self.cookie))
    }

    /// Cookies know no ports: servers side by side go by names of their own.
    fn name(&self) -> String {
        format!("{NAME}-{}", self.port)
    }

    /// Whether a question names this server, and comes from its own page if it changes anything.
    pub(super) fn is_own(&self, method: &Method, headers: &HeaderMap) -> bool {
        let text = |name| headers.get(name).and_then(|value| value.to_str().ok());
        let hosts = ["127.0.0.1", "localhost"].map(|name| format!("{name}:{}", self.port));
        let own_host = text(header::HOST).is_some_and(|host| hosts.iter().any(|own| own == host));
        let own_origin = match text(header::ORIGIN) {
            Some(origin) => hosts.iter().any(|own| origin.strip_prefix("http://") == Some(own)),
            None => *method == Method::GET && !headers.contains_key(header::ORIGIN),
        };
        own_host && own_origin
    }

    /// Whether a question may be answered.
    pub(super) fn open(&self, method: &Method, headers: &HeaderMap) -> Result<(), Shut> {
        if !self.is_own(method, headers) {
            return Err(Shut::Foreign);
        }
        let name = self.name();
        let cookies = headers.get_all(header::COOKIE).iter().filter_map(|value| value.to_str().ok());
        let mut pairs = cookies.flat_map(|all| all.split(';')).filter_map(|pair| pair.trim().split_once('='));
        if pairs.any(|(key, value)| key == name && same(value, &self.cookie)) { Ok(()) } else { Err(Shut::NoKey) }
    }
}

/// 32 letters that nobody guesses.
fn secret() -> std::io::Result<String> {
    let mut bytes = [0_u8; 16];
    getrandom::fill(&mut bytes).map_err(|error| std::io::Error::other(error.to_string()))?;
    Ok(bytes.iter().map(|byte| format!("{byte:02x}")).collect())
}

/// In a time that does not tell how much of it is right.
fn same(a: &str, b: &str) -> bool {
    a.len() == b.len() && a.bytes().zip(b.bytes()).fold(0, |differ, (a, b)| differ | (a ^ b)) == 0
}

#[cfg(test)]
mod tests {
    use super::*;

    fn headers(all: &[(header::HeaderName, &str)]) -> HeaderMap {
        all.iter().map(|(name, value)| (name.clone(), value.parse().expect("a value"))).collect()
    }

    #[test]
    fn the_key_opens_once_and_only_this_server_is_served() {
        let door = Door::new(4711).expect("a door");
        let address = door.address();
        let key = address.rsplit('=').next().expect("a key").to_owned();
        assert_eq!((key.len(), door.enter("")), (32, None));
        let cookie = door.enter(&key).expect("the key");
        assert!(cookie.contains("HttpOnly") && cookie.contains("SameSite=Strict") && !cookie.contains(&key));
        assert_eq!(door.enter(&key), None, "once");
        let cookie = cookie.split(';').next().expect("a pair");
        let host = (header::HOST, "127.0.0.1:4711");
        let own = [host.clone(), (header::COOKIE, cookie)];
        assert_eq!(door.open(&Method::GET, &headers(&own)), Ok(()));
        assert_eq!(door.open(&Method::GET, &headers(&own[..1])), Err(Shut::NoKey));
        assert_eq!(door.open(&Method::POST, &headers(&own)), Err(Shut::Foreign), "no origin");
        for (origin, open) in [
            ("http://127.0.0.1:4711", Ok(())),
            ("http://localhost:4711", Ok(())),
            ("http://127.0.0.1:4712", Err(Shut::Foreign)),
            ("https://127.0.0.1:4711", Err(Shut::Foreign)),
            ("http://coast.example", Err(Shut::Foreign)),
            ("null", Err(Shut::Foreign)),
        ] {
            let mut all = own.to_vec();
            all.push((header::ORIGIN, origin));
            for method in [Method::GET, Method::POST] {
                assert_eq!(door.open(&method, &headers(&all)), open, "{origin}");
            }
        }
        for other in ["127.0.0.1", "127.0.0.1:80", "coast.example:4711", "127.0.0.1:4711.coast.example"] {
            assert_eq!(door.open(&Method::GET, &headers(&[(header::HOST, other), own[1].clone()])), Err(Shut::Foreign));
        }
    }
}
