//! `copperhold watch`: a live page for a rehearsal or a board.

use super::Failure;
use super::rehearse::{load, refuse};
use clap::Args as ClapArgs;
use copperhold::drill::Kind;
use copperhold::files::{self, quantity::Dimension};
use copperhold::telemetry::{discovery, mqtt};
use copperhold::watch::diary::Texts;
use copperhold::watch::hub::Hub;
use copperhold::watch::rehearsal::{Plan, Watched};
use copperhold::watch::server::{self, Options, Server};
use copperhold::watch::state::About;
use copperhold::watch::{board, drill};
use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

/// What to watch, and for whom.
#[derive(Debug, Clone, ClapArgs)]
pub struct Args {
    /// The brew sheet (TOML): what is rehearsed, or the names of the steps that a board runs.
    sheet: Option<PathBuf>,
    /// Watch a rehearsal: no board, no water. Without it a board is watched.
    #[arg(long, conflicts_with = "port")]
    rehearse: bool,
    /// The board's serial port. Default: the one port with the board's USB id.
    #[arg(long, value_name = "PORT")]
    port: Option<String>,
    /// The rig (TOML).
    #[arg(long, value_name = "RIG")]
    rig: Option<PathBuf>,
    /// Seconds of the rehearsed day in a second.
    #[arg(long, value_name = "N", default_value_t = 60.0, value_parser = speed, requires = "rehearse")]
    speed: f64,
    /// Seed of the rehearsal.
    #[arg(long, value_name = "N", default_value_t = 1, requires = "rehearse")]
    seed: u64,
    /// Inject this fault into the rehearsal.
    #[arg(long, value_name = "NAME", value_parser = drill::kind, requires = "rehearse")]
    drill: Option<Kind>,
    /// When the fault comes: the first time an element heats after that.
    #[arg(long, value_name = "TIME", default_value = "20 min", value_parser = time, requires = "drill")]
    drill_at: f64,
    /// Write the day down in this logbook.
    #[arg(long, value_name = "FILE")]
    book: Option<PathBuf>,
    /// The page's port on this machine.
    #[arg(long = "http", value_name = "PORT", default_value_t = server::PORT)]
    http: u16,
    /// Serve the page on this address too, IP:PORT of one network interface. Whoever opens it there needs the code that is printed.
    #[arg(long, value_name = "IP:PORT")]
    listen: Option<SocketAddr>,
    /// Another name for that address, as a browser would ask for it.
    #[arg(long = "name", value_name = "HOST", requires = "listen")]
    names: Vec<String>,
    /// Let nothing be changed from the page.
    #[arg(long)]
    read_only: bool,
    /// Tell an MQTT broker on the local network too, HOST or HOST:PORT. Out only: nothing can be asked through it.
    #[arg(long, value_name = "BROKER", value_parser = mqtt::broker)]
    mqtt: Option<(String, u16)>,
    /// User at the broker; the password is taken from the environment, COPPERHOLD_MQTT_PASSWORD.
    #[arg(long, value_name = "NAME", requires = "mqtt")]
    mqtt_user: Option<String>,
    /// Name of this brewery in the topics. Default: "rehearsal" or "board".
    #[arg(long, value_name = "NAME", value_parser = mqtt::device, requires = "mqtt")]
    mqtt_device: Option<String>,
    /// Prefix of the descriptions for home automation; "none" sends none.
    #[arg(long, value_name = "PREFIX", default_value = discovery::PREFIX, requires = "mqtt")]
    mqtt_discovery: String,
}

fn speed(text: &str) -> Result<f64, String> {
    match text.parse::<f64>() {
        Ok(speed) if (0.1..=10_000.0).contains(&speed) => Ok(speed),
        _ => Err("write a number from 0.1 to 10000: 60 runs a minute in a second".to_owned()),
    }
}

fn time(text: &str) -> Result<f64, String> {
    Dimension::Time.parse(text).map(|time| time.value).map_err(|_| "write a time such as \"20 min\" or \"1 h 30 min\"".to_owned())
}

/// Runs it until it is interrupted.
pub fn run(args: &Args) -> Result<ExitCode, Failure> {
    let stop = Arc::new(AtomicBool::new(false));
    let (hub, source) = if args.rehearse { rehearsal(args, &stop)? } else { real(args, &stop)? };
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build();
    let runtime = runtime.map_err(|error| Failure::bad_input(format!("error: {error}")))?;
    let outcome = runtime.block_on(serve(&hub, args));
    stop.store(true, Ordering::Relaxed);
    // The source closes the logbook.
    let _ = source.join();
    outcome.map(|()| ExitCode::SUCCESS)
}

type Source = (Arc<Hub>, std::thread::JoinHandle<()>);

