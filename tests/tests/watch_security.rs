//! The live page under attack: S1 to S10 of the security plan. What concerns the serial link alone is in `link.rs`: S5
//! (`no_message_heats_or_pumps_while_nobody_has_armed` and the two after it), S6 (`noise_is_no_message_and_the_next_frame_is_heard`,
//! `a_flood_is_thinned_out_and_stop_still_passes`), S8
//! (`one_two_and_three_flipped_bits_are_caught`); S6 on the image itself is `image/flood.rs`; S9's form is in `browser.rs`, S10 in `watch_link.rs` and `watch_board.rs`.

use copperhold::files;
use copperhold::watch::Hub;
use copperhold::watch::gate::{BURST, Door, Gate, NotPaired};
use copperhold::watch::rehearsal::{Plan, Watched};
use copperhold::watch::routes::MOST_BODY;
use copperhold::watch::server::{MOST_CONNECTIONS, Options, Server};
use copperhold_tests::http::Client;
use std::io::{Read, Write};
use std::net::{IpAddr, Ipv4Addr, SocketAddr, TcpStream};
use std::sync::Arc;
use std::sync::atomic::AtomicBool;
use std::time::{Duration, Instant};

/// A watched rehearsal behind a server, both on threads of their own until the test program ends.
struct Site {
    client: Client,
    all: Vec<SocketAddr>,
    hub: Arc<Hub>,
}

fn site(read_only: bool) -> Site {
    let (rig, sheet) = (files::demo_rig().expect("shipped"), files::demo_sheet().expect("shipped"));
    let plan = Plan { rig: &rig, sheet: &sheet, seed: 1, speed: 60.0, drill: None };
    let (watched, known) = Watched::new(&plan, 7).expect("the demo runs");
    let (hub, orders) = Hub::new(watched.first(), known.about);
    let source = hub.clone();
    std::thread::spawn(move || watched.run(&source, orders, &AtomicBool::new(false)));
    let (tell, told) = std::sync::mpsc::channel();
    let served = hub.clone();
    std::thread::spawn(move || {
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().expect("a runtime");
        runtime.block_on(async {
            let options = Options { port: 0, read_only, ..Options::default() };
            let server = Server::bind(served, &options).await.expect("it binds");
            tell.send(server.addresses().to_vec()).expect("the test waits");
            server.run().await;
        });
    });
    let all: Vec<SocketAddr> = told.recv().expect("the server binds");
    let site = Site { client: Client(all[0]), all, hub };
    while !site.hub.now().now.armed {
        std::thread::sleep(Duration::from_millis(50));
    }
    site
}

impl std::ops::Deref for Site {
    type Target = Client;

    fn deref(&self) -> &Client {
        &self.client
    }
}

const STOP: &str = "{\"act\":\"stop\"}";

/// The sheet still runs: none of the stops that were tried has passed.
fn still_runs(site: &Site) -> bool {
    std::thread::sleep(Duration::from_millis(600));
    site.hub.now().now.step.is_some()
}

#[test]
fn s1_a_foreign_host_is_refused_whatever_it_asks() {
    let site = site(false);
    let good = site.good();
    let port = site.client.0.port();
    let foreign = [
        "evil.example".to_owned(),
        format!("evil.example:{port}"),
        format!("127.0.0.1.evil.example:{port}"),
        format!("127.0.0.1:{}", port ^ 1),
        "127.0.0.1".to_owned(),
        format!("localhost.:{port}"),
        format!("user@127.0.0.1:{port}"),
        String::new(),
    ];
    for host in foreign {
        for path in ["/", "/watch.js", "/api/session", "/api/events", "/api/history", "/metrics"] {
            let (status, head, _) = site.raw(&format!("GET {path} HTTP/1.1\r\nHost: {host}\r\nConnection: close\r\n{good}\r\n"));
            assert!(matches!(status, 400 | 403), "{host:?} {path}: {status}");
            assert!(!head.to_ascii_lowercase().contains("set-cookie"), "{host:?}");
        }
        let length = STOP.len();
        let request =
            format!("POST /api/act HTTP/1.1\r\nHost: {host}\r\nContent-Length: {length}\r\nConnection: close\r\n{good}\r\n{STOP}");
        assert!(matches!(site.raw(&request).0, 400 | 403), "{host:?}");
    }
    let two = format!("GET / HTTP/1.1\r\nHost: {}\r\nHost: evil.example\r\nConnection: close\r\n\r\n", site.host());
    assert!(matches!(site.raw(&two).0, 400 | 403));
    let absolute = format!("GET http://evil.example/ HTTP/1.1\r\nHost: {}\r\nConnection: close\r\n\r\n", site.host());
    assert!(matches!(site.raw(&absolute).0, 400 | 403));
    assert!(still_runs(&site));
}

