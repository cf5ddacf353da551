//! What kind of file system a journal lies on. SQLite's log needs memory shared by those who open it and locks that hold;
//! a network file system has neither for certain (sqlite.org/wal.html, "Overview"; sqlite.org/howtocorrupt.html, 2.1).

use std::path::Path;

/// File systems of other machines, as Linux names them.
const NETWORKS: [&str; 9] = ["nfs", "nfs4", "cifs", "smb3", "smbfs", "afs", "ceph", "fuse.sshfs", "fuse.glusterfs"];

/// The network file system a file lies on, if it lies on one and this system says so.
pub fn network_mount(file: &Path) -> Option<String> {
    let folder = file.parent().filter(|folder| !folder.as_os_str().is_empty()).unwrap_or(Path::new("."));
    let mounts = std::fs::read_to_string("/proc/self/mountinfo").ok()?;
    kind(&folder.canonicalize().ok()?, &mounts).filter(|kind| NETWORKS.contains(&kind.as_str()))
}

/// The kind of the innermost mount a folder lies in; of two at one place the later covers the earlier.
fn kind(folder: &Path, mounts: &str) -> Option<String> {
    let mount = |line: &str| {
        // The fifth field is where, what follows the hyphen is what (proc_pid_mountinfo(5)); a space is written \040.
        let (left, right) = line.split_once(" - ")?;
        let place = left.split(' ').nth(4)?.replace("\\040", " ");
        folder.starts_with(&place).then(|| (place.len(), right.split(' ').next().unwrap_or_default().to_string()))
    };
    mounts.lines().filter_map(mount).max_by_key(|(length, _)| *length).map(|(_, kind)| kind)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The first line is the example of the manual page proc_pid_mountinfo(5); the others are made in its form.
    #[test]
    fn the_innermost_mount_counts() {
        let mounts = "36 35 98:0 /mnt1 /mnt/parent rw,noatime master:1 - ext3 /dev/root rw,errors=continue\n\
                      1 0 8:1 / / rw - ext4 /dev/sda1 rw\n\
                      40 1 0:50 / /srv/shop\\040data rw shared:7 - nfs4 box:/shop rw\n\
                      41 40 0:51 / /srv/shop\\040data/local rw - ext4 /dev/sdb1 rw\n";
        for (folder, expected) in [
            ("/mnt/parent/data", "ext3"),
            ("/mnt/parental", "ext4"),
            ("/srv/shop data", "nfs4"),
            ("/srv/shop data/journals", "nfs4"),
            ("/srv/shop data/local", "ext4"),
        ] {
            assert_eq!(kind(Path::new(folder), mounts).as_deref(), Some(expected), "{folder}");
        }
    }
}
