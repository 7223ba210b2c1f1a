//! The serial port to a board: which one it is, and that nobody else has it.

use serial2::SerialPort;
use std::path::{Path, PathBuf};
use std::time::Duration;

/// Speed of the board's serial port; USB ignores it.
const BAUD: u32 = 115_200;
/// A board takes what is written within this time.
const WRITE: Duration = Duration::from_secs(1);
/// The board's USB id, and what it calls itself: the id is a shared one for tests.
const USB: (&str, &str, &str) = ("1209", "0001", "Heating controller");

/// Opens the port of this name, or the one with the board's USB id, for this program alone. A read waits for `read` at most.
///
/// # Errors
/// In words: there is none, more than one, it cannot be opened, or another program has it.
pub fn open(name: Option<&str>, read: Duration) -> Result<(SerialPort, PathBuf), String> {
    let path = match name {
        Some(name) => PathBuf::from(name),
        None => find(Path::new("/sys/class/tty"))?,
    };
    let hint = "check the cable, that no other program uses it, and that you may (on Linux: the group dialout)";
    let mut port =
        SerialPort::open(&path, BAUD).map_err(|error| format!("{} cannot be opened: {error}; {hint}", path.display()))?;
    // Two programs on one port would each hear half of what the board says.
    #[cfg(unix)]
    rustix::fs::flock(&port, rustix::fs::FlockOperation::NonBlockingLockExclusive)
        .map_err(|_| format!("{} is in use by another program, perhaps a watch of this board: end that first", path.display()))?;
    port.set_read_timeout(read).map_err(|error| error.to_string())?;
    port.set_write_timeout(WRITE).map_err(|error| error.to_string())?;
    Ok((port, path))
}

/// The one serial port with the board's USB id, from Linux's list of terminals.
///
/// # Errors
/// There is none, or more than one, in words.
pub fn find(list: &Path) -> Result<PathBuf, String> {
    let read = |path: PathBuf| std::fs::read_to_string(path).map(|text| text.trim().to_owned()).unwrap_or_default();
    let is_ours = |entry: &Path| {
        // A terminal's device is an interface of the USB device above it.
        let Ok(interface) = entry.join("device").canonicalize() else { return false };
        interface.ancestors().take(4).any(|above| {
            (read(above.join("idVendor")), read(above.join("idProduct"))) == (USB.0.to_owned(), USB.1.to_owned())
                && read(above.join("product")) == USB.2
        })
    };
    let entries = std::fs::read_dir(list).map(|entries| entries.flatten().map(|entry| entry.path()).collect()).unwrap_or(vec![]);
    let mut found: Vec<PathBuf> = entries.into_iter().filter(|entry| is_ours(entry)).collect();
    found.sort();
    match found.as_slice() {
        [one] => Ok(Path::new("/dev").join(one.file_name().unwrap_or_default())),
        [] => Err("no board is plugged in that says it is one: plug it in, or name its port with --port".to_owned()),
        [_, ..] => Err(format!("there are {} boards: name one's port with --port", found.len())),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[cfg(unix)]
    #[test]
    fn the_board_is_found_by_its_id_and_its_name_and_only_if_it_is_alone() {
        let root = std::env::temp_dir().join(format!("copperhold-usb-{}", std::process::id()));
        let plug = |tty: &str, id: &str, product: &str| {
            let device = root.join("devices").join(tty);
            let interface = device.join("1-1:1.0");
            std::fs::create_dir_all(&interface).expect("a folder");
            for (name, text) in [("idVendor", "1209"), ("idProduct", id), ("product", product)] {
                std::fs::write(device.join(name), format!("{text}\n")).expect("a file");
            }
            let entry = root.join("tty").join(tty);
            std::fs::create_dir_all(&entry).expect("a folder");
            std::os::unix::fs::symlink(&interface, entry.join("device")).expect("a link");
        };
        let list = root.join("tty");
        assert!(find(&list).expect_err("none").contains("--port"));
        plug("ttyACM0", "0001", "Something else");
        plug("ttyACM1", "0002", "Heating controller");
        assert!(find(&list).is_err(), "neither is ours");
        plug("ttyACM2", "0001", "Heating controller");
        assert_eq!(find(&list), Ok(PathBuf::from("/dev/ttyACM2")));
        plug("ttyACM3", "0001", "Heating controller");
        assert!(find(&list).expect_err("two").contains("2 boards"));
        std::fs::remove_dir_all(root).expect("it is ours");
    }
}