#[test]
fn s2_another_page_cannot_ask_for_anything_not_even_to_stop() {
    let site = site(false);
    let (cookie, token) = site.enter();
    let host = site.host();
    let with = |origin: &str, kind: &str, token: &str| {
        let origin = if origin.is_empty() { String::new() } else { format!("Origin: {origin}\r\n") };
        format!("Cookie: {cookie}\r\n{origin}Content-Type: {kind}\r\nX-Copperhold-Token: {token}\r\n")
    };
    let json = "application/json";
    for path in ["/api/act", "/api/stop", "/api/pair"] {
        for origin in ["http://evil.example", "null", "", "https://127.0.0.1", &format!("http://{host}.evil.example")] {
            assert_eq!(site.post(path, &with(origin, json, &token), STOP).0, 403, "{path} {origin}");
        }
    }
    let own = format!("http://{host}");
    for kind in ["text/plain", "application/x-www-form-urlencoded", "multipart/form-data", ""] {
        assert_eq!(site.post("/api/stop", &with(&own, kind, &token), STOP).0, 415, "a form: {kind}");
    }
    let (status, head, _) = site.get(
        "/api/events",
        &format!("Cookie: {cookie}\r\nOrigin: http://evil.example\r\nUpgrade: websocket\r\nConnection: Upgrade\r\n"),
    );
    assert_eq!(status, 403, "{head}");
    let (status, ..) = site.get("/api/events", &format!("Cookie: {cookie}\r\nUpgrade: websocket\r\n"));
    assert_eq!(status, 400, "no other protocol");
    let (status, ..) = site.get("/api/session", &format!("Cookie: {cookie}\r\nSec-Fetch-Site: cross-site\r\n"));
    assert_eq!(status, 403);
    let (_, head, _) = site.get("/", "Origin: http://evil.example\r\n");
    assert!(!head.to_ascii_lowercase().contains("access-control"), "{head}");
    assert!(still_runs(&site));
    assert_eq!(site.post("/api/stop", &with(&own, json, &token), "{}").0, 200, "the right page may");
    assert!(!still_runs(&site));
}

#[test]
fn s3_a_wrong_token_is_told_nothing_however_often_it_tries() {
    let site = site(false);
    let (cookie, token) = site.enter();
    let own = format!("Origin: http://{}\r\nContent-Type: application/json\r\n", site.host());
    let longer = format!("{token}0");
    let flipped = format!("{}{}", if token.starts_with('0') { '1' } else { '0' }, &token[1..]);
    let mut bodies = std::collections::BTreeSet::new();
    for wrong in ["", "0", &token[..31], longer.as_str(), flipped.as_str(), &"0".repeat(32), &"f".repeat(4_000)] {
        let headers = format!("{own}Cookie: {cookie}\r\nX-Copperhold-Token: {wrong}\r\n");
        let (status, _, body) = site.post("/api/act", &headers, STOP);
        assert_eq!(status, 401, "{wrong}");
        bodies.insert(body);
    }
    assert_eq!(bodies.len(), 1, "every wrong token gets the same answer");
    assert_eq!(site.post("/api/act", &format!("{own}X-Copperhold-Token: {token}\r\n"), STOP).0, 401, "no cookie");
    assert!(still_runs(&site));

    // Without sockets: ten thousand guesses at token, cookie and code.
    let now = Instant::now();
    let mut gate = Gate::new(now).expect("random numbers");
    let session = gate.open(now, true).expect("random numbers");
    let (id, token) = (session.id().text(), session.token().text());
    assert!(id.len() == 32 && token.len() == 32 && id != token);
    for guess in 0..10_000_u32 {
        let text = format!("{guess:032x}");
        assert!(!session.token().is(&text) && gate.session(now, &text, true).is_none());
    }
    assert!(gate.session(now, &id, true).is_some());
    assert!(gate.session(now + Duration::from_secs(13 * 3600), &id, true).is_none(), "it ends");
    let code = gate.code();
    let outcomes: Vec<_> = (0..10_000).map(|guess| gate.pair(now, &format!("{guess:08}"))).collect();
    assert_eq!(outcomes.iter().filter(|outcome| **outcome == Err(NotPaired::Wrong)).count(), 5, "the rest is not looked at");
    assert_eq!(gate.pair(now, &code), Err(NotPaired::TooMany), "not even the right one");
    let later = now + Duration::from_secs(60);
    assert_eq!(gate.pair(later, &format!(" {} ", code.to_ascii_lowercase())), Ok(()));
    for minute in 2..5 {
        for _ in 0..5 {
            let _ = gate.pair(now + Duration::from_secs(60 * minute), "AAAAAAAA");
        }
    }
    assert_ne!(gate.code(), code, "ten wrong ones draw another");
}

