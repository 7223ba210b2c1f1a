//! A real broker (mosquitto) on a free port of this machine, its own client to listen with, and a hub that is fed.

use copperhold::telemetry::{discovery, mqtt};
use copperhold::watch::hub::{BEAT_MS, Hub};
use copperhold::watch::state::{About, Now};
use std::io::{BufRead, BufReader};
use std::path::PathBuf;
use std::process::{Child, Command, Stdio};
use std::sync::atomic::{AtomicU32, Ordering};
use std::sync::{Arc, mpsc};
use std::time::{Duration, Instant};

/// Longest wait for anything: far beyond what it takes, so that a busy machine fails nothing.
const PATIENCE: Duration = Duration::from_secs(60);

static NUMBER: AtomicU32 = AtomicU32::new(0);

/// One message.
#[derive(Debug, Clone)]
pub struct Heard {
    pub topic: String,
    pub retained: bool,
    pub payload: String,
}

/// The broker, stopped when dropped.
pub struct Broker {
    child: Child,
    folder: PathBuf,
    pub port: u16,
}

impl Broker {
    pub fn start() -> Broker {
        let number = NUMBER.fetch_add(1, Ordering::Relaxed);
        let folder = std::env::temp_dir().join(format!("copperhold-broker-{}-{number}", std::process::id()));
        std::fs::create_dir_all(&folder).expect("a folder for the broker");
        let free = std::net::TcpListener::bind("127.0.0.1:0").expect("a free port");
        let port = free.local_addr().expect("its number").port();
        drop(free);
        // A broker that is started as root would change to a user that may not write here.
        let user = if is_root() { "user root\n" } else { "" };
        let log = folder.join("log");
        let text =
            format!("listener {port} 127.0.0.1\nallow_anonymous true\nlog_type all\nlog_dest file {}\n{user}", log.display());
        std::fs::write(folder.join("conf"), text).expect("the broker's settings");
        let child = launch(&folder);
        let broker = Broker { child, folder, port };
        broker.wait();
        broker
    }

    /// Stops it as a power cut would, and starts it anew: it remembers nothing.
    pub fn restart(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
        self.child = launch(&self.folder);
        self.wait();
    }

    fn wait(&self) {
        let until = Instant::now() + PATIENCE;
        while std::net::TcpStream::connect(("127.0.0.1", self.port)).is_err() {
            assert!(Instant::now() < until, "the broker does not listen");
            std::thread::sleep(Duration::from_millis(50));
        }
    }

    /// Listens to everything, as a client named `name`, until what was heard is `enough`.
    #[track_caller]
    pub fn hear_until(&self, name: &str, enough: impl Fn(&[Heard]) -> bool) -> Vec<Heard> {
        let mut client = Command::new("mosquitto_sub")
            .args(["-h", "127.0.0.1", "-p", &self.port.to_string(), "-i", name, "-t", "#", "-F", "%r %t %p"])
            .stdout(Stdio::piped())
            .spawn()
            .expect("mosquitto_sub is installed (Debian's mosquitto-clients)");
        let (lines, came) = mpsc::channel();
        let out = BufReader::new(client.stdout.take().expect("its output"));
        std::thread::spawn(move || out.lines().map_while(Result::ok).try_for_each(|line| lines.send(line)));
        let until = Instant::now() + PATIENCE;
        let mut heard = Vec::new();
        while !enough(&heard) {
            let left = until.saturating_duration_since(Instant::now());
            let Ok(line) = came.recv_timeout(left) else { panic!("{name}: not heard in time: {heard:#?}") };
            let mut parts = line.splitn(3, ' ');
            let mut next = || parts.next().unwrap_or_default().to_owned();
            heard.push(Heard { retained: next() == "1", topic: next(), payload: next() });
        }
        let _ = client.kill();
        let _ = client.wait();
        heard
    }

    /// The broker's own log, once it has this line.
    pub fn log_until(&self, patience: Duration, line: &str) -> String {
        let until = Instant::now() + patience;
        loop {
            let log = std::fs::read_to_string(self.folder.join("log")).unwrap_or_default();
            if log.contains(line) || Instant::now() > until {
                assert!(log.contains(line), "no {line:?} in the broker's log:\n{log}");
                return log;
            }
            std::thread::sleep(Duration::from_millis(50));
        }
    }
}

impl Drop for Broker {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
        let _ = std::fs::remove_dir_all(&self.folder);
    }
}

fn launch(folder: &std::path::Path) -> Child {
    // Debian keeps it where only root's path leads.
    let path = format!("{}:/usr/sbin", std::env::var("PATH").unwrap_or_default());
    Command::new("mosquitto")
        .env("PATH", path)
        .arg("-c")
        .arg(folder.join("conf"))
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .expect("mosquitto is installed (Debian's mosquitto)")
}

fn is_root() -> bool {
    let out = Command::new("id").arg("-u").output().expect("id runs");
    String::from_utf8_lossy(&out.stdout).trim() == "0"
}

/// A hub that is fed the same moment again and again, and told to a broker. Dropped, its connection breaks off.
pub struct Fed {
    hub: Arc<Hub>,
    says: mpsc::Sender<Now>,
    ends: Option<tokio::sync::oneshot::Sender<()>>,
    runs: Option<std::thread::JoinHandle<()>>,
}

impl Fed {
    pub fn start(broker: &Broker, first: Now) -> Fed {
        let (hub, _orders) = Hub::new(first.clone(), About::default());
        let (says, said) = mpsc::channel::<Now>();
        let (ends, mut ended) = tokio::sync::oneshot::channel::<()>();
        let options = mqtt::Options {
            host: "127.0.0.1".into(),
            port: broker.port,
            login: None,
            device: "bench".into(),
            discovery: Some(discovery::PREFIX.into()),
        };
        let at = hub.clone();
        let runs = std::thread::spawn(move || {
            let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().expect("a runtime");
            runtime.block_on(async {
                let mut now = first;
                let mut beat = tokio::time::interval(Duration::from_millis(BEAT_MS));
                let tells = mqtt::run(at.clone(), options);
                tokio::pin!(tells);
                loop {
                    tokio::select! {
                        _ = &mut ended => return,
                        () = &mut tells => return,
                        _ = beat.tick() => {
                            now = said.try_iter().last().unwrap_or(now);
                            at.put(now.clone(), 0.0);
                            at.beat();
                        }
                    }
                }
            });
        });
        Fed { hub, says, ends: Some(ends), runs: Some(runs) }
    }

    pub fn say(&self, now: Now) {
        self.says.send(now).expect("it runs");
        assert!(Arc::strong_count(&self.hub) > 1, "it runs");
    }
}

impl Drop for Fed {
    fn drop(&mut self) {
        drop(self.ends.take());
        if let Some(runs) = self.runs.take() {
            let _ = runs.join();
        }
    }
}
