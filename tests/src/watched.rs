//! The program itself at `watch`, on a port that the system picks.

use crate::http::Client;
use std::ffi::OsStr;
use std::io::{BufRead, BufReader};
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::OnceLock;

/// The workspace.
pub fn root() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

/// The program as it is built beside the tests.
pub fn copperhold() -> &'static Path {
    static BUILT: OnceLock<PathBuf> = OnceLock::new();
    BUILT.get_or_init(|| {
        // `tests/run` has built it with everything else, which saves building its libraries again for it alone.
        if std::env::var_os("COPPERHOLD_BUILT").is_none() {
            let built = Command::new(env!("CARGO")).args(["build", "--locked", "-p", "copperhold"]).current_dir(root()).status();
            assert!(built.expect("cargo runs").success());
        }
        let test = std::env::current_exe().expect("a path");
        test.ancestors().nth(2).expect("a folder").join("copperhold")
    })
}

/// A watch that runs until it is dropped or killed.
pub struct Watched {
    child: Child,
    /// What it said before it was ready.
    pub said: Vec<String>,
    /// Its page on this machine.
    pub page: Client,
}

impl Watched {
    /// Starts it with these flags and waits until it serves its page.
    pub fn start<S: AsRef<OsStr>>(flags: impl IntoIterator<Item = S>) -> Watched {
        Watched::on(0, flags)
    }

    /// As [`Watched::start`], with its page on this port.
    pub fn on<S: AsRef<OsStr>>(port: u16, flags: impl IntoIterator<Item = S>) -> Watched {
        let mut child = Command::new(copperhold())
            .args(["watch", "--http", &port.to_string()])
            .args(flags)
            .stdout(Stdio::piped())
            .spawn()
            .expect("it runs");
        let mut lines = BufReader::new(child.stdout.take().expect("its output")).lines().map_while(Result::ok);
        let mut said = Vec::new();
        for line in lines.by_ref() {
            let last = line.starts_with("Stop with Ctrl-C");
            said.push(line);
            if last {
                break;
            }
        }
        // Read on, so that it never waits for a reader.
        std::thread::spawn(move || lines.for_each(drop));
        let address = after(&said, "Watch it on http://").expect("it says where it is");
        Watched { child, page: Client(address), said }
    }

    /// Where it listens for other machines, and its pairing code.
    pub fn abroad(&self) -> (SocketAddr, String) {
        let line = self.said.iter().find(|line| line.contains("pairing code")).expect("a pairing code");
        (after(&self.said, "and on http://").expect("an address"), line.rsplit(' ').next().expect("a code").to_owned())
    }

    /// Its number.
    pub fn id(&self) -> u32 {
        self.child.id()
    }

    /// Kills it as a power cut would.
    pub fn kill(&mut self) {
        self.child.kill().expect("it can be killed");
        self.child.wait().expect("it ends");
    }

    /// Ends it as Ctrl-C does.
    pub fn interrupt(&mut self) {
        let sent = Command::new("kill").args(["-INT", &self.id().to_string()]).status();
        assert!(sent.expect("kill runs").success());
        assert!(self.child.wait().expect("it ends").success());
    }
}

impl Drop for Watched {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
    }
}

fn after(said: &[String], words: &str) -> Option<SocketAddr> {
    let rest = said.iter().find_map(|line| line.strip_prefix(words))?;
    rest.split('/').next()?.parse().ok()
}