#[test]
fn s4_what_was_captured_before_a_restart_opens_nothing_after_it() {
    let (old, new) = (site(false), site(false));
    let captured = old.good().replace(&old.host(), &new.host());
    let renamed = captured.replace(&format!("copperhold_{}", old.client.0.port()), &format!("copperhold_{}", new.client.0.port()));
    assert_eq!(new.post("/api/act", &renamed, STOP).0, 401);
    assert!(still_runs(&new));
}

#[test]
fn s5_no_request_arms_or_acknowledges_and_what_is_no_request_changes_nothing() {
    let site = site(false);
    let good = site.good();
    for act in [
        "{\"act\":\"arm\"}",
        "{\"act\":\"acknowledge\"}",
        "{\"act\":\"start\"}",
        "{\"act\":\"stop\",\"arm\":true}",
        "{\"act\":\"step_target\",\"step\":0}",
        "{\"act\":\"target\",\"vessel\":\"bath\",\"target_c\":60}",
        "[]",
        "",
    ] {
        assert_eq!(site.post("/api/act", &good, act).0, 422, "{act}");
    }
    for act in [
        "{\"act\":\"step_target\",\"step\":0,\"target_c\":500}",
        "{\"act\":\"step_target\",\"step\":0,\"target_c\":99}",
        "{\"act\":\"step_share\",\"step\":0,\"share\":2}",
        "{\"act\":\"step_on\",\"step\":0}",
        "{\"act\":\"step_on\",\"step\":255}",
        "{\"act\":\"answer\",\"step\":0,\"prompt\":\"ready_chiller\"}",
        "{\"act\":\"target\",\"vessel\":\"liquor_tank\",\"target_c\":60}",
    ] {
        assert_eq!(site.post("/api/act", &good, act).0, 409, "{act}");
    }
    for path in ["/api/arm", "/api/acknowledge", "/api/../etc/passwd", "/%2e%2e/x"] {
        assert!(matches!(site.post(path, &good, "{}").0, 404 | 400), "{path}");
    }
    assert!(still_runs(&site));
}

#[test]
fn s6_a_flood_of_requests_is_thinned_out_and_long_ones_are_cut() {
    let now = Instant::now();
    let mut gate = Gate::new(now).expect("random numbers");
    let one = IpAddr::V4(Ipv4Addr::new(192, 0, 2, 1));
    let passed = (0..10_000).filter(|&i| gate.admit(now + Duration::from_millis(i), one)).count();
    let most = BURST as usize + 10 * 10;
    assert!((most - 1..=most + 1).contains(&passed), "ten seconds at ten a second, and what may come at once: {passed}");
    assert!(gate.admit(now, IpAddr::V4(Ipv4Addr::new(192, 0, 2, 2))), "another address is not held up");

    let site = site(false);
    let good = site.good();
    let long = "x".repeat(MOST_BODY + 1);
    assert_eq!(site.post("/api/act", &good, &long).0, 413);
    let chunked = format!(
        "POST /api/act HTTP/1.1\r\nHost: {}\r\nConnection: close\r\nTransfer-Encoding: chunked\r\n{good}\r\n{:x}\r\n{long}\r\n0\r\n\r\n",
        site.host(),
        long.len()
    );
    assert_eq!(site.raw(&chunked).0, 413, "without a length too");
    assert!(still_runs(&site));
}

