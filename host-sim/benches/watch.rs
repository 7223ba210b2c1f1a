//! What the live page costs: bytes before the first paint, bytes of a moment, and the share of one core that fifty viewers take.

use std::io::{BufRead, BufReader, Read, Write};
use std::net::TcpStream;
use std::process::{Command, Stdio};
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};

const VIEWERS: usize = 50;
const WATCHED: Duration = Duration::from_secs(20);
/// Clock ticks of `/proc/PID/stat` per second, as Linux tells every program.
const TICKS: f64 = 100.0;

fn get(address: &str, path: &str, cookie: &str) -> TcpStream {
    let mut stream = TcpStream::connect(address).expect("it listens");
    let request = format!("GET {path} HTTP/1.1\r\nHost: {address}\r\nCookie: {cookie}\r\nConnection: close\r\n\r\n");
    stream.write_all(request.as_bytes()).expect("it listens");
    stream
}

fn processor_s(pid: u32) -> f64 {
    let stat = std::fs::read_to_string(format!("/proc/{pid}/stat")).expect("Linux");
    let fields: Vec<&str> = stat.rsplit(')').next().expect("fields").split_whitespace().collect();
    (fields[11].parse::<f64>().expect("user time") + fields[12].parse::<f64>().expect("system time")) / TICKS
}

fn main() {
    let mut watch = Command::new(env!("CARGO_BIN_EXE_copperhold"))
        .args(["watch", "--rehearse", "--speed", "1", "--http", "0"])
        .stdout(Stdio::piped())
        .spawn()
        .expect("it runs");
    let mut lines = BufReader::new(watch.stdout.take().expect("its output")).lines().map_while(Result::ok);
    let where_it_is =
        lines.find_map(|line| line.split_once("Watch it on http://").map(|(_, at)| at.trim_end_matches('/').to_owned()));
    let address = where_it_is.expect("it says where it is");
    std::thread::spawn(move || lines.for_each(drop));
    let mut page = String::new();
    get(&address, "/", "").read_to_string(&mut page).expect("text");
    let line = page.lines().find(|line| line.to_ascii_lowercase().starts_with("set-cookie")).expect("a cookie");
    let cookie = line.split_once(": ").expect("a value").1.split(';').next().expect("a pair").to_owned();
    let mut first = page.len();
    for path in ["/watch.css", "/watch.js", "/chart.js"] {
        let mut text = Vec::new();
        first += get(&address, path, &cookie).read_to_end(&mut text).expect("bytes");
    }
    println!("first paint: {first} bytes, {:.2} of 100 kB", first as f64 / 100_000.0);
    let (moments, bytes) = (Arc::new(AtomicU64::new(0)), Arc::new(AtomicU64::new(0)));
    for _ in 0..VIEWERS {
        let (moments, bytes, stream) = (moments.clone(), bytes.clone(), get(&address, "/api/events", &cookie));
        std::thread::spawn(move || {
            for line in BufReader::new(stream).lines().map_while(Result::ok) {
                bytes.fetch_add(line.len() as u64 + 1, Ordering::Relaxed);
                moments.fetch_add(u64::from(line.starts_with("event: now")), Ordering::Relaxed);
            }
        });
        // No faster than one address may ask.
        std::thread::sleep(Duration::from_millis(120));
    }
    let (from_s, count, sent, began) =
        (processor_s(watch.id()), moments.load(Ordering::Relaxed), bytes.load(Ordering::Relaxed), Instant::now());
    std::thread::sleep(WATCHED);
    let wall_s = began.elapsed().as_secs_f64();
    let (count, sent) = (moments.load(Ordering::Relaxed) - count, bytes.load(Ordering::Relaxed) - sent);
    println!(
        "{VIEWERS} viewers: {:.2} moments a second each, {} bytes a moment",
        count as f64 / wall_s / VIEWERS as f64,
        sent / count.max(1)
    );
    println!("share of one core, the rehearsal included: {:.3}", (processor_s(watch.id()) - from_s) / wall_s);
    let _ = watch.kill();
    let _ = watch.wait();
}