fn rehearsal(args: &Args, stop: &Arc<AtomicBool>) -> Result<Source, Failure> {
    let (rig, sheet) = load(args.rig.as_deref(), args.sheet.as_deref())?;
    let plan =
        Plan { rig: &rig, sheet: &sheet, seed: args.seed, speed: args.speed, drill: args.drill.map(|kind| (kind, args.drill_at)) };
    let (mut watched, known) = Watched::new(&plan, drawn()?).map_err(refuse)?;
    if let Some(path) = &args.book {
        let sheet_text = text_of(args.sheet.as_deref(), files::DEMO_SHEET)?;
        let rig_text = text_of(args.rig.as_deref(), files::DEMO_RIG)?;
        let number = watched.record(path, &sheet_text, &rig_text).map_err(super::book::refuse)?;
        println!("Day {number} in {}", path.display());
    }
    println!("A rehearsal of \"{}\": no board is spoken to, no water is heated.", sheet.name);
    let about = About { read_only: args.read_only, ..known.about };
    let (hub, orders) = Hub::new(watched.first(), about);
    let (at, stop) = (hub.clone(), stop.clone());
    Ok((hub, std::thread::spawn(move || watched.run(&at, orders, &stop))))
}

fn real(args: &Args, stop: &Arc<AtomicBool>) -> Result<Source, Failure> {
    let bad = |d: files::Diagnostic| Failure::bad_input(d.render(files::wants_colour()));
    let rig = args.rig.as_deref().map(files::load_rig).transpose().map_err(bad)?;
    let sheet = args.sheet.as_deref().map(files::load_sheet).transpose().map_err(bad)?;
    let compiled = match (&sheet, &rig) {
        (Some(sheet), Some(rig)) => Some(sheet.compile(rig).map_err(bad)?),
        (Some(_), None) => {
            return Err(Failure::bad_input("error: a sheet for a board needs its rig too: add --rig RIG"));
        }
        (None, _) => None,
    };
    let known = copperhold::watch::track::Known::of(rig.as_ref(), sheet.as_ref().zip(compiled.as_ref()));
    let about = About { read_only: args.read_only, ..known.about.clone() };
    let mut board = board::Board::new(args.port.clone(), known.clone());
    if let Some(path) = &args.book {
        let texts = Texts { sheet: text_of(args.sheet.as_deref(), "")?, rig: text_of(args.rig.as_deref(), "")? };
        board.record(path, texts, known).map_err(super::book::refuse)?;
    }
    let (hub, orders) = Hub::new(board.first(), about);
    let (at, stop) = (hub.clone(), stop.clone());
    println!("A board: what the page asks for is done on real elements, while somebody has armed it at the panel.");
    Ok((hub, std::thread::spawn(move || board.run(&at, orders, &stop))))
}

async fn serve(hub: &Arc<Hub>, args: &Args) -> Result<(), Failure> {
    let options = Options { port: args.http, listen: args.listen, names: args.names.clone(), read_only: args.read_only };
    let server = Server::bind(hub.clone(), &options).await.map_err(|error| {
        Failure::bad_input(format!("error: the page cannot be served: {error}; choose another port with --http, or check --listen"))
    })?;
    println!("Watch it on http://{}/", server.addresses().first().map(ToString::to_string).unwrap_or_default());
    if let (Some(_), Some(address)) = (args.listen, server.addresses().last()) {
        println!("and on http://{address}/ with the pairing code {}", server.site().gate().code());
        println!("Anybody on that network can read what is sent: it is not encrypted. The board's display cannot show the code.");
    }
    println!("Stop with Ctrl-C. The page arms nothing and acknowledges nothing: that is done at the panel.");
    let broker = args.mqtt.as_ref().map(|broker| mqtt_options(args, broker)).transpose()?;
    if let Some(broker) = &broker {
        println!("Telling the MQTT broker at {broker:?}, in the clear.");
    }
    let tells = async {
        match broker {
            Some(broker) => mqtt::run(hub.clone(), broker).await,
            None => std::future::pending().await,
        }
    };
    tokio::select! {
        () = server.run() => {}
        () = tells => {}
        _ = tokio::signal::ctrl_c() => {}
    }
    Ok(())
}

fn mqtt_options(args: &Args, (host, port): &(String, u16)) -> Result<mqtt::Options, Failure> {
    let login = match &args.mqtt_user {
        None => None,
        Some(user) => {
            let password = std::env::var("COPPERHOLD_MQTT_PASSWORD").map_err(|_| {
                Failure::bad_input("error: --mqtt-user needs a password in the environment variable COPPERHOLD_MQTT_PASSWORD")
            })?;
            Some((user.clone(), password))
        }
    };
    let kind = if args.rehearse { "rehearsal" } else { "board" };
    Ok(mqtt::Options {
        host: host.clone(),
        port: *port,
        login,
        device: args.mqtt_device.clone().unwrap_or_else(|| kind.to_owned()),
        discovery: (args.mqtt_discovery != "none").then(|| args.mqtt_discovery.clone()),
    })
}

fn drawn() -> Result<u32, Failure> {
    let mut bytes = [0; 4];
    getrandom::fill(&mut bytes).map_err(|error| Failure::bad_input(format!("error: no random numbers: {error}")))?;
    Ok(u32::from_le_bytes(bytes))
}

fn text_of(path: Option<&Path>, built_in: &str) -> Result<String, Failure> {
    path.map_or_else(|| Ok(built_in.to_owned()), |path| files::read(path).map_err(|d| Failure::bad_input(d.render(false))))
}