#[test]
fn s7_a_thousand_connections_and_slow_clients_do_not_reach_the_controller_and_give_way() {
    let site = site(false);
    let before = site.hub.now().now.at_s;
    let mut crowd: Vec<TcpStream> = (0..1_000).filter_map(|_| TcpStream::connect(site.client.0).ok()).collect();
    assert!(crowd.len() > MOST_CONNECTIONS * 2, "{}", crowd.len());
    for stream in crowd.iter_mut() {
        let _ = stream.write_all(b"GET / HTTP/1.1\r\nHost: ");
    }
    std::thread::sleep(Duration::from_secs(1));
    let now = site.hub.now();
    assert!(now.now.at_s > before && !now.now.stale, "the rehearsal goes on");
    // Each is closed by the server in the end: a read comes to its end or to an error, and does not time out.
    for stream in &mut crowd {
        stream.set_read_timeout(Some(Duration::from_secs(30))).expect("a timeout");
        let mut rest = Vec::new();
        if let Err(error) = stream.read_to_end(&mut rest) {
            assert!(!matches!(error.kind(), std::io::ErrorKind::WouldBlock | std::io::ErrorKind::TimedOut), "still open: {error}");
        }
    }
    assert_eq!(site.get("/", "").0, 200, "and the page is served again");
}

#[test]
fn s9_by_default_it_listens_on_this_machine_only_and_elsewhere_a_code_is_needed() {
    let site = site(true);
    assert!(Options::default().listen.is_none());
    assert!(site.all.iter().all(|address| address.ip().is_loopback()), "{:?}", site.all);
    // What the system says about this program's sockets.
    let table = std::fs::read_to_string("/proc/self/net/tcp").expect("Linux");
    let port = format!(":{:04X} ", site.client.0.port());
    let ours: Vec<&str> = table.lines().filter(|line| line.contains(&port) && line.contains(" 0A ")).collect();
    assert!(!ours.is_empty() && ours.iter().all(|line| line.contains(" 0100007F:")), "{ours:?}");

    assert_eq!(site.post("/api/act", &site.good(), STOP).0, 403, "read-only");
    assert_eq!(site.post("/api/stop", &site.good(), "{}").0, 403, "read-only");

    let now = Instant::now();
    let mut gate = Gate::new(now).expect("random numbers");
    let unpaired = gate.open(now, false).expect("random numbers").id().text();
    assert!(gate.session(now, &unpaired, false).is_some());
    assert!(gate.session(now, &unpaired, true).is_none(), "a session of this machine is none on the network");
    let door = Door::new(&["192.0.2.7".to_owned(), "brew.local".to_owned()], 8417, true);
    assert!(door.serves("brew.local:8417") && door.is_origin("http://192.0.2.7:8417"));
    assert!(!door.serves("127.0.0.1:8417") && !door.is_origin("https://brew.local:8417"));
}

#[test]
fn every_answer_forbids_what_the_page_does_not_need_and_no_secret_is_in_an_address() {
    let site = site(false);
    for path in ["/", "/watch.js", "/watch.css", "/chart.js", "/api/history", "/nothing"] {
        let (_, head, body) = site.get(path, "");
        let head = head.to_ascii_lowercase();
        assert!(head.contains("default-src 'none'") && head.contains("nosniff") && head.contains("no-store"), "{path}: {head}");
        assert!(!head.contains("unsafe-inline"), "{path}");
        if path == "/" {
            assert!(!body.contains("<script>") && !body.contains(" style="), "nothing inline");
        }
    }
    let (token, script) = (site.enter().1, site.get("/watch.js", "").2);
    assert!(!script.contains(&token) && !script.contains("?token") && !script.contains("localStorage"));
}

#[test]
fn the_first_paint_is_under_a_hundred_kilobytes() {
    let site = site(false);
    let bytes: usize = ["/", "/watch.css", "/watch.js", "/chart.js"]
        .iter()
        .map(|path| {
            let (status, head, body) = site.get(path, "");
            assert_eq!(status, 200, "{path}");
            head.len() + body.len()
        })
        .sum();
    println!("first paint: {bytes} bytes");
    assert!(bytes > 10_000 && bytes < 100_000, "{bytes}");
}
