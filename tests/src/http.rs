//! A small client of the live page, which says exactly what it is told to say.

use std::io::{Read, Write};
use std::net::{SocketAddr, TcpStream};
use std::time::Duration;

/// A client of one address.
#[derive(Debug, Clone, Copy)]
pub struct Client(pub SocketAddr);

impl Client {
    /// What a browser would call it.
    pub fn host(&self) -> String {
        self.0.to_string()
    }

    /// Sends a request as written; gives status, head and body. Waits when it is told to.
    pub fn raw(&self, request: &str) -> (u16, String, String) {
        for _ in 0..40 {
            let mut stream = TcpStream::connect(self.0).expect("it listens");
            stream.set_read_timeout(Some(Duration::from_secs(20))).expect("a timeout");
            // A server that has seen enough may close before all is sent.
            let _ = stream.write_all(request.as_bytes());
            let mut answer = Vec::new();
            let _ = stream.read_to_end(&mut answer);
            let answer = String::from_utf8_lossy(&answer).into_owned();
            let status = answer.get(9..12).and_then(|text| text.parse().ok()).unwrap_or(0);
            if status != 429 {
                let (head, body) = answer.split_once("\r\n\r\n").unwrap_or((&answer, ""));
                return (status, head.to_owned(), body.to_owned());
            }
            std::thread::sleep(Duration::from_millis(300));
        }
        panic!("told to wait for ever");
    }

    /// Asks for a page.
    pub fn get(&self, path: &str, headers: &str) -> (u16, String, String) {
        self.raw(&format!("GET {path} HTTP/1.1\r\nHost: {}\r\nConnection: close\r\n{headers}\r\n", self.host()))
    }

    /// Asks for something to be done.
    pub fn post(&self, path: &str, headers: &str, body: &str) -> (u16, String, String) {
        let length = body.len();
        let host = self.host();
        self.raw(&format!(
            "POST {path} HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\nContent-Length: {length}\r\n{headers}\r\n{body}"
        ))
    }

    /// Cookie and token of a browser that has opened the page.
    pub fn enter(&self) -> (String, String) {
        let (status, head, _) = self.get("/", "");
        assert_eq!(status, 200);
        let line = head.lines().find(|line| line.to_ascii_lowercase().starts_with("set-cookie:")).expect("a cookie");
        assert!(line.contains("HttpOnly") && line.contains("SameSite=Strict"), "{line}");
        let cookie = line.split_once(": ").expect("a value").1.split(';').next().expect("a pair").to_owned();
        let (status, _, body) = self.get("/api/session", &format!("Cookie: {cookie}\r\n"));
        assert_eq!(status, 200, "{body}");
        let token = serde_json::from_str::<serde_json::Value>(&body).expect("JSON")["token"].as_str().expect("text").to_owned();
        (cookie, token)
    }

    /// The headers of a request that is in order.
    pub fn good(&self) -> String {
        let (cookie, token) = self.enter();
        format!(
            "Cookie: {cookie}\r\nX-Copperhold-Token: {token}\r\nOrigin: http://{}\r\nContent-Type: application/json\r\n",
            self.host()
        )
    }
}
