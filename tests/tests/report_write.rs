//! A report is written as a whole or not at all.

use std::fs;
use std::path::PathBuf;

use copperhold::report::write_atomically;

/// A folder that goes away with the test.
struct Folder(PathBuf);

impl Folder {
    fn new(name: &str) -> Self {
        let path = std::env::temp_dir().join(format!("copperhold-{name}-{}", std::process::id()));
        fs::create_dir_all(&path).expect("a folder");
        Folder(path)
    }

    fn names(&self) -> Vec<String> {
        let entries = fs::read_dir(&self.0).expect("the folder");
        let mut names: Vec<String> =
            entries.map(|entry| entry.expect("an entry").file_name().to_string_lossy().into_owned()).collect();
        names.sort();
        names
    }
}

impl Drop for Folder {
    fn drop(&mut self) {
        let _ = fs::remove_dir_all(&self.0);
    }
}

#[test]
fn a_file_is_made_and_replaced_and_nothing_is_left_beside_it() {
    let folder = Folder::new("replace");
    let path = folder.0.join("day.html");
    for contents in ["first, and longer", "second"] {
        write_atomically(&path, contents).expect("written");
        assert_eq!(fs::read_to_string(&path).expect("readable"), contents);
    }
    assert_eq!(folder.names(), ["day.html"]);
}

#[test]
fn a_missing_folder_is_explained() {
    let folder = Folder::new("missing");
    let path = folder.0.join("nowhere").join("day.html");
    let error = write_atomically(&path, "x").expect_err("there is no such folder").to_string();
    assert!(error.contains("nowhere") && error.contains("make the folder first"), "{error}");
    assert!(folder.names().is_empty());
}

#[test]
fn a_folder_in_the_way_is_explained_and_left_alone() {
    let folder = Folder::new("folder");
    let path = folder.0.join("day.html");
    fs::create_dir(&path).expect("a folder in the way");
    let error = write_atomically(&path, "x").expect_err("a folder cannot be written").to_string();
    assert!(error.contains("day.html") && error.contains("add a file name"), "{error}");
    assert_eq!(folder.names(), ["day.html"]);
}

#[test]
fn a_failure_at_the_last_moment_leaves_no_part() {
    let folder = Folder::new("failure");
    // The temporary file can be made and filled, but no file system takes a name this long.
    let error = write_atomically(&folder.0.join("d".repeat(300)), "new").expect_err("the name is too long").to_string();
    assert!(error.contains("could not write") && error.contains("ddd"), "{error}");
    assert!(folder.names().is_empty(), "{:?}", folder.names());
}

#[test]
fn the_longest_name_is_written() {
    let folder = Folder::new("longest");
    let path = folder.0.join("d".repeat(255));
    write_atomically(&path, "new").expect("written");
    assert_eq!(fs::read_to_string(&path).expect("readable"), "new");
}

#[cfg(unix)]
#[test]
fn a_link_keeps_pointing_where_it_did() {
    let folder = Folder::new("link");
    let (target, link) = (folder.0.join("real.html"), folder.0.join("link.html"));
    fs::write(&target, "old").expect("the old file");
    std::os::unix::fs::symlink(&target, &link).expect("a link");
    write_atomically(&link, "new").expect("written");
    assert!(fs::symlink_metadata(&link).expect("the link").is_symlink());
    assert_eq!(fs::read_to_string(&target).expect("readable"), "new");
}
